//! How long an author waits after a key, as a ratio measured in one run.
//!
//! A script with a window on every step is open in the language server; one digit is changed at a time, in
//! the middle of the script, and the time is taken until the marks of that version (complaints and verdict)
//! are there. What is still being worked out for the version before (how much every window has to spare)
//! is ended by the key, and that is in the time. Interleaved, of the same text:
//!
//! 1. 30 steps: a cold `stepbell check`, which tells what every window has to spare. Aim: not slower.
//! 2. 200 steps: complaints and verdict alone, worked out anew in this process. How much of the time is not
//!    that work; for orientation 95 of 100 keys within 20 ms.
//!
//! `cargo bench --bench editor` prints the figures; `-- --short` presses fewer keys.

#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock and writes files")]
#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

use std::fmt::Write as _;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use stepbell::cli::check::proved;
use stepbell::faces::address;
use stepbell::procedure::examine;
use stepbell::proof::verdict::Verdict;

fn main() {
    let short = std::env::args().any(|a| a == "--short");
    against_check(if short { 5 } else { 40 });
    against_verdict(if short { 20 } else { 200 });
}

fn against_check(keys: usize) {
    let mut typist = Typist::new(30);
    let mut cold = Vec::new();
    for key in 0..keys {
        typist.key(key);
        std::fs::write(&typist.path, &typist.text).expect("written");
        cold.push(check(&typist.path));
    }
    told(&typist, "a cold check", cold, " (aim <= 1)");
}

fn against_verdict(keys: usize) {
    let mut typist = Typist::new(200);
    let mut anew = Vec::new();
    for key in 0..keys {
        typist.key(key);
        let text = typist.text.clone();
        let start = Instant::now();
        let examined = examine("keys.bell", text, &mut |_| Err("no file".to_owned()));
        assert!(matches!(proved(&examined), Some(Verdict::Proven(_))));
        anew.push(start.elapsed());
    }
    told(&typist, "complaints and verdict anew", anew, "");
}

fn told(typist: &Typist, than: &str, mut other: Vec<Duration>, aim: &str) {
    let mut keyed = typist.took.clone();
    keyed.sort();
    other.sort();
    let (mine, theirs) = (keyed[keyed.len() / 2], other[other.len() / 2]);
    println!(
        "marks after a key in {} steps: median {mine:.2?}, 95 of 100 within {:.2?}; {than}: median \
         {theirs:.2?}; ratio {:.3}{aim}, n = {}",
        typist.steps,
        keyed[keyed.len() * 95 / 100],
        mine.as_secs_f64() / theirs.as_secs_f64(),
        keyed.len()
    );
}

/// Somebody who changes one digit again and again.
struct Typist {
    steps: usize,
    path: PathBuf,
    text: String,
    server: Server,
    took: Vec<Duration>,
}

impl Typist {
    fn new(steps: usize) -> Typist {
        let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
        std::fs::create_dir_all(&folder).expect("a folder for the bench");
        let path = folder.join("keys.bell");
        let text = script(steps);
        let server = Server::start(&path, &text);
        Typist { steps, path, text, server, took: Vec::new() }
    }

    fn key(&mut self, nth: usize) {
        let (line, column) = digit(&self.text, self.steps);
        let new = if nth.is_multiple_of(2) { "4" } else { "3" };
        self.took.push(self.server.key(nth + 2, line, column, new));
        let byte = byte(&self.text, line, column);
        self.text.replace_range(byte..=byte, new);
    }
}

/// A long bench procedure with a window on every step.
fn script(steps: usize) -> String {
    let mut text = String::from(
        "procedure \"A long bench procedure\"\ndevice \"Marrow bench clock (invented)\"\n\
         status demonstration\naccording to common practice\n\n\
         have probe, tool, \"the probe\"\nsign lamp-lit, see \"the lamp\" lit\n\n",
    );
    for n in 1..=steps {
        let _ = write!(
            text,
            "step press-{n} \"Press the probe on contact {n}.\"\n  with probe\n  takes 1s to 3s\n"
        );
        if n == 1 {
            text.push_str("  take probe\n");
        } else {
            let _ = write!(
                text,
                "  within 40s after press-{} answered\n  late, so finish as stopped\n",
                n - 1
            );
        }
        text.push_str(
            "  see lamp-lit, within 2s after done, so go on\n  \
             nothing within 4s after done, so finish as unsure\n",
        );
    }
    text.push_str("finish as stopped\n");
    text
}

