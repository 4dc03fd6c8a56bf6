//! After a kill that no program can catch: takes how the terminal is, lets a shell wait beside this program,
//! and has it give the terminal back where this program could not.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, Stdio};
use std::sync::mpsc::channel;
use std::time::Duration;

use super::programs::command;

/// The shell has to be ready by then; without it everything else is the same.
const PATIENCE: Duration = Duration::from_millis(1500);

/// Reads how the terminal is, says so, and waits. A line is the end in peace; no line is the end of a program
/// that was killed. What is sent then: no colour, no pastes told apart, no clicks told of, the screen that was
/// there before, the cursor (xterm control sequences, DEC private modes 2004, 1000 to 1006, 1049, 25).
const SCRIPT: &str = "trap '' HUP INT QUIT TERM TTIN TTOU
modes=$(stty -g </dev/tty) || exit
echo ready
read -r peace && exit
stty \"$modes\" </dev/tty
printf '\\033[0m\\033[?2004l\\033[?1006l\\033[?1003l\\033[?1002l\\033[?1000l\\033[?1049l\\033[?25h\\r\\n' >/dev/tty";

/// A shell that waits.
#[derive(Debug)]
pub struct Watch {
    shell: Child,
    peace: Option<ChildStdin>,
}

impl Watch {
    /// Has a shell wait from now on; `None` where there is none, or it does not get ready.
    #[must_use]
    pub fn begin() -> Option<Watch> {
        let mut call = command(Path::new("/bin/sh"));
        call.args(["-c", SCRIPT])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null());
        let mut shell = call.spawn().ok()?;
        let peace = shell.stdin.take();
        let says = shell.stdout.take()?;
        let watch = Watch { shell, peace };
        let (ready, is_ready) = channel();
        std::thread::Builder::new()
            .name("watch".to_owned())
            .spawn(move || {
                let mut line = String::new();
                let read = BufReader::new(says).read_line(&mut line);
                // Nobody waits for it any more: too late.
                let _ = ready.send(read.is_ok_and(|n| n > 0));
            })
            .ok()?;
        is_ready.recv_timeout(PATIENCE).unwrap_or(false).then_some(watch)
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        if let Some(mut peace) = self.peace.take() {
            // A shell that has ended needs no word.
            let _ = peace.write_all(b"peace\n");
        }
        // It ends at once; should it hang, it is not waited for.
        for _ in 0..50 {
            if self.shell.try_wait().is_ok_and(|ended| ended.is_none()) {
                std::thread::sleep(Duration::from_millis(2));
            }
        }
    }
}
