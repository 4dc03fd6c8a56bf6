//! `guide` in its small view and `replay` as a person meets them: in a terminal of 80 by 24, in real
//! time.

use std::path::PathBuf;
use std::time::Duration;

use rustix::process::Signal;
use stepbell::journal::entry::{Body, Interruption};
use stepbell::journal::read::read;

use super::pty::{Term, folder, records};

const TINY: &str = "tests/terminal/tiny.bell";
const VALUES: &str = "tests/terminal/values.bell";
/// What a press reports in the first step.
const DASH: &str = "the answer came: you see the dash lit";
/// And in the second.
const CHIME: &str = "the answer came: you hear the chime once";

/// A run that has not begun yet, with the folder of its record.
#[track_caller]
fn opened(name: &str, script: &str, environment: &[(&str, &str)]) -> (Term, PathBuf) {
    let folder = folder(name);
    let record = folder.to_str().expect("a plain path").to_owned();
    let args = ["guide", script, "--inline", "--record", &record, "--operator-label", "nobody"];
    let mut term = Term::start(&args, &folder, environment);
    term.wait_for("Is no real vehicle meant?");
    (term, folder)
}

/// A run in which the first step's answer is awaited.
#[track_caller]
fn begun(name: &str, environment: &[(&str, &str)]) -> (Term, PathBuf) {
    let (mut term, folder) = opened(name, TINY, environment);
    term.done_until("step 1 of 2: wake").wait_for(DASH);
    (term, folder)
}

/// By what the only record of a folder was broken off.
#[track_caller]
fn broken_off(folder: &std::path::Path) -> Option<Interruption> {
    let records = records(folder);
    assert_eq!(records.len(), 1, "{records:?}");
    let record = read(&std::fs::read(&records[0]).expect("readable"));
    assert_eq!(record.faults, [], "the record is whole");
    record.known().find_map(|(_, body)| match body {
        Body::Interrupted { by } => Some(*by),
        _ => None,
    })
}

#[test]
fn a_whole_run_shows_three_lines_always_and_is_recorded() {
    let (mut term, folder) = opened("whole", TINY, &[]);
    assert!(!term.is_cooked(), "keys arrive one by one");
    term.done_until("step 1 of 2: wake").wait_for(DASH);
    let screen = term.screen();
    let lines: Vec<_> = screen.lines().collect();
    assert_eq!(lines[0], "DEMONSTRATION: invented numbers, not for a real vehicle");
    assert!(lines[2].starts_with("In your hands:  "), "{screen}");
    assert!(lines[3].starts_with("Do:             Press the start button."), "{screen}");
    assert!(lines[4].starts_with("Your press:     "), "{screen}");
    assert!(screen.contains("Next:           Hold the working key"), "{screen}");
    term.done_until("step 2 of 2: show").wait_for("the working key (one band of tape)");
    term.wait_for("[== OPEN ==]").wait_for(CHIME);
    term.done_until("ENDED: learned").wait_for("record: saved");
    assert_eq!(term.ends(), 0);
    assert!(term.is_restored(), "{}", term.screen());
    assert!(term.is_cooked());
    assert_eq!(broken_off(&folder), None);
}

#[test]
fn a_replay_says_so_all_the_time_and_holds_its_last_frame() {
    let (mut term, folder) = begun("replayed", &[]);
    term.done_until("step 2 of 2: show").wait_for(CHIME);
    term.done_until("ENDED: learned");
    assert_eq!(term.ends(), 0);
    let record = records(&folder).remove(0);
    let record = record.to_str().expect("a plain path");
    let mut term = Term::start(&["replay", record, "--speed", "4"], &folder, &[]);
    for text in ["Do you own", "step 1 of 2: wake", "step 2 of 2: show", "ENDED: learned"] {
        term.wait_for(text).wait_for("REPLAY: this has already happened");
    }
    term.wait_for("END, held").press("q");
    assert_eq!(term.ends(), 0);
    assert!(term.is_restored());
}

#[test]
fn a_window_that_lapses_ends_the_run_and_says_so() {
    let (mut term, folder) = begun("lapsed", &[]);
    term.wait_for("then it counts as: nothing came").wait_for("ENDED: not learned");
    assert_eq!(term.ends(), 1);
    assert_eq!(broken_off(&folder), None);
}

#[test]
fn ctrl_c_asks_and_a_second_one_breaks_off() {
    let (mut term, folder) = begun("ctrl-c", &[]);
    term.press("\x03").wait_for("Stop the run?");
    term.press("\x03").wait_for("Broken off by Ctrl-C, in step wake");
    term.wait_for("Try the working key before you leave.");
    assert_eq!(term.ends(), 130);
    assert!(term.is_restored());
    assert!(term.is_cooked());
    assert_eq!(broken_off(&folder), Some(Interruption::Keyboard));
}

#[test]
fn stop_is_asked_once_and_never_stops_the_clock() {
    let (mut term, _) = begun("stop", &[]);
    term.press("q").wait_for("Stop the run?").wait_for("then it counts as");
    // Esc is the other key for it; the same one would count as held.
    term.press("\x1b").wait_for("ENDED: stopped");
    term.wait_for("Do: Try the working key before you leave.");
    assert_eq!(term.ends(), 1);
}

