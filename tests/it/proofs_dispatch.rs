//! Runs over controllable networks: whoever acts inside the earliest and latest safe moment never
//! breaks a bound, and the latest moment shown is never later than the true one.

use std::sync::Arc;

use proptest::prelude::*;
use stepbell::clock::Moment;
use stepbell::proof::controllable::{LatestSafe, Part, Role, Use, Verdict, check};
use stepbell::proof::dispatch::{Live, Overdue, Plan};
use stepbell::proof::network::Point;

use crate::proofs::{config, tiny};
use crate::proofs_game::Plain;

/// When the person acts inside what is safe.
#[derive(Clone, Copy, Debug)]
enum Habit {
    Earliest,
    Latest,
    Random,
}

/// A small generator of its own, so that a failure shrinks to one seed (splitmix64).
struct Dice(u64);

impl Dice {
    fn below(&mut self, sides: i64) -> i64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        i64::try_from((z ^ (z >> 31)) >> 1).expect("63 bits") % sides.max(1)
    }
}

struct Run<'a> {
    plain: &'a Plain,
    live: Live,
    points: Vec<Point>,
    now: i64,
    dice: Dice,
    habit: Habit,
    /// When nature has picked each awaited outcome to come.
    due: Vec<Option<i64>>,
}

impl<'a> Run<'a> {
    fn new(plain: &'a Plain, plan: &Arc<Plan>, habit: Habit, seed: u64) -> Run<'a> {
        Run {
            plain,
            live: Live::new(Arc::clone(plan)),
            points: plan.network().points().collect(),
            now: 0,
            dice: Dice(seed),
            habit,
            due: vec![None; plain.links.len()],
        }
    }

    fn time(&self, point: usize) -> Option<i64> {
        self.live.happened(self.points[point]).map(|at| at.0)
    }

    fn happen(&mut self, point: usize, at: i64) -> Result<(), TestCaseError> {
        self.now = at;
        let broken = self.live.happen(self.points[point], Moment(at));
        prop_assert!(broken.parts.is_empty(), "{:?} broken at {}: {:?}", broken, at, self.plain);
        for i in 0..self.plain.links.len() {
            let (activation, outcome, lo, hi) = self.plain.links[i];
            // An exact link leaves nature no choice: its outcome is acted on like any point.
            if activation == point && lo < hi && self.time(outcome).is_none() {
                let extra = match self.dice.below(4) {
                    0 => 0,
                    1 => hi - lo,
                    _ => self.dice.below(hi - lo + 1),
                };
                self.due[i] = Some(at + lo + extra);
            }
        }
        Ok(())
    }

    /// The moment at which the person means to act on an enabled point. While the point waits for
    /// an outcome, its latest moment may lie before its earliest: it moves on with the outcome.
    fn intention(&mut self, point: Point) -> Result<i64, TestCaseError> {
        let from = self.live.earliest(point).map_or(self.now, |limit| limit.at.0).max(self.now);
        let latest = self.live.latest(point, Moment(self.now)).map(|limit| limit.at.0);
        prop_assert!(latest.is_none_or(|l| self.now <= l), "missed {:?}: {:?}", point, self.plain);
        let until = latest.unwrap_or(from + 4).max(from);
        Ok(match self.habit {
            Habit::Earliest => from,
            Habit::Latest => until,
            Habit::Random => from + self.dice.below(until - from + 1),
        })
    }

    fn act(&mut self, point: Point, at: i64) -> Result<(), TestCaseError> {
        let latest = self.live.latest(point, Moment(at)).map(|limit| limit.at.0);
        prop_assert!(latest.is_none_or(|latest| at <= latest), "{:?}: {:?}", point, self.plain);
        self.happen(point.index(), at)
    }

    /// Plays to the end. `look` sees every state in which the person may act.
    fn play(
        &mut self,
        look: &mut dyn FnMut(&Live, i64) -> Result<(), TestCaseError>,
    ) -> Result<(), TestCaseError> {
        loop {
            look(&self.live, self.now)?;
            let mut act: Option<(i64, Point)> = None;
            for point in self.live.enabled().collect::<Vec<_>>() {
                let at = self.intention(point)?;
                if act.is_none_or(|(first, _)| at < first) {
                    act = Some((at, point));
                }
            }
            let awaited = (0..self.due.len()).filter_map(|i| {
                let outcome = self.plain.links[i].1;
                self.due[i].filter(|_| self.time(outcome).is_none()).map(|at| (at, outcome))
            });
            match (act, awaited.min()) {
                (None, None) => break,
                (Some((at, point)), next) if next.is_none_or(|(due, _)| at < due) => {
                    self.act(point, at)?;
                }
                (Some((at, point)), Some((due, _))) if at == due && self.dice.below(2) == 0 => {
                    self.act(point, at)?;
                }
                (_, Some((due, outcome))) => self.happen(outcome, due)?,
                (Some(_), None) => unreachable!("the second arm takes it"),
            }
        }
        for point in 0..self.plain.points {
            prop_assert!(self.time(point).is_some(), "{} is stuck in {:?}", point, self.plain);
        }
        for &(u, v, w) in &self.plain.bounds {
            let (Some(u), Some(v)) = (self.time(u), self.time(v)) else { continue };
            prop_assert!(v - u <= w, "a bound is broken in {:?}", self.plain);
        }
        Ok(())
    }
}

const HABITS: [Habit; 3] = [Habit::Earliest, Habit::Latest, Habit::Random];

proptest! {
    #![proptest_config(config(3000))]

    #[test]
    fn whoever_acts_inside_the_window_keeps_every_bound(plain in tiny(7), seed in any::<u64>()) {
        let Ok(plan) = Plan::new(plain.build()) else { return Ok(()) };
        let plan = Arc::new(plan);
        for habit in HABITS {
            for extra in 0..4 {
                Run::new(&plain, &plan, habit, seed.wrapping_add(extra)).play(&mut |_, _| Ok(()))?;
            }
        }
    }
}

proptest! {
    #![proptest_config(config(1500))]

    #[test]
    fn the_latest_moment_is_never_later_than_the_true_one(plain in tiny(7), seed in any::<u64>()) {
        let Ok(plan) = Plan::new(plain.build()) else { return Ok(()) };
        let plan = Arc::new(plan);
        let mut differ = 0;
        let mut look = |live: &Live, now: i64| {
            for point in live.enabled() {
                let shown = live.latest(point, Moment(now)).map(|limit| limit.at.0);
                let truth = live.latest_by_search(point, Moment(now)).expect("nothing is overdue");
                match (shown, truth) {
                    (None, LatestSafe::Unbounded) => {}
                    (Some(shown), LatestSafe::After(truth)) if shown == truth.0 => {}
                    _ => differ += 1,
                }
                let safe = match (shown, truth) {
                    (_, LatestSafe::Unbounded) => true,
                    (Some(shown), LatestSafe::After(truth)) => shown <= truth.0,
                    (None, LatestSafe::After(_)) | (_, LatestSafe::NotControllable) => false,
                };
                prop_assert!(safe, "{shown:?} shown, {truth:?} true for {point:?} at {now}: {plain:?}");
            }
            Ok(())
        };
        for habit in HABITS {
            Run::new(&plain, &plan, habit, seed).play(&mut look)?;
        }
        prop_assert_eq!(differ, 0);
    }
}

/// A lamp comes within 1..4 of the press; after it, one of two things is seen to be so, and each
/// asks for another act.
fn two_branches() -> Plain {
    Plain {
        points: 4,
        bounds: vec![
            // The act of either branch within 3 after the lamp, not before it.
            (1, 2, 3),
            (2, 1, 0),
            (1, 3, 3),
            (3, 1, -1),
            // The act of the first branch follows that of the second.
            (2, 3, -1),
        ],
        links: vec![(0, 1, 1, 4)],
    }
}

fn begun() -> (Arc<Plan>, Vec<Point>, Live) {
    let plan = Arc::new(Plan::new(two_branches().build()).expect("can be kept"));
    let points: Vec<Point> = plan.network().points().collect();
    let mut live = Live::new(Arc::clone(&plan));
    live.happen(points[0], Moment(0));
    (plan, points, live)
}

#[test]
fn a_branch_not_taken_holds_nothing_up() {
    let (_, points, mut live) = begun();
    live.happen(points[1], Moment(2));
    assert!(!live.is_enabled(points[2]), "it has to follow the other act");
    live.never(points[3]);
    assert!(live.is_enabled(points[2]));
    assert_eq!(live.latest(points[2], Moment(2)).expect("limited").at, Moment(5));
    assert_eq!(live.latest(points[3], Moment(2)), None);
    let residual = live.residual(Moment(2)).expect("nothing is overdue");
    assert_eq!(check(&residual.network), Verdict::Controllable);
}

#[test]
fn a_broken_bound_is_named_and_the_rest_is_checked_from_what_happened() {
    let (_, points, mut live) = begun();
    let late = live.happen(points[1], Moment(9));
    assert_eq!(late.parts, [Part::Link(0, Role::AtMost)]);
    let rest = live.residual(Moment(9)).expect("the lamp has come");
    assert_eq!(check(&rest.network), Verdict::Controllable);

    assert!(live.happen(points[3], Moment(12)).parts.is_empty());
    let rest = live.residual(Moment(12)).expect("nothing is awaited");
    assert!(matches!(check(&rest.network), Verdict::Not(_)), "no room for the act after it");
    let broken = live.happen(points[2], Moment(13));
    assert_eq!(broken.parts, [Part::Bound(0)]);
}

#[test]
fn an_overdue_outcome_leaves_nothing_to_be_said() {
    let (_, _, live) = begun();
    assert!(live.residual(Moment(4)).is_ok());
    assert_eq!(live.residual(Moment(5)).expect_err("too late"), Overdue { link: 0 });
}

#[test]
fn a_limit_names_what_decides_it() {
    let (plan, points, mut live) = begun();
    live.happen(points[1], Moment(2));
    let earliest = live.earliest(points[3]).expect("held back by the lamp");
    assert_eq!((earliest.at, earliest.counted_from), (Moment(3), points[1]));
    assert_eq!(plan.why(&earliest), [Use { part: Part::Bound(3), times: 1 }]);
    // The second act is due 3 after the lamp and has to follow this one by 1.
    let latest = live.latest(points[3], Moment(2)).expect("limited");
    assert_eq!((latest.at, latest.counted_from), (Moment(4), points[1]));
    let parts: Vec<Part> = plan.why(&latest).iter().map(|used| used.part).collect();
    assert_eq!(parts, [Part::Bound(0), Part::Bound(4)]);
}
