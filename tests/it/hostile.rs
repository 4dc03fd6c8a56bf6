//! Scripts that nobody writes in good faith: reading them ends, says what is wrong, and lets nothing
//! of them reach a terminal but visible characters.

use std::fs;

use proptest::prelude::*;
use stepbell::complaint::{Code, Complaint, json, render};
use stepbell::source::{FileId, Source, SourceMap};
use stepbell::syntax::build::read;
use stepbell::syntax::print::tidy;
use stepbell::syntax::tree::{Sentence, Tree};

use crate::commands::{TINY, call, folder};

fn codes(complaints: &[Complaint]) -> Vec<Code> {
    complaints.iter().map(|complaint| complaint.code).collect()
}

fn pictures(text: &str, complaints: &[Complaint]) -> [String; 2] {
    let mut sources = SourceMap::default();
    sources.add(Source::new("\u{1b}[31mname.bell\n", text));
    [render(complaints, &sources, false), json(complaints, &sources).to_string()]
}

/// What holds for any text whatever.
#[track_caller]
fn holds(text: &str) -> (Tree, Vec<Complaint>) {
    let (tree, complaints) = read(FileId(0), text);
    for complaint in &complaints {
        let places = complaint.also.iter().map(|also| also.place).chain([complaint.place]);
        for place in places.chain(complaint.fix.iter().map(|fix| fix.place)) {
            assert!(text.get(place.start as usize..place.end as usize).is_some(), "{complaint:?}");
        }
        for gap in complaint.code.sentence().split('{').skip(1) {
            let gap = gap.split('}').next().unwrap();
            assert!(complaint.facts.iter().any(|(name, _)| *name == gap), "{complaint:?}");
        }
    }
    for line in &tree.lines {
        let here = complaints.iter().filter(|complaint| {
            line.place.start <= complaint.place.start && complaint.place.end <= line.place.end
        });
        if matches!(line.sentence, Sentence::Stray(_)) {
            assert_eq!(here.count(), 1, "{line:?}");
        }
    }
    let tidied = tidy(&tree);
    assert_eq!(tidy(&read(FileId(0), &tidied).0), tidied);
    for picture in pictures(text, &complaints) {
        let hidden = picture.chars().find(|c| c.is_control() && *c != '\n');
        assert_eq!(hidden, None, "{picture}");
        assert!(!picture.contains(['\u{202e}', '\u{2066}', '\u{200b}', '\u{feff}']), "{picture}");
    }
    (tree, complaints)
}

#[test]
fn eight_thousand_open_blocks_make_a_handful_of_complaints() {
    let (tree, complaints) = read(FileId(0), &"tests\n".repeat(8_000));
    assert_eq!(tree.lines.len(), 8_000);
    let deep = codes(&complaints).into_iter().filter(|code| *code == Code::NestedTooDeep);
    assert_eq!(deep.count(), 1);
    assert_eq!(complaints.len(), 1 + stepbell::syntax::blocks::DEEPEST);
    assert_eq!(tidy(&tree).lines().count(), 8_000);
}

#[test]
fn ends_without_blocks_and_blocks_that_overlap_are_read_to_the_end() {
    let (_, complaints) = read(FileId(0), &"end each\n".repeat(8_000));
    assert_eq!(complaints.len(), 8_000);
    let (_, complaints) = read(FileId(0), &"phase a\ntests\nend phase\nend tests\n".repeat(2_000));
    assert!(codes(&complaints).iter().all(|code| *code == Code::WrongEnd));
    assert_eq!(complaints.len(), 2_000);
}

#[test]
fn eight_thousand_bad_lines_make_as_many_complaints() {
    let (tree, complaints) = read(FileId(0), &"takes a while\n".repeat(8_000));
    assert_eq!((tree.lines.len(), complaints.len()), (8_000, 8_000));
    assert!(codes(&complaints).iter().all(|code| *code == Code::UnfinishedSentence));
}

/// Long lines, right up to the limit, made of what a careless grammar would try again and again.
#[test]
fn long_lines_are_read_within_the_limits_of_work() {
    let fill = |start: &str, piece: &str, end: &str| {
        let times = (4096 - start.len() - end.len()) / piece.len();
        format!("{start}{}{end}", piece.repeat(times))
    };
    let fine = [
        fill("see x", " and see x", ", so go on"),
        fill("within 3s after ", "a ", "done"),
        fill("with a", " and b", " at c"),
        fill("round a", ", b", ""),
        fill("ask a as b", " or c", ", \"d\""),
        fill("note ", "\"", ""),
        fill("step a \"", "x", "\""),
        fill("takes ", "0", "1s"),
    ];
    for line in fine {
        let (_, complaints) = holds(&line);
        assert_eq!(complaints, [], "{}", &line[..40]);
    }
    let bad = [
        fill("see x", " and see x", ""),
        fill("within 3s after", " a", ""),
        fill("count 3", ", lasting 1s", ""),
        fill("takes ", "1s ", ""),
        fill("takes ", "9", "s"),
        fill("takes 1.", "0", "1s"),
        fill("ask a in V, between ", "9", ""),
        fill("", "(", ""),
        fill("", "\"", ""),
        fill("", ",", ""),
        fill("step ", "a-", ""),
        fill("late, so go back to a", " by way of b after 3s, at most twice, else", ""),
    ];
    for line in bad {
        let (_, complaints) = holds(&line);
        assert_eq!(complaints.len(), 1, "{}", &line[..40]);
        assert_ne!(complaints[0].code, Code::TooComplex, "{}", &line[..40]);
    }
}

