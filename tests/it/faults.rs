//! Faults that only a process of its own can have: a kill, a failing or full disk, a limit on file
//! sizes, a stop, a signal. Whatever fails, what was told as saved is saved.
//!
//! They are given to this very test program, started again with `STEPBELL_PROBE` naming one of
//! [`PROBES`].

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::mpsc;
use std::time::Duration;

use rustix::process::{Pid, Resource, Rlimit, Signal as Kill, kill_process, setrlimit};
use stepbell::clock::{Millis, Moment};
use stepbell::edge::clock::{Gap, LONGEST_WAIT, RunClock, Wake};
use stepbell::edge::disk;
use stepbell::edge::records::{close_continued, find_unfinished};
use stepbell::edge::signals::{self, Signal};
use stepbell::edge::writer::{Place, RESERVE, Told};
use stepbell::journal::entry::Body;
use stepbell::journal::read::{Why, read};

use crate::journals::skipped;
use crate::recording::{NAME, PATIENCE, back, begin, events, finished, folder, plan, wanted};

/// What this program can be started again as.
const PROBES: [(&str, fn()); 3] =
    [("record", probe_record), ("signals", probe_signals), ("clock", probe_clock)];

/// The entry of a program started by [`probe`]; in an ordinary test run it checks that each probe
/// can be reached by its name and by no other.
#[test]
fn started_again_as_a_probe() {
    match std::env::var("STEPBELL_PROBE") {
        Ok(name) => {
            let (_, run) = PROBES.iter().find(|(known, _)| *known == name).expect("a known probe");
            say("");
            run();
        }
        Err(_) => {
            let unknown = probe("nothing", &[]).output().unwrap();
            assert!(!unknown.status.success());
            let heard = probe("signals", &[]).output().unwrap();
            assert!(heard.status.success(), "{}", String::from_utf8_lossy(&heard.stdout));
        }
    }
}

fn probe(name: &str, wrap: &[&str]) -> Command {
    let this = std::env::current_exe().unwrap();
    let mut command = match wrap {
        [] => Command::new(&this),
        [program, arguments @ ..] => {
            let mut command = Command::new(program);
            command.args(arguments).arg(&this);
            command
        }
    };
    command
        .args(["--exact", "faults::started_again_as_a_probe", "--nocapture"])
        .arg("--test-threads=1")
        .env("STEPBELL_PROBE", name)
        .stdin(Stdio::null());
    command
}

/// One line out at once, past the test program's capture.
fn say(line: &str) {
    let mut out = std::io::stdout().lock();
    let _ = writeln!(out, "{line}");
    let _ = out.flush();
}

fn told_lines(output: &Output) -> Vec<String> {
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    text.lines().map(str::to_owned).collect()
}

/// A tiny run in the folder `PROBE_FOLDER`: each event is put when the one before is saved or lost,
/// and all that is told is said aloud. `PROBE_SECOND` is a second place, `PROBE_EVENTS` the number
/// of events, `PROBE_BYTES` the length of each, `PROBE_LIMIT` a limit on file sizes, `PROBE_FILL`
/// fills the folder's disk once the record has begun.
fn probe_record() {
    let from = |name: &str| std::env::var(name).ok();
    let number = |name: &str, or: u64| from(name).map_or(or, |n| n.parse().expect("a number"));
    signals::outlive_file_limits().unwrap();
    if let Some(limit) = from("PROBE_LIMIT").map(|limit| limit.parse().expect("a number")) {
        setrlimit(Resource::Fsize, Rlimit { current: Some(limit), maximum: None }).unwrap();
    }
    let place = PathBuf::from(from("PROBE_FOLDER").expect("a folder"));
    let begun = begin(plan(Place::Folder(place.clone()), from("PROBE_SECOND").map(Into::into)));
    let (mut recorder, told) = match begun {
        Ok(begun) => begun,
        Err(why) => return say(&format!("refused {why}")),
    };
    if from("PROBE_FILL").is_some() {
        fill(&place);
    }
    let padding = "x".repeat(usize::try_from(number("PROBE_BYTES", 0)).unwrap());
    let mut recording = true;
    for n in 1..=number("PROBE_EVENTS", 6) {
        recorder.put(Moment(1), Body::Note { text: format!("event {n} {padding}") });
        while recording {
            match told.recv().unwrap() {
                Told::Saved(n) => {
                    say(&format!("saved {n}"));
                    break;
                }
                Told::Moved { why, .. } => say(&format!("moved after {:?}: {}", why.step, why.why)),
                Told::NotSaved(why) => {
                    say(&format!("not saved: {}, second {:?}", why.why, why.second));
                    recording = false;
                }
                Told::NotRecording(why) => {
                    say(&format!("not recording: {}, second {:?}", why.why, why.second));
                    recording = false;
                }
                Told::Recorded(_) => {}
                other => say(&format!("{other:?}")),
            }
        }
    }
    let outcome = finished(recorder);
    say(&format!("done {} {} {}", outcome.recorded, outcome.saved, outcome.lost));
}

