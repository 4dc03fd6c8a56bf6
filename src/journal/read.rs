//! Reads a record back: takes any bytes, whole, cut off or hostile; gives the entries in them and
//! an account of what was lost. Never fails, never panics.
//!
//! A record may come from anywhere, so nothing in it is believed that does not check: lengths are
//! limited, every line's checksum, number and link are compared, unknown members are passed over,
//! unknown kinds are kept as unknown. Texts are given back as they stand: whoever shows them must
//! still take the control characters out.

use std::fmt;

use serde::Deserialize;
use serde_json::{Map, Value};

use super::entry::{Body, Header, VERSION};
use super::lines::{Opened, Said, fold};
use super::write::Link;
use crate::clock::Moment;

/// After this many faults the rest is not read: it is no record, and the account would not end.
pub const MOST_FAULTS: usize = 1000;
/// Not more commas, colons and brackets than this are read, so that a small file cannot ask for
/// much memory (one comma may cost 32 bytes and more). A run of 300,000 entries stays below.
pub const MOST_MARKS: usize = 4_000_000;

/// What a file holds, as far as the reader opens its lines: [`read`] all of it,
/// [`brief`](super::brief::brief) what is counted.
#[derive(Clone, Debug)]
pub struct ReadBack<B = Kept> {
    /// Line 1, if it is there and sound.
    pub header: Option<Header>,
    /// The entries behind the header whose lines are whole, in the file's order.
    pub entries: Vec<Entry<B>>,
    /// How many of `entries` come before the first fault. What comes later may be true too, but
    /// something between is missing.
    pub certain: usize,
    /// What was lost or does not fit, in the file's order.
    pub faults: Vec<Fault>,
    /// The link behind the last line, an unfinished one counted as if it were ended.
    pub link: Link,
    /// Bytes of an unfinished last line; 0 when the file ends in a newline or is empty.
    pub torn: usize,
}

/// One entry as read.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry<B = Kept> {
    /// Its line in the file, from 1.
    pub line: u64,
    /// When it happened.
    pub at: Moment,
    /// What it says.
    pub body: B,
}

/// What an entry says, as far as this version understands it.
#[derive(Clone, Debug, PartialEq)]
pub enum Kept {
    /// A kind and a shape that this version knows.
    Known(Body),
    /// Another kind, or a known kind in another shape: kept, to be shown as unknown.
    Unknown {
        /// The kind it calls itself.
        kind: String,
        /// Its members.
        fields: Map<String, Value>,
    },
}

/// One thing that was lost or does not fit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The line in the file, from 1.
    pub line: u64,
    /// Where the line begins, in bytes.
    pub offset: usize,
    /// How long it is, newline not counted.
    pub bytes: usize,
    /// What is wrong with it.
    pub why: Why,
}

/// What is wrong with a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Why {
    /// The file ends in the middle of it. The line is lost.
    Unfinished,
    /// A torn line that was ended when the record was taken up again. The line is lost.
    Ended,
    /// Its checksum is missing or another one. The line is lost.
    Checksum,
    /// Longer than any line that is written; the limit in bytes. The line is lost.
    TooLong(usize),
    /// Sound bytes, but not an object with `seq`, `at` and `kind`. The line is lost.
    NotAnEntry,
    /// Line 1 is no header, or not of this format. The line is lost.
    NoHeader,
    /// A header behind line 1. The line is lost.
    HeaderAgain,
    /// It carries another number than its place. The line is kept.
    Sequence {
        /// The number of its place.
        expected: u64,
        /// The number it carries.
        found: u64,
    },
    /// It was not written behind the line that stands before it. The line is kept.
    Chain,
    /// A script file in the header is not the one that its hash names. The line is kept.
    ScriptHash(String),
    /// From here on nothing is read: too many faults, too much to hold, or over 256 MiB.
    GivenUp,
}

