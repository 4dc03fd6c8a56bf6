//! The latest safe cue, as the guide is told of it in whole runs: never later than the search over what
//! is left, never later than plain window arithmetic; and nothing to be worked out while a run goes by
//! its bounds.

use std::cell::RefCell;

use proptest::prelude::*;
use stepbell::clock::{Millis, Moment};
use stepbell::guide::{Guide, Settings};
use stepbell::power::Length;
use stepbell::procedure::model::Procedure;
use stepbell::procedure::plan::{Choices, Plan, Quiet};
use stepbell::procedure::timing::{
    Known, Mark, PlainTiming, Point, Promise, SpeechLengths, Timing, Why,
};
use stepbell::proof::controllable::LatestSafe;
use stepbell::proof::dispatch::Plan as Dispatch;
use stepbell::proof::network::Point as NetworkPoint;
use stepbell::proof::timing::NetworkTiming;
use stepbell::vehicle::{Draw, Fault, Wrong, play_drawn};

use crate::proofs::{config, tiny};
use crate::runs_support::{Script, network, scripts, single_faults};
use std::sync::Arc;

thread_local! {
    /// What the guide asked about now cues, each state once.
    static ASKED: RefCell<Vec<(Point, Known)>> = const { RefCell::new(Vec::new()) };
}

/// The proof's timing, with a note of what was asked of it.
struct Heard(NetworkTiming);

impl Timing for Heard {
    fn earliest(&self, point: Point, known: &Known) -> Moment {
        self.0.earliest(point, known)
    }

    fn latest(&self, point: Point, known: &Known) -> Option<Moment> {
        if point.mark == Mark::Called {
            ASKED.with_borrow_mut(|asked| {
                if asked.last().is_none_or(|(p, k)| (p, k) != (&point, known)) {
                    asked.push((point, known.clone()));
                }
            });
        }
        self.0.latest(point, known)
    }

    fn why(&self, point: Point, known: &Known) -> Option<Why> {
        self.0.why(point, known)
    }

    fn closes(&self, point: Point, known: &Known) -> Option<(Moment, Why)> {
        self.0.closes(point, known)
    }

    fn promise(&self, cue: Point, known: &Known) -> Promise {
        self.0.promise(cue, known)
    }

    fn quiet(&self) -> Quiet {
        self.0.quiet()
    }
}

fn heard(procedure: &Procedure, plan: &Plan, speech: &SpeechLengths) -> Box<dyn Timing + Send> {
    Box::new(Heard(network(procedure, plan, speech)))
}

/// Every state in which the guide asked for the latest cue in one run.
fn asked_in(
    script: &Script,
    draw: Draw,
    faults: &[Fault],
    choices: &Choices,
) -> Vec<(Point, Known)> {
    ASKED.with_borrow_mut(Vec::clear);
    let settings = Settings {
        speech: script.speech.clone(),
        timing: heard,
        rehearsal: false,
        length: Length::Unbounded,
    };
    let guide = Guide::new(Arc::clone(&script.procedure), settings);
    let run = play_drawn(guide, &script.procedure, &script.speech, draw, faults, choices);
    assert!(run.ending.is_some(), "{}: a standstill after {faults:?}", script.name);
    ASKED.take()
}

/// How often which figure came first.
#[derive(Debug, Default)]
struct Compared {
    states: usize,
    limited: usize,
    /// The figure told is stricter than plain arithmetic, or there where that says nothing.
    for_what_follows: usize,
    /// The network alone says later than plain arithmetic, which counts.
    plain_first: usize,
    /// Nothing can be kept any more.
    lost: usize,
    earlier_than_search: usize,
}

impl Compared {
    fn state(&mut self, script: &Script, plan: &Plan, (cue, known): &(Point, Known)) {
        let timing = network(&script.procedure, plan, &script.speech);
        let arithmetic = PlainTiming::new(&script.procedure, plan, &script.speech);
        let named = || format!("{}: {}", script.name, plan.step(cue.step).name);
        let told = timing.latest(*cue, known);
        let plain = arithmetic.latest(*cue, known);
        self.states += 1;
        self.limited += usize::from(told.is_some());
        self.for_what_follows += usize::from(told != plain);
        let not_later = |than: Moment| told.is_some_and(|told| told <= than);
        assert!(plain.is_none_or(not_later), "{}: {told:?}, plainly {plain:?}", named());
        assert_eq!(told.is_some(), timing.why(*cue, known).is_some(), "{}: a reason", named());

        // One way of holding each: their figures are joined by the stricter.
        let ways = (0..).map_while(|way| timing.table(cue.step, known, way));
        for (given, table) in ways {
            let shown = table.latest(known).map(|(at, _)| at);
            let earlier = |at: Moment| plain.is_some_and(|plain| plain < at);
            self.plain_first += usize::from(shown.is_some_and(earlier));
            match (shown, table.latest_by_search(given, cue.step, known)) {
                (None, LatestSafe::Unbounded) => {}
                (Some(shown), LatestSafe::After(truth)) if shown.0 <= truth.0 => {
                    assert!(not_later(Moment(truth.0)), "{}", named());
                    self.earlier_than_search += usize::from(shown.0 < truth.0);
                }
                // Where nothing can be kept any more, the figure has to be over already.
                (Some(shown), LatestSafe::NotControllable) => {
                    self.lost += 1;
                    let earliest = table.earliest(known);
                    let told_late = shown < earliest || known.iter().any(|(_, b)| b.latest > shown);
                    assert!(told_late, "{}: {shown:?} although nothing holds", named());
                }
                (shown, truth) => panic!("{}: {shown:?} shown, {truth:?} true", named()),
            }
        }
    }
}

