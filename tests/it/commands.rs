//! The commands from outside: what they print where, and how they end.

use std::fs;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

use crate::pty::Term;

/// Longer than any call takes; a call that takes longer is killed, and the test fails.
const PATIENCE: Duration = Duration::from_secs(120);

/// One call of the program. What is not stated must be empty, and no escape sequence may come out.
#[must_use]
pub struct Call {
    args: Vec<String>,
    env: Vec<(&'static str, String)>,
    input: Vec<u8>,
    folder: PathBuf,
    limits: Option<String>,
    out: Vec<String>,
    err: Vec<String>,
}

/// The program with these arguments, in the project's folder, with empty input and without a folder
/// for records.
pub fn call(args: &[&str]) -> Call {
    Call {
        args: args.iter().map(|a| (*a).to_owned()).collect(),
        env: Vec::new(),
        input: Vec::new(),
        folder: PathBuf::from(env!("CARGO_MANIFEST_DIR")),
        limits: None,
        out: Vec::new(),
        err: Vec::new(),
    }
}

impl Call {
    /// What stands on standard input.
    pub fn input(mut self, bytes: impl AsRef<[u8]>) -> Call {
        self.input = bytes.as_ref().to_vec();
        self
    }

    pub fn env(mut self, name: &'static str, value: impl Into<String>) -> Call {
        self.env.push((name, value.into()));
        self
    }

    pub fn inside(mut self, folder: &Path) -> Call {
        folder.clone_into(&mut self.folder);
        self
    }

    /// A file for it to find where it runs, under [`Call::inside`].
    pub fn file(self, name: &str, bytes: impl AsRef<[u8]>) -> Call {
        fs::write(self.folder.join(name), bytes).expect("written");
        self
    }

    /// Limits that a shell sets before it: `ulimit` lines.
    pub fn limits(mut self, lines: &str) -> Call {
        self.limits = Some(lines.to_owned());
        self
    }

    /// Standard output holds this.
    pub fn out(mut self, part: impl Into<String>) -> Call {
        self.out.push(part.into());
        self
    }

    /// Standard error holds this.
    pub fn err(mut self, part: impl Into<String>) -> Call {
        self.err.push(part.into());
        self
    }

    fn command(&self) -> Command {
        let program = env!("CARGO_BIN_EXE_stepbell");
        let mut command = match &self.limits {
            None => Command::new(program),
            Some(lines) => {
                let mut shell = Command::new("sh");
                shell.arg("-c").arg(format!("{lines}; exec \"$0\" \"$@\"")).arg(program);
                shell
            }
        };
        command
            .args(&self.args)
            .current_dir(&self.folder)
            .env_remove("XDG_STATE_HOME")
            .env_remove("HOME")
            .env_remove("NO_COLOR")
            .envs(self.env.iter().map(|(name, value)| (name, value)))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        command
    }

    /// Runs it; gives standard output.
    #[track_caller]
    pub fn ends(self, code: i32) -> String {
        let mut child = self.command().spawn().expect("it starts");
        let mut stdin = child.stdin.take().expect("piped");
        let out = collect(child.stdout.take().expect("piped"));
        let err = collect(child.stderr.take().expect("piped"));
        let input = self.input;
        // A program that does not read its input has closed it.
        std::thread::spawn(move || stdin.write_all(&input));
        let (Ok(out), Ok(err)) = (out.recv_timeout(PATIENCE), err.recv_timeout(PATIENCE)) else {
            child.kill().expect("it can be ended");
            panic!("{:?} does not end", self.args);
        };
        let status = child.wait().expect("it ends");
        let out = String::from_utf8(out).expect("text");
        let err = String::from_utf8(err).expect("text");
        assert_eq!(status.code(), Some(code), "{status}\nout:\n{out}\nerr:\n{err}");
        for (got, wanted, name) in [(&out, &self.out, "out"), (&err, &self.err, "err")] {
            assert_eq!(got.is_empty(), wanted.is_empty(), "{name}:\n{got}");
            for part in wanted {
                assert!(got.contains(part), "{name} lacks {part:?}:\n{got}");
            }
            let steers = |c: char| c.is_control() && c != '\n';
            assert!(!got.contains(steers), "a control character without a terminal:\n{got:?}");
        }
        out
    }
}

fn collect(mut from: impl Read + Send + 'static) -> mpsc::Receiver<Vec<u8>> {
    let (to, got) = mpsc::channel();
    std::thread::spawn(move || {
        let mut bytes = Vec::new();
        let _ = from.read_to_end(&mut bytes);
        to.send(bytes)
    });
    got
}

/// A fresh folder of this test's own.
pub fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("commands").join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder");
    folder
}

