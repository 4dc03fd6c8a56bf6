//! How late a sound is heard: takes when ticks were given and when a person tapped along, gives the lag
//! that the timing must count with.

use crate::clock::{Millis, Moment};

/// From one tick to the next.
pub const PERIOD: Millis = Millis(900);
/// How many ticks there are; the first are for listening.
pub const TICKS: usize = 14;
/// So many of them are only listened to.
pub const LISTEN: usize = 4;
/// Not fewer taps than this say anything.
const FEWEST: usize = 6;
/// A tap so much before its tick still belongs to it.
const BEFORE: Millis = Millis(250);
/// Who taps along is ahead of what is heard, by 20 to 80 ms (from memory): the lag is that much longer.
const AHEAD: Millis = Millis(80);
/// Taps that lie further apart than this, the outermost tenths left out, are not along with anything.
const STEADY: Millis = Millis(250);

/// What was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lag {
    /// From a cue to when it is heard, at most: the median tap, what people are ahead, rounded up.
    pub lag: Millis,
    /// How far apart the taps lay, the outermost tenths left out.
    pub spread: Millis,
    /// How many taps it rests on.
    pub taps: usize,
}

/// Why nothing was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unclear {
    /// Too few taps fell beside a tick.
    TooFew(usize),
    /// They lay this far apart.
    Unsteady(Millis),
}

/// The lag from ticks and taps.
///
/// # Errors
/// [`Unclear`] where the taps do not say it.
pub fn lag(ticks: &[Moment], taps: &[Moment]) -> Result<Lag, Unclear> {
    let beside = |tick: &Moment| {
        let range = tick.before(BEFORE)..tick.after(PERIOD).before(BEFORE);
        taps.iter().find(|tap| range.contains(tap)).map(|tap| tap.since(*tick))
    };
    let mut late: Vec<Millis> = ticks.iter().skip(LISTEN).filter_map(beside).collect();
    late.sort_unstable();
    if late.len() < FEWEST {
        return Err(Unclear::TooFew(late.len()));
    }
    let tenth = late.len() / 10;
    let spread = late[late.len() - 1 - tenth].minus(late[tenth]);
    if spread > STEADY {
        return Err(Unclear::Unsteady(spread));
    }
    let median = late[late.len() / 2].max(Millis::ZERO).plus(AHEAD);
    Ok(Lag { lag: Millis((median.0 + 9) / 10 * 10), spread, taps: late.len() })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ticks() -> Vec<Moment> {
        (0..TICKS).map(|n| Moment(PERIOD.0 * i64::try_from(n).unwrap())).collect()
    }

    fn tapped(late: &[i64]) -> Vec<Moment> {
        ticks()
            .iter()
            .skip(LISTEN)
            .zip(late)
            .map(|(tick, late)| tick.after(Millis(*late)))
            .collect()
    }

    #[test]
    fn the_lag_is_the_median_tap_and_what_people_are_ahead() {
        let taps = tapped(&[120, 150, 130, 160, 140, 150, 145, 155, 135, 150]);
        let found = lag(&ticks(), &taps);
        assert_eq!(found, Ok(Lag { lag: Millis(230), spread: Millis(25), taps: 10 }));
    }

    #[test]
    fn whoever_is_ahead_of_a_quick_loudspeaker_measures_no_negative_lag() {
        let taps = tapped(&[-40, -50, -30, -45, -20, -60, -35]);
        assert_eq!(lag(&ticks(), &taps).map(|lag| lag.lag), Ok(Millis(80)));
    }

    #[test]
    fn a_slow_wireless_loudspeaker_is_measured_too() {
        let taps = tapped(&[520, 540, 510, 530, 525, 515, 530]);
        assert_eq!(lag(&ticks(), &taps).map(|lag| lag.lag), Ok(Millis(610)));
    }

    #[test]
    fn taps_that_say_nothing_give_nothing() {
        assert_eq!(lag(&ticks(), &tapped(&[100; 5])), Err(Unclear::TooFew(5)));
        assert_eq!(lag(&ticks(), &[]), Err(Unclear::TooFew(0)));
        let random = tapped(&[0, 400, 100, 600, 200, 500, 50]);
        assert_eq!(lag(&ticks(), &random), Err(Unclear::Unsteady(Millis(600))));
    }
}
