//! The questions about the battery and what follows from the answers, in words.
//!
//! Takes what the record keeps of them; gives sentences. Every figure is rounded the safe way: what
//! is there is rounded down, what is needed is rounded up.

use crate::journal::battery::{
    BatteryAsk as A, BatteryFinding as F, BatteryJudged, BatteryMissing as M, BatteryVerdict as V,
};

/// A question about the battery.
#[must_use]
pub fn ask(about: A) -> &'static str {
    match about {
        A::Kind => {
            "How is the vehicle's battery built? It is printed on it; with caps or nothing printed, it is flooded."
        }
        A::RestVoltage => {
            "Battery voltage at rest, two decimals? No load and no charger for 6 hours, better a \
             night. In V, or \"unknown\"."
        }
        A::RestVoltageAgain => {
            "That is more than this battery holds at rest: a charge on its surface. Lamps on for an \
             hour, or a night's rest; then the voltage again? In V, or \"unknown\"."
        }
        A::Capacity => "Battery capacity, as printed (20 h)? In Ah, or \"unknown\".",
        A::ReserveMinutes => {
            "Its reserve capacity, as printed (minutes at 25 A)? In minutes, or \"unknown\"."
        }
        A::Age => "How old is the battery? In years, or \"unknown\".",
        A::Temperature => {
            "How warm is the battery? The air's temperature where it stood overnight. In °C."
        }
        A::KeyOnVoltage => {
            "Key on, lamps and fan off: battery voltage after 60 seconds, two decimals? In V, or \
             \"unknown\"."
        }
        A::Load => "Current with the key on, by a clamp? In A, or \"unknown\".",
        A::Charger => "Is a charger connected to the battery?",
        A::ChargerCurrent => "How much can the charger give, as printed on it? In A.",
        A::ChargerVoltage => "Key and charger on: battery voltage, two decimals? In V.",
        A::ChargerVoltageAgain => {
            "Two minutes later, key and charger still on: the voltage again? In V."
        }
        A::Limit => {
            "The script bounds the run nowhere. How long shall it last at most? In minutes."
        }
    }
}

/// Whether the battery lasts, why, and what is missing.
#[must_use]
pub fn judged(judged: &BatteryJudged) -> String {
    let mut words = match (judged.verdict, judged.starts) {
        (V::Go, true) => "Battery: GO.".to_owned(),
        (V::GoWithCharger, true) => "Battery: GO WITH THE CHARGER ON.".to_owned(),
        (V::Go | V::GoWithCharger, false) => "Battery: NOT YET.".to_owned(),
        (V::DoNotStart, _) => "Battery: DO NOT START.".to_owned(),
    };
    if let Some((least, most)) = judged.reserve {
        words.push_str(&format!(" By itself it lasts {}.", between_minutes(least, most)));
    }
    let weighty = judged.findings.iter().filter(|finding| matters(finding, judged.starts));
    for finding in weighty {
        words.push(' ');
        words.push_str(&found(finding));
    }
    for missing in &judged.missing {
        words.push(' ');
        words.push_str(lacks(*missing));
    }
    words.push_str(if judged.starts { " Go on?" } else { " Measure again?" });
    words
}

/// Whether a finding is told with the verdict. The rest says how wide the figures are; it stays in
/// the record.
fn matters(finding: &F, starts: bool) -> bool {
    match finding {
        F::SurfaceCharge { .. }
        | F::FloorAboveBattery { .. }
        | F::RestAboveCeiling { .. }
        | F::ColderThanTable
        | F::CountedAsOld { .. }
        | F::NearCeiling { .. } => true,
        F::VoltageDisputed { .. }
        | F::CapacityInTheCold { .. }
        | F::NoTableForGel
        | F::TablesDisagree { .. }
        | F::ExponentBounded { .. }
        | F::SagNotMeasured { .. }
        | F::LoadFromDrop { .. } => false,
        _ => !starts,
    }
}

