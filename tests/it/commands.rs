//! The commands from outside: what they print where, and how they end.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// One call of the program. What is not stated must be empty.
#[must_use]
struct Call {
    args: Vec<String>,
    input: Vec<u8>,
    folder: PathBuf,
    out: Vec<&'static str>,
    err: Vec<&'static str>,
}

fn call(args: &[&str]) -> Call {
    Call {
        args: args.iter().map(|a| (*a).to_owned()).collect(),
        input: Vec::new(),
        folder: PathBuf::from(env!("CARGO_MANIFEST_DIR")),
        out: Vec::new(),
        err: Vec::new(),
    }
}

impl Call {
    fn input(mut self, text: &str) -> Call {
        self.input = text.as_bytes().to_vec();
        self
    }

    fn inside(mut self, folder: &Path) -> Call {
        folder.clone_into(&mut self.folder);
        self
    }

    fn out(mut self, part: &'static str) -> Call {
        self.out.push(part);
        self
    }

    fn err(mut self, part: &'static str) -> Call {
        self.err.push(part);
        self
    }

    #[track_caller]
    fn ends(self, code: i32) -> String {
        let mut child = Command::new(env!("CARGO_BIN_EXE_stepbell"))
            .args(&self.args)
            .current_dir(&self.folder)
            .env_remove("XDG_STATE_HOME")
            .env_remove("HOME")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts");
        // A program that does not read its input has closed it.
        let _ = child.stdin.take().expect("piped").write_all(&self.input);
        let output = child.wait_with_output().expect("it ends");
        let out = String::from_utf8(output.stdout).expect("text");
        let err = String::from_utf8(output.stderr).expect("text");
        assert_eq!(output.status.code(), Some(code), "out:\n{out}\nerr:\n{err}");
        for (got, wanted, name) in [(&out, &self.out, "out"), (&err, &self.err, "err")] {
            assert_eq!(got.is_empty(), wanted.is_empty(), "{name}:\n{got}");
            for part in wanted {
                assert!(got.contains(part), "{name} lacks {part:?}:\n{got}");
            }
            assert!(!got.contains('\u{1b}'), "an escape sequence without a terminal:\n{got:?}");
        }
        out
    }
}

/// A folder of this test's own.
fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("commands").join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder");
    folder
}

const SOUND: &str = "procedures/push-start-spare.bell";
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

#[test]
fn check_speaks_json_to_programs() {
    let text = call(&["check", "--format", "json", SOUND, WRONG]).out("\"scripts\"").ends(1);
    let value: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(value["scripts"][0]["sound"], true);
    let first = &value["scripts"][1]["complaints"][0];
    assert_eq!((&first["code"], &first["line"]), (&"not-a-sentence".into(), &8.into()));
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
    call(&["tidy", "-"]).input("note  a\n").out("note a").ends(0);
    assert_eq!(fs::read_dir(&folder).expect("readable").count(), 1, "nothing is left beside it");
}

#[test]
fn why_answers_and_knows_what_was_meant() {
    call(&["why", "silence-too-early"]).out("To mend it").ends(0);
    call(&["why", "silence-to-early"]).err("Did you mean silence-too-early?").ends(2);
    call(&["why"]).out("working-key-first").ends(0);
}

#[test]
fn guide_does_not_begin_what_cannot_be_led_through() {
    call(&["guide", WRONG, "--no-record"]).err("not led through while an error stands").ends(1);
    call(&["guide", SOUND]).err("--no-record").ends(4);
    call(&["guide", SOUND, "--record", "nowhere"]).input("no\n").err("--no-record").ends(4);
}

#[test]
fn guide_through_pipes_ends_as_the_person_says() {
    let folder = folder("guide");
    let record = folder.to_str().expect("a plain path");
    let out =
        call(&["guide", SOUND, "--record", record]).input("no\n").out("ENDED: stopped").ends(1);
    assert!(out.contains("In your hands:") && out.contains("Your press:"), "{out}");
    let files: Vec<_> =
        fs::read_dir(&folder).expect("readable").map(|f| f.expect("one").path()).collect();
    assert_eq!(files.len(), 1);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = fs::metadata(&files[0]).expect("there").permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
    }
    let name = files[0].to_str().expect("a plain path");
    call(&["replay", name, "--speed", "0"]).out("REPLAY").out("ENDED: stopped").ends(0);
    call(&["replay", name, "--summary"]).out("ended: stopped").ends(0);
    call(&["replay", name, "--check"]).out("effects are the same").ends(0);
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
}

#[test]
fn wrong_usage_ends_with_two() {
    call(&["chek"]).err("Usage").ends(2);
    call(&["check"]).err("FILE").ends(2);
    call(&["replay", "--speed", "fast", "x"]).err("whole number").ends(2);
    call(&["guide", SOUND, "--keys", "done=Nokey"]).err("Nokey").ends(2);
}

#[test]
fn a_reader_that_goes_away_is_no_fault() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_stepbell"))
        .arg("why")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("it ends");
    let err = String::from_utf8_lossy(&output.stderr);
    assert!(!err.contains("panicked"), "{err}");
    assert_eq!(output.status.code(), Some(0));
}

#[test]
fn help_is_enough_to_start() {
    let mut all = String::new();
    for args in [
        vec!["--help"],
        vec!["check", "--help"],
        vec!["tidy", "--help"],
        vec!["why", "--help"],
        vec!["guide", "--help"],
        vec!["replay", "--help"],
        vec!["network", "--help"],
    ] {
        all.push_str(&format!("$ stepbell {}\n", args.join(" ")));
        all.push_str(&call(&args).out("Usage").ends(0));
        all.push('\n');
    }
    insta::assert_snapshot!(all);
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
            call(&words).err(why).ends(3);
            let took = began.elapsed();
            assert!(took < Duration::from_secs(1), "{words:?} took {took:?}");
        }
    }
    for (file, why) in &inputs[..3] {
        let began = Instant::now();
        call(&["replay", file]).err(why).ends(3);
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
