//! The sounds of a run for pages: takes what can be spoken and how tones sound, gives WAV files by name.
//!
//! A page plays what it is told when it is told: the time between a tone and its words lies in the file.
//! The words of a now cue come with their tone, since a page cuts everything for them.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::page::Shelf;
use super::wav::to_wav;
use crate::clock::Millis;
use crate::faces::clip::Clip;
use crate::faces::mix::{LEAD, Mixer};
use crate::faces::tones::{Register, Signal, samples};
use crate::faces::voicing::{Bank, Own};
use crate::guide::Sayable;
use crate::journal::happened::{Cue, Tone};

/// Samples a second where nothing is spoken.
const RATE: u32 = 22_050;

/// All sounds of a run, by name; each file is made when it is asked for.
#[derive(Debug)]
pub struct RunShelf {
    register: Register,
    bank: Option<Arc<Bank>>,
    /// A text's number and kind in names.
    texts: BTreeMap<String, (usize, Kind)>,
}

/// As what a text can be said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    /// Only in a now cue.
    Now,
    /// As a prompt, and when it is asked for again.
    Prompt,
    /// Otherwise.
    Plain,
}

impl RunShelf {
    /// A shelf of these texts.
    #[must_use]
    pub fn new(register: Register, bank: Option<Arc<Bank>>, texts: &[(Sayable, &str)]) -> RunShelf {
        let kind = |text: &Sayable| match (text.now_only, text.prompt) {
            (true, _) => Kind::Now,
            (false, true) => Kind::Prompt,
            (false, false) => Kind::Plain,
        };
        let all = texts.iter().enumerate();
        let texts = all.map(|(nth, (id, text))| ((*text).to_owned(), (nth, kind(id)))).collect();
        RunShelf { register, bank, texts }
    }

    fn rate(&self) -> u32 {
        self.bank.as_ref().map_or(RATE, |bank| bank.rate)
    }

