//! The plan's named moments and bounds, and what the guide may ask about them.
//!
//! Takes a [`Plan`](crate::procedure::plan::Plan); gives one list of moments and bounds with their
//! lines (everything temporal reads it: guide, prover, sheet, tally), what a guide knows of them
//! during a run ([`Known`]), and the [`Timing`] trait. Here the trait is filled with plain window
//! arithmetic ([`PlainTiming`]); the proof fills it with the dispatchable network.

mod by_point;
mod lengths;
mod list;
mod plain;

pub use by_point::ByPoint;
pub use lengths::{
    NOW_TONE, announced, hands, now_words, prompt, report_delay, speech_lengths, strokes,
    words_length,
};
pub use list::bounds;
pub use plain::PlainTiming;

use crate::clock::{Millis, Moment, Span};
use crate::procedure::model::{Basis, Event, PurseId};
use crate::procedure::plan::{Anchor, Quiet, StepIx};
use crate::source::Place;
use std::collections::{BTreeMap, BTreeSet};

/// A moment of one step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Point {
    /// Which step of the plan.
    pub step: StepIx,
    /// Which moment of it.
    pub mark: Mark,
}

/// The moments of a step, in order. The guide decides the first four and `LetGo`; hands decide
/// `Begun`, `Done`, `Released`; the vehicle decides `Answered`; the person's report is `Reported`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Mark {
    /// The prepare cue begins.
    Prepare,
    /// The prepare cue has ended.
    Prepared,
    /// The now cue begins.
    Called,
    /// The now cue has ended.
    Heard,
    /// The vehicle feels the first of the act.
    Begun,
    /// The act is complete.
    Done,
    /// The guide says let go.
    LetGo,
    /// What was held is free.
    Released,
    /// The sign begins.
    Answered,
    /// The report reaches the guide, or the guide declares silence.
    Reported,
    /// The step is over.
    Over,
}

/// Who decides how long something takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Decides {
    /// The guide, inside the bounds.
    Guide,
    /// The length of the spoken words.
    Speech,
    /// The person's body.
    Person,
    /// The vehicle.
    Vehicle,
    /// Nobody: a demand that must be met.
    Demand,
}

/// `lo ≤ time(to) − time(from) ≤ hi`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bound {
    /// Measured from.
    pub from: Point,
    /// What is bound.
    pub to: Point,
    /// At least.
    pub lo: Millis,
    /// At most; `None`: no limit.
    pub hi: Option<Millis>,
    /// Who decides.
    pub decides: Decides,
    /// Which sentence says so.
    pub place: Place,
    /// Where its numbers come from.
    pub basis: Basis,
    /// In words of the domain, for stories.
    pub what: What,
}

/// What a bound is, for stories and colours; worded by the renderer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum What {
    /// The prepare words.
    PrepareWords,
    /// The now tone and words.
    NowWords,
    /// Reaction, walking and hands, up to what the vehicle feels.
    Hands,
    /// The strokes of a count.
    Strokes,
    /// A held length.
    Holding,
    /// Letting go.
    LettingGo,
    /// A question of the step, which the person answers when they can.
    Question,
    /// Something to do every so often.
    Awake,
    /// The vehicle's delay.
    Answer,
    /// Watching a sign until it is known, and reporting it.
    Report,
    /// Silence.
    Silence,
    /// A window of a step.
    Window,
    /// A limit on a stretch.
    Limit,
    /// A cool-down.
    CoolDown,
    /// One thing after another.
    Order,
}

/// When something happened, as far as the guide can know.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bracket {
    /// Not before this.
    pub earliest: Moment,
    /// Not after this.
    pub latest: Moment,
}

/// What has happened on this path, and when, and what was spent. Going back forgets what stood at or
/// after the target, but never a try.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Known {
    points: ByPoint<Bracket>,
    again: BTreeSet<StepIx>,
    returns: BTreeSet<StepIx>,
    spent: BTreeMap<PurseId, u32>,
}

