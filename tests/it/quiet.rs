//! Answers for the ear: what comes after them is said afterwards, unless the time is needed.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use stepbell::guide::cue::{Cue, Effect, Fact, Stage};
use stepbell::procedure::model::Sense;
use stepbell::procedure::plan::{Plan, StepIx};
use stepbell::procedure::timing::Timing as _;
use stepbell::proof::verdict::Verdict::Proven;
use stepbell::proof::verdict::verdict;

use crate::runs_support::{Script, from_text, network, scripts};

/// Whether an answer of a step is for the ear.
fn heard(script: &Script, plan: &Plan, at: StepIx) -> bool {
    let mut signs = plan.step(at).met.iter().flat_map(|met| &met.signs);
    signs.any(|sign| script.procedure.signs[sign.0 as usize].sense == Sense::Hear)
}

/// Every answer for the ear behind which something is said ahead or not, by line.
fn told(script: &Script) -> String {
    let mut lines = std::collections::BTreeMap::new();
    for plan in &script.plans {
        let quiet = network(&script.procedure, plan, &script.speech).quiet();
        for (at, step) in plan.indexed().filter(|(at, _)| heard(script, plan, *at)) {
            let Some(next) = plan.ahead(at) else { continue };
            let text = script.procedure.texts[plan.step(next).prepare.0 as usize].text.clone();
            let word = if quiet.steps.contains(&at) { "afterwards" } else { "meanwhile" };
            let key = (step.place, step.name.clone(), plan.step(next).name.clone(), word);
            lines.entry(key).or_insert(text);
        }
    }
    let mut out = String::new();
    for ((_, name, next, word), text) in lines {
        let _ = writeln!(out, "{}: {name} → {next} {word}: {text}", script.name);
    }
    out
}

#[test]
fn what_is_said_meanwhile_and_what_afterwards() {
    let all: String = scripts().iter().map(told).collect();
    insta::assert_snapshot!(all);
}

/// The step with the chime.
const WAKE: StepIx = StepIx(1);

/// A strongbox that takes a new key within so many seconds of its chime.
fn strongbox(within: u32) -> Script {
    let text = format!(
        "procedure \"Add a spare with a key that works\"
device \"Brackwater strongbox (invented)\"
status demonstration
assumed \"an invented device\"
affirm ownership
have old, registered key, \"the key that works\", felt as \"one band of tape\"
have spare, new key, \"the new key\", felt as \"two bands of tape\"
sign chime, hear \"the chime\" once, quiet 1.5s
step ready \"Take a key in each hand.\"
  take old
  take spare
  takes 1s to 9s
step wake \"Hold the working key against the reader.\"
  with old
  takes 1s to 2s
  hear chime, between 1s and 3s after done, so go on
  nothing within 6s after done, so finish as not-learned
step teach \"Hold the new key against the reader.\"
  with spare
  keep away old, \"in the drawer\"
  takes 1s to 2s
  within {within}s after wake answered
  late, so finish as not-learned
  hear chime, between 1s and 3s after done, so go on
  nothing within 6s after done, so finish as unsure
finish as learned
tests
  test spare, \"Open it with this key.\", expect \"the bolt moves\", else finish as unsure
  test old, \"Open it with this key.\", expect \"the bolt moves\", else finish as unsure
end tests
"
    );
    from_text("strongbox", text)
}

/// What is said to prepare while the answer of a step is awaited, over so many runs; and how often one
/// was awaited.
fn meanwhile(script: &Script, plan: &Plan, at: StepIx, runs: u64) -> (usize, usize) {
    let (mut said, mut awaited) = (0, 0);
    for seed in 0..runs {
        let mut waits = false;
        for line in script.play(seed, &[], &plan.choices).lines {
            for effect in line.effects {
                match effect {
                    Effect::Say(_, Cue::Prepare | Cue::Caution) => said += usize::from(waits),
                    Effect::Record(Fact::Outcome(step, _)) if step == at => waits = false,
                    Effect::Show(frame) => {
                        let now = frame.stage == Stage::Acting && frame.reported == Some(at);
                        awaited += usize::from(now && !waits);
                        waits = now;
                    }
                    _ => {}
                }
            }
        }
    }
    (said, awaited)
}

