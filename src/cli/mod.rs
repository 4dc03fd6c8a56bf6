//! The commands: each takes what was asked, already read, and gives text and an exit code.

pub mod network;
