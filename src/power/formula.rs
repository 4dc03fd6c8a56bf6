//! The formulas of the battery reserve, the one place with floating-point numbers.
//!
//! Takes the quantities of `units` and the rows of `tables`; gives lengths of time and shares,
//! rounded to the side that promises less (`least` down) or claims less (`most` up). Every function
//! is total: nonsense in (no current, no capacity) gives zero out.

use super::tables::{CAPACITY_WHEN_COLD, PER_MILLE_A_DEGREE, Row, SECOND_FROM, SECOND_FULL, Table};
use super::units::{
    Between, Exponent, Microohms, MilliampHours, Milliamps, Millivolts, Minutes, PerMille,
    TenthsCelsius,
};
use crate::clock::Millis;

/// Hours of the discharge at which a battery's capacity is rated.
const RATED_HOURS: f64 = 20.0;
/// Amperes of the discharge at which its reserve minutes are rated.
const RESERVE_AMPERES: f64 = 25.0;
const MILLIS_AN_HOUR: f64 = 3_600_000.0;

/// Peukert's exponent from both ratings: k = ln(20 h / t) / ln(25 A / (C/20 h)), t the reserve
/// minutes in hours. `None` where the two cannot be put in relation (a rating of zero, or 25 A being
/// the 20-hour current itself). An exponent below 1 is returned as it is: the caller refuses it.
#[must_use]
pub fn exponent(reserve: Minutes, capacity: MilliampHours) -> Option<Exponent> {
    if reserve.0 <= 0 || capacity.0 <= 0 {
        return None;
    }
    let hours = f64::from(reserve.0) / 60.0;
    let rated_amperes = amp_hours(capacity) / RATED_HOURS;
    let k = (RATED_HOURS / hours).ln() / (RESERVE_AMPERES / rated_amperes).ln();
    k.is_finite().then(|| Exponent(whole((k * 1000.0).round())))
}

/// The 20-hour capacity that a battery with these reserve minutes has under an exponent: the rated
/// form solved for C.
#[must_use]
pub fn capacity_from_reserve(reserve: Minutes, k: Exponent) -> MilliampHours {
    if reserve.0 <= 0 || k.0 <= 0 {
        return MilliampHours(0);
    }
    let hours = f64::from(reserve.0) / 60.0;
    let amp_hours = RESERVE_AMPERES * RATED_HOURS * (hours / RATED_HOURS).powf(1.0 / of(k));
    MilliampHours(whole((amp_hours * 1000.0).floor()))
}

/// How long a full battery bears a load, t = H·(C/(I·H))^k with H = 20 h (the rated form; the form
/// C/I^k with the same C is another formula and gives less or more). Below the 20-hour current no
/// more than the rated capacity is counted: own rule, on the side of less.
#[must_use]
pub fn run_time(load: Milliamps, capacity: MilliampHours, k: Exponent) -> Millis {
    Millis(floor(run_hours(load, amp_hours(capacity), k) * MILLIS_AN_HOUR))
}

/// The share of charge at a rest voltage, between the rows of a table straight, held at its ends.
#[must_use]
pub fn charge_at(table: Table, rest: Millivolts) -> PerMille {
    PerMille(whole((between_rows(table.rows(), f64::from(rest.0))).floor()))
}

/// The share of its capacity that a battery has at a temperature, from the lower to the higher of
/// two sources. Warmth above 27 °C adds nothing, and below the coldest row (−28.8 °C) nothing is
/// counted as left.
#[must_use]
pub fn capacity_share(at: TenthsCelsius) -> Between<PerMille> {
    let Between { least, most } = capacity_factor(at);
    Between {
        least: PerMille(whole((least * 1000.0).floor())),
        most: PerMille(whole((most * 1000.0).ceil())),
    }
}

/// The fall of tension of a load over a resistance, rounded up.
#[must_use]
pub fn sag(load: Milliamps, resistance: Microohms) -> Millivolts {
    // mA · µΩ = nV
    let nanovolts = i64::from(load.0.max(0)).saturating_mul(i64::from(resistance.0.max(0)));
    let up = nanovolts.saturating_add(999_999) / 1_000_000;
    Millivolts(i32::try_from(up).unwrap_or(i32::MAX))
}

/// The current that makes a fall of tension over a resistance; zero for none.
#[must_use]
pub fn current(fall: Millivolts, resistance: Microohms) -> Milliamps {
    if resistance.0 <= 0 {
        return Milliamps(0);
    }
    let picked = i64::from(fall.0.max(0)).saturating_mul(1_000_000) / i64::from(resistance.0);
    Milliamps(i32::try_from(picked).unwrap_or(i32::MAX))
}

/// A battery's ratings and state as one side of the bounds sees them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Discharge {
    /// The table that turns voltages into charge.
    pub table: Table,
    /// The rest voltage; `None` where it says nothing.
    pub rest: Option<Between<Millivolts>>,
    /// The script's floor plus the sag of the load: below this rest voltage the floor is broken.
    pub floor: Between<Millivolts>,
    /// The current taken from the battery.
    pub load: Between<Milliamps>,
    /// The rated 20-hour capacity.
    pub capacity: MilliampHours,
    /// The exponent.
    pub k: Exponent,
    /// The share of the rated capacity left by age.
    pub health: Between<PerMille>,
    /// The temperature.
    pub temperature: TenthsCelsius,
}

