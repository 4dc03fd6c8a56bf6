//! The small things of a sentence: names, texts, numbers, lengths, moments, conditions, sources.
//!
//! Takes the parts of a sentence, standing before the thing; gives it as the tree has it.

use super::parts::{Built, Parts};
use crate::clock::Millis;
use crate::complaint::{Code, Complaint};
use crate::source::Place;
use crate::syntax::grammar::Rule;
use crate::syntax::tree::{
    Accord, At, Bound, Condition, ConditionTest, Decimal, Duration, Event, EventOf, Length, Name,
    Number, Sense, Text, Turns, Unit, Value, ValueMore, When,
};

pub(super) fn name(parts: &mut Parts<'_>) -> Built<Name> {
    let pair = parts.need(Rule::name)?;
    Ok(parts.at_pair(&pair, pair.as_str().to_owned()))
}

pub(super) fn maybe_name(parts: &mut Parts<'_>) -> Option<Name> {
    let pair = parts.maybe(Rule::name)?;
    Some(parts.at_pair(&pair, pair.as_str().to_owned()))
}

/// All names that follow one another.
pub(super) fn some_names(parts: &mut Parts<'_>) -> Vec<Name> {
    std::iter::from_fn(|| maybe_name(parts)).collect()
}

/// `a and b and c`, or nothing.
pub(super) fn maybe_names(parts: &mut Parts<'_>) -> Vec<Name> {
    parts.maybe_inside(Rule::names).map(|mut inner| some_names(&mut inner)).unwrap_or_default()
}

pub(super) fn text(parts: &mut Parts<'_>) -> Built<Text> {
    maybe_text(parts)?.ok_or_else(|| parts.mismatch())
}

/// The place is that of the text between the quotes.
pub(super) fn maybe_text(parts: &mut Parts<'_>) -> Built<Option<Text>> {
    let Some(mut string) = parts.maybe_inside(Rule::string) else { return Ok(None) };
    let inner = string.need(Rule::inner)?;
    Ok(Some(string.at_pair(&inner, inner.as_str().to_owned())))
}

pub(super) fn number(parts: &mut Parts<'_>) -> Built<Number> {
    let pair = parts.need(Rule::number)?;
    let at = parts.at_pair(&pair, ());
    match pair.as_str().parse::<u32>() {
        Ok(value) => Ok(At { value, place: at.place }),
        Err(_) => Err(too_large(at.place, pair.as_str(), i64::from(u32::MAX))),
    }
}

fn too_large(at: Place, written: &str, most: i64) -> Box<Complaint> {
    let complaint = Complaint::new(Code::NumberTooLarge, at);
    Box::new(complaint.with("number", written).with("most", most))
}

/// Kept in thousandths: a fourth decimal cannot be kept and is refused instead of being rounded.
pub(super) fn decimal(parts: &mut Parts<'_>) -> Built<Decimal> {
    let pair = parts.need(Rule::decimal)?;
    let at = parts.at_pair(&pair, ());
    let written = pair.as_str();
    let (negative, digits) = match written.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, written),
    };
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let fraction = fraction.trim_end_matches('0');
    if fraction.len() > 3 {
        return Err(too_fine(at.place, written));
    }
    let thousandths = format!("{whole}{fraction:0<3}").parse::<i64>();
    match thousandths {
        Ok(value) => Ok(At { value: if negative { -value } else { value }, place: at.place }),
        Err(_) => Err(too_large(at.place, written, i64::MAX / 1000)),
    }
}

fn too_fine(at: Place, written: &str) -> Box<Complaint> {
    let complaint = Complaint::new(Code::UnfinishedSentence, at);
    Box::new(
        complaint
            .with("expected", "a number with at most three decimals")
            .with("found", format!("`{written}`")),
    )
}

/// The grammar has seen to the order and the units; `humantime` reads the number.
pub(super) fn duration(parts: &mut Parts<'_>) -> Built<Duration> {
    let pair = parts.need(Rule::duration)?;
    let at = parts.at_pair(&pair, ());
    let written = pair.as_str();
    let decimals = written.split_once('.').map_or("", |(_, rest)| rest);
    let decimals = decimals.trim_end_matches(|c: char| !c.is_ascii_digit());
    if decimals.trim_end_matches('0').len() > 3 {
        return Err(too_fine(at.place, written));
    }
    // Zeros behind the third decimal say nothing, and are more than `humantime` takes in number.
    let exact = match written.find('.') {
        Some(point) if decimals.len() > 3 => {
            format!("{}{}s", &written[..point], &written[point..point + 4])
        }
        _ => written.to_owned(),
    };
    let millis = humantime::parse_duration(&exact).map(|read| i64::try_from(read.as_millis()));
    match millis {
        Ok(Ok(value)) => Ok(At { value: Millis(value), place: at.place }),
        _ => Err(Box::new(
            Complaint::new(Code::DurationTooLong, at.place).with("length", format!("`{written}`")),
        )),
    }
}

