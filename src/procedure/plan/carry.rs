//! Where each person stands and what is in whose hands, step by step, along every path.
//!
//! Takes a plan and its graph; fills `at`, `walk` and `in_hand`, and finds what cannot be: a thing
//! that is not in the hand, a third hand, a place without a way, two places at once.

use super::graph::{Because, Graph};
use super::{Next, Plan, PlanStep, StepIx, Thing, person as profile};
use crate::clock::{Millis, Span};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    HandCount, HelperId, Hold, ItemId, PlaceId, Procedure, Profile, Role,
};
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// No place said.
const NOWHERE: PlaceId = PlaceId(u32::MAX);

/// One person: where they may stand, what they surely and perhaps hold, what they keep pressed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Person {
    places: BTreeSet<PlaceId>,
    surely: BTreeSet<Thing>,
    /// With the latest step that may have taken it.
    perhaps: BTreeMap<Thing, usize>,
    pressed: BTreeSet<StepIx>,
}

/// All persons, and where things may lie that were put down.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct State {
    persons: BTreeMap<Option<HelperId>, Person>,
    laid: BTreeSet<(Thing, PlaceId)>,
}

impl State {
    /// What holds if either of two paths was taken.
    fn join(&self, other: &State) -> State {
        let mut joined = self.clone();
        for (who, theirs) in &other.persons {
            let mine = joined.persons.entry(*who).or_default();
            mine.places.extend(&theirs.places);
            mine.surely = mine.surely.intersection(&theirs.surely).copied().collect();
            for (thing, taken) in &theirs.perhaps {
                let known = mine.perhaps.entry(*thing).or_default();
                *known = (*known).max(*taken);
            }
            mine.pressed.extend(&theirs.pressed);
        }
        joined.laid.extend(&other.laid);
        joined
    }

    /// Going back un-happens what was taken at the step gone back to or later: the hands begin by
    /// laying it where it came from.
    fn begin_again(&mut self, back: usize) {
        for Person { surely, perhaps, .. } in self.persons.values_mut() {
            surely.retain(|thing| perhaps.get(thing).is_some_and(|taken| *taken < back));
            perhaps.retain(|_, taken| *taken < back);
        }
    }
}

/// Which items are staged: written `take` or `put down` somewhere. An item that is never taken in
/// so many words is picked up by the step that uses it.
struct Staged {
    taken: BTreeSet<ItemId>,
    put_down: BTreeSet<ItemId>,
}

/// Fills places, walking and hands.
pub(super) fn fill(
    procedure: &Procedure,
    plan: &mut Plan,
    graph: &Graph,
    found: &mut Vec<Complaint>,
) {
    let staged = Staged {
        taken: plan.steps.iter().flat_map(|s| &s.take).map(|t| t.item).collect(),
        put_down: plan.steps.iter().flat_map(|s| &s.put_down).map(|t| t.item).collect(),
    };
    let states = states(plan, graph, &staged);
    let ways = Ways::new(procedure);
    for (step, state) in plan.steps.iter_mut().zip(states) {
        let person =
            state.as_ref().and_then(|s| s.persons.get(&step.by)).cloned().unwrap_or_default();
        let written = step.at;
        place(procedure, step, &person, found);
        walk(procedure, &ways, step, &person, found);
        step.in_hand = person.surely.iter().copied().collect();
        if let Some(state) = state {
            if written != NOWHERE || person.places.len() < 2 {
                apart(procedure, step, &state, found);
            }
            hands(procedure, step, &person, &staged, found);
        }
    }
}

/// The state before every step, by going round until nothing changes.
fn states(plan: &Plan, graph: &Graph, staged: &Staged) -> Vec<Option<State>> {
    let mut states: Vec<Option<State>> = vec![None; plan.steps.len()];
    let Some(entry) = graph.entry() else { return states };
    states[entry] = Some(start(plan));
    let mut open = VecDeque::from([entry]);
    while let Some(at) = open.pop_front() {
        let Some(before) = states[at].clone() else { continue };
        for (to, edge) in graph.steps_after(at) {
            let step = &plan.steps[at];
            let on = step.go_on == Next::Step(StepIx(u32::try_from(to).unwrap_or(u32::MAX)));
            let mut after = after(&before, step, at, edge.because, on && !edge.retry, staged);
            if to <= at {
                after.begin_again(to);
            }
            let merged =
                states[to].as_ref().map_or_else(|| after.clone(), |known| known.join(&after));
            if states[to].as_ref() != Some(&merged) {
                states[to] = Some(merged);
                open.push_back(to);
            }
        }
    }
    states
}

