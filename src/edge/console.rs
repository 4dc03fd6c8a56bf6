//! What a person sits at: takes whether there is a terminal, gives faces, sounds and one channel of
//! everything that comes in, already understood as presses, texts and breaks.

use std::io;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::{Duration, Instant};

use crossterm::event::{KeyCode, KeyEventKind, KeyModifiers};

use super::clock::Beginning;
use super::keymap::{KeyMap, key_name};
use super::keys::{Interrupts, Keyboard, Meant, Mode, line};
use super::lines::{Lines, Wording};
use super::page::{Around, News, Page};
use super::raw::Raw;
use super::screen::{Paint, Screen};
use super::signals::{Listening, Signal, listen};
use super::terminal::{Face, Happening, Inbox, is_input, read_keys, read_lines, size};
use crate::clock::{Millis, Moment};
use crate::faces::big::{BigPainter, Looks};
use crate::faces::linear::Linear;
use crate::faces::plain::Plain;
use crate::faces::sounds::Sounds;
use crate::faces::terminal::Painter;
use crate::faces::voicing::asked_aloud;
use crate::faces::words::{KeyNames, Picture, Setting};
use crate::guide::cue::Press;
use crate::journal::entry::Sender as From;
use crate::journal::happened::{Cue, Effect, Fact, Notice, Question};

/// More key presses in a second are no person's; they are dropped and counted. The lines of a pipe are
/// slowed down where they are read.
const MOST_A_SECOND: u32 = 50;

/// The end waits so long for its last words.
const LAST_WORDS: Duration = Duration::from_secs(15);

/// Which face the terminal has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// Large digits, in the whole terminal. Needs a terminal.
    Big(Looks),
    /// A view that stands among the terminal's other text. Needs a terminal.
    Inline {
        /// Whether colour is welcome.
        colour: bool,
    },
    /// Whole sentences, for a screen reader.
    Linear,
    /// Plain lines with the run's seconds.
    Plain,
}

/// How a console is opened.
#[derive(Debug)]
pub struct Opening {
    /// Whether there is a terminal to read single keys from, and to paint on.
    pub terminal: bool,
    /// The face.
    pub look: Look,
    /// What does not change during the run; where it has no key names they are filled in here.
    pub setting: Setting,
    /// The keys.
    pub keys: KeyMap,
    /// Whether a key stands for the person's hand at an imaginary vehicle.
    pub hands: bool,
    /// A page that is served already.
    pub page: Option<Page>,
}

/// Faces, sounds and the channel.
pub struct Console {
    faces: Vec<Box<dyn Face>>,
    sounds: Vec<Box<dyn Sounds>>,
    inbox: Inbox,
    /// Everything that comes in.
    pub from: Receiver<Happening>,
    /// For those who have something to tell the run.
    pub to: Sender<Happening>,
    keyboard: Keyboard,
    interrupts: Interrupts,
    /// The running second and what was taken in it.
    second: (Moment, u32),
    flooded: u64,
    raw: Option<Raw>,
    /// How the pages are, where a page is served.
    around: Option<Around>,
    page_note: Option<String>,
    /// Dropped with the console: the signals do nothing then.
    _listening: Option<Listening>,
    /// Whether a key stands for the person's hand at the vehicle.
    hands: bool,
    /// Which do.
    act: Vec<KeyCode>,
    /// The question on show.
    asked: Option<Question>,
    /// Whether the run's end was told.
    ended: bool,
}

/// What came in, understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Came {
    /// A press, a text, a break.
    Meant(Meant),
    /// A press or a text from a page.
    Sent(Meant, From),
    /// What has changed about the pages, for the record.
    Pages(Vec<String>),
    /// No more input will come.
    InputEnded,
    /// The terminal was closed.
    HungUp,
    /// The program is told to end.
    Terminated,
    /// Only the picture must be shown again.
    Redraw,
    /// News from the record's writer.
    Told(super::writer::Told),
}

