//! Live rehearsal: the imaginary vehicle in front of a person, its record, and the score.

use std::fs;
use std::sync::Arc;

use super::commands::call;
use super::pty::{self, Term};
use super::recording::folder;
use super::runs_support::{Script, fixture, push_start, scripts};
use stepbell::clock::{Millis, Moment};
use stepbell::faces::practice::veiled;
use stepbell::faces::score::score as score_words;
use stepbell::faces::words::{KeyNames, Picture, Setting, view};
use stepbell::guide::Guide;
use stepbell::guide::cue::{AnswerText, Effect, Fact, Frame, Input, Means, Press, Stage};
use stepbell::journal::entry::{Body, EndingClass, RunKind};
use stepbell::journal::happened as h;
use stepbell::journal::practice::{Left, Vehicle, Why};
use stepbell::journal::read::read;
use stepbell::procedure::model::EndingId;
use stepbell::procedure::plan::{Choices, Report, StepIx};
use stepbell::training::replay::{Happened, Scene};
use stepbell::training::score::score;
use stepbell::vehicle::law::{Law, Spreads};
use stepbell::vehicle::live::{Event, Hands, Live, WhyNotFelt, WhySilent};
use stepbell::vehicle::order::Order;
use stepbell::vehicle::{Answers, Draw};

/// How long a person takes to tell of what came.
const TELLS: Millis = Millis(900);

/// A person on the virtual clock who answers every question, taps or watches, and tells of what the
/// vehicle does.
pub struct Person<'a> {
    script: &'a Script,
    guide: Guide,
    live: Live,
    answers: Answers,
    /// How long this person takes to tell of what came.
    pub tells: Millis,
    now: Moment,
    presses: Vec<(Moment, Input)>,
    taps: Vec<Moment>,
    /// What is to be picked from the numbered answers.
    wants: Option<AnswerText>,
    asked: Option<Frame>,
    events: Vec<(Moment, Event)>,
    /// What the guide and the vehicle did, in its order.
    log: Vec<(Moment, Logged)>,
    ended: Option<EndingId>,
    /// Taps after the cue, for whoever uses their own hands.
    own: &'a dyn Fn(&Script, StepIx) -> Vec<Millis>,
}

/// What comes into a record of a rehearsal.
#[derive(Clone, Debug)]
pub enum Logged {
    Effect(Effect),
    Event(Event),
}

