//! Whoever keeps the bounds of a proven script misses no window: many runs over every script that is
//! proven, and over scripts that no person can follow, which do miss.
//!
//! `cargo bench --bench windows` plays 100,000 runs; `-- --short` a tenth of them. Ends in a panic where
//! a window of a proven script is missed. The ratio is that of the missed runs.

#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock, files and cores")]
#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

#[path = "../tests/it/missed.rs"]
mod missed;

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use missed::{Count, FOLDERS, play, scripts};
use stepbell::procedure::Examined;
use stepbell::procedure::model::Procedure;
use stepbell::procedure::plan::Plan;
use stepbell::procedure::timing::speech_lengths;
use stepbell::proof::verdict::{Verdict, verdict};

fn main() {
    let short = std::env::args().any(|argument| argument == "--short");
    let runs = if short { 10_000 } else { 100_000 };
    let all = FOLDERS.iter().flat_map(|folder| scripts(folder));
    let (proven, refused): (Vec<_>, Vec<_>) = all.partition(|(_, examined)| is_proven(examined));
    let begun = Instant::now();
    let count = many(&proven, runs);
    let took = begun.elapsed();
    println!(
        "{} runs over {} proven scripts: {} missed a window; {:.0} runs a second",
        count.runs,
        proven.len(),
        count.missed,
        count.runs as f64 / took.as_secs_f64()
    );
    assert_eq!((count.missed, count.standstills), (0, 0), "{count:?}");
    let unmeetable = scripts("tests/scripts/unmeetable").into_iter().chain(refused);
    let unmeetable: Vec<_> = unmeetable.collect();
    let count = many(&unmeetable, runs / 10);
    println!(
        "{} runs over {} scripts that are not proven: {} missed a window, {:.0} of 100",
        count.runs,
        unmeetable.len(),
        count.missed,
        100.0 * count.missed as f64 / count.runs as f64
    );
    assert!(count.missed > 0, "the imaginary vehicle would not notice");
}

fn is_proven(examined: &Examined) -> bool {
    let Some(procedure) = &examined.procedure else { return false };
    let timing = verdict(procedure, &examined.plans, &speech_lengths(procedure));
    matches!(timing, Verdict::Proven(_))
}

/// At least so many runs over all plans of all scripts, on every core.
fn many(scripts: &[(String, Examined)], runs: u64) -> Count {
    let work: Vec<(Arc<Procedure>, &Plan)> = scripts
        .iter()
        .flat_map(|(_, examined)| {
            let procedure = Arc::new(examined.procedure.clone().expect("a model"));
            examined.plans.iter().map(move |plan| (Arc::clone(&procedure), plan))
        })
        .collect();
    let each = runs.div_ceil(work.len() as u64);
    let (next, work) = (AtomicUsize::new(0), &work);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        let one = || {
            let mut count = Count::default();
            loop {
                let nth = next.fetch_add(1, Ordering::Relaxed);
                let Some((procedure, plan)) = work.get(nth) else { return count };
                count = count.and(play(procedure, plan, nth as u64, each));
            }
        };
        let all: Vec<_> = (0..threads).map(|_| scope.spawn(one)).collect();
        let counts = all.into_iter().map(|thread| thread.join().expect("a thread"));
        counts.fold(Count::default(), Count::and)
    })
}
