//! What records are good for afterwards: shown again, summed up, checked.

pub mod bounds;
pub mod drill;
pub mod drilled;
pub mod intervals;
pub mod learning;
pub mod moves;
pub mod odds;
pub mod playhead;
pub mod reel;
pub mod replay;
pub mod score;
pub mod sensitivity;
pub mod statistics;
pub mod study;
pub mod tally;
pub mod windows;
