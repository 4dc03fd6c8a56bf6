//! How late the run's clock wakes, against a bare absolute sleep: cue lateness p50, p99, p99.9 and
//! worst of both, in turns, on an idle computer and with every core busy.
//!
//! `cargo bench --bench lateness -- [N]` takes N waits of each (default 5,000; `--short` takes 300)
//! in each of the two states. Fails when a wake comes early. Absolute times belong to the computer
//! at hand; the ratios are what is compared.
#![expect(clippy::disallowed_methods, reason = "a benchmark starts threads to load the cores")]

use std::io::Write;
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::thread;

use stepbell::clock::Millis;
use stepbell::edge::clock::{RunClock, Wake, read};

/// Waits of each kind in each state, where the caller names no number.
const WAITS: usize = 5000;
/// With `--short`.
const SHORT: usize = 300;

/// Nanoseconds late, sorted.
struct Lateness(Vec<i64>);

impl Lateness {
    fn new(mut nanos: Vec<i64>) -> Lateness {
        nanos.sort_unstable();
        Lateness(nanos)
    }

    /// The value below which `part` in a thousand lie (nearest rank).
    fn at(&self, part: usize) -> i64 {
        let rank = (self.0.len() * part).div_ceil(1000).max(1);
        self.0.get(rank - 1).copied().unwrap_or(0)
    }
}

fn main() -> ExitCode {
    let mut waits = WAITS;
    for argument in std::env::args().skip(1) {
        match (argument.as_str(), argument.parse()) {
            ("--short", _) => waits = SHORT,
            (_, Ok(n)) => waits = n,
            // What cargo itself hands on.
            ("--bench", _) => {}
            _ => return say(&format!("not a number of waits: {argument}"), ExitCode::from(2)),
        }
    }
    let idle = measure(waits);
    report("idle", &idle);
    let busy = with_every_core_busy(|| measure(waits));
    report("every core busy", &busy);
    let early = [&idle, &busy].iter().any(|(ours, _)| ours.at(0) < 0);
    if early { say("a wake came early", ExitCode::FAILURE) } else { ExitCode::SUCCESS }
}

fn say(line: &str, code: ExitCode) -> ExitCode {
    let _ = writeln!(std::io::stdout(), "{line}");
    code
}

/// The run's clock and a bare sleep in turns, after 1, 2 and 3 ms, so that both meet the same load.
fn measure(waits: usize) -> (Lateness, Lateness) {
    let (mut ours, mut bare) = (Vec::with_capacity(waits), Vec::with_capacity(waits));
    let mut clock = RunClock::start();
    let (_keep, keys) = mpsc::channel::<()>();
    for n in 0..waits {
        let wait = Millis(1 + i64::try_from(n % 3).unwrap_or(0));
        ours.push(late_by_ours(&mut clock, wait, &keys));
        bare.push(late_by_bare(wait.0 * 1_000_000));
    }
    (Lateness::new(ours), Lateness::new(bare))
}

/// The run's clock counts whole milliseconds; what it was late by is read from the clock below it.
fn late_by_ours(clock: &mut RunClock, wait: Millis, keys: &mpsc::Receiver<()>) -> i64 {
    // A moment is rounded down, so one millisecond more makes the wait at least as long as asked.
    let deadline = clock.now().after(wait).after(Millis(1));
    let due = clock.instant_of(deadline);
    loop {
        let woken = clock.wait_until(deadline, keys);
        if woken.why == Wake::Due {
            assert!(woken.at >= deadline, "told as due before it is");
            return read().boot - due;
        }
    }
}

#[cfg(target_os = "linux")]
fn late_by_bare(wait: i64) -> i64 {
    use rustix::thread::{ClockId, clock_nanosleep_absolute};
    use rustix::time::Timespec;
    let due = read().boot + wait;
    let at = Timespec { tv_sec: due / 1_000_000_000, tv_nsec: due % 1_000_000_000 };
    while clock_nanosleep_absolute(ClockId::Boottime, &at).is_err() {}
    read().boot - due
}

#[cfg(not(target_os = "linux"))]
fn late_by_bare(wait: i64) -> i64 {
    let due = read().boot + wait;
    thread::sleep(std::time::Duration::from_nanos(wait.unsigned_abs()));
    read().boot - due
}

/// One thread a core that never waits, for as long as `work` takes.
fn with_every_core_busy<T>(work: impl FnOnce() -> T) -> T {
    let stop = Arc::new(AtomicBool::new(false));
    let cores = thread::available_parallelism().map_or(2, Into::into);
    let spinners: Vec<_> = (0..cores)
        .map(|_| {
            let stop = Arc::clone(&stop);
            thread::spawn(move || while !stop.load(Ordering::Relaxed) {})
        })
        .collect();
    let result = work();
    stop.store(true, Ordering::Relaxed);
    for spinner in spinners {
        let _ = spinner.join();
    }
    result
}

fn report(state: &str, (ours, bare): &(Lateness, Lateness)) {
    let mut out = std::io::stdout().lock();
    let _ = writeln!(
        out,
        "{state}, {} waits each, late by µs: clock | bare sleep | ratio",
        ours.0.len()
    );
    for (name, part) in [("p50", 500), ("p99", 990), ("p99.9", 999), ("worst", 1000)] {
        let (ours, bare) = (ours.at(part), bare.at(part));
        let hundredths = ours.saturating_mul(100) / bare.max(1);
        let _ = writeln!(
            out,
            "  {name:>5}  {:>8} | {:>8} | {}.{:02}",
            ours / 1000,
            bare / 1000,
            hundredths / 100,
            hundredths % 100
        );
    }
}