impl<'a> Person<'a> {
    pub fn new(
        script: &'a Script,
        choices: &Choices,
        live: (Law, u64, &[&str], Hands),
        own: &'a dyn Fn(&Script, StepIx) -> Vec<Millis>,
    ) -> Person<'a> {
        let (law, seed, orders, hands) = live;
        let procedure = Arc::clone(&script.procedure);
        let orders = orders.iter().map(|order| order.parse::<Order>().unwrap()).collect();
        let draw = Draw::named(seed, law);
        Person {
            script,
            guide: script.guide(),
            live: Live::new(Arc::clone(&procedure), script.speech.clone(), draw, orders, hands),
            answers: Answers::new(procedure, choices),
            tells: TELLS,
            now: Moment::START,
            presses: Vec::new(),
            taps: Vec::new(),
            wants: None,
            asked: None,
            events: Vec::new(),
            log: Vec::new(),
            ended: None,
            own,
        }
    }

    fn run(mut self) -> (String, Vec<(Moment, Event)>) {
        (self.led(), self.events)
    }

    /// What a record of the run would hold.
    pub fn logged(mut self) -> Vec<(Moment, Logged)> {
        self.led();
        self.log
    }

    fn led(&mut self) -> String {
        let effects = self.guide.start(self.now);
        self.follow(&effects);
        for _ in 0..20_000 {
            if let Some(ending) = self.ended {
                return self.script.ending(ending).to_owned();
            }
            let press = self.presses.iter().map(|(at, _)| *at).min();
            let tap = self.taps.iter().copied().min();
            let next = [self.guide.next_wakeup(), self.live.next(), press, tap];
            let at = next.into_iter().flatten().min().expect("something to wait for");
            self.now = self.now.max(at);
            if self.guide.next_wakeup().is_some_and(|due| due <= self.now) {
                self.handle(&Input::Wake);
            }
            let due = self.live.wake(self.now);
            due.into_iter().for_each(|(_, event)| self.happens(event));
            if tap == Some(at) {
                self.taps.retain(|tap| *tap != at);
                let events = self.live.tap(self.now);
                events.into_iter().for_each(|event| self.happens(event));
            }
            if let Some(n) = self.presses.iter().position(|(when, _)| *when == at) {
                let (_, input) = self.presses.remove(n);
                self.handle(&input);
            }
        }
        panic!("{}: no end", self.script.name);
    }

    fn handle(&mut self, input: &Input) {
        let effects = self.guide.handle(input.clone(), self.now);
        self.follow(&effects);
    }

    fn follow(&mut self, effects: &[Effect]) {
        if let Some(plan) = self.guide.shared_plan().filter(|_| !self.live.has_begun()) {
            assert_eq!(self.live.begins(plan), []);
        }
        for effect in effects {
            self.log.push((self.now, Logged::Effect(effect.clone())));
            match effect {
                Effect::Record(Fact::Thing(thing, class)) => self.answers.learned(*thing, *class),
                Effect::Record(Fact::CueGiven { point, given, .. })
                    if point.mark == stepbell::procedure::timing::Mark::Called =>
                {
                    let taps = (self.own)(self.script, point.step);
                    self.taps.extend(taps.into_iter().map(|after| given.after(after)));
                }
                Effect::Show(frame) => self.see(frame),
                Effect::Ended(ending, _) => self.ended = Some(*ending),
                _ => {}
            }
            let events = self.live.follow(effect);
            events.into_iter().for_each(|event| self.happens(event));
        }
    }

    fn see(&mut self, frame: &Frame) {
        if let Some(wants) = self.wants
            && let Some(n) = frame.answers.iter().position(|answer| *answer == wants)
        {
            self.wants = None;
            self.tell(Input::Press(Press::Answer(u8::try_from(n + 1).unwrap())));
        }
        let waits = frame.question.is_some() || frame.means == Means::Understood;
        let new = self.asked.as_ref().is_none_or(|asked| {
            (&asked.question, asked.act, asked.stage) != (&frame.question, frame.act, frame.stage)
        });
        self.asked = Some(frame.clone());
        if waits && new && frame.stage != Stage::Ended {
            let done = Input::Press(Press::Done);
            let input = frame.question.as_ref().map_or(done, |question| self.answers.to(question));
            self.tell(input);
        }
    }

    fn tell(&mut self, input: Input) {
        self.presses.push((self.now.after(self.tells), input));
    }

    fn pick(&mut self, answer: AnswerText) {
        self.wants = Some(answer);
        self.tell(Input::Press(Press::SomethingElse));
    }

    /// Tells of what the vehicle does, as a person would.
    fn happens(&mut self, event: Event) {
        let plan = self.guide.shared_plan().expect("the run goes on");
        match &event {
            Event::Shows(step, nth) => {
                let recognise = plan.step(*step).met[*nth as usize].recognise.hi;
                let at = self.now.after(recognise).after(self.tells);
                match nth {
                    0 => self.presses.push((at, Input::Press(Press::Done))),
                    nth => self.pick(AnswerText::Met(*nth)),
                }
            }
            Event::ShowsUnknown(_) => self.pick(AnswerText::NoneOfThese),
            Event::Lost(_, guard) => self.pick(AnswerText::Lost(*guard)),
            Event::Slipped(_) => self.tell(Input::Press(Press::Slip)),
            Event::Felt { step, .. } if plan.step(*step).report == Report::Act => {
                let last = !plan.steps.iter().enumerate().any(|(n, next)| {
                    next.straight_on
                        && plan.step(*step).go_on
                            == stepbell::procedure::plan::Next::Step(StepIx(
                                u32::try_from(n).unwrap(),
                            ))
                });
                if last {
                    self.tell(Input::Press(Press::Done));
                }
            }
            _ => {}
        }
        self.log.push((self.now, Logged::Event(event.clone())));
        self.events.push((self.now, event));
    }
}

fn no_hands(_: &Script, _: StepIx) -> Vec<Millis> {
    Vec::new()
}

