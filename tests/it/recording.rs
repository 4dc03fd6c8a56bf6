//! The record on the disk: what is told as saved is saved, what cannot be begun is refused, what
//! was broken off is found and closed.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver};

use stepbell::clock::{Millis, Moment};
use stepbell::edge::records::{Found, NotClosed, Wanted, close_continued, find_unfinished};
use stepbell::edge::writer::{
    Finish, NoRecord, NoRecordWhy, Outcome, Place, Plan, QUEUE, RESERVE, Recorder, Told,
};
use stepbell::journal::entry::{
    Body, EndingClass, FORMAT, Header, LINE_LIMIT, RunKind, ScriptFile, VERSION,
};
use stepbell::journal::read::{ReadBack, Why, read};

/// Longer than any disk takes; a test that waits this long has failed.
pub const PATIENCE: Millis = Millis(60_000);
/// The record's name that `header` leads to.
pub const NAME: &str = "2031-05-06-070809-add-a-spare";

/// A fresh folder of the test's own.
pub fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("recording").join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    folder
}

pub fn header() -> Header {
    Header {
        format: FORMAT.to_owned(),
        version: VERSION,
        tool: "0.1.0".to_owned(),
        run: RunKind::Live,
        started: "2031-05-06T07:08:09Z".to_owned(),
        title: "Add a spare".to_owned(),
        status: "demonstration".to_owned(),
        files: vec![ScriptFile::new("spare.bell", "# a spare\n")],
        profile: "standard".to_owned(),
        lengths: "model".to_owned(),
        spoken: Vec::new(),
        lag: 0,
        operator: None,
        counts: std::collections::BTreeMap::new(),
        continues: None,
        rehearsal: None,
    }
}

pub fn plan(place: Place, second: Option<PathBuf>) -> Plan {
    Plan { place, second, header: header() }
}

fn note(n: u64) -> Body {
    Body::Note { text: format!("event {n}") }
}

fn end() -> Body {
    Body::End { ending: "learned".to_owned(), class: EndingClass::Learned, items: Vec::new() }
}

/// A recorder whose tellings come through a channel.
pub fn begin(plan: Plan) -> Result<(Recorder, Receiver<Told>), NoRecord> {
    let (tell, told) = mpsc::channel();
    let recorder = Recorder::begin(plan, move |this| {
        let _ = tell.send(this);
    })?;
    Ok((recorder, told))
}

#[track_caller]
fn refused(plan: Plan) -> NoRecord {
    begin(plan).map(|(recorder, _)| recorder.path().to_owned()).expect_err("a record was begun")
}

#[track_caller]
pub fn finished(recorder: Recorder) -> Outcome {
    match recorder.finish(Moment(9000), PATIENCE) {
        Finish::Done(outcome) => outcome,
        other => panic!("{other:?}"),
    }
}

pub fn back(path: &Path) -> ReadBack {
    read(&fs::read(path).unwrap_or_else(|why| panic!("{}: {why}", path.display())))
}

/// The numbers of the events that a record holds, in order.
pub fn events(back: &ReadBack) -> Vec<u64> {
    let number = |body: &Body| match body {
        Body::Note { text } => text.split(' ').nth(1).and_then(|n| n.parse().ok()),
        _ => None,
    };
    back.known().filter_map(|(_, body)| number(body)).collect()
}

pub fn wanted() -> Wanted<'static> {
    Wanted { script_sha256: "", title: "Add a spare", run: RunKind::Live }
}

// ---------------------------------------------------------------- an ordinary run

#[test]
fn a_run_is_recorded_saved_and_private() {
    let place = folder("ordinary").join("deep/records");
    let (mut recorder, told) = begin(plan(Place::Default(place.clone()), None)).unwrap();
    assert_eq!(recorder.name(), NAME);
    for n in 1..=5 {
        assert_eq!(recorder.put(Moment(n), note(n.unsigned_abs())), Some(n.unsigned_abs()));
    }
    let path = recorder.path().to_owned();
    let outcome = finished(recorder);
    assert!(outcome.is_whole(), "{outcome:?}");
    assert_eq!((outcome.recorded, outcome.saved), (6, 6));
    let told: Vec<_> = told.iter().collect();
    let recorded = told.iter().filter(|told| matches!(told, Told::Recorded(_))).count();
    assert_eq!(recorded, 5);
    assert_eq!(told.last(), Some(&Told::Saved(5)));
    let back = back(&path);
    assert_eq!(back.faults, []);
    assert_eq!(events(&back), [1, 2, 3, 4, 5]);
    assert_eq!(back.link.prev, outcome.last_line_sha256);
    check_private(&path, &place);
}

