//! The imaginary vehicle in a live run: takes what the guide does and the touches of the person's hand,
//! gives what the vehicle does, and keeps what the score needs.

use std::sync::Arc;

use crate::clock::Moment;
use crate::faces::practice::{MOST_LINES, answered_for, before, opening, vehicle as words, veiled};
use crate::guide::cue::{self, Fact, Input, Press, Question};
use crate::journal::convert::Context;
use crate::journal::entry;
use crate::journal::happened as h;
use crate::journal::practice::Vehicle;
use crate::procedure::plan::Plan;
use crate::procedure::timing::Mark;
use crate::training::replay::{Happened, Scene};
use crate::training::score::{Score, is_scored, score};
use crate::vehicle::live::{Event, Live};
use crate::vehicle::told::told;
use crate::vehicle::{Answers, typed_by};

/// A rehearsal going on.
pub struct Rehearsing {
    vehicle: Live,
    answers: Answers,
    terms: entry::RehearsalTerms,
    /// Whether questions that only a vehicle makes sense of are answered by themselves.
    short: bool,
    answered: Vec<Question>,
    question: Option<Question>,
    /// What was shown last, with nothing kept back.
    bare: Option<h::Shown>,
    /// Whether it is uncovered for this step.
    hinted: bool,
    scenes: Vec<Scene>,
    /// What the vehicle did last of what is told.
    last: Option<Vehicle>,
    /// What stands on the faces about the vehicle.
    pub lines: Vec<String>,
}

impl Rehearsing {
    /// A rehearsal in front of this vehicle.
    #[must_use]
    pub fn new(
        vehicle: Live,
        answers: Answers,
        terms: entry::RehearsalTerms,
        short: bool,
    ) -> Rehearsing {
        let lines = vec![before(&terms)];
        Rehearsing {
            vehicle,
            answers,
            terms,
            short,
            answered: Vec::new(),
            question: None,
            bare: None,
            hinted: false,
            scenes: Vec::new(),
            last: None,
            lines,
        }
    }

    /// What is said before anything else.
    #[must_use]
    pub fn opening(&self) -> String {
        opening(&self.terms)
    }

    /// When the vehicle does something by itself.
    #[must_use]
    pub fn next(&self) -> Option<Moment> {
        self.vehicle.next()
    }

    /// The run is planned; what was ordered and cannot be, in words.
    pub fn begins(&mut self, plan: Option<Arc<Plan>>) -> Vec<String> {
        let Some(plan) = plan.filter(|_| !self.vehicle.has_begun()) else { return Vec::new() };
        self.lines.clear();
        let refused = self.vehicle.begins(plan);
        let told = refused.iter().map(|(order, why)| {
            format!("{order} does not happen: {}", crate::faces::orders::refused(why))
        });
        told.collect()
    }

    /// Hears one thing that the guide does; gives what the vehicle does at once.
    pub fn follow(&mut self, effect: &cue::Effect) -> Vec<Event> {
        match effect {
            cue::Effect::Record(Fact::Thing(thing, class)) => self.answers.learned(*thing, *class),
            cue::Effect::Record(Fact::Entered(..)) => self.hinted = false,
            cue::Effect::Record(Fact::CueGiven { point, .. }) if point.mark == Mark::Called => {
                self.lines.clear();
            }
            _ => {}
        }
        self.vehicle.follow(effect)
    }

    /// What the imaginary instrument says to a question that has just been asked.
    pub fn asked(&mut self, effect: &cue::Effect) -> Option<Vehicle> {
        let cue::Effect::Show(frame) = effect else { return None };
        if frame.question == self.question {
            return None;
        }
        self.question.clone_from(&frame.question);
        if !self.vehicle.has_begun() {
            self.lines.retain(|line| *line == before(&self.terms));
        }
        let value = match self.question.as_ref()? {
            question @ (Question::Reading(_) | Question::Recount(_)) => {
                typed_by(&self.answers.to(question))?
            }
            Question::Test(..) => "yes, it is so".to_owned(),
            _ => return None,
        };
        Some(Vehicle::Reads { value })
    }

    /// The vehicle's own doings that are due, in order.
    pub fn wake(&mut self, now: Moment) -> Vec<Event> {
        self.vehicle.wake(now).into_iter().map(|(_, event)| event).collect()
    }

    /// The person's hand touches it.
    pub fn tap(&mut self, at: Moment) -> Vec<Event> {
        self.vehicle.tap(at)
    }

    /// Events in a record's words.
    #[must_use]
    pub fn told(events: &[Event], context: &Context<'_>) -> Vec<Vehicle> {
        events.iter().map(|event| told(event, context)).collect()
    }