impl Console {
    /// Opens faces and input.
    ///
    /// # Errors
    /// When threads, signals or the terminal's raw mode cannot be had.
    pub fn open(opening: Opening) -> io::Result<Console> {
        let Opening { terminal, look, mut setting, keys, hands, page } = opening;
        let mut console = Console::with(Vec::new(), Vec::new(), keys.clone());
        console.raw = if terminal { Some(Raw::enter()?) } else { None };
        let signals = console.to.clone();
        let modes = console.raw.as_ref().map(Raw::modes);
        let stopped = modes.clone();
        console._listening = Some(listen(move |signal| {
            if let (Signal::Suspend, Some(modes)) = (signal, &stopped) {
                Raw::leave(modes);
            }
            // A run that is over hears no signals.
            let _ = signals.send(Happening::Signal(signal));
        })?);
        console.hands = hands;
        console.act = act_keys(&keys);
        name_keys(&mut setting, if terminal { names(&keys, hands) } else { words(hands) });
        match (look, modes) {
            (Look::Big(looks), Some(modes)) => {
                let paint = Paint::Big(BigPainter::new(size(), looks));
                let screen = Screen::start(io::stdout(), paint, setting, modes, size)?;
                console.sounds.push(Box::new(screen.bell()));
                console.faces.push(Box::new(screen));
            }
            (Look::Inline { colour }, Some(modes)) => {
                let paint = Paint::Inline(Painter::new(size(), colour));
                let screen = Screen::start(io::stdout(), paint, setting, modes, size)?;
                console.sounds.push(Box::new(screen.bell()));
                console.faces.push(Box::new(screen));
            }
            (look, modes) => {
                let wording = match look {
                    Look::Linear => Wording::Linear(Linear::default()),
                    _ => Wording::Plain(Plain::default()),
                };
                let rings = modes.is_some();
                let lines = Lines::start(io::stdout(), wording, setting, modes)?;
                if rings {
                    console.sounds.push(Box::new(lines.bell()));
                }
                console.faces.push(Box::new(lines));
            }
        }
        console.around = page.is_some().then(Around::default);
        console.page_note = page.as_ref().map(Page::note);
        if let Some(page) = page {
            let face = page.into_face();
            face.attach(console.inbox.clone());
            console.faces.push(Box::new(face));
        }
        if terminal {
            read_keys(console.inbox.clone())?;
        } else {
            read_lines(console.inbox.clone())?;
        }
        Ok(console)
    }

    /// A console of these faces and sounds, without any input of its own.
    #[must_use]
    pub fn with(faces: Vec<Box<dyn Face>>, sounds: Vec<Box<dyn Sounds>>, keys: KeyMap) -> Console {
        let (to, from) = channel();
        Console {
            faces,
            sounds,
            inbox: Inbox::new(to.clone()),
            from,
            to,
            keyboard: Keyboard::new(keys),
            interrupts: Interrupts::default(),
            second: (Moment::START, 0),
            flooded: 0,
            raw: None,
            around: None,
            page_note: None,
            _listening: None,
            hands: false,
            act: Vec::new(),
            asked: None,
            ended: false,
        }
    }

    /// Shows a picture on every face that still works; gives what is new about those that do not.
    #[must_use = "what no longer works is said on the others"]
    pub fn show(&mut self, picture: &Picture) -> Vec<String> {
        for face in &mut self.faces {
            face.show(picture);
        }
        let mut troubles = Vec::new();
        self.faces.retain(|face| match face.trouble() {
            Some(why) => {
                troubles.push(format!("{} no longer works: {why}", face.name()));
                false
            }
            None => true,
        });
        for trouble in &troubles {
            self.sounds.iter_mut().for_each(|sound| sound.say(Cue::Notice, trouble));
        }
        for sound in &mut self.sounds {
            troubles.extend(sound.trouble());
        }
        troubles
    }

