//! What the imaginary operator answers to the questions before and after a run.
//!
//! Takes a procedure and the choices that matter to the plan; gives an answer for every reading, such
//! that every gate holds that can hold.

use crate::guide::cue::{BatteryAsk, Input, Press, Question};
use crate::procedure::model::{
    ConditionTest, ItemClass, Procedure, Reading, ReadingId, ReadingKind, Unit,
};
use crate::procedure::plan::{Choices, Thing, Value};
use std::collections::BTreeMap;
use std::sync::Arc;

/// The text that is given where any text will do, the same everywhere.
const ANY_TEXT: &str = "A1";

/// Fills in what the choices leave open.
#[must_use]
pub fn answers(procedure: &Procedure, choices: &Choices) -> Choices {
    let mut all = choices.clone();
    for (id, reading) in (0..).map(ReadingId).zip(&procedure.readings) {
        if all.answer(id).is_none() {
            let value = likely(procedure, &all, id, reading);
            all.answers.push((id, value));
        }
    }
    all
}

/// A value that fulfils the gates on this reading.
fn likely(procedure: &Procedure, choices: &Choices, id: ReadingId, reading: &Reading) -> Value {
    let gates = procedure.gates.iter().map(|gate| &gate.condition);
    let gates: Vec<_> = gates.filter(|condition| condition.reading == id).collect();
    match &reading.answer {
        ReadingKind::Text => Value::Text(ANY_TEXT.to_owned()),
        ReadingKind::Choice(names) => {
            let wanted = gates.iter().find_map(|condition| match &condition.test {
                ConditionTest::Is(name) => Some(name.clone()),
                _ => None,
            });
            Value::Text(wanted.or_else(|| names.first().cloned()).unwrap_or_default())
        }
        ReadingKind::Number { unit, plausible } => {
            let (mut lo, mut hi) = plausible.unwrap_or((0, 100_000));
            for condition in gates {
                let more = condition.with.map_or(0, |item| choices.count(procedure, item));
                let more = i64::from(more) * 1000;
                let (least, most) = match condition.test {
                    ConditionTest::AtLeast(least) => (least - more, i64::MAX),
                    ConditionTest::AtMost(most) => (i64::MIN, most - more),
                    ConditionTest::Between(least, most) => (least - more, most - more),
                    _ => continue,
                };
                (lo, hi) = (lo.max(least), hi.min(most));
            }
            let whole = matches!(unit, Unit::Count(_));
            let value = if whole { lo.saturating_add(999).div_euclid(1000) * 1000 } else { lo };
            Value::Number(if value > hi { lo } else { value })
        }
    }
}

/// A value as a person types it.
#[must_use]
pub fn typed(value: &Value) -> String {
    match value {
        Value::Text(text) => text.clone(),
        Value::Number(n) => {
            let (whole, part) = (n.unsigned_abs() / 1000, n.unsigned_abs() % 1000);
            let sign = if *n < 0 { "-" } else { "" };
            let figure = format!("{sign}{whole}.{part:03}");
            figure.trim_end_matches('0').trim_end_matches('.').to_owned()
        }
    }
}

/// The answers of an imaginary operator, question by question.
#[derive(Clone, Debug)]
pub struct Answers {
    procedure: Arc<Procedure>,
    choices: Choices,
    learned: BTreeMap<Thing, ItemClass>,
}

impl Answers {
    /// Likely answers to the questions of a procedure, with these choices.
    #[must_use]
    pub fn new(procedure: Arc<Procedure>, choices: &Choices) -> Answers {
        let choices = answers(&procedure, choices);
        Answers { procedure, choices, learned: BTreeMap::new() }
    }

    /// A thing ended like this.
    pub fn learned(&mut self, thing: Thing, class: ItemClass) {
        self.learned.insert(thing, class);
    }

    /// What the operator does about a question.
    #[must_use]
    pub fn to(&self, question: &Question) -> Input {
        input_for(&self.procedure, &self.choices, &self.learned, question)
    }
}

/// What an input types; nothing where it is a press.
#[must_use]
pub fn typed_by(input: &Input) -> Option<String> {
    match input {
        Input::Typed(text) => Some(text.clone()),
        _ => None,
    }
}

/// What the operator does about a question.
pub(super) fn input_for(
    procedure: &Procedure,
    choices: &Choices,
    learned: &BTreeMap<Thing, ItemClass>,
    question: &Question,
) -> Input {
    let type_it = |value: &Value| Input::Typed(typed(value));
    match question {
        Question::HowMany(item, ..) => Input::Typed(choices.count(procedure, *item).to_string()),
        Question::Reading(id) => choices.answer(*id).map_or(Input::Press(Press::Done), type_it),
        Question::Recount(n) => {
            let Some(recount) = procedure.recounts.get(*n as usize) else {
                return Input::Press(Press::Done);
            };
            let times = recount.per.map_or(1, |item| {
                let good = learned.iter();
                good.filter(|(t, c)| t.item == item && **c == ItemClass::Learned).count()
            });
            let more = i64::from(recount.more) * i64::try_from(times).unwrap_or(0) * 1000;
            match choices.answer(recount.reading) {
                Some(Value::Number(before)) => type_it(&Value::Number(before + more)),
                _ => Input::Press(Press::Done),
            }
        }
        Question::Battery(ask) => battery(procedure, *ask),
        // It was meant.
        Question::ReallySlip(_) => Input::Press(Press::Slip),
        _ => Input::Press(Press::Done),
    }
}

/// A healthy battery; a charger where the floor is more than a battery holds well.
fn battery(procedure: &Procedure, ask: BatteryAsk) -> Input {
    use BatteryAsk as A;
    let floor = procedure.battery.map_or(0, |need| i64::from(need.floor.0));
    let carried = typed(&Value::Number(floor + 300));
    let text = match ask {
        A::Kind => "flooded",
        A::RestVoltage | A::RestVoltageAgain => "12.63",
        A::Capacity | A::ReserveMinutes => "90",
        A::Age => "2",
        A::Temperature => "20",
        A::KeyOnVoltage => "12.58",
        A::Load => "5",
        A::Charger if floor > 12_400 => "yes",
        A::Charger => "no",
        A::ChargerCurrent => "60",
        A::ChargerVoltage | A::ChargerVoltageAgain => &carried,
        A::Limit => "30",
    };
    Input::Typed(text.to_owned())
}
