//! The integration tests, one binary.
#![expect(clippy::disallowed_methods, reason = "tests read their fixtures straight from the disk")]

mod complaints;
mod faults;
mod hostile;
mod journals;
mod language;
mod plans;
mod power;
mod proofs;
mod proofs_dispatch;
mod proofs_game;
mod proofs_network;
mod proofs_rules;
mod reading;
mod recording;
mod rules;
mod trees;
