//! Rules that only a whole run shows: tries over the run, things that end by themselves, values asked
//! on the way.

use super::runs_support::{Script, facts, fixture, push_start};
use stepbell::clock::{Millis, Moment};
use stepbell::guide::Guide;
use stepbell::guide::cue::{
    Effect, Fact, GapKind, Input, Notice, OutcomeKind, Press, Question, Tone,
};
use stepbell::procedure::model::{EndingClass, ItemClass, ItemId};
use stepbell::procedure::plan::{Choices, StepIx, Thing, Value};
use stepbell::vehicle::{Fault, Transcript, Wrong};

const WAKE: StepIx = StepIx(0);
const TUNE: StepIx = StepIx(1);
const TEACH: StepIx = StepIx(2);

fn silent(step: StepIx, times: u32) -> Fault {
    Fault::Step(step, times, Wrong::Silence)
}

fn tries(run: &Transcript) -> Vec<(u32, u32)> {
    let tried = |fact: &Fact| match fact {
        Fact::Tried(n, all) => Some((*n, *all)),
        _ => None,
    };
    facts(run).filter_map(tried).collect()
}

fn ending(script: &Script, run: &Transcript) -> String {
    script.ending(run.ending.unwrap().0).to_owned()
}

#[test]
fn tries_are_counted_over_the_run_and_never_refilled() {
    let script = fixture("retries.bell");
    let choices = &script.smallest().choices;
    let run = script.play(1, &[silent(WAKE, 1), silent(TUNE, 1)], choices);
    assert_eq!(tries(&run), [(1, 3), (2, 3)], "two lines draw on one purse");
    assert_eq!(ending(&script, &run), "learned");

    let run = script.play(1, &[silent(WAKE, 2), silent(TUNE, 9)], choices);
    assert_eq!(tries(&run), [(1, 3), (2, 3), (3, 3)], "what worked in between refills nothing");
    let spent = |fact: &&Fact| **fact == Fact::Noticed(Notice::TriesSpent);
    assert_eq!(facts(&run).filter(spent).count(), 1);
    assert_eq!(ending(&script, &run), "unsure", "the line that wanted another try says what then");

    let run = script.play(1, &[silent(WAKE, 9)], choices);
    assert_eq!(tries(&run).len(), 3);
    assert_eq!(ending(&script, &run), "not-learned");
}

#[test]
fn before_another_try_the_cool_down_passes() {
    let script = fixture("retries.bell");
    let run = script.play(4, &[silent(WAKE, 1)], &script.smallest().choices);
    let at = |wanted: &dyn Fn(&Fact) -> bool| -> Vec<Moment> {
        let lines = run.lines.iter().filter(|line| {
            line.effects.iter().any(|e| matches!(e, Effect::Record(fact) if wanted(fact)))
        });
        lines.map(|line| line.at).collect()
    };
    let known = at(&|fact| *fact == Fact::Outcome(WAKE, OutcomeKind::Silent));
    let called = at(&|fact| {
        matches!(fact, Fact::CueGiven { point, .. } if point.step == WAKE
            && point.mark == stepbell::procedure::timing::Mark::Called)
    });
    assert_eq!(called.len(), 2);
    assert!(called[1].since(known[0]) >= Millis::secs(5), "{known:?} {called:?}");
}

/// How each thing ended, the last word of it.
fn things(run: &Transcript) -> Vec<(u32, ItemClass)> {
    let mut all: Vec<(u32, ItemClass)> = Vec::new();
    for fact in facts(run) {
        if let Fact::Thing(Thing { nth, .. }, class) = fact {
            all.retain(|(known, _)| known != nth);
            all.push((*nth, *class));
        }
    }
    all
}

#[test]
fn one_thing_that_is_not_learned_makes_a_learned_run_unsure() {
    let script = fixture("retries.bell");
    let two = Choices { counts: vec![(ItemId(0), 2)], answers: Vec::new() };
    for (wrong, class) in
        [(Wrong::Answer(1), ItemClass::NotLearned), (Wrong::Silence, ItemClass::Unsure)]
    {
        let run = script.play(1, &[Fault::Step(TEACH, 1, wrong)], &two);
        assert_eq!(things(&run), [(0, class), (1, ItemClass::Learned)]);
        assert_eq!(ending(&script, &run), "unsure");
    }
    let run = script.play(1, &[], &two);
    assert_eq!(things(&run), [(0, ItemClass::Learned), (1, ItemClass::Learned)]);
    assert_eq!(run.ending.unwrap().1, EndingClass::Learned);
}

