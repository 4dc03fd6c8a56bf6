//! What many records say together, and a record as captions: seeded runs written down as records.

use std::fs;
use std::path::Path;

use stepbell::clock::{Millis, Moment};
use stepbell::faces::captions::{Film, captions, chapters};
use stepbell::faces::tally::{document, page, table, words};
use stepbell::journal::brief::brief;
use stepbell::journal::entry::RunKind;
use stepbell::journal::read::read;
use stepbell::procedure::examine;
use stepbell::procedure::plan::{Plan, StepIx};
use stepbell::proof::verdict::{Verdict, verdict};
use stepbell::training::intervals::{exact, jeffreys};
use stepbell::training::replay::scenes;
use stepbell::training::tally::Tally;
use stepbell::vehicle::{Fault, Wrong};

use crate::commands::call;
use crate::made_records::{header, record, record_of};
use crate::recording::folder;
use crate::runs_support::{from_text, push_start};

/// Forty runs of one script in two editions, some of them with a lapse, and rehearsals.
fn many() -> Tally {
    let script = push_start();
    let lapse = |seed: u64| match seed % 4 {
        0 => vec![Fault::Step(StepIx(1), 1, Wrong::Silence)],
        _ => Vec::new(),
    };
    let mut tally = Tally::default();
    for seed in 0..40 {
        let text = if seed < 30 { "edition 1" } else { "edition 2" };
        let kind = if seed % 5 == 4 { RunKind::Rehearsal } else { RunKind::Live };
        let bytes = record(&script, header("Add a spare", text, seed, kind), seed, &lapse(seed));
        tally.add(&format!("run-{seed}"), brief(&bytes), false);
    }
    tally
}

#[test]
fn editions_and_rehearsals_are_counted_apart_and_everything_is_counted() {
    let tally = many();
    assert_eq!(tally.counted(), 40);
    assert_eq!(tally.groups.len(), 4);
    for group in tally.groups.values() {
        assert_eq!(group.endings.values().map(|(_, n)| n).sum::<u64>(), group.runs);
        assert!(group.learned <= group.runs);
    }
    insta::assert_snapshot!("tally", words(&tally));
}

/// Nobody acted and nothing came, then it was done again: the guide cannot tell of the first time.
#[test]
fn an_act_that_nothing_answered_is_not_known_to_have_met_its_window() {
    let header = header("Add a spare", "x", 0, RunKind::Live);
    let slow = Fault::Step(StepIx(3), 1, Wrong::Slow(Millis::secs(600)));
    let bytes = record(&push_start(), header, 3, &[slow]);
    let mut tally = Tally::default();
    tally.add("run", brief(&bytes), false);
    let group = tally.groups.values().next().expect("a group");
    let met = group.met("show-working", 1);
    assert_eq!((met.met, met.missed, met.not_known), (1, 0, 1));
}

/// A run with this many spares, where nothing came the first time that this step was done: how often each
/// window of the script with these lines was met, missed, and neither for sure.
fn windows_of(text: &str, spares: u32, silent: Option<&str>) -> Vec<(String, u32, [u64; 3])> {
    let script = from_text("spare.bell", text.to_owned());
    let sources =
        examine("spare.bell", text.to_owned(), &mut |_| Err("no file".to_owned())).sources;
    let with = |plan: &&Plan| plan.choices.counts.iter().any(|(_, n)| *n == spares);
    let plan = script.plans.iter().find(with).expect("a plan");
    let at = |name: &str| plan.steps.iter().position(|step| step.name == name).expect("a step");
    let step = |name| StepIx(u32::try_from(at(name)).expect("few"));
    let faults: Vec<Fault> =
        silent.map(|name| Fault::Step(step(name), 1, Wrong::Silence)).into_iter().collect();
    let header = header("Add a spare", text, 0, RunKind::Live);
    let bytes = record_of((&script, plan, &sources), header, 3, &faults);
    let mut tally = Tally::default();
    tally.add("run", brief(&bytes), false);
    tally.list_windows();
    let group = tally.groups.values().next().expect("a group");
    let row = |(step, line): &(String, u32)| {
        let met = group.met(step, *line);
        (step.clone(), *line, [met.met, met.missed, met.not_known])
    };
    group.windows.keys().map(row).collect()
}

