//! Pictures for the faces' tests: moments of a run as the guide shows them.

use stepbell::clock::{Millis, Moment};
use stepbell::faces::words::{Banner, KeyNames, Picture, RecordState, Setting};
use stepbell::journal::entry::EndingClass;
use stepbell::journal::happened::{
    Answer, Count, CountWhat, Hold, Mark, Means, Notice, Question, Sense, Sentence, Sign, Signal,
    Stage, StepAt, Why, Window,
};

/// A setting with these banners, keys named as in a terminal.
pub fn setting(banners: &[Banner]) -> Setting {
    let keys = KeyNames {
        done: "Space".to_owned(),
        other: "e".to_owned(),
        slip: "s".to_owned(),
        stop: "q".to_owned(),
        yes: String::new(),
        act: String::new(),
        all: "Space done · e something else · s slip · a again · b back · h hold · q stop"
            .to_owned(),
        brief: ["Space done", "e else", "q stop", "s slip", "a again", "b back", "h hold"]
            .map(str::to_owned)
            .to_vec(),
    };
    Setting { title: "Add a spare with an instrument".to_owned(), banners: banners.to_vec(), keys }
}

pub fn step(ix: u32, name: &str) -> StepAt {
    StepAt { ix, name: name.to_owned(), line: 60 + ix, file: None, turn: None }
}

pub fn chime(times: u32) -> Sign {
    Sign { sense: Sense::Hear, object: "the chime".to_owned(), times: Some(times), state: None }
}

/// Before the first step: a question that is answered by yes or no.
pub fn asked() -> Picture {
    let mut picture = Picture::new(Moment(0));
    picture.shown.question = Some(Question::Ownership);
    picture.shown.means = Means::Yes;
    picture.record = RecordState::Recorded;
    picture
}

/// A caution before the first step.
pub fn warned() -> Picture {
    let mut picture = asked();
    let text = "Exhaust gas kills. Start the engine only outdoors or with extraction.".to_owned();
    picture.shown.question = Some(Question::Alert { word: Signal::Danger, text });
    picture.shown.means = Means::Understood;
    picture
}

/// A question whose answer is being typed.
pub fn typing() -> Picture {
    let mut picture = asked();
    let text = "Battery voltage, charger connected?".to_owned();
    let plausible = Some((9_000, 16_000));
    let unit = Some("V".to_owned());
    picture.shown.question = Some(Question::Reading { text, unit, plausible, choice: false });
    picture.typing = Some("12,6".to_owned());
    picture
}

/// A step whose cue comes any moment, its window open: 17 seconds are left to start safely.
pub fn before_cue() -> Picture {
    let mut picture = Picture::new(Moment(40_000));
    picture.record = RecordState::Saved;
    let shown = &mut picture.shown;
    shown.stage = Stage::BeforeCue;
    shown.step = Some(step(3, "show-working"));
    shown.progress = (4, 7);
    shown.hands = vec!["the working key (one band of tape)".to_owned()];
    shown.act = Some("Hold the working key against the start button.".to_owned());
    shown.away = vec![(
        "the new key (two bands of tape)".to_owned(),
        "in the tray on the passenger seat".to_owned(),
    )];
    shown.next = Some("Put the working key into the tin box.".to_owned());
    shown.window = Window::Safe;
    let why = Some(Why {
        line: 69,
        ms: 30_000,
        after: "open".to_owned(),
        event: Some(Mark::Answered),
        is: Sentence::Window,
    });
    shown.count = Some(Count { to: 57_400, what: CountWhat::LatestCue, why });
    picture.since = Moment(37_000);
    picture
}

/// As [`before_cue`], in a script whose timing is not proven.
pub fn at_risk() -> Picture {
    let mut picture = before_cue();
    picture.shown.window = Window::AtRisk;
    picture
}

