//! Whether every step and moment that is named exists.
//!
//! Takes the built model; looks at each name of a step, block or moment from where it stands: the
//! innermost part first, then outwards. Whether the moment has happened on every path is `plan`'s.

use super::Check;
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    Condition, ConditionTest, Event, EventRef, Node, Outcome, Step, Stretch,
};
use crate::source::Place;
use crate::syntax::tree::Name;

/// A step or block, as it can be named.
struct Known {
    /// Aliases around it, then its own name.
    path: Vec<String>,
    what: What,
    place: Place,
    /// The conditions around it.
    only_if: Vec<Condition>,
    /// The `do` line that brought it here.
    by_part: Option<Place>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum What {
    Step(Moments),
    /// A phase or a part: begun and over.
    Block,
    /// A turn's name, which several blocks may share.
    Turn,
}

/// Why a step lacks a moment; `None` where it has it.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Moments {
    only_watch: bool,
    straight_on: bool,
    holds: bool,
    awaits: bool,
    reported: bool,
}

impl Moments {
    fn lacks(self, event: Event) -> Option<&'static str> {
        match event {
            Event::Called | Event::Heard if self.straight_on => {
                Some("it follows the step above without a call")
            }
            Event::Begun | Event::Done if self.only_watch => Some("it only watches"),
            Event::Released if !self.holds => Some("nothing is held in it"),
            Event::Answered if !self.awaits => Some("no sign is awaited in it"),
            Event::Reported if !self.reported => Some("nobody reports it"),
            _ => None,
        }
    }
}

/// Walks the model and gathers what can be named, and every name used with where it stands.
#[derive(Default)]
struct Gather<'m> {
    known: Vec<Known>,
    uses: Vec<(Vec<String>, Use<'m>)>,
    lets_go: Vec<&'m str>,
    scope: Vec<String>,
    only_if: Vec<Condition>,
    by_part: Option<Place>,
}

