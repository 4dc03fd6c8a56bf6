//! Many like pieces of work on several threads: takes how many pieces and what to do with a range of
//! them, gives what each thread made of its share. Which thread does which range is chance; whoever
//! adds the shares up must not depend on it.

use std::io;
use std::ops::Range;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;

/// How many pieces a thread takes at a time, where they are small.
const PORTION: u64 = 64;

/// As many threads as the computer has cores; one where it does not say.
#[must_use]
pub fn cores() -> usize {
    thread::available_parallelism().map_or(1, usize::from)
}

/// Does `total` pieces of work. `worker` makes what a thread needs, `work` does a range with it, `done`
/// hears how many were done by then.
///
/// # Errors
/// When not one thread can be had.
pub fn spread<W: Send>(
    threads: usize,
    total: u64,
    worker: impl Fn() -> W + Sync,
    work: impl Fn(&mut W, Range<u64>) + Sync,
    done: impl Fn(u64) + Sync,
) -> io::Result<Vec<W>> {
    spread_by(PORTION, threads, total, worker, work, done)
}

/// The same for larger pieces, of which a thread takes `portion` at a time.
///
/// # Errors
/// When not one thread can be had.
pub fn spread_by<W: Send>(
    portion: u64,
    threads: usize,
    total: u64,
    worker: impl Fn() -> W + Sync,
    work: impl Fn(&mut W, Range<u64>) + Sync,
    done: impl Fn(u64) + Sync,
) -> io::Result<Vec<W>> {
    let next = AtomicU64::new(0);
    let finished = AtomicU64::new(0);
    let one = || {
        let mut own = worker();
        loop {
            let from = next.fetch_add(portion, Ordering::Relaxed);
            if from >= total {
                return own;
            }
            let to = (from + portion).min(total);
            work(&mut own, from..to);
            done(finished.fetch_add(to - from, Ordering::Relaxed) + (to - from));
        }
    };
    thread::scope(|scope| {
        let mut running = Vec::new();
        let mut trouble = None;
        for n in 0..threads.max(1) {
            let named = thread::Builder::new().name(format!("runs-{n}"));
            match named.spawn_scoped(scope, one) {
                Ok(handle) => running.push(handle),
                Err(why) => trouble = Some(why),
            }
        }
        if let (true, Some(why)) = (running.is_empty(), trouble) {
            return Err(why);
        }
        let mut shares = Vec::new();
        for handle in running {
            match handle.join() {
                Ok(own) => shares.push(own),
                // A fault of the program in a thread is one of the whole program.
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        Ok(shares)
    })
}
