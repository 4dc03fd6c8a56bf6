//! A run through pipes in real time: led to its end by answers to what stands on standard output,
//! recorded, shown and checked again; and a run that is killed, and taken up by the next one.
//!
//! Nothing here sleeps. Where a person would take a while, the program is told to read on later
//! (`wait 2s`).

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

const SCRIPT: &str = "tests/terminal/tiny.bell";
/// A whole run takes less.
const WHOLE: Duration = Duration::from_secs(20);

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("piped").join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder");
    folder
}

fn program(args: &[&str], folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stepbell"));
    command
        .args(args)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        // Also its folder for records that cannot go where they should is this test's own.
        .env("TMPDIR", folder)
        .env_remove("XDG_STATE_HOME")
        .env_remove("HOME");
    command
}

#[track_caller]
fn replay(flag: &str, record: &Path, code: i32) -> String {
    let name = record.to_str().expect("a plain path");
    let Output { status, stdout, stderr } =
        program(&["replay", flag, name], Path::new("")).output().expect("it runs");
    let (out, err) = (String::from_utf8(stdout).unwrap(), String::from_utf8(stderr).unwrap());
    assert_eq!(status.code(), Some(code), "out:\n{out}\nerr:\n{err}");
    assert_eq!(err, "", "{out}");
    out
}

/// The records in a folder, oldest first.
fn records(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).expect("readable").map(|entry| entry.expect("one").path());
    let mut records: Vec<_> =
        entries.filter(|path| path.extension().is_some_and(|end| end == "jsonl")).collect();
    records.sort();
    records
}

fn lines_of(record: &Path) -> Vec<serde_json::Value> {
    let text = fs::read_to_string(record).expect("readable");
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

fn name_of(record: &Path) -> String {
    record.file_stem().expect("a name").to_string_lossy().into_owned()
}

/// A program being led by its own lines.
struct Led {
    child: Child,
    to: Option<ChildStdin>,
    from: Receiver<String>,
    told: String,
    begun: Instant,
}

impl Led {
    fn begin(folder: &Path) -> Led {
        let to = folder.to_str().expect("a plain path");
        let mut child = program(&["guide", SCRIPT, "--record", to], folder)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .expect("it starts");
        let out = BufReader::new(child.stdout.take().expect("piped"));
        let (tell, from) = channel();
        std::thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                if tell.send(line).is_err() {
                    return;
                }
            }
        });
        let to = child.stdin.take();
        Led { child, to, from, told: String::new(), begun: Instant::now() }
    }

    /// The next line; `None` once there are no more.
    #[track_caller]
    fn line(&mut self) -> Option<String> {
        let left = WHOLE.saturating_sub(self.begun.elapsed());
        match self.from.recv_timeout(left) {
            Ok(line) => {
                self.told.push_str(&line);
                self.told.push('\n');
                Some(line)
            }
            Err(std::sync::mpsc::RecvTimeoutError::Disconnected) => None,
            Err(std::sync::mpsc::RecvTimeoutError::Timeout) => {
                let _ = self.child.kill();
                panic!("not over within {WHOLE:?}:\n{}", self.told)
            }
        }
    }

    fn answer(&mut self, text: &str) {
        let to = self.to.as_mut().expect("open");
        to.write_all(text.as_bytes()).expect("it still reads");
    }

    /// Answers what is wanted, until a line holds this text.
    #[track_caller]
    fn until(&mut self, text: &str) {
        let mut reports = 0;
        while let Some(line) = self.line() {
            if line.contains(text) {
                return;
            }
            if line.contains("  ? ") {
                self.answer("yes\n");
            } else if line.contains("Your press:     done = the answer came") {
                reports += 1;
                // The act, its answer and the quiet after it take their time.
                self.answer("wait 2s\ndone\n");
            }
        }
        panic!("it ended after {reports} reports without {text:?}:\n{}", self.told);
    }

    /// No more answers; gives the exit code and all that was told.
    fn end(mut self) -> (Option<i32>, String) {
        self.to = None;
        while self.line().is_some() {}
        (self.child.wait().expect("it ends").code(), self.told)
    }
}

