//! The page for a phone: takes pictures, gives what the page in a browser shows as plain data
//! ([`Card`]), the page's own files ([`asset`]), and a QR code of its address ([`qr`]). Opens no
//! socket; `edge::page` serves it.
//!
//! The words are those of the other faces ([`view`]); the page only lays them out. It sets every
//! text as text, never as markup, and runs its digits by itself between two cards.

pub mod assets;
pub mod head;
pub mod invite;
pub mod qr;
pub mod status;

pub use assets::asset;
pub use head::HeadOn;

use serde::Serialize;

use super::phrases;
use super::safe::safe;
use super::words::{Banner, Kind, Picture, RecordState, Setting, View, state, view, wants_text};
use crate::journal::happened::{Answer, Hold, Means, Question, Shown, Stage, Window};

/// Everything that the page shows at one moment.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Card {
    /// What this is, if not the real thing: DEMONSTRATION, REHEARSAL, REPLAY.
    pub banners: Vec<&'static str>,
    /// The script's title.
    pub title: String,
    /// Where in the whole: the stage, the step and how many there are.
    pub place: String,
    /// Whether to act, in a word or two that are seen from afar; nothing where nothing is to be done.
    pub far: Option<&'static str>,
    /// In your hands.
    pub hands: String,
    /// Do.
    pub act: String,
    /// Whether it is a caution: the signal word stands in `act` too.
    pub caution: bool,
    /// Other ways, what lies at a distance.
    pub details: Vec<String>,
    /// What your press means.
    pub means: String,
    /// The state of the window; nothing where there is none.
    pub window: Option<WindowOn>,
    /// What the digits count to.
    pub count: Option<CountOn>,
    /// The question.
    pub question: Option<String>,
    /// What the lower half is for.
    pub lower: Lower,
    /// What stands on the big button, and what it says.
    pub big: Big,
    /// The press that would end the run, where it is asked whether it was meant.
    pub ends: Option<EndsOn>,
    /// What can be typed with one tap: where only a few whole numbers are asked for.
    pub picks: Vec<String>,
    /// The numbered answers; all of them, or the step's own while its answer is awaited.
    pub answers: Vec<AnswerOn>,
    /// Whether *something else* was asked for and all answers are on show.
    pub listed: bool,
    /// Something said once.
    pub notices: Vec<String>,
    /// Held, or about to be.
    pub hold: Option<String>,
    /// What comes next.
    pub next: Option<String>,
    /// The record.
    pub record: Option<String>,
    /// Whether the record is in trouble.
    pub record_bad: bool,
    /// Troubles.
    pub remarks: Vec<String>,
    /// Worth a word, no trouble.
    pub asides: Vec<String>,
    /// How it ended.
    pub ended: Option<String>,
    /// Whether the helper acts.
    pub helper: bool,
    /// Whether it is only shown again: there is nothing to report.
    pub replay: bool,
    /// In a rehearsal: what the imaginary vehicle shows or felt.
    pub vehicle: Vec<String>,
    /// Whether a button stands for the person's hand at an imaginary vehicle.
    pub touch: bool,
    /// How fast the run's time goes, in thousandths of the world's.
    pub pace: u16,
    /// Where a replay is.
    pub head: Option<HeadOn>,
}

/// A window's state by word and shape.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct WindowOn {
    /// For colour and shape on top of the words: `not-yet`, `open`, `still`, `closed`.
    pub state: &'static str,
    /// The mark, as on every face.
    pub mark: &'static str,
    /// More words, where there are any.
    pub words: String,
}

/// What the digits count to. The page works the figure out: whole seconds, rounded down.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct CountOn {
    /// Zero is here, in milliseconds of the run.
    pub to: i64,
    /// Since when it has been counting, for the bar.
    pub since: i64,
    /// Before the figure.
    pub before: &'static str,
    /// After the figure.
    pub after: &'static str,
    /// Why the figure is what it is.
    pub why: Option<String>,
}

/// What the lower half of the page is for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Lower {
    /// One button: *done*, or what it is called now.
    #[default]
    Done,
    /// Yes and no.
    YesNo,
    /// A text to type.
    Text,
    /// A number to type.
    Number,
    /// One of the answers.
    Choice,
    /// Only whether to end the run.
    Stop,
    /// Nothing: it has ended.
    Nothing,
}

/// The big button.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Big {
    /// Its word.
    pub word: &'static str,
    /// What a press says.
    pub says: String,
    /// Whether a press means something now; one that means nothing is still sent, and refused by the
    /// guide with its own words.
    pub live: bool,
}

