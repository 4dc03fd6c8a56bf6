//! A record made ready to be shown from any place: takes its scenes, gives the state after so many of
//! them at once, and lists the places to jump to.
//!
//! A [`Frame`] is the numbers of the scenes that make up what is on show. It is kept after every
//! [`SPAN`] scenes, so that the state at any place costs at most that many folds, however long the
//! record is. It is the same state as by folding from the beginning; a property test compares them.

use super::replay::{Happened, Scene};
use crate::clock::{Millis, Moment};
use crate::journal::happened::{
    self as h, Effect, Fact, Input, Notice, Question, Rest, Shown, StepAt,
};
use crate::journal::practice::Vehicle;

/// A frame is kept after so many scenes.
pub const SPAN: usize = 256;
/// So many notices of one moment are told, and so many margins of one press; the newest.
const MOST_TOLD: usize = 8;

/// What is on show after some scenes: the numbers of the scenes that it is made of.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Frame {
    /// What the guide showed last.
    pub shown: Option<usize>,
    /// Since when the count on show has been counting.
    pub since: Option<usize>,
    /// The notices of the last moment that had any.
    pub heard: Vec<usize>,
    /// Those that were told directly before the notice that `shown` carries.
    pub before: Vec<usize>,
    /// What was pressed last.
    pub press: Option<usize>,
    /// What was left of each window that this press closed.
    pub margins: Vec<usize>,
    /// In a rehearsal: what the imaginary vehicle did in this step.
    pub vehicle: Vec<usize>,
    /// What befell the clock, the record or the program last.
    pub remark: Option<usize>,
    /// How it ended.
    pub ended: Option<usize>,
}

/// A step as it was entered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entered {
    /// When.
    pub at: Moment,
    /// Which.
    pub step: StepAt,
    /// For the nth time.
    pub nth: u32,
}

/// A record ready to be shown.
#[derive(Clone, Debug)]
pub struct Reel {
    scenes: Vec<Scene>,
    /// When each is shown: never before the one in front of it, whatever the file says.
    times: Vec<Moment>,
    kept: Vec<Frame>,
    cues: Vec<Moment>,
    steps: Vec<Entered>,
    /// Moments with scenes worth a look, and the last few of those scenes.
    marks: Vec<(Moment, Vec<usize>)>,
}

impl Frame {
    /// One scene more.
    fn take(&mut self, scenes: &[Scene], ix: usize) {
        let Some(scene) = scenes.get(ix) else { return };
        match &scene.what {
            Happened::Effect(effect) => self.effect(scenes, ix, effect),
            // A wake-up is nothing that a person did.
            Happened::Input(Input::Wake, _) => {}
            Happened::Input(..) => {
                self.press = Some(ix);
                self.margins.clear();
            }
            // Of these nobody is told.
            Happened::Vehicle(Vehicle::Silent { .. } | Vehicle::Hint { .. }) => {}
            Happened::Vehicle(_) => newest(&mut self.vehicle, ix),
            Happened::Interrupted(_) => self.ended = Some(ix),
            Happened::Clock(..)
            | Happened::Note(_)
            | Happened::Continued(_)
            | Happened::Lost(..)
            | Happened::Unknown(_) => self.remark = Some(ix),
        }
    }

    fn effect(&mut self, scenes: &[Scene], ix: usize, effect: &Effect) {
        match effect {
            Effect::Show(shown) => {
                let old = self.shown.and_then(|old| shown_in(scenes, old));
                if old.and_then(|old| old.count.as_ref()) != shown.count.as_ref() {
                    self.since = Some(ix);
                }
                self.shown = Some(ix);
                let told = |&ix: &usize| {
                    notice_in(scenes, ix).is_some_and(|n| Some(n) != shown.notice.as_ref())
                };
                self.before = match shown.notice {
                    Some(_) => self.heard.iter().copied().filter(told).collect(),
                    None => Vec::new(),
                };
            }
            Effect::Fact { fact: Fact::Noticed { .. } } => {
                let at = |ix: usize| scenes.get(ix).map(|scene| scene.at);
                if self.heard.first().is_some_and(|first| at(*first) != at(ix)) {
                    self.heard.clear();
                }
                newest(&mut self.heard, ix);
            }
            Effect::Fact { fact: Fact::Entered { .. } } => self.vehicle.clear(),
            Effect::Fact { fact: Fact::Margin { .. } } => newest(&mut self.margins, ix),
            Effect::Ended { .. } => self.ended = Some(ix),
            Effect::Say { .. } | Effect::Ring { .. } | Effect::Fact { .. } => {}
        }
    }
}

