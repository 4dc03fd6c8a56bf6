//! The questions before a run: in their order, none passed over, values read back and never guessed.

use std::fs;
use std::path::PathBuf;
use std::sync::Arc;

use crate::runs_support::timing;
use stepbell::clock::Moment;
use stepbell::guide::cue::{Effect, Fact, Frame, Input, Means, Notice, Press, Question};
use stepbell::guide::{Guide, Settings};
use stepbell::procedure::examine;
use stepbell::procedure::model::{ItemId, ReadingId};
use stepbell::procedure::plan::Value;
use stepbell::procedure::timing::speech_lengths;

const REST: ReadingId = ReadingId(0);
const SPARES: ItemId = ItemId(1);

/// The main procedure's questions.
struct Desk {
    guide: Guide,
    frame: Frame,
    said: Vec<String>,
    texts: Vec<String>,
    effects: Vec<Effect>,
}

impl Desk {
    fn new(rehearsal: bool) -> Desk {
        let path =
            PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("procedures/push-start-spare.bell");
        let text = fs::read_to_string(path).expect("readable");
        let examined = examine("push-start-spare", text, &mut |_| Err("no file".to_owned()));
        let procedure = Arc::new(examined.procedure.expect("a model"));
        let texts = procedure.texts.iter().map(|said| said.text.clone()).collect();
        let speech = speech_lengths(&procedure);
        let mut guide = Guide::new(
            procedure,
            Settings { speech, timing, rehearsal, length: stepbell::power::Length::Unbounded },
        );
        let first = guide.start(Moment(0));
        let frame = last_frame(&first).expect("the first question");
        let mut desk = Desk { guide, frame, said: Vec::new(), texts, effects: Vec::new() };
        desk.take(first);
        desk
    }

    fn take(&mut self, effects: Vec<Effect>) {
        self.said.clear();
        for effect in &effects {
            if let Effect::Say(text, _) = effect {
                self.said.push(self.texts[text.0 as usize].clone());
            }
        }
        if let Some(frame) = last_frame(&effects) {
            self.frame = frame;
        }
        self.effects = effects;
    }

    fn press(&mut self, press: Press) {
        let effects = self.guide.handle(Input::Press(press), Moment(1000));
        self.take(effects);
    }

    fn typed(&mut self, text: &str) {
        let effects = self.guide.handle(Input::Typed(text.to_owned()), Moment(1000));
        self.take(effects);
    }

    /// Types a value, and takes it should it be read back.
    fn value(&mut self, text: &str) {
        self.typed(text);
        if matches!(self.question(), Question::ReadBack(..)) {
            self.press(Press::Done);
        }
    }

    fn question(&self) -> &Question {
        self.frame.question.as_ref().expect("a question")
    }

    fn refused(&self) -> Option<Notice> {
        self.effects.iter().find_map(|effect| match effect {
            Effect::Record(Fact::Noticed(notice)) => Some(notice.clone()),
            _ => None,
        })
    }

    /// Says yes until this question is asked.
    #[track_caller]
    fn until(&mut self, wanted: &Question) {
        for _ in 0..60 {
            if self.question() == wanted {
                return;
            }
            match self.question().clone() {
                Question::HowMany(..) => self.typed("1"),
                Question::Reading(REST) => self.value("13.2"),
                Question::Reading(ReadingId(1)) => self.value("2"),
                Question::Reading(_) => self.value("T5"),
                _ => self.press(Press::Done),
            }
        }
        panic!("never asked: {wanted:?}, but {:?}", self.question());
    }
}

fn last_frame(effects: &[Effect]) -> Option<Frame> {
    effects.iter().rev().find_map(|effect| match effect {
        Effect::Show(frame) => Some((**frame).clone()),
        _ => None,
    })
}

#[test]
fn every_question_is_asked_in_its_order() {
    let mut desk = Desk::new(false);
    let mut asked = vec![desk.question().clone()];
    while desk.question() != &Question::Start {
        let before = desk.question().clone();
        match before {
            Question::HowMany(..) => desk.typed("2"),
            Question::Reading(REST) => desk.value("13.2"),
            Question::Reading(ReadingId(1)) => desk.value("1"),
            Question::Reading(_) => desk.value("T5"),
            _ => desk.press(Press::Done),
        }
        asked.push(desk.question().clone());
    }
    let asked: Vec<String> = asked.iter().map(|question| format!("{question:?}")).collect();
    insta::assert_snapshot!(asked.join("\n"));
    assert_eq!(desk.guide.next_wakeup(), None, "nothing hurries the person");
}

