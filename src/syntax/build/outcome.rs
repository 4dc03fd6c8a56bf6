//! The sentences that say what is sensed and what follows.
//!
//! Takes the parts of one such sentence; gives the sentence, or the outcome behind its `so`.

use super::parts::{Built, Parts};
use super::value::{
    accord_tail, duration, maybe_name, maybe_text, name, sense_of, times, turns, when,
};
use crate::syntax::grammar::Rule;
use crate::syntax::tree::{
    At, GoBack, ItemClass, Name, Outcome, Sense, Sentence, Sight, SightOf, Tries, When,
};

pub(super) fn sensed(parts: &mut Parts<'_>) -> Built<Sentence> {
    let mut sights = Vec::new();
    while let Some(mut inner) = parts.maybe_inside(Rule::sight) {
        sights.push(sight(&mut inner)?);
    }
    let when = arrival(parts)?;
    let (turns, accord) = (turns(parts)?, accord_tail(parts)?);
    Ok(Sentence::Sensed { sights, when, turns, accord, so: so(parts)? })
}

fn sight(parts: &mut Parts<'_>) -> Built<Sight> {
    let whole = parts.place();
    let sense = sense_of(parts.word()?).ok_or_else(|| parts.mismatch())?;
    let verb = match sense {
        Sense::See => "see",
        Sense::Hear => "hear",
        Sense::Feel => "feel",
        Sense::Read => "read",
    };
    let end = whole.start.saturating_add(u32::try_from(verb.len()).unwrap_or(0));
    let sense = At { value: sense, place: crate::source::Place { end, ..whole } };
    let what = match maybe_text(parts)? {
        Some(text) => SightOf::Text(text),
        None => SightOf::Sign(name(parts)?),
    };
    Ok(Sight { sense, what })
}

fn arrival(parts: &mut Parts<'_>) -> Built<Option<When>> {
    parts.maybe_inside(Rule::arrival).map(|mut inner| when(&mut inner)).transpose()
}

pub(super) fn look_up(parts: &mut Parts<'_>) -> Built<Sentence> {
    let table = name(parts)?;
    let when = arrival(parts)?;
    Ok(Sentence::LookUp(table, when, turns(parts)?, accord_tail(parts)?))
}

pub(super) fn silence(parts: &mut Parts<'_>) -> Built<Sentence> {
    let when = when(parts)?;
    let (turns, accord) = (turns(parts)?, accord_tail(parts)?);
    Ok(Sentence::Nothing { when, turns, accord, so: so(parts)? })
}

pub(super) fn so(parts: &mut Parts<'_>) -> Built<Outcome> {
    let mut inner = parts.inside(Rule::so)?;
    result(&mut inner)
}

pub(super) fn result(parts: &mut Parts<'_>) -> Built<Outcome> {
    let mut inner = parts.inside(Rule::result)?;
    what_follows(&mut inner)
}

/// The single child of `result` or `otherwise`.
fn what_follows(parts: &mut Parts<'_>) -> Built<Outcome> {
    let (rule, mut inner) = parts.next_inside()?;
    match rule {
        Rule::go | Rule::else_go => go(&mut inner),
        Rule::finish => Ok(Outcome::Finish(finish(&mut inner)?)),
        Rule::verdict => Ok(Outcome::ThisOne(item_class(&mut inner)?)),
        _ => Err(parts.mismatch()),
    }
}

fn go(parts: &mut Parts<'_>) -> Built<Outcome> {
    let (rule, mut inner) = parts.next_inside()?;
    match rule {
        Rule::go_on => Ok(Outcome::GoOn),
        Rule::go_to => Ok(Outcome::GoTo(name(&mut inner)?)),
        Rule::go_back => Ok(Outcome::GoBack(Box::new(go_back(&mut inner)?))),
        _ => Err(parts.mismatch()),
    }
}

fn go_back(parts: &mut Parts<'_>) -> Built<GoBack> {
    let to = name(parts)?;
    let way = parts.maybe_inside(Rule::way).map(|mut inner| name(&mut inner)).transpose()?;
    let after = parts.maybe_inside(Rule::cool_down).map(|mut inner| duration(&mut inner));
    let after = after.transpose()?;
    let mut limit = parts.inside(Rule::tries)?;
    let tries = match maybe_name(&mut limit) {
        Some(purse) => Tries::While(purse),
        None => Tries::AtMost(times(&mut limit)?),
    };
    let mut otherwise = parts.inside(Rule::otherwise)?;
    Ok(GoBack { to, way, after, tries, otherwise: what_follows(&mut otherwise)? })
}

/// The name behind `finish as`.
pub(super) fn finish(parts: &mut Parts<'_>) -> Built<Name> {
    name(parts)
}

fn item_class(parts: &mut Parts<'_>) -> Built<At<ItemClass>> {
    let inner = parts.inside(Rule::item_class)?;
    let class = if inner.has(Rule::kw_not) {
        ItemClass::NotLearned
    } else if inner.has(Rule::kw_learned) {
        ItemClass::Learned
    } else {
        ItemClass::Unsure
    };
    Ok(inner.at(class))
}
