//! A conversation about keys in a terminal: takes what answers it, gives it each key with its moment, and
//! writes what it says. The terminal's lines stay where they are.

use std::io::{self, Write};
use std::sync::mpsc::channel;

use crossterm::event::KeyEvent;

use super::clock::{RunClock, Wake};
use super::raw::Raw;
use super::signals::{Signal, listen};
use super::terminal::{Happening, Inbox, is_input, read_keys};
use crate::clock::{Millis, Moment};
use crate::faces::safe::wrap_whole;
use crossterm::terminal;

/// Without anything to wait for, the clock is looked at this often.
const IDLE: Millis = Millis(1000);

/// What comes from the person.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heard {
    /// A key.
    Key(KeyEvent),
    /// A mouse button.
    Click,
    /// Pasted text.
    Paste,
}

/// What answers.
pub trait Answers {
    /// What is said first.
    fn begin(&mut self) -> Vec<String>;
    /// What is said to something that came.
    fn hear(&mut self, heard: Heard, at: Moment) -> Vec<String>;
    /// When it wants to say something by itself.
    fn due(&self) -> Option<Moment>;
    /// What it says by itself.
    fn wake(&mut self, at: Moment) -> Vec<String>;
    /// Whether it is over.
    fn is_over(&self) -> bool;
}

/// How a conversation ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// It was over.
    Over,
    /// The terminal was closed.
    HungUp,
    /// The program was told to end.
    Terminated,
}

/// Leads the conversation to its end; the terminal is as it was then.
///
/// # Errors
/// When threads, signals or the terminal's raw mode cannot be had, or nothing can be written.
pub fn converse(answers: &mut impl Answers) -> io::Result<Ended> {
    let (to, from) = channel();
    let inbox = Inbox::new(to.clone());
    let _listening = listen(move |signal| {
        // A conversation that is over hears no signals.
        let _ = to.send(Happening::Signal(signal));
    })?;
    let raw = Raw::enter()?;
    raw.hear_clicks();
    read_keys(inbox.clone())?;
    let mut clock = RunClock::start();
    say(&answers.begin())?;
    let ended = loop {
        if answers.is_over() {
            break Ended::Over;
        }
        let idle = clock.now().after(IDLE);
        let woken = clock.wait_until(answers.due().unwrap_or(idle).min(idle), &from);
        if answers.due().is_some_and(|due| due <= woken.at) {
            say(&answers.wake(woken.at))?;
        }
        let Wake::Got(happening) = woken.why else { continue };
        if is_input(&happening) {
            inbox.took();
        }
        let heard = match happening {
            Happening::Key(key) => Heard::Key(key),
            Happening::Click => Heard::Click,
            Happening::Paste(_) => Heard::Paste,
            Happening::Signal(Signal::Terminate | Signal::Interrupt) => break Ended::Terminated,
            Happening::Signal(Signal::HangUp) | Happening::InputEnded => break Ended::HungUp,
            Happening::Signal(Signal::Suspend) => {
                Raw::leave(&raw.modes());
                continue;
            }
            Happening::Signal(Signal::Continued) => {
                raw.again();
                continue;
            }
            _ => continue,
        };
        say(&answers.hear(heard, woken.at))?;
    };
    inbox.close();
    Ok(ended)
}

fn say(lines: &[String]) -> io::Result<()> {
    let mut out = io::stdout().lock();
    // The last column is left free: a terminal may break a row that fills it.
    let columns = terminal::size().map_or(80, |(columns, _)| columns).saturating_sub(1);
    for line in lines.iter().flat_map(|line| wrap_whole(line, columns.into(), 2)) {
        write!(out, "{line}\r\n")?;
    }
    out.flush()
}
