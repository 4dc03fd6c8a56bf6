//! The questions before the run, one after the other: nothing starts before each is answered.
//!
//! Takes presses and typed texts; gives the choices with which the run is planned, or the end of it
//! before it began. Waits for the person only: no time passes that matters.

use crate::guide::battery::{self, Asked, Battery};
use crate::guide::cue::{AnswerText, BatteryAsk, Cue, Fact, Means, Notice, Press, Question};
use crate::guide::out::Out;
use crate::guide::reading::{self, Refused};
use crate::power::Length;
use crate::procedure::model::{Item, ItemId, Procedure, ReadingId, ReadingKind, Status, TextId};
use crate::procedure::plan::{Choices, Value};

/// The word written down for a question answered with no.
const NO: &str = "no";
/// The word written down when the battery is measured once more.
const MEASURE_AGAIN: &str = "measure again";
/// The word written down when the person goes on although a gate does not hold.
const GO_ON: &str = "go on";

/// The questions, where the person is in them, and what was answered.
#[derive(Clone, Debug)]
pub(super) struct Preparation {
    asks: Vec<Question>,
    at: usize,
    read_back: Option<Value>,
    /// The talk about the battery, where the script asks for one.
    battery: Option<Battery>,
    /// What was chosen and answered so far.
    pub choices: Choices,
}

/// What an answer led to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Led {
    /// The same or another question is on show.
    On,
    /// Every question is answered: begin.
    Begin,
    /// It ends here.
    Stop,
}

/// A yes or a no, whichever way it was given.
#[derive(Clone, Copy, PartialEq, Eq)]
enum YesNo {
    Yes,
    No,
}

impl Preparation {
    /// All questions of a procedure in their order. A rehearsal never asks whether a real vehicle is
    /// meant: it says at its start that none is; and it has no battery. `length` is the worst length
    /// of the run.
    pub fn new(procedure: &Procedure, rehearsal: bool, length: Length) -> Preparation {
        let mut asks = Vec::new();
        if procedure.status == Some(Status::Demonstration) && !rehearsal {
            asks.push(Question::Demonstration);
        }
        asks.push(Question::LocalRules);
        if procedure.affirm_ownership.is_some() {
            asks.push(Question::Ownership);
        }
        asks.extend(numbers(&procedure.affirm).map(Question::Affirm));
        asks.extend(numbers(&procedure.alerts).map(Question::Alert));
        for (item, def) in items(procedure) {
            if def.group && def.count.0 < def.count.1 {
                asks.push(Question::HowMany(item, def.count.0, def.count.1));
            }
        }
        asks.extend(items(procedure).map(|(item, _)| Question::ItemAtHand(item)));
        asks.extend(numbers(&procedure.secrets).map(Question::AtHand));
        for (i, reading) in numbers(&procedure.readings).zip(&procedure.readings) {
            if reading.before {
                asks.push(Question::Reading(ReadingId(i)));
            }
        }
        let battery = procedure.battery.filter(|_| !rehearsal);
        asks.extend(battery.map(|_| Question::Battery(BatteryAsk::Kind)));
        asks.extend(numbers(&procedure.gates).map(Question::GateClosed));
        asks.extend(numbers(&procedure.checklist).map(Question::Checklist));
        asks.push(Question::Start);
        let counts = items(procedure).filter(|(_, def)| def.group);
        let counts = counts.map(|(item, def)| (item, def.count.0)).collect();
        let choices = Choices { counts, answers: Vec::new() };
        let battery = battery.map(|need| Battery::new(need, length));
        Preparation { asks, at: 0, read_back: None, battery, choices }
    }

    /// The question on show.
    pub fn question(&self) -> Question {
        match (self.asks.get(self.at), &self.read_back) {
            (Some(Question::Reading(reading)), Some(value)) => {
                Question::ReadBack(*reading, value.clone())
            }
            (Some(Question::Battery(_)), _) => self.about_battery(),
            (Some(question), _) => question.clone(),
            (None, _) => Question::Start,
        }
    }

