//! Texts for people: not too long, one instruction each, no word that should be a number.
//!
//! Takes the texts that tell the person what to do; counts and compares words. Sources stand beside
//! each check.

use super::Check;
use super::signs::steps;
use crate::complaint::{Code, Complaint};
use crate::source::Place;

/// ASD-STE100 rule 5.1: a procedural sentence has at most 20 words (read in restatements).
const MOST_WORDS: usize = 20;
/// A tone and a word or three (MIL-DTL-87268D 3.3.6.1.1 lets a tone lead its words by 0.5 s at most).
const MOST_NOW_WORDS: usize = 3;

/// Words that stand where a number should (common practice, no source).
const VAGUE: &[&str] = &[
    "a couple of",
    "a few",
    "a little while",
    "a moment",
    "a short time",
    "a while",
    "briefly",
    "for some time",
    "long enough",
    "momentarily",
    "occasionally",
    "quickly",
    "several",
    "shortly",
    "slowly",
    "some seconds",
    "soon",
];
/// Words for an act done over and over; a count beside them gives the number.
const UNCOUNTED: &[&str] = &["again and again", "repeatedly", "a number of times"];

/// Verbs with which an instruction begins.
const VERBS: &[&str] = &[
    "begin",
    "bring",
    "check",
    "climb",
    "close",
    "come",
    "connect",
    "count",
    "crank",
    "disconnect",
    "drive",
    "fetch",
    "get",
    "go",
    "grip",
    "hold",
    "insert",
    "keep",
    "lay",
    "leave",
    "let",
    "lift",
    "listen",
    "lock",
    "look",
    "lower",
    "move",
    "open",
    "pick",
    "place",
    "plug",
    "press",
    "pull",
    "push",
    "put",
    "raise",
    "read",
    "release",
    "remove",
    "reset",
    "select",
    "set",
    "show",
    "shut",
    "slide",
    "start",
    "stay",
    "step",
    "stop",
    "switch",
    "take",
    "tap",
    "touch",
    "turn",
    "type",
    "unlock",
    "unplug",
    "wait",
    "walk",
    "watch",
    "withdraw",
    "write",
];
/// Words that say two acts are one.
const TOGETHER: &[&str] = &["together", "at the same time", "at once", "while"];

impl Check<'_> {
    pub(super) fn words(&mut self) {
        let told = std::mem::take(&mut self.told);
        for text in &told {
            let count = text.text.split_whitespace().filter(|word| is_word(word)).count();
            if count > MOST_WORDS {
                let count = i64::try_from(count).unwrap_or(i64::MAX);
                let complaint = Complaint::new(Code::InstructionTooLong, text.place);
                self.complain(complaint.with("count", count));
            }
            if text.whole && instructions(&text.text) > 1 {
                self.complain(Complaint::new(Code::TwoInstructions, text.place));
            }
            if let Some(word) = vague(&text.text, text.counted) {
                self.vague_word(word, text.place);
            }
        }
        self.vague_elsewhere();
        self.now_words();
    }

    fn vague_word(&mut self, word: &str, place: Place) {
        self.complain(Complaint::new(Code::VagueWord, place).with("word", word));
    }

    /// The checklist and the guards tell the person something too.
    fn vague_elsewhere(&mut self) {
        let mut ids = self.model.checklist.clone();
        ids.extend(self.model.tests.iter().map(|test| test.text));
        for id in ids {
            let Some(said) = self.model.texts.get(id.0 as usize).cloned() else { continue };
            if let Some(word) = vague(&said.text, false) {
                self.vague_word(word, said.place);
            }
        }
    }

    fn now_words(&mut self) {
        let said: Vec<_> = steps(&self.model)
            .iter()
            .filter_map(|step| self.model.texts.get(step.say?.0 as usize).cloned())
            .collect();
        for said in said {
            let count = said.text.split_whitespace().filter(|word| is_word(word)).count();
            if count > MOST_NOW_WORDS {
                let count = i64::try_from(count).unwrap_or(i64::MAX);
                let complaint = Complaint::new(Code::NowWordsTooLong, said.place);
                self.complain(complaint.with("count", count));
            }
        }
    }
}

fn is_word(word: &str) -> bool {
    word.chars().any(char::is_alphanumeric)
}

/// Lower case, single blanks, no punctuation, a blank at either end: so that whole words are found.
pub(super) fn plain(text: &str) -> String {
    let mut out = String::from(" ");
    for word in text.split(|c: char| !c.is_alphanumeric() && c != '-' && c != '\'') {
        if !word.is_empty() {
            out.push_str(&word.to_lowercase());
            out.push(' ');
        }
    }
    out
}

/// Whether the plain text holds these words.
pub(super) fn holds(plain: &str, words: &str) -> bool {
    plain.contains(&format!(" {words} "))
}

fn vague(text: &str, counted: bool) -> Option<&'static str> {
    let plain = plain(text);
    let uncounted = UNCOUNTED.iter().filter(|_| !counted);
    VAGUE.iter().chain(uncounted).find(|word| holds(&plain, word)).copied()
}

/// How many instructions a text holds: clauses that begin with a verb. Coordinated verbs with one
/// object (`press and hold the button`) are one.
fn instructions(text: &str) -> usize {
    let all = plain(text);
    if TOGETHER.iter().any(|word| holds(&all, word)) {
        return 1;
    }
    let mut count = 0;
    for clause in text.split(['.', ';', ',', '!', ':']) {
        let clause = plain(clause);
        let mut alone = false;
        for piece in clause.split(" and ").flat_map(|piece| piece.split(" then ")) {
            let mut words = piece.split_whitespace().skip_while(|w| matches!(*w, "then" | "and"));
            let first = words.next().unwrap_or("");
            let starts = VERBS.contains(&first);
            if starts && !alone {
                count += 1;
            }
            alone = starts && words.next().is_none();
        }
    }
    count
}

#[cfg(test)]
mod tests {
    use super::{instructions, vague};

    #[test]
    fn one_instruction_is_told_from_two() {
        for one in [
            "Press the start button twice, foot off the brake.",
            "Press and hold the button.",
            "Lock and unlock with the remote.",
            "Hold this button and press the other at the same time.",
            "Turn the switch ON and OFF.",
            "Mate: climb to the ceiling unit.",
        ] {
            assert_eq!(instructions(one), 1, "{one}");
        }
        for two in [
            "Turn the key ON. Watch the lamp.",
            "Take the key out and put the next one in.",
            "Hold this button; press the other again and again.",
            "Open the door, then close it.",
        ] {
            assert_eq!(instructions(two), 2, "{two}");
        }
    }

    #[test]
    fn vague_words_are_whole_words() {
        assert_eq!(vague("Hold it for several seconds.", false), Some("several"));
        assert_eq!(vague("Press it repeatedly.", false), Some("repeatedly"));
        assert_eq!(vague("Press it repeatedly.", true), None);
        assert_eq!(vague("Severally and sooner.", false), None);
    }
}
