//! One message about a script: its code, its places, its facts, and perhaps a mechanical fix.
//!
//! Takes facts from the stages; gives [`Complaint`]. A complaint is data: `render` makes the picture
//! for a person, `json` the object for a program, `sentences` words it, `why` the long answers.

pub mod code;
pub mod json;
pub mod render;
mod sentences;
pub mod visible;
pub mod why;
pub mod why_verdict;

pub use code::{Code, Severity};
pub use json::json;
pub use render::{render, sentence};

use crate::clock::Millis;
use crate::source::Place;

/// One thing that is wrong with a script.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Complaint {
    /// What is wrong.
    pub code: Code,
    /// Where.
    pub place: Place,
    /// What fills the gaps of the code's sentence.
    pub facts: Vec<(&'static str, Fact)>,
    /// Other places that belong to it.
    pub also: Vec<Also>,
    /// The nearest known name, where a name was not known.
    pub near: Option<String>,
    /// A mechanical fix.
    pub fix: Option<Fix>,
}

/// One fact of a complaint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fact {
    /// A word or text of the script, shown as written (control characters made visible).
    Text(String),
    /// A length of time.
    Length(Millis),
    /// A number.
    Number(i64),
}

impl From<&str> for Fact {
    fn from(text: &str) -> Fact {
        Fact::Text(text.to_owned())
    }
}

impl From<String> for Fact {
    fn from(text: String) -> Fact {
        Fact::Text(text)
    }
}

impl From<Millis> for Fact {
    fn from(length: Millis) -> Fact {
        Fact::Length(length)
    }
}

impl From<i64> for Fact {
    fn from(number: i64) -> Fact {
        Fact::Number(number)
    }
}

/// Another place that belongs to a complaint, and what is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Also {
    /// Where.
    pub place: Place,
    /// What is there, in a few fixed words.
    pub what: &'static str,
}

/// A fix that needs no judgement.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fix {
    /// What it does, in a few fixed words.
    pub what: &'static str,
    /// The text to replace; an empty place inserts.
    pub place: Place,
    /// The new text.
    pub text: String,
}

impl Complaint {
    /// A complaint without facts yet.
    #[must_use]
    pub fn new(code: Code, place: Place) -> Complaint {
        Complaint { code, place, facts: Vec::new(), also: Vec::new(), near: None, fix: None }
    }

    /// Adds a fact for the gap `{gap}` of the code's sentence.
    #[must_use]
    pub fn with(mut self, gap: &'static str, fact: impl Into<Fact>) -> Complaint {
        self.facts.push((gap, fact.into()));
        self
    }

    /// Adds another place.
    #[must_use]
    pub fn and(mut self, place: Place, what: &'static str) -> Complaint {
        self.also.push(Also { place, what });
        self
    }

    /// Names what was probably meant.
    #[must_use]
    pub fn near(mut self, name: Option<String>) -> Complaint {
        self.near = name;
        self
    }

    /// Adds a mechanical fix.
    #[must_use]
    pub fn fix(mut self, what: &'static str, place: Place, text: impl Into<String>) -> Complaint {
        self.fix = Some(Fix { what, place, text: text.into() });
        self
    }

    /// Whether the script cannot be run with this.
    #[must_use]
    pub fn is_error(&self) -> bool {
        self.code.severity() == Severity::Error
    }
}