/// A press that would end the run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct EndsOn {
    /// Which: `stop`, `slip`.
    pub press: &'static str,
    /// What stands on its button.
    pub word: String,
}

/// A numbered answer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct AnswerOn {
    /// Its number.
    pub number: usize,
    /// Its words.
    pub text: String,
    /// How often, where that is what makes it this answer.
    pub times: Option<u32>,
    /// Whether it is one of the step's own answers, and not one of those that always are there.
    pub own: bool,
}

/// A picture as the page shows it.
#[must_use]
pub fn card(picture: &Picture, setting: &Setting) -> Card {
    let View { lines, .. } = view(picture, setting);
    let all = |kind: Kind| {
        lines.iter().filter(move |line| line.kind == kind).map(move |line| said(kind, &line.text))
    };
    let one = |kind: Kind| all(kind).next();
    let shown = &picture.shown;
    let question = shown.question.as_ref().filter(|_| picture.ended.is_none());
    let lower = if picture.ended.is_some() { Lower::Nothing } else { lower(shown) };
    let listed = !shown.answers.is_empty();
    let answers = if listed { &shown.answers } else { &picture.offers };
    let is = |banner| setting.banners.contains(&banner);
    let pace = setting.banners.iter().find_map(|banner| match banner {
        Banner::Slower(pace) => Some(*pace),
        _ => None,
    });
    Card {
        banners: setting.banners.iter().map(|banner| banner.words()).collect(),
        title: safe(&setting.title).into_owned(),
        place: place(&one(Kind::Title).unwrap_or_default(), setting),
        far: far(shown).filter(|_| picture.ended.is_none()),
        hands: one(Kind::Hands).unwrap_or_default(),
        act: one(Kind::Do).unwrap_or_default(),
        caution: shown.caution.is_some() || matches!(question, Some(Question::Alert { .. })),
        details: lines
            .iter()
            .filter(|line| line.kind == Kind::Detail)
            .map(|line| squeezed(&line.text))
            .collect(),
        means: one(Kind::Means).unwrap_or_default(),
        window: window(picture),
        count: count(picture),
        question: question.map(|question| safe(&phrases::question(question)).into_owned()),
        big: big(shown, lower),
        answers: if lower == Lower::Nothing { Vec::new() } else { numbered(answers) },
        lower,
        ends: question.and_then(ends),
        picks: question.map(picks).unwrap_or_default(),
        listed,
        notices: all(Kind::Notice).collect(),
        hold: match shown.hold {
            Hold::Held if picture.ended.is_none() => Some("HELD. No window is open.".to_owned()),
            _ => one(Kind::Hold),
        },
        next: one(Kind::Next),
        record: one(Kind::Record),
        record_bad: matches!(
            picture.record,
            RecordState::NotSaved(_) | RecordState::NotRecording(_)
        ),
        remarks: all(Kind::Remark).collect(),
        // Where the record lies on the computer is told there.
        asides: all(Kind::Aside).filter(|_| picture.ended.is_none()).collect(),
        ended: one(Kind::Ended),
        helper: shown.who.is_some(),
        replay: setting.banners.contains(&Banner::Replay),
        vehicle: all(Kind::Vehicle).collect(),
        touch: is(Banner::Rehearsal) && !is(Banner::Replay) && picture.ended.is_none(),
        pace: pace.unwrap_or(1000),
        head: picture.head.as_ref().map(head::on),
    }
}

/// The title's line without the title.
fn place(line: &str, setting: &Setting) -> String {
    let rest = line.strip_prefix(&*safe(&setting.title)).unwrap_or(line);
    rest.trim_start_matches(" · ").to_owned()
}

/// Whether to act, in a word or two.
fn far(shown: &Shown) -> Option<&'static str> {
    match shown.hold {
        Hold::Held => Some("HELD"),
        _ => phrases::state(state(shown)),
    }
}

/// What a press would end the run by, where that is asked.
fn ends(question: &Question) -> Option<EndsOn> {
    match question {
        Question::ReallyStop => Some(EndsOn { press: "stop", word: "STOP NOW".to_owned() }),
        Question::ReallySlip { ends } => {
            let word = format!("END THE RUN: {}", phrases::class_word(*ends));
            Some(EndsOn { press: "slip", word })
        }
        _ => None,
    }
}

/// A line without its heading or its mark: the page has headings of its own.
fn said(kind: Kind, text: &str) -> String {
    let text = match kind {
        Kind::Hands | Kind::Do | Kind::Means | Kind::Vehicle | Kind::Next => {
            text.split_once(':').map_or(text, |(_, rest)| rest)
        }
        Kind::Notice | Kind::Remark | Kind::Aside => text.get(1..).unwrap_or(text),
        _ => text,
    };
    text.trim_start().to_owned()
}