/// One tap for each act of the main procedure, two for its count, all inside the bounds.
fn good_hands(script: &Script, step: StepIx) -> Vec<Millis> {
    let plan = script.smallest();
    let first = Millis(plan.step(step).takes.lo.0 + plan.step(step).walk.lo.0 + 700);
    match plan.step(step).name.as_str() {
        "wake" => vec![first, first.plus(Millis(400))],
        _ => vec![first],
    }
}

fn led(script: &Script, orders: &[&str], hands: Hands) -> (String, Vec<(Moment, Event)>) {
    let own: &dyn Fn(&Script, StepIx) -> Vec<Millis> =
        if hands == Hands::Own { &good_hands } else { &no_hands };
    Person::new(script, &script.smallest().choices, (Law::Inside, 4, orders, hands), own).run()
}

#[test]
fn the_vehicle_leads_a_person_through_every_script() {
    for script in scripts() {
        let hoped = script.play(1, &[], &script.smallest().choices).ending.unwrap().0;
        for seed in 0..3 {
            let live = (Law::Inside, seed, &[][..], Hands::Drawn);
            let person = Person::new(&script, &script.smallest().choices, live, &no_hands);
            let (ending, events) = person.run();
            assert_eq!(ending, script.ending(hoped), "{}, seed {seed}: {events:#?}", script.name);
        }
    }
}

#[test]
fn own_hands_are_felt_tap_by_tap() {
    let script = push_start();
    let (ending, events) = led(&script, &[], Hands::Own);
    assert_eq!(ending, "learned", "{events:#?}");
    let felt = events.iter().filter(|(_, event)| matches!(event, Event::Felt { .. }));
    assert_eq!(felt.count(), 7, "every act once");
    assert!(events.iter().any(|(_, e)| matches!(e, Event::Stroke(StepIx(0), 1, 2))));
    let late = events.iter().find_map(|(_, event)| match event {
        Event::Felt { step, after, most, left, .. } if !left.is_empty() => {
            Some((*step, *after < *most, left[0].1 > Millis::ZERO))
        }
        _ => None,
    });
    assert!(matches!(late, Some((_, true, true))), "{late:?}");
}

#[test]
fn every_fault_can_be_met_and_told() {
    let script = push_start();
    let ends = [
        ("silence@show-working", "learned"),
        ("other-answer@show-working", "refused"),
        ("memory-full", "full"),
        ("slow-answer@open", "learned"),
        ("slip@tin", "unsure"),
        ("lost-guard@open", "unsure"),
        ("other-answer@wake", "unsure"),
    ];
    for hands in [Hands::Own, Hands::Drawn] {
        for (order, told) in ends {
            let (ending, events) = led(&script, &[order], hands);
            assert_eq!(ending, told, "{order}, {hands:?}: {events:#?}");
        }
    }
}

#[test]
fn a_miscount_a_needless_touch_and_a_held_key_are_told_apart() {
    let script = push_start();
    let hands = |taps: &'static [i64]| {
        move |_: &Script, step: StepIx| match step {
            StepIx(0) => taps.iter().map(|ms| Millis(*ms)).collect(),
            _ => good_hands(&push_start(), step),
        }
    };
    let first = |taps: &'static [i64]| {
        let own = hands(taps);
        let live = (Law::Inside, 4, &[][..], Hands::Own);
        let (_, events) = Person::new(&script, &script.smallest().choices, live, &own).run();
        let felt = |(_, event): &(Moment, Event)| {
            matches!(event, Event::NotFelt(_) | Event::Silent(..) | Event::Stroke(..))
        };
        let told: Vec<Event> =
            events.into_iter().filter(felt).map(|(_, event)| event).take(3).collect();
        told
    };
    let stroke = || Event::Stroke(StepIx(0), 1, 2);
    let spoilt = Event::Silent(StepIx(0), WhySilent::OneMore);
    let one_more = || Event::NotFelt(WhyNotFelt::OneMore);
    assert_eq!(first(&[1500, 2000, 2400]), [stroke(), one_more(), spoilt]);
    assert_eq!(first(&[1500, 1520, 1540, 2000])[..1], [stroke()], "a key that repeats is one tap");
    let long_after = first(&[1500, 2000, 4900]);
    assert!(!long_after.contains(&one_more()), "{long_after:?}");
}

