//! The proof over whole scripts: what is proven, what is refused and for which sum, and that a person
//! and a vehicle inside the bounds never miss a window of a proven script.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::sync::Arc;

use stepbell::faces::verdict::{verdict as words, word};
use stepbell::procedure::timing::speech_lengths;
use stepbell::procedure::{Examined, examine, plans};
use stepbell::proof::repair::repairs;
use stepbell::proof::verdict::{Verdict, verdict};

use crate::missed::{self, Count, FOLDERS};

/// Every shipped procedure and sequence, by name. The one that is there to be refused by `check` is
/// planned all the same, to see the proof refuse it too.
pub fn scripts() -> Vec<(String, Examined)> {
    let mut all = Vec::new();
    for folder in ["procedures", "tests/scripts/sequences"] {
        let entries = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(folder));
        let mut paths: Vec<_> =
            entries.expect("a folder").map(|entry| entry.expect("an entry").path()).collect();
        paths.retain(|path| path.extension().is_some_and(|e| e == "bell"));
        paths.sort();
        for path in paths {
            let name = path.file_stem().and_then(|n| n.to_str()).expect("a name").to_owned();
            let text = fs::read_to_string(&path).expect("readable");
            let mut examined = examine(&name, text, &mut |_| Err("no file".to_owned()));
            if examined.plans.is_empty() {
                examined.plans = plans(examined.procedure.as_ref().expect("a model")).0;
            }
            all.push((name, examined));
        }
    }
    all
}

pub fn decide(examined: &Examined) -> Verdict {
    let procedure = examined.procedure.as_ref().expect("a model");
    verdict(procedure, &examined.plans, &speech_lengths(procedure))
}

#[test]
fn every_script_is_proven_or_refused_for_a_sum_that_can_be_read() {
    let mut text = String::new();
    for (name, examined) in scripts() {
        let timing = decide(&examined);
        let _ = write!(text, "{name}: {}", words(&timing, &examined));
        // The next key is not in the hand when its window opens: nobody can meet that.
        let refused = name == "01b-two-keys-spare-not-in-hand";
        assert_eq!(word(&timing) == "proven", !refused, "{text}");
    }
    insta::assert_snapshot!(text);
}

/// Narrowing one window of a proven script far enough makes it refused, and the sum names that line.
#[test]
fn a_window_too_narrow_for_hands_is_refused_and_named() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/push-start-spare.bell");
    let text = fs::read_to_string(path).expect("readable");
    let narrow = text.replace("within 30s after open answered", "within 8s after open answered");
    assert_ne!(narrow, text);
    let line = narrow.lines().position(|l| l.contains("within 8s after open")).expect("there") + 1;
    let examined = examine("narrow.bell", narrow, &mut |_| Err("no file".to_owned()));
    let Verdict::Refused(refusal) = decide(&examined) else { panic!("8 s cannot be enough") };
    let lines: Vec<u32> =
        refusal.grounds.iter().map(|g| examined.sources.line_col(g.place).line).collect();
    assert!(lines.contains(&u32::try_from(line).expect("small")), "{lines:?}, not {line}");
    // What is short is what the shares add up to.
    let sum: i64 = refusal.grounds.iter().map(|ground| ground.length.0).sum();
    assert_eq!(sum, -refusal.short.0);
}

