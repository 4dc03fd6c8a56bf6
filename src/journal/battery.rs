//! What a record keeps of the questions about the battery, and the assessment.
//!
//! Takes the guide's questions and the assessment; gives serialisable types of the record's own.
//! Times are milliseconds, voltages millivolts, currents milliamperes, shares thousandths.

use serde::{Deserialize, Serialize};

use crate::guide::cue;
use crate::power::{self, Assessment, Between, Finding as F, PerMille};

/// What is asked about the battery.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BatteryAsk {
    /// How it is built.
    Kind,
    /// Its rest voltage.
    RestVoltage,
    /// Its rest voltage again.
    RestVoltageAgain,
    /// Its 20-hour capacity.
    Capacity,
    /// Its reserve minutes.
    ReserveMinutes,
    /// Its age.
    Age,
    /// Its temperature.
    Temperature,
    /// Its voltage with the key on.
    KeyOnVoltage,
    /// The current with the key on.
    Load,
    /// Whether a charger is connected.
    Charger,
    /// What the charger gives.
    ChargerCurrent,
    /// The voltage with the charger on.
    ChargerVoltage,
    /// The same two minutes later.
    ChargerVoltageAgain,
    /// The longest that the run shall last.
    Limit,
}

/// May the run start?
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BatteryVerdict {
    /// No.
    DoNotStart,
    /// With a charger.
    GoWithCharger,
    /// Yes.
    Go,
}

/// The assessment.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct BatteryJudged {
    /// The verdict.
    pub verdict: BatteryVerdict,
    /// Whether it may start as things stand.
    pub starts: bool,
    /// How long the battery alone lasts to the floor: least and most.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reserve: Option<(i64, i64)>,
    /// The charge now: least and most.
    pub charge: (i32, i32),
    /// What was found, in the order found.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub findings: Vec<BatteryFinding>,
    /// What has to be asked or done first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<BatteryMissing>,
}

/// What is missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BatteryMissing {
    /// A limit for the run.
    Limit,
    /// Capacity or reserve minutes.
    Ratings,
    /// The load.
    Load,
    /// The rest voltage.
    RestVoltage,
    /// The rest voltage, after a longer rest.
    RestVoltageAgain,
    /// A charger, connected.
    ConnectCharger,
    /// Two readings with the charger on.
    ChargerReadings,
}

/// Something found, with its figures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "snake_case")]
#[expect(missing_docs, reason = "the figures are named and counted as in `power::Finding`")]
pub enum BatteryFinding {
    /// No battery alone holds the floor.
    FloorAboveBattery { needs: i32, full: i32 },
    /// Only surface charge.
    SurfaceCharge { read: i32, above: i32 },
    /// Rests above the ceiling.
    RestAboveCeiling { read: i32, ceiling: i32 },
    /// The rest voltage is widened.
    VoltageDisputed { by: i32 },
    /// Too cold for the tables.
    ColderThanTable,
    /// Less capacity in the cold.
    CapacityInTheCold { least: i32, most: i32 },
    /// Counted as old.
    CountedAsOld { months: Option<i32>, health: i32 },
    /// No table for gel.
    NoTableForGel,
    /// The lower of two tables decides.
    TablesDisagree { main: i64, lower: i64 },
    /// The exponent is bounded.
    ExponentBounded { least: i32, most: i32 },
    /// The ratings contradict each other.
    RatingsDisagree { exponent: Option<i32> },
    /// The sag is not measured.
    SagNotMeasured { microohms: i32 },
    /// The load follows from the drop.
    LoadFromDrop { least: i32, most: i32 },
    /// Enough for once only.
    Thin { reserve: i64, wanted: i64 },
    /// May end before the run.
    TooShort { reserve: i64, length: i64 },
    /// Too little left to start the engine.
    EndsTooLow { charge: i32, keep: i32 },
    /// The charger does not hold its voltage.
    ChargerTooSmall { gives: i32, needs: i32 },
    /// Not charged enough for a charger to hold its voltage.
    StillBulk { charge: i32, near_full: i32 },
    /// The charger gives less than the load.
    ChargerBelowLoad { from_battery: i32, least: i64, most: i64 },
    /// Floor and ceiling leave no room.
    NoReadingFits { least: i32, ceiling: i32 },
    /// A reading too low.
    ChargerReadingLow { read: i32, least: i32 },
    /// A reading too high.
    ChargerReadingHigh { read: i32, ceiling: i32 },
    /// Near the ceiling.
    NearCeiling { read: i32, ceiling: i32 },
    /// The voltage falls.
    ChargerReadingFalls { by: i32 },
}