#[test]
fn a_run_through_pipes_is_led_recorded_and_the_same_again() {
    let folder = folder("learned");
    let mut led = Led::begin(&folder);
    led.until("ENDED: learned");
    let took = led.begun.elapsed();
    let (code, told) = led.end();
    assert_eq!(code, Some(0), "{told}");
    assert!(took <= WHOLE, "{took:?}");
    for part in [
        "DEMONSTRATION: invented numbers",
        "= wake: you see the dash lit",
        "= show: you hear the chime once",
        "because the window of line 27 closes 20s after wake answered",
    ] {
        assert!(told.contains(part), "no {part:?} in:\n{told}");
    }
    assert!(!told.contains("missed"), "a press was not taken:\n{told}");
    // At the beginning and at the end, not at every sync.
    assert!(told.matches("record: saved").count() <= 2, "{told}");

    let records = records(&folder);
    let [record] = records.as_slice() else { panic!("{records:?}") };
    assert!(told.contains(&format!("the record is in {}", record.display())), "{told}");
    let summary = replay("--summary", record, 0);
    for part in ["wake", "show", "learned"] {
        assert!(summary.contains(part), "no {part:?} in:\n{summary}");
    }
    let lines = lines_of(record);
    let effects = lines.iter().filter(|line| line["kind"] == "effect").count();
    let checked = replay("--check", record, 0);
    assert_eq!(checked, format!("run again: all {effects} effects are the same\n"));
    assert_eq!(lines.last().map(|line| &line["class"]), Some(&"learned".into()));
}

/// Who did nothing at the vehicle is sent to no key.
#[test]
fn a_run_that_is_stopped_before_its_first_step_sends_nobody_to_the_vehicle() {
    let folder = folder("not-begun");
    let mut led = Led::begin(&folder);
    led.answer("stop\nstop\n");
    let (code, told) = led.end();
    assert_eq!(code, Some(1), "{told}");
    let words = "ENDED: stopped. No step was begun, so there is nothing to try.";
    assert!(told.contains(words), "{told}");
    assert!(!told.contains("Try every key"), "{told}");
    let records = records(&folder);
    let [record] = records.as_slice() else { panic!("{records:?}") };
    let shown = replay("--speed=10", record, 0);
    assert!(shown.contains(words), "{shown}");

    // Once a step was begun the keys are to be tried.
    let folder = self::folder("begun");
    let mut led = Led::begin(&folder);
    led.until("Your press:     done = the answer came");
    // No to the question is no report; yes is the press that asked.
    led.answer("stop\nno\nstop\nyes\n");
    let (_, told) = led.end();
    assert!(!told.contains("No step was begun"), "{told}");
    assert!(told.contains("ENDED: stopped. "), "{told}");
    let asked = "? Stop the run?  [stop again or yes within 5 s = stop, anything else = no]";
    assert_eq!(told.matches(asked).count(), 2, "{told}");
    assert!(!told.contains("answers of this step"), "{told}");
}

#[test]
fn a_killed_run_is_taken_up_by_the_next_one() {
    let folder = folder("killed");
    let mut led = Led::begin(&folder);
    led.until("= wake: you see the dash lit");
    let [old] = records(&folder).try_into().expect("one record");
    until_written(&old, |line| line["what"]["fact"]["step"]["name"] == "show");
    led.child.kill().expect("it runs");
    led.child.wait().expect("it ends");
    assert!(lines_of_torn(&old).iter().all(|line| line["kind"] != "end"));

    let mut led = Led::begin(&folder);
    led.until("An earlier run of this script was broken off");
    let asked = led.told.lines().last().unwrap_or_default().to_owned();
    let file = old.file_name().expect("a name").to_string_lossy().into_owned();
    assert!(asked.contains(&format!("(record {file})")), "{asked}");
    assert!(asked.contains("step show"), "it names the step: {asked}");
    assert!(!led.told.contains("record: "), "nothing is recorded yet:\n{}", led.told);
    led.answer("yes\n");
    led.until("Is no real vehicle meant?");
    led.until("record: saved");
    let (code, told) = led.end();
    assert_eq!(code, Some(1), "{told}");
    assert!(told.contains("Broken off: no more input can come"), "{told}");

    let all = records(&folder);
    let [_, new] = all.as_slice() else { panic!("{all:?}") };
    assert_eq!(lines_of(new)[0]["continues"], name_of(&old).as_str());
    let closed = lines_of_torn(&old);
    let last = closed.last().expect("lines");
    assert_eq!((&last["kind"], &last["by"]), (&"continued".into(), &name_of(new).as_str().into()));
    let summary = replay("--summary", new, 0);
    assert!(summary.contains("no more input"), "{summary}");
}

/// Waits until a line is in the file: what is told on standard output may be written a little later.
#[track_caller]
fn until_written(record: &Path, wanted: impl Fn(&serde_json::Value) -> bool) {
    let begun = Instant::now();
    while !lines_of_torn(record).iter().any(&wanted) {
        assert!(begun.elapsed() < WHOLE, "never written: {}", record.display());
        std::thread::yield_now();
    }
}

/// The whole lines of a record whose last one may be torn.
fn lines_of_torn(record: &Path) -> Vec<serde_json::Value> {
    let bytes = fs::read(record).expect("readable");
    let lines = bytes.split_inclusive(|byte| *byte == b'\n');
    lines.filter_map(|line| serde_json::from_slice(line).ok()).collect()
}