#[test]
fn an_act_outside_its_window_is_not_answered() {
    let script = fixture("one-window.bell");
    let own = |taps: &'static [i64]| {
        move |_: &Script, _: StepIx| taps.iter().map(|ms| Millis(*ms)).collect::<Vec<_>>()
    };
    let run = |taps: &'static [i64]| {
        let own = own(taps);
        let live = (Law::Inside, 4, &[][..], Hands::Own);
        Person::new(&script, &script.smallest().choices, live, &own).run()
    };
    let (ending, _) = run(&[2000, 5000]);
    assert_eq!(ending, "learned");
    let (ending, events) = run(&[2000, 8500]);
    assert_eq!(ending, "not-learned");
    let told: Vec<&Event> = events.iter().map(|(_, event)| event).collect();
    assert!(told.contains(&&Event::Silent(StepIx(1), WhySilent::Outside)), "{told:#?}");
    let missed = told.iter().find_map(|event| match event {
        Event::Felt { step: StepIx(1), left, .. } => Some(left.clone()),
        _ => None,
    });
    assert_eq!(
        missed,
        Some(vec![(0, Millis(-500))]),
        "6 s after the first act, half a second late"
    );
}

#[test]
fn the_same_seed_is_the_same_vehicle_whatever_the_person_does() {
    let script = push_start();
    let law = Law::Tails(Spreads::default());
    let delays = |own: &dyn Fn(&Script, StepIx) -> Vec<Millis>| {
        let live = (law, 12, &[][..], Hands::Own);
        let (_, events) = Person::new(&script, &script.smallest().choices, live, own).run();
        let mut felt = None;
        let mut all = Vec::new();
        for (at, event) in events {
            match event {
                Event::Felt { step, .. } => felt = Some((step, at)),
                Event::Shows(step, _) if felt.is_some_and(|(of, _)| of == step) => {
                    all.push((step, at.since(felt.unwrap().1)));
                }
                _ => {}
            }
        }
        all
    };
    let quick = delays(&good_hands);
    let slow = delays(&|script: &Script, step: StepIx| {
        good_hands(script, step).into_iter().map(|tap| tap.plus(Millis(800))).collect()
    });
    assert!(quick.len() >= 4, "{quick:?}");
    assert_eq!(quick, slow);
}

// ---------------------------------------------------------------- words

fn at(name: &str) -> h::StepAt {
    h::StepAt { ix: 0, name: name.to_owned(), line: 12, file: None, turn: None }
}

fn scene(at: i64, what: Happened) -> Scene {
    Scene { line: 0, at: Moment(at), what }
}

fn fact(at: i64, fact: h::Fact) -> Scene {
    scene(at, Happened::Effect(h::Effect::Fact { fact }))
}

fn cue(when: i64, name: &str) -> Scene {
    let point = h::PointAt { step: at(name), mark: h::Mark::Called };
    fact(when, h::Fact::CueGiven { point, due: when, given: when })
}

fn felt(when: i64, name: &str, after: i64, left: i64) -> Scene {
    let left = vec![Left { line: 20, length: 10_000, left, early: false }];
    let taken = vec!["the new key (two bands of tape)".to_owned()];
    let step = at(name);
    let walked = None;
    scene(
        when,
        Happened::Vehicle(Vehicle::Felt {
            step,
            after,
            least: 500,
            most: 4_000,
            left,
            taken,
            walked,
        }),
    )
}

fn chime(times: u32) -> Vec<h::Sign> {
    let (object, times) = ("the chime".to_owned(), Some(times));
    vec![h::Sign { sense: h::Sense::Hear, object, times, state: None }]
}

fn shows(when: i64, name: &str, nth: u32) -> Scene {
    let what = Vehicle::Shows {
        step: at(name),
        nth,
        signs: chime(nth + 1),
        most: 3_000,
        within: Some(4_000),
    };
    scene(when, Happened::Vehicle(what))
}

fn ended(when: i64, name: &str, outcome: h::Outcome) -> Scene {
    fact(when, h::Fact::Outcome { step: at(name), outcome })
}

