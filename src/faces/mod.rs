//! What people see and hear: each face turns the recorded form of what the guide did into its medium.
//!
//! Takes [`words::Picture`]s; gives lines (`words`), a painted inline view (`terminal`), plain lines
//! (`plain`), sounds (`sounds`, `tones`), a phone's page (`page`). No face reads a clock or opens a device: moments come in, text and
//! bytes go out through a writer that was handed in. Every text passes `safe`.

pub mod address;
pub mod battery;
pub mod beside;
pub mod big;
pub mod block;
pub mod captions;
pub mod clip;
pub mod digits;
pub mod drilled;
pub mod editor;
pub mod finding;
pub mod head;
pub mod judged;
pub mod linear;
pub mod margins;
pub mod mix;
pub mod odds;
pub mod orders;
pub mod page;
pub mod phrases;
pub mod plain;
pub mod practice;
pub mod prompts;
pub mod proven;
pub mod reach;
pub mod ready;
pub mod replayed;
pub mod safe;
pub mod sarif;
pub mod score;
pub mod sheet;
pub mod sounds;
pub mod summary;
pub mod tally;
pub mod tapping;
pub mod terminal;
pub mod tones;
pub mod verdict;
pub mod voicing;
pub mod words;
