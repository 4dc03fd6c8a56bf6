//! Lengths, bounds, units and conditions: what was written as a number becomes one with a meaning.
//!
//! Takes the tree's values; gives spans, ranges and checked conditions, or a complaint.

use super::{Check, Env};
use crate::clock::{Millis, Span};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    Basis, Condition, ConditionTest, ItemId, Range, ReadingId, ReadingKind, Ref, Unit,
};
use crate::source::Place;
use crate::syntax::tree::{self, Accord, At, Bound, Length, ValueMore};

/// Words that are taken for a count's noun and are a unit misspelt, with the unit meant.
const MISSPELT: &[(&str, &str)] = &[
    ("v", "V"),
    ("volt", "V"),
    ("volts", "V"),
    ("a", "A"),
    ("amp", "A"),
    ("amps", "A"),
    ("ampere", "A"),
    ("amperes", "A"),
    ("ah", "Ah"),
    ("mhz", "MHz"),
    ("megahertz", "MHz"),
    ("khz", "kHz"),
    ("kilohertz", "kHz"),
    ("c", "°C"),
    ("celsius", "°C"),
    ("degrees", "°C"),
    ("kpa", "kPa"),
    ("bar", "kPa"),
    ("psi", "kPa"),
    ("kmh", "km/h"),
    ("mph", "km/h"),
    ("percent", "%"),
    ("hz", "kHz"),
    ("hertz", "kHz"),
    ("ohm", "V"),
    ("ohms", "V"),
];

/// A unit as written.
pub(super) fn unit_word(unit: &Unit) -> String {
    match unit {
        Unit::Volt => "V".to_owned(),
        Unit::Ampere => "A".to_owned(),
        Unit::AmpereHour => "Ah".to_owned(),
        Unit::Megahertz => "MHz".to_owned(),
        Unit::Kilohertz => "kHz".to_owned(),
        Unit::Celsius => "°C".to_owned(),
        Unit::Kilopascal => "kPa".to_owned(),
        Unit::KilometreHour => "km/h".to_owned(),
        Unit::Percent => "%".to_owned(),
        Unit::Count(noun) => noun.clone(),
    }
}

/// One and many of a noun are one unit: `1 key`, `8 keys`.
pub(super) fn singular(noun: &str) -> &str {
    noun.strip_suffix('s').unwrap_or(noun)
}

