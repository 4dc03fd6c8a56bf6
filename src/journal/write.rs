//! Frames entries into lines: takes a moment and a body, gives the bytes of one line and the link
//! that the next line hangs on. Touches no disk.
//!
//! # The form of a record, exactly
//!
//! A record is UTF-8 text. Each line is one JSON object without line breaks in it, ended by one
//! newline (`\n`). Its members are `seq`, `at`, `kind`, then those of the kind, then `prev` and
//! `crc`, and these two are always the last:
//!
//! ```text
//! {"seq":2,"at":0,"kind":"note","text":"…","prev":"<64 hex digits>","crc":"<8 hex digits>"}
//! ```
//!
//! * `seq` is the line's number in the file, from 1.
//! * `prev` is the SHA-256 of the whole line before, newline included, in lower-case hex; in line 1
//!   it is sixty-four zeros. So each line vouches for all before it, and the hash of the last line
//!   stands for the whole record.
//! * `crc` is the CRC-32C (Castagnoli) of the line's bytes from its `{` up to, and not including,
//!   the text `,"crc":"`, in eight lower-case hex digits. It tells a torn or rotten line.
//! * A torn last line is never cut off when a record is taken up again: it is ended with a newline
//!   and stays. It counts as a line for `seq` and for `prev`.
//!
//! Anyone can audit the chain with two common tools:
//!
//! ```text
//! want=$(printf '%064d' 0)
//! while IFS= read -r line; do
//!   [ "$(printf '%s' "$line" | jq -r .prev)" = "$want" ] || echo "broken before: $line"
//!   want=$(printf '%s\n' "$line" | sha256sum | cut -c1-64)
//! done < RECORD
//! ```

use std::fmt;

use serde::Serialize;

use super::entry::{Body, HEADER_LIMIT, LINE_LIMIT};
use super::{sha256_hex, write_hex};
use crate::clock::Moment;

/// The text before a line's checksum.
const CRC_MARK: &str = r#","crc":""#;
/// Bytes from the mark to the newline, newline excluded: the mark, eight digits, `"}`.
pub(super) const CRC_TAIL: usize = CRC_MARK.len() + 8 + 2;

/// Where the next line hangs on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Link {
    /// The number the next line gets, from 1.
    pub seq: u64,
    /// What the next line's `prev` says.
    pub prev: String,
}

impl Link {
    /// The link before line 1.
    #[must_use]
    pub fn first() -> Link {
        Link { seq: 1, prev: "0".repeat(64) }
    }

    /// The link after a line, good or torn, given its bytes with the newline.
    #[must_use]
    pub fn after(&self, line: &[u8]) -> Link {
        Link { seq: self.seq.saturating_add(1), prev: sha256_hex(line) }
    }
}

/// One framed line, ready to be written by one `write`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Framed {
    /// The line with its newline.
    pub bytes: Vec<u8>,
    /// The link after it. To be taken over only once the line is in the file.
    pub then: Link,
}

/// An entry that cannot be framed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unframed {
    /// The line would be `bytes` long, over `limit`.
    TooLong {
        /// How long it would be.
        bytes: usize,
        /// How long it may be.
        limit: usize,
    },
    /// It has no JSON form; the reason is serde_json's.
    NoJson(String),
}

impl fmt::Display for Unframed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Unframed::TooLong { bytes, limit } => {
                write!(f, "an entry of {bytes} bytes, where {limit} are allowed")
            }
            Unframed::NoJson(why) => write!(f, "an entry without a written form: {why}"),
        }
    }
}

/// Whether a line, without its newline, ends in the checksum of what stands before that.
#[must_use]
pub(super) fn is_sound(line: &[u8]) -> bool {
    let covered = line.len().checked_sub(CRC_TAIL).map(|covered| line.split_at(covered));
    covered.is_some_and(|(body, end)| end == tail(body))
}

/// Frames one entry behind `link`.
///
/// # Errors
/// [`Unframed`] when the line would be longer than a reader accepts.
pub fn frame(link: &Link, at: Moment, body: &Body) -> Result<Framed, Unframed> {
    let limit = if matches!(body, Body::Header(_)) { HEADER_LIMIT } else { LINE_LIMIT };
    framed(link, at, body, limit)
}

/// A line of any file of this kind: its number, its moment, what it says, its link and checksum.
#[derive(Serialize)]
struct Sealed<'a, B> {
    seq: u64,
    at: i64,
    #[serde(flatten)]
    body: &'a B,
    prev: &'a str,
    crc: &'static str,
}

/// Frames what a line says behind `link`.
///
/// # Errors
/// [`Unframed`] when the line would be longer than `limit`, its newline included.
pub(super) fn framed<B: Serialize>(
    link: &Link,
    at: Moment,
    body: &B,
    limit: usize,
) -> Result<Framed, Unframed> {
    // The checksum is put in over as many zeros.
    let line = Sealed { seq: link.seq, at: at.0, body, prev: &link.prev, crc: "00000000" };
    let mut bytes = serde_json::to_vec(&line).map_err(|why| Unframed::NoJson(why.to_string()))?;
    let covered = bytes.len().saturating_sub(CRC_TAIL);
    bytes.truncate(covered);
    let tail = tail(&bytes);
    bytes.extend_from_slice(&tail);
    bytes.push(b'\n');
    if bytes.len() > limit {
        return Err(Unframed::TooLong { bytes: bytes.len(), limit });
    }
    let then = link.after(&bytes);
    Ok(Framed { bytes, then })
}

/// A line's last bytes before its newline: the mark, the CRC-32C of `covered` in eight lower-case hex
/// digits, the end.
fn tail(covered: &[u8]) -> [u8; CRC_TAIL] {
    let mut tail = [0; CRC_TAIL];
    let (mark, rest) = tail.split_at_mut(CRC_MARK.len());
    let (digits, end) = rest.split_at_mut(8);
    mark.copy_from_slice(CRC_MARK.as_bytes());
    write_hex(&crc32c::crc32c(covered).to_be_bytes(), digits);
    end.copy_from_slice(b"\"}");
    tail
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 3720 (iSCSI), appendix B.4: CRC-32C of 32 bytes of zeros and of 32 bytes of ones; the
    /// appendix lists the bytes in sending order, `aa 36 91 8a` and `43 ab a8 62`.
    #[test]
    fn the_checksum_is_castagnolis() {
        assert_eq!(&tail(&[0; 32]), br#","crc":"8a9136aa"}"#);
        assert_eq!(&tail(&[0xff; 32]), br#","crc":"62a8ab43"}"#);
    }

    #[test]
    fn a_line_ends_in_its_checksum_and_numbers_itself() {
        let note = Body::Note { text: "two\nlines".to_owned() };
        let one = frame(&Link::first(), Moment(-5), &note).unwrap();
        let text = String::from_utf8(one.bytes.clone()).unwrap();
        assert!(
            text.starts_with(r#"{"seq":1,"at":-5,"kind":"note","text":"two\nlines","prev":"00"#)
        );
        assert_eq!(text.matches('\n').count(), 1);
        assert_eq!(one.then, Link { seq: 2, prev: sha256_hex(&one.bytes) });
    }

    #[test]
    fn an_entry_longer_than_a_reader_accepts_is_not_framed() {
        let note = Body::Note { text: "x".repeat(LINE_LIMIT) };
        let refused = frame(&Link::first(), Moment::START, &note);
        assert!(matches!(refused, Err(Unframed::TooLong { limit: LINE_LIMIT, .. })));
    }
}
