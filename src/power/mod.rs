//! Whether the vehicle's battery lasts for a run: reserve in minutes to the script's floor, and a
//! verdict.
//!
//! Takes a [`Question`]: what is known of the battery, the load, the charger, the worst length of
//! the run and the script's floor and ceiling. Gives an [`Assessment`]: the verdict, the reserve
//! between two bounds, findings with their figures, and what has to be asked before more can be
//! said. No wording and no text: answers are read and worded elsewhere, after `check` has found
//! them plausible.
//!
//! How uncertainty is carried: every quantity has a least and a most, the verdict rests on the least
//! reserve that any applicable table gives. The meter's error (±0.02 V or more) widens the rest
//! voltage and a measured drop; outside 10–35 °C the rest voltage is widened by a further ±0.1 V
//! and never corrected, because sources disagree on the sign. An old battery, or one of unknown age,
//! counts with less of its capacity at the least and all of it at the most.

pub mod check;
pub mod formula;
mod judge;
pub mod tables;
pub mod units;

pub use judge::assess;
pub use tables::{Kind, Table};
pub use units::{
    Between, Exponent, MeterError, Microohms, MilliampHours, Milliamps, Millivolts, Minutes,
    Months, PerMille, TenthsCelsius,
};

use crate::clock::Millis;

/// What is printed on the battery, or known of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Rated {
    /// The 20-hour capacity alone: the exponent is bounded by the kind's ([`Kind::exponents`]).
    TwentyHours(MilliampHours),
    /// Reserve minutes alone: the capacity follows under each bound of the exponent.
    ReserveMinutes(Minutes),
    /// Both, as `check::check_ratings` lets them through: the exponent follows.
    Both {
        /// The 20-hour capacity.
        capacity: MilliampHours,
        /// Reserve minutes.
        reserve: Minutes,
    },
    /// The 20-hour capacity and an exponent from the battery's own papers.
    WithExponent {
        /// The 20-hour capacity.
        capacity: MilliampHours,
        /// The exponent.
        exponent: Exponent,
    },
}

/// What is known of the battery.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Battery {
    /// How it is built.
    pub kind: Kind,
    /// Its ratings, where known.
    pub rated: Option<Rated>,
    /// Its voltage after rest (6 h or more, better 24 h, without load or charger), where known.
    pub rest: Option<Millivolts>,
    /// Its age; unknown counts as old.
    pub age: Option<Months>,
    /// Its temperature.
    pub temperature: TenthsCelsius,
    /// Its inner resistance, where known (`check::resistance_from_cranking`).
    pub resistance: Option<Microohms>,
}

/// What the vehicle draws with the key on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Load {
    /// By a clamp: the sag follows from the resistance, and promises too much, because a battery
    /// sags further within the first minute.
    Amperes(Milliamps),
    /// The fall from rest to 60 s after key on: the current follows from bounds of the resistance,
    /// widely.
    Drop(Millivolts),
    /// Both, the best.
    Both {
        /// By a clamp.
        amperes: Milliamps,
        /// The fall from rest to 60 s after key on.
        drop: Millivolts,
    },
}

/// A charger, connected.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Charger {
    /// What it can give.
    pub gives: Milliamps,
    /// Two readings with the key and the charger on, two minutes apart, in the order taken.
    pub readings: Option<[Millivolts; 2]>,
}

/// The worst length of the run, as the proof or the person states it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Length {
    /// At most so long.
    AtMost(Millis),
    /// Nothing bounds it: a limit is asked for, none is assumed.
    Unbounded,
}

/// What the run needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Demand {
    /// Its worst length.
    pub length: Length,
    /// The voltage that must not be undercut.
    pub floor: Millivolts,
    /// The voltage that must not be exceeded, if any.
    pub ceiling: Option<Millivolts>,
}

