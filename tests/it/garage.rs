//! The big view as a person meets it: in a terminal, in real time. Whatever ends the program, the
//! terminal is as it was; whatever a face does, the cues come on time and the others say so.

use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use rustix::process::Signal;
use stepbell::clock::{Millis, Moment};
use stepbell::edge::clock::Pace;
use stepbell::edge::console::{Console, Look, Opening};
use stepbell::edge::keymap::KeyMap;
use stepbell::edge::run::{How, Live, live};
use stepbell::edge::screen::{Paint, Screen};
use stepbell::edge::terminal::{Face, Happening};
use stepbell::faces::big::{BigPainter, Looks};
use stepbell::faces::block::Ink;
use stepbell::faces::reach::RowHeight;
use stepbell::faces::terminal::{Painter, Size};
use stepbell::faces::words::{Banner, Picture};
use stepbell::guide::Settings;
use stepbell::journal::entry::{Body, EndingClass, Interruption};
use stepbell::journal::happened::{Effect, Fact};
use stepbell::journal::read::read;
use stepbell::procedure::examine;
use stepbell::procedure::timing::{PlainTiming, speech_lengths};

use super::pictures::{acting, setting};
use super::pty::{Term, folder, records};

const TINY: &str = "tests/terminal/tiny.bell";
const UTF8: (&str, &str) = ("LANG", "C.UTF-8");
const DASH: &str = "the answer came: you see the dash lit";
const CHIME: &str = "the answer came: you hear the chime once";

/// A run of the tiny script that has not begun yet, and its folder.
#[track_caller]
fn opened(name: &str, size: (u16, u16)) -> (Term, PathBuf) {
    let folder = folder(name);
    let record = folder.to_str().expect("a plain path");
    let args = ["guide", TINY, "--record", record];
    let mut term = Term::sized(&args, &folder, &[UTF8], size);
    term.wait_for("Is no real vehicle meant?");
    (term, folder)
}

#[track_caller]
fn begun(name: &str, size: (u16, u16)) -> (Term, PathBuf) {
    let (mut term, folder) = opened(name, size);
    term.done_until("step 1 of 2: wake").wait_for(DASH);
    (term, folder)
}

#[track_caller]
fn bodies(folder: &Path) -> Vec<Body> {
    let records = records(folder);
    assert_eq!(records.len(), 1, "{records:?}");
    let record = read(&std::fs::read(&records[0]).expect("readable"));
    assert_eq!(record.faults, [], "the record is whole");
    record.known().map(|(_, body)| body.clone()).collect()
}

#[track_caller]
fn broken_off(folder: &Path) -> Option<Interruption> {
    bodies(folder).iter().find_map(|body| match body {
        Body::Interrupted { by } => Some(*by),
        _ => None,
    })
}

/// How late every cue of a record was.
fn lateness(bodies: &[Body]) -> Vec<Millis> {
    let fact = |body: &Body| match body {
        Body::Effect { what } => match stepbell::journal::convert::effect_of(what) {
            Some(Effect::Fact { fact: Fact::CueGiven { due, given, .. } }) => {
                Some(Millis(given - due))
            }
            _ => None,
        },
        _ => None,
    };
    bodies.iter().filter_map(fact).collect()
}

#[test]
fn a_whole_run_stays_on_show_until_a_key_and_leaves_its_last_words() {
    for (name, size) in [("garage-80", (80, 24)), ("garage-200", (200, 50))] {
        let (mut term, folder) = opened(name, size);
        assert!(!term.is_cooked() && term.is_on_other_screen());
        term.done_until("step 1 of 2: wake").wait_for(DASH);
        term.wait_for("In your hands:").wait_for("Do: Press the start button.");
        term.wait_for("Your press:").wait_for("DEMONSTRATION: invented numbers");
        term.done_until("step 2 of 2: show").wait_for("[== OPEN ==]").wait_for(CHIME);
        assert!(term.screen().contains('█'), "{}", term.screen());
        term.done_until("ENDED: learned").wait_for("to leave this view");
        term.pass(Duration::from_millis(800));
        assert!(term.is_on_other_screen(), "the end is left up");
        // The record is whole while it still stands there.
        assert_eq!(broken_off(&folder), None);
        term.press("b");
        assert_eq!(term.ends(), 0);
        assert!(term.is_restored() && term.is_cooked());
        let left = term.screen();
        assert!(left.contains("ENDED: learned") && left.contains("record: saved"), "{left}");
        assert!(!left.contains('█'), "{left}");
    }
}