impl Mark {
    /// All of them, in order.
    pub const ALL: [Mark; 11] = [
        Mark::Prepare,
        Mark::Prepared,
        Mark::Called,
        Mark::Heard,
        Mark::Begun,
        Mark::Done,
        Mark::LetGo,
        Mark::Released,
        Mark::Answered,
        Mark::Reported,
        Mark::Over,
    ];

    /// Those of an act, in order: what the hands decide.
    pub const OF_ACTS: [Mark; 3] = [Mark::Begun, Mark::Done, Mark::Released];

    /// The mark of a moment that a script names.
    #[must_use]
    pub const fn of(event: Event) -> Mark {
        match event {
            Event::Called => Mark::Called,
            Event::Heard => Mark::Heard,
            Event::Begun => Mark::Begun,
            Event::Done => Mark::Done,
            Event::Released => Mark::Released,
            Event::Answered => Mark::Answered,
            Event::Reported => Mark::Reported,
            Event::Over => Mark::Over,
        }
    }
}

impl Point {
    /// The moment that a window is measured from.
    #[must_use]
    pub const fn of(anchor: Anchor) -> Point {
        Point { step: anchor.step, mark: Mark::of(anchor.event) }
    }
}

impl Known {
    /// What is known of a moment.
    #[must_use]
    pub fn get(&self, point: Point) -> Option<Bracket> {
        self.points.get(point).copied()
    }

    /// Notes a moment that the guide itself saw.
    pub fn at(&mut self, point: Point, at: Moment) {
        self.points.insert(point, Bracket { earliest: at, latest: at });
    }

    /// Notes a moment that lies between two.
    pub fn between(&mut self, point: Point, bracket: Bracket) {
        self.points.insert(point, bracket);
    }

    /// Un-happens every moment of `from` and of all later steps of the plan. Those that were called
    /// have been tried: windows of the first try do not hold for them any more.
    pub fn forget_from(&mut self, from: StepIx) {
        let points = self.points.iter().map(|(point, _)| point);
        let called = points.filter(|p| p.step >= from && p.mark == Mark::Called);
        self.again.extend(called.map(|point| point.step));
        self.points.clear_from(from);
        self.returns.retain(|back| *back < from);
        self.returns.insert(from);
    }

    /// Whether a step was called before the run went back behind it.
    #[must_use]
    pub fn tried(&self, step: StepIx) -> bool {
        self.again.contains(&step)
    }

    /// Whether a window of the first try that binds `step` and counts from `anchor` is past: the step
    /// was tried before, or the run went back to a step behind the anchor and not behind this one.
    #[must_use]
    pub fn first_try_past(&self, anchor: StepIx, step: StepIx) -> bool {
        let between = |back: &StepIx| anchor < *back && *back <= step;
        self.tried(step) || self.returns.iter().any(between)
    }

    /// Every step that the run went back to, none before the last of them.
    pub fn returns(&self) -> impl Iterator<Item = StepIx> + '_ {
        self.returns.iter().copied()
    }

    /// How many tries of a purse are spent.
    #[must_use]
    pub fn spent(&self, purse: PurseId) -> u32 {
        self.spent.get(&purse).copied().unwrap_or(0)
    }

    /// Spends a try; gives how many are spent then.
    pub fn spend(&mut self, purse: PurseId) -> u32 {
        let spent = self.spent.entry(purse).or_insert(0);
        *spent = spent.saturating_add(1);
        *spent
    }

    /// Un-happens every moment of one step.
    pub fn forget_step(&mut self, step: StepIx) {
        self.points.clear_step(step);
    }

    /// Everything that has happened, in the order of steps and marks.
    pub fn iter(&self) -> impl Iterator<Item = (Point, Bracket)> + '_ {
        self.points.iter().map(|(point, bracket)| (point, *bracket))
    }
}

/// Why a moment is bounded: the binding sentence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Why {
    /// Whose window or limit it is: the step that it binds, perhaps one further ahead.
    pub step: StepIx,
    /// The window's line.
    pub place: Place,
    /// What kind of bound it is.
    pub what: What,
    /// What it is measured from.
    pub anchor: Point,
    /// The window's own length.
    pub length: Millis,
}

