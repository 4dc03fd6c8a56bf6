//! The inline live view: takes views, gives the bytes that bring a terminal from what it shows to
//! what it should show. Opens nothing and reads no clock.
//!
//! The rows are one indicatif bar with the lines above it as its prefix and those below as its message;
//! the guide's clock sets its position: no estimate, no tick of its own. indicatif paints each frame
//! once onto a fresh [`Canvas`] in memory; only rows that differ from the screen are sent, so the view
//! does not flicker and needs little over a slow line. Line ends are `\r\n`, because the terminal is
//! in raw mode.

use std::io;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle, TermLike};

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use super::safe::fit;
use super::words::{Kind, Line, View};
use super::{digits, phrases};
use crate::clock::Millis;
use crate::journal::happened::Window;

/// Columns and rows of a terminal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Size {
    /// Columns.
    pub columns: u16,
    /// Rows.
    pub rows: u16,
}

impl Default for Size {
    /// What nearly every terminal has at least.
    fn default() -> Size {
        Size { columns: 80, rows: 24 }
    }
}

/// Columns by which a broken line's rest is indented: the texts stand behind their headings.
pub const INDENT: usize = 16;
/// Columns of the bar, where there is room.
const BAR: usize = 44;

/// One row of the view.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Row {
    /// A line of text.
    Text { kind: Kind, window: Window, text: String },
    /// The bar.
    Bar,
}

impl Row {
    /// Whether a view without it leaves the person without a lead.
    const fn matters(&self) -> bool {
        matches!(self, Row::Text { kind: Kind::Hands | Kind::Do | Kind::Means, .. }) || self.stays()
    }

    /// Whether it is cut off for no other.
    const fn stays(&self) -> bool {
        use Kind::{Answer, Banner, Ended, Hold, Question, Typing, Window};
        let Row::Text { kind, .. } = self else { return false };
        matches!(kind, Banner | Window | Question | Answer | Typing | Hold | Ended)
    }
}

/// Paints views.
#[derive(Debug)]
pub struct Painter {
    colour: bool,
    size: Size,
    screen: Screen,
}

impl Painter {
    /// A painter for a terminal of this size.
    #[must_use]
    pub fn new(size: Size, colour: bool) -> Painter {
        Painter { colour, size, screen: Screen::default() }
    }

    /// The bytes that show this view.
    #[must_use]
    pub fn paint(&mut self, view: &View, size: Size) -> Vec<u8> {
        let mut bytes = Vec::new();
        if size != self.size {
            self.size = size;
            self.screen.forget(&mut bytes);
        }
        let rows = self.frame(&layout(view, self.size), view.bar);
        self.screen.show(&rows, &mut bytes);
        bytes
    }

    /// What stands on the screen is not known any more: the next view is painted on a cleared one.
    pub const fn forget(&mut self) {
        self.size = Size { columns: 0, rows: 0 };
    }

    /// The bytes that leave the view standing and the cursor below it.
    #[must_use]
    pub fn leave(&mut self) -> Vec<u8> {
        let mut bytes = Vec::new();
        self.screen.leave(&mut bytes);
        bytes
    }

    /// One frame, painted by indicatif. Rows are only ever drawn once onto one canvas, so that no
    /// older frame can shine through.
    fn frame(&self, rows: &[Row], left: Option<(Millis, Millis)>) -> Vec<String> {
        let bar = ProgressBar::with_draw_target(Some(1), ProgressDrawTarget::hidden());
        let at = rows.iter().position(|row| *row == Row::Bar);
        let (above, below) = rows.split_at(at.unwrap_or(rows.len()));
        let (left, whole) = left.unwrap_or_default();
        let columns = usize::from(self.size.columns).saturating_sub(INDENT + 1).clamp(4, BAR);
        bar.set_style(style(at.map(|_| columns), below.len() > 1));
        bar.set_length(whole.0.max(1).unsigned_abs());
        bar.set_prefix(self.text(above));
        bar.set_message(self.text(below));
        bar.set_position(left.0.max(0).unsigned_abs());
        let canvas = Canvas::new(self.size);
        bar.set_draw_target(canvas.target());
        bar.force_draw();
        canvas.rows()
    }

