//! What single presses do in a run: one at a time, at stated moments, on a script of four steps.

use std::fs;
use std::path::PathBuf;
use std::sync::Arc;

use crate::runs_support::timing;
use stepbell::clock::{Millis, Moment};
use stepbell::guide::cue::{
    AnswerText, CountWhat, Cue, Effect, Fact, Frame, GapKind, HoldState, Input, Means, Notice,
    OutcomeKind, Press, Question, Stage, Tone, WindowState,
};
use stepbell::guide::{Guide, Settings};
use stepbell::power::Length;
use stepbell::procedure::examine;
use stepbell::procedure::model::{EndingClass, Procedure, TextId};
use stepbell::procedure::plan::{GuardIx, StepIx};
use stepbell::procedure::timing::{Bracket, Mark, speech_lengths};

const WAKE: StepIx = StepIx(0);
const TEACH: StepIx = StepIx(1);
const SEAL: StepIx = StepIx(2);
const CLOSE: StepIx = StepIx(3);

/// A guide in front of a person whose every press the test makes.
struct Desk {
    guide: Guide,
    procedure: Arc<Procedure>,
    now: Moment,
    effects: Vec<(Moment, Effect)>,
    frame: Option<Frame>,
}

impl Desk {
    /// At the run's first step, every question answered.
    fn running() -> Desk {
        Desk::at("four-steps")
    }

    fn at(name: &str) -> Desk {
        let mut desk = Desk::before(name);
        while desk.guide.plan().is_none() {
            desk.input(Input::Press(Press::Done), 100);
        }
        desk
    }

    /// At the first question before the run.
    fn before(name: &str) -> Desk {
        let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/runs");
        let text = fs::read_to_string(folder.join(format!("{name}.bell"))).expect("readable");
        let examined = examine(name, text, &mut |_| Err("no file".to_owned()));
        assert!(examined.is_sound(), "{:#?}", examined.complaints);
        let procedure = Arc::new(examined.procedure.expect("a model"));
        let speech = speech_lengths(&procedure);
        let guide = Guide::new(
            Arc::clone(&procedure),
            Settings { speech, timing, rehearsal: false, length: Length::Unbounded },
        );
        let mut desk = Desk { guide, procedure, now: Moment(0), effects: Vec::new(), frame: None };
        let first = desk.guide.start(desk.now);
        desk.take(first);
        desk
    }

    fn take(&mut self, effects: Vec<Effect>) {
        for effect in effects {
            if let Effect::Show(frame) = &effect {
                self.frame = Some((**frame).clone());
            }
            self.effects.push((self.now, effect));
        }
    }

    /// Lets time pass, waking the guide whenever it wants.
    fn pass(&mut self, ms: i64) {
        let end = self.now.after(Millis(ms));
        while let Some(wake) = self.guide.next_wakeup().filter(|wake| *wake <= end) {
            self.now = wake;
            let effects = self.guide.handle(Input::Wake, wake);
            self.take(effects);
        }
        self.now = end;
    }

    /// Lets time pass until the now cue of a step.
    #[track_caller]
    fn cue(&mut self, step: StepIx) -> Moment {
        for _ in 0..200 {
            if let Some(at) = self.called(step) {
                return at;
            }
            let wake = self.guide.next_wakeup().expect("a cue is still to come");
            self.pass(wake.since(self.now).0);
        }
        panic!("no cue");
    }

    /// The last now cue of a step since the last press that mattered.
    fn called(&self, step: StepIx) -> Option<Moment> {
        let entered = self.effects.iter().rposition(
            |(_, effect)| matches!(effect, Effect::Record(Fact::Entered(ix, _)) if *ix == step),
        )?;
        self.effects[entered..].iter().find_map(|(at, effect)| match effect {
            Effect::Record(Fact::CueGiven { point, .. })
                if point.step == step && point.mark == Mark::Called =>
            {
                Some(*at)
            }
            _ => None,
        })
    }

