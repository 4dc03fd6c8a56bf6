//! The fold over the lines of a record: takes any bytes and how one sound line is opened, gives what the
//! lines say and an account of what was lost. How much a reader wants of a line is its own matter; what
//! counts as damage is the same for all of them.

use std::borrow::Cow;

use super::entry::{FORMAT, HEADER_LIMIT, Header, LINE_LIMIT, RECORD_LIMIT};
use super::read::{Entry, Fault, MOST_FAULTS, MOST_MARKS, ReadBack, Why};
use super::write::{Link, is_sound};
use super::{sha256_digits, sha256_hex};
use crate::clock::Moment;

/// A sound line, not yet compared with its place.
pub(super) struct Opened<'a, B> {
    pub(super) seq: u64,
    pub(super) at: i64,
    pub(super) prev: Cow<'a, [u8]>,
    pub(super) said: Said<B>,
}

/// What a line says.
pub(super) enum Said<B> {
    /// It is a header.
    Header(Box<Header>),
    /// It is any other line.
    Entry(B),
}

/// Reads a record, or the beginning of one, or anything else. `open` takes a line apart whose checksum
/// is right; it may only say [`Why::NotAnEntry`].
pub(super) fn fold<B>(
    bytes: &[u8],
    open: impl Fn(&[u8]) -> Result<Opened<'_, B>, Why>,
) -> ReadBack<B> {
    let mut reader = Reader::new(open, bytes.len() > MOST_MARKS);
    // Lines have some three hundred bytes; a guess, so that a usual record is given room once.
    reader.back.entries.reserve((bytes.len() / 256).min(1024));
    let mut offset = 0;
    while offset < bytes.len() {
        let rest = &bytes[offset..];
        let end = memchr::memchr(b'\n', rest);
        let line = &rest[..end.unwrap_or(rest.len())];
        if reader.gives_up(offset, line) {
            reader.fault(offset, rest.len(), Why::GivenUp);
            break;
        }
        match end {
            Some(end) => reader.take(offset, line, &rest[..=end]),
            None => reader.take_torn(offset, line),
        }
        offset += line.len() + 1;
    }
    reader.done()
}

struct Reader<B, O> {
    open: O,
    back: ReadBack<B>,
    /// The number that the next line should have.
    seq: u64,
    /// The hash of the line before.
    prev: [u8; 64],
    /// The line being read, from 1; another number than its `seq` where lines are missing.
    line: u64,
    /// Whether there are enough bytes for too many marks.
    may_be_crowded: bool,
    marks: usize,
    last_was_lost: bool,
}

impl<B, O: Fn(&[u8]) -> Result<Opened<'_, B>, Why>> Reader<B, O> {
    fn new(open: O, may_be_crowded: bool) -> Reader<B, O> {
        let back = ReadBack {
            header: None,
            entries: Vec::new(),
            certain: 0,
            faults: Vec::new(),
            link: Link::first(),
            torn: 0,
        };
        let prev = [b'0'; 64];
        let (seq, line, marks) = (1, 1, 0);
        Reader { open, back, seq, prev, line, may_be_crowded, marks, last_was_lost: false }
    }

    fn done(mut self) -> ReadBack<B> {
        let prev = self.prev.into_iter().map(char::from).collect();
        self.back.link = Link { seq: self.seq, prev };
        self.back
    }

    fn gives_up(&mut self, offset: usize, line: &[u8]) -> bool {
        if self.may_be_crowded {
            self.marks = self.marks.saturating_add(marks(line));
        }
        let end = offset.saturating_add(line.len()) as u64;
        self.marks > MOST_MARKS || end > RECORD_LIMIT || self.back.faults.len() >= MOST_FAULTS
    }

    fn fault(&mut self, offset: usize, bytes: usize, why: Why) {
        self.back.faults.push(Fault { line: self.line, offset, bytes, why });
    }

    fn take_torn(&mut self, offset: usize, line: &[u8]) {
        self.fault(offset, line.len(), Why::Unfinished);
        self.back.torn = line.len();
        let mut ended = line.to_vec();
        ended.push(b'\n');
        self.follow(self.seq, &ended);
    }

    /// The next line is to follow this one, which has its newline and this number.
    fn follow(&mut self, seq: u64, whole: &[u8]) {
        self.seq = seq.saturating_add(1);
        self.prev = sha256_digits(whole);
    }

    /// One line, `line` without and `whole` with its newline.
    fn take(&mut self, offset: usize, line: &[u8], whole: &[u8]) {
        let limit = if self.line == 1 { HEADER_LIMIT } else { LINE_LIMIT };
        // The checksum before anything else, so that damage is never mistaken for another form.
        let opened = match whole.len() > limit {
            true => Err(Why::TooLong(limit)),
            false if !is_sound(line) => Err(Why::Checksum),
            false => (self.open)(line),
        };
        // The lines after this one are numbered behind it, whatever is missing before it.
        let seq = opened.as_ref().map_or(self.seq, |opened| opened.seq);
        let kept = opened.and_then(|opened| self.keep(offset, line, opened));
        self.last_was_lost = kept.is_err();
        if let Err(why) = kept {
            self.fault(offset, line.len(), why);
        }
        if self.back.faults.is_empty() {
            self.back.certain = self.back.entries.len();
        }
        self.follow(seq, whole);
        self.line += 1;
    }

    /// Compares a sound line with its place and keeps it.
    fn keep(&mut self, offset: usize, line: &[u8], opened: Opened<B>) -> Result<(), Why> {
        match (self.line, &opened.said) {
            (1, Said::Entry(_)) => return Err(Why::NoHeader),
            (2.., Said::Header(_)) => return Err(Why::HeaderAgain),
            _ => {}
        }
        let expected = self.seq;
        let follows = *opened.prev == self.prev;
        if opened.seq != expected {
            self.fault(offset, line.len(), Why::Sequence { expected, found: opened.seq });
        } else if self.last_was_lost {
            self.judge_lost(follows);
        } else if !follows {
            self.fault(offset, line.len(), Why::Chain);
        }
        match opened.said {
            Said::Header(header) => self.keep_header(offset, line, *header),
            Said::Entry(body) => {
                self.back.entries.push(Entry { line: self.line, at: Moment(opened.at), body });
                Ok(())
            }
        }
    }

    /// The line before was lost. Where this one was written behind it as it stands now, it was
    /// torn and then ended; else it was whole once.
    fn judge_lost(&mut self, follows: bool) {
        if let Some(fault) = self.back.faults.last_mut()
            && fault.why == Why::Checksum
            && follows
        {
            fault.why = Why::Ended;
        }
    }

    fn keep_header(&mut self, offset: usize, line: &[u8], header: Header) -> Result<(), Why> {
        if header.format != FORMAT {
            return Err(Why::NoHeader);
        }
        for file in &header.files {
            if file.sha256 != sha256_hex(file.text.as_bytes()) {
                self.fault(offset, line.len(), Why::ScriptHash(file.name.clone()));
            }
        }
        self.back.header = Some(header);
        Ok(())
    }
}

/// How many commas, colons and brackets a line has. Counted in bytes and without a branch, so that many
/// are looked at at once.
fn marks(line: &[u8]) -> usize {
    let mark = |byte: &u8| {
        u8::from(*byte == b',')
            + u8::from(*byte == b':')
            + u8::from(*byte == b'[')
            + u8::from(*byte == b'{')
    };
    let few = |bytes: &[u8]| usize::from(bytes.iter().map(mark).sum::<u8>());
    line.chunks(usize::from(u8::MAX)).map(few).sum()
}
