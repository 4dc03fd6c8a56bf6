//! Turns, repeats and conditions unrolled into one list of steps, and names found in it.
//!
//! Takes a model and choices; gives [`Flat`]: the steps in order with what follows each, and the
//! scopes (phases, parts, turns) that lie around them. A name is looked for in the same turn first.

use super::{Choices, Thing};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    EndingId, ItemId, Node, Over, PlaceId, Procedure, Ref, Role, Step, Stretch, WayId,
};
use crate::source::Place;

/// No plan has more steps than this; one with more cannot be surveyed by anybody.
pub(super) const MOST_STEPS: usize = 1000;

/// Where the flow leads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Forward {
    Step(usize),
    End(EndingId),
    /// Off the end of the script.
    Off,
}

/// One step in its turn.
pub(super) struct FlatStep<'p> {
    pub step: &'p Step,
    pub scope: usize,
    pub next: Forward,
}

/// Something around steps.
pub(super) struct Scope<'p> {
    pub parent: Option<usize>,
    pub kind: Kind<'p>,
    pub head: Option<&'p Stretch>,
    /// Its steps: from this one…
    pub from: usize,
    /// …up to, without, this one.
    pub to: usize,
    /// What follows it.
    pub after: Forward,
}

/// What a scope is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind<'p> {
    Root,
    Phase(&'p str),
    Part(Option<&'p str>),
    /// One turn of a `for each` or `repeat`; turns of one block share `block`.
    Turn {
        name: Option<&'p str>,
        holds: Option<Holds>,
        nth: u32,
        of: u32,
        block: usize,
    },
    Way(WayId),
}

/// What a turn is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Holds {
    Thing(Thing),
    Place(PlaceId),
}

/// A point of no return before a step (if one follows).
pub(super) struct FlatNoReturn<'p> {
    pub before: Forward,
    pub node: &'p Node,
}

/// Something whose way forward is not known yet.
enum Pending {
    Entry,
    Step(usize),
    Scope(usize),
    NoReturn(usize),
}

/// Everything unrolled.
pub(super) struct Flat<'p> {
    pub procedure: &'p Procedure,
    pub choices: &'p Choices,
    pub steps: Vec<FlatStep<'p>>,
    pub scopes: Vec<Scope<'p>>,
    pub no_returns: Vec<FlatNoReturn<'p>>,
    pub entry: Forward,
    pub main: usize,
    pub found: Vec<Complaint>,
    pending: Vec<Pending>,
    blocks: usize,
    full: bool,
}

/// What a name means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Named {
    Step(usize),
    Scope(usize),
}