/// The cue has come: 1 minute 5 seconds are left to act.
pub fn acting() -> Picture {
    let mut picture = before_cue();
    picture.shown.stage = Stage::Acting;
    picture.shown.means = Means::AnswerCame;
    picture.shown.hoped = vec![chime(1)];
    picture.at = Moment(42_000);
    picture.since = Moment(42_000);
    let count = picture.shown.count.as_mut().expect("a count");
    (count.to, count.what) = (107_999, CountWhat::LatestAct);
    picture
}

/// In a rehearsal: as [`acting`], and the imaginary vehicle has answered.
pub fn answered() -> Picture {
    let mut picture = acting();
    picture.vehicle =
        vec!["it felt that, 1.2 s after its cue".to_owned(), "you hear the chime once".to_owned()];
    picture
}

/// Something else has come: the numbered answers are on offer, and the countdown goes on.
pub fn offered() -> Picture {
    let mut picture = acting();
    picture.shown.answers = vec![
        Answer::Met { signs: vec![chime(1)] },
        Answer::Met { signs: vec![chime(2)] },
        Answer::Met { signs: vec![chime(3)] },
        Answer::Nothing,
        Answer::NoneOfThese,
        Answer::Cannot,
        Answer::Lost { text: "The charger stays connected.".to_owned(), forbids: false },
        Answer::Lost { text: "Do not start the engine.".to_owned(), forbids: true },
    ];
    picture
}

/// The window is too narrow by now for what follows.
pub fn too_late() -> Picture {
    let mut picture = before_cue();
    picture.shown.window = Window::TooLate;
    picture.shown.notice = Some(Notice::Late { step: step(3, "show-working"), why: None });
    let count = picture.shown.count.as_mut().expect("a count");
    (count.to, count.what, count.why) = (49_000, CountWhat::StepOver, None);
    picture
}

/// The window has closed; the answer may still come.
pub fn closed() -> Picture {
    let mut picture = acting();
    picture.shown.window = Window::Closed;
    let count = picture.shown.count.as_mut().expect("a count");
    (count.to, count.what, count.why) = (45_500, CountWhat::Silence, None);
    picture
}

/// A time passes.
pub fn cooling() -> Picture {
    let mut picture = before_cue();
    picture.shown.stage = Stage::Waiting;
    picture.shown.window = Window::None;
    picture.shown.act = None;
    picture.shown.notice = Some(Notice::Again { nth: 2, of: 3 });
    let count = picture.shown.count.as_mut().expect("a count");
    (count.to, count.what, count.why) = (3_700_000, CountWhat::CoolDown, None);
    picture
}

/// The run is held at a resting point.
pub fn held() -> Picture {
    let mut picture = before_cue();
    picture.shown.window = Window::None;
    picture.shown.count = None;
    picture.shown.hold = Hold::Held;
    picture.shown.means = Means::GoOn;
    picture
}

/// The run has ended.
pub fn ended() -> Picture {
    let mut picture = Picture::new(Moment(200_000));
    picture.shown.stage = Stage::Ended;
    picture.record = RecordState::Saved;
    picture.ended = Some("ENDED: not learned. The vehicle refused the working key.".to_owned());
    picture.class = Some(EndingClass::NotLearned);
    picture.asides = vec!["the record is in /home/somebody/records/a-run.jsonl".to_owned()];
    picture
}

/// All of them, with names.
pub fn all() -> Vec<(&'static str, Picture)> {
    vec![
        ("asked", asked()),
        ("warned", warned()),
        ("typing", typing()),
        ("before the cue", before_cue()),
        ("at risk", at_risk()),
        ("acting", acting()),
        ("offered", offered()),
        ("too late", too_late()),
        ("closed", closed()),
        ("cooling", cooling()),
        ("held", held()),
        ("ended", ended()),
    ]
}

/// The same picture a little later.
pub fn later(picture: &Picture, by: Millis) -> Picture {
    Picture { at: picture.at.after(by), ..picture.clone() }
}