    /// One input, this long from now; gives what it brought about.
    fn input(&mut self, input: Input, after: i64) -> Vec<Effect> {
        self.pass(after);
        let effects = self.guide.handle(input, self.now);
        self.take(effects.clone());
        effects
    }

    fn press(&mut self, press: Press, after: i64) -> Vec<Effect> {
        self.input(Input::Press(press), after)
    }

    fn text(&self, text: TextId) -> String {
        self.procedure.text(text).to_owned()
    }

    fn frame(&self) -> &Frame {
        self.frame.as_ref().expect("something is shown")
    }

    fn ending(&self) -> Option<u32> {
        self.guide.ended().map(|ending| ending.0)
    }
}

fn noticed(effects: &[Effect]) -> Vec<Notice> {
    let facts = effects.iter().filter_map(|effect| match effect {
        Effect::Record(Fact::Noticed(notice)) => Some(notice.clone()),
        _ => None,
    });
    facts.collect()
}

fn outcome(effects: &[Effect]) -> Option<(StepIx, OutcomeKind)> {
    effects.iter().find_map(|effect| match effect {
        Effect::Record(Fact::Outcome(step, kind)) => Some((*step, *kind)),
        _ => None,
    })
}

fn rung(effects: &[Effect]) -> Vec<Tone> {
    let tones = effects.iter().filter_map(|effect| match effect {
        Effect::Ring(tone) => Some(*tone),
        _ => None,
    });
    tones.collect()
}

#[test]
fn a_press_before_act_and_answer_can_have_been_is_not_taken() {
    let mut desk = Desk::running();
    let early = desk.press(Press::Done, 100);
    assert_eq!(noticed(&early), [Notice::TooEarly], "before the cue");
    assert_eq!(rung(&early), [Tone::Tick], "a short sound, not that of a missed window");
    desk.cue(WAKE);
    // Reaction 0.2 s, hands 0.5 s, delay 0.5 s, quiet 0.5 s.
    let early = desk.press(Press::Done, 1699);
    assert_eq!(noticed(&early), [Notice::TooEarly]);
    assert_eq!(outcome(&early), None);
    let taken = desk.press(Press::Done, 1);
    assert_eq!(outcome(&taken), Some((WAKE, OutcomeKind::Met(0))));
}

#[test]
fn the_numbered_answers_never_cover_the_countdown() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    desk.press(Press::Done, 4000);
    desk.cue(TEACH);
    desk.press(Press::SomethingElse, 200);
    let frame = desk.frame();
    let lost = AnswerText::Lost(GuardIx(0));
    let listed = [AnswerText::Nothing, AnswerText::NoneOfThese, AnswerText::Cannot, lost];
    assert_eq!(frame.answers, listed);
    assert_eq!(frame.window, WindowState::Safe);
    assert_eq!(frame.count.map(|count| count.what), Some(CountWhat::LatestAct));
    assert_eq!(frame.means, Means::AnswerCame);
    desk.press(Press::SomethingElse, 100);
    assert!(desk.frame().answers.is_empty(), "pressed again it is gone");
    desk.press(Press::SomethingElse, 100);
    let taken = desk.press(Press::Answer(3), 100);
    assert_eq!(outcome(&taken), Some((TEACH, OutcomeKind::Cannot)));
    assert_eq!(desk.ending(), Some(2), "anything else ends unsure");
}

#[test]
fn a_slip_leads_where_the_script_says() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    let slip = desk.press(Press::Slip, 500);
    assert_eq!(outcome(&slip), Some((WAKE, OutcomeKind::Slip)));
    assert_eq!(noticed(&slip), [Notice::Slipped(WAKE), Notice::Again(1, 1)]);
    assert_eq!(desk.frame().stage, Stage::Waiting);
    let again = desk.now;
    assert!(desk.cue(WAKE) >= again.after(Millis(5000)), "the cool-down is kept");
    desk.press(Press::Slip, 500);
    let slip = desk.press(Press::Slip, 500);
    assert_eq!(noticed(&slip), [Notice::Slipped(WAKE), Notice::TriesSpent]);
    assert_eq!(desk.ending(), Some(2));
}

