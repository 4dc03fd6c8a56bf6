//! Everything that can be spoken in a run: takes a procedure, gives its texts and the words of the
//! program's own; holds them as sounds. How a text is cleaned for a speech program is here too.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::clip::Clip;
use super::mix::LEAD;
use super::phrases;
use super::words::Banner;
use crate::clock::Millis;
use crate::guide::{Sayable, sayable};
use crate::journal::entry::EndingClass;
use crate::journal::happened::Question;
use crate::procedure::model::Procedure;
use crate::procedure::timing::{SpeechLengths, SpeechSource};

/// So much may a player be behind that takes sound in lumps; the end of a prompt comes that much later.
const LUMPS: Millis = Millis(60);

/// Words of the program's own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Own {
    /// Ten seconds are left.
    Ten,
    /// Five seconds are left.
    Five,
    /// A window was missed.
    TimeIsUp,
    /// Something of the program itself went wrong.
    Trouble,
    /// There is no vehicle.
    Rehearsal,
    /// It has already happened.
    Replay,
    /// The script's numbers are invented.
    Demonstration,
    /// The run's time goes slower than the world's.
    Slower,
    /// The run is over: learned.
    Learned,
    /// The run is over: not learned.
    NotLearned,
    /// The run is over: nobody knows.
    Unsure,
    /// The run is over: stopped.
    Stopped,
}

impl Own {
    /// All of them.
    pub const ALL: [Own; 12] = [
        Own::Ten,
        Own::Five,
        Own::TimeIsUp,
        Own::Trouble,
        Own::Rehearsal,
        Own::Replay,
        Own::Demonstration,
        Own::Slower,
        Own::Learned,
        Own::NotLearned,
        Own::Unsure,
        Own::Stopped,
    ];

    /// Its name in a pack of recordings.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Own::Ten => "ten",
            Own::Five => "five",
            Own::TimeIsUp => "time-is-up",
            Own::Trouble => "trouble",
            Own::Rehearsal => "rehearsal",
            Own::Replay => "replay",
            Own::Demonstration => "demonstration",
            Own::Slower => "slower",
            Own::Learned => "learned",
            Own::NotLearned => "not-learned",
            Own::Unsure => "unsure",
            Own::Stopped => "stopped",
        }
    }

    /// The words. Numbers are digits: every voice says them in its own language.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Own::Ten => "10",
            Own::Five => "5",
            Own::TimeIsUp => "Time is up.",
            Own::Trouble => "Trouble. Look at the screen.",
            Own::Rehearsal => "Rehearsal. There is no vehicle.",
            Own::Replay => "Replay. This has already happened.",
            Own::Demonstration => "Demonstration. Not for a real vehicle.",
            Own::Slower => "Slower than at a vehicle.",
            Own::Learned => "The run is over: learned.",
            Own::NotLearned => "The run is over: not learned.",
            Own::Unsure => "The run is over: unsure what was learned.",
            Own::Stopped => "The run is over: stopped.",
        }
    }

    /// Whether a voice of this language can say it: the words are English, the digits are not.
    #[must_use]
    pub fn is_for(self, language: &str) -> bool {
        is_english(language) || matches!(self, Own::Ten | Own::Five)
    }

    /// How a run ended.
    #[must_use]
    pub const fn ended(class: EndingClass) -> Own {
        match class {
            EndingClass::Learned => Own::Learned,
            EndingClass::NotLearned => Own::NotLearned,
            EndingClass::Unsure => Own::Unsure,
            EndingClass::Stopped => Own::Stopped,
        }
    }

    /// The sign for what this is, if not the real thing.
    #[must_use]
    pub const fn sign(banner: Banner) -> Own {
        match banner {
            Banner::Demonstration => Own::Demonstration,
            Banner::Rehearsal => Own::Rehearsal,
            Banner::Replay => Own::Replay,
            Banner::Slower(_) => Own::Slower,
        }
    }
}

/// Whether a voice's language, as a speech program calls it, is English: that of the program's own words.
#[must_use]
pub fn is_english(language: &str) -> bool {
    language == "en" || language.starts_with("en-") || language.starts_with("en_")
}

/// The program's own language, as speech programs call it.
pub const ENGLISH: &str = "en";
/// A text of fewer words says nothing about its language.
const TELLING: usize = 4;

/// Why texts would be read wrongly by a voice of this language: no script says which language it is in, but
/// one in which half of the longer texts have the English article, which no other language writes so, is
/// English (common practice, no source).
#[must_use]
pub fn misread(texts: &[&str], language: &str) -> Option<String> {
    let words = |text: &str| -> Vec<String> {
        let parts = text.split(|c: char| !c.is_alphabetic()).filter(|word| !word.is_empty());
        parts.map(str::to_lowercase).collect()
    };
    let telling: Vec<_> =
        texts.iter().map(|text| words(text)).filter(|words| words.len() >= TELLING).collect();
    let english = telling.iter().filter(|words| words.iter().any(|word| word == "the")).count();
    (!is_english(language) && english > 0 && 2 * english >= telling.len()).then(|| {
        format!(
            "the script's texts look English, and a voice for {language} reads them: leave --language \
             out, or translate the texts"
        )
    })
}

/// The sounds of everything that can be spoken, all of one rate.
#[derive(Clone, Debug, Default)]
pub struct Bank {
    /// Samples a second.
    pub rate: u32,
    /// By the text, as the script has it.
    pub texts: BTreeMap<String, Arc<[i16]>>,
    /// The program's own words.
    pub own: BTreeMap<Own, Arc<[i16]>>,
    /// Whose voice it is, for people and for the record.
    pub voice: String,
    /// Rendered, or recorded.
    pub source: SpeechSource,
}

