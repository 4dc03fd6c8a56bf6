//! Names of moments and targets, resolved to steps of the plan.
//!
//! Takes a name and the step that says it; gives an [`Anchor`] or a [`Target`], or a complaint.

use super::build::{Builder, UNSURE, ix};
use super::unroll::{Forward, Kind, MOST_STEPS, Named};
use super::{Anchor, Next, Target};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{Event, EventRef, Outcome, WayId};
use crate::source::Place;

impl Builder<'_> {
    /// What a moment means at step `at`, or a complaint.
    pub(super) fn anchor(&mut self, at: usize, event: &EventRef) -> Option<Anchor> {
        let step = if event.path.is_empty() {
            Some(at)
        } else {
            let named = if event.previous {
                self.flat.find_previous(at, &event.path)
            } else {
                self.flat.find(at, &event.path, false)
            };
            match named {
                Some(Named::Step(step)) => Some(step),
                Some(Named::Scope(scope)) => return self.block_anchor(scope, event),
                None => None,
            }
        };
        let Some(step) = step else {
            self.found.push(if event.previous {
                Complaint::new(Code::NoTurnBefore, event.place)
            } else {
                not_happened(event)
            });
            return None;
        };
        if let Some(because) = self.lacks(step, event.event) {
            let name = &self.flat.steps[step].step.name;
            self.found.push(no_such_event(name, event.event, because, event.place));
            return None;
        }
        Some(Anchor { step: ix(step), event: event.event })
    }

    /// A block has two moments: its first call and its last step's end.
    fn block_anchor(&mut self, scope: usize, event: &EventRef) -> Option<Anchor> {
        let (from, to) = (self.flat.scopes[scope].from, self.flat.scopes[scope].to);
        if from == to {
            self.found.push(not_happened(event));
            return None;
        }
        match event.event {
            Event::Begun if self.flat.steps[from].step.straight_on => {
                Some(Anchor { step: ix(from), event: Event::Begun })
            }
            Event::Begun => Some(Anchor { step: ix(from), event: Event::Called }),
            Event::Over => Some(Anchor { step: ix(to - 1), event: Event::Over }),
            other => {
                let name = event.path.join(" ");
                let because = "a phase, part or turn only has `begun` and `over`";
                self.found.push(no_such_event(&name, other, because, event.place));
                None
            }
        }
    }

    /// Why a step has no such moment, if it has none.
    pub(super) fn lacks(&self, at: usize, event: Event) -> Option<&'static str> {
        let step = self.flat.steps[at].step;
        match event {
            Event::Called | Event::Heard if step.straight_on => {
                Some("it goes straight on and is not called")
            }
            Event::Begun | Event::Done if step.only_watch => Some("nothing is done in it"),
            Event::Released if step.hold.is_empty() => Some("nothing is held in it"),
            Event::Answered if step.met.is_empty() => Some("no sign is awaited in it"),
            Event::Reported if step.no_report => Some("nobody reports it"),
            _ => None,
        }
    }

    /// Where an outcome leads from step `at`.
    pub(super) fn target(&mut self, at: usize, outcome: &Outcome) -> Target {
        match outcome {
            Outcome::GoOn => {
                let next = self.flat.steps[at].next;
                if next == Forward::Off {
                    self.falls_off.push(ix(at));
                }
                Target::To(self.next(next))
            }
            Outcome::Finish(ending) => Target::To(Next::End(*ending)),
            Outcome::GoTo(name, place) => self.go_to(at, name, *place),
            Outcome::ThisOne(class) => match self.flat.new_thing(self.flat.steps[at].scope) {
                Some((turn, thing)) => {
                    let after = self.flat.scopes[turn].after;
                    if after == Forward::Off {
                        self.falls_off.push(ix(at));
                    }
                    Target::ThisOne { thing, class: *class, next: self.next(after) }
                }
                None => {
                    let place = self.flat.steps[at].step.place;
                    self.found.push(Complaint::new(Code::ThisOneOutside, place));
                    Target::To(Next::End(UNSURE))
                }
            },
            Outcome::GoBack { to, way, after, purse, otherwise, place } => {
                let spent = Box::new(self.target(at, otherwise));
                let Some(back) = self.step_named(at, to, false, *place) else { return *spent };
                if back > at {
                    let complaint = Complaint::new(Code::GoBackForward, *place);
                    self.found.push(complaint.with("target", to.as_str()));
                    return *spent;
                }
                let enter = way.map_or(Forward::Step(back), |way| self.way(at, way, back));
                let enter = match enter {
                    Forward::Step(step) => ix(step),
                    Forward::End(_) | Forward::Off => ix(back),
                };
                let (purse, cool_down, place) = (*purse, *after, *place);
                Target::Again { purse, enter, back: ix(back), cool_down, spent, place }
            }
        }
    }

    fn go_to(&mut self, at: usize, name: &str, place: Place) -> Target {
        match self.step_named(at, name, true, place) {
            Some(step) if step > at => Target::To(Next::Step(ix(step))),
            Some(_) => {
                let better = format!("go back to {name}, at most once, else finish as unsure");
                self.found.push(
                    Complaint::new(Code::GoToBackward, place).with("target", name).fix(
                        "begin again, with a limit",
                        place,
                        better,
                    ),
                );
                Target::To(Next::End(UNSURE))
            }
            None => Target::To(Next::End(UNSURE)),
        }
    }

    fn step_named(&mut self, at: usize, name: &str, later: bool, place: Place) -> Option<usize> {
        let path: Vec<String> = name.split(' ').map(str::to_owned).collect();
        match self.flat.find(at, &path, later) {
            Some(Named::Step(step)) => Some(step),
            Some(Named::Scope(scope))
                if self.flat.scopes[scope].from < self.flat.scopes[scope].to =>
            {
                Some(self.flat.scopes[scope].from)
            }
            _ => {
                let complaint = Complaint::new(Code::UnknownName, place);
                self.found.push(complaint.with("kind", "step").with("name", name));
                None
            }
        }
    }

    /// One copy of a part for each step gone back to and each turn gone back from.
    fn way(&mut self, at: usize, way: WayId, back: usize) -> Forward {
        let around = self.flat.around(self.flat.steps[at].scope);
        // Inside another such part, its own surroundings count: else copies would never end.
        let outermost_way = around
            .filter(|s| matches!(self.flat.scopes[*s].kind, Kind::Way(_)))
            .last()
            .and_then(|s| self.flat.scopes[s].parent);
        let scope = outermost_way.unwrap_or(self.flat.steps[at].scope);
        if let Some(known) = self.ways.get(&(way, back, scope)) {
            return *known;
        }
        if self.flat.steps.len() >= MOST_STEPS {
            return Forward::Step(back);
        }
        let enter = self.flat.add_way(way, scope, back);
        self.found.append(&mut self.flat.found);
        self.ways.insert((way, back, scope), enter);
        enter
    }
}

fn not_happened(event: &EventRef) -> Complaint {
    let previous = if event.previous { "previous " } else { "" };
    let words = format!("{previous}{} {}", event.path.join(" "), event.event.word());
    Complaint::new(Code::EventNotHappened, event.place).with("event", words)
}

pub(super) fn no_such_event(
    step: &str,
    event: Event,
    because: &'static str,
    place: Place,
) -> Complaint {
    Complaint::new(Code::NoSuchEvent, place)
        .with("step", step)
        .with("event", event.word())
        .with("because", because)
}