#[test]
fn a_slip_that_ends_the_run_asks_once() {
    let asks = Some(Question::ReallySlip(EndingClass::Unsure));
    let mut desk = Desk::running();
    desk.cue(WAKE);
    desk.press(Press::Done, 2500);
    desk.cue(TEACH);
    let counted = desk.frame().count;
    let asked = desk.press(Press::Slip, 500);
    assert_eq!(desk.frame().question, asks);
    assert_eq!((outcome(&asked), desk.ending()), (None, None), "nothing has happened yet");
    assert_eq!(rung(&asked), [Tone::Tick], "heard as a press that is not taken yet");
    assert!(counted.is_some() && desk.frame().count == counted, "the window counts on");
    assert_eq!(desk.frame().means, Means::AnswerCame);
    desk.pass(5001);
    assert_eq!((desk.frame().question.clone(), desk.ending()), (None, None), "it goes by itself");
    // Any other press means what it means, stop its own question.
    desk.press(Press::Slip, 100);
    desk.press(Press::Stop, 100);
    assert_eq!(desk.frame().question, Some(Question::ReallyStop));
    desk.press(Press::Slip, 100);
    assert_eq!(desk.frame().question, asks);
    let taken = desk.press(Press::Done, 100);
    assert_eq!(outcome(&taken), Some((TEACH, OutcomeKind::Met(0))));
    assert_eq!(desk.frame().question, None);
    desk.cue(SEAL);
    desk.press(Press::Slip, 500);
    let ended = desk.press(Press::Slip, 700);
    let said = Fact::Answered(Question::ReallySlip(EndingClass::Unsure), None);
    assert!(ended.contains(&Effect::Record(said)));
    assert_eq!(outcome(&ended), Some((SEAL, OutcomeKind::Slip)));
    assert_eq!(desk.ending(), Some(2));
}

/// What is asked about belongs to its step: where that is over meanwhile, the same press asks anew.
#[test]
fn a_slip_asked_about_is_not_taken_for_another_step() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    desk.press(Press::Slip, 500);
    desk.cue(WAKE);
    let silence = desk.frame().count.expect("silence is counted to").at;
    desk.pass(silence.since(desk.now).0 - 100);
    desk.press(Press::Slip, 0);
    assert!(matches!(desk.frame().question, Some(Question::ReallySlip(_))));
    // Nothing came, and that is tried once more: the slip was meant for the try before.
    let late = desk.press(Press::Slip, 1000);
    let tried = |e: &Effect| *e == Effect::Record(Fact::Outcome(WAKE, OutcomeKind::Silent));
    assert!(effects(&desk).iter().any(tried));
    assert_eq!((outcome(&late), desk.ending()), (None, None), "asked anew");
    assert!(matches!(desk.frame().question, Some(Question::ReallySlip(_))));
    desk.press(Press::Slip, 1000);
    assert_eq!(desk.ending(), Some(2));
}

/// A press that comes after what was due has ended the run changes nothing, though nobody was woken.
#[test]
fn a_press_behind_an_end_that_was_due_changes_nothing() {
    for press in [Press::Slip, Press::Done, Press::Answer(1), Press::Stop] {
        let mut desk = Desk::running();
        desk.cue(WAKE);
        desk.press(Press::Slip, 500);
        desk.cue(WAKE);
        desk.now = desk.now.after(Millis::secs(600));
        let late = desk.guide.handle(Input::Press(press), desk.now);
        let outcomes = late.iter().filter(|e| matches!(e, Effect::Record(Fact::Outcome(..))));
        assert_eq!(outcomes.count(), 1, "{press:?}: {late:?}");
        assert_eq!(outcome(&late).map(|(_, kind)| kind), Some(OutcomeKind::Silent), "{press:?}");
    }
}