#[test]
fn a_key_that_fails_its_test_is_not_called_learned() {
    let script = push_start();
    let plan = script.plans.iter().find(|plan| plan.things.len() == 2).unwrap();
    let spare = plan.things[1];
    let run = script.play(1, &[Fault::Fails(Some(spare))], &plan.choices);
    assert_eq!(ending(&script, &run), "unsure");
    assert_eq!(things(&run), [(0, ItemClass::Learned), (1, ItemClass::Unsure)]);
    let run = script.play(1, &[Fault::Short], &plan.choices);
    assert_eq!(ending(&script, &run), "unsure", "one too few when counted again");
}

/// A guide of the fixture in front of the question that a step asks, and what came last.
fn asked_in_a_step() -> (Guide, Moment) {
    let script = fixture("retries.bell");
    let run = script.play(1, &[], &script.smallest().choices);
    let mut guide = script.guide();
    let _ = guide.start(Moment(0));
    for line in &run.lines {
        let Some(input) = &line.input else { continue };
        let effects = guide.handle(input.clone(), line.at);
        let asks = |effect: &Effect| {
            matches!(effect, Effect::Show(frame)
                if matches!(frame.question, Some(Question::Reading(_)))
                    && frame.step == Some(TUNE))
        };
        if effects.iter().any(asks) {
            return (guide, line.at);
        }
    }
    panic!("the step never asked");
}

fn taken(effects: &[Effect]) -> Option<i64> {
    effects.iter().find_map(|effect| match effect {
        Effect::Record(Fact::Answered(Question::Reading(_), Some(Value::Number(n)))) => Some(*n),
        _ => None,
    })
}

#[test]
fn in_a_step_too_a_value_is_taken_as_typed_or_read_back() {
    let typed = |text: &str| {
        let (mut guide, at) = asked_in_a_step();
        let at = at.after(Millis(500));
        let effects = guide.handle(Input::Typed(text.to_owned()), at);
        (guide, at, effects)
    };
    for (text, value) in [("13.2", 13_200), ("13", 13_000), ("2.125", 2_125)] {
        assert_eq!(taken(&typed(text).2), Some(value), "{text:?} is what it says");
    }
    for (text, value) in [("13,2", 13_200), ("13.20", 13_200), (" 13", 13_000), ("13 V", 13_000)] {
        let (mut guide, at, effects) = typed(text);
        assert_eq!(taken(&effects), None, "{text:?} is read back first");
        let effects = guide.handle(Input::Press(Press::Done), at.after(Millis(300)));
        assert_eq!(taken(&effects), Some(value), "{text:?} is taken with one press");
    }
    for text in ["132", "thirteen", "", "13 A"] {
        let (mut guide, at, effects) = typed(text);
        assert!(effects.contains(&Effect::Ring(Tone::Tick)), "{text:?} is asked again");
        let effects = guide.handle(Input::Press(Press::Done), at.after(Millis(300)));
        assert_eq!(taken(&effects), None, "{text:?} leaves nothing to be taken");
    }
}

#[test]
fn whoever_sleeps_through_a_window_is_not_blamed() {
    let script = push_start();
    let plan = script.smallest();
    let run = script.play(1, &[], &plan.choices);
    let (show, _) = plan.indexed().find(|(_, step)| step.name == "show-working").unwrap();
    let mut guide = script.guide();
    let _ = guide.start(Moment(0));
    let called = run.lines.iter().find(|line| {
        line.effects.iter().any(|effect| {
            matches!(effect, Effect::Record(Fact::CueGiven { point, .. }) if point.step == show
                && point.mark == stepbell::procedure::timing::Mark::Called)
        })
    });
    let called = called.unwrap().at;
    for line in run.lines.iter().take_while(|line| line.at <= called) {
        if let Some(input) = &line.input {
            let _ = guide.handle(input.clone(), line.at);
        }
    }
    let slept = Millis::secs(120);
    let mut now = called.after(Millis(500)).after(slept);
    let mut effects = guide.handle(Input::Gap(GapKind::Slept, slept), now);
    while let Some(wake) = guide.next_wakeup().filter(|_| now.since(called) < Millis::secs(140)) {
        now = wake;
        effects.extend(guide.handle(Input::Wake, now));
    }
    let noticed = |wanted: &dyn Fn(&Notice) -> bool| {
        effects.iter().any(|e| matches!(e, Effect::Record(Fact::Noticed(n)) if wanted(n)))
    };
    let away = |n: &Notice| *n == Notice::Unattended(show, GapKind::Slept, slept);
    let silence = |n: &Notice| *n == Notice::Silence(show);
    assert!(noticed(&away) && !noticed(&silence), "nobody can say that nothing came");
    assert!(!noticed(&|n| matches!(n, Notice::Late(..))), "nobody was there to be late");
}
