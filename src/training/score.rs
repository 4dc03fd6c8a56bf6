//! What a rehearsal teaches: takes the scenes of its record, gives one row for each time that a step was
//! done, with what was late, what was missed and what was told wrongly.
//!
//! In a rehearsal the truth is known: when the hand touched the vehicle, and when it answered. A live run
//! has only brackets.

use super::replay::{Happened, Missed, Scene};
use crate::clock::{Millis, Moment};
use crate::journal::entry::EndingClass;
use crate::journal::happened::{Effect, Fact, Mark, Notice, Outcome, Sign, StepAt, Value};
use crate::journal::practice::{Left, Vehicle, Why};
use crate::journal::question::Question;
use crate::procedure::plan;
use crate::vehicle::typed;

/// A whole rehearsal.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Score {
    /// The steps in the order in which they were done, again where they were done again.
    pub rows: Vec<Row>,
    /// How often what is kept back was uncovered.
    pub hints: u32,
    /// Touches when nothing was to be done.
    pub needless: u32,
    /// What was asked after the last step, and whether it was answered as the vehicle has it.
    asked: Vec<(Question, bool)>,
    /// What the imaginary instrument said to the question that stands.
    reads: Option<String>,
    /// How many rows there were when a step was entered last.
    current: usize,
    /// The row that ended last, until something comes after it.
    ended: Option<usize>,
    /// What was told to be missed since the last outcome.
    closed: Option<Missed>,
}

/// One time that a step was cued.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Which step.
    pub step: StepAt,
    /// When its cue came; nothing where it follows another act.
    pub cue: Option<Moment>,
    /// How long after its cue the act began, and how long that may take.
    pub act: Option<(Millis, Millis)>,
    /// How long that takes at least.
    pub least: Millis,
    /// What had to be taken for it.
    pub taken: Vec<String>,
    /// Where the person had to walk.
    pub walked: Option<String>,
    /// What was left of its windows.
    pub left: Vec<Left>,
    /// What the vehicle did that is to be told of.
    pub came: Option<Came>,
    /// From that (or from an act that is told of itself) to the press.
    pub told: Option<Millis>,
    /// How long that may take; known where the vehicle answered.
    pub told_most: Option<Millis>,
    /// How the step ended.
    pub outcome: Option<Outcome>,
    /// The window by which it was too late, as the guide told it.
    pub closed: Option<Missed>,
    /// What came right after the step.
    pub then: Option<Then>,
    /// Whether it was told of before it came.
    pub guessed: bool,
    /// How much later than the script allows the vehicle answered.
    pub slow: Option<Millis>,
    /// Whether it answered when the step was over already, so that nobody could tell of it.
    pub passed: bool,
    /// When the act was complete.
    done: Option<Moment>,
    /// When what is to be told of came.
    since: Option<Moment>,
}

/// An answer that is no more than this behind its time is not called slow: seconds are told with one
/// decimal, and the vehicle's own moments are kept by a timer.
const SLOW: Millis = Millis(100);

/// What came right after a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Then {
    /// A step.
    Step(StepAt),
    /// The ending.
    Ended(EndingClass),
}

/// What came from the vehicle.
#[derive(Clone, Debug, PartialEq)]
pub enum Came {
    /// An answer of the script: which, and its signs.
    Answer(u32, Vec<Sign>),
    /// One that the script does not know.
    Unknown,
    /// Nothing.
    Nothing(Why),
    /// Something that must stay true was lost.
    Lost(String),
    /// The hand did something else than told.
    Slip,
}

impl Row {
    fn new(step: StepAt, cue: Option<Moment>) -> Row {
        Row {
            step,
            cue,
            act: None,
            least: Millis::ZERO,
            taken: Vec::new(),
            walked: None,
            left: Vec::new(),
            came: None,
            told: None,
            told_most: None,
            outcome: None,
            closed: None,
            then: None,
            guessed: false,
            slow: None,
            passed: false,
            done: None,
            since: None,
        }
    }

    /// How much later than the script allows the act began.
    #[must_use]
    pub fn late(&self) -> Option<Millis> {
        let (after, most) = self.act?;
        Some(after.minus(most)).filter(|late| *late > Millis::ZERO)
    }