pub(super) fn maybe_length_in(parts: &mut Parts<'_>, rule: Rule) -> Built<Option<At<Length>>> {
    parts.maybe_inside(rule).map(|mut inner| length(&mut inner)).transpose()
}

pub(super) fn length(parts: &mut Parts<'_>) -> Built<At<Length>> {
    let mut whole = parts.inside(Rule::length)?;
    let (rule, mut inner) = whole.next_inside()?;
    let first = duration(&mut inner)?;
    let value = match rule {
        Rule::length_at_least => Length::AtLeast(first),
        Rule::length_up_to => Length::UpTo(first),
        Rule::length_about => {
            Length::Around { middle: first, leeway: leeway(&mut inner)?, about: true }
        }
        Rule::length_plain => match inner.maybe_inside(Rule::to_duration) {
            Some(mut upper) => Length::FromTo(first, duration(&mut upper)?),
            None => match leeway(&mut inner)? {
                Some(leeway) => {
                    Length::Around { middle: first, leeway: Some(leeway), about: false }
                }
                None => Length::Exactly(first),
            },
        },
        _ => return Err(whole.mismatch()),
    };
    Ok(whole.at(value))
}

fn leeway(parts: &mut Parts<'_>) -> Built<Option<Duration>> {
    parts.maybe_inside(Rule::leeway).map(|mut inner| duration(&mut inner)).transpose()
}

pub(super) fn times(parts: &mut Parts<'_>) -> Built<At<u32>> {
    let mut inner = parts.inside(Rule::times)?;
    let count = if inner.has(Rule::kw_once) {
        1
    } else if inner.has(Rule::kw_twice) {
        2
    } else {
        number(&mut inner)?.value
    };
    Ok(inner.at(count))
}

pub(super) fn sense(parts: &mut Parts<'_>) -> Built<At<Sense>> {
    let mut inner = parts.inside(Rule::sense)?;
    let sense = sense_of(inner.word()?).ok_or_else(|| inner.mismatch())?;
    Ok(inner.at(sense))
}

pub(super) fn sense_of(word: Rule) -> Option<Sense> {
    match word {
        Rule::kw_see => Some(Sense::See),
        Rule::kw_hear => Some(Sense::Hear),
        Rule::kw_feel => Some(Sense::Feel),
        Rule::kw_read => Some(Sense::Read),
        _ => None,
    }
}

pub(super) fn unit(parts: &mut Parts<'_>) -> Built<At<Unit>> {
    let mut inner = parts.inside(Rule::unit)?;
    if let Some(counted) = maybe_name_raw(&mut inner) {
        return Ok(inner.at(Unit::Count(counted)));
    }
    let unit = match inner.word()? {
        Rule::unit_v => Unit::Volt,
        Rule::unit_a => Unit::Ampere,
        Rule::unit_ah => Unit::AmpereHour,
        Rule::unit_mhz => Unit::Megahertz,
        Rule::unit_khz => Unit::Kilohertz,
        Rule::unit_celsius => Unit::Celsius,
        Rule::unit_kpa => Unit::Kilopascal,
        Rule::unit_kmh => Unit::KilometreHour,
        Rule::unit_percent => Unit::Percent,
        _ => return Err(inner.mismatch()),
    };
    Ok(inner.at(unit))
}

/// A name, without passing over the words before it.
fn maybe_name_raw(parts: &mut Parts<'_>) -> Option<String> {
    parts.has(Rule::name).then(|| maybe_name(parts).map(|name| name.value)).flatten()
}

pub(super) fn value(parts: &mut Parts<'_>) -> Built<Value> {
    let mut inner = parts.inside(Rule::value)?;
    let (of, with) = (inner.has(Rule::kw_of), inner.has(Rule::kw_with));
    let reading = name(&mut inner)?;
    let more = match (of, with) {
        (true, _) => ValueMore::Of(name(&mut inner)?),
        (_, true) => ValueMore::With(name(&mut inner)?),
        _ => ValueMore::Alone,
    };
    Ok(Value { name: reading, more })
}

