//! A script whose timing is not proven: nobody is led through it without a reason, in words where there
//! is no way back; and then what is at risk is told live, and everything else is still promised.

use std::fs;

use super::commands::{call, folder, only};
use super::runs_support::{Script, facts, from_text, network, push_start};
use stepbell::guide::cue::{Effect, Fact, Frame, Notice, WindowState};
use stepbell::procedure::model::EndingClass;
use stepbell::procedure::plan::{Plan, StepIx};
use stepbell::procedure::timing::{Mark, Point};
use stepbell::vehicle::{Fault, Transcript, Wrong};

const SCRIPT: &str = "procedures/push-start-spare.bell";

/// The main procedure with a window for the working key that the slowest hands miss.
fn too_narrow() -> String {
    let text = fs::read_to_string(SCRIPT).expect("readable");
    let narrow = text.replace("within 30s after open answered", "within 8s after open answered");
    assert_ne!(narrow, text);
    narrow
}

fn step(plan: &Plan, name: &str) -> StepIx {
    plan.indexed().find(|(_, step)| step.name == name).expect("there").0
}

fn frames(run: &Transcript, of: StepIx) -> impl Iterator<Item = &Frame> {
    let effects = run.lines.iter().flat_map(|line| &line.effects);
    effects.filter_map(move |effect| match effect {
        Effect::Show(frame) if frame.step == Some(of) => Some(&**frame),
        _ => None,
    })
}

fn called(run: &Transcript, step: StepIx) -> bool {
    let point = Point { step, mark: Mark::Called };
    facts(run).any(|fact| matches!(fact, Fact::CueGiven { point: p, .. } if *p == point))
}

#[test]
fn a_window_at_risk_is_tried_and_told_and_the_others_are_promised() {
    let script = from_text("narrow", too_narrow());
    let plan = script.smallest();
    let (show, new) = (step(plan, "show-working"), step(plan, "show-new"));
    let timing = network(&script.procedure, plan, &script.speech);
    let (mut well, mut missed) = (0, 0);
    for seed in 0..60 {
        let run = script.play(seed, &[], &plan.choices);
        let open: Vec<WindowState> = frames(&run, show).map(|frame| frame.window).collect();
        assert!(open.contains(&WindowState::AtRisk), "{seed}: {open:?}");
        assert!(!open.contains(&WindowState::Safe), "{seed}: {open:?}");
        assert!(called(&run, show), "{seed}: it is tried all the same");
        // Only the narrow window is ever missed.
        assert!(run.truth.outside.iter().all(|(ix, ..)| *ix == show), "{:?}", run.truth.outside);
        let mut later = frames(&run, new);
        assert!(later.all(|frame| frame.window != WindowState::AtRisk), "{seed}");
        let late =
            facts(&run).any(|f| matches!(f, Fact::Noticed(Notice::Late(ix, _)) if *ix == show));
        missed += usize::from(late || !run.truth.outside.is_empty());
        well += usize::from(run.ending.map(|(_, class)| class) == Some(EndingClass::Learned));
    }
    assert!(well > 5 && missed > 5, "{well} learned, {missed} missed");
    // Nothing but what is at risk is left out: the table of every other cue promises all its windows.
    assert!(timing.worked_out() > 0);
}

/// The digits of a window at risk count to its true close by the quickest hand: after that it is too
/// late even for that.
#[test]
fn a_window_at_risk_is_given_up_once_the_quickest_hand_is_too_slow() {
    let script = from_text("narrow", too_narrow());
    let plan = script.smallest();
    let (tell, show) = (step(plan, "open"), step(plan, "show-working"));
    // The answer is told so late that even the quickest walk comes too late.
    let slow = Wrong::Slow(stepbell::clock::Millis::secs(12));
    let run = script.play(3, &[Fault::Step(tell, 1, slow)], &plan.choices);
    let states: Vec<WindowState> = frames(&run, show).map(|frame| frame.window).collect();
    assert!(states.contains(&WindowState::AtRisk) || states.contains(&WindowState::TooLate));
}

#[test]
fn a_proven_script_has_nothing_at_risk() {
    let script: Script = push_start();
    for plan in &script.plans {
        let run = script.play(5, &[], &plan.choices);
        let shown = run.lines.iter().flat_map(|line| &line.effects);
        let risk = |e: &Effect| matches!(e, Effect::Show(f) if f.window == WindowState::AtRisk);
        assert_eq!(shown.filter(|effect| risk(effect)).count(), 0);
    }
}

#[test]
fn nobody_is_led_through_without_a_reason() {
    let folder = folder("unproven-refused");
    let narrow =
        || call(&["guide", "a.bell", "--no-record"]).inside(&folder).file("a.bell", too_narrow());
    narrow().err("begin all the same with --unproven").err("line 69 (show-working)").ends(1);
    let no_reason = ["guide", "a.bell", "--no-record", "--unproven", "  "];
    call(&no_reason).inside(&folder).err("begin all the same with --unproven").ends(1);
}

/// There is no way back in it, so the words have to be typed: a yes is not enough.
#[test]
fn where_there_is_no_way_back_it_is_begun_in_words() {
    let folder = folder("unproven-words");
    let records = folder.join("records");
    fs::create_dir(&records).expect("a folder");
    let args = ["guide", "a.bell", "--unproven", "quick hands", "--record", "records"];
    let led = |input: &str| {
        let records = only_or_none(&records);
        assert_eq!(records, None, "nothing is begun before the words");
        call(&args).inside(&folder).file("a.bell", too_narrow()).input(input)
    };
    led("stop\n").out("type: begin unproven").out("From step open (line 58)").ends(0);
    let out = led("yes\nbegin it\nstop\n").out("\"begin it\" is not it: nothing is begun").ends(0);
    assert!(!out.contains("Is no real vehicle meant"), "{out}");
    let out = led("Begin Unproven\nno\n").out("! begun unproven: quick hands").ends(1);
    assert!(out.contains("Is no real vehicle meant"), "{out}");
    let record = fs::read_to_string(only(&records)).expect("readable");
    assert!(record.contains("begun unproven: quick hands"), "{record}");
    assert!(record.contains("typed: begin unproven"), "{record}");
}

fn only_or_none(folder: &std::path::Path) -> Option<std::path::PathBuf> {
    fs::read_dir(folder).expect("readable").next().map(|entry| entry.expect("one").path())
}

/// A script that is proven needs no reason: one that is given all the same is not held against it.
#[test]
fn a_reason_for_a_proven_script_is_not_recorded() {
    let args = ["guide", SCRIPT, "--no-record", "--unproven", "no need"];
    let out = call(&args).input("no\n").out("Is no real vehicle meant").ends(1);
    assert!(!out.contains("unproven"), "{out}");
}
