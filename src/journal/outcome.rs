//! How a step ended, as a record keeps it: takes nothing, gives a serde type.

use serde::{Deserialize, Serialize};

use super::happened::Sign;

/// How a step ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "how", rename_all = "snake_case")]
pub enum Outcome {
    /// Acted, no sign.
    Done,
    /// These signs.
    Met {
        /// Which answer, from 0.
        nth: u32,
        /// The signs.
        signs: Vec<Sign>,
    },
    /// Nothing by the time.
    Silent,
    /// Another answer.
    Other,
    /// The person cannot do it.
    Cannot,
    /// The person did something else.
    Slip,
    /// The window closed first.
    Late,
    /// A guard was lost.
    LostGuard {
        /// What must stay true.
        text: String,
    },
    /// Over by the guide's clock.
    Unreported,
}
