//! Shows a record again: takes a reel and a console, shows each scene at its moment, and does what the
//! viewer wants meanwhile. Where somebody is there to look, the last frame is held.

mod drill;
mod keys;

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

use super::clock::{RunClock, Wake};
use super::console::{Came, Console};
use super::keys::{Meant, Mode};
use super::run::How;
use super::terminal::Happening;
use crate::clock::{Millis, Moment};
use crate::faces::head::{Beside, Head, PlaceOn, clock as stamp};
use crate::faces::replayed::{mark, picture, places};
use crate::faces::words::{Picture, Setting};
use crate::guide::cue::Press;
use crate::journal::entry::{EndingClass, Sender};
use crate::journal::happened as h;
use crate::training::drill::Given;
use crate::training::playhead::{Move, Moved, Pace, Playhead, read_move};
use crate::training::reel::{Frame, Reel};
use crate::training::replay::Happened;
pub use drill::{Drill, Drilled};
pub use keys::names;
use keys::{Typing, Wish};

/// Digits are painted anew this often.
const IDLE: Millis = Millis(250);
/// While nothing moves, faces are looked after this often.
const STILL: Millis = Millis(1000);
/// Not more answers are kept that came before their questions.
const MOST_WAITING: usize = 1000;

/// What is shown, and how.
#[derive(Debug)]
pub struct Show {
    /// The record.
    pub reel: Reel,
    /// How quickly it begins.
    pub pace: Pace,
    /// Whether idle stretches are shortened from the beginning.
    pub shortens: bool,
    /// Whether it stops at marks from the beginning.
    pub stops: bool,
    /// Where it begins, if not at the beginning.
    pub from: Option<Move>,
    /// Another record beside it.
    pub other: Option<Other>,
    /// What is asked before each cue.
    pub drill: Option<Drill>,
    /// What stays on show from the beginning.
    pub notes: Vec<String>,
    /// What is told at its beginning.
    pub told: Option<String>,
    /// How long it takes to say what this is: it begins after that.
    pub sign: Millis,
}

/// Another record that is shown beside the first.
#[derive(Debug)]
pub struct Other {
    /// What it is called.
    pub name: String,
    /// The record.
    pub reel: Reel,
    /// How much later than in the first the same moment lies in it.
    pub shift: Millis,
    /// What does not change in it.
    pub setting: Setting,
}

/// Plays a record on a console; gives how that ended, and what a drill has come to.
#[must_use]
pub fn play(show: Show, console: Console) -> (How, Option<Drilled>) {
    std::thread::sleep(Duration::from_millis(show.sign.0.unsigned_abs()));
    let mut showing = Showing::new(show, console);
    let how = showing.run();
    showing.leave();
    if how == How::Declined {
        showing.console.cut();
    }
    showing.console.close();
    (how, showing.drill.map(Drill::done))
}

/// Leaves the last picture of a run up until a key is pressed, where it would go away otherwise.
pub(super) fn leave_up(clock: &mut RunClock, console: &mut Console, picture: &Picture) {
    while console.vanishes() {
        let woken = clock.wait_until(clock.now().after(IDLE), &console.from);
        if let Wake::Got(happening) = woken.why {
            match console.understand(happening, woken.at, Mode::Presses) {
                None | Some(Came::Told(_)) => {}
                Some(Came::Redraw | Came::Pages(_)) => drop(console.show(picture)),
                Some(_) => return,
            }
        }
    }
}

struct Showing {
    reel: Reel,
    head: Playhead,
    frame: Frame,
    console: Console,
    clock: RunClock,
    told: Option<String>,
    typing: Option<Typing>,
    other: Option<Other>,
    drill: Option<Drill>,
    places: Arc<[PlaceOn]>,
    /// Typed answers that came before their question.
    waiting: VecDeque<String>,
    input_ended: bool,
    over: Option<How>,
    /// The faces and sounds that no longer work.
    troubles: Vec<String>,
}

impl Showing {
    fn new(show: Show, console: Console) -> Showing {
        let clock = RunClock::start();
        let mut head = Playhead::new(&show.reel, show.pace, clock.now());
        let wishes = [(show.shortens, Move::Idle), (show.stops, Move::Stops)];
        for (_, wish) in wishes.into_iter().filter(|(wanted, _)| *wanted) {
            head.go(&show.reel, &wish, clock.now());
        }
        // Where a drill asks what comes, no list tells it.
        let listed = show.drill.is_none();
        let mut showing = Showing {
            places: if listed { places(&show.reel) } else { Arc::from([]) },
            frame: Frame::default(),
            reel: show.reel,
            head,
            console,
            clock,
            told: None,
            typing: None,
            other: show.other,
            drill: show.drill,
            waiting: VecDeque::new(),
            input_ended: false,
            over: None,
            troubles: show.notes,
        };
        showing.await_question();
        // A drill begins at its first question.
        let begin = showing.drill.as_ref().map(|_| Move::End);
        if let Some(from) = show.from.or(begin) {
            showing.wish(&from);
        }
        showing.told = show.told;
        showing
    }

