//! Stepbell: from a `.bell` script to a checked timing, a guided run, a record and its replay.

pub mod cli;
pub mod clock;
pub mod complaint;
pub mod edge;
pub mod faces;
pub mod guide;
pub mod journal;
pub mod power;
pub mod procedure;
pub mod proof;
pub mod source;
pub mod syntax;
pub mod training;
pub mod vehicle;