/// What the guide asks about time. Upper limits count from the earliest moment at which the anchor
/// can have happened, lower limits from the latest.
pub trait Timing {
    /// Before this the point must not be brought about, given what is known. `Moment::START` if free.
    fn earliest(&self, point: Point, known: &Known) -> Moment;
    /// After this it is not safe to bring it about; `None`: no limit. For a cue (`Called`) this is the
    /// latest safe cue, for `Begun`, `Done`, `Released` the latest safe act: everything that follows
    /// can then still be met.
    fn latest(&self, point: Point, known: &Known) -> Option<Moment>;
    /// The sentence that binds `latest`.
    fn why(&self, point: Point, known: &Known) -> Option<Why>;
    /// Both at once.
    fn bound(&self, point: Point, known: &Known) -> Option<(Moment, Option<Why>)> {
        Some((self.latest(point, known)?, self.why(point, known)))
    }
    /// When the windows of an act are missed for certain, and whose it is; `None`: it has none. Never
    /// before `latest`, which may be stricter for the sake of what follows.
    fn closes(&self, point: Point, known: &Known) -> Option<(Moment, Why)> {
        Some((self.latest(point, known)?, self.why(point, known)?))
    }
    /// The answers that are awaited in quiet: everything promised here rests on that.
    fn quiet(&self) -> Quiet {
        Quiet::default()
    }
    /// What `latest` of a cue promises.
    fn promise(&self, cue: Point, known: &Known) -> Promise {
        let _ = (cue, known);
        Promise::Own
    }
    /// Everything about the now cue of a step at once.
    fn cue(&self, step: StepIx, known: &Known) -> CueTimes {
        let cue = Point { step, mark: Mark::Called };
        CueTimes {
            earliest: self.earliest(cue, known),
            bound: self.bound(cue, known),
            promise: self.promise(cue, known),
        }
    }
    /// [`Timing::bound`] of the moments of a step's act at once: begun, done, released.
    fn act(&self, step: StepIx, known: &Known) -> [Option<(Moment, Option<Why>)>; 3] {
        Mark::OF_ACTS.map(|mark| self.bound(Point { step, mark }, known))
    }
}

/// When a now cue may be given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CueTimes {
    /// Not before this.
    pub earliest: Moment,
    /// Not safely after this, and the sentence that binds it; `None`: no limit.
    pub bound: Option<(Moment, Option<Why>)>,
    /// What the latest moment promises.
    pub promise: Promise,
}

/// What can be relied on when a cue is given between its earliest and its latest moment, as long as
/// everything goes by the script's bounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Promise {
    /// Every window from here to the next resting point will be met, whatever the outcomes.
    All,
    /// Every window of this stretch of hands, and some further ahead.
    Own,
    /// A window of this stretch may be missed all the same: nothing better than trying is known.
    AtRisk,
}

/// How long each text of a procedure takes to say, at the most, and where that comes from. Made by
/// [`speech_lengths`] from the model; whoever has rendered or recorded the texts calls
/// [`SpeechLengths::measured`] for each, and everything temporal then counts with that: the check, the
/// guide, the record.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SpeechLengths {
    /// In the order of the table of texts.
    texts: Vec<Spoken>,
    /// Which voice or whose recordings were measured, for people; nothing where none were.
    pub voice: Option<String>,
    /// How much later than it is given a sound is heard, at most: the player's store, a wireless
    /// loudspeaker. It comes on top of the jitter of every cue. Words and the cue behind them are late
    /// alike, so that the lengths of words stay what they are.
    pub lag: Millis,
}

/// How long one text takes to say.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Spoken {
    /// From its first sound until the silence after it is over.
    pub span: Span,
    /// Where the length comes from.
    pub source: SpeechSource,
}

/// Where a speech length comes from (named by verdict and record).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SpeechSource {
    /// The upper-bound model: words at the profile's rate + 0.6 s.
    #[default]
    Model,
    /// The script's own `lasting`.
    Stated,
    /// Rendered by a voice and measured.
    Measured,
    /// A teacher's recording.
    Recorded,
}