fn met(nth: u32) -> h::Outcome {
    h::Outcome::Met { nth, signs: chime(nth + 1) }
}

#[test]
fn the_score_says_what_was_late_and_what_to_prepare() {
    let scenes = [
        cue(0, "on-time"),
        felt(2_000, "on-time", 2_000, 3_400),
        shows(3_000, "on-time", 0),
        ended(4_200, "on-time", met(0)),
        cue(5_000, "late-hand"),
        felt(12_050, "late-hand", 7_050, -1_250),
        scene(
            12_050,
            Happened::Vehicle(Vehicle::Silent { step: at("late-hand"), why: Why::Outside }),
        ),
        ended(20_000, "late-hand", h::Outcome::Silent),
        cue(30_000, "late-press"),
        felt(31_000, "late-press", 1_000, 9_000),
        shows(32_000, "late-press", 0),
        ended(37_500, "late-press", met(0)),
        cue(40_000, "wrong-word"),
        felt(41_000, "wrong-word", 1_000, 9_000),
        shows(42_000, "wrong-word", 1),
        ended(43_000, "wrong-word", met(0)),
        cue(50_000, "guessed"),
        felt(50_300, "guessed", 300, 9_700),
        ended(51_400, "guessed", met(0)),
        shows(52_000, "guessed", 0),
        cue(60_000, "slipped"),
        scene(61_000, Happened::Vehicle(Vehicle::Slipped { step: at("slipped") })),
        ended(62_000, "slipped", h::Outcome::Slip),
        scene(63_000, Happened::Vehicle(Vehicle::NotFelt { one_more: false })),
        scene(64_000, Happened::Vehicle(Vehicle::Hint { step: None })),
    ];
    let score = score(&scenes);
    assert_eq!(score.rows.len(), 6);
    let text = score_words(&score);
    assert_eq!(text.lines().find(|line| line.chars().count() > 80), None);
    insta::assert_snapshot!(text);
    let nothing = score_words(&stepbell::training::score::score(&[]));
    assert!(nothing.contains("No step was begun."), "{nothing}");
}

fn lost(when: i64, name: &str) -> Scene {
    let what = "The charger stays connected.".to_owned();
    scene(when, Happened::Vehicle(Vehicle::Lost { step: at(name), what }))
}

fn guard_lost() -> h::Outcome {
    h::Outcome::LostGuard { text: "The charger stays connected.".to_owned() }
}

fn slipped(when: i64, name: &str) -> Scene {
    scene(when, Happened::Vehicle(Vehicle::Slipped { step: at(name) }))
}

#[test]
fn an_answer_does_not_cover_what_was_lost_or_slipped_before_it() {
    let scenes = [
        cue(0, "untold"),
        felt(1_000, "untold", 1_000, 9_000),
        lost(1_500, "untold"),
        shows(3_000, "untold", 0),
        ended(4_000, "untold", met(0)),
        cue(10_000, "slip-untold"),
        slipped(11_000, "slip-untold"),
        felt(11_500, "slip-untold", 1_500, 8_500),
        shows(13_000, "slip-untold", 0),
        ended(14_000, "slip-untold", met(0)),
        cue(20_000, "told"),
        felt(21_000, "told", 1_000, 9_000),
        lost(21_500, "told"),
        shows(23_000, "told", 0),
        ended(24_000, "told", guard_lost()),
        cue(30_000, "over"),
        felt(30_500, "over", 500, 9_500),
        ended(31_000, "over", h::Outcome::Done),
        lost(31_500, "over"),
        cue(32_000, "next"),
        ended(33_500, "next", guard_lost()),
    ];
    let all = score(&scenes);
    let rightly = |name: &str| -> Vec<Option<bool>> {
        let rows = all.rows.iter().filter(|row| row.step.name == name);
        rows.map(stepbell::training::score::Row::told_rightly).collect()
    };
    assert_eq!(rightly("untold"), [Some(false)]);
    assert_eq!(rightly("slip-untold"), [Some(false)]);
    assert_eq!(rightly("told"), [Some(true)]);
    assert_eq!((rightly("over"), rightly("next")), (vec![None], vec![Some(true)]));
    let text = score_words(&all);
    assert!(text.contains("2 of 4 happenings told as they were"), "{text}");
    assert!(
        text.contains("untold: this was broken: The charger stays connected; you did not tell"),
        "{text}"
    );
    assert!(text.contains("next: this was broken"), "{text}");
    // Nobody told of it at all.
    let text = score_words(&score(&scenes[15..19]));
    assert!(text.contains("0 of 1 happenings told as they were"), "{text}");
}