    fn run(&mut self) -> How {
        loop {
            self.catch_up();
            if let Some(drill) = self.drill.as_mut().filter(|_| self.head.is_at_end(&self.reel)) {
                drill.finish(self.clock.now());
            }
            self.paint();
            if let Some(how) = self.over.take() {
                return how;
            }
            if self.asks()
                && let Some(text) = self.waiting.pop_front()
            {
                let wish = self.line(text);
                self.grant(wish);
                continue;
            }
            self.notice_dead_end();
            if self.head.is_at_end(&self.reel) && !self.holds() {
                return How::Ended(EndingClass::Learned);
            }
            let now = self.clock.now();
            let idle = now.after(if self.head.is_running() { IDLE } else { STILL });
            let due = self.head.due(&self.reel).unwrap_or(idle).min(idle);
            let woken = self.clock.wait_until(due, &self.console.from);
            if let Wake::Got(happening) = woken.why {
                self.happening(happening, woken.at);
            }
            if !self.console.has_face() {
                return How::HungUp;
            }
        }
    }

    /// The last picture: a page is told that nothing more comes.
    fn leave(&mut self) {
        let mut picture = self.picture();
        picture.head = None;
        picture.ended.get_or_insert_with(|| "The replay was left here.".to_owned());
        self.show(&picture);
    }

    /// Whether somebody is there to look at the last frame and to move on.
    fn holds(&self) -> bool {
        let looks = self.console.is_screen() || self.console.is_led_afar();
        looks && !self.head.pace().is_at_once()
    }

    /// Shows what is due by now, one scene after the other.
    fn catch_up(&mut self) {
        while let Some(ix) = self.head.cross(&self.reel, self.clock.now()) {
            self.reel.take(&mut self.frame, ix);
            let Some(scene) = self.reel.scenes().get(ix) else { return };
            match &scene.what {
                // A wake-up is nothing that a person did.
                Happened::Input(h::Input::Wake, _) => continue,
                Happened::Effect(effect) if self.head.pace() == Pace::TRUE => {
                    self.console.tell(effect, scene.at);
                }
                Happened::Effect(effect) => self.console.tell_apace(effect, scene.at),
                _ => {}
            }
            self.paint();
        }
    }

    fn paint(&mut self) {
        let mut picture = self.picture();
        if let Some(drill) = &mut self.drill {
            // What comes next is asked.
            picture.shown.next = None;
            let asks = drill.asks(self.head.is_at_limit(&self.reel), self.clock.now());
            if asks.question.is_some() {
                // One question at a time: what was asked in the run is not to be answered now.
                picture.shown.question = None;
            }
            if let Some(head) = &mut picture.head {
                head.asks = Some(asks);
            }
        }
        self.show(&picture);
    }

    /// On every face; what no longer works is said on the others from then on.
    fn show(&mut self, picture: &Picture) {
        let troubles = self.console.show(picture);
        self.troubles.extend(troubles);
    }

    fn picture(&self) -> Picture {
        // The plain face has told of what was left of a window already.
        let margins = self.console.pace().is_some();
        let mut picture = picture(&self.reel, &self.frame, self.head.at(), margins);
        if picture.ended.is_none() && self.head.is_at_end(&self.reel) {
            picture.ended = Some("The record stops here, without an ending.".to_owned());
        }
        picture.remarks.extend_from_slice(&self.troubles);
        picture.head = Some(Head {
            at: self.head.at(),
            first: self.reel.first(),
            last: self.reel.last(),
            running: self.head.is_running(),
            at_end: self.head.is_at_end(&self.reel),
            pace: self.head.pace(),
            shortens: self.head.shortens(),
            shortening: self.head.is_shortening(&self.reel),
            stops: self.head.stops(),
            told: self.told.clone(),
            typing: self.typing.as_ref().map(Typing::line),
            asks: None,
            beside: self.other.as_ref().map(|other| Box::new(self.beside(other))),
            places: Arc::clone(&self.places),
        });
        picture
    }

    /// The other record at the same time.
    fn beside(&self, other: &Other) -> Beside {
        let at = self.head.at().after(other.shift);
        let frame = other.reel.frame(other.reel.seen_at(at));
        let picture = picture(&other.reel, &frame, at, false);
        Beside { name: other.name.clone(), picture, setting: other.setting.clone() }
    }

    fn happening(&mut self, happening: Happening, at: Moment) {
        let wish = match happening {
            Happening::Key(key) if !keys::is_break(&key) => {
                self.console.took();
                let asks = self.asks();
                keys::key(&key, &mut self.typing, asks)
            }
            Happening::Line(text) => {
                self.console.took();
                self.line(text)
            }
            other => match self.console.understand(other, at, Mode::Presses) {
                Some(Came::Sent(meant, from)) => sent(meant, from),
                Some(Came::Meant(Meant::Press(Press::Stop))) => Some(Wish::Quit),
                Some(Came::Meant(Meant::Interrupt | Meant::Abort)) => {
                    self.over = Some(How::Interrupted);
                    None
                }
                Some(Came::HungUp) => self.broken_off(How::HungUp),
                Some(Came::Terminated) => self.broken_off(How::Terminated),
                Some(Came::InputEnded) => {
                    self.input_ended = true;
                    None
                }
                _ => None,
            },
        };
        self.grant(wish);
    }

