//! Reads and writes the language: text in, a tree of sentences and complaints out, and back again.

pub mod blocks;
pub mod build;
mod grammar;
pub mod hopes;
mod plain;
pub mod print;
pub mod tree;
