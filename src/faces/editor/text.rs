//! A document as an editor sees it: takes its text and changes to it, gives byte places for the
//! editor's positions and back.
//!
//! An editor counts lines from 0 and columns in the unit that was agreed on; a line ends with CR LF, LF
//! or CR (Language Server Protocol 3.17, *Text Documents*). A position behind a line's end is its end, a
//! position inside a character is its beginning: no position is wrong.

use lsp_types::{Position, PositionEncodingKind, Range};

/// The unit of columns.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Unit {
    /// Bytes.
    Utf8,
    /// 16-bit units, what every editor can.
    #[default]
    Utf16,
    /// Characters.
    Utf32,
}

impl Unit {
    /// The cheapest of what an editor offers; 16-bit units where it says nothing.
    #[must_use]
    pub fn agreed(offered: &[PositionEncodingKind]) -> Unit {
        [Unit::Utf8, Unit::Utf16, Unit::Utf32]
            .into_iter()
            .find(|unit| offered.contains(&unit.kind()))
            .unwrap_or_default()
    }

    /// As the protocol names it.
    #[must_use]
    pub fn kind(self) -> PositionEncodingKind {
        match self {
            Unit::Utf8 => PositionEncodingKind::UTF8,
            Unit::Utf16 => PositionEncodingKind::UTF16,
            Unit::Utf32 => PositionEncodingKind::UTF32,
        }
    }

    fn width(self, c: char) -> usize {
        match self {
            Unit::Utf8 => c.len_utf8(),
            Unit::Utf16 => c.len_utf16(),
            Unit::Utf32 => 1,
        }
    }
}

/// A text with the beginnings of its lines.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Text {
    text: String,
    starts: Vec<usize>,
}

impl Text {
    /// Wraps a text.
    #[must_use]
    pub fn new(text: impl Into<String>) -> Text {
        let text = text.into();
        let bytes = text.as_bytes();
        let ends = bytes.iter().enumerate().filter(|(at, byte)| match byte {
            b'\n' => true,
            b'\r' => bytes.get(at + 1) != Some(&b'\n'),
            _ => false,
        });
        let starts = std::iter::once(0).chain(ends.map(|(at, _)| at + 1)).collect();
        Text { text, starts }
    }

    /// The whole text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.text
    }

    /// First and one-past-last byte of a line without its end; the text's end behind the last line.
    #[must_use]
    pub fn line(&self, line: usize) -> (usize, usize) {
        let Some(start) = self.starts.get(line).copied() else {
            return (self.text.len(), self.text.len());
        };
        let next = self.starts.get(line + 1).copied().unwrap_or(self.text.len());
        let whole = &self.text[start..next];
        (start, start + whole.trim_end_matches(['\r', '\n']).len())
    }

    /// The number of the line that holds a byte, from 0.
    #[must_use]
    pub fn line_of(&self, byte: usize) -> usize {
        self.starts.partition_point(|start| *start <= byte).saturating_sub(1)
    }

    /// The byte of a position.
    #[must_use]
    pub fn byte(&self, position: Position, unit: Unit) -> usize {
        let (start, end) = self.line(position.line as usize);
        let (mut at, mut left) = (start, position.character as usize);
        for c in self.text[start..end].chars() {
            let width = unit.width(c);
            if width > left {
                break;
            }
            left -= width;
            at += c.len_utf8();
        }
        at
    }

    /// The position of a byte; inside a character it is that character's.
    #[must_use]
    pub fn position(&self, byte: usize, unit: Unit) -> Position {
        let mut byte = byte.min(self.text.len());
        while !self.text.is_char_boundary(byte) {
            byte -= 1;
        }
        let line = self.line_of(byte);
        let column = self.text[self.starts[line]..byte].chars().map(|c| unit.width(c)).sum();
        Position::new(small(line), small(column))
    }

    /// The range between two bytes.
    #[must_use]
    pub fn range(&self, start: usize, end: usize, unit: Unit) -> Range {
        Range::new(self.position(start, unit), self.position(end, unit))
    }

    /// Puts a text in the place of a range. Ends that stand the wrong way round are turned.
    pub fn replace(&mut self, range: Range, unit: Unit, new: &str) {
        let (one, other) = (self.byte(range.start, unit), self.byte(range.end, unit));
        let mut text = std::mem::take(&mut self.text);
        text.replace_range(one.min(other)..one.max(other), new);
        *self = Text::new(text);
    }
}

/// The protocol's numbers have 32 bits.
fn small(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    const UNITS: [Unit; 3] = [Unit::Utf8, Unit::Utf16, Unit::Utf32];

    #[test]
    fn every_character_has_a_position_that_leads_back() {
        let text = Text::new("a\r\nzwölf 🔑 °C\rx\n\n鍵");
        for unit in UNITS {
            for (byte, c) in text.as_str().char_indices() {
                let back = text.byte(text.position(byte, unit), unit);
                // The second half of a line's end has no position of its own.
                let wanted = if c == '\n' && text.as_str()[..byte].ends_with('\r') {
                    byte - 1
                } else {
                    byte
                };
                assert_eq!(back, wanted, "{unit:?} {c:?}");
            }
        }
        let end = text.as_str().len();
        assert_eq!(text.byte(Position::new(4, 1), Unit::Utf16), end);
    }

    #[test]
    fn columns_are_counted_in_the_agreed_unit() {
        let text = Text::new("🔑é x");
        let x = text.as_str().find('x').unwrap();
        let columns = UNITS.map(|unit| text.position(x, unit).character);
        assert_eq!(columns, [7, 4, 3]);
        assert_eq!(text.byte(Position::new(0, 1), Unit::Utf16), 0, "inside the key");
    }

    #[test]
    fn no_position_is_wrong() {
        let mut text = Text::new("ab\ncd");
        for unit in UNITS {
            assert_eq!(text.byte(Position::new(0, 99), unit), 2);
            assert_eq!(text.byte(Position::new(99, 0), unit), 5);
            assert_eq!(text.byte(Position::new(u32::MAX, u32::MAX), unit), 5);
        }
        let turned = Range::new(Position::new(1, 1), Position::new(0, 1));
        text.replace(turned, Unit::Utf16, "é\n");
        assert_eq!(text.as_str(), "aé\nd");
    }
}
