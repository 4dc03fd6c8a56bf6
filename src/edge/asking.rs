//! A few questions outside a run: takes a terminal's keys or the lines of a pipe, gives answers with
//! their moments. The terminal is as it was once it is dropped.

use std::cell::Cell;
use std::io::{self, BufRead};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::Duration;

use crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::clock::{RunClock, Wake};
use super::keymap::KeyMap;
use super::raw::Raw;
use super::signals::{Listening, Signal, listen};
use crate::clock::Moment;
use crate::guide::cue::Press;

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

/// What comes in.
#[derive(Clone, Copy, Debug)]
enum Came {
    Reply(Reply),
    Signal(Signal),
}

/// Who is asked.
#[derive(Debug)]
pub struct Asking {
    from: Receiver<Came>,
    over: Arc<AtomicBool>,
    raw: Option<Raw>,
    ended: Cell<Option<Signal>>,
    /// Dropped with the rest: the signals do nothing then.
    _listening: Option<Listening>,
}

impl Asking {
    /// Asks at the terminal, by single keys, or through a pipe, by lines.
    ///
    /// # Errors
    /// When the terminal does not allow it, or no thread or signal can be had.
    pub fn begin(terminal: bool, keys: KeyMap) -> io::Result<Asking> {
        let (to, from) = channel();
        let over = Arc::new(AtomicBool::new(false));
        let until = Arc::clone(&over);
        let raw = if terminal { Some(Raw::enter()?) } else { None };
        let listening = raw.as_ref().map(|raw| {
            let (modes, to) = (raw.modes(), to.clone());
            listen(move |signal| {
                if signal == Signal::Suspend {
                    Raw::leave(&modes);
                }
                // Questions that are over hear no signals.
                let _ = to.send(Came::Signal(signal));
            })
        });
        let asking =
            Asking { from, over, raw, ended: Cell::new(None), _listening: listening.transpose()? };
        let work = move || {
            if terminal { read_keys(&to, &until, &keys) } else { read_lines(&to, &until) }
        };
        std::thread::Builder::new().name("answers".to_owned()).spawn(work)?;
        Ok(asking)
    }

    /// The next answer until a moment, with its own.
    pub fn until(&self, clock: &mut RunClock, moment: Moment) -> Option<(Reply, Moment)> {
        loop {
            let woken = clock.wait_until(moment, &self.from);
            match woken.why {
                Wake::Got(came) => match self.understand(came) {
                    Some(reply) => return Some((reply, woken.at)),
                    None => continue,
                },
                Wake::Due => return None,
                Wake::Closed => return Some((Reply::Ended, woken.at)),
                Wake::Gap => {}
            }
        }
    }

    /// Lets time pass in which nothing is asked yet. A key pressed now is no answer to what comes; the
    /// lines of a pipe are, and end the wait. So does whoever wants no more.
    pub fn pass(&self, clock: &mut RunClock, until: Moment) -> Option<Reply> {
        loop {
            let (reply, _) = self.until(clock, until)?;
            if self.counts_early(reply) {
                return Some(reply);
            }
        }
    }

    /// A question is on show now: forgets the keys that were pressed before it.
    pub fn forget(&self) -> Option<Reply> {
        self.raw.as_ref()?;
        let came = self.from.try_iter();
        came.filter_map(|came| self.understand(came)).find(|reply| self.counts_early(*reply))
    }

    /// Whether it counts although nothing has been asked yet.
    fn counts_early(&self, reply: Reply) -> bool {
        self.raw.is_none() || matches!(reply, Reply::Stop | Reply::Ended)
    }

    /// The next answer, however long it takes.
    pub fn answer(&self) -> Reply {
        loop {
            let Ok(came) = self.from.recv() else { return Reply::Ended };
            if let Some(reply) = self.understand(came) {
                return reply;
            }
        }
    }

    /// The signal that has ended it, if one has.
    pub fn ended_by(&self) -> Option<Signal> {
        self.ended.get()
    }

    fn understand(&self, came: Came) -> Option<Reply> {
        match came {
            Came::Reply(reply) => Some(reply),
            Came::Signal(Signal::Suspend) => None,
            Came::Signal(Signal::Continued) => {
                if let Some(raw) = &self.raw {
                    raw.again();
                }
                None
            }
            Came::Signal(signal) => {
                self.ended.set(Some(signal));
                Some(Reply::Ended)
            }
        }
    }
}

impl Drop for Asking {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
    }
}

fn read_keys(to: &Sender<Came>, over: &AtomicBool, keys: &KeyMap) {
    while !over.load(Ordering::Relaxed) {
        let read = match event::poll(Duration::from_millis(20)) {
            Ok(false) => continue,
            Ok(true) => event::read(),
            Err(why) => Err(why),
        };
        let reply = match read {
            Ok(Event::Key(key)) if key.kind == KeyEventKind::Press => reply(key, keys),
            Ok(_) => None,
            Err(_) => return,
        };
        if reply.is_some_and(|reply| to.send(Came::Reply(reply)).is_err()) {
            return;
        }
    }
}

/// What a key answers: as in a run, by the chosen keys; `y` and `n` besides.
fn reply(key: KeyEvent, keys: &KeyMap) -> Option<Reply> {
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return matches!(key.code, KeyCode::Char('c' | 'd')).then_some(Reply::Stop);
    }
    match (keys.press(key.code), key.code) {
        (Some(Press::Done), _) | (None, KeyCode::Char('y')) => Some(Reply::Yes),
        (Some(Press::SomethingElse), _) | (None, KeyCode::Char('n')) => Some(Reply::No),
        (Some(Press::SayAgain), _) => Some(Reply::Again),
        (Some(Press::Stop), _) => Some(Reply::Stop),
        _ => None,
    }
}

fn read_lines(to: &Sender<Came>, over: &AtomicBool) {
    for line in io::stdin().lock().lines().map_while(Result::ok) {
        let reply = match line.trim() {
            "yes" | "y" | "done" | "" => Reply::Yes,
            "no" | "n" | "else" => Reply::No,
            "again" => Reply::Again,
            "stop" => Reply::Stop,
            _ => continue,
        };
        if over.load(Ordering::Relaxed) || to.send(Came::Reply(reply)).is_err() {
            return;
        }
    }
}
