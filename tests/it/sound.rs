//! What the proof must not overlook: scripts that look possible step by step and are not, each beside
//! one with more time that is.

use std::sync::Arc;

use stepbell::faces::verdict::word;
use stepbell::guide::{Guide, Settings};
use stepbell::procedure::Examined;
use stepbell::procedure::model::EndingClass;
use stepbell::procedure::plan::StepIx;
use stepbell::procedure::timing::{PlainTiming, What, speech_lengths};
use stepbell::proof::verdict::Verdict;
use stepbell::vehicle::{Fault, Wrong, play};

use crate::verdicts::{decide, lines_of, small};

const WAKE: &str = "sign lamp, see \"the lamp\" lit\nsign siren, hear \"the siren\" howling\n\
    step wake \"Switch ON.\"\n  takes 1s to 2s\n  see lamp, within 2s after done, so go on\n  nothing \
    within 5s after done, so finish as unsure\n";

/// The line, counted from 1, that begins so.
fn line(examined: &Examined, begins: &str) -> u32 {
    let (_, file) = examined.sources.files().next().expect("a file");
    let at = file.text().lines().position(|line| line.trim().starts_with(begins));
    u32::try_from(at.expect("the line is there") + 1).expect("few lines")
}

/// The script is refused for this line, and proven with the other words in its place.
fn refused_for(lines: &str, begins: &str, enough: (&str, &str)) {
    let narrow = small(lines);
    let timing = decide(&narrow);
    let expected = line(&narrow, begins);
    assert!(lines_of(&narrow, &timing).contains(&expected), "{timing:?}");
    let wide = lines.replace(enough.0, enough.1);
    assert_ne!(wide, lines);
    assert_eq!(word(&decide(&small(&wide))), "proven", "{:?}", decide(&small(&wide)));
}

/// A stretch is over where it is left, not only behind its last step.
#[test]
fn a_limit_binds_every_way_out_of_its_stretch() {
    let lines = format!(
        "{WAKE}phase learning\n  within 40s after wake answered\n  late, so finish as unsure\n  \
         step press \"Press the button.\"\n    takes 1s to 4s\n    see lamp, within 2s after done, so go \
         on\n    hear siren, within 1min after done, so finish as not-learned\n    nothing within 1min 5s \
         after done, so finish as unsure\n  step close \"Switch OFF.\"\n    takes 1s to 2s\nend phase\n\
         finish as learned\n"
    );
    refused_for(&lines, "within 40s", ("within 40s", "within 1min 30s"));
    // The stretch may also be left for a later step.
    let onward = lines.replace("so finish as not-learned", "so go to rest");
    let onward = onward.replace(
        "finish as learned\n",
        "step rest \"Switch ON.\"\n  takes 1s to 2s\nfinish as learned\n",
    );
    refused_for(&onward, "within 40s", ("within 40s", "within 1min 30s"));
}

/// Nobody knows how long a person thinks about a question, so no window may be open meanwhile.
#[test]
fn a_question_in_an_open_window_is_refused() {
    let script = |window: &str| {
        small(&format!(
            "{WAKE}step press \"Press the button.\"\n  ask mark in V, between 1 and 20, \"What does the \
             scale say?\"\n  takes 1s to 4s\n{window}finish as learned\n"
        ))
    };
    assert_eq!(word(&decide(&script(""))), "proven");
    let asked = script("  within 2h after wake answered\n  late, so finish as unsure\n");
    let Verdict::Refused(refusal) = decide(&asked) else { panic!("nobody can know") };
    assert!(refusal.grounds.iter().any(|g| g.what == What::Question), "{refusal:?}");
}

/// Hands start at the second word: an act may come sooner after the end of the words than hands take.
#[test]
fn hands_may_begin_before_the_words_are_over() {
    let lines = "step press \"Press the button.\"\n  takes 500ms to 1s\n  not before 600ms after press \
                 heard\nfinish as learned\n";
    // The quickest hand, 700 ms after the cue, whose tone may last until 350 ms.
    refused_for(lines, "not before 600ms", ("600ms", "300ms"));
    // Words that are never short let nobody begin later.
    let lines = "step press \"Press the button.\"\n  say \"Press it.\", lasting 1s to 2s\n  takes 500ms to \
                 1s\n  not before 1s after press called\nfinish as learned\n";
    refused_for(lines, "not before 1s", ("before 1s", "before 650ms"));
}

fn first_try() -> Examined {
    small(&format!(
        "{WAKE}step first \"Press the button.\"\n  takes 1s to 2s\nstep second \"Press the other \
         button.\"\n  takes 1s to 2s\n  slip, so go back to first after 1min, at most once, else finish as \
         unsure\nstep third \"Press both.\"\n  takes 1s to 2s\n  within 1min after wake answered, first try \
         only\n  late, so finish as not-learned\nfinish as learned\n"
    ))
}

/// Once the run went back, a window of the first try is past, also for a step that was not reached
/// before: for the proof, the guide, and the imaginary vehicle alike.
#[test]
fn a_window_of_the_first_try_is_past_once_the_run_went_back() {
    let examined = first_try();
    assert!(matches!(decide(&examined), Verdict::Proven(_)), "{:?}", decide(&examined));
    let procedure = Arc::new(examined.procedure.clone().expect("a model"));
    let speech = speech_lengths(&procedure);
    for seed in 0..20 {
        let settings = Settings {
            speech: speech.clone(),
            timing: |procedure, plan, speech| Box::new(PlainTiming::new(procedure, plan, speech)),
            rehearsal: false,
            length: stepbell::power::Length::Unbounded,
        };
        let guide = Guide::new(Arc::clone(&procedure), settings);
        let slips = [Fault::Step(StepIx(2), 1, Wrong::Slip)];
        let choices = &examined.plans[0].choices;
        let run = play(guide, &procedure, &speech, seed, &slips, choices);
        assert_eq!(run.ending.map(|(_, class)| class), Some(EndingClass::Learned), "{seed}");
        assert!(run.truth.outside.is_empty(), "{seed}: {:?}", run.truth.outside);
    }
}
