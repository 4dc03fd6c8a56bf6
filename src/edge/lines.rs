//! The faces that write lines, in a thread of their own: plain ones for pipes and files, whole sentences
//! for screen readers. A reader that does not read makes lines wait, then be left out and counted.

use std::io::{self, Write};
use std::sync::Arc;

use super::queue::Queue;
use super::raw::Modes;
use super::screen::Bell;
use super::terminal::Face;
use crate::clock::{Millis, Moment};
use crate::faces::linear::Linear;
use crate::faces::plain::Plain;
use crate::faces::words::{Picture, Setting};
use crate::journal::happened::Effect;

/// How many lines may wait for a reader.
const LINE_QUEUE: usize = 1024;

/// How the lines are worded.
#[derive(Debug)]
pub enum Wording {
    /// Each with the run's seconds in front.
    Plain(Plain),
    /// Whole sentences.
    Linear(Linear),
}

impl Wording {
    fn show(&mut self, picture: &Picture, setting: &Setting) -> Vec<String> {
        match self {
            Wording::Plain(plain) => plain.show(picture, setting),
            Wording::Linear(linear) => linear.show(picture, setting),
        }
    }

    fn tell(&mut self, effect: &Effect, at: Moment, setting: &Setting) -> Option<String> {
        match self {
            Wording::Plain(plain) => plain.tell(effect, at, setting),
            Wording::Linear(linear) => linear.tell(effect, setting),
        }
    }
}

/// A face of lines.
#[derive(Debug)]
pub struct Lines {
    wording: Wording,
    setting: Setting,
    queue: Arc<Queue<String>>,
    unread: u64,
}

impl Lines {
    /// Writes lines, each flushed. In a terminal in raw mode a line ends with a return as well.
    ///
    /// # Errors
    /// When no thread can be had.
    pub fn start(
        mut to: impl Write + Send + 'static,
        wording: Wording,
        setting: Setting,
        raw: Option<Arc<Modes>>,
    ) -> io::Result<Lines> {
        let queue: Arc<Queue<String>> = Queue::new();
        let (work, end) = (Arc::clone(&queue), Arc::clone(&queue));
        let ending = if raw.is_some() { "\r\n" } else { "\n" };
        let modes = raw.unwrap_or_default();
        let mut write_all = move || -> io::Result<()> {
            loop {
                let next = work.next();
                for line in &next.items {
                    modes.paint(|| {
                        to.write_all(format!("{line}{ending}").as_bytes())?;
                        to.flush()
                    })?;
                }
                if next.bells > 0 {
                    modes.paint(|| {
                        to.write_all(&vec![b'\x07'; next.bells])?;
                        to.flush()
                    })?;
                }
                if next.over && work.is_empty() {
                    return Ok(());
                }
            }
        };
        std::thread::Builder::new().name("lines-out".to_owned()).spawn(move || {
            end.run(&mut write_all);
        })?;
        Ok(Lines { wording, setting, queue, unread: 0 })
    }

    /// The terminal's bell as a sound.
    #[must_use]
    pub fn bell(&self) -> Bell<String> {
        Bell::on(&self.queue)
    }

    fn put(&mut self, lines: impl IntoIterator<Item = String>) {
        let unread = &mut self.unread;
        self.queue.change(|items| {
            for line in lines {
                if items.len() >= LINE_QUEUE {
                    *unread += 1;
                    continue;
                }
                if *unread > 0 {
                    items.push_back(format!("! {unread} lines could not be shown"));
                    *unread = 0;
                }
                items.push_back(line);
            }
        });
    }
}

impl Face for Lines {
    fn name(&self) -> &'static str {
        match self.wording {
            Wording::Plain(_) => "the plain lines",
            Wording::Linear(_) => "the lines for a screen reader",
        }
    }

    fn show(&mut self, picture: &Picture) {
        let lines = self.wording.show(picture, &self.setting);
        self.put(lines);
    }

    fn tell(&mut self, effect: &Effect, at: Moment) {
        let line = self.wording.tell(effect, at, &self.setting);
        self.put(line);
    }

    fn pace(&self) -> Option<Millis> {
        None
    }

    fn trouble(&self) -> Option<String> {
        self.queue.trouble()
    }

    fn is_stuck(&self) -> bool {
        self.queue.is_stuck()
    }

    fn finish(&mut self) {
        self.queue.finish();
    }
}
