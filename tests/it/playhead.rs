//! A record shown from any place is the record played up to there: the state after any moves against
//! folding from the beginning, time that never runs back by itself, shortened stretches, marks, the end.

use proptest::prelude::*;
use stepbell::clock::{Millis, Moment};
use stepbell::journal::entry::{ClockChange, Interruption};
use stepbell::journal::read::read;
use stepbell::training::playhead::{KEPT, Move, Moved, Pace, Playhead};
use stepbell::training::reel::{Reel, SPAN};
use stepbell::training::replay::{Happened, Scene};

use crate::drill::record;

/// The scenes of a seeded run in which the vehicle is silent once.
fn scenes(seed: u64) -> Vec<Scene> {
    stepbell::training::replay::scenes(&read(&record(seed, false)))
}

/// Gives everything due by `now`.
fn crossed(head: &mut Playhead, reel: &Reel, now: Moment) -> Vec<usize> {
    std::iter::from_fn(|| head.cross(reel, now)).collect()
}

fn moves() -> impl Strategy<Value = Move> {
    prop_oneof![
        Just(Move::Pause),
        Just(Move::Run),
        Just(Move::Still),
        Just(Move::Cue),
        Just(Move::CueBack),
        Just(Move::Mark),
        Just(Move::MarkBack),
        Just(Move::Quicker),
        Just(Move::Slower),
        Just(Move::Idle),
        Just(Move::Stops),
        Just(Move::Begin),
        Just(Move::End),
        (-90_000_i64..90_000).prop_map(|ms| Move::By(Millis(ms))),
        (-10_000_i64..400_000).prop_map(|ms| Move::To(Moment(ms))),
        (0_u32..4).prop_map(|nth| Move::Step("wake".to_owned(), (nth > 0).then_some(nth))),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    /// The oracle folds every scene from the beginning.
    #[test]
    fn the_state_after_any_moves_is_that_of_playing_through(
        moves in prop::collection::vec((moves(), 0_i64..20_000), 1..40),
        repeated in 1_usize..12,
    ) {
        // Repeated, so that kept states are used: one run has fewer scenes than lie between two.
        let once = scenes(7);
        let long = once.last().map_or(0, |scene| scene.at.0) + 60_000;
        let all = (0..repeated).flat_map(|n| {
            let shift = Millis(long * i64::try_from(n).unwrap());
            once.iter().map(move |scene| Scene { at: scene.at.after(shift), ..scene.clone() })
        });
        let reel = Reel::new(all.collect());
        let mut now = Moment(0);
        let mut head = Playhead::new(&reel, Pace::TRUE, now);
        let mut frame = reel.frame(0);
        for (what, wait) in &moves {
            if head.go(&reel, what, now) == Moved::Jumped {
                frame = reel.frame(head.seen());
            }
            let (was, moved_at) = (head.seen(), head.at());
            prop_assert_eq!(&frame, &reel.played_through(was));
            now = now.after(Millis(*wait));
            for ix in crossed(&mut head, &reel, now) {
                reel.take(&mut frame, ix);
            }
            prop_assert_eq!(&frame, &reel.played_through(head.seen()));
            prop_assert!(head.at() >= moved_at, "time runs back by itself");
            prop_assert_eq!(head.seen(), reel.seen_at(head.at()), "what is shown is what happened");
            if !head.is_running() {
                prop_assert!(head.due(&reel).is_none(), "nothing comes by itself");
            } else {
                prop_assert!(head.due(&reel).is_some_and(|due| due > now));
            }
        }
    }

    /// At the true pace every scene comes at its moment, at ×n in the nth part, never early.
    #[test]
    fn scenes_come_at_their_moments(pace in 1_u32..50, step in 1_i64..900) {
        let reel = Reel::new(scenes(3));
        let mut head = Playhead::new(&reel, Pace::times(pace), Moment(0));
        let mut now = Moment(0);
        while !head.is_at_end(&reel) {
            while let Some(ix) = head.cross(&reel, now) {
                let due = reel.time(ix).unwrap().since(reel.first()).0;
                prop_assert!(now.0 * i64::from(pace) >= due, "early");
                prop_assert!((now.0 - step) * i64::from(pace) < due || due == 0, "late");
            }
            now = now.after(Millis(step));
        }
    }
}

#[test]
fn a_record_has_more_scenes_than_lie_between_two_kept_states() {
    assert!(scenes(7).len() * 11 > SPAN * 3, "{}", scenes(7).len());
}

#[test]
fn a_shortened_stretch_takes_three_seconds_and_shows_its_true_time() {
    let scene = |at: i64| Scene { line: 1, at: Moment(at), what: Happened::Note(String::new()) };
    // Two seconds, then an hour in which nothing happens, then two seconds.
    let reel = Reel::new(vec![scene(0), scene(2000), scene(3_602_000), scene(3_604_000)]);
    let mut head = Playhead::new(&reel, Pace::TRUE, Moment(0));
    head.go(&reel, &Move::Idle, Moment(0));
    assert_eq!(crossed(&mut head, &reel, Moment(2000)), [0, 1]);
    assert!(head.is_shortening(&reel));
    assert_eq!(crossed(&mut head, &reel, Moment(3500)), Vec::<usize>::new());
    assert_eq!(head.at(), Moment(1_802_000), "half of it is gone");
    assert_eq!(head.due(&reel), Some(Moment(2000 + KEPT.0)));
    assert_eq!(crossed(&mut head, &reel, Moment(5000)), [2]);
    assert_eq!(crossed(&mut head, &reel, Moment(6999)), Vec::<usize>::new());
    assert_eq!(crossed(&mut head, &reel, Moment(7000)), [3], "no time was lost or won");
    assert!(head.is_at_end(&reel) && !head.is_running(), "the last frame is held");
}

#[test]
fn it_stops_at_marks_and_goes_from_mark_to_mark_and_from_cue_to_cue() {
    let reel = Reel::new(scenes(7));
    assert!(reel.marks().len() >= 2, "the silence and the end: {:?}", reel.marks());
    let mut head = Playhead::new(&reel, Pace::times(1000), Moment(0));
    head.go(&reel, &Move::Stops, Moment(0));
    for (at, _) in reel.marks() {
        head.go(&reel, &Move::Run, Moment(0));
        crossed(&mut head, &reel, Moment(1_000_000));
        assert_eq!((head.at(), head.is_running()), (*at, false));
    }
    assert_eq!(head.go(&reel, &Move::Mark, Moment(0)), Moved::NoMore);
    assert_eq!(head.go(&reel, &Move::Begin, Moment(0)), Moved::Jumped);
    let mut at = Vec::new();
    while head.go(&reel, &Move::Cue, Moment(0)) == Moved::Jumped {
        at.push(head.at());
    }
    let there = reel.cues().iter().filter(|at| **at > reel.first());
    assert_eq!(at, there.copied().collect::<Vec<_>>());
    for cue in at.iter().rev().skip(1) {
        head.go(&reel, &Move::CueBack, Moment(0));
        assert_eq!(head.at(), *cue);
    }
}

#[test]
fn a_step_is_found_by_its_name_and_number() {
    let reel = Reel::new(scenes(7));
    let step = &reel.steps()[0].step.name;
    let all: Vec<_> = reel.steps().iter().filter(|one| one.step.name == *step).collect();
    assert!(all.len() >= 2, "the silent step was tried again: {:?}", reel.steps());
    let mut head = Playhead::new(&reel, Pace::TRUE, Moment(0));
    let go = |head: &mut Playhead, nth| head.go(&reel, &Move::Step(step.clone(), nth), Moment(0));
    for want in [all[0].at, all[1].at] {
        assert_eq!(go(&mut head, None), Moved::Jumped);
        assert_eq!(head.at(), want);
    }
    assert_eq!(go(&mut head, Some(2)), Moved::Jumped);
    assert_eq!(head.at(), all[1].at);
    assert_eq!(go(&mut head, Some(99)), Moved::NoStep(step.clone()));
}

#[test]
fn hostile_times_and_an_empty_record_are_shown_too() {
    let what = |n: usize| match n % 3 {
        0 => Happened::Clock(ClockChange::Slept, Millis(i64::MAX)),
        1 => Happened::Interrupted(Interruption::Keyboard),
        _ => Happened::Lost(u64::MAX, String::new()),
    };
    let times = [i64::MAX, i64::MIN, 0, i64::MAX, i64::MIN + 1];
    let scenes = times.iter().enumerate();
    let scenes =
        scenes.map(|(n, at)| Scene { line: 1, at: Moment(*at), what: what(n) }).collect::<Vec<_>>();
    for all in [Vec::new(), scenes.clone(), scenes.into_iter().rev().collect()] {
        let count = all.len();
        let reel = Reel::new(all);
        let mut head = Playhead::new(&reel, Pace::times(1000), Moment(0));
        for what in [Move::Idle, Move::Cue, Move::Mark, Move::By(Millis(i64::MAX)), Move::Begin] {
            head.go(&reel, &what, Moment(5));
            let _ = (head.due(&reel), crossed(&mut head, &reel, Moment(6)));
        }
        head.go(&reel, &Move::End, Moment(7));
        assert_eq!((head.seen(), head.is_at_end(&reel)), (count, true));
    }
}

#[test]
fn nothing_comes_from_behind_a_limit() {
    let reel = Reel::new(scenes(7));
    let limit = reel.scenes().len() / 2;
    let mut head = Playhead::new(&reel, Pace::times(1000), Moment(0));
    head.limit(Some(limit), Moment(0));
    assert_eq!(crossed(&mut head, &reel, Moment(1_000_000)).len(), limit);
    assert!(head.is_at_limit(&reel) && !head.is_running());
    for what in [Move::Run, Move::End, Move::Cue, Move::By(Millis::secs(60))] {
        head.go(&reel, &what, Moment(1_000_000));
        assert_eq!(crossed(&mut head, &reel, Moment(2_000_000)).len(), 0, "{what:?}");
        assert!(head.seen() <= limit);
    }
    head.limit(None, Moment(2_000_000));
    head.go(&reel, &Move::Run, Moment(2_000_000));
    crossed(&mut head, &reel, Moment(9_000_000));
    assert!(head.is_at_end(&reel));
}
