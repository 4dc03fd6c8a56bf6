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

/// The pair of one line, whose only children are its sentence (none for an empty line) and `EOI`.
pub(super) fn line(text: &str) -> Result<Pair<'_, Rule>, Failure> {
    // The generator keeps its limit for the whole process; it is the same for everyone.
    static LIMIT: Once = Once::new();
    LIMIT.call_once(|| pest::set_call_limit(Some(MOST_CALLS)));
    match Reader::parse(Rule::line, text) {
        Ok(mut pairs) => pairs.next().ok_or(Failure::TooComplex),
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
