//! Whatever is done and whenever: a now cue is only given when the timing allows it.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use proptest::prelude::*;
use proptest::test_runner::TestRunner;

use super::runs_support::{Script, network, scripts};
use stepbell::clock::{Millis, Moment};
use stepbell::guide::cue::{Cue, Effect, Fact, GapKind, Input, Press, Tone};
use stepbell::guide::{Guide, Settings, sayable};
use stepbell::power::Length;
use stepbell::procedure::model::{Procedure, TextId};
use stepbell::procedure::plan::{GuardIx, Plan, Quiet, StepIx};
use stepbell::procedure::timing::{Known, Mark, Point, Promise, SpeechLengths, Timing, Why};
use stepbell::proof::timing::NetworkTiming;

thread_local! {
    /// What the guide was last told of the now cue of each step: not before, not after.
    static TOLD: RefCell<BTreeMap<StepIx, (Moment, Option<Moment>)>> =
        const { RefCell::new(BTreeMap::new()) };
}

/// The proof's timing, with a note of what was asked of it.
struct Heard(NetworkTiming);

impl Heard {
    fn note(&self, point: Point, known: &Known) {
        if point.mark == Mark::Called {
            let told = (self.0.earliest(point, known), self.0.latest(point, known));
            TOLD.with_borrow_mut(|all| all.insert(point.step, told));
        }
    }
}

impl Timing for Heard {
    fn earliest(&self, point: Point, known: &Known) -> Moment {
        self.note(point, known);
        self.0.earliest(point, known)
    }

    fn latest(&self, point: Point, known: &Known) -> Option<Moment> {
        self.note(point, known);
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

/// Inputs that keep a run going, and some that do not; each so long after the one before.
fn inputs() -> impl Strategy<Value = Vec<(Input, i64)>> {
    let press = prop_oneof![
        8 => Just(Press::Done),
        1 => (1u8..6).prop_map(Press::Answer),
        1 => Just(Press::TakeBack),
        1 => Just(Press::Hold),
        1 => Just(Press::SayAgain),
        1 => Just(Press::Slip),
    ];
    let input = prop_oneof![
        20 => Just(Input::Wake),
        16 => press.prop_map(Input::Press),
        1 => (0u32..4).prop_map(|n| Input::Lost(GuardIx(n))),
        1 => (0i64..90_000).prop_map(|ms| Input::Gap(GapKind::Slept, Millis(ms))),
        2 => Just(Input::Typed("13".to_owned())),
    ];
    prop::collection::vec((input, prop_oneof![4 => 0i64..4_000, 1 => 0i64..40_000]), 40..160)
}

/// What the voice is asked to say, against what it can.
struct Voice {
    sayable: BTreeSet<TextId>,
    /// When it is free again, by the bounds.
    free: Moment,
}

impl Voice {
    fn new(script: &Script) -> Voice {
        let sayable = sayable(&script.procedure).into_iter().map(|text| text.id).collect();
        Voice { sayable, free: Moment(0) }
    }

    /// Only what was known before the run is said; a prompt never begins in other words, nor is a now
    /// cue given in them.
    fn hear(
        &mut self,
        script: &Script,
        effects: &[Effect],
        was_away: bool,
        now: Moment,
    ) -> Result<(), TestCaseError> {
        if was_away {
            // What was being said went unheard, and is said again.
            self.free = now;
        }
        for effect in effects {
            match effect {
                Effect::Say(text, cue) => {
                    prop_assert!(self.sayable.contains(text), "{}: {text:?}", script.name);
                    // What is said again is cut by whatever has to be said.
                    if *cue == Cue::Again {
                        continue;
                    }
                    let begins = now.max(self.free);
                    let late = *cue == Cue::Prepare && begins > now;
                    prop_assert!(!late, "{}: {text:?} waits at {now:?}", script.name);
                    self.free = begins.after(script.speech.of(*text).hi);
                }
                // A question before the run is over once it is answered.
                Effect::Record(Fact::Chosen(_)) => self.free = now,
                Effect::Ring(Tone::Now) => {
                    prop_assert!(self.free <= now, "{}: now in words at {now:?}", script.name);
                }
                _ => {}
            }
        }
        Ok(())
    }
}

/// Every input that leads to the first step, by the operator who answers everything.
fn prepared(script: &Script) -> Vec<(Moment, Input)> {
    let run = script.play(1, &[], &script.smallest().choices);
    let begins =
        |effects: &[Effect]| effects.iter().any(|e| matches!(e, Effect::Record(Fact::Chosen(_))));
    let upto = run.lines.iter().position(|line| begins(&line.effects)).unwrap();
    let lines = run.lines.into_iter().take(upto + 1);
    lines.filter_map(|line| line.input.map(|input| (line.at, input))).collect()
}

#[test]
fn a_now_cue_is_given_when_the_timing_allows_it_or_not_at_all() {
    let scripts = scripts();
    let prepared: Vec<_> = scripts.iter().map(prepared).collect();
    let (mut cues, mut bound) = (0, 0);
    let mut runner = TestRunner::new(ProptestConfig {
        cases: 150,
        failure_persistence: None,
        ..ProptestConfig::default()
    });
    let counted = RefCell::new((&mut cues, &mut bound));
    let strategy = (0..scripts.len(), inputs());
    let outcome = runner.run(&strategy, |(n, inputs)| {
        let script = &scripts[n];
        TOLD.with_borrow_mut(BTreeMap::clear);
        let settings = Settings {
            speech: script.speech.clone(),
            timing: heard,
            rehearsal: false,
            length: Length::Unbounded,
        };
        let mut guide = Guide::new(Arc::clone(&script.procedure), settings);
        let mut now = Moment(0);
        let mut voice = Voice::new(script);
        let _ = guide.start(now);
        let whole = prepared[n].iter().map(|(at, input)| (input.clone(), Some(*at)));
        let whole = whole.chain(inputs.iter().map(|(input, _)| (input.clone(), None)));
        for ((input, at), wait) in
            whole.zip(prepared[n].iter().map(|_| 0).chain(inputs.iter().map(|(_, wait)| *wait)))
        {
            now = match (at, &input, guide.next_wakeup()) {
                (Some(at), ..) => at,
                (None, Input::Wake, Some(wake)) => wake,
                _ => now.after(Millis(wait)),
            };
            let was_away = matches!(input, Input::Gap(..));
            let effects = guide.handle(input, now);
            voice.hear(script, &effects, was_away, now)?;
            for effect in effects {
                let Effect::Record(Fact::CueGiven { point, given, .. }) = effect else { continue };
                if point.mark != Mark::Called {
                    continue;
                }
                let told = TOLD.with_borrow(|all| all.get(&point.step).copied());
                let (earliest, latest) = told.expect("the guide asks before it calls");
                prop_assert_eq!(given, now);
                prop_assert!(given >= earliest, "{}: {:?} too early", script.name, point);
                prop_assert!(
                    latest.is_none_or(|l| given <= l),
                    "{}: {:?} too late",
                    script.name,
                    point
                );
                let mut counted = counted.borrow_mut();
                *counted.0 += 1;
                *counted.1 += usize::from(latest.is_some());
            }
        }
        Ok(())
    });
    outcome.unwrap();
    assert!(cues > 300 && bound > 20, "only {cues} cues, {bound} with a latest moment");
}
