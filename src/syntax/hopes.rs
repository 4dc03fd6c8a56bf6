//! What may come next in a line that is being written: takes the line as far as it goes, gives the words
//! of the language with which it can go on, and whether a name or a text can stand there.
//!
//! The grammar itself is asked: a word may follow where the line with that word is read further than
//! without. So nothing here can differ from what is read.

use super::grammar::{self, Failure, LONGEST_LINE, Rule};
use super::plain::{FIRST_WORDS, Plain, RESERVED, plain};

/// How a line can go on.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Hopes {
    /// Words of the language, each as far as no other word could follow it.
    pub words: Vec<String>,
    /// Whether a name can stand here.
    pub name: bool,
    /// Whether a text between quotes can stand here.
    pub text: bool,
    /// Whether the sentence may end here.
    pub end: bool,
}

/// A mark that no sentence has.
const NEVER: &str = "?";
/// No run of words that follow one another without a choice is longer.
const LONGEST_RUN: usize = 6;

/// The words that a sentence may begin with.
#[must_use]
pub fn first_words() -> &'static [&'static str] {
    FIRST_WORDS
}

/// Whether a word can be a name.
#[must_use]
pub fn is_name(word: &str) -> bool {
    let letters = word.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
    letters && !RESERVED.contains(&word) && grammar::line(&format!("phase {word}")).is_ok()
}

/// How the line can go on behind `before`, which ends where the next word would begin.
#[must_use]
pub fn after(before: &str) -> Hopes {
    let before = before.trim_start_matches([' ', '\t', '\u{feff}']);
    if before.len() > LONGEST_LINE {
        return Hopes::default();
    }
    let glued = before.ends_with(|c: char| c.is_ascii_digit() || c == '.');
    let Some(here) = reach(before) else { return Hopes::default() };
    let goes_on = |next: &str| {
        let (byte, expected) = reach_far(before, next)?;
        (byte >= before.len() + next.len()).then_some(expected)
    };
    let as_name = goes_on("zz");
    let mut words = Vec::new();
    for rule in grammar::words() {
        let Plain::Token(word) = plain(*rule) else { continue };
        // A unit stands at its number, a word apart from it.
        if glued && !is_unit(*rule) {
            continue;
        }
        let Some(expected) = goes_on(word) else { continue };
        let named = as_name.as_ref() == Some(&expected) && is_name(word);
        if !named {
            words.push(run_on(before, word));
        }
    }
    words.dedup();
    Hopes {
        words,
        name: as_name.is_some(),
        text: goes_on("\"x\"").is_some(),
        end: here.contains(&Rule::EOI) || grammar::line(before.trim_end()).is_ok(),
    }
}

fn is_unit(rule: Rule) -> bool {
    matches!(rule, Rule::unit_h | Rule::unit_min | Rule::unit_s | Rule::unit_ms)
}

/// What is hoped for directly behind `before`; `None` where reading stops earlier, and in a remark.
fn reach(before: &str) -> Option<Vec<Rule>> {
    let (byte, expected) = reach_far(before, NEVER)?;
    (byte >= before.trim_end().len() && byte < usize::MAX).then_some(expected)
}

/// How far a line is read, and what is hoped for there; to its end where it is a sentence.
fn reach_far(before: &str, next: &str) -> Option<(usize, Vec<Rule>)> {
    let end = if next == NEVER { "" } else { " ?" };
    match grammar::any(&format!("{before}{next}{end}")) {
        Err(Failure::At { byte, expected }) => Some((byte, expected)),
        Ok(_) => Some((usize::MAX, Vec::new())),
        Err(Failure::TooComplex) => None,
    }
}

/// A word and those that must follow it.
fn run_on(before: &str, word: &str) -> String {
    let mut run = word.to_owned();
    for _ in 0..LONGEST_RUN {
        let line = format!("{before}{run} ");
        let Some((byte, expected)) = reach_far(&line, NEVER) else { break };
        let [single] = expected[..] else { break };
        let Plain::Token(next) = plain(single) else { break };
        if byte < line.trim_end().len() || is_unit(single) {
            break;
        }
        run.push(' ');
        run.push_str(next);
    }
    run
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(before: &str, some: &[&str], none: &[&str]) -> Hopes {
        let hopes = after(before);
        for word in some {
            assert!(hopes.words.iter().any(|w| w == word), "{before}: no {word}: {hopes:?}");
        }
        for word in none {
            assert!(!hopes.words.iter().any(|w| w == word), "{before}: {word}");
        }
        hopes
    }

    #[test]
    fn words_follow_where_the_grammar_has_them() {
        let hopes = check("within 30s after ", &["previous", "done", "answered"], &["within", "a"]);
        assert!(hopes.name && !hopes.text);
        check("within 30s after open ", &["answered", "done"], &["previous"]);
        check("takes 1s ", &["to", "give or take"], &["and"]);
        check("takes 1", &["s", "ms", "min"], &["to"]);
        let hopes = check("nothing within 6s after done, so ", &["finish as", "this one is"], &[]);
        assert!(!hopes.name && !hopes.end);
        check("finish ", &["as"], &["so"]);
        assert!(check("with working ", &["and", "at"], &["with"]).end);
        assert!(check("prepare ", &[], &["a"]).text);
        check("keep ", &["away", "awake every"], &["keep"]);
        check("nonsense ", &[], &["a", "step"]);
    }

    #[test]
    fn a_line_begins_with_a_first_word() {
        let hopes = after("");
        for first in first_words() {
            assert!(hopes.words.iter().any(|w| w.split(' ').next() == Some(first)), "{first}");
        }
        assert!(!hopes.name);
    }

    #[test]
    fn names_are_what_the_grammar_takes_for_names() {
        for name in ["a", "show-new", "step", "key-2", "hear2"] {
            assert!(is_name(name), "{name}");
        }
        for name in ["", "A", "2a", "a-", "a--b", "a_b", "done", "a b", "å", "a\n", "with"] {
            assert!(!is_name(name), "{name}");
        }
    }
}
