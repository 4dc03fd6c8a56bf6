//! 128 random bits that open the page: drawn from the operating system, written as 26 characters that
//! a person can type and a QR code keeps small, compared in constant time.

use std::fmt;
use std::io;

use subtle::ConstantTimeEq;

/// The digits of base 32 without I, L, O and U, which are misread (Douglas Crockford's alphabet, from
/// memory). Upper case lets a QR code use its alphanumeric mode.
const DIGITS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// Bytes of a secret.
const BYTES: usize = 16;
/// Characters of a written secret: 128 bits, five a character.
pub const WRITTEN: usize = 26;

/// 128 random bits. Not shown by `Debug`.
#[derive(Clone)]
pub struct Secret([u8; BYTES]);

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(..)")
    }
}

impl Secret {
    /// A new one from the operating system.
    ///
    /// # Errors
    /// Where the system has no random numbers to give.
    pub fn draw() -> io::Result<Secret> {
        let mut bytes = [0; BYTES];
        getrandom::fill(&mut bytes).map_err(io::Error::other)?;
        Ok(Secret(bytes))
    }

    /// As text.
    #[must_use]
    pub fn written(&self) -> String {
        let number = u128::from_be_bytes(self.0);
        let digit = |place: usize| {
            let value = (number >> (5 * (WRITTEN - 1 - place))) & 31;
            let value = usize::try_from(value).unwrap_or(0);
            char::from(DIGITS.get(value).copied().unwrap_or(b'0'))
        };
        (0..WRITTEN).map(digit).collect()
    }

    /// Whether this text is it. How long the answer takes depends on the text, never on the secret.
    #[must_use]
    pub fn is(&self, text: &str) -> bool {
        let Some(bytes) = read(text) else { return false };
        self.0.ct_eq(&bytes).into()
    }
}

/// The bytes that a text stands for, in either case.
fn read(text: &str) -> Option<[u8; BYTES]> {
    if text.len() != WRITTEN {
        return None;
    }
    let mut number: u128 = 0;
    for (place, c) in text.bytes().enumerate() {
        let value = DIGITS.iter().position(|digit| *digit == c.to_ascii_uppercase())?;
        // 26 characters hold 130 bits: the first has two that must not be there.
        if place == 0 && value > 7 {
            return None;
        }
        number = (number << 5) | u128::try_from(value).ok()?;
    }
    Some(number.to_be_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_is_known_by_its_own_text_only() {
        let secret = Secret::draw().unwrap();
        let text = secret.written();
        assert_eq!(text.len(), WRITTEN);
        assert!(secret.is(&text) && secret.is(&text.to_lowercase()));
        assert!(!Secret::draw().unwrap().is(&text));
        for wrong in ["", "0", &text[1..], &format!("{text}0"), &"é".repeat(13), &"Z".repeat(26)] {
            assert!(!secret.is(wrong), "{wrong}");
        }
        // Every character counts.
        for place in 0..WRITTEN {
            let mut other: Vec<char> = text.chars().collect();
            other[place] = if other[place] == '1' { '2' } else { '1' };
            assert!(!secret.is(&other.iter().collect::<String>()), "{place}");
        }
    }

    #[test]
    fn every_bit_is_written() {
        assert_eq!(Secret([0; BYTES]).written(), "0".repeat(26));
        assert_eq!(Secret([0xff; BYTES]).written(), format!("7{}", "Z".repeat(25)));
        assert!(Secret([0xff; BYTES]).is(&format!("7{}", "z".repeat(25))));
        let mut one = [0; BYTES];
        one[15] = 1;
        assert_eq!(Secret(one).written(), format!("{}1", "0".repeat(25)));
        assert_eq!(format!("{:?}", Secret(one)), "Secret(..)");
    }
}