#[test]
fn a_line_or_a_file_beyond_the_limit_is_refused_and_the_rest_is_read() {
    let long = format!("procedure \"A\"\nnote {}\ntakes 3\n", "€".repeat(2000));
    let (tree, complaints) = holds(&long);
    assert_eq!(codes(&complaints), [Code::LineTooLong, Code::BareNumber]);
    assert_eq!(tree.lines.len(), 3);
    let long_line = format!("note {}\n", "x".repeat(4000));
    for text in [long_line.repeat(1024 * 1024 / 4006 + 1), "\n".repeat(8_001), "x\r".repeat(8_001)]
    {
        let (tree, complaints) = holds(&text);
        assert_eq!(codes(&complaints), [Code::FileTooLarge]);
        assert_eq!(tree.lines, []);
    }
}

/// The text without the escape sequences that only set a colour.
fn without_colours(text: &str) -> String {
    let mut plain = String::new();
    for (i, piece) in text.split("\u{1b}[").enumerate() {
        let behind = if i == 0 { Some(piece) } else { piece.split_once('m').map(|(_, rest)| rest) };
        plain.push_str(behind.unwrap_or(piece));
    }
    plain
}

#[test]
fn nothing_of_a_script_steers_the_terminal() {
    let steering = [
        "danger \"\u{1b}[2J\u{1b}]0;title\u{7}\"",
        "note \u{9b}31m",
        "\u{1b}[1Astep a \"b\"",
        "step a \"\u{202e}txet\u{202c}\"",
        "step a \"\u{2066}b\u{2069}\"",
        "step a \"b\u{200b}c\"",
        "step a \"b\u{0}c\"",
        "step a \"b\u{7f}c\"",
        "step a \"b\u{2028}c\"",
        "step a \"b\u{e0041}c\"",
        "step a \"b\u{feff}c\"",
    ];
    for line in steering {
        let (_, complaints) = holds(line);
        assert_eq!(codes(&complaints), [Code::ForbiddenCharacter], "{line:?}");
    }
    let text = steering.join("\n");
    let (_, complaints) = read(FileId(0), &text);
    let mut sources = SourceMap::default();
    sources.add(Source::new("script.bell", text));
    let plain = render(&complaints, &sources, false);
    assert_eq!(without_colours(&render(&complaints, &sources, true)), plain);
    let (_, complaints) = holds("step a \"b\tc °C, zwölf, 鍵\"");
    assert_eq!(complaints, []);
}

#[test]
fn byte_order_marks_and_line_ends_of_all_kinds_are_tolerated() {
    let (tree, complaints) = holds("\u{feff}note a\r\nnote b\rnote c\n\u{feff}note d");
    assert_eq!(complaints, []);
    assert_eq!(tidy(&tree), "note a\nnote b\nnote c\nnote d\n");
}

/// 64 MB of memory of its own and a second of a processor, or thirty where it is not optimised: who
/// needs more is ended by the system and not with the code that is expected.
#[cfg(target_os = "linux")]
fn bounds() -> String {
    let seconds = if cfg!(debug_assertions) { 30 } else { 1 };
    format!("ulimit -d 65536; ulimit -t {seconds}")
}

#[cfg(target_os = "linux")]
#[test]
fn hostile_scripts_are_refused_within_bounds() {
    let folder = folder("hostile-scripts");
    let steps = |n: usize| -> String {
        let step = |i| format!("step s{i} \"Press.\"\n  takes 1s to 2s\n");
        (0..n).map(step).collect()
    };
    let turns = ["repeat 1000 times\n".repeat(30), steps(1), "end repeat\n".repeat(30)].concat();
    let lengths: String = ["0s to 1e400s", "-1s to 2s", "NaN to 2s", "1s to 9223372036854775808ms"]
        .map(|length| format!("takes {length}\n"))
        .concat();
    let scripts: [(&str, Vec<u8>, i32, &str); 10] = [
        ("openers", "phase x\n".repeat(100_000).into(), 3, "longer than 8000 lines"),
        ("openers-as-many-as-may-be", "phase x\n".repeat(8_000).into(), 1, "nested-too-deep"),
        ("blanks", "\n".repeat(1 << 20).into(), 3, "longer than 8000 lines"),
        ("steps", steps(2_600).into(), 1, "cap-too-large"),
        ("turns", turns.into(), 1, "cap-too-large"),
        ("strays", "takess a wihle of lampp\n".repeat(8_000).into(), 1, "not-a-sentence"),
        ("candidates", format!("takes {}1s\n", "(".repeat(4_000)).into(), 1, "candidates: "),
        ("lengths", lengths.into(), 1, "lengths: "),
        ("count", "repeat 1000000000 times\nend repeat\n".into(), 1, "At most 64 are"),
        ("bytes", vec![0xff; 1 << 20], 3, "1:1: not UTF-8 text (byte 0)"),
    ];
    for (name, script, code, told) in &scripts {
        let check = |format: &str| {
            let args = ["check", "--format", format, name];
            call(&args).inside(&folder).file(name, script).limits(&bounds())
        };
        match code {
            3 => drop(check("human").err(*told).ends(3)),
            _ => {
                drop(check("human").out(*told).ends(*code));
                drop(check("json").out("\"sound\": false").ends(*code));
            }
        }
    }
}

