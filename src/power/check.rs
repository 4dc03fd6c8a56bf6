//! Whether an answer can be meant: what is not plausible is asked again, never guessed.
//!
//! Takes numbers as a reading keeps them, in thousandths of the unit asked for (12.65 V is 12 650,
//! and 1265 typed for it is 1 265 000); gives the quantity, or data on why it is not believed. All
//! limits are own rules for 12 V vehicle batteries unless a line says otherwise.

use super::formula;
use super::units::{
    Exponent, Microohms, MilliampHours, Milliamps, Millivolts, Minutes, Months, TenthsCelsius,
};
use super::{Charger, Rated};
use crate::clock::Millis;

/// What was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Asked {
    /// The battery's rest voltage, in volts.
    RestVoltage,
    /// The voltage with the key on, in volts.
    KeyOnVoltage,
    /// The voltage with the charger on, in volts.
    ChargerVoltage,
    /// The script's floor or ceiling, in volts.
    Bound,
    /// The 20-hour capacity, in ampere-hours.
    Capacity,
    /// Reserve minutes at 25 A.
    ReserveMinutes,
    /// The battery's age, in years.
    Age,
    /// The battery's temperature, in degrees Celsius.
    Temperature,
    /// The load with the key on, in amperes.
    Load,
    /// What the charger can give, in amperes.
    Charger,
    /// The cold cranking current, in amperes.
    CrankingCurrent,
    /// The longest that the run shall last, in minutes.
    Limit,
}

/// Why an answer is not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Refused {
    /// Outside what can be meant; all in thousandths of the unit asked for.
    OutOfRange {
        /// The question.
        asked: Asked,
        /// The answer.
        got: i64,
        /// The least that is taken.
        least: i64,
        /// The most that is taken.
        most: i64,
    },
    /// A charger that gives no current.
    ChargerWithoutCurrent,
    /// With the key on, the battery cannot have more than at rest.
    RisesUnderLoad {
        /// At rest.
        rest: Millivolts,
        /// With the key on.
        key_on: Millivolts,
    },
    /// Reserve minutes and 20-hour capacity contradict each other: one is a misprint, or they belong
    /// to two batteries. The exponent that they give, where they give one.
    RatingsDisagree {
        /// Below 1 or above [`Exponent::MOST`].
        exponent: Option<Exponent>,
    },
    /// The ceiling does not lie above the floor.
    CeilingBelowFloor {
        /// The floor.
        floor: Millivolts,
        /// The ceiling.
        ceiling: Millivolts,
    },
}

fn within(asked: Asked, got: i64, least: i64, most: i64) -> Result<i64, Refused> {
    if (least..=most).contains(&got) {
        Ok(got)
    } else {
        Err(Refused::OutOfRange { asked, got, least, most })
    }
}

/// For values that `within` has let through: all of its limits fit.
fn fits(value: i64) -> i32 {
    i32::try_from(value).unwrap_or(i32::MAX)
}

/// A rest voltage: 9 to 15 V. Below 10.5 V a battery is empty or not a 12 V one, but 9 V can be read.
///
/// # Errors
/// Outside that range.
pub fn check_rest_voltage(volts: i64) -> Result<Millivolts, Refused> {
    within(Asked::RestVoltage, volts, 9_000, 15_000).map(|v| Millivolts(fits(v)))
}

/// A voltage with the charger on: 9 to 16 V.
///
/// # Errors
/// Outside that range.
pub fn check_charger_voltage(volts: i64) -> Result<Millivolts, Refused> {
    within(Asked::ChargerVoltage, volts, 9_000, 16_000).map(|v| Millivolts(fits(v)))
}

/// The fall from rest to key on (60 s later): zero to what leaves 6 V.
///
/// # Errors
/// A voltage outside 6 to 15 V, or one that rises under load.
pub fn check_drop(rest: Millivolts, key_on_volts: i64) -> Result<Millivolts, Refused> {
    let read = within(Asked::KeyOnVoltage, key_on_volts, 6_000, 15_000)?;
    let key_on = Millivolts(fits(read));
    if key_on > rest {
        return Err(Refused::RisesUnderLoad { rest, key_on });
    }
    Ok(rest.minus(key_on))
}

