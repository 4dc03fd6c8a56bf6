//! A replay under somebody's hands: keys in a terminal, lines through a pipe, two records side by side, a
//! drill. The record is that of a seeded run, so that every screen is the same each time.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use stepbell::faces::replayed::why_marked;
use stepbell::training::reel::Mark;

use crate::drill::record;
use crate::pty::{Term, folder};

fn on_disk(folder: &Path, name: &str, seed: u64, rehearsal: bool) -> PathBuf {
    let path = folder.join(name);
    fs::write(&path, record(seed, rehearsal)).unwrap();
    path
}

/// A replay in a terminal, standing still at its beginning.
fn still(name: &str, words: &[&str]) -> (Term, PathBuf) {
    let folder = folder(name);
    let record = on_disk(&folder, "run.jsonl", 7, false);
    let mut args = vec!["replay", record.to_str().unwrap()];
    args.extend(words);
    let mut term = Term::start(&args, &folder, &[]);
    term.wait_for("q quit").press(" ").wait_for("PAUSED").press("\x1b[H").wait_for("at 0:0");
    (term, folder)
}

/// The screen without what differs from run to run.
fn screen(term: &Term) -> String {
    // The last rows may still be on their way.
    term.pass(Duration::from_millis(400));
    term.screen().lines().map(str::trim_end).collect::<Vec<_>>().join("\n")
}

#[test]
fn a_replay_is_moved_with_one_key_each_and_says_where_it_is() {
    let (mut term, _folder) = still("moved", &[]);
    term.press("m").wait_for("came");
    insta::assert_snapshot!("at_the_first_mark", screen(&term));
    term.press("n").wait_for("no mark further back").press("\x1b[H").wait_for("at 0:0");
    term.press("g").wait_for("> go to a time or a step").press("wake/2\r").wait_for("step 1 of");
    insta::assert_snapshot!("at_a_step", screen(&term));
    term.press("+").wait_for("×2").press("+").wait_for("×4").press("--").wait_for("×1 ");
    term.press("-").wait_for("×1/2").press("i").wait_for("idle is shortened");
    term.press("k").wait_for("stops at marks").press("g").wait_for("> go to").press("nowhere\r");
    term.wait_for("there is no time and no step \"nowhere\"");
    term.press("\x1b[F").wait_for("END, held").wait_for("ENDED: ");
    insta::assert_snapshot!("at_the_end", screen(&term));
    term.press(",").wait_for("PAUSED").press(".").wait_for("END, held");
    term.press("q");
    assert_eq!(term.ends(), 0);
    assert!(term.is_restored());
}

#[test]
fn two_records_stand_one_below_the_other_or_side_by_side() {
    let folder = folder("beside");
    let (one, two) = (on_disk(&folder, "a.jsonl", 7, false), on_disk(&folder, "b.jsonl", 8, true));
    let args =
        ["replay", one.to_str().unwrap(), "--beside", two.to_str().unwrap(), "--align", "wake"];
    let mut term = Term::start(&args, &folder, &[]);
    term.wait_for("BESIDE: ").press(" ").wait_for("PAUSED").press("g").wait_for("> go to");
    term.press("wake\r").wait_for("step 1 of");
    let narrow = screen(&term);
    assert_eq!(narrow.matches("step 1 of").count(), 2, "both are at the step:\n{narrow}");
    term.resize(140, 40);
    term.wait_for(" | BESIDE: ");
    let wide = screen(&term);
    let both = wide.lines().find(|line| line.matches("In your hands:").count() == 2);
    assert!(both.is_some(), "{wide}");
    term.press("q");
    assert_eq!(term.ends(), 0);
}

/// What the program says to these lines.
fn piped(args: &[&str], lines: &str) -> (String, String, Option<i32>) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_stepbell"))
        .args(args)
        .env_clear()
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    child.stdin.take().expect("piped").write_all(lines.as_bytes()).expect("it is read");
    let output = child.wait_with_output().expect("it ends");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    (text(output.stdout), text(output.stderr), output.status.code())
}

