//! The keys and the typed lines of a replay: takes what came, gives what the viewer wants.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use crate::clock::Millis;
use crate::faces::words::KeyNames;
use crate::training::drill::Given;
use crate::training::playhead::{Move, read_move};

/// A place that is typed is not longer, in characters.
const LONGEST: usize = 60;

/// What the viewer wants.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wish {
    /// Somewhere else, or in another way.
    Move(Move),
    /// What is being typed has changed.
    Typing,
    /// An answer of a drill.
    Answer(Given),
    /// No more.
    Quit,
}

/// What is being typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Typing {
    text: String,
    /// Whether it is a time of a drill, not a place to go to.
    answers: bool,
}

impl Typing {
    /// With what it is typed for.
    pub fn line(&self) -> String {
        let what = if self.answers {
            "within how long (none: no window)"
        } else {
            "go to a time or a step"
        };
        format!("{what}: {}", self.text)
    }

    fn wish(self) -> Option<Wish> {
        match self.answers {
            true => time(&self.text).map(Wish::Answer),
            false => read_move(&self.text).map(Wish::Move),
        }
    }
}

/// What the keys are called: on a screen, or as lines; in a drill or not.
#[must_use]
pub fn names(screen: bool, drill: bool) -> KeyNames {
    let all = match (screen, drill) {
        (true, false) => {
            "Space pause · ← → cue · , . 5 s · m n mark · - + speed · i idle · k stop at marks · \
             g go to · q quit"
        }
        (true, true) => {
            "1 to 4 answer · t type a time · ? show me · Space pause · ← cue back · , . 5 s · - + speed · \
             i idle · q quit"
        }
        (false, false) => {
            "lines: pause, play, cue, cue back, +5s, -5s, 1:05, STEP, mark, mark back, faster, slower, \
             idle, stops, begin, end, quit"
        }
        (false, true) => {
            "lines: 1 to 4 answer, a time as in 30s, none, show; pause, play, cue back, -5s, faster, slower, \
             quit"
        }
    };
    let brief: &[&str] = match (screen, drill) {
        (true, false) => &[
            "Space pause",
            "q quit",
            "← → cue",
            "m n mark",
            ", . 5 s",
            "- + speed",
            "g go to",
            "i idle",
            "k stops",
        ],
        (true, true) => &[
            "1 to 4 answer",
            "t time",
            "? show me",
            "q quit",
            "Space pause",
            "← cue back",
            ", . 5 s",
            "- + speed",
            "i idle",
        ],
        (false, _) => &[],
    };
    let key = |word: &str| word.to_owned();
    KeyNames {
        done: key("done"),
        other: key("else"),
        slip: key("slip"),
        stop: key("stop"),
        yes: String::new(),
        act: String::new(),
        all: key(all),
        brief: brief.iter().map(|word| key(word)).collect(),
    }
}

/// Whether a key breaks off, which is understood elsewhere.
pub fn is_break(key: &KeyEvent) -> bool {
    key.modifiers.contains(KeyModifiers::CONTROL)
}

/// A key. `typing`: what is being typed, where something is; `asks`: whether a drill asks.
pub fn key(key: &KeyEvent, typing: &mut Option<Typing>, asks: bool) -> Option<Wish> {
    if key.kind == KeyEventKind::Release {
        return None;
    }
    if typing.is_some() {
        return typed(key.code, typing);
    }
    match key.code {
        KeyCode::Char(c @ '1'..='9') if asks => {
            return choice(c.to_digit(10).and_then(|n| u8::try_from(n).ok())?);
        }
        KeyCode::Char('?') if asks => return Some(Wish::Answer(Given::Shown)),
        KeyCode::Char('t') if asks => {
            *typing = Some(Typing { text: String::new(), answers: true });
            return Some(Wish::Typing);
        }
        _ => {}
    }
    let step = Millis::secs(5);
    Some(Wish::Move(match key.code {
        KeyCode::Char(' ') | KeyCode::Enter => Move::Pause,
        KeyCode::Right | KeyCode::PageDown => Move::Cue,
        KeyCode::Left | KeyCode::PageUp => Move::CueBack,
        KeyCode::Char('.') => Move::By(step),
        KeyCode::Char(',') => Move::By(Millis(-step.0)),
        KeyCode::Char('m') => Move::Mark,
        KeyCode::Char('n') => Move::MarkBack,
        KeyCode::Char('+' | '=') | KeyCode::Up => Move::Quicker,
        KeyCode::Char('-') | KeyCode::Down => Move::Slower,
        KeyCode::Char('i') => Move::Idle,
        KeyCode::Char('k') => Move::Stops,
        KeyCode::Home => Move::Begin,
        KeyCode::End => Move::End,
        KeyCode::Char('g') => {
            *typing = Some(Typing { text: String::new(), answers: false });
            return Some(Wish::Typing);
        }
        KeyCode::Char('q') | KeyCode::Esc => return Some(Wish::Quit),
        _ => return None,
    }))
}

/// A key of a text.
fn typed(key: KeyCode, typing: &mut Option<Typing>) -> Option<Wish> {
    match key {
        KeyCode::Enter => {
            return typing.take().and_then(Typing::wish).or(Some(Wish::Typing));
        }
        KeyCode::Esc => *typing = None,
        KeyCode::Backspace => {
            typing.as_mut()?.text.pop();
        }
        KeyCode::Char(c) if !c.is_control() => {
            let text = &mut typing.as_mut()?.text;
            if text.chars().count() < LONGEST {
                text.push(c);
            }
        }
        _ => return None,
    }
    Some(Wish::Typing)
}

/// A line. `asks`: where a drill asks, how many choices it gives.
pub fn line(text: &str, asks: Option<usize>) -> Option<Wish> {
    let text = text.trim();
    let word = text.to_ascii_lowercase();
    if let Some(choices) = asks {
        // A larger number is a time in seconds.
        if let Some(n) = word.parse::<u8>().ok().filter(|n| (1..=choices).contains(&(*n).into())) {
            return choice(n);
        }
        let word = word.strip_prefix("t ").unwrap_or(&word);
        if matches!(word, "?" | "show") {
            return Some(Wish::Answer(Given::Shown));
        }
        if let Some(given) = time(word) {
            return Some(Wish::Answer(given));
        }
    }
    match word.as_str() {
        "quit" | "stop" => Some(Wish::Quit),
        _ => read_move(text).map(Wish::Move),
    }
}

/// The choice of this number, from 1.
pub fn choice(n: u8) -> Option<Wish> {
    Some(Wish::Answer(Given::Choice(usize::from(n).checked_sub(1)?)))
}

/// A time as an answer: `30s`, `2min`, a plain number of seconds, or that there is none.
pub fn time(text: &str) -> Option<Given> {
    let text = text.trim().to_ascii_lowercase();
    if matches!(text.as_str(), "none" | "no window" | "no") {
        return Some(Given::Time(None));
    }
    let seconds = text.parse::<u32>().ok().map(|secs| Millis::secs(i64::from(secs)));
    let length = || humantime::parse_duration(&text).ok();
    let millis = seconds.or_else(|| i64::try_from(length()?.as_millis()).ok().map(Millis));
    millis.map(|time| Given::Time(Some(time)))
}
