//! The sentences of a step: what the person does, and when.
//!
//! Takes the parts of one such sentence; gives the sentence.

use super::parts::{Built, Parts};
use super::value::{
    accord_tail, duration, event_of, length, maybe_length_in, maybe_name, maybe_names, name,
    number, text, turns, when,
};
use crate::complaint::{Code, Complaint};
use crate::syntax::grammar::Rule;
use crate::syntax::tree::{At, Count, HandCount, Held, HowMany, Sentence};

pub(super) fn say(parts: &mut Parts<'_>) -> Built<Sentence> {
    Ok(Sentence::Say(text(parts)?, maybe_length_in(parts, Rule::say_lasts)?))
}

pub(super) fn takes(parts: &mut Parts<'_>) -> Built<Sentence> {
    Ok(Sentence::Takes(length(parts)?, accord_tail(parts)?))
}

pub(super) fn with(parts: &mut Parts<'_>) -> Built<Sentence> {
    let items = maybe_names(parts);
    let place = parts.maybe_inside(Rule::with_at).map(|mut inner| name(&mut inner)).transpose()?;
    Ok(Sentence::With(items, place))
}

pub(super) fn needs(parts: &mut Parts<'_>) -> Built<Sentence> {
    let hands = if parts.has(Rule::kw_both) {
        HandCount::Both
    } else if parts.has(Rule::kw_one) {
        HandCount::One
    } else {
        HandCount::None
    };
    Ok(Sentence::Needs(hands))
}

pub(super) fn hold(parts: &mut Parts<'_>) -> Built<Sentence> {
    Ok(Sentence::Hold(held(parts)?, accord_tail(parts)?))
}

fn held(parts: &mut Parts<'_>) -> Built<At<Held>> {
    let mut inner = parts.inside(Rule::held)?;
    let value = if inner.has(Rule::event_of) {
        let until = event_of(&mut inner)?;
        Held::Until(until, maybe_length_in(&mut inner, Rule::longer)?)
    } else if inner.has(Rule::length) {
        Held::For(length(&mut inner)?)
    } else {
        Held::On
    };
    Ok(inner.at(value))
}

pub(super) fn let_go(parts: &mut Parts<'_>) -> Built<Sentence> {
    if let Some(step) = maybe_name(parts) {
        return Ok(Sentence::LetGoOf(step));
    }
    Ok(Sentence::LetGo(when(parts)?, turns(parts)?, accord_tail(parts)?))
}

pub(super) fn count(parts: &mut Parts<'_>) -> Built<Sentence> {
    let how_many = if parts.has(Rule::event_of) {
        HowMany::Until(event_of(parts)?)
    } else if let Some(reading) = maybe_name(parts) {
        HowMany::Reading(reading)
    } else {
        HowMany::Exactly(number(parts)?)
    };
    let mut count = Count {
        how_many,
        lasting: None,
        within: None,
        each_within: None,
        every: None,
        ending: None,
    };
    while !parts.is_done() && parts.peek() != Some(Rule::accord_tail) {
        count_tail(parts, &mut count)?;
    }
    Ok(Sentence::Count(count, accord_tail(parts)?))
}

/// The tails of a count come in any order, each at most once.
fn count_tail(parts: &mut Parts<'_>, count: &mut Count) -> Built<()> {
    let (rule, mut inner) = parts.next_inside()?;
    let (twice, word) = match rule {
        Rule::count_lasts => {
            let stroke = inner.has(Rule::kw_each);
            (count.lasting.replace((length(&mut inner)?, stroke)).is_some(), "lasting")
        }
        Rule::count_within => (count.within.replace(duration(&mut inner)?).is_some(), "within"),
        Rule::count_each => {
            (count.each_within.replace(duration(&mut inner)?).is_some(), "each within")
        }
        Rule::count_every => (count.every.replace(length(&mut inner)?).is_some(), "one every"),
        Rule::count_ending => (count.ending.replace(text(&mut inner)?).is_some(), "ending"),
        _ => return Err(parts.mismatch()),
    };
    if twice {
        let complaint = Complaint::new(Code::SaidTwice, inner.place());
        return Err(Box::new(complaint.with("sentence", word)));
    }
    Ok(())
}

pub(super) fn one_way(parts: &mut Parts<'_>) -> Built<Sentence> {
    Ok(Sentence::OneWay(text(parts)?, maybe_length_in(parts, Rule::way_takes)?))
}

pub(super) fn window(parts: &mut Parts<'_>) -> Built<Sentence> {
    Ok(Sentence::Window(when(parts)?, turns(parts)?, accord_tail(parts)?))
}

pub(super) fn begin(parts: &mut Parts<'_>) -> Built<Sentence> {
    Ok(Sentence::Begin(when(parts)?, turns(parts)?, accord_tail(parts)?))
}

pub(super) fn another(parts: &mut Parts<'_>) -> Built<Sentence> {
    let (rule, mut inner) = parts.next_inside()?;
    match rule {
        Rule::another_moment => {
            let (when, turns) = (when(&mut inner)?, turns(&mut inner)?);
            Ok(Sentence::OrWindow(when, turns, accord_tail(parts)?))
        }
        Rule::another_takes => Ok(Sentence::OrTakes(length(&mut inner)?, accord_tail(parts)?)),
        Rule::another_hold => Ok(Sentence::OrHold(held(&mut inner)?, accord_tail(parts)?)),
        _ => Err(parts.mismatch()),
    }
}