/// Fills a disk to its last byte.
fn fill(place: &Path) {
    let mut file = fs::File::create(place.join("filler")).unwrap();
    for size in [4096, 1] {
        while file.write_all(&vec![b'x'; size]).is_ok() {}
    }
}

fn has(program: &str, argument: &str) -> bool {
    let mut try_it = Command::new(program);
    try_it.arg(argument).stdout(Stdio::null()).stderr(Stdio::null());
    try_it.status().is_ok_and(|status| status.success())
}

/// Runs the recorder under a fault that strace puts into its system calls on one file; gives what
/// it said, or `None` where strace cannot be had.
fn under_fault(place: &Path, fault: &str, second: bool) -> Option<Output> {
    if !has("strace", "--version") {
        skipped(&format!("the fault {fault}: strace is not here"));
        return None;
    }
    let file = place.join(format!("{NAME}.jsonl"));
    let log = place.join("strace.log");
    let inject = format!("inject={fault}");
    let wrap = [
        "strace",
        "-f",
        "-qq",
        "-o",
        log.to_str()?,
        "-P",
        file.to_str()?,
        "-e",
        "trace=write,fdatasync,fsync",
        "-e",
        &inject,
    ];
    let mut command = probe("record", &wrap);
    command.env("PROBE_FOLDER", place);
    if second {
        command.env("PROBE_SECOND", place.join("second"));
    }
    let output = command.output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    if said.contains("ptrace") && said.contains("not permitted") {
        skipped(&format!("the fault {fault}: strace may not trace here"));
        return None;
    }
    Some(output)
}

/// The system calls of this name that strace saw on the record's first file.
fn calls(place: &Path, name: &str) -> usize {
    let log = fs::read_to_string(place.join("strace.log")).unwrap();
    log.lines().filter(|line| line.contains(&format!("{name}("))).count()
}

/// The last number that was told as saved.
fn last_saved(lines: &[String]) -> u64 {
    lines.iter().rev().find_map(|line| line.strip_prefix("saved ")?.parse().ok()).unwrap_or(0)
}

/// Kills at the first call, the second, and so on, until a run gets through.
#[test]
fn a_kill_at_any_write_or_sync_loses_nothing_that_was_told_as_saved() {
    for call in ["write", "fdatasync", "fsync"] {
        for nth in 1.. {
            let place = folder(&format!("kill-{call}"));
            let fault = format!("{call}:signal=SIGKILL:when={nth}");
            let Some(output) = under_fault(&place, &fault, false) else { return };
            check_survived(&place, &output, &fault);
            if output.status.success() {
                assert!(nth > 1, "no {call} was ever reached");
                break;
            }
        }
    }
}

#[track_caller]
fn check_survived(place: &Path, output: &Output, fault: &str) {
    let saved = last_saved(&told_lines(output));
    let path = place.join(format!("{NAME}.jsonl"));
    let Ok(bytes) = fs::read(&path) else { return assert_eq!(saved, 0, "{fault}") };
    let back = read(&bytes);
    let events = events(&back);
    assert!(events.len() as u64 >= saved, "{fault}: {saved} saved, {events:?} there");
    assert!(events.iter().copied().eq(1..=events.len() as u64), "{fault}: {events:?}");
    let torn_only = back.faults.iter().all(|fault| fault.why == Why::Unfinished);
    assert!(torn_only, "{fault}: {:?}", back.faults);
    if saved > 0 {
        let found = find_unfinished(&[place], &wanted()).unfinished.expect("the broken-off run");
        assert_eq!(found.path, path);
        close_continued(&path, "later").unwrap();
    }
}