#[test]
fn a_rehearsal_does_not_ask_whether_a_real_vehicle_is_meant() {
    assert_eq!(Desk::new(false).question(), &Question::Demonstration);
    assert_eq!(Desk::new(true).question(), &Question::LocalRules);
}

#[test]
fn without_ownership_nothing_starts() {
    let mut desk = Desk::new(false);
    desk.until(&Question::Ownership);
    desk.typed("perhaps");
    assert_eq!(desk.refused(), Some(Notice::NotUnderstood));
    assert_eq!(desk.question(), &Question::Ownership);
    desk.typed("no");
    assert_eq!(desk.guide.ended().map(|ending| ending.0), Some(3));
    assert!(desk.guide.plan().is_none());
}

#[test]
fn a_value_is_read_back_and_taken_with_one_press() {
    let mut desk = Desk::new(false);
    desk.until(&Question::Reading(REST));
    desk.press(Press::Done);
    assert_eq!(desk.refused(), Some(Notice::NotUnderstood), "nothing was typed");
    desk.typed("1265");
    assert_eq!(desk.refused(), Some(Notice::NotPlausible));
    assert_eq!(desk.question(), &Question::Reading(REST));
    desk.typed("12,65");
    assert_eq!(desk.question(), &Question::ReadBack(REST, Value::Number(12_650)));
    assert_eq!(desk.frame.means, Means::Yes);
    desk.press(Press::SomethingElse);
    assert_eq!(desk.question(), &Question::Reading(REST), "not what was meant");
    desk.typed("13 V");
    desk.press(Press::Done);
    let fact = Fact::Answered(Question::Reading(REST), Some(Value::Number(13_000)));
    assert!(desk.effects.contains(&Effect::Record(fact)));
}

#[test]
fn a_gate_that_must_hold_ends_it_and_tells_the_way_out() {
    let mut desk = Desk::new(false);
    desk.until(&Question::Reading(ReadingId(1)));
    desk.value("0");
    desk.value("T5");
    desk.value("T5");
    assert_eq!(desk.said, ["No working key: see a dealer or a licensed locksmith."]);
    assert_eq!(desk.guide.ended().map(|ending| ending.0), Some(3));
    assert_eq!(desk.question(), &Question::GateClosed(0));
}

#[test]
fn a_gate_that_is_only_better_leaves_the_choice_to_the_person() {
    let mut desk = Desk::new(false);
    desk.until(&Question::Reading(REST));
    desk.value("12.4");
    desk.until(&Question::GateClosed(3));
    assert_eq!(desk.frame.means, Means::GoOn);
    desk.press(Press::Done);
    let chosen = Value::Text("go on".to_owned());
    let fact = Fact::Answered(Question::GateClosed(3), Some(chosen));
    assert!(desk.effects.contains(&Effect::Record(fact)));
    assert!(desk.guide.ended().is_none());
}

#[test]
fn counts_stay_inside_their_bounds() {
    let mut desk = Desk::new(false);
    desk.until(&Question::HowMany(SPARES, 1, 2));
    for typed in ["0", "3", "one", "1.5", ""] {
        desk.typed(typed);
        assert!(desk.refused().is_some(), "{typed:?}");
    }
    desk.press(Press::Answer(2));
    assert_ne!(desk.question(), &Question::HowMany(SPARES, 1, 2));
}

#[test]
fn one_question_back() {
    let mut desk = Desk::new(false);
    desk.until(&Question::Alert(0));
    desk.press(Press::TakeBack);
    assert_eq!(desk.question(), &Question::Ownership);
    desk.press(Press::Done);
    assert_eq!(desk.question(), &Question::Alert(0));
}

#[test]
fn a_missing_thing_or_state_keeps_the_question() {
    let mut desk = Desk::new(false);
    desk.until(&Question::Checklist(0));
    desk.press(Press::SomethingElse);
    assert_eq!(desk.question(), &Question::Checklist(0));
    assert!(desk.guide.ended().is_none());
}
