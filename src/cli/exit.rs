//! How a command ends, for the shell: takes nothing, gives the codes with their names. They stand
//! here and nowhere else.

use std::process::ExitCode;

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[repr(u8)]
pub enum Exit {
    /// It did what was asked, and nothing was found.
    Done = 0,
    /// A complaint, an unproven window, a run that did not end as hoped.
    Findings = 1,
    /// Wrong usage.
    Usage = 2,
    /// An input cannot be read.
    Unreadable = 3,
    /// The computer cannot do it.
    Unable = 4,
    /// It ran, but was not recorded.
    NotRecorded = 5,
    /// Ended by a closed terminal.
    HungUp = 129,
    /// Ended by Ctrl-C.
    Interrupted = 130,
    /// Ended by a termination.
    Terminated = 143,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> ExitCode {
        ExitCode::from(exit as u8)
    }
}