#[test]
fn a_termination_and_a_closed_terminal_are_written_down() {
    let (mut term, folder) = begun("terminated", &[]);
    term.signal(Signal::TERM);
    term.wait_for("Broken off: the program was told to end");
    assert_eq!(term.ends(), 143);
    assert!(term.is_restored());
    assert_eq!(broken_off(&folder), Some(Interruption::Termination));

    let (mut term, folder) = begun("hung-up", &[]);
    term.hang_up();
    assert_eq!(term.ends(), 129);
    assert_eq!(broken_off(&folder), Some(Interruption::TerminalClosed));
}

#[test]
fn a_run_that_was_killed_is_shown_at_the_next_start() {
    let (mut term, folder) = begun("killed", &[]);
    term.done_until("step 2 of 2: show").wait_for(CHIME).wait_for("record: saved");
    term.signal(Signal::KILL);
    term.ends();
    let record = folder.to_str().expect("a plain path");
    let args = ["guide", TINY, "--inline", "--record", record];
    let mut term = Term::start(&args, &folder, &[]);
    term.wait_for("An earlier run of this script was broken off");
    term.wait_for("Last certain: step show").wait_for("Try the working key before you leave.");
    term.press(" ").wait_for("Is no real vehicle meant?").press("n").wait_for("ENDED: stopped");
    assert_eq!(term.ends(), 1);
    let records = records(&folder);
    let old = read(&std::fs::read(&records[0]).expect("readable"));
    let new = read(&std::fs::read(&records[1]).expect("readable"));
    let name = |path: &PathBuf| path.file_stem().expect("a name").to_string_lossy().into_owned();
    let continued = old
        .known()
        .any(|(_, body)| matches!(body, Body::Continued { by } if *by == name(&records[1])));
    assert!(continued, "the old record names the new one");
    let header = new.header.expect("a header");
    assert!(header.continues.is_some_and(|old| old.starts_with(&name(&records[0]))));
}

#[test]
fn a_stopped_program_says_how_long_it_stood_still() {
    let (mut term, _) = begun("stood-still", &[]);
    term.signal(Signal::STOP);
    term.pass(Duration::from_millis(700));
    term.signal(Signal::CONT);
    term.wait_for("The program stood still for");
    term.press("\x03").press("\x03");
    assert_eq!(term.ends(), 130);
}

#[test]
fn values_are_typed_with_an_echo_and_read_back() {
    let (mut term, _) = opened("values", VALUES, &[]);
    term.done_until("How many: a card of the pack? From 1 to 2.");
    term.press("7\r").wait_for("Not plausible");
    term.press("2\r").wait_for("At hand");
    term.done_until("Battery voltage?");
    // Blanks of a pedal that was pressed before are no part of the text.
    term.press("  12x").wait_for("> 12x_").press("\x7f,6").wait_for("> 12,6_");
    term.press("\r").wait_for("12.6 V. Right?").done_until("All is ready. Start?");
    term.press("\x03").press("\x03").wait_for("before the first step");
    assert_eq!(term.ends(), 130);
}

#[test]
fn a_held_key_counts_once_and_a_paste_is_no_press() {
    let (mut term, _) = opened("held", TINY, &[]);
    term.press("      ").wait_for("Local rules and licensed practice come first");
    term.press("\x1b[200~yes yes \r yes\x1b[201~");
    term.pass(Duration::from_millis(300));
    term.wait_for("Local rules and licensed practice come first");
    term.press("\x03").press("\x03");
    assert_eq!(term.ends(), 130);
}

#[test]
fn the_view_follows_the_terminals_size() {
    let (mut term, _) = begun("resized", &[]);
    term.resize(50, 12);
    term.wait_for("Press the start button.").wait_for("Your press:");
    let widest = term.screen().lines().map(|line| line.chars().count()).max();
    assert!(widest.is_some_and(|widest| widest <= 50), "{}", term.screen());
    term.resize(100, 40);
    term.wait_for("Space done");
    let screen = term.screen();
    assert_eq!(screen.matches("Do: ").count(), 1, "nothing is left behind:\n{screen}");
    term.press("\x03").press("\x03");
    assert_eq!(term.ends(), 130);
}

/// Every escape sequence in some bytes, each as `[` to its letter.
fn sequences(bytes: &[u8]) -> Vec<String> {
    let text = String::from_utf8_lossy(bytes);
    let ends = |c: char| c.is_ascii_alphabetic();
    text.split('\x1b')
        .skip(1)
        .map(|rest| rest.find(ends).map_or(rest, |end| &rest[..=end]).to_owned())
        .collect()
}

#[test]
fn colour_is_left_out_where_it_is_unwelcome_and_the_words_stay() {
    let colours = |bytes: &[u8]| sequences(bytes).iter().filter(|s| s.ends_with('m')).count();
    let (mut term, _) = opened("no-colour", TINY, &[("NO_COLOR", "1")]);
    term.press("n").wait_for("ENDED: stopped");
    term.ends();
    assert_eq!(colours(&term.bytes()), 0);
    let (mut term, _) = opened("colour", TINY, &[]);
    term.press("n").wait_for("ENDED: stopped");
    term.ends();
    assert!(colours(&term.bytes()) > 0);
}
