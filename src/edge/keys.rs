//! From keys and typed lines to what they mean: takes key events of a terminal in raw mode, or lines
//! of a pipe, with their moments; gives presses, texts and interrupts. Decides nothing about the run.
//!
//! The default keys are those that foot switches and presenters send. A held key repeats itself and
//! terminals do not tell when it is let go, so the same key again within [`Gaps`] of its last event
//! counts as held. Texts are typed without that rule.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::keymap::{Gaps, KeyMap};
use super::signals::TWICE_WITHIN;
use crate::clock::{Millis, Moment};
use crate::guide::cue::Press;

/// A typed text is not longer, in characters.
const LONGEST_TEXT: usize = 200;

/// What is on show, as far as keys care.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Mode {
    /// Presses.
    #[default]
    Presses,
    /// A question that is answered by yes or no.
    YesNo,
    /// Whether this press was meant, which ends the run: on a line, yes is the same press and no says again
    /// what to do. A key for yes could be hit unseen.
    Ends(Press),
    /// A text is asked.
    Text,
}

/// What a key event or a line meant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Meant {
    /// A press.
    Press(Press),
    /// A whole text.
    Typed(String),
    /// In a rehearsal: the person's hand touched the vehicle.
    Touch,
    /// The text being typed has changed.
    Typing,
    /// Ctrl-C: stop?
    Interrupt,
    /// Ctrl-C a second time within two seconds: break off.
    Abort,
    /// Nothing that is known.
    Unknown(String),
    /// Where a replay is to go, as a page sends it.
    Moved(String),
}

/// Tells the first Ctrl-C from the second.
#[derive(Debug, Default)]
pub struct Interrupts {
    last: Option<Moment>,
}

impl Interrupts {
    /// One more.
    pub fn take(&mut self, at: Moment) -> Meant {
        let twice = self.last.is_some_and(|last| at.since(last) <= TWICE_WITHIN);
        self.last = Some(at);
        if twice { Meant::Abort } else { Meant::Interrupt }
    }
}

/// The keyboard's memory.
#[derive(Debug, Default)]
pub struct Keyboard {
    map: KeyMap,
    /// The last key, the press of it that counted, and its last event.
    last: Option<(KeyCode, Moment, Moment)>,
    text: String,
}

impl Keyboard {
    /// A keyboard with these keys.
    #[must_use]
    pub fn new(map: KeyMap) -> Keyboard {
        Keyboard { map, last: None, text: String::new() }
    }

    /// What has been typed so far.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Forgets what was typed: another question is on show.
    pub fn clear(&mut self) {
        self.text.clear();
    }

    /// What a key event meant; `None` for nothing.
    pub fn take(
        &mut self,
        event: KeyEvent,
        at: Moment,
        mode: Mode,
        interrupts: &mut Interrupts,
    ) -> Option<Meant> {
        if event.kind == KeyEventKind::Release {
            return None;
        }
        let held = self.is_held(event.code, at);
        if event.modifiers.contains(KeyModifiers::CONTROL) {
            return match event.code {
                KeyCode::Char('c' | 'C') => Some(interrupts.take(at)),
                KeyCode::Char('u' | 'U') if mode == Mode::Text => {
                    self.text.clear();
                    Some(Meant::Typing)
                }
                _ => None,
            };
        }
        if mode == Mode::Text {
            return self.type_key(event.code);
        }
        if held {
            return None;
        }
        self.meaning(event.code, mode)
    }

    /// Whether this is a held key repeating itself: too soon after the press that counted, or in the
    /// rhythm of a repeat. Taps of a quick hand come more slowly than repeats, so that some count.
    fn is_held(&mut self, key: KeyCode, at: Moment) -> bool {
        let (same, since_press, since_event) = match self.last {
            Some((last, pressed, event)) => (last == key, at.since(pressed), at.since(event)),
            None => (false, Millis::ZERO, Millis::ZERO),
        };
        let Gaps { first, next } = self.map.gaps();
        let held = same && (since_press < first || since_event < next);
        let pressed = match self.last {
            Some((_, pressed, _)) if held => pressed,
            _ => at,
        };
        self.last = Some((key, pressed, at));
        held
    }

