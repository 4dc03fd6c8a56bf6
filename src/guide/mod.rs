//! Leads a person through a plan: a pure state machine on a virtual clock.
//!
//! Takes inputs with their moments; gives effects. Nothing here sees text, a face, a file or the
//! time of day. In the order of a run: `cue` is what goes in and out; `machine` the whole;
//! `preparation` and `reading` the questions before it; `world` what stays the same in it, `run` what
//! changes, `seen` what it knows; `steps` one step's life in time, `outcomes` how it ends; `awake` reminders; `tests_after`
//! the functional tests; `frame` what is shown; `out` collects the effects.

mod awake;
mod battery;
pub mod cue;
mod frame;
mod machine;
mod out;
mod outcomes;
mod preparation;
mod reading;
mod run;
mod seen;
mod steps;
mod tests_after;
mod world;

pub use crate::procedure::sayable::{Sayable, sayable};
pub use machine::{Guide, MakeTiming, Saved, Settings};
