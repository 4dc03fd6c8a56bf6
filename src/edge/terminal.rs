//! The threads between the run and a terminal or a pipe: takes pictures without ever making the
//! caller wait, and gives keys, lines and troubles as happenings on the run's channel.
//!
//! The screen keeps only the newest picture, the plain lines a bounded queue; a reader that does not
//! read can block the thread here, never a cue. Input is bounded too: what comes faster than the run
//! takes it is dropped and counted.

use std::collections::VecDeque;
use std::io::{self, BufRead, IsTerminal, Read, Write};
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::sync::mpsc::Sender;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use crossterm::event::{self, Event, KeyEvent};

use super::clock::Beginning;
use super::page::News;
use super::signals::Signal;
use super::writer::Told;
use crate::clock::{Millis, Moment};
use crate::faces::beside::columns;
use crate::faces::plain::Plain;
use crate::faces::sounds::{Sounds, bells};
use crate::faces::terminal::{Painter, Size};
use crate::faces::words::{Picture, Setting, view};
use crate::journal::happened::{Cue, Effect, Tone};

/// How many inputs may wait for the run.
pub const INPUT_QUEUE: usize = 256;
/// How many plain lines may wait for a reader.
const LINE_QUEUE: usize = 1024;
/// The longest line that is read from a pipe, in bytes.
const LINE_LIMIT: u64 = 4096;
/// Lines of a pipe that are taken at once before they are slowed down.
const LINES_AT_ONCE: u32 = 64;
/// What a line costs beyond that.
const LINE_PACE: Duration = Duration::from_millis(50);
/// How long the end waits for a terminal that does not take its last picture.
const LAST_PICTURE: Duration = Duration::from_secs(1);

/// Everything that can come to the run from outside.
#[derive(Debug)]
pub enum Happening {
    /// A key.
    Key(KeyEvent),
    /// A paste.
    Paste(String),
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
        while !inbox.over.load(Ordering::Relaxed) {
            let read = match event::poll(Duration::from_millis(100)) {
                Ok(false) => continue,
                Ok(true) => event::read(),
                Err(why) => Err(why),
            };
            match read {
                Ok(Event::Key(key)) => inbox.put(Happening::Key(key)),
                Ok(Event::Paste(text)) => inbox.put(Happening::Paste(text)),
                Ok(Event::Resize(..)) => {
                    let _ = inbox.to.send(Happening::Resized);
                }
                Ok(_) => {}
                Err(_) => {
                    let _ = inbox.to.send(Happening::InputEnded);
                    return;
                }
            }
        }
    })?;
    Ok(())
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

/// Puts the terminal into raw mode and back: dropped, or in a panic anywhere.
#[derive(Debug)]
pub struct Raw(());

impl Raw {
    /// Raw mode, and pastes told apart from keys.
    ///
    /// # Errors
    /// When the terminal does not allow it.
    pub fn enter() -> io::Result<Raw> {
        crossterm::terminal::enable_raw_mode()?;
        let _ = crossterm::execute!(io::stdout(), event::EnableBracketedPaste);
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            restore();
            before(panic);
        }));
        Ok(Raw(()))
    }
}

impl Drop for Raw {
    fn drop(&mut self) {
        restore();
        if !std::thread::panicking() {
            let _ = std::panic::take_hook();
        }
    }
}

fn restore() {
    // The modes first: the rest may not be taken by a terminal that is blocked.
    let _ = crossterm::terminal::disable_raw_mode();
    let _ =
        crossterm::execute!(io::stdout(), event::DisableBracketedPaste, crossterm::cursor::Show);
}

/// The terminal's size; 80×24 where it does not say.
#[must_use]
pub fn size() -> Size {
    match crossterm::terminal::size() {
        Ok((columns, rows)) if columns > 0 && rows > 0 => Size { columns, rows },
        _ => Size::default(),
    }
}

/// Whether standard output is a terminal of its own right now.
#[must_use]
pub fn is_terminal() -> bool {
    io::stdin().is_terminal() && io::stdout().is_terminal()
}

/// Waits for a line on standard input, or until something else is so. Ctrl-C ends the program as always.
#[cfg(unix)]
pub fn enter_or(so: impl Fn() -> bool) {
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
pub fn enter_or(_: impl Fn() -> bool) {
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
    /// Shows what is still to be shown, waiting at most a second.
    fn finish(&mut self);
}

/// What waits for an outlet's thread.
#[derive(Debug)]
struct Waiting<T> {
    items: VecDeque<T>,
    bells: usize,
    over: bool,
    done: bool,
    trouble: Option<String>,
}

impl<T> Default for Waiting<T> {
    fn default() -> Waiting<T> {
        Waiting { items: VecDeque::new(), bells: 0, over: false, done: false, trouble: None }
    }
}

/// A queue between the run and an outlet's thread.
#[derive(Debug)]
struct Queue<T> {
    waiting: Mutex<Waiting<T>>,
    changed: Condvar,
}

impl<T> Queue<T> {
    fn new() -> Arc<Queue<T>> {
        Arc::new(Queue { waiting: Mutex::default(), changed: Condvar::new() })
    }

    fn lock(&self) -> MutexGuard<'_, Waiting<T>> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn change(&self, change: impl FnOnce(&mut Waiting<T>)) {
        change(&mut self.lock());
        self.changed.notify_all();
    }

    /// Waits for something to do: everything that waits, the bells, and whether it is over.
    fn next(&self) -> (VecDeque<T>, usize, bool) {
        let mut waiting = self.lock();
        while waiting.items.is_empty() && waiting.bells == 0 && !waiting.over {
            waiting = self.changed.wait(waiting).unwrap_or_else(PoisonError::into_inner);
        }
        let (items, bells) =
            (std::mem::take(&mut waiting.items), std::mem::take(&mut waiting.bells));
        (items, bells, waiting.over)
    }

    fn end(&self, trouble: Option<String>) {
        self.change(|waiting| {
            waiting.done = true;
            waiting.trouble = trouble;
        });
    }

    /// Ends the thread after what waits, but does not wait for a reader that never reads.
    fn finish(&self) {
        self.change(|waiting| waiting.over = true);
        let done = self.changed.wait_timeout_while(self.lock(), LAST_PICTURE, |w| !w.done);
        drop(done);
    }

    fn trouble(&self) -> Option<String> {
        self.lock().trouble.clone()
    }
}

