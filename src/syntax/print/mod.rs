//! A tree to its one canonical text.
//!
//! Takes a [`Tree`]; gives text that reads back as the same tree: two blanks for each open block and
//! for the sentences of a step, one blank between words, lengths as [`crate::clock::Millis`] spells
//! them, at most one empty line in a row and none at the file's ends. Remarks keep their place, and
//! a line that could not be read stands as it was written.

mod words;

use super::blocks;
use super::tree::{Sentence, Tree};

/// The canonical text of a tree. Tidying it again changes nothing.
#[must_use]
pub fn tidy(tree: &Tree) -> String {
    let levels = levels(tree);
    let mut text = String::new();
    let mut gap = false;
    for (line, level) in tree.lines.iter().zip(levels) {
        if line.sentence == Sentence::Blank {
            gap = !text.is_empty();
            continue;
        }
        if std::mem::take(&mut gap) {
            text.push('\n');
        }
        text.extend(std::iter::repeat_n("  ", level));
        text.push_str(&sentence(&line.sentence));
        text.push('\n');
    }
    text
}

/// One sentence in its canonical words, without the blanks before it.
#[must_use]
pub fn sentence(sentence: &Sentence) -> String {
    words::sentence(sentence)
}

/// How far each line stands in.
fn levels(tree: &Tree) -> Vec<usize> {
    let depths = blocks::pair(tree).depth;
    let step_goes_on = step_goes_on(tree);
    let mut in_step = false;
    let lines = tree.lines.iter().zip(depths).zip(step_goes_on);
    lines
        .map(|((line, depth), goes_on)| match &line.sentence {
            Sentence::Blank => 0,
            Sentence::Remark(_) => depth + usize::from(in_step && goes_on),
            sentence if belongs_to_step(sentence) => depth + usize::from(in_step),
            sentence => {
                in_step = matches!(sentence, Sentence::Step(..));
                depth
            }
        })
        .collect()
}

/// For each line, whether the next one that says something still belongs to a step.
fn step_goes_on(tree: &Tree) -> Vec<bool> {
    let mut next = false;
    let mut found: Vec<bool> = tree
        .lines
        .iter()
        .rev()
        .map(|line| {
            let here = next;
            match &line.sentence {
                Sentence::Blank | Sentence::Remark(_) => {}
                sentence => next = belongs_to_step(sentence),
            }
            here
        })
        .collect();
    found.reverse();
    found
}

/// Whether a sentence below a step is said of that step. An alert is not: it stands before the step
/// that it concerns.
fn belongs_to_step(sentence: &Sentence) -> bool {
    !matches!(
        sentence,
        Sentence::Procedure(_)
            | Sentence::Subject(..)
            | Sentence::Edition(_)
            | Sentence::Status(_)
            | Sentence::Use(_)
            | Sentence::Alert(..)
            | Sentence::AffirmOwnership
            | Sentence::Affirm(_)
            | Sentence::Ending { .. }
            | Sentence::Have { .. }
            | Sentence::Place { .. }
            | Sentence::Round(..)
            | Sentence::Sign { .. }
            | Sentence::Secret(..)
            | Sentence::StartWith(_)
            | Sentence::StartOnlyIf(..)
            | Sentence::BetterIf(..)
            | Sentence::Battery { .. }
            | Sentence::End(_)
            | Sentence::Step(..)
            | Sentence::Do(..)
            | Sentence::Finish(_)
            | Sentence::NoWayBack(..)
            | Sentence::Test { .. }
            | Sentence::Recount { .. }
    ) && blocks::opens(sentence).is_none()
}
