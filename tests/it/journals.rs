//! The record's form: any part of a record reads back, no damage passes, old fixtures stay readable,
//! the published schema is the one that the types make.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use proptest::prelude::*;
use serde_json::{Map, Value, json};
use stepbell::clock::Moment;
use stepbell::journal::entry::{
    Body, ClockChange, EndingClass, FORMAT, HEADER_LIMIT, Header, Interruption, ItemEnding,
    LINE_LIMIT, RunKind, ScriptFile, Sender, VERSION, schema,
};
use stepbell::journal::read::{Entry, Kept, MOST_FAULTS, MOST_MARKS, ReadBack, Why, read};
use stepbell::journal::sha256_hex;

use crate::made_records::written;

pub fn fixture(name: &str) -> Vec<u8> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/journals").join(name);
    std::fs::read(&path).unwrap_or_else(|why| panic!("{}: {why}", path.display()))
}

/// Says that a check was not made, past the test program's own capture of output.
pub fn skipped(what: &str) {
    let _ = writeln!(std::io::stderr(), "SKIPPED: {what}");
}

/// What the committed file must be. A difference is written beside the build for a person to look
/// at and, where it is meant, to copy over.
#[track_caller]
pub fn check_committed(path: &str, made: &[u8]) {
    let committed = Path::new(env!("CARGO_MANIFEST_DIR")).join(path);
    if std::fs::read(&committed).ok().as_deref() != Some(made) {
        let name = committed.file_name().unwrap_or_default();
        let beside = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
        std::fs::write(&beside, made).unwrap();
        panic!("{path} is not what this version makes; compare {}", beside.display());
    }
}

fn header() -> Header {
    Header {
        format: FORMAT.to_owned(),
        version: VERSION,
        tool: "0.1.0".to_owned(),
        run: RunKind::Rehearsal,
        started: "2031-05-06T07:08:09Z".to_owned(),
        title: "Add a spare".to_owned(),
        status: "demonstration".to_owned(),
        files: vec![ScriptFile::new("spare.bell", "# a spare\n")],
        profile: "standard".to_owned(),
        lengths: "model, 110 words a minute".to_owned(),
        spoken: Vec::new(),
        lag: 0,
        operator: None,
        counts: std::collections::BTreeMap::new(),
        continues: None,
        rehearsal: None,
    }
}

fn object(value: Value) -> Map<String, Value> {
    match value {
        Value::Object(map) => map,
        other => panic!("{other} is no object"),
    }
}

fn minimal() -> Vec<(i64, Body)> {
    let end =
        Body::End { ending: "given up".to_owned(), class: EndingClass::Stopped, items: Vec::new() };
    vec![(0, Body::Header(Box::new(header()))), (1000, end)]
}

/// Every kind once, every optional member filled in.
fn full() -> Vec<(i64, Body)> {
    let header = Header {
        run: RunKind::Live,
        title: "Zwei Ersatzschlüssel anlernen".to_owned(),
        files: vec![
            ScriptFile::new("spare.bell", "# \"two\" spares\tand a part\n"),
            ScriptFile::new("parts/after.bell", "# try every key\r\n"),
        ],
        operator: Some("apprentice 3".to_owned()),
        counts: [("spares".to_owned(), 2)].into(),
        continues: Some("2031-05-06-065900-add-a-spare".to_owned()),
        ..header()
    };
    let items = vec![
        ItemEnding {
            item: "one band of tape".to_owned(),
            ending: "stored".to_owned(),
            class: EndingClass::Learned,
        },
        ItemEnding {
            item: "two bands".to_owned(),
            ending: "no chime".to_owned(),
            class: EndingClass::NotLearned,
        },
    ];
    let clock = |change, ms| Body::Clock { change, ms };
    vec![
        (-4200, Body::Header(Box::new(header))),
        (-4100, Body::Input { what: object(json!({"affirm": "owner", "yes": true})), from: None }),
        (0, Body::Effect { what: object(json!({"show": 3, "say": 3, "ring": "now"})) }),
        (1250, Body::Input { what: object(json!({"press": "done", "at": 1249})), from: None }),
        (1900, Body::Late { cue: Some("now, step 4".to_owned()), ms: 112 }),
        (2000, Body::Late { cue: None, ms: 101 }),
        (3000, clock(ClockChange::Slept, 600_000)),
        (3001, clock(ClockChange::Stopped, 3_000)),
        (3002, clock(ClockChange::WallStepped, -7_200_000)),
        (3100, Body::Note { text: "12,6 V – \u{1b}[31m".to_owned() }),
        (3200, Body::Lost { events: 7, why: "the disk was too slow".to_owned() }),
        (3300, Body::Moved { from: "2031-05-06-070809-x".to_owned(), why: "EIO".to_owned() }),
        (3400, Body::Interrupted { by: Interruption::TerminalClosed }),
        (3400, Body::Continued { by: "2031-05-06-080000-x".to_owned() }),
        (9000, Body::End { ending: "one of two".to_owned(), class: EndingClass::Unsure, items }),
    ]
}

