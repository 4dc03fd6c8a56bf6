//! The proof: from a temporal network to a verdict, a reason, and the moments the guide may use.
//!
//! `network` holds points, bounds and links; `controllable` says whether every bound can be kept
//! whatever nature picks, or names a cycle that shows why not; `dispatch` gives the earliest and
//! latest safe moment of a cue before and during the run; `tn` reads the plain network format.

pub mod compile;
pub mod controllable;
pub mod dispatch;
pub mod hidden;
pub mod lengths;
pub mod network;
mod order;
mod quiet;
pub mod repair;
pub mod report;
mod search;
pub mod table;
pub mod timing;
pub mod tn;
pub mod verdict;
pub mod ways;