/// The one file in a folder.
#[track_caller]
pub fn only(folder: &Path) -> PathBuf {
    let entries = fs::read_dir(folder).expect("readable");
    let mut files: Vec<_> = entries.map(|entry| entry.expect("one").path()).collect();
    assert_eq!(files.len(), 1, "{files:?}");
    files.remove(0)
}

const SOUND: &str = "procedures/push-start-spare.bell";
/// A run of seconds.
pub const TINY: &str = "tests/terminal/tiny.bell";
const WRONG: &str = "tests/scripts/ten-mistakes.bell";

#[test]
fn check_says_what_is_wrong_and_ends_accordingly() {
    call(&["check", SOUND]).out("no complaint").ends(0);
    call(&["check", WRONG]).out("10 errors").out("stepbell why bare-number").ends(1);
    call(&["check", "nowhere.bell"]).err("nowhere.bell: there is no such file").ends(3);
    call(&["check", "src"]).err("src: this is a folder, not a file").ends(3);
    let script = fs::read_to_string(SOUND).expect("readable");
    call(&["check", "-"]).input(&script).out("standard input: no complaint").ends(0);
}

/// A warning is a finding too; beside an error it is counted on its own.
#[test]
fn check_counts_warnings_and_errors_and_goes_on_to_the_next_file() {
    let tiny = fs::read_to_string(TINY).expect("readable");
    let unused = tiny.replace("sign dash-lit", "sign bulb, see \"the bulb\" lit\nsign dash-lit");
    let both = unused.replace("  takes 100ms to 1s\n", "  takes 100 to 1s\n");
    let folder = folder("several");
    let out = call(&["check", "a.bell", "nowhere.bell", "b.bell", "c.bell"])
        .inside(&folder)
        .file("a.bell", &unused)
        .file("b.bell", &both)
        .file("c.bell", &tiny)
        .out("a.bell: 1 warning. 2 steps.\n")
        .out("b.bell: 2 errors, ")
        .out("c.bell: no complaint. 2 steps.\n")
        .err("stepbell: nowhere.bell: there is no such file\n")
        .ends(3);
    let at = |part: &str| out.find(part).expect(part);
    assert!(at("a.bell: 1") < at("b.bell: 2") && at("b.bell: 2") < at("c.bell: no"), "{out}");
    call(&["check", "a.bell"])
        .inside(&folder)
        .out("sign-unused")
        .out("Proven: there is a rule")
        .ends(1);
}

/// Files that a script uses are read from beside it and never from elsewhere.
#[test]
fn check_reads_used_files_from_beside_the_script_only() {
    let tiny = fs::read_to_string(TINY).expect("readable");
    let with =
        |used: &str| tiny.replace("sign dash-lit", &format!("use \"{used}\"\nsign dash-lit"));
    let folder = folder("used");
    fs::create_dir(folder.join("in")).expect("a folder");
    let check =
        |text: String| call(&["check", "in/a.bell"]).inside(&folder).file("in/a.bell", text);
    fs::write(folder.join("outside.bell"), "").expect("written");
    for used in ["../outside.bell", "/etc/passwd", "in/../../outside.bell"] {
        check(with(used)).out("in/a.bell: 1 error").ends(1);
    }
    check(with("beside.bell")).out("there is no such file").ends(1);
}

