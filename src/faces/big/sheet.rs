//! Where everything of a big view goes: takes a view, a size and the looks, gives rows.
//!
//! From top to bottom: what it is if not the real thing; title, hands, do, press; what to do once more
//! in large letters where there is room; shape and digits; window, bar, what was said, questions and
//! answers, what comes next; record and keys. What does not fit is left out in a fixed order; the
//! digits and the answers are the last to go.

use unicode_width::UnicodeWidthStr;

use super::Looks;
use crate::faces::block::{self, Ink, Shape};
use crate::faces::reach::{ACROSS_THE_GARAGE, LEAST, RowHeight};
use crate::faces::terminal::{INDENT, Size, code};
use crate::faces::words::{Kind, State, View};
use crate::faces::{phrases, safe};
use crate::journal::happened::{Stage, Window};

/// Rows that are needed beside the digits.
const BESIDE: usize = 12;
/// Columns that are needed in any case.
const NARROWEST: usize = 60;
/// From here on what to do is drawn large as well.
const ROOMY: Size = Size { columns: 120, rows: 40 };
/// Columns between things that stand beside each other.
const APART: usize = 4;
/// The widest figure that is common; the digits are no larger than lets it stand.
const WIDE: &str = "00:00";

/// One row of the screen.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Row {
    text: String,
    /// Its colour, as the terminal's number; empty for none.
    code: &'static str,
    /// Columns between hatched edges, where it has them.
    edges: Option<usize>,
}

impl Row {
    /// A row in a colour.
    pub fn new(text: String, code: &'static str) -> Row {
        Row { text, code, edges: None }
    }

    /// What is sent to the terminal.
    pub fn painted(&self, colour: bool) -> String {
        let text = match (self.code, colour) {
            ("", _) | (_, false) => self.text.clone(),
            (code, true) => format!("\x1b[{code}m{}\x1b[0m", self.text),
        };
        match self.edges {
            None => text,
            Some(columns) => {
                let fill = " ".repeat(columns.saturating_sub(self.text.width()));
                format!("// {text}{fill} //")
            }
        }
    }
}

/// The columns and rows without which the big view is not shown.
#[must_use]
pub fn needed(row: RowHeight) -> Size {
    let digits = row.rows_for(ACROSS_THE_GARAGE, LEAST);
    let columns = block::figure_columns(WIDE, digits).max(NARROWEST) + 1;
    let size = |n: usize| u16::try_from(n).unwrap_or(u16::MAX);
    Size { columns: size(columns), rows: size(digits.saturating_add(BESIDE)) }
}

/// The rows of a view; `None` where the terminal is too small.
pub fn layout(view: &View, size: Size, looks: Looks) -> Option<Vec<Row>> {
    let needed = needed(looks.row);
    if size.columns < needed.columns || size.rows < needed.rows {
        return None;
    }
    let sheet = Sheet::new(view, size, looks);
    // What is left out, in this order, until everything else stands on the screen.
    let most = usize::from(size.rows);
    let rows = (0..=SQUEEZES).map(|squeeze| sheet.rows(squeeze)).find(|rows| rows.len() <= most);
    let mut rows = rows.unwrap_or_else(|| sheet.rows(SQUEEZES));
    rows.truncate(most);
    Some(rows)
}

/// How often a sheet can be squeezed.
const SQUEEZES: usize = 12;
/// From which squeeze on the keys are listed in one row, in few words.
const BRIEF_KEYS: usize = 1;
/// Which lines are left out from which squeeze on.
const SPARED: &[(usize, Kind)] = &[
    (2, Kind::Why),
    (4, Kind::Next),
    (6, Kind::Record),
    (7, Kind::Title),
    (9, Kind::Aside),
    (10, Kind::Keys),
    (11, Kind::Detail),
    (11, Kind::Notice),
    (11, Kind::Remark),
];
/// From which squeeze on there are no empty rows, and no large words.
const NO_GAPS: usize = 3;
/// From which squeeze on the digits are only as high as they must be.
const LEAST_DIGITS: usize = 5;
/// From which squeeze on there is no bar.
const NO_BAR: usize = 7;
/// From which squeeze on long lines are cut: to three rows, to two, to one. Of what an imaginary vehicle
/// did the last must do from then on.
const CUT: usize = 8;
/// From which squeeze on there are no digits but those in the window's line.
const NO_DIGITS: usize = 12;

