//! The sounds of a run for pages: takes what can be spoken and how tones sound, gives WAV files by name.
//!
//! Tones and words are files of their own: a page lets the words begin behind their tone.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::page::shelf::{Rung, Shelf};
use super::wav::to_wav;
use crate::clock::Millis;
use crate::faces::clip::Clip;
use crate::faces::tones::{Register, Signal, samples};
use crate::faces::voicing::{Bank, Own};
use crate::journal::entry::EndingClass;
use crate::journal::happened::{Cue, Tone};

/// Samples a second where nothing is spoken.
const RATE: u32 = 22_050;
/// What stands before the name of a tone.
const TONE: &str = "tone-";

/// The name of words of the program's own.
fn own_name(own: Own) -> String {
    format!("own-{}", own.name())
}

/// All sounds of a run, by name; each file is made when it is asked for.
#[derive(Debug)]
pub struct RunShelf {
    register: Register,
    bank: Option<Arc<Bank>>,
    /// A text's number in names.
    texts: BTreeMap<String, usize>,
}

impl RunShelf {
    /// A shelf of these texts.
    #[must_use]
    pub fn new(register: Register, bank: Option<Arc<Bank>>, texts: &[&str]) -> RunShelf {
        let all = texts.iter().enumerate();
        let texts = all.map(|(nth, text)| ((*text).to_owned(), nth)).collect();
        RunShelf { register, bank, texts }
    }

    fn rate(&self) -> u32 {
        self.bank.as_ref().map_or(RATE, |bank| bank.rate)
    }

    fn sound(&self, name: &str) -> Option<Vec<i16>> {
        let rate = self.rate();
        if let Some(tone) = name.strip_prefix(TONE) {
            let signal = Signal::ALL.into_iter().find(|signal| signal.name() == tone)?;
            return Some(samples(signal, self.register, rate));
        }
        let (kind, nth) = name.split_once('-')?;
        let bank = self.bank.as_ref()?;
        match kind {
            "own" => {
                let own = Own::ALL.into_iter().find(|own| own.name() == nth)?;
                Some(bank.own(own)?.to_vec())
            }
            "words" => {
                let nth: usize = nth.parse().ok()?;
                let (text, _) = self.texts.iter().find(|(_, number)| **number == nth)?;
                Some(bank.text(text)?.to_vec())
            }
            _ => None,
        }
    }

    /// How long a sound is.
    #[must_use]
    pub fn length(&self, name: &str) -> Option<Millis> {
        let samples = self.sound(name)?;
        Some(Clip { rate: self.rate(), samples }.length())
    }

    fn rung(&self, signal: Signal) -> Rung {
        let lead = match signal {
            Signal::Now => Signal::NowBeforeWords.length(),
            _ => signal.length(),
        };
        Rung { sound: format!("{TONE}{}", signal.name()), lead }
    }

    /// What is left, spoken where it can be.
    fn left(&self, own: Own, signal: Signal) -> Rung {
        let sound = own_name(own);
        match self.length(&sound) {
            Some(lead) => Rung { sound, lead },
            None => self.rung(signal),
        }
    }
}

impl Shelf for RunShelf {
    fn all(&self) -> Vec<String> {
        let tones =
            [Tone::Prepare, Tone::Now, Tone::Missed, Tone::Tick, Tone::TenLeft, Tone::FiveLeft];
        let mut all: Vec<String> =
            tones.into_iter().filter_map(|tone| self.tone(tone)).map(|rung| rung.sound).collect();
        let texts = self.texts.keys();
        all.extend(texts.filter_map(|text| self.words(Cue::Prepare, text)));
        // Nothing can be fetched any more when a run has ended.
        all.extend(EndingClass::ALL.into_iter().filter_map(|class| self.ended(class)));
        all
    }

    fn wav(&self, name: &str) -> Option<Arc<[u8]>> {
        let samples = self.sound(name)?;
        Some(to_wav(&Clip { rate: self.rate(), samples }).into())
    }

    fn tone(&self, tone: Tone) -> Option<Rung> {
        Some(match tone {
            Tone::Prepare => self.rung(Signal::Prepare),
            Tone::Now | Tone::LetGo => self.rung(Signal::Now),
            Tone::Tick => self.rung(Signal::Tick),
            Tone::Missed => self.rung(Signal::Missed),
            Tone::TenLeft => self.left(Own::Ten, Signal::Ten),
            Tone::FiveLeft => self.left(Own::Five, Signal::Five),
        })
    }

    fn words(&self, _: Cue, text: &str) -> Option<String> {
        let nth = self.texts.get(text)?;
        self.bank.as_ref()?.text(text)?;
        Some(format!("words-{nth}"))
    }

    fn ended(&self, class: EndingClass) -> Option<String> {
        let own = Own::ended(class);
        self.bank.as_ref()?.own(own)?;
        Some(own_name(own))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edge::wav::from_wav;

    fn shelf() -> RunShelf {
        let words = |ms: usize| -> Arc<[i16]> { vec![9000; RATE as usize * ms / 1000].into() };
        let texts = [("Take it.", 500), ("Key.", 200), ("Voltage?", 300), ("Not spoken.", 0)];
        let spoken = texts.iter().filter(|(_, ms)| *ms > 0);
        let bank = Bank {
            rate: RATE,
            texts: spoken.map(|(text, ms)| ((*text).to_owned(), words(*ms))).collect(),
            own: [(Own::Ten, words(150)), (Own::Unsure, words(400))].into(),
            ..Bank::default()
        };
        RunShelf::new(Register::Real, Some(Arc::new(bank)), &texts.map(|(text, _)| text))
    }

    #[test]
    fn words_and_tones_are_files_of_their_own() {
        let shelf = shelf();
        let length = |cue, text: &str| {
            let name = shelf.words(cue, text)?;
            Some(from_wav(&shelf.wav(&name)?).expect("a WAV file").length())
        };
        assert_eq!(length(Cue::Prepare, "Take it."), Some(Millis(500)));
        assert_eq!(length(Cue::Again, "Take it."), Some(Millis(500)));
        assert_eq!(length(Cue::Now, "Key."), Some(Millis(200)));
        assert_eq!(length(Cue::Question, "Voltage?"), Some(Millis(300)));
        assert_eq!(length(Cue::Prepare, "Not spoken."), None);
        assert_eq!(length(Cue::Notice, "unknown"), None);
    }

    #[test]
    fn everything_that_is_named_is_there() {
        let shelf = shelf();
        let names = shelf.all();
        assert_eq!(names.len(), 6 + 3 + 1, "{names:?}");
        assert!(names.contains(&"own-unsure".to_owned()), "no more can be fetched at the end");
        assert_eq!(shelf.ended(EndingClass::Unsure).as_deref(), Some("own-unsure"));
        assert_eq!(shelf.ended(EndingClass::Learned), None);
        assert!(names.iter().all(|name| shelf.wav(name).is_some()), "{names:?}");
        assert_eq!(shelf.tone(Tone::TenLeft).map(|rung| rung.sound).as_deref(), Some("own-ten"));
        assert_eq!(shelf.tone(Tone::FiveLeft).map(|rung| rung.sound).as_deref(), Some("tone-five"));
        for name in ["", "words-99", "words-x", "own-five", "../now", "now-"] {
            assert!(shelf.wav(name).is_none(), "{name}");
        }
    }
}
