//! A seeded imaginary operator and vehicle that drive a guide on the virtual clock.
//!
//! Takes a guide, a seed, faults by name and the answers to the questions; gives a transcript of
//! everything that went in and came out. It knows the plan and what the guide says, shows and rings;
//! it never looks inside the guide. Draws are uniform inside the declared bounds, or log-normal above
//! a hard floor (`law`). `practice` plays many runs from one beginning; `order` turns the names of
//! faults into faults of a plan; `live` is the same vehicle in front of a real person.

mod acts;
mod answers;
mod draw;
pub mod law;
pub mod live;
pub mod normal;
pub mod order;

mod play;
mod practice;
pub mod told;
pub mod window;

pub use acts::{COUNTED, HELD, Truth};
pub use answers::{Answers, answers, typed, typed_by};
pub use draw::{Draw, What};
pub use play::{play, play_drawn};
pub use practice::{Practice, Ran};

use crate::clock::{Millis, Moment};
use crate::guide::cue::{Effect, Input};
use crate::procedure::model::{EndingClass, EndingId};
use crate::procedure::plan::{GuardIx, StepIx, Thing};

/// Something that goes wrong, to order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// In this step, the first so many times that it is done.
    Step(StepIx, u32, Wrong),
    /// A guard is lost this long after the nth now cue of a step (from 1).
    Lost(GuardIx, StepIx, u32, Millis),
    /// From this step on nobody presses anything.
    Gone(StepIx),
    /// The person stops in this step, right after its cue.
    Stop(StepIx),
    /// This thing fails every functional test; `None`: tests without a thing fail.
    Fails(Option<Thing>),
    /// A count asked again is one short.
    Short,
}

/// What goes wrong in a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// The vehicle is silent.
    Silence,
    /// It gives the nth answer (from 0).
    Answer(u32),
    /// It gives an answer that is none of the script's.
    Other,
    /// The person cannot do it.
    Cannot,
    /// The person does something else than told.
    Slip,
    /// The hands are this much slower than declared.
    Slow(Millis),
    /// The vehicle answers this much later than it may.
    Late(Millis),
    /// Done and answered, but nobody presses.
    NoPress,
}

/// Somebody who watches a run from outside.
pub trait Witness {
    /// This went in at this moment (nothing: the beginning), and this came out.
    fn note(&mut self, at: Moment, input: Option<Input>, effects: Vec<Effect>);
}

impl Witness for Transcript {
    fn note(&mut self, at: Moment, input: Option<Input>, effects: Vec<Effect>) {
        self.lines.push(Line { at, input, effects });
    }
}

/// One line of a transcript.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// When.
    pub at: Moment,
    /// What went in.
    pub input: Option<Input>,
    /// What came out.
    pub effects: Vec<Effect>,
}

/// A whole run.
#[derive(Clone, Debug, Default)]
pub struct Transcript {
    /// Everything that went in and came out, in order.
    pub lines: Vec<Line>,
    /// How it ended; `None` if it came to a standstill, which no guide should.
    pub ending: Option<(EndingId, EndingClass)>,
    /// What truly happened.
    pub truth: Truth,
}
