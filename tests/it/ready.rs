//! `ready`: what it says of a computer, and a sound check that a person answers and taps along with.
#![cfg(unix)]

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::process::Stdio;
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

use serde_json::Value;
use stepbell::faces::tones::{Register, Signal, samples};

use crate::journals::skipped;
use crate::loudspeaker::Bench;
use crate::pty::Term;

/// Without what differs from computer to computer: how a folder's line breaks hangs on its length.
fn same(text: &str) -> Vec<String> {
    let mut rows: Vec<String> = Vec::new();
    let mut fact = "";
    for line in text.lines() {
        let begins = !line.starts_with(' ');
        if begins {
            fact = line.get(9..line.len().min(20)).unwrap_or_default().trim_end();
        }
        match (fact, begins) {
            ("phone page", _) | ("records", false) => {}
            ("records", true) => rows.push("ok       records     …".to_owned()),
            _ => rows.push(line.to_owned()),
        }
    }
    let begin = "wakes within ";
    for row in &mut rows {
        if let (Some(from), Some(to)) = (row.find(begin), row.find(" ms")) {
            row.replace_range(from + begin.len()..to, "…");
        }
    }
    rows
}

#[test]
fn a_bare_computer_is_told_what_is_missing_and_what_helps() {
    let bench = Bench::new("ready-bare");
    let (out, err, code) = bench.asked(&["ready"]);
    assert_eq!((err.as_str(), code), ("", Some(1)), "{out}");
    assert!(out.lines().all(|line| line.chars().count() < 80), "a terminal breaks no row: {out}");
    let told = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("ok records") && told.contains("written and saved in"), "{out}");
    insta::assert_snapshot!(same(&out).join("\n"));
}

#[test]
fn programs_get_the_same_facts() {
    let bench = Bench::new("ready-json");
    let (out, err, code) = bench.speaks().asked(&["ready", "--format", "json"]);
    assert_eq!((err.as_str(), code), ("", Some(1)), "{out}");
    let told: Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!((&told["fit"], &told["complete"]), (&Value::Bool(true), &Value::Bool(false)));
    assert_eq!(told["heard"], Value::Null);
    let facts = told["facts"].as_array().expect("facts");
    let state = |what: &str| facts.iter().find(|f| f["what"] == what).expect("it")["state"].clone();
    assert_eq!([state("voice"), state("player"), state("records")], ["ok", "missing", "ok"]);
}

#[test]
fn without_a_folder_for_records_no_run_is_fit() {
    let bench = Bench::new("ready-nowhere");
    fs::write(bench.file("a-file"), "").expect("writable");
    let told = bench.call(&["ready"]).env("HOME", bench.file("a-file")).output().expect("it runs");
    let out = String::from_utf8_lossy(&told.stdout).into_owned();
    assert!(out.contains("BAD      records"), "{out}");
    assert_eq!(told.status.code(), Some(4));
}

/// What a sound check told, how it ended, and whether the computer kept up: by how much our own hand came
/// too late at the most, or the stand-in took less than sounded.
struct Checked {
    told: String,
    code: Option<i32>,
    late: Duration,
}

/// What the stand-in may be behind by itself.
const CHUNKS: Duration = Duration::from_millis(200);
/// What is told where taps are too uneven.
const NOT_MEASURED: &str = "The lag is not measured: ";
/// A hand that is not woken within this time taps too unevenly for any lag to be measured.
const BUSY: Duration = Duration::from_millis(40);

