//! The flow: steps, blocks and what stands between them.
//!
//! Takes the entries of a block; gives the model's nodes, with parts inlined by `parts`.

use super::blocks::{Block, Entry};
use super::names::Thing;
use super::{Check, Env, TurnEnv};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{Alert, Node, Over, Ref, Role, TextId};
use crate::source::Place;
use crate::syntax::tree::{Line, Name, Sentence};

/// The most turns that a `repeat` may have.
const MOST_TURNS: u32 = 64;
/// The most steps that a script may have, its parts inlined.
pub(super) const MOST_STEPS: usize = 1000;

/// What is carried from one entry to the next.
#[derive(Default)]
struct Carried {
    /// Cautions that wait for their step.
    alerts: Vec<Alert>,
    /// What to do if the run breaks off from here on in this block.
    break_off: Option<TextId>,
}

impl<'a> Check<'a> {
    /// The nodes of a block's entries. A caution in the head of a phase, part or other block stands
    /// before its first step; one in the file's head was taken by `head`.
    pub(super) fn flow(&mut self, block: &'a Block<'a>, env: &mut Env) -> Vec<Node> {
        let mut carried = Carried::default();
        if block.line.is_some() {
            for line in &block.head {
                carried.alerts.extend(self.alert(line));
            }
        }
        let mut nodes = Vec::new();
        let mut above = None;
        for entry in &block.entries {
            let first = nodes.len();
            match entry {
                Entry::Step(lines) => {
                    let alerts = std::mem::take(&mut carried.alerts);
                    above = Some(lines.line.place);
                    let step = self.step(lines, alerts, env);
                    nodes.extend(step.map(|step| Node::Step(Box::new(step))));
                }
                Entry::Block(block) => nodes.extend(self.block(block, env)),
                Entry::Line(line) => nodes.extend(self.between(line, &mut carried, env)),
            }
            for node in &mut nodes[first..] {
                hand_on(node, &mut carried);
            }
        }
        // A caution with no step below it in its block.
        for alert in carried.alerts {
            let line = above.map_or(1, |above| self.library.sources.line_col(above).line);
            let mut complaint =
                Complaint::new(Code::CautionLate, alert.place).with("line", i64::from(line));
            if let Some(above) = above {
                complaint = complaint.and(above, "the last step above it");
            }
            self.complain(complaint);
        }
        nodes
    }

    fn between(&mut self, line: &'a Line, carried: &mut Carried, env: &mut Env) -> Option<Node> {
        match &line.sentence {
            Sentence::Alert(..) => {
                carried.alerts.extend(self.alert(line));
                None
            }
            Sentence::Basis(accord) => {
                env.basis = super::head::basis_of(accord);
                None
            }
            Sentence::BreakOff(text) => {
                carried.break_off = Some(self.text(text));
                None
            }
            Sentence::NoWayBack(text, safe) => {
                carried.break_off = None;
                let text = self.text(text);
                Some(Node::NoWayBack { text, safe: *safe, place: line.place })
            }
            Sentence::Finish(name) => Some(Node::Finish(self.ending(name), line.place)),
            Sentence::Do(name, given, alias) => {
                self.do_part(name, given, alias.as_ref(), line.place, env)
            }
            _ => None,
        }
    }

    fn block(&mut self, block: &'a Block<'a>, env: &Env) -> Option<Node> {
        let line = block.line?;
        let mut env = env.clone();
        env.block = env.block.or(block.line.map(|line| line.place));
        match &line.sentence {
            Sentence::Each(turn, over) => self.each(turn, over, block, line.place, env),
            Sentence::Repeat(times) => {
                let count = self.counted(times.value, times.place, MOST_TURNS, "turns");
                env.turns.push(TurnEnv { name: None, over: None, new: false });
                let head = self.block_head(block, &mut env);
                let body = self.flow(block, &mut env);
                Some(Node::Repeat { times: count, head, body, place: line.place })
            }
            Sentence::OnlyIf(written) => {
                let condition = self.condition(written, &env);
                let head = self.block_head(block, &mut env);
                let mut body = self.flow(block, &mut env);
                // `only if` has no head of its own in the model; what holds inside is wrapped.
                if head != crate::procedure::model::Stretch::default() {
                    body = vec![Node::Part { alias: None, head, body, place: line.place }];
                }
                Some(Node::OnlyIf { condition: condition?, body })
            }
            Sentence::Phase(name) => {
                let head = self.block_head(block, &mut env);
                let body = self.flow(block, &mut env);
                let (name, place) = (name.value.clone(), name.place);
                Some(Node::Phase { name, head, body, place })
            }
            // Parts, tables, persons and tests are built elsewhere.
            _ => None,
        }
    }

