//! The conversation about a foot switch: takes keys with their moments, gives sentences and at the end what
//! is to be kept. Knows no clock and no terminal.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use crate::clock::{Millis, Moment};
use crate::edge::dialogue::{Answers, Heard};
use crate::edge::keymap::{Gaps, KeyMap, key_name, known_name};
use crate::edge::keys::{Interrupts, Keyboard, Meant, Mode};
use crate::guide::cue::Press;

/// Keys that come together are one press of a switch that sends several.
const TOGETHER: Millis = Millis(400);
/// How long a switch is held down to be measured: longer than any keyboard waits before it repeats.
const HELD: Millis = Millis(4000);
/// So long after the last key it has been let go.
const QUIET: Millis = Millis(1200);
/// When nothing has come for so long, something is said about why.
const NOTHING: Millis = Millis(20_000);
/// A held key repeats sooner than this, or it was let go in between: a keyboard waits for a second at most
/// and repeats at least twice in one (from memory of the settings of PC keyboards), a half more for slow
/// receivers.
const SLOWEST: Gaps = Gaps { first: Millis(1500), next: Millis(750) };
/// What it can be assigned to, by digit from 1.
const MEANINGS: [(&str, &str, Press); 7] = [
    ("done", "done", Press::Done),
    ("else", "something else", Press::SomethingElse),
    ("slip", "slip", Press::Slip),
    ("again", "say again", Press::SayAgain),
    ("back", "take back", Press::TakeBack),
    ("hold", "hold", Press::Hold),
    ("stop", "stop", Press::Stop),
];
const PRESS_IT: &str = "Press the switch once and let it go.";
const ANOTHER: &str = "Another switch or button? y or n";
const KEEP: &str = "Keep it, so that guide uses it from now on? y or n";

/// What a conversation came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Found {
    /// It was broken off.
    Stopped,
    /// Nothing is to be kept.
    Nothing,
    /// This is to be kept, as `--keys` would say it.
    Save(String),
}

/// Where the conversation is.
#[derive(Clone, Debug, PartialEq, Eq)]
enum State {
    /// A press is awaited, since then.
    Press { since: Option<Moment>, told: bool },
    /// Keys of one press come in.
    Together { keys: Vec<KeyEvent>, last: Moment },
    /// It is to be held down.
    Hold { key: KeyCode, other: Option<KeyCode> },
    /// It is held down.
    Held { key: KeyCode, events: Vec<Moment> },
    /// It is to be let go: what came while it was held, and since.
    LetGo { key: KeyCode, events: Vec<Moment>, after: Vec<Moment>, told: Moment },
    /// A meaning is asked.
    Assign(KeyCode),
    /// Another one?
    More,
    /// Keep it?
    Keep,
    /// It is over.
    Over(Found),
}

/// The conversation.
#[derive(Debug)]
pub struct Dialog {
    state: State,
    map: KeyMap,
    /// What `--keys` would have to say.
    text: String,
    before: String,
    file: Option<String>,
    trouble: Option<String>,
    /// The switch at hand was measured once in vain.
    in_vain: bool,
}

impl Dialog {
    /// A conversation that begins with these keys and the text that made them; `file` is where they are
    /// kept, `trouble` why those that were kept cannot be used.
    #[must_use]
    pub fn new(map: KeyMap, text: String, file: Option<String>, trouble: Option<String>) -> Dialog {
        let state = State::Press { since: None, told: false };
        Dialog { state, map, before: text.clone(), text, file, trouble, in_vain: false }
    }

    /// What it came to.
    #[must_use]
    pub fn found(self) -> Found {
        match self.state {
            State::Over(found) => found,
            _ => Found::Stopped,
        }
    }

    fn again(&mut self) {
        self.in_vain = false;
        self.state = State::Press { since: None, told: false };
    }