/// Answers the sound check: what a line asks, and a tap for each tick that was played.
fn checked(bench: &Bench, heard: &str) -> Checked {
    let mut child = bench
        .call(&["ready", "--player", "aplay", "--voice", "none"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("it starts");
    let mut stdin = child.stdin.take().expect("piped");
    let out = BufReader::new(child.stdout.take().expect("piped"));
    let (tell, from) = channel();
    std::thread::spawn(move || {
        for line in out.lines().map_while(Result::ok) {
            if tell.send(line).is_err() {
                return;
            }
        }
    });
    let tick = samples(Signal::Tick, Register::Real, 22_050);
    let (mut told, mut seen, mut tapping) = (String::new(), 0, false);
    let mut late = Duration::ZERO;
    let mut began: Option<(Instant, usize)> = None;
    loop {
        let asked = Instant::now();
        let got = from.recv_timeout(Duration::from_millis(10));
        if tapping {
            late = late.max(asked.elapsed().saturating_sub(Duration::from_millis(10)));
            let taken = bench.played().len();
            let (from, before) = *began.get_or_insert((asked, taken));
            let sounded = Duration::from_secs_f64((taken - before) as f64 / 22_050.0);
            late = late.max(from.elapsed().saturating_sub(sounded + CHUNKS));
        }
        match got {
            Ok(line) => {
                told.push_str(&line);
                told.push('\n');
                let answer = match () {
                    () if line.contains("Did you hear") => heard,
                    () if line.contains("Once more?") => "no\n",
                    () => "",
                };
                tapping |= line.contains("then tap");
                // It may have gone after its last line.
                let _ = stdin.write_all(answer.as_bytes());
            }
            Err(std::sync::mpsc::RecvTimeoutError::Disconnected) => break,
            Err(std::sync::mpsc::RecvTimeoutError::Timeout) if tapping => {
                let played = bench.played();
                let key = &tick[400..464];
                let new = played.get(seen..).unwrap_or_default();
                if let Some(at) = new.windows(key.len()).position(|part| part == key) {
                    seen += at + key.len();
                    let _ = stdin.write_all(b"\n");
                }
            }
            Err(std::sync::mpsc::RecvTimeoutError::Timeout) => {}
        }
    }
    Checked { told, code: child.wait().expect("it ends").code(), late }
}

#[test]
fn what_a_person_heard_and_tapped_is_kept_for_the_runs() {
    let bench = Bench::new("ready-heard");
    let bench = bench.plays();
    // On a busy computer the stand-in may not be steady; the check says so, and one makes it again.
    let mut tries: Vec<Checked> = Vec::new();
    while tries.len() < 5 && tries.last().is_none_or(|last| last.told.contains(NOT_MEASURED)) {
        tries.push(checked(bench, "yes\n"));
    }
    let measured = tries.iter().any(|one| !one.told.contains(NOT_MEASURED));
    if !measured && tries.iter().any(|one| one.late > BUSY) {
        skipped("the lag of a loudspeaker: this computer is too busy to tap along");
        return;
    }
    let Checked { told, code, .. } = tries.pop().expect("one was made");
    assert!(!told.contains(NOT_MEASURED), "{told}");
    // No voice and no terminal: told, but the sound was heard.
    assert_eq!(code, Some(1), "{told}");
    // Where its lines break hangs on the length of the folder.
    let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("Kept for the next runs in "), "{told}");
    let kept = bench.text(".config/stepbell/sound.json");
    let kept: Value = serde_json::from_str(&kept).expect("JSON");
    assert_eq!(kept["player"], "aplay");
    // The stand-in takes 50 ms at a time; what people are ahead by is added.
    let lag = kept["lag_ms"].as_i64().expect("a length");
    assert!((80..800).contains(&lag) && told.contains("Runs count with"), "{told}");
    let (out, ..) = bench.asked(&["ready", "--look", "--player", "aplay"]);
    assert!(out.contains("ok       heard       aplay, by a person, 20"), "{out}");
    // A stand-in that starts too slowly on a busy computer is told of as none, and the run is made again.
    let led = || {
        let _ = fs::remove_dir_all(bench.file("records"));
        bench.guide("tests/terminal/tiny.bell", &["--voice", "none", "--player", "aplay"])
    };
    let run = (0..5).map(|_| led()).find(|run| !run.contains("no player here plays"));
    let run = run.expect("the stand-in was taken once");
    assert!(!run.contains("nobody has said yet"), "{run}");
    let note = "sound: only tones; played by aplay, heard by a person on 20";
    let told =
        bench.record().iter().any(|l| l["text"].as_str().is_some_and(|t| t.starts_with(note)));
    assert!(told, "{run}");
    assert_eq!(bench.record()[0]["lag"].as_i64(), kept["lag_ms"].as_i64().or(Some(200)));
}

#[test]
fn what_was_not_heard_is_not_kept() {
    let bench = Bench::new("ready-unheard");
    let Checked { told, code, .. } = checked(bench.plays(), "no\n");
    assert!(told.contains("Not heard. Turn the volume up"), "{told}");
    assert_eq!((code, bench.text(".config/stepbell/sound.json").as_str()), (Some(1), ""));
    let bench = Bench::new("ready-nobody");
    let Checked { told, .. } = checked(bench.plays(), "stop\n");
    assert!(told.contains("Nobody has said that it was heard."), "{told}");
    assert_eq!(bench.text(".config/stepbell/sound.json"), "");
}

/// A key that is pressed while the signals sound has heard none of what is asked: it answers nothing and
/// cuts nothing.
#[test]
fn a_key_before_the_question_is_no_answer_to_it() {
    let bench = Bench::new("ready-early");
    bench.plays();
    let home = bench.0.to_str().expect("plain").to_owned();
    let search = bench.search();
    let environment =
        [("PATH", search.to_str().expect("plain")), ("HOME", &home), ("XDG_CONFIG_HOME", &home)];
    let words = ["ready", "--player", "aplay", "--voice", "none"];
    let mut term = Term::start(&words, &bench.0, &environment);
    term.wait_for("Sound check.").press(" ").pass(Duration::from_millis(700));
    term.press(" ").press("y").press("n").wait_for("Did you hear all of it");
    term.pass(Duration::from_millis(300));
    assert!(!term.screen().contains("Now tap"), "{}", term.screen());
    assert!(!term.screen().contains("Not heard"), "{}", term.screen());
    let played = bench.played();
    for signal in [Signal::Prepare, Signal::Now, Signal::Missed] {
        let whole = samples(signal, Register::Real, 22_050);
        assert!(played.windows(whole.len()).any(|part| part == whole), "{signal:?} in whole");
    }
    term.press("n").wait_for("Not heard.");
    assert_eq!(term.ends(), 1);
    assert_eq!(bench.text("stepbell/sound.json"), "");
}
