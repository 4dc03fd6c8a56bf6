//! A record as it was shown and what it says in short: takes entries, gives scenes and a summary.
//!
//! Replay folds the *recorded* effects, so that a record looks the same under every later version.
//! Running the inputs through the guide again is a check of its own ([`rerun`]), made only under the
//! version that wrote the record.

use std::sync::Arc;

use crate::clock::{Millis, Moment};
use crate::guide::{Guide, Settings};
use crate::journal::convert::{Context, effect_body, effect_of, input_of, to_guide};
use crate::journal::entry::{Body, ClockChange, Header, Interruption, RunKind, Sender};
use crate::journal::happened as h;
use crate::journal::practice;
use crate::journal::read::{Entry, Kept, ReadBack};
use crate::journal::spoken::put_back;
use crate::procedure::examine;

/// One thing that a record shows, at its moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Scene {
    /// Its line in the file, from 1.
    pub line: u64,
    /// When.
    pub at: Moment,
    /// What.
    pub what: Happened,
}

/// What happened.
#[derive(Clone, Debug, PartialEq)]
pub enum Happened {
    /// The guide did this.
    Effect(h::Effect),
    /// The person did this, through a page where somebody is named.
    Input(h::Input, Option<Sender>),
    /// The computer's clock: how, and by how much.
    Clock(ClockChange, Millis),
    /// A remark of the program.
    Note(String),
    /// Broken off.
    Interrupted(Interruption),
    /// A later record goes on from here.
    Continued(String),
    /// Events that could not be kept.
    Lost(u64, String),
    /// In a rehearsal: between the person and the imaginary vehicle.
    Vehicle(practice::Vehicle),
    /// Something that this version does not know; its kind.
    Unknown(String),
}

/// The scenes of a record, in order.
#[must_use]
pub fn scenes(read: &ReadBack) -> Vec<Scene> {
    read.entries.iter().filter_map(scene).collect()
}

fn scene(entry: &Entry) -> Option<Scene> {
    let what = match &entry.body {
        Kept::Unknown { kind, .. } => Happened::Unknown(kind.clone()),
        Kept::Known(body) => match body {
            Body::Header(_) | Body::End { .. } | Body::Late { .. } => return None,
            Body::Effect { what } => effect_of(what)
                .map_or_else(|| Happened::Unknown("effect".to_owned()), Happened::Effect),
            Body::Input { what, from } => input_of(what).map_or_else(
                || Happened::Unknown("input".to_owned()),
                |input| Happened::Input(input, *from),
            ),
            Body::Vehicle { what } => practice::vehicle_of(what)
                .map_or_else(|| Happened::Unknown("vehicle".to_owned()), Happened::Vehicle),
            Body::Clock { change, ms } => Happened::Clock(*change, Millis(*ms)),
            Body::Note { text } => Happened::Note(text.clone()),
            Body::Interrupted { by } => Happened::Interrupted(*by),
            Body::Continued { by } => Happened::Continued(by.clone()),
            Body::Lost { events, why } => Happened::Lost(*events, why.clone()),
            Body::Moved { from, why } => Happened::Note(format!("moved from {from}: {why}")),
        },
    };
    Some(Scene { line: entry.line, at: entry.at, what })
}

/// One step as a record tells it.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Which step.
    pub step: h::StepAt,
    /// For the nth time.
    pub nth: u32,
    /// When it was entered.
    pub entered: Moment,
    /// How it ended, and when; nothing where the record stops before.
    pub outcome: Option<(h::Outcome, Moment)>,
    /// What was left of each of its windows: the line, its length, what was left.
    pub margins: Vec<(u32, Option<Millis>, Millis)>,
    /// Whether it was done or tried: whatever windows it has were met or missed then.
    pub tried: bool,
    /// The window by which it was too late: its own, or one further ahead that nobody came to.
    pub missed: Option<Missed>,
    /// Whether it un-happened: the press before it was taken back.
    pub taken_back: bool,
    /// The latest of its cues came this much late.
    pub late: Millis,
}

impl Row {
    fn new(step: h::StepAt, nth: u32, entered: Moment) -> Row {
        Row {
            step,
            nth,
            entered,
            outcome: None,
            margins: Vec::new(),
            tried: false,
            missed: None,
            taken_back: false,
            late: Millis::ZERO,
        }
    }
}

/// A window, or a limit on several steps, that closed first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Missed {
    /// Whose it is: perhaps a step that was not yet cued.
    pub step: h::StepAt,
    /// The sentence; nothing in the records of the first versions.
    pub why: Option<h::Why>,
}

impl Missed {
    /// What a record told of before an outcome that it was too late.
    #[must_use]
    pub fn told(notice: &h::Notice) -> Option<Missed> {
        match notice {
            h::Notice::Late { step, why } => Some(Missed { step: step.clone(), why: why.clone() }),
            _ => None,
        }
    }
}