#[test]
fn check_speaks_json_to_programs() {
    let text = call(&["check", "--format", "json", SOUND, WRONG]).out("\"scripts\"").ends(1);
    let value: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(value["scripts"][0]["sound"], true);
    let first = &value["scripts"][1]["complaints"][0];
    assert_eq!((&first["code"], &first["line"]), (&"not-a-sentence".into(), &8.into()));
    assert_eq!(value["scripts"][0]["timing"]["verdict"], "proven");
    assert_eq!(value["scripts"][1]["errors"], 10);
    let text = call(&["check", "--format", "json", "nowhere.bell"])
        .out("\"scripts\": []")
        .err("there is no such file")
        .ends(3);
    serde_json::from_str::<serde_json::Value>(&text).expect("JSON all the same");
}

#[test]
fn tidy_writes_the_canonical_form_and_keeps_remarks() {
    let folder = folder("tidy");
    let file = folder.join("a.bell");
    fs::write(&file, "note  kept\n\n\nstep   wake \"Press it.\"\ntakes 1000ms to 90s\n")
        .expect("written");
    call(&["tidy", "--check", "a.bell"]).inside(&folder).out("not in canonical form").ends(1);
    call(&["tidy", "a.bell"]).inside(&folder).ends(0);
    let tidied = fs::read_to_string(&file).expect("readable");
    assert_eq!(tidied, "note kept\n\nstep wake \"Press it.\"\n  takes 1s to 1min 30s\n");
    call(&["tidy", "--check", "a.bell"]).inside(&folder).ends(0);
    call(&["tidy", "-"]).input("note  a\n").out("note a\n").ends(0);
    call(&["tidy", "--check", "-"]).input("note  a\n").out("not in canonical form").ends(1);
    call(&["tidy", "nowhere.bell", "-"]).input("a").out("a\n").err("no such file").ends(3);
    assert_eq!(fs::read_dir(&folder).expect("readable").count(), 1, "nothing is left beside it");
}

#[test]
fn why_answers_and_knows_what_was_meant() {
    call(&["why", "silence-too-early"]).out("To mend it").ends(0);
    call(&["why", "silence-to-early"]).err("Did you mean silence-too-early?").ends(2);
    call(&["why", "\u{1b}[2Jx"]).err("\\u{1b}[2Jx").ends(2);
    let list = call(&["why"]).out("working-key-first").ends(0);
    let verdicts = stepbell::complaint::why_verdict::ALL.len();
    assert_eq!(list.lines().count(), stepbell::complaint::Code::all().count() + verdicts);
    call(&["why", "not proven"]).out("grammar/PROOF.md").ends(0);
}

#[test]
fn guide_does_not_begin_what_cannot_be_led_through() {
    call(&["guide", WRONG, "--no-record"]).err("not led through while an error stands").ends(1);
    call(&["guide", SOUND]).err("--no-record").ends(4);
    call(&["guide", SOUND, "--record", "nowhere"])
        .input("no\n")
        .err("nowhere")
        .err("Mend it, name another folder with --record, or go on with --no-record.")
        .ends(4);
    call(&["guide", "nowhere.bell"]).err("nowhere.bell: there is no such file").ends(3);
    call(&["guide", "-", "--no-record"]).input("note x\n").err("not led through").ends(1);
}

#[test]
fn guide_through_pipes_ends_as_the_person_says() {
    let folder = folder("guide");
    let record = folder.to_str().expect("a plain path");
    let out =
        call(&["guide", SOUND, "--record", record]).input("no\n").out("ENDED: stopped").ends(1);
    assert!(out.contains("In your hands:") && out.contains("Your press:"), "{out}");
    let file = only(&folder);
    let name = file.to_str().expect("a plain path");
    call(&["replay", name, "--speed", "0"]).out("REPLAY").out("ENDED: stopped").ends(0);
    call(&["replay", name, "--summary"]).out("ended: stopped").ends(0);
    call(&["replay", name, "--check"]).out("effects are the same").ends(0);
}

/// Without a folder named, the record goes into the user's own, which is made.
#[test]
fn records_go_into_the_users_own_folder_by_default() {
    let folder = folder("state");
    let state = folder.to_str().expect("a plain path");
    call(&["guide", TINY]).env("XDG_STATE_HOME", state).input("no\n").out("ENDED").ends(1);
    only(&folder.join("stepbell/records"));
}

