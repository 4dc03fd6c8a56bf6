//! A few questions outside a run: takes a terminal's keys or the lines of a pipe, gives answers with
//! their moments. The terminal is as it was once it is dropped.

use std::io::{self, BufRead};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::Duration;

use crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::clock::{RunClock, Wake};
use crate::clock::Moment;

/// An answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reply {
    /// Yes; also one tap.
    Yes,
    /// No.
    No,
    /// Once more.
    Again,
    /// No more questions.
    Stop,
    /// Nobody is there who could answer.
    Ended,
}

/// Who is asked.
#[derive(Debug)]
pub struct Asking {
    from: Receiver<Reply>,
    over: Arc<AtomicBool>,
    raw: bool,
}

impl Asking {
    /// Asks at the terminal, by single keys, or through a pipe, by lines.
    ///
    /// # Errors
    /// When the terminal does not allow it, or no thread can be had.
    pub fn begin(terminal: bool) -> io::Result<Asking> {
        let (to, from) = channel();
        let over = Arc::new(AtomicBool::new(false));
        let until = Arc::clone(&over);
        if terminal {
            crossterm::terminal::enable_raw_mode()?;
        }
        let asking = Asking { from, over, raw: terminal };
        let work = move || if terminal { keys(&to, &until) } else { lines(&to, &until) };
        std::thread::Builder::new().name("answers".to_owned()).spawn(work)?;
        Ok(asking)
    }

    /// The next answer until a moment, with its own.
    pub fn until(&self, clock: &mut RunClock, moment: Moment) -> Option<(Reply, Moment)> {
        loop {
            let woken = clock.wait_until(moment, &self.from);
            match woken.why {
                Wake::Got(reply) => return Some((reply, woken.at)),
                Wake::Due => return None,
                Wake::Closed => return Some((Reply::Ended, woken.at)),
                Wake::Gap => {}
            }
        }
    }

    /// The next answer, however long it takes.
    pub fn answer(&self) -> Reply {
        self.from.recv().unwrap_or(Reply::Ended)
    }
}

impl Drop for Asking {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        if self.raw {
            // A terminal that has gone needs nothing back.
            let _ = crossterm::terminal::disable_raw_mode();
        }
    }
}

fn keys(to: &Sender<Reply>, over: &AtomicBool) {
    while !over.load(Ordering::Relaxed) {
        let read = match event::poll(Duration::from_millis(20)) {
            Ok(false) => continue,
            Ok(true) => event::read(),
            Err(why) => Err(why),
        };
        let reply = match read {
            Ok(Event::Key(key)) if key.kind == KeyEventKind::Press => reply(key),
            Ok(_) => None,
            Err(_) => return,
        };
        if reply.is_some_and(|reply| to.send(reply).is_err()) {
            return;
        }
    }
}

fn reply(key: KeyEvent) -> Option<Reply> {
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return matches!(key.code, KeyCode::Char('c' | 'd')).then_some(Reply::Stop);
    }
    Some(match key.code {
        KeyCode::Char(' ' | 'y') | KeyCode::Enter | KeyCode::PageDown | KeyCode::Right => {
            Reply::Yes
        }
        KeyCode::Char('n' | 'e') | KeyCode::PageUp | KeyCode::Left => Reply::No,
        KeyCode::Char('a' | '.') | KeyCode::Up => Reply::Again,
        KeyCode::Char('q') | KeyCode::Esc => Reply::Stop,
        _ => return None,
    })
}

fn lines(to: &Sender<Reply>, over: &AtomicBool) {
    for line in io::stdin().lock().lines().map_while(Result::ok) {
        let reply = match line.trim() {
            "yes" | "y" | "done" | "" => Reply::Yes,
            "no" | "n" | "else" => Reply::No,
            "again" => Reply::Again,
            "stop" => Reply::Stop,
            _ => continue,
        };
        if over.load(Ordering::Relaxed) || to.send(reply).is_err() {
            return;
        }
    }
}