enum Use<'m> {
    /// A moment, with the step in which it stands (for a moment of its own).
    Moment(&'m EventRef, Option<&'m Step>),
    /// A step to go to.
    Target(&'m str, Place),
    /// A step whose held thing is let go.
    LetGo(&'m str, Place),
}

impl<'m> Gather<'m> {
    fn nodes(&mut self, nodes: &'m [Node]) {
        for (at, node) in nodes.iter().enumerate() {
            let followed = matches!(nodes.get(at + 1), Some(Node::Step(next)) if next.straight_on);
            self.node(node, followed);
        }
    }

    fn node(&mut self, node: &'m Node, followed: bool) {
        match node {
            Node::Step(step) => self.step(step, followed),
            Node::Each { turn, head, body, place, .. } => {
                self.enter(turn, What::Turn, *place);
                self.stretch(head, None);
                self.nodes(body);
            }
            Node::Repeat { head, body, .. } => {
                self.stretch(head, None);
                self.nodes(body);
            }
            Node::OnlyIf { condition, body } => {
                self.only_if.push(condition.clone());
                self.nodes(body);
                self.only_if.pop();
            }
            Node::Phase { name, head, body, place } => {
                self.enter(name, What::Block, *place);
                self.stretch(head, None);
                self.nodes(body);
            }
            Node::Part { alias, head, body, place } => {
                let outer = self.by_part;
                self.by_part = outer.or(Some(*place));
                if let Some(alias) = alias {
                    self.enter(alias, What::Block, *place);
                    self.scope.push(alias.clone());
                }
                self.stretch(head, None);
                self.nodes(body);
                if alias.is_some() {
                    self.scope.pop();
                }
                self.by_part = outer;
            }
            Node::NoWayBack { .. } | Node::Finish(..) => {}
        }
    }

    fn enter(&mut self, name: &str, what: What, place: Place) {
        let mut path = self.scope.clone();
        path.push(name.to_owned());
        let (only_if, by_part) = (self.only_if.clone(), self.by_part);
        self.known.push(Known { path, what, place, only_if, by_part });
    }

    fn step(&mut self, step: &'m Step, followed: bool) {
        let moments = Moments {
            only_watch: step.only_watch,
            straight_on: step.straight_on,
            holds: !step.hold.is_empty(),
            awaits: !step.met.is_empty(),
            reported: !step.no_report && !followed,
        };
        self.enter(&step.name, What::Step(moments), step.place);
        for window in &step.windows {
            self.moment(&window.anchor, Some(step));
        }
        for met in &step.met {
            self.moment(&met.anchor, Some(step));
            self.target(&met.so);
        }
        for silence in &step.silence {
            self.moment(&silence.anchor, Some(step));
            self.target(&silence.so);
        }
        if let Some((name, place)) = &step.lets_go {
            self.lets_go.push(name);
            self.uses.push((self.scope.clone(), Use::LetGo(name, *place)));
        }
        self.stretch(&step.own, Some(step));
    }

    fn stretch(&mut self, stretch: &'m Stretch, step: Option<&'m Step>) {
        for limit in &stretch.limits {
            self.moment(&limit.anchor, step);
        }
        for guard in &stretch.guards {
            self.target(&guard.lost);
        }
        let outcomes = [&stretch.late, &stretch.slip, &stretch.otherwise];
        for outcome in outcomes.into_iter().flatten() {
            self.target(outcome);
        }
    }

    fn moment(&mut self, event: &'m EventRef, step: Option<&'m Step>) {
        self.uses.push((self.scope.clone(), Use::Moment(event, step)));
    }

    fn target(&mut self, outcome: &'m Outcome) {
        match outcome {
            Outcome::GoTo(name, place) => {
                self.uses.push((self.scope.clone(), Use::Target(name, *place)));
            }
            Outcome::GoBack { to, otherwise, place, .. } => {
                self.uses.push((self.scope.clone(), Use::Target(to, *place)));
                self.target(otherwise);
            }
            Outcome::GoOn | Outcome::Finish(_) | Outcome::ThisOne(_) => {}
        }
    }
}

impl Check<'_> {
    /// Looks at every name of a step, block or moment.
    pub(super) fn references(&mut self) {
        let model = std::mem::take(&mut self.model);
        let mut gather = Gather::default();
        gather.stretch(&model.head, None);
        gather.nodes(&model.body);
        let of_body = gather.known.len();
        for way in &model.ways {
            gather.nodes(&way.body);
        }
        for known in &mut gather.known {
            if let What::Step(moments) = &mut known.what {
                moments.holds |= known.path.last().is_some_and(|n| gather.lets_go.contains(&&**n));
            }
        }
        self.step_names(&gather.known[..of_body]);
        for (scope, wanted) in &gather.uses {
            match wanted {
                Use::Moment(event, step) => self.moment(&gather.known, scope, event, *step),
                Use::Target(name, place) => self.target(&gather.known, scope, name, *place),
                Use::LetGo(name, place) => self.lets_go(&gather.known, scope, name, *place),
            }
        }
        self.model = model;
    }

    /// Two steps may share a name only where they exclude each other.
    fn step_names(&mut self, known: &[Known]) {
        for (at, one) in known.iter().enumerate() {
            if one.what == What::Turn || one.path.last().is_some_and(String::is_empty) {
                continue;
            }
            let twin = known[..at].iter().find(|other| {
                other.path == one.path
                    && other.what != What::Turn
                    && !exclude(&other.only_if, &one.only_if)
            });
            let Some(twin) = twin else { continue };
            // The same line twice means that a part is done twice: the second `do` is to blame.
            let again = twin.place == one.place;
            let place = if again { one.by_part.unwrap_or(one.place) } else { one.place };
            let first = if again { twin.by_part.unwrap_or(twin.place) } else { twin.place };
            let name = one.path.last().map_or("", String::as_str);
            let complaint = Complaint::new(Code::NameTwice, place).with("name", name);
            if !self.out.iter().any(|c| c.code == Code::NameTwice && c.place == place) {
                self.complain(complaint.and(first, "it stands here first"));
            }
        }
    }

    fn moment(&mut self, known: &[Known], scope: &[String], event: &EventRef, step: Option<&Step>) {
        if event.path.is_empty() {
            self.own_moment(known, scope, event, step);
            return;
        }
        let found = resolve(known, scope, &event.path);
        if found.is_empty() {
            self.no_step(&event.path.join(" "), event.place);
            return;
        }
        for known in found {
            let because = match known.what {
                What::Step(moments) => moments.lacks(event.event),
                What::Block | What::Turn => block_lacks(event.event),
            };
            if let Some(because) = because.filter(|_| !self.incomplete.contains(&known.place)) {
                self.no_event(&event.path.join(" "), event, because);
                return;
            }
        }
    }

    fn own_moment(
        &mut self,
        known: &[Known],
        scope: &[String],
        event: &EventRef,
        step: Option<&Step>,
    ) {
        let Some(step) = step else {
            if let Some(because) = block_lacks(event.event) {
                self.no_event("of a whole stretch", event, because);
            }
            return;
        };
        let mine = resolve(known, scope, std::slice::from_ref(&step.name));
        let mine = mine.iter().find(|known| known.place == step.place);
        let Some(Known { what: What::Step(moments), .. }) = mine else { return };
        // A step that awaits nothing has been told so already.
        if event.event == Event::Done && step.only_watch {
            return;
        }
        let because = moments.lacks(event.event);
        if let Some(because) = because.filter(|_| !self.incomplete.contains(&step.place)) {
            self.no_event(&step.name, event, because);
        }
    }

    fn no_event(&mut self, step: &str, event: &EventRef, because: &str) {
        let complaint = Complaint::new(Code::NoSuchEvent, event.place)
            .with("step", step)
            .with("event", event.event.word())
            .with("because", because);
        self.complain(complaint);
    }

    fn no_step(&mut self, name: &str, place: Place) {
        let name = Name { value: name.to_owned(), place };
        self.unknown(&name, "step", "a step");
    }

    fn target(&mut self, known: &[Known], scope: &[String], name: &str, place: Place) {
        let path = [name.to_owned()];
        let found = resolve(known, scope, &path);
        if found.iter().any(|known| matches!(known.what, What::Step(_))) {
            return;
        }
        if found.is_empty() {
            self.no_step(name, place);
        } else if self.unknown.insert(format!("a step {name}")) {
            let complaint = Complaint::new(Code::WrongKindOfName, place)
                .with("name", name)
                .with("is", "a whole block")
                .with("wanted", "a step");
            self.complain(complaint);
        }
    }

    fn lets_go(&mut self, known: &[Known], scope: &[String], name: &str, place: Place) {
        let path = [name.to_owned()];
        if resolve(known, scope, &path).is_empty() {
            self.no_step(name, place);
        }
    }
}

