//! What a computer can and cannot do, in words: takes facts, gives lines for people and a document for
//! programs.
//!
//! ```text
//! ok       clock      goes on while the computer sleeps; wakes within 1 ms, 40 tries
//! missing  voice      espeak-ng is not installed
//!                     → apt install espeak-ng
//! ```

use std::fmt::Write as _;

use serde_json::{Value, json};

use super::safe::{safe, wrap_whole};

/// How it stands with one thing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// It is there and works.
    Ok,
    /// It is not there, or does not work; a run goes on without it.
    Missing,
    /// It cannot be found out here.
    Unknown,
    /// Without it no run is safe, or none is recorded.
    Bad,
    /// Only a person can see to it.
    You,
}

impl State {
    /// The word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            State::Ok => "ok",
            State::Missing => "missing",
            State::Unknown => "unknown",
            State::Bad => "BAD",
            State::You => "you",
        }
    }
}

/// One thing that was looked at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fact {
    /// What.
    pub what: &'static str,
    /// How it stands.
    pub state: State,
    /// What was found.
    pub found: String,
    /// What helps.
    pub mend: Option<String>,
}

impl Fact {
    /// A fact that needs no help.
    #[must_use]
    pub fn new(what: &'static str, state: State, found: impl Into<String>) -> Fact {
        Fact { what, state, found: found.into(), mend: None }
    }

    /// The same with what helps.
    #[must_use]
    pub fn mend(mut self, mend: impl Into<String>) -> Fact {
        self.mend = Some(mend.into());
        self
    }
}

/// Columns of a line: nearly every terminal has 80 at least, and breaks what fills the last one.
const COLUMNS: usize = 79;
/// Where what was found begins.
const INDENT: usize = 21;

/// One fact in lines, each ended.
#[must_use]
pub fn line(fact: &Fact) -> String {
    let head = format!("{:<8} {:<11} ", fact.state.word(), fact.what);
    let mut text = String::new();
    for line in wrap_whole(&format!("{head}{}", safe(&fact.found)), COLUMNS, INDENT) {
        let _ = writeln!(text, "{line}");
    }
    if let Some(mend) = &fact.mend {
        let mend = format!("{}→ {}", " ".repeat(INDENT), safe(mend));
        for line in wrap_whole(&mend, COLUMNS, INDENT + 2) {
            let _ = writeln!(text, "{line}");
        }
    }
    text
}

/// The facts as a document.
#[must_use]
pub fn json(facts: &[Fact], heard: Option<bool>) -> Value {
    let rows = facts.iter().map(|fact| {
        json!({
            "what": fact.what,
            "state": fact.state.word().to_lowercase(),
            "found": fact.found,
            "mend": fact.mend,
        })
    });
    json!({
        "fit": facts.iter().all(|fact| fact.state != State::Bad),
        "complete": facts.iter().all(|fact| !matches!(fact.state, State::Bad | State::Missing)),
        "heard": heard,
        "facts": rows.collect::<Vec<_>>(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fact_reads_well_without_colour() {
        let fact = Fact::new("voice", State::Missing, "espeak-ng is not installed")
            .mend("apt install espeak-ng");
        assert_eq!(
            line(&fact),
            "missing  voice       espeak-ng is not installed\n                     → apt install \
             espeak-ng\n"
        );
    }
}
