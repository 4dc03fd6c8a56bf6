//! The integration tests, one binary.
#![expect(clippy::disallowed_methods, reason = "tests read their fixtures straight from the disk")]

mod proofs;
mod proofs_game;
mod rules;
