//! Scripts that nobody writes in good faith: reading them ends, says what is wrong, and lets nothing
//! of them reach a terminal but visible characters.

use proptest::prelude::*;
use stepbell::complaint::{Code, Complaint, json, render};
use stepbell::source::{FileId, Source, SourceMap};
use stepbell::syntax::build::read;
use stepbell::syntax::print::tidy;
use stepbell::syntax::tree::{Sentence, Tree};

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
fn a_hundred_thousand_open_blocks_make_a_handful_of_complaints() {
    let (tree, complaints) = read(FileId(0), &"tests\n".repeat(100_000));
    assert_eq!(tree.lines.len(), 100_000);
    let deep = codes(&complaints).into_iter().filter(|code| *code == Code::NestedTooDeep);
    assert_eq!(deep.count(), 1);
    assert_eq!(complaints.len(), 1 + stepbell::syntax::blocks::DEEPEST);
    assert_eq!(tidy(&tree).lines().count(), 100_000);
}

#[test]
fn ends_without_blocks_and_blocks_that_overlap_are_read_to_the_end() {
    let (_, complaints) = read(FileId(0), &"end each\n".repeat(10_000));
    assert_eq!(complaints.len(), 10_000);
    let (_, complaints) = read(FileId(0), &"phase a\ntests\nend phase\nend tests\n".repeat(2_000));
    assert!(codes(&complaints).iter().all(|code| *code == Code::WrongEnd));
    assert_eq!(complaints.len(), 2_000);
}

#[test]
fn twenty_thousand_bad_lines_make_as_many_complaints() {
    let (tree, complaints) = read(FileId(0), &"takes a while\n".repeat(20_000));
    assert_eq!((tree.lines.len(), complaints.len()), (20_000, 20_000));
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
    let (tree, complaints) = holds(&"note x\n".repeat(1024 * 1024 / 7 + 1));
    assert_eq!(codes(&complaints), [Code::FileTooLarge]);
    assert_eq!(tree.lines, []);
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