/// A finding as a sentence.
#[must_use]
pub fn found(finding: &F) -> String {
    match *finding {
        F::FloorAboveBattery { needs, full } => format!(
            "No battery alone can hold that: it would have to rest at {}, and a full one rests at {}.",
            volts_up(needs),
            volts(full)
        ),
        F::SurfaceCharge { read, above } => format!(
            "{} at rest is surface charge (above {}): the charge is not known.",
            volts(read),
            volts(above)
        ),
        F::RestAboveCeiling { read, ceiling } => format!(
            "It rests at {}, above the script's ceiling of {}.",
            volts(read),
            volts(ceiling)
        ),
        F::VoltageDisputed { by } => format!(
            "Outside 10 to 35 °C sources disagree on rest voltages: counted as ±{} less sure.",
            volts(by)
        ),
        F::ColderThanTable => "Colder than any table: nothing is counted as left.".to_owned(),
        F::CapacityInTheCold { least, most } => format!(
            "In the cold {} to {} of its capacity is left.",
            share_down(least),
            share_down(most)
        ),
        F::CountedAsOld { months: Some(months), health } => format!(
            "At {} years it may have only {} of its capacity.",
            months / 12,
            share_down(health)
        ),
        F::CountedAsOld { months: None, health } => {
            format!(
                "Its age is not known: it may have only {} of its capacity.",
                share_down(health)
            )
        }
        F::NoTableForGel => "For gel no table is known: the two others are used.".to_owned(),
        F::TablesDisagree { main, lower } => format!(
            "Tables disagree: {} by one, {} by another. The lower counts.",
            minutes(main),
            minutes(lower)
        ),
        F::ExponentBounded { least, most } => format!(
            "How it takes to a larger current is not printed: counted between {} and {}.",
            decimal(least),
            decimal(most)
        ),
        F::RatingsDisagree { .. } => {
            "Capacity and reserve minutes cannot both be right: read them again.".to_owned()
        }
        F::SagNotMeasured { microohms } => {
            format!("The sag under load was not measured: reckoned from {} mΩ.", decimal(microohms))
        }
        F::LoadFromDrop { least, most } => format!(
            "The load follows from the drop: {} to {}. A clamp would narrow it.",
            amperes(least),
            amperes_up(most)
        ),
        F::Thin { reserve, wanted } => format!(
            "{} is enough for the run once; {} would be for twice.",
            capital(&minutes(reserve)),
            minutes_up(wanted)
        ),
        F::TooShort { reserve, length } => format!(
            "The run may take {}; {} of reserve is too short.",
            minutes_up(length),
            minutes(reserve)
        ),
        F::EndsTooLow { charge, keep } => format!(
            "At the end {} of charge may be left; {} must be, to start the engine.",
            share_down(charge),
            share_down(keep)
        ),
        ref charger => found_of_charger(charger),
    }
}

fn found_of_charger(finding: &F) -> String {
    match *finding {
        F::ChargerTooSmall { gives, needs } => format!(
            "The charger gives {}; load and battery take up to {}: it does not hold its voltage.",
            amperes(gives),
            amperes_up(needs)
        ),
        F::StillBulk { charge, near_full } => format!(
            "The battery may hold only {} of its charge. Below {} it takes all that a charger gives, \
             and the voltage is not held. Charge it first.",
            share_down(charge),
            share_down(near_full)
        ),
        F::ChargerBelowLoad { from_battery, least, most } => format!(
            "The charger gives less than the load; the battery gives up to {} and lasts {}.",
            amperes_up(from_battery),
            between_minutes(least, most)
        ),
        F::NoReadingFits { least, ceiling } => format!(
            "Floor and ceiling leave no room: at least {} and at most {}. The script must be mended.",
            volts_up(least),
            volts(ceiling)
        ),
        F::ChargerReadingLow { read, least } => {
            format!(
                "With the charger on it reads {}; at least {} is needed.",
                volts(read),
                volts_up(least)
            )
        }
        F::ChargerReadingHigh { read, ceiling } => format!(
            "With the charger on it reads {}, above the ceiling of {}.",
            volts(read),
            volts(ceiling)
        ),
        F::NearCeiling { read, ceiling } => format!(
            "{} is within the meter's error of the ceiling, {}.",
            volts(read),
            volts(ceiling)
        ),
        F::ChargerReadingFalls { by } => {
            format!("Between the readings it fell by {}: it is not held.", volts(by))
        }
        _ => String::new(),
    }
}

fn lacks(missing: M) -> &'static str {
    match missing {
        M::Limit => "A limit for the run is missing.",
        M::Ratings => "Its capacity or reserve minutes must be known.",
        M::Load => {
            "The load must be known: the current with the key on, by a clamp, or the voltage."
        }
        M::RestVoltage => "Its rest voltage must be known.",
        M::RestVoltageAgain => "Its rest voltage must be measured after a longer rest.",
        M::ConnectCharger => "Connect a charger.",
        M::ChargerReadings => "Two readings with key and charger on must fit.",
    }
}

fn thousandths(value: i64, places: u32) -> String {
    let step = 10_i64.pow(3 - places);
    let value = value.div_euclid(step);
    let scale = 10_i64.pow(places);
    let (whole, part) = (value.div_euclid(scale), value.rem_euclid(scale));
    if places == 0 {
        return whole.to_string();
    }
    format!("{whole}.{part:0width$}", width = places as usize)
}

fn volts(millivolts: i32) -> String {
    format!("{} V", thousandths(millivolts.into(), 2))
}

fn volts_up(millivolts: i32) -> String {
    format!("{} V", thousandths(i64::from(millivolts) + 9, 2))
}

fn amperes(milliamps: i32) -> String {
    format!("{} A", thousandths(milliamps.into(), 1))
}

fn amperes_up(milliamps: i32) -> String {
    format!("{} A", thousandths(i64::from(milliamps) + 99, 1))
}

fn decimal(thousandths_of: i32) -> String {
    thousandths(thousandths_of.into(), 2)
}

fn share_down(per_mille: i32) -> String {
    format!("{} %", per_mille.div_euclid(10))
}

fn minutes(ms: i64) -> String {
    format!("{} min", ms.div_euclid(60_000))
}

fn minutes_up(ms: i64) -> String {
    format!("{} min", (ms + 59_999).div_euclid(60_000))
}

fn between_minutes(least: i64, most: i64) -> String {
    if least.div_euclid(60_000) == most.div_euclid(60_000) {
        return minutes(least);
    }
    format!("{} to {}", least.div_euclid(60_000), minutes(most))
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect::<String>())
}
