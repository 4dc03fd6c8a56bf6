//! What the imaginary vehicle did in the words of a record: takes its events with what their numbers
//! point into, gives the record's own types.

use super::live::{Event, WhyNotFelt, WhySilent};
use super::window::window;
use crate::clock::Millis;
use crate::journal::convert::Context;
use crate::journal::practice::{Left, Vehicle, Why};
use crate::procedure::plan::{PlanStep, StepIx};
use crate::procedure::timing::{Mark, Point, report_delay};

/// An event with every name and text in full.
#[must_use]
pub fn told(event: &Event, context: &Context<'_>) -> Vehicle {
    let step = |ix: &StepIx| context.step(*ix);
    match event {
        Event::Felt { step: ix, after, least, most, left, early } => {
            let of = plan_step(context, *ix);
            let windows = left.iter().map(|pair| (*pair, false));
            let windows = windows.chain(early.iter().map(|pair| (*pair, true)));
            let walks = of.filter(|of| of.walk.hi > Millis::ZERO);
            let place = walks.and_then(|of| context.procedure.places.get(of.at.0 as usize));
            Vehicle::Felt {
                step: step(ix),
                after: after.0,
                least: least.0,
                most: most.0,
                left: windows
                    .filter_map(|((n, by), early)| rest(context, of?, n, by, early))
                    .collect(),
                taken: taken(context, of),
                walked: place.map(|place| context.text(place.text)),
            }
        }
        Event::Stroke(ix, nth, of) => Vehicle::Stroke { step: step(ix), nth: *nth, of: *of },
        Event::LetGo(ix, held, left) => {
            let of = plan_step(context, *ix);
            let left = left.iter().filter_map(|(n, by, early)| rest(context, of?, *n, *by, *early));
            Vehicle::LetGo { step: step(ix), held: held.0, left: left.collect() }
        }
        Event::Shows(ix, nth) => {
            let of = plan_step(context, *ix);
            let met = of.and_then(|of| Some((of, of.met.get(*nth as usize)?)));
            let most = met.map_or(Millis::ZERO, |(of, met)| {
                met.recognise.hi.plus(report_delay(context.procedure, of).hi)
            });
            let signs = context.met(Some(*ix), *nth);
            let done = Point { step: *ix, mark: Mark::Done };
            let own = met.filter(|(_, met)| Point::of(met.anchor) == done);
            let within = own.map(|(_, met)| met.delay.hi.0);
            Vehicle::Shows { step: step(ix), nth: *nth, signs, most: most.0, within }
        }
        Event::ShowsUnknown(ix) => Vehicle::ShowsUnknown { step: step(ix) },
        Event::Silent(ix, why) => {
            let why = match why {
                WhySilent::Fault => Why::Ordered,
                WhySilent::Outside => Why::Outside,
                WhySilent::OneMore => Why::OneMore,
            };
            Vehicle::Silent { step: step(ix), why }
        }
        Event::Lost(ix, guard) => Vehicle::Lost { step: step(ix), what: context.guard(*guard).0 },
        Event::Slipped(ix) => Vehicle::Slipped { step: step(ix) },
        Event::NotFelt(why) => Vehicle::NotFelt { one_more: *why == WhyNotFelt::OneMore },
    }
}

fn plan_step<'a>(context: &Context<'a>, ix: StepIx) -> Option<&'a PlanStep> {
    context.plan?.steps.get(ix.0 as usize)
}

/// Things that are taken or used, and are not in the hand before.
fn taken(context: &Context<'_>, of: Option<&PlanStep>) -> Vec<String> {
    let Some(of) = of else { return Vec::new() };
    let things = of.with.iter().chain(&of.take).filter(|thing| !of.in_hand.contains(thing));
    let mut taken: Vec<String> = Vec::new();
    for label in things.map(|thing| context.label(*thing)) {
        if !taken.contains(&label) {
            taken.push(label);
        }
    }
    taken
}

/// What was left of a window.
fn rest(context: &Context<'_>, of: &PlanStep, n: usize, by: Millis, early: bool) -> Option<Left> {
    let (_, length, place) = window(of, n)?;
    let line = context.sources.line_col(place).line;
    Some(Left { line, length: length.0, left: by.0, early })
}