    fn about_battery(&self) -> Question {
        match self.battery.as_ref().map(Battery::asked) {
            Some(Asked::About(ask)) => Question::Battery(ask),
            Some(Asked::ReadBack(ask, number)) => Question::BatteryReadBack(ask, number),
            Some(Asked::Judged(assessment)) => Question::BatteryJudged(assessment),
            None => Question::Start,
        }
    }

    /// The talk about the battery, while its questions are on show.
    fn battery(&mut self) -> Option<&mut Battery> {
        let here = matches!(self.asks.get(self.at), Some(Question::Battery(_)));
        self.battery.as_mut().filter(|_| here)
    }

    /// How far: questions answered, questions in all.
    pub fn progress(&self) -> (u32, u32) {
        let n = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        (n(self.at), n(self.asks.len()))
    }

    /// Says the question on show, where the script words it.
    pub fn say(&self, procedure: &Procedure, cue: Cue, out: &mut Out) {
        if let Some(text) = question_text(procedure, &self.question()) {
            out.say(text, cue);
        }
    }

    /// A press, other than stop and hold.
    pub fn press(&mut self, procedure: &Procedure, press: Press, out: &mut Out) -> Led {
        match press {
            Press::SayAgain => {
                self.say(procedure, Cue::Again, out);
                Led::On
            }
            Press::TakeBack => self.back(procedure, out),
            Press::Done | Press::SomethingElse | Press::Answer(_) if self.battery().is_some() => {
                let Some(battery) = self.battery() else { return Led::On };
                let led = match press {
                    Press::Done => battery.yes(),
                    Press::Answer(n) => battery.number(n),
                    _ => battery.no(),
                };
                self.battery_led(procedure, led, out)
            }
            Press::Done => self.answer(procedure, YesNo::Yes, out),
            Press::SomethingElse => self.answer(procedure, YesNo::No, out),
            Press::Answer(n) => self.number(procedure, n, out),
            Press::Slip | Press::Hold | Press::Stop => Led::On,
        }
    }

    /// A typed text.
    pub fn typed(&mut self, procedure: &Procedure, typed: &str, out: &mut Out) -> Led {
        if let Some(battery) = self.battery() {
            let led = battery.typed(typed);
            return self.battery_led(procedure, led, out);
        }
        match self.question() {
            Question::HowMany(item, least, most) => match reading::count(typed, least, most) {
                Ok(n) => self.how_many(procedure, item, n, out),
                Err(refused) => self.refuse(refused, out),
            },
            Question::Reading(id) | Question::ReadBack(id, _) => {
                let Some(def) = procedure.readings.get(id.0 as usize) else {
                    return self.next(procedure, out);
                };
                match reading::read(&def.answer, typed) {
                    Ok(value) if reading::as_typed(&value, typed) => {
                        return self.take(procedure, id, value, out);
                    }
                    Ok(value) => self.read_back = Some(value),
                    Err(refused) => {
                        self.read_back = None;
                        return self.refuse(refused, out);
                    }
                }
                Led::On
            }
            _ => match yes_no(typed) {
                Some(answer) => self.answer(procedure, answer, out),
                None => self.refuse(Refused::NotUnderstood, out),
            },
        }
    }

    fn number(&mut self, procedure: &Procedure, n: u8, out: &mut Out) -> Led {
        match (self.question(), n) {
            (Question::HowMany(item, least, most), n) => {
                match reading::count(&n.to_string(), least, most) {
                    Ok(n) => self.how_many(procedure, item, n, out),
                    Err(refused) => self.refuse(refused, out),
                }
            }
            (Question::Reading(id), n) => match nth_choice(procedure, id, n) {
                Some(value) => self.take(procedure, id, value, out),
                None => self.refuse(Refused::NotUnderstood, out),
            },
            (_, 1) => self.answer(procedure, YesNo::Yes, out),
            (_, 2) => self.answer(procedure, YesNo::No, out),
            _ => self.refuse(Refused::NotUnderstood, out),
        }
    }

    fn how_many(&mut self, procedure: &Procedure, item: ItemId, n: u32, out: &mut Out) -> Led {
        self.choices.counts.retain(|(i, _)| *i != item);
        self.choices.counts.push((item, n));
        let value = Value::Number(i64::from(n) * 1000);
        out.record(Fact::Answered(self.question(), Some(value)));
        self.next(procedure, out)
    }

