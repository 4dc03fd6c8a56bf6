//! How long a check takes, as ratios measured in one run.
//!
//! 1. A cold `stepbell check` of a 60-step script against an empty program: both are started as
//!    processes, one after the other, many times. Aim: at most 4 times.
//! 2. Reading and checking a script against parsing as many bytes of JSON with serde_json, in this
//!    process, interleaved. Aim: at most 5 times.
//! 3. Reading a script of twice the length against one of the single length: about 2 means linear.
//!
//! `cargo bench --bench check` prints the ratios; `-- --short` makes fewer rounds.

#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock and writes files")]
#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

fn main() {
    let short = std::env::args().any(|a| a == "--short");
    let rounds = if short { 10 } else { 60 };
    cold(rounds);
    in_process(if short { 20 } else { 200 });
    linear(if short { 10 } else { 60 });
}

/// A well-formed script with this many steps: a long bench procedure with a window on every step.
fn script(steps: usize) -> String {
    let mut text = String::from(
        "procedure \"A long bench procedure\"\ndevice \"Marrow bench clock (invented)\"\n\
         status demonstration\naccording to common practice\n\n\
         have probe, tool, \"the probe\"\nsign lamp-lit, see \"the lamp\" lit\n\n",
    );
    for n in 1..=steps {
        text.push_str(&format!(
            "step press-{n} \"Press the probe on contact {n}.\"\n  with probe\n  takes 1s to 3s\n"
        ));
        if n == 1 {
            text.push_str("  take probe\n");
        } else {
            text.push_str(&format!(
                "  within 40s after press-{} answered\n  late, so finish as stopped\n",
                n - 1
            ));
        }
        text.push_str(
            "  see lamp-lit, within 2s after done, so go on\n  \
             nothing within 4s after done, so finish as unsure\n",
        );
    }
    text.push_str("finish as stopped\n");
    text
}

/// JSON of about as many bytes, of the kind that a record holds.
fn json(bytes: usize) -> String {
    let mut text = String::from("[");
    let mut n = 0;
    while text.len() < bytes {
        if n > 0 {
            text.push(',');
        }
        text.push_str(&format!(
            "{{\"step\":\"press-{n}\",\"takes\":[1000,3000],\"say\":\"Press the probe.\",\"on\":true}}"
        ));
        n += 1;
    }
    text.push(']');
    text
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

fn folder() -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
    std::fs::create_dir_all(&folder).expect("a folder for the bench");
    folder
}

fn empty_program(folder: &Path) -> PathBuf {
    let source = folder.join("empty.rs");
    std::fs::write(&source, "fn main() {}\n").expect("written");
    let out = folder.join("empty");
    let built = Command::new("rustc")
        .args(["-O", "--edition", "2024", "-o"])
        .arg(&out)
        .arg(&source)
        .status()
        .expect("rustc runs");
    assert!(built.success(), "the empty program builds");
    out
}

fn time_process(command: &mut Command) -> Duration {
    let start = Instant::now();
    let status = command.stdout(Stdio::null()).stderr(Stdio::null()).status().expect("it runs");
    let took = start.elapsed();
    assert!(status.code().is_some_and(|code| code <= 1), "{status}");
    took
}

fn cold(rounds: usize) {
    let folder = folder();
    let empty = empty_program(&folder);
    let path = folder.join("sixty.bell");
    std::fs::write(&path, script(60)).expect("written");
    let (mut ours, mut bare) = (Vec::new(), Vec::new());
    for _ in 0..rounds {
        bare.push(time_process(&mut Command::new(&empty)));
        ours.push(time_process(
            Command::new(env!("CARGO_BIN_EXE_stepbell")).arg("check").arg(&path),
        ));
    }
    let (ours, bare) = (median(ours), median(bare));
    println!(
        "cold check of 60 steps: {ours:.2?}; an empty program: {bare:.2?}; ratio {:.2} (aim <= 4), n = {rounds}",
        ours.as_secs_f64() / bare.as_secs_f64()
    );
}

fn examine(text: &str) -> usize {
    let examined = stepbell::procedure::examine("bench.bell", text.to_owned(), &mut |_| {
        Err("no files in a bench".to_owned())
    });
    let errors = examined.complaints.iter().filter(|c| c.is_error()).count();
    assert_eq!(errors, 0, "the bench script is sound");
    examined.plans.len()
}

fn in_process(rounds: usize) {
    let text = script(60);
    let json = json(text.len());
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for _ in 0..rounds {
        let start = Instant::now();
        let value: serde_json::Value = serde_json::from_str(black_box(&json)).expect("JSON");
        theirs.push(start.elapsed());
        black_box(value);
        let start = Instant::now();
        black_box(examine(black_box(&text)));
        ours.push(start.elapsed());
    }
    let (ours, theirs) = (median(ours), median(theirs));
    println!(
        "read and check {} bytes: {ours:.2?}; parse {} bytes of JSON: {theirs:.2?}; ratio {:.1} (aim <= 5), n = {rounds}",
        text.len(),
        json.len(),
        ours.as_secs_f64() / theirs.as_secs_f64()
    );
}

fn linear(rounds: usize) {
    let (single, double) = (script(400), script(800));
    let (mut one, mut two) = (Vec::new(), Vec::new());
    for _ in 0..rounds {
        let start = Instant::now();
        black_box(stepbell::syntax::build::read(stepbell::source::FileId(0), black_box(&single)));
        one.push(start.elapsed());
        let start = Instant::now();
        black_box(stepbell::syntax::build::read(stepbell::source::FileId(0), black_box(&double)));
        two.push(start.elapsed());
    }
    let (one, two) = (median(one), median(two));
    println!(
        "read twice the bytes: {two:.2?} against {one:.2?}; ratio {:.2} (2 is linear), n = {rounds}",
        two.as_secs_f64() / one.as_secs_f64()
    );
}