impl Check<'_> {
    /// A length with both bounds; one without a greatest is complained about.
    pub(super) fn span(&mut self, length: &At<Length>) -> Option<Span> {
        let range = self.range(length, false)?;
        let Some(hi) = range.hi else {
            self.complain(Complaint::new(Code::DelayWithoutMaximum, length.place));
            return None;
        };
        Some(Span::new(range.lo, hi))
    }

    /// A length that may be open at its end. With `loose`, an exact length is not enough, since no
    /// person keeps one.
    pub(super) fn range(&mut self, length: &At<Length>, loose: bool) -> Option<Range> {
        let closed = |lo: Millis, hi: Millis| Some(Range { lo, hi: Some(hi) });
        match &length.value {
            Length::Exactly(at) if loose => self.without_tolerance(at.value, length.place),
            Length::Exactly(at) => closed(at.value, at.value),
            Length::FromTo(lo, hi) => {
                self.ordered(lo.value, hi.value, length.place)?;
                closed(lo.value, hi.value)
            }
            Length::UpTo(hi) => closed(Millis::ZERO, hi.value),
            Length::AtLeast(lo) => Some(Range { lo: lo.value, hi: None }),
            Length::Around { middle, leeway, .. } => match leeway {
                Some(leeway) => around(middle.value, leeway.value),
                None => self.without_tolerance(middle.value, length.place),
            },
        }
    }

    fn without_tolerance(&mut self, length: Millis, place: Place) -> Option<Range> {
        self.complain(Complaint::new(Code::AboutWithoutTolerance, place).with("length", length));
        None
    }

    fn ordered(&mut self, lo: Millis, hi: Millis, place: Place) -> Option<()> {
        if lo <= hi {
            return Some(());
        }
        let complaint = Complaint::new(Code::RangeReversed, place).with("lo", lo).with("hi", hi);
        self.complain(complaint);
        None
    }

    /// A place in time as a range.
    pub(super) fn bound(&mut self, bound: &At<Bound>) -> Option<Range> {
        match &bound.value {
            Bound::Within(hi) => Some(Range { lo: Millis::ZERO, hi: Some(hi.value) }),
            Bound::Between(lo, hi) => {
                self.ordered(lo.value, hi.value, bound.place)?;
                Some(Range { lo: lo.value, hi: Some(hi.value) })
            }
            Bound::NotBefore(lo) => Some(Range { lo: lo.value, hi: None }),
            Bound::About(middle, Some(leeway)) => around(middle.value, leeway.value),
            Bound::About(middle, None) => self.without_tolerance(middle.value, bound.place),
        }
    }

    /// Where a number comes from: the nearest of its own tail, its step, its block, the file.
    pub(super) fn basis(&mut self, accord: Option<&Accord>, env: &Env, place: Place) -> Basis {
        let basis = accord.map_or_else(|| env.basis.clone(), super::head::basis_of);
        if basis == Basis::Unsaid {
            self.unsourced.insert(place);
        }
        basis
    }

    /// A unit that is known, or a noun that is counted.
    pub(super) fn unit(&mut self, unit: &At<Unit>) -> Option<Unit> {
        if let Unit::Count(noun) = &unit.value {
            let meant = MISSPELT.iter().find(|(word, _)| word == noun).map(|(_, unit)| *unit);
            if let Some(meant) = meant {
                let complaint = Complaint::new(Code::UnknownUnit, unit.place)
                    .with("unit", noun.as_str())
                    .near(Some(meant.to_owned()));
                self.complain(complaint);
                return None;
            }
        }
        Some(unit.value.clone())
    }

    /// The name under which a value is kept: `rest`, `chip of green`.
    pub(super) fn reading(&mut self, value: &tree::Value, env: &Env) -> Option<ReadingId> {
        let name = match &value.more {
            ValueMore::Of(item) => {
                let item = self.item(item, env)?;
                format!("{} of {}", value.name.value, self.item_name(&item))
            }
            ValueMore::Alone | ValueMore::With(_) => value.name.value.clone(),
        };
        if let Some((reading, _)) = self.names.readings.get(&name) {
            return Some(*reading);
        }
        if self.names.secrets.contains_key(&value.name.value) {
            self.secret(&value.name, "compared");
            return None;
        }
        let wanted = tree::Name { value: name, place: value.name.place };
        self.unknown(&wanted, "reading", "a reading");
        None
    }

    pub(super) fn secret(&mut self, name: &tree::Name, how: &str) {
        let complaint = Complaint::new(Code::SecretRecorded, name.place)
            .with("name", name.value.as_str())
            .with("how", how);
        self.complain(complaint);
    }

    pub(super) fn item_name(&self, item: &Ref<ItemId>) -> String {
        match item {
            Ref::This(id) => {
                self.model.items.get(id.0 as usize).map_or(String::new(), |i| i.name.clone())
            }
            Ref::Turn(name) => name.clone(),
        }
    }

    /// A condition with its units checked.
    pub(super) fn condition(&mut self, written: &tree::Condition, env: &Env) -> Option<Condition> {
        let reading = self.reading(&written.value, env);
        let with = match &written.value.more {
            ValueMore::With(group) => match self.item(group, env)? {
                Ref::This(item) => Some(item),
                Ref::Turn(_) => None,
            },
            _ => None,
        };
        let test = self.test_of(&written.test, env);
        let (reading, test) = (reading?, test?);
        self.fits(reading, written, &test, with)?;
        Some(Condition { reading, with, test, place: written.place.place })
    }

    fn test_of(&mut self, test: &tree::ConditionTest, env: &Env) -> Option<ConditionTest> {
        use tree::ConditionTest as T;
        Some(match test {
            T::AtLeast(least, unit) => {
                self.unit(unit)?;
                ConditionTest::AtLeast(least.value)
            }
            T::AtMost(most, unit) => {
                self.unit(unit)?;
                ConditionTest::AtMost(most.value)
            }
            T::Between(lo, hi, unit) => {
                self.unit(unit)?;
                self.ordered_numbers(lo, hi)?;
                ConditionTest::Between(lo.value, hi.value)
            }
            T::SameAs(value) => ConditionTest::SameAs(self.reading(value, env)?),
            T::Is(answer) => ConditionTest::Is(answer.value.clone()),
        })
    }

    pub(super) fn ordered_numbers(&mut self, lo: &tree::Decimal, hi: &tree::Decimal) -> Option<()> {
        if lo.value <= hi.value {
            return Some(());
        }
        let complaint = Complaint::new(Code::RangeReversed, lo.place.to(hi.place))
            .with("lo", thousandths(lo.value))
            .with("hi", thousandths(hi.value));
        self.complain(complaint);
        None
    }

    /// Whether both sides of a comparison are of one kind.
    fn fits(
        &mut self,
        reading: ReadingId,
        written: &tree::Condition,
        test: &ConditionTest,
        with: Option<ItemId>,
    ) -> Option<()> {
        use tree::ConditionTest as T;
        let kind = self.model.readings.get(reading.0 as usize)?.answer.clone();
        let (other, place, fits) = match (&written.test, test) {
            (T::AtLeast(_, unit) | T::AtMost(_, unit) | T::Between(_, _, unit), _) => {
                (unit_word(&unit.value), unit.place, same_unit(&kind, &unit.value))
            }
            (T::SameAs(value), ConditionTest::SameAs(twin)) => {
                let twin = self.model.readings.get(twin.0 as usize)?.answer.clone();
                (kind_word(&twin), value.name.place, same_kind(&kind, &twin))
            }
            (T::Is(answer), _) => {
                if let ReadingKind::Choice(answers) = &kind {
                    return self.is_an_answer(answer, answers, &written.value.name.value);
                }
                (format!("the answer `{}`", answer.value), answer.place, false)
            }
            (T::SameAs(_), _) => return None,
        };
        let counts = matches!(&kind, ReadingKind::Number { unit: Unit::Count(_), .. });
        let fits = fits && (with.is_none() || counts);
        if fits {
            return Some(());
        }
        let complaint = Complaint::new(Code::UnitMismatch, place)
            .with("value", written.value.name.value.as_str())
            .with("unit", kind_word(&kind))
            .with("other", other);
        self.complain(complaint);
        None
    }

    fn is_an_answer(&mut self, answer: &tree::Name, answers: &[String], value: &str) -> Option<()> {
        if answers.contains(&answer.value) {
            return Some(());
        }
        let near = super::names::nearest(&answer.value, answers.iter().map(String::as_str));
        let complaint = Complaint::new(Code::ChoiceUnknown, answer.place)
            .with("answer", answer.value.as_str())
            .with("value", value)
            .with("answers", answers.join(", "))
            .near(near);
        self.complain(complaint);
        None
    }
}

