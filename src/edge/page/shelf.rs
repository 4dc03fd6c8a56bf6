//! The sounds that pages fetch: the same tones as the loudspeaker's, as WAV files by name.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::clock::Millis;
use crate::edge::wav::to_wav;
use crate::faces::clip::Clip;
use crate::faces::tones::{Register, Signal, samples};
use crate::faces::words::{Banner, Setting};
use crate::journal::entry::EndingClass;
use crate::journal::happened::{Cue, Tone};

/// Samples a second of the tones.
const RATE: u32 = 22_050;

/// What sounds for a tone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rung {
    /// The name of its sound.
    pub sound: String,
    /// From its beginning to that of words that follow it.
    pub lead: Millis,
}

/// The sounds that pages fetch.
pub trait Shelf: Send + Sync {
    /// The names of all sounds that this run may need, to be fetched ahead.
    fn all(&self) -> Vec<String>;
    /// A WAV file by its name.
    fn wav(&self, name: &str) -> Option<Arc<[u8]>>;
    /// What sounds for a tone.
    fn tone(&self, tone: Tone) -> Option<Rung>;
    /// The name of a text's sound.
    fn words(&self, cue: Cue, text: &str) -> Option<String>;
    /// The name of the words for how a run ended.
    fn ended(&self, class: EndingClass) -> Option<String>;
}

/// The tones, and nothing that is spoken.
#[derive(Debug)]
pub struct Tones {
    sounds: BTreeMap<String, Arc<[u8]>>,
}

impl Tones {
    /// Those of the real thing, or of practice where a banner says so.
    #[must_use]
    pub fn new(setting: &Setting) -> Tones {
        let register = register(&setting.banners);
        let sound = |signal: Signal| {
            let clip = Clip { rate: RATE, samples: samples(signal, register, RATE) };
            (name(signal), Arc::from(to_wav(&clip)))
        };
        Tones { sounds: Signal::ALL.map(sound).into() }
    }
}

const fn register(banners: &[Banner]) -> Register {
    if banners.is_empty() { Register::Real } else { Register::Practice }
}

fn name(signal: Signal) -> String {
    format!("tone-{}", signal.name())
}

impl Shelf for Tones {
    fn all(&self) -> Vec<String> {
        self.sounds.keys().cloned().collect()
    }

    fn wav(&self, name: &str) -> Option<Arc<[u8]>> {
        self.sounds.get(name).cloned()
    }

    fn tone(&self, tone: Tone) -> Option<Rung> {
        let signal = match tone {
            Tone::Prepare => Signal::Prepare,
            Tone::Now | Tone::LetGo => Signal::Now,
            Tone::Tick => Signal::Tick,
            Tone::Missed => Signal::Missed,
            Tone::TenLeft => Signal::Ten,
            Tone::FiveLeft => Signal::Five,
        };
        let lead = match signal {
            Signal::Now => Signal::NowBeforeWords.length(),
            _ => signal.length(),
        };
        Some(Rung { sound: name(signal), lead })
    }

    fn words(&self, _: Cue, _: &str) -> Option<String> {
        None
    }

    fn ended(&self, _: EndingClass) -> Option<String> {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_tone_has_a_sound_and_practice_sounds_otherwise() {
        let real = Tones::new(&Setting::default());
        let banners = vec![Banner::Rehearsal];
        let practice = Tones::new(&Setting { banners, ..Setting::default() });
        for tone in [
            Tone::Prepare,
            Tone::Now,
            Tone::Tick,
            Tone::Missed,
            Tone::TenLeft,
            Tone::FiveLeft,
            Tone::LetGo,
        ] {
            let Rung { sound, .. } = real.tone(tone).unwrap();
            assert!(real.all().contains(&sound));
            let (wav, other) = (real.wav(&sound).unwrap(), practice.wav(&sound).unwrap());
            assert!(wav.starts_with(b"RIFF") && wav.len() == other.len() && wav != other);
        }
        assert_eq!(real.wav("tone-none"), None);
    }
}
