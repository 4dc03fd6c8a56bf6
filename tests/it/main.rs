//! The integration tests, one binary.
#![expect(clippy::disallowed_methods, reason = "tests read their fixtures straight from the disk")]

mod awake;
mod commands;
mod complaints;
mod faults;
mod help;
mod hostile;
#[cfg(unix)]
mod hostile_cli;
mod journals;
mod language;
mod lengths;
mod odds;
mod painting;
mod piped;
mod plans;
mod power;
mod presses;
mod proofs;
mod proofs_dispatch;
mod proofs_game;
mod proofs_network;
mod proofs_rules;
mod pty;
mod questions;
mod reading;
mod readme;
mod recording;
mod rehearse;
mod replay;
mod rules;
mod runs;
mod runs_random;
mod runs_rules;
mod runs_support;
mod sarif;
mod shell;
mod sound;
mod sources;
mod statistics;
mod terminal;
mod tones;
mod totality;
mod trees;
mod verdicts;