#[test]
fn acts_that_never_came_and_slow_answers_leave_a_trace() {
    let silent = |when, name| ended(when, name, h::Outcome::Silent);
    let scenes = [
        cue(0, "wake"),
        silent(14_000, "wake"),
        cue(20_000, "wake"),
        scene(21_000, Happened::Vehicle(Vehicle::Stroke { step: at("wake"), nth: 1, of: 2 })),
        silent(34_000, "wake"),
        cue(40_000, "wake"),
        felt(41_000, "wake", 1_000, 9_000),
        shows(42_000, "wake", 0),
        ended(43_000, "wake", met(0)),
        cue(50_000, "ahead"),
        ended(50_500, "ahead", h::Outcome::Done),
        cue(60_000, "slow-told"),
        felt(61_000, "slow-told", 1_000, 9_000),
        shows(66_500, "slow-told", 0),
        ended(67_500, "slow-told", met(0)),
        cue(70_000, "slow-passed"),
        felt(71_000, "slow-passed", 1_000, 9_000),
        silent(76_000, "slow-passed"),
        cue(77_000, "slow-passed"),
        shows(77_500, "slow-passed", 0),
    ];
    assert!(!score(&scenes).met_well() && score(&scenes[6..9]).met_well());
    let text = score_words(&score(&scenes));
    assert!(text.contains("3 of 6 acts in time; 2 of 2 happenings told as they were."), "{text}");
    assert!(text.contains("Acts that never came:\n3."), "{text}");
    insta::assert_snapshot!(text);
}

#[test]
fn without_hints_the_faces_keep_back_what_is_practised_and_nothing_else() {
    let mut shown = stepbell::faces::plain::blank();
    shown.stage = h::Stage::Acting;
    shown.step = Some(at("show-working"));
    shown.hands = vec!["the working key".to_owned()];
    shown.act = Some("Hold the working key against the button.".to_owned());
    shown.next = Some("Put it away.".to_owned());
    shown.means = h::Means::AnswerCame;
    shown.window = h::Window::Safe;
    shown.count = Some(h::Count { to: 9_000, what: h::CountWhat::LatestAct, why: None });
    let picture = |shown: h::Shown| Picture {
        since: Moment::START,
        shown,
        vehicle: vec!["you hear the chime once".to_owned()],
        ..Picture::new(Moment(1_000))
    };
    let setting =
        Setting { title: "Add a key".to_owned(), banners: vec![], keys: KeyNames::default() };
    let lines = |shown: h::Shown| {
        let lines = view(&picture(shown), &setting).lines;
        lines.into_iter().map(|line| line.text).collect::<Vec<_>>().join("\n")
    };
    insta::assert_snapshot!(lines(veiled(&shown)));
    // Nor is it told while a try is waited for that comes again.
    let again = h::Shown { stage: h::Stage::Waiting, ..shown.clone() };
    assert_eq!(veiled(&again), h::Shown { stage: h::Stage::Waiting, ..veiled(&shown) });
    // Cautions and questions are never kept back.
    let caution = h::Shown { caution: Some(h::Signal::Danger), ..shown.clone() };
    assert_eq!(veiled(&caution), caution);
    let question = h::Shown { question: Some(h::Question::ReallyStop), ..shown };
    assert_eq!(veiled(&question), question);
}

// ---------------------------------------------------------------- the program

/// A person at the small script: answers, waits, touches, tells.
const PRESSES: &str = "yes\nyes\nwait 2s\nact\nwait 2500ms\ndone\nwait 1500ms\nact\nwait 2500ms\ndone\n\
                       wait 1s\n";

