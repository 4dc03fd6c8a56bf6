//! Standard output and standard error as commands use them: takes texts, never panics. A reader that
//! has gone away ends the output quietly; a full disk is told of and changes how the command ends.

use std::io::{self, ErrorKind, Write};

use super::exit::Exit;

/// What a command has to say, and how it ends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// For standard output.
    pub out: String,
    /// For standard error.
    pub err: String,
    /// How it ends.
    pub exit: Exit,
}

impl Answer {
    /// Only an answer.
    #[must_use]
    pub fn ok(out: impl Into<String>) -> Answer {
        Answer { out: out.into(), err: String::new(), exit: Exit::Done }
    }

    /// Only a trouble; the newline is added here.
    #[must_use]
    pub fn trouble(exit: Exit, err: impl std::fmt::Display) -> Answer {
        Answer { out: String::new(), err: format!("stepbell: {err}\n"), exit }
    }
}

/// Writes an answer; gives how the command ends.
#[must_use]
pub fn say(answer: &Answer) -> Exit {
    let written = put(&mut io::stdout().lock(), &answer.out);
    let err = &mut io::stderr().lock();
    // Nobody is left to tell where standard error fails.
    let _ = put(err, &answer.err);
    match written {
        Err(why) if why.kind() != ErrorKind::BrokenPipe => {
            let _ = put(err, &format!("stepbell: the answer cannot be written: {why}\n"));
            Exit::Unable
        }
        _ => answer.exit,
    }
}

fn put(to: &mut impl Write, text: &str) -> io::Result<()> {
    to.write_all(text.as_bytes())?;
    to.flush()
}
