//! From what was written to what is true: the checked model, its flat plan, its events and bounds.
//!
//! `check` turns a tree into a [`model::Procedure`] or complaints; `plan` unrolls it for the counts
//! and answers that a run has chosen; `timing` lists the plan's named events and bounds; `sayable` lists what can be said.

pub mod check;
mod examine;
pub mod library;
pub mod model;
pub mod plan;
pub mod sayable;
pub mod timing;

pub use examine::{Examined, examine};

use crate::complaint::Complaint;
use std::collections::BTreeSet;

/// Every plan that a procedure can become, and everything that is wrong with their paths, each
/// complaint once.
#[must_use]
pub fn plans(procedure: &model::Procedure) -> (Vec<plan::Plan>, Vec<Complaint>) {
    let choices = match plan::variants(procedure) {
        Ok(choices) => choices,
        Err(complaint) => return (Vec::new(), vec![*complaint]),
    };
    let mut plans = Vec::new();
    let mut found = Vec::new();
    for choice in &choices {
        let (plan, complaints) = plan::plan_and_complaints(procedure, choice);
        plans.push(plan);
        found.extend(complaints);
    }
    found.extend(plan::unreached(procedure, &plans));
    (plans, in_order(found))
}

/// Sorted by file and place; of several with one code at one place the first.
fn in_order(mut found: Vec<Complaint>) -> Vec<Complaint> {
    found.sort_by_key(|c| (c.place, c.code));
    let mut seen = BTreeSet::new();
    found.retain(|c| seen.insert((c.place, c.code)));
    found
}
