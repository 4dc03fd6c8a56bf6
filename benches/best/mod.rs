//! The shortest of repeated runs, for benches that compare.

use std::time::{Duration, Instant};

/// For about a third of a second; with `--short`, a twentieth.
pub fn best_of(work: &mut dyn FnMut()) -> Duration {
    let short = std::env::args().any(|argument| argument == "--short");
    let patience = Duration::from_millis(if short { 50 } else { 300 });
    let begun = Instant::now();
    let mut best = Duration::MAX;
    while begun.elapsed() < patience || best == Duration::MAX {
        let start = Instant::now();
        work();
        best = best.min(start.elapsed());
    }
    best
}
