//! Whatever is pressed, typed or lost, and whenever: the guide answers, never looks back in time,
//! says the same to the same, and comes to a named ending.

use std::fs;
use std::path::PathBuf;
use std::sync::Arc;

use crate::runs_support::timing;
use proptest::prelude::*;
use stepbell::clock::{Millis, Moment};
use stepbell::guide::cue::{Effect, Fact, GapKind, Input, Notice, Press};
use stepbell::guide::{Guide, Settings};
use stepbell::power::Length;
use stepbell::procedure::examine;
use stepbell::procedure::model::Procedure;
use stepbell::procedure::plan::{Choices, GuardIx};
use stepbell::procedure::timing::{Mark, SpeechLengths, speech_lengths};
use stepbell::vehicle::play;

struct Script {
    name: String,
    procedure: Arc<Procedure>,
    choices: Choices,
    speech: SpeechLengths,
}

fn scripts() -> Vec<Script> {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let mut paths = Vec::new();
    for folder in ["procedures", "tests/scripts/sequences", "tests/runs"] {
        let found = fs::read_dir(root.join(folder)).expect("a folder");
        paths.extend(found.map(|entry| entry.expect("an entry").path()));
    }
    paths.retain(|path| path.extension().is_some_and(|e| e == "bell"));
    paths.sort();
    let mut scripts = Vec::new();
    for path in paths {
        let name = path.file_stem().and_then(|n| n.to_str()).expect("a name").to_owned();
        let text = fs::read_to_string(&path).expect("readable");
        let folder = path.parent().expect("a folder").to_owned();
        let examined = examine(&name, text, &mut |used| {
            fs::read_to_string(folder.join(used)).map_err(|error| error.to_string())
        });
        // One sequence is there to be refused.
        if let (true, Some(procedure)) = (examined.is_sound(), examined.procedure) {
            let speech = speech_lengths(&procedure);
            let choices = examined.plans.last().expect("a plan").choices.clone();
            scripts.push(Script { name, procedure: Arc::new(procedure), choices, speech });
        }
    }
    assert!(scripts.len() >= 18, "four procedures, thirteen sequences, one of our own");
    scripts
}

impl Script {
    fn guide(&self) -> Guide {
        let settings = Settings {
            speech: self.speech.clone(),
            timing,
            rehearsal: false,
            length: Length::Unbounded,
        };
        Guide::new(Arc::clone(&self.procedure), settings)
    }

    /// What was put in until the run began, by the operator who answers everything.
    fn prepared(&self) -> Vec<(Moment, Input)> {
        let run = play(self.guide(), &self.procedure, &self.speech, 1, &[], &self.choices);
        let mut inputs = Vec::new();
        for line in run.lines {
            inputs.extend(line.input.map(|input| (line.at, input)));
            if line.effects.iter().any(|e| matches!(e, Effect::Record(Fact::Chosen(_)))) {
                break;
            }
        }
        inputs
    }
}

fn an_input() -> impl Strategy<Value = Input> {
    let press = prop_oneof![
        6 => Just(Press::Done),
        3 => (0u8..12).prop_map(Press::Answer),
        2 => Just(Press::SomethingElse),
        1 => Just(Press::Slip),
        1 => Just(Press::SayAgain),
        2 => Just(Press::TakeBack),
        2 => Just(Press::Hold),
        1 => Just(Press::Stop),
    ];
    let kind = prop_oneof![Just(GapKind::Slept), Just(GapKind::Stopped), Just(GapKind::Late)];
    let typed = prop_oneof![Just("12,65".to_owned()), Just("2".to_owned()), ".{0,12}"];
    prop_oneof![
        12 => Just(Input::Wake),
        10 => press.prop_map(Input::Press),
        1 => typed.prop_map(Input::Typed),
        1 => (0u32..6).prop_map(|n| Input::Lost(GuardIx(n))),
        1 => (kind, -5_000i64..700_000).prop_map(|(kind, ms)| Input::Gap(kind, Millis(ms))),
    ]
}

/// Puts inputs in, each so long after the one before; a wake comes when the guide wants it.
fn put(guide: &mut Guide, from: Moment, inputs: &[(Input, i64)]) -> (Moment, Vec<Effect>) {
    let mut now = from;
    let mut all = Vec::new();
    for (input, wait) in inputs {
        now = match (input, guide.next_wakeup()) {
            (Input::Wake, Some(wake)) => wake,
            _ => now.after(Millis(*wait)),
        };
        let effects = guide.handle(input.clone(), now);
        if let Some(wake) = guide.next_wakeup() {
            assert!(wake > now, "woken in the past would be for ever");
        }
        let ended = effects.iter().any(|effect| matches!(effect, Effect::Ended(..)));
        assert_eq!(ended, guide.ended().is_some() && !effects.is_empty());
        all.extend(effects);
    }
    (now, all)
}

