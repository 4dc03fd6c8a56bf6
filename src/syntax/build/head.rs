//! The sentences of a script's head, of what must be there, of stretches and of blocks.
//!
//! Takes the parts of one such sentence; gives the sentence.

use super::outcome::{finish, result};
use super::parts::{Built, Parts};
use super::value::{
    accord, condition, decimal, duration, length, maybe_length_in, maybe_name, maybe_names,
    maybe_text, name, number, quantity, sense, some_names, text, times, unit, value,
};
use crate::syntax::grammar::Rule;
use crate::syntax::tree::{
    Answer, BlockKind, EndingClass, Far, Name, Pattern, Role, Sentence, SignalWord, Status,
    SubjectKind,
};

pub(super) fn subject(parts: &mut Parts<'_>) -> Built<Sentence> {
    let vehicle = parts.has(Rule::kw_vehicle);
    let kind = if vehicle { SubjectKind::Vehicle } else { SubjectKind::Device };
    Ok(Sentence::Subject(kind, text(parts)?))
}

pub(super) fn status(parts: &mut Parts<'_>) -> Built<Sentence> {
    let status = if parts.has(Rule::kw_demonstration) {
        Status::Demonstration
    } else if parts.has(Rule::kw_handbook) {
        Status::Handbook
    } else {
        let date = parts.need(Rule::date)?;
        Status::Tried(parts.at_pair(&date, date.as_str().to_owned()))
    };
    Ok(Sentence::Status(status))
}

pub(super) fn basis(parts: &mut Parts<'_>) -> Built<Sentence> {
    Ok(Sentence::Basis(accord(parts)?))
}

pub(super) fn alert(parts: &mut Parts<'_>) -> Built<Sentence> {
    let word = match parts.word()? {
        Rule::kw_danger => SignalWord::Danger,
        Rule::kw_warning => SignalWord::Warning,
        Rule::kw_caution => SignalWord::Caution,
        Rule::kw_notice => SignalWord::Notice,
        _ => return Err(parts.mismatch()),
    };
    Ok(Sentence::Alert(word, maybe_name(parts), text(parts)?))
}

pub(super) fn affirm(parts: &mut Parts<'_>) -> Built<Sentence> {
    if parts.has(Rule::kw_ownership) {
        return Ok(Sentence::AffirmOwnership);
    }
    Ok(Sentence::Affirm(text(parts)?))
}

pub(super) fn ending(parts: &mut Parts<'_>) -> Built<Sentence> {
    let name = name(parts)?;
    let class = parts.inside(Rule::class)?;
    let class = if class.has(Rule::kw_not) {
        EndingClass::NotLearned
    } else if class.has(Rule::kw_learned) {
        EndingClass::Learned
    } else if class.has(Rule::kw_unsure) {
        EndingClass::Unsure
    } else {
        EndingClass::Stopped
    };
    let told = text(parts)?;
    let hand_over = parts.maybe_inside(Rule::hand_over).map(|mut inner| text(&mut inner));
    Ok(Sentence::Ending { name, class, text: told, hand_over: hand_over.transpose()? })
}

pub(super) fn have(parts: &mut Parts<'_>) -> Built<Sentence> {
    let (group, name) = match parts.maybe_inside(Rule::group) {
        Some(mut group) => {
            let bounds = (number(&mut group)?, number(&mut group)?);
            (Some(bounds), name(&mut group)?)
        }
        None => (None, name(parts)?),
    };
    let mut described = parts.inside(Rule::role)?;
    let role = match described.word()? {
        Rule::kw_registered => Role::Registered,
        Rule::kw_new => Role::New,
        Rule::kw_tool => Role::Tool,
        _ => return Err(parts.mismatch()),
    };
    let kind = maybe_name(&mut described);
    let label = text(parts)?;
    let felt = parts.maybe_inside(Rule::felt).map(|mut inner| text(&mut inner)).transpose()?;
    Ok(Sentence::Have { group, name, role, kind, label, felt })
}

pub(super) fn place(parts: &mut Parts<'_>) -> Built<Sentence> {
    let name = name(parts)?;
    let far = parts.maybe_inside(Rule::far).map(|mut inner| far(&mut inner)).transpose()?;
    Ok(Sentence::Place { name, far, text: text(parts)? })
}

fn far(parts: &mut Parts<'_>) -> Built<Far> {
    let paces = number(parts)?;
    let extra = if parts.has(Rule::length) { Some(length(parts)?) } else { None };
    Ok(Far { paces, extra, from: name(parts)? })
}

pub(super) fn round(parts: &mut Parts<'_>) -> Built<Sentence> {
    Ok(Sentence::Round(name(parts)?, some_names(parts)))
}

pub(super) fn sign(parts: &mut Parts<'_>) -> Built<Sentence> {
    let name = name(parts)?;
    let sense = sense(parts)?;
    let object = text(parts)?;
    let pattern = match parts.maybe_inside(Rule::pattern) {
        Some(mut inner) => Some(match maybe_name(&mut inner) {
            Some(state) => Pattern::State(state),
            None => Pattern::Times(times(&mut inner)?),
        }),
        None => None,
    };
    let lasting = maybe_length_in(parts, Rule::sign_lasts)?;
    let quiet = parts.maybe_inside(Rule::sign_quiet).map(|mut inner| duration(&mut inner));
    Ok(Sentence::Sign { name, sense, object, pattern, lasting, quiet: quiet.transpose()? })
}