/// The first repair of a refused script, written into its line, makes it proven.
#[test]
fn the_first_repair_written_into_the_script_makes_it_proven() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/scripts/sequences/01b-two-keys-spare-not-in-hand.bell");
    let not_in_hand = fs::read_to_string(path).expect("readable");
    let main = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/push-start-spare.bell");
    let narrow = fs::read_to_string(main)
        .expect("readable")
        .replace("within 30s after open answered", "within 8s after open answered");
    for text in [not_in_hand, narrow] {
        let mut examined = examine("a.bell", text.clone(), &mut |_| Err("no file".to_owned()));
        let procedure = examined.procedure.clone().expect("a model");
        if examined.plans.is_empty() {
            examined.plans = plans(&procedure).0;
        }
        let Verdict::Refused(refusal) = decide(&examined) else { panic!("it is refused") };
        let speech = speech_lengths(&procedure);
        let found = repairs(&procedure, &examined.plans, &speech, &refusal);
        let first = found.first().expect("a repair");
        let (start, end) = (first.place.start as usize, first.place.end as usize);
        let line = &text[start..end];
        let mended = line.replacen(&first.from.to_string(), &first.to.to_string(), 1);
        assert_ne!(line, mended, "{first:?}");
        let mended = format!("{}{mended}{}", &text[..start], &text[end..]);
        let mut examined = examine("a.bell", mended, &mut |_| Err("no file".to_owned()));
        if examined.plans.is_empty() {
            examined.plans = plans(examined.procedure.as_ref().expect("a model")).0;
        }
        assert_eq!(word(&decide(&examined)), "proven", "{first:?}");
    }
}

/// Draws inside the declared bounds never miss a window of a proven script, whatever the vehicle answers
/// and wherever the person slips; `benches/windows.rs` plays very many more.
#[test]
fn who_keeps_the_bounds_of_a_proven_script_misses_no_window() {
    let mut count = Count::default();
    for (name, examined) in FOLDERS.iter().flat_map(|folder| missed::scripts(folder)) {
        if !matches!(decide(&examined), Verdict::Proven(_)) {
            continue;
        }
        let procedure = Arc::new(examined.procedure.clone().expect("a model"));
        for (nth, plan) in (0..).zip(&examined.plans) {
            let played = missed::play(&procedure, plan, nth, 24);
            assert_eq!((played.missed, played.standstills), (0, 0), "{name}, plan {nth}");
            count = count.and(played);
        }
    }
    assert!(count.runs > 1000, "{count:?}");
}

/// The same person and vehicle do miss the windows of scripts that nobody can follow.
#[test]
fn an_impossible_window_is_missed() {
    for (name, examined) in missed::scripts("tests/scripts/unmeetable") {
        let procedure = Arc::new(examined.procedure.clone().expect("a model"));
        let played = missed::play(&procedure, &examined.plans[0], 7, 200);
        // What keeps the vehicle awake is no window: nobody is told that it is late. And a script with
        // an error is not led through.
        let none = ["awake-too-short", "key-not-in-the-hand"].contains(&name.as_str());
        assert_eq!(played.missed > 0, !none, "{name}: {played:?}");
    }
}

/// A small script around these lines, checked and planned; complaints of the grave kind are not wanted.
pub fn small(lines: &str) -> Examined {
    let text =
        format!("procedure \"A\"\nstatus demonstration\naccording to common practice\n{lines}");
    let examined = examine("a.bell", text, &mut |_| Err("no file".to_owned()));
    let grave: Vec<_> = examined.complaints.iter().filter(|c| c.is_error()).collect();
    assert!(grave.is_empty(), "{grave:?}");
    examined
}

/// The lines of a refusal's sum.
pub fn lines_of(examined: &Examined, verdict: &Verdict) -> Vec<u32> {
    let Verdict::Refused(refusal) = verdict else { panic!("not refused: {verdict:?}") };
    refusal.grounds.iter().map(|g| examined.sources.line_col(g.place).line).collect()
}