/// A line with its heading, without the blanks that set it in columns.
fn squeezed(text: &str) -> String {
    match text.split_once(':') {
        Some((head, rest)) => format!("{head}: {}", rest.trim_start()),
        None => text.to_owned(),
    }
}

fn window(picture: &Picture) -> Option<WindowOn> {
    let shown = &picture.shown;
    let state = match shown.window {
        _ if picture.ended.is_some() => return None,
        Window::None => return None,
        Window::NotYet => "not-yet",
        Window::Safe => "open",
        Window::AtRisk => "at-risk",
        Window::TooLate => "still",
        Window::Closed => "closed",
    };
    let words = match (shown.window, &shown.next) {
        (Window::TooLate, Some(next)) => format!("too late to start; next is: {next}"),
        (Window::TooLate, None) => "too late to start safely".to_owned(),
        (Window::Closed, _) => "the window has closed".to_owned(),
        _ => String::new(),
    };
    let words = safe(&words).into_owned();
    Some(WindowOn { state, mark: phrases::window_mark(shown.window), words })
}

fn count(picture: &Picture) -> Option<CountOn> {
    let count = picture.shown.count.as_ref().filter(|_| picture.ended.is_none())?;
    let (before, after) = phrases::around_digits(count.what, picture.shown.window);
    let why = phrases::why(count).map(|why| safe(&why).into_owned());
    Some(CountOn { to: count.to, since: picture.since.0, before, after, why })
}

/// What the lower half is for.
fn lower(shown: &Shown) -> Lower {
    match &shown.question {
        // Over a step that goes on, a press still says what it says; over a question the big button is
        // no place for a yes to something else.
        Some(question) if question.is_before_an_end() => match shown.stage {
            Stage::BeforeCue | Stage::Acting | Stage::Waiting => Lower::Done,
            Stage::Preparing | Stage::Testing | Stage::Ended => Lower::Stop,
        },
        Some(Question::HowMany { .. } | Question::Recount { .. }) => Lower::Number,
        Some(Question::Reading { choice: true, .. }) => Lower::Choice,
        Some(Question::Reading { unit: Some(_), .. }) => Lower::Number,
        Some(_) if wants_text(shown) => Lower::Text,
        Some(Question::LocalRules | Question::Alert { .. }) | None => Lower::Done,
        Some(_) => Lower::YesNo,
    }
}

fn big(shown: &Shown, lower: Lower) -> Big {
    let (word, says, live) = match lower {
        Lower::YesNo => {
            let says = match shown.means {
                Means::Yes => String::new(),
                means => phrases::means(means, &shown.hoped),
            };
            ("YES", says, true)
        }
        Lower::Stop => ("", String::new(), true),
        Lower::Text | Lower::Number => ("SEND", String::new(), true),
        Lower::Choice | Lower::Nothing => ("", String::new(), false),
        Lower::Done => match shown.means {
            _ if shown.hold == Hold::Held => ("GO ON", String::new(), true),
            Means::Understood => ("I UNDERSTAND", String::new(), true),
            Means::GoOn => ("GO ON", String::new(), true),
            Means::Nothing if shown.stage == Stage::BeforeCue => {
                let word = far(shown).unwrap_or("WAIT");
                (word, "nothing to press before the cue".to_owned(), false)
            }
            Means::Nothing => ("WAIT", "nothing to press now".to_owned(), false),
            Means::NoPress => ("NO PRESS", "the guide goes on by itself".to_owned(), false),
            means => ("DONE", phrases::means(means, &shown.hoped), true),
        },
    };
    Big { word, says: safe(&says).into_owned(), live }
}

/// The most numbers that are offered as buttons.
const PICKS: u32 = 6;

fn picks(question: &Question) -> Vec<String> {
    match question {
        Question::HowMany { least, most, .. } if most.saturating_sub(*least) < PICKS => {
            (*least..=*most).map(|number| number.to_string()).collect()
        }
        _ => Vec::new(),
    }
}

fn numbered(answers: &[Answer]) -> Vec<AnswerOn> {
    let answer = |(at, answer): (usize, &Answer)| AnswerOn {
        number: at + 1,
        text: safe(&phrases::answer(answer)).into_owned(),
        times: match answer {
            Answer::Met { signs } => signs.iter().find_map(|sign| sign.times),
            _ => None,
        },
        own: matches!(answer, Answer::Met { .. } | Answer::Nothing | Answer::Choice { .. }),
    };
    answers.iter().enumerate().map(answer).collect()
}