/// A script's floor and ceiling: each 9 to 16 V, the ceiling above the floor.
///
/// # Errors
/// Outside that range, or the wrong way round.
pub fn check_bounds(
    floor: i64,
    ceiling: Option<i64>,
) -> Result<(Millivolts, Option<Millivolts>), Refused> {
    let bound = |volts| within(Asked::Bound, volts, 9_000, 16_000).map(|v| Millivolts(fits(v)));
    let (floor, ceiling) = (bound(floor)?, ceiling.map(bound).transpose()?);
    match ceiling {
        Some(ceiling) if ceiling <= floor => Err(Refused::CeilingBelowFloor { floor, ceiling }),
        _ => Ok((floor, ceiling)),
    }
}

/// A 20-hour capacity: 5 to 500 Ah.
///
/// # Errors
/// Outside that range.
pub fn check_capacity(amp_hours: i64) -> Result<MilliampHours, Refused> {
    within(Asked::Capacity, amp_hours, 5_000, 500_000).map(|c| MilliampHours(fits(c)))
}

/// Reserve minutes: 5 to 1000, in whole minutes (a fraction is dropped).
///
/// # Errors
/// Outside that range.
pub fn check_reserve_minutes(minutes: i64) -> Result<Minutes, Refused> {
    within(Asked::ReserveMinutes, minutes, 5_000, 1_000_000).map(|m| Minutes(fits(m / 1000)))
}

/// Both ratings of one battery: their exponent must lie from 1 to [`Exponent::MOST`].
///
/// # Errors
/// Ratings that no battery can have together.
pub fn check_ratings(capacity: MilliampHours, reserve: Minutes) -> Result<Rated, Refused> {
    match formula::exponent(reserve, capacity) {
        Some(k) if (Exponent::ONE..=Exponent::MOST).contains(&k) => {
            Ok(Rated::Both { capacity, reserve })
        }
        exponent => Err(Refused::RatingsDisagree { exponent }),
    }
}

/// An age in years: zero to 30, kept in whole months, rounded up.
///
/// # Errors
/// Outside that range; a negative age above all.
pub fn check_age(years: i64) -> Result<Months, Refused> {
    within(Asked::Age, years, 0, 30_000).map(|y| Months(fits((y * 12 + 999) / 1000)))
}

/// A temperature: −40 to 60 °C, rounded down to tenths.
///
/// # Errors
/// Outside that range.
pub fn check_temperature(celsius: i64) -> Result<TenthsCelsius, Refused> {
    within(Asked::Temperature, celsius, -40_000, 60_000)
        .map(|t| TenthsCelsius(fits(t.div_euclid(100))))
}

/// A limit for the run in minutes: 1 to 1440 (a day, the longest that a script may say).
///
/// # Errors
/// Outside that range.
pub fn check_limit(minutes: i64) -> Result<Millis, Refused> {
    within(Asked::Limit, minutes, 1_000, 1_440_000).map(|m| Millis(m.saturating_mul(60)))
}

/// A load with the key on: 0.1 to 200 A.
///
/// # Errors
/// Outside that range.
pub fn check_load(amperes: i64) -> Result<Milliamps, Refused> {
    within(Asked::Load, amperes, 100, 200_000).map(|i| Milliamps(fits(i)))
}

/// A charger's current: 0.1 to 300 A.
///
/// # Errors
/// Zero ([`Refused::ChargerWithoutCurrent`]), or outside that range.
pub fn check_charger(amperes: i64) -> Result<Charger, Refused> {
    if amperes == 0 {
        return Err(Refused::ChargerWithoutCurrent);
    }
    within(Asked::Charger, amperes, 100, 300_000)
        .map(|i| Charger { gives: Milliamps(fits(i)), readings: None })
}

/// The inner resistance of a cold battery from its cold cranking current (50 to 2000 A): that current
/// pulls it from 12.6 V to 7.2 V at −18 °C, by its definition, so R = 5.4 V / current.
///
/// # Errors
/// Outside that range.
pub fn resistance_from_cranking(amperes: i64) -> Result<Microohms, Refused> {
    let amperes = within(Asked::CrankingCurrent, amperes, 50_000, 2_000_000)?;
    Ok(Microohms(fits(5_400_000_000 / amperes)))
}
