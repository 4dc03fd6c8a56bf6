//! A drill over a record: what is asked, an answer that is right and one that is wrong, the answers as a
//! file of their own, many drills together.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Mutex, PoisonError};

use serde_json::Value;
use stepbell::clock::{Millis, Moment};
use stepbell::edge::show::Drill;
use stepbell::faces::drilled::{choices, wanted};
use stepbell::journal::drill::{About, Body, Judged, frame, is_drill, read, schema};
use stepbell::journal::entry::RunKind;
use stepbell::journal::happened as h;
use stepbell::journal::read::read as read_record;
use stepbell::journal::write::Link;
use stepbell::procedure::plan::StepIx;
use stepbell::training::drill::{Given, Item, items};
use stepbell::training::reel::Reel;
use stepbell::training::replay::{Happened, scenes, script};
use stepbell::vehicle::{Fault, Wrong};

use crate::commands::call;
use crate::journals::check_committed;
use crate::made_records::{self, header};
use crate::recording::folder;
use crate::runs_support::{push_start, root};

/// The record of a seeded run of the main procedure, in which the vehicle is silent once.
pub fn record(seed: u64, rehearsal: bool) -> Vec<u8> {
    type Made = BTreeMap<(u64, bool), Vec<u8>>;
    static MADE: Mutex<Made> = Mutex::new(BTreeMap::new());
    let mut made = MADE.lock().unwrap_or_else(PoisonError::into_inner);
    made.entry((seed, rehearsal)).or_insert_with(|| new_record(seed, rehearsal)).clone()
}

fn new_record(seed: u64, rehearsal: bool) -> Vec<u8> {
    let text = fs::read_to_string(root().join("procedures/push-start-spare.bell")).unwrap();
    let run = if rehearsal { RunKind::Rehearsal } else { RunKind::Live };
    let header = header("Add a push-start spare", &text, seed, run);
    let silence = Fault::Step(StepIx(0), 1, Wrong::Silence);
    made_records::record(&push_start(), header, seed, &[silence])
}

fn questions(seed: u64) -> (Reel, Vec<Item>) {
    let record = read_record(&record(7, false));
    let header = record.header.as_ref().expect("a header");
    let (_, procedure) = script(header).expect("a script that checks");
    let reel = Reel::new(scenes(&record));
    let items = items(&reel, Some(&procedure), seed);
    (reel, items)
}

fn written(items: &[Item]) -> String {
    let mut text = String::new();
    for item in items {
        text.push_str(&format!(
            "{} (line {}), time {}\n",
            item.step.name, item.step.line, item.nth
        ));
        for about in [About::What, About::When] {
            for (n, choice) in choices(item, about).iter().enumerate() {
                let mark = if n == item.wanted(about) { '*' } else { ' ' };
                text.push_str(&format!("  {mark} {choice}\n"));
            }
            text.push_str(&format!("    = {}\n", wanted(item, about)));
        }
    }
    text
}

#[test]
fn every_cue_is_asked_for_with_the_procedures_own_steps_and_times() {
    let (reel, items) = questions(1);
    insta::assert_snapshot!(written(&items));
    for item in &items {
        assert_eq!(item.acts.iter().filter(|act| **act == item.acts[item.right]).count(), 1);
        // Nothing of the step has been shown before it is asked for.
        let frame = reel.frame(item.before);
        let shown = reel.shown(&frame).and_then(|shown| shown.step.clone());
        assert!(shown != Some(item.step.clone()) || item.nth > 1, "{item:?}");
    }
    assert!(items.windows(2).all(|two| two[0].before < two[1].before));
}