#[test]
fn the_view_follows_the_terminals_size_in_the_middle_of_a_run() {
    let (mut term, _) = begun("garage-resized", (80, 24));
    for (size, wanted) in [
        ((200, 50), "step 1 of 2: wake"),
        ((70, 14), "small view: large digits need"),
        ((80, 24), "Space done"),
        ((20, 5), "more, then it"),
        ((132, 43), "Space done"),
    ] {
        term.resize(size.0, size.1);
        term.wait_for(wanted);
        let screen = term.screen();
        assert!(screen.matches("Do: ").count() <= 1, "nothing is left behind:\n{screen}");
        assert!(term.is_on_other_screen());
    }
    term.press("\x03").press("\x03");
    assert_eq!(term.ends(), 130);
    assert!(term.is_restored() && term.is_cooked());
}

#[test]
fn a_held_pedal_counts_once() {
    let (mut term, folder) = opened("garage-held", (80, 24));
    // What a pedal that is held down for a second sends: late the first time, then in a rhythm.
    term.press("\x1b[6~");
    term.pass(Duration::from_millis(500));
    for _ in 0..15 {
        term.press("\x1b[6~");
        term.pass(Duration::from_millis(33));
    }
    term.wait_for("Local rules and licensed practice come first");
    term.press("\x03").press("\x03");
    assert_eq!(term.ends(), 130);
    let presses = bodies(&folder);
    let done = presses.iter().filter(|body| format!("{body:?}").contains("\"done\"")).count();
    assert_eq!(done, 1, "{presses:#?}");
}

#[test]
fn whatever_ends_the_program_the_terminal_is_as_it_was() {
    type End = fn(&mut Term);
    let ends: [(&str, End, u32, Interruption, &str); 3] = [
        (
            "garage-ctrl-c",
            |term| {
                term.press("\x03").wait_for("Stop the run?");
                term.press("\x03");
            },
            130,
            Interruption::Keyboard,
            "Broken off by Ctrl-C, in step wake",
        ),
        (
            "garage-term",
            |term| term.signal(Signal::TERM),
            143,
            Interruption::Termination,
            "Broken off: the program was told to end, in step wake",
        ),
        (
            "garage-hup",
            |term| term.signal(Signal::HUP),
            129,
            Interruption::TerminalClosed,
            "Broken off: the terminal was closed, in step wake",
        ),
    ];
    for (name, end, code, by, words) in ends {
        let (mut term, folder) = begun(name, (80, 24));
        assert!(term.is_on_other_screen() && !term.is_cooked());
        end(&mut term);
        assert_eq!(term.ends(), code, "{name}");
        assert!(term.is_restored() && term.is_cooked(), "{name}: {}", term.screen());
        let left = super::pty::unbroken(&term.screen());
        assert!(left.contains(words), "{name}: {left}");
        assert!(left.contains("Try the working key before you leave."), "{name}: {left}");
        assert_eq!(broken_off(&folder), Some(by), "{name}");
    }
}

/// No program can catch this one; a shell that waits beside it gives the terminal back, where the terminal
/// is still there: it goes away with the program that it was opened for, which is a shell.
#[test]
fn killed_the_terminal_is_as_it_was_too() {
    const SHELL: &str =
        "exec 3<&0; \"$0\" guide \"$1\" --no-record <&3 & echo $! >\"$2\"; wait; sleep 8";
    let folder = folder("garage-kill");
    let number = folder.join("number");
    let args = ["-c", SHELL, env!("CARGO_BIN_EXE_stepbell"), TINY, number.to_str().expect("plain")];
    let mut term = Term::spawn(Path::new("/bin/sh"), &args, &folder, &[UTF8], (80, 24));
    term.read();
    term.wait_for("Is no real vehicle meant?");
    assert!(term.is_on_other_screen() && !term.is_cooked());
    let number = std::fs::read_to_string(number).expect("its number");
    let number = number.trim().parse().ok().and_then(rustix::process::Pid::from_raw);
    rustix::process::kill_process(number.expect("a number"), Signal::KILL).expect("killed");
    term.wait_until(|term| term.is_restored() && term.is_cooked());
}

#[test]
fn stopped_from_outside_the_terminal_is_lent_and_then_taken_again() {
    let (mut term, _) = begun("garage-tstp", (80, 24));
    term.signal(Signal::TSTP);
    term.wait_until(|term| term.is_restored() && term.is_cooked());
    term.pass(Duration::from_millis(400));
    term.signal(Signal::CONT);
    term.wait_until(|term| term.is_on_other_screen() && !term.is_cooked());
    term.wait_for("In your hands:").wait_for("The program stood still for");
    term.press("\x03").press("\x03");
    assert_eq!(term.ends(), 130);
    assert!(term.is_restored() && term.is_cooked());
}