#[test]
fn a_replay_through_pipes_takes_moves_as_lines_and_ends_by_itself() {
    let folder = folder("moved-pipes");
    let record = on_disk(&folder, "run.jsonl", 7, false);
    let record = record.to_str().unwrap();
    let (out, err, code) = piped(&["replay", record], "still\nwake/2\nend\n");
    assert_eq!((err.as_str(), code), ("", Some(0)), "{out}");
    assert!(out.contains("- paused at 0:0") && out.contains("ENDED: "), "{out}");
    assert!(out.lines().all(|line| line.starts_with("REPLAY ")), "{out}");
    // A replay that stands still although nobody can let it go on any more goes on.
    let (out, _, code) = piped(&["replay", record, "--speed", "1000", "--stop-at-marks"], "");
    assert_eq!(code, Some(0), "{out}");
    assert!(out.contains("ENDED: "), "{out}");
    let (out, _, code) = piped(&["replay", record, "--from", "wake"], "quit\n");
    assert_eq!(code, Some(0), "{out}");
    assert!(out.contains("The replay was left here."), "{out}");
}

#[test]
fn two_records_in_short_stand_side_by_side() {
    let folder = folder("beside-short");
    let (one, two) = (on_disk(&folder, "a.jsonl", 7, false), on_disk(&folder, "b.jsonl", 8, true));
    let names = [one.to_str().unwrap(), two.to_str().unwrap()];
    let (out, err, code) = piped(&["replay", names[0], "--beside", names[1], "--summary"], "");
    assert_eq!((err.as_str(), code), ("", Some(0)));
    let place = folder.to_str().unwrap();
    insta::assert_snapshot!(out.replace(place, "…"));
    let (_, err, code) =
        piped(&["replay", names[0], "--beside", names[1], "--align", "wake/9", "--speed", "0"], "");
    assert!(err.contains("did not come to step \"wake\" so often"), "{err}");
    assert_eq!(code, Some(2));
    let (_, err, code) = piped(&["replay", names[0], "--beside", "README.md", "--summary"], "");
    assert!(err.contains("not a record of ours"), "{err}");
    assert_eq!(code, Some(3));
}

#[test]
fn a_drill_in_a_terminal_is_answered_with_one_key_or_a_typed_time() {
    let folder = folder("drill-terminal");
    let record = on_disk(&folder, "run.jsonl", 7, false);
    let place = folder.to_str().unwrap();
    let args = ["replay", record.to_str().unwrap(), "--drill", "--seed", "1", "--answers", place];
    let mut term = Term::start(&args, &folder, &[]);
    term.wait_for("DRILL, step 1 of").wait_for("What comes next?");
    insta::assert_snapshot!("a_drill_asks", screen(&term));
    term.press(" ").wait_for("answer first");
    term.press("?").wait_for("By when?").wait_for("It is: ");
    term.press("t").wait_for("within how long").press("none\r");
    term.wait_for("DRILL, step 2 of").wait_for("REPLAY: this has already happened");
    term.press("q").wait_for("DRILL LEFT before its end").wait_for("answers: ");
    assert_eq!(term.ends(), 0);
    assert!(term.is_restored());
}

/// What a replay stops at is what the help and the page for teachers say.
#[test]
fn the_help_and_the_page_for_teachers_list_every_kind_of_mark() {
    let (help, ..) = piped(&["replay", "--help"], "");
    let teaching = fs::read_to_string("procedures/TEACHING.md").expect("readable");
    for text in [help, teaching] {
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let marks = text.split_once("Marks are where ").expect("the marks").1;
        let marks = marks.split_once("the end.").expect("the end of the list").0;
        let mut at = 0;
        for mark in Mark::ALL.into_iter().filter(|mark| *mark != Mark::End) {
            let word = why_marked(mark);
            at += marks[at..].find(word).unwrap_or_else(|| panic!("{word} in its order: {marks}"));
        }
    }
}
