//! From what the guide works with to what a record says, and back for inputs.
//!
//! Takes effects and inputs with the procedure and the plan that their numbers point into; gives the
//! types of `happened` with every name and text in full. A number that points nowhere becomes an
//! empty text, never a panic.

use serde::Deserialize;
use serde_json::{Map, Value as Json};

use super::battery::{ask_of, judged_of};
use super::entry::{Body, EndingClass, Sender};
use super::happened as h;
use crate::guide::cue::{self, AnswerText, Frame, Notice, Press, Question};
use crate::procedure::model::{
    self, ItemClass, Procedure, ReadingId, ReadingKind, SignId, SignPattern, TextId, Unit,
};
use crate::procedure::plan::{GuardIx, Plan, StepIx, Thing, Value};
use crate::procedure::timing;
use crate::source::SourceMap;

/// What numbers point into.
#[derive(Clone, Copy, Debug)]
pub struct Context<'a> {
    /// The checked model.
    pub procedure: &'a Procedure,
    /// The plan, once the choices are made.
    pub plan: Option<&'a Plan>,
    /// The script's files.
    pub sources: &'a SourceMap,
}

/// The line of an input, and who sent it, where it was not done at the computer itself.
#[must_use]
pub fn input_body(input: &h::Input, from: Option<Sender>) -> Body {
    Body::Input { what: object(input), from }
}

/// The line of an effect.
#[must_use]
pub fn effect_body(effect: &h::Effect) -> Body {
    Body::Effect { what: object(effect) }
}

fn object(value: &impl serde::Serialize) -> Map<String, Json> {
    // Plain structures with text keys, for which serde_json cannot fail.
    match serde_json::to_value(value) {
        Ok(Json::Object(map)) => map,
        _ => Map::new(),
    }
}

/// An input line back, or `None` where another version wrote it.
#[must_use]
pub fn input_of(what: &Map<String, Json>) -> Option<h::Input> {
    h::Input::deserialize(what).ok()
}

/// An effect line back, or `None` where another version wrote it.
#[must_use]
pub fn effect_of(what: &Map<String, Json>) -> Option<h::Effect> {
    h::Effect::deserialize(what).ok()
}

/// What the guide is told, from what a record says.
#[must_use]
pub fn to_guide(input: &h::Input) -> cue::Input {
    use h::Input as I;
    let press = match input {
        I::Wake => return cue::Input::Wake,
        I::Typed { text } => return cue::Input::Typed(text.clone()),
        I::Lost { guard, .. } => return cue::Input::Lost(GuardIx(*guard)),
        I::Away { how, ms } => {
            let how = match how {
                h::Away::Slept => cue::GapKind::Slept,
                h::Away::Stopped => cue::GapKind::Stopped,
                h::Away::Late => cue::GapKind::Late,
            };
            return cue::Input::Gap(how, crate::clock::Millis(*ms));
        }
        I::Done => Press::Done,
        I::Answer { number } => Press::Answer(*number),
        I::SomethingElse => Press::SomethingElse,
        I::Slip => Press::Slip,
        I::SayAgain => Press::SayAgain,
        I::TakeBack => Press::TakeBack,
        I::Hold => Press::Hold,
        I::Stop => Press::Stop,
    };
    cue::Input::Press(press)
}

const fn away(how: cue::GapKind) -> h::Away {
    match how {
        cue::GapKind::Slept => h::Away::Slept,
        cue::GapKind::Stopped => h::Away::Stopped,
        cue::GapKind::Late => h::Away::Late,
    }
}

/// The class of an ending, as written.
#[must_use]
pub const fn ending_class(class: model::EndingClass) -> EndingClass {
    match class {
        model::EndingClass::Learned => EndingClass::Learned,
        model::EndingClass::NotLearned => EndingClass::NotLearned,
        model::EndingClass::Unsure => EndingClass::Unsure,
        model::EndingClass::Stopped => EndingClass::Stopped,
    }
}

/// The class of one item's ending, as written.
#[must_use]
pub const fn item_class(class: ItemClass) -> EndingClass {
    match class {
        ItemClass::Learned => EndingClass::Learned,
        ItemClass::NotLearned => EndingClass::NotLearned,
        ItemClass::Unsure => EndingClass::Unsure,
    }
}