fn newest(all: &mut Vec<usize>, ix: usize) {
    if all.len() >= MOST_TOLD {
        all.remove(0);
    }
    all.push(ix);
}

fn shown_in(scenes: &[Scene], ix: usize) -> Option<&Shown> {
    match &scenes.get(ix)?.what {
        Happened::Effect(Effect::Show(shown)) => Some(shown),
        _ => None,
    }
}

fn notice_in(scenes: &[Scene], ix: usize) -> Option<&Notice> {
    match &scenes.get(ix)?.what {
        Happened::Effect(Effect::Fact { fact: Fact::Noticed { notice } }) => Some(notice),
        _ => None,
    }
}

impl Reel {
    /// Makes scenes ready.
    #[must_use]
    pub fn new(scenes: Vec<Scene>) -> Reel {
        let mut reel = Reel {
            times: Vec::with_capacity(scenes.len()),
            kept: Vec::with_capacity(scenes.len() / SPAN + 1),
            cues: Vec::new(),
            steps: Vec::new(),
            marks: Vec::new(),
            scenes: Vec::new(),
        };
        let mut frame = Frame::default();
        let mut asked: Option<&Question> = None;
        for (ix, scene) in scenes.iter().enumerate() {
            if ix % SPAN == 0 {
                reel.kept.push(frame.clone());
            }
            let at = reel.times.last().map_or(scene.at, |last| scene.at.max(*last));
            reel.times.push(at);
            frame.take(&scenes, ix);
            reel.list(at, ix, scene, &mut asked);
        }
        reel.scenes = scenes;
        reel
    }

    /// Notes a scene among the places to jump to.
    fn list<'a>(
        &mut self,
        at: Moment,
        ix: usize,
        scene: &'a Scene,
        asked: &mut Option<&'a Question>,
    ) {
        if is_cue(scene, asked) && self.cues.last() != Some(&at) {
            self.cues.push(at);
        }
        if let Happened::Effect(Effect::Fact { fact: Fact::Entered { step, nth, .. } }) =
            &scene.what
        {
            self.steps.push(Entered { at, step: step.clone(), nth: *nth });
        }
        if Mark::of(scene).is_some() {
            match self.marks.last_mut() {
                Some((last, all)) if *last == at => newest(all, ix),
                _ => self.marks.push((at, vec![ix])),
            }
        }
    }

    /// Its scenes.
    #[must_use]
    pub fn scenes(&self) -> &[Scene] {
        &self.scenes
    }

    /// When a scene is shown; `None` behind the last.
    #[must_use]
    pub fn time(&self, ix: usize) -> Option<Moment> {
        self.times.get(ix).copied()
    }

    /// When it begins.
    #[must_use]
    pub fn first(&self) -> Moment {
        self.times.first().copied().unwrap_or_default()
    }

    /// When it ends.
    #[must_use]
    pub fn last(&self) -> Moment {
        self.times.last().copied().unwrap_or_default()
    }

    /// How many scenes have been shown at a moment, those of the moment itself included.
    #[must_use]
    pub fn seen_at(&self, at: Moment) -> usize {
        self.times.partition_point(|time| *time <= at)
    }

    /// What is on show after so many scenes.
    #[must_use]
    pub fn frame(&self, seen: usize) -> Frame {
        let seen = seen.min(self.scenes.len());
        let kept = (seen / SPAN).min(self.kept.len().saturating_sub(1));
        let mut frame = self.kept.get(kept).cloned().unwrap_or_default();
        for ix in kept * SPAN..seen {
            frame.take(&self.scenes, ix);
        }
        frame
    }

    /// The same by folding from the beginning: what [`Reel::frame`] is measured and tested against.
    #[must_use]
    pub fn played_through(&self, seen: usize) -> Frame {
        let mut frame = Frame::default();
        for ix in 0..seen.min(self.scenes.len()) {
            frame.take(&self.scenes, ix);
        }
        frame
    }

    /// One scene more on top of a frame.
    pub fn take(&self, frame: &mut Frame, ix: usize) {
        frame.take(&self.scenes, ix);
    }

    /// The picture that a frame shows.
    #[must_use]
    pub fn shown(&self, frame: &Frame) -> Option<&Shown> {
        shown_in(&self.scenes, frame.shown?)
    }

    /// A notice by its number.
    #[must_use]
    pub fn notice(&self, ix: usize) -> Option<&Notice> {
        notice_in(&self.scenes, ix)
    }

    /// The moments at which the person was told or asked something, in order.
    #[must_use]
    pub fn cues(&self) -> &[Moment] {
        &self.cues
    }

    /// The steps as they were entered, in order.
    #[must_use]
    pub fn steps(&self) -> &[Entered] {
        &self.steps
    }

    /// The marks, in order: the moment and what happened there.
    #[must_use]
    pub fn marks(&self) -> &[(Moment, Vec<usize>)] {
        &self.marks
    }

    /// The stretch without a scene that a place lies in: from the scene before it to the next.
    #[must_use]
    pub fn stretch(&self, seen: usize) -> Option<(Moment, Moment)> {
        let next = self.time(seen)?;
        let before = seen.checked_sub(1).and_then(|ix| self.time(ix)).unwrap_or(next);
        Some((before, next))
    }

    /// From its beginning to its end.
    #[must_use]
    pub fn length(&self) -> Millis {
        self.last().since(self.first())
    }
}

