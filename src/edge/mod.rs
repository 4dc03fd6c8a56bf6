//! The only rooms that touch time, disk and signals: takes plain data and channels, gives back
//! moments, texts and troubles as data. What they mean for a run is decided elsewhere.
#![expect(clippy::disallowed_methods, reason = "this is the edge: the real clock, files, threads")]

pub mod clock;
pub mod disk;
pub mod drills;
pub mod files;
pub mod many;
pub mod patience;
pub mod records;
pub mod settings;

pub mod asking;
pub mod console;
pub mod copies;
pub mod dialogue;
pub mod fitness;
pub mod keymap;
pub mod keys;
pub mod language;
pub mod lines;
pub mod pack;
pub mod page;
pub mod player;
pub mod practice;
pub mod programs;
mod queue;
pub mod raw;
pub mod run;
pub mod scratch;
pub mod screen;
pub mod shelf;
pub mod show;
pub mod signals;
pub mod sound_check;
pub mod speaker;
pub mod terminal;
pub mod voice;
mod watch;
pub mod wav;
pub mod writer;
