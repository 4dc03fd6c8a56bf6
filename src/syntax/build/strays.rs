//! Why a line is no sentence, said as exactly as the text allows: one complaint a line.
//!
//! Takes a line and where the grammar gave up on it; gives the complaint, with the nearest word and
//! a mechanical fix where there is one.

use super::parts::Origin;
use crate::complaint::visible::is_hidden;
use crate::complaint::{Code, Complaint};
use crate::syntax::grammar::{self, Failure, LONGEST_LINE, Rule};
use crate::syntax::plain::{FIRST_WORDS, Plain, RESERVED, plain};

/// More choices than this only confuse; the reference for authors has them all.
const MOST_EXPECTED: usize = 6;
/// A longer piece of the script is cut in a complaint.
const MOST_FOUND: usize = 40;

/// A line beyond the limit; the place is what lies beyond.
pub(super) fn too_long(origin: Origin, line: &str) -> Box<Complaint> {
    let mut cut = LONGEST_LINE;
    while !line.is_char_boundary(cut) {
        cut -= 1;
    }
    let limit = i64::try_from(LONGEST_LINE).unwrap_or(i64::MAX);
    let place = origin.place(cut, line.len());
    Box::new(Complaint::new(Code::LineTooLong, place).with("limit", limit))
}

/// The first character of the line that may not stand in a script.
pub(super) fn forbidden(origin: Origin, line: &str) -> Option<Box<Complaint>> {
    let (at, found) = line.char_indices().find(|(_, c)| is_hidden(*c))?;
    let place = origin.place(at, at + found.len_utf8());
    let complaint = Complaint::new(Code::ForbiddenCharacter, place);
    Some(Box::new(complaint.with("char", format!("U+{:04X}", u32::from(found)))))
}

/// What is wrong with a line that the grammar read up to `byte`, hoping for `expected` there.
pub(super) fn diagnose(
    origin: Origin,
    line: &str,
    byte: usize,
    expected: &[Rule],
) -> Box<Complaint> {
    let seen = Seen { origin, line, byte };
    let complaint = if byte == 0 {
        seen.not_a_sentence()
    } else if let Some(complaint) = seen.decimal_comma() {
        complaint
    } else if expected == [Rule::inner] {
        seen.empty_text()
    } else if seen.opens_a_text() {
        Complaint::new(Code::TextNotClosed, origin.place(byte, line.len()))
    } else if !expected.is_empty() && expected.iter().all(|rule| is_time_unit(*rule)) {
        seen.time_unit(expected)
    } else {
        seen.unfinished(expected)
    };
    Box::new(complaint)
}

fn is_time_unit(rule: Rule) -> bool {
    matches!(rule, Rule::unit_h | Rule::unit_min | Rule::unit_s | Rule::unit_ms | Rule::fraction)
}

/// The word that a sentence probably was to begin with, for the first word of a stray line.
pub(in crate::syntax) fn nearest_first_word(word: &str) -> Option<&'static str> {
    let lower = word.to_lowercase();
    if let Some(begun) = FIRST_WORDS.iter().find(|first| **first == lower) {
        return Some(begun);
    }
    nearest(&lower, FIRST_WORDS.iter().copied()).or_else(|| {
        let glued =
            FIRST_WORDS.iter().filter(|first| first.len() > 2 && lower.starts_with(**first));
        glued.max_by_key(|first| first.len()).copied()
    })
}

/// The known word with the fewest slips of the hand between: one for a short word, at most a third
/// of a long one's letters.
fn nearest<'w>(word: &str, known: impl Iterator<Item = &'w str>) -> Option<&'w str> {
    let length = word.chars().count();
    let most = (length / 3).clamp(1, 3);
    known
        // As many slips as letters more or fewer at least: most words need no closer look.
        .filter(|other| other.chars().count().abs_diff(length) <= most)
        .map(|other| (strsim::damerau_levenshtein(word, other), other))
        .filter(|(slips, other)| *slips <= most && *slips < other.chars().count())
        .min_by_key(|(slips, _)| *slips)
        .map(|(_, other)| other)
}