    /// Takes a value that the person has seen.
    fn take(&mut self, procedure: &Procedure, id: ReadingId, value: Value, out: &mut Out) -> Led {
        self.choices.answers.retain(|(r, _)| *r != id);
        self.choices.answers.push((id, value.clone()));
        out.record(Fact::Answered(Question::Reading(id), Some(value)));
        self.next(procedure, out)
    }

    fn answer(&mut self, procedure: &Procedure, answer: YesNo, out: &mut Out) -> Led {
        let question = self.question();
        match (question, answer) {
            (Question::ReadBack(id, value), YesNo::Yes) => self.take(procedure, id, value, out),
            (Question::ReadBack(..), YesNo::No) => {
                self.read_back = None;
                self.say(procedure, Cue::Question, out);
                Led::On
            }
            (Question::Reading(_) | Question::HowMany(..), _) => {
                self.refuse(Refused::NotUnderstood, out)
            }
            (Question::Start, YesNo::Yes) => {
                out.record(Fact::Answered(Question::Start, None));
                Led::Begin
            }
            (question @ Question::GateClosed(_), YesNo::Yes) => {
                out.record(Fact::Answered(question, Some(Value::Text(GO_ON.to_owned()))));
                self.next(procedure, out)
            }
            (question, YesNo::Yes) => {
                out.record(Fact::Answered(question, None));
                self.next(procedure, out)
            }
            (question, YesNo::No) => {
                let ends = ends_it(&question);
                out.record(Fact::Answered(question, Some(Value::Text(NO.to_owned()))));
                if ends { Led::Stop } else { Led::On }
            }
        }
    }

    /// What an answer about the battery led to, written down.
    fn battery_led(&mut self, procedure: &Procedure, led: battery::Led, out: &mut Out) -> Led {
        use battery::Led as B;
        let mut judged = |assessment, word: Option<&str>| {
            let word = word.map(|word| Value::Text(word.to_owned()));
            out.record(Fact::Answered(Question::BatteryJudged(assessment), word));
        };
        match led {
            B::Taken(ask, value) => out.record(Fact::Answered(Question::Battery(ask), Some(value))),
            B::Refused(refused) => return self.refuse(refused, out),
            B::Again => {}
            B::Enough(assessment) => {
                judged(assessment, None);
                return self.next(procedure, out);
            }
            B::Measured(assessment) => judged(assessment, Some(MEASURE_AGAIN)),
            B::Stop(assessment) => {
                judged(assessment, Some(NO));
                return Led::Stop;
            }
        }
        Led::On
    }

    fn refuse(&mut self, refused: Refused, out: &mut Out) -> Led {
        out.refuse(match refused {
            Refused::NotUnderstood => Notice::NotUnderstood,
            Refused::NotPlausible => Notice::NotPlausible,
        });
        Led::On
    }

    /// On to the next question that has to be asked. A gate that holds is none; a gate that must
    /// hold and does not ends it.
    fn next(&mut self, procedure: &Procedure, out: &mut Out) -> Led {
        self.read_back = None;
        loop {
            self.at += 1;
            let Some(Question::GateClosed(n)) = self.asks.get(self.at) else { break };
            let Some(gate) = procedure.gates.get(*n as usize) else { continue };
            if self.choices.holds(procedure, &gate.condition) {
                continue;
            }
            if gate.must {
                out.record(Fact::Answered(Question::GateClosed(*n), None));
                out.say(gate.otherwise, Cue::Notice);
                return Led::Stop;
            }
            break;
        }
        self.at = self.at.min(self.asks.len() - 1);
        self.say(procedure, Cue::Question, out);
        Led::On
    }

    /// Back to the question before; gates decide themselves anew on the way forward.
    fn back(&mut self, procedure: &Procedure, out: &mut Out) -> Led {
        if self.battery().is_some_and(Battery::back) {
            return Led::On;
        }
        if self.read_back.take().is_none() {
            self.at = self.at.saturating_sub(1);
            while self.at > 0 && matches!(self.asks.get(self.at), Some(Question::GateClosed(_))) {
                self.at -= 1;
            }
        }
        self.say(procedure, Cue::Question, out);
        Led::On
    }
}

