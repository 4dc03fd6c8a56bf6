//! A record in brief says what a reading in full says: the same header, the same account of what was
//! lost, the same things to count, whatever stands in it.

use std::sync::LazyLock;

use proptest::prelude::*;
use proptest::sample::{Index, select};
use stepbell::journal::brief::{Brief, brief};
use stepbell::journal::entry::RunKind;
use stepbell::journal::read::{ReadBack, read};

use crate::journals::{by_hand, fixture};
use crate::made_records::{header, record};
use crate::runs_support::push_start;

/// A run that is learned, with everything that a tally counts of one.
static RUN: LazyLock<Vec<u8>> = LazyLock::new(|| {
    record(&push_start(), header("Add a spare", "# \"one\"\n", 3, RunKind::Live), 3, &[])
});

#[track_caller]
fn check_same(bytes: &[u8]) -> ReadBack<Brief> {
    let (short, full) = (brief(bytes), ReadBack::<Brief>::from(read(bytes)));
    let text = String::from_utf8_lossy(bytes);
    assert_eq!(short.header, full.header, "{text}");
    assert_eq!(short.faults, full.faults, "{text}");
    assert_eq!(short.entries, full.entries, "{text}");
    assert_eq!((short.certain, short.torn), (full.certain, full.torn), "{text}");
    assert_eq!(short.link, full.link, "{text}");
    short
}

#[test]
fn every_beginning_of_a_record_says_the_same_in_brief() {
    for name in
        ["v1-minimal.jsonl", "v1-full.jsonl", "v1-odd.jsonl", "v1-sent.jsonl", "v1-torn.jsonl"]
    {
        let record = fixture(name);
        for cut in 0..=record.len() {
            check_same(&record[..cut]);
        }
    }
}

#[test]
fn a_whole_run_says_the_same_in_brief_and_little_of_it_is_opened() {
    let said = check_same(&RUN);
    assert_eq!(said.faults, []);
    let counts = |entry: &&_| matches!(entry, Brief::Fact(_) | Brief::Ended { .. });
    let counted = said.entries.iter().map(|entry| &entry.body).filter(counts).count();
    assert!((10..said.entries.len() / 4).contains(&counted), "{counted}");
}

/// Line by line, what the tool itself writes and what it never would.
#[test]
fn lines_that_only_a_thorough_reader_can_judge_are_left_to_it() {
    let fact = r#""fact":{"is":"thing","label":"a","class":"learned"}"#;
    let all = [
        format!(r#"{{"effect":"fact",{fact}}}"#),
        // Of two members with one name the later holds, the kind of a fact included.
        format!(r#"{{"effect":"show","effect":"fact",{fact}}}"#),
        format!(r#"{{"effect":"fact","effect":"show",{fact}}}"#),
        format!(r#"{{"effect":"fact",{fact},"fact":{{"is":"held","held":true}}}}"#),
        r#"{"effect":"fact","fact":{"is":"thing","is":"held","held":true}}"#.to_owned(),
        r#"{"effect":"fact","fact":{"is":"thing","label":"a","label":"b","class":"learned"}}"#
            .to_owned(),
        r#"{"effect":"fact","fact":{"is":"thing","label":"\u0061\"","class":"learned"}}"#
            .to_owned(),
        r#"{"effect":"fact","fact":{"is":"thing","label":7}}"#.to_owned(),
        r#"{"effect":"fact","fact":{"is":"smelt"}}"#.to_owned(),
        r#"{"effect":"smell"}"#.to_owned(),
        r#"{"eff\u0065ct":"ended","ending":"x","class":"stopped"}"#.to_owned(),
        r#"{ "effect" : "ended", "ending" : "x", "class" : "stopped" }"#.to_owned(),
        r#"{"effect":"show","at":1e400}"#.to_owned(),
        r#"{"effect":"show","at":1.5}"#.to_owned(),
        r#"{"effect":"say","text":"\ud800"}"#.to_owned(),
        format!(r#"{{"effect":"show","of":{}{}}}"#, "[".repeat(200), "]".repeat(200)),
        format!(r#"{{"effect":"show","of":{}{}}}"#, "[".repeat(60), "]".repeat(60)),
        r#"{"effect":"show","seq":1}"#.to_owned(),
        r#"["effect","show"]"#.to_owned(),
        "7".to_owned(),
    ];
    for what in all {
        for tail in [
            "",
            r#","from":{"page":1}"#,
            r#","from":7"#,
            r#","seq":2"#,
            r#","kind":"note","text":"""#,
        ] {
            for kind in ["effect", "input", "vehicle"] {
                let start = &RUN[..RUN.iter().position(|byte| *byte == b'\n').unwrap_or(0) + 1];
                let line = by_hand(
                    start,
                    format!(r#""seq":2,"at":7,"kind":"{kind}","what":{what}{tail}"#),
                );
                check_same(&[start, &line].concat());
            }
        }
    }
}

const PIECES: &[&str] = &[
    ",",
    ":",
    "{",
    "}",
    "[",
    "]",
    "\"",
    "\\",
    "\\u0041",
    "\\ud800",
    "\\n",
    "1",
    "0",
    "-",
    ".5",
    "e400",
    " ",
    "\t",
    "null",
    "true",
    ",\"seq\":3",
    ",\"at\":5",
    ",\"kind\":\"note\"",
    ",\"text\":\"x\"",
    ",\"effect\":\"show\"",
    ",\"is\":\"held\"",
    ",\"what\":{}",
    ",\"fact\":{}",
    "show",
    "fact",
    "margin",
    "ended",
    "learned",
];

/// A place in a line, how much is taken out there, what is put in.
fn edit() -> impl Strategy<Value = (Index, usize, Vec<u8>)> {
    let put = prop_oneof![
        4 => select(PIECES).prop_map(|piece| piece.as_bytes().to_vec()),
        1 => prop::collection::vec(any::<u8>(), 0..3),
        1 => Just(Vec::new()),
    ];
    (any::<Index>(), 0usize..6, put)
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(600) })]

    /// A line changed anywhere and then sealed with a right checksum and a right link.
    #[test]
    fn a_changed_line_says_the_same_in_brief(
        line in any::<Index>(), edits in prop::collection::vec(edit(), 1..4),
    ) {
        let lines: Vec<&[u8]> = RUN.split_inclusive(|byte| *byte == b'\n').collect();
        let nth = line.index(lines.len());
        let seal = lines[nth].windows(8).rposition(|piece| piece == b",\"prev\":").unwrap_or(1);
        let mut members = lines[nth][1..seal].to_vec();
        for (at, out, put) in edits {
            let from = at.index(members.len() + 1);
            let to = (from + out).min(members.len());
            members.splice(from..to, put.into_iter().filter(|byte| *byte != b'\n'));
        }
        // The lines between are left out: both readings miss them alike.
        let before = if nth == 0 { b"" } else { lines[0] };
        let changed = by_hand(before, &members);
        check_same(&[before, &changed[..], lines.get(nth + 1).unwrap_or(&lines[0])].concat());
    }

    /// Bytes changed anywhere, nothing sealed.
    #[test]
    fn a_mangled_record_says_the_same_in_brief(
        from in any::<Index>(), len in 0usize..300, put in prop::collection::vec(any::<u8>(), 0..40),
    ) {
        let record = &RUN[..RUN.len().min(6_000)];
        let from = from.index(record.len());
        let to = (from + len).min(record.len());
        check_same(&[&record[..from], &put[..], &record[to..]].concat());
    }
}
