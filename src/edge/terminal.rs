//! What comes in from a terminal or a pipe, and what a face is: gives keys, lines and signals as
//! happenings on the run's channel.
//!
//! Input is bounded: what comes faster than the run takes it is dropped and counted.

use std::io::{self, BufRead, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::sync::mpsc::Sender;
use std::time::Duration;

use crossterm::event::{self, Event, KeyEvent, MouseEventKind};

use super::clock::Beginning;
use super::page::News;
use super::signals::Signal;
use super::writer::Told;
use crate::clock::{Millis, Moment};
use crate::faces::terminal::Size;
use crate::faces::words::Picture;
use crate::journal::happened::Effect;

/// How many inputs may wait for the run.
pub const INPUT_QUEUE: usize = 256;
/// The longest line that is read from a pipe, in bytes.
const LINE_LIMIT: u64 = 4096;
/// Lines of a pipe that are taken at once before they are slowed down.
const LINES_AT_ONCE: u32 = 64;
/// What a line costs beyond that.
const LINE_PACE: Duration = Duration::from_millis(50);

/// Everything that can come to the run from outside.
#[derive(Debug)]
pub enum Happening {
    /// A key.
    Key(KeyEvent),
    /// A paste.
    Paste(String),
    /// A mouse button went down; told of only where clicks are asked for.
    Click,
    /// The terminal has another size.
    Resized,
    /// A line of a pipe.
    Line(String),
    /// No more input will come.
    InputEnded,
    /// A signal.
    Signal(Signal),
    /// News from the record's writer.
    Told(Told),
    /// A press on a page, or how the pages are.
    Page(News),
}

/// The run's end of the input: counts what waits and what was dropped.
#[derive(Clone, Debug)]
pub struct Inbox {
    to: Sender<Happening>,
    waiting: Arc<AtomicUsize>,
    dropped: Arc<AtomicU64>,
    over: Arc<AtomicBool>,
}

impl Inbox {
    /// An inbox that sends on this channel.
    #[must_use]
    pub fn new(to: Sender<Happening>) -> Inbox {
        Inbox { to, waiting: Arc::default(), dropped: Arc::default(), over: Arc::default() }
    }

    /// Hands in something from the person; drops and counts it when too much waits.
    pub fn put(&self, happening: Happening) {
        if self.waiting.fetch_add(1, Ordering::Relaxed) >= INPUT_QUEUE {
            self.waiting.fetch_sub(1, Ordering::Relaxed);
            self.dropped.fetch_add(1, Ordering::Relaxed);
        } else {
            // A run that is over takes nothing; there is nobody to tell.
            let _ = self.to.send(happening);
        }
    }

    /// Hands in something that no person sent; it always fits.
    pub fn tell(&self, happening: Happening) {
        // A run that is over takes nothing; there is nobody to tell.
        let _ = self.to.send(happening);
    }

    /// Notes that the run took one.
    pub fn took(&self) {
        self.waiting.fetch_sub(1, Ordering::Relaxed);
    }

    /// How many inputs were dropped so far.
    #[must_use]
    pub fn dropped(&self) -> u64 {
        self.dropped.load(Ordering::Relaxed)
    }

    /// Lets the reading threads end at their next look.
    pub fn close(&self) {
        self.over.store(true, Ordering::Relaxed);
    }
}

/// Whether a key, a paste, a line or a press on a page: these count against the bound.
#[must_use]
pub const fn is_input(happening: &Happening) -> bool {
    matches!(
        happening,
        Happening::Key(_)
            | Happening::Paste(_)
            | Happening::Click
            | Happening::Line(_)
            | Happening::Page(News::Sent(..))
    )
}

/// Reads keys from the terminal in a thread of its own.
///
/// # Errors
/// When no thread can be had.
pub fn read_keys(inbox: Inbox) -> io::Result<()> {
    std::thread::Builder::new().name("keys".to_owned()).spawn(move || {
        // However the reading ends before the run does, no more keys will come.
        let _ = catch_unwind(AssertUnwindSafe(|| read_until_over(&inbox)));
        let _ = inbox.to.send(Happening::InputEnded);
    })?;
    Ok(())
}

fn read_until_over(inbox: &Inbox) {
    while !inbox.over.load(Ordering::Relaxed) {
        let read = match event::poll(Duration::from_millis(100)) {
            Ok(false) => continue,
            Ok(true) => event::read(),
            Err(why) => Err(why),
        };
        match read {
            Ok(Event::Key(key)) => inbox.put(Happening::Key(key)),
            Ok(Event::Paste(text)) => inbox.put(Happening::Paste(text)),
            Ok(Event::Mouse(click)) if matches!(click.kind, MouseEventKind::Down(_)) => {
                inbox.put(Happening::Click);
            }
            Ok(Event::Resize(..)) => {
                let _ = inbox.to.send(Happening::Resized);
            }
            Ok(_) => {}
            Err(_) => return,
        }
    }
}

/// Reads lines from standard input in a thread of its own. `wait LENGTH` makes this thread wait
/// before it reads on, so that a file can hold answers that are not all given at once.
///
/// # Errors
/// When no thread can be had.
pub fn read_lines(inbox: Inbox) -> io::Result<()> {
    std::thread::Builder::new().name("lines".to_owned()).spawn(move || {
        let mut stdin = io::stdin().lock();
        let mut free = LINES_AT_ONCE;
        loop {
            let mut line = Vec::new();
            match (&mut stdin).take(LINE_LIMIT).read_until(b'\n', &mut line) {
                Ok(0) | Err(_) => break,
                Ok(_) => {}
            }
            if inbox.over.load(Ordering::Relaxed) {
                return;
            }
            let line = String::from_utf8_lossy(&line).trim().to_owned();
            if let Some(length) = line.strip_prefix("wait ").and_then(|w| wait_length(w.trim())) {
                std::thread::sleep(length);
                continue;
            }
            inbox.put(Happening::Line(line));
            free = free.saturating_sub(1);
            if free == 0 {
                std::thread::sleep(LINE_PACE);
            }
        }
        let _ = inbox.to.send(Happening::InputEnded);
    })?;
    Ok(())
}

/// A length of at most an hour.
fn wait_length(text: &str) -> Option<Duration> {
    humantime::parse_duration(text).ok().filter(|length| length.as_secs() <= 3600)
}

/// The terminal's size; 80×24 where it does not say.
#[must_use]
pub fn size() -> Size {
    match crossterm::terminal::size() {
        Ok((columns, rows)) if columns > 0 && rows > 0 => Size { columns, rows },
        _ => Size::default(),
    }
}

/// Waits for a line on standard input, or until something else is so. Ctrl-C ends the program as always.
#[cfg(unix)]
pub fn enter_or(mut so: impl FnMut() -> bool) {
    use rustix::event::{PollFd, PollFlags, Timespec, poll};
    let stdin = io::stdin();
    let look = Timespec { tv_sec: 0, tv_nsec: 100_000_000 };
    while !so() {
        let mut ready = [PollFd::new(&stdin, PollFlags::IN)];
        match poll(&mut ready, Some(&look)) {
            Ok(0) | Err(rustix::io::Errno::INTR) => continue,
            Err(_) => return,
            Ok(_) => {}
        }
        // Past the library's buffer, so that keys typed ahead reach the run.
        let mut typed = [0; 256];
        match rustix::io::read(&stdin, &mut typed) {
            Ok(n) if n > 0 && !typed.iter().take(n).any(|byte| *byte == b'\n') => {}
            _ => return,
        }
    }
}

/// Elsewhere a line is waited for.
#[cfg(not(unix))]
pub fn enter_or(_: impl FnMut() -> bool) {
    let _ = io::stdin().lock().read_line(&mut String::new());
}

/// A face as the run sees it. Nothing here waits for a reader.
pub trait Face {
    /// What it is called when it fails.
    fn name(&self) -> &'static str;
    /// Shows this picture, or a newer one.
    fn show(&mut self, picture: &Picture);
    /// Tells of an effect that no picture carries.
    fn tell(&mut self, effect: &Effect, at: Moment);
    /// The run's time goes on from here: a face whose digits run by themselves needs it.
    fn keep_time(&mut self, _: Beginning) {}
    /// Whether it is seen elsewhere than at this computer, if by anybody.
    fn is_afar(&self) -> bool {
        false
    }
    /// How often the picture must be shown anew while digits run; `None`: never.
    fn pace(&self) -> Option<Millis>;
    /// Why it no longer works, once it does not.
    fn trouble(&self) -> Option<String>;
    /// Whether it has taken nothing for [`STUCK`](super::queue::STUCK), though it has not failed.
    fn is_stuck(&self) -> bool {
        false
    }
    /// Shows everything anew with the next picture: what stands there is not known any more.
    fn show_anew(&mut self) {}
    /// Whether its last picture goes away with it, so that it is left up until a key is pressed.
    fn vanishes(&self) -> bool {
        false
    }
    /// Shows what is still to be shown, waiting at most a second.
    fn finish(&mut self);
}
