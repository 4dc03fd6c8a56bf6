//! Signs that nobody could tell apart, and what is declared and never used.
//!
//! Takes the built model; complains about twins, missing quiet times and outcomes that look the same.

use super::Check;
use super::phrase::verb;
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    Met, Node, Procedure, Profile, Sign, SignId, SignPattern, Step, Turns,
};

/// Every step of a model, those of ways included.
pub(super) fn steps(model: &Procedure) -> Vec<&Step> {
    let mut found = Vec::new();
    walk(&model.body, &mut found);
    for way in &model.ways {
        walk(&way.body, &mut found);
    }
    found
}

/// The steps in these nodes, in the order of the script.
pub(super) fn walk<'m>(nodes: &'m [Node], found: &mut Vec<&'m Step>) {
    for node in nodes {
        match node {
            Node::Step(step) => found.push(step),
            Node::Each { body, .. }
            | Node::Repeat { body, .. }
            | Node::OnlyIf { body, .. }
            | Node::Phase { body, .. }
            | Node::Part { body, .. } => walk(body, found),
            Node::NoWayBack { .. } | Node::Finish(..) => {}
        }
    }
}

impl Check<'_> {
    /// Twins among the declared signs, missing quiet times, outcomes of one step that look the same.
    pub(super) fn signs_alike(&mut self) {
        let model = std::mem::take(&mut self.model);
        for (at, sign) in model.signs.iter().enumerate() {
            let twin = model.signs[..at].iter().find(|other| twins(&model, sign, other));
            if let Some(twin) = twin {
                let complaint = Complaint::new(Code::SignTwice, sign.place)
                    .with("name", sign_words(&model, sign))
                    .with("other", sign_words(&model, twin))
                    .and(twin.place, "the other is declared here");
                self.complain(complaint);
            }
        }
        for step in steps(&model) {
            self.quiet(&model, step);
            self.same_observation(&model, step);
        }
        self.model = model;
    }

    /// A count is known only when no further one follows: beside a greater count, or a state, of the
    /// same thing it needs a quiet time.
    fn quiet(&mut self, model: &Procedure, step: &Step) {
        let here: Vec<&Sign> = step
            .met
            .iter()
            .flat_map(|met| &met.signs)
            .filter_map(|sign| model.signs.get(sign.0 as usize))
            .collect();
        for sign in &here {
            let SignPattern::Times(times) = sign.pattern else { continue };
            if sign.quiet.0 > 0 {
                continue;
            }
            let goes_on = here.iter().find(|other| {
                same_thing(model, sign, other)
                    && match &other.pattern {
                        SignPattern::Times(more) => *more > times,
                        SignPattern::State(_) => true,
                        SignPattern::Plain => false,
                    }
            });
            if let Some(other) = goes_on {
                let complaint = Complaint::new(Code::QuietMissing, sign.place)
                    .with("name", sign.name.as_str())
                    .and(step.place, "here it stands beside another")
                    .and(other.place, "the other");
                self.complain(complaint);
            }
        }
    }

    fn same_observation(&mut self, model: &Procedure, step: &Step) {
        for (at, met) in step.met.iter().enumerate() {
            let twin = step.met[..at].iter().find(|other| {
                other.so != met.so
                    && share_a_turn(other.turns, met.turns)
                    && overlap(&model.operator, met, other)
                    && (inside(model, &met.signs, &other.signs)
                        || inside(model, &other.signs, &met.signs))
            });
            let Some(twin) = twin else { continue };
            let less = if met.signs.len() < twin.signs.len() { met } else { twin };
            let words: Vec<String> = less
                .signs
                .iter()
                .filter_map(|sign| model.signs.get(sign.0 as usize))
                .map(|sign| sign_words(model, sign))
                .collect();
            let complaint = Complaint::new(Code::SameObservation, met.place)
                .with("sign", words.join(" and "))
                .and(twin.place, "the other outcome");
            self.complain(complaint);
        }
    }
}

/// A sign as a person is told of it.
pub(super) fn sign_words(model: &Procedure, sign: &Sign) -> String {
    if sign.name.is_empty() {
        return format!("{} \"{}\"", verb(sign.sense), model.text(sign.object));
    }
    sign.name.clone()
}

fn same_text(model: &Procedure, one: &Sign, other: &Sign) -> bool {
    let words = |sign: &Sign| {
        let text = model.text(sign.object).to_lowercase();
        text.split_whitespace().map(str::to_owned).collect::<Vec<_>>()
    };
    words(one) == words(other)
}

fn same_thing(model: &Procedure, one: &Sign, other: &Sign) -> bool {
    one.sense == other.sense && same_text(model, one, other)
}

/// The same sign under two names. How long it lasts may tell two apart.
fn twins(model: &Procedure, one: &Sign, other: &Sign) -> bool {
    let (a, b) = (one.lasting, other.lasting);
    let told_by_length = a.hi.0 > 0 && b.hi.0 > 0 && (a.hi < b.lo || b.hi < a.lo);
    same_thing(model, one, other) && one.pattern == other.pattern && !told_by_length
}

/// Whether whoever sees all of `more` has also seen all of `less`.
fn inside(model: &Procedure, less: &[SignId], more: &[SignId]) -> bool {
    let sign = |id: &SignId| model.signs.get(id.0 as usize);
    less.iter().all(|id| {
        more.iter().any(|other| match (sign(id), sign(other)) {
            (Some(one), Some(seen)) => {
                id == other
                    || (same_thing(model, one, seen)
                        && (one.pattern == SignPattern::Plain || twins(model, one, seen)))
            }
            _ => false,
        })
    })
}

fn share_a_turn(one: Option<Turns>, other: Option<Turns>) -> bool {
    !matches!(
        (one, other),
        (Some(Turns::FirstTurn), Some(Turns::LaterTurns))
            | (Some(Turns::LaterTurns), Some(Turns::FirstTurn))
            | (Some(Turns::EarlierTurns), Some(Turns::LastTurn))
            | (Some(Turns::LastTurn), Some(Turns::EarlierTurns))
    )
}

/// Whether the reports of two answers can reach the guide at the same time.
fn overlap(person: &Profile, one: &Met, other: &Met) -> bool {
    if one.anchor.path != other.anchor.path || one.anchor.event != other.anchor.event {
        return true;
    }
    let told = |met: &Met| met.delay.then(person.reports);
    told(one).meet(told(other)).is_some()
}
