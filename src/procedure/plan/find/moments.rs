//! Moments that a line counts on: have they happened, can they be seen in time, is there time.

use super::super::graph::Graph;
use super::super::{Anchor, Next, Plan, PlanStep, PlanWindow, StepIx};
use crate::clock::Millis;
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{Event, Hold, Procedure};
use crate::procedure::timing::{self, SpeechLengths};
use crate::source::Place;

/// A window this short that presents a thing wants it in the hand before (own rule from the
/// predetermined times of a key change, see `takes` in the reference: 7.6 s trained, 11.3 s novice).
const STAGED_WITHIN: Millis = Millis::secs(15);

/// Anchors that have not happened on every path to their line.
pub(super) fn not_happened(plan: &Plan, graph: &Graph, found: &mut Vec<Complaint>) {
    let always = graph.happened(true);
    let first = graph.happened(false);
    let mut complain = |anchor: Anchor, place: Place| {
        let name = &plan.step(anchor.step).name;
        let event = format!("{name} {}", anchor.event.word());
        found.push(Complaint::new(Code::EventNotHappened, place).with("event", event));
    };
    for (at, step) in plan.indexed() {
        for window in &step.windows {
            let happened = if window.first_try_only { &first } else { &always };
            if window.anchor.step != at && !happened.before(at, window.anchor) {
                complain(window.anchor, window.place);
            }
        }
        let met = step.met.iter().map(|m| (m.anchor, m.place));
        let silence = step.silence.iter().map(|s| (s.anchor, s.place));
        for (anchor, place) in met.chain(silence) {
            if anchor.step != at && !always.before(at, anchor) {
                complain(anchor, place);
            }
        }
    }
    for limit in &plan.limits {
        if limit.anchor.step != limit.to && !always.before(limit.to, limit.anchor) {
            complain(limit.anchor, limit.place);
        }
    }
}

/// Silence declared before the latest sign of the same step can be known.
pub(super) fn silence_too_early(plan: &Plan, found: &mut Vec<Complaint>) {
    for (at, step) in plan.indexed() {
        let Some(silence) = &step.silence else { continue };
        let Some(from) = offset(at, step, silence.anchor) else { continue };
        let latest = step
            .met
            .iter()
            .filter_map(|m| Some(offset(at, step, m.anchor)?.plus(m.delay.hi).plus(m.recognise.hi)))
            .max()
            .map(|latest| latest.minus(from));
        if let Some(latest) = latest.filter(|latest| silence.within < *latest) {
            found.push(Complaint::new(Code::SilenceTooEarly, silence.place).with("answer", latest));
        }
    }
}

/// How long after the step's own act a moment of it lies at the latest; anchors elsewhere are
/// `None`, for nothing is known of them here.
fn offset(at: StepIx, step: &PlanStep, anchor: Anchor) -> Option<Millis> {
    match (anchor.step == at, anchor.event, &step.hold) {
        (true, Event::Begun | Event::Done, _) => Some(Millis::ZERO),
        (true, Event::Released, Some(Hold::For(range, ..))) => Some(range.hi.unwrap_or(range.lo)),
        _ => None,
    }
}

/// Things that a short window wants in the hand before it opens.
pub(super) fn not_staged(procedure: &Procedure, plan: &Plan, found: &mut Vec<Complaint>) {
    for (at, step) in plan.indexed() {
        for window in &step.windows {
            let Some(width) = width(window).filter(|w| *w <= STAGED_WITHIN) else { continue };
            if window.anchor.step == at {
                continue;
            }
            let opens = plan.step(window.anchor.step);
            let held = opens.by == step.by;
            for thing in step.with.iter().filter(|t| !(held && opens.in_hand.contains(t))) {
                let item = procedure.items.get(thing.item.0 as usize);
                found.push(
                    Complaint::new(Code::ItemNotStaged, window.place)
                        .with("name", item.map_or("", |i| i.name.as_str()))
                        .with("length", width)
                        .and(opens.place, "it must be in the hand here"),
                );
            }
        }
    }
}

fn width(window: &PlanWindow) -> Option<Millis> {
    window.range.hi.map(|hi| hi.minus(window.range.lo))
}

/// The prompt of a step that directly follows the one that opens its window: spoken while that
/// step's answer is awaited, then in the window itself; what is left must be enough for the hands.
pub fn prompt_too_long(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
    found: &mut Vec<Complaint>,
) {
    for (at, step) in plan.indexed().filter(|(_, s)| !s.straight_on) {
        for window in step.windows.iter().filter(|w| w.subject != Event::Released) {
            let opens = plan.step(window.anchor.step);
            let Some(hi) = window.range.hi else { continue };
            if opens.go_on != Next::Step(at) {
                continue;
            }
            let Some(before) = least_before(procedure, window.anchor, opens) else { continue };
            let spoken = timing::prompt(plan, speech, at).hi;
            let act = timing::now_words(speech, step).hi.plus(timing::hands(procedure, step).hi);
            let gap = before.plus(hi).minus(act);
            if spoken > gap {
                found.push(
                    Complaint::new(Code::PromptTooLong, window.place)
                        .with("speech", spoken)
                        .with("gap", gap.max(Millis::ZERO))
                        .and(step.place, "this is said"),
                );
            }
        }
    }
}

/// The least time from a step's cue to the moment that opens the next window.
fn least_before(procedure: &Procedure, anchor: Anchor, opens: &PlanStep) -> Option<Millis> {
    let hands = timing::hands(procedure, opens).lo;
    let strokes = timing::strokes(opens).lo;
    let done = hands.plus(strokes);
    match anchor.event {
        Event::Called | Event::Heard => Some(Millis::ZERO),
        Event::Begun => Some(hands),
        Event::Done => Some(done),
        Event::Released => match &opens.hold {
            Some(Hold::For(range, ..)) => Some(done.plus(range.lo)),
            _ => None,
        },
        Event::Answered => {
            let own = |a: Anchor| a.step == anchor.step && a.event == Event::Done;
            let delays = opens.met.iter().filter(|m| own(m.anchor)).map(|m| m.delay.lo);
            delays.min().map(|delay| done.plus(delay))
        }
        Event::Reported | Event::Over => Some(done.plus(timing::report_delay(procedure, opens).lo)),
    }
}