pub(super) fn ask(parts: &mut Parts<'_>) -> Built<Sentence> {
    let asked = value(parts)?;
    let answer = if parts.has(Rule::unit) {
        let unit = unit(parts)?;
        let plausible = match parts.maybe_inside(Rule::plausible) {
            Some(mut inner) => Some((decimal(&mut inner)?, decimal(&mut inner)?)),
            None => None,
        };
        Answer::Number(unit, plausible)
    } else if let Some(mut choice) = parts.maybe_inside(Rule::choice) {
        Answer::Choice(some_names(&mut choice))
    } else {
        Answer::Text
    };
    Ok(Sentence::Ask { value: asked, answer, text: text(parts)? })
}

pub(super) fn start(parts: &mut Parts<'_>) -> Built<Sentence> {
    if let Some(state) = maybe_text(parts)? {
        return Ok(Sentence::StartWith(state));
    }
    Ok(Sentence::StartOnlyIf(condition(parts)?, text(parts)?))
}

pub(super) fn battery(parts: &mut Parts<'_>) -> Built<Sentence> {
    let floor = quantity(parts)?;
    let ceiling = parts.maybe_inside(Rule::ceiling).map(|mut inner| quantity(&mut inner));
    Ok(Sentence::Battery { floor, ceiling: ceiling.transpose()? })
}

pub(super) fn keep(parts: &mut Parts<'_>) -> Built<Sentence> {
    let (rule, mut inner) = parts.next_inside()?;
    match rule {
        Rule::keep_away => Ok(Sentence::KeepAway(name(&mut inner)?, text(&mut inner)?)),
        Rule::keep_awake => Ok(Sentence::KeepAwake(duration(&mut inner)?, text(&mut inner)?)),
        Rule::keep_guard => {
            let guard = name(&mut inner)?;
            let state = text(&mut inner)?;
            let watched = inner.maybe_inside(Rule::watched);
            let watched = watched.map(|mut from| maybe_names(&mut from)).unwrap_or_default();
            Ok(Sentence::Keep { name: guard, text: state, watched, lost: result(&mut inner)? })
        }
        _ => Err(parts.mismatch()),
    }
}

pub(super) fn operator(parts: &mut Parts<'_>) -> Built<Sentence> {
    let helper = parts.has(Rule::kw_helper);
    let (name, label) = (name(parts)?, maybe_text(parts)?);
    Ok(if helper { Sentence::Helper(name, label) } else { Sentence::Operator(name, label) })
}

pub(super) fn end(parts: &mut Parts<'_>) -> Built<Sentence> {
    let kind = [
        (Rule::kw_operator, BlockKind::Operator),
        (Rule::kw_helper, BlockKind::Helper),
        (Rule::kw_part, BlockKind::Part),
        (Rule::kw_phase, BlockKind::Phase),
        (Rule::kw_each, BlockKind::Each),
        (Rule::kw_repeat, BlockKind::Repeat),
        (Rule::kw_only, BlockKind::Only),
        (Rule::kw_table, BlockKind::Table),
        (Rule::kw_tests, BlockKind::Tests),
    ];
    let found = kind.iter().find(|(word, _)| parts.has(*word));
    found.map(|(_, kind)| Sentence::End(parts.at(*kind))).ok_or_else(|| parts.mismatch())
}

pub(super) fn do_part(parts: &mut Parts<'_>) -> Built<Sentence> {
    let part = name(parts)?;
    let given = maybe_names(parts);
    Ok(Sentence::Do(part, given, maybe_name(parts)))
}

pub(super) fn no(parts: &mut Parts<'_>) -> Built<Sentence> {
    if parts.has(Rule::kw_answer) {
        return Ok(Sentence::NoAnswer);
    }
    if parts.has(Rule::kw_report) {
        return Ok(Sentence::NoReport);
    }
    let mut inner = parts.inside(Rule::no_return)?;
    let told = text(&mut inner)?;
    Ok(Sentence::NoWayBack(told, inner.maybe(Rule::safe).is_some()))
}

pub(super) fn test(parts: &mut Parts<'_>) -> Built<Sentence> {
    let item = maybe_name(parts);
    let (told, expect) = (text(parts)?, text(parts)?);
    Ok(Sentence::Test { item, text: told, expect, otherwise: lowered_to(parts)? })
}

pub(super) fn recount(parts: &mut Parts<'_>) -> Built<Sentence> {
    let (reading, more) = (name(parts)?, number(parts)?);
    let per = parts.maybe_inside(Rule::per_item).map(|mut inner| name(&mut inner)).transpose()?;
    Ok(Sentence::Recount { reading, more, per, otherwise: lowered_to(parts)? })
}

fn lowered_to(parts: &mut Parts<'_>) -> Built<Name> {
    let mut inner = parts.inside(Rule::finish)?;
    finish(&mut inner)
}
