//! Where a replay is, for the page: takes a [`Head`], gives plain data. The page sets the scrubber by it
//! and lists what a drill asks.

use serde::Serialize;

use super::{Card, card};
use crate::clock::Moment;
use crate::faces::head::{Asks, Head, clock, spoken};
use crate::faces::phrases::digits;
use crate::faces::safe::safe;

/// Where a replay is.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct HeadOn {
    /// Now, in milliseconds of the record.
    pub at: i64,
    /// The record's beginning.
    pub first: i64,
    /// The record's end.
    pub last: i64,
    /// Whether time goes on.
    pub running: bool,
    /// Now, and the whole, in words and how time goes by.
    pub line: String,
    /// Now, as it is spoken.
    pub spoken: String,
    /// Whether idle stretches are shortened.
    pub shortens: bool,
    /// Whether it stops at marks.
    pub stops: bool,
    /// What became of the last move.
    pub told: Option<String>,
    /// What a drill asks.
    pub asks: Option<AsksOn>,
    /// Another record at the same time: its name, what is left of its count, its card.
    pub beside: Option<(String, String, Box<Card>)>,
}

/// What a drill asks.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct AsksOn {
    /// The question.
    pub question: Option<String>,
    /// The choices.
    pub choices: Vec<String>,
    /// Whether a time can be typed.
    pub types: bool,
    /// How the last answers were.
    pub told: Vec<String>,
}

/// A replay's place as the page shows it.
pub(super) fn on(head: &Head) -> HeadOn {
    let parts = std::iter::once(format!("{} of {}", clock(head.at), clock(head.last)));
    let text = |text: &String| safe(text).into_owned();
    HeadOn {
        at: head.at.0,
        first: head.first.0,
        last: head.last.0,
        running: head.running,
        line: parts.chain(head.how()).collect::<Vec<_>>().join(" · "),
        spoken: format!("{} of {}", spoken(head.at), spoken(head.last)),
        shortens: head.shortens,
        stops: head.stops,
        // That it stands still is told beside it already.
        told: head.told.as_ref().filter(|told| !told.starts_with("paused")).map(text),
        asks: head.asks.as_ref().map(asks),
        beside: head.beside.as_ref().map(|other| {
            let picture = &other.picture;
            let count = picture.shown.count.as_ref().filter(|_| picture.ended.is_none());
            let left = count.map(|count| digits(Moment(count.to).since(picture.at)));
            let card = Box::new(card(picture, &other.setting));
            (text(&other.name), left.unwrap_or_default(), card)
        }),
    }
}

fn asks(asks: &Asks) -> AsksOn {
    let text = |text: &String| safe(text).into_owned();
    let question = asks.question.as_ref();
    let question = question.map(|asked| format!("{}: {}", text(&asks.progress), safe(asked)));
    AsksOn {
        question,
        choices: asks.choices.iter().map(text).collect(),
        types: asks.types,
        told: asks.told.iter().map(text).collect(),
    }
}