/// A line and where reading stopped.
struct Seen<'l> {
    origin: Origin,
    line: &'l str,
    byte: usize,
}

impl Seen<'_> {
    /// A quote with nothing behind it, or with another one.
    fn empty_text(&self) -> Complaint {
        let opens = self.byte - 1;
        if !self.line[self.byte..].starts_with('"') {
            return Complaint::new(Code::TextNotClosed, self.origin.place(opens, self.byte));
        }
        let place = self.origin.place(opens, self.byte + 1);
        let complaint = Complaint::new(Code::UnfinishedSentence, place);
        complaint.with("expected", "a text that says something").with("found", "`\"\"`")
    }

    /// Whether a quote stands here that has no partner.
    fn opens_a_text(&self) -> bool {
        let quote = self.line[self.byte..].strip_prefix('"');
        quote.is_some_and(|inner| !inner.contains('"'))
    }

    fn not_a_sentence(&self) -> Complaint {
        let word = self.line.split([' ', '\t']).next().unwrap_or("");
        let place = self.origin.place(0, word.len());
        let complaint = Complaint::new(Code::NotASentence, place).with("word", cut(word));
        let marks = word.len() - word.trim_start_matches(['#', '/', ';', '-', '*', '%']).len();
        if marks > 0 {
            let mark = self.origin.place(0, marks);
            let gap = if self.line[marks..].starts_with([' ', '\t']) { "note" } else { "note " };
            return complaint.near(Some("note".to_owned())).fix("Make it a remark", mark, gap);
        }
        if word.len() > MOST_FOUND {
            return complaint;
        }
        let near = nearest_first_word(word);
        let complaint = complaint.near(near.map(str::to_owned));
        match near {
            Some(near) if near == word.to_lowercase() => {
                complaint.fix("Write it in small letters", place, near)
            }
            _ => complaint,
        }
    }

    /// `1,5s`: the comma ends the number and the rest makes no sense.
    fn decimal_comma(&self) -> Option<Complaint> {
        let rest = self.line[self.byte..].strip_prefix(',')?;
        let before = &self.line[..self.byte];
        let whole = before.len() - before.trim_end_matches(|c: char| c.is_ascii_digit()).len();
        let decimals = rest.len() - rest.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        if whole == 0 || decimals == 0 {
            return None;
        }
        let (start, end) = (self.byte - whole, self.byte + 1 + decimals);
        let place = self.origin.place(start, end);
        let better = format!("{}.{}", &before[start..], &rest[..decimals]);
        let complaint = Complaint::new(Code::DecimalComma, place).with("better", cut(&better));
        Some(complaint.fix("Write a point", self.origin.place(self.byte, self.byte + 1), "."))
    }

    /// A number that should be a length of time, and what stands where its unit should.
    fn time_unit(&self, expected: &[Rule]) -> Complaint {
        let before = &self.line[..self.byte];
        let number = before.trim_end_matches(|c: char| c.is_ascii_digit() || c == '.').len();
        let rest = &self.line[self.byte..];
        let word = run(rest, |c| c.is_alphanumeric());
        let place = self.origin.place(self.length_begins(number), self.byte + word.len());
        let digits = word.trim_start_matches(|c: char| c.is_alphabetic());
        let unit = &word[..word.len() - digits.len()];
        if word.is_empty() {
            return self.bare_number(number);
        }
        if before[number..].contains('.') && is_unit_name(word) {
            let wanted = Complaint::new(Code::UnfinishedSentence, place);
            let wanted = wanted.with("expected", "`s` (only seconds have decimals)");
            return wanted.with("found", format!("`{word}`"));
        }
        if is_unit_name(unit) && !digits.is_empty() {
            let gap = self.byte + unit.len();
            let complaint = Complaint::new(Code::DurationOrder, place);
            return complaint.fix("Part them", self.origin.place(gap, gap), " ");
        }
        if is_unit_name(word) && !expected.contains(&Rule::unit_h) {
            return Complaint::new(Code::DurationOrder, place);
        }
        let unit = self.origin.place(self.byte, self.byte + word.len());
        let complaint = Complaint::new(Code::DurationUnknownUnit, unit).with("unit", cut(word));
        match unit_meant(word) {
            Some(meant) => {
                let complaint = complaint.near(Some(meant.to_owned()));
                complaint.fix("Write the unit as the language has it", unit, meant)
            }
            None => complaint,
        }
    }

    /// Where the whole length of time begins whose last number is at `number`.
    fn length_begins(&self, number: usize) -> usize {
        let before = self.line[..number].trim_end_matches([' ', '\t']);
        let part = before.rfind([' ', '\t']).map_or(0, |at| at + 1);
        let unit = before[part..].trim_start_matches(|c: char| c.is_ascii_digit() || c == '.');
        if before.len() < number && is_unit_name(unit) && unit.len() < before.len() - part {
            part
        } else {
            number
        }
    }

    fn bare_number(&self, number: usize) -> Complaint {
        let digits = &self.line[number..self.byte];
        let place = self.origin.place(number, self.byte);
        let complaint = Complaint::new(Code::BareNumber, place).with("number", cut(digits));
        let rest = &self.line[self.byte..];
        let blanks = rest.len() - rest.trim_start_matches([' ', '\t']).len();
        let word = run(&rest[blanks..], |c| c.is_alphanumeric());
        let meant = if is_unit_name(word) { Some(word) } else { unit_meant(word) };
        match meant {
            Some(unit) => {
                let gap = self.origin.place(self.byte, self.byte + blanks + word.len());
                complaint.fix("Write the unit at the number, without a blank", gap, unit)
            }
            None => complaint,
        }
    }

    fn unfinished(&self, expected: &[Rule]) -> Complaint {
        let found = self.found();
        let place = self.origin.place(self.byte, self.byte + found.len());
        let shown = if found.is_empty() {
            "the end of the line".to_owned()
        } else {
            format!("`{}`", cut(found))
        };
        let complaint = Complaint::new(Code::UnfinishedSentence, place)
            .with("expected", self.hoped_for(expected, found))
            .with("found", shown);
        let near = if found.len() > 2 { nearest(found, words_of(expected)) } else { None };
        complaint.near(near.map(str::to_owned))
    }

    /// What would have been read, in plain words and without repeats.
    fn hoped_for(&self, expected: &[Rule], found: &str) -> String {
        if expected.contains(&Rule::string)
            && found.starts_with(['“', '”', '„', '«', '‘', '’', '\''])
        {
            return "a text between straight double quotes".to_owned();
        }
        if expected == [Rule::EOI] && self.is_inside_quotes() {
            return "nothing more (a text cannot have a quote in it)".to_owned();
        }
        if let Some(hope) = self.behind_a_comma(expected, found) {
            return hope;
        }
        listed(&self.hopes(expected, found))
    }

    /// `"Press "START" now."`: the text seems to go on behind its end.
    fn is_inside_quotes(&self) -> bool {
        let (before, rest) = self.line.split_at(self.byte);
        before.trim_end().ends_with('"') && rest.contains('"')
    }

    /// Where the sentence must go on behind a comma: what would stand there.
    fn behind_a_comma(&self, expected: &[Rule], found: &str) -> Option<String> {
        if !expected.contains(&Rule::comma) || expected.contains(&Rule::EOI) {
            return None;
        }
        let before = self.line[..self.byte].trim_end();
        let Err(Failure::At { byte, expected: next }) = grammar::line(&format!("{before}, ?"))
        else {
            return None;
        };
        let next = if byte > before.len() { next } else { return None };
        let others: Vec<Rule> = expected.iter().copied().filter(|r| *r != Rule::comma).collect();
        let next = if next.contains(&Rule::kw_so) { vec![Rule::kw_so] } else { next };
        // Where the word stands already, only the comma is missing.
        let next = if words_of(&next).any(|word| word == found) {
            "a comma".to_owned()
        } else {
            format!("a comma and {}", listed(&self.hopes(&next, "")))
        };
        Some(listed(&[self.hopes(&others, ""), vec![next]].concat()))
    }

    /// Each hope in plain words, without repeats.
    fn hopes(&self, expected: &[Rule], found: &str) -> Vec<String> {
        let mut hopes: Vec<String> = Vec::new();
        for rule in expected {
            let hope = match plain(*rule) {
                Plain::Token(word) | Plain::Word(word) => format!("`{word}`"),
                Plain::Phrase(_) if *rule == Rule::name && RESERVED.contains(&found) => {
                    format!("a name (`{found}` is a word of the language)")
                }
                Plain::Phrase(phrase) if *rule == Rule::name && looks_like_a_name(found) => {
                    format!("{phrase} of small letters, digits and single hyphens")
                }
                Plain::Phrase(phrase) => phrase.to_owned(),
            };
            if !hopes.contains(&hope) {
                hopes.push(hope);
            }
        }
        if hopes.len() > MOST_EXPECTED {
            hopes.truncate(MOST_EXPECTED - 1);
            hopes.push("another word of this sentence".to_owned());
        }
        hopes
    }

    /// The word, text or sign at which reading stopped.
    fn found(&self) -> &str {
        let rest = &self.line[self.byte..];
        if let Some(inner) = rest.strip_prefix('"') {
            let end = inner.find('"').map_or(rest.len(), |at| at + 2);
            return &rest[..end];
        }
        let word = run(rest, |c| c.is_alphanumeric() || c == '-' || c == '_');
        if word.is_empty() {
            rest.chars().next().map_or("", |c| &rest[..c.len_utf8()])
        } else {
            word
        }
    }
}