    /// What was pressed once, once it is quiet.
    fn pressed(&mut self, keys: &[KeyEvent]) -> Vec<String> {
        let mut codes: Vec<KeyCode> = keys.iter().map(|key| key.code).collect();
        codes.dedup();
        let [code] = codes[..] else {
            self.again();
            let names: Vec<_> = codes.iter().map(|code| key_name(*code)).collect();
            return vec![
                format!("It sends several keys: {}.", names.join(", ")),
                "Set it to send a single one, such as PageDown or F5.".to_owned(),
                PRESS_IT.to_owned(),
            ];
        };
        let name = key_name(code);
        if keys.iter().any(|key| key.modifiers.contains(KeyModifiers::CONTROL)) {
            self.again();
            return vec![
                format!("It sends Ctrl with {name}, which guide does not take."),
                "Set it to send a single key, such as PageDown or F5.".to_owned(),
                PRESS_IT.to_owned(),
            ];
        }
        if known_name(code).is_none() {
            self.again();
            return vec![
                format!("It sends {name}, for which guide has no name."),
                "Set it to send another key, such as PageDown or F5.".to_owned(),
                PRESS_IT.to_owned(),
            ];
        }
        self.state = State::Hold { key: code, other: None };
        vec![
            format!("It sends {name}. {}", meaning(&self.map, code)),
            "Now press it and keep it down until you are told to let go.".to_owned(),
        ]
    }

    /// What holding it down has shown.
    fn measured(&mut self, key: KeyCode, events: &[Moment], after: &[Moment]) -> Vec<String> {
        let gaps = seen(events);
        let broken =
            gaps.is_some_and(|gaps| gaps.first > SLOWEST.first || gaps.next > SLOWEST.next);
        if broken && !self.in_vain {
            self.in_vain = true;
            self.state = State::Hold { key, other: None };
            return vec![
                "It was let go in between, or it repeats as slowly as one presses twice."
                    .to_owned(),
                "Once more: press it and keep it down until you are told to let go.".to_owned(),
            ];
        }
        self.state = State::Assign(key);
        let mut said = Vec::new();
        match gaps {
            // Gaps as long as these would swallow the next press of a quick foot.
            Some(_) if broken => said.push(
                "Still so: a press that is held may count more than once. Set the switch to repeat \
                 faster, or press it shortly."
                    .to_owned(),
            ),
            None if after.is_empty() => {
                said.push("It sends nothing more while it is held. It counts once.".to_owned());
            }
            None => said.push(
                "It sends nothing while it is held, and the key once more when it is let go: a press \
                 that is held counts twice. Set the switch otherwise, or press it shortly."
                    .to_owned(),
            ),
            Some(gaps) => {
                let (first, next) = (seconds(gaps.first), seconds(gaps.next));
                said.push(match events.len() {
                    2 => format!("Held, it repeats once, after {first}."),
                    _ => format!("Held, it repeats: first after {first}, then at most {next} apart."),
                });
                said.extend(self.adapt(key, events, gaps));
            }
        }
        said.push(asked());
        said
    }

    /// Widens the gaps where this switch needs it; says whether it counts once then.
    fn adapt(&mut self, key: KeyCode, events: &[Moment], gaps: Gaps) -> Vec<String> {
        let now = self.map.gaps();
        let mut parts = Vec::new();
        if with_margin(gaps.first) > now.first {
            parts.push(format!("held={}ms", with_margin(gaps.first).0));
        }
        if with_margin(gaps.next) > now.next {
            parts.push(format!("repeat={}ms", with_margin(gaps.next).0));
        }
        let mut said = Vec::new();
        if !parts.is_empty() && self.put(&parts.join(",")).is_ok() {
            said.push(format!("That is slower than usual; guide needs {}.", parts.join(" and ")));
        }
        said.push(match counted(&self.map, key, events) {
            1 => "A held press counts once.".to_owned(),
            n => format!(
                "A held press counts {n} times: set the switch to repeat faster, or not at all."
            ),
        });
        said
    }

    fn put(&mut self, part: &str) -> Result<(), String> {
        let text = match self.text.as_str() {
            "" => part.to_owned(),
            text => format!("{text},{part}"),
        };
        self.map = KeyMap::parse(&text).map_err(|why| why.to_string())?;
        self.text = text;
        Ok(())
    }