/// Kills a run at moments that follow no call: as soon as some event is told as saved, and up to a
/// fraction of a millisecond later. `STEPBELL_KILLS` names another number of runs than 40.
#[test]
fn a_kill_at_any_moment_loses_nothing_that_was_told_as_saved() {
    let kills = std::env::var("STEPBELL_KILLS").map_or(40, |n| n.parse().expect("a number"));
    for nth in 0..kills {
        let place = folder("kill-any");
        let mut child = probe("record", &[])
            .env("PROBE_FOLDER", &place)
            .env("PROBE_EVENTS", "100000")
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
        let enough = format!("saved {}", 1 + nth * 7919 % 23);
        let mut said: Vec<String> = Vec::new();
        while said.last() != Some(&enough) {
            said.push(lines.next().expect("the run goes on"));
        }
        (0..nth * 104_729 % 20_000).for_each(|_| std::hint::spin_loop());
        child.kill().unwrap();
        said.extend(lines);
        let status = child.wait().unwrap();
        let output = Output { status, stdout: said.join("\n").into_bytes(), stderr: Vec::new() };
        assert!(!output.status.success() && last_saved(&said) > 0);
        check_survived(&place, &output, &format!("kill {nth}"));
    }
}

/// The n-th write fails in each way, for n = 1, 2, … until a run gets through: no event is lost.
#[test]
fn a_failed_or_short_write_moves_the_whole_run_to_the_second_place() {
    for answer in ["error=ENOSPC", "error=EIO", "retval=50"] {
        for nth in 1.. {
            let place = folder(&format!("write-{}", answer.replace('=', "-")));
            let fault = format!("write:{answer}:when={nth}");
            let Some(output) = under_fault(&place, &fault, true) else { return };
            let lines = told_lines(&output);
            assert!(output.status.success(), "{fault}: {lines:?}");
            let second = place.join(format!("second/{NAME}.jsonl"));
            if nth == 1 {
                assert!(
                    lines.iter().any(|line| line.starts_with("refused ")),
                    "{fault}: {lines:?}"
                );
                assert!(!place.join(format!("{NAME}.jsonl")).exists(), "{fault}");
                continue;
            }
            assert_eq!(last_saved(&lines), 6, "{fault}: {lines:?}");
            let first = back(&place.join(format!("{NAME}.jsonl")));
            assert_eq!(first.faults, [], "{fault}: the first file must end in a whole line");
            if !second.exists() {
                assert!(nth > 2, "{answer} never bit");
                assert_eq!(events(&first), [1, 2, 3, 4, 5, 6]);
                break;
            }
            let moved = back(&second);
            assert_eq!((events(&moved), moved.faults), (vec![1, 2, 3, 4, 5, 6], vec![]), "{fault}");
            assert_eq!(events(&first).len() as u64, nth - 2, "{fault}");
            assert!(lines.iter().any(|line| line.starts_with("moved after Write")), "{fault}");
        }
    }
}

#[test]
fn without_a_second_place_a_full_disk_is_told_and_the_run_goes_on() {
    let place = folder("no-second");
    let Some(output) = under_fault(&place, "write:error=ENOSPC:when=4+", false) else { return };
    let lines = told_lines(&output);
    assert!(output.status.success(), "{lines:?}");
    assert!(lines.iter().any(|line| line.starts_with("not recording: ")), "{lines:?}");
    assert!(lines.contains(&"done 3 3 4".to_owned()), "{lines:?}");
    let back = back(&place.join(format!("{NAME}.jsonl")));
    assert_eq!((events(&back), back.faults), (vec![1, 2], vec![]));
}

#[test]
fn after_a_failed_sync_the_run_is_written_again_and_that_file_is_never_synced_again() {
    let place = folder("sync");
    let Some(output) = under_fault(&place, "fdatasync:error=EIO:when=3", true) else { return };
    let lines = told_lines(&output);
    assert_eq!(last_saved(&lines), 6, "{lines:?}");
    assert!(lines.iter().any(|line| line.starts_with("moved after Sync")), "{lines:?}");
    assert_eq!(calls(&place, "fdatasync"), 3);
    let moved = back(&place.join(format!("second/{NAME}.jsonl")));
    assert_eq!((events(&moved), moved.faults), (vec![1, 2, 3, 4, 5, 6], vec![]));
    // Of two files with one name the whole one is taken up.
    let found = find_unfinished(&[&place, &place.join("second")], &wanted()).unfinished.unwrap();
    assert_eq!(found.path, place.join(format!("second/{NAME}.jsonl")));
}