/// A terminal that nobody reads: the cues come all the same, and the program ends when it is told to.
#[test]
fn a_terminal_that_does_not_read_delays_no_cue_and_no_end() {
    let folder = folder("garage-deaf");
    let record = folder.to_str().expect("a plain path");
    let program = Path::new(env!("CARGO_BIN_EXE_stepbell"));
    let args = ["guide", TINY, "--record", record];
    let mut term = Term::spawn(program, &args, &folder, &[UTF8], (200, 50));
    // Every other size means a whole frame: more than a terminal's buffer holds.
    for n in 0..40 {
        term.resize(if n % 2 == 0 { 199 } else { 200 }, 50);
        term.pass(Duration::from_millis(30));
    }
    for n in 0..16 {
        term.press(["\r", "\x1b[6~", " ", "\x1b[C"][n % 4]);
        term.pass(Duration::from_millis(500));
    }
    term.signal(Signal::TERM);
    let code = term.ends_within(Duration::from_secs(10));
    assert!(code.is_some(), "it does not end");
    let bodies = bodies(&folder);
    let notes =
        |body: &&Body| matches!(body, Body::Note { text } if text.contains("shows nothing new"));
    assert!(bodies.iter().any(|body| notes(&body)), "{bodies:#?}");
    let late = lateness(&bodies);
    assert!(!late.is_empty(), "it got as far as a cue: {bodies:#?}");
    // A face that held a cue up would do so for seconds; a busy computer takes its part of one.
    assert!(late.iter().all(|late| (0..=1000).contains(&late.0)), "{late:?}");
    assert!(term.is_cooked());
}

// ------------------------------------------------------------------ panics

/// What this program is started again as, in a terminal; see [`a_panic_gives_the_terminal_back`].
const PROBE: &str = "STEPBELL_TERMINAL_PROBE";

fn big() -> Looks {
    Looks { colour: true, ink: Ink::Blocks, row: RowHeight::default(), calm: false }
}

/// Opens the big view, shows a picture, and panics where it is told to, at the first key.
#[test]
fn started_again_in_a_terminal() {
    let Ok(place) = std::env::var(PROBE) else { return };
    let look = Look::Big(big());
    let setting = setting(&[Banner::Demonstration]);
    let keys = KeyMap::default();
    let opening = Opening { terminal: true, look, setting, keys, hands: false, page: None };
    let mut console = Console::open(opening).expect("opened");
    assert!(console.show(&acting()).is_empty());
    while !matches!(console.from.recv(), Ok(Happening::Key(_))) {}
    match place.as_str() {
        "run" => panic!("on purpose"),
        "elsewhere" => {
            let other = std::thread::spawn(|| panic!("on purpose"));
            assert!(other.join().is_err());
            let mut picture = acting();
            picture.remarks.push("it goes on".to_owned());
            assert!(console.show(&picture).is_empty());
            while !matches!(console.from.recv(), Ok(Happening::Key(_))) {}
            console.close();
        }
        _ => panic!("unknown"),
    }
}

#[track_caller]
fn probe(place: &str) -> Term {
    let this = std::env::current_exe().expect("this program");
    let args =
        ["--exact", "garage::started_again_in_a_terminal", "--nocapture", "--test-threads=1"];
    let folder = folder(&format!("garage-panic-{place}"));
    let mut term = Term::spawn(&this, &args, &folder, &[(PROBE, place), UTF8], (80, 24));
    term.read();
    term.wait_for("1:05 left to act");
    assert!(term.is_on_other_screen() && !term.is_cooked());
    term
}

#[test]
fn a_panic_gives_the_terminal_back() {
    let mut term = probe("run");
    term.press("x");
    assert_ne!(term.ends(), 0);
    assert!(term.is_restored() && term.is_cooked(), "{}", term.screen());
    let left = term.screen();
    assert!(left.contains("on purpose"), "what broke can be read: {left}");
    assert!(!left.contains('█'), "nothing is painted after it: {left}");
}

#[test]
fn a_panic_elsewhere_leaves_the_view_alone_and_is_told_at_the_end() {
    let mut term = probe("elsewhere");
    term.press("x").wait_for("it goes on");
    assert!(term.is_on_other_screen() && !term.is_cooked());
    assert!(!term.screen().contains("on purpose"), "{}", term.screen());
    term.press("y");
    assert_eq!(term.ends(), 0);
    assert!(term.is_restored() && term.is_cooked());
    assert!(term.screen().contains("on purpose"), "{}", term.screen());
}

// ------------------------------------------------------------------ faces that break

/// Writes that fail, panic or never end, from the n-th on.
struct Bad {
    left: usize,
    how: &'static str,
}