#[test]
fn a_press_is_taken_back_until_the_next_cue_and_keeps_its_time() {
    let mut desk = Desk::running();
    let called = desk.cue(WAKE);
    desk.press(Press::Slip, 500);
    let back = desk.press(Press::TakeBack, 1000);
    assert_eq!(noticed(&back), [Notice::TakenBack(WAKE)]);
    assert_eq!(desk.frame().stage, Stage::Acting);
    let taken = desk.press(Press::Done, 1500);
    assert_eq!(outcome(&taken), Some((WAKE, OutcomeKind::Met(0))));
    let answered = answered(&taken);
    assert_eq!(answered.latest, called.after(Millis(3000 - 300 - 500)), "true time was kept");
    desk.cue(TEACH);
    let nothing = desk.press(Press::TakeBack, 10);
    assert_eq!(rung(&nothing), [Tone::Tick], "the cue was given");
    assert!(noticed(&nothing).is_empty());
}

#[test]
fn what_became_due_while_a_press_stood_is_decided_when_it_is_taken_back() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    let silence = desk.frame().count.expect("silence is counted to").at;
    desk.press(Press::Slip, 6000);
    desk.pass(silence.since(desk.now).0 + 500);
    assert_eq!(desk.frame().stage, Stage::Waiting, "the slip's cool-down");
    let back = desk.press(Press::TakeBack, 0);
    let notices = [Notice::TakenBack(WAKE), Notice::Silence(WAKE), Notice::Again(1, 1)];
    assert_eq!(noticed(&back), notices);
    assert_eq!(outcome(&back), Some((WAKE, OutcomeKind::Silent)));
}

#[test]
fn a_hold_waits_for_the_next_resting_point_and_says_everything_again() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    let hold = desk.press(Press::Hold, 300);
    assert_eq!(noticed(&hold), [Notice::HoldAt(Some(CLOSE))], "a window lies between");
    assert_eq!(desk.frame().hold, HoldState::Asked(Some(CLOSE)));
    desk.press(Press::Done, 3000);
    desk.cue(TEACH);
    desk.press(Press::Done, 4000);
    desk.cue(SEAL);
    desk.press(Press::Done, 2000);
    assert_eq!(desk.frame().hold, HoldState::Held);
    assert_eq!(desk.frame().means, Means::GoOn);
    assert_eq!(desk.guide.next_wakeup(), None, "it waits for the person");
    desk.pass(600_000);
    let on = desk.press(Press::Hold, 0);
    assert!(on.contains(&Effect::Record(Fact::Held(false))));
    assert!(rung(&on).contains(&Tone::Prepare), "prepared again");
    desk.cue(CLOSE);
    desk.press(Press::Done, 3000);
    assert_eq!(desk.ending(), Some(0));
}

#[test]
fn a_hold_asked_twice_is_none() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    desk.press(Press::Hold, 300);
    desk.press(Press::Hold, 300);
    assert_eq!(desk.frame().hold, HoldState::No);
}

#[test]
fn stop_asks_once() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    desk.press(Press::Stop, 100);
    assert_eq!(desk.frame().question, Some(Question::ReallyStop));
    desk.pass(5001);
    assert_eq!(desk.frame().question, None, "the question goes by itself");
    desk.press(Press::Stop, 100);
    let taken = desk.press(Press::Done, 200);
    assert_eq!(outcome(&taken), Some((WAKE, OutcomeKind::Met(0))), "a press means what it means");
    assert_eq!(desk.frame().question, None);
    desk.press(Press::Stop, 100);
    let stopped = desk.press(Press::Stop, 100);
    assert!(matches!(stopped.last(), Some(Effect::Ended(..))));
    assert_eq!(desk.ending(), Some(3));
    assert!(desk.press(Press::Done, 100).is_empty(), "nothing follows");
}