#[cfg(not(target_os = "linux"))]
#[test]
fn hostile_scripts_are_refused_within_bounds() {
    crate::journals::skipped("the bounds of memory and time: only Linux keeps to them");
}

/// `tidy` never replaces what it has not read.
#[test]
fn a_file_that_is_too_long_is_not_tidied_away() {
    let folder = folder("too-long");
    let text = "note  x\n".repeat(8_001);
    call(&["tidy", "a.bell"])
        .inside(&folder)
        .file("a.bell", &text)
        .err("longer than 8000 lines, not read")
        .ends(3);
    assert_eq!(fs::read_to_string(folder.join("a.bell")).expect("readable"), text);
}

/// What a script says is shown by `check` and by `guide`, and by `replay` from its record; `call`
/// accepts no control character in any of it.
#[test]
fn no_prompt_reaches_a_reader_with_what_steers() {
    let folder = folder("steering");
    let tiny = fs::read_to_string(TINY).expect("readable");
    let evil = "\u{1b}]0;owned\u{7}\u{1b}[2J\u{9b}31m\u{202e}";
    let script =
        tiny.replace("Press the start button.", &format!("Press {evil} the start button."));
    for args in [vec!["check"], vec!["check", "--format", "json"]] {
        let args = [&args[..], &["a.bell"]].concat();
        call(&args).inside(&folder).file("a.bell", &script).out("forbidden-character").ends(1);
    }
    let guide = call(&["guide", "a.bell", "--no-record"]).inside(&folder);
    guide.err("forbidden-character").ends(1);
    let name = "\u{1b}[2Jnowhere.bell";
    call(&["check", name]).err("\\u{1b}[2Jnowhere.bell").ends(3);
    call(&["tidy", "--check", name]).err("\\u{1b}[2Jnowhere.bell").ends(3);
    call(&["guide", name]).err("\\u{1b}[2Jnowhere.bell").ends(3);
    call(&["replay", name]).err("\\u{1b}[2Jnowhere.bell").ends(3);
    call(&["network", name]).err("\\u{1b}[2Jnowhere.bell").ends(3);
    call(&["guide", TINY, "--record", "\u{1b}[2J"]).err("\\u{1b}[2J").ends(4);
    // A clean file of a steering name is shown by its spelled-out name.
    let odd = "\u{1b}[31m\u{202e}.bell";
    call(&["check", odd]).inside(&folder).file(odd, &tiny).out("\\u{1b}[31m").ends(0);
    let unclean = call(&["tidy", "--check", odd]).inside(&folder).file(odd, "note  x\n");
    unclean.out("\\u{1b}[31m").ends(1);
}

/// A line of a good script with something else in one place of it.
fn spoiled() -> impl Strategy<Value = String> {
    let lines: Vec<String> = crate::language::scripts("tests/scripts/well_formed")
        .into_iter()
        .flat_map(|(_, text)| text.lines().map(str::to_owned).collect::<Vec<_>>())
        .collect();
    let put = "[ a-z0-9\",.\\-\u{1b}\u{202e}é\n\r]{0,4}";
    let line = prop::sample::select(lines);
    (line, any::<prop::sample::Index>(), 0..6usize, put).prop_map(|(line, index, cut, put)| {
        let chars: Vec<char> = line.chars().collect();
        let from = index.index(chars.len() + 1);
        let to = (from + cut).min(chars.len());
        let (before, behind): (String, String) =
            (chars[..from].iter().collect(), chars[to..].iter().collect());
        format!("{before}{put}{behind}")
    })
}

proptest! {
    #[test]
    fn any_text_is_read(text in "\\PC*|[\\PC\n\r\t \u{0}-\u{9f}\u{feff}\u{202a}-\u{202e}\"]{0,200}") {
        holds(&text);
    }

    #[test]
    fn any_bytes_are_read(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        holds(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn spoiled_scripts_are_read(lines in prop::collection::vec(spoiled(), 1..12)) {
        holds(&lines.join("\n"));
    }
}