/// The words of the language with which these rules may begin.
fn words_of(rules: &[Rule]) -> impl Iterator<Item = &'static str> {
    rules.iter().flat_map(|rule| match plain(*rule) {
        Plain::Token(word) | Plain::Word(word) => vec![word.split(' ').next().unwrap_or(word)],
        // The words that a phrase names stand between back quotes.
        Plain::Phrase(phrase) => phrase.split('`').skip(1).step_by(2).collect(),
    })
}

fn looks_like_a_name(found: &str) -> bool {
    found.starts_with(|c: char| c.is_alphanumeric())
}

/// `a`, `a or b`, `a, b or c`.
fn listed(items: &[String]) -> String {
    match items {
        [] => "something else".to_owned(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} or {last}", first.join(", ")),
    }
}

fn is_unit_name(word: &str) -> bool {
    matches!(word, "h" | "min" | "s" | "ms")
}

/// The unit of time behind a word that people write for it.
fn unit_meant(word: &str) -> Option<&'static str> {
    match word.to_lowercase().as_str() {
        "s" | "sec" | "secs" | "second" | "seconds" => Some("s"),
        "min" | "mins" | "m" | "minute" | "minutes" => Some("min"),
        "h" | "hr" | "hrs" | "hour" | "hours" => Some("h"),
        "ms" | "msec" | "msecs" | "milli" | "millis" | "millisecond" | "milliseconds" => Some("ms"),
        _ => None,
    }
}

/// The characters at the beginning that `belongs` accepts.
fn run(text: &str, belongs: impl Fn(char) -> bool) -> &str {
    &text[..text.len() - text.trim_start_matches(belongs).len()]
}

/// At most so much of the script as fits a sentence.
fn cut(text: &str) -> String {
    match text.char_indices().nth(MOST_FOUND) {
        Some((at, _)) => format!("{}…", &text[..at]),
        None => text.to_owned(),
    }
}