/// Everybody begins where their first step that says so is done.
fn start(plan: &Plan) -> State {
    let mut state = State::default();
    for step in &plan.steps {
        let person = state.persons.entry(step.by).or_default();
        if step.at != NOWHERE && person.places.is_empty() {
            person.places.insert(step.at);
        }
    }
    for person in state.persons.values_mut().filter(|p| p.places.is_empty()) {
        person.places.insert(PlaceId(0));
    }
    state
}

/// What holds after a step that ended like this.
fn after(
    before: &State,
    step: &PlanStep,
    at: usize,
    because: Because,
    on: bool,
    staged: &Staged,
) -> State {
    let mut state = before.clone();
    let State { persons, laid } = &mut state;
    let person = persons.entry(step.by).or_default();
    if step.at != NOWHERE {
        person.places = BTreeSet::from([step.at]);
    }
    let taken: Vec<Thing> = step.take.iter().chain(picked_up(step, staged)).copied().collect();
    person.perhaps.extend(taken.iter().map(|thing| (*thing, at)));
    // Behind a slip, a missed window or a lost guard nobody knows what was done.
    if !matches!(because, Because::Slip | Because::Late | Because::Lost) {
        person.surely.extend(&taken);
    }
    laid.retain(|(thing, _)| !taken.contains(thing));
    let brief = |t: &&Thing| !staged.put_down.contains(&t.item) && !step.take.contains(t);
    let brief: Vec<Thing> = picked_up(step, staged).filter(brief).copied().collect();
    for thing in step.put_down.iter().chain(&brief) {
        person.surely.remove(thing);
        person.perhaps.remove(thing);
        laid.extend(person.places.iter().map(|place| (*thing, *place)));
    }
    if step.hold == Some(Hold::On) {
        person.pressed.insert(StepIx(u32::try_from(at).unwrap_or(u32::MAX)));
    }
    // On any outcome but the way on, everything that is pressed is let go.
    if !on {
        persons.values_mut().for_each(|p| p.pressed.clear());
    } else if let Some(held) = step.lets_go {
        persons.values_mut().for_each(|p| {
            p.pressed.remove(&held);
        });
    }
    state
}

/// Things that the step uses and that nobody takes in so many words.
fn picked_up<'s>(step: &'s PlanStep, staged: &'s Staged) -> impl Iterator<Item = &'s Thing> {
    step.with.iter().filter(|t| !staged.taken.contains(&t.item))
}

fn place(procedure: &Procedure, step: &mut PlanStep, person: &Person, found: &mut Vec<Complaint>) {
    if step.at != NOWHERE {
        return;
    }
    let mut places = person.places.iter();
    step.at = places.next().copied().unwrap_or(PlaceId(0));
    if let Some(other) = places.next() {
        found.push(
            Complaint::new(Code::PlaceDiffers, step.place)
                .with("one", place_name(procedure, step.at))
                .with("other", place_name(procedure, *other)),
        );
    }
}

fn place_name(procedure: &Procedure, place: PlaceId) -> String {
    procedure.places.get(place.0 as usize).map_or_else(String::new, |p| p.name.clone())
}

fn walk(
    procedure: &Procedure,
    ways: &Ways,
    step: &mut PlanStep,
    person: &Person,
    found: &mut Vec<Complaint>,
) {
    let mut walk: Option<Span> = None;
    for from in &person.places {
        match ways.between(profile(procedure, step.by), *from, step.at) {
            Some(span) => walk = Some(walk.map_or(span, |w| w.hull(span))),
            None => found.push(
                Complaint::new(Code::NoWalkingTime, step.place)
                    .with("from", place_name(procedure, *from))
                    .with("to", place_name(procedure, step.at)),
            ),
        }
    }
    step.walk = walk.unwrap_or(Span::ZERO);
}