    fn assign(&mut self, key: KeyCode, digit: usize) -> Vec<String> {
        let Some((word, name, press)) = digit.checked_sub(1).and_then(|n| MEANINGS.get(n)) else {
            self.state = State::More;
            return vec![ANOTHER.to_owned()];
        };
        let mut said = Vec::new();
        let known = self.map.press(key) == Some(*press);
        let key = key_name(key);
        if !known && let Err(why) = self.put(&format!("{word}+={key}")) {
            said.push(format!("That cannot be: {why}."));
            said.push(asked());
            return said;
        }
        self.state = State::More;
        said.push(format!("{key} means {name}."));
        said.push(ANOTHER.to_owned());
        said
    }

    fn no_more(&mut self) -> Vec<String> {
        if self.text == self.before {
            self.state = State::Over(Found::Nothing);
            return vec!["Nothing is to be set: guide knows all of it.".to_owned()];
        }
        let mut said = vec![format!("For guide: --keys {}", self.text)];
        match &self.file {
            Some(_) => {
                self.state = State::Keep;
                said.push(KEEP.to_owned());
            }
            None => self.state = State::Over(Found::Nothing),
        }
        said
    }

    fn key(&mut self, key: KeyEvent, at: Moment) -> Vec<String> {
        let yes = matches!(key.code, KeyCode::Char('y' | 'Y'));
        let no = matches!(key.code, KeyCode::Char('n' | 'N'));
        match &mut self.state {
            State::Press { .. } => {
                self.state = State::Together { keys: vec![key], last: at };
            }
            State::Together { keys, last } => {
                keys.push(key);
                *last = at;
            }
            State::Hold { key: code, .. } if *code == key.code => {
                self.state = State::Held { key: *code, events: vec![at] };
            }
            // The wrong key may be held: that is said once.
            State::Hold { other, .. } if *other == Some(key.code) => {}
            State::Hold { key: code, other } => {
                *other = Some(key.code);
                let (other, wanted) = (key_name(key.code), key_name(*code));
                return vec![format!("That was {other}. Keep {wanted} down.")];
            }
            State::Held { key: code, events } if *code == key.code => events.push(at),
            State::LetGo { key: code, after, .. } if *code == key.code => after.push(at),
            State::Assign(code) => {
                let code = *code;
                let digit = match key.code {
                    KeyCode::Char(c) => c.to_digit(10).and_then(|n| usize::try_from(n).ok()),
                    _ => None,
                };
                return match digit.filter(|digit| *digit <= MEANINGS.len()) {
                    Some(digit) => self.assign(code, digit),
                    None => Vec::new(),
                };
            }
            State::More if yes => {
                self.again();
                return vec![PRESS_IT.to_owned()];
            }
            State::More if no => return self.no_more(),
            State::Keep if yes => self.state = State::Over(Found::Save(self.text.clone())),
            State::Keep if no => self.state = State::Over(Found::Nothing),
            State::Held { .. }
            | State::LetGo { .. }
            | State::More
            | State::Keep
            | State::Over(_) => {}
        }
        Vec::new()
    }
}

impl Answers for Dialog {
    fn begin(&mut self) -> Vec<String> {
        let mut said = vec![
            "What a foot switch, a presenter or a key sends, and what guide makes of it."
                .to_owned(),
        ];
        if let Some(why) = &self.trouble {
            said.push(format!("! {why}"));
        }
        if !self.before.is_empty() {
            said.push(format!("Kept so far: {}", self.before));
        }
        said.push(format!("Keys now: {}", self.map.line()));
        said.push(format!("{PRESS_IT} Ctrl-C ends this."));
        said
    }

    fn hear(&mut self, heard: Heard, at: Moment) -> Vec<String> {
        match heard {
            Heard::Key(key) if key.kind == KeyEventKind::Release => Vec::new(),
            Heard::Key(key)
                if key.code == KeyCode::Char('c') && key.modifiers.contains(KeyModifiers::CONTROL) =>
            {
                self.state = State::Over(Found::Stopped);
                Vec::new()
            }
            Heard::Key(key) => self.key(key, at),
            Heard::Click => vec![
                "That was a mouse button, which guide does not take. Set the switch to send a key, such \
                 as PageDown or F5."
                    .to_owned(),
            ],
            Heard::Paste => vec!["That was a pasted text, no key.".to_owned()],
        }
    }