/// Whether the person is told or asked something new here.
fn is_cue<'a>(scene: &'a Scene, asked: &mut Option<&'a Question>) -> bool {
    match &scene.what {
        Happened::Effect(Effect::Fact { fact: Fact::CueGiven { point, .. } }) => {
            matches!(point.mark, h::Mark::Prepare | h::Mark::Called | h::Mark::LetGo)
        }
        Happened::Effect(Effect::Show(shown)) => {
            let question = shown.question.as_ref().filter(|q| !q.is_before_an_end());
            let fresh = question.is_some() && *asked != question;
            *asked = question;
            fresh
        }
        Happened::Effect(Effect::Ended { .. }) | Happened::Interrupted(_) => true,
        _ => false,
    }
}

/// Why a scene is worth a look. A record has no marks that a person set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mark {
    /// A window closed first.
    Missed,
    /// Something went another way than hoped.
    Otherwise,
    /// One of several things was learned, or was not.
    Thing,
    /// What is past changing.
    NoReturn,
    /// The computer, its clock or the record.
    Trouble,
    /// It ended, or was broken off.
    End,
}

impl Mark {
    /// All of them, in the order in which they are told.
    pub const ALL: [Mark; 6] =
        [Mark::Missed, Mark::Otherwise, Mark::Thing, Mark::NoReturn, Mark::Trouble, Mark::End];

    /// Why this scene is one, if it is.
    #[must_use]
    pub fn of(scene: &Scene) -> Option<Mark> {
        match &scene.what {
            Happened::Clock(..) | Happened::Lost(..) => Some(Mark::Trouble),
            Happened::Interrupted(_) | Happened::Effect(Effect::Ended { .. }) => Some(Mark::End),
            Happened::Effect(Effect::Fact { fact: Fact::Noticed { notice } }) => Mark::told(notice),
            _ => None,
        }
    }

    fn told(notice: &Notice) -> Option<Mark> {
        Some(match notice {
            Notice::Late { .. } | Notice::Unattended { .. } => Mark::Missed,
            Notice::Silence { .. }
            | Notice::OutOfBounds { .. }
            | Notice::Broken { .. }
            | Notice::Rechecked { rest: Rest::Lost { .. } }
            | Notice::GuardLost { .. }
            | Notice::Slipped { .. }
            | Notice::TakenBack { .. }
            | Notice::Again { .. }
            | Notice::TriesSpent => Mark::Otherwise,
            Notice::ThingEnded { .. } => Mark::Thing,
            Notice::NoReturn { .. } => Mark::NoReturn,
            Notice::WasAway { .. } | Notice::CueLate { .. } => Mark::Trouble,
            Notice::Rechecked { .. }
            | Notice::TooEarly
            | Notice::NotUnderstood
            | Notice::NotPlausible
            | Notice::LetGoFirst
            | Notice::HoldAt { .. }
            | Notice::KeepAwake { .. } => return None,
        })
    }
}
