//! Bounds that are broken in a run: a hand slower than declared, a vehicle slower or quicker, a report
//! late. Each is said and written down, and what lies ahead is looked at again at once: the run goes on
//! only where it can still be met.

use super::runs_support::{Script, facts, network, push_start};
use stepbell::clock::{Millis, Moment};
use stepbell::guide::Guide;
use stepbell::guide::cue::{
    CountWhat, Effect, Fact, Frame, Input, Notice, OutcomeKind, Press, Rest, WindowState,
};
use stepbell::procedure::plan::{Plan, StepIx};
use stepbell::procedure::timing::{Mark, Timing};
use stepbell::vehicle::{Fault, Transcript, Wrong};

fn step(plan: &Plan, name: &str) -> StepIx {
    let found = plan.indexed().find(|(_, step)| step.name == name);
    found.map(|(ix, _)| ix).expect("a step of that name")
}

fn is_cue(fact: &Fact, step: StepIx) -> bool {
    matches!(fact, Fact::CueGiven { point, .. } if point.step == step && point.mark == Mark::Called)
}

/// A guide whose cue for a step has just been given, everything before by the operator within bounds.
struct Desk {
    guide: Guide,
    plan: Plan,
    now: Moment,
    called: Moment,
    effects: Vec<(Moment, Effect)>,
}

impl Desk {
    fn at(name: &str) -> Desk {
        let script = push_start();
        let plan = script.smallest().clone();
        let step = step(&plan, name);
        let run = script.play(1, &[], &plan.choices);
        let mut guide = script.guide();
        let mut effects = guide.start(Moment(0));
        let mut now = Moment(0);
        for line in &run.lines {
            let Some(input) = &line.input else { continue };
            now = line.at;
            effects = guide.handle(input.clone(), now);
            let called = |e: &Effect| matches!(e, Effect::Record(fact) if is_cue(fact, step));
            if effects.iter().any(called) {
                let effects = effects.into_iter().map(|effect| (now, effect)).collect();
                return Desk { guide, plan, now, called: now, effects };
            }
        }
        panic!("{name} is never called: {now:?} {effects:?}");
    }

    /// Lets time pass until so long after the cue, waking the guide whenever it wants.
    fn until(&mut self, after: i64) {
        let end = self.called.after(Millis(after));
        while let Some(wake) = self.guide.next_wakeup().filter(|wake| *wake <= end) {
            self.input(Input::Wake, wake);
        }
        self.now = end;
    }

    fn input(&mut self, input: Input, at: Moment) {
        self.now = at;
        let effects = self.guide.handle(input, at);
        self.effects.extend(effects.into_iter().map(|effect| (at, effect)));
    }

    /// A press of *done* so long after the cue.
    fn done(&mut self, after: i64) {
        self.until(after);
        self.effects.clear();
        self.input(Input::Press(Press::Done), self.now);
    }

    fn facts(&self) -> impl Iterator<Item = &Fact> {
        self.effects.iter().filter_map(|(_, effect)| match effect {
            Effect::Record(fact) => Some(fact),
            _ => None,
        })
    }

    fn frame(&self) -> &Frame {
        let mut frames = self.effects.iter().rev().filter_map(|(_, effect)| match effect {
            Effect::Show(frame) => Some(frame),
            _ => None,
        });
        frames.next().expect("a frame")
    }

    /// What was broken, by how much, and what is left.
    fn broken(&self) -> Option<(StepIx, Mark, Millis, Rest)> {
        let broken = self.facts().find_map(|fact| match fact {
            Fact::Broken(ix, mark, by) => Some((*ix, *mark, *by)),
            _ => None,
        });
        let rest = self.facts().find_map(|fact| match fact {
            Fact::Rechecked(_, rest) => Some(*rest),
            _ => None,
        });
        let (ix, mark, by) = broken?;
        let rest = rest.expect("what is broken is looked at again");
        let said = |notice: Notice| self.facts().any(|fact| *fact == Fact::Noticed(notice.clone()));
        assert!(said(Notice::Broken(ix, mark, by)), "what is written down is said too");
        assert!(said(Notice::Rechecked(rest)), "and what came of it");
        Some((ix, mark, by, rest))
    }
}

#[test]
fn a_slow_hand_is_said_and_the_run_goes_on_where_the_rest_can_still_be_met() {
    // The tone 0.35 s, reaction 1.5 s, hands 2 s, the report 3 s at the most.
    let mut desk = Desk::at("tin");
    let tin = step(&desk.plan, "tin");
    desk.done(6_850);
    assert_eq!(desk.broken(), None, "still inside the bounds");

    let mut desk = Desk::at("tin");
    desk.done(9_000);
    let (ix, mark, by, rest) = desk.broken().expect("too slow");
    assert_eq!((ix, mark, by), (tin, Mark::Done, Millis(2150)));
    assert_eq!(rest, Rest::Holds);
    desk.until(25_000);
    let show_new = step(&desk.plan, "show-new");
    assert!(desk.facts().any(|fact| is_cue(fact, show_new)), "it goes on");
}