#[test]
fn there_is_no_hurry_only_where_the_guide_counted_to_nothing() {
    let (reel, items) = questions(1);
    for item in &items {
        let counted = reel.scenes().iter().skip(item.before).find_map(|scene| match &scene.what {
            Happened::Effect(h::Effect::Show(shown)) if shown.step.as_ref() == Some(&item.step) => {
                let count = shown.count.as_ref()?;
                let bound = matches!(count.what, h::CountWhat::LatestAct | h::CountWhat::LatestCue);
                Some(count.why.as_ref().filter(|_| bound).map(|why| Millis(why.ms)))
            }
            _ => None,
        });
        assert_eq!(item.by.as_ref().map(|by| by.within), counted.flatten(), "{item:?}");
        let right = item.times[item.wanted(About::When)];
        assert_eq!(right, item.by.as_ref().map(|by| by.within));
    }
    let after = |name: &str| {
        let item = items.iter().find(|item| item.step.name == name).expect("it is asked for");
        item.by.as_ref().map(|by| format!("{} after {}", by.within, by.after))
    };
    assert_eq!(after("tin").as_deref(), Some("30s after show-working answered"));
    assert_eq!(after("close").as_deref(), Some("6min after open answered"));
    assert_eq!(after("wake"), None);
}

#[test]
fn another_seed_shuffles_and_the_same_does_not() {
    let rights = |seed| questions(seed).1.iter().map(|item| item.right).collect::<Vec<_>>();
    assert_eq!(rights(1), rights(1));
    assert!((2..8).any(|seed| rights(seed) != rights(1)));
}

#[test]
fn a_time_is_right_within_a_tenth_and_longer_is_worse_than_shorter() {
    let (_, items) = questions(1);
    let item = items.iter().find(|item| item.by.is_some()).expect("a window");
    let window = item.by.as_ref().unwrap().within;
    let judge = |ms: i64| item.judge(About::When, &Given::Time(Some(Millis(ms))));
    assert_eq!(judge(window.0), Some(Judged::Right));
    assert_eq!(judge(window.0 + window.0 / 10), Some(Judged::Right));
    assert_eq!(judge(window.0 + window.0 / 10 + 1), Some(Judged::Later));
    assert_eq!(judge(window.0 - window.0 / 10 - 1), Some(Judged::Sooner));
    assert_eq!(item.judge(About::When, &Given::Time(None)), Some(Judged::Later));
    assert_eq!(item.judge(About::What, &Given::Time(None)), None);
    assert_eq!(item.judge(About::What, &Given::Choice(99)), None);
    let free = items.iter().find(|item| item.by.is_none()).expect("a step without a window");
    assert_eq!(free.judge(About::When, &Given::Time(None)), Some(Judged::Right));
    assert_eq!(free.judge(About::When, &Given::Time(Some(window))), Some(Judged::Sooner));
}

#[test]
fn a_drill_answered_right_and_wrong_is_told_and_scored() {
    let (_, items) = questions(1);
    let mut drill = Drill::new(items.clone(), None, 0);
    let mut text = String::new();
    for (n, item) in items.iter().enumerate() {
        assert_eq!(drill.limit(), Some(item.before));
        for about in [About::What, About::When] {
            let asks = drill.asks(true, Moment(0));
            let question = asks.question.clone().expect("it asks");
            text.push_str(&format!("? {}: {question}\n", asks.progress));
            let right = item.wanted(about);
            let given = match (n % 4, about) {
                (1, About::What) => Given::Choice((right + 1) % item.acts.len()),
                (2, About::When) => Given::Time(Some(Millis::secs(300))),
                (3, About::When) => Given::Time(Some(Millis(500))),
                (3, About::What) => Given::Shown,
                _ => Given::Choice(right),
            };
            assert!(drill.answer(&given, Moment(2000)).is_some());
            assert_eq!(drill.answer(&given, Moment(2000)), None, "one answer a question");
            let told = drill.asks(false, Moment(0)).told;
            text.push_str(&format!("* {}\n", told.last().expect("told")));
        }
    }
    drill.finish(Moment(0));
    text.push_str(&drill.done().score.join("\n"));
    insta::assert_snapshot!(text);
}

fn on_disk(folder: &Path) -> PathBuf {
    let path = folder.join("run.jsonl");
    fs::write(&path, record(7, false)).unwrap();
    path
}

/// The program in a drill, with these lines.
fn drilled(record: &Path, answers: &Path, lines: &str) -> (String, Option<i32>) {
    drilled_on("--plain", record, answers, lines)
}

