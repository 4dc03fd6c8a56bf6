//! Other programs on this computer: takes a search path and a name, gives where the program lies; takes a
//! call with its input, gives what it printed, or why it did not do it. No shell is ever in between.

use std::ffi::OsStr;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// A program that is asked for its answer gets this long.
pub const PATIENCE: Duration = Duration::from_secs(10);
/// More than this is not read of what a program prints.
const OUTPUT: u64 = 64 << 10;
/// How often a waiting caller looks.
const LOOK: Duration = Duration::from_millis(2);

/// Where a program lies on a search path: the first file of that name that may be run. Only absolute
/// folders are searched, so that nothing that lies about in the working folder is run.
#[must_use]
pub fn find(search: Option<&OsStr>, name: &str) -> Option<PathBuf> {
    let folders = std::env::split_paths(search?).filter(|folder| folder.is_absolute());
    let mut files =
        folders.map(|folder| folder.join(format!("{name}{}", std::env::consts::EXE_SUFFIX)));
    files.find(|file| may_run(file))
}

#[cfg(unix)]
fn may_run(file: &Path) -> bool {
    use std::os::unix::fs::PermissionsExt;
    std::fs::metadata(file).is_ok_and(|f| f.is_file() && f.permissions().mode() & 0o111 != 0)
}

#[cfg(not(unix))]
fn may_run(file: &Path) -> bool {
    std::fs::metadata(file).is_ok_and(|f| f.is_file())
}

/// The program's own name, for people.
#[must_use]
pub fn name(program: &Path) -> String {
    program.file_stem().map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

/// A program in a group of its own: Ctrl-C at the terminal is ours to understand, not its end.
#[must_use]
pub fn command(program: &Path) -> Command {
    let mut command = Command::new(program);
    #[cfg(unix)]
    {
        use std::os::unix::process::CommandExt;
        command.process_group(0);
    }
    command
}

/// Ends a program that was started by [`command`], with everything that it has started itself.
pub fn end(child: &mut Child) {
    #[cfg(unix)]
    if let Some(group) = i32::try_from(child.id()).ok().and_then(rustix::process::Pid::from_raw) {
        let _ = rustix::process::kill_process_group(group, rustix::process::Signal::KILL);
    }
    let _ = child.kill();
    let _ = child.wait();
}

/// What a program prints, gathered as it comes.
#[derive(Clone, Debug, Default)]
pub struct Heard {
    bytes: Arc<Mutex<Vec<u8>>>,
    over: Arc<AtomicBool>,
}

impl Heard {
    /// Gathers from a stream in a thread of its own.
    pub fn from(stream: Option<impl Read + Send + 'static>) -> Heard {
        let heard = Heard::default();
        let Some(stream) = stream else { return heard };
        let into = heard.clone();
        let gather = move || {
            let mut stream = stream.take(OUTPUT);
            let mut part = [0; 1024];
            while let Ok(many @ 1..) = stream.read(&mut part) {
                into.bytes.lock().unwrap_or_else(PoisonError::into_inner).extend(&part[..many]);
            }
            into.over.store(true, Ordering::Release);
        };
        // Without a thread nothing is heard of it, which is all that is lost.
        let _ = std::thread::Builder::new().name("hear".to_owned()).spawn(gather);
        heard
    }

    /// Waits for what is still on its way once the program has ended; not for long, as a program that it
    /// left behind may keep the stream open.
    pub fn complete(&self) {
        let begun = Instant::now();
        while !self.over.load(Ordering::Acquire) && begun.elapsed() < Duration::from_millis(200) {
            std::thread::sleep(LOOK);
        }
    }

    /// What came so far.
    #[must_use]
    pub fn text(&self) -> String {
        let bytes = self.bytes.lock().unwrap_or_else(PoisonError::into_inner);
        String::from_utf8_lossy(&bytes).into_owned()
    }

    /// The first line that says something, short.
    #[must_use]
    pub fn line(&self) -> String {
        let text = self.text();
        let line = text.lines().map(str::trim).find(|line| !line.is_empty()).unwrap_or_default();
        line.chars().take(200).collect()
    }
}

/// Runs a program to its end with this input.
///
/// # Errors
/// A short reason for a person: it cannot be started, does not end in time, or ends badly.
pub fn ask(command: &mut Command, input: &str, patience: Duration) -> Result<Heard, String> {
    let name = name(Path::new(command.get_program()));
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().map_err(|why| format!("{name} cannot be started: {why}"))?;
    let (out, err) = (Heard::from(child.stdout.take()), Heard::from(child.stderr.take()));
    if let Some(mut stdin) = child.stdin.take() {
        // A text is shorter than any pipe's room; a program that closes its input need not read it.
        let _ = stdin.write_all(input.as_bytes());
    }
    let status = wait(&mut child, patience).ok_or_else(|| {
        end(&mut child);
        format!("{name} does not end")
    })?;
    if status.success() {
        out.complete();
        return Ok(out);
    }
    err.complete();
    Err(failed(&name, status, &err.line()))
}

/// How a program ended that should not have, in words.
#[must_use]
pub fn failed(name: &str, status: ExitStatus, said: &str) -> String {
    let how = match status.code() {
        Some(code) => format!("{name} ended with {code}"),
        None => format!("{name} was ended"),
    };
    // What follows ends its sentence.
    let said = said.trim_end_matches('.');
    if said.is_empty() { how } else { format!("{how}: {said}") }
}

/// Waits for a program's end, not for ever.
pub fn wait(child: &mut Child, patience: Duration) -> Option<ExitStatus> {
    let begun = Instant::now();
    loop {
        match child.try_wait() {
            Ok(Some(status)) => return Some(status),
            Ok(None) if begun.elapsed() < patience => std::thread::sleep(LOOK),
            Ok(None) | Err(_) => return None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// It stands in the middle of a sentence, or before the next one.
    #[cfg(unix)]
    #[test]
    fn what_a_program_said_last_brings_no_full_stop_of_its_own() {
        use std::os::unix::process::ExitStatusExt as _;
        let status = ExitStatus::from_raw(1 << 8);
        let said = failed("speaks", status, "Error: there is no such voice.");
        assert_eq!(said, "speaks ended with 1: Error: there is no such voice");
        assert_eq!(failed("speaks", status, ""), "speaks ended with 1");
    }
}