#[test]
fn a_live_rehearsal_says_what_it_is_and_keeps_its_record() {
    let place = folder("live");
    let path = place.to_str().unwrap();
    let args = ["rehearse", "tests/terminal/tiny.bell", "--short", "--inside", "--seed", "3"];
    let out = call(&[&args[..], &["--record", path]].concat())
        .input(PRESSES)
        .out("REHEARSAL: there is no vehicle")
        .ends(0);
    let run = out.split("\nScore of").next().unwrap();
    let other = run.lines().find(|line| !line.is_empty() && !line.starts_with("REHEARSAL "));
    assert_eq!(other, None, "no line may be taken for the real thing");
    let first = run.lines().next().unwrap();
    assert!(first.contains("This is a rehearsal. There is no vehicle."), "{first}");
    for told in [
        "WARNING: The vehicle may start.",
        "has answered 3 questions for you: local rules, ownership, things at hand. At a vehicle they are yours",
        "Vehicle:        the word act is your hand: touch it",
        "Vehicle:        it felt that",
        "Vehicle:        you see the dash lit",
        "Vehicle:        you hear the chime once",
        "ENDED: learned",
        "2 of 2 acts in time; 2 of 2 happenings told as they were.",
        "The same vehicle again: --seed 3",
    ] {
        assert!(out.contains(told), "{told}:\n{out}");
    }
    for answered in ["Do you own this vehicle", "Local rules and licensed"] {
        assert!(!out.contains(answered), "{answered}:\n{out}");
    }
    let file = fs::read_dir(&place).unwrap().next().unwrap().unwrap().path();
    let record = read(&fs::read(&file).unwrap());
    assert_eq!(record.faults, []);
    let header = record.header.as_ref().unwrap();
    let practice = header.rehearsal.as_ref().unwrap();
    assert_eq!((header.run, practice.seed, practice.pace), (RunKind::Rehearsal, 3, 1000));
    let vehicle = record.known().filter(|(_, body)| matches!(body, Body::Vehicle { .. }));
    assert_eq!(vehicle.count(), 4, "felt and shown, twice");
    let class = record.known().find_map(|(_, body)| match body {
        Body::End { class, .. } => Some(*class),
        _ => None,
    });
    assert_eq!(class, Some(EndingClass::Learned));
    let name = file.to_str().unwrap();
    let _ = call(&["replay", name, "--check"]).out("effects are the same").ends(0);
    let summary = call(&["replay", name, "--summary"]).out("REHEARSAL").ends(0);
    assert!(summary.contains("Score of this rehearsal"), "{summary}");
    let again = call(&["replay", name, "--speed", "0"]).out("REPLAY, REHEARSAL ").ends(0);
    assert!(again.contains("Vehicle:        you hear the chime once"), "{again}");
}

#[test]
fn a_fault_that_was_met_well_is_no_failure_and_one_that_was_not_is_one() {
    let args = ["rehearse", "tests/terminal/tiny.bell", "--short", "--inside", "--no-record"];
    let slip = ["--seed", "3", "--fault", "slip@wake"];
    let with = |args: &[&str], input: &str, code| {
        call(&[args, &slip[..]].concat()).input(input).out("REHEARSAL").ends(code)
    };
    let well = with(&args, "yes\nyes\nwait 4s\nslip\nwait 1s\nslip\n", 0);
    assert!(well.contains("1 of 1 happenings told as they were"), "{well}");
    // Nothing else happened: no act is counted, and what the slip led to is told.
    let told = "wake: a slip was to be told; you met it well (slip). It ended the run: unsure.";
    let well = well.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(well.contains(told) && well.contains("No act was done; 1 of 1"), "{well}");
    let own = call(&[&args[..], &["--seed", "3"]].concat());
    let own = own
        .input("yes\nyes\nwait 4s\nslip\nwait 1s\nslip\n")
        .out("wake: you told of a slip. It ended the run")
        .ends(1);
    assert!(own.contains("\nNo act was done.\n") && !own.contains("0 of"), "{own}");
    let ill = with(&args, "yes\nyes\nwait 4s\nbrim\ndone\nwait 1s\nstop\nstop\n", 1);
    assert!(ill.contains("Known: act, done, 1 to 9"), "{ill}");
    // Sentences for a screen reader say it too.
    let heard =
        with(&[&args[..], &["--linear"]].concat(), "yes\nyes\nwait 4s\nslip\nwait 1s\nslip\n", 0);
    assert!(heard.contains("The vehicle: the word act is your hand, touch it."), "{heard}");
    assert!(!heard.contains("Do you own this vehicle"), "{heard}");
}

