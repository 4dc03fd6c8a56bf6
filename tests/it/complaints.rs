//! Every complaint as a person sees it: one small script a code, and the shipped scripts, which are
//! sound.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use stepbell::complaint::render::render;
use stepbell::complaint::{Code, why};
use stepbell::procedure::model::Alert;
use stepbell::procedure::{Examined, examine};
use stepbell::source::FileId;
use stepbell::syntax::build::read;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn scripts(folder: &str) -> Vec<PathBuf> {
    let entries = fs::read_dir(root().join(folder)).expect("a readable folder");
    let paths = entries.map(|entry| entry.expect("a readable entry").path());
    let mut found: Vec<PathBuf> =
        paths.filter(|path| path.extension().is_some_and(|e| e == "bell")).collect();
    found.sort();
    found
}

/// Examines a script; its used files stand beside it or below.
fn examined(path: &Path) -> Examined {
    let text = fs::read_to_string(path).expect("readable");
    let folder = path.parent().expect("a folder").to_owned();
    let name = path.file_name().and_then(|name| name.to_str()).expect("a name");
    examine(name, text, &mut |wanted: &str| {
        fs::read_to_string(folder.join(wanted)).map_err(|_| "there is no such file".to_owned())
    })
}

/// The code that a fixture is named for: `CODE.bell`, or `CODE-variant.bell`.
fn named_for(path: &Path) -> Code {
    let stem = path.file_stem().and_then(|stem| stem.to_str()).expect("a name");
    let fits = |code: &Code| stem == code.name() || stem.starts_with(&format!("{}-", code.name()));
    let longest = Code::all().filter(fits).max_by_key(|code| code.name().len());
    longest.unwrap_or_else(|| panic!("{stem} is named for no code"))
}

#[test]
fn every_mistake_of_meaning_gets_its_own_complaint() {
    for path in scripts("tests/scripts/meaningless") {
        let examined = examined(&path);
        let code = named_for(&path);
        let codes: Vec<&str> = examined.complaints.iter().map(|c| c.code.name()).collect();
        assert_eq!(codes, [code.name()], "{}", path.display());
        let stem = path.file_stem().and_then(|stem| stem.to_str()).expect("a name");
        let picture = render(&examined.complaints, &examined.sources, false);
        insta::assert_snapshot!(format!("meaningless@{stem}"), picture);
    }
}

/// Codes whose script would be too long for a file: made here instead.
fn made() -> Vec<(Code, String)> {
    let long_line = format!("note {}\n", "x".repeat(5000));
    let long_file = "note more and more\n".repeat(60_000);
    vec![(Code::LineTooLong, long_line), (Code::FileTooLarge, long_file)]
}

/// A seat belt that no line of today's grammar reaches: lines are short, and reading one never begins
/// over. `tests/it/hostile.rs` tries the costliest lines.
const OUT_OF_REACH: Code = Code::TooComplex;

#[test]
fn what_is_too_long_is_refused() {
    for (code, text) in made() {
        let (_, complaints) = read(FileId(0), &text);
        let codes: Vec<&str> = complaints.iter().map(|c| c.code.name()).collect();
        assert_eq!(codes, [code.name()]);
    }
}

#[test]
fn no_code_is_without_its_script() {
    let stray = scripts("tests/scripts/stray").into_iter().filter_map(|path| {
        let stem = path.file_stem().and_then(|stem| stem.to_str())?.to_owned();
        let fits =
            |code: &Code| stem == code.name() || stem.starts_with(&format!("{}-", code.name()));
        Code::all().filter(fits).max_by_key(|code| code.name().len())
    });
    let meaningless = scripts("tests/scripts/meaningless");
    let mut shown: BTreeSet<Code> = meaningless.iter().map(|path| named_for(path)).collect();
    shown.extend(stray);
    shown.extend(made().into_iter().map(|(code, _)| code));
    let missing: Vec<&str> = Code::all()
        .filter(|code| !shown.contains(code) && *code != OUT_OF_REACH)
        .map(Code::name)
        .collect();
    assert!(missing.is_empty(), "no script shows {missing:?}");
}

#[test]
fn every_code_has_a_long_answer_of_its_own() {
    for code in Code::all() {
        let why = why::of(code);
        assert!(why.matters.len() > 20 && why.mend.len() > 10, "{}", code.name());
    }
}

#[test]
fn ten_mistakes_in_one_file_give_ten_complaints() {
    let path = root().join("tests/scripts/ten-mistakes.bell");
    let examined = examined(&path);
    assert_eq!(examined.complaints.len(), 10);
    insta::assert_snapshot!(render(&examined.complaints, &examined.sources, false));
}

#[test]
fn a_complaint_inside_a_used_part_points_into_that_file() {
    let examined =
        examined(&root().join("tests/scripts/meaningless/range-reversed-in-a-part.bell"));
    let complaint = &examined.complaints[0];
    let file = examined.sources.get(complaint.place.file).expect("one of its files");
    assert_eq!(file.name(), "parts/broken.bell");
    assert_eq!(examined.sources.line_col(complaint.place).to_string(), "3:11");
}

#[test]
fn shipped_procedures_have_no_complaint() {
    for path in scripts("procedures") {
        let examined = examined(&path);
        let picture = render(&examined.complaints, &examined.sources, false);
        assert!(examined.complaints.is_empty(), "{picture}");
        assert!(!examined.plans.is_empty(), "{}", path.display());
    }
}