/// Another source's way of holding counts as much as the first, in whichever order they stand.
#[test]
fn every_way_to_hold_must_be_possible() {
    let script = |first: &str, second: &str| {
        small(&format!(
            "step press \"Hold the button.\"\n  takes 500ms to 2s\n  hold {first}\n  or hold {second}\n\
             finish as learned\n"
        ))
    };
    let wide = script("3s to 10s", "4s to 12s");
    assert_eq!(word(&decide(&wide)), "proven");
    // The beginning of the hold is known to 3 s only: 1 s more or less cannot be kept.
    for (first, second, line) in [("3s to 10s", "5s to 6s", 7), ("5s to 6s", "3s to 10s", 6)] {
        let narrow = script(first, second);
        let timing = decide(&narrow);
        assert!(lines_of(&narrow, &timing).contains(&line), "{first}, {second}: {timing:?}");
    }
    let mut many = String::new();
    for n in 0..7 {
        let _ = write!(
            many,
            "step press-{n} \"Hold the button.\"\n  takes 1s to 2s\n  hold at least 2s\n  or hold at \
             least 3s\n"
        );
    }
    let many = small(&format!("{many}finish as learned\n"));
    assert_eq!(word(&decide(&many)), "too large");
}

/// A part on the way back measures from a moment before the resting point at which its run began: that
/// window is not in any network, so nothing is proven.
#[test]
fn what_measures_from_before_a_rest_is_not_proven() {
    let script = |window: &str| {
        small(&format!(
            "sign lamp, see \"the lamp\" lit\n\
             part settle\n  step off \"Switch OFF.\"\n    takes 500ms to 2s\n{window}end part\n\
             step wake \"Switch ON.\"\n  takes 1s to 2s\n  see lamp, within 2s after done, so go on\n  \
             nothing within 5s after done, so finish as unsure\n\
             step look \"Press the button.\"\n  takes 1s to 2s\n  see lamp, within 2s after done, so go \
             on\n  nothing within 5s after done, so go back to look by way of settle, at most once, else \
             finish as unsure\n\
             finish as learned\n"
        ))
    };
    assert_eq!(word(&decide(&script(""))), "proven");
    let late = "    within 1h after wake answered\n    late, so finish as unsure\n";
    let examined = script(late);
    let timing = decide(&examined);
    let Verdict::Unanchored(place) = timing else { panic!("{timing:?}") };
    assert_eq!(examined.sources.slice(place).trim(), "within 1h after wake answered");
    assert_eq!(word(&timing), "not proven");
    insta::assert_snapshot!(words(&timing, &examined), @r"
    Not proven: what line 8 measures from lies before a place where the run begins
    again. Measure from a moment behind that place, or lead back to before it.
    ");
    // A least alone can be waited for.
    let least = "    not before 1h after wake answered\n";
    assert_eq!(word(&decide(&script(least))), "proven");
}

/// A window on letting go binds the later step that lets go.
#[test]
fn a_window_on_letting_go_binds_the_step_that_lets_go() {
    let script = |within: &str| {
        small(&format!(
            "step grip \"Hold the button.\"\n  takes 1s to 2s\n  hold on\n  no report\n  let go within \
             {within} after grip begun\n  late, so finish as unsure\n\
             step loose \"Let it go.\"\n  let go of grip\n  takes 300ms to 1s\nfinish as learned\n"
        ))
    };
    assert_eq!(word(&decide(&script("30s"))), "proven");
    let narrow = script("3s");
    assert!(lines_of(&narrow, &decide(&narrow)).contains(&8), "{:?}", decide(&narrow));
}

/// What a missed window leads back to is proven by itself, although a window of the first try spans
/// over it: it is not a resting point for those who come from above.
#[test]
fn what_a_missed_window_leads_back_to_is_a_segment_of_its_own() {
    let examined = small(
        "sign lamp, see \"the lamp\" lit\n\
         step wake \"Switch ON.\"\n  takes 1s to 2s\n  see lamp, within 2s after done, so go on\n  nothing \
         within 5s after done, so finish as unsure\n\
         step press \"Press the button.\"\n  takes 1s to 2s\n  within 30s after wake answered, first try \
         only\n  late, so go back to press after 10s, at most once, else finish as unsure\n\
         finish as learned\n",
    );
    let plan = &examined.plans[0];
    assert!(!plan.steps[1].rest_before);
    let timing = decide(&examined);
    let Verdict::Proven(extent) = timing else { panic!("{timing:?}") };
    assert_eq!((extent.segments, extent.demands), (2, 1));
}
