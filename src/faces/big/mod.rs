//! The big view, to be read across a garage: takes views, gives the bytes that paint them on a
//! terminal's other screen, and at the end the bytes that go back and leave the last words standing.
//!
//! Always there: what it is if not the real thing, in your hands, do, what your press means. Digits
//! stand at one place at one size; beside them a shape says whether to act. Nothing blinks. Where a
//! terminal is too small, the small view is painted instead and says so.

mod sheet;

use unicode_width::UnicodeWidthStr;

use self::sheet::{Row, layout, needed};
use super::block::Ink;
use super::reach::RowHeight;
use super::terminal::{Painter, Size, code};
use super::words::{Kind, Line, View};
use super::{phrases, safe};

/// How the view is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Looks {
    /// Whether colour is welcome.
    pub colour: bool,
    /// Block characters or not.
    pub ink: Ink,
    /// The height of a row, for the digits' size.
    pub row: RowHeight,
    /// Whether nothing but the digits may move.
    pub calm: bool,
}

/// Paints big views.
#[derive(Debug)]
pub struct BigPainter {
    looks: Looks,
    size: Size,
    /// What stands on the screen; `None` before the first picture.
    rows: Option<Vec<String>>,
    /// The small view, where the terminal is too small for this one.
    small: Option<Painter>,
    /// Whether the other screen is on show.
    other: bool,
    last: Option<Box<View>>,
}

impl BigPainter {
    /// A painter for a terminal of this size.
    #[must_use]
    pub fn new(size: Size, looks: Looks) -> BigPainter {
        BigPainter { looks, size, rows: None, small: None, other: false, last: None }
    }

    /// The bytes that show this view.
    #[must_use]
    pub fn paint(&mut self, view: &View, size: Size) -> Vec<u8> {
        let mut bytes = Vec::new();
        if !std::mem::replace(&mut self.other, true) {
            bytes.extend_from_slice(b"\x1b[?1049h\x1b[?25l");
        }
        self.last = Some(Box::new(view.clone()));
        if self.rows.is_none() || size != self.size {
            self.size = size;
            self.small = None;
            self.rows = Some(Vec::new());
            bytes.extend_from_slice(b"\x1b[H\x1b[2J");
        }
        let mut view = view.clone();
        if view.far.stays {
            view.lines.push(Line::new(Kind::Keys, phrases::LEAVES));
            view.far.keys.clear();
        }
        match layout(&view, size, self.looks) {
            Some(rows) => self.show(&rows, &mut bytes),
            None => {
                shorten(&mut view, size);
                let needed = (!is_tiny(size)).then(|| needed(self.looks.row));
                let told = phrases::too_small(needed);
                // Below what it is, above what may be cut off.
                let at = view.lines.iter().take_while(|line| line.kind == Kind::Banner).count();
                view.lines.insert(at, Line::new(Kind::Remark, &format!("! {told}")));
                let colour = self.looks.colour;
                let small = self.small.get_or_insert_with(|| Painter::new(size, colour));
                bytes.extend(small.paint(&view, size));
            }
        }
        bytes
    }

    /// The terminal was given back meanwhile: the next picture goes to the other screen, whole.
    pub fn forget(&mut self) {
        self.other = false;
        self.rows = None;
    }

    /// The bytes that go back to the screen that was there before and say there what was said last.
    #[must_use]
    pub fn leave(&mut self) -> Vec<u8> {
        let Some(view) = self.last.take() else { return Vec::new() };
        let mut bytes = b"\x1b[?1049l\x1b[?25h".to_vec();
        self.forget();
        let columns = usize::from(self.size.columns).saturating_sub(1).max(20);
        for line in view.lines.iter().filter(|line| line.kind != Kind::Keys) {
            // What stays behind may be copied: a path is not broken here.
            let whole = line.text.split(' ').any(|word| word.width() + 2 > columns);
            let wrapped = (!whole).then(|| safe::wrap(&line.text, columns, 2));
            for text in wrapped.unwrap_or_else(|| vec![line.text.clone()]) {
                let row = Row::new(text, code(line.kind, line.window));
                bytes.extend_from_slice(row.painted(self.looks.colour).as_bytes());
                bytes.extend_from_slice(b"\r\n");
            }
        }
        bytes
    }

    /// Sends the rows that differ from what stands there.
    fn show(&mut self, rows: &[Row], bytes: &mut Vec<u8>) {
        let painted: Vec<_> = rows.iter().map(|row| row.painted(self.looks.colour)).collect();
        let before = self.rows.take().unwrap_or_default();
        for n in 0..painted.len().max(before.len()) {
            let want = painted.get(n).map_or("", String::as_str);
            if before.get(n).map_or("", String::as_str) != want {
                bytes.extend_from_slice(format!("\x1b[{};1H{want}\x1b[K", n + 1).as_bytes());
            }
        }
        self.rows = Some(painted);
    }
}

/// Where there is hardly any room, one word of each banner must do, all in one row.
fn shorten(view: &mut View, size: Size) {
    if !is_tiny(size) {
        return;
    }
    let words = view.far.banners.join(", ");
    let banners = view.lines.iter().filter(|line| line.kind == Kind::Banner).count();
    if let Some(line) = view.lines.first_mut().filter(|line| line.kind == Kind::Banner) {
        line.text = words;
        view.lines.drain(1..banners);
    }
    // Of what an imaginary vehicle did the last must do.
    let mut more = view.lines.iter().filter(|line| line.kind == Kind::Vehicle).count();
    view.lines.retain(|line| {
        more -= usize::from(line.kind == Kind::Vehicle);
        line.kind != Kind::Vehicle || more == 0
    });
}

/// Whether there is hardly any room at all.
const fn is_tiny(size: Size) -> bool {
    size.rows < 12 || size.columns < 50
}
