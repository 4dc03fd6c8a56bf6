//! Between the run and an outlet's thread: takes pictures or lines and bells, never waits; gives the
//! thread all of it at once, and the run what became of the thread.

use std::collections::VecDeque;
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// A face that has not taken what it was given for so long is told of on the others.
pub const STUCK: Duration = Duration::from_secs(2);
/// How long the end waits for a terminal that does not take its last picture.
const LAST_PICTURE: Duration = Duration::from_secs(1);

/// What waits for an outlet's thread.
#[derive(Debug)]
struct Waiting<T> {
    items: VecDeque<T>,
    bells: usize,
    anew: bool,
    over: bool,
    done: bool,
    trouble: Option<String>,
    /// Since when the thread has been at what it took.
    busy: Option<Instant>,
}

impl<T> Default for Waiting<T> {
    fn default() -> Waiting<T> {
        Waiting {
            items: VecDeque::new(),
            bells: 0,
            anew: false,
            over: false,
            done: false,
            trouble: None,
            busy: None,
        }
    }
}

/// What an outlet's thread takes at once.
pub(super) struct Next<T> {
    /// Everything that waits.
    pub(super) items: VecDeque<T>,
    /// How often the bell rings.
    pub(super) bells: usize,
    /// Whether all must be shown anew.
    pub(super) anew: bool,
    /// Whether nothing more will come.
    pub(super) over: bool,
}

/// A queue between the run and an outlet's thread.
#[derive(Debug)]
pub(super) struct Queue<T> {
    waiting: Mutex<Waiting<T>>,
    changed: Condvar,
}

impl<T> Queue<T> {
    pub(super) fn new() -> Arc<Queue<T>> {
        Arc::new(Queue { waiting: Mutex::default(), changed: Condvar::new() })
    }

    fn lock(&self) -> MutexGuard<'_, Waiting<T>> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn with(&self, change: impl FnOnce(&mut Waiting<T>)) {
        change(&mut self.lock());
        self.changed.notify_all();
    }

    /// Changes what waits.
    pub(super) fn change(&self, change: impl FnOnce(&mut VecDeque<T>)) {
        self.with(|waiting| change(&mut waiting.items));
    }

    /// Only this waits now.
    pub(super) fn replace(&self, item: T) {
        self.change(|items| {
            items.clear();
            items.push_back(item);
        });
    }

    /// The bell is to ring, together with what waits at most three times.
    pub(super) fn ring(&self, bells: usize) {
        self.with(|waiting| waiting.bells = (waiting.bells + bells).min(3));
    }

    /// The next is to be shown whole.
    pub(super) fn anew(&self) {
        self.with(|waiting| waiting.anew = true);
    }

    /// Waits for something to do.
    pub(super) fn next(&self) -> Next<T> {
        let mut waiting = self.lock();
        waiting.busy = None;
        while waiting.items.is_empty() && waiting.bells == 0 && !waiting.over {
            waiting = self.changed.wait(waiting).unwrap_or_else(PoisonError::into_inner);
        }
        waiting.busy = Some(Instant::now());
        Next {
            items: std::mem::take(&mut waiting.items),
            bells: std::mem::take(&mut waiting.bells),
            anew: std::mem::take(&mut waiting.anew),
            over: waiting.over,
        }
    }

    /// Whether nothing waits.
    pub(super) fn is_empty(&self) -> bool {
        self.lock().items.is_empty()
    }

    /// Does an outlet's work to its end, whatever that is: a failure or a panic is its trouble.
    pub(super) fn run(&self, work: impl FnOnce() -> io::Result<()>) {
        let trouble = match catch_unwind(AssertUnwindSafe(work)) {
            Ok(ended) => ended.err().map(|why| why.to_string()),
            Err(panic) => Some(format!("it broke: {}", words_of(&*panic))),
        };
        self.with(|waiting| {
            waiting.done = true;
            waiting.busy = None;
            waiting.trouble = trouble;
        });
    }

    /// Ends the thread after what waits, but does not wait for a reader that never reads.
    pub(super) fn finish(&self) {
        self.with(|waiting| waiting.over = true);
        let done = self.changed.wait_timeout_while(self.lock(), LAST_PICTURE, |w| !w.done);
        drop(done);
    }

    pub(super) fn trouble(&self) -> Option<String> {
        self.lock().trouble.clone()
    }

    pub(super) fn is_stuck(&self) -> bool {
        self.lock().busy.is_some_and(|since| since.elapsed() >= STUCK)
    }
}

/// What a panic says.
fn words_of(panic: &(dyn std::any::Any + Send)) -> String {
    let words = panic.downcast_ref::<&str>().map(|why| (*why).to_owned());
    words.or_else(|| panic.downcast_ref::<String>().cloned()).unwrap_or_default()
}
