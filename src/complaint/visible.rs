//! Makes visible what would otherwise hide: nothing of a script may steer a person's terminal or eye.
//!
//! Takes any text; gives it with control and format characters spelled out, as in `\u{1b}`.

use std::borrow::Cow;

/// Whether a character shows nothing itself but steers, hides, joins, splits or reorders what stands
/// around it: control characters except the tab, what Unicode 16.0 calls format characters (general
/// category Cf), line and paragraph separators (Zl, Zp), and the reserved tag characters.
#[must_use]
pub fn is_hidden(c: char) -> bool {
    match c {
        '\t' | ' '..='~' => false,
        '\u{ad}'
        | '\u{600}'..='\u{605}'
        | '\u{61c}'
        | '\u{6dd}'
        | '\u{70f}'
        | '\u{890}'..='\u{891}'
        | '\u{8e2}'
        | '\u{180e}'
        | '\u{200b}'..='\u{200f}'
        | '\u{2028}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}'
        | '\u{feff}'
        | '\u{fff9}'..='\u{fffb}'
        | '\u{110bd}'
        | '\u{110cd}'
        | '\u{13430}'..='\u{1343f}'
        | '\u{1bca0}'..='\u{1bca3}'
        | '\u{1d173}'..='\u{1d17a}'
        | '\u{e0000}'..='\u{e007f}' => true,
        c => c.is_control(),
    }
}

/// The text with every hidden character spelled out; a line end is hidden too.
#[must_use]
pub fn visible(text: &str) -> Cow<'_, str> {
    if !text.contains(is_hidden) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        if is_hidden(c) {
            shown.extend(c.escape_unicode());
        } else {
            shown.push(c);
        }
    }
    Cow::Owned(shown)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn escapes_and_reordering_are_spelled_out() {
        assert_eq!(visible("\u{1b}[2J"), "\\u{1b}[2J");
        assert_eq!(visible("a\u{202e}b\u{9b}c\n"), "a\\u{202e}b\\u{9b}c\\u{a}");
        assert_eq!(visible("zwölf °C\t1"), "zwölf °C\t1");
    }
}
