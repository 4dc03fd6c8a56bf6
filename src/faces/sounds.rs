//! What can be heard: takes tones and words, gives nothing back. A voice and real tones can stand
//! behind this trait; until then there is the terminal's bell, which many terminals mute, so it is
//! never the only channel.

use crate::journal::happened::{Cue, Tone};

/// Something that can be heard. No method waits, none fails: what cannot be heard is told by
/// [`Sounds::trouble`].
pub trait Sounds {
    /// Rings a rhythm.
    fn ring(&mut self, tone: Tone);
    /// Says words.
    fn say(&mut self, cue: Cue, words: &str);
    /// Why nothing is heard any more, told once.
    fn trouble(&mut self) -> Option<String>;
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
