//! Reads and writes the language: text in, a tree of sentences and complaints out, and back again.

pub mod tree;