fn drilled_on(face: &str, record: &Path, answers: &Path, lines: &str) -> (String, Option<i32>) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_stepbell"))
        .args(["replay", "--drill", "--seed", "1", "--speed", "1000", face])
        .args(["--operator-label", "apprentice 3"])
        .arg("--answers")
        .args([answers, record])
        .env_clear()
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    let mut to = child.stdin.take().expect("piped");
    to.write_all(lines.as_bytes()).expect("it is read");
    drop(to);
    let output = child.wait_with_output().expect("it ends");
    let text = [output.stdout, output.stderr].concat();
    (String::from_utf8(text).expect("UTF-8"), output.status.code())
}

fn answers_in(folder: &Path) -> PathBuf {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut found: Vec<_> = entries.filter(|path| is_drill(&fs::read(path).unwrap())).collect();
    assert_eq!(found.len(), 1, "{found:?}");
    found.remove(0)
}

#[test]
fn a_drill_through_pipes_keeps_its_answers_in_a_file_of_their_own() {
    let folder = folder("drill-pipes");
    let record = on_disk(&folder);
    let (_, items) = questions(1);
    let line = |item: &Item| format!("{}\nshow\n", item.wanted(About::What) + 1);
    let lines: String = items.iter().map(line).collect();
    let (out, code) = drilled(&record, &folder, &lines);
    assert_eq!(code, Some(0), "{out}");
    let shown = |line: &&str| !line.starts_with("REPLAY ");
    assert!(out.lines().filter(|line| line.contains("? DRILL")).all(|l| l.starts_with("REPLAY ")));
    assert!(out.contains("What comes next?") && out.contains("RIGHT: "), "{out}");
    let next = out.lines().find(|line| line.contains("Next:"));
    assert_eq!(next, None, "what comes next is asked, not told");
    let score: Vec<_> = out.lines().filter(shown).collect();
    assert!(score[0].starts_with("DRILL OVER: "), "{score:?}");
    let answers = answers_in(&folder);
    assert!(answers.to_string_lossy().ends_with(".drill.jsonl"));
    let back = read(&fs::read(&answers).unwrap());
    let header = back.header.as_ref().unwrap();
    assert_eq!(
        (header.operator.as_deref(), back.whole, back.damaged),
        (Some("apprentice 3"), true, 0)
    );
    assert_eq!(back.answers.len(), items.len() * 2);
    let of = |about| back.answers.iter().filter(move |answer| answer.about == about);
    assert!(of(About::What).all(|answer| answer.judged == Judged::Right));
    assert!(of(About::When).all(|answer| answer.judged == Judged::Shown));
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(fs::metadata(&answers).unwrap().permissions().mode() & 0o777, 0o600);
    }
}

#[test]
fn a_drill_that_is_left_keeps_what_was_answered() {
    let folder = folder("drill-left");
    let record = on_disk(&folder);
    let (out, code) = drilled(&record, &folder, "1\nnone\n");
    assert_eq!(code, Some(0), "{out}");
    assert!(out.contains("DRILL LEFT before its end"), "{out}");
    let back = read(&fs::read(answers_in(&folder)).unwrap());
    assert_eq!((back.answers.len(), back.whole), (2, false));
    let (out, code) = drilled(&record, Path::new("/nowhere/at/all"), "1\n");
    assert!(out.contains("--no-answers"), "{out}");
    assert_eq!(code, Some(4), "{out}");
}