/// A warning that the question of stopping hides is not understood by a press that was meant for that.
#[test]
fn a_question_hidden_by_another_is_not_answered_unseen() {
    let mut desk = Desk::before("four-steps");
    let (first, means) = (desk.frame().question.clone(), desk.frame().means);
    assert!(first.is_some() && means != Means::GoOn);
    for press in [Press::Done, Press::SomethingElse, Press::Answer(1)] {
        desk.press(Press::Stop, 700);
        let shown = (desk.frame().question.clone(), desk.frame().means);
        assert_eq!(shown, (Some(Question::ReallyStop), Means::GoOn));
        let taken = desk.press(press, 700);
        let answer = |e: &Effect| matches!(e, Effect::Record(Fact::Answered(..)));
        assert!(!taken.iter().any(answer), "{press:?}: {taken:?}");
        assert_eq!((&desk.frame().question, desk.frame().means), (&first, means), "{press:?}");
    }
    desk.press(Press::Done, 700);
    assert_ne!(desk.frame().question, first, "seen, it is answered");
    desk.press(Press::Stop, 700);
    desk.press(Press::Stop, 700);
    assert_eq!(desk.ending(), Some(3));
}

fn answered(effects: &[Effect]) -> Bracket {
    let found = effects.iter().find_map(|effect| match effect {
        Effect::Record(Fact::Happened(point, at)) if point.mark == Mark::Answered => Some(*at),
        _ => None,
    });
    found.expect("the answer's bracket")
}

#[test]
fn a_window_that_lapses_is_closed_at_its_end_and_late_once_no_report_can_come() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    desk.press(Press::Done, 2500);
    desk.cue(TEACH);
    let taken = desk.press(Press::Done, 2500);
    // Upper limits count from the earliest; the clock's error is taken off.
    let close = answered(&taken).earliest.after(Millis(20_000 - 20));
    desk.cue(SEAL);
    assert_eq!(
        desk.frame().count.map(|count| (count.at, count.what)),
        Some((close, CountWhat::LatestAct))
    );
    desk.pass(close.since(desk.now).0);
    assert_eq!(desk.frame().window, WindowState::Safe);
    desk.pass(1);
    assert_eq!(desk.frame().window, WindowState::Closed);
    assert_eq!(desk.frame().means, Means::ActDone, "its report may still come");
    // The longest report of an act in the last moment: three seconds.
    desk.pass(2998);
    assert_eq!(desk.ending(), None);
    desk.pass(1);
    let (_, late) = desk
        .effects
        .iter()
        .rev()
        .find(|(_, e)| matches!(e, Effect::Record(Fact::Outcome(..))))
        .expect("an outcome");
    assert_eq!(*late, Effect::Record(Fact::Outcome(SEAL, OutcomeKind::Late)));
    assert_eq!(desk.ending(), Some(1));
    let late = |e: &Effect| matches!(e, Effect::Record(Fact::Noticed(Notice::Late(SEAL, _))));
    assert!(desk.effects.iter().any(|(_, e)| late(e)));
}

/// An act without a window of its own, in front of one that closes.
#[test]
fn a_window_that_closes_ahead_of_an_act_is_at_risk_and_then_late_though_nobody_presses() {
    let (boxed, teach) = (StepIx(1), StepIx(2));
    let mut desk = Desk::at("box-between");
    desk.cue(WAKE);
    let answer = desk.press(Press::Done, 2500);
    let close = answered(&answer).earliest.after(Millis(30_000));
    desk.cue(boxed);
    let safe = desk.frame().count.expect("how long there is to act");
    assert_eq!((safe.what, desk.frame().window), (CountWhat::LatestAct, WindowState::Safe));
    assert!(safe.at < close);
    desk.pass(safe.at.since(desk.now).0);
    assert_eq!(desk.frame().window, WindowState::Safe);
    desk.pass(1);
    // It may still be tried: until the window closes for good.
    assert_eq!(desk.frame().window, WindowState::AtRisk);
    let tried = desk.frame().count.expect("how long it may be tried");
    assert_eq!((tried.at, tried.what), (close, CountWhat::LatestAct));
    assert_eq!(desk.frame().means, Means::ActDone);
    desk.effects.clear();
    desk.pass(close.since(desk.now).0);
    assert_eq!(outcome(&effects(&desk)), None, "to the last moment");
    desk.pass(1);
    let told = effects(&desk);
    assert_eq!(outcome(&told), Some((boxed, OutcomeKind::Late)));
    let late = |notice: &Notice| matches!(notice, Notice::Late(step, _) if *step == teach);
    assert!(noticed(&told).iter().any(late) && rung(&told).contains(&Tone::Missed));
    assert_eq!(desk.frame().stage, Stage::Waiting, "the late way of the window was taken");
}