#[test]
fn the_learning_sequences_check() {
    let mut found = String::new();
    for path in scripts("tests/scripts/sequences") {
        let examined = examined(&path);
        found.push_str(&render(&examined.complaints, &examined.sources, false));
        // One is there to be refused: its next key is not in the hand.
        let refused = path.ends_with("01b-two-keys-spare-not-in-hand.bell");
        assert_eq!(examined.is_sound(), !refused, "{}", path.display());
    }
    insta::assert_snapshot!(found);
}

/// The script with one line's first word spelled with its last letter twice.
fn with_a_slip(lines: &[&str], at: usize) -> String {
    let mut lines: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
    let blanks = lines[at].len() - lines[at].trim_start().len();
    let end = lines[at][blanks..].find(' ').map_or(lines[at].len(), |word| blanks + word);
    let last = lines[at][..end].chars().last().unwrap_or('x');
    lines[at].insert(end, last);
    lines.join("\n")
}

#[test]
fn one_slip_of_the_pen_makes_one_complaint_or_two() {
    let path = root().join("procedures/push-start-spare.bell");
    let text = fs::read_to_string(path).expect("readable");
    let lines: Vec<&str> = text.lines().collect();
    for (at, line) in lines.iter().enumerate().filter(|(_, line)| !line.trim().is_empty()) {
        let examined = examine("slip.bell", with_a_slip(&lines, at), &mut |_| Err(String::new()));
        let picture = render(&examined.complaints, &examined.sources, false);
        assert!((1..=2).contains(&examined.complaints.len()), "line {}: {line}\n{picture}", at + 1);
    }
}

/// Scripts far beyond what a bench procedure holds, each long enough to show a slow check.
fn far_too_much() -> Vec<(&'static str, String)> {
    let head = "procedure \"P\"\nvehicle \"V\"\nstatus demonstration\nassumed \"x\"\n";
    let step = "step a \"Press it.\"\n  takes 1s to 2s\n";
    let many = |line: &dyn Fn(usize) -> String| (0..3_900).map(line).collect::<String>();
    let steps = many(&|i| format!("step s{i}x \"Press it.\"\n  takes 1s to 2s\n"));
    let signs = many(&|i| format!("sign sg{i}x, see \"the lamp\" st{i}\n"));
    let alike = many(&|_| "  see lit, within 9s after done, so go on\n".to_owned());
    let cautions = many(&|_| "caution \"Mind the glass.\"\n".to_owned());
    let unfold = |body: &str| {
        let parts: String = (0..15)
            .map(|i| format!("part p{i}\n{}end part\n", format!("do p{}\n", i + 1).repeat(50)))
            .collect();
        format!("{head}{parts}part p15\n{body}end part\ndo p0\nfinish as learned\n")
    };
    vec![
        ("steps", format!("{head}{steps}")),
        ("signs", format!("{head}{signs}{step}")),
        ("outcomes", format!("{head}sign lit, see \"the lamp\" lit\n{step}{alike}")),
        ("cautions", format!("{head}{step}{cautions}")),
        ("parts", unfold(step)),
        ("empty parts", unfold("")),
    ]
}

#[test]
fn what_is_far_beyond_a_bench_procedure_is_refused_at_once() {
    for (what, script) in far_too_much() {
        let examined = examine("much.bell", script, &mut |_| Err(String::new()));
        let refused = examined.complaints.iter().any(|c| c.code == Code::CapTooLarge);
        assert!(refused && examined.procedure.is_none(), "{what}");
        assert!(examined.complaints.len() < 5, "{what}: {}", examined.complaints.len());
    }
}

#[test]
fn a_caution_above_a_step_or_in_the_head_of_its_block_stands_before_it() {
    let script = "procedure \"P\"\nvehicle \"V\"\nstatus demonstration\nassumed \"x\"\n\
                  caution \"In the head.\"\nphase one\n  caution \"In the phase.\"\n  \
                  step a \"Press it.\"\n    takes 1s to 2s\n  caution \"Above.\"\n  \
                  step b \"Turn it.\"\n    takes 1s to 2s\nend phase\nfinish as learned\n";
    let examined = examine("cautions.bell", script.to_owned(), &mut |_| Err(String::new()));
    let picture = render(&examined.complaints, &examined.sources, false);
    assert!(examined.complaints.is_empty(), "{picture}");
    let procedure = examined.procedure.expect("sound");
    let said = |alerts: &[Alert]| -> Vec<String> {
        alerts.iter().map(|alert| procedure.text(alert.text).to_owned()).collect()
    };
    assert_eq!(said(&procedure.alerts), ["In the head."]);
    assert_eq!(said(&examined.plans[0].steps[0].alerts), ["In the phase."]);
    assert_eq!(said(&examined.plans[0].steps[1].alerts), ["Above."]);
}

#[test]
fn parts_and_blocks_as_deep_as_they_may_be_are_walked() {
    let head = "procedure \"P\"\nvehicle \"V\"\nstatus demonstration\nassumed \"x\"\n";
    let mut script = head.to_owned();
    for part in 0..16 {
        let inner = if part < 15 {
            format!("do p{}\n", part + 1)
        } else {
            "step a \"Press it.\"\n  takes 1s to 2s\n".to_owned()
        };
        let (open, close) = ("phase inner\n".repeat(30), "end phase\n".repeat(30));
        script.push_str(&format!("part p{part}\n{open}{inner}{close}end part\n"));
    }
    script.push_str("do p0\nfinish as learned\n");
    let examined = examine("deep.bell", script, &mut |_| Err(String::new()));
    assert!(!examined.complaints.is_empty(), "phases of one name are complained about");
}
