//! The one filter between foreign text and a person's screen: takes any text, gives one line that
//! cannot steer a terminal or reorder what is read.
//!
//! Control characters (C0, DEL, C1), line and paragraph separators, direction marks and other
//! invisible format characters are written out as `\u{..}`.

use std::borrow::Cow;

use crate::complaint::visible::visible;

/// The text with everything that steers written out; a tab too, which would spoil the columns.
#[must_use]
pub fn safe(text: &str) -> Cow<'_, str> {
    match visible(text) {
        Cow::Borrowed(text) if !text.contains('\t') => Cow::Borrowed(text),
        shown => Cow::Owned(shown.replace('\t', "\\u{9}")),
    }
}

/// A text as a spreadsheet's cell: one that it would reckon with is kept a text (OWASP, *CSV Injection*).
#[must_use]
pub fn cell(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// At most `columns` columns of a text, as a terminal counts them; a cut is shown by `…`.
#[must_use]
pub fn fit(text: &str, columns: usize) -> String {
    use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};
    if text.width() <= columns {
        return text.to_owned();
    }
    let mut kept = String::new();
    let mut used = 0;
    for c in text.chars() {
        let wide = c.width().unwrap_or(0);
        if used + wide + 1 > columns {
            break;
        }
        used += wide;
        kept.push(c);
    }
    kept.push('…');
    kept
}

/// Breaks a text at blanks into lines of at most `columns` columns; later lines are indented. A word that is
/// too long is cut.
#[must_use]
pub fn wrap(text: &str, columns: usize, indent: usize) -> Vec<String> {
    let columns = columns.max(indent + 8);
    broken(text, columns, indent).iter().map(|line| fit(line, columns)).collect()
}

/// As [`wrap`], but nothing is cut: a word that is too long, a path, is broken behind a stroke or wherever
/// it must.
#[must_use]
pub fn wrap_whole(text: &str, columns: usize, indent: usize) -> Vec<String> {
    use unicode_width::UnicodeWidthStr;
    let columns = columns.max(indent + 8);
    let mut lines = Vec::new();
    for mut line in broken(text, columns, indent) {
        while line.width() > columns {
            let at = break_at(&line, columns, indent);
            let rest = format!("{}{}", " ".repeat(indent), &line[at..]);
            line.truncate(at);
            lines.push(std::mem::replace(&mut line, rest));
        }
        lines.push(line);
    }
    lines
}

/// Where a line with a word that is too long is broken, in bytes.
fn break_at(line: &str, columns: usize, indent: usize) -> usize {
    use unicode_width::UnicodeWidthChar;
    let (mut used, mut limit, mut stroke) = (0, line.len(), None);
    for (at, c) in line.char_indices() {
        used += c.width().unwrap_or(0);
        if used > columns {
            limit = at;
            break;
        }
        if c == '/' && used > indent + 8 {
            stroke = Some(at + 1);
        }
    }
    stroke.unwrap_or(limit)
}

/// The lines of a text broken at blanks; one with a word that is too long is too long.
fn broken(text: &str, columns: usize, indent: usize) -> Vec<String> {
    use unicode_width::UnicodeWidthStr;
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    // Leading blanks of the first line belong to its layout.
    let lead = text.len() - text.trim_start_matches(' ').len();
    line.push_str(&text[..lead]);
    let mut empty = true;
    for word in text[lead..].split(' ') {
        let gap = usize::from(!empty);
        if !empty && line.width() + gap + word.width() > columns {
            lines.push(line.trim_end().to_owned());
            line = " ".repeat(indent);
            line.push_str(word);
        } else {
            if gap == 1 {
                line.push(' ');
            }
            line.push_str(word);
        }
        empty = false;
    }
    lines.push(line.trim_end().to_owned());
    lines
}

/// As [`wrap`], but a last remark in square brackets stays in one piece.
#[must_use]
pub fn wrap_question(text: &str, columns: usize, indent: usize) -> Vec<String> {
    let (ask, how) = text.split_at(text.rfind('[').unwrap_or(text.len()));
    let kept = format!("{ask}{}", how.replace(' ', "\u{a0}"));
    let lines = wrap(&kept, columns, indent).into_iter();
    lines.map(|line| line.replace('\u{a0}', " ").trim_end().to_owned()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_steers_is_written_out_and_the_rest_left_alone() {
        assert_eq!(safe("Schlüssel, grünes Band · 鍵"), "Schlüssel, grünes Band · 鍵");
        assert_eq!(safe("a\x1b[2Jb\nc\t"), "a\\u{1b}[2Jb\\u{a}c\\u{9}");
        assert_eq!(safe("\u{9b}31m\u{7f}"), "\\u{9b}31m\\u{7f}");
        assert_eq!(safe("\u{202e}olleh\u{2066}"), "\\u{202e}olleh\\u{2066}");
        assert_eq!(safe("\u{feff}\u{200b}"), "\\u{feff}\\u{200b}");
    }

    #[test]
    fn long_texts_are_cut_and_broken_by_columns() {
        assert_eq!(fit("鍵鍵鍵", 4), "鍵…");
        assert_eq!(fit("short", 5), "short");
        assert_eq!(wrap("one two three four", 9, 2), ["one two", "  three", "  four"]);
        assert_eq!(wrap("In hand:  a key", 40, 2), ["In hand:  a key"]);
        let question = "? Is it so?  [Space = yes, e = no]";
        assert_eq!(wrap_question(question, 20, 2), ["? Is it so?", "  [Space = yes, e =…"]);
        assert_eq!(wrap_question(question, 24, 2), ["? Is it so?", "  [Space = yes, e = no]"]);
        assert_eq!(wrap_whole("one two three four", 9, 2), ["one two", "  three", "  four"]);
        let path = "- it is in /one/long/way/to/a-record";
        assert_eq!(wrap(path, 16, 2), ["- it is in", "  /one/long/way…"]);
        assert_eq!(wrap_whole(path, 16, 2), ["- it is in", "  /one/long/way/", "  to/a-record"]);
        assert_eq!(wrap_whole("鍵鍵鍵鍵鍵鍵", 8, 0), ["鍵鍵鍵鍵", "鍵鍵"]);
        assert!(wrap(&"x".repeat(100), 10, 2).iter().all(|line| line.chars().count() <= 10));
    }
}
