//! The apprentice's sheet: a script on paper.
//!
//! Takes a checked procedure, its files and what the proof says of its windows; gives a [`Sheet`] as
//! data (`content`), and from it a self-contained HTML page that prints well (`html`, with its
//! picture of the windows in `picture`) or Markdown (`markdown`). What a writer's guide asks of a
//! printed procedure follows DOE-STD-1029-92, *Writer's Guide for Technical Procedures* (1992):
//! cautions before their step, one action a step, start and due blanks beside time-dependent steps,
//! alternatives under "one of", a box for each repetition.

mod content;
mod cost;
mod head;
mod html;
mod markdown;
mod number;
mod paper;
mod picture;
mod proof;
mod said;
mod steps;

pub use content::sheet;
pub use cost::{Costs, Mistake, costs};
pub use html::html;
pub use markdown::markdown;
pub use proof::proof;
pub use said::capital;

use crate::clock::Millis;
use crate::procedure::model::SignalWord;
use crate::source::Place;

/// What the proof says, in the words and figures that the sheet prints.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Proof {
    /// `proven`, `not proven`, `impossible`: one word or two.
    pub word: String,
    /// What it means and on what it rests, a paragraph each.
    pub statement: Vec<String>,
    /// On which bounds it rests, a sentence each.
    pub bounds: Vec<String>,
    /// How long a run takes, a sentence each.
    pub lengths: Vec<String>,
    /// What is known of single windows.
    pub windows: Vec<WindowProof>,
}

/// What the proof says of one window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WindowProof {
    /// The window's sentence.
    pub place: Place,
    /// What is to spare.
    pub spare: Spare,
}

/// What a window, limit, hold or count has to spare.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spare {
    /// It is met, whatever happens inside the bounds.
    Left {
        /// So much sooner it could close.
        slack: Millis,
        /// Whether that is less than a person likes to have.
        tight: bool,
    },
    /// It is one of those that nothing was proven for.
    AtRisk,
}

/// Everything on the sheet, in words.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sheet {
    /// The job.
    pub title: String,
    /// What it is done to.
    pub subject: Option<String>,
    /// The author's edition.
    pub edition: Option<u32>,
    /// How far it may be trusted: short, for across the page.
    pub status: String,
    /// The same in a sentence.
    pub status_says: String,
    /// What the proof says.
    pub proof: Proof,
    /// What must be affirmed.
    pub affirm: Vec<String>,
    /// Cautions before all else.
    pub cautions: Vec<Caution>,
    /// What must be there.
    pub items: Vec<Row>,
    /// Places and how far they are.
    pub places: Vec<String>,
    /// What is read before the start.
    pub readings: Vec<Blank>,
    /// What the readings decide: must, or better.
    pub gates: Vec<String>,
    /// What must be so before the start.
    pub checklist: Vec<String>,
    /// What must hold throughout.
    pub throughout: Vec<String>,
    /// Whom the times are for.
    pub operator: Vec<String>,
    /// What to do if it is broken off, where nothing nearer is said.
    pub break_off: Option<String>,
    /// Steps and what stands between them.
    pub body: Vec<Block>,
    /// Functional tests.
    pub tests: Vec<Row>,
    /// Counts asked again.
    pub recounts: Vec<String>,
    /// How it can end.
    pub endings: Vec<Row>,
    /// The windows in the order of the steps.
    pub windows: Vec<Bar>,
    /// Where the numbers come from.
    pub sources: Vec<String>,
}

/// A caution.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caution {
    /// Its signal word.
    pub word: SignalWord,
    /// What is said.
    pub text: String,
}

/// A line with a left and a right part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// What.
    pub what: String,
    /// More of it.
    pub more: String,
    /// How many boxes to tick; their labels, where they differ.
    pub boxes: Vec<String>,
}

/// Something to be filled in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Blank {
    /// Its letter, by which the lines below it speak of it; empty at a step.
    pub letter: String,
    /// The question.
    pub question: String,
    /// Its unit, or how it is answered.
    pub unit: String,
    /// What is plausible.
    pub plausible: Option<String>,
}

/// Something in the order of the steps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Block {
    /// A step.
    Step(Box<StepLines>),
    /// Steps that belong together, under a heading.
    Section {
        /// What they are.
        heading: String,
        /// What holds in them.
        notes: Vec<String>,
        /// Limits on all of them together.
        limits: Vec<WindowLine>,
        /// The steps.
        body: Vec<Block>,
    },
    /// A point of no return, across the page.
    NoReturn(String),
    /// An end.
    Finish(String),
}

/// One step.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StepLines {
    /// Its number on the sheet.
    pub number: u32,
    /// A box for each time it is done; one without a label where it is done once.
    pub boxes: Vec<String>,
    /// Cautions before it.
    pub cautions: Vec<Caution>,
    /// The instruction.
    pub act: String,
    /// With what, where, by whom, how long: label and text.
    pub facts: Vec<(String, String)>,
    /// Equally good ways.
    pub ways: Vec<String>,
    /// Its windows.
    pub windows: Vec<WindowLine>,
    /// What is read at this step.
    pub readings: Vec<Blank>,
    /// What can be seen or heard, and what then.
    pub outcomes: Vec<(String, String)>,
    /// What to do if it is broken off here.
    pub break_off: Option<String>,
}

/// A window of a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WindowLine {
    /// In words.
    pub text: String,
    /// Whether there is a moment before which it is too early.
    pub opens: bool,
    /// Whether there is a moment at which it is too late.
    pub closes: bool,
    /// What is to spare, where the proof says it.
    pub spare: Option<Spare>,
}

/// A window as a bar: milliseconds from what it is measured from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bar {
    /// The step's number.
    pub step: u32,
    /// Its name in words: the instruction.
    pub act: String,
    /// What it is measured from.
    pub from: String,
    /// It opens.
    pub opens: i64,
    /// It closes; `None`: it stays open.
    pub closes: Option<i64>,
    /// The longest that reaction, way and hands may take.
    pub hands: i64,
    /// What is to spare, where the proof says it.
    pub spare: Option<Spare>,
}
