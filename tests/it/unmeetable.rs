//! Scripts that no person can follow, one mistake each: the story of why names the right lines, and the
//! first repair, written into its line, makes the script proven.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use stepbell::complaint::render::sentence;
use stepbell::complaint::{Code, Complaint};
use stepbell::faces::verdict::{verdict as words, word};
use stepbell::procedure::timing::{What, speech_lengths};
use stepbell::procedure::{Examined, examine, plans};
use stepbell::proof::repair::{Repair, repairs};
use stepbell::proof::verdict::Verdict;

use crate::verdicts::{decide, lines_of};

/// The scripts, by name.
pub fn unmeetable() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scripts/unmeetable");
    let entries = std::fs::read_dir(folder).expect("a folder");
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.expect("an entry").path()).collect();
    paths.sort();
    let name = |path: &Path| path.file_stem().and_then(|n| n.to_str()).expect("a name").to_owned();
    let read = |path: &PathBuf| std::fs::read_to_string(path).expect("readable");
    paths.iter().map(|path| (name(path), read(path))).collect()
}

/// As `check` sees it; one with an error of another kind is planned all the same.
pub fn planned(name: &str, text: &str) -> Examined {
    let name = format!("{name}.bell");
    let mut examined = examine(&name, text.to_owned(), &mut |_| Err("no file".to_owned()));
    if examined.plans.is_empty() {
        let procedure = examined.procedure.as_ref();
        let procedure = procedure.unwrap_or_else(|| panic!("{:?}\n{text}", examined.complaints));
        examined.plans = plans(procedure).0;
    }
    examined
}

/// The line below the remark that points at it.
fn mistake(text: &str) -> u32 {
    let at = text.lines().position(|line| line.trim() == "note The next line is the mistake.");
    u32::try_from(at.expect("the mistake is marked") + 2).expect("few lines")
}

#[test]
fn the_story_names_the_line_of_the_mistake() {
    let mut text = String::new();
    for (name, script) in unmeetable() {
        let examined = planned(&name, &script);
        let timing = decide(&examined);
        let lines = lines_of(&examined, &timing);
        assert!(
            lines.contains(&mistake(&script)),
            "{name}: {lines:?}\n{}",
            words(&timing, &examined)
        );
        let line = script.lines().next().unwrap_or_default().trim_start_matches("note ");
        let _ = write!(text, "{name}. {line}\n{}\n", words(&timing, &examined));
    }
    assert!(unmeetable().len() >= 12);
    insta::assert_snapshot!(text);
}

/// A script with a repair written into its line.
pub fn mended(text: &str, repair: &Repair) -> String {
    let (start, end) = (repair.place.start as usize, repair.place.end as usize);
    let (before, line, after) = (&text[..start], &text[start..end], &text[end..]);
    let line = if repair.what == What::PrepareWords {
        // Any words will do, for whoever counts them.
        let (_, left) = repair.words.expect("how many may be left");
        let kept: Vec<&str> = line.split_whitespace().take(left as usize).collect();
        kept.join(" ")
    } else {
        line.replacen(&repair.from.to_string(), &repair.to.to_string(), 1)
    };
    format!("{before}{line}{after}")
}

#[test]
fn the_first_repair_of_each_makes_it_proven() {
    let mut text = String::new();
    for (name, script) in unmeetable() {
        let examined = planned(&name, &script);
        let procedure = examined.procedure.as_ref().expect("a model");
        let Verdict::Refused(refusal) = decide(&examined) else { panic!("{name} is refused") };
        let speech = speech_lengths(procedure);
        let found = repairs(procedure, &examined.plans, &speech, &refusal);
        assert!(!found.is_empty(), "{name}: no repair");
        for (nth, repair) in found.iter().enumerate() {
            let after = mended(&script, repair);
            assert_ne!(after, script, "{name}: {repair:?}");
            let timing = decide(&planned(&name, &after));
            // Only the least change is promised to be the first; each is enough.
            assert_eq!(word(&timing), "proven", "{name}: {repair:?}\n{after}");
            if nth == 0 {
                let line = examined.sources.line_col(repair.place).line;
                let (from, to) = (repair.from, repair.to);
                let _ = writeln!(text, "{name}: line {line}, {:?} {from} -> {to}", repair.what);
            }
        }
    }
    insta::assert_snapshot!(text);
}

/// What a second is too short for is told as that, before anybody adds it up.
#[test]
fn a_second_is_not_comfortable_for_a_person() {
    let told = |name: &str, code: Code| {
        let all = unmeetable();
        let (name, script) = all.iter().find(|(n, _)| n == name).expect("it is there");
        let found = planned(name, script).complaints;
        let mut found: Vec<&Complaint> = found.iter().filter(|c| c.code == code).collect();
        found.pop().map_or_else(|| panic!("{name}: {code:?} is told"), sentence)
    };
    insta::assert_snapshot!(told("one-second-burst", Code::BurstTooFastForHand), @"5 strokes within 1s are not comfortable for a person: 250ms for each.");
    insta::assert_snapshot!(told("one-second-reaction", Code::ReactionTooShort), @"1s is too short to react to what was seen: a person needs 1.5 s and more.");
}

/// The same two keys: proven when the second is in the hand before the window opens.
#[test]
fn the_second_key_in_the_hand_is_proven() {
    let all = unmeetable();
    let (name, script) = all.iter().find(|(n, _)| n == "key-not-in-the-hand").expect("it is there");
    assert_ne!(word(&decide(&planned(name, script))), "proven");
    let away = "  keep away key-two, \"in the door pocket\"\n";
    let taken = script
        .replacen(&format!("  with key-one\n{away}"), "  with key-one\n  take key-two\n", 1)
        .replacen(away, "", 1)
        .replace("  take key-two\n  with key-two\n", "  straight on\n  with key-two\n")
        .replace(
            "takes 4s to 9s, assumed \"it must first be fetched from the pocket\"",
            "takes 2s to 4s",
        );
    let staged = planned(name, &taken);
    let wrong: Vec<_> = staged.complaints.iter().filter(|c| c.is_error()).collect();
    assert!(wrong.is_empty(), "{wrong:?}\n{taken}");
    assert_eq!(word(&decide(&staged)), "proven", "{}", words(&decide(&staged), &staged));
}
