//! The painted faces and the terminal's bell: takes pictures, paints the newest from a thread of its own.
//!
//! A terminal that does not read can block that thread, never a cue; how long it has been blocked is
//! told. A thread that breaks is told as a trouble.

use std::io::{self, Write};
use std::sync::Arc;

use super::queue::Queue;
use super::raw::Modes;
use super::terminal::Face;
use crate::clock::{Millis, Moment};
use crate::faces::beside::columns;
use crate::faces::big::BigPainter;
use crate::faces::sounds::{Sounds, bells};
use crate::faces::terminal::{Painter, Size};
use crate::faces::words::{Picture, Setting, View, view};
use crate::journal::happened::{Cue, Effect, Tone};

/// What turns views into bytes.
#[derive(Debug)]
pub enum Paint {
    /// The view that stands among the terminal's other text.
    Inline(Painter),
    /// The view that takes the whole terminal.
    Big(BigPainter),
}

impl Paint {
    fn paint(&mut self, view: &View, size: Size) -> Vec<u8> {
        match self {
            Paint::Inline(painter) => painter.paint(view, size),
            Paint::Big(painter) => painter.paint(view, size),
        }
    }

    fn leave(&mut self) -> Vec<u8> {
        match self {
            Paint::Inline(painter) => painter.leave(),
            Paint::Big(painter) => painter.leave(),
        }
    }

    fn forget(&mut self) {
        match self {
            Paint::Inline(painter) => painter.forget(),
            Paint::Big(painter) => painter.forget(),
        }
    }

    const fn is_big(&self) -> bool {
        matches!(self, Paint::Big(_))
    }
}

/// A painted face.
#[derive(Debug)]
pub struct Screen {
    queue: Arc<Queue<Picture>>,
    vanishes: bool,
}

impl Screen {
    /// Paints on this writer from a thread of its own; `size` says how large it is at the moment.
    ///
    /// # Errors
    /// When no thread can be had.
    pub fn start(
        to: impl Write + Send + 'static,
        paint: Paint,
        setting: Setting,
        modes: Arc<Modes>,
        size: fn() -> Size,
    ) -> io::Result<Screen> {
        let queue = Queue::new();
        let vanishes = paint.is_big();
        let mut work = Work { to, paint, setting, modes, size, queue: Arc::clone(&queue) };
        let end = Arc::clone(&queue);
        std::thread::Builder::new().name("screen".to_owned()).spawn(move || {
            end.run(move || work.paint_all());
        })?;
        Ok(Screen { queue, vanishes })
    }

    /// The terminal's bell as a sound.
    #[must_use]
    pub fn bell(&self) -> Bell<Picture> {
        Bell::on(&self.queue)
    }
}

/// What the painting thread has.
struct Work<W> {
    to: W,
    paint: Paint,
    setting: Setting,
    modes: Arc<Modes>,
    size: fn() -> Size,
    queue: Arc<Queue<Picture>>,
}

impl<W: Write> Work<W> {
    /// Paints whatever is wanted until it is over.
    fn paint_all(&mut self) -> io::Result<()> {
        loop {
            let mut next = self.queue.next();
            let mut bytes = Vec::new();
            if next.anew {
                self.paint.forget();
            }
            if let Some(picture) = next.items.pop_back() {
                let (view, size) = (view(&picture, &self.setting), (self.size)());
                let view = if self.paint.is_big() { view } else { columns(view, size) };
                bytes = self.paint.paint(&view, size);
            }
            bytes.extend(std::iter::repeat_n(b'\x07', next.bells));
            let over = next.over && self.queue.is_empty();
            if over {
                bytes.extend(self.paint.leave());
            }
            self.send(&bytes, over)?;
            if over {
                return Ok(());
            }
        }
    }

    fn send(&mut self, bytes: &[u8], over: bool) -> io::Result<()> {
        let (to, modes, big) = (&mut self.to, &self.modes, self.paint.is_big());
        if bytes.is_empty() {
            return Ok(());
        }
        modes.paint(|| {
            // Told before it is so: a panic that comes in between must go back, too.
            modes.other_screen(big);
            to.write_all(bytes)?;
            to.flush()?;
            modes.other_screen(big && !over);
            Ok(())
        })
    }
}

impl Face for Screen {
    fn name(&self) -> &'static str {
        "the screen"
    }

    fn show(&mut self, picture: &Picture) {
        self.queue.replace(picture.clone());
    }

    fn tell(&mut self, _: &Effect, _: Moment) {}

    fn pace(&self) -> Option<Millis> {
        Some(Millis(100))
    }

    fn trouble(&self) -> Option<String> {
        self.queue.trouble()
    }

    fn is_stuck(&self) -> bool {
        self.queue.is_stuck()
    }

    fn show_anew(&mut self) {
        self.queue.anew();
    }

    fn vanishes(&self) -> bool {
        self.vanishes
    }

    fn finish(&mut self) {
        self.queue.finish();
    }
}

/// The terminal's bell.
#[derive(Debug)]
pub struct Bell<T> {
    queue: Arc<Queue<T>>,
}

impl<T> Bell<T> {
    /// The bell of the terminal that this queue's thread writes to.
    pub(super) fn on(queue: &Arc<Queue<T>>) -> Bell<T> {
        Bell { queue: Arc::clone(queue) }
    }
}

impl<T> Sounds for Bell<T> {
    fn ring(&mut self, tone: Tone) {
        self.queue.ring(bells(tone));
    }

    fn say(&mut self, _: Cue, _: &str) {}

    fn trouble(&mut self) -> Option<String> {
        None
    }
}
