//! How late a cue is with everything on, against a bare absolute sleep in the same thread: p50, p99,
//! p99.9 and worst of both, in turns, on an idle computer and with every core busy.
//!
//! First the run's clock alone, then with faces and record: after every wait, ours or bare, a cue is
//! given as a run gives it, to the record, the sounds and every face (`garage`).
//!
//! `cargo bench --bench lateness -- [N] [--without NAME]` takes N waits of each (default 5,000; `--short`
//! takes 300) in each state; NAME is view, page, voice or record. Fails when a wake comes early, and
//! from 5,000 waits on when p99 is over twice that of the bare sleep or p99.9 over 10 ms more, measured
//! on before that is said (`late`). Absolute times belong to the computer at hand; the ratios are what
//! is compared.
#![expect(clippy::disallowed_methods, reason = "a benchmark starts threads to load the cores")]

mod garage;
mod heard;
#[path = "../../tests/it/http.rs"]
#[expect(dead_code, reason = "the tests' browser can do more than watch")]
mod http;
mod late;

use std::io::Write;
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::thread;

use stepbell::clock::Millis;
use stepbell::edge::clock::{RunClock, Wake, read};
use stepbell::edge::terminal::Happening;

use late::{LONGER, Late, MORE, RATIO, ratio};

/// Waits of each kind in each state, where the caller names no number.
const WAITS: usize = 5000;
/// With `--short`.
const SHORT: usize = 300;

fn main() -> ExitCode {
    let mut waits = WAITS;
    let mut on = vec!["view", "page", "voice", "record"];
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        match (argument.as_str(), argument.parse()) {
            ("--short", _) => waits = SHORT,
            ("--without", _) => {
                let without = arguments.next().unwrap_or_default();
                assert!(on.contains(&&*without), "there is nothing called {without} to leave out");
                on.retain(|name| *name != without);
            }
            (_, Ok(n)) => waits = n,
            ("--player", _) => return heard::play(),
            // What cargo itself hands on.
            ("--bench", _) => {}
            _ => return say(&format!("not a number of waits: {argument}"), ExitCode::from(2)),
        }
    }
    let mut found = Vec::new();
    let mut state = |name: &str, busy: bool, measure: &mut dyn FnMut() -> (Vec<i64>, Vec<i64>)| {
        let measured = measured(waits, &mut || match busy {
            true => with_every_core_busy(&mut *measure),
            false => measure(),
        });
        report(name, &measured);
        found.push(measured);
    };
    let (_keep, none) = mpsc::channel();
    state("the clock alone, idle", false, &mut || measure(waits, &none, None));
    state("the clock alone, every core busy", true, &mut || measure(waits, &none, None));
    let mut garage = garage::Garage::open(&on);
    let told = garage.told();
    let page = garage.take_page();
    let keys = page.as_ref().map_or(&none, |(_, pressed)| pressed);
    let mut everything = || measure(waits, keys, Some(&mut garage));
    state(&format!("{told}, idle"), false, &mut everything);
    state(&format!("{told}, every core busy"), true, &mut everything);
    say(&garage.close(), verdict(&found, waits))
}

/// Whether no wake came early and, where there are waits enough to tell, the limits are held.
fn verdict(found: &[Pair], waits: usize) -> ExitCode {
    if found.iter().any(|(ours, _)| ours.at(0) < 0) {
        return say("a wake came early", ExitCode::FAILURE);
    }
    match found.iter().any(|(ours, bare)| ours.over(bare).is_some()) {
        true if waits >= WAITS => say("a limit is not held", ExitCode::FAILURE),
        true => say("over a limit, with too few waits to tell", ExitCode::SUCCESS),
        false => say("never early, all limits held", ExitCode::SUCCESS),
    }
}

/// Ours and the bare sleep's.
type Pair = (Late, Late);
type Keys = mpsc::Receiver<Happening>;

fn say(line: &str, code: ExitCode) -> ExitCode {
    let _ = writeln!(std::io::stdout(), "{line}");
    code
}

/// Measures until the limits are held, or long enough to say that they are not.
fn measured(waits: usize, measure: &mut dyn FnMut() -> (Vec<i64>, Vec<i64>)) -> Pair {
    let mut pair = Pair::default();
    for _ in 0..LONGER {
        let (ours, bare) = measure();
        pair.0.add(ours);
        pair.1.add(bare);
        if waits < WAITS || pair.0.over(&pair.1).is_none() {
            break;
        }
    }
    pair
}

/// The run's clock and a bare sleep in turns, after 1, 2 and 3 ms, so that both meet the same load; a cue
/// is given after each, where there is somebody to give it to.
fn measure(
    waits: usize,
    keys: &Keys,
    mut garage: Option<&mut garage::Garage>,
) -> (Vec<i64>, Vec<i64>) {
    let (mut ours, mut bare) = (Vec::with_capacity(waits), Vec::with_capacity(waits));
    let mut clock = RunClock::start();
    let mut cue = |clock: &RunClock| {
        if let Some(garage) = &mut garage {
            garage.cue(clock.now());
        }
    };
    for n in 0..waits {
        let wait = Millis(1 + i64::try_from(n % 3).unwrap_or(0));
        cue(&clock);
        ours.push(late_by_ours(&mut clock, wait, keys));
        cue(&clock);
        bare.push(late_by_bare(wait.0 * 1_000_000));
    }
    (ours, bare)
}

/// The run's clock counts whole milliseconds; what it was late by is read from the clock below it.
fn late_by_ours(clock: &mut RunClock, wait: Millis, keys: &Keys) -> i64 {
    // A moment is rounded down, so one millisecond more makes the wait at least as long as asked.
    let deadline = clock.now().after(wait).after(Millis(1));
    let due = clock.instant_of(deadline);
    loop {
        let woken = clock.wait_until(deadline, keys);
        if matches!(woken.why, Wake::Due) {
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

fn report(state: &str, (ours, bare): &Pair) {
    let mut out = std::io::stdout().lock();
    let _ = writeln!(out, "{state}; {} waits each, late by µs: ours | bare sleep", ours.count());
    for (name, part) in [("p50", 500), ("p99", 990), ("p99.9", 999), ("worst", 1000)] {
        let (ours, bare) = (ours.at(part), bare.at(part));
        let _ = writeln!(out, "  {name:>5}  {:>8} | {:>8}", ours / 1000, bare / 1000);
    }
    let more = (ours.at(999) - bare.at(999)) / 1000;
    let _ = writeln!(
        out,
        "  p99 ratio {} (at most {RATIO}), p99.9 difference {more} µs (at most {}), earliest {} µs",
        ratio(ours.at(990), bare.at(990)),
        MORE / 1000,
        ours.at(0) / 1000
    );
}
