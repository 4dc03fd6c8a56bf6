//! Files that nobody hands over in good faith, given to the program itself: it always ends soon, says
//! what is wrong in words, ends with 1 or 3, takes little memory and lets nothing steer a terminal.
//!
//! On Linux each child runs under a limit on its address space ([`MOST_KIB`]), of which what it holds
//! in memory is only a part: a child that would take more than that fails here.

use std::borrow::Cow;
use std::fs;
use std::io::Read;
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitStatus, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use stepbell::clock::Moment;
use stepbell::complaint::visible::visible;
use stepbell::faces::plain::blank;
use stepbell::journal::convert::effect_body;
use stepbell::journal::entry::{self, Body, EndingClass, Header, RunKind, ScriptFile};
use stepbell::journal::happened as h;

use crate::made_records::written;

/// What a child may map, in KiB. Unoptimised, the program's file alone is more than 40 MiB of it.
const MOST_KIB: u64 = 96 << 10;
/// How long an answer may take.
const SOON: Duration = Duration::from_secs(1);
/// How long files of some ten thousand lines may take: unoptimised, reading one takes about a second
/// of a free processor. Optimised, they must be as quick as any other.
const LONG: Duration = Duration::from_secs(if cfg!(debug_assertions) { 12 } else { 1 });
/// A child that takes longer hangs and is ended.
const HANGS: Duration = Duration::from_secs(20);
/// The quickest of so many tries counts: other programs may hold the processor meanwhile.
const TRIES: usize = 3;

/// Sequences that write to a clipboard, clear a screen, and change a title.
const STEERS: &str =
    "\u{1b}]52;c;c3RvbGVu\u{7} \u{1b}[2J \u{9b}31m \u{1b}]0;owned\u{1b}\\ \u{202e}";

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("hostile").join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder");
    folder
}

/// How a child ended.
struct Ended {
    status: ExitStatus,
    out: String,
    err: String,
    took: Duration,
}

fn child(args: &[&str]) -> Command {
    let program = env!("CARGO_BIN_EXE_stepbell");
    if cfg!(target_os = "linux") {
        let mut child = Command::new("sh");
        let limited = format!("ulimit -v {MOST_KIB} || exit 99; exec \"$0\" \"$@\"");
        child.args(["-c", &limited, program]).args(args);
        child
    } else {
        let mut child = Command::new(program);
        child.args(args);
        child
    }
}

fn once(folder: &Path, args: &[&str]) -> Ended {
    let begun = Instant::now();
    let mut child = child(args)
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    let pid = Pid::from_child(&child);
    let (mut out, mut err) = (child.stdout.take().expect("piped"), child.stderr.take().unwrap());
    let (tell, told) = mpsc::channel();
    std::thread::scope(|scope| {
        let err = scope.spawn(move || {
            let mut bytes = Vec::new();
            err.read_to_end(&mut bytes).map(|_| bytes)
        });
        scope.spawn(move || {
            let mut bytes = Vec::new();
            let read = out.read_to_end(&mut bytes).map(|_| bytes);
            // Whoever has stopped waiting needs no answer.
            let _ = tell.send(read);
        });
        let out = told.recv_timeout(HANGS);
        if out.is_err() {
            let _ = kill_process(pid, Signal::KILL);
        }
        let status = child.wait().expect("it ends");
        let took = begun.elapsed();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
        let err = err.join().expect("read").expect("readable");
        let out = out.unwrap_or_else(|_| panic!("{args:?} hangs")).expect("readable");
        Ended { status, out: text(out), err: text(err), took }
    })
}

/// Runs the program and gives all it said. What holds for every call is looked at here.
#[track_caller]
fn says(folder: &Path, args: &[&str], code: i32, within: Duration) -> String {
    let mut quickest = None::<Duration>;
    for _ in 0..TRIES {
        let ended = once(folder, args);
        let Ended { status, out, err, took } = ended;
        assert_eq!(
            status.code(),
            Some(code),
            "{args:?}, signal {:?}\nout:\n{out}\nerr:\n{err}",
            status.signal()
        );
        let all = out + &err;
        let lines = all.lines().filter(|line| matches!(visible(line), Cow::Owned(_)));
        assert_eq!(lines.collect::<Vec<_>>(), [""; 0], "{args:?} lets something through");
        if took <= within {
            return all;
        }
        quickest = Some(quickest.map_or(took, |before| before.min(took)));
    }
    panic!("{args:?} takes {quickest:?}, where {within:?} are allowed");
}

#[track_caller]
fn check(folder: &Path, file: &str, code: i32, sentence: &str) {
    let said = says(folder, &["check", file], code, SOON);
    assert!(said.contains(sentence), "no {sentence:?} in:\n{said}");
}

