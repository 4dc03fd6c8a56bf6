//! What the page shows, as data: cards of pictures, hostile texts, the page's own files.

use serde_json::{Value, json};
use stepbell::clock::Moment;
use stepbell::faces::page::assets::{KEY_MARK, PAGE};
use stepbell::faces::page::{Card, Lower, asset, card};
use stepbell::faces::words::{Banner, KeyNames, Picture, RecordState, Setting};
use stepbell::journal::entry::EndingClass;
use stepbell::journal::happened::{
    Answer, Count, CountWhat, Hold, Means, Notice, Question, Sense, Sentence, Sign, Signal, Stage,
    StepAt, Why, Window,
};

/// A picture before anything was shown.
pub fn picture() -> Picture {
    let mut picture = Picture::new(Moment(1000));
    picture.since = Moment(0);
    picture.record = RecordState::Saved;
    picture
}

fn chime(times: u32) -> Sign {
    Sign { sense: Sense::Hear, object: "the chime".to_owned(), times: Some(times), state: None }
}

/// A step whose answer is awaited.
pub fn acting() -> Picture {
    let mut picture = picture();
    let shown = &mut picture.shown;
    shown.stage = Stage::Acting;
    shown.step = Some(StepAt { ix: 1, name: "show".to_owned(), line: 20, file: None, turn: None });
    shown.progress = (2, 5);
    shown.hands = vec!["the working key (one band of tape)".to_owned()];
    shown.act = Some("Show the key.".to_owned());
    shown.means = Means::AnswerCame;
    shown.hoped = vec![chime(1)];
    shown.next = Some("Put it down.".to_owned());
    shown.window = Window::Safe;
    let why =
        Why { line: 18, ms: 30_000, after: "wake".to_owned(), event: None, is: Sentence::Window };
    shown.count = Some(Count { to: 30_000, what: CountWhat::LatestAct, why: Some(why) });
    picture.offers = vec![
        Answer::Met { signs: vec![chime(3)] },
        Answer::Nothing,
        Answer::NoneOfThese,
        Answer::Cannot,
    ];
    picture
}

fn setting() -> Setting {
    Setting {
        title: "Add a spare".to_owned(),
        banners: vec![Banner::Demonstration],
        keys: KeyNames { done: "DONE".to_owned(), ..KeyNames::default() },
    }
}

fn shown(picture: &Picture) -> Card {
    card(picture, &setting())
}

#[test]
fn a_step_with_its_window_answers_and_words() {
    insta::assert_snapshot!(serde_json::to_string_pretty(&shown(&acting())).expect("JSON"));
}

#[test]
fn the_lower_half_is_for_what_is_asked() {
    let mut picture = picture();
    let mut ask = |question: Question, means| {
        picture.shown.question = Some(question);
        picture.shown.means = means;
        let card = shown(&picture);
        (card.lower, card.big.word, card.picks)
    };
    let text = || "Voltage".to_owned();
    let none: Vec<String> = Vec::new();
    assert_eq!(ask(Question::Ownership, Means::Yes), (Lower::YesNo, "YES", none.clone()));
    assert_eq!(
        ask(Question::Alert { word: Signal::Danger, text: text() }, Means::Understood),
        (Lower::Done, "I UNDERSTAND", none.clone())
    );
    let reading = |unit: Option<&str>, choice| Question::Reading {
        text: text(),
        unit: unit.map(str::to_owned),
        plausible: None,
        choice,
    };
    assert_eq!(ask(reading(Some("V"), false), Means::Nothing).0, Lower::Number);
    assert_eq!(ask(reading(None, false), Means::Nothing).0, Lower::Text);
    assert_eq!(ask(reading(None, true), Means::Nothing).0, Lower::Choice);
    let many = |most| Question::HowMany { label: text(), least: 1, most };
    assert_eq!(ask(many(2), Means::Nothing).2, ["1", "2"]);
    assert_eq!(ask(many(40), Means::Nothing), (Lower::Number, "SEND", none));
    // Over a question the big button must not mean yes to the one that stood there before.
    assert_eq!(ask(Question::ReallyStop, Means::Yes).0, Lower::Stop);
    let mut picture = acting();
    picture.shown.question = Some(Question::ReallyStop);
    let card = shown(&picture);
    let ends = |card: &Card| card.ends.clone().map(|ends| (ends.press, ends.word));
    assert_eq!((card.lower, card.big.word), (Lower::Done, "DONE"));
    assert_eq!(ends(&card), Some(("stop", "STOP NOW".to_owned())));
    picture.shown.question = Some(Question::ReallySlip { ends: EndingClass::NotLearned });
    let card = shown(&picture);
    assert_eq!((card.lower, card.big.word), (Lower::Done, "DONE"));
    assert_eq!(ends(&card), Some(("slip", "END THE RUN: NOT LEARNED".to_owned())));
    picture.ended = Some("ENDED: stopped.".to_owned());
    let card = shown(&picture);
    assert_eq!((card.lower, card.answers.len(), card.count), (Lower::Nothing, 0, None));
}

