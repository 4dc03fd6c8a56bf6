//! Many runs from one beginning: takes a guide and answers, goes through the questions once, and plays
//! run after run from the first step on.
//!
//! The questions wait for the person only, no time passes in them that matters, so every run may begin
//! where they end. Each input of a run goes through the same `Guide::handle` as in a live one.

use super::play::Play;
use super::{Draw, Fault, Truth, Witness, answers};
use crate::clock::Moment;
use crate::guide::cue::{Effect, Fact, Input};
use crate::guide::{Guide, Saved};
use crate::procedure::model::{EndingClass, EndingId, Procedure};
use crate::procedure::plan::{Choices, Plan};
use crate::procedure::timing::SpeechLengths;
use std::sync::Arc;

/// A guide that has asked its questions, ready to run again and again.
pub struct Practice {
    play: Play<Begins>,
    saved: Saved,
    start: Moment,
    plan: Arc<Plan>,
    first: Vec<Effect>,
}

/// What a run of a practice has come to.
#[derive(Clone, Debug)]
pub struct Ran<W> {
    /// What the witness made of it.
    pub witness: W,
    /// What truly happened.
    pub truth: Truth,
    /// How it ended; `None` if it came to a standstill.
    pub ending: Option<(EndingId, EndingClass)>,
}

/// Waits for the first step.
#[derive(Default)]
struct Begins(Option<(Moment, Vec<Effect>)>);

impl Witness for Begins {
    fn note(&mut self, at: Moment, _: Option<Input>, effects: Vec<Effect>) {
        if effects.iter().any(|effect| matches!(effect, Effect::Record(Fact::Chosen(_)))) {
            self.0 = Some((at, effects));
        }
    }
}

impl Practice {
    /// Goes through the questions, with these choices and likely answers. `None`: the answers do not
    /// lead to a first step.
    #[must_use]
    pub fn new(
        guide: Guide,
        procedure: &Arc<Procedure>,
        speech: &SpeechLengths,
        choices: &Choices,
    ) -> Option<Practice> {
        let choices = answers(procedure, choices);
        let witness = Begins::default();
        let mut play = Play::new(guide, (procedure, speech), Draw::new(0), &[], choices, witness);
        play.begin();
        while play.witness.0.is_none() && play.ending.is_none() && play.one() {}
        let (start, first) = play.witness.0.take()?;
        let (saved, plan) = (play.guide.save()?, play.guide.shared_plan()?);
        Some(Practice { play, saved, start, plan, first })
    }

    /// The plan of every run.
    #[must_use]
    pub fn plan(&self) -> &Arc<Plan> {
        &self.plan
    }

    /// When every run begins.
    #[must_use]
    pub fn start(&self) -> Moment {
        self.start
    }

    /// One run.
    pub fn run<W: Witness>(&mut self, draw: Draw, faults: &[Fault], mut witness: W) -> Ran<W> {
        self.play.again(&self.saved, self.start, draw, faults);
        witness.note(self.start, None, self.first.clone());
        self.play.follow(&self.first);
        while self.play.ending.is_none() && self.play.one_for(&mut witness) {}
        let (truth, ending) = (std::mem::take(&mut self.play.truth), self.play.ending);
        Ran { witness, truth, ending }
    }
}