pub(super) fn condition(parts: &mut Parts<'_>) -> Built<Condition> {
    let mut whole = parts.inside(Rule::condition)?;
    let compared = value(&mut whole)?;
    let test = if let Some(answer) = maybe_name(&mut whole) {
        ConditionTest::Is(answer)
    } else {
        let (rule, mut inner) = whole.next_inside()?;
        match rule {
            Rule::at_bound => {
                let least = inner.has(Rule::kw_least);
                let (bound, unit) = quantity(&mut inner)?;
                if least {
                    ConditionTest::AtLeast(bound, unit)
                } else {
                    ConditionTest::AtMost(bound, unit)
                }
            }
            Rule::in_range => {
                let lower = decimal(&mut inner)?;
                let (upper, unit) = quantity(&mut inner)?;
                ConditionTest::Between(lower, upper, unit)
            }
            Rule::same_as => ConditionTest::SameAs(value(&mut inner)?),
            _ => return Err(whole.mismatch()),
        }
    };
    Ok(Condition { value: compared, test, place: whole.at(()) })
}

pub(super) fn quantity(parts: &mut Parts<'_>) -> Built<(Decimal, At<Unit>)> {
    let mut inner = parts.inside(Rule::quantity)?;
    Ok((decimal(&mut inner)?, unit(&mut inner)?))
}

pub(super) fn event_of(parts: &mut Parts<'_>) -> Built<EventOf> {
    let mut inner = parts.inside(Rule::event_of)?;
    let previous = inner.has(Rule::kw_previous);
    let path = some_names(&mut inner);
    Ok(EventOf { previous, path, event: event(&mut inner)? })
}

fn event(parts: &mut Parts<'_>) -> Built<At<Event>> {
    let mut inner = parts.inside(Rule::event)?;
    let event = match inner.word()? {
        Rule::kw_called => Event::Called,
        Rule::kw_heard => Event::Heard,
        Rule::kw_begun => Event::Begun,
        Rule::kw_done => Event::Done,
        Rule::kw_released => Event::Released,
        Rule::kw_answered => Event::Answered,
        Rule::kw_reported => Event::Reported,
        Rule::kw_over => Event::Over,
        _ => return Err(inner.mismatch()),
    };
    Ok(inner.at(event))
}

pub(super) fn when(parts: &mut Parts<'_>) -> Built<When> {
    let mut moment = parts.inside(Rule::moment)?;
    let mut whole = moment.inside(Rule::bound)?;
    let (rule, mut inner) = whole.next_inside()?;
    let first = duration(&mut inner)?;
    let bound = match rule {
        Rule::bound_within => Bound::Within(first),
        Rule::bound_between => Bound::Between(first, duration(&mut inner)?),
        Rule::bound_not_before => Bound::NotBefore(first),
        Rule::bound_about => Bound::About(first, leeway(&mut inner)?),
        _ => return Err(whole.mismatch()),
    };
    let after = moment.maybe_inside(Rule::anchor).map(|mut anchor| event_of(&mut anchor));
    Ok(When { bound: whole.at(bound), after: after.transpose()? })
}

pub(super) fn turns(parts: &mut Parts<'_>) -> Built<Option<At<Turns>>> {
    let Some(inner) = parts.maybe_inside(Rule::turns) else { return Ok(None) };
    let turns = if inner.has(Rule::kw_try) {
        Turns::FirstTry
    } else if inner.has(Rule::kw_first) {
        Turns::FirstTurn
    } else if inner.has(Rule::kw_later) {
        Turns::LaterTurns
    } else if inner.has(Rule::kw_last) {
        Turns::LastTurn
    } else if inner.has(Rule::kw_earlier) {
        Turns::EarlierTurns
    } else {
        return Err(inner.mismatch());
    };
    Ok(Some(inner.at(turns)))
}

pub(super) fn accord(parts: &mut Parts<'_>) -> Built<Accord> {
    let mut inner = parts.inside(Rule::accord)?;
    if inner.has(Rule::kw_practice) {
        return Ok(Accord::CommonPractice);
    }
    let assumed = inner.has(Rule::kw_assumed);
    let why = text(&mut inner)?;
    Ok(if assumed { Accord::Assumed(why) } else { Accord::Source(why) })
}

pub(super) fn accord_tail(parts: &mut Parts<'_>) -> Built<Option<Accord>> {
    parts.maybe_inside(Rule::accord_tail).map(|mut inner| accord(&mut inner)).transpose()
}