    fn meaning(&self, key: KeyCode, mode: Mode) -> Option<Meant> {
        let word = match (mode, key) {
            (Mode::YesNo, KeyCode::Char('y' | 'Y')) => Some(Press::Done),
            (Mode::YesNo, KeyCode::Char('n' | 'N')) => Some(Press::SomethingElse),
            _ => None,
        };
        self.map.press(key).or(word).map(Meant::Press)
    }

    fn type_key(&mut self, key: KeyCode) -> Option<Meant> {
        match key {
            KeyCode::Enter if self.text.trim().is_empty() => None,
            KeyCode::Enter => Some(Meant::Typed(std::mem::take(&mut self.text).trim().to_owned())),
            KeyCode::Esc => Some(Meant::Press(Press::Stop)),
            KeyCode::Backspace => self.text.pop().map(|_| Meant::Typing),
            KeyCode::Char(c) => self.put(&c.to_string()),
            _ => None,
        }
    }

    /// A pasted text counts only where a text is asked: a paste is never a press.
    pub fn paste(&mut self, text: &str, mode: Mode) -> Option<Meant> {
        if mode == Mode::Text { self.put(text) } else { None }
    }

    fn put(&mut self, text: &str) -> Option<Meant> {
        let room = LONGEST_TEXT.saturating_sub(self.text.chars().count());
        let before = self.text.len();
        // A pedal that sends blanks begins no text.
        let text = if self.text.is_empty() { text.trim_start() } else { text };
        self.text.extend(text.chars().filter(|c| !c.is_control()).take(room));
        (self.text.len() > before).then_some(Meant::Typing)
    }
}

/// What a line of a pipe meant; `None` for an empty one.
#[must_use]
pub fn line(line: &str, mode: Mode) -> Option<Meant> {
    let line = line.trim();
    if line.is_empty() {
        return None;
    }
    let press = match (line.to_ascii_lowercase().as_str(), mode) {
        ("yes" | "y", Mode::Ends(press)) => Some(press),
        ("no" | "n", Mode::Ends(_)) => Some(Press::SayAgain),
        (word, _) => word_of(word, mode),
    };
    Some(match press {
        Some(press) => Meant::Press(press),
        None if mode == Mode::Text => Meant::Typed(line.chars().take(LONGEST_TEXT).collect()),
        None => Meant::Unknown(line.chars().take(40).collect()),
    })
}

