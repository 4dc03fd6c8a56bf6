//! Persons, hands and guards: colours, bursts, reactions, and who could watch a guard.
//!
//! Takes the built model; what depends on the path (places, hands, walking) is `plan`'s.

use super::Check;
use super::signs::{steps, walk};
use super::words::{holds, plain};
use crate::clock::Millis;
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    Counted, Event, Guard, Hold, HowMany, Item, Node, PlaceId, Procedure, Ref, Role, Step, Stretch,
};

/// An unexpected task is answered after about 1.5 s (restated from M. Green).
const REACTION: Millis = Millis(1500);
/// Ticks faster than two a second are not followed (common practice, no source).
const PACE: Millis = Millis(500);
/// A stroke there and back: two quarter turns of 5.4 TMU, 0.19 s each (MTM-1 data card 2019), less
/// than this is not comfortable.
const STROKE: Millis = Millis(390);

const COLOURS: &[&str] = &[
    "amber", "black", "blue", "brown", "gold", "golden", "gray", "green", "grey", "orange", "pink",
    "purple", "red", "silver", "violet", "white", "yellow",
];

impl Check<'_> {
    pub(super) fn people(&mut self) {
        let model = std::mem::take(&mut self.model);
        self.colours(&model);
        for step in steps(&model) {
            if let Some(counted) = &step.count {
                self.burst(counted);
            }
            self.reactions(step);
            self.guards(&model, &step.own.guards, &[step]);
        }
        let mut all = Vec::new();
        walk(&model.body, &mut all);
        self.guards(&model, &model.head.guards, &all);
        self.guards_inside(&model, &model.body);
        if let Some(first) = all.first().filter(|step| step.straight_on) {
            self.complain(
                Complaint::new(Code::SentenceOutOfPlace, first.place)
                    .with("sentence", "straight on")
                    .with("where", "in the first step")
                    .with("belongs", "in a step with another one above it"),
            );
        }
        self.chains(&model, &model.body);
        for way in &model.ways {
            self.chains(&model, &way.body);
        }
        self.model = model;
    }

    /// Items with a colour in both labels and nothing that the fingers feel to tell them apart.
    fn colours(&mut self, model: &Procedure) {
        let colour = |item: &Item| {
            let words = plain(model.text(item.label));
            item.role != Role::Tool && COLOURS.iter().any(|colour| holds(&words, colour))
        };
        let felt = |item: &Item| item.felt.map(|felt| plain(model.text(felt)));
        for (at, item) in model.items.iter().enumerate().filter(|(_, item)| colour(item)) {
            let twin = model.items[..at].iter().find(|other| {
                colour(other)
                    && (felt(item).is_none() && felt(other).is_none() || felt(item) == felt(other))
            });
            if let Some(twin) = twin {
                let complaint = Complaint::new(Code::ToldApartByColour, item.place)
                    .with("name", item.name.as_str())
                    .with("other", twin.name.as_str())
                    .and(twin.place, "the other");
                self.complain(complaint);
            }
        }
    }

    fn burst(&mut self, counted: &Counted) {
        let many = !matches!(counted.how_many, HowMany::Exactly(0 | 1));
        if many && counted.ending.is_none() {
            self.complain(Complaint::new(Code::BurstWithoutEndState, counted.place));
        }
        if let Some(every) = counted.every {
            let middle = Millis((every.lo.0 + every.hi.0) / 2);
            if middle < PACE {
                let complaint = Complaint::new(Code::BurstTooFast, counted.place);
                self.complain(complaint.with("length", middle));
            }
        }
        let HowMany::Exactly(strokes) = counted.how_many else { return };
        // From the first stroke to the last there is one gap less than there are strokes.
        let Some(within) = counted.within.filter(|_| strokes > 1) else { return };
        let each = Millis(within.0 / i64::from(strokes - 1));
        if each < STROKE {
            let complaint = Complaint::new(Code::BurstTooFastForHand, counted.place)
                .with("count", i64::from(strokes))
                .with("length", within)
                .with("each", each);
            self.complain(complaint);
        }
    }

    /// Windows that open with what is seen must leave time to see it.
    fn reactions(&mut self, step: &Step) {
        for window in &step.windows {
            let seen = matches!(window.anchor.event, Event::Answered | Event::Reported);
            if let Some(hi) = window.range.hi.filter(|hi| seen && *hi <= REACTION) {
                let complaint = Complaint::new(Code::ReactionTooShort, window.place);
                self.complain(complaint.with("length", hi));
            }
        }
        for hold in &step.hold {
            let Hold::UntilAnswered(Some(range), _, place) = hold else { continue };
            if let Some(hi) = range.hi.filter(|hi| *hi <= REACTION) {
                let complaint = Complaint::new(Code::ReactionTooShort, *place);
                self.complain(complaint.with("length", hi));
            }
        }
    }

    /// A step that goes straight on does not wait for what the step above awaits.
    fn chains(&mut self, model: &Procedure, nodes: &[Node]) {
        for pair in nodes.windows(2) {
            let [Node::Step(above), Node::Step(next)] = pair else { continue };
            let Some(met) = above.met.first().filter(|_| next.straight_on) else { continue };
            let sign = met.signs.first().and_then(|sign| model.signs.get(sign.0 as usize));
            let word = sign.map_or("see", |sign| super::phrase::verb(sign.sense));
            let complaint = Complaint::new(Code::Contradiction, next.place)
                .with("one", "straight on")
                .with("other", word)
                .and(met.place, "this is awaited first");
            self.complain(complaint);
        }
        for node in nodes {
            if let Node::Each { body, .. }
            | Node::Repeat { body, .. }
            | Node::OnlyIf { body, .. }
            | Node::Phase { body, .. }
            | Node::Part { body, .. } = node
            {
                self.chains(model, body);
            }
        }
    }

    fn guards_inside(&mut self, model: &Procedure, nodes: &[Node]) {
        for node in nodes {
            let (head, body): (Option<&Stretch>, &[Node]) = match node {
                Node::Each { head, body, .. }
                | Node::Repeat { head, body, .. }
                | Node::Phase { head, body, .. }
                | Node::Part { head, body, .. } => (Some(head), body),
                Node::OnlyIf { body, .. } => (None, body),
                Node::Step(_) | Node::NoWayBack { .. } | Node::Finish(..) => continue,
            };
            if let Some(head) = head {
                let mut inside = Vec::new();
                walk(body, &mut inside);
                self.guards(model, &head.guards, &inside);
            }
            self.guards_inside(model, body);
        }
    }

    /// Whether each guard can be watched during these steps.
    fn guards(&mut self, model: &Procedure, guards: &[Guard], steps: &[&Step]) {
        for guard in guards.iter().filter(|guard| !guard.forbids) {
            let complaint =
                Complaint::new(Code::GuardUnwatched, guard.place).with("name", guard.name.as_str());
            if guard.watched.is_empty() {
                if model.places.len() > 1 {
                    self.complain(complaint.with("where", "until it says `watched from …`"));
                }
                continue;
            }
            let watched = |place: PlaceId| guard.watched.iter().any(|w| same(model, *w, place));
            let helped =
                steps.iter().any(|step| step.by.is_some() && at(step).is_some_and(watched));
            let away = steps
                .iter()
                .find(|step| step.by.is_none() && at(step).is_some_and(|place| !watched(place)));
            if let (Some(step), false) = (away, helped) {
                let place = at(step).and_then(|place| model.places.get(place.0 as usize));
                let place = place.map_or("", |place| place.name.as_str());
                let complaint = complaint.with("where", format!("from `{place}`"));
                self.complain(complaint.and(step.place, "in this step"));
            }
        }
    }
}

/// Where a step says that it is done. A turn's place is not looked at.
fn at(step: &Step) -> Option<PlaceId> {
    match step.at {
        Some(Ref::This(place)) => Some(place),
        _ => None,
    }
}

/// Whether two places are one spot: no pace and no time between them.
fn same(model: &Procedure, one: PlaceId, other: PlaceId) -> bool {
    let beside = |one: PlaceId, other: PlaceId| {
        model.places.get(one.0 as usize).is_some_and(|place| {
            place.far.is_some_and(|(from, paces, extra)| {
                from == other && paces == 0 && extra.hi == Millis::ZERO
            })
        })
    };
    one == other || beside(one, other) || beside(other, one)
}
