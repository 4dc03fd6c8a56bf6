//! How late a sound is heard: takes when ticks were given and when a person tapped along, gives the lag
//! that the timing must count with.
//!
//! Taps along with one steady row of ticks tell the lag only up to whole periods: behind a loudspeaker
//! that is a period late they look like taps along with one that is not late at all. So there are two
//! rows of different periods. A wrong number of periods that fits the first row is off in the second by
//! what the periods differ, once for each.

use crate::clock::{Millis, Moment};

/// From one tick to the next, in the first row and in the second. Wrong lags are off by 180, 360, 540 ms
/// in one of the rows; only one that is 3.6 s longer would fit both.
pub const PERIODS: [Millis; 2] = [Millis(900), Millis(720)];
/// How many ticks a row has; the first are for listening.
pub const TICKS: usize = 10;
/// So many of them are only listened to.
pub const LISTEN: usize = 3;
/// From the last tick of the first row to the first of the second: the last tap lies before it, also
/// behind the latest loudspeaker.
pub const BETWEEN: Millis = Millis(3000);
/// After the last tick taps may still come for so long.
pub const TAIL: Millis = Millis(2600);
/// No loudspeaker may be later than this.
pub const LATEST: Millis = Millis(2000);
/// In each row not fewer taps than this say anything.
const FEWEST: usize = 4;
/// Longest lag that is looked for: what is later than [`LATEST`] is seen to be, not taken for less.
const FARTHEST: i64 = 3200;
/// A tap so much before its tick still belongs to it.
const BEFORE: i64 = -250;
/// So far from where it should be a tap still belongs to its tick.
const BESIDE: i64 = 200;
/// Further from where it should be no tap fits any worse: four times what a person's taps vary by, more
/// than half of what the periods differ by.
const FAR: i64 = 120;
/// Lags that lie closer together than this are the same one, seen with other taps.
const SAME: i64 = 250;
/// Lags are tried in steps of this.
const STEP: usize = 20;
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
    /// Too few taps fell beside a tick in one of the rows.
    TooFew(usize),
    /// They lay this far apart.
    Unsteady(Millis),
    /// They fit two lags about as well.
    Either(Millis, Millis),
    /// The sound is later than a run can count with.
    TooLate,
}

/// The lag from the ticks of both rows and the taps, each in order.
///
/// # Errors
/// [`Unclear`] where the taps do not say it.
pub fn lag(rows: [&[Moment]; 2], taps: &[Moment]) -> Result<Lag, Unclear> {
    let most = rows.map(|row| row.len().saturating_sub(LISTEN)).iter().sum::<usize>();
    if taps.len() < 2 * FEWEST || most < 2 * FEWEST {
        return Err(Unclear::TooFew(taps.len().min(most)));
    }
    let tried = |lag: i64| (misfit(rows, taps, lag), lag);
    let all: Vec<_> = (BEFORE..=FARTHEST).step_by(STEP).map(tried).collect();
    let Some((least, at)) = all.iter().min().copied() else { return Err(Unclear::TooFew(0)) };
    let beside = rows.map(|row| late(row, taps, at));
    if let Some(few) = beside.iter().find(|late| late.len() < FEWEST) {
        return Err(Unclear::TooFew(few.len()));
    }
    let mut late = beside.concat();
    late.sort_unstable();
    let tenth = late.len() / 10;
    let spread = Millis(late[late.len() - 1 - tenth] - late[tenth]);
    if spread > STEADY {
        return Err(Unclear::Unsteady(spread));
    }
    let elsewhere = all.iter().filter(|(_, lag)| (lag - at).abs() > SAME);
    if let Some((_, other)) = elsewhere.min().filter(|(misfit, _)| misfit / 2 < least) {
        let around = |lag: i64| Millis(lag.max(0));
        return Err(Unclear::Either(around(at.min(*other)), around(at.max(*other))));
    }
    // The later of the two in the middle: a lag is rather told too long than too short.
    let median = Millis(late[late.len() / 2]).plus(AHEAD).max(AHEAD);
    let lag = Millis((median.0 + 9) / 10 * 10);
    if lag > LATEST {
        return Err(Unclear::TooLate);
    }
    Ok(Lag { lag, spread, taps: late.len() })
}

/// How badly a lag fits: squares, and a tick without a tap counts as one too far away.
fn misfit(rows: [&[Moment]; 2], taps: &[Moment], lag: i64) -> i64 {
    let judged = rows.into_iter().flat_map(|row| row.iter().skip(LISTEN));
    judged.map(|tick| off(*tick, taps, lag).abs().min(FAR).pow(2)).sum()
}

/// How far from where it should be the nearest tap lies.
fn off(tick: Moment, taps: &[Moment], lag: i64) -> i64 {
    let each = taps.iter().map(|tap| tap.since(tick).0 - lag);
    each.min_by_key(|off| off.abs()).unwrap_or(i64::MAX / 4)
}