    /// Nobody is left who could answer, or let it go on: a replay goes on by itself, a drill is over.
    fn notice_dead_end(&mut self) {
        let silent = self.input_ended && !self.console.is_pressed_afar();
        if !silent || self.head.is_running() {
            return;
        }
        match (&self.drill, self.head.is_at_end(&self.reel)) {
            (_, true) => self.over = Some(How::Ended(EndingClass::Learned)),
            (Some(_), false) => self.over = Some(How::InputEnded),
            (None, false) => self.wish(&Move::Run),
        }
    }

    /// Whether a drill waits for an answer.
    fn asks(&self) -> bool {
        self.drill.as_ref().is_some_and(Drill::is_asking)
    }

    /// A typed line. An answer that comes before its question waits for it.
    fn line(&mut self, text: String) -> Option<Wish> {
        let asks = self.drill.as_ref().and_then(Drill::choices);
        let answers = || matches!(keys::line(&text, Some(0)), Some(Wish::Answer(_)));
        if self.drill.is_some() && asks.is_none() && answers() {
            if self.waiting.len() < MOST_WAITING {
                self.waiting.push_back(text);
            }
            return None;
        }
        keys::line(&text, asks)
    }

    fn grant(&mut self, wish: Option<Wish>) {
        match wish {
            Some(Wish::Quit) => self.over = Some(How::Declined),
            Some(Wish::Move(wanted)) => self.wish(&wanted),
            Some(Wish::Answer(given)) => self.answer(&given),
            Some(Wish::Typing) | None => {}
        }
    }

    fn answer(&mut self, given: &Given) {
        let Some(drill) = &mut self.drill else { return };
        match drill.answer(given, self.clock.now()) {
            None => self.told = Some("that is no answer to this question".to_owned()),
            Some(goes_on) => {
                self.told = None;
                if goes_on {
                    self.await_question();
                    self.wish(&Move::Run);
                }
            }
        }
    }

    /// The replay goes no further than to before the next cue that is asked for.
    fn await_question(&mut self) {
        if let Some(drill) = &self.drill {
            self.head.limit(drill.limit(), self.clock.now());
        }
    }

    fn broken_off(&mut self, how: How) -> Option<Wish> {
        self.over = Some(how);
        None
    }

    fn wish(&mut self, wanted: &Move) {
        let moved = self.head.go(&self.reel, wanted, self.clock.now());
        if moved == Moved::Jumped {
            self.frame = self.reel.frame(self.head.seen());
        }
        self.told = self.words(wanted, &moved);
    }

    /// What became of a move, where it is worth a word.
    fn words(&self, wanted: &Move, moved: &Moved) -> Option<String> {
        let here = stamp(self.head.at());
        Some(match (moved, wanted) {
            (Moved::NoStep(name), _) => format!("there is no time and no step \"{name}\""),
            (Moved::NoMore, Move::Run | Move::Pause) => "answer first".to_owned(),
            (Moved::NoMore, Move::Cue) => "there is no cue further on".to_owned(),
            (Moved::NoMore, Move::CueBack) => "there is no cue further back".to_owned(),
            (Moved::NoMore, Move::MarkBack) => "there is no mark further back".to_owned(),
            (Moved::NoMore, _) => "there is no mark further on".to_owned(),
            (Moved::Jumped, Move::Mark | Move::MarkBack) => {
                let at = self.head.at();
                let found = self.reel.marks().iter().find(|(time, _)| *time == at);
                let what = found.map(|(_, scenes)| mark(&self.reel, scenes)).unwrap_or_default();
                format!("at {here}: {what}")
            }
            (Moved::Jumped, _) => format!("at {here}"),
            (Moved::Runs, Move::Quicker | Move::Slower) => self.head.pace().to_string(),
            (Moved::Runs, Move::Idle) => match self.head.shortens() {
                true => {
                    "idle stretches are shortened to 3 s; the time shown is the true one".to_owned()
                }
                false => "idle stretches take their time".to_owned(),
            },
            (Moved::Runs, Move::Stops) => match self.head.stops() {
                true => "it stops at marks".to_owned(),
                false => "it does not stop at marks".to_owned(),
            },
            (Moved::Runs, _) if self.head.is_running() => return None,
            (Moved::Runs, _) => format!("paused at {here}"),
        })
    }
}

/// What a page sends.
fn sent(meant: Meant, _: Sender) -> Option<Wish> {
    match meant {
        Meant::Moved(text) => read_move(&text).map(Wish::Move),
        Meant::Press(Press::Stop) => Some(Wish::Quit),
        Meant::Press(Press::Answer(n)) => keys::choice(n),
        Meant::Press(Press::SayAgain) => Some(Wish::Answer(Given::Shown)),
        Meant::Typed(text) => keys::time(&text).map(Wish::Answer),
        _ => None,
    }
}