#[test]
fn a_run_whose_input_ends_is_broken_off_and_asked_about_next_time() {
    let folder = folder("broken-off");
    let record = folder.to_str().expect("a plain path");
    call(&["guide", SOUND, "--record", record])
        .input("yes\n")
        .out("no more input can come")
        .ends(1);
    let out = call(&["guide", SOUND, "--record", record])
        .input("no\n")
        .out("An earlier run of this script was broken off")
        .out("Not begun.")
        .ends(0);
    assert!(!out.contains("ENDED"), "{out}");
}

#[test]
fn replay_of_something_else_says_so() {
    call(&["replay", "README.md"]).err("not a record of ours").ends(3);
    call(&["replay", "nowhere.jsonl"]).err("there is no such file").ends(3);
    call(&["check", SOUND, "--language", "de"]).err("--voice").ends(2);
    call(&["replay", "tests/journals/v1-torn.jsonl", "--summary"])
        .out("length")
        .err("unfinished line")
        .ends(1);
}

#[test]
fn network_gives_one_verdict_a_file() {
    let (dc, not) =
        ("tests/networks/published/loops-3.tn", "tests/networks/published/late-check.tn");
    call(&["network", dc]).out("loops-3.tn dc").ends(0);
    call(&["network", dc, not]).out("late-check.tn not").ends(1);
    call(&["network", SOUND]).err("the first line has to be").ends(3);
    call(&["network", "nowhere.tn", dc])
        .out("loops-3.tn dc")
        .err("nowhere.tn: there is no such file\n")
        .ends(3);
    call(&["network", dc, "--latest", "nobody", "none"]).err("nobody").ends(2);
    let text = call(&["network", "--format", "json", dc]).out("stepbell-network").ends(0);
    let value: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(value["files"][0]["verdict"], "dc");
}

/// Colour only where it is welcome; never for programs.
#[test]
fn check_is_coloured_in_a_terminal_that_wants_it() {
    let folder = folder("colour");
    let escapes = |args: &[&str], env: &[(&str, &str)]| {
        let mut term = Term::start(args, &folder, env);
        term.ends();
        term.bytes().contains(&0x1b)
    };
    assert!(escapes(&["check", WRONG], &[]));
    assert!(!escapes(&["check", WRONG], &[("NO_COLOR", "1")]));
    assert!(!escapes(&["check", WRONG], &[("TERM", "dumb")]));
    assert!(!escapes(&["check", "--format", "json", WRONG], &[]));
    assert!(!escapes(&["guide", WRONG], &[]));
}

/// A terminal that cannot paint gets plain lines.
#[test]
fn guide_in_a_dumb_terminal_writes_plain_lines() {
    let folder = folder("dumb");
    let mut term = Term::start(&["guide", TINY, "--no-record"], &folder, &[("TERM", "dumb")]);
    term.wait_for("Is no real vehicle meant?").press("no\n").wait_for("ENDED: stopped");
    assert_eq!(term.ends(), 1);
    assert!(!term.bytes().contains(&0x1b));
}

#[test]
fn wrong_usage_ends_with_two() {
    call(&["chek"]).err("Usage").err("check").ends(2);
    call(&[]).err("Usage").ends(2);
    call(&["check", "--format", "xml", SOUND]).err("human").ends(2);
    call(&["guide", SOUND, "--record", ".", "--no-record"]).err("cannot be used with").ends(2);
    call(&["replay", "--summary", "--check", "x"]).err("cannot be used with").ends(2);
    call(&["replay", "--speed", "1001", "x"]).err("from 0 to 1000").ends(2);
    call(&["guide", SOUND, "--keys", "done=q,stop=x,stop=q"]).err("without a key").ends(2);
    call(&["--version"]).out(env!("CARGO_PKG_VERSION")).ends(0);
    call(&["check"]).err("FILE").ends(2);
    call(&["replay", "--speed", "fast", "x"]).err("whole number").ends(2);
    call(&["guide", SOUND, "--keys", "done=Nokey"]).err("Nokey").ends(2);
}