/// A unit as the language spells it.
#[must_use]
pub fn unit_word(unit: &Unit) -> &str {
    match unit {
        Unit::Volt => "V",
        Unit::Ampere => "A",
        Unit::AmpereHour => "Ah",
        Unit::Megahertz => "MHz",
        Unit::Kilohertz => "kHz",
        Unit::Celsius => "°C",
        Unit::Kilopascal => "kPa",
        Unit::KilometreHour => "km/h",
        Unit::Percent => "%",
        Unit::Count(name) => name,
    }
}

impl Context<'_> {
    /// An input as a record says it.
    #[must_use]
    pub fn input(&self, input: &cue::Input) -> h::Input {
        match input {
            cue::Input::Wake => h::Input::Wake,
            cue::Input::Typed(text) => h::Input::Typed { text: text.clone() },
            cue::Input::Lost(guard) => {
                h::Input::Lost { guard: guard.0, text: self.guard(*guard).0 }
            }
            cue::Input::Gap(how, length) => h::Input::Away { how: away(*how), ms: length.0 },
            cue::Input::Press(press) => match press {
                Press::Done => h::Input::Done,
                Press::Answer(number) => h::Input::Answer { number: *number },
                Press::SomethingElse => h::Input::SomethingElse,
                Press::Slip => h::Input::Slip,
                Press::SayAgain => h::Input::SayAgain,
                Press::TakeBack => h::Input::TakeBack,
                Press::Hold => h::Input::Hold,
                Press::Stop => h::Input::Stop,
            },
        }
    }

    /// An effect as a record says it; `None` for a wake-up, which concerns only the clock.
    #[must_use]
    pub fn effect(&self, effect: &cue::Effect) -> Option<h::Effect> {
        Some(match effect {
            cue::Effect::Show(frame) => h::Effect::Show(Box::new(self.shown(frame))),
            cue::Effect::Say(text, cue) => {
                h::Effect::Say { cue: cue_of(*cue), text: self.text(*text) }
            }
            cue::Effect::Ring(tone) => h::Effect::Ring { tone: tone_of(*tone) },
            cue::Effect::Record(fact) => h::Effect::Fact { fact: self.fact(fact) },
            cue::Effect::WakeAt(_) => return None,
            cue::Effect::Ended(ending, class) => {
                let known = self.procedure.endings.get(ending.0 as usize);
                h::Effect::Ended {
                    ending: known.map_or_else(String::new, |e| e.name.clone()),
                    class: ending_class(*class),
                    text: known.and_then(|e| e.text).map(|text| self.text(text)),
                    hand_over: known.and_then(|e| e.hand_over.clone()),
                }
            }
        })
    }

    /// A text in full.
    #[must_use]
    pub fn text(&self, id: TextId) -> String {
        self.procedure.text(id).to_owned()
    }

    /// What a guard says, and whether it forbids.
    #[must_use]
    pub fn guard(&self, ix: GuardIx) -> (String, bool) {
        let guard = self.plan.and_then(|plan| plan.guards.get(ix.0 as usize));
        guard.map_or_else(Default::default, |guard| (self.text(guard.text), guard.forbids))
    }

    /// A step with its name, line and turn.
    #[must_use]
    pub fn step(&self, ix: StepIx) -> h::StepAt {
        let step = self.plan.and_then(|plan| plan.steps.get(ix.0 as usize));
        let Some(step) = step else {
            return h::StepAt { ix: ix.0, name: String::new(), line: 0, file: None, turn: None };
        };
        let file = self.sources.get(step.place.file).filter(|_| step.place.file.0 > 0);
        h::StepAt {
            ix: ix.0,
            name: step.name.clone(),
            line: self.sources.line_col(step.place).line,
            file: file.map(|file| file.name().to_owned()),
            turn: step.turn.map(|(nth, of)| (nth + 1, of)),
        }
    }

    /// A thing's label, with how it feels and which of its group it is.
    #[must_use]
    pub fn label(&self, thing: Thing) -> String {
        let Some(item) = self.procedure.items.get(thing.item.0 as usize) else {
            return String::new();
        };
        let mut label = self.text(item.label);
        let chosen = self.plan.and_then(|plan| {
            plan.choices.counts.iter().find(|(id, _)| *id == thing.item).map(|(_, count)| *count)
        });
        if item.group && chosen.unwrap_or(item.count.1) > 1 {
            label = format!("{label}, number {}", thing.nth + 1);
        }
        match item.felt {
            Some(felt) => format!("{label} ({})", self.text(felt)),
            None => label,
        }
    }

    /// A sign as it is recorded.
    #[must_use]
    pub fn sign(&self, id: SignId) -> h::Sign {
        let Some(sign) = self.procedure.signs.get(id.0 as usize) else {
            return h::Sign {
                sense: h::Sense::See,
                object: String::new(),
                times: None,
                state: None,
            };
        };
        let (times, state) = match &sign.pattern {
            SignPattern::Plain => (None, None),
            SignPattern::Times(times) => (Some(*times), None),
            SignPattern::State(state) => (None, Some(state.clone())),
        };
        let sense = match sign.sense {
            model::Sense::See => h::Sense::See,
            model::Sense::Hear => h::Sense::Hear,
            model::Sense::Feel => h::Sense::Feel,
            model::Sense::Read => h::Sense::Read,
        };
        h::Sign { sense, object: self.text(sign.object), times, state }
    }

    /// The signs of a step's nth answer.
    #[must_use]
    pub fn met(&self, step: Option<StepIx>, nth: u32) -> Vec<h::Sign> {
        let step = self.plan.zip(step).and_then(|(plan, ix)| plan.steps.get(ix.0 as usize));
        let met = step.and_then(|step| step.met.get(nth as usize));
        met.map_or_else(Vec::new, |met| met.signs.iter().map(|id| self.sign(*id)).collect())
    }

    /// A whole frame.
    #[must_use]
    pub fn shown(&self, frame: &Frame) -> h::Shown {
        let step = self.plan.zip(frame.step).and_then(|(plan, ix)| plan.steps.get(ix.0 as usize));
        let who = step.and_then(|step| step.by).and_then(|by| {
            self.procedure.helpers.get(by.0 as usize).map(|profile| profile.name.clone())
        });
        h::Shown {
            stage: stage_of(frame.stage),
            step: frame.step.map(|ix| self.step(ix)),
            progress: frame.progress,
            who,
            hands: frame.hands.iter().map(|thing| self.label(*thing)).collect(),
            act: frame.act.map(|id| self.text(id)),
            ways: step.map_or(&[][..], |step| &step.ways).iter().map(|id| self.text(*id)).collect(),
            away: step
                .map_or(&[][..], |step| &step.away)
                .iter()
                .map(|away| self.away(away))
                .collect(),
            caution: self.caution(frame),
            means: means_of(frame.means),
            hoped: match frame.means {
                cue::Means::AnswerCame => self.met(frame.reported, 0),
                _ => Vec::new(),
            },
            next: frame.next.map(|id| self.text(id)),
            window: window_of(frame.window),
            count: frame.count.map(|count| self.count(count)),
            answers: self.answers(&frame.answers, frame),
            question: frame.question.as_ref().map(|q| self.question(q, frame.step)),
            notice: frame.notice.as_ref().map(|n| self.notice(n)),
            hold: match frame.hold {
                cue::HoldState::No => h::Hold::No,
                cue::HoldState::Asked(before) => {
                    h::Hold::Asked { before: before.map(|ix| self.step(ix)) }
                }
                cue::HoldState::Held => h::Hold::Held,
            },
        }
    }

    fn away(&self, (thing, place): &(Thing, TextId)) -> (String, String) {
        (self.label(*thing), self.text(*place))
    }

    /// How grave the caution on show is: between steps it stands where the act does.
    fn caution(&self, frame: &Frame) -> Option<h::Signal> {
        let text = frame
            .act
            .filter(|_| frame.means == cue::Means::Understood && frame.question.is_none())?;
        let mut alerts = self.plan?.steps.iter().flat_map(|step| &step.alerts);
        alerts.find(|alert| alert.text == text).map(|alert| signal_of(alert.word))
    }

    fn count(&self, count: cue::CountTo) -> h::Count {
        let what = match count.what {
            cue::CountWhat::Cue => h::CountWhat::Cue,
            cue::CountWhat::LatestCue => h::CountWhat::LatestCue,
            cue::CountWhat::LatestAct => h::CountWhat::LatestAct,
            cue::CountWhat::Silence => h::CountWhat::Silence,
            cue::CountWhat::LetGo => h::CountWhat::LetGo,
            cue::CountWhat::CoolDown => h::CountWhat::CoolDown,
            cue::CountWhat::StepOver => h::CountWhat::StepOver,
        };
        h::Count { to: count.at.0, what, why: count.why.map(|why| self.why(&why)) }
    }

    fn why(&self, why: &timing::Why) -> h::Why {
        h::Why {
            line: self.sources.line_col(why.place).line,
            ms: why.length.0,
            after: self.step(why.anchor.step).name,
            event: Some(mark_of(why.anchor.mark)),
            is: match why.what {
                timing::What::Limit => h::Sentence::Limit,
                timing::What::Holding => h::Sentence::Hold,
                _ => h::Sentence::Window,
            },
        }
    }

    fn rest(&self, rest: &cue::Rest) -> h::Rest {
        match rest {
            cue::Rest::Holds => h::Rest::Holds,
            cue::Rest::HoldsInPart => h::Rest::HoldsInPart,
            cue::Rest::Lost(why) => h::Rest::Lost { step: self.step(why.step), why: self.why(why) },
        }
    }

    /// Numbered answers in words, where this frame stands.
    #[must_use]
    pub fn answers(&self, answers: &[AnswerText], frame: &Frame) -> Vec<h::Answer> {
        answers.iter().map(|answer| self.answer(*answer, frame)).collect()
    }

    fn answer(&self, answer: AnswerText, frame: &Frame) -> h::Answer {
        match answer {
            AnswerText::Met(nth) => h::Answer::Met { signs: self.met(frame.reported, nth) },
            AnswerText::Nothing => h::Answer::Nothing,
            AnswerText::NoneOfThese => h::Answer::NoneOfThese,
            AnswerText::Cannot => h::Answer::Cannot,
            AnswerText::Lost(guard) => {
                let (text, forbids) = self.guard(guard);
                h::Answer::Lost { text, forbids }
            }
            AnswerText::Choice(nth) => {
                h::Answer::Choice { text: self.choice(frame.question.as_ref(), nth) }
            }
        }
    }

    fn choice(&self, question: Option<&Question>, nth: u32) -> String {
        let reading = match question {
            Some(Question::Battery(_)) => {
                let names = ["flooded", "AGM (glass mat)", "gel"];
                return names.get(nth as usize).copied().unwrap_or_default().to_owned();
            }
            Some(Question::Reading(id) | Question::ReadBack(id, _)) => self.reading(*id),
            _ => None,
        };
        match reading.map(|reading| &reading.answer) {
            Some(ReadingKind::Choice(names)) => {
                names.get(nth as usize).cloned().unwrap_or_default()
            }
            _ => String::new(),
        }
    }

    fn reading(&self, id: ReadingId) -> Option<&model::Reading> {
        self.procedure.readings.get(id.0 as usize)
    }

    /// The unit of a reading, where it is a number.
    fn unit(&self, id: ReadingId) -> Option<String> {
        match &self.reading(id)?.answer {
            ReadingKind::Number { unit, .. } => Some(unit_word(unit).to_owned()),
            ReadingKind::Text | ReadingKind::Choice(_) => None,
        }
    }

    fn battery_unit(ask: cue::BatteryAsk) -> Option<String> {
        ask.unit().map(|unit| unit_word(&unit).to_owned())
    }

    fn value(value: &Value, unit: Option<String>) -> h::Value {
        match value {
            Value::Number(thousandths) => {
                h::Value::Number { thousandths: *thousandths, unit: unit.unwrap_or_default() }
            }
            Value::Text(text) => h::Value::Text(text.clone()),
        }
    }

    /// A question in full. `step` is the step that it belongs to, for its own cautions.
    fn question(&self, question: &Question, step: Option<StepIx>) -> h::Question {
        let p = self.procedure;
        let nth = |n: &u32| *n as usize;
        let said = |id: Option<TextId>| id.map_or_else(String::new, |id| self.text(id));
        match question {
            Question::Demonstration => h::Question::Demonstration,
            Question::LocalRules => h::Question::LocalRules,
            Question::Ownership => h::Question::Ownership,
            Question::Affirm(n) => {
                h::Question::Affirm { text: said(p.affirm.get(nth(n)).copied()) }
            }
            Question::Alert(n) => self.alert(nth(n), step),
            Question::HowMany(item, least, most) => h::Question::HowMany {
                label: said(p.items.get(item.0 as usize).map(|item| item.label)),
                least: *least,
                most: *most,
            },
            Question::Reading(id) => self.asked(*id),
            Question::ReadBack(id, value) => h::Question::ReadBack {
                text: said(self.reading(*id).map(|reading| reading.text)),
                value: Self::value(value, self.unit(*id)),
            },
            Question::AtHand(n) => {
                h::Question::AtHand { text: said(p.secrets.get(nth(n)).map(|(_, text)| *text)) }
            }
            Question::GateClosed(n) => h::Question::GateClosed {
                text: said(p.gates.get(nth(n)).map(|gate| gate.otherwise)),
                must: p.gates.get(nth(n)).is_some_and(|gate| gate.must),
            },
            Question::Checklist(n) => {
                h::Question::Checklist { text: said(p.checklist.get(nth(n)).copied()) }
            }
            Question::ItemAtHand(item) => {
                h::Question::ItemAtHand { label: self.label(Thing { item: *item, nth: 0 }) }
            }
            Question::Start => h::Question::Start,
            Question::Test(n, thing) => h::Question::Test {
                text: said(p.tests.get(nth(n)).map(|test| test.text)),
                expect: said(p.tests.get(nth(n)).map(|test| test.expect)),
                label: thing.map(|thing| self.label(thing)),
            },
            Question::Recount(n) => {
                let reading = p.recounts.get(nth(n)).map(|recount| recount.reading);
                h::Question::Recount {
                    text: said(reading.and_then(|id| self.reading(id)).map(|r| r.text)),
                    unit: reading.and_then(|id| self.unit(id)),
                }
            }
            Question::Battery(ask) => {
                h::Question::Battery { about: ask_of(*ask), unit: Self::battery_unit(*ask) }
            }
            Question::BatteryReadBack(ask, number) => h::Question::BatteryReadBack {
                about: ask_of(*ask),
                value: Self::value(&Value::Number(*number), Self::battery_unit(*ask)),
            },
            Question::BatteryJudged(assessment) => {
                h::Question::BatteryJudged(judged_of(assessment))
            }
            Question::ReallyStop => h::Question::ReallyStop,
            Question::ReallySlip(class) => h::Question::ReallySlip { ends: ending_class(*class) },
        }
    }

    fn alert(&self, nth: usize, step: Option<StepIx>) -> h::Question {
        let own = self.plan.zip(step).and_then(|(plan, ix)| plan.steps.get(ix.0 as usize));
        let alerts = own.map_or(&self.procedure.alerts, |step| &step.alerts);
        let Some(alert) = alerts.get(nth) else {
            return h::Question::Alert { word: h::Signal::Notice, text: String::new() };
        };
        h::Question::Alert { word: signal_of(alert.word), text: self.text(alert.text) }
    }

    fn asked(&self, id: ReadingId) -> h::Question {
        let reading = self.reading(id);
        let plausible = match reading.map(|reading| &reading.answer) {
            Some(ReadingKind::Number { plausible, .. }) => *plausible,
            _ => None,
        };
        h::Question::Reading {
            text: reading.map_or_else(String::new, |reading| self.text(reading.text)),
            unit: self.unit(id),
            plausible,
            choice: matches!(reading.map(|r| &r.answer), Some(ReadingKind::Choice(_))),
        }
    }

    fn notice(&self, notice: &Notice) -> h::Notice {
        match notice {
            Notice::TooEarly => h::Notice::TooEarly,
            Notice::NotUnderstood => h::Notice::NotUnderstood,
            Notice::NotPlausible => h::Notice::NotPlausible,
            Notice::Late(ix, why) => {
                h::Notice::Late { step: self.step(*ix), why: why.as_ref().map(|why| self.why(why)) }
            }
            Notice::Unattended(ix, how, length) => {
                h::Notice::Unattended { step: self.step(*ix), how: away(*how), ms: length.0 }
            }
            Notice::WasAway(how, length) => h::Notice::WasAway { how: away(*how), ms: length.0 },
            Notice::Silence(ix) => h::Notice::Silence { step: self.step(*ix) },
            Notice::Broken(ix, mark, by) => {
                h::Notice::Broken { step: self.step(*ix), mark: mark_of(*mark), ms: by.0 }
            }
            Notice::Rechecked(rest) => h::Notice::Rechecked { rest: self.rest(rest) },
            Notice::GuardLost(guard) => h::Notice::GuardLost { text: self.guard(*guard).0 },
            Notice::Slipped(ix) => h::Notice::Slipped { step: self.step(*ix) },
            Notice::TakenBack(ix) => h::Notice::TakenBack { step: self.step(*ix) },
            Notice::Again(nth, of) => h::Notice::Again { nth: *nth, of: *of },
            Notice::TriesSpent => h::Notice::TriesSpent,
            Notice::LetGoFirst => h::Notice::LetGoFirst,
            Notice::HoldAt(ix) => h::Notice::HoldAt { step: ix.map(|ix| self.step(ix)) },
            Notice::ThingEnded(thing, class) => {
                h::Notice::ThingEnded { label: self.label(*thing), class: item_class(*class) }
            }
            Notice::KeepAwake(text) => h::Notice::KeepAwake { text: self.text(*text) },
            Notice::CueLate(length) => h::Notice::CueLate { ms: length.0 },
            Notice::NoReturn(n) => h::Notice::NoReturn { text: self.no_return(*n) },
        }
    }

    fn no_return(&self, n: u32) -> String {
        let point = self.plan.and_then(|plan| plan.no_returns.get(n as usize));
        point.map_or_else(String::new, |point| self.text(point.text))
    }

    fn point(&self, point: timing::Point) -> h::PointAt {
        h::PointAt { step: self.step(point.step), mark: mark_of(point.mark) }
    }

    fn fact(&self, fact: &cue::Fact) -> h::Fact {
        match fact {
            cue::Fact::Answered(question, value) => {
                let unit = match question {
                    Question::Reading(id) | Question::ReadBack(id, _) => self.unit(*id),
                    Question::Recount(n) => self
                        .procedure
                        .recounts
                        .get(*n as usize)
                        .and_then(|recount| self.unit(recount.reading)),
                    Question::Battery(ask) => Self::battery_unit(*ask),
                    _ => None,
                };
                h::Fact::Answered {
                    question: self.question(question, None),
                    value: value.as_ref().map(|value| Self::value(value, unit)),
                }
            }
            cue::Fact::Chosen(counts) => h::Fact::Chosen {
                counts: counts.iter().map(|(id, count)| (self.item_name(*id), *count)).collect(),
            },
            cue::Fact::Entered(ix, nth) => {
                let step = self.plan.and_then(|plan| plan.steps.get(ix.0 as usize));
                h::Fact::Entered {
                    step: self.step(*ix),
                    nth: *nth,
                    break_off: step.and_then(|step| step.break_off).map(|id| self.text(id)),
                }
            }
            cue::Fact::Happened(point, bracket) => h::Fact::Happened {
                point: self.point(*point),
                earliest: bracket.earliest.0,
                latest: bracket.latest.0,
            },
            cue::Fact::CueGiven { point, due, given } => {
                h::Fact::CueGiven { point: self.point(*point), due: due.0, given: given.0 }
            }
            cue::Fact::Outcome(ix, outcome) => {
                h::Fact::Outcome { step: self.step(*ix), outcome: self.outcome(*ix, *outcome) }
            }
            cue::Fact::Margin { step, window, left } => self.margin(*step, *window, left.0),
            cue::Fact::Tried(nth, of) => h::Fact::Tried { nth: *nth, of: *of },
            cue::Fact::Thing(thing, class) => {
                h::Fact::Thing { label: self.label(*thing), class: item_class(*class) }
            }
            cue::Fact::NoReturn(n) => h::Fact::NoReturn { text: self.no_return(*n) },
            cue::Fact::Broken(ix, mark, by) => {
                h::Fact::Broken { step: self.step(*ix), mark: mark_of(*mark), ms: by.0 }
            }
            cue::Fact::Rechecked(ix, rest) => {
                h::Fact::Rechecked { step: self.step(*ix), rest: self.rest(rest) }
            }
            cue::Fact::Noticed(notice) => h::Fact::Noticed { notice: self.notice(notice) },
            cue::Fact::Held(held) => h::Fact::Held { held: *held },
        }
    }

    fn item_name(&self, id: model::ItemId) -> String {
        self.procedure.items.get(id.0 as usize).map_or_else(String::new, |item| item.name.clone())
    }

    fn margin(&self, step: StepIx, window: u32, left: i64) -> h::Fact {
        let known = self
            .plan
            .and_then(|plan| plan.steps.get(step.0 as usize))
            .and_then(|step| step.windows.get(window as usize));
        h::Fact::Margin {
            step: self.step(step),
            line: known.map_or(0, |window| self.sources.line_col(window.place).line),
            window: known.and_then(|window| window.range.hi).map(|hi| hi.0),
            left,
        }
    }

    fn outcome(&self, step: StepIx, outcome: cue::OutcomeKind) -> h::Outcome {
        use cue::OutcomeKind as O;
        match outcome {
            O::Done => h::Outcome::Done,
            O::Met(nth) => h::Outcome::Met { nth, signs: self.met(Some(step), nth) },
            O::Silent => h::Outcome::Silent,
            O::Other => h::Outcome::Other,
            O::Cannot => h::Outcome::Cannot,
            O::Slip => h::Outcome::Slip,
            O::Late => h::Outcome::Late,
            O::LostGuard(guard) => h::Outcome::LostGuard { text: self.guard(guard).0 },
            O::Unreported => h::Outcome::Unreported,
        }
    }
}

