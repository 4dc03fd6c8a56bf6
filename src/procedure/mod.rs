//! From what was written to what is true: the checked model, its flat plan, its events and bounds.
//!
//! `check` turns a tree into a [`model::Procedure`] or complaints; `plan` unrolls it for the counts
//! and answers that a run has chosen; `timing` lists the plan's named events and bounds.

pub mod model;
pub mod plan;
pub mod timing;
