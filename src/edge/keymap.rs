//! Which key means what: takes the text of `--keys`, gives what each key means, its name, and how close
//! together the events of a held key are.

use std::fmt;

use crossterm::event::KeyCode;

use crate::clock::Millis;
use crate::guide::cue::Press;

/// Which key means what.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeyMap {
    pairs: Vec<(KeyCode, Press)>,
    /// The person's hand in a rehearsal, where keys were chosen for it.
    hand: Vec<KeyCode>,
    gaps: Gaps,
}

/// How close together the events of a key are that is held, and not pressed again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gaps {
    /// The same key again this soon after a press is held.
    pub first: Millis,
    /// Repeats of a held key come closer together than this; taps do not.
    pub next: Millis,
}

/// The same key again this soon is a held key (the longest gap of a held pedal, common practice).
pub const REPEAT: Millis = Millis(700);

impl Default for Gaps {
    /// Held and pressed again are told apart by [`REPEAT`], and by a rhythm between that of repeats and
    /// that of taps (common practice).
    fn default() -> Gaps {
        Gaps { first: REPEAT, next: Millis(300) }
    }
}

/// A gap is at least and at most this long.
const GAPS: std::ops::RangeInclusive<i64> = 50..=5000;

/// A `--keys` text that is not understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum BadKeys {
    /// Not `NAME=KEY`.
    NoPair(String),
    /// No press of that name.
    NoPress(String),
    /// No key of that name.
    NoKey(String),
    /// *Done* would be left without a key.
    NothingLeft(&'static str),
    /// Not a length from 50 ms to 5 s.
    NoGap(String),
}

impl fmt::Display for BadKeys {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            BadKeys::NoPair(found) => {
                write!(f, "`{found}` is not NAME=KEY or NAME+=KEY, as in done=F5")
            }
            BadKeys::NoPress(found) => write!(
                f,
                "there is no press called `{found}`; known are done, else, slip, again, back, hold \
                 and stop, in a rehearsal act, and for a held key held and repeat"
            ),
            BadKeys::NoKey(found) => write!(
                f,
                "there is no key called `{found}`; known are single characters, Space, Enter, Tab, \
                 Esc, Backspace, Insert, Delete, Home, End, PageUp, PageDown, Up, Down, Left, Right \
                 and F1 to F24"
            ),
            BadKeys::NothingLeft(name) => write!(f, "`{name}` would be left without a key"),
            BadKeys::NoGap(found) => {
                write!(f, "`{found}` is not a length from 50ms to 5s, as in held=900ms")
            }
        }
    }
}

impl std::error::Error for BadKeys {}

/// The presses that can be given a key, with their names.
const PRESSES: &[(&str, Press)] = &[
    ("done", Press::Done),
    ("else", Press::SomethingElse),
    ("slip", Press::Slip),
    ("again", Press::SayAgain),
    ("back", Press::TakeBack),
    ("hold", Press::Hold),
    ("stop", Press::Stop),
];

/// The name of the person's hand at an imaginary vehicle, which is no press.
const HAND: &str = "act";

/// Keys with a name of their own.
const NAMED: &[(&str, KeyCode)] = &[
    ("Space", KeyCode::Char(' ')),
    ("Enter", KeyCode::Enter),
    ("Tab", KeyCode::Tab),
    ("Esc", KeyCode::Esc),
    ("Backspace", KeyCode::Backspace),
    ("Insert", KeyCode::Insert),
    ("Delete", KeyCode::Delete),
    ("Home", KeyCode::Home),
    ("End", KeyCode::End),
    ("PageUp", KeyCode::PageUp),
    ("PageDown", KeyCode::PageDown),
    ("Up", KeyCode::Up),
    ("Down", KeyCode::Down),
    ("Left", KeyCode::Left),
    ("Right", KeyCode::Right),
];

impl Default for KeyMap {
    fn default() -> KeyMap {
        let pairs = vec![
            (KeyCode::Char(' '), Press::Done),
            (KeyCode::Enter, Press::Done),
            (KeyCode::PageDown, Press::Done),
            (KeyCode::Right, Press::Done),
            (KeyCode::Char('e'), Press::SomethingElse),
            (KeyCode::PageUp, Press::SomethingElse),
            (KeyCode::Left, Press::SomethingElse),
            (KeyCode::Char('s'), Press::Slip),
            (KeyCode::Char('a'), Press::SayAgain),
            (KeyCode::Char('.'), Press::SayAgain),
            (KeyCode::Up, Press::SayAgain),
            (KeyCode::Char('b'), Press::TakeBack),
            (KeyCode::Backspace, Press::TakeBack),
            (KeyCode::Char('h'), Press::Hold),
            (KeyCode::Char('q'), Press::Stop),
            (KeyCode::Esc, Press::Stop),
        ];
        KeyMap { pairs, hand: Vec::new(), gaps: Gaps::default() }
    }
}

