//! The face for screen readers: takes pictures and effects, gives whole sentences, each change once and
//! in the order in which it is needed. The cursor never moves back; the countdown is told where a
//! window opens or closes, and at ten and five seconds, never second by second.

use super::head::Head;
use super::phrases;
use super::safe::safe;
use super::words::{Banner, Kind, Picture, RecordState, Setting, wants_text};
use crate::clock::{Millis, Moment};
use crate::journal::happened::{
    Count, CountWhat, Cue, Effect, Hold, Means, Question, Shown, Stage, Tone, Window,
};

/// A count that is shorter when it appears is over before it is read out.
const TOO_SHORT: Millis = Millis(3000);

/// What a sentence is about; the last one of each kind is remembered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum About {
    Step,
    Vehicle,
    Notice,
    Hands,
    Do,
    Way,
    Means,
    Away,
    Question,
    Answer,
    Hold,
    Next,
    Ended,
    Replay,
    Beside,
    Remark,
    Aside,
}

/// Remembers what was told, so that nothing is told twice.
#[derive(Debug, Default)]
pub struct Linear {
    begun: bool,
    told: Vec<(About, String)>,
    window: (Window, Option<(CountWhat, i64)>),
    typed: String,
    record: Option<RecordState>,
    /// What the last prepare cue said: the same words are not said again at once.
    prepared: Option<String>,
}

impl Linear {
    /// The sentences for a picture: what differs from the last one.
    #[must_use]
    pub fn show(&mut self, picture: &Picture, setting: &Setting) -> Vec<String> {
        let mut out = Vec::new();
        if !std::mem::replace(&mut self.begun, true) {
            out.extend(setting.banners.iter().map(|banner| format!("{}.", banner.words())));
            out.push(marked(&setting.title));
            if !setting.keys.all.is_empty() {
                out.push(format!("Keys: {}.", setting.keys.all.replace(" · ", ", ")));
            }
        }
        out.extend(self.typed(picture));
        let now = sentences(picture, setting);
        let prepared = self.prepared.take().map(|act| format!("Do: {act}"));
        let fresh = |(about, text): &&(About, String)| {
            !self.told.iter().any(|(known, told)| (known, told) == (about, text))
                && prepared.as_ref() != Some(text)
        };
        out.extend(now.iter().filter(fresh).map(|(_, text)| text.clone()));
        self.told = now;
        if picture.ended.is_none() {
            out.extend(self.window(picture));
        }
        out.extend(self.record(&picture.record, picture.ended.is_some()));
        out.iter().map(|text| said(text, setting)).collect()
    }

    /// The sentence for an effect that no picture carries.
    #[must_use]
    pub fn tell(&mut self, effect: &Effect, setting: &Setting) -> Option<String> {
        let text = match effect {
            Effect::Say { cue: Cue::Prepare, text } => {
                self.prepared = Some(marked(text));
                format!("Prepare: {}", marked(text))
            }
            Effect::Say { cue: Cue::Now, text } => marked(text),
            Effect::Ring { tone: Tone::Now } => "Now.".to_owned(),
            Effect::Say { cue: Cue::Again, text } => format!("Again: {}", marked(text)),
            Effect::Ring { tone: Tone::TenLeft } => "10 seconds left.".to_owned(),
            Effect::Ring { tone: Tone::FiveLeft } => "5 seconds left.".to_owned(),
            Effect::Ring { tone: Tone::LetGo } => "Let go.".to_owned(),
            _ => return None,
        };
        Some(said(&text, setting))
    }

    /// What was typed, once it has been handed in.
    fn typed(&mut self, picture: &Picture) -> Option<String> {
        let now = picture.typing.clone().unwrap_or_default();
        let before = std::mem::replace(&mut self.typed, now);
        // A text that is taken back letter by letter leaves one letter.
        let handed_in = self.typed.is_empty() && before.chars().count() > 1;
        (handed_in || (self.typed.is_empty() && !before.is_empty() && picture.typing.is_none()))
            .then(|| format!("You typed: {}.", before.trim()))
    }

    /// The window and what is counted, where either is another than before.
    fn window(&mut self, picture: &Picture) -> Option<String> {
        let shown = &picture.shown;
        let count = shown.count.as_ref();
        let now = (shown.window, count.map(|count| (count.what, count.to)));
        let before = std::mem::replace(&mut self.window, now);
        if before == now {
            return None;
        }
        let state = match (shown.window, &shown.next) {
            _ if before.0 == shown.window => None,
            (Window::Safe, _) => Some("The window is open.".to_owned()),
            (Window::AtRisk, _) => Some("At risk: a window may be missed all the same.".to_owned()),
            (Window::TooLate, Some(next)) => {
                Some(format!("Too late to start: keep still. Next is: {}", marked(next)))
            }
            (Window::TooLate, None) => Some("Too late to start: keep still.".to_owned()),
            (Window::Closed, _) => Some("The window has closed.".to_owned()),
            (Window::NotYet | Window::None, _) => None,
        };
        let count = count.and_then(|count| counted(count, shown.window, picture.at));
        let parts: Vec<_> = state.into_iter().chain(count).collect();
        (!parts.is_empty()).then(|| parts.join(" "))
    }