    /// Whether the act began sooner than any hand can by the script.
    #[must_use]
    pub fn too_quick(&self) -> bool {
        self.act.is_some_and(|(after, _)| after < self.least)
    }

    /// How much later than the script allows the answer was told.
    #[must_use]
    pub fn told_late(&self) -> Option<Millis> {
        let late = self.told?.minus(self.told_most?);
        Some(late).filter(|late| *late > Millis::ZERO)
    }

    /// Whether a cue was given, the step ended, and no act was felt that was complete. Where a slip, a
    /// loss or something that cannot be done was told of, none was awaited.
    #[must_use]
    pub fn never_came(&self) -> bool {
        let awaited = matches!(
            self.outcome,
            Some(
                Outcome::Done
                    | Outcome::Met { .. }
                    | Outcome::Other
                    | Outcome::Silent
                    | Outcome::Late
                    | Outcome::Unreported
            )
        );
        awaited && self.cue.is_some() && self.act.is_none()
    }

    /// Whether the guide's own clock ended the step, and nobody told of anything.
    #[must_use]
    pub fn ended_by_clock(&self) -> bool {
        by_clock(self.outcome.as_ref())
    }

    /// Windows that were missed.
    pub fn missed(&self) -> impl Iterator<Item = &Left> {
        self.left.iter().filter(|left| left.left < 0)
    }

    /// The window by which it was too late, where the vehicle felt nothing that says more of it.
    #[must_use]
    pub fn unfelt(&self) -> Option<&Missed> {
        let closed = self.closed.as_ref()?;
        let line = closed.why.as_ref()?.line;
        (!self.left.iter().any(|left| left.line == line)).then_some(closed)
    }

    /// Whether what was told is what came; `None` where nothing was to be told, or nobody told.
    #[must_use]
    pub fn told_rightly(&self) -> Option<bool> {
        let outcome = self.outcome.as_ref()?;
        if self.passed {
            return None;
        }
        if self.guessed {
            return Some(false);
        }
        let right = match (self.came.as_ref()?, outcome) {
            (Came::Answer(nth, _), Outcome::Met { nth: told, .. }) => nth == told,
            (Came::Unknown, outcome) => matches!(outcome, Outcome::Other),
            // A window that closed on a silent vehicle is told of by the guide's own clock.
            (Came::Nothing(_), outcome) => matches!(outcome, Outcome::Silent | Outcome::Late),
            (Came::Lost(_), outcome) => matches!(outcome, Outcome::LostGuard { .. }),
            (Came::Slip, outcome) => matches!(outcome, Outcome::Slip),
            (Came::Answer(..), _) => false,
        };
        Some(right)
    }
}

/// Whether the guide's own clock made an outcome: it tells nothing.
const fn by_clock(outcome: Option<&Outcome>) -> bool {
    matches!(outcome, Some(Outcome::Silent | Outcome::Late | Outcome::Unreported))
}

/// Whether a score needs to know of an effect.
#[must_use]
pub const fn is_scored(effect: &Effect) -> bool {
    match effect {
        Effect::Fact { fact } => matches!(
            fact,
            Fact::CueGiven { .. }
                | Fact::Outcome { .. }
                | Fact::Entered { .. }
                | Fact::Answered { question: Question::Test { .. } | Question::Recount { .. }, .. }
                | Fact::Noticed { notice: Notice::Late { .. } }
        ),
        Effect::Ended { .. } => true,
        _ => false,
    }
}

/// The score of a rehearsal's scenes.
#[must_use]
pub fn score(scenes: &[Scene]) -> Score {
    let mut score = Score::default();
    for scene in scenes {
        match &scene.what {
            Happened::Effect(Effect::Fact { fact }) => score.fact(fact, scene.at),
            Happened::Effect(Effect::Ended { class, .. }) => score.then(&Then::Ended(*class)),
            Happened::Vehicle(what) => score.vehicle(what, scene.at),
            _ => {}
        }
    }
    score
}

impl Score {
    /// The row of a step that was done last.
    fn row(&mut self, step: &StepAt) -> &mut Row {
        let ix = self.open_row(step);
        &mut self.rows[ix]
    }