    fn each(
        &mut self,
        turn: &Name,
        over: &Name,
        block: &'a Block<'a>,
        place: Place,
        mut env: Env,
    ) -> Option<Node> {
        if env.turns.iter().any(|around| around.name.as_ref() == Some(&turn.value)) {
            self.taken(turn, None);
        }
        let found = self.over(over, &env);
        let new = match found {
            Some(Over::Items(item)) => {
                self.model.items.get(item.0 as usize).is_some_and(|item| item.role == Role::New)
            }
            Some(Over::Places(_)) => false,
            // Not known: nothing more is said about what depends on it.
            None => true,
        };
        env.turns.push(TurnEnv { name: Some(turn.value.clone()), over: found, new });
        let head = self.block_head(block, &mut env);
        let body = self.flow(block, &mut env);
        Some(Node::Each { turn: turn.value.clone(), over: found?, head, body, place })
    }

    fn over(&mut self, name: &Name, env: &Env) -> Option<Over> {
        if let Some((Thing::Round(round), _)) = self.names.things.get(&name.value) {
            return Some(Over::Places(*round));
        }
        let known = self.local(name, env).is_some()
            || matches!(self.names.things.get(&name.value), Some((Thing::Item(_), _)));
        if !known {
            self.unknown(name, "group", "a group or a round");
            return None;
        }
        let Ref::This(item) = self.item(name, env)? else { return None };
        let declared = self.model.items.get(item.0 as usize)?;
        if declared.group {
            return Some(Over::Items(item));
        }
        let place = declared.place;
        let complaint = Complaint::new(Code::WrongKindOfName, name.place)
            .with("name", name.value.as_str())
            .with("is", "a single item")
            .with("wanted", "a group")
            .and(place, "it is declared here");
        self.complain(complaint);
        None
    }
}

/// Gives waiting cautions to the first step of a node, and the text for a break-off to those steps
/// that have none of their own.
fn hand_on(node: &mut Node, carried: &mut Carried) {
    if !carried.alerts.is_empty()
        && let Some(step) = first_step(std::slice::from_mut(node))
    {
        let mut alerts = std::mem::take(&mut carried.alerts);
        alerts.append(&mut step.alerts);
        step.alerts = alerts;
    }
    let Some(text) = carried.break_off else { return };
    match node {
        Node::Step(step) => {
            step.own.break_off.get_or_insert(text);
        }
        Node::Each { head, .. }
        | Node::Repeat { head, .. }
        | Node::Phase { head, .. }
        | Node::Part { head, .. } => {
            head.break_off.get_or_insert(text);
        }
        Node::OnlyIf { body, .. } => {
            for inner in body {
                hand_on(inner, carried);
            }
        }
        Node::NoWayBack { .. } | Node::Finish(..) => {}
    }
}

fn first_step(nodes: &mut [Node]) -> Option<&mut crate::procedure::model::Step> {
    nodes.iter_mut().find_map(|node| match node {
        Node::Step(step) => Some(&mut **step),
        Node::Each { body, .. }
        | Node::Repeat { body, .. }
        | Node::OnlyIf { body, .. }
        | Node::Phase { body, .. }
        | Node::Part { body, .. } => first_step(body),
        Node::NoWayBack { .. } | Node::Finish(..) => None,
    })
}