#[test]
fn a_reader_that_goes_away_is_no_fault() {
    let folder = folder("gone");
    // More than a pipe holds.
    fs::write(folder.join("long.bell"), "takes a while\n".repeat(5000)).expect("written");
    let record = fs::canonicalize("tests/journals/v1-full.jsonl").expect("there");
    let record = record.to_str().expect("a plain path");
    let calls: [(&[&str], i32); 7] = [
        (&["--help"], 0),
        (&["why"], 0),
        (&["check", "long.bell"], 1),
        (&["check", "--format", "json", "long.bell"], 1),
        (&["tidy", "-"], 0),
        (&["replay", "--summary", record], 0),
        (&["network", "nowhere.tn"], 3),
    ];
    for (args, code) in calls {
        let mut child = call(args).inside(&folder).command().spawn().expect("it starts");
        drop(child.stdout.take());
        let output = child.wait_with_output().expect("it ends");
        let err = String::from_utf8_lossy(&output.stderr);
        assert!(!err.contains("panicked"), "{args:?}: {err}");
        assert_eq!(output.status.code(), Some(code), "{args:?}: {err}");
    }
}

/// With no face left nobody can be led: the run ends as if the terminal had been closed.
#[test]
fn guide_without_a_reader_is_broken_off_and_recorded() {
    let folder = folder("guide-gone");
    let record = folder.to_str().expect("a plain path");
    let mut child =
        call(&["guide", TINY, "--record", record]).command().spawn().expect("it starts");
    drop(child.stdout.take());
    let mut stdin = child.stdin.take().expect("piped");
    // What is said next meets the closed pipe.
    let _ = stdin.write_all(b"yes\n");
    let output = child.wait_with_output().expect("it ends");
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!((output.status.code(), err.as_ref()), (Some(129), ""));
    let file = only(&folder);
    let text = fs::read_to_string(file).expect("readable");
    assert!(text.contains("terminal_closed"), "{text}");
}

#[cfg(unix)]
#[test]
fn what_is_no_script_is_refused_within_a_second() {
    use std::time::{Duration, Instant};
    let folder = folder("hostile-files");
    let pipe = folder.join("pipe.bell");
    let made = Command::new("mkfifo").arg(&pipe).status().expect("mkfifo runs");
    assert!(made.success());
    let large = fs::File::create(folder.join("large.bell")).expect("created");
    large.set_len(100 << 20).expect("a sparse file");
    fs::write(folder.join("bytes.bell"), b"note a\nnote \xff\xfe\n").expect("written");
    let name = |name: &str| folder.join(name).to_str().expect("a plain path").to_owned();
    let inputs = [
        (name("pipe.bell"), "this is a pipe, not a file"),
        (name(""), "this is a folder, not a file"),
        ("/dev/zero".to_owned(), "this is a device, not a file"),
        (name("large.bell"), "longer than 1 MiB"),
        (name("bytes.bell"), "2:6: not UTF-8 text"),
    ];
    for (file, why) in &inputs {
        for words in [vec!["check"], vec!["tidy"], vec!["guide", "--no-record"]] {
            let mut words = words;
            words.push(file);
            let began = Instant::now();
            call(&words).err(*why).ends(3);
            let took = began.elapsed();
            assert!(took < Duration::from_secs(1), "{words:?} took {took:?}");
        }
    }
    for (file, why) in &inputs[..3] {
        let began = Instant::now();
        call(&["replay", file]).err(*why).ends(3);
        assert!(began.elapsed() < Duration::from_secs(1), "replay {file}");
    }
}

#[test]
fn standard_output_that_takes_nothing_is_told_of() {
    let Ok(full) = fs::OpenOptions::new().write(true).open("/dev/full") else { return };
    let run = Command::new(env!("CARGO_BIN_EXE_stepbell"))
        .arg("why")
        .stdout(full)
        .stderr(Stdio::piped())
        .output()
        .expect("it runs");
    assert_eq!(run.status.code(), Some(4));
    assert!(String::from_utf8_lossy(&run.stderr).contains("cannot be written"));
}