/// Own rules and values from memory: none has a citable source, all may be set otherwise.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Settings {
    /// A battery older than this counts as old. From memory: 4 years.
    pub old_after: Months,
    /// The least capacity of an old battery. From memory: 70 %.
    pub old_health: PerMille,
    /// The reserve must be so many times the worst length. Own rule: 2.
    pub times_length: i32,
    /// The charge that must be left at the end, to start the engine. Own rule: 50 %.
    pub keep: PerMille,
    /// Below this charge a battery takes all that a charger gives (bulk). From memory: 80 %.
    pub near_full: PerMille,
    /// Near full it takes at most this share of its 20-hour capacity as a current (one tenth, 6 A of
    /// 60 Ah). From a maker's rule for charger sizes.
    pub acceptance: PerMille,
    /// With the charger on, the voltage must lie so far above the floor. Own rule: 0.2 V.
    pub above_floor: Millivolts,
    /// The inner resistance where none was measured. A weak source calls less than 10 mΩ healthy.
    pub resistance: Microohms,
    /// The least inner resistance, to find the most current behind a measured drop. From memory:
    /// 5 mΩ.
    pub least_resistance: Microohms,
    /// No vehicle draws less than this with the key on. From memory: 1 A.
    pub least_load: Milliamps,
}

impl Default for Settings {
    fn default() -> Settings {
        Settings {
            old_after: Months(48),
            old_health: PerMille(700),
            times_length: 2,
            keep: PerMille(500),
            near_full: PerMille(800),
            acceptance: PerMille(100),
            above_floor: Millivolts(200),
            resistance: Microohms(10_000),
            least_resistance: Microohms(5_000),
            least_load: Milliamps(1_000),
        }
    }
}

/// All that is known before a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Question {
    /// The battery.
    pub battery: Battery,
    /// The load, where known.
    pub load: Option<Load>,
    /// The charger, if one is connected.
    pub charger: Option<Charger>,
    /// The run.
    pub demand: Demand,
    /// The voltmeter.
    pub meter: MeterError,
    /// The own rules.
    pub settings: Settings,
}

/// May the run start? From worst to best.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Verdict {
    /// No, or not before what is asked has been answered.
    DoNotStart,
    /// With a charger. Where one has yet to be connected, [`Ask::ConnectCharger`] says so.
    GoWithCharger,
    /// The battery alone is enough.
    Go,
}

/// The answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Assessment {
    /// The verdict. It rests on the least reserve of all tables that apply.
    pub verdict: Verdict,
    /// How long the battery alone lasts to the floor, over all tables that apply. `None` where the
    /// ratings or the load are not known.
    pub reserve: Option<Between<Millis>>,
    /// The same by each table, the kind's main one first.
    pub by_table: Vec<(Table, Between<Millis>)>,
    /// The charge now, over all tables that apply.
    pub charge: Between<PerMille>,
    /// What was found, in the order found.
    pub findings: Vec<Finding>,
    /// What has to be asked or done before more can be said, in the order to ask.
    pub asks: Vec<Ask>,
}

impl Assessment {
    /// Whether the run may start as things stand: no refusal, and nothing left to ask.
    #[must_use]
    pub fn may_start(&self) -> bool {
        self.verdict != Verdict::DoNotStart && self.asks.is_empty()
    }
}

/// What is missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Ask {
    /// The script bounds the run nowhere: how long shall it last at most?
    Limit,
    /// The 20-hour capacity or the reserve minutes (or both, read again where they disagree).
    Ratings,
    /// The load: the drop with the key on, or amperes.
    Load,
    /// The rest voltage, two decimals.
    RestVoltage,
    /// The rest voltage again after a small load for an hour, or a longer rest.
    RestVoltageAgain,
    /// A charger, to be connected.
    ConnectCharger,
    /// Two readings with key and charger on, two minutes apart.
    ChargerReadings,
}

