//! Large characters and shapes for a view across a garage: takes a short text and a height in terminal
//! rows, gives that many rows of block characters.
//!
//! A character is a few strokes on a grid of five by seven points, drawn with a square pen onto
//! picture points that are one column wide and half a row high, so that any height can be had and
//! every stroke is equally thick. Shapes are our own. A terminal without block characters gets `#`.

use unicode_normalization::UnicodeNormalization;

/// How a drawing becomes text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ink {
    /// Block characters: two picture points a character.
    Blocks,
    /// `#` alone.
    Ascii,
}

/// What stands beside the digits: told apart by their outlines alone, from far away.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// Three dots: wait.
    Dots,
    /// The outline of an arrowhead: ready, wait for the cue.
    Outline,
    /// A question mark: ready, but not proven.
    Doubt,
    /// A filled arrowhead: now.
    Arrow,
    /// Two bars: keep still.
    Bars,
    /// A cross: closed.
    Cross,
}

/// The grid of a character, in steps between its points.
const GRID: (usize, usize) = (4, 6);

/// A drawing: picture points, row by row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Drawing {
    wide: usize,
    high: usize,
    points: Vec<bool>,
}

impl Drawing {
    fn new(wide: usize, high: usize) -> Drawing {
        Drawing { wide, high, points: vec![false; wide * high] }
    }

    fn is_set(&self, x: usize, y: usize) -> bool {
        x < self.wide && y < self.high && self.points[y * self.wide + x]
    }

    fn fill(&mut self, left: usize, top: usize, wide: usize, high: usize) {
        for y in top..(top + high).min(self.high) {
            for x in left..(left + wide).min(self.wide) {
                self.points[y * self.wide + x] = true;
            }
        }
    }

    /// Draws a line between two places of a square pen's upper left corner.
    fn stroke(&mut self, from: (usize, usize), to: (usize, usize), pen: usize) {
        let steps = from.0.abs_diff(to.0).max(from.1.abs_diff(to.1)).max(1);
        // Rounded to the nearest point: twice the numerator, half a step more.
        let between =
            |a: usize, b: usize, n: usize| (2 * (a * (steps - n) + b * n) + steps) / (2 * steps);
        for n in 0..=steps {
            self.fill(between(from.0, to.0, n), between(from.1, to.1, n), pen, pen);
        }
    }

    /// Its columns.
    #[must_use]
    pub const fn columns(&self) -> usize {
        self.wide
    }

    /// Its rows of text.
    #[must_use]
    pub fn rows(&self, ink: Ink) -> Vec<String> {
        let row = |y: usize| {
            let text: String = (0..self.wide)
                .map(|x| match (self.is_set(x, y), self.is_set(x, y + 1), ink) {
                    (false, false, _) => ' ',
                    (_, _, Ink::Ascii) => '#',
                    (true, true, Ink::Blocks) => '█',
                    (true, false, Ink::Blocks) => '▀',
                    (false, true, Ink::Blocks) => '▄',
                })
                .collect();
            text.trim_end().to_owned()
        };
        (0..self.high).step_by(2).map(row).collect()
    }
}

/// How a text is drawn: the height of its characters, their width, the pen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Cut {
    high: usize,
    wide: usize,
    pen: usize,
}

impl Cut {
    /// Figures: strong strokes, a width of about seven tenths of the height (ISO 9241-3: 0.7 to 0.9).
    fn figures(rows: usize) -> Cut {
        let high = rows * 2;
        Cut { high, wide: (high * 7).div_ceil(10), pen: rounded(high, 6).max(1) }
    }

    /// Words: narrower, so that more of them fits (never below half the height, ISO 9241-3).
    fn words(rows: usize) -> Cut {
        let high = rows * 2;
        // An odd number has a middle, which many letters need.
        Cut { high, wide: (high * 6 / 10) | 1, pen: (high / 8).max(1) }
    }

    fn gap(self) -> usize {
        self.pen.max(self.high / 7).max(1)
    }

    fn columns(self, glyph: &Glyph) -> usize {
        if glyph.narrow { self.pen } else { self.wide }
    }
}

/// A figure such as `17` or `1:05`, this many rows high; characters without strokes are left out.
#[must_use]
pub fn figure(text: &str, rows: usize) -> Drawing {
    drawn(text, Cut::figures(rows))
}

/// How many columns [`figure`] takes.
#[must_use]
pub fn figure_columns(text: &str, rows: usize) -> usize {
    columns(text, Cut::figures(rows))
}

/// A text in large capitals, this many rows high, at most so many columns wide, broken at blanks
/// into lines; `None` where a word is too wide or a character cannot be drawn. Accents are left
/// out, so the text itself must stand beside it.
#[must_use]
pub fn words(text: &str, rows: usize, most: usize) -> Option<Vec<Drawing>> {
    let cut = Cut::words(rows);
    let plain: String = text.nfd().filter(|c| !is_accent(*c)).collect();
    let plain = plain.to_uppercase();
    let mut lines = vec![String::new()];
    for word in plain.split_whitespace() {
        if columns(word, cut) > most || word.chars().any(|c| glyph(c).is_none()) {
            return None;
        }
        let line = lines.last_mut()?;
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if columns(&longer, cut) <= most {
            *line = longer;
        } else {
            lines.push(word.to_owned());
        }
    }
    Some(lines.iter().map(|line| drawn(line, cut)).collect())
}