#[test]
fn what_is_no_file_is_refused_without_waiting() {
    let folder = folder("no-file");
    let made = Command::new("mkfifo").arg(folder.join("queue")).status().expect("mkfifo is there");
    assert!(made.success());
    fs::create_dir(folder.join("inner")).expect("a folder");
    check(&folder, "queue", 3, "queue: this is a pipe, not a file");
    check(&folder, "inner", 3, "inner: this is a folder, not a file");
    check(&folder, "/dev/zero", 3, "/dev/zero: this is a device, not a file");
    for command in ["tidy", "replay", "network", "guide"] {
        let said = says(&folder, &[command, "queue"], 3, SOON);
        assert!(said.contains("this is a pipe"), "{command}: {said}");
    }
}

#[test]
fn what_is_no_text_or_far_too_long_is_refused_unread() {
    let folder = folder("no-text");
    let sparse = fs::File::create(folder.join("sparse.bell")).expect("a file");
    sparse.set_len(100_000_000).expect("sparse");
    fs::write(folder.join("wrong.bell"), b"note a\nstep \xff\xfe \"b\"\n").expect("written");
    check(&folder, "sparse.bell", 3, "sparse.bell: longer than 1 MiB, not read");
    check(&folder, "wrong.bell", 3, "wrong.bell:2:6: not UTF-8 text (byte 12)");
    check(&folder, "no\u{1b}[2Jname\u{202e}.bell", 3, r"no\u{1b}[2Jname\u{202e}.bell: there is no");
}

#[test]
fn blocks_without_end_and_lines_without_end_are_told_of() {
    let folder = folder("endless");
    fs::write(folder.join("deep.bell"), "phase x\n".repeat(8_000)).expect("written");
    let said = says(&folder, &["check", "deep.bell"], 1, LONG);
    for sentence in ["nested-too-deep", "This `phase` is never closed."] {
        assert!(said.contains(sentence), "no {sentence:?} in:\n{said}");
    }
    // A wall of complaints helps nobody.
    assert!(said.lines().count() < 1000, "{} lines", said.lines().count());

    let long = format!("step a \"Do it.\"{}\n", " and see x".repeat(4000));
    fs::write(folder.join("long.bell"), long).expect("written");
    check(&folder, "long.bell", 1, "This line is longer than 4096 bytes.");
    let just = format!("step a \"Do it.\"{}\n", " and see x".repeat(400));
    fs::write(folder.join("just.bell"), just).expect("written");
    check(&folder, "just.bell", 1, "just.bell:1:");
}

/// Much of what is compared with everything else, and many lines that cannot be read.
#[test]
fn far_too_much_of_anything_is_refused_soon() {
    let folder = folder("much");
    let (steps, signs): (Vec<_>, Vec<_>) = (0..3_900)
        .map(|n| {
            (
                format!("step s{n} \"Do it.\"\n  takes 1s\n"),
                format!("sign s{n}, see \"a{n}\" lit\n"),
            )
        })
        .unzip();
    let unread = "x\n".repeat(5_000);
    for (name, lines) in [("steps", steps.concat()), ("signs", signs.concat()), ("unread", unread)]
    {
        fs::write(folder.join(name), format!("procedure \"x\"\n{lines}")).expect("written");
        let said = says(&folder, &["check", name], 1, LONG);
        assert!(said.contains("error: ") && said.lines().count() < 1000, "{name}:\n{said}");
    }
}

#[test]
fn characters_that_steer_are_shown_and_not_sent() {
    let folder = folder("steering");
    let text = format!(
        "procedure \"Add {STEERS} key\"\nstep a \"Do {STEERS} it.\"\n  say \"{STEERS}\"\nwho {STEERS}\n"
    );
    fs::write(folder.join("steers.bell"), text).expect("written");
    check(&folder, "steers.bell", 1, r"\u{1b}]52;c;c3RvbGVu\u{7}");
    check(&folder, "steers.bell", 1, "The character U+001B is not allowed here");
    fs::write(folder.join("bidi.bell"), "procedure \"Add \u{202e}yek\u{2066} a\"\n")
        .expect("written");
    check(&folder, "bidi.bell", 1, "The character U+202E is not allowed here");
    let said = says(&folder, &["check", "--format", "json", "steers.bell"], 1, SOON);
    assert!(said.contains("forbidden-character"), "{said}");
}