/// The ways between places: neighbours with paces and time on top.
pub(super) struct Ways {
    near: BTreeMap<PlaceId, Vec<(PlaceId, u32, Span)>>,
}

impl Ways {
    pub fn new(procedure: &Procedure) -> Ways {
        let mut near: BTreeMap<PlaceId, Vec<(PlaceId, u32, Span)>> = BTreeMap::new();
        for (place, nth) in procedure.places.iter().zip(0..) {
            if let Some((from, paces, extra)) = place.far {
                near.entry(from).or_default().push((PlaceId(nth), paces, extra));
                near.entry(PlaceId(nth)).or_default().push((from, paces, extra));
            }
        }
        Ways { near }
    }

    /// Distances add along the chain that is shortest at its slowest.
    pub fn between(&self, who: &Profile, from: PlaceId, to: PlaceId) -> Option<Span> {
        let mut open = BTreeSet::from([(Millis::ZERO, Millis::ZERO, from)]);
        let mut done = BTreeSet::new();
        while let Some((hi, lo, place)) = open.pop_first() {
            if place == to {
                return Some(Span::new(lo, hi));
            }
            if !done.insert(place) {
                continue;
            }
            for (next, paces, extra) in self.near.get(&place).into_iter().flatten() {
                let paces = i64::from(*paces);
                let lo = lo.plus(who.pace.lo.times(paces)).plus(extra.lo);
                let hi = hi.plus(who.pace.hi.times(paces)).plus(extra.hi);
                open.insert((hi, lo, *next));
            }
        }
        None
    }
}

fn hands(
    procedure: &Procedure,
    step: &PlanStep,
    person: &Person,
    staged: &Staged,
    found: &mut Vec<Complaint>,
) {
    let here: BTreeSet<Thing> = person.surely.iter().chain(&step.take).copied().collect();
    let used = step.with.iter().filter(|t| staged.taken.contains(&t.item));
    let put = step.put_down.iter().filter(|t| !step.with.contains(t));
    for thing in used.chain(put).filter(|t| !here.contains(t)) {
        let name = item_name(procedure, thing.item);
        found.push(Complaint::new(Code::ItemNotInHand, step.place).with("name", name));
    }
    let holding: BTreeSet<Thing> =
        person.perhaps.keys().chain(&step.take).chain(&step.with).copied().collect();
    let using = step.with.iter().collect::<BTreeSet<_>>().len();
    let held = holding.len();
    // Hands that are asked for in so many words are free hands; the thing in use lies in one.
    let for_act = match step.hands {
        HandCount::Both => (held - using) + using.max(2),
        HandCount::None => held,
        HandCount::One => held.max(1),
    };
    let needed = person.pressed.iter().filter(|p| step.lets_go != Some(**p)).count() + for_act;
    let who = profile(procedure, step.by);
    if needed > who.hands as usize {
        let name = if who.name == "standard" { "the person" } else { who.name.as_str() };
        found.push(
            Complaint::new(Code::ThirdHand, step.place)
                .with("needed", i64::try_from(needed).unwrap_or(i64::MAX))
                .with("who", name)
                .with("has", i64::from(who.hands)),
        );
    }
}

fn item_name(procedure: &Procedure, item: ItemId) -> String {
    procedure.items.get(item.0 as usize).map_or_else(String::new, |i| i.name.clone())
}

fn transmits(procedure: &Procedure, thing: Thing) -> bool {
    procedure.items.get(thing.item.0 as usize).is_some_and(|i| i.role != Role::Tool)
}

/// A key is shown while another lies at the same place and is not said to be kept away.
fn apart(procedure: &Procedure, step: &PlanStep, state: &State, found: &mut Vec<Complaint>) {
    let Some(shown) = step.with.iter().find(|t| transmits(procedure, **t)) else { return };
    let near = state.laid.iter().filter(|(thing, place)| {
        *place == step.at
            && transmits(procedure, *thing)
            && !step.with.contains(thing)
            && !step.away.iter().any(|(away, _)| away == thing)
    });
    for (thing, _) in near {
        found.push(
            Complaint::new(Code::KeysNotKeptApart, step.place)
                .with("name", item_name(procedure, shown.item))
                .with("other", item_name(procedure, thing.item)),
        );
    }
}
