//! What records are good for afterwards: shown again, summed up, checked.

pub mod bounds;
pub mod intervals;
pub mod learning;
pub mod odds;
pub mod replay;
pub mod score;
pub mod sensitivity;
pub mod statistics;
pub mod study;
pub mod tally;