/// From any state: by itself the guide comes to rest, but for reminders to keep the vehicle awake,
/// and two presses of stop are always the end.
fn comes_to_an_end(guide: &mut Guide, from: Moment) {
    let mut now = from;
    let mut reminders = 0;
    for wakes in 0.. {
        let Some(wake) = guide.next_wakeup().filter(|_| reminders < 20) else { break };
        assert!(wakes < 20_000, "it goes on by itself for ever");
        now = wake;
        let effects = guide.handle(Input::Wake, now);
        let reminds =
            |effect: &Effect| matches!(effect, Effect::Record(Fact::Noticed(Notice::KeepAwake(_))));
        let other = effects.iter().any(|effect| {
            matches!(effect, Effect::Record(_) | Effect::Ring(_)) && !reminds(effect)
        });
        let only_reminds = effects.iter().any(reminds) && !other;
        reminders = if only_reminds { reminders + 1 } else { 0 };
    }
    for _ in 0..2 {
        let _ = guide.handle(Input::Press(Press::Stop), now.after(Millis(10)));
    }
    assert!(guide.ended().is_some(), "stopped twice and still not ended");
    assert!(guide.handle(Input::Press(Press::Done), now.after(Millis(20))).is_empty());
}

#[test]
fn any_input_in_any_state_is_answered() {
    let scripts = scripts();
    let prepared: Vec<Vec<(Moment, Input)>> = scripts.iter().map(Script::prepared).collect();
    let inputs = prop::collection::vec((an_input(), 0i64..15_000), 0..80);
    let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig {
        cases: 200,
        failure_persistence: None,
        ..ProptestConfig::default()
    });
    let strategy = (0..scripts.len(), any::<bool>(), inputs);
    runner
        .run(&strategy, |(n, begun, inputs)| {
            let run = || {
                let mut guide = scripts[n].guide();
                let mut from = Moment(0);
                let mut effects = guide.start(from);
                for (at, input) in prepared[n].iter().filter(|_| begun) {
                    effects.extend(guide.handle(input.clone(), *at));
                    from = *at;
                }
                let (now, more) = put(&mut guide, from, &inputs);
                effects.extend(more);
                (guide, now, effects)
            };
            let (mut guide, now, effects) = run();
            let (_, _, again) = run();
            prop_assert_eq!(effects, again, "{}", &scripts[n].name);
            if guide.ended().is_none() {
                comes_to_an_end(&mut guide, now);
            }
            Ok(())
        })
        .unwrap();
}

#[test]
fn who_keeps_the_bounds_misses_no_window() {
    for script in scripts() {
        for seed in 0..12 {
            let choices = &script.choices;
            let run = play(script.guide(), &script.procedure, &script.speech, seed, &[], choices);
            assert!(run.ending.is_some(), "{} {seed}: a standstill", script.name);
            let outside = &run.truth.outside;
            assert!(outside.is_empty(), "{} {seed}: outside {outside:?}", script.name);
            for line in &run.lines {
                for effect in &line.effects {
                    let Effect::Record(fact) = effect else { continue };
                    let broken = matches!(fact, Fact::Broken(..));
                    assert!(!broken, "{} {seed}: {fact:?}", script.name);
                    // What the guide believes holds what truly happened.
                    if let Fact::CueGiven { point, given, .. } = fact
                        && point.mark == Mark::Called
                    {
                        assert_eq!(
                            *given, line.at,
                            "{} {seed}: a cue at another time",
                            script.name
                        );
                    }
                }
            }
        }
    }
}

#[test]
fn what_the_guide_believes_holds_what_truly_happened() {
    for script in scripts() {
        for seed in 20..28 {
            let choices = &script.choices;
            let run = play(script.guide(), &script.procedure, &script.speech, seed, &[], choices);
            // Without retries every moment happens once.
            let retried = run
                .lines
                .iter()
                .flat_map(|line| &line.effects)
                .any(|effect| matches!(effect, Effect::Record(Fact::Tried(..))));
            if retried {
                continue;
            }
            for effect in run.lines.iter().flat_map(|line| &line.effects) {
                let Effect::Record(Fact::Happened(point, bracket)) = effect else { continue };
                let Some(truth) = run.truth.points.get(*point) else { continue };
                assert!(
                    bracket.earliest <= *truth && *truth <= bracket.latest,
                    "{} {seed}: {point:?} truly at {truth:?}, believed {bracket:?}",
                    script.name
                );
            }
        }
    }
}