    fn open_row(&mut self, step: &StepAt) -> usize {
        let known = self.rows.iter().rposition(|row| row.step == *step && row.outcome.is_none());
        known.unwrap_or_else(|| {
            self.rows.push(Row::new(step.clone(), None));
            self.rows.len() - 1
        })
    }

    /// What came right after the step that ended last.
    fn then(&mut self, then: &Then) {
        if let Some(row) = self.ended.take().and_then(|ended| self.rows.get_mut(ended)) {
            row.then = Some(then.clone());
        }
    }

    fn fact(&mut self, fact: &Fact, at: Moment) {
        match fact {
            Fact::CueGiven { point, given, .. } if point.mark == Mark::Called => {
                self.rows.push(Row::new(point.step.clone(), Some(Moment(*given))));
            }
            Fact::Outcome { step, outcome } => {
                if matches!(outcome, Outcome::LostGuard { .. }) {
                    self.told_elsewhere(step);
                }
                let ix = self.open_row(step);
                let row = &mut self.rows[ix];
                let told = !by_clock(Some(outcome));
                row.told = row.since.map(|since| at.since(since)).filter(|_| told);
                row.outcome = Some(outcome.clone());
                self.ended = Some(ix);
                if let Some(missed) = self.closed.take().filter(|_| *outcome == Outcome::Late) {
                    let stretch = self.rows.iter().enumerate().skip(self.current);
                    let whose = stretch.rev().find(|(_, row)| row.step == missed.step);
                    let whose = whose.map_or(ix, |(whose, _)| whose);
                    self.rows[whose].closed = Some(missed);
                }
            }
            Fact::Entered { step, .. } => {
                self.then(&Then::Step(step.clone()));
                self.current = self.rows.len();
            }
            Fact::Answered { question, value } => self.answered(question, value.as_ref()),
            Fact::Noticed { notice: notice @ Notice::Late { .. } } => {
                self.closed = Missed::told(notice);
            }
            _ => {}
        }
    }

    fn vehicle(&mut self, what: &Vehicle, at: Moment) {
        match what {
            Vehicle::Felt { step, after, least, most, left, taken, walked } => {
                let row = self.row(step);
                row.act = Some((Millis(*after), Millis(*most)));
                row.least = Millis(*least);
                (row.done, row.since) = (Some(at), Some(at));
                row.left.extend_from_slice(left);
                row.taken.clone_from(taken);
                row.walked.clone_from(walked);
            }
            Vehicle::LetGo { step, left, .. } => self.row(step).left.extend_from_slice(left),
            Vehicle::Shows { step, nth, signs, most, within } => {
                let came = Came::Answer(*nth, signs.clone());
                let row = self.came(step, came, at);
                let late = |done, within| at.since(done).minus(Millis(within));
                let late = row.done.zip(*within).map(|(done, within)| late(done, within));
                row.slow = late.filter(|late| *late > SLOW);
                if matches!(row.came, Some(Came::Answer(..))) {
                    row.told_most = Some(Millis(*most));
                    row.passed = row.slow.is_some() && row.ended_by_clock();
                }
            }
            Vehicle::ShowsUnknown { step } => {
                self.came(step, Came::Unknown, at);
            }
            Vehicle::Silent { step, why } => {
                let row = self.row(step);
                // A slip is silent too; the slip is what is to be told.
                if row.came.is_none() {
                    row.came = Some(Came::Nothing(*why));
                    row.since = None;
                }
            }
            Vehicle::Lost { step, what } => self.lost(step, what, at),
            Vehicle::Slipped { step } => {
                self.came(step, Came::Slip, at);
            }
            Vehicle::NotFelt { .. } => self.needless += 1,
            Vehicle::Hint { .. } => self.hints += 1,
            Vehicle::Reads { value } => self.reads = Some(value.clone()),
            Vehicle::Stroke { .. } => {}
        }
    }