    /// The faces that take nothing at the moment, though they have not failed: a terminal that is
    /// halted, a reader that does not read.
    #[must_use]
    pub fn stuck(&self) -> Vec<&'static str> {
        self.faces.iter().filter(|face| face.is_stuck()).map(|face| face.name()).collect()
    }

    /// Whether a face's last picture goes away with it, so that it is left up until a key is pressed.
    #[must_use]
    pub fn vanishes(&self) -> bool {
        self.faces.iter().any(|face| face.vanishes() && !face.is_stuck())
    }

    /// Tells of an effect that no picture carries, and rings and says it.
    pub fn tell(&mut self, effect: &Effect, at: Moment) {
        for face in &mut self.faces {
            face.tell(effect, at);
        }
        self.tell_sounds(effect, |_| true);
    }

    /// The same where time goes quicker or slower than it did: what takes its time to sound is silent.
    pub fn tell_apace(&mut self, effect: &Effect, at: Moment) {
        for face in &mut self.faces {
            face.tell(effect, at);
        }
        self.tell_sounds(effect, |sound| !sound.takes_time());
    }

    fn tell_sounds(&mut self, effect: &Effect, which: impl Fn(&dyn Sounds) -> bool) {
        let question = match effect {
            Effect::Show(shown) if shown.question != self.asked => {
                self.asked.clone_from(&shown.question);
                self.asked.as_ref().and_then(asked_aloud)
            }
            _ => None,
        };
        self.ended |= matches!(effect, Effect::Ended { .. });
        for sound in self.sounds.iter_mut().filter(|sound| which(sound.as_ref())) {
            if let Some(words) = &question {
                sound.say(Cue::Question, words);
            }
            match effect {
                Effect::Ring { tone } => sound.ring(*tone),
                Effect::Say { cue, text } => sound.say(*cue, text),
                Effect::Fact { fact: Fact::Noticed { notice } } if is_late(notice) => {
                    sound.time_is_up();
                }
                Effect::Ended { class, text, .. } => sound.ended(*class, text.as_deref()),
                Effect::Show(_) | Effect::Fact { .. } => {}
            }
        }
    }

    /// Tells what an imaginary vehicle shows; what is `aloud` is said too.
    pub fn tell_of_vehicle(&mut self, text: &str, aloud: bool, at: Moment) {
        let effect = Effect::Say { cue: Cue::Notice, text: text.to_owned() };
        for face in &mut self.faces {
            face.tell(&effect, at);
        }
        for sound in self.sounds.iter_mut().filter(|_| aloud) {
            sound.vehicle(text);
        }
    }

    /// The run's time begins here.
    pub fn keep_time(&mut self, clock: Beginning) {
        for face in &mut self.faces {
            face.keep_time(clock);
        }
    }

    /// One more thing to hear.
    pub fn hear(&mut self, sound: Box<dyn Sounds>) {
        self.sounds.push(sound);
    }

    /// Whether any face still works that somebody can see.
    #[must_use]
    pub fn has_face(&self) -> bool {
        self.faces.iter().any(|face| !face.is_afar() || self.is_led_afar())
    }

    /// Whether somebody leads the run from a page.
    #[must_use]
    pub fn is_led_afar(&self) -> bool {
        self.around.as_ref().is_some_and(|around| around.led)
    }

    /// Whether presses can come although the keyboard or the pipe has ended.
    #[must_use]
    pub fn is_pressed_afar(&self) -> bool {
        self.around.is_some() && self.faces.iter().any(|face| face.is_afar())
    }

    /// How the page is served, for the record.
    pub fn page_note(&mut self) -> Option<String> {
        self.page_note.take()
    }

    /// What is wrong with the pages.
    #[must_use]
    pub fn page_troubles(&self) -> &[String] {
        self.around.as_ref().map_or(&[], |around| &around.troubles)
    }

    /// Who is at the pages.
    #[must_use]
    pub fn page_present(&self) -> Option<&str> {
        self.around.as_ref().and_then(|around| around.present.as_deref())
    }

    /// How often digits must be shown anew; `None` where no face shows them running.
    #[must_use]
    pub fn pace(&self) -> Option<Millis> {
        self.faces.iter().filter_map(|face| face.pace()).min()
    }

    /// What has been typed so far, where a text is asked.
    #[must_use]
    pub fn typing(&self, mode: Mode) -> Option<String> {
        (mode == Mode::Text && self.raw.is_some()).then(|| self.keyboard.text().to_owned())
    }

    /// Another question is on show.
    pub fn clear_typing(&mut self) {
        self.keyboard.clear();
    }

    /// How many inputs were dropped so far.
    #[must_use]
    pub fn dropped(&self) -> u64 {
        self.inbox.dropped() + self.flooded
    }

    /// Whether there is a screen that somebody looks at.
    #[must_use]
    pub fn is_screen(&self) -> bool {
        self.raw.is_some()
    }

    /// An input was taken that the caller understands by itself.
    pub fn took(&self) {
        self.inbox.took();
    }

    /// Understands what came in at a moment; `None` for nothing.
    pub fn understand(&mut self, happening: Happening, at: Moment, mode: Mode) -> Option<Came> {
        if is_input(&happening) {
            self.inbox.took();
        }
        if self.hands && mode != Mode::Text && touches(&happening, &self.act) {
            return self.is_human(at).then_some(Came::Meant(Meant::Touch));
        }
        let key = matches!(happening, Happening::Key(_));
        let meant = match happening {
            Happening::Page(News::Sent(meant, from)) => {
                return self.is_human(at).then_some(Came::Sent(meant, from));
            }
            Happening::Page(News::Pages(now)) => return Some(Came::Pages(self.around(now))),
            Happening::Key(key) => self.keyboard.take(key, at, mode, &mut self.interrupts)?,
            Happening::Paste(text) => self.keyboard.paste(&text, mode)?,
            Happening::Line(text) => line(&text, mode)?,
            Happening::Signal(Signal::Interrupt) => self.interrupts.take(at),
            Happening::Signal(Signal::HangUp) => return Some(Came::HungUp),
            Happening::Signal(Signal::Terminate) => return Some(Came::Terminated),
            Happening::InputEnded => return Some(Came::InputEnded),
            Happening::Signal(Signal::Suspend) | Happening::Click => return None,
            Happening::Signal(Signal::Continued) => {
                self.take_again();
                return Some(Came::Redraw);
            }
            Happening::Resized => return Some(Came::Redraw),
            Happening::Told(told) => return Some(Came::Told(told)),
        };
        match meant {
            Meant::Typing => Some(Came::Redraw),
            Meant::Abort | Meant::Interrupt => Some(Came::Meant(meant)),
            meant => (!key || self.is_human(at)).then_some(Came::Meant(meant)),
        }
    }

    /// The program was stopped and goes on: the terminal may have been used by others.
    fn take_again(&mut self) {
        if let Some(raw) = &self.raw {
            raw.again();
        }
        self.faces.iter_mut().for_each(|face| face.show_anew());
    }

    /// How the pages are has changed; gives what is new about it.
    fn around(&mut self, now: Around) -> Vec<String> {
        let before = self.around.replace(now.clone()).unwrap_or_default();
        let mut news: Vec<String> =
            now.troubles.into_iter().filter(|trouble| !before.troubles.contains(trouble)).collect();
        news.extend(now.present.filter(|present| before.present.as_ref() != Some(present)));
        news
    }

    /// Whether a person could have done so much in this second.
    fn is_human(&mut self, at: Moment) -> bool {
        if at.since(self.second.0) >= Millis::secs(1) {
            self.second = (at, 0);
        }
        self.second.1 += 1;
        let human = self.second.1 <= MOST_A_SECOND;
        self.flooded += u64::from(!human);
        human
    }

    /// Shows what is still to be shown and gives the terminal back.
    pub fn close(mut self) {
        self.inbox.close();
        for face in &mut self.faces {
            face.finish();
        }
        drop(self.raw.take());
        if self.ended {
            self.last_words();
        }
        for sound in &mut self.sounds {
            sound.finish();
        }
    }

    /// Cuts what sounds: whoever leaves does not wait for it.
    pub fn cut(&mut self) {
        self.sounds.clear();
    }

    /// The end may be said in whole, unless a signal comes.
    fn last_words(&mut self) {
        let since = Instant::now();
        while since.elapsed() < LAST_WORDS {
            // Each is told that nothing more comes.
            let sounding = self.sounds.iter_mut().filter_map(|s| s.still_sounds().then_some(()));
            if sounding.count() == 0 {
                return;
            }
            let wait = Duration::from_millis(20);
            if let Ok(Happening::Signal(Signal::Interrupt | Signal::HangUp | Signal::Terminate)) =
                self.from.recv_timeout(wait)
            {
                return self.cut();
            }
        }
        self.cut();
    }
}