#[track_caller]
fn check_private(file: &Path, folder: &Path) {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!((mode(file), mode(folder)), (0o600, 0o700));
    let file = fs::metadata(file).unwrap();
    assert!(file.blocks() * 512 < file.len() + RESERVE, "what was reserved was not given back");
}

#[test]
fn two_runs_that_start_in_the_same_second_get_two_names() {
    let place = folder("same-second");
    let (first, _) = begin(plan(Place::Folder(place.clone()), None)).unwrap();
    let (second, _) = begin(plan(Place::Folder(place), None)).unwrap();
    assert_eq!((first.name(), second.name()), (NAME.to_owned(), format!("{NAME}-2")));
}

// ---------------------------------------------------------------- refused before the run

#[test]
fn a_record_that_cannot_be_begun_is_refused_in_plain_words() {
    let place = folder("refused");
    let missing = refused(plan(Place::Folder(place.join("missing")), None));
    assert!(matches!(missing.why, NoRecordWhy::MissingFolder), "{missing}");
    assert!(missing.to_string().contains("is not there"));
    let device = refused(plan(Place::File("/dev/full".into()), None));
    assert!(matches!(device.why, NoRecordWhy::Taken), "{device}");
    let (running, _) = begin(plan(Place::File(place.join("r.jsonl")), None)).unwrap();
    let second = refused(plan(Place::File(place.join("r.jsonl")), None));
    assert!(matches!(second.why, NoRecordWhy::Held), "{second}");
    assert!(second.to_string().contains("another run"));
    drop(finished(running));
    let over = refused(plan(Place::File(place.join("r.jsonl")), None));
    assert!(matches!(over.why, NoRecordWhy::Taken), "{over}");
    let mut long = plan(Place::Folder(place.clone()), None);
    long.header.files[0].text = "x".repeat(8 << 20);
    let long = refused(long);
    assert!(matches!(long.why, NoRecordWhy::Header(_)), "{long}");
    assert_eq!(fs::read_dir(&place).unwrap().count(), 1, "something was left behind");
}

#[test]
fn a_link_planted_at_the_name_is_never_followed() {
    let place = folder("planted");
    let victim = place.join("victim");
    fs::write(&victim, "precious").unwrap();
    let link = place.join("link.jsonl");
    std::os::unix::fs::symlink(&victim, &link).unwrap();
    let planted = refused(plan(Place::File(link.clone()), None));
    assert!(matches!(planted.why, NoRecordWhy::Taken), "{planted}");
    assert!(matches!(close_continued(&link, "later"), Err(NotClosed::Io(_))));
    std::os::unix::fs::symlink(&victim, place.join(format!("{NAME}.jsonl"))).unwrap();
    std::os::unix::fs::symlink("nowhere", place.join(format!("{NAME}-2.jsonl"))).unwrap();
    let (recorder, _) = begin(plan(Place::Folder(place.clone()), None)).unwrap();
    assert_eq!(recorder.name(), format!("{NAME}-3"));
    assert_eq!(fs::read_to_string(&victim).unwrap(), "precious");
    assert!(!place.join("nowhere").exists());
}

// ---------------------------------------------------------------- the queue and the thread

#[test]
fn a_blocked_disk_never_blocks_the_run_and_what_was_dropped_is_counted() {
    let place = folder("blocked");
    let (open, gate) = mpsc::channel::<()>();
    let tell = move |_| {
        let _ = gate.recv();
    };
    let mut recorder = Recorder::begin(plan(Place::Folder(place), None), tell).unwrap();
    let sent = (0..QUEUE + 50).filter(|_| recorder.put(Moment(1), note(1)).is_some()).count();
    let dropped = (QUEUE + 50 - sent) as u64;
    assert!((49..=50).contains(&dropped), "{dropped}");
    drop(open);
    let path = recorder.path().to_owned();
    // The next entry that fits is preceded by the count.
    while recorder.put(Moment(2), note(2)).is_none() {
        std::thread::yield_now();
    }
    let outcome = finished(recorder);
    assert!(outcome.lost >= dropped && !outcome.is_whole());
    let told: u64 = back(&path)
        .known()
        .map(|(_, body)| if let Body::Lost { events, .. } = body { *events } else { 0 })
        .sum();
    assert_eq!(told, outcome.lost);
}

#[test]
fn a_panic_in_the_writers_thread_is_told_and_ends_nothing_else() {
    let place = folder("panic");
    let (tell, told) = mpsc::channel();
    let telling = move |this: Told| {
        let panics = matches!(this, Told::Recorded(2));
        let _ = tell.send(this);
        assert!(!panics, "made to break");
    };
    let mut recorder = Recorder::begin(plan(Place::Folder(place), None), telling).unwrap();
    let path = recorder.path().to_owned();
    for n in 1..=3 {
        recorder.put(Moment(1), note(n));
    }
    let told: Vec<_> = told.iter().collect();
    assert_eq!(told.last(), Some(&Told::Died("made to break".to_owned())));
    assert_eq!(recorder.put(Moment(2), note(4)), None);
    assert_eq!(recorder.finish(Moment(2), PATIENCE), Finish::Died);
    assert_eq!(events(&back(&path)), [1, 2]);
}