/// What was brought about since the last look.
fn effects(desk: &Desk) -> Vec<Effect> {
    desk.effects.iter().map(|(_, effect)| effect.clone()).collect()
}

#[test]
fn silence_calls_to_look_but_not_with_the_sound_of_now() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    desk.effects.clear();
    desk.pass(12_000);
    let told = effects(&desk);
    assert!(noticed(&told).contains(&Notice::Silence(WAKE)));
    assert!(rung(&told).contains(&Tone::Missed) && !rung(&told).contains(&Tone::LetGo), "{told:?}");
}

#[test]
fn a_report_that_arrives_after_the_close_may_still_tell_of_an_act_in_time() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    desk.press(Press::Done, 2500);
    desk.cue(TEACH);
    let taken = desk.press(Press::Done, 2500);
    let close = answered(&taken).earliest.after(Millis(20_000 - 20));
    desk.cue(SEAL);
    let wait = close.since(desk.now).0 + 2900;
    let taken = desk.press(Press::Done, wait);
    assert_eq!(outcome(&taken), Some((SEAL, OutcomeKind::Done)));
    let broken = taken.iter().any(
        |e| matches!(e, Effect::Record(Fact::Broken(SEAL, Mark::Done, by)) if *by > Millis::ZERO),
    );
    assert!(broken, "the hands or the report were slower than declared, and that is written down");
}

#[test]
fn the_last_seconds_of_a_window_ring_once_each() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    desk.press(Press::Done, 2500);
    desk.cue(TEACH);
    desk.press(Press::Done, 2500);
    desk.cue(SEAL);
    let close = desk.frame().count.expect("a count").at;
    // Hands are slower than declared: the digits count on while the act is still to be done.
    desk.pass(25_000);
    let rings: Vec<(i64, Tone)> = desk
        .effects
        .iter()
        .filter_map(|(at, effect)| match effect {
            Effect::Ring(tone @ (Tone::TenLeft | Tone::FiveLeft)) => {
                Some((close.since(*at).0, *tone))
            }
            _ => None,
        })
        .collect();
    assert_eq!(rings, [(10_000, Tone::TenLeft), (5_000, Tone::FiveLeft)]);
}

#[test]
fn a_cue_that_comes_too_late_is_not_given() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    // The computer sleeps while the answer comes; the report counts, the next start does not.
    desk.pass(2000);
    desk.now = desk.now.after(Millis(16_000));
    let gap = desk.guide.handle(Input::Gap(GapKind::Slept, Millis(16_000)), desk.now);
    desk.take(gap.clone());
    assert_eq!(noticed(&gap), [Notice::WasAway(GapKind::Slept, Millis(16_000))]);
    assert_eq!(outcome(&gap), None, "nobody could be heard");
    let taken = desk.press(Press::Done, 1000);
    assert_eq!(outcome(&taken), Some((WAKE, OutcomeKind::Met(0))));
    assert_eq!(desk.called(TEACH), None, "no cue after the latest safe one");
    assert_eq!(desk.frame().window, WindowState::TooLate);
    desk.pass(3000);
    let unattended = desk.effects.iter().any(|(_, effect)| {
        matches!(
            effect,
            Effect::Record(Fact::Noticed(Notice::Unattended(TEACH, GapKind::Slept, _)))
        )
    });
    assert!(unattended, "it is not called the person's miss");
    assert_eq!(desk.frame().stage, Stage::Waiting, "the late way was taken");
}