    fn text(&self, rows: &[Row]) -> String {
        let lines = rows.iter().filter_map(|row| match row {
            Row::Text { kind, window, text } => Some(coloured(*kind, *window, text, self.colour)),
            Row::Bar => None,
        });
        lines.collect::<Vec<_>>().join("\n")
    }
}

/// The looks of a frame. The templates are constants, for which indicatif cannot fail.
fn style(bar: Option<usize>, below: bool) -> ProgressStyle {
    let mut template = "{prefix}".to_owned();
    if let Some(columns) = bar {
        template.push_str(&format!("\n{}{{bar:{columns}}}", " ".repeat(INDENT)));
    }
    if below {
        template.push_str("\n{msg}");
    }
    ProgressStyle::with_template(&template)
        .unwrap_or_else(|_| ProgressStyle::default_bar())
        .progress_chars("##-")
}

/// The colour of a line as the terminal's number; empty for none.
#[must_use]
pub const fn code(kind: Kind, window: Window) -> &'static str {
    match (kind, window) {
        (Kind::Banner, _) => "7",
        (Kind::Window, Window::Safe) => "1;32",
        (Kind::Window, Window::AtRisk) => "1;33",
        (Kind::Window, Window::TooLate | Window::Closed) => "1;31",
        (Kind::Window, Window::NotYet) | (Kind::Notice | Kind::Hold, _) => "33",
        (Kind::Do | Kind::Ended, _) => "1",
        (Kind::Vehicle, _) => "1;35",
        (Kind::Question | Kind::Typing, _) => "36",
        (Kind::Remark, _) => "31",
        (Kind::Why | Kind::Record | Kind::Keys, _) => "2",
        _ => "",
    }
}

/// Colour on top of word and shape, never instead of it.
fn coloured(kind: Kind, window: Window, text: &str, colour: bool) -> String {
    match code(kind, window) {
        code if colour && !code.is_empty() => format!("\x1b[{code}m{text}\x1b[0m"),
        _ => text.to_owned(),
    }
}

/// The large digits stand only where they leave room for every line.
fn with_digits(mut rows: Vec<Row>, view: &View, most: usize) -> Vec<Row> {
    let at = rows.iter().position(|row| matches!(row, Row::Text { kind: Kind::Window, .. }));
    let (Some(at), Some((left, _))) = (at, view.bar) else { return rows };
    if rows.len() + digits::ROWS > most {
        return rows;
    }
    let window = view.lines.iter().find(|line| line.kind == Kind::Window).map(|line| line.window);
    let window = window.unwrap_or(Window::None);
    let large = digits::large(&phrases::digits(left));
    let large = large.into_iter().map(|row| {
        let text = format!("{}{row}", " ".repeat(INDENT));
        Row::Text { kind: Kind::Window, window, text }
    });
    rows.splice(at..at, large);
    rows
}

/// Which lines are left out first where a terminal is too low for all. Before any of them the keys are
/// listed in one row.
const SPARED: &[Kind] = &[Kind::Why, Kind::Next, Kind::Record, Kind::Keys, Kind::Title];

fn layout(view: &View, size: Size) -> Vec<Row> {
    let columns = usize::from(size.columns).saturating_sub(1).max(20);
    let most = usize::from(size.rows).saturating_sub(1).max(4);
    let mut lines: Vec<&Line> = view.lines.iter().collect();
    let mut rows = broken(&lines, columns, view.bar.is_some());
    let brief = view.far.keys_in(columns).map(|keys| Line::new(Kind::Keys, &keys));
    if rows.len() > most
        && let Some(brief) = &brief
    {
        let keys = |line: &&mut &Line| line.kind == Kind::Keys;
        lines.iter_mut().filter(keys).for_each(|line| *line = brief);
        rows = broken(&lines, columns, view.bar.is_some());
    }
    for kind in SPARED {
        if rows.len() > most && !view.far.keeps(*kind) {
            lines.retain(|line| line.kind != *kind);
            rows = broken(&lines, columns, view.bar.is_some());
        }
    }
    if rows.iter().skip(most).any(Row::matters) {
        rows = crowded(lines, columns, most);
    }
    rows.truncate(most);
    with_digits(rows, view, most)
}