/// How late each tap is that belongs to a tick of this row, if the lag is about this one.
fn late(row: &[Moment], taps: &[Moment], lag: i64) -> Vec<i64> {
    let judged = row.iter().skip(LISTEN).map(|tick| off(*tick, taps, lag));
    judged.filter(|off| off.abs() < BESIDE).map(|off| off + lag).collect()
}

/// When the ticks of both rows are due, if the first comes at this moment.
#[must_use]
pub fn rows(first: Moment) -> [Vec<Moment>; 2] {
    let row = |from: Moment, period: Millis| -> Vec<Moment> {
        let nth = |n: usize| from.after(period.times(i64::try_from(n).unwrap_or(0)));
        (0..TICKS).map(nth).collect()
    };
    let one = row(first, PERIODS[0]);
    let second = one.last().copied().unwrap_or(first).after(BETWEEN);
    [one, row(second, PERIODS[1])]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn measured(late: &[i64]) -> Result<Lag, Unclear> {
        let [one, two] = rows(Moment(500));
        let judged = one[LISTEN..].iter().chain(&two[LISTEN..]);
        let taps: Vec<_> =
            judged.zip(late.iter().cycle()).map(|(tick, late)| tick.after(Millis(*late))).collect();
        lag([&one, &two], &taps)
    }

    #[test]
    fn the_lag_is_the_median_tap_and_what_people_are_ahead() {
        let found = measured(&[120, 150, 130, 160, 140, 150, 145]);
        assert_eq!(found, Ok(Lag { lag: Millis(230), spread: Millis(40), taps: 14 }));
    }

    #[test]
    fn whoever_is_ahead_of_a_quick_loudspeaker_measures_no_negative_lag() {
        let found = measured(&[-40, -50, -30, -45, -20, -60, -35]);
        assert_eq!(found.map(|lag| lag.lag), Ok(Millis(80)));
    }

    #[test]
    fn taps_that_say_nothing_give_nothing() {
        let [one, two] = rows(Moment::START);
        assert_eq!(lag([&one, &two], &[]), Err(Unclear::TooFew(0)));
        // Only the first row: nothing tells its periods apart.
        let taps: Vec<_> = one.iter().map(|tick| tick.after(Millis(100))).collect();
        assert_eq!(lag([&one, &two], &taps), Err(Unclear::TooFew(0)));
        assert!(measured(&[0, 400, 100, 600, 200, 500, 50]).is_err());
        assert_eq!(measured(&[2400, 2420, 2410]), Err(Unclear::TooLate));
    }

    /// Deviations of a bell curve: twelve uniform draws, summed.
    fn bell() -> impl Strategy<Value = i64> {
        prop::collection::vec(-150_i64..=150, 12)
            .prop_map(|draws| draws.iter().sum::<i64>() * 30 / 300)
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

        /// Whatever the loudspeaker is late: what is told is never less than what the person heard by
        /// more than that person was ahead, with a few ticks left out and a few taps too many.
        #[test]
        fn no_lag_is_told_shorter_than_it_is(
            true_lag in 0_i64..=2000,
            ahead in 0_i64..=80,
            jitter in prop::collection::vec(bell(), 2 * TICKS),
            left_out in prop::collection::vec(0_usize..2 * TICKS, 0..3),
            extra in prop::collection::vec(0_i64..20_000, 0..2),
        ) {
            let [one, two] = rows(Moment(700));
            let judged = one[LISTEN..].iter().chain(&two[LISTEN..]).enumerate();
            let mut taps: Vec<_> = judged
                .filter(|(nth, _)| !left_out.contains(nth))
                .map(|(nth, tick)| tick.after(Millis(true_lag - ahead + jitter[nth])))
                .chain(extra.iter().map(|at| Moment(*at)))
                .collect();
            taps.sort_unstable();
            match lag([&one, &two], &taps) {
                Ok(found) => {
                    prop_assert!(found.lag.0 >= true_lag - ahead, "{found:?}");
                    prop_assert!(found.lag.0 <= true_lag + 80 + 60, "{found:?}");
                }
                Err(why) => prop_assert!(
                    true_lag > 1880 && why == Unclear::TooLate,
                    "{why:?}: taps like these are clear"
                ),
            }
        }

        /// Any taps at all: no panic, and no lag that a run may not count with.
        #[test]
        fn any_taps_give_a_lag_in_range_or_none(
            mut taps in prop::collection::vec(-1000_i64..30_000, 0..40),
        ) {
            taps.sort_unstable();
            let taps: Vec<_> = taps.into_iter().map(Moment).collect();
            let [one, two] = rows(Moment(700));
            if let Ok(found) = lag([&one, &two], &taps) {
                prop_assert!((AHEAD..=LATEST).contains(&found.lag));
            }
        }
    }
}