#[test]
fn without_a_second_place_a_failed_sync_is_told_as_not_saved_and_writing_goes_on() {
    let place = folder("sync-alone");
    let Some(output) = under_fault(&place, "fdatasync:error=EIO:when=3", false) else { return };
    let lines = told_lines(&output);
    assert_eq!(last_saved(&lines), 2, "{lines:?}");
    assert!(lines.iter().any(|line| line.starts_with("not saved: ")), "{lines:?}");
    assert!(lines.contains(&"done 7 3 0".to_owned()), "{lines:?}");
    assert_eq!(calls(&place, "fdatasync"), 3);
    assert_eq!(events(&back(&place.join(format!("{NAME}.jsonl")))), [1, 2, 3, 4, 5, 6]);
}

/// A real short write: the limit is reached in the middle of a line.
#[test]
fn a_limit_on_file_sizes_cuts_no_line_and_kills_nothing() {
    let place = folder("limit");
    let limit = RESERVE + 2000;
    let output = probe("record", &[])
        .env("PROBE_FOLDER", &place)
        .env("PROBE_SECOND", place.join("second"))
        .env("PROBE_LIMIT", limit.to_string())
        .env("PROBE_BYTES", "60000")
        .output()
        .unwrap();
    let lines = told_lines(&output);
    assert!(output.status.success(), "{lines:?}");
    assert!(lines.iter().any(|line| line.starts_with("not recording: ")), "{lines:?}");
    assert!(lines.contains(&"done 5 5 2".to_owned()), "{lines:?}");
    let back = back(&place.join(format!("{NAME}.jsonl")));
    assert_eq!((events(&back), back.faults), (vec![1, 2, 3, 4], vec![]));
    let none = probe("record", &[]).env("PROBE_FOLDER", &place).env("PROBE_LIMIT", "100").output();
    let lines = told_lines(&none.unwrap());
    assert!(lines.iter().any(|line| line.contains("no room")), "{lines:?}");
}

/// Runs the recorder on a small disk of its own; `None` where no such disk can be had.
fn on_a_small_disk(
    name: &str,
    size: &str,
    then: &str,
    with: &[(&str, &str)],
) -> Option<Vec<String>> {
    let disk = folder(name);
    let disk = disk.to_str()?;
    let mount = format!("mount -t tmpfs -o size={size} none '{disk}' {then} && exec \"$@\"");
    if !has("unshare", "--version")
        || !Command::new("unshare")
            .args(["-rm", "sh", "-c"])
            .arg(format!("mount -t tmpfs none '{disk}'"))
            .stderr(Stdio::null())
            .status()
            .is_ok_and(|s| s.success())
    {
        skipped(&format!("{name}: a disk of its own cannot be mounted here"));
        return None;
    }
    let mut command = probe("record", &["unshare", "-rm", "sh", "-c", &mount, "sh"]);
    command.env("PROBE_FOLDER", disk).envs(with.iter().copied());
    let output = command.output().unwrap();
    let lines = told_lines(&output);
    assert!(output.status.success(), "{lines:?} {}", String::from_utf8_lossy(&output.stderr));
    Some(lines)
}

#[test]
fn a_full_or_read_only_disk_is_refused_before_the_run() {
    let said = |lines: &[String], words: &str| {
        assert!(
            lines.iter().any(|line| line.starts_with("refused ") && line.contains(words)),
            "{lines:?}"
        );
    };
    let Some(lines) = on_a_small_disk("tiny", "64k", "", &[]) else { return };
    said(&lines, "no room");
    let Some(lines) =
        on_a_small_disk("read-only", "1m", "&& mount -o remount,ro \"$PROBE_FOLDER\"", &[])
    else {
        return;
    };
    said(&lines, "is read-only");
}