#[test]
fn where_the_rest_can_no_more_be_met_the_person_keeps_still_and_the_failure_branch_follows() {
    let mut desk = Desk::at("tin");
    let show_new = step(&desk.plan, "show-new");
    let fetch = step(&desk.plan, "fetch");
    let line = desk.plan.step(show_new).windows[0].place;
    desk.done(18_000);
    let (.., rest) = desk.broken().expect("much too slow");
    let Rest::Lost(why) = rest else { panic!("{rest:?}") };
    assert_eq!((why.step, why.place), (show_new, line), "the window that is lost is named");

    // At once, not when its words are said.
    let frame = desk.frame().clone();
    assert_eq!(frame.window, WindowState::TooLate);
    let count = frame.count.expect("until it has closed");
    assert_eq!(count.what, CountWhat::StepOver);
    let closes = count.at;
    let after = closes.since(desk.called);
    desk.until(after.0);
    assert!(!desk.facts().any(|fact| matches!(fact, Fact::Outcome(ix, _) if *ix == show_new)));
    assert!(!desk.facts().any(|fact| is_cue(fact, show_new)), "no cue into a lost window");
    desk.until(after.0 + 1);
    let late = Fact::Outcome(show_new, OutcomeKind::Late);
    assert!(desk.facts().any(|fact| *fact == late), "the script's own way on a miss");
    let entered = |fact: &Fact| matches!(fact, Fact::Entered(ix, 2) if *ix == fetch);
    desk.until(after.0 + 10_001);
    assert!(desk.facts().any(entered), "which leads back to fetch");
}

#[test]
fn a_vehicle_slower_or_quicker_than_declared_is_said() {
    // "Show a working key" within 4 s of the act; known at once and reported within 0.3 s to 3 s.
    let open = |after: i64| {
        let mut desk = Desk::at("open");
        desk.done(after);
        let broken = desk.broken();
        (step(&desk.plan, "open"), broken)
    };
    let (ix, slow) = open(13_500);
    let (at, mark, by, rest) = slow.expect("slower than declared");
    assert_eq!((at, mark, rest), (ix, Mark::Answered, Rest::Holds));
    assert!(by > Millis::ZERO);

    // The working key's chime comes no sooner than 1 s after it is held there.
    let mut desk = Desk::at("show-working");
    let earliest = (0..).map(|n| 3_000 + 50 * n).find(|after| {
        let mut desk = Desk::at("show-working");
        desk.done(*after);
        !desk.facts().any(|fact| *fact == Fact::Noticed(Notice::TooEarly))
    });
    desk.done(earliest.expect("taken some time"));
    let (_, mark, by, rest) = desk.broken().expect("quicker than declared");
    assert_eq!((mark, rest), (Mark::Answered, Rest::Holds));
    assert!(by < Millis::ZERO, "{by:?}");
}

/// How a run with one slow hand ended, and what came of the rest.
fn slow(script: &Script, name: &str, more: i64) -> (Transcript, Vec<Rest>) {
    let plan = script.smallest();
    let fault = Fault::Step(step(plan, name), 1, Wrong::Slow(Millis(more)));
    let run = script.play(1, &[fault], &plan.choices);
    let rests = facts(&run).filter_map(|fact| match fact {
        Fact::Rechecked(_, rest) => Some(*rest),
        _ => None,
    });
    let rests = rests.collect();
    (run, rests)
}

/// However slow a hand is: no cue is given from which a window could be missed by the script's bounds,
/// and a run that goes on after a broken bound meets every window that is left.
#[test]
fn after_a_broken_bound_no_window_is_missed_by_who_keeps_the_bounds_again() {
    let script = push_start();
    let (mut held, mut lost) = (0, 0);
    for more in (0..24_000).step_by(250) {
        for name in ["tin", "open", "fetch"] {
            let (run, rests) = slow(&script, name, more);
            // What the guide itself gave up is no cue from which a window was missed.
            let late =
                |fact: &Fact, ix| matches!(fact, Fact::Noticed(Notice::Late(of, _)) if *of == ix);
            let given_up = |ix: StepIx| facts(&run).any(|fact| late(fact, ix));
            let missed: Vec<_> =
                run.truth.outside.iter().filter(|(ix, ..)| !given_up(*ix)).collect();
            assert!(missed.is_empty(), "{name} {more}: {missed:?}");
            let (_, class) = run.ending.expect("an end");
            assert_ne!(format!("{class:?}"), "NotLearned", "{name} {more}");
            held += rests.iter().filter(|rest| **rest == Rest::Holds).count();
            lost += rests.iter().filter(|rest| matches!(rest, Rest::Lost(_))).count();
        }
    }
    assert!(held > 50 && lost > 5, "{held} held, {lost} lost");
}

/// What is looked at again is worked out beforehand: only sums are left.
#[test]
fn looking_again_works_nothing_out() {
    let script = push_start();
    let plan = script.smallest();
    let timing = network(&script.procedure, plan, &script.speech);
    let before = timing.worked_out();
    for more in [3_000, 9_000, 15_000, 21_000] {
        let _ = slow(&script, "tin", more);
    }
    assert_eq!(timing.worked_out(), before);
    let called = stepbell::procedure::timing::Point { step: StepIx(0), mark: Mark::Called };
    assert_eq!(timing.latest(called, &stepbell::procedure::timing::Known::default()), None);
}
