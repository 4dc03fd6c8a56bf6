//! What records are good for afterwards: shown again, summed up, checked.

pub mod odds;
pub mod replay;
pub mod sensitivity;
pub mod statistics;
pub mod study;