#[test]
fn absurd_numbers_are_told_of() {
    let folder = folder("numbers");
    let texts = [
        ("  takes 99999999999999999999s\n", "`99999999999999999999s` is longer than a day."),
        ("repeat 1000000000 times\nend repeat\n", "1000000000"),
        (
            "have 1 to 4294967295 x, new key, \"x\"\n",
            "At most 16 are allowed here, not 4294967295.",
        ),
        ("  within 3000000000000000min after a done\n", "longer than a day"),
        ("allow xs 18446744073709551616 times, \"x\"\n", "18446744073709551616"),
    ];
    for (line, sentence) in texts {
        let step = if line.starts_with(' ') { "step a \"Do it.\"\n" } else { "" };
        fs::write(folder.join("a.bell"), format!("{step}{line}")).expect("written");
        check(&folder, "a.bell", 1, sentence);
    }
}

/// A record as someone else could have made it: its lines are whole, its words are not meant well.
fn foreign_record() -> Vec<u8> {
    let steers = || STEERS.to_owned();
    let step =
        h::StepAt { ix: 0, name: steers(), line: 3, file: Some(steers()), turn: Some((1, 2)) };
    let header = Header {
        format: entry::FORMAT.to_owned(),
        version: entry::VERSION,
        tool: steers(),
        run: RunKind::Live,
        started: steers(),
        title: steers(),
        status: steers(),
        files: vec![ScriptFile::new(steers(), steers())],
        profile: steers(),
        lengths: steers(),
        spoken: Vec::new(),
        lag: 0,
        operator: Some(steers()),
        counts: std::collections::BTreeMap::from([(steers(), i64::MIN)]),
        continues: Some(steers()),
        rehearsal: None,
    };
    let mut shown = blank();
    shown.step = Some(step.clone());
    shown.hands = vec![steers(), steers()];
    shown.act = Some(steers());
    shown.next = Some(steers());
    shown.who = Some(steers());
    let mut asked = blank();
    asked.question = Some(h::Question::TakeUp {
        record: steers(),
        step: Some(step.clone()),
        act: Some(steers()),
        text: Some(steers()),
        past: Some(steers()),
    });
    let facts = [
        h::Fact::Entered { step: step.clone(), nth: u32::MAX, break_off: Some(steers()) },
        h::Fact::Margin { step, line: 3, window: Some(i64::MAX), left: i64::MIN },
        h::Fact::Thing { label: steers(), class: EndingClass::Unsure },
        h::Fact::NoReturn { text: steers() },
    ];
    let effects = [
        h::Effect::Show(Box::new(shown)),
        h::Effect::Show(Box::new(asked)),
        h::Effect::Say { cue: h::Cue::Now, text: steers() },
    ];
    let ended = h::Effect::Ended {
        ending: steers(),
        class: EndingClass::Learned,
        text: Some(steers()),
        hand_over: Some(steers()),
    };
    let facts = facts.map(|fact| h::Effect::Fact { fact });
    let mut bodies = vec![Body::Header(Box::new(header))];
    bodies.extend(effects.iter().chain(&facts).map(effect_body));
    bodies.push(Body::Note { text: steers() });
    bodies.push(Body::Lost { events: u64::MAX, why: steers() });
    bodies.push(Body::Moved { from: steers(), why: steers() });
    bodies.push(Body::Continued { by: steers() });
    bodies.push(effect_body(&ended));
    written((0..).map(Moment).zip(&bodies))
}

#[test]
fn a_foreign_record_steers_no_terminal() {
    let folder = folder("record");
    let mut record = foreign_record();
    fs::write(folder.join("whole.jsonl"), &record).expect("written");
    let said = says(&folder, &["replay", "--speed", "0", "whole.jsonl"], 0, SOON);
    for part in ["In your hands:  ", "~ say (NOW): ", "\\u{1b}]52;c;", "ENDED: learned", "! "] {
        assert!(said.contains(part), "no {part:?} in:\n{said}");
    }
    let said = says(&folder, &["replay", "--summary", "whole.jsonl"], 0, SOON);
    assert!(said.contains(r"\u{1b}[2J"), "{said}");
    let said = says(&folder, &["replay", "--check", "whole.jsonl"], 0, SOON);
    assert!(said.contains("recorded by another version ("), "{said}");

    record.extend_from_slice(format!("{{\"kind\":\"{STEERS}\"}}\n{STEERS}").as_bytes());
    fs::write(folder.join("torn.jsonl"), &record).expect("written");
    for args in [["--speed", "0"], ["--summary", "--plain"], ["--check", "--plain"]] {
        let said = says(&folder, &["replay", args[0], args[1], "torn.jsonl"], 1, SOON);
        assert!(said.contains("damaged, shown as far as it can be read"), "{said}");
    }
    fs::write(folder.join("none.jsonl"), STEERS).expect("written");
    let said = says(&folder, &["replay", "none.jsonl"], 3, SOON);
    assert!(said.contains("this is not a record of ours"), "{said}");
}