const fn signal_of(word: model::SignalWord) -> h::Signal {
    match word {
        model::SignalWord::Danger => h::Signal::Danger,
        model::SignalWord::Warning => h::Signal::Warning,
        model::SignalWord::Caution => h::Signal::Caution,
        model::SignalWord::Notice => h::Signal::Notice,
    }
}

const fn cue_of(cue: cue::Cue) -> h::Cue {
    match cue {
        cue::Cue::Prepare => h::Cue::Prepare,
        cue::Cue::Now => h::Cue::Now,
        cue::Cue::Caution => h::Cue::Caution,
        cue::Cue::Question => h::Cue::Question,
        cue::Cue::Again => h::Cue::Again,
        cue::Cue::Notice => h::Cue::Notice,
    }
}

const fn tone_of(tone: cue::Tone) -> h::Tone {
    match tone {
        cue::Tone::Prepare => h::Tone::Prepare,
        cue::Tone::Now => h::Tone::Now,
        cue::Tone::Tick => h::Tone::Tick,
        cue::Tone::Missed => h::Tone::Missed,
        cue::Tone::TenLeft => h::Tone::TenLeft,
        cue::Tone::FiveLeft => h::Tone::FiveLeft,
        cue::Tone::LetGo => h::Tone::LetGo,
    }
}

