//! A record's state as a picture: takes a reel and what is on show after some scenes, gives what every
//! face shows, and the words for what was pressed and what befell the run.

use std::sync::Arc;

use super::head::{PlaceOn, clock};
use super::phrases;
use super::practice::{MOST_LINES, vehicle};
use super::safe::safe;
use super::summary::broken_off;
use super::words::Picture;
use crate::clock::Moment;
use crate::journal::entry::{ClockChange, Sender};
use crate::journal::happened as h;
use crate::training::reel::{Frame, Mark, Reel};
use crate::training::replay::Happened;

/// What a frame shows at a moment. `margins`: whether what was left of windows is told here too.
#[must_use]
pub fn picture(reel: &Reel, frame: &Frame, at: Moment, margins: bool) -> Picture {
    let mut picture = Picture::new(at);
    picture.since = frame.since.and_then(|ix| reel.time(ix)).unwrap_or(reel.first());
    if let Some(shown) = reel.shown(frame) {
        picture.shown = shown.clone();
    }
    picture.before = frame.before.iter().filter_map(|ix| reel.notice(*ix)).cloned().collect();
    let scene = |ix: usize| reel.scenes().get(ix).map(|scene| &scene.what);
    if let Some(Happened::Input(input, from)) = frame.press.and_then(scene) {
        picture.asides.push(pressed(input, *from));
    }
    for ix in frame.margins.iter().filter(|_| margins) {
        if let Some(Happened::Effect(h::Effect::Fact { fact })) = scene(*ix) {
            picture.asides.extend(phrases::fact(fact));
        }
    }
    let vehicle = frame.vehicle.iter().filter_map(|ix| match scene(*ix) {
        Some(Happened::Vehicle(what)) => vehicle(what),
        _ => None,
    });
    let vehicle: Vec<String> = vehicle.collect();
    let old = vehicle.len().saturating_sub(MOST_LINES);
    picture.vehicle = vehicle.into_iter().skip(old).collect();
    picture.remarks.extend(frame.remark.and_then(scene).and_then(remark));
    let last = frame.ended.and_then(scene);
    picture.ended = last.and_then(|last| ended(last, !reel.steps().is_empty()));
    picture.class = match last {
        Some(Happened::Effect(h::Effect::Ended { class, .. })) => Some(*class),
        _ => None,
    };
    picture
}

/// `begun`: whether a step was.
fn ended(what: &Happened, begun: bool) -> Option<String> {
    match what {
        Happened::Effect(h::Effect::Ended { ending, class, text, .. }) => {
            let own = text.as_deref().unwrap_or(phrases::built_in(*class, begun));
            let class = phrases::class(*class);
            let name = if ending == class { String::new() } else { format!(" ({ending})") };
            Some(format!("ENDED: {class}{name}. {own}"))
        }
        Happened::Interrupted(by) => Some(format!("Broken off: {}.", broken_off(*by))),
        _ => None,
    }
}

/// What befell the run, in words; nothing for what a picture shows in another way.
#[must_use]
pub fn remark(what: &Happened) -> Option<String> {
    Some(match what {
        Happened::Clock(change, length) => {
            let what = match change {
                ClockChange::Slept => "the computer slept for",
                ClockChange::Stopped => "the program stood still for",
                ClockChange::WallStepped => "the wall clock was set by",
            };
            format!("{what} {length}")
        }
        Happened::Note(text) => text.clone(),
        Happened::Continued(by) => format!("taken up again in {by}"),
        Happened::Lost(events, why) => format!("{events} events were not kept: {why}"),
        Happened::Unknown(kind) => {
            format!("an entry that this version does not know: {kind}")
        }
        Happened::Effect(_)
        | Happened::Vehicle(_)
        | Happened::Input(..)
        | Happened::Interrupted(_) => return None,
    })
}

/// Not more places are listed: a page's list of more helps nobody.
const MOST_PLACES: usize = 2000;

/// The steps and the marks of a record, in order.
#[must_use]
pub fn places(reel: &Reel) -> Arc<[PlaceOn]> {
    let on = |at: Moment, text: &str, mark| PlaceOn {
        at: at.0,
        time: clock(at),
        text: safe(text).into_owned(),
        mark,
    };
    let steps = reel.steps().iter().map(|entered| {
        let again =
            if entered.nth > 1 { format!(", again ({})", entered.nth) } else { String::new() };
        on(entered.at, &format!("step {}{again}", phrases::step(&entered.step)), false)
    });
    let marks = reel.marks().iter().map(|(at, scenes)| on(*at, &mark(reel, scenes), true));
    let mut places: Vec<PlaceOn> =
        steps.take(MOST_PLACES / 2).chain(marks.take(MOST_PLACES / 2)).collect();
    places.sort_by_key(|place| place.at);
    places.into()
}

/// Why a replay stops at a mark, in words; the help and the page for teachers list the same.
#[must_use]
pub const fn why_marked(mark: Mark) -> &'static str {
    match mark {
        Mark::Missed => "a window was missed",
        Mark::Otherwise => "something went another way than hoped",
        Mark::Thing => "one of several was learned or not",
        Mark::NoReturn => "there was no way back from there on",
        Mark::Trouble => "the computer, its clock or the record had trouble",
        Mark::End => "the end",
    }
}

/// A mark in words.
#[must_use]
pub fn mark(reel: &Reel, scenes: &[usize]) -> String {
    let word = |ix: &usize| match &reel.scenes().get(*ix)?.what {
        Happened::Effect(h::Effect::Fact { fact: h::Fact::Noticed { notice } }) => {
            Some(phrases::notice(notice))
        }
        Happened::Effect(h::Effect::Ended { class, .. }) => {
            Some(format!("Ended: {}", phrases::class(*class)))
        }
        other => remark(other).or_else(|| ended(other, true)),
    };
    scenes.iter().filter_map(word).collect::<Vec<_>>().join(" ")
}

/// What the person did, for whoever watches.
fn pressed(input: &h::Input, from: Option<Sender>) -> String {
    let what = match input {
        h::Input::Wake => "nothing".to_owned(),
        h::Input::Done => "done".to_owned(),
        h::Input::Answer { number } => format!("answer {number}"),
        h::Input::SomethingElse => "something else".to_owned(),
        h::Input::Slip => "slip".to_owned(),
        h::Input::SayAgain => "say again".to_owned(),
        h::Input::TakeBack => "take back".to_owned(),
        h::Input::Hold => "hold".to_owned(),
        h::Input::Stop => "stop".to_owned(),
        h::Input::Typed { text } => format!("typed \"{text}\""),
        h::Input::Lost { .. } => "a guard was lost".to_owned(),
        h::Input::Away { .. } => "the computer was away".to_owned(),
    };
    let whose = from.map_or_else(String::new, |from| format!(" ({})", phrases::sender(from)));
    format!("pressed: {what}{whose}")
}