/// The press that a word means.
fn word_of(word: &str, mode: Mode) -> Option<Press> {
    match word {
        "back" => Some(Press::TakeBack),
        "hold" => Some(Press::Hold),
        "stop" => Some(Press::Stop),
        "again" => Some(Press::SayAgain),
        _ if mode == Mode::Text => None,
        "done" | "yes" | "y" | "ok" => Some(Press::Done),
        "else" | "no" | "n" => Some(Press::SomethingElse),
        "slip" => Some(Press::Slip),
        word => word.parse().ok().filter(|n| (1..=9).contains(n)).map(Press::Answer),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(code: KeyCode) -> KeyEvent {
        KeyEvent::new(code, KeyModifiers::NONE)
    }

    #[test]
    fn a_held_key_counts_once_and_a_second_press_counts_again() {
        let (mut keys, mut ctrl) = (Keyboard::default(), Interrupts::default());
        let mut take = |code, at| keys.take(key(code), Moment(at), Mode::Presses, &mut ctrl);
        let done = Some(Meant::Press(Press::Done));
        assert_eq!(take(KeyCode::PageDown, 0), done);
        // The first repeat of a held key comes late, the others in a quick rhythm.
        let repeats: Vec<i64> = (0..100).map(|n| 650 + n * 33).collect();
        for at in &repeats {
            assert_eq!(take(KeyCode::PageDown, *at), None, "{at}");
        }
        let after = repeats[99] + 320;
        assert_eq!(take(KeyCode::PageDown, after), done);
        assert_eq!(take(KeyCode::Char('3'), after + 1), Some(Meant::Press(Press::Answer(3))));
        assert_eq!(take(KeyCode::Char('x'), after + 100), None);
    }

    #[test]
    fn yes_to_the_question_before_an_end_is_the_press_that_asked() {
        let ends = Mode::Ends(Press::Slip);
        assert_eq!(line("Yes", ends), Some(Meant::Press(Press::Slip)));
        assert_eq!(line("no", ends), Some(Meant::Press(Press::SayAgain)));
        assert_eq!(line("done", ends), Some(Meant::Press(Press::Done)));
        assert_eq!(line("yes", Mode::Presses), Some(Meant::Press(Press::Done)));
    }

    #[test]
    fn a_quick_hand_is_never_locked_out() {
        let (mut keys, mut ctrl) = (Keyboard::default(), Interrupts::default());
        let mut take = |at| keys.take(key(KeyCode::Enter), Moment(at), Mode::YesNo, &mut ctrl);
        let taken = (0..20).filter(|n| take(n * 600).is_some()).count();
        assert_eq!(taken, 10, "every second tap at 0.6 s counts");
    }

    #[test]
    fn texts_are_typed_with_double_letters_and_without_control_characters() {
        let (mut keys, mut ctrl) = (Keyboard::default(), Interrupts::default());
        for c in "12.66".chars() {
            keys.take(key(KeyCode::Char(c)), Moment(5), Mode::Text, &mut ctrl);
        }
        keys.take(key(KeyCode::Backspace), Moment(6), Mode::Text, &mut ctrl);
        assert_eq!(keys.paste("\u{1b}[2J", Mode::Text), Some(Meant::Typing));
        assert_eq!(keys.text(), "12.6[2J");
        let typed = keys.take(key(KeyCode::Enter), Moment(7), Mode::Text, &mut ctrl);
        assert_eq!(typed, Some(Meant::Typed("12.6[2J".to_owned())));
        assert_eq!(keys.paste("done", Mode::Presses), None);
    }

    #[test]
    fn the_second_interrupt_within_two_seconds_breaks_off() {
        let mut ctrl = Interrupts::default();
        assert_eq!(ctrl.take(Moment(0)), Meant::Interrupt);
        assert_eq!(ctrl.take(Moment(2001)), Meant::Interrupt);
        assert_eq!(ctrl.take(Moment(4001)), Meant::Abort);
    }

    #[test]
    fn a_pedal_that_repeats_slowly_counts_once_with_its_own_gaps() {
        let presses = |map: KeyMap| {
            let (mut keys, mut ctrl) = (Keyboard::new(map), Interrupts::default());
            let mut take = |at| keys.take(key(KeyCode::F(5)), Moment(at), Mode::Presses, &mut ctrl);
            // Held for six seconds: the first repeat after 1.1 s, then one every 0.5 s.
            let taken = (0..10).map(|n| 1100 + n * 500).filter(|at| take(*at).is_some()).count();
            taken + usize::from(take(0).is_some())
        };
        assert!(presses(KeyMap::parse("done=F5").unwrap()) > 1);
        assert_eq!(presses(KeyMap::parse("done=F5,held=1.3s,repeat=600ms").unwrap()), 1);
    }

    #[test]
    fn lines_are_words_or_texts() {
        assert_eq!(line(" done ", Mode::Presses), Some(Meant::Press(Press::Done)));
        assert_eq!(line("no", Mode::YesNo), Some(Meant::Press(Press::SomethingElse)));
        assert_eq!(line("2", Mode::Presses), Some(Meant::Press(Press::Answer(2))));
        assert_eq!(line("2", Mode::Text), Some(Meant::Typed("2".to_owned())));
        assert_eq!(line("", Mode::Presses), None);
        assert_eq!(line("0", Mode::Presses), Some(Meant::Unknown("0".to_owned())));
    }
}