/// The record's word for a question.
pub(super) const fn ask_of(ask: cue::BatteryAsk) -> BatteryAsk {
    use cue::BatteryAsk as A;
    match ask {
        A::Kind => BatteryAsk::Kind,
        A::RestVoltage => BatteryAsk::RestVoltage,
        A::RestVoltageAgain => BatteryAsk::RestVoltageAgain,
        A::Capacity => BatteryAsk::Capacity,
        A::ReserveMinutes => BatteryAsk::ReserveMinutes,
        A::Age => BatteryAsk::Age,
        A::Temperature => BatteryAsk::Temperature,
        A::KeyOnVoltage => BatteryAsk::KeyOnVoltage,
        A::Load => BatteryAsk::Load,
        A::Charger => BatteryAsk::Charger,
        A::ChargerCurrent => BatteryAsk::ChargerCurrent,
        A::ChargerVoltage => BatteryAsk::ChargerVoltage,
        A::ChargerVoltageAgain => BatteryAsk::ChargerVoltageAgain,
        A::Limit => BatteryAsk::Limit,
    }
}

/// The assessment as it is kept.
pub(super) fn judged_of(assessment: &Assessment) -> BatteryJudged {
    BatteryJudged {
        verdict: match assessment.verdict {
            power::Verdict::DoNotStart => BatteryVerdict::DoNotStart,
            power::Verdict::GoWithCharger => BatteryVerdict::GoWithCharger,
            power::Verdict::Go => BatteryVerdict::Go,
        },
        starts: assessment.may_start(),
        reserve: assessment.reserve.map(|reserve| (reserve.least.0, reserve.most.0)),
        charge: shares(assessment.charge),
        findings: assessment.findings.iter().map(finding_of).collect(),
        missing: assessment.asks.iter().copied().map(missing_of).collect(),
    }
}

const fn shares(share: Between<PerMille>) -> (i32, i32) {
    (share.least.0, share.most.0)
}

const fn missing_of(ask: power::Ask) -> BatteryMissing {
    match ask {
        power::Ask::Limit => BatteryMissing::Limit,
        power::Ask::Ratings => BatteryMissing::Ratings,
        power::Ask::Load => BatteryMissing::Load,
        power::Ask::RestVoltage => BatteryMissing::RestVoltage,
        power::Ask::RestVoltageAgain => BatteryMissing::RestVoltageAgain,
        power::Ask::ConnectCharger => BatteryMissing::ConnectCharger,
        power::Ask::ChargerReadings => BatteryMissing::ChargerReadings,
    }
}

fn finding_of(finding: &F) -> BatteryFinding {
    use BatteryFinding as B;
    match *finding {
        F::FloorAboveBattery { needs, full } => {
            B::FloorAboveBattery { needs: needs.0, full: full.0 }
        }
        F::SurfaceCharge { read, above } => B::SurfaceCharge { read: read.0, above: above.0 },
        F::RestAboveCeiling { read, ceiling } => {
            B::RestAboveCeiling { read: read.0, ceiling: ceiling.0 }
        }
        F::VoltageDisputed { by } => B::VoltageDisputed { by: by.0 },
        F::ColderThanTable => B::ColderThanTable,
        F::CapacityInTheCold { share } => {
            B::CapacityInTheCold { least: share.least.0, most: share.most.0 }
        }
        F::CountedAsOld { age, health } => {
            B::CountedAsOld { months: age.map(|age| age.0), health: health.0 }
        }
        F::NoTableForGel => B::NoTableForGel,
        F::TablesDisagree { main, lower } => B::TablesDisagree { main: main.0, lower: lower.0 },
        F::ExponentBounded { k } => B::ExponentBounded { least: k.least.0, most: k.most.0 },
        F::RatingsDisagree { exponent } => {
            B::RatingsDisagree { exponent: exponent.map(|exponent| exponent.0) }
        }
        F::SagNotMeasured { resistance } => B::SagNotMeasured { microohms: resistance.0 },
        F::LoadFromDrop { load } => B::LoadFromDrop { least: load.least.0, most: load.most.0 },
        F::Thin { reserve, wanted } => B::Thin { reserve: reserve.0, wanted: wanted.0 },
        F::TooShort { reserve, length } => B::TooShort { reserve: reserve.0, length: length.0 },
        F::EndsTooLow { charge, keep } => B::EndsTooLow { charge: charge.0, keep: keep.0 },
        F::ChargerTooSmall { gives, needs } => {
            B::ChargerTooSmall { gives: gives.0, needs: needs.0 }
        }
        F::StillBulk { charge, near_full } => {
            B::StillBulk { charge: charge.0, near_full: near_full.0 }
        }
        F::ChargerBelowLoad { from_battery, reserve } => B::ChargerBelowLoad {
            from_battery: from_battery.0,
            least: reserve.least.0,
            most: reserve.most.0,
        },
        F::NoReadingFits { least, ceiling } => {
            B::NoReadingFits { least: least.0, ceiling: ceiling.0 }
        }
        F::ChargerReadingLow { read, least } => {
            B::ChargerReadingLow { read: read.0, least: least.0 }
        }
        F::ChargerReadingHigh { read, ceiling } => {
            B::ChargerReadingHigh { read: read.0, ceiling: ceiling.0 }
        }
        F::NearCeiling { read, ceiling } => B::NearCeiling { read: read.0, ceiling: ceiling.0 },
        F::ChargerReadingFalls { by } => B::ChargerReadingFalls { by: by.0 },
    }
}