#[test]
fn an_entry_longer_than_a_reader_accepts_is_refused_and_said_so() {
    let (mut recorder, told) = begin(plan(Place::Folder(folder("long")), None)).unwrap();
    let path = recorder.path().to_owned();
    recorder.put(Moment(1), Body::Note { text: "x".repeat(LINE_LIMIT) });
    recorder.put(Moment(2), note(2));
    let outcome = finished(recorder);
    assert_eq!((outcome.lost, outcome.recorded, outcome.saved), (1, 3, 3));
    assert!(matches!(told.iter().next(), Some(Told::Refused(1, _))));
    let back = back(&path);
    assert!(matches!(back.known().next(), Some((_, Body::Lost { events: 1, .. }))));
    assert_eq!(events(&back), [2]);
}

// ---------------------------------------------------------------- starting again

#[test]
fn the_newest_unfinished_record_is_found_shown_and_closed() {
    let place = folder("again");
    let (mut recorder, _) = begin(plan(Place::Folder(place.clone()), None)).unwrap();
    recorder.put(Moment(700), note(1));
    let path = recorder.path().to_owned();
    let found = |wanted: &Wanted| find_unfinished(&[&place, Path::new("/nowhere")], wanted);
    let running = found(&wanted());
    assert!(running.unfinished.is_none());
    assert_eq!(running.running, std::slice::from_ref(&path));
    assert!(matches!(close_continued(&path, "later"), Err(NotClosed::Held)));
    drop(finished(recorder));
    let Found { unfinished: Some(unfinished), .. } = found(&wanted()) else { panic!("not found") };
    assert_eq!((&unfinished.path, unfinished.newer_finished), (&path, 0));
    assert_eq!(unfinished.read.certain_entries().last().map(|last| last.at), Some(Moment(700)));
    assert!(found(&Wanted { title: "Another", ..wanted() }).unfinished.is_none());
    assert!(found(&Wanted { run: RunKind::Rehearsal, ..wanted() }).unfinished.is_none());
    let hash = header().script_sha256().to_owned();
    let renamed = Wanted { script_sha256: &hash, title: "Another", run: RunKind::Live };
    assert!(found(&renamed).unfinished.is_some());
    assert_eq!(close_continued(&path, "later").unwrap(), 0);
    assert!(found(&wanted()).unfinished.is_none());
    assert_eq!(back(&path).faults, []);
}

#[test]
fn a_finished_run_is_not_offered_and_is_counted() {
    let place = folder("finished");
    for title in ["Add a spare", "Add a spare"] {
        let mut plan = plan(Place::Folder(place.clone()), None);
        plan.header.title = title.to_owned();
        let (mut recorder, _) = begin(plan).unwrap();
        if recorder.name() != NAME {
            recorder.put(Moment(700), end());
        }
        drop(finished(recorder));
    }
    let found = find_unfinished(&[&place], &wanted()).unfinished.unwrap();
    assert_eq!(found.path, place.join(format!("{NAME}.jsonl")));
    assert_eq!(found.newer_finished, 1);
}

/// A record torn anywhere in its last line is ended there, keeps every byte, and goes on.
#[test]
fn a_torn_record_is_ended_before_anything_is_written_behind_it() {
    let (mut recorder, _) = begin(plan(Place::Folder(folder("torn")), None)).unwrap();
    for n in 1..=3 {
        recorder.put(Moment(100 * n), note(n.unsigned_abs()));
    }
    let path = recorder.path().to_owned();
    drop(finished(recorder));
    let whole = fs::read(&path).unwrap();
    let last = whole[..whole.len() - 1].iter().rposition(|b| *b == b'\n').unwrap() + 1;
    for cut in last..whole.len() {
        fs::write(&path, &whole[..cut]).unwrap();
        assert_eq!(close_continued(&path, "later").unwrap(), cut - last);
        let after = fs::read(&path).unwrap();
        assert!(after.starts_with(&whole[..cut]), "bytes were taken away");
        let back = read(&after);
        // Where only the newline was missing, the line is whole again.
        let whole_again = cut == whole.len() - 1;
        let kept: &[u64] = if whole_again { &[1, 2, 3] } else { &[1, 2] };
        assert_eq!(events(&back), kept);
        let ended = |fault: &stepbell::journal::read::Fault| fault.why == Why::Ended;
        assert!(
            back.faults.len() == usize::from(cut > last && !whole_again)
                && back.faults.iter().all(ended)
        );
        assert!(!back.is_unfinished());
    }
}