const fn stage_of(stage: cue::Stage) -> h::Stage {
    match stage {
        cue::Stage::Preparing => h::Stage::Preparing,
        cue::Stage::BeforeCue => h::Stage::BeforeCue,
        cue::Stage::Acting => h::Stage::Acting,
        cue::Stage::Waiting => h::Stage::Waiting,
        cue::Stage::Testing => h::Stage::Testing,
        cue::Stage::Ended => h::Stage::Ended,
    }
}

const fn means_of(means: cue::Means) -> h::Means {
    match means {
        cue::Means::Nothing => h::Means::Nothing,
        cue::Means::Understood => h::Means::Understood,
        cue::Means::Yes => h::Means::Yes,
        cue::Means::ActDone => h::Means::ActDone,
        cue::Means::AnswerCame => h::Means::AnswerCame,
        cue::Means::GoOn => h::Means::GoOn,
        cue::Means::NoPress => h::Means::NoPress,
    }
}

const fn window_of(window: cue::WindowState) -> h::Window {
    match window {
        cue::WindowState::None => h::Window::None,
        cue::WindowState::NotYet => h::Window::NotYet,
        cue::WindowState::Safe => h::Window::Safe,
        cue::WindowState::AtRisk => h::Window::AtRisk,
        cue::WindowState::TooLate => h::Window::TooLate,
        cue::WindowState::Closed => h::Window::Closed,
    }
}

const fn mark_of(mark: timing::Mark) -> h::Mark {
    match mark {
        timing::Mark::Prepare => h::Mark::Prepare,
        timing::Mark::Prepared => h::Mark::Prepared,
        timing::Mark::Called => h::Mark::Called,
        timing::Mark::Heard => h::Mark::Heard,
        timing::Mark::Begun => h::Mark::Begun,
        timing::Mark::Done => h::Mark::Done,
        timing::Mark::LetGo => h::Mark::LetGo,
        timing::Mark::Released => h::Mark::Released,
        timing::Mark::Answered => h::Mark::Answered,
        timing::Mark::Reported => h::Mark::Reported,
        timing::Mark::Over => h::Mark::Over,
    }
}
