//! Plays a record: takes scenes and a pace, shows each at its moment. Stops on the stop key, Ctrl-C, a
//! closed terminal; holds at the last frame until a key comes.

use super::clock::{RunClock, Wake};
use super::console::{Came, Console};
use super::keys::{Meant, Mode};
use super::run::How;
use crate::clock::{Millis, Moment};
use crate::faces::phrases;
use crate::faces::plain::blank;
use crate::faces::practice::{MOST_LINES, vehicle as vehicle_words};
use crate::faces::summary::broken_off;
use crate::faces::words::{Picture, RecordState};
use crate::guide::cue::Press;
use crate::journal::entry::{ClockChange, EndingClass, Sender};
use crate::journal::happened as h;
use crate::training::replay::{Happened, Scene};

/// Digits are painted anew this often.
const IDLE: Millis = Millis(250);

/// Plays scenes on a console; `speed` 0 shows all at once.
#[must_use]
pub fn play(scenes: &[Scene], speed: u32, mut console: Console) -> How {
    let mut clock = RunClock::start();
    let first = scenes.first().map_or(Moment::START, |scene| scene.at);
    let mut picture = Picture {
        at: first,
        since: first,
        shown: blank(),
        record: RecordState::None,
        vehicle: Vec::new(),
        typing: None,
        offers: Vec::new(),
        remarks: Vec::new(),
        asides: Vec::new(),
        heard: Vec::new(),
        before: Vec::new(),
        ended: None,
    };
    for scene in scenes {
        if let Some(how) = wait(&mut clock, &mut console, &mut picture, (first, scene.at), speed) {
            console.close();
            return how;
        }
        picture.at = scene.at;
        show(&mut console, &mut picture, scene);
    }
    if picture.ended.is_none() {
        picture.ended = Some("The record stops here, without an ending.".to_owned());
        console.show(&picture);
    }
    console.close();
    How::Ended(EndingClass::Learned)
}

/// Waits until a scene is due, painting the digits as they were.
fn wait(
    clock: &mut RunClock,
    console: &mut Console,
    picture: &mut Picture,
    (first, until): (Moment, Moment),
    speed: u32,
) -> Option<How> {
    if speed == 0 {
        return None;
    }
    let pace = i64::from(speed);
    let due = Moment(until.since(first).0.max(0) / pace);
    loop {
        let now = clock.now();
        if now >= due {
            return None;
        }
        picture.at = Moment(first.0 + now.0.saturating_mul(pace)).min(until);
        console.show(picture);
        let woken = clock.wait_until(due.min(now.after(IDLE)), &console.from);
        let Wake::Got(happening) = woken.why else { continue };
        match console.understand(happening, woken.at, Mode::Presses) {
            Some(
                Came::Meant(Meant::Press(Press::Stop)) | Came::Sent(Meant::Press(Press::Stop), _),
            ) => return Some(How::Declined),
            Some(Came::Meant(Meant::Interrupt | Meant::Abort)) => return Some(How::Interrupted),
            Some(Came::HungUp) => return Some(How::HungUp),
            Some(Came::Terminated) => return Some(How::Terminated),
            _ => {}
        }
        if !console.has_face() {
            return Some(How::HungUp);
        }
    }
}

fn show(console: &mut Console, picture: &mut Picture, scene: &Scene) {
    match &scene.what {
        Happened::Effect(effect) => {
            console.tell(effect, scene.at);
            picture.hear(effect, scene.at);
            match effect {
                h::Effect::Show(shown) => {
                    if shown.count != picture.shown.count {
                        picture.since = scene.at;
                    }
                    picture.shown = (**shown).clone();
                }
                h::Effect::Ended { ending, class, text, .. } => {
                    let own = text.as_deref().unwrap_or(phrases::built_in(*class));
                    let class = phrases::class(*class);
                    picture.ended = Some(format!("ENDED: {class} ({ending}). {own}"));
                }
                h::Effect::Fact { fact: h::Fact::Entered { .. } } => picture.vehicle.clear(),
                // The plain face has told of it already.
                h::Effect::Fact { fact: fact @ h::Fact::Margin { .. } }
                    if console.pace().is_some() =>
                {
                    picture.asides.extend(phrases::fact(fact));
                }
                _ => {}
            }
        }
        Happened::Vehicle(what) => {
            let Some(line) = vehicle_words(what) else { return };
            picture.vehicle.push(line);
            let old = picture.vehicle.len().saturating_sub(MOST_LINES);
            picture.vehicle.drain(..old);
        }
        // A wake-up is nothing that a person did.
        Happened::Input(h::Input::Wake, _) => return,
        Happened::Input(input, from) => picture.asides = vec![pressed(input, *from)],
        Happened::Clock(change, length) => {
            let what = match change {
                ClockChange::Slept => "the computer slept for",
                ClockChange::Stopped => "the program stood still for",
                ClockChange::WallStepped => "the wall clock was set by",
            };
            picture.remarks = vec![format!("{what} {length}")];
        }
        Happened::Note(text) => picture.remarks = vec![text.clone()],
        Happened::Interrupted(by) => {
            picture.ended = Some(format!("Broken off: {}.", broken_off(*by)));
        }
        Happened::Continued(by) => picture.remarks = vec![format!("taken up again in {by}")],
        Happened::Lost(events, why) => {
            picture.remarks = vec![format!("{events} events were not kept: {why}")];
        }
        Happened::Unknown(kind) => {
            picture.remarks = vec![format!("an entry that this version does not know: {kind}")];
        }
    }
    console.show(picture);
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