impl KeyMap {
    /// The default keys changed by a text such as `done=F5,done=b,stop=Esc`. The first mention of a
    /// press takes its old keys away, a further one adds, and so does `done+=F5`; a key has one meaning,
    /// the last one given.
    /// `held=900ms` and `repeat=400ms` set the [`Gaps`].
    ///
    /// # Errors
    /// [`BadKeys`] when a part is not understood or *done* or *stop* lose their last key.
    pub fn parse(text: &str) -> Result<KeyMap, BadKeys> {
        let mut map = KeyMap::default();
        let (mut named, mut hand_named) = (Vec::new(), false);
        for part in text.split(',').map(str::trim).filter(|part| !part.is_empty()) {
            // The key itself may be `=`.
            let (name, key) =
                part.split_once('=').ok_or_else(|| BadKeys::NoPair(part.to_owned()))?;
            match name {
                "held" => map.gaps.first = gap(key)?,
                "repeat" => map.gaps.next = gap(key)?,
                _ => {}
            }
            if matches!(name, "held" | "repeat") {
                continue;
            }
            let (name, adds) = name.strip_suffix('+').map_or((name, false), |name| (name, true));
            let press = PRESSES.iter().find(|(known, _)| *known == name).map(|(_, press)| *press);
            if press.is_none() && name != HAND {
                return Err(BadKeys::NoPress(name.to_owned()));
            }
            let key = key_named(key).ok_or_else(|| BadKeys::NoKey(key.to_owned()))?;
            map.hand.retain(|old| *old != key);
            let Some(press) = press else {
                if !adds && !std::mem::replace(&mut hand_named, true) {
                    map.hand.clear();
                }
                map.pairs.retain(|(old, _)| *old != key);
                map.hand.push(key);
                continue;
            };
            if !adds && !named.contains(&press) {
                map.pairs.retain(|(_, old)| *old != press);
                named.push(press);
            }
            map.pairs.retain(|(old, _)| *old != key);
            map.pairs.push((key, press));
        }
        for (name, press) in [("done", Press::Done), ("stop", Press::Stop)] {
            if !map.pairs.iter().any(|(_, known)| *known == press) {
                return Err(BadKeys::NothingLeft(name));
            }
        }
        Ok(map)
    }

    /// The keys that were saved: as [`KeyMap::parse`], over several lines, with remarks after `#`.
    ///
    /// # Errors
    /// As [`KeyMap::parse`].
    pub fn saved(text: &str) -> Result<KeyMap, BadKeys> {
        KeyMap::parse(&one_line(text))
    }

    /// How close together the events of a held key are.
    #[must_use]
    pub const fn gaps(&self) -> Gaps {
        self.gaps
    }

    /// The keys that were chosen for the person's hand in a rehearsal; none where none were.
    #[must_use]
    pub fn hand(&self) -> &[KeyCode] {
        &self.hand
    }

    /// What a key means.
    #[must_use]
    pub fn press(&self, key: KeyCode) -> Option<Press> {
        if let Some((_, press)) = self.pairs.iter().find(|(known, _)| *known == key) {
            return Some(*press);
        }
        match key {
            KeyCode::Char(c @ '1'..='9') => c.to_digit(10).and_then(|n| u8::try_from(n).ok()),
            _ => None,
        }
        .map(Press::Answer)
    }

    /// The first key of a press, by name.
    #[must_use]
    pub fn name(&self, press: Press) -> String {
        self.pairs
            .iter()
            .find(|(_, known)| *known == press)
            .map_or_else(String::new, |(key, _)| key_name(*key))
    }

    /// All presses with their keys, in one line.
    #[must_use]
    pub fn line(&self) -> String {
        let words = [
            (Press::Done, "done"),
            (Press::SomethingElse, "something else"),
            (Press::Slip, "slip"),
            (Press::SayAgain, "again"),
            (Press::TakeBack, "back"),
            (Press::Hold, "hold"),
            (Press::Stop, "stop"),
        ];
        self.each(&words).join(" · ")
    }

    /// The same one by one, in one word each, the most needed first.
    #[must_use]
    pub fn brief(&self) -> Vec<String> {
        self.each(&[
            (Press::Done, "done"),
            (Press::SomethingElse, "else"),
            (Press::Stop, "stop"),
            (Press::Slip, "slip"),
            (Press::SayAgain, "again"),
            (Press::TakeBack, "back"),
            (Press::Hold, "hold"),
        ])
    }

    /// The keys of these presses, each with its word; a press without a key is left out.
    fn each(&self, words: &[(Press, &str)]) -> Vec<String> {
        let named = words.iter().map(|(press, word)| (self.name(*press), word));
        let named = named.filter(|(key, _)| !key.is_empty());
        named.map(|(key, word)| format!("{key} {word}")).collect()
    }
}