/// A window of the first turn only says nothing of the second, and the other way round.
#[test]
fn a_window_counts_only_in_the_turns_in_which_it_holds() {
    let text = fs::read_to_string("procedures/push-start-spare.bell").expect("readable");
    let row = |step: &str, line, met| (step.to_owned(), line, met);
    let whole = [
        row("show-new", 88, [1, 0, 0]),
        row("show-new", 89, [1, 0, 0]),
        row("show-working", 69, [1, 0, 0]),
    ];
    assert_eq!(windows_of(&text, 2, None), whole);
    // With one spare there is no later turn, and a window of later turns is none of this run's.
    let one = [row("show-new", 88, [1, 0, 0]), row("show-working", 69, [1, 0, 1])];
    assert_eq!(windows_of(&text, 1, Some("show-working")), one);
}

/// Forty-one runs of which five have an answer later than declared.
#[test]
fn declared_times_that_records_contradict_are_told_with_what_would_agree_proven_anew() {
    let text = fs::read_to_string("tests/terminal/tiny.bell").expect("readable");
    let script = from_text("tiny", text.clone());
    let wrong = |seed: u64| match seed {
        3 | 14 | 25 => vec![Fault::Step(StepIx(0), 1, Wrong::Late(Millis(2_600)))],
        5 | 16 => vec![Fault::Step(StepIx(1), 1, Wrong::Late(Millis(1_700)))],
        _ => Vec::new(),
    };
    let mut tally = Tally::default();
    for seed in 0..41 {
        let header = header("Show one key twice", &text, seed, RunKind::Live);
        tally.add(
            &format!("run-{seed}"),
            brief(&record(&script, header, seed, &wrong(seed))),
            false,
        );
    }
    tally.propose();
    insta::assert_snapshot!("contradicted", words(&tally));
    let group = tally.groups.values().next().expect("a group");
    let proposed = group.proposed.as_ref().expect("proposals");
    assert!(matches!(proposed.as_declared, Verdict::Proven(_)));
    for time in &proposed.times {
        let widest = time.wider.last().expect("a wider bound");
        assert!(
            widest.span.hi > time.declared.hi && widest.span.lo <= time.declared.lo,
            "{time:?}"
        );
        // The same change written into the script has the same verdict.
        let changed = text.replacen(
            &time.written,
            &time.written.replace(&time.declared.hi.to_string(), &widest.span.hi.to_string()),
            1,
        );
        assert_ne!(changed, text, "{time:?}");
        let changed = from_text("changed", changed);
        let again = verdict(&changed.procedure, &changed.plans, &changed.speech);
        assert_eq!(again, widest.verdict, "{time:?}");
    }
    // An answer a little late behind a quick hand contradicts nothing for certain.
    let json = document(&tally);
    let told = json["scripts"][0]["contradicted"].as_array().expect("a list");
    assert_eq!((told.len(), &told[0]["longer"]["times"]), (1, &serde_json::json!(2)));
}

#[test]
fn a_record_that_is_being_written_is_no_unfinished_one_and_what_is_no_record_is_counted() {
    let place = folder("running");
    let script = push_start();
    let whole = record(&script, header("Add a spare", "edition 1", 3, RunKind::Live), 3, &[]);
    let half = record(&script, header("Add a spare", "edition 1", 4, RunKind::Live), 4, &[]);
    let mut lines: Vec<&[u8]> = half.split_inclusive(|byte| *byte == b'\n').collect();
    lines.truncate(lines.len() / 2);
    let running = place.join("running.jsonl");
    fs::write(place.join("whole.jsonl"), whole).unwrap();
    fs::write(&running, lines.concat()).unwrap();
    fs::write(place.join("foreign.jsonl"), "nothing of ours\n".repeat(20_000)).unwrap();
    let path = place.to_str().unwrap();
    let alone = call(&["tally", path]).out("2 records counted").ends(1);
    assert!(alone.contains("learned  1 of 2"), "{alone}");
    assert!(alone.contains("1 file could not be counted."), "{alone}");
    let held = fs::File::open(&running).unwrap();
    held.lock().unwrap();
    let now = call(&["tally", path]).out("1 record counted").ends(1);
    assert!(now.contains("learned  1 of 1"), "{now}");
    assert!(now.contains("still being recorded, not counted yet: "), "{now}");
    drop(held);
    let foreign = place.join("foreign.jsonl");
    let replay = call(&["replay", foreign.to_str().unwrap()]);
    let _ = replay.err("not a record of ours").err(" more like these").ends(3);
    // The record beside ends the command as the first would.
    let first = place.join("whole.jsonl");
    let first = first.to_str().unwrap();
    let beside = |more: &[&str], told: &str, code| {
        let _ = call(&[&["replay", first, "--speed", "0"][..], more].concat()).err(told).ends(code);
    };
    beside(&["--beside", foreign.to_str().unwrap()], "not a record of ours", 3);
    beside(&["--beside", "nowhere.jsonl"], "nowhere.jsonl", 3);
    beside(&["--beside", first, "--align", "nowhere"], "did not come to step", 2);
}