/// What goes wrong once in a run: everything that leads another way, hands somewhat and far too slow.
fn faults(script: &Script, plan: &Plan) -> Vec<Vec<Fault>> {
    let once = |fault: &Fault| match fault {
        Fault::Step(_, times, wrong) => *times == 1 && !matches!(wrong, Wrong::Slow(_)),
        _ => false,
    };
    let mut all: Vec<Fault> = single_faults(script, plan).into_iter().filter(once).collect();
    for (step, _) in plan.indexed() {
        all.extend([3, 15].map(|s| Fault::Step(step, 1, Wrong::Slow(Millis::secs(s)))));
    }
    all.into_iter().map(|fault| vec![fault]).chain([Vec::new()]).collect()
}

#[test]
fn the_latest_safe_cue_is_never_later_than_the_search_nor_than_the_plain_sum() {
    let mut compared = Compared::default();
    for script in scripts() {
        let (first, last) = (script.smallest(), script.plans.last().expect("a plan"));
        let mut seen: Vec<(Point, Known)> = Vec::new();
        for (plan, seeds) in [(first, 0..6), (last, 6..9)] {
            for seed in seeds {
                for draw in [Draw::new(seed), Draw::edges(seed)] {
                    for state in asked_in(&script, draw, &[], &plan.choices) {
                        compared.state(&script, plan, &state);
                    }
                }
            }
        }
        for faults in faults(&script, first) {
            for state in asked_in(&script, Draw::new(7), &faults, &first.choices) {
                if !seen.contains(&state) {
                    compared.state(&script, first, &state);
                    seen.push(state);
                }
            }
        }
    }
    assert_eq!(compared.earlier_than_search, 0, "{compared:?}");
    assert!(compared.states > 3000 && compared.limited > 600, "{compared:?}");
    assert!(compared.for_what_follows > 100, "{compared:?}");
}

#[test]
fn nothing_is_worked_out_while_a_run_goes_by_its_bounds() {
    let mut runs = 0;
    for script in scripts() {
        for plan in &script.plans {
            let timing = NetworkTiming::new(&script.procedure, plan, &script.speech);
            let before = timing.worked_out();
            for seed in 0..2 {
                for (cue, known) in asked_in(&script, Draw::new(seed), &[], &plan.choices) {
                    // All these scripts are proven, so every window ahead is promised all the time.
                    assert_eq!(timing.promise(cue, &known), Promise::All, "{}", script.name);
                    let _ = timing.latest(cue, &known);
                }
                runs += 1;
            }
            assert_eq!(timing.worked_out(), before, "{} {:?}", script.name, plan.choices);
        }
    }
    assert!(runs > 100, "{runs} runs");
}

proptest! {
    #![proptest_config(config(3000))]

    /// The lengths worked out beforehand give the moments that the search over the rest gives, whenever
    /// the first points happened.
    #[test]
    fn lengths_worked_out_beforehand_give_the_true_latest_moment(
        plain in tiny(7),
        times in proptest::collection::vec(0..6_i64, 3),
    ) {
        let Ok(plan) = Dispatch::new(plain.build()) else { return Ok(()) };
        let points: Vec<NetworkPoint> = plan.network().points().collect();
        let plan = Arc::new(plan);
        let mut live = stepbell::proof::dispatch::Live::new(Arc::clone(&plan));
        let mut past = Vec::new();
        let mut now = 0;
        for wait in times {
            // Only points that nothing is awaited for, so that no outcome is under way.
            let free = |point: &NetworkPoint| {
                let sets_going = plain.links.iter().any(|l| l.0 == point.index() && l.2 < l.3);
                live.is_enabled(*point) && !sets_going
            };
            let Some(point) = points.iter().copied().find(free) else { break };
            let earliest = live.earliest(point).map_or(now, |limit| limit.at.0).max(now);
            let at = earliest + wait;
            let others = points.iter().filter(|other| live.is_enabled(**other));
            let mut latest = others.filter_map(|other| live.latest(*other, Moment(now)));
            if latest.any(|limit| limit.at.0 < at) {
                break;
            }
            now = at;
            live.happen(point, Moment(now));
            past.push(point);
        }
        for point in live.enabled() {
            let reaches = plan.latest_from(point, &past);
            let at = |from| live.happened(from).expect("it has").0;
            let shown = reaches.iter().map(|reach| at(reach.from) + reach.length.0).min();
            let truth = live.latest_by_search(point, Moment(now)).expect("nothing is awaited");
            match (shown, truth) {
                (None, LatestSafe::Unbounded) => {}
                (Some(shown), LatestSafe::After(truth)) => prop_assert_eq!(shown, truth.0),
                (shown, truth) => prop_assert!(false, "{:?} {:?} {:?}", shown, truth, plain),
            }
            let earliest = plan.earliest_from(point, &past).expect("it is enabled");
            let earliest = earliest.iter().map(|reach| at(reach.from) + reach.length.0).max();
            prop_assert_eq!(earliest, live.earliest(point).map(|limit| limit.at.0));
        }
    }
}
