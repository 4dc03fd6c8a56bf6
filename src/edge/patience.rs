//! How long a person waits for an answer: takes what is being worked on, gives a question that the work
//! asks now and then, *shall I stop?*
//!
//! After two seconds it says on standard error that the work goes on. Ctrl-C makes the answer yes; a
//! second Ctrl-C ends the program at once, as does the first once nothing asks any more.

use std::cell::Cell;
use std::io::{self, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Work that takes longer says so.
pub const PATIENCE: Duration = Duration::from_secs(2);
/// The exit code of a program ended by Ctrl-C.
#[cfg(unix)]
const INTERRUPTED: i32 = 130;

/// Whether Ctrl-C was pressed since [`Stopper::new`].
#[derive(Clone, Debug, Default)]
pub struct Stopper {
    pressed: Arc<AtomicBool>,
}

impl Stopper {
    /// Listens for Ctrl-C.
    ///
    /// # Errors
    /// The operating system's, when a handler cannot be had.
    pub fn new() -> io::Result<Stopper> {
        let stopper = Stopper::default();
        #[cfg(unix)]
        {
            use signal_hook::consts::SIGINT;
            use signal_hook::flag::{register, register_conditional_shutdown};
            // In this order: the second press finds what the first has set.
            register_conditional_shutdown(SIGINT, INTERRUPTED, Arc::clone(&stopper.pressed))?;
            register(SIGINT, Arc::clone(&stopper.pressed))?;
        }
        Ok(stopper)
    }

    /// Whether it was pressed.
    #[must_use]
    pub fn pressed(&self) -> bool {
        self.pressed.load(Ordering::Relaxed)
    }

    /// Nothing asks any more: the next Ctrl-C ends the program.
    pub fn no_more(&self) {
        self.pressed.store(true, Ordering::Relaxed);
    }

    /// The patience for one piece of work that begins now. `what` is said when it takes long.
    #[must_use]
    pub fn patience(&self, what: String) -> Patience {
        Patience { stopper: self.clone(), begun: Instant::now(), what, told: Cell::new(false) }
    }
}

/// Somebody waits for one piece of work.
#[derive(Debug)]
pub struct Patience {
    stopper: Stopper,
    begun: Instant,
    what: String,
    told: Cell<bool>,
}

impl Patience {
    /// Whether to stop. Says once that the work takes long.
    #[must_use]
    pub fn ends(&self) -> bool {
        if !self.told.get() && self.begun.elapsed() >= PATIENCE {
            self.told.set(true);
            // Who has no standard error misses a remark, not an answer.
            let _ = writeln!(io::stderr(), "stepbell: {}", self.what);
        }
        self.stopper.pressed()
    }
}