#[test]
fn a_late_wake_is_written_down_and_shown() {
    let mut desk = Desk::running();
    let due = loop {
        let wake = desk.guide.next_wakeup().expect("a cue is due");
        desk.now = wake.after(Millis(150));
        let effects = desk.guide.handle(Input::Wake, desk.now);
        desk.take(effects);
        if let Some(at) = desk.called(WAKE) {
            break at.before(Millis(150));
        }
    };
    let shown = desk.effects.iter().any(|(_, effect)| {
        matches!(effect, Effect::Show(frame) if frame.notice == Some(Notice::CueLate(Millis(150))))
    });
    assert!(shown);
    let given = desk.effects.iter().any(|(_, effect)| {
        matches!(effect, Effect::Record(Fact::CueGiven { due: d, given, .. })
            if *d == due && *given == due.after(Millis(150)))
    });
    assert!(given);
}

#[test]
fn a_lost_guard_ends_it_at_once() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    let lost = desk.input(Input::Lost(GuardIx(0)), 100);
    assert_eq!(outcome(&lost), Some((WAKE, OutcomeKind::LostGuard(GuardIx(0)))));
    assert_eq!(rung(&lost), [Tone::Missed]);
    assert_eq!(desk.ending(), Some(2));
}

#[test]
fn a_report_at_the_very_moment_of_silence_still_counts() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    let silence = desk.frame().count.expect("silence is counted to");
    assert_eq!(silence.what, CountWhat::Silence);
    let wait = silence.at.since(desk.now).0;
    // Every wake-up before, but not the one at that moment.
    desk.pass(wait - 1);
    desk.now = silence.at;
    let effects = desk.guide.handle(Input::Press(Press::Done), silence.at);
    assert_eq!(outcome(&effects), Some((WAKE, OutcomeKind::Met(0))));
}

/// What is said, by its words.
fn said(desk: &Desk, effects: &[Effect]) -> Vec<(String, Cue)> {
    let texts = effects.iter().filter_map(|effect| match effect {
        Effect::Say(text, cue) => Some((desk.text(*text), *cue)),
        _ => None,
    });
    texts.collect()
}

#[test]
fn say_again_repeats_the_word_or_only_rings_where_no_time_is_left() {
    let mut desk = Desk::running();
    desk.cue(WAKE);
    let only = (vec![], vec![Tone::Now]);
    let again = desk.press(Press::SayAgain, 349);
    assert_eq!((said(&desk, &again), rung(&again)), (vec![], vec![]), "the tone still sounds");
    let instruction = ("Press the timer's knob.".to_owned(), Cue::Again);
    let again = desk.press(Press::SayAgain, 3000);
    assert_eq!(said(&desk, &again), [instruction]);
    desk.press(Press::Done, 300);
    desk.cue(TEACH);
    let again = desk.press(Press::SayAgain, 1000);
    assert_eq!((said(&desk, &again), rung(&again)), (vec![], vec![]), "it is being said");
    let again = desk.press(Press::SayAgain, 3500);
    assert_eq!(said(&desk, &again), [("Button.".to_owned(), Cue::Again)]);
    assert_eq!(rung(&again), []);
    // Long after the latest act it counts to the moment at which nothing has come.
    desk.pass(3000);
    let count = desk.frame().count.expect("it counts down");
    assert_eq!(count.what, CountWhat::Silence);
    // One word takes up to 0.546 s and 0.6 s around it.
    let left = count.at.since(desk.now).0;
    let again = desk.press(Press::SayAgain, left - 1146);
    assert_eq!(said(&desk, &again).len(), 1, "it is over as the time is");
    let again = desk.press(Press::SayAgain, 1);
    assert_eq!((said(&desk, &again), rung(&again)), only);
}

/// An answer that leads past the window may come within its bounds after the window has closed.
#[test]
fn a_window_behind_one_answer_does_not_decide_for_another() {
    let open = StepIx(1);
    let mut desk = Desk::at("slow-other-answer");
    desk.cue(WAKE);
    desk.press(Press::Done, 2500);
    desk.cue(open);
    desk.effects.clear();
    desk.pass(45_000);
    assert_eq!(outcome(&effects(&desk)), None, "{:#?}", noticed(&effects(&desk)));
    let told = desk.press(Press::Answer(1), 0);
    assert_eq!(outcome(&told), Some((open, OutcomeKind::Met(1))));
}