    /// Takes note of what the vehicle did.
    pub fn happened(&mut self, what: &Vehicle, at: Moment) {
        if let Some(line) = words(what) {
            // A count that is complete, and the answer to an earlier question, are no news.
            if let Some(before) = self.last.replace(what.clone())
                && is_over(&before, what)
                && self.lines.last() == words(&before).as_ref()
            {
                self.lines.pop();
            }
            self.lines.push(line);
            let old = self.lines.len().saturating_sub(MOST_LINES);
            self.lines.drain(..old);
        }
        self.keep(Happened::Vehicle(what.clone()), at);
    }

    /// Takes note of what the guide did, as far as the score needs it.
    pub fn noted(&mut self, effect: &h::Effect, at: Moment) {
        if is_scored(effect) {
            self.keep(Happened::Effect(effect.clone()), at);
        }
    }

    fn keep(&mut self, what: Happened, at: Moment) {
        self.scenes.push(Scene { line: 0, at, what });
    }

    /// Whether words are not said because the person practises from memory.
    #[must_use]
    pub fn keeps_back(&self, effect: &h::Effect) -> bool {
        let cue = |cue: &h::Cue| matches!(cue, h::Cue::Prepare | h::Cue::Now);
        let words = matches!(effect, h::Effect::Say { cue: said, .. } if cue(said));
        words && !self.terms.hints && !self.hinted
    }

    /// What the faces show of a frame.
    pub fn veil(&mut self, shown: h::Shown) -> h::Shown {
        if self.terms.hints {
            return shown;
        }
        let seen = if self.hinted { shown.clone() } else { veiled(&shown) };
        self.bare = Some(shown);
        seen
    }

    /// Say again uncovers what is kept back; gives the frame with nothing kept back.
    pub fn uncover(&mut self, input: &Input) -> Option<(h::Shown, Vehicle)> {
        let again = *input == Input::Press(Press::SayAgain);
        if self.terms.hints || self.hinted || !again {
            return None;
        }
        let bare = self.bare.clone().filter(|bare| bare.step.is_some())?;
        self.hinted = true;
        let step = bare.step.clone();
        Some((bare, Vehicle::Hint { step }))
    }

    /// Whether the person's own hands act.
    #[must_use]
    pub fn own_hands(&self) -> bool {
        self.terms.own_hands
    }

    /// Whether the last question among these effects is one that is answered by itself.
    #[must_use]
    pub fn answers_itself(&self, effects: &[cue::Effect]) -> bool {
        let frame = effects.iter().rev().find_map(|effect| match effect {
            cue::Effect::Show(frame) => Some(frame),
            _ => None,
        });
        let question = frame.and_then(|frame| frame.question.as_ref());
        question.is_some_and(|question| self.is_own(question))
    }

    /// Questions that a short rehearsal answers.
    fn is_own(&self, question: &Question) -> bool {
        let own = matches!(
            question,
            Question::LocalRules
                | Question::Ownership
                | Question::Affirm(_)
                | Question::ItemAtHand(_)
                | Question::AtHand(_)
                | Question::Reading(_)
                | Question::Checklist(_)
        );
        own && self.short && !self.vehicle.has_begun()
    }

    /// The answer to the question on show, where a short rehearsal gives it by itself. Cautions, counts
    /// and the start stay the person's.
    pub fn own_answer(&mut self) -> Option<Input> {
        let question = self.question.as_ref().filter(|question| self.is_own(question))?;
        let input = self.answers.to(question);
        self.answered.push(question.clone());
        Some(input)
    }

    /// What was answered for the person, as long as the questions last.
    #[must_use]
    pub fn answered(&self) -> Option<String> {
        if self.vehicle.has_begun() {
            return None;
        }
        let count = |is: fn(&Question) -> bool| self.answered.iter().filter(|q| is(q)).count();
        let kinds = [
            ("local rules", count(|q| matches!(q, Question::LocalRules))),
            ("ownership", count(|q| matches!(q, Question::Ownership))),
            ("affirmations", count(|q| matches!(q, Question::Affirm(_)))),
            (
                "things at hand",
                count(|q| matches!(q, Question::ItemAtHand(_) | Question::AtHand(_))),
            ),
            ("readings", count(|q| matches!(q, Question::Reading(_)))),
            ("lines of the checklist", count(|q| matches!(q, Question::Checklist(_)))),
        ];
        (!self.answered.is_empty()).then(|| answered_for(&kinds))
    }

    /// How it went.
    #[must_use]
    pub fn score(&self) -> Score {
        score(&self.scenes)
    }
}

/// Whether the line about what was before says nothing any more.
const fn is_over(before: &Vehicle, now: &Vehicle) -> bool {
    match before {
        Vehicle::Stroke { .. } => true,
        Vehicle::Reads { .. } => matches!(now, Vehicle::Reads { .. }),
        _ => false,
    }
}
