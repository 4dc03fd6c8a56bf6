//! What may be chosen before a run: every count and every answer that changes the plan.
//!
//! Takes a model; gives [`variants`], one [`Choices`] for each plan that there can be, and whether
//! a condition holds under given choices.

use super::{Choices, Value};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    Condition, ConditionTest, HowMany, ItemId, Node, Procedure, ReadingId, ReadingKind,
};
use crate::source::Place;
use std::collections::BTreeMap;

/// At most this many plans of one script are checked (common practice, no source: a page of
/// counts and answers that a person can still survey).
pub const MOST_VARIANTS: usize = 64;

impl Choices {
    /// How many of this group there are; a group that was not chosen has its least count.
    #[must_use]
    pub fn count(&self, procedure: &Procedure, item: ItemId) -> u32 {
        let chosen = self.counts.iter().find(|(i, _)| *i == item).map(|(_, n)| *n);
        chosen.unwrap_or_else(|| procedure.items.get(item.0 as usize).map_or(1, |i| i.count.0))
    }

    /// The answer to a reading, if it was given.
    #[must_use]
    pub fn answer(&self, reading: ReadingId) -> Option<&Value> {
        self.answers.iter().find(|(r, _)| *r == reading).map(|(_, v)| v)
    }

    /// Whether a condition holds; one on a reading without an answer does not.
    #[must_use]
    pub fn holds(&self, procedure: &Procedure, condition: &Condition) -> bool {
        let Some(value) = self.answer(condition.reading) else { return false };
        let more = condition
            .with
            .map_or(0, |item| i64::from(self.count(procedure, item)).saturating_mul(1000));
        match (&condition.test, value) {
            (ConditionTest::AtLeast(n), Value::Number(v)) => v.saturating_add(more) >= *n,
            (ConditionTest::AtMost(n), Value::Number(v)) => v.saturating_add(more) <= *n,
            (ConditionTest::Between(lo, hi), Value::Number(v)) => {
                (*lo..=*hi).contains(&v.saturating_add(more))
            }
            (ConditionTest::SameAs(other), value) => {
                self.answer(*other).is_some_and(|o| same(value, o))
            }
            (ConditionTest::Is(name), Value::Text(text)) => name == text,
            _ => false,
        }
    }
}

/// Texts are compared without regard to case and outer blanks.
fn same(one: &Value, other: &Value) -> bool {
    match (one, other) {
        (Value::Text(a), Value::Text(b)) => a.trim().to_lowercase() == b.trim().to_lowercase(),
        (a, b) => a == b,
    }
}

/// One thing that can be chosen.
enum Axis {
    Count(ItemId, u32, u32),
    Answer(ReadingId, Vec<Value>),
}

impl Axis {
    fn size(&self) -> usize {
        match self {
            Axis::Count(_, lo, hi) => hi.saturating_sub(*lo) as usize + 1,
            Axis::Answer(_, values) => values.len(),
        }
    }

    fn choose(&self, nth: usize, choices: &mut Choices) {
        match self {
            Axis::Count(item, lo, _) => {
                choices.counts.push((*item, lo.saturating_add(u32::try_from(nth).unwrap_or(0))));
            }
            Axis::Answer(reading, values) => choices.answers.push((*reading, values[nth].clone())),
        }
    }

    fn place(&self, procedure: &Procedure) -> Place {
        let place = match self {
            Axis::Count(item, ..) => procedure.items.get(item.0 as usize).map(|i| i.place),
            Axis::Answer(reading, _) => procedure.readings.get(reading.0 as usize).map(|r| r.place),
        };
        place.unwrap_or_default()
    }
}

/// Every plan that a script can become: all counts of every group, times all answers that an
/// `only if` or a count tells apart.
///
/// # Errors
/// More than [`MOST_VARIANTS`].
pub fn variants(procedure: &Procedure) -> Result<Vec<Choices>, Box<Complaint>> {
    let axes = axes(procedure);
    let count = axes.iter().fold(1usize, |n, axis| n.saturating_mul(axis.size()));
    if count > MOST_VARIANTS {
        let widest = axes.iter().max_by_key(|axis| axis.size());
        let place = widest.map_or_else(Place::default, |axis| axis.place(procedure));
        let complaint = Complaint::new(Code::TooManyVariants, place)
            .with("count", i64::try_from(count).unwrap_or(i64::MAX))
            .with("most", i64::try_from(MOST_VARIANTS).unwrap_or(i64::MAX));
        return Err(Box::new(complaint));
    }
    let mut all = vec![Choices::default()];
    for axis in &axes {
        all = all
            .iter()
            .flat_map(|so_far| (0..axis.size()).map(move |nth| (so_far.clone(), nth)))
            .map(|(mut choices, nth)| {
                axis.choose(nth, &mut choices);
                choices
            })
            .collect();
    }
    Ok(all)
}

