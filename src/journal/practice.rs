//! What a rehearsal adds to a record: what the imaginary vehicle felt, showed and kept back.
//!
//! Takes nothing; gives version 1's own types, every text in full, as in `happened`.

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value as Json};

use super::entry::Body;
use super::happened::{Sign, StepAt};

/// Something between the person and the imaginary vehicle.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "vehicle", rename_all = "snake_case")]
pub enum Vehicle {
    /// It felt an act, complete.
    Felt {
        /// Of which step.
        step: StepAt,
        /// How long after its cue, or after the act before, it was begun; milliseconds.
        after: i64,
        /// How long that takes at least by the script.
        #[serde(default)]
        least: i64,
        /// How long that may take at most by the script.
        most: i64,
        /// What was left of each window of it.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        left: Vec<Left>,
        /// Things that had to be taken for it.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        taken: Vec<String>,
        /// Where it is done, if that had to be walked to.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        walked: Option<String>,
    },
    /// It felt a stroke of a count.
    Stroke {
        /// Of which step.
        step: StepAt,
        /// Which.
        nth: u32,
        /// Of how many.
        of: u32,
    },
    /// What was held is free.
    LetGo {
        /// Of which step.
        step: StepAt,
        /// How long it was held.
        held: i64,
        /// What was left of the longest that it may be held, or what it lacked.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        left: Vec<Left>,
    },
    /// It gives an answer.
    Shows {
        /// In which step.
        step: StepAt,
        /// Which answer of the step, from 0.
        nth: u32,
        /// The signs.
        signs: Vec<Sign>,
        /// How long knowing it and telling of it may take by the script; milliseconds.
        most: i64,
        /// How long after the act the script lets it begin at the latest; milliseconds. Nothing where
        /// it is measured from another moment, and in records of the first versions.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        within: Option<i64>,
    },
    /// It gives an answer that the script does not know.
    ShowsUnknown {
        /// In which step.
        step: StepAt,
    },
    /// It will not answer; nobody is told before the end.
    Silent {
        /// In which step.
        step: StepAt,
        /// Why.
        why: Why,
    },
    /// Something that must stay true no longer does.
    Lost {
        /// In which step.
        step: StepAt,
        /// What.
        what: String,
    },
    /// The hand did something else than told.
    Slipped {
        /// In which step.
        step: StepAt,
    },
    /// It did not take a touch.
    NotFelt {
        /// A stroke more than was asked for; else nothing was to be done.
        one_more: bool,
    },
    /// What the imaginary instrument says to a question.
    Reads {
        /// The value, as it is to be typed.
        value: String,
    },
    /// What is kept back was uncovered for this step.
    Hint {
        /// Which; nothing before the first.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        step: Option<StepAt>,
    },
}

/// Why the vehicle does not answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// It was ordered.
    Ordered,
    /// The act lay outside a window.
    Outside,
    /// There was a stroke too many.
    OneMore,
}

/// What was left of a window.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Left {
    /// Its line.
    pub line: u32,
    /// Its whole length, in milliseconds; of one without an end, its beginning.
    pub length: i64,
    /// What was left; negative: missed by so much.
    pub left: i64,
    /// Whether it was missed because the act came too early.
    #[serde(default)]
    pub early: bool,
}

/// The line of a vehicle's doing.
#[must_use]
pub fn vehicle_body(what: &Vehicle) -> Body {
    // Plain structures with text keys, for which serde_json cannot fail.
    let what = match serde_json::to_value(what) {
        Ok(Json::Object(map)) => map,
        _ => Map::new(),
    };
    Body::Vehicle { what }
}

/// A vehicle's line back, or `None` where another version wrote it.
#[must_use]
pub fn vehicle_of(what: &Map<String, Json>) -> Option<Vehicle> {
    Vehicle::deserialize(what).ok()
}