/// A record in short.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Summary {
    /// Its steps, in the order in which they were entered.
    pub rows: Vec<Row>,
    /// The ending and its class, if it reached one.
    pub ending: Option<(String, crate::journal::entry::EndingClass)>,
    /// How each thing ended.
    pub things: Vec<(String, crate::journal::entry::EndingClass)>,
    /// By what it was broken off.
    pub interrupted: Option<Interruption>,
    /// From the first entry to the last.
    pub length: Millis,
    /// The row of the step that was entered last.
    current: usize,
    /// What was told to be missed since the last outcome.
    closed: Option<Missed>,
}

/// Sums a record up.
#[must_use]
pub fn summary(scenes: &[Scene]) -> Summary {
    let mut sum = Summary::default();
    for scene in scenes {
        match &scene.what {
            Happened::Effect(h::Effect::Fact { fact }) => sum.fact(fact, scene.at),
            Happened::Effect(h::Effect::Ended { ending, class, .. }) => {
                sum.ending = Some((ending.clone(), *class));
            }
            Happened::Interrupted(by) => sum.interrupted = Some(*by),
            _ => {}
        }
    }
    if let (Some(first), Some(last)) = (scenes.first(), scenes.last()) {
        sum.length = last.at.since(first.at);
    }
    sum
}

impl Summary {
    fn row(&mut self, step: &h::StepAt) -> Option<&mut Row> {
        self.rows.iter_mut().rev().find(|row| row.step == *step)
    }

    /// The row of a step that ended, or one of whose windows is told of, since the last one was entered.
    /// Hands that go straight on enter only the first step of their stretch: the others come in here.
    fn reached(&mut self, step: &h::StepAt) -> usize {
        let current = self.current.min(self.rows.len());
        let known = self.rows[current..].iter().rposition(|row| row.step == *step);
        known.map_or_else(
            || {
                let before = self.rows.iter().filter(|row| row.step == *step && !row.taken_back);
                let nth = u32::try_from(before.count()).unwrap_or(u32::MAX).saturating_add(1);
                let entered = self.rows.get(current).map_or(Moment::START, |row| row.entered);
                self.rows.push(Row::new(step.clone(), nth, entered));
                self.rows.len() - 1
            },
            |nth| current + nth,
        )
    }

    /// It was too late for a row, and for the first of its stretch of hands. Where the computer was away
    /// meanwhile nobody can say that a window was missed.
    fn late(&mut self, last: usize, closed: Option<Missed>) {
        let first = self.current.min(last);
        let stretch = &mut self.rows[first..=last];
        stretch.iter_mut().for_each(|row| row.tried = true);
        let Some(missed) = closed else { return };
        let whose = stretch.iter().position(|row| row.step == missed.step);
        if let Some(row) = stretch.get_mut(whose.unwrap_or(last - first)) {
            row.missed = Some(missed);
        }
    }

    /// Nothing came, so that nobody knows of the acts: the guide took them as done by their bounds. What it
    /// reckoned from that tells nothing of a window.
    fn silent(&mut self, last: usize) {
        let first = self.current.min(last);
        self.rows[first..=last].iter_mut().for_each(|row| row.margins.clear());
    }

    /// What a fact adds to the steps and things.
    pub(super) fn fact(&mut self, fact: &h::Fact, at: Moment) {
        match fact {
            h::Fact::Entered { step, nth, .. } => {
                self.current = self.rows.len();
                self.rows.push(Row::new(step.clone(), *nth, at));
            }
            h::Fact::Outcome { step, outcome } => {
                let closed = self.closed.take();
                let last = self.reached(step);
                let row = &mut self.rows[last];
                row.outcome = Some((outcome.clone(), at));
                row.tried |= tries(outcome);
                match outcome {
                    h::Outcome::Late => self.late(last, closed),
                    h::Outcome::Silent => self.silent(last),
                    _ => {}
                }
            }
            h::Fact::Margin { step, line, window, left } => {
                let reached = self.reached(step);
                let row = &mut self.rows[reached];
                row.margins.push((*line, window.map(Millis), Millis(*left)));
                row.tried = true;
            }
            h::Fact::CueGiven { point, due, given } => {
                if let Some(row) = self.row(&point.step) {
                    row.late = row.late.max(Millis(given.saturating_sub(*due)));
                }
            }
            h::Fact::Noticed { notice: h::Notice::TakenBack { .. } } => {
                if let Some(row) = self.rows.last_mut() {
                    row.taken_back = row.outcome.is_none();
                }
            }
            h::Fact::Noticed { notice: notice @ h::Notice::Late { .. } } => {
                self.closed = Missed::told(notice);
            }
            h::Fact::Thing { label, class } => {
                self.things.retain(|(known, _)| known != label);
                self.things.push((label.clone(), *class));
            }
            _ => {}
        }
    }
}