/// The place of a digit in the middle of the script: the second figure of `takes 1s to 3s`.
fn digit(text: &str, steps: usize) -> (usize, usize) {
    let middle = format!("step press-{} ", steps / 2);
    let line = text.lines().position(|line| line.starts_with(&middle)).expect("there") + 2;
    let column = text.lines().nth(line).and_then(|line| line.find("to ")).expect("a digit");
    (line, column + 3)
}

fn byte(text: &str, line: usize, column: usize) -> usize {
    text.split_inclusive('\n').take(line).map(str::len).sum::<usize>() + column
}

fn check(path: &Path) -> Duration {
    let start = Instant::now();
    let status = Command::new(env!("CARGO_BIN_EXE_stepbell"))
        .arg("check")
        .arg(path)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .expect("it runs");
    let took = start.elapsed();
    assert!(status.success(), "the script is sound and proven");
    took
}

struct Server {
    child: Child,
    from: BufReader<ChildStdout>,
    uri: String,
}

impl Server {
    fn start(path: &Path, text: &str) -> Server {
        let mut child = Command::new(env!("CARGO_BIN_EXE_stepbell"))
            .arg("language-server")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("it starts");
        let from = BufReader::new(child.stdout.take().expect("piped"));
        let uri = address::of_path(path.to_str().expect("text"));
        let mut server = Server { child, from, uri };
        let hello = json!({ "processId": null, "rootUri": null, "capabilities": {} });
        server.send(&json!({ "jsonrpc": "2.0", "id": 1, "method": "initialize", "params": hello }));
        let document =
            json!({ "uri": server.uri, "languageId": "bell", "version": 1, "text": text });
        server.tell("initialized", &json!({}));
        server.tell("textDocument/didOpen", &json!({ "textDocument": document }));
        server.marks(1);
        server
    }

    /// One digit; the time until the marks of that version.
    fn key(&mut self, version: usize, line: usize, column: usize, new: &str) -> Duration {
        let range = json!({ "start": { "line": line, "character": column },
                            "end": { "line": line, "character": column + 1 } });
        let params = json!({
            "textDocument": { "uri": self.uri, "version": version },
            "contentChanges": [{ "range": range, "text": new }],
        });
        let start = Instant::now();
        self.tell("textDocument/didChange", &params);
        self.marks(version);
        start.elapsed()
    }

    fn tell(&mut self, method: &str, params: &Value) {
        self.send(&json!({ "jsonrpc": "2.0", "method": method, "params": params }));
    }

    fn send(&mut self, message: &Value) {
        let text = message.to_string();
        let to = self.child.stdin.as_mut().expect("piped");
        write!(to, "Content-Length: {}\r\n\r\n{text}", text.len()).expect("it listens");
        to.flush().expect("it listens");
    }

    /// Waits for the marks of a version: none, since the script is sound and proven.
    fn marks(&mut self, version: usize) {
        loop {
            let message = self.read();
            if message["params"]["version"] == version {
                assert_eq!(message["params"]["diagnostics"], json!([]));
                return;
            }
        }
    }

    fn read(&mut self) -> Value {
        let mut length = 0;
        loop {
            let mut line = String::new();
            self.from.read_line(&mut line).expect("a line");
            match line.trim_end().strip_prefix("Content-Length: ") {
                Some(size) => length = size.parse().expect("a size"),
                None if line.trim_end().is_empty() => break,
                None => {}
            }
        }
        let mut body = vec![0; length];
        self.from.read_exact(&mut body).expect("a message");
        serde_json::from_slice(&body).expect("JSON")
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
