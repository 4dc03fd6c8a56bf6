//! The face for screen readers: what is read out, in which order, and what is not read out again.

use stepbell::clock::Millis;
use stepbell::faces::linear::Linear;
use stepbell::faces::words::{Banner, Picture, RecordState, Setting};
use stepbell::journal::happened::{Cue, Effect, Tone};

use crate::pictures::{
    acting, answered, asked, before_cue, closed, ended, held, later, offered, setting, too_late,
    typing, warned,
};

const DEMONSTRATION: &[Banner] = &[Banner::Demonstration];

fn say(cue: Cue, text: &str) -> Effect {
    Effect::Say { cue, text: text.to_owned() }
}

/// What is read out while these are shown one after the other.
fn read_out(linear: &mut Linear, setting: &Setting, pictures: &[Picture]) -> Vec<String> {
    pictures.iter().flat_map(|picture| linear.show(picture, setting)).collect()
}

#[test]
fn a_run_is_read_out_in_whole_sentences() {
    let setting = setting(DEMONSTRATION);
    let mut linear = Linear::default();
    let mut all = read_out(&mut linear, &setting, &[asked(), warned(), typing(), asked()]);
    let tell = |linear: &mut Linear, effect: &Effect| linear.tell(effect, &setting);
    all.extend(tell(&mut linear, &say(Cue::Prepare, "Working key to the button.")));
    all.extend(linear.show(&before_cue(), &setting));
    all.extend(tell(&mut linear, &Effect::Ring { tone: Tone::Now }));
    all.extend(tell(&mut linear, &say(Cue::Now, "Working key.")));
    all.extend(linear.show(&acting(), &setting));
    for tone in [Tone::TenLeft, Tone::FiveLeft, Tone::Tick, Tone::Missed] {
        all.extend(tell(&mut linear, &Effect::Ring { tone }));
    }
    let rest = [offered(), closed(), too_late(), held(), ended()];
    all.extend(read_out(&mut linear, &setting, &rest));
    insta::assert_snapshot!(all.join("\n"));
    for line in &all {
        assert!(!line.contains('\x1b') && !line.contains('\n'), "{line:?}");
        assert!(line.ends_with(['.', '?', '!', ':']), "a whole sentence: {line}");
    }
}

#[test]
fn seconds_that_go_by_are_not_read_out() {
    let setting = setting(&[]);
    let mut linear = Linear::default();
    assert!(!linear.show(&acting(), &setting).is_empty());
    for n in 1..60 {
        let picture = later(&acting(), Millis(n * 1000));
        assert_eq!(linear.show(&picture, &setting), Vec::<String>::new(), "second {n}");
    }
}

#[test]
fn each_change_is_read_out_once() {
    let setting = setting(&[]);
    let mut linear = Linear::default();
    let _ = read_out(&mut linear, &setting, &[before_cue(), acting()]);
    let mut noticed = acting();
    noticed.remarks.push("the screen no longer works: it is gone".to_owned());
    noticed.record = RecordState::NotSaved("the disk is full".to_owned());
    let told = linear.show(&noticed, &setting);
    assert_eq!(
        told,
        [
            "Attention: the screen no longer works: it is gone.",
            "Attention: the record is not saved: the disk is full."
        ]
    );
    assert_eq!(linear.show(&noticed, &setting), Vec::<String>::new());
    noticed.record = RecordState::Saved;
    assert_eq!(linear.show(&noticed, &setting), ["The run is being recorded."]);
}

#[test]
fn every_sentence_of_a_replay_or_rehearsal_says_so_first() {
    for (banner, mark) in [(Banner::Replay, "Replay. "), (Banner::Rehearsal, "Rehearsal. ")] {
        let setting = setting(&[banner, Banner::Demonstration]);
        let mut linear = Linear::default();
        let pictures = [asked(), before_cue(), acting(), ended()];
        let all = read_out(&mut linear, &setting, &pictures);
        assert!(all.len() > 10 && all.iter().all(|line| line.starts_with(mark)), "{all:#?}");
        let told = linear.tell(&Effect::Ring { tone: Tone::Now }, &setting);
        assert_eq!(told, Some(format!("{mark}Now.")));
    }
}

#[test]
fn what_an_imaginary_vehicle_does_is_read_out_once() {
    let setting = setting(&[Banner::Rehearsal, Banner::Slower(500)]);
    let mut linear = Linear::default();
    let _ = read_out(&mut linear, &setting, &[acting()]);
    let told = read_out(&mut linear, &setting, &[answered(), answered()]);
    assert_eq!(
        told,
        [
            "Slower rehearsal. The vehicle: it felt that, 1.2 s after its cue.",
            "Slower rehearsal. The vehicle: you hear the chime once."
        ]
    );
}

#[test]
fn nothing_that_a_script_says_reaches_the_terminal_unfiltered() {
    let mut picture = acting();
    picture.shown.act = Some("Press\u{1b}[2J it.\u{202e}".to_owned());
    let all = Linear::default().show(&picture, &setting(&[]));
    assert!(all.contains(&"Do: Press\\u{1b}[2J it.\\u{202e}.".to_owned()), "{all:#?}");
}