/// From now to the floor: (charge now − charge at the floor) · run time of a full battery, never
/// below zero.
#[must_use]
pub fn reserve(of: &Discharge) -> Between<Millis> {
    let (now, at_floor) = (charge_now(of), charge_at_floor(of));
    let hours = full_hours(of);
    Between {
        least: Millis(floor((now.least - at_floor.most).max(0.0) * hours.least * MILLIS_AN_HOUR)),
        most: Millis(ceil((now.most - at_floor.least).max(0.0) * hours.most * MILLIS_AN_HOUR)),
    }
}

/// The charge now, at the least and at the most.
#[must_use]
pub fn charge(of: &Discharge) -> Between<PerMille> {
    let now = charge_now(of);
    Between {
        least: PerMille(whole((now.least * 1000.0).floor())),
        most: PerMille(whole((now.most * 1000.0).ceil())),
    }
}

/// The charge that is left at the least after the load was borne for a time.
#[must_use]
pub fn charge_after(of: &Discharge, time: Millis) -> PerMille {
    let full = full_hours(of).least * MILLIS_AN_HOUR;
    #[expect(
        clippy::cast_precision_loss,
        reason = "a day in milliseconds is exact; more only rounds"
    )]
    let spent = if time.0 <= 0 { 0.0 } else { time.0 as f64 / full };
    PerMille(whole(((charge_now(of).least - spent).max(0.0) * 1000.0).floor()))
}

fn charge_now(of: &Discharge) -> Between<f64> {
    let Some(rest) = of.rest else { return Between { least: 0.0, most: 1.0 } };
    let share = |volts: Millivolts| between_rows(of.table.rows(), f64::from(volts.0)) / 1000.0;
    Between { least: share(rest.least), most: share(rest.most) }
}

fn charge_at_floor(of: &Discharge) -> Between<f64> {
    let share = |volts: Millivolts| between_rows(of.table.rows(), f64::from(volts.0)) / 1000.0;
    Between { least: share(of.floor.least), most: share(of.floor.most) }
}

/// The run time of a full battery as old and as cold as this one, in hours.
fn full_hours(of: &Discharge) -> Between<f64> {
    let warm = capacity_factor(of.temperature);
    let left = |health: PerMille, warm: f64| {
        amp_hours(of.capacity) * f64::from(health.0.max(0)) / 1000.0 * warm
    };
    Between {
        least: run_hours(of.load.most, left(of.health.least, warm.least), of.k),
        most: run_hours(of.load.least, left(of.health.most, warm.most), of.k),
    }
}

fn run_hours(load: Milliamps, amp_hours: f64, k: Exponent) -> f64 {
    if load.0 <= 0 || amp_hours <= 0.0 {
        return 0.0;
    }
    let amperes = f64::from(load.0) / 1000.0;
    let times_rated = amperes * RATED_HOURS / amp_hours;
    if times_rated < 1.0 {
        return amp_hours / amperes;
    }
    RATED_HOURS * times_rated.powf(-of(k))
}

fn capacity_factor(at: TenthsCelsius) -> Between<f64> {
    let coldest = CAPACITY_WHEN_COLD.first().map_or(0, |row| row.0);
    if at.0 < coldest {
        return Between { least: 0.0, most: 0.0 };
    }
    let least = between_rows(CAPACITY_WHEN_COLD, f64::from(at.0)) / 1000.0;
    let second = if at < SECOND_FROM {
        least
    } else {
        1.0 - PER_MILLE_A_DEGREE / 1000.0 * f64::from(SECOND_FULL.0 - at.0) / 10.0
    };
    Between { least, most: least.max(second.min(1.0)) }
}

fn between_rows(rows: &[Row], at: f64) -> f64 {
    let mut last: Option<(f64, f64)> = None;
    for &(x, y) in rows {
        let (x, y) = (f64::from(x), f64::from(y));
        if at <= x {
            return match last {
                None => y,
                Some((x0, y0)) => y0 + (at - x0) / (x - x0) * (y - y0),
            };
        }
        last = Some((x, y));
    }
    last.map_or(0.0, |(_, y)| y)
}

fn amp_hours(capacity: MilliampHours) -> f64 {
    f64::from(capacity.0) / 1000.0
}

fn of(k: Exponent) -> f64 {
    f64::from(k.0) / 1000.0
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "`as` holds at the ends of the range, by design"
)]
fn whole(x: f64) -> i32 {
    x as i32
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "`as` holds at the ends of the range, by design"
)]
fn floor(x: f64) -> i64 {
    x.floor() as i64
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "`as` holds at the ends of the range, by design"
)]
fn ceil(x: f64) -> i64 {
    x.ceil() as i64
}