/// What goes, in this order, where all that is still too much; before any of it the bar and what is indented.
const CROWDED: &[Kind] =
    &[Kind::Aside, Kind::Remark, Kind::Detail, Kind::Notice, Kind::Hands, Kind::Means];

/// Rows for a terminal that has hardly any. Never cut off for another line are what it is if not the real
/// thing, the window with its digits, a question and the end. That something is missing is shown by `…`.
fn crowded(mut lines: Vec<&Line>, columns: usize, most: usize) -> Vec<Row> {
    let flat = |lines: &[&Line]| -> Vec<Row> {
        let rows = lines.iter().flat_map(|line| {
            let text = line.text.split_whitespace().collect::<Vec<_>>().join(" ");
            let (kind, window, wrap) = (line.kind, line.window, line.kind.wrap());
            let texts = wrap(&text, columns, 2).into_iter();
            texts.map(move |text| Row::Text { kind, window, text })
        });
        rows.collect()
    };
    let mut rows = flat(&lines);
    let mut missing = false;
    for kind in CROWDED {
        if rows.len() > most {
            missing |= *kind != Kind::Remark && lines.iter().any(|line| line.kind == *kind);
            lines.retain(|line| line.kind != *kind);
            rows = flat(&lines);
        }
    }
    while rows.len() > most {
        missing = true;
        let at = rows.iter().rposition(|row| !row.stays()).unwrap_or(rows.len() - 1);
        rows.remove(at);
    }
    let last = rows.iter().rposition(|row| !row.stays());
    if let (true, Some(Row::Text { text, .. })) = (missing, last.map(|last| &mut rows[last])) {
        *text = fit(&format!("{text}   "), columns.min(text.width() + 2));
    }
    rows
}

/// The lines broken to the terminal's width, with the bar below the window's line.
fn broken(lines: &[&Line], columns: usize, bar: bool) -> Vec<Row> {
    let mut rows = Vec::new();
    for line in lines {
        let indent = match line.kind {
            Kind::Hands | Kind::Do | Kind::Means | Kind::Vehicle | Kind::Next | Kind::Why => INDENT,
            Kind::Answer => 5,
            _ => 2,
        };
        let wrap = line.kind.wrap();
        for text in wrap(&line.text, columns, indent) {
            rows.push(Row::Text { kind: line.kind, window: line.window, text });
        }
        if bar && line.kind == Kind::Window {
            rows.push(Row::Bar);
        }
    }
    rows
}

/// What stands on the screen, and where the cursor is: rows from the top of the view.
#[derive(Debug, Default)]
struct Screen {
    rows: Vec<String>,
    at: usize,
    /// Whether the cursor is hidden.
    hidden: bool,
}

impl Screen {
    fn show(&mut self, wanted: &[String], bytes: &mut Vec<u8>) {
        if !self.hidden {
            bytes.extend_from_slice(b"\x1b[?25l");
            self.hidden = true;
        }
        let rows = wanted.len().max(self.rows.len());
        for at in 0..rows {
            let want = wanted.get(at).map_or("", String::as_str);
            if self.rows.get(at).map(String::as_str) == Some(want) {
                continue;
            }
            self.go(at, bytes);
            bytes.push(b'\r');
            bytes.extend_from_slice(want.as_bytes());
            bytes.extend_from_slice(b"\x1b[K");
            if let Some(row) = self.rows.get_mut(at) {
                want.clone_into(row);
            }
        }
    }

    /// Moves to a row; rows that are not there yet are made by line feeds, which may scroll.
    fn go(&mut self, row: usize, bytes: &mut Vec<u8>) {
        if self.rows.is_empty() {
            self.rows.push(String::new());
        }
        let last = self.rows.len() - 1;
        let known = row.min(last);
        if known < self.at {
            bytes.extend_from_slice(format!("\x1b[{}A", self.at - known).as_bytes());
        } else if known > self.at {
            bytes.extend_from_slice(format!("\x1b[{}B", known - self.at).as_bytes());
        }
        for _ in last..row {
            bytes.extend_from_slice(b"\r\n");
            self.rows.push(String::new());
        }
        self.at = row;
    }