#[test]
fn a_disk_that_fills_up_during_the_run_does_not_reach_what_was_reserved() {
    let with = [("PROBE_FILL", "1"), ("PROBE_EVENTS", "300")];
    let Some(lines) = on_a_small_disk("fills", "1m", "", &with) else { return };
    assert!(lines.contains(&"done 301 301 0".to_owned()), "{:?}", lines.last());
}

#[test]
fn a_full_device_answers_as_a_full_disk() {
    let full = disk::open_to_read(Path::new("/dev/full")).is_ok();
    if !full {
        return skipped("a full device: there is no /dev/full");
    }
    let file = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let why = disk::write_once(&file, b"line\n").unwrap_err();
    assert_eq!(why.kind(), std::io::ErrorKind::StorageFull);
}

// ---------------------------------------------------------------- signals and the clock

/// Raises each signal against itself and says what it hears. Without a listener each would kill it.
fn probe_signals() {
    let (tell, heard) = mpsc::channel();
    let listening = signals::listen(move |signal| {
        let _ = tell.send(signal);
    })
    .unwrap();
    let this = rustix::process::getpid();
    for (raise, hear) in [
        (Kill::INT, Signal::Interrupt),
        (Kill::TERM, Signal::Terminate),
        (Kill::HUP, Signal::HangUp),
        (Kill::INT, Signal::Interrupt),
    ] {
        kill_process(this, raise).unwrap();
        assert_eq!(heard.recv_timeout(Duration::from_mins(1)), Ok(hear));
    }
    drop(listening);
    assert!(heard.recv().is_err(), "the thread goes on");
}

/// Says what the run's clock notices, until its input is closed or a minute is over.
fn probe_clock() {
    let mut clock = RunClock::start();
    let (_keep, never) = mpsc::channel::<()>();
    say("running");
    loop {
        let woken = clock.wait_until(Moment(60_000), &never);
        for gap in &woken.gaps {
            say(&format!("{gap:?}"));
        }
        if woken.why == Wake::Due || !woken.gaps.is_empty() {
            return;
        }
    }
}

#[test]
fn a_stopped_program_says_so_as_soon_as_it_goes_on() {
    let mut child = probe("clock", &[]).stdout(Stdio::piped()).spawn().unwrap();
    let pid = Pid::from_raw(i32::try_from(child.id()).unwrap()).unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
    assert!(lines.by_ref().any(|line| line == "running"));
    kill_process(pid, Kill::STOP).unwrap();
    // A real process that takes longer than a gap.
    assert!(has("sleep", "0.8"));
    kill_process(pid, Kill::CONT).unwrap();
    let gap = lines.find(|line| line.starts_with("Stopped")).expect("a gap");
    assert!(child.wait().unwrap().success());
    let ms: i64 = gap.chars().filter(char::is_ascii_digit).collect::<String>().parse().unwrap();
    assert!((800 - LONGEST_WAIT.0..30_000).contains(&ms), "{gap}");
}

#[test]
fn a_wait_is_never_early_and_hears_what_comes() {
    let mut clock = RunClock::start();
    let (send, receive) = mpsc::channel();
    for _ in 0..50 {
        let deadline = clock.now().after(Millis(1));
        let woken = clock.wait_until(deadline, &receive);
        assert!(woken.why == Wake::Due && woken.at >= deadline, "{woken:?} before {deadline:?}");
    }
    send.send('x').unwrap();
    let far = clock.now().after(PATIENCE);
    assert_eq!(clock.wait_until(far, &receive).why, Wake::Got('x'));
    send.send('y').unwrap();
    assert_eq!(
        clock.wait_until(Moment::START, &receive).why,
        Wake::Due,
        "a cue comes before a key"
    );
    drop(send);
    assert_eq!(clock.wait_until(far, &receive).why, Wake::Got('y'));
    assert_eq!(clock.wait_until(far, &receive).why, Wake::Closed);
}

#[test]
fn gaps_are_told_before_what_waits() {
    let mut clock = RunClock::start();
    let (_keep, never) = mpsc::channel::<()>();
    assert!(has("sleep", "0.4"));
    let woken = clock.wait_until(clock.now().after(PATIENCE), &never);
    assert_eq!(woken.why, Wake::Gap);
    assert!(matches!(woken.gaps[..], [Gap::Stopped(Millis(300..))]), "{woken:?}");
}
