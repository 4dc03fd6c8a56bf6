//! How long an author waits after a key, as a ratio measured in one run.
//!
//! A script of 200 steps with a window on every step is open in the language server; one digit is changed
//! at a time, in the middle of the script, and the time is taken until the marks of that version
//! (complaints and verdict) are there. Interleaved, the same text is checked cold by `stepbell check`.
//! Aim: not slower, and for orientation 95 of 100 keys within 20 ms.
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
use stepbell::faces::address;

const STEPS: usize = 200;

fn main() {
    let keys = if std::env::args().any(|a| a == "--short") { 20 } else { 200 };
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
    std::fs::create_dir_all(&folder).expect("a folder for the bench");
    let path = folder.join("keys.bell");
    let mut text = script();
    let mut server = Server::start(&path, &text);
    let (line, column) = digit(&text);
    let (mut keyed, mut cold) = (Vec::new(), Vec::new());
    for key in 0..keys {
        let new = if key % 2 == 0 { "4" } else { "3" };
        keyed.push(server.key(key + 2, line, column, new));
        let byte = byte(&text, line, column);
        text.replace_range(byte..=byte, new);
        std::fs::write(&path, &text).expect("written");
        cold.push(check(&path));
    }
    keyed.sort();
    cold.sort();
    let (mine, theirs) = (keyed[keyed.len() / 2], cold[cold.len() / 2]);
    println!(
        "marks after a key in {STEPS} steps: median {mine:.2?}, 95 of 100 within {:.2?} (aim 20 ms); a cold \
         check: median {theirs:.2?}; ratio {:.2} (aim <= 1), n = {keys}",
        keyed[keyed.len() * 95 / 100],
        mine.as_secs_f64() / theirs.as_secs_f64()
    );
}

/// A long bench procedure with a window on every step.
fn script() -> String {
    let mut text = String::from(
        "procedure \"A long bench procedure\"\ndevice \"Marrow bench clock (invented)\"\n\
         status demonstration\naccording to common practice\n\n\
         have probe, tool, \"the probe\"\nsign lamp-lit, see \"the lamp\" lit\n\n",
    );
    for n in 1..=STEPS {
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

/// The place of a digit in the middle of the script: the 3 of `takes 1s to 3s`.
fn digit(text: &str) -> (usize, usize) {
    let middle = format!("step press-{} ", STEPS / 2);
    let line = text.lines().position(|line| line.starts_with(&middle)).expect("there") + 2;
    let column = text.lines().nth(line).and_then(|line| line.find("3s")).expect("a digit");
    (line, column)
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
