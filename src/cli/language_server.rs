//! `stepbell language-server`: serves an editor over standard input and output. Started by hand in a
//! terminal it says what it is for and ends.

use super::Surroundings;
use super::exit::Exit;
use super::out::{self, Answer};
use crate::edge::language::{Ended, serve_stdio};

/// Serves; gives how it ended.
#[must_use]
pub fn run(around: &Surroundings) -> Exit {
    if around.terminal {
        let text = "this speaks to an editor over standard input and output, not to a person. Set it \
                    up in an editor as the language server for .bell files; editors/README.md says how.";
        return out::say(&Answer::trouble(Exit::Usage, text));
    }
    match serve_stdio() {
        Ended::Done => Exit::Done,
        // What the protocol wants of a server that is ended without goodbye.
        Ended::Abrupt => Exit::Findings,
    }
}