/// What a press of *done* means for a question.
pub(super) fn means(question: &Question) -> Means {
    match question {
        Question::LocalRules | Question::Alert(_) => Means::Understood,
        Question::HowMany(..) | Question::Reading(_) | Question::Recount(_) => Means::Nothing,
        Question::Battery(BatteryAsk::Charger) => Means::Yes,
        Question::Battery(_) => Means::Nothing,
        Question::GateClosed(_) => Means::GoOn,
        Question::BatteryJudged(assessment) if assessment.may_start() => Means::GoOn,
        _ => Means::Yes,
    }
}

/// The numbered answers of a question: the names of a choice; others have none.
pub(super) fn answers(procedure: &Procedure, question: &Question) -> Vec<AnswerText> {
    if *question == Question::Battery(BatteryAsk::Kind) {
        return (0..battery::KINDS_KNOWN).map(AnswerText::Choice).collect();
    }
    let Question::Reading(id) = question else { return Vec::new() };
    match procedure.readings.get(id.0 as usize).map(|def| &def.answer) {
        Some(ReadingKind::Choice(names)) => numbers(names).map(AnswerText::Choice).collect(),
        _ => Vec::new(),
    }
}

/// The script's words for a question; the faces word the others.
pub(super) fn question_text(procedure: &Procedure, question: &Question) -> Option<TextId> {
    let reading = |id: &ReadingId| procedure.readings.get(id.0 as usize).map(|def| def.text);
    match question {
        Question::Affirm(n) => procedure.affirm.get(*n as usize).copied(),
        Question::Alert(n) => procedure.alerts.get(*n as usize).map(|alert| alert.text),
        Question::HowMany(item, ..) | Question::ItemAtHand(item) => {
            procedure.items.get(item.0 as usize).map(|def| def.label)
        }
        Question::Reading(id) | Question::ReadBack(id, _) => reading(id),
        Question::AtHand(n) => procedure.secrets.get(*n as usize).map(|(_, text)| *text),
        Question::GateClosed(n) => procedure.gates.get(*n as usize).map(|gate| gate.otherwise),
        Question::Checklist(n) => procedure.checklist.get(*n as usize).copied(),
        Question::Test(n, _) => procedure.tests.get(*n as usize).map(|test| test.text),
        Question::Recount(n) => {
            procedure.recounts.get(*n as usize).and_then(|recount| reading(&recount.reading))
        }
        Question::Demonstration
        | Question::LocalRules
        | Question::Ownership
        | Question::Battery(_)
        | Question::BatteryReadBack(..)
        | Question::BatteryJudged(_)
        | Question::Start
        | Question::ReallyStop
        | Question::ReallySlip(_) => None,
    }
}

/// The nth name of a choice, from 1.
pub(super) fn nth_choice(procedure: &Procedure, id: ReadingId, n: u8) -> Option<Value> {
    let names = match &procedure.readings.get(id.0 as usize)?.answer {
        ReadingKind::Choice(names) => names,
        _ => return None,
    };
    names.get(usize::from(n).checked_sub(1)?).map(|name| Value::Text(name.clone()))
}

/// Whether a no ends it: a right or a duty is missing. Without a thing or a state the person may
/// still fetch or mend it, and the question stays.
fn ends_it(question: &Question) -> bool {
    matches!(
        question,
        Question::Demonstration
            | Question::LocalRules
            | Question::Ownership
            | Question::Affirm(_)
            | Question::GateClosed(_)
    )
}

fn yes_no(typed: &str) -> Option<YesNo> {
    match typed.trim().to_lowercase().as_str() {
        "y" | "yes" => Some(YesNo::Yes),
        "n" | "no" => Some(YesNo::No),
        _ => None,
    }
}

/// All items with their numbers.
fn items(procedure: &Procedure) -> impl Iterator<Item = (ItemId, &Item)> {
    numbers(&procedure.items).map(ItemId).zip(&procedure.items)
}

/// The numbers of a list's entries.
fn numbers<T>(list: &[T]) -> std::ops::Range<u32> {
    0..u32::try_from(list.len()).unwrap_or(u32::MAX)
}
