//! Leads a person through a plan: a pure state machine on a virtual clock.
//!
//! Takes inputs with their moments; gives effects. `cue` holds the data that goes in and out,
//! `machine` the state machine. Nothing here sees text, a face, a file or the time of day.

pub mod cue;