impl Bank {
    /// The sound of a text.
    #[must_use]
    pub fn text(&self, text: &str) -> Option<Arc<[i16]>> {
        self.texts.get(text).cloned()
    }

    /// The sound of words of the program's own.
    #[must_use]
    pub fn own(&self, own: Own) -> Option<Arc<[i16]>> {
        self.own.get(&own).cloned()
    }

    /// How long words of the program's own are, rounded up.
    #[must_use]
    pub fn own_length(&self, own: Own) -> Option<Millis> {
        let samples = self.own.get(&own)?.to_vec();
        Some(Clip { rate: self.rate, samples }.length())
    }

    /// How long a text's own sound is, rounded up; without the tone before it.
    #[must_use]
    pub fn length(&self, text: &str) -> Option<Millis> {
        let samples = self.texts.get(text)?;
        Some(Clip { rate: self.rate, samples: samples.to_vec() }.length())
    }

    /// Puts what was measured in the place of the model: for the words of a now cue the sound itself, for
    /// everything else the tone before it too (or the pause between two sentences, which is shorter), and
    /// what a player may be behind.
    pub fn measure(&self, procedure: &Procedure, speech: &mut SpeechLengths) {
        for text in sayable(procedure) {
            let Some(length) = self.length(procedure.text(text.id)) else { continue };
            let around = if text.now_only { Millis::ZERO } else { LEAD.plus(LUMPS) };
            speech.measured(text.id, length.plus(around), self.source);
        }
        speech.voice = Some(self.voice.clone());
    }
}

/// The texts of a procedure that can be spoken, each once, in the order of the table.
#[must_use]
pub fn spoken(procedure: &Procedure) -> Vec<(Sayable, &str)> {
    sayable(procedure).into_iter().map(|text| (text, procedure.text(text.id))).collect()
}

/// What else a script has to say that nothing waits for: the texts of its endings.
#[must_use]
pub fn besides(procedure: &Procedure) -> Vec<String> {
    let endings = procedure.endings.iter().filter_map(|ending| ending.text);
    endings.map(|text| procedure.text(text).to_owned()).collect()
}

/// The questions before a run that no script words; English.
#[must_use]
pub fn questions() -> Vec<String> {
    let all = [Question::Demonstration, Question::LocalRules, Question::Ownership, Question::Start];
    all.iter().filter_map(asked_aloud).collect()
}

/// How a question that no script words is said, where it comes before the run: nothing is late for it.
#[must_use]
pub fn asked_aloud(question: &Question) -> Option<String> {
    let before = matches!(
        question,
        Question::Demonstration | Question::LocalRules | Question::Ownership | Question::Start
    );
    before.then(|| phrases::question(question))
}

/// A text as a speech program may have it: nothing in it can be taken for markup, a phoneme, a command or
/// an option. Brackets (which begin phonemes and commands in some), angle brackets, control and format
/// characters become blanks, blanks in a row one.
#[must_use]
pub fn clean(text: &str) -> String {
    let harmless = |c: char| {
        let markup = matches!(c, '[' | ']' | '<' | '>' | '{' | '}' | '|' | '\\' | '`');
        if markup || c.is_control() || is_format(c) { ' ' } else { c }
    };
    let mapped: String = text.chars().map(harmless).collect();
    let words: Vec<_> = mapped.split_whitespace().collect();
    // A line that begins with a mark could be an option or a command of a program that reads lines.
    words.join(" ").trim_start_matches(|c: char| !c.is_alphanumeric()).to_owned()
}

/// Characters that steer how text runs and cannot be spoken.
const fn is_format(c: char) -> bool {
    matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_in_a_text_is_taken_for_anything_but_words() {
        assert_eq!(clean("Hold the key."), "Hold the key.");
        assert_eq!(clean("[[h@'loU]] <break time=\"3s\"/> key"), "h@'loU break time=\"3s\"/ key");
        assert_eq!(clean("--voice=x\n-f /etc/passwd"), "voice=x -f /etc/passwd");
        assert_eq!(clean("a\u{0}b\u{1b}[2J\u{202e}c"), "a b 2J c");
        assert_eq!(clean("  \t "), "");
        assert_eq!(clean("Schlüssel, grünes Band · 鍵"), "Schlüssel, grünes Band · 鍵");
    }

    #[test]
    fn words_of_the_programs_own_are_english_digits_are_everybodys() {
        assert!(
            Own::TimeIsUp.is_for("en-gb") && Own::Ten.is_for("de") && !Own::TimeIsUp.is_for("de")
        );
        assert!(!Own::Trouble.is_for("enm"));
    }

    #[test]
    fn english_texts_before_a_voice_of_another_language_are_noticed() {
        let english = ["Hold the new key against the button.", "Key.", "Put it into the tin."];
        let german = ["Halte den neuen Schlüssel an den Knopf.", "Leg ihn in die Dose zurück."];
        let told = misread(&english, "de").expect("a doubt");
        assert!(told.contains("a voice for de reads them"), "{told}");
        assert_eq!(misread(&english, "en-gb"), None);
        assert_eq!(misread(&german, "de"), None);
        assert_eq!(misread(&["Button.", "The key."], "de"), None, "too short to tell");
        assert_eq!(misread(&[], "de"), None);
    }
}
