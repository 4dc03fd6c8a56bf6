//! A run through pipes, from its first question to `learned`, and its record shown again, summed up,
//! checked and spoiled.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::OnceLock;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

use super::pty::{Term, folder, records};

const TINY: &str = "tests/terminal/tiny.bell";
const PATIENCE: Duration = Duration::from_secs(60);
const EFFECT: Duration = Duration::from_millis(300);

fn program(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stepbell"));
    command.args(args).current_dir(env!("CARGO_MANIFEST_DIR")).env_clear();
    command
}

/// The program behind pipes.
struct Piped {
    child: Child,
    answers: Option<ChildStdin>,
    lines: Receiver<String>,
    told: Vec<String>,
}

impl Piped {
    #[track_caller]
    fn start(args: &[&str]) -> Piped {
        let mut child = program(args)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts");
        let answers = child.stdin.take();
        let out = BufReader::new(child.stdout.take().expect("piped"));
        let (to, lines) = channel();
        std::thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                if to.send(line).is_err() {
                    return;
                }
            }
        });
        Piped { child, answers, lines, told: Vec::new() }
    }

    fn answer(&mut self, line: &str) {
        let to = self.answers.as_mut().expect("open");
        writeln!(to, "{line}").and_then(|()| to.flush()).expect("it is read");
    }

    fn told_within(&mut self, text: &str, within: Duration) -> bool {
        loop {
            match self.lines.recv_timeout(within) {
                Ok(line) => {
                    self.told.push(line.clone());
                    if line.contains(text) {
                        return true;
                    }
                }
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => return false,
            }
        }
    }

    #[track_caller]
    fn wait_for(&mut self, text: &str) {
        assert!(self.told_within(text, PATIENCE), "{text:?} never came:\n{}", self.told.join("\n"));
    }

    /// Answers `line` until this is told; what comes too early is answered again.
    #[track_caller]
    fn answer_until(&mut self, line: &str, text: &str) {
        for _ in 0..100 {
            self.answer(line);
            if self.told_within(text, EFFECT) {
                return;
            }
        }
        panic!("{text:?} never came:\n{}", self.told.join("\n"));
    }

    fn ends(&mut self) -> Option<i32> {
        while let Ok(line) = self.lines.recv_timeout(PATIENCE) {
            self.told.push(line);
        }
        self.child.wait().expect("it ends").code()
    }
}

/// One learned run for all tests here: its folder, what it told, its record.
fn learned() -> &'static (PathBuf, Vec<String>, PathBuf) {
    static RUN: OnceLock<(PathBuf, Vec<String>, PathBuf)> = OnceLock::new();
    RUN.get_or_init(|| {
        let folder = folder("piped");
        let mut run =
            Piped::start(&["guide", TINY, "--record", folder.to_str().expect("a plain path")]);
        run.answer_until("yes", "step 1 of 2: wake");
        run.wait_for("~ tone: NOW");
        run.answer_until("done", "step 2 of 2: show");
        run.wait_for("~ tone: NOW");
        run.answer_until("done", "ENDED: learned");
        assert_eq!(run.ends(), Some(0), "{}", run.told.join("\n"));
        let record = records(&folder).remove(0);
        (folder, run.told, record)
    })
}

