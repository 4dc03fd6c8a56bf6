//! Collects what one input brings about, in the order in which it came about.
//!
//! Takes single effects; gives the list that `machine` completes with a frame and a wake-up.

use crate::clock::Moment;
use crate::guide::cue::{Cue, Effect, Fact, Notice, Tone};
use crate::procedure::model::TextId;

/// The effects of one input so far.
#[derive(Debug)]
pub(super) struct Out {
    /// When the input came.
    pub now: Moment,
    /// What it brought about.
    pub effects: Vec<Effect>,
    /// What every face says once.
    pub notices: Vec<Notice>,
    /// Whether a now cue was given: older notices leave the faces, a press cannot be taken back.
    pub cue_given: bool,
}

impl Out {
    /// Nothing yet.
    pub fn new(now: Moment) -> Out {
        Out { now, effects: Vec::new(), notices: Vec::new(), cue_given: false }
    }

    /// Says a text.
    pub fn say(&mut self, text: TextId, cue: Cue) {
        self.effects.push(Effect::Say(text, cue));
    }

    /// Rings.
    pub fn ring(&mut self, tone: Tone) {
        self.effects.push(Effect::Ring(tone));
    }

    /// Writes down.
    pub fn record(&mut self, fact: Fact) {
        self.effects.push(Effect::Record(fact));
    }

    /// Says something once on every face, and writes it down.
    pub fn notice(&mut self, notice: Notice) {
        self.record(Fact::Noticed(notice.clone()));
        self.notices.push(notice);
    }

    /// A press that is not taken: a short sound, and why.
    pub fn refuse(&mut self, notice: Notice) {
        self.ring(Tone::Tick);
        self.notice(notice);
    }

    /// Something went wrong: the sound that calls to look, once for all that comes of one input, and
    /// what it is.
    pub fn warn(&mut self, notice: Notice) {
        if !self.effects.contains(&Effect::Ring(Tone::Missed)) {
            self.ring(Tone::Missed);
        }
        self.notice(notice);
    }
}