fn around(middle: Millis, leeway: Millis) -> Option<Range> {
    let lo = middle.minus(leeway).max(Millis::ZERO);
    Some(Range { lo, hi: Some(middle.plus(leeway)) })
}

fn same_unit(kind: &ReadingKind, unit: &Unit) -> bool {
    match (kind, unit) {
        (ReadingKind::Number { unit: Unit::Count(one), .. }, Unit::Count(other)) => {
            singular(one) == singular(other)
        }
        (ReadingKind::Number { unit: one, .. }, other) => one == other,
        _ => false,
    }
}

fn same_kind(one: &ReadingKind, other: &ReadingKind) -> bool {
    match (one, other) {
        (ReadingKind::Number { .. }, ReadingKind::Number { unit, .. }) => same_unit(one, unit),
        (ReadingKind::Text, ReadingKind::Text) => true,
        (ReadingKind::Choice(one), ReadingKind::Choice(other)) => one == other,
        _ => false,
    }
}

pub(super) fn kind_word(kind: &ReadingKind) -> String {
    match kind {
        ReadingKind::Number { unit, .. } => unit_word(unit),
        ReadingKind::Text => "text".to_owned(),
        ReadingKind::Choice(answers) => answers.join(" or "),
    }
}

/// Thousandths as a person writes them.
fn thousandths(value: i64) -> String {
    let sign = if value < 0 { "-" } else { "" };
    let (whole, rest) = (value.unsigned_abs() / 1000, value.unsigned_abs() % 1000);
    if rest == 0 {
        return format!("{sign}{whole}");
    }
    format!("{sign}{whole}.{}", format!("{rest:03}").trim_end_matches('0'))
}