fn is_accent(c: char) -> bool {
    ('\u{300}'..='\u{36f}').contains(&c)
}

fn columns(text: &str, cut: Cut) -> usize {
    let wide: usize = glyphs(text).map(|glyph| cut.columns(&glyph) + cut.gap()).sum();
    wide.saturating_sub(cut.gap())
}

fn glyphs(text: &str) -> impl Iterator<Item = Glyph> {
    text.chars().filter_map(glyph)
}

fn drawn(text: &str, cut: Cut) -> Drawing {
    let mut drawing = Drawing::new(columns(text, cut), cut.high);
    let mut left = 0;
    for glyph in glyphs(text) {
        let (wide, high) = (cut.columns(&glyph) - cut.pen, cut.high - cut.pen);
        let place = |(x, y): (usize, usize)| {
            let x = if glyph.narrow { 0 } else { rounded(x * wide, GRID.0) };
            (left + x, rounded(y * high, GRID.1))
        };
        for line in glyph.strokes.split('/') {
            let points: Vec<_> = line.split(' ').filter_map(point).collect();
            for pair in points.windows(2) {
                drawing.stroke(place(pair[0]), place(pair[1]), cut.pen);
            }
        }
        left += cut.columns(&glyph) + cut.gap();
    }
    drawing
}

fn rounded(n: usize, by: usize) -> usize {
    (2 * n + by) / (2 * by)
}

/// A shape, this many rows high and about as wide as high.
#[must_use]
pub fn shape(shape: Shape, rows: usize) -> Drawing {
    let side = rows * 2;
    let mut drawing = Drawing::new(side, side);
    match shape {
        Shape::Dots => {
            let dot = (side / 5).max(1);
            for n in 0..3 {
                drawing.fill(n * (side - dot) / 2, (side - dot) / 2, dot, dot);
            }
        }
        Shape::Outline => {
            let pen = (side / 8).max(1);
            for y in 0..side {
                let from_edge = y.min(side - 1 - y);
                let length = (2 * from_edge + 2).min(side);
                drawing.fill(0, y, pen.min(length), 1);
                drawing.fill(length.saturating_sub(2 * pen), y, (2 * pen).min(length), 1);
            }
        }
        Shape::Doubt => {
            let pen = (side / 6).max(1);
            return drawn("?", Cut { high: side, wide: side, pen });
        }
        Shape::Arrow => {
            for y in 0..side {
                let from_edge = y.min(side - 1 - y);
                drawing.fill(0, y, (2 * from_edge + 2).min(side), 1);
            }
        }
        Shape::Bars => {
            let bar = (side / 3).max(1);
            drawing.fill(0, 0, bar, side);
            drawing.fill(side - bar, 0, bar, side);
        }
        Shape::Cross => {
            let pen = (side / 4).max(1);
            let far = side - pen;
            drawing.stroke((0, 0), (far, far), pen);
            drawing.stroke((far, 0), (0, far), pen);
        }
    }
    drawing
}

/// A character's strokes: lines through points, each `xy`, parted by `/`.
#[derive(Clone, Copy, Debug)]
struct Glyph {
    strokes: &'static str,
    /// As wide as the pen.
    narrow: bool,
}

fn glyph(c: char) -> Option<Glyph> {
    let narrow = matches!(c, ':' | '.' | '!' | '\'');
    Some(Glyph { strokes: strokes(c)?, narrow })
}

fn point(text: &str) -> Option<(usize, usize)> {
    let mut digits = text.chars().filter_map(|c| c.to_digit(10)).map(|n| n as usize);
    Some((digits.next()?, digits.next()?))
}