#[test]
fn drills_are_counted_only_where_they_are_asked_for() {
    let folder = folder("drill-tally");
    let record = on_disk(&folder);
    for lines in ["1\n30s\n2\nnone\n", "show\nshow\n1\n2\n"] {
        drilled(&record, &folder, lines);
    }
    let place = folder.to_str().unwrap();
    call(&["tally", place]).out("1 of 1").ends(0);
    let all = call(&["tally", place, "--drills"]).out("DRILLS: 2, 2 left").ends(0);
    assert!(!all.contains("apprentice"), "nobody is named unasked");
    call(&["tally", place, "--drills", "--by-person"]).out("apprentice 3").ends(0);
    let json: Value = serde_json::from_str(
        &call(&["tally", place, "--drills", "--format", "json"]).out("{").ends(0),
    )
    .unwrap();
    assert_eq!(json["drills"][0]["drills"], 2);
    // The first step was tried twice in that run, and asked for twice in each drill.
    assert_eq!(json["drills"][0]["steps"][0]["what"]["asked"], 4);
    call(&["tally", place, "--drills", "--format", "html"]).err("csv").ends(2);
    let csv = call(&["tally", place, "--drills", "--format", "csv"]).out("title,").ends(0);
    assert!(!csv.contains("apprentice"), "nobody is named unasked");
    insta::with_settings!({ filters => vec![("[0-9a-f]{64}", "SHA256")] }, {
        insta::assert_snapshot!("drills_as_a_table", csv);
    });
    for row in csv.lines().skip(1) {
        let counts: Vec<u64> = row.split(',').skip(8).map(|n| n.parse().unwrap()).collect();
        assert_eq!(counts[0], counts[1..].iter().sum::<u64>(), "{row}");
    }
    call(&["tally", place, "--drills", "--format", "csv", "--by-person"])
        .out(",apprentice 3,")
        .ends(0);
    let one = answers_in_any(&folder);
    call(&["tally", one.to_str().unwrap()]).out("not a run").ends(3);
    call(&["tally", record.to_str().unwrap(), "--drills"]).out("no answers of a drill").ends(3);
}

fn answers_in_any(folder: &Path) -> PathBuf {
    let mut entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    entries.find(|path| is_drill(&fs::read(path).unwrap())).expect("answers")
}

#[test]
fn any_part_of_the_answers_reads_back_and_no_damage_passes() {
    let folder = folder("drill-torn");
    drilled(&on_disk(&folder), &folder, "1\n30s\n2\nnone\n");
    let bytes = fs::read(answers_in(&folder)).unwrap();
    let whole = read(&bytes);
    assert_eq!(whole.damaged, 0);
    for end in 0..bytes.len() {
        let part = read(&bytes[..end]);
        assert!(part.answers.len() <= whole.answers.len());
        assert_eq!(part.answers[..], whole.answers[..part.answers.len()]);
        let lines = bytes[..end].iter().filter(|byte| **byte == b'\n').count();
        assert_eq!(part.damaged, u64::from(end > 0 && bytes[end - 1] != b'\n'));
        assert_eq!(part.answers.len(), lines.saturating_sub(1));
    }
    for at in (0..bytes.len()).step_by(7) {
        let mut spoiled = bytes.clone();
        spoiled[at] ^= 1;
        assert!(read(&spoiled).damaged > 0, "byte {at}");
    }
}

#[test]
fn the_schema_of_the_answers_is_the_one_that_the_types_make() {
    check_committed("grammar/drill.schema.json", schema().as_bytes());
    let schema: Value = serde_json::from_str(&schema()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let end = frame(&Link::first(), Moment(5), &Body::End { asked: 2, right: 1 }).unwrap();
    let mut line: Value = serde_json::from_slice(&end.bytes).unwrap();
    assert!(validator.is_valid(&line));
    line["kind"] = "guess".into();
    assert!(!validator.is_valid(&line));
}

#[test]
fn a_drill_is_read_aloud_without_what_only_flickers() {
    let folder = folder("drill-aloud");
    let record = on_disk(&folder);
    let (_, items) = questions(1);
    let line = |item: &Item| format!("{}\n30s\n", item.wanted(About::What) + 1);
    let lines: String = items.iter().map(line).collect();
    let (out, code) = drilled_on("--linear", &record, &folder, &lines);
    assert_eq!(code, Some(0), "{out}");
    let told: Vec<_> = out.lines().filter(|line| !line.starts_with("answers: ")).collect();
    insta::assert_snapshot!(told.join("\n"));
}

#[test]
fn a_run_that_came_to_its_ending_is_not_taken_up_though_its_last_line_is_missing() {
    let whole = record(7, false);
    assert!(!read_record(&whole).is_closed() && !read_record(&whole).is_unfinished());
    let last = whole[..whole.len() - 1].iter().rposition(|byte| *byte == b'\n').unwrap();
    assert!(read_record(&whole[..=last]).is_unfinished(), "its ending is not there");
}

#[test]
fn the_record_that_the_page_is_tried_with_is_of_a_seeded_run() {
    check_committed("tests/page/replayed.jsonl", &record(7, false));
}