    /// The terminal has another size: how it broke what stood there is not known, and an old frame
    /// beside the new one could mislead, so the whole screen goes.
    fn forget(&mut self, bytes: &mut Vec<u8>) {
        bytes.extend_from_slice(b"\x1b[H\x1b[J");
        self.rows.clear();
        self.at = 0;
    }

    fn leave(&mut self, bytes: &mut Vec<u8>) {
        let shown = self.rows.iter().rposition(|row| !row.is_empty()).unwrap_or(0);
        if !self.rows.is_empty() {
            self.go(shown, bytes);
            bytes.extend_from_slice(b"\r\n\x1b[J");
        }
        if self.hidden {
            bytes.extend_from_slice(b"\x1b[?25h");
            self.hidden = false;
        }
        self.rows.clear();
        self.at = 0;
    }
}

/// What indicatif paints on: rows in memory and a cursor.
#[derive(Clone, Debug)]
struct Canvas(Arc<Mutex<Grid>>);

#[derive(Debug)]
struct Grid {
    size: Size,
    rows: Vec<String>,
    row: usize,
    /// Columns taken in this row.
    used: usize,
}

impl Canvas {
    fn new(size: Size) -> Canvas {
        Canvas(Arc::new(Mutex::new(Grid { size, rows: vec![String::new()], row: 0, used: 0 })))
    }

    fn target(&self) -> ProgressDrawTarget {
        ProgressDrawTarget::term_like(Box::new(self.clone()))
    }

    fn grid(&self) -> MutexGuard<'_, Grid> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The rows as painted, without the blanks with which indicatif fills the last one.
    fn rows(&self) -> Vec<String> {
        self.grid().rows.iter().map(|row| row.trim_end_matches(' ').to_owned()).collect()
    }

    fn moved(&self, to: impl FnOnce(usize) -> usize) {
        let mut grid = self.grid();
        grid.row = to(grid.row);
        grid.used = 0;
        let row = grid.row;
        if grid.rows.len() <= row {
            grid.rows.resize(row + 1, String::new());
        }
    }

    /// Text at the cursor. indicatif fills rows with blanks and lets the terminal break them, so a
    /// full row goes on in the next one; colour codes take no room.
    fn put(&self, text: &str) {
        let mut code = false;
        for c in text.chars() {
            let room = {
                let grid = self.grid();
                grid.used + c.width().unwrap_or(0) <= usize::from(grid.size.columns)
            };
            let width = if code || c == '\x1b' { 0 } else { c.width().unwrap_or(0) };
            if c == '\n' || (width > 0 && !room) {
                self.moved(|row| row + 1);
            }
            if c != '\n' {
                let mut grid = self.grid();
                let row = grid.row;
                grid.used += width;
                if let Some(line) = grid.rows.get_mut(row) {
                    line.push(c);
                }
            }
            code = c == '\x1b' || (code && !c.is_ascii_alphabetic());
        }
    }
}

impl TermLike for Canvas {
    fn width(&self) -> u16 {
        self.grid().size.columns
    }

    /// Never the reason to leave a line out: `layout` has seen to it that all fit.
    fn height(&self) -> u16 {
        self.grid().size.rows.max(4)
    }

    fn move_cursor_up(&self, n: usize) -> io::Result<()> {
        self.moved(|row| row.saturating_sub(n));
        Ok(())
    }

    fn move_cursor_down(&self, n: usize) -> io::Result<()> {
        self.moved(|row| row.saturating_add(n).min(1000));
        Ok(())
    }

    fn move_cursor_right(&self, _: usize) -> io::Result<()> {
        Ok(())
    }

    fn move_cursor_left(&self, _: usize) -> io::Result<()> {
        Ok(())
    }

    fn write_line(&self, text: &str) -> io::Result<()> {
        self.put(text);
        self.moved(|row| row + 1);
        Ok(())
    }

    fn write_str(&self, text: &str) -> io::Result<()> {
        self.put(text);
        Ok(())
    }

    fn clear_line(&self) -> io::Result<()> {
        let mut grid = self.grid();
        let row = grid.row;
        grid.used = 0;
        if let Some(line) = grid.rows.get_mut(row) {
            line.clear();
        }
        Ok(())
    }

    fn flush(&self) -> io::Result<()> {
        Ok(())
    }
}