impl Write for Bad {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.left > 0 {
            self.left -= 1;
            return Ok(bytes.len());
        }
        match self.how {
            "fails" => Err(io::Error::other("it is gone")),
            "panics" => panic!("it broke on purpose"),
            _ => loop {
                std::thread::park();
            },
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// A face that keeps every picture.
#[derive(Clone, Default)]
struct Witness(Arc<Mutex<Vec<Picture>>>);

impl Face for Witness {
    fn name(&self) -> &'static str {
        "the witness"
    }

    fn show(&mut self, picture: &Picture) {
        self.0.lock().expect("not poisoned").push(picture.clone());
    }

    fn tell(&mut self, _: &Effect, _: Moment) {}

    fn pace(&self) -> Option<Millis> {
        Some(Millis(100))
    }

    fn trouble(&self) -> Option<String> {
        None
    }

    fn finish(&mut self) {}
}

impl Witness {
    fn last(&self) -> Option<Picture> {
        self.0.lock().expect("not poisoned").last().cloned()
    }

    fn has_said(&self, part: &str) -> bool {
        let pictures = self.0.lock().expect("not poisoned");
        pictures.iter().flat_map(|picture| &picture.remarks).any(|remark| remark.contains(part))
    }
}

fn bad(how: &'static str) -> Box<dyn Face> {
    let setting = setting(&[]);
    let size = || Size { columns: 80, rows: 24 };
    let paint = match how {
        "blocks" => Paint::Big(BigPainter::new(size(), big())),
        _ => Paint::Inline(Painter::new(size(), false)),
    };
    let to = Bad { left: 1, how };
    Box::new(Screen::start(to, paint, setting, Arc::default(), size).expect("a thread"))
}

/// Presses *done* as a person would until the run is over, the first time only when the pictures have
/// said all of this.
fn press_until_over(witness: &Witness, to: &std::sync::mpsc::Sender<Happening>, says: &[&str]) {
    let keys = [KeyCode::Enter, KeyCode::Char(' '), KeyCode::PageDown, KeyCode::Right];
    let mut begun = false;
    // Half a minute's run, on a busy computer a few minutes'.
    for n in 0..1200 {
        std::thread::park_timeout(Duration::from_millis(200));
        let Some(picture) = witness.last() else { continue };
        begun = begun || says.iter().all(|part| witness.has_said(part));
        if picture.ended.is_some() {
            return;
        }
        if begun {
            let key = KeyEvent::new(keys[n % 4], KeyModifiers::NONE);
            let _ = to.send(Happening::Key(key));
        }
    }
    let _ = to.send(Happening::Signal(stepbell::edge::signals::Signal::Terminate));
    panic!("no end (all said: {begun}): {:#?}", witness.last());
}

#[test]
fn a_broken_face_is_dropped_and_said_on_the_others_and_delays_no_cue() {
    let witness = Witness::default();
    let faces = vec![bad("fails"), bad("panics"), bad("blocks"), Box::new(witness.clone())];
    let console = Console::with(faces, Vec::new(), KeyMap::default());
    let text = std::fs::read_to_string(TINY).expect("readable");
    let examined = examine(TINY, text, &mut |_| Err("no file".to_owned()));
    let procedure = examined.procedure.clone().expect("a model");
    let folder = folder("garage-broken");
    let settings = Settings {
        speech: speech_lengths(&procedure),
        timing: |procedure, plan, speech| Box::new(PlainTiming::new(procedure, plan, speech)),
        rehearsal: false,
        length: stepbell::power::Length::Unbounded,
    };
    let run = Live {
        procedure: Arc::new(procedure),
        sources: &examined.sources,
        settings,
        record: Some(crate::recording::plan(
            stepbell::edge::writer::Place::Folder(folder.clone()),
            None,
        )),
        take_up: None,
        in_words: None,
        notes: Vec::new(),
        noted: Vec::new(),
        practice: None,
        pace: Pace::TRUE,
    };
    let says = [
        "the screen no longer works: it is gone",
        "the screen no longer works: it broke: it broke on purpose",
        "the screen shows nothing new",
    ];
    let (to, watched) = (console.to.clone(), witness);
    let person = std::thread::spawn(move || press_until_over(&watched, &to, &says));
    let outcome = live(run, console).expect("it begins");
    assert!(person.join().is_ok(), "the person waited in vain");
    assert_eq!(outcome.how, How::Ended(EndingClass::Learned));
    let bodies = bodies(&folder);
    for part in says {
        let told = |body: &Body| matches!(body, Body::Note { text } if text.contains(part));
        assert!(bodies.iter().any(told), "{part}: {bodies:#?}");
    }
    let late = lateness(&bodies);
    assert!(late.len() >= 2 && late.iter().all(|late| (0..=1000).contains(&late.0)), "{late:?}");
}