/// The painted face, with the terminal's bell.
#[derive(Debug)]
pub struct Screen {
    queue: Arc<Queue<Picture>>,
}

impl Screen {
    /// Paints on this writer from a thread of its own.
    ///
    /// # Errors
    /// When no thread can be had.
    pub fn start(
        mut to: impl Write + Send + 'static,
        setting: Setting,
        colour: bool,
    ) -> io::Result<Screen> {
        let queue = Queue::new();
        let work = Arc::clone(&queue);
        std::thread::Builder::new().name("screen".to_owned()).spawn(move || {
            let mut painter = Painter::new(size(), colour);
            let mut painted = || -> io::Result<()> {
                loop {
                    let (mut pictures, rung, over) = work.next();
                    let mut bytes = Vec::new();
                    if let Some(picture) = pictures.pop_back() {
                        let size = size();
                        bytes = painter.paint(&columns(view(&picture, &setting), size), size);
                    }
                    bytes.extend(std::iter::repeat_n(b'\x07', rung));
                    if over && work.lock().items.is_empty() {
                        bytes.extend(painter.leave());
                        return to.write_all(&bytes).and_then(|()| to.flush());
                    }
                    if !bytes.is_empty() {
                        to.write_all(&bytes)?;
                        to.flush()?;
                    }
                }
            };
            let trouble = painted().err().map(|why| why.to_string());
            work.end(trouble);
        })?;
        Ok(Screen { queue })
    }

    /// The terminal's bell as a sound.
    #[must_use]
    pub fn bell(&self) -> Bell {
        Bell { queue: Arc::clone(&self.queue) }
    }
}

impl Face for Screen {
    fn name(&self) -> &'static str {
        "the screen"
    }

    fn show(&mut self, picture: &Picture) {
        self.queue.change(|waiting| {
            waiting.items.clear();
            waiting.items.push_back(picture.clone());
        });
    }

    fn tell(&mut self, _: &Effect, _: Moment) {}

    fn pace(&self) -> Option<Millis> {
        Some(Millis(100))
    }

    fn trouble(&self) -> Option<String> {
        self.queue.trouble()
    }

    fn finish(&mut self) {
        self.queue.finish();
    }
}

/// The terminal's bell.
#[derive(Debug)]
pub struct Bell {
    queue: Arc<Queue<Picture>>,
}

impl Sounds for Bell {
    fn ring(&mut self, tone: Tone) {
        self.queue.change(|waiting| waiting.bells = (waiting.bells + bells(tone)).min(3));
    }

    fn say(&mut self, _: Cue, _: &str) {}

    fn trouble(&mut self) -> Option<String> {
        None
    }
}

/// The plain face.
#[derive(Debug)]
pub struct Lines {
    plain: Plain,
    setting: Setting,
    queue: Arc<Queue<String>>,
    unread: u64,
}

impl Lines {
    /// Writes lines from a thread of its own, each flushed.
    ///
    /// # Errors
    /// When no thread can be had.
    pub fn start(mut to: impl Write + Send + 'static, setting: Setting) -> io::Result<Lines> {
        let queue: Arc<Queue<String>> = Queue::new();
        let work = Arc::clone(&queue);
        std::thread::Builder::new().name("lines-out".to_owned()).spawn(move || {
            let mut written = || -> io::Result<()> {
                loop {
                    let (lines, _, over) = work.next();
                    for line in &lines {
                        to.write_all(line.as_bytes())?;
                        to.write_all(b"\n")?;
                        to.flush()?;
                    }
                    if over && work.lock().items.is_empty() {
                        return Ok(());
                    }
                }
            };
            let trouble = written().err().map(|why| why.to_string());
            work.end(trouble);
        })?;
        Ok(Lines { plain: Plain::default(), setting, queue, unread: 0 })
    }

    fn put(&mut self, lines: impl IntoIterator<Item = String>) {
        let unread = &mut self.unread;
        self.queue.change(|waiting| {
            for line in lines {
                if waiting.items.len() >= LINE_QUEUE {
                    *unread += 1;
                    continue;
                }
                if *unread > 0 {
                    waiting.items.push_back(format!("! {unread} lines could not be shown"));
                    *unread = 0;
                }
                waiting.items.push_back(line);
            }
        });
    }
}

impl Face for Lines {
    fn name(&self) -> &'static str {
        "the plain lines"
    }

    fn show(&mut self, picture: &Picture) {
        let lines = self.plain.show(picture, &self.setting);
        self.put(lines);
    }

    fn tell(&mut self, effect: &Effect, at: Moment) {
        let line = self.plain.tell(effect, at, &self.setting);
        self.put(line);
    }

    fn pace(&self) -> Option<Millis> {
        None
    }

    fn trouble(&self) -> Option<String> {
        self.queue.trouble()
    }

    fn finish(&mut self) {
        self.queue.finish();
    }
}
