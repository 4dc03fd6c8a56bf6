//! JSON as this tool writes it, looked over without building anything: takes a text, gives where its
//! members lie.
//!
//! What is accepted here is JSON that `serde_json` accepts too, in a narrower form: no blanks, whole
//! numbers of at most eighteen digits, no `\u`, not nested deeply. `None` says only that it is not of
//! this form; a thorough reader must then judge.

/// Deeper nesting than this is left to a thorough reader.
const DEPTH: u32 = 32;
/// More digits might not fit a whole number.
const DIGITS: usize = 18;

/// What is left of a text.
pub(super) struct Plain<'a> {
    rest: &'a [u8],
}

impl<'a> Plain<'a> {
    /// From the beginning of a text; nothing where it is none.
    pub(super) fn of(text: &'a [u8]) -> Option<Plain<'a>> {
        // Whether all of it is ASCII is told sooner, and mostly it is.
        (text.is_ascii() || std::str::from_utf8(text).is_ok()).then_some(Plain { rest: text })
    }

    /// How many bytes are left.
    pub(super) const fn left(&self) -> usize {
        self.rest.len()
    }

    /// Passes over these bytes, if they come next. Their count is known beforehand, so that comparing
    /// them calls nothing.
    #[inline]
    pub(super) fn take<const N: usize>(&mut self, bytes: &[u8; N]) -> Option<()> {
        let (next, rest) = self.rest.split_first_chunk()?;
        (next == bytes).then(|| self.rest = rest)
    }

    /// A string without escapes, its quotes not counted.
    #[inline]
    pub(super) fn word(&mut self) -> Option<&'a [u8]> {
        self.take(b"\"")?;
        let word = self.until_special();
        self.take(b"\"")?;
        Some(word)
    }

    /// A whole number.
    pub(super) fn number(&mut self) -> Option<i64> {
        let negative = self.take(b"-").is_some();
        let count = self.rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
        let (digits, rest) = self.rest.split_at(count);
        match digits {
            [] | [b'0', _, ..] => return None,
            [b'0'] if negative => return None,
            _ if count > DIGITS => return None,
            _ => self.rest = rest,
        }
        let size = digits.iter().fold(0, |number, digit| 10 * number + i64::from(digit - b'0'));
        Some(if negative { -size } else { size })
    }

    /// An object as it is written. `member` hears each key and passes over its value.
    pub(super) fn object(
        &mut self,
        mut member: impl FnMut(&'a [u8], &mut Self) -> Option<()>,
    ) -> Option<&'a [u8]> {
        let from = self.rest;
        self.take(b"{")?;
        let mut over = self.take(b"}").is_some();
        while !over {
            let key = self.word()?;
            self.take(b":")?;
            member(key, self)?;
            over = self.ends(b'}')?;
        }
        Some(&from[..from.len() - self.rest.len()])
    }

    /// Any value, passed over.
    pub(super) fn value(&mut self) -> Option<()> {
        self.value_at(0)
    }

    fn array_at(&mut self, depth: u32) -> Option<()> {
        self.take(b"[")?;
        let mut over = self.take(b"]").is_some();
        while !over {
            self.value_at(depth + 1)?;
            over = self.ends(b']')?;
        }
        Some(())
    }

    /// Passes over a comma or the end; whether it was the end.
    #[inline]
    fn ends(&mut self, end: u8) -> Option<bool> {
        if self.take(b",").is_some() {
            return Some(false);
        }
        self.take(&[end]).map(|()| true)
    }

    fn value_at(&mut self, depth: u32) -> Option<()> {
        if depth > DEPTH {
            return None;
        }
        match self.rest.first()? {
            b'"' => self.string(),
            b'{' => self.object(|_, value| value.value_at(depth + 1)).map(|_| ()),
            b'[' => self.array_at(depth),
            b't' => self.take(b"true"),
            b'f' => self.take(b"false"),
            b'n' => self.take(b"null"),
            _ => self.number().map(|_| ()),
        }
    }

    fn string(&mut self) -> Option<()> {
        self.take(b"\"")?;
        loop {
            self.until_special();
            if self.take(b"\"").is_some() {
                return Some(());
            }
            self.take(b"\\")?;
            let (escaped, rest) = self.rest.split_first()?;
            self.rest = rest;
            if !b"\"\\/bfnrt".contains(escaped) {
                return None;
            }
        }
    }

