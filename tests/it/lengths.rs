//! How long a run can take: no seeded run inside the bounds is longer than the longest, or shorter than
//! the shortest, whatever goes wrong in it.

use std::fs;
use std::path::Path;
use std::sync::Arc;

use stepbell::clock::{Millis, Moment};
use stepbell::guide::cue::{Effect, Fact};
use stepbell::guide::{Guide, Settings};
use stepbell::procedure::model::EndingClass;
use stepbell::procedure::plan::{GuardIx, Plan, Report, StepIx};
use stepbell::procedure::timing::{PlainTiming, SpeechLengths, speech_lengths};
use stepbell::procedure::{Examined, examine};
use stepbell::proof::lengths::{Lengths, lengths};
use stepbell::vehicle::{Draw, Fault, Transcript, Wrong, play_drawn};

/// Every shipped procedure and sequence that is proven, by name.
fn scripts() -> Vec<(String, Examined)> {
    let mut all = Vec::new();
    for folder in ["procedures", "tests/scripts/sequences"] {
        let entries = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(folder));
        let mut paths: Vec<_> =
            entries.expect("a folder").map(|entry| entry.expect("an entry").path()).collect();
        paths.retain(|path| path.extension().is_some_and(|e| e == "bell"));
        paths.sort();
        for path in paths {
            let name = path.file_stem().and_then(|n| n.to_str()).expect("a name").to_owned();
            let text = fs::read_to_string(&path).expect("readable");
            all.push((name.clone(), examine(&name, text, &mut |_| Err("no file".to_owned()))));
        }
    }
    all
}

/// From the first step's first moment to the last outcome; `None` for a run without an outcome.
fn run_length(run: &Transcript) -> Option<Millis> {
    let facts = run.lines.iter().flat_map(|line| {
        line.effects.iter().filter_map(|effect| match effect {
            Effect::Record(fact) => Some((line.at, fact)),
            _ => None,
        })
    });
    let mut begun: Option<Moment> = None;
    let mut ended = None;
    for (at, fact) in facts {
        match fact {
            Fact::Entered(..) => {
                begun.get_or_insert(at);
            }
            Fact::Outcome(..) => ended = Some(at),
            _ => {}
        }
    }
    Some(ended?.since(begun?))
}

/// What goes wrong in one run: drawn, often something at every other step, so that tries are spent.
fn faults(plan: &Plan, draw: &mut Draw) -> Vec<Fault> {
    let mut faults = Vec::new();
    let often = draw.between(0, 3);
    for (at, step) in plan.indexed() {
        if draw.between(0, 3) >= often {
            continue;
        }
        let times = u32::try_from(draw.between(1, 4)).expect("small");
        // An act that nobody reports is outside the bounds of a report.
        let awaited = step.report == Report::Answer;
        let wrong = match draw.between(if awaited { 0 } else { 6 }, 9) {
            0..=4 => Wrong::Silence,
            5 => Wrong::NoPress,
            6 => Wrong::Slip,
            7 => Wrong::Other,
            8 => Wrong::Cannot,
            _ => {
                let most = i64::try_from(step.met.len()).expect("small") - 1;
                Wrong::Answer(u32::try_from(draw.between(0, most.max(0))).expect("small"))
            }
        };
        faults.push(Fault::Step(at, times, wrong));
    }
    if often > 0 && !plan.guards.is_empty() && draw.between(0, 5) == 0 {
        let guards = i64::try_from(plan.guards.len()).expect("few");
        let guard = GuardIx(u32::try_from(draw.between(0, guards - 1)).expect("small"));
        let steps = i64::try_from(plan.steps.len()).expect("few");
        let step = StepIx(u32::try_from(draw.between(0, steps - 1)).expect("small"));
        faults.push(Fault::Lost(guard, step, 1, Millis(draw.between(0, 5000))));
    }
    faults
}

fn settings(speech: &SpeechLengths) -> Settings {
    Settings {
        speech: speech.clone(),
        timing: |procedure, plan, speech| Box::new(PlainTiming::new(procedure, plan, speech)),
        rehearsal: false,
        length: stepbell::power::Length::Unbounded,
    }
}

#[test]
fn no_run_inside_the_bounds_is_longer_than_the_longest_or_shorter_than_the_shortest() {
    let mut runs = 0;
    for (name, examined) in scripts() {
        let procedure = Arc::new(examined.procedure.clone().expect("a model"));
        let speech = speech_lengths(&procedure);
        for plan in &examined.plans {
            let Some(known) = lengths(&procedure, plan, &speech) else { continue };
            for seed in 0..12_u64 {
                let mut draw = Draw::new(seed);
                let faults = faults(plan, &mut draw);
                let draw = if seed % 2 == 0 { Draw::edges(seed) } else { Draw::new(seed) };
                let guide = Guide::new(Arc::clone(&procedure), settings(&speech));
                let run = play_drawn(guide, &procedure, &speech, draw, &faults, &plan.choices);
                let Some(length) = run_length(&run) else { continue };
                let learned = run.ending.is_some_and(|(_, class)| class == EndingClass::Learned);
                within(&name, length, learned, &known, &run);
                runs += 1;
            }
        }
    }
    assert!(runs > 500, "{runs} runs");
}

#[track_caller]
fn within(name: &str, length: Millis, learned: bool, known: &Lengths, run: &Transcript) {
    let told = || {
        let mut told = String::new();
        for line in &run.lines {
            for effect in &line.effects {
                if let Effect::Record(fact) = effect {
                    told += &format!("{} {fact:?}\n", line.at.0);
                }
            }
        }
        told
    };
    assert!(length <= known.most, "{name}: {length}, at most {known:?}\n{}", told());
    if learned {
        assert!(Some(length) >= known.best, "{name}: {length}, at best {known:?}\n{}", told());
    }
}