fn axes(procedure: &Procedure) -> Vec<Axis> {
    let mut axes: Vec<Axis> = procedure
        .items
        .iter()
        .zip(0u32..)
        .filter(|(item, _)| item.group)
        .map(|(item, nth)| Axis::Count(ItemId(nth), item.count.0, item.count.1.max(item.count.0)))
        .collect();
    let mut told_apart = BTreeMap::new();
    let bodies = procedure.ways.iter().map(|way| &way.body).chain([&procedure.body]);
    for body in bodies {
        for node in body {
            collect(procedure, node, &mut told_apart);
        }
    }
    axes.extend(
        told_apart.into_iter().filter(|(_, v)| !v.is_empty()).map(|(r, v)| Axis::Answer(r, v)),
    );
    axes
}

type Told = BTreeMap<ReadingId, Vec<Value>>;

fn collect(procedure: &Procedure, node: &Node, told: &mut Told) {
    match node {
        Node::OnlyIf { condition, body } => {
            by_condition(procedure, condition, told);
            body.iter().for_each(|node| collect(procedure, node, told));
        }
        Node::Each { body, .. }
        | Node::Repeat { body, .. }
        | Node::Phase { body, .. }
        | Node::Part { body, .. } => body.iter().for_each(|node| collect(procedure, node, told)),
        Node::Step(step) => {
            if let Some(HowMany::Reading(reading)) = step.count.as_ref().map(|c| &c.how_many) {
                by_count(procedure, *reading, told);
            }
        }
        Node::NoWayBack { .. } | Node::Finish(..) => {}
    }
}

/// The values on either side of what a condition compares with.
fn by_condition(procedure: &Procedure, condition: &Condition, told: &mut Told) {
    let text = |word: &str| Value::Text(word.to_owned());
    match &condition.test {
        ConditionTest::AtLeast(n) => number(procedure, condition, &[n.saturating_sub(1), *n], told),
        ConditionTest::AtMost(n) => number(procedure, condition, &[*n, n.saturating_add(1)], told),
        ConditionTest::Between(lo, hi) => {
            let cuts = [lo.saturating_sub(1), *lo, *hi, hi.saturating_add(1)];
            number(procedure, condition, &cuts, told);
        }
        ConditionTest::SameAs(other) => {
            add(procedure, condition.reading, [text("one"), text("other")], told);
            add(procedure, *other, [text("one")], told);
        }
        ConditionTest::Is(_) => {
            let kind = procedure.readings.get(condition.reading.0 as usize).map(|r| &r.answer);
            if let Some(ReadingKind::Choice(names)) = kind {
                add(procedure, condition.reading, names.iter().map(|n| text(n)), told);
            }
        }
    }
}

/// Cut points of a number; a chosen count on top moves them by at most that count.
fn number(procedure: &Procedure, condition: &Condition, cuts: &[i64], told: &mut Told) {
    let count =
        condition.with.and_then(|item| procedure.items.get(item.0 as usize)).map(|i| i.count);
    let shifts: Vec<i64> = match count {
        Some((lo, hi)) => (lo..=hi).map(|n| i64::from(n).saturating_mul(1000)).collect(),
        None => vec![0],
    };
    let values = shifts
        .iter()
        .flat_map(|shift| cuts.iter().map(move |cut| Value::Number(cut.saturating_sub(*shift))));
    add(procedure, condition.reading, values, told);
}

/// The least and the most strokes that are plausible.
fn by_count(procedure: &Procedure, reading: ReadingId, told: &mut Told) {
    if let Some((lo, hi)) = plausible(procedure, reading) {
        add(procedure, reading, [Value::Number(lo), Value::Number(hi)], told);
    }
}

fn add(
    procedure: &Procedure,
    reading: ReadingId,
    values: impl IntoIterator<Item = Value>,
    told: &mut Told,
) {
    // A late answer cannot change the plan: `only if` on one is a complaint of its own.
    if !procedure.readings.get(reading.0 as usize).is_some_and(|r| r.before) {
        return;
    }
    let range = plausible(procedure, reading);
    let known = told.entry(reading).or_default();
    for value in values {
        let possible = match (&value, range) {
            (Value::Number(n), Some((lo, hi))) => (lo..=hi).contains(n),
            _ => true,
        };
        if possible && !known.contains(&value) {
            known.push(value);
        }
    }
}

/// The plausible range of a number, in thousandths.
pub(super) fn plausible(procedure: &Procedure, reading: ReadingId) -> Option<(i64, i64)> {
    match procedure.readings.get(reading.0 as usize)?.answer {
        ReadingKind::Number { plausible, .. } => plausible,
        _ => None,
    }
}
