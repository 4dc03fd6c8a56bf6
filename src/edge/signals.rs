//! Turns the signals that end programs into events: takes a function to tell, gives a handle.
//!
//! What a signal means is decided by the run: the first Ctrl-C asks, the second within
//! [`TWICE_WITHIN`] breaks off; a closed terminal need not end a run that still has a voice.

use std::io;

use crate::clock::Millis;

/// Two Ctrl-C not further apart than this mean it.
pub const TWICE_WITHIN: Millis = Millis(2000);

/// A signal that the run hears of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signal {
    /// Ctrl-C, SIGINT; exit code 130 where it ends the run.
    Interrupt,
    /// SIGTERM; exit code 143.
    Terminate,
    /// The terminal was closed, SIGHUP; exit code 129.
    HangUp,
    /// SIGTSTP: the program is stopped as soon as this has been told.
    Suspend,
    /// SIGCONT: it goes on. Another program may have used the terminal meanwhile.
    Continued,
}

/// Stops the listening when dropped; the signals then do nothing, they do not kill again.
#[derive(Debug)]
pub struct Listening {
    #[cfg(unix)]
    handle: signal_hook::iterator::Handle,
}

#[cfg(unix)]
impl Drop for Listening {
    fn drop(&mut self) {
        self.handle.close();
    }
}

/// Tells of each signal from a thread of its own; also makes a file-size limit an error that a
/// write reports (EFBIG) instead of a signal that kills the program.
///
/// # Errors
/// The operating system's, when a handler or the thread cannot be had.
#[cfg(unix)]
pub fn listen(tell: impl Fn(Signal) + Send + 'static) -> io::Result<Listening> {
    use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGTERM, SIGTSTP};
    outlive_file_limits()?;
    let all = [SIGINT, SIGTERM, SIGHUP, SIGTSTP, SIGCONT];
    let mut signals = signal_hook::iterator::Signals::new(all)?;
    let handle = signals.handle();
    std::thread::Builder::new().name("signals".to_owned()).spawn(move || {
        for signal in signals.forever() {
            match signal {
                SIGINT => tell(Signal::Interrupt),
                SIGTERM => tell(Signal::Terminate),
                SIGTSTP => {
                    tell(Signal::Suspend);
                    let _ = signal_hook::low_level::emulate_default_handler(SIGTSTP);
                }
                SIGCONT => tell(Signal::Continued),
                _ => tell(Signal::HangUp),
            }
        }
    })?;
    Ok(Listening { handle })
}

/// Elsewhere than on Unix the system's own handling stays.
///
/// # Errors
/// None.
#[cfg(not(unix))]
pub fn listen(_: impl Fn(Signal) + Send + 'static) -> io::Result<Listening> {
    Ok(Listening {})
}

/// Makes `ulimit -f` an error of the write instead of the program's death (SIGXFSZ).
///
/// # Errors
/// The operating system's, when the handler cannot be had.
pub fn outlive_file_limits() -> io::Result<()> {
    #[cfg(unix)]
    {
        let hit = std::sync::Arc::default();
        signal_hook::flag::register(signal_hook::consts::SIGXFSZ, hit)?;
    }
    Ok(())
}