/// The sentence a person sees.
impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Fault { line, offset, bytes, why } = self;
        match why {
            Why::Unfinished => write!(f, "1 unfinished line, {bytes} bytes"),
            Why::Ended => write!(f, "1 unfinished line, {bytes} bytes, ended later as line {line}"),
            Why::Checksum => write!(f, "line {line} is damaged: {bytes} bytes at byte {offset}"),
            Why::TooLong(limit) => {
                write!(f, "line {line} has {bytes} bytes, where {limit} are allowed: not read")
            }
            Why::NotAnEntry => write!(f, "line {line} is no entry of a record"),
            Why::NoHeader => write!(f, "line 1 is not the header of a record"),
            Why::HeaderAgain => write!(f, "line {line} is a second header: passed over"),
            Why::Sequence { expected, found } if found > expected => match found - expected {
                1 => write!(f, "1 line is missing before line {line}"),
                n => write!(f, "{n} lines are missing before line {line}"),
            },
            Why::Sequence { expected, found } => {
                write!(f, "line {line} says it is number {found}, where {expected} belongs")
            }
            Why::Chain => {
                write!(f, "line {line} was written behind another line than the one before it")
            }
            Why::ScriptHash(name) => {
                write!(f, "the script file {name:?} in the header is not the one its hash names")
            }
            Why::GivenUp => write!(f, "nothing is read from line {line} on: {bytes} bytes"),
        }
    }
}

impl ReadBack {
    /// The entries before the first fault.
    #[must_use]
    pub fn certain_entries(&self) -> &[Entry] {
        self.entries.get(..self.certain).unwrap_or(&self.entries)
    }

    /// The bodies that this version knows, with their moments, in the file's order.
    pub fn known(&self) -> impl Iterator<Item = (Moment, &Body)> {
        self.entries.iter().filter_map(|entry| match &entry.body {
            Kept::Known(body) => Some((entry.at, body)),
            Kept::Unknown { .. } => None,
        })
    }

    /// Whether the run neither reached an ending nor was taken up by a later one.
    #[must_use]
    pub fn is_unfinished(&self) -> bool {
        // A program that was killed between the two told of the ending and wrote no last line.
        !self.is_closed() && !self.known().any(|(_, body)| tells_of_an_ending(body))
    }

    /// Whether the last line of a record is there: nothing more was to be written.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        self.known().any(|(_, body)| matches!(body, Body::End { .. } | Body::Continued { .. }))
    }

    /// Whether a later version of the form was written than this tool knows. What it does know is
    /// shown; its inputs must not be run again through this guide.
    #[must_use]
    pub fn is_newer(&self) -> bool {
        self.header.as_ref().is_some_and(|header| header.version > VERSION)
    }
}

fn tells_of_an_ending(body: &Body) -> bool {
    matches!(body, Body::Effect { what } if what.get("effect").is_some_and(|name| name == "ended"))
}

/// Reads a record, or the beginning of one, or anything else.
#[must_use]
pub fn read(bytes: &[u8]) -> ReadBack {
    fold(bytes, open)
}

/// Opens a line of any form.
pub(super) fn open(line: &[u8]) -> Result<Opened<'_, Kept>, Why> {
    // serde_json stops at a depth of 128 by itself.
    let mut fields: Map<String, Value> =
        serde_json::from_slice(line).map_err(|_| Why::NotAnEntry)?;
    fields.remove("crc");
    let seq = fields.remove("seq").and_then(|seq| seq.as_u64()).ok_or(Why::NotAnEntry)?;
    let at = fields.remove("at").and_then(|at| at.as_i64()).ok_or(Why::NotAnEntry)?;
    let prev = match fields.remove("prev") {
        Some(Value::String(prev)) => prev.into_bytes().into(),
        _ => return Err(Why::NotAnEntry),
    };
    let kind = fields.get("kind").and_then(Value::as_str).ok_or(Why::NotAnEntry)?.to_owned();
    let said = match Body::deserialize(&fields) {
        Ok(Body::Header(header)) => Said::Header(header),
        Ok(known) => Said::Entry(Kept::Known(known)),
        Err(_) => {
            fields.remove("kind");
            Said::Entry(Kept::Unknown { kind, fields })
        }
    };
    Ok(Opened { seq, at, prev, said })
}