/// What the program says to these words, and how it ends.
fn say(args: &[&str]) -> (String, String, Option<i32>) {
    let output = program(args).stdin(Stdio::null()).output().expect("it runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    (text(output.stdout), text(output.stderr), output.status.code())
}

fn replayed(record: &Path, how: &[&str]) -> (String, String, Option<i32>) {
    let mut args = vec!["replay", record.to_str().expect("a plain path")];
    args.extend(how);
    say(&args)
}

#[test]
fn a_run_through_pipes_is_told_in_stamped_lines_each_change_once() {
    let (_, told, _) = learned();
    for line in told {
        let stamp = line.split_whitespace().next().unwrap_or("");
        assert!(stamp.parse::<f64>().is_ok(), "no moment in front: {line}");
    }
    let all = told.join("\n");
    for text in ["In your hands:", "Do:", "Your press:", "[== OPEN ==]", "record: saved"] {
        assert!(all.contains(text), "{text} is missing:\n{all}");
    }
    assert_eq!(all.matches("DEMONSTRATION").count(), 1, "{all}");
    assert!(!all.contains('\x1b') && !all.contains('\r'), "plain text only");
}

#[test]
fn a_replay_shows_what_was_shown_and_says_so_on_every_line() {
    let (_, told, record) = learned();
    let (out, err, code) = replayed(record, &["--speed", "0"]);
    assert_eq!((err.as_str(), code), ("", Some(0)));
    assert!(out.lines().all(|line| line.starts_with("REPLAY ")), "{out}");
    let acts = |lines: &mut dyn Iterator<Item = &str>| -> Vec<String> {
        let act = |line: &str| line.split_once("Do:").map(|(_, act)| act.trim().to_owned());
        lines.filter_map(act).collect()
    };
    let shown = acts(&mut out.lines());
    assert_eq!(shown, acts(&mut told.iter().map(String::as_str)));
    assert!(out.contains("left of 20s (window in line "), "margins are told:\n{out}");
}

#[test]
fn the_summary_is_a_table_of_the_steps() {
    let (_, _, record) = learned();
    let (out, err, code) = replayed(record, &["--summary"]);
    assert_eq!((err.as_str(), code), ("", Some(0)));
    let row = |name: &str| out.lines().find(|l| l.contains(name)).unwrap_or_default().to_owned();
    assert!(row(" wake ").contains("you see the dash lit"), "{out}");
    assert!(row(" show ").contains("of 20.0 s (line "), "{out}");
    assert!(out.contains("ended: learned"), "{out}");
    assert!(out.lines().all(|line| line.chars().count() <= 100), "{out}");
}

#[test]
fn the_inputs_run_again_give_the_same_effects_and_a_changed_record_does_not() {
    let (folder, _, record) = learned();
    let (out, _, code) = replayed(record, &["--check"]);
    assert!(out.contains("effects are the same"), "{out}");
    assert_eq!(code, Some(0));
    // Another answer in the record: the checksum tells, and what follows is not believed.
    let bytes = std::fs::read_to_string(record).expect("readable");
    let spoiled = folder.join("spoiled.jsonl");
    let last = bytes.rfind("Press the start").expect("it was shown");
    let (before, after) = bytes.split_at(last);
    let after = after.replacen("Press", "Touch", 1);
    std::fs::write(&spoiled, format!("{before}{after}")).expect("written");
    let (_, err, code) = replayed(&spoiled, &["--check"]);
    assert!(err.contains("is damaged"), "{err}");
    assert_eq!(code, Some(1));
}

#[test]
fn a_record_of_another_version_is_shown_but_not_run_again() {
    let record = hostile_record(&folder("other-version"));
    let (out, _, code) = replayed(&record, &["--check"]);
    assert!(out.contains("recorded by another version"), "{out}");
    assert_eq!(code, Some(0));
    let (out, _, _) = replayed(Path::new("tests/journals/v1-odd.jsonl"), &["--speed", "0"]);
    assert!(out.contains("does not know"), "unknown entries are shown as unknown:\n{out}");
}

/// Writes a record whose texts try to steer the terminal, with sound checksums.
fn hostile_record(folder: &Path) -> PathBuf {
    use crate::made_records::written;
    use stepbell::clock::Moment;
    use stepbell::journal::entry::{Body, Header, Interruption, RunKind, ScriptFile};
    let evil = "\x1b]0;owned\x07\x1b[2J\u{9b}31m\u{202e}\x1b]52;c;AAAA\x07 text\r\n";
    let header = Header {
        format: "stepbell record".to_owned(),
        version: 1,
        tool: evil.to_owned(),
        run: RunKind::Live,
        started: evil.to_owned(),
        title: evil.to_owned(),
        status: evil.to_owned(),
        files: vec![ScriptFile::new(evil, evil)],
        profile: evil.to_owned(),
        lengths: evil.to_owned(),
        spoken: Vec::new(),
        lag: 0,
        operator: Some(evil.to_owned()),
        counts: std::collections::BTreeMap::new(),
        continues: None,
        rehearsal: None,
    };
    let object = |value: serde_json::Value| value.as_object().expect("an object").clone();
    let step = serde_json::json!({"ix": 0, "name": evil, "line": 1});
    let shown = serde_json::json!({
        "effect": "show", "stage": "acting", "step": step, "progress": [1, 1], "hands": [evil],
        "act": evil, "means": "act_done", "next": evil,
        "question": {"asks": "affirm", "text": evil}, "answers": [{"is": "choice", "text": evil}],
    });
    let fact =
        serde_json::json!({"effect": "fact", "fact": {"is": "entered", "step": step, "nth": 1}});
    let say = serde_json::json!({"effect": "say", "cue": "now", "text": evil});
    let typed = serde_json::json!({"input": "typed", "text": evil});
    let bodies = [
        Body::Header(Box::new(header)),
        Body::Effect { what: object(shown) },
        Body::Effect { what: object(fact) },
        Body::Effect { what: object(say) },
        Body::Input { what: object(typed), from: None },
        Body::Note { text: evil.to_owned() },
        Body::Continued { by: evil.to_owned() },
        Body::Interrupted { by: Interruption::Keyboard },
    ];
    let bytes = written((0..).map(Moment).zip(&bodies));
    let path = folder.join("hostile.jsonl");
    std::fs::write(&path, bytes).expect("written");
    path
}

#[test]
fn no_text_of_a_foreign_record_steers_the_terminal() {
    let folder = folder("hostile-record");
    let record = hostile_record(&folder);
    for how in [["--speed", "0"].as_slice(), &["--summary"], &["--check"]] {
        let (out, err, _) = replayed(&record, how);
        let all = format!("{out}{err}");
        assert!(all.contains("\\u{1b}"), "{how:?}: {all}");
        let steers = all.chars().any(|c| stepbell::complaint::visible::is_hidden(c) && c != '\n');
        assert!(!steers, "{how:?}: {all:?}");
    }
    let mut term =
        Term::start(&["replay", record.to_str().expect("plain"), "--speed", "0"], &folder, &[]);
    term.wait_for("Broken off: Ctrl-C");
    term.ends();
    let bytes = term.bytes();
    let text = String::from_utf8_lossy(&bytes);
    assert!(!text.contains("\x1b]") && !text.contains("\x1b[2J") && !text.contains('\u{9b}'));
    assert!(!text.contains('\u{202e}'), "nothing turns the reading order round");
}

#[test]
fn a_flood_of_lines_is_slowed_down_and_an_end_of_input_is_no_press() {
    let mut run = Piped::start(&["guide", TINY, "--no-record"]);
    let junk = "\u{1}x\n".repeat(100);
    let to = run.answers.as_mut().expect("open");
    to.write_all(junk.as_bytes()).expect("it is read");
    run.wait_for("not understood");
    run.answers = None;
    run.wait_for("Broken off: no more input can come");
    assert_eq!(run.ends(), Some(1));
    assert!(!run.told.join("\n").contains("step 1 of 2"), "junk is no yes");
}

#[test]
fn a_reader_that_never_reads_does_not_hold_the_run_up() {
    let folder = folder("never-read");
    let record = folder.to_str().expect("a plain path");
    let (reader, mut full) = std::io::pipe().expect("a pipe");
    // What a pipe holds on Linux (pipe(7)): from here on every write waits for a reader.
    full.write_all(&[b'.'; 65536]).expect("it fits");
    let mut child = program(&["guide", TINY, "--record", record])
        .stdin(Stdio::piped())
        .stdout(full)
        .stderr(Stdio::null())
        .spawn()
        .expect("it starts");
    child.stdin.take().expect("piped").write_all(b"yes\nyes\nno\n").expect("it is read");
    assert_eq!(child.wait().expect("it ends").code(), Some(1));
    drop(reader);
    let record =
        stepbell::journal::read::read(&std::fs::read(&records(&folder)[0]).expect("there"));
    assert_eq!(record.faults, []);
    assert!(!record.is_unfinished(), "it came to its ending: stopped");
}
