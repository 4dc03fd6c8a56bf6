//! What records are good for afterwards: shown again, summed up, checked.

pub mod replay;