impl<'p> Flat<'p> {
    /// Unrolls the body.
    pub fn new(procedure: &'p Procedure, choices: &'p Choices) -> Flat<'p> {
        let mut flat = Flat {
            procedure,
            choices,
            steps: Vec::new(),
            scopes: Vec::new(),
            no_returns: Vec::new(),
            entry: Forward::Off,
            main: 0,
            found: Vec::new(),
            pending: vec![Pending::Entry],
            blocks: 0,
            full: false,
        };
        let root = flat.open(None, Kind::Root, Some(&procedure.head));
        flat.nodes(&procedure.body, root);
        flat.close(root);
        flat.resolve(Forward::Off);
        flat.main = flat.steps.len();
        flat
    }

    /// Adds the steps of a part done on the way back to `back`; gives where it begins.
    pub fn add_way(&mut self, way: WayId, around: usize, back: usize) -> Forward {
        let procedure = self.procedure;
        let Some(part) = procedure.ways.get(way.0 as usize) else { return Forward::Step(back) };
        let entry = self.entry;
        self.pending = vec![Pending::Entry];
        let scope = self.open(Some(around), Kind::Way(way), None);
        self.nodes(&part.body, scope);
        self.close(scope);
        self.resolve(Forward::Step(back));
        std::mem::replace(&mut self.entry, entry)
    }

    fn open(&mut self, parent: Option<usize>, kind: Kind<'p>, head: Option<&'p Stretch>) -> usize {
        let from = self.steps.len();
        self.scopes.push(Scope { parent, kind, head, from, to: from, after: Forward::Off });
        self.scopes.len() - 1
    }

    fn close(&mut self, scope: usize) {
        self.scopes[scope].to = self.steps.len();
        self.pending.push(Pending::Scope(scope));
    }

    fn resolve(&mut self, forward: Forward) {
        for pending in std::mem::take(&mut self.pending) {
            match pending {
                Pending::Entry => self.entry = forward,
                Pending::Step(step) => self.steps[step].next = forward,
                Pending::Scope(scope) => self.scopes[scope].after = forward,
                Pending::NoReturn(nth) => self.no_returns[nth].before = forward,
            }
        }
    }

    fn nodes(&mut self, nodes: &'p [Node], scope: usize) {
        for node in nodes {
            self.node(node, scope);
        }
    }

    fn node(&mut self, node: &'p Node, scope: usize) {
        match node {
            Node::Step(step) => self.step(step, scope),
            Node::Each { turn, over, head, body, place } => {
                let holds = self.turns_of(*over);
                let turns = holds.into_iter().map(|h| (Some(turn.as_str()), Some(h))).collect();
                self.turns(turns, head, body, scope, *place);
            }
            Node::Repeat { times, head, body, place } => {
                let most = u32::try_from(MOST_STEPS).unwrap_or(u32::MAX);
                let turns = (0..(*times).min(most)).map(|_| (None, None)).collect();
                self.turns(turns, head, body, scope, *place);
            }
            Node::OnlyIf { condition, body } => {
                let reading = self.procedure.readings.get(condition.reading.0 as usize);
                if let Some(late) = reading.filter(|r| !r.before) {
                    self.found.push(
                        Complaint::new(Code::LateChoice, condition.place)
                            .with("value", late.name.as_str())
                            .and(late.place, "asked here"),
                    );
                }
                if self.choices.holds(self.procedure, condition) {
                    self.nodes(body, scope);
                }
            }
            Node::Phase { name, head, body, .. } => {
                self.block(Kind::Phase(name), head, body, scope);
            }
            Node::Part { alias, head, body, .. } => {
                self.block(Kind::Part(alias.as_deref()), head, body, scope);
            }
            Node::NoWayBack { .. } => {
                self.pending.push(Pending::NoReturn(self.no_returns.len()));
                self.no_returns.push(FlatNoReturn { before: Forward::Off, node });
            }
            Node::Finish(ending, _) => self.resolve(Forward::End(*ending)),
        }
    }

    fn step(&mut self, step: &'p Step, scope: usize) {
        if self.steps.len() >= MOST_STEPS {
            self.too_many(step.place);
            return;
        }
        let ix = self.steps.len();
        self.resolve(Forward::Step(ix));
        self.steps.push(FlatStep { step, scope, next: Forward::Off });
        self.pending.push(Pending::Step(ix));
    }

    fn too_many(&mut self, place: Place) {
        if !self.full {
            self.full = true;
            self.found.push(
                Complaint::new(Code::CapTooLarge, place)
                    .with("most", format!("{MOST_STEPS} steps"))
                    .with("count", "more"),
            );
        }
    }

    fn block(&mut self, kind: Kind<'p>, head: &'p Stretch, body: &'p [Node], around: usize) {
        let scope = self.open(Some(around), kind, Some(head));
        self.nodes(body, scope);
        self.close(scope);
    }

    fn turns(
        &mut self,
        turns: Vec<(Option<&'p str>, Option<Holds>)>,
        head: &'p Stretch,
        body: &'p [Node],
        around: usize,
        place: Place,
    ) {
        let (block, of) = (self.blocks, u32::try_from(turns.len()).unwrap_or(u32::MAX));
        self.blocks += 1;
        for ((name, holds), nth) in turns.into_iter().zip(0..) {
            if self.full {
                return;
            }
            self.block(Kind::Turn { name, holds, nth, of, block }, head, body, around);
            if self.scopes.len() > MOST_STEPS.saturating_mul(8) {
                self.too_many(place);
            }
        }
    }

    fn turns_of(&self, over: Over) -> Vec<Holds> {
        match over {
            Over::Items(item) => (0..self.choices.count(self.procedure, item))
                .map(|nth| Holds::Thing(Thing { item, nth }))
                .collect(),
            Over::Places(round) => self
                .procedure
                .rounds
                .get(round.0 as usize)
                .map(|r| r.places.iter().map(|p| Holds::Place(*p)).collect())
                .unwrap_or_default(),
        }
    }

    /// The scopes around a step, innermost first.
    pub fn around(&self, scope: usize) -> impl Iterator<Item = usize> + '_ {
        std::iter::successors(Some(scope), |s| self.scopes[*s].parent)
    }

    /// The innermost turn around a scope: which, of how many.
    pub fn turn(&self, scope: usize) -> Option<(u32, u32)> {
        self.around(scope).find_map(|s| match self.scopes[s].kind {
            Kind::Turn { nth, of, .. } => Some((nth, of)),
            _ => None,
        })
    }

    /// The innermost turn about a new thing: its scope and the thing.
    pub fn new_thing(&self, scope: usize) -> Option<(usize, Thing)> {
        self.around(scope).find_map(|s| match self.scopes[s].kind {
            Kind::Turn { holds: Some(Holds::Thing(thing)), .. } if self.is_new(thing.item) => {
                Some((s, thing))
            }
            _ => None,
        })
    }

    fn is_new(&self, item: ItemId) -> bool {
        self.procedure.items.get(item.0 as usize).is_some_and(|i| i.role == Role::New)
    }

    fn held(&self, scope: usize, turn: &str) -> Option<Holds> {
        self.around(scope).find_map(|s| match self.scopes[s].kind {
            Kind::Turn { name: Some(name), holds, .. } if name == turn => holds,
            _ => None,
        })
    }

    /// The thing that a reference means here; a group's name outside its turns is its first thing.
    pub fn thing(&self, scope: usize, reference: &Ref<ItemId>) -> Option<Thing> {
        match reference {
            Ref::This(item) => Some(Thing { item: *item, nth: 0 }),
            Ref::Turn(name) => match self.held(scope, name)? {
                Holds::Thing(thing) => Some(thing),
                Holds::Place(_) => None,
            },
        }
    }

    /// The place that a reference means here.
    pub fn place(&self, scope: usize, reference: &Ref<PlaceId>) -> Option<PlaceId> {
        match reference {
            Ref::This(place) => Some(*place),
            Ref::Turn(name) => match self.held(scope, name)? {
                Holds::Place(place) => Some(place),
                Holds::Thing(_) => None,
            },
        }
    }

    /// What `path` means at step `at`: the nearest scope that knows the name decides; in it the
    /// latest occurrence not after `at` (with `later`: the first after it), else whatever there is.
    pub fn find(&self, at: usize, path: &[String], later: bool) -> Option<Named> {
        self.around(self.steps[at].scope).find_map(|scope| self.find_in(scope, at, path, later))
    }

    /// The same in the turn before, of the nearest block of turns around that knows the name there.
    pub fn find_previous(&self, at: usize, path: &[String]) -> Option<Named> {
        self.around(self.steps[at].scope).find_map(|scope| {
            let Kind::Turn { nth, block, .. } = self.scopes[scope].kind else { return None };
            let before = (0..scope).rev().find(|s| match self.scopes[*s].kind {
                Kind::Turn { nth: n, block: b, .. } => b == block && n + 1 == nth,
                _ => false,
            })?;
            self.find_in(before, at, path, false)
        })
    }

    fn find_in(&self, scope: usize, at: usize, path: &[String], later: bool) -> Option<Named> {
        let steps = self.steps_in(scope, path);
        let before = steps.iter().copied().rfind(|s| *s <= at && !(later && *s == at));
        let after = steps.iter().copied().find(|s| *s > at);
        let step = if later { after.or(before) } else { before.or(after) };
        step.map(Named::Step).or_else(|| self.scope_in(scope, at, path).map(Named::Scope))
    }

    /// Every step in `scope` that `path` can mean, in order.
    fn steps_in(&self, scope: usize, path: &[String]) -> Vec<usize> {
        let Some((name, aliases)) = path.split_last() else { return Vec::new() };
        let Scope { from, to, .. } = self.scopes[scope];
        (from..to)
            .filter(|s| self.steps[*s].step.name == *name)
            .filter(|s| self.aliases(self.steps[*s].scope, scope).is_some_and(|a| a == aliases))
            .collect()
    }

    /// The aliases of the parts between `inner` and `outer`, outermost first; `None` if `inner` does
    /// not lie in `outer`.
    fn aliases(&self, inner: usize, outer: usize) -> Option<Vec<&str>> {
        let mut names = Vec::new();
        for scope in self.around(inner) {
            if scope == outer {
                names.reverse();
                return Some(names);
            }
            if let Kind::Part(Some(alias)) = self.scopes[scope].kind {
                names.push(alias);
            }
        }
        None
    }

    /// The phase, part or turn in or around `scope` that `path` names; the latest begun by `at`.
    fn scope_in(&self, scope: usize, at: usize, path: &[String]) -> Option<usize> {
        let (name, aliases) = path.split_last()?;
        let named = |s: usize| match self.scopes[s].kind {
            Kind::Phase(n) | Kind::Part(Some(n)) | Kind::Turn { name: Some(n), .. } => n == name,
            _ => false,
        };
        if aliases.is_empty() && named(scope) {
            return Some(scope);
        }
        let inside = (0..self.scopes.len()).filter(|s| {
            let Scope { parent, from, to, .. } = self.scopes[*s];
            named(*s)
                && from < to
                && parent.and_then(|p| self.aliases(p, scope)).is_some_and(|a| a == aliases)
        });
        let inside: Vec<usize> = inside.collect();
        inside
            .iter()
            .copied()
            .rfind(|s| self.scopes[*s].from <= at)
            .or_else(|| inside.first().copied())
    }
}
