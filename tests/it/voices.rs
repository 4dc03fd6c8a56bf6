//! `check --voice`: every prompt rendered, measured and counted with; a prompt that is too long for its gap
//! is a complaint with its measured length.
#![cfg(unix)]

use std::fs;

use serde_json::Value;

use crate::loudspeaker::Bench;

const TINY: &str = "tests/terminal/tiny.bell";

#[test]
fn check_shows_what_each_prompt_takes_and_counts_with_it() {
    let bench = Bench::new("check-voice");
    let (out, err, code) = bench.speaks().asked(&["check", "--voice", TINY]);
    assert_eq!((err.as_str(), code), ("", Some(0)), "{out}");
    let table = out.split("\nspoken by").nth(1).expect("a table");
    insta::assert_snapshot!(format!("spoken by{table}"));
    let told = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("rendered and measured (voice: espeak-ng 9.9, en, 150 words a minute)"));
    let plain = bench.asked(&["check", TINY]).0;
    assert!(!plain.contains("spoken by espeak"), "{plain}");
}

#[test]
fn programs_get_the_same_as_json() {
    let bench = Bench::new("check-voice-json");
    let (out, err, code) = bench.speaks().asked(&["check", "--voice", "--format", "json", TINY]);
    assert_eq!((err.as_str(), code), ("", Some(0)), "{out}");
    let all: Value = serde_json::from_str(&out).expect("JSON");
    let schema = fs::read_to_string("grammar/check.schema.json").expect("a schema");
    let schema: Value = serde_json::from_str(&schema).expect("JSON");
    let valid = jsonschema::validator_for(&schema).expect("a schema").validate(&all);
    assert!(valid.is_ok(), "{valid:?}");
    let voice = &all["scripts"][0]["voice"];
    assert_eq!(voice["name"], "espeak-ng 9.9, en, 150 words a minute");
    let prompts = voice["prompts"].as_array().expect("prompts");
    let button = prompts.iter().find(|prompt| prompt["text"] == "Button.").expect("it");
    // One word of 0.1 s; 0.6 s for its tone, 0.06 s for the player.
    let lengths = ["measured_ms", "counted_ms", "model_ms"].map(|name| button[name].as_i64());
    assert_eq!(lengths, [Some(100), Some(760), Some(1146)]);
    assert_eq!(button["within_model"], true);
}

/// What fits by the model need not fit with a slow voice, and is told with the length that was measured.
#[test]
fn a_prompt_too_long_for_its_gap_is_a_complaint_with_its_measured_length() {
    let bench = Bench::new("check-slow");
    let text = fs::read_to_string(TINY).expect("readable");
    let long = "Hold the working key flat against the middle of the start button.";
    let text = text
        .replace("prepare \"Key.\"", &format!("prepare \"{long}\""))
        .replace("within 20s after wake answered", "within 16s after wake answered");
    let script = bench.file("long.bell");
    fs::write(&script, text).expect("writable");
    let script = script.to_str().expect("plain");
    let (out, _, code) = bench.asked(&["check", script]);
    assert!(!out.contains("prompt-too-long") && out.contains("Proven:"), "{out}");
    assert_eq!(code, Some(0));
    // Twelve words of 1.5 s, and 0.66 s.
    let (out, _, code) = bench.speaks_slowly(15).asked(&["check", "--voice", script]);
    assert!(out.contains("note: prompt-too-long"), "{out}");
    assert!(
        out.contains("The prompt takes up to 18.66s to say; the gap before its window may be ")
    );
    assert!(out.contains("longer than the model") && !out.contains("Proven:"), "{out}");
    assert_eq!(code, Some(1));
}

#[test]
fn without_a_voice_the_rest_of_the_check_is_as_ever_and_says_so() {
    let bench = Bench::new("check-mute");
    let (out, err, code) = bench.asked(&["check", "--voice", TINY]);
    assert!(out.contains("Proven:"), "{out}");
    let why = "stepbell: no voice: espeak-ng is not installed; prompts are only shown. The model's \
               lengths stand\n";
    assert_eq!((err.as_str(), code), (why, Some(4)));
}

#[test]
fn recordings_are_measured_and_what_is_not_recorded_is_named() {
    let bench = Bench::new("check-pack");
    bench.speaks();
    let index = "recordings 1\nby \"the morning class\"\n\"Button.\" words/1.wav\n";
    fs::write(bench.file("recordings.txt"), index).expect("writable");
    let folder = format!("--voice={}", bench.0.display());
    let (_, err, code) = bench.asked(&["check", &folder, TINY]);
    assert!(err.contains("recordings.txt line 3: `words/1.wav`: a plain name"), "{err}");
    assert_eq!(code, Some(4));
    fs::copy(bench.file("words/1.wav"), bench.file("button.wav")).expect("copied");
    fs::write(bench.file("recordings.txt"), index.replace("words/1", "button")).expect("writable");
    let (out, err, code) = bench.asked(&["check", &folder, TINY]);
    assert_eq!((err.as_str(), code), ("", Some(0)), "{out}");
    assert!(out.contains("spoken by the morning class: 1 text, 1 of them in steps"), "{out}");
    assert!(out.contains("not said, only shown: \"Key.\": not recorded"), "{out}");
}