const fn strokes(c: char) -> Option<&'static str> {
    Some(match c {
        '0' => "00 40 46 06 00",
        '1' => "11 20 26/16 36",
        '2' => "00 40 43 03 06 46",
        '3' => "00 40 46 06/13 43",
        '4' => "00 03 43/40 46",
        '5' => "40 00 03 43 46 06",
        '6' => "40 00 06 46 43 03",
        '7' => "00 40 41 23 26",
        '8' => "00 40 46 06 00/03 43",
        '9' => "43 03 00 40 46 06",
        'A' => "06 02 20 42 46/04 44",
        'B' => "00 06 36 45 44 33 03/00 30 41 42 33",
        'C' => "41 30 10 01 05 16 36 45",
        'D' => "00 06 36 45 41 30 00",
        'E' => "40 00 06 46/03 33",
        'F' => "40 00 06/03 33",
        'G' => "41 30 10 01 05 16 36 45 43 23",
        'H' => "00 06/40 46/03 43",
        'I' => "10 30/20 26/16 36",
        'J' => "20 40/30 35 26 16 05 04",
        'K' => "00 06/40 03 46",
        'L' => "00 06 46",
        'M' => "06 00 23 40 46",
        'N' => "06 00 46 40",
        'O' => "10 30 41 45 36 16 05 01 10",
        'P' => "06 00 30 41 42 33 03",
        'Q' => "10 30 41 45 36 16 05 01 10/34 46",
        'R' => "06 00 30 41 42 33 03/23 46",
        'S' => "41 30 10 01 02 13 33 44 45 36 16 05",
        'T' => "00 40/20 26",
        'U' => "00 05 16 36 45 40",
        'V' => "00 02 26 42 40",
        'W' => "00 06 23 46 40",
        'X' => "00 46/40 06",
        'Y' => "00 23 40/23 26",
        'Z' => "00 40 06 46",
        ' ' => "",
        ':' => "02 02/04 04",
        '.' => "06 06",
        '!' => "00 04/06 06",
        '\'' => "00 01",
        ',' => "15 06",
        '-' => "13 33",
        '/' => "40 06",
        '(' => "30 11 15 36",
        ')' => "10 31 35 16",
        '"' => "10 11/30 31",
        '?' => "01 10 30 41 42 24/26 26",
        '+' => "03 43/21 25",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const CHARACTERS: &str = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ:.!',-/()\"?+";
    const SHAPES: [Shape; 6] =
        [Shape::Dots, Shape::Outline, Shape::Doubt, Shape::Arrow, Shape::Bars, Shape::Cross];

    /// Picture points in which two drawings differ; those that only one has count.
    fn differ(one: &Drawing, other: &Drawing) -> usize {
        let (wide, high) = (one.wide.max(other.wide), one.high.max(other.high));
        (0..high)
            .flat_map(|y| (0..wide).map(move |x| (x, y)))
            .filter(|(x, y)| one.is_set(*x, *y) != other.is_set(*x, *y))
            .count()
    }

    #[test]
    fn no_two_digits_and_no_two_shapes_look_alike_at_any_height() {
        for rows in 3..=20 {
            let digits: Vec<_> =
                ('0'..='9').map(|digit| figure(&digit.to_string(), rows)).collect();
            let shapes: Vec<_> = SHAPES.iter().map(|which| shape(*which, rows)).collect();
            // A stroke that one has and the other lacks, not a stray point.
            let least = (rows * 2 / 6).max(1) * (rows / 2);
            for all in [&digits, &shapes] {
                for (n, one) in all.iter().enumerate() {
                    for other in &all[..n] {
                        assert!(differ(one, other) >= least, "{rows} rows: {one:?} {other:?}");
                    }
                }
            }
        }
    }

    #[test]
    fn every_character_fills_its_height_or_is_a_mark_and_stays_in_its_box() {
        for c in CHARACTERS.chars() {
            for line in strokes(c).expect("it has strokes").split('/') {
                for (x, y) in line.split(' ').filter_map(point) {
                    assert!(x <= GRID.0 && y <= GRID.1, "{c}");
                }
            }
            for rows in 4..=12 {
                let drawing = drawn(&c.to_string(), Cut::words(rows));
                assert_eq!(drawing.rows(Ink::Blocks).len(), rows, "{c}");
                let full = drawing.is_set_in_row(0) && drawing.is_set_in_row(rows * 2 - 1);
                assert!(full || c.is_ascii_punctuation(), "{c} at {rows} rows");
            }
        }
    }

    impl Drawing {
        fn is_set_in_row(&self, y: usize) -> bool {
            (0..self.wide).any(|x| self.is_set(x, y))
        }
    }

    /// ISO 9241-3: width to height 0.7 to 0.9 where there is room, never outside 0.5 to 1. A picture
    /// point is taken for a square, which it is where a cell is twice as high as wide.
    #[test]
    fn characters_are_neither_narrow_nor_broad() {
        for rows in 3..=20 {
            let (figures, words) = (Cut::figures(rows), Cut::words(rows));
            assert!(figures.wide * 10 >= figures.high * 7, "{rows}");
            assert!(figures.wide * 10 <= figures.high * 9, "{rows}");
            assert!(words.wide * 10 >= words.high * 5 && words.wide <= words.high, "{rows}");
        }
    }

    #[test]
    fn a_text_is_broken_at_blanks_and_refused_where_it_cannot_be_drawn() {
        let lines = words("Hold the key", 5, 40).expect("drawn");
        assert_eq!(lines.len(), 3);
        assert!(lines.iter().all(|line| line.columns() <= 40));
        assert_eq!(words("Zündung", 5, 80), words("ZUNDUNG", 5, 80));
        assert_eq!(words("鍵", 5, 80), None);
        assert_eq!(words("Extraordinarily", 5, 40), None);
    }
}
