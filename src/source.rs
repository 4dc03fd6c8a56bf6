//! A script's name and text, byte places in it, and the line and column that a person counts.
//!
//! Takes a text that was read elsewhere; gives [`Source`], [`SourceMap`] (a script and the files
//! it uses) and [`Place`] (a file and a byte range). Knows nothing of what the text means.

use std::fmt;

/// Which file of a [`SourceMap`]. The script itself is file 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FileId(pub u32);

/// A byte range in one file, `start ≤ end`, end excluded, both on character boundaries.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// The file that holds it.
    pub file: FileId,
    /// First byte.
    pub start: u32,
    /// One past the last byte.
    pub end: u32,
}

impl Place {
    /// The smallest place that covers both. Both are in one file.
    #[must_use]
    pub fn to(self, other: Place) -> Place {
        Place { file: self.file, start: self.start.min(other.start), end: self.end.max(other.end) }
    }
}

/// Line and column as a person counts them: both from 1, the column in characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LineCol {
    /// Line, from 1.
    pub line: u32,
    /// Column in characters, from 1.
    pub col: u32,
}

impl fmt::Display for LineCol {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.line, self.col)
    }
}

/// One file's name as the person gave it, its text, and where its lines begin.
#[derive(Clone, Debug)]
pub struct Source {
    name: String,
    text: String,
    line_starts: Vec<u32>,
}

impl Source {
    /// Wraps a text of at most `u32::MAX` bytes (the reader's limit is far below).
    #[must_use]
    pub fn new(name: impl Into<String>, text: impl Into<String>) -> Source {
        let text = text.into();
        let bytes = text.as_bytes();
        // LF, CR LF and a lone CR end a line.
        let breaks = bytes.iter().enumerate().filter(|(i, b)| match b {
            b'\n' => true,
            b'\r' => bytes.get(i + 1) != Some(&b'\n'),
            _ => false,
        });
        let line_starts = std::iter::once(0)
            .chain(breaks.map(|(i, _)| u32::try_from(i + 1).unwrap_or(u32::MAX)))
            .collect();
        Source { name: name.into(), text, line_starts }
    }

    /// The name to show, as the person gave it.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The whole text.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Line and column of a byte place; a place past the end is the end.
    #[must_use]
    pub fn line_col(&self, byte: u32) -> LineCol {
        let line = self.line_starts.partition_point(|start| *start <= byte).max(1);
        let start = self.line_starts[line - 1] as usize;
        let end = (byte as usize).clamp(start, self.text.len());
        // A byte order mark before a line is no character that a person counts.
        let before = self.text.get(start..end).unwrap_or("").trim_start_matches('\u{feff}');
        let col = before.chars().count() + 1;
        LineCol {
            line: u32::try_from(line).unwrap_or(u32::MAX),
            col: u32::try_from(col).unwrap_or(u32::MAX),
        }
    }
}

/// A script and the files it uses, in the order in which they were read.
#[derive(Clone, Debug, Default)]
pub struct SourceMap {
    files: Vec<Source>,
}

impl SourceMap {
    /// Adds a file and gives its number.
    pub fn add(&mut self, source: Source) -> FileId {
        self.files.push(source);
        FileId(u32::try_from(self.files.len() - 1).unwrap_or(u32::MAX))
    }

    /// The file with this number, if it is one of ours.
    #[must_use]
    pub fn get(&self, file: FileId) -> Option<&Source> {
        self.files.get(file.0 as usize)
    }

    /// All files with their numbers.
    pub fn files(&self) -> impl Iterator<Item = (FileId, &Source)> {
        self.files.iter().enumerate().map(|(i, f)| (FileId(u32::try_from(i).unwrap_or(0)), f))
    }

    /// The text of a place, empty if the place is not ours.
    #[must_use]
    pub fn slice(&self, place: Place) -> &str {
        self.get(place.file)
            .and_then(|f| f.text.get(place.start as usize..place.end as usize))
            .unwrap_or("")
    }

    /// Line and column of a place's first byte.
    #[must_use]
    pub fn line_col(&self, place: Place) -> LineCol {
        self.get(place.file).map_or(LineCol { line: 1, col: 1 }, |file| file.line_col(place.start))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_ending_counts_once() {
        let source = Source::new("a.bell", "\u{feff}one\r\ntwo\rthree\n");
        assert_eq!(source.line_col(3), LineCol { line: 1, col: 1 });
        let two = u32::try_from(source.text().find("two").unwrap()).unwrap();
        assert_eq!(source.line_col(two), LineCol { line: 2, col: 1 });
        assert_eq!(source.line_col(two + 4), LineCol { line: 3, col: 1 });
    }

    #[test]
    fn lines_and_columns_count_characters_from_one() {
        let source = Source::new("a.bell", "first\nzwölf °C\n");
        assert_eq!(source.line_col(0), LineCol { line: 1, col: 1 });
        assert_eq!(source.line_col(5), LineCol { line: 1, col: 6 });
        assert_eq!(source.line_col(6), LineCol { line: 2, col: 1 });
        let degree = u32::try_from(source.text().find('°').unwrap()).unwrap();
        assert_eq!(source.line_col(degree), LineCol { line: 2, col: 7 });
        assert_eq!(source.line_col(9999).line, 3);
    }
}