/// How many rows a line may take.
const fn most_rows(kind: Kind, squeeze: usize) -> usize {
    match squeeze {
        // Its figure is never cut off.
        CUT.. if matches!(kind, Kind::Window) => 3,
        // The record has the rest of a long trouble.
        1..LEAST_DIGITS if matches!(kind, Kind::Remark) => 2,
        LEAST_DIGITS..CUT if matches!(kind, Kind::Remark) => 1,
        0..CUT => usize::MAX,
        CUT => 3,
        9 => 2,
        _ => 1,
    }
}

/// One view and where it goes.
struct Sheet<'a> {
    view: &'a View,
    looks: Looks,
    /// Columns and rows that can be used.
    columns: usize,
    rows: usize,
    /// Whether the edges are hatched: there is no vehicle, or it is over already.
    edged: bool,
    roomy: bool,
    /// The least and the usual height of the digits.
    least: usize,
    digits: usize,
}

/// Between banners in one row.
const BETWEEN: &str = " //// ";
/// What hatched edges take on both sides.
const EDGES: usize = 6;

impl<'a> Sheet<'a> {
    fn new(view: &'a View, size: Size, looks: Looks) -> Sheet<'a> {
        // The last column is left free: a terminal may break a row that fills it.
        let columns = usize::from(size.columns).saturating_sub(1);
        let rows = usize::from(size.rows);
        let edged = view.far.banners.iter().any(|word| *word != "DEMONSTRATION");
        let least = looks.row.rows_for(ACROSS_THE_GARAGE, LEAST);
        let mut sheet = Sheet {
            view,
            looks,
            columns: if edged { columns - EDGES } else { columns },
            rows,
            edged,
            roomy: size.columns >= ROOMY.columns && size.rows >= ROOMY.rows,
            least,
            digits: least,
        };
        sheet.digits = sheet.usual_digits();
        sheet
    }

    /// As high as lets everything stand that usually stands, and the widest common figure.
    fn usual_digits(&self) -> usize {
        let taken = self.heading().len() + self.reserve() + self.act_rows() + self.foot().len() + 9;
        let most = self.rows.saturating_sub(taken).max(self.least);
        let fits = |rows: &usize| {
            block::figure_columns(WIDE, *rows) + 2 * rows + APART + 2 <= self.columns
        };
        (self.least..=most).rev().find(fits).unwrap_or(self.least)
    }

    /// Rows kept for the lines above the digits, so that the digits stay where they are.
    fn reserve(&self) -> usize {
        if self.roomy { 7 } else { 6 }
    }

    /// Rows kept for what to do, drawn large.
    fn act_rows(&self) -> usize {
        if self.roomy { 2 * (self.least + 1) } else { 0 }
    }

    fn rows(&self, squeeze: usize) -> Vec<Row> {
        let gap = usize::from(squeeze < NO_GAPS);
        let mut top = self.lines(squeeze, |kind| {
            matches!(
                kind,
                Kind::Title | Kind::Hands | Kind::Do | Kind::Means | Kind::Vehicle | Kind::Detail
            )
        });
        let slack = if gap == 1 { self.reserve().saturating_sub(top.len()) } else { 0 };
        top.extend(empty(slack));
        let middle = self.middle(squeeze);
        let below = self.lines(squeeze, |kind| {
            !matches!(
                kind,
                Kind::Banner
                    | Kind::Title
                    | Kind::Hands
                    | Kind::Do
                    | Kind::Means
                    | Kind::Vehicle
                    | Kind::Detail
                    | Kind::Record
                    | Kind::Keys
            )
        });
        let mut last = self.lines(squeeze, |kind| matches!(kind, Kind::Record | Kind::Keys));
        if self.view.far.stage == Stage::Preparing && squeeze == 0 {
            let told = format!("- {}", phrases::reach(self.digits, self.looks.row));
            let told = safe::wrap(&told, self.columns, 2);
            last.splice(0..0, told.into_iter().map(|text| Row::new(text, "")));
        }
        let mut body = top;
        if !middle.is_empty() {
            body.extend(empty(gap));
            body.extend(middle);
            body.extend(empty(gap));
        }
        body.extend(below);
        let (heading, foot) = (self.heading(), self.foot());
        let taken = heading.len() + body.len() + last.len() + foot.len();
        body.extend(empty(self.rows.saturating_sub(taken)));
        body.extend(last);
        if self.edged {
            body.iter_mut().for_each(|row| row.edges = Some(self.columns));
        }
        [heading, body, foot].concat()
    }

    /// The lines of these kinds, broken to the width, with the bar below the window's line.
    fn lines(&self, squeeze: usize, wanted: impl Fn(Kind) -> bool) -> Vec<Row> {
        let bad = self.view.far.record_bad;
        let spared = |kind| {
            SPARED.iter().any(|(from, spared)| squeeze >= *from && *spared == kind)
                && !self.view.far.keeps(kind)
        };
        let mut older = self.view.lines.iter().filter(|l| l.kind == Kind::Vehicle).count();
        let mut rows = Vec::new();
        for line in self.view.lines.iter().filter(|l| wanted(l.kind) && !spared(l.kind)) {
            if line.kind == Kind::Vehicle {
                older -= 1;
                if older > 0 && squeeze >= CUT {
                    continue;
                }
            }
            let indent = match line.kind {
                Kind::Hands
                | Kind::Do
                | Kind::Means
                | Kind::Vehicle
                | Kind::Next
                | Kind::Why
                | Kind::Detail => INDENT,
                Kind::Answer => 5,
                _ => 2,
            };
            let code = match line.kind {
                Kind::Record if bad => code(Kind::Remark, line.window),
                kind => code(kind, line.window),
            };
            let wrap = line.kind.wrap();
            let brief = (line.kind == Kind::Keys && squeeze >= BRIEF_KEYS)
                .then(|| self.view.far.keys_in(self.columns));
            let text = brief.flatten().unwrap_or_else(|| line.text.clone());
            let broken = cut(wrap(&text, self.columns, indent), most_rows(line.kind, squeeze));
            rows.extend(broken.into_iter().map(|text| Row::new(text, code)));
            if line.kind == Kind::Window && squeeze < NO_BAR {
                rows.extend(self.bar(code));
            }
        }
        rows
    }

    fn bar(&self, code: &'static str) -> Option<Row> {
        let (left, whole) = self.view.bar.filter(|_| !self.looks.calm)?;
        let columns = self.columns.saturating_sub(4).min(100);
        let [left, whole] = [left, whole].map(|length| usize::try_from(length.0).unwrap_or(0));
        let full = (left * columns).div_ceil(whole.max(1)).min(columns);
        let (full_mark, rest_mark) = match self.looks.ink {
            Ink::Blocks => ("█", "░"),
            Ink::Ascii => ("#", "-"),
        };
        let text = format!("  {}{}", full_mark.repeat(full), rest_mark.repeat(columns - full));
        Some(Row::new(text, code))
    }

    /// What is seen from far away: what to do where there is room, the shape with the digits, or a word.
    fn middle(&self, squeeze: usize) -> Vec<Row> {
        let mut rows = Vec::new();
        if self.roomy && squeeze < NO_GAPS {
            // What an imaginary vehicle does is news to be read from afar, as the true one's would be;
            // before the next cue it is old.
            let acting = self.view.far.stage == Stage::Acting;
            let vehicle = self.view.far.vehicle.as_ref().filter(|_| acting);
            let vehicle = vehicle.and_then(|line| self.act(&format!("Vehicle: {line}")));
            let act = || self.view.far.act.as_ref().and_then(|act| self.act(act));
            let act = vehicle.or_else(act).unwrap_or_default();
            let slack = self.act_rows().saturating_sub(act.len());
            if !act.is_empty() || self.is_in_step() {
                rows.extend(act);
                rows.extend(empty(slack));
            }
        }
        if squeeze >= NO_DIGITS {
            return rows;
        }
        let high = if squeeze < LEAST_DIGITS { self.digits } else { self.least };
        let far = &self.view.far;
        let code = code(Kind::Window, far.window);
        let drawn = match (self.view.bar, shape(far.state)) {
            (None, None) => far.word.map(|word| self.word(word, high)).unwrap_or_default(),
            (bar, shape) => {
                let figure = bar.map(|(left, _)| phrases::digits(left));
                self.digits(figure.as_deref(), shape, high)
            }
        };
        let mut drawn: Vec<_> = drawn.into_iter().map(|text| Row::new(text, code)).collect();
        if drawn.is_empty() && self.is_in_step() && squeeze < NO_GAPS {
            // A step without digits keeps their place free.
            drawn.extend(empty(high));
        }
        rows.extend(drawn);
        rows
    }

    fn is_in_step(&self) -> bool {
        matches!(self.view.far.stage, Stage::BeforeCue | Stage::Acting | Stage::Waiting)
    }

    /// What to do, in two lines of large capitals; a little smaller where it does not fit otherwise.
    fn act(&self, act: &str) -> Option<Vec<Row>> {
        let fits =
            |rows: usize| block::words(act, rows, self.columns).filter(|lines| lines.len() <= 2);
        let lines = fits(self.least).or_else(|| fits(self.least - 1))?;
        let mut rows = Vec::new();
        for line in lines {
            rows.extend(line.rows(self.looks.ink).into_iter().map(|text| Row::new(text, "1")));
            rows.extend(empty(1));
        }
        Some(rows)
    }

    /// A word alone, as large as there is room.
    fn word(&self, word: &str, high: usize) -> Vec<String> {
        let drawn = (3..=high).rev().find_map(|rows| {
            block::words(word, rows, self.columns - 2).filter(|lines| lines.len() == 1)
        });
        let rows = drawn.map(|lines| lines.iter().flat_map(|l| l.rows(self.looks.ink)).collect());
        indented(rows.unwrap_or_default(), 2)
    }

    /// The shape, the digits, and the word where there is room.
    fn digits(&self, figure: Option<&str>, shape: Option<Shape>, high: usize) -> Vec<String> {
        let ink = self.looks.ink;
        let mut parts = Vec::new();
        let figure = figure.map(|figure| figure.trim_end_matches(" s"));
        let figure_columns = figure.map_or(0, |figure| block::figure_columns(figure, high));
        let mut at = 2;
        // The shape's place stays empty where there is none: the digits keep theirs.
        if at + 2 * high + APART + figure_columns <= self.columns {
            let drawing = shape.map(|shape| block::shape(shape, high).rows(ink));
            parts.push((at, drawing.unwrap_or_default()));
            at += 2 * high + APART;
        }
        if let Some(figure) = figure {
            parts.push((at, block::figure(figure, high).rows(ink)));
            at += figure_columns.max(block::figure_columns(WIDE, high)) + 2 * APART;
        }
        if let Some(word) = self.view.far.word
            && let Some(lines) = self.word_beside(word, high, self.columns.saturating_sub(at))
        {
            parts.push((at, lines));
        }
        beside(&parts, high)
    }

    /// A word broken into as many lines as stand beside the digits.
    fn word_beside(&self, word: &str, high: usize, columns: usize) -> Option<Vec<String>> {
        (self.least..=high).rev().find_map(|rows| {
            let lines = block::words(word, rows, columns)?;
            let drawn: Vec<_> = lines.iter().map(|line| line.rows(self.looks.ink)).collect();
            let drawn = drawn.join(&String::new());
            (drawn.len() <= high).then_some(drawn)
        })
    }

    /// The banners, hatched over the whole width: large where there is room.
    fn heading(&self) -> Vec<Row> {
        let columns = if self.edged { self.columns + EDGES } else { self.columns };
        let mut rows = Vec::new();
        if self.roomy && !self.view.far.banners.is_empty() {
            let words = self.view.far.banners.join("  ");
            let drawn = block::words(&words, self.least, columns.saturating_sub(24));
            for line in drawn.filter(|lines| lines.len() == 1).unwrap_or_default() {
                let wide = line.columns();
                let rows_of = line.rows(self.looks.ink);
                rows.extend(rows_of.iter().map(|text| hatched(text, wide, columns)));
            }
        }
        for text in self.banners(columns.saturating_sub(12)) {
            rows.push(hatched(&text, text.width(), columns));
        }
        rows
    }

    /// What the banners say, each in a row; where there is little room in one row together, if need be in
    /// their first words only.
    fn banners(&self, columns: usize) -> Vec<String> {
        let lines = self.view.lines.iter().filter(|line| line.kind == Kind::Banner);
        let all: Vec<String> = lines.map(|line| safe::fit(&line.text, columns)).collect();
        if self.roomy || all.len() < 2 {
            return all;
        }
        let words = self.view.far.banners.iter().map(|word| (*word).to_owned());
        let first = all.iter().take(1).cloned().chain(words.clone().skip(1));
        let together =
            [first.collect::<Vec<_>>(), words.collect()].map(|texts| texts.join(BETWEEN));
        let fits = together.into_iter().find(|text| text.width() <= columns);
        fits.map_or(all, |text| vec![text])
    }

    fn foot(&self) -> Vec<Row> {
        let columns = if self.edged { self.columns + EDGES } else { self.columns };
        let words = self.view.far.banners.join(BETWEEN);
        if words.is_empty() { Vec::new() } else { vec![hatched(&words, words.width(), columns)] }
    }
}

/// At most so many rows of a line; that more of it is left out is shown.
fn cut(mut rows: Vec<String>, most: usize) -> Vec<String> {
    if rows.len() > most {
        rows.truncate(most);
        if let Some(last) = rows.last_mut() {
            let kept = last.width().saturating_sub(1);
            *last = format!("{}…", safe::fit(last, kept).trim_end_matches('…'));
        }
    }
    rows
}

/// A text in the middle of a hatched row.
fn hatched(text: &str, wide: usize, columns: usize) -> Row {
    let around = columns.saturating_sub(wide + 2);
    let left = around / 2;
    let fill = " ".repeat(wide.saturating_sub(text.width()));
    let text = format!("{} {text}{fill} {}", "/".repeat(left), "/".repeat(around - left));
    Row::new(text, code(Kind::Banner, Window::None))
}

fn empty(rows: usize) -> impl Iterator<Item = Row> {
    std::iter::repeat_n(Row::default(), rows)
}

fn indented(rows: Vec<String>, columns: usize) -> Vec<String> {
    rows.into_iter().map(|row| format!("{}{row}", " ".repeat(columns))).collect()
}

/// Drawings beside each other, each from its column on.
fn beside(parts: &[(usize, Vec<String>)], high: usize) -> Vec<String> {
    let row = |n: usize| {
        let mut text = String::new();
        for (at, rows) in parts {
            let drawn = rows.get(n).map_or("", String::as_str);
            if !drawn.is_empty() {
                text.push_str(&" ".repeat(at.saturating_sub(text.width())));
                text.push_str(drawn);
            }
        }
        text
    };
    (0..high).map(row).collect()
}

const fn shape(state: State) -> Option<Shape> {
    Some(match state {
        State::None => return None,
        State::Wait => Shape::Dots,
        State::Ready => Shape::Outline,
        State::Doubtful => Shape::Doubt,
        State::Now => Shape::Arrow,
        State::KeepStill => Shape::Bars,
        State::Closed => Shape::Cross,
    })
}
