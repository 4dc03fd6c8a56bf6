//! Whole runs of every script: the seeded operator and vehicle drive a guide to each of its endings.

use std::collections::BTreeMap;

use super::runs_support::{Found, Script, Shown, facts, push_start, scripts, search};
use stepbell::clock::Millis;
use stepbell::guide::cue::{Effect, Fact, Input, Notice, OutcomeKind};
use stepbell::procedure::model::{EndingClass, EndingId, Hold, ItemClass};
use stepbell::procedure::plan::{GuardIx, Plan, StepIx};
use stepbell::vehicle::{Fault, Transcript};

/// Endings that no run reaches, with the reason.
const NOT_REACHED: &[(&str, &str, &str)] = &[(
    "22-door-keypad",
    "not-learned",
    "every window lies inside one stretch of hands: whoever misses one finds the vehicle silent, and \
     silence leads elsewhere",
)];

#[test]
fn every_ending_of_every_script_is_reached() {
    let mut wrong = Vec::new();
    for script in scripts() {
        let found = search(&script);
        for ending in script.endings() {
            let name = script.ending(ending);
            let excused = NOT_REACHED.iter().any(|(s, e, _)| *s == script.name && *e == name);
            if found.contains_key(&ending) == excused {
                wrong.push(format!("{}: {name}", script.name));
            }
        }
        let text = endings_text(&script, &found);
        insta::assert_snapshot!(format!("endings-{}", script.name), text);
    }
    assert!(wrong.is_empty(), "not reached, or excused and yet reached: {wrong:#?}");
}

fn endings_text(script: &Script, found: &BTreeMap<EndingId, Found>) -> String {
    let mut text = String::new();
    for (ending, found) in found {
        let shown = Shown { script, plan: &found.plan };
        text += &format!("== {}\n{}\n", script.ending(*ending), shown.compact(found));
    }
    text
}

#[test]
fn the_hoped_for_run_of_every_script_is_led_as_written_down() {
    for script in scripts() {
        let plan = script.smallest();
        let run = script.play(1, &[], &plan.choices);
        let text = Shown { script: &script, plan }.whole(&run);
        insta::assert_snapshot!(format!("run-{}", script.name), text);
    }
}

/// Where the hoped-for way of a script does not end learned: it is handed over to another script, or
/// takes away instead of adding.
const ENDS_OTHERWISE: &[&str] = &["by-instrument", "text-ends", "erased"];

#[test]
fn one_two_and_as_many_as_allowed_are_learned() {
    let mut groups = 0;
    for script in scripts() {
        for plan in &script.plans {
            groups += usize::from(plan.things.len() > 1);
            let run = script.play(3, &[], &plan.choices);
            let (ending, class) = run.ending.unwrap();
            if ENDS_OTHERWISE.contains(&script.ending(ending)) {
                continue;
            }
            assert_eq!(class, EndingClass::Learned, "{} {:?}", script.name, plan.choices);
            let learned = |fact: &&Fact| matches!(fact, Fact::Thing(_, ItemClass::Learned));
            let learned = facts(&run).filter(learned).count();
            assert!(learned >= plan.things.len(), "{}: every thing ends by itself", script.name);
        }
    }
    assert!(groups > 10, "only {groups} plans have more than one thing");
}

/// Windows that were missed, and moments outside the bounds, in one run.
fn missed(plan: &Plan, run: &Transcript) -> Vec<String> {
    let name = |ix: &StepIx| plan.step(*ix).name.clone();
    let told = facts(run).filter_map(|fact| match fact {
        Fact::Noticed(Notice::Late(ix, _)) => Some(format!("late at {}", name(ix))),
        Fact::Broken(ix, mark, by) => Some(format!("{mark:?} of {} outside by {by}", name(ix))),
        Fact::Margin { step, window, left } if *left < Millis::ZERO => {
            Some(format!("window {window} of {} missed by {left}", name(step)))
        }
        _ => None,
    });
    let outside = run.truth.outside.iter();
    told.chain(outside.map(|(ix, n, by)| format!("act of {} outside window {n} by {by}", name(ix))))
        .collect()
}

#[test]
fn inside_the_declared_bounds_no_window_is_missed() {
    let mut runs = 0;
    for script in scripts() {
        for plan in &script.plans {
            for seed in 100..108 {
                let choices = &plan.choices;
                for run in [script.play(seed, &[], choices), script.play_edges(seed, choices)] {
                    let missed = missed(plan, &run);
                    assert!(missed.is_empty(), "{} seed {seed}: {missed:#?}", script.name);
                    runs += 1;
                }
            }
        }
    }
    assert!(runs >= 1000, "only {runs} runs");
}

/// Everything that came of the loss of a guard, in order.
fn after_loss(run: &Transcript, guard: GuardIx) -> &[Effect] {
    let line = run.lines.iter().find(|line| line.input == Some(Input::Lost(guard)));
    line.map_or(&[], |line| &line.effects)
}

#[test]
fn a_guard_lost_during_any_window_ends_the_run_and_what_is_held_is_let_go_first() {
    let script = push_start();
    let mut held = 0;
    let mut losses = 0;
    for plan in &script.plans {
        for (ix, step) in plan.indexed().filter(|(_, step)| !step.windows.is_empty()) {
            // While the window is open: before the cue, with the hands on the way, while it is held.
            let above = StepIx(ix.0 - 1);
            for (cue, after) in [(above, 900), (ix, 0), (ix, 900), (ix, 2500), (ix, 4500)] {
                for guard in (0..).map(GuardIx).take(plan.guards.len()) {
                    let fault = Fault::Lost(guard, cue, 1, Millis(after));
                    let run = script.play(1, &[fault], &plan.choices);
                    let (ending, _) = run.ending.unwrap();
                    assert_eq!(script.ending(ending), "unsure", "{} {guard:?}", step.name);
                    let effects = after_loss(&run, guard);
                    let lost = |e: &Effect| matches!(e, Effect::Record(Fact::Outcome(_, OutcomeKind::LostGuard(g))) if *g == guard);
                    let lost = effects.iter().position(lost).expect("the loss decides the step");
                    let first = Effect::Record(Fact::Noticed(Notice::LetGoFirst));
                    let let_go = effects.iter().position(|e| *e == first);
                    assert!(let_go.is_none_or(|let_go| let_go < lost), "{}", step.name);
                    if cue == ix && matches!(step.hold, Some(Hold::UntilAnswered(..))) {
                        assert!(let_go.is_some(), "{}: what is held is let go", step.name);
                        held += 1;
                    }
                    losses += 1;
                }
            }
        }
    }
    assert!(losses >= 40 && held >= 20, "{losses} losses, {held} with a key held");
}
