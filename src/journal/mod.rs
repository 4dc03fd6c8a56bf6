//! The record of a run: what a line on disk is, how lines are framed, how any part of a file reads
//! back.
//!
//! Takes what happened, as data with a [`Moment`](crate::clock::Moment); gives bytes, and back from
//! any bytes the entries and an account of what was lost. Pure: the disk is `edge::writer`'s.

pub mod battery;
pub mod brief;
pub mod convert;
pub mod drill;
pub mod entry;
pub mod happened;
mod lines;
pub mod outcome;
mod plain;
pub mod practice;
pub mod question;
pub mod read;
pub mod spoken;
pub mod write;

use sha2::{Digest, Sha256};

/// The SHA-256 of `bytes` in 64 lower-case hex digits, as `sha256sum` prints it.
#[must_use]
pub fn sha256_hex(bytes: &[u8]) -> String {
    sha256_digits(bytes).into_iter().map(char::from).collect()
}

/// The same as ASCII bytes, for whoever asks it of many lines.
fn sha256_digits(bytes: &[u8]) -> [u8; 64] {
    let mut digits = [0; 64];
    write_hex(&Sha256::digest(bytes), &mut digits);
    digits
}

/// Two lower-case hex digits for each byte, as far as there is room.
fn write_hex(bytes: &[u8], into: &mut [u8]) {
    // Without a table, so that many are worked out at once.
    let digit = |four: u8| four + b'0' + u8::from(four > 9) * (b'a' - b'0' - 10);
    for (pair, byte) in into.as_chunks_mut().0.iter_mut().zip(bytes) {
        *pair = [digit(byte >> 4), digit(byte & 15)];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST FIPS 180-4 example values: the empty message and "abc".
    #[test]
    fn hashes_are_those_of_the_standard() {
        assert_eq!(
            sha256_hex(b""),
            "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
        );
        assert_eq!(
            sha256_hex(b"abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }
}