    /// A test after the last step is passed by a plain yes; a count is the one that the instrument said. An
    /// answer that was taken back counts as it is given anew.
    fn answered(&mut self, question: &Question, value: Option<&Value>) {
        let Some(reads) = self.reads.take() else { return };
        let right = match (question, value) {
            (Question::Test { .. }, value) => value.is_none(),
            (Question::Recount { .. }, Some(Value::Number { thousandths, .. })) => {
                typed(&plan::Value::Number(*thousandths)) == reads
            }
            (Question::Recount { .. }, Some(Value::Text(text))) => *text == reads,
            _ => return,
        };
        self.asked.retain(|(asked, _)| asked != question);
        self.asked.push((question.clone(), right));
    }

    /// How many questions after the last step were answered as the vehicle has it, and how many not.
    #[must_use]
    pub fn asked_after(&self) -> (usize, usize) {
        let right = self.asked.iter().filter(|(_, right)| *right).count();
        (right, self.asked.len() - right)
    }

    /// What comes late still belongs to the time that the step was last done.
    fn came(&mut self, step: &StepAt, came: Came, at: Moment) -> &mut Row {
        let answers = matches!(came, Came::Answer(..) | Came::Unknown);
        let of = |row: &Row| row.step == *step;
        // An answer is to an act, also where the step was cued again meanwhile.
        let acted = self.rows.iter().rposition(|row| of(row) && row.done.is_some());
        let last = acted.filter(|_| answers).or_else(|| self.rows.iter().rposition(of));
        let row = match last {
            Some(last) => &mut self.rows[last],
            None => self.row(step),
        };
        // What the vehicle answers does not mend what was broken or slipped: that is still to be told.
        if answers && matches!(row.came, Some(Came::Lost(_) | Came::Slip)) {
            return row;
        }
        row.guessed = matches!(
            row.outcome,
            Some(Outcome::Met { .. } | Outcome::Other | Outcome::Slip | Outcome::LostGuard { .. })
        );
        row.came = Some(came);
        row.since = Some(at);
        row
    }

    /// Whether everything came in time and was told as it was; where nothing was acted and nothing that came
    /// was told, nothing was met.
    #[must_use]
    pub fn met_well(&self) -> bool {
        let well = |row: &Row| {
            let late = row.late().is_some() || row.missed().next().is_some();
            !late
                && !row.never_came()
                && row.unfelt().is_none()
                && row.told_rightly() != Some(false)
        };
        let met = |row: &Row| row.act.is_some() || row.told_rightly() == Some(true);
        let answered = self.asked.iter().all(|(_, right)| *right);
        answered && self.rows.iter().any(met) && self.rows.iter().all(well)
    }

    /// What must stay true may be lost when its step is over: that is a happening by itself.
    fn lost(&mut self, step: &StepAt, what: &str, when: Moment) {
        let came = Some(Came::Lost(what.to_owned()));
        let last = self.rows.iter().rfind(|row| row.step == *step);
        let over = last.and_then(|row| row.outcome.clone());
        if over.is_some() {
            self.rows.push(Row { outcome: over, ..Row::new(step.clone(), None) });
        }
        let at_last = self.rows.iter().rposition(|row| row.step == *step);
        let row = match at_last {
            Some(last) => &mut self.rows[last],
            None => self.row(step),
        };
        (row.came, row.since, row.told, row.guessed) = (came, Some(when), None, false);
    }

    /// A loss is told of in this step: where none came in it, the last that nobody told of is meant.
    fn told_elsewhere(&mut self, step: &StepAt) {
        let lost = |row: &Row| matches!(row.came, Some(Came::Lost(_)));
        if lost(self.row(step)) {
            return;
        }
        let untold = |row: &Row| lost(row) && row.told_rightly() == Some(false);
        let Some(at) = self.rows.iter().rposition(untold) else { return };
        let (came, since) = (self.rows[at].came.take(), self.rows[at].since.take());
        if self.rows[at].cue.is_none() && self.rows[at].act.is_none() {
            self.rows.remove(at);
        }
        let row = self.row(step);
        (row.came, row.since) = (came, since);
    }

    /// The narrowest window that was met or missed, with its step.
    #[must_use]
    pub fn narrowest(&self) -> Option<(&Row, &Left)> {
        let all = self.rows.iter().flat_map(|row| row.left.iter().map(move |left| (row, left)));
        all.min_by_key(|(_, left)| left.left)
    }
}