#[test]
fn what_is_asked_after_the_last_step_is_part_of_the_score() {
    let test = |label: &str| h::Question::Test {
        text: "Start it.".to_owned(),
        expect: "it runs".to_owned(),
        label: Some(label.to_owned()),
    };
    let recount = || h::Question::Recount { text: "How many?".to_owned(), unit: None };
    let number = |n: i64| Some(h::Value::Number { thousandths: 1000 * n, unit: String::new() });
    let reads =
        |value: &str| scene(9_000, Happened::Vehicle(Vehicle::Reads { value: value.to_owned() }));
    let answered = |question, value| fact(9_500, h::Fact::Answered { question, value });
    let no = || Some(h::Value::Text("no".to_owned()));
    let after = |answers: &[Scene]| {
        let run = [
            cue(0, "show"),
            felt(2_000, "show", 2_000, 3_400),
            shows(3_000, "show", 0),
            ended(4_200, "show", met(0)),
        ];
        score(&[&run, answers].concat())
    };
    let yes = "yes, it is so";
    let right =
        [reads(yes), answered(test("one"), None), reads("2"), answered(recount(), number(2))];
    let right = after(&right);
    assert_eq!((right.asked_after(), right.met_well()), ((2, 0), true));
    assert!(score_words(&right).contains("3 of 3 happenings"), "{}", score_words(&right));
    let wrong =
        [reads(yes), answered(test("one"), no()), reads("2"), answered(recount(), number(3))];
    let wrong = after(&wrong);
    assert_eq!((wrong.asked_after(), wrong.met_well()), ((0, 2), false));
    let words = score_words(&wrong).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("1 of 3 happenings told as they were"), "{words}");
    assert!(words.contains("Answered otherwise after the last step: 2."), "{words}");
    // Taken back and answered anew; what an older record does not tell is not judged.
    let mended = [reads("2"), answered(recount(), number(3)), reads("2")];
    let mended = after(&[&mended[..], &[answered(recount(), number(2))]].concat());
    assert_eq!((mended.asked_after(), mended.met_well()), ((1, 0), true));
    let untold = after(&[answered(recount(), number(3))]);
    assert_eq!((untold.asked_after(), untold.met_well()), ((0, 0), true));
}

#[test]
fn slower_has_a_sign_of_its_own_and_what_cannot_be_is_refused() {
    let slow = ["rehearse", "tests/terminal/tiny.bell", "--pace", "0.5", "--hints", "off"];
    let out = call(&[&slow[..], &["--no-record"]].concat())
        .input("stop\nstop\n")
        .out("REHEARSAL, SLOWER ")
        .ends(1);
    for told in ["SLOWER: a second here", "half of the true pace", "What to do is kept back"] {
        assert!(out.contains(told), "{told}:\n{out}");
    }
    let tiny = "tests/terminal/tiny.bell";
    for (args, told) in [
        (vec!["--pace", "2"], "from 0.1 to 1"),
        (vec!["--pace", "0.05"], "from 0.1 to 1"),
        (vec!["--fault", "memory-full"], "it needs an answer that says"),
        (vec!["--runs", "5", "--pace", "0.5"], "cannot be used with"),
        (vec!["--runs", "5", "--short"], "cannot be used with"),
        (vec!["--format", "json"], "--runs"),
    ] {
        let _ = call(&[&["rehearse", tiny][..], &args[..]].concat()).err(told).ends(2);
    }
}

#[test]
fn in_a_terminal_a_key_is_the_hand() {
    let place = pty::folder("practice");
    let args = ["rehearse", "tests/terminal/tiny.bell", "--short", "--inside", "--no-record"];
    let mut term = Term::start(&args, &place, &[]);
    term.wait_for("REHEARSAL: there is no vehicle");
    term.done_until("step 1 of 2: wake").wait_for("the answer came: you see the dash lit");
    term.wait_for("Vehicle: Tab or v is your hand: touch it");
    term.press("\t");
    term.wait_for("it felt that");
    term.wait_for("Vehicle: you see the dash lit");
}