#[test]
fn a_chime_is_not_talked_over_where_time_is_left_after_it() {
    let led = |within| {
        let script = strongbox(within);
        let plan = &script.plans[0];
        if !matches!(verdict(&script.procedure, &script.plans, &script.speech), Proven(_)) {
            return "refused";
        }
        let steps = network(&script.procedure, plan, &script.speech).quiet().steps;
        assert!(steps.is_empty() || steps == [WAKE].into());
        let (said, awaited) = meanwhile(&script, plan, WAKE, 20);
        assert_eq!(awaited, 20);
        assert_eq!(said, if steps.is_empty() { 20 } else { 0 }, "{within} s");
        if steps.is_empty() { "meanwhile" } else { "afterwards" }
    };
    let all: Vec<_> = (4..30).map(led).collect();
    let order: Vec<_> = all.chunk_by(|a, b| a == b).map(|same| (same[0], same.len())).collect();
    // By hand: a chime is told up to 1.5 s of quiet and 3 s of report after it began; then tone and
    // jitter 0.35 s, reaction 1.5 s, hand 2 s: 8.35 s. The prompt (7 words at 110 a minute, and 0.6 s)
    // takes 4.42 s: meanwhile it may end 0.77 s after the quickest report (0.35 + 4.42 after the cue
    // against 0.2 + 1 + 1 + 1.5 + 0.3): 9.12 s. Afterwards, counted as a second longer: 13.77 s.
    assert_eq!(order, [("refused", 6), ("meanwhile", 4), ("afterwards", 16)]);
}

#[test]
fn what_the_proof_awaits_in_quiet_the_guide_does_too() {
    let mut all = 0;
    for script in scripts() {
        let plan = script.smallest();
        for at in network(&script.procedure, plan, &script.speech).quiet().steps {
            let (said, awaited) = meanwhile(&script, plan, at, 10);
            assert_eq!(said, 0, "{}, {}", script.name, plan.step(at).name);
            all += awaited;
        }
    }
    assert!(all > 100, "{all} answers were awaited in quiet");
}

/// Only the lines that need the time are talked over, however many they are.
#[test]
fn one_tight_line_makes_no_other_loud() {
    let mut text = String::from(
        "procedure \"Add a spare\"
device \"Brackwater strongbox (invented)\"
status demonstration
assumed \"an invented device\"
have spare, new remote, \"the remote\", felt as \"one button\"
sign chime, hear \"the chime\" once, quiet 1.5s
step ready \"Take the remote.\"
  take spare
  takes 1s to 9s
step s0 \"Press the remote against the reader.\"
  with spare
  takes 1s to 2s
  hear chime, between 1s and 3s after done, so go on
  nothing within 6s after done, so finish as not-learned
",
    );
    for n in 1..60 {
        let (within, above) = (if n % 2 == 0 { 30 } else { 12 }, n - 1);
        let _ = write!(
            text,
            "step s{n} \"Press the remote against the reader.\"
  with spare
  takes 1s to 2s
  within {within}s after s{above} answered
  late, so finish as not-learned
  hear chime, between 1s and 3s after done, so go on
  nothing within 6s after done, so finish as unsure
"
        );
    }
    text.push_str("finish as learned\n");
    let script = from_text("many", text);
    let plan = &script.plans[0];
    let quiet = network(&script.procedure, plan, &script.speech).quiet().steps;
    let loose: BTreeSet<StepIx> = (2..60).step_by(2).map(StepIx).collect();
    assert_eq!(quiet, loose, "each is followed by a window of 30 s");
}
