//! The only door to the generated parser: one line of text in, its pairs or a failure out.
//!
//! Takes a line without its end; gives the pair of its sentence, or where it stopped being one and
//! which rules were hoped for there. `plain` gives those rules their words. Nothing outside
//! `syntax::grammar`, `syntax::plain` and `syntax::build` knows that a generator is used.

use std::num::NonZeroUsize;
use std::sync::Once;

use pest::Parser as _;
use pest::error::{ErrorVariant, InputLocation};
use pest::iterators::Pair;
use pest_derive::Parser;

/// The longest script: a page or two is usual, a megabyte is far beyond any.
pub(super) const LONGEST_FILE: usize = 1024 * 1024;
/// A script of more lines is not read: every name is laid beside every other, and every line takes
/// more room than its bytes.
pub(super) const MOST_LINES: usize = 8_000;
/// The longest line, in bytes.
pub(super) const LONGEST_LINE: usize = 4096;

/// Seat belt: an honest line needs about 4 calls a byte, so the longest one stays far below.
const MOST_CALLS: NonZeroUsize = NonZeroUsize::new(1_000_000).expect("not zero");

#[derive(Parser)]
#[grammar = "grammar/stepbell.pest"]
struct Reader;

/// Why a line is no sentence.
#[derive(Debug)]
pub(super) enum Failure {
    /// Reading it took more work than any sentence needs.
    TooComplex,
    /// It stopped being one here.
    At {
        /// The byte in the line where reading went no further.
        byte: usize,
        /// What would have been read there.
        expected: Vec<Rule>,
    },
}

/// The pair of a line's sentence, or `None` for an empty line.
///
/// The first word says which sentence it is, so only that one is tried; a line that does not end
/// where that sentence does is read once more as any sentence, to say what was hoped for where.
pub(super) fn line(text: &str) -> Result<Option<Pair<'_, Rule>>, Failure> {
    if text.is_empty() {
        return Ok(None);
    }
    keep_limit();
    if let Some(rule) = begun_by(first_word(text))
        && let Ok(mut pairs) = Reader::parse(rule, text)
        && let Some(pair) = pairs.next().filter(|pair| pair.as_span().end() == text.len())
    {
        return Ok(Some(pair));
    }
    any(text)
}

/// The generator keeps its limit for the whole process; it is the same for everyone.
fn keep_limit() {
    static LIMIT: Once = Once::new();
    LIMIT.call_once(|| pest::set_call_limit(Some(MOST_CALLS)));
}

/// The rules of the words and units of the language.
pub(super) fn words() -> &'static [Rule] {
    Rule::all_rules()
}

/// The line's leading letters.
fn first_word(text: &str) -> &str {
    let end = text.find(|c: char| !c.is_ascii_lowercase()).unwrap_or(text.len());
    &text[..end]
}

/// The one sentence that a first word begins.
fn begun_by(word: &str) -> Option<Rule> {
    Some(match word {
        "procedure" => Rule::procedure,
        "device" | "vehicle" => Rule::subject,
        "edition" => Rule::edition,
        "status" => Rule::status,
        "according" | "assumed" => Rule::basis,
        "use" => Rule::use_file,
        "danger" | "warning" | "caution" | "notice" => Rule::alert,
        "affirm" => Rule::affirm,
        "ending" => Rule::ending,
        "have" => Rule::have,
        "place" => Rule::place,
        "round" => Rule::round,
        "sign" => Rule::sign,
        "secret" => Rule::secret,
        "ask" => Rule::ask,
        "start" => Rule::start,
        "battery" => Rule::battery,
        "better" => Rule::better,
        "keep" => Rule::keep,
        "never" => Rule::never,
        "allow" => Rule::allow,
        "if" => Rule::break_off,
        "operator" | "helper" => Rule::operator,
        "part" => Rule::part,
        "phase" => Rule::phase,
        "for" => Rule::each,
        "repeat" => Rule::repeat,
        "only" => Rule::only,
        "table" => Rule::table,
        "tests" => Rule::tests,
        "end" => Rule::end,
        "step" => Rule::step,
        "do" => Rule::do_part,
        "finish" => Rule::finish,
        "no" => Rule::no,
        "test" => Rule::test,
        "recount" => Rule::recount,
        "prepare" => Rule::prepare,
        "say" => Rule::say,
        "takes" => Rule::takes,
        "straight" => Rule::straight,
        "with" => Rule::with,
        "at" => Rule::at,
        "by" => Rule::by,
        "take" => Rule::take,
        "put" => Rule::put,
        "needs" => Rule::needs,
        "hold" => Rule::hold,
        "let" => Rule::let_go,
        "count" => Rule::count,
        "one" => Rule::one_way,
        "reacts" => Rule::reacts,
        "reports" => Rule::reports,
        "speech" => Rule::speech,
        "walks" => Rule::walks,
        "has" => Rule::has,
        "within" | "between" | "not" | "about" => Rule::plain_window,
        "begin" => Rule::begin,
        "or" => Rule::another,
        "see" | "hear" | "feel" | "read" => Rule::sensed,
        "look" => Rule::look_up,
        "nothing" => Rule::silence,
        "anything" => Rule::anything,
        "late" => Rule::late,
        "slip" => Rule::slip,
        "note" => Rule::remark,
        _ => return None,
    })
}

/// The line as any sentence.
pub(super) fn any(text: &str) -> Result<Option<Pair<'_, Rule>>, Failure> {
    keep_limit();
    match Reader::parse(Rule::line, text) {
        Ok(mut pairs) => {
            let sentence = pairs.next().and_then(|line| line.into_inner().next());
            Ok(sentence.filter(|pair| pair.as_rule() != Rule::EOI))
        }
        Err(error) => {
            let byte = match error.location {
                InputLocation::Pos(at) | InputLocation::Span((at, _)) => at,
            };
            match error.variant {
                ErrorVariant::ParsingError { positives, .. } => {
                    Err(Failure::At { byte, expected: positives })
                }
                ErrorVariant::CustomError { .. } => Err(Failure::TooComplex),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_word_leads_to_the_sentence_that_any_would_find() {
        let lines =
            ["takes 1s to 3s", "not before 3s after wake done", "one way \"Turn it.\"", "end each"];
        for line in lines {
            let quick = Reader::parse(begun_by(first_word(line)).unwrap(), line).unwrap();
            assert_eq!(Some(quick.as_str()), any(line).unwrap().as_ref().map(Pair::as_str));
        }
    }

    #[test]
    fn every_first_word_has_its_sentence() {
        for word in crate::syntax::plain::FIRST_WORDS {
            assert!(begun_by(word).is_some(), "{word}");
        }
    }
}
