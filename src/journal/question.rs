//! A question as a record keeps it: takes nothing, gives a serde type with every text in full.

use serde::{Deserialize, Serialize};

use super::battery::{BatteryAsk, BatteryJudged};
use super::entry::EndingClass;
use super::happened::{Signal, StepAt, Value};

/// A question outside the steps.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "asks", rename_all = "snake_case")]
pub enum Question {
    /// It is a demonstration: is no real vehicle meant?
    Demonstration,
    /// Local rules come first.
    LocalRules,
    /// Ownership.
    Ownership,
    /// An affirmation of the script.
    Affirm {
        /// What is affirmed.
        text: String,
    },
    /// A caution.
    Alert {
        /// How grave.
        word: Signal,
        /// Of what.
        text: String,
    },
    /// How many of a group?
    HowMany {
        /// Of what.
        label: String,
        /// At least.
        least: u32,
        /// At most.
        most: u32,
    },
    /// A reading.
    Reading {
        /// The question.
        text: String,
        /// The unit, where a number is asked.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        unit: Option<String>,
        /// Least and most that is plausible, in thousandths.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        plausible: Option<(i64, i64)>,
        /// Whether one of the numbered answers is asked.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        choice: bool,
    },
    /// A value read back.
    ReadBack {
        /// The question it answers.
        text: String,
        /// The value.
        value: Value,
    },
    /// The timing is not proven, and there is a point of no return ahead: to be begun in words.
    Unproven {
        /// The reason given.
        reason: String,
        /// From this step on there is no way back.
        step: StepAt,
        /// What is past changing then.
        past: String,
    },
    /// Is a secret at hand?
    AtHand {
        /// Which.
        text: String,
    },
    /// A gate does not hold.
    GateClosed {
        /// What the person is told.
        text: String,
        /// Whether the run must not start.
        must: bool,
    },
    /// A line of the checklist.
    Checklist {
        /// What must be so.
        text: String,
    },
    /// An item must be at hand.
    ItemAtHand {
        /// Its label.
        label: String,
    },
    /// Start?
    Start,
    /// A functional test.
    Test {
        /// What to do.
        text: String,
        /// What must be seen.
        expect: String,
        /// With what.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        label: Option<String>,
    },
    /// A count asked again.
    Recount {
        /// The question.
        text: String,
        /// The unit.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        unit: Option<String>,
    },
    /// Something about the battery.
    Battery {
        /// What.
        about: BatteryAsk,
        /// The unit, where a number is asked.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        unit: Option<String>,
    },
    /// A number about the battery read back.
    BatteryReadBack {
        /// What it answers.
        about: BatteryAsk,
        /// The number.
        value: Value,
    },
    /// Whether the battery lasts.
    BatteryJudged(BatteryJudged),
    /// Stop?
    ReallyStop,
    /// Was something else done than told? It would end the run.
    ReallySlip {
        /// How it would end.
        ends: EndingClass,
    },
    /// An earlier run of this script was broken off: begin a new one that names it?
    TakeUp {
        /// The earlier record's name.
        record: String,
        /// The last step that it is certain of.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        step: Option<StepAt>,
        /// What that step was.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        act: Option<String>,
        /// What the author says to do.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        text: Option<String>,
        /// The last point of no return that was crossed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        past: Option<String>,
    },
}

impl Question {
    /// Whether it asks, over whatever goes on, about a press that would end the run: the same press once
    /// more says yes, any other means what it always means.
    #[must_use]
    pub const fn is_before_an_end(&self) -> bool {
        matches!(self, Question::ReallyStop | Question::ReallySlip { .. })
    }
}