/// What a path means from a scope: the innermost scope that knows it.
fn resolve<'k>(known: &'k [Known], scope: &[String], path: &[String]) -> Vec<&'k Known> {
    for depth in (0..=scope.len()).rev() {
        let full: Vec<&String> = scope[..depth].iter().chain(path).collect();
        let here = known.iter().filter(|known| {
            known.path.len() == full.len() && known.path.iter().zip(&full).all(|(a, b)| a == *b)
        });
        let found: Vec<&Known> = here.collect();
        if !found.is_empty() {
            return found;
        }
    }
    Vec::new()
}

const fn block_lacks(event: Event) -> Option<&'static str> {
    match event {
        Event::Begun | Event::Over => None,
        _ => Some("a whole block has only `begun` and `over`"),
    }
}

/// Whether two lists of conditions can never hold together.
fn exclude(one: &[Condition], other: &[Condition]) -> bool {
    one.iter().any(|a| {
        other
            .iter()
            .any(|b| a.reading == b.reading && a.with == b.with && excludes(&a.test, &b.test))
    })
}

fn excludes(one: &ConditionTest, other: &ConditionTest) -> bool {
    if let (ConditionTest::Is(a), ConditionTest::Is(b)) = (one, other) {
        return a != b;
    }
    match (numbers(one), numbers(other)) {
        (Some((lo, hi)), Some((low, high))) => hi < low || high < lo,
        _ => false,
    }
}

fn numbers(test: &ConditionTest) -> Option<(i64, i64)> {
    match test {
        ConditionTest::AtLeast(lo) => Some((*lo, i64::MAX)),
        ConditionTest::AtMost(hi) => Some((i64::MIN, *hi)),
        ConditionTest::Between(lo, hi) => Some((*lo, *hi)),
        ConditionTest::SameAs(_) | ConditionTest::Is(_) => None,
    }
}