#[test]
fn the_same_counts_stand_in_every_form() {
    let tally = many();
    let json = document(&tally);
    let scripts = json["scripts"].as_array().expect("scripts");
    let lines =
        scripts.iter().map(|s| s["windows"].as_array().expect("windows").len()).sum::<usize>();
    assert_eq!(table(&tally).lines().count(), lines + 1);
    let page = page(&tally);
    for (key, group) in &tally.groups {
        assert!(page.contains(&format!("{} of {} learned", group.learned, group.runs)), "{key:?}");
    }
    assert!(!page.contains("http"), "nothing from outside");
}

#[test]
fn a_damaged_record_is_named_and_a_foreign_file_is_not_counted() {
    let script = push_start();
    let whole = record(&script, header("x", "x", 0, RunKind::Live), 7, &[]);
    let mut tally = Tally::default();
    tally.add("whole", brief(&whole), false);
    tally.add("copy", brief(&whole), false);
    tally.add("foreign", brief(b"{\"a\":1}\n"), false);
    tally.add("empty", brief(b""), false);
    let mut bad = record(&script, header("x", "x", 1, RunKind::Live), 8, &[]);
    let at = bad.len() / 2;
    bad[at] ^= 0x55;
    tally.add("bad", brief(&bad), false);
    assert_eq!(tally.counted(), 2);
    assert_eq!((tally.again.len(), tally.damaged.len(), tally.refused.len()), (1, 1, 2));
    let told = words(&tally);
    for name in ["copy", "bad", "foreign", "empty"] {
        assert!(told.contains(name), "{name} in:\n{told}");
    }
}

/// A copy that was interrupted on its way, at a line's end or inside a line, holds the same run.
#[test]
fn a_copy_that_was_cut_short_is_named_and_counted_once() {
    let place = folder("cut-copies");
    let script = push_start();
    let one =
        |nth| record(&script, header("Add a spare", "edition 1", nth, RunKind::Live), nth, &[]);
    let whole = one(3);
    let line = whole[..whole.len() / 2].iter().rposition(|byte| *byte == b'\n').unwrap();
    let other = [&whole[..=line], b"{}\n"].concat();
    for (name, bytes) in [
        ("a-torn.jsonl", &whole[..whole.len() * 2 / 3]),
        ("b-whole.jsonl", &whole[..]),
        ("c-at-a-line.jsonl", &whole[..=line]),
        ("d-same.jsonl", &whole[..]),
        ("e-in-the-header.jsonl", &whole[..600]),
        // Begun as the others, and not the same: no copy.
        ("f-other.jsonl", &other[..]),
        ("g-cut-alone.jsonl", &one(4)[..whole.len() / 2]),
    ] {
        fs::write(place.join(name), bytes).unwrap();
    }
    let path = place.to_str().unwrap();
    let told = call(&["tally", path]).out("3 records counted.").ends(1);
    assert!(told.contains("learned  1 of 3"), "{told}");
    insta::assert_snapshot!("cut_copies", told.replace(path, "…"));
    let json = call(&["tally", path, "--format", "json"]).out("{").ends(1);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let cut: Vec<_> = json["cut_short"].as_array().unwrap().iter().collect();
    assert_eq!(cut.len(), 3, "{cut:?}");
    for copy in cut {
        assert!(copy["same_run_as"].as_str().unwrap().ends_with("b-whole.jsonl"), "{copy}");
    }
    let page = call(&["tally", path, "--format", "html"]).out("the same run as").ends(1);
    assert!(page.contains("cut short"), "{page}");
    // Alone it is what is left of a run.
    let torn = place.join("a-torn.jsonl");
    let _ = call(&["tally", torn.to_str().unwrap()]).out("unfinished: 1").ends(1);
}