#[test]
fn a_press_that_means_nothing_now_says_so() {
    let mut picture = acting();
    picture.shown.stage = Stage::BeforeCue;
    picture.shown.means = Means::Nothing;
    let mut word = |window| {
        picture.shown.window = window;
        let card = shown(&picture);
        (card.big.word, card.far, card.big.live)
    };
    assert_eq!(word(Window::NotYet), ("WAIT", Some("WAIT"), false));
    assert_eq!(word(Window::Safe), ("READY", Some("READY"), false));
    assert_eq!(word(Window::TooLate), ("KEEP STILL", Some("KEEP STILL"), false));
    picture.shown.means = Means::NoPress;
    assert_eq!(shown(&picture).big.word, "NO PRESS");
    picture.shown.hold = Hold::Held;
    picture.shown.means = Means::GoOn;
    let card = shown(&picture);
    assert_eq!((card.big.word, card.hold.as_deref()), ("GO ON", Some("HELD. No window is open.")));
}

#[test]
fn three_states_of_a_window_have_word_and_shape() {
    let mut picture = acting();
    let mut on = |window| {
        picture.shown.window = window;
        let on = shown(&picture).window.expect("a window");
        (on.state, on.mark, on.words)
    };
    assert_eq!(on(Window::Safe), ("open", "[== OPEN ==]", String::new()));
    assert_eq!(
        on(Window::TooLate),
        ("still", "!! KEEP STILL !!", "too late to start; next is: Put it down.".to_owned())
    );
    assert_eq!(
        on(Window::Closed),
        ("closed", "(-- CLOSED --)", "the window has closed".to_owned())
    );
}

/// Every text of a picture, as this.
fn filled(text: &str) -> Picture {
    let mut picture = acting();
    let (own, step) = (|| text.to_owned(), picture.shown.step.clone());
    let sign = Sign { sense: Sense::Read, object: own(), times: None, state: Some(own()) };
    let shown = &mut picture.shown;
    shown.step = step.map(|step| StepAt { name: own(), file: Some(own()), ..step });
    shown.who = Some(own());
    shown.hands = vec![own()];
    shown.act = Some(own());
    shown.ways = vec![own()];
    shown.away = vec![(own(), own())];
    shown.hoped = vec![sign.clone()];
    shown.next = Some(own());
    shown.window = Window::TooLate;
    let why = Why { line: 1, ms: 1000, after: own(), event: None, is: Sentence::Window };
    shown.count = Some(Count { to: 1, what: CountWhat::Silence, why: Some(why) });
    shown.question = Some(Question::Affirm { text: own() });
    shown.notice = Some(Notice::KeepAwake { text: own() });
    shown.hold = Hold::Asked { before: shown.step.clone() };
    picture.offers =
        vec![Answer::Met { signs: vec![sign] }, Answer::Lost { text: own(), forbids: true }];
    picture.remarks = vec![own()];
    picture.asides = vec![own()];
    picture.record = RecordState::NotSaved(own());
    picture
}

/// Texts of a value, keys left out.
fn texts(value: &Value) -> Vec<String> {
    match value {
        Value::String(text) => vec![text.clone()],
        Value::Array(all) => all.iter().flat_map(texts).collect(),
        Value::Object(all) => all.values().flat_map(texts).collect(),
        _ => Vec::new(),
    }
}

#[test]
fn markup_and_what_steers_stay_texts() {
    let hostile = "<img src=x onerror=alert(1)></script>&lt;\u{1b}[2J\u{202e}\"'\n\u{0}";
    let mut all = filled(hostile);
    for ended in [false, true] {
        all.ended = ended.then(|| hostile.to_owned());
        let title = Setting { title: hostile.to_owned(), ..setting() };
        let card = serde_json::to_value(card(&all, &title)).expect("JSON");
        let found = texts(&card);
        assert!(found.iter().filter(|text| text.contains("<img src=x")).count() >= 4, "{found:?}");
        for text in found {
            let steers = |c: char| c.is_control() || ('\u{202a}'..='\u{202e}').contains(&c);
            assert!(!text.contains(steers), "{text:?}");
        }
    }
}

/// Texts reach the page as texts only, and nothing comes from elsewhere.
#[test]
fn the_pages_files_set_texts_only_and_ask_nobody_else() {
    let names = ["page.css", "page.js", "clock.js", "link.js", "show.js", "sound.js", "icon.svg"];
    let files: Vec<(&str, &str)> = names
        .iter()
        .map(|name| (*name, asset(name).expect("a file").text))
        .chain([("page.html", PAGE.text)])
        .collect();
    let banned = [
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "document.write",
        "eval(",
        "Function(",
        "createContextualFragment",
        "DOMParser",
        "srcdoc",
        "setHTML",
        "onclick",
        "onerror=",
        "style=",
        "javascript:",
        "import(",
        "https://",
        "//cdn",
        "url(",
    ];
    for (name, text) in &files {
        for word in banned {
            assert!(!text.contains(word), "{name}: {word}");
        }
        // The one address is the name of a format, which nobody fetches.
        let outside = text.matches("http://").count();
        let format = text.matches("http://www.w3.org/2000/svg").count();
        assert_eq!(outside, format, "{name}");
    }
    assert_eq!(PAGE.text.matches(KEY_MARK).count(), 1);
    assert_eq!(PAGE.text.matches("<script").count(), 1);
    // Every module that a module names is there.
    for (name, text) in files {
        for (at, _) in text.match_indices("from \"./") {
            let named = text[at + 8..].split('"').next().expect("an end");
            assert!(asset(named).is_some(), "{name}: {named}");
        }
    }
    assert_eq!(asset("nothing.js"), None);
}

#[test]
fn a_card_is_plain_data() {
    let card = serde_json::to_value(shown(&picture())).expect("JSON");
    assert_eq!(card["lower"], json!("done"));
    assert_eq!(card["count"], Value::Null);
    assert_eq!(card["record"], json!("record: saved"));
}
