//! A walk over the children of one pair: skips what carries no meaning, hands out what does.
//!
//! Takes a pair of the generated parser; gives its parts in order. What the grammar rules out is
//! answered with a complaint instead of a panic, so that no text can bring the reader down.

use pest::iterators::{Pair, Pairs};

use crate::complaint::{Code, Complaint};
use crate::source::{FileId, Place};
use crate::syntax::grammar::Rule;
use crate::syntax::plain::{Plain, plain};
use crate::syntax::tree::At;

/// What was built, or why it could not be.
pub(super) type Built<T> = Result<T, Box<Complaint>>;

/// Where a line begins in its file.
#[derive(Clone, Copy, Debug)]
pub(super) struct Origin {
    /// The file.
    pub(super) file: FileId,
    /// The byte of the line's first character.
    pub(super) base: usize,
}

impl Origin {
    /// The place of `start..end`, counted from the line's beginning.
    pub(super) fn place(self, start: usize, end: usize) -> Place {
        let byte = |at: usize| u32::try_from(self.base + at).unwrap_or(u32::MAX);
        Place { file: self.file, start: byte(start), end: byte(end) }
    }

    /// The place of a pair, without the blanks that the generator counts to its end.
    fn of(self, pair: &Pair<'_, Rule>) -> Place {
        let start = pair.as_span().start();
        self.place(start, start + pair.as_str().trim_end().len())
    }
}

/// The children of one pair that are still to be read.
pub(super) struct Parts<'i> {
    origin: Origin,
    place: Place,
    pairs: Pairs<'i, Rule>,
}

impl<'i> Parts<'i> {
    /// All children of this pair.
    pub(super) fn of(origin: Origin, pair: Pair<'i, Rule>) -> Parts<'i> {
        Parts { origin, place: origin.of(&pair), pairs: pair.into_inner() }
    }

    /// The place of the whole.
    pub(super) fn place(&self) -> Place {
        self.place
    }

    /// A value with the place of the whole.
    pub(super) fn at<T>(&self, value: T) -> At<T> {
        At { value, place: self.place }
    }

    /// A value with the place of this part.
    pub(super) fn at_pair<T>(&self, pair: &Pair<'i, Rule>, value: T) -> At<T> {
        At { value, place: self.origin.of(pair) }
    }

    /// Whether a child of this rule is still to come.
    pub(super) fn has(&self, rule: Rule) -> bool {
        self.pairs.clone().any(|pair| pair.as_rule() == rule)
    }

    /// Whether nothing with a meaning is left.
    pub(super) fn is_done(&mut self) -> bool {
        self.peek().is_none()
    }

    /// The rule of the next child with a meaning.
    pub(super) fn peek(&mut self) -> Option<Rule> {
        self.skip();
        self.pairs.peek().map(|pair| pair.as_rule())
    }

    /// The next child whatever it is, words and commas too.
    pub(super) fn word(&mut self) -> Built<Rule> {
        self.pairs.next().map(|pair| pair.as_rule()).ok_or_else(|| self.mismatch())
    }

    /// The next child that is no mere word or comma.
    pub(super) fn next(&mut self) -> Built<Pair<'i, Rule>> {
        self.skip();
        self.pairs.next().ok_or_else(|| self.mismatch())
    }

    /// The next child with a meaning, if it is of this rule.
    pub(super) fn maybe(&mut self, rule: Rule) -> Option<Pair<'i, Rule>> {
        self.skip();
        (self.pairs.peek()?.as_rule() == rule).then(|| self.pairs.next()).flatten()
    }

    /// The next child with a meaning, which must be of this rule.
    pub(super) fn need(&mut self, rule: Rule) -> Built<Pair<'i, Rule>> {
        self.maybe(rule).ok_or_else(|| self.mismatch())
    }

    /// The children of the next child, if it is of this rule.
    pub(super) fn maybe_inside(&mut self, rule: Rule) -> Option<Parts<'i>> {
        self.maybe(rule).map(|pair| Parts::of(self.origin, pair))
    }

    /// The children of the next child, which must be of this rule.
    pub(super) fn inside(&mut self, rule: Rule) -> Built<Parts<'i>> {
        self.need(rule).map(|pair| Parts::of(self.origin, pair))
    }

    /// The next child with its rule, to be walked in turn.
    pub(super) fn next_inside(&mut self) -> Built<(Rule, Parts<'i>)> {
        let pair = self.next()?;
        Ok((pair.as_rule(), Parts::of(self.origin, pair)))
    }

    /// Passes over words and commas: the rule above them has said what they mean.
    fn skip(&mut self) {
        while self.pairs.peek().is_some_and(|pair| {
            pair.as_rule() == Rule::comma || matches!(plain(pair.as_rule()), Plain::Token(_))
        }) {
            self.pairs.next();
        }
    }

    /// Said where the grammar let something through that no sentence here has. Property tests show
    /// that none is known.
    pub(super) fn mismatch(&self) -> Box<Complaint> {
        Box::new(Complaint::new(Code::TooComplex, self.place))
    }
}