#[test]
fn a_record_cut_anywhere_is_counted_or_named() {
    let whole = record(&push_start(), header("x", "x", 0, RunKind::Live), 3, &[]);
    for cut in (0..whole.len()).step_by(97) {
        let mut tally = Tally::default();
        tally.add("cut", brief(&whole[..cut]), false);
        assert_eq!(tally.counted() + u64::try_from(tally.refused.len()).unwrap(), 1, "{cut}");
        assert!(!words(&tally).is_empty());
    }
}

/// Intervals of the table that the success rates were designed with; its own source is
/// statsmodels' `proportion_confint` (methods `jeffreys` and `beta`), four decimals.
#[test]
fn intervals_are_those_of_the_table() {
    let rows = [
        (1, 1, 0.1467, 0.9996, 0.0250, 1.0),
        (3, 3, 0.4644, 0.9998, 0.2924, 1.0),
        (8, 10, 0.4972, 0.9559, 0.4439, 0.9748),
        (10, 10, 0.7828, 1.0, 0.6915, 1.0),
        (19, 20, 0.7892, 0.9946, 0.7513, 0.9987),
        (20, 20, 0.8834, 1.0, 0.8316, 1.0),
        (59, 60, 0.9247, 0.9982, 0.9106, 0.9996),
    ];
    for (k, n, j_lo, j_hi, e_lo, e_hi) in rows {
        let (j, e) = (jeffreys(k, n), exact(k, n));
        for (got, wanted) in [(j.lo, j_lo), (j.hi, j_hi), (e.lo, e_lo), (e.hi, e_hi)] {
            assert!((got - wanted).abs() < 0.000_06, "{k}/{n}: {got}, wanted {wanted}");
        }
    }
}

#[test]
fn captions_and_chapters_of_a_run() {
    let bytes = record(&push_start(), header("Add a spare", "x", 0, RunKind::Rehearsal), 11, &[]);
    let scenes = scenes(&read(&bytes));
    let film = Film { title: "Add a spare".to_owned(), rehearsal: true, begins: Moment(-2_000) };
    insta::assert_snapshot!("captions", captions(&scenes, &film));
    insta::assert_snapshot!("chapters", chapters(&scenes, &film));
}

#[test]
fn the_commands_write_what_they_are_asked_for() {
    let folder = folder("tally");
    let bytes = record(&push_start(), header("Add a spare", "x", 0, RunKind::Live), 11, &[]);
    let path = |name: &str| folder.join(name).display().to_string();
    fs::write(folder.join("a.jsonl"), &bytes).expect("written");
    fs::write(folder.join("notes.txt"), "nothing").expect("written");
    let one = folder.display().to_string();
    call(&["tally", &one]).out("1 record counted").ends(0);
    call(&["tally", &one, "--format", "csv"]).out("title,script_sha256").ends(0);
    call(&["tally", &path("nothing.jsonl")]).out("not counted").ends(3);
    let (vtt, steps) = (path("a.vtt"), path("steps.vtt"));
    call(&[
        "replay",
        &path("a.jsonl"),
        "--captions",
        &vtt,
        "--chapters",
        &steps,
        "--offset",
        "-2s",
    ])
    .ends(0);
    // One file cannot be both.
    let same = ["replay", &path("a.jsonl"), "--captions", "-", "--chapters", "-"];
    call(&same).err("give each a place of its own").ends(2);
    for file in [vtt, steps] {
        let text = fs::read_to_string(Path::new(&file)).expect("there");
        assert!(text.starts_with("WEBVTT\n\n") && text.contains(" --> "), "{file}");
    }
    assert_eq!(read(&bytes).faults.len(), 0);
}