/// Presses with and without the page that sent them; `v1-full.jsonl` is from before there were any.
fn sent() -> Vec<(i64, Body)> {
    let done = |from| Body::Input { what: object(json!({"input": "done"})), from };
    vec![
        (0, Body::Header(Box::new(header()))),
        (900, done(None)),
        (1800, done(Some(Sender { page: 1, helper: false }))),
        (2700, done(Some(Sender { page: 2, helper: true }))),
        minimal().remove(1),
    ]
}

fn framed(bodies: &[(i64, Body)]) -> Vec<u8> {
    written(bodies.iter().map(|(at, body)| (Moment(*at), body)))
}

/// CRC-32C a bit at a time, from the polynomial of RFC 3720 section 12.1 (0x1EDC6F41, reflected).
fn crc_by_hand(bytes: &[u8]) -> u32 {
    let step = |crc: u32| if crc & 1 == 1 { (crc >> 1) ^ 0x82f6_3b78 } else { crc >> 1 };
    !bytes.iter().fold(!0, |crc, byte| (0..8).fold(crc ^ u32::from(*byte), |crc, _| step(crc)))
}

/// A line framed by hand after the written rule, whatever its members say.
pub fn by_hand(record: &[u8], members: impl AsRef<[u8]>) -> Vec<u8> {
    let body = record.strip_suffix(b"\n").unwrap_or(record);
    let last = body.rsplit(|byte| *byte == b'\n').next().unwrap_or_default();
    let prev = match record {
        [] => "0".repeat(64),
        _ => sha256_hex(&[last, b"\n"].concat()),
    };
    let line = [b"{", members.as_ref(), format!(r#","prev":"{prev}""#).as_bytes()].concat();
    let crc = crc_by_hand(&line);
    [line, format!(",\"crc\":\"{crc:08x}\"}}\n").into_bytes()].concat()
}

/// A sound header, then these members as line 2 and so on.
fn record_by_hand(lines: &[&str]) -> Vec<u8> {
    let mut record = framed(&minimal()[..1]);
    for members in lines {
        let line = by_hand(&record, members);
        record.extend_from_slice(&line);
    }
    record
}

/// Line 2 of an unknown kind, line 3 with an unknown member, line 4 of a known kind in another
/// shape, line 5 a torn line that was ended, line 6 written behind it.
fn odd() -> Vec<u8> {
    let mut record = record_by_hand(&[
        r#""seq":2,"at":5,"kind":"smell","of":["burnt clutch"]"#,
        r#""seq":3,"at":6,"kind":"note","text":"kept","mood":"calm""#,
        r#""seq":4,"at":7,"kind":"late","ms":"soon""#,
    ]);
    record.extend_from_slice(b"{\"seq\":5,\"at\":8,\"kind\":\"no\n");
    let end = by_hand(&record, r#""seq":6,"at":8,"kind":"continued","by":"later""#);
    record.extend_from_slice(&end);
    record
}

fn torn() -> Vec<u8> {
    let mut record = framed(&full()[..4]);
    record.truncate(record.len() - 57);
    record
}

#[test]
fn the_fixtures_are_what_version_one_writes() {
    check_committed("tests/journals/v1-minimal.jsonl", &framed(&minimal()));
    check_committed("tests/journals/v1-full.jsonl", &framed(&full()));
    check_committed("tests/journals/v1-sent.jsonl", &framed(&sent()));
    check_committed("tests/journals/v1-torn.jsonl", &torn());
    check_committed("tests/journals/v1-odd.jsonl", &odd());
}

#[test]
fn the_published_schema_is_the_one_that_the_types_make() {
    check_committed("grammar/record.schema.json", schema().as_bytes());
}

#[test]
fn every_line_of_a_record_satisfies_the_schema_and_wrong_lines_do_not() {
    let schema: Value = serde_json::from_str(&schema()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let lines = |name: &str| -> Vec<Value> {
        let text = String::from_utf8(fixture(name)).unwrap();
        text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    };
    let mut sound = lines("v1-minimal.jsonl");
    sound.extend(lines("v1-full.jsonl"));
    sound.extend(lines("v1-sent.jsonl"));
    for line in &sound {
        assert!(validator.is_valid(line), "{line}");
    }
    let spoilt = |member: &str, value: Option<Value>| {
        let mut line = object(sound[1].clone());
        match value {
            Some(value) => line.insert(member.to_owned(), value),
            None => line.remove(member),
        };
        Value::Object(line)
    };
    for member in ["seq", "at", "kind", "prev", "crc", "ending", "class"] {
        assert!(!validator.is_valid(&spoilt(member, None)), "without {member}");
    }
    assert!(!validator.is_valid(&spoilt("kind", Some(json!("smell")))));
    assert!(!validator.is_valid(&spoilt("prev", Some(json!("ABC")))));
    assert!(!validator.is_valid(&spoilt("at", Some(json!(1.5)))));
}

#[test]
fn what_was_written_is_what_is_read() {
    for (name, written) in [("v1-full.jsonl", full()), ("v1-sent.jsonl", sent())] {
        let back = read(&fixture(name));
        assert_eq!(back.faults, []);
        assert_eq!(back.certain, back.entries.len());
        let Some((_, Body::Header(header))) = written.first() else { panic!("no header") };
        assert_eq!(back.header.as_ref(), Some(&**header));
        let known: Vec<_> = back.known().map(|(at, body)| (at.0, body.clone())).collect();
        assert_eq!(known, written[1..]);
    }
}

#[test]
fn what_this_version_does_not_know_is_kept_as_unknown() {
    let back = read(&fixture("v1-odd.jsonl"));
    let kinds: Vec<_> = back.entries.iter().map(|entry| (entry.line, kind(entry))).collect();
    assert_eq!(kinds, [(2, "?smell"), (3, "note"), (4, "?late"), (6, "continued")]);
    let said: Vec<_> = back.faults.iter().map(ToString::to_string).collect();
    assert_eq!(said, ["1 unfinished line, 26 bytes, ended later as line 5"]);
    assert_eq!(back.certain, 3);
    assert!(!back.is_unfinished());
}

fn kind(entry: &Entry) -> &'static str {
    match &entry.body {
        Kept::Known(Body::Note { .. }) => "note",
        Kept::Known(Body::Continued { .. }) => "continued",
        Kept::Unknown { kind, .. } if kind == "smell" => "?smell",
        Kept::Unknown { kind, .. } if kind == "late" => "?late",
        _ => "other",
    }
}

#[test]
fn every_beginning_of_a_record_gives_its_whole_lines_and_names_the_torn_one() {
    for name in ["v1-minimal.jsonl", "v1-full.jsonl", "v1-odd.jsonl"] {
        let record = fixture(name);
        let whole = read(&record);
        for cut in 0..=record.len() {
            check_beginning(name, &whole, &record[..cut]);
        }
    }
}

#[track_caller]
fn check_beginning(name: &str, whole: &ReadBack, begun: &[u8]) {
    let back = read(begun);
    let lines = begun.iter().filter(|byte| **byte == b'\n').count();
    let torn = begun.len() - begun.iter().rposition(|b| *b == b'\n').map_or(0, |end| end + 1);
    let at = format!("{name} cut after {} bytes", begun.len());
    assert_eq!(back.header.is_some(), lines > 0, "{at}");
    let kept = whole.entries.iter().filter(|entry| entry.line <= lines as u64);
    assert!(back.entries.iter().eq(kept), "{at}");
    assert_eq!(back.torn, torn, "{at}");
    let older = whole.faults.iter().filter(|fault| fault.line <= lines as u64).count();
    let places = |back: &ReadBack| -> Vec<_> {
        back.faults[..older].iter().map(|f| (f.line, f.offset, f.bytes)).collect()
    };
    assert_eq!(places(&back), places(whole), "{at}");
    let said: Vec<_> = back.faults[older..].iter().map(ToString::to_string).collect();
    let expected = (torn > 0).then(|| format!("1 unfinished line, {torn} bytes"));
    assert_eq!(said, Vec::from_iter(expected), "{at}");
}

#[test]
fn every_flipped_bit_of_the_last_three_lines_is_caught() {
    for name in ["v1-minimal.jsonl", "v1-full.jsonl", "v1-odd.jsonl"] {
        let record = fixture(name);
        let whole = read(&record);
        let newlines = record.iter().enumerate().filter(|(_, b)| **b == b'\n').map(|(i, _)| i);
        let from = newlines.rev().nth(3).map_or(0, |end| end + 1);
        for bit in 8 * from..8 * record.len() {
            let mut rotten = record.clone();
            rotten[bit / 8] ^= 1 << (bit % 8);
            let back = read(&rotten);
            assert_ne!(back.faults, whole.faults, "{name}, bit {bit} passed");
            let true_ones = |entry: &Entry| whole.entries.iter().any(|e| e.body == entry.body);
            assert!(back.entries.iter().all(true_ones), "{name}, bit {bit} changed an entry");
            assert!(back.header.is_none() || back.header == whole.header, "{name}, bit {bit}");
        }
    }
}

#[test]
fn a_line_taken_out_put_in_twice_or_swapped_is_noticed() {
    let record = fixture("v1-full.jsonl");
    let lines: Vec<&[u8]> = record.split_inclusive(|byte| *byte == b'\n').collect();
    let said = |order: &[usize]| {
        let record: Vec<u8> = order.iter().flat_map(|line| lines[*line].to_vec()).collect();
        read(&record).faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")
    };
    assert_eq!(said(&[0, 1, 2, 3]), "");
    assert_eq!(said(&[0, 1, 3]), "1 line is missing before line 3");
    assert_eq!(said(&[0, 4]), "3 lines are missing before line 2");
    assert_eq!(said(&[0, 1, 1, 2]), "line 3 says it is number 2, where 3 belongs");
    assert_eq!(said(&[1, 2]), "line 1 is not the header of a record");
    assert_eq!(said(&[0, 0, 1]), "line 2 is a second header: passed over");
}

#[test]
fn a_line_written_anew_with_a_right_checksum_breaks_the_chain() {
    let record = fixture("v1-full.jsonl");
    let lines: Vec<&[u8]> = record.split_inclusive(|byte| *byte == b'\n').collect();
    let forged = by_hand(&lines[..4].concat(), r#""seq":5,"at":1900,"kind":"late","ms":2"#);
    let back = read(&[&lines[..4].concat(), &forged[..], &lines[5..].concat()].concat());
    let said: Vec<_> = back.faults.iter().map(ToString::to_string).collect();
    assert_eq!(said, ["line 6 was written behind another line than the one before it"]);
    assert_eq!(back.certain, 4);
}

#[test]
fn a_script_that_is_not_the_one_its_hash_names_is_noticed() {
    let mut other = header();
    other.files[0].text.push_str("# and one thing more\n");
    let back = read(&framed(&[(0, Body::Header(Box::new(other)))]));
    assert_eq!(back.faults.len(), 1);
    assert_eq!(back.faults[0].why, Why::ScriptHash("spare.bell".to_owned()));
}

#[test]
fn a_later_version_is_read_and_known_as_later() {
    let header = Header { version: VERSION + 1, ..header() };
    let back = read(&framed(&[(0, Body::Header(Box::new(header)))]));
    assert!(back.is_newer() && back.faults.is_empty());
    let header = Header { format: "shopping list".to_owned(), ..self::header() };
    let back = read(&framed(&[(0, Body::Header(Box::new(header)))]));
    assert_eq!(back.faults[0].why, Why::NoHeader);
    assert_eq!(back.header, None);
}

#[track_caller]
fn check_hostile(record: &[u8], why: &Why) {
    let back = read(record);
    assert_eq!(back.faults.first().map(|fault| &fault.why), Some(why));
}

#[test]
fn a_hostile_record_is_refused_line_by_line_and_never_trusted() {
    let deep = format!(r#""seq":2,"at":0,"kind":"note","text":{}"#, "[".repeat(60_000));
    check_hostile(&record_by_hand(&[&deep]), &Why::NotAnEntry);
    let closed =
        format!("{deep}{}", "]".repeat(60_000)).replace(&"[".repeat(60_000), &"[".repeat(200));
    check_hostile(&record_by_hand(&[&closed]), &Why::NotAnEntry);
    let long = format!(r#""seq":2,"at":0,"kind":"note","text":"{}""#, "x".repeat(LINE_LIMIT));
    check_hostile(&record_by_hand(&[&long]), &Why::TooLong(LINE_LIMIT));
    check_hostile(&vec![b'{'; HEADER_LIMIT + 2], &Why::GivenUp);
    check_hostile(
        &[vec![b'x'; HEADER_LIMIT + 2], vec![b'\n']].concat(),
        &Why::TooLong(HEADER_LIMIT),
    );
    for members in [
        r#""seq":-2,"at":0,"kind":"note","text":"x""#,
        r#""seq":2,"at":1e400,"kind":"note","text":"x""#,
        r#""seq":2,"at":0.5,"kind":"note","text":"x""#,
        r#""seq":2,"at":0,"kind":7"#,
        r#""at":0,"kind":"note","text":"x""#,
    ] {
        check_hostile(&record_by_hand(&[members]), &Why::NotAnEntry);
    }
    let last = r#""seq":18446744073709551615,"at":9223372036854775807,"kind":"note","text":"x""#;
    let back = read(&record_by_hand(&[last, last]));
    assert_eq!(back.entries.len(), 2);
    assert_eq!(back.faults[0].why, Why::Sequence { expected: 2, found: u64::MAX });
}

/// A small file must not ask for much memory, nor a long account for much time.
#[test]
fn a_record_of_nothing_but_faults_or_commas_is_given_up() {
    let back = read(&vec![b'\n'; 3_000_000]);
    assert_eq!(back.faults.len(), MOST_FAULTS + 1);
    assert_eq!(back.faults[MOST_FAULTS].why, Why::GivenUp);
    let zeros = vec!["0"; 20_000].join(",");
    let line = format!(r#""seq":2,"at":0,"kind":"dust","of":[{zeros}]"#);
    let one = record_by_hand(&[&line]);
    let header = framed(&minimal()[..1]);
    let rest = one[header.len()..].repeat(MOST_MARKS / 20_000 + 1);
    let back = read(&[header, rest].concat());
    assert_eq!(back.faults.last().map(|fault| &fault.why), Some(&Why::GivenUp));
    assert!(back.entries.len() <= MOST_MARKS / 20_000);
}

/// The loop in the head of `journal::write`, word for word.
const AUDIT: &str = r#"want=$(printf '%064d' 0)
while IFS= read -r line; do
  [ "$(printf '%s' "$line" | jq -r .prev)" = "$want" ] || echo "broken before: $line"
  want=$(printf '%s\n' "$line" | sha256sum | cut -c1-64)
done < "$RECORD""#;

#[test]
fn common_tools_can_audit_the_chain() {
    let found = |tool: &str| {
        let mut run = Command::new(tool);
        run.arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok()
    };
    if !found("jq") || !found("sha256sum") || !found("sh") {
        return skipped("the audit by jq and sha256sum: they are not both here");
    }
    let audit = |record: &Path| {
        let out = Command::new("sh").args(["-c", AUDIT]).env("RECORD", record).output().unwrap();
        assert!(out.status.success());
        String::from_utf8(out.stdout).unwrap()
    };
    let source = std::fs::read_to_string("src/journal/write.rs").unwrap();
    let written = AUDIT.replace("\"$RECORD\"", "RECORD").replace('\n', "\n//! ");
    assert!(source.contains(&written), "the loop in journal::write is another one");
    let sound = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/journals/v1-full.jsonl");
    assert_eq!(audit(&sound), "");
    let forged = Path::new(env!("CARGO_TARGET_TMPDIR")).join("forged.jsonl");
    let text = String::from_utf8(fixture("v1-full.jsonl")).unwrap();
    std::fs::write(&forged, text.replace(r#""ms":112"#, r#""ms":2"#)).unwrap();
    assert_eq!(audit(&forged).lines().count(), 1);
}

fn any_json() -> impl Strategy<Value = Value> + Clone {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<String>().prop_map(Value::from),
    ];
    leaf.prop_recursive(4, 24, 6, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..6).prop_map(Value::from),
            prop::collection::btree_map(any::<String>(), inner, 0..6)
                .prop_map(|map| Value::Object(map.into_iter().collect())),
        ]
    })
}

fn any_body() -> impl Strategy<Value = Body> {
    let map = prop::collection::btree_map(any::<String>(), any_json(), 0..5)
        .prop_map(|map| map.into_iter().collect::<Map<_, _>>())
        .boxed();
    prop_oneof![
        (map.clone(), any::<Option<(u32, bool)>>()).prop_map(|(what, from)| {
            let from = from.map(|(page, helper)| Sender { page, helper });
            Body::Input { what, from }
        }),
        map.prop_map(|what| Body::Effect { what }),
        any::<String>().prop_map(|text| Body::Note { text }),
        (any::<Option<String>>(), any::<i64>()).prop_map(|(cue, ms)| Body::Late { cue, ms }),
        (any::<u64>(), any::<String>()).prop_map(|(events, why)| Body::Lost { events, why }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(128) })]

    #[test]
    fn any_entry_comes_back_as_it_went(bodies in prop::collection::vec((any::<i64>(), any_body()), 0..8)) {
        let mut all = vec![(0, Body::Header(Box::new(header())))];
        all.extend(bodies);
        let back = read(&framed(&all));
        prop_assert_eq!(&back.faults, &[]);
        let known: Vec<_> = back.known().map(|(at, body)| (at.0, body.clone())).collect();
        prop_assert_eq!(known, &all[1..]);
    }

    /// Pieces of a record changed, taken out or put in: it is read to its end, and no entry comes
    /// out that did not go in.
    #[test]
    fn a_mangled_record_gives_true_entries_or_none(
        from in 0usize..4000, len in 0usize..300, put in prop::collection::vec(any::<u8>(), 0..40),
    ) {
        let record = fixture("v1-full.jsonl");
        let whole = read(&record);
        let from = from.min(record.len());
        let to = (from + len).min(record.len());
        let back = read(&[&record[..from], &put[..], &record[to..]].concat());
        for entry in &back.entries {
            prop_assert!(whole.entries.iter().any(|other| other.body == entry.body));
        }
    }

    #[test]
    fn any_bytes_at_all_are_read_to_their_end(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let back = read(&bytes);
        prop_assert!(back.header.is_none() && back.entries.is_empty());
        prop_assert_eq!(back.faults.is_empty(), bytes.is_empty());
    }
}