    /// The record: where it begins, where it goes wrong or is well again, and at the end.
    fn record(&mut self, state: &RecordState, ends: bool) -> Option<String> {
        let is_well =
            |state: &RecordState| matches!(state, RecordState::Recorded | RecordState::Saved);
        let before = self.record.replace(state.clone());
        let same = before.as_ref() == Some(state);
        let stays_well = before.as_ref().is_some_and(is_well) && is_well(state);
        match state {
            RecordState::None => None,
            RecordState::Saved if ends && !same => Some("The record is saved.".to_owned()),
            _ if same || stays_well => None,
            RecordState::Recorded | RecordState::Saved => {
                Some("The run is being recorded.".to_owned())
            }
            RecordState::NotSaved(why) => {
                Some(format!("Attention: the record is not saved: {why}."))
            }
            RecordState::NotRecording(why) => {
                Some(format!("Attention: the run is not being recorded: {why}."))
            }
        }
    }
}

/// What is counted, in whole words; nothing where it is over before it is read out.
fn counted(count: &Count, window: Window, at: Moment) -> Option<String> {
    let left = Moment(count.to).since(at);
    if left < TOO_SHORT {
        return None;
    }
    let left = phrases::spelled(left);
    Some(match count.what {
        CountWhat::Cue => format!("{left} to the cue."),
        CountWhat::LatestCue | CountWhat::LatestAct if window == Window::AtRisk => {
            format!("{left} left to try it.")
        }
        CountWhat::LatestCue => format!("{left} left to start safely."),
        CountWhat::LatestAct => format!("{left} left to act."),
        CountWhat::Silence => format!("{left} more, then it counts as: nothing came."),
        CountWhat::LetGo => format!("Let go in {left}."),
        CountWhat::CoolDown => format!("{left} of waiting."),
        CountWhat::StepOver => format!("It goes on by itself in {left}."),
    })
}

/// A sentence made safe, and marked where it is not the real thing: nobody may take one for it.
fn said(text: &str, setting: &Setting) -> String {
    let is = |banner| setting.banners.contains(&banner);
    let slower = setting.banners.iter().any(|banner| matches!(banner, Banner::Slower(_)));
    let mark = match (is(Banner::Replay), is(Banner::Rehearsal), slower) {
        (true, true, false) => "Replay of a rehearsal. ",
        (true, true, true) => "Replay of a slower rehearsal. ",
        (true, false, _) => "Replay. ",
        (false, true, true) => "Slower rehearsal. ",
        (false, true, false) => "Rehearsal. ",
        (false, false, _) => "",
    };
    format!("{mark}{}", safe(text))
}

fn marked(text: &str) -> String {
    phrases::marked(text, '.')
}

/// Everything that stands at the moment, as sentences.
fn sentences(picture: &Picture, setting: &Setting) -> Vec<(About, String)> {
    let mut all = Vec::new();
    let shown = &picture.shown;
    if let Some(step) = &shown.step {
        let (nth, of) = shown.progress;
        all.push((About::Step, format!("Step {nth} of {of}, {}.", phrases::step(step))));
    }
    // What there would be seen or heard of itself comes first.
    let vehicle = picture.vehicle.iter().filter(|_| picture.ended.is_none());
    all.extend(vehicle.map(|line| (About::Vehicle, format!("The vehicle: {}", marked(line)))));
    let notices = picture.before.iter().chain(&shown.notice);
    all.extend(notices.map(|notice| (About::Notice, marked(&phrases::notice(notice)))));
    match &picture.ended {
        Some(ended) => {
            all.push((About::Ended, ended.clone()));
            let act = shown.act.as_ref().filter(|_| shown.stage == Stage::Ended);
            all.extend(act.map(|act| (About::Do, format!("Do: {}", marked(act)))));
        }
        // What stands there until the ending is worded is no news.
        None if shown.stage == Stage::Ended => {}
        None => body(&mut all, picture, setting),
    }
    all.extend(picture.head.iter().flat_map(replayed));
    all.extend(picture.remarks.iter().map(|text| (About::Remark, attention(text))));
    all.extend(picture.asides.iter().map(|text| (About::Aside, marked(text))));
    all
}