/// The keys that are the person's hand at an imaginary vehicle.
const ACT: [KeyCode; 4] =
    [KeyCode::Tab, KeyCode::Char('v'), KeyCode::Char('x'), KeyCode::Char('z')];

/// The chosen ones; else the first two of these that stand for no press.
fn act_keys(keys: &KeyMap) -> Vec<KeyCode> {
    if !keys.hand().is_empty() {
        return keys.hand().to_vec();
    }
    ACT.into_iter().filter(|key| keys.press(*key).is_none()).take(2).collect()
}

/// How those are called.
fn act_name(keys: &KeyMap) -> String {
    act_keys(keys).into_iter().map(key_name).collect::<Vec<_>>().join(" or ")
}

/// How keys are called on a face with a keyboard.
fn names(keys: &KeyMap, hands: bool) -> KeyNames {
    // Of several keys for the hand one must do where there is little room.
    let act = act_keys(keys).first().copied().filter(|_| hands);
    let act = act.map(|key| format!("{} act", key_name(key)));
    KeyNames {
        done: keys.name(Press::Done),
        other: keys.name(Press::SomethingElse),
        slip: keys.name(Press::Slip),
        stop: keys.name(Press::Stop),
        yes: String::new(),
        act: if hands { act_name(keys) } else { String::new() },
        all: if hands { format!("{} act · {}", act_name(keys), keys.line()) } else { keys.line() },
        brief: act.into_iter().chain(keys.brief()).collect(),
    }
}