/// Saved keys as one text for `--keys`.
#[must_use]
pub fn one_line(text: &str) -> String {
    // A key may be `#`: a remark stands alone or after a space.
    let lines = text.lines().map(|line| match line.find(" #") {
        Some(remark) => line[..remark].trim(),
        None => line.trim(),
    });
    let said = lines.filter(|line| !line.is_empty() && !line.starts_with('#'));
    said.collect::<Vec<_>>().join(",")
}

/// A key by the name that `--keys` knows, where it has one.
#[must_use]
pub fn known_name(key: KeyCode) -> Option<String> {
    let name = key_name(key);
    (key_named(&name) == Some(key) && name != ",").then_some(name)
}

fn gap(text: &str) -> Result<Millis, BadKeys> {
    let length = humantime::parse_duration(text.trim()).ok();
    let length = length.and_then(|length| i64::try_from(length.as_millis()).ok());
    let length = length.filter(|length| GAPS.contains(length));
    length.map(Millis).ok_or_else(|| BadKeys::NoGap(text.to_owned()))
}

/// A key by the name that `--keys` gives it.
fn key_named(name: &str) -> Option<KeyCode> {
    let mut chars = name.chars();
    if let (Some(one), None) = (chars.next(), chars.next()) {
        return (!one.is_control()).then_some(KeyCode::Char(one));
    }
    if let Some((_, key)) = NAMED.iter().find(|(known, _)| known.eq_ignore_ascii_case(name)) {
        return Some(*key);
    }
    let number: u8 = name.strip_prefix(['F', 'f'])?.parse().ok()?;
    (1..=24).contains(&number).then_some(KeyCode::F(number))
}

/// What a key is called.
#[must_use]
pub fn key_name(key: KeyCode) -> String {
    if let Some((name, _)) = NAMED.iter().find(|(_, known)| *known == key) {
        return (*name).to_owned();
    }
    match key {
        KeyCode::F(n) => format!("F{n}"),
        KeyCode::Char(c) => c.to_string(),
        other => format!("{other:?}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_key_that_can_be_kept_is_read_back() {
        for key in [KeyCode::Char('#'), KeyCode::Char('='), KeyCode::F(5), KeyCode::Char('v')] {
            let Some(name) = known_name(key) else { panic!("{key:?} has no name") };
            let text = format!("# a remark\ndone+={name}\n");
            let map = KeyMap::saved(&text);
            let press = map.as_ref().map(|map| map.press(key));
            assert!(matches!(press, Ok(Some(Press::Done))), "{text}: {map:?}");
        }
    }

    #[test]
    fn keys_can_be_chosen() {
        let map = KeyMap::parse("done=F5,done=b,stop=x").unwrap();
        assert_eq!(map.press(KeyCode::F(5)), Some(Press::Done));
        assert_eq!(map.press(KeyCode::Char('b')), Some(Press::Done));
        assert_eq!(map.press(KeyCode::Char(' ')), None);
        assert_eq!(map.press(KeyCode::Esc), None);
        let both = KeyMap::parse("done+=F5").unwrap();
        assert_eq!(both.press(KeyCode::F(5)), Some(Press::Done));
        assert_eq!(both.press(KeyCode::Char(' ')), Some(Press::Done));
        let saved = "# a pedal\ndone+=F5, held=900ms\n\nstop=Esc # left\n";
        assert_eq!(KeyMap::saved(saved), KeyMap::parse("done+=F5,held=900ms,stop=Esc"));
        assert_eq!(KeyMap::parse("go=F5"), Err(BadKeys::NoPress("go".to_owned())));
        assert_eq!(KeyMap::parse("done"), Err(BadKeys::NoPair("done".to_owned())));
        assert_eq!(KeyMap::parse("done=F99"), Err(BadKeys::NoKey("F99".to_owned())));
        assert_eq!(KeyMap::parse("held=9s"), Err(BadKeys::NoGap("9s".to_owned())));
        let gaps = Gaps { first: Millis(900), next: Millis(40) };
        assert_eq!(KeyMap::parse("held=900ms,repeat=40ms"), Err(BadKeys::NoGap("40ms".to_owned())));
        assert_eq!(
            KeyMap::parse("held=900ms,repeat=90ms").unwrap().gaps(),
            Gaps { next: Millis(90), ..gaps }
        );
        let hand = KeyMap::parse("act=F5,act=x,done+=x").unwrap();
        assert_eq!((hand.hand(), hand.press(KeyCode::F(5))), (&[KeyCode::F(5)][..], None));
        assert_eq!(hand.press(KeyCode::Char('x')), Some(Press::Done));
        assert_eq!(KeyMap::parse("act=Space").unwrap().press(KeyCode::Char(' ')), None);
        assert_eq!(KeyMap::parse("done=q,else=q"), Err(BadKeys::NothingLeft("done")));
    }
}