    fn due(&self) -> Option<Moment> {
        Some(match &self.state {
            State::Press { since: None, .. } => Moment::START,
            State::Press { told: true, .. } => return None,
            State::Press { since: Some(since), .. } => since.after(NOTHING),
            State::Together { last, .. } => last.after(TOGETHER),
            State::Held { events, .. } => events.first()?.after(HELD),
            State::LetGo { after, told, .. } => after.last().unwrap_or(told).after(QUIET),
            _ => return None,
        })
    }

    fn wake(&mut self, at: Moment) -> Vec<String> {
        match self.state.clone() {
            State::Press { since: None, told } => {
                self.state = State::Press { since: Some(at), told };
                Vec::new()
            }
            State::Press { since, .. } => {
                self.state = State::Press { since, told: true };
                vec![
                    "Nothing has come. A terminal hears keys, but no media or volume keys; a switch that \
                     sends those can be set to send PageDown or F5."
                        .to_owned(),
                ]
            }
            State::Together { keys, .. } => self.pressed(&keys),
            State::Held { key, events } => {
                self.state = State::LetGo { key, events, after: Vec::new(), told: at };
                vec!["Let go.".to_owned()]
            }
            State::LetGo { key, events, after, .. } => self.measured(key, &events, &after),
            _ => Vec::new(),
        }
    }

    fn is_over(&self) -> bool {
        matches!(self.state, State::Over(_))
    }
}

/// What a key means so far.
fn meaning(map: &KeyMap, key: KeyCode) -> String {
    let press = map.press(key);
    let name =
        MEANINGS.iter().find(|(_, _, known)| Some(*known) == press).map(|(_, name, _)| *name);
    match (name, press) {
        (Some(name), _) => format!("guide takes it as: {name}."),
        (None, Some(Press::Answer(n))) => format!("guide takes it as: answer {n}."),
        (None, _) => "guide takes it as nothing so far.".to_owned(),
    }
}

fn asked() -> String {
    let all = MEANINGS.iter().zip(1..).map(|((_, name, _), n)| format!("{n} {name}"));
    format!("What shall it mean? {} · 0 as it is", all.collect::<Vec<_>>().join(" · "))
}

/// The first gap and the longest later one; `None` where nothing was repeated.
fn seen(events: &[Moment]) -> Option<Gaps> {
    let mut gaps = events.windows(2).map(|pair| pair[1].since(pair[0]));
    let first = gaps.next()?;
    Some(Gaps { first, next: gaps.max().unwrap_or(Millis::ZERO) })
}

/// A third more, in steps of 50 ms: the next gap may be longer than any that was seen (common
/// practice).
fn with_margin(gap: Millis) -> Millis {
    Millis((gap.0 * 4 / 3).max(0).unsigned_abs().div_ceil(50).min(100).cast_signed() * 50)
}

/// How often a guide with these keys counts what was held; a key without a meaning as if it had one.
fn counted(map: &KeyMap, key: KeyCode, events: &[Moment]) -> usize {
    let Gaps { first, next } = map.gaps();
    let text = format!("done+={},held={}ms,repeat={}ms", key_name(key), first.0, next.0);
    let mut keyboard = Keyboard::new(KeyMap::parse(&text).unwrap_or_else(|_| map.clone()));
    let mut interrupts = Interrupts::default();
    let event = KeyEvent::new(key, KeyModifiers::NONE);
    let mut take = |at: &Moment| keyboard.take(event, *at, Mode::Presses, &mut interrupts);
    events.iter().filter(|at| matches!(take(at), Some(Meant::Press(_)))).count()
}

/// Seconds with two digits.
fn seconds(gap: Millis) -> String {
    format!("{}.{:02} s", gap.0 / 1000, gap.0 % 1000 / 10)
}