    /// Passes over what stands for itself within a string: all but quotes, backslashes and control
    /// characters. Eight bytes at a time, because most strings are no longer.
    #[inline]
    fn until_special(&mut self) -> &'a [u8] {
        let mut end = 0;
        while let Some(eight) = self.rest[end..].first_chunk() {
            match first_special(u64::from_le_bytes(*eight)) {
                8 => end += 8,
                within => return self.pass(end + within),
            }
        }
        let special = |byte: &u8| matches!(byte, ..0x20 | b'"' | b'\\');
        let tail = &self.rest[end..];
        self.pass(end + tail.iter().position(special).unwrap_or(tail.len()))
    }

    #[inline]
    fn pass(&mut self, count: usize) -> &'a [u8] {
        let (passed, rest) = self.rest.split_at(count);
        self.rest = rest;
        passed
    }
}

/// Which of eight bytes, the lowest first, is the first quote, backslash or control character; 8 where
/// none is. A byte below a limit gives its high bit in `(byte - limit) & !byte`; what is borrowed from
/// one byte reaches only those above it, which come later.
#[inline]
const fn first_special(eight: u64) -> usize {
    const ONES: u64 = u64::from_le_bytes([1; 8]);
    const fn below(bytes: u64, limit: u8) -> u64 {
        bytes.wrapping_sub(ONES * limit as u64) & !bytes
    }
    let quote = below(eight ^ (ONES * b'"' as u64), 1);
    let backslash = below(eight ^ (ONES * b'\\' as u64), 1);
    let found = (quote | backslash | below(eight, 0x20)) & (ONES << 7);
    found.trailing_zeros() as usize / 8
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::Value;

    fn accepts(text: &str) -> bool {
        let mut plain = Plain::of(text.as_bytes()).expect("a text");
        plain.value().is_some() && plain.left() == 0
    }

    #[test]
    fn the_form_that_is_written_is_accepted() {
        for text in [
            r#"{"a":[1,-20,0,true,false,null],"b":{},"c":[],"d":"Zünd\n\"schlüssel\"\\"}"#,
            r#""""#,
            "999999999999999999",
        ] {
            assert!(accepts(text), "{text}");
        }
        let mut members = Vec::new();
        let text = br#"{"a":[1,{"b":2}],"c":"x"},"d":3"#;
        let mut plain = Plain::of(text).expect("a text");
        let object = plain.object(|key, value| {
            members.push(key);
            value.value()
        });
        assert_eq!((object, plain.left()), (Some(&text[..25]), 6));
        assert_eq!(members, [b"a", b"c"]);
        assert!(Plain::of(b"\"\xff\"").is_none());
    }

    #[test]
    fn any_other_form_is_left_to_a_thorough_reader() {
        for text in [
            "",
            " 1",
            "1 ",
            "01",
            "-0",
            "-",
            "1.5",
            "1e4",
            "1234567890123456789",
            "tru",
            "nul",
            r#""\u0041""#,
            r#""\ud800""#,
            r#""\x""#,
            "\"\t\"",
            "\"a",
            "[1,]",
            "[1 2]",
            "[,1]",
            "{\"a\":1,}",
            "{\"a\"}",
            "{a:1}",
            r#"{"a\n":1}"#,
            "{\"a\":1",
            "[1",
            "}",
            "[1}",
            "{\"a\":1]",
        ] {
            assert!(!accepts(text), "{text}");
        }
        let nested = |depth: usize| "[".repeat(depth) + &"]".repeat(depth);
        assert!(accepts(&nested(32)) && !accepts(&nested(100)) && !accepts(&"[".repeat(1_000_000)));
    }

    proptest! {
        #[test]
        fn eight_bytes_at_once_are_eight_single_ones(bytes in any::<[u8; 8]>(), at in 0usize..8,
            put in prop::sample::select(b"\"\\\n\x1f !#[]\x7f\x80\xa2\xdc\xff".to_vec())) {
            let mut bytes = bytes;
            bytes[at] = put;
            let one_by_one = bytes.iter().position(|byte| *byte < 0x20 || *byte == b'"' || *byte == b'\\');
            prop_assert_eq!(first_special(u64::from_le_bytes(bytes)), one_by_one.unwrap_or(8));
        }

        /// A text made of the pieces of JSON: what is accepted here, `serde_json` accepts.
        #[test]
        fn what_is_accepted_is_json(pieces in prop::collection::vec(
            prop::sample::select(vec![
                "{", "}", "[", "]", ",", ":", "\"a\":", "\"", "\\", "u12", "n", "1", "0", "-", ".5", "e9", "true",
                "null", " ", "\u{e4}", "\t",
            ]), 0..14)) {
            let text = pieces.concat();
            if accepts(&text) {
                prop_assert!(serde_json::from_str::<Value>(&text).is_ok(), "{}", text);
            }
        }
    }
}