/// Something found, with its figures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Finding {
    /// No battery alone can hold the floor: it would have to rest at `needs`, and a full one rests
    /// at `full`.
    FloorAboveBattery {
        /// The floor and the sag.
        needs: Millivolts,
        /// A full battery.
        full: Millivolts,
    },
    /// The rest voltage is too high to be one: surface charge, the charge is unknown.
    SurfaceCharge {
        /// What was read.
        read: Millivolts,
        /// The highest that is believed.
        above: Millivolts,
    },
    /// The rest voltage lies above the script's ceiling.
    RestAboveCeiling {
        /// What was read.
        read: Millivolts,
        /// The ceiling.
        ceiling: Millivolts,
    },
    /// Too cold or warm for an undisputed rest voltage: widened by so much more, either way.
    VoltageDisputed {
        /// The widening on top of the meter's error.
        by: Millivolts,
    },
    /// Colder than the capacity table: nothing is counted as left.
    ColderThanTable,
    /// Capacity counted for the cold: so much of the rated one.
    CapacityInTheCold {
        /// By the lower and the higher source.
        share: Between<PerMille>,
    },
    /// The battery is old, or its age unknown: at the least this share of its capacity is counted.
    CountedAsOld {
        /// Its age, where known.
        age: Option<Months>,
        /// The share.
        health: PerMille,
    },
    /// No table for this kind: those of the two others were used.
    NoTableForGel,
    /// Another table promises less than the kind's main one; the verdict rests on the lower.
    TablesDisagree {
        /// The least by the main table.
        main: Millis,
        /// The least by the other.
        lower: Millis,
    },
    /// The ratings do not give the exponent: bounds were used.
    ExponentBounded {
        /// The bounds.
        k: Between<Exponent>,
    },
    /// Both ratings contradict each other; they were not used.
    RatingsDisagree {
        /// The exponent that they would give, if any.
        exponent: Option<Exponent>,
    },
    /// The sag follows from a resistance and was not measured: the reserve is on the high side.
    SagNotMeasured {
        /// The resistance used.
        resistance: Microohms,
    },
    /// The current follows from the measured drop: a clamp would narrow it.
    LoadFromDrop {
        /// The bounds.
        load: Between<Milliamps>,
    },
    /// The reserve is enough for the run once, but not as many times as wanted.
    Thin {
        /// The least reserve.
        reserve: Millis,
        /// What would be enough.
        wanted: Millis,
    },
    /// The reserve may end before the run.
    TooShort {
        /// The least reserve.
        reserve: Millis,
        /// The worst length.
        length: Millis,
    },
    /// At the end, too little may be left to start the engine.
    EndsTooLow {
        /// The least charge at the end.
        charge: PerMille,
        /// What must be left.
        keep: PerMille,
    },
    /// The charger gives less than load and battery take: it does not hold its voltage.
    ChargerTooSmall {
        /// What it gives.
        gives: Milliamps,
        /// Load and acceptance.
        needs: Milliamps,
    },
    /// The battery still takes all that a charger gives: no charger holds its voltage yet. Charge
    /// first.
    StillBulk {
        /// The least charge now.
        charge: PerMille,
        /// From here on it takes less.
        near_full: PerMille,
    },
    /// The charger gives less than the load alone: the battery is discharged by the rest.
    ChargerBelowLoad {
        /// What the battery gives at the most.
        from_battery: Milliamps,
        /// How long that lasts.
        reserve: Between<Millis>,
    },
    /// No reading can satisfy floor and ceiling at once.
    NoReadingFits {
        /// Floor and margin.
        least: Millivolts,
        /// The ceiling.
        ceiling: Millivolts,
    },
    /// With the charger on, a reading lies too near the floor or below it.
    ChargerReadingLow {
        /// The lower reading.
        read: Millivolts,
        /// Floor and margin (a coarse meter's error where that is more).
        least: Millivolts,
    },
    /// With the charger on, a reading lies above the ceiling.
    ChargerReadingHigh {
        /// The higher reading.
        read: Millivolts,
        /// The ceiling.
        ceiling: Millivolts,
    },
    /// A reading lies below the ceiling by less than the meter's error. Does not refuse.
    NearCeiling {
        /// The higher reading.
        read: Millivolts,
        /// The ceiling.
        ceiling: Millivolts,
    },
    /// Between the two readings the voltage fell by more than the meter's error: it is not held.
    ChargerReadingFalls {
        /// By so much.
        by: Millivolts,
    },
}
