//! The terminal's modes: takes a terminal as a shell left it, puts it into raw mode, and gives it back
//! as it was: at the end, in a panic of the run, when the program is stopped to be continued later, and
//! (`watch`) when it is killed.
//!
//! Giving it back never waits long for a terminal that takes nothing, and nothing is painted after it.

use std::io;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError, TryLockError};
use std::time::{Duration, Instant};

use crossterm::event::EnableMouseCapture;
use crossterm::event::{DisableBracketedPaste, DisableMouseCapture, EnableBracketedPaste};

use super::watch::Watch;

/// How long a terminal may take to take the last few bytes.
const PATIENCE: Duration = Duration::from_millis(500);

/// What has been asked of the terminal. Shared by the guard, by whoever paints, by the panic hook.
#[derive(Debug, Default)]
pub struct Modes {
    /// Whether the other screen is on show.
    other_screen: AtomicBool,
    /// Whether clicks are told of.
    clicks: AtomicBool,
    /// Whether the terminal has been given back.
    given_back: AtomicBool,
    /// Held while something is being painted.
    painting: Mutex<()>,
    /// What broke in other threads than the run's, to be told once it can be read.
    broken: Mutex<Vec<String>>,
}

impl Modes {
    /// Notes that the other screen is, or is no longer, on show.
    pub fn other_screen(&self, on: bool) {
        self.other_screen.store(on, Ordering::SeqCst);
    }

    /// Paints, unless the terminal has been given back: then nothing happens.
    ///
    /// # Errors
    /// What the painting gives.
    pub fn paint(&self, paint: impl FnOnce() -> io::Result<()>) -> io::Result<()> {
        let _held = self.painting.lock().unwrap_or_else(PoisonError::into_inner);
        if self.given_back.load(Ordering::SeqCst) { Ok(()) } else { paint() }
    }

    /// Takes the terminal: raw mode, pastes told apart from keys.
    fn take(&self) -> io::Result<()> {
        crossterm::terminal::enable_raw_mode()?;
        self.given_back.store(false, Ordering::SeqCst);
        let _ = send(&ansi(EnableBracketedPaste));
        if self.clicks.load(Ordering::SeqCst) {
            let _ = send(&ansi(EnableMouseCapture));
        }
        Ok(())
    }

    /// Gives the terminal back. Does nothing the second time.
    fn give_back(&self) {
        if self.given_back.swap(true, Ordering::SeqCst) {
            return;
        }
        // The modes first: the rest may not be taken by a terminal that is blocked.
        let _ = crossterm::terminal::disable_raw_mode();
        let mut bytes = Vec::new();
        if !self.let_painting_end() {
            bytes.extend(b"\x1b[0m");
        }
        if self.clicks.load(Ordering::SeqCst) {
            bytes.extend(ansi(DisableMouseCapture));
        }
        bytes.extend(ansi(DisableBracketedPaste));
        if self.other_screen.swap(false, Ordering::SeqCst) {
            bytes.extend(ansi(crossterm::terminal::LeaveAlternateScreen));
        }
        bytes.extend(ansi(crossterm::cursor::Show));
        let _ = send(&bytes);
    }

    /// A frame that is half sent is let out, where the terminal takes it; gives whether it did.
    fn let_painting_end(&self) -> bool {
        let begun = Instant::now();
        while let Err(TryLockError::WouldBlock) = self.painting.try_lock() {
            if begun.elapsed() > PATIENCE {
                return false;
            }
            std::thread::sleep(Duration::from_millis(2));
        }
        true
    }
}

fn ansi(command: impl crossterm::Command) -> Vec<u8> {
    let mut text = String::new();
    // Writing to a text cannot fail.
    let _ = command.write_ansi(&mut text);
    text.into_bytes()
}

/// Sends a few bytes past the standard library's lock, which a blocked painter may hold. What a
/// terminal has not taken for [`PATIENCE`] is thrown away first.
#[cfg(unix)]
fn send(bytes: &[u8]) -> io::Result<()> {
    use rustix::termios::{QueueSelector, tcflush};
    let out = rustix::stdio::stdout();
    if !is_ready(PATIENCE) {
        tcflush(out, QueueSelector::OFlush)?;
        if !is_ready(Duration::ZERO) {
            return Err(io::ErrorKind::WouldBlock.into());
        }
    }
    let mut left = bytes;
    while !left.is_empty() {
        let written = rustix::io::write(out, left)?;
        left = left.get(written.max(1)..).unwrap_or_default();
    }
    Ok(())
}

#[cfg(unix)]
fn is_ready(within: Duration) -> bool {
    use rustix::event::{PollFd, PollFlags, poll};
    let out = rustix::stdio::stdout();
    let within = rustix::time::Timespec::try_from(within).ok();
    poll(&mut [PollFd::new(&out, PollFlags::OUT)], within.as_ref()).is_ok_and(|ready| ready > 0)
}

#[cfg(not(unix))]
fn send(bytes: &[u8]) -> io::Result<()> {
    use std::io::Write;
    let mut out = io::stdout();
    out.write_all(bytes).and_then(|()| out.flush())
}

/// Raw mode, until it is dropped.
#[derive(Debug)]
pub struct Raw {
    modes: Arc<Modes>,
    /// Gives the terminal back where this program is killed.
    _watch: Option<Watch>,
}

impl Raw {
    /// Takes the terminal. A panic in this thread gives it back before it is told of; one in another
    /// thread is that thread's matter, and is told of at the end.
    ///
    /// # Errors
    /// When the terminal does not allow it.
    pub fn enter() -> io::Result<Raw> {
        let modes = Arc::new(Modes::default());
        let watch = Watch::begin();
        modes.take()?;
        let before = std::panic::take_hook();
        let (in_panic, run) = (Arc::clone(&modes), std::thread::current().id());
        std::panic::set_hook(Box::new(move |panic| {
            if std::thread::current().id() == run {
                in_panic.give_back();
                before(panic);
            } else {
                let mut broken = in_panic.broken.lock().unwrap_or_else(PoisonError::into_inner);
                broken.push(panic.to_string());
            }
        }));
        Ok(Raw { modes, _watch: watch })
    }

    /// What has been asked of the terminal.
    #[must_use]
    pub fn modes(&self) -> Arc<Modes> {
        Arc::clone(&self.modes)
    }

    /// Has clicks told of as well.
    pub fn hear_clicks(&self) {
        self.modes.clicks.store(true, Ordering::SeqCst);
        let _ = send(&ansi(EnableMouseCapture));
    }

    /// Gives the terminal back for a while; [`Raw::again`] takes it anew.
    pub fn leave(modes: &Modes) {
        modes.give_back();
    }

    /// Takes the terminal again: another program may have used it meanwhile.
    pub fn again(&self) {
        // The library remembers that it is in raw mode and would do nothing.
        let _ = crossterm::terminal::disable_raw_mode();
        let _ = self.modes.take();
    }
}

impl Drop for Raw {
    fn drop(&mut self) {
        self.modes.give_back();
        if !std::thread::panicking() {
            let _ = std::panic::take_hook();
        }
        let broken =
            std::mem::take(&mut *self.modes.broken.lock().unwrap_or_else(PoisonError::into_inner));
        for what in broken {
            let _ =
                io::Write::write_all(&mut io::stderr(), format!("stepbell: {what}\n").as_bytes());
        }
    }
}