/// How they are called where answers come as lines.
fn words(hands: bool) -> KeyNames {
    KeyNames {
        done: "done".to_owned(),
        other: "else".to_owned(),
        slip: "slip".to_owned(),
        stop: "stop".to_owned(),
        yes: "yes".to_owned(),
        act: if hands { "the word act".to_owned() } else { String::new() },
        all: format!(
            "answers: {}done, 1 to 9, else, slip, again, back, hold, stop; yes, no; a value",
            if hands { "act (your hand touches the vehicle), " } else { "" }
        ),
        brief: Vec::new(),
    }
}

/// The face's own names for the keys, where the caller gave none.
fn name_keys(setting: &mut Setting, names: KeyNames) {
    if setting.keys == KeyNames::default() {
        setting.keys = names;
    }
}

/// Whether a window was missed.
const fn is_late(notice: &Notice) -> bool {
    matches!(notice, Notice::Late { .. } | Notice::Unattended { .. })
}

/// Whether it is the person's hand at an imaginary vehicle: one of its keys, or the word `act` on a line.
fn touches(happening: &Happening, act: &[KeyCode]) -> bool {
    match happening {
        Happening::Key(key) => {
            let lower = match key.code {
                KeyCode::Char(c) => KeyCode::Char(c.to_ascii_lowercase()),
                other => other,
            };
            key.kind == KeyEventKind::Press
                && !key.modifiers.contains(KeyModifiers::CONTROL)
                && (act.contains(&key.code) || act.contains(&lower))
        }
        Happening::Line(line) => line.trim().eq_ignore_ascii_case("act"),
        _ => false,
    }
}
