//! What can be heard: takes tones and words, gives nothing back. The loudspeaker stands behind this trait
//! with a voice and real tones, and beside it the terminal's bell, which many terminals mute: an extra,
//! never the only sound that is counted on.

use crate::journal::entry::EndingClass;
use crate::journal::happened::{Cue, Tone};

/// Something that can be heard. No method waits, none fails: what cannot be heard is told by
/// [`Sounds::trouble`].
pub trait Sounds {
    /// Rings a rhythm.
    fn ring(&mut self, tone: Tone);
    /// Says words.
    fn say(&mut self, cue: Cue, words: &str);
    /// Says what an imaginary vehicle shows, where there is a voice that has those words.
    fn vehicle(&mut self, _words: &str) {}
    /// Says that a window was missed, where there is a voice.
    fn time_is_up(&mut self) {}
    /// Says how the run ended, with the script's own text; without a voice it rings.
    fn ended(&mut self, _class: EndingClass, _text: Option<&str>) {}
    /// Whether what it is given takes time, so that it cannot follow what goes quicker than it happened.
    fn takes_time(&self) -> bool {
        false
    }
    /// Nothing more comes; whether something still sounds.
    fn still_sounds(&mut self) -> bool {
        false
    }
    /// Lets sound what still sounds; waits a few seconds at most, after the run.
    fn finish(&mut self) {}
    /// Why nothing is heard any more, or was not for a moment; each told once.
    fn trouble(&mut self) -> Option<String>;
}

/// The tone for how a run ended, where there are no words for it.
#[must_use]
pub const fn ending_tone(class: EndingClass) -> Tone {
    match class {
        EndingClass::Learned => Tone::Prepare,
        EndingClass::NotLearned | EndingClass::Unsure | EndingClass::Stopped => Tone::Missed,
    }
}

/// How often the bell rings for a tone. One character can only be counted, so the acts come first:
/// *now* is one, something missed is three. A tick of a paced count is one.
#[must_use]
pub const fn bells(tone: Tone) -> usize {
    match tone {
        Tone::Now | Tone::Tick | Tone::LetGo => 1,
        Tone::FiveLeft | Tone::TenLeft => 2,
        Tone::Missed => 3,
        Tone::Prepare => 0,
    }
}