/// What a replay says besides, and what a drill asks: the choices with their question, so that those that
/// stood there before are heard again.
fn replayed(head: &Head) -> Vec<(About, String)> {
    let mut all = Vec::new();
    all.push((About::Replay, format!("Replay: {}.", head.how_aloud().join(", "))));
    all.extend(head.told.iter().map(|told| (About::Remark, marked(told))));
    if let Some(asks) = &head.asks {
        // The score is a text of its own, behind the replay.
        let told = asks.told.iter().filter(|_| !head.at_end);
        all.extend(told.map(|told| (About::Remark, marked(told))));
        let numbered = (1..).zip(&asks.choices).map(|(n, text)| format!("{n}: {}", marked(text)));
        let choices: Vec<String> = numbered.collect();
        let question = asks.question.iter();
        all.extend(question.map(|question| {
            (About::Question, format!("{}: {question} {}", asks.progress, choices.join(" ")))
        }));
    }
    if let Some(beside) = &head.beside {
        let lines = super::beside::lines(beside).into_iter();
        let steady = lines.filter(|(kind, _)| *kind != Kind::BesideWindow);
        all.extend(steady.map(|(_, text)| (About::Beside, squeezed(&text))));
    }
    all
}

/// Without the blanks that set a line in columns.
fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn attention(text: &str) -> String {
    format!("Attention: {}", marked(text))
}

fn body(all: &mut Vec<(About, String)>, picture: &Picture, setting: &Setting) {
    let shown = &picture.shown;
    let asked = shown.question.as_ref().filter(|asked| !asked.is_before_an_end());
    if asked.is_none() {
        let hands = match shown.hands.as_slice() {
            [] => "nothing".to_owned(),
            things => things.join(" and "),
        };
        all.push((About::Hands, format!("In your hands: {hands}.")));
        let who = shown.who.as_ref().map_or_else(String::new, |who| format!("{who}: "));
        let act = match (&shown.act, shown.caution) {
            (Some(act), Some(word)) => format!("{}! {}", phrases::signal(word), marked(act)),
            (Some(act), None) => marked(act),
            (None, _) => "nothing, keep still.".to_owned(),
        };
        all.push((About::Do, format!("Do: {who}{act}")));
    }
    all.extend(shown.ways.iter().map(|way| (About::Way, format!("Or: {}", marked(way)))));
    let away = shown.away.iter();
    all.extend(away.map(|(label, place)| (About::Away, format!("Kept away: {label}, {place}."))));
    if let Some(question) = &shown.question {
        all.push((About::Question, phrases::question(question)));
    }
    for (number, answer) in (1..).zip(&shown.answers) {
        all.push((About::Answer, format!("Answer {number}: {}", marked(&phrases::answer(answer)))));
    }
    // In a replay a press moves the replay.
    if picture.head.is_none() {
        all.push((About::Means, means(shown, setting)));
    }
    let act = &setting.keys.act;
    if picture.vehicle.is_empty() && shown.stage == Stage::Acting && !act.is_empty() {
        all.push((About::Vehicle, format!("The vehicle: {act} is your hand, touch it.")));
    }
    let done = &setting.keys.done;
    match &shown.hold {
        Hold::No => {}
        Hold::Asked { before: Some(step) } => {
            let step = phrases::step(step);
            all.push((About::Hold, format!("Hold is asked: it goes on until before {step}.")));
        }
        Hold::Asked { before: None } => {
            all.push((
                About::Hold,
                "Hold is asked: it goes on to the next resting point.".to_owned(),
            ));
        }
        Hold::Held => {
            all.push((About::Hold, format!("Held. No window is open. Press {done} to go on.")));
        }
    }
    all.extend(
        shown.next.iter().map(|next| (About::Next, format!("After that: {}", marked(next)))),
    );
}

/// What a press means, or what must be done instead of pressing.
fn means(shown: &Shown, setting: &Setting) -> String {
    let (done, other) = (&setting.keys.done, &setting.keys.other);
    match (&shown.question, shown.means) {
        (Some(Question::ReallyStop), _) => {
            let again = setting.keys.again(&setting.keys.stop);
            format!("Press {again} within 5 seconds to stop. Anything else means no.")
        }
        (Some(Question::ReallySlip { .. }), _) => {
            let again = setting.keys.again(&setting.keys.slip);
            format!("Press {again} within 5 seconds if so. Anything else means no.")
        }
        _ if wants_text(shown) => "Type the answer, then press Enter.".to_owned(),
        (Some(Question::Alert { .. } | Question::GateClosed { must: true, .. }), _) => {
            format!("Press {done}: I understand.")
        }
        (Some(_), _) if shown.answers.is_empty() => {
            format!("Press {done} for yes, {other} for no.")
        }
        (_, Means::Nothing) if shown.stage == Stage::BeforeCue => {
            "No press yet: wait for the cue.".to_owned()
        }
        (_, none @ (Means::Nothing | Means::NoPress)) => {
            format!("Your press means: {}.", phrases::means(none, &shown.hoped))
        }
        (_, means) => format!("Press {done}: {}.", phrases::means(means, &shown.hoped)),
    }
}
