//! How many rehearsals a second the odds play, as a ratio within one run: whole runs through the guide
//! against a loop that only draws as many lengths and compares as many windows.
//!
//! `cargo bench --bench rehearse` plays for some seconds on every core; `-- --short` for a fraction of
//! one. Aim: at least 20,000 runs of the main procedure a second on two cores.

#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock, files and cores")]
#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

use std::hint::black_box;
use std::sync::Arc;
use std::time::Instant;

use stepbell::clock::{Millis, Span};
use stepbell::guide::{Guide, Settings};
use stepbell::procedure::examine;
use stepbell::procedure::model::Procedure;
use stepbell::procedure::plan::{Choices, Plan};
use stepbell::procedure::timing::{hands, report_delay, speech_lengths};
use stepbell::proof::timing::network;
use stepbell::training::odds::{Terms, hoped_ending, play};
use stepbell::vehicle::law::{Law, Share, Spreads};
use stepbell::vehicle::{Draw, Practice};

/// The main procedure, and a small one.
const SCRIPTS: [&str; 2] = ["procedures/push-start-spare.bell", "tests/terminal/tiny.bell"];

fn main() {
    let short = std::env::args().any(|argument| argument == "--short");
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    for script in SCRIPTS {
        measure(script, threads, if short { 2_000 } else { 60_000 });
    }
}

fn measure(script: &str, threads: usize, runs: u64) {
    let text = std::fs::read_to_string(script).expect("the script");
    let examined = examine(script, text, &mut |_| Err("nothing else is read".to_owned()));
    let procedure = Arc::new(examined.procedure.expect("a sound script"));
    let plan = examined.plans.first().expect("a plan");
    let law = Law::Tails(Spreads::default());
    let terms = Terms { seed: 1, law, orders: Vec::new() };
    let each = runs / threads as u64;
    let begun = Instant::now();
    let played: u64 = std::thread::scope(|scope| {
        let work = |n: u64| {
            let (procedure, terms) = (Arc::clone(&procedure), &terms);
            move || {
                let mut practice = practice(&procedure);
                let hoped = hoped_ending(&mut practice);
                let range = n * each..(n + 1) * each;
                let odds = play(&mut practice, &procedure, terms, hoped, range, &mut |_| {});
                odds.expect("no fault is ordered").runs
            }
        };
        let all: Vec<_> = (0..threads as u64).map(|n| scope.spawn(work(n))).collect();
        all.into_iter().map(|one| one.join().expect("a thread")).sum()
    });
    let ours = begun.elapsed().as_secs_f64() / played as f64;
    let bare = bare(&procedure, plan, law, threads, each);
    println!(
        "{script}: {:.0} rehearsals a second on {threads} threads; drawing and comparing alone \
         {:.0}; ratio {:.1}; n = {played}",
        1.0 / ours,
        1.0 / bare,
        ours / bare
    );
}

fn practice(procedure: &Arc<Procedure>) -> Practice {
    let speech = speech_lengths(procedure);
    let settings = Settings {
        speech: speech.clone(),
        timing: network,
        rehearsal: true,
        length: stepbell::power::Length::Unbounded,
    };
    let guide = Guide::new(Arc::clone(procedure), settings);
    Practice::new(guide, procedure, &speech, &Choices::default()).expect("a first step")
}

/// Seconds a run of the same draws and comparisons without any guide.
fn bare(procedure: &Procedure, plan: &Plan, law: Law, threads: usize, each: u64) -> f64 {
    let spans: Vec<(Span, Span, Span, Millis)> = plan
        .steps
        .iter()
        .map(|step| {
            let answer = step.met.first().map_or(Span::ZERO, |met| met.delay.then(met.recognise));
            let window = step.windows.iter().filter_map(|window| window.range.hi).min();
            let report = report_delay(procedure, step);
            (hands(procedure, step), answer, report, window.unwrap_or(Millis::LONGEST))
        })
        .collect();
    let begun = Instant::now();
    std::thread::scope(|scope| {
        for n in 0..threads as u64 {
            let spans = &spans;
            scope.spawn(move || {
                let mut missed = 0_u64;
                for run in n * each..(n + 1) * each {
                    let mut draw = Draw::of_run(1, run, law);
                    for (hands, answer, report, window) in spans {
                        let hands = draw.takes(Share::Hands, &[*hands]);
                        let answer = draw.takes(Share::Vehicle, &[*answer]);
                        let report = draw.takes(Share::Report, &[*report]);
                        missed += u64::from(hands.plus(answer).plus(report) > *window);
                    }
                }
                black_box(missed)
            });
        }
    });
    begun.elapsed().as_secs_f64() / (each * threads as u64) as f64
}