    fn sound(&self, name: &str) -> Option<Vec<i16>> {
        let rate = self.rate();
        if let Some(signal) = Signal::ALL.into_iter().find(|signal| signal.name() == name) {
            return Some(samples(signal, self.register, rate));
        }
        let (kind, nth) = name.split_once('-')?;
        let own = Own::ALL.into_iter().find(|own| kind == "own" && own.name() == nth);
        if let Some(own) = own {
            return Some(self.bank.as_ref()?.own(own)?.to_vec());
        }
        let nth: usize = nth.parse().ok()?;
        let (text, _) = self.texts.iter().find(|(_, (number, _))| *number == nth)?;
        let words = self.bank.as_ref()?.text(text)?;
        match kind {
            "words" => Some(words.to_vec()),
            "prompt" => {
                let lead = LEAD.0 * i64::from(rate) / 1000;
                let mut sound = vec![0; usize::try_from(lead).unwrap_or(0)];
                sound.extend(words.iter());
                Some(sound)
            }
            "now" => {
                let mut mixer = Mixer::new(self.register, rate);
                mixer.ring(Tone::Now, None);
                mixer.say(Cue::Now, words);
                Some(mixer.rest())
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
}

impl Shelf for RunShelf {
    fn all(&self) -> Vec<String> {
        let mut all: Vec<_> = [Signal::Prepare, Signal::Now, Signal::Missed, Signal::Tick]
            .map(|signal| signal.name().to_owned())
            .into();
        all.extend([Tone::TenLeft, Tone::FiveLeft].into_iter().filter_map(|tone| self.tone(tone)));
        let spoken = |text: &str| self.bank.as_ref().is_some_and(|bank| bank.text(text).is_some());
        for (_, (nth, kind)) in self.texts.iter().filter(|(text, _)| spoken(text)) {
            match kind {
                Kind::Now => all.extend([format!("now-{nth}"), format!("words-{nth}")]),
                Kind::Prompt => all.extend([format!("prompt-{nth}"), format!("words-{nth}")]),
                Kind::Plain => all.push(format!("words-{nth}")),
            }
        }
        all
    }

    fn wav(&self, name: &str) -> Option<Arc<[u8]>> {
        let samples = self.sound(name)?;
        Some(to_wav(&Clip { rate: self.rate(), samples }).into())
    }

    fn tone(&self, tone: Tone) -> Option<String> {
        let left = |own: Own, signal: Signal| {
            let spoken = self.bank.as_ref().is_some_and(|bank| bank.own(own).is_some());
            if spoken { format!("own-{}", own.name()) } else { signal.name().to_owned() }
        };
        Some(match tone {
            Tone::Prepare => Signal::Prepare.name().to_owned(),
            Tone::Now | Tone::LetGo => Signal::Now.name().to_owned(),
            Tone::Tick => Signal::Tick.name().to_owned(),
            Tone::Missed => Signal::Missed.name().to_owned(),
            Tone::TenLeft => left(Own::Ten, Signal::Ten),
            Tone::FiveLeft => left(Own::Five, Signal::Five),
        })
    }

    fn words(&self, cue: Cue, text: &str) -> Option<String> {
        let (nth, _) = self.texts.get(text)?;
        self.bank.as_ref()?.text(text)?;
        let kind = match cue {
            Cue::Now => "now",
            Cue::Prepare => "prompt",
            Cue::Caution | Cue::Question | Cue::Again | Cue::Notice => "words",
        };
        Some(format!("{kind}-{nth}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edge::wav::from_wav;
    use crate::procedure::model::TextId;

    fn shelf() -> RunShelf {
        let words = |ms: usize| -> Arc<[i16]> { vec![9000; RATE as usize * ms / 1000].into() };
        let texts = [("Take it.", 500), ("Key.", 200), ("Voltage?", 300), ("Not spoken.", 0)];
        let spoken = texts.iter().filter(|(_, ms)| *ms > 0);
        let bank = Bank {
            rate: RATE,
            texts: spoken.map(|(text, ms)| ((*text).to_owned(), words(*ms))).collect(),
            own: [(Own::Ten, words(150))].into(),
            ..Bank::default()
        };
        let kinds = [(false, true), (true, false), (false, false), (false, true)];
        let said =
            kinds.iter().zip(texts).zip(0..).map(|(((now_only, prompt), (text, _)), nth)| {
                (Sayable { id: TextId(nth), now_only: *now_only, prompt: *prompt }, text)
            });
        RunShelf::new(Register::Real, Some(Arc::new(bank)), &said.collect::<Vec<_>>())
    }

    #[test]
    fn words_come_with_the_time_before_them() {
        let shelf = shelf();
        let length = |cue, text: &str| {
            let name = shelf.words(cue, text)?;
            let clip = from_wav(&shelf.wav(&name)?).expect("a WAV file");
            Some((clip.length(), clip.samples.iter().take_while(|s| **s == 0).count()))
        };
        let lead = RATE as usize * 6 / 10;
        assert_eq!(length(Cue::Prepare, "Take it."), Some((Millis(1100), lead)));
        assert_eq!(length(Cue::Again, "Take it."), Some((Millis(500), 0)));
        assert_eq!(length(Cue::Now, "Key.").map(|(length, _)| length), Some(Millis(500)));
        assert_eq!(length(Cue::Question, "Voltage?"), Some((Millis(300), 0)));
        assert_eq!(length(Cue::Prepare, "Not spoken."), None);
        assert_eq!(length(Cue::Notice, "unknown"), None);
    }

    #[test]
    fn everything_that_is_named_is_there() {
        let shelf = shelf();
        let names = shelf.all();
        assert_eq!(names.len(), 4 + 2 + 2 + 2 + 1, "{names:?}");
        assert!(names.iter().all(|name| shelf.wav(name).is_some()), "{names:?}");
        assert_eq!(shelf.tone(Tone::TenLeft).as_deref(), Some("own-ten"));
        assert_eq!(shelf.tone(Tone::FiveLeft).as_deref(), Some("five"));
        for name in ["", "words-99", "words-x", "own-five", "../now", "now-"] {
            assert!(shelf.wav(name).is_none(), "{name}");
        }
    }
}
