//! What the proof says of each cue, beside its line: takes a judged script, gives figures that an editor
//! shows at a line's end and on a hover.

use super::judge::Judged;
use crate::faces::finding::finding;
use crate::source::Place;

/// A figure at a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Figure {
    /// The sentence that it belongs to.
    pub place: Place,
    /// In a few words, for a line's end.
    pub short: String,
    /// In whole sentences.
    pub long: String,
}

/// The verdict beside the title, or why there is none.
#[must_use]
pub fn of_verdict(judged: &Judged) -> Option<Figure> {
    let found = finding(judged.verdict.as_ref()?, &judged.examined);
    let title = judged.examined.procedure.as_ref()?;
    let title = title.texts.get(title.title?.0 as usize)?;
    let short = match found.short {
        Some(short) => format!("{}, short by {short}", found.word),
        None => found.word.to_owned(),
    };
    Some(Figure { place: title.place, short, long: found.sentence })
}
