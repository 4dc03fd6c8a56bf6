//! The commands: each takes what was asked, already read, and gives text and an exit code.

pub mod args;
pub mod exit;
pub mod network;
pub mod out;
pub mod why;