/// Whether a step that ended so was done or tried.
const fn tries(outcome: &h::Outcome) -> bool {
    !matches!(outcome, h::Outcome::Cannot | h::Outcome::Slip | h::Outcome::LostGuard { .. })
}

/// What running a record's inputs again has shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Rerun {
    /// Every effect came again, so many.
    Same(usize),
    /// Another version of the tool or of the form wrote it: not run again.
    OtherVersion(String),
    /// Its script no longer checks; it cannot be run again.
    NoScript,
    /// In this line of the record stands another effect than came now.
    Differs {
        /// The line.
        line: u64,
        /// What stands there; nothing where the record has no more effects.
        recorded: Option<String>,
        /// What came; nothing where nothing more came.
        came: Option<String>,
    },
    /// Lines are missing, so that what followed cannot be the same.
    Incomplete,
}

/// Runs the recorded inputs through the guide again and compares what it does. `settings` are made
/// for the procedure that the record's own script gives.
#[must_use]
pub fn rerun(
    read: &ReadBack,
    version: &str,
    settings: fn(&crate::procedure::model::Procedure) -> Settings,
) -> Rerun {
    let Some(header) = &read.header else { return Rerun::NoScript };
    if header.tool != version || header.version != crate::journal::entry::VERSION {
        return Rerun::OtherVersion(header.tool.clone());
    }
    if read.certain < read.entries.len() {
        return Rerun::Incomplete;
    }
    let Some((sources, procedure)) = script(header) else { return Rerun::NoScript };
    let procedure = Arc::new(procedure);
    let mut settings = settings(&procedure);
    settings.rehearsal = header.run == RunKind::Rehearsal;
    put_back(&mut settings.speech, &header.spoken);
    settings.speech.lag = Millis(header.lag.max(0));
    let mut guide = Guide::new(Arc::clone(&procedure), settings);
    let mut compare = Compare { came: Vec::new(), seen: 0 };
    let mut begun = false;
    for entry in &read.entries {
        let Kept::Known(body) = &entry.body else { continue };
        let given = match body {
            Body::Effect { .. } if !begun => guide.start(entry.at),
            Body::Input { what, .. } => {
                if let Some(differs) = compare.left_over(entry.line) {
                    return differs;
                }
                let Some(input) = input_of(what) else { return Rerun::Incomplete };
                guide.handle(to_guide(&input), entry.at)
            }
            _ => Vec::new(),
        };
        begun |= matches!(body, Body::Effect { .. });
        let context = Context { procedure: &procedure, plan: guide.plan(), sources: &sources };
        let given = given.iter().filter_map(|effect| context.effect(effect));
        compare.came.extend(given.map(|effect| effect_body(&effect)));
        if let Some(differs) = compare.recorded(entry.line, body) {
            return differs;
        }
    }
    let last = read.entries.last().map_or(0, |entry| entry.line);
    // A run that was broken off may lack the effects of its last input.
    match compare.left_over(last) {
        Some(differs) if read.is_closed() => differs,
        _ => Rerun::Same(compare.seen),
    }
}

/// The script that a record holds, if it still checks.
#[must_use]
pub fn script(
    header: &Header,
) -> Option<(crate::source::SourceMap, crate::procedure::model::Procedure)> {
    let main = header.files.first()?;
    let main_name = main.name.replace('\\', "/");
    let folder = main_name.rfind('/').map_or("", |end| &main_name[..=end]);
    let mut read = |wanted: &str| {
        let file = header.files.iter().find(|f| f.name.strip_prefix(folder) == Some(wanted));
        file.map(|file| file.text.clone()).ok_or_else(|| "it is not in the record".to_owned())
    };
    let examined = examine(&main.name, main.text.clone(), &mut read);
    let sound = examined.is_sound();
    Some((examined.sources, examined.procedure.filter(|_| sound)?))
}

struct Compare {
    /// Effects that came and were not yet found in the record.
    came: Vec<Body>,
    seen: usize,
}

impl Compare {
    /// An effect of the record: it must be the next that came.
    fn recorded(&mut self, line: u64, body: &Body) -> Option<Rerun> {
        if !matches!(body, Body::Effect { .. }) {
            return None;
        }
        self.seen += 1;
        let came = (!self.came.is_empty()).then(|| self.came.remove(0));
        if came.as_ref() == Some(body) {
            return None;
        }
        Some(Rerun::Differs { line, recorded: Some(words(body)), came: came.as_ref().map(words) })
    }

    /// Effects that came before this line and are not in the record.
    fn left_over(&self, line: u64) -> Option<Rerun> {
        let came = self.came.first()?;
        Some(Rerun::Differs { line, recorded: None, came: Some(words(came)) })
    }
}

fn words(body: &Body) -> String {
    serde_json::to_string(body).unwrap_or_default()
}
