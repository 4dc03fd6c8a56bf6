//! Parts put in place: `do` lines inlined with their stand-ins, and the ways of retries.
//!
//! Takes a part's name and what stands in; gives the part's nodes. A part that does itself is a
//! complaint, and so is one that would make the script endlessly long.

use super::flow::MOST_STEPS;
use super::names::{PartOf, Thing};
use super::{Arg, Check, Env, count};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{Node, Ref, Way, WayId};
use crate::source::Place;
use crate::syntax::tree::{Name, Sentence};

/// How often parts may be put in place.
const MOST_INLINED: usize = 1000;
/// How deep parts may do parts.
const DEEPEST: usize = 16;

impl<'a> Check<'a> {
    /// `do NAME of a and b as c`
    pub(super) fn do_part(
        &mut self,
        name: &Name,
        given: &[Name],
        alias: Option<&Name>,
        place: Place,
        env: &Env,
    ) -> Option<Node> {
        let (head, body) = self.inlined(name, given, env)?;
        Some(Node::Part { alias: alias.map(|alias| alias.value.clone()), head, body, place })
    }

    /// The part of a `by way of`.
    pub(super) fn way_of_part(&mut self, name: &Name, env: &Env) -> Option<WayId> {
        let (head, body) = self.inlined(name, &[], env)?;
        let id = WayId(count(self.model.ways.len()));
        let body = vec![Node::Part { alias: None, head, body, place: name.place }];
        self.model.ways.push(Way { name: name.value.clone(), body });
        Some(id)
    }

    fn inlined(
        &mut self,
        name: &Name,
        given: &[Name],
        env: &Env,
    ) -> Option<(crate::procedure::model::Stretch, Vec<Node>)> {
        let Some((part, _)) = self.names.parts.get(&name.value) else {
            self.unknown(name, "part", "a part");
            return None;
        };
        let part = *part;
        self.no_circle(name, env)?;
        let stand_ins = self.stand_ins(name, &part, given, env)?;
        let mut inner = Env {
            stand_ins,
            turns: env.turns.clone(),
            basis: env.basis.clone(),
            late: env.late,
            parts: env.parts.clone(),
            block: env.block.or(part.block.line.map(|line| line.place)),
        };
        inner.parts.push(name.value.clone());
        // The default of the part's own file is nearer than that of the file that does it.
        if !part.main {
            let accord = part.file.head.iter().find_map(|line| match &line.sentence {
                Sentence::Basis(accord) => Some(accord),
                _ => None,
            });
            inner.basis = accord.map_or(inner.basis, super::head::basis_of);
        }
        let head = self.block_head(part.block, &mut inner);
        let body = self.flow(part.block, &mut inner);
        Some((head, body))
    }

    fn no_circle(&mut self, name: &Name, env: &Env) -> Option<()> {
        if let Some(at) = env.parts.iter().position(|open| *open == name.value) {
            let mut chain = env.parts[at..].to_vec();
            chain.push(name.value.clone());
            let complaint = Complaint::new(Code::PartCircle, name.place)
                .with("name", name.value.as_str())
                .with("chain", chain.join(", "));
            self.complain(complaint);
            return None;
        }
        if env.parts.len() >= DEEPEST {
            let complaint = Complaint::new(Code::NestedTooDeep, name.place)
                .with("depth", i64::try_from(env.parts.len() + 1).unwrap_or(i64::MAX))
                .with("most", i64::try_from(DEEPEST).unwrap_or(i64::MAX));
            self.complain(complaint);
            return None;
        }
        if self.steps >= MOST_STEPS || self.inlined >= MOST_INLINED {
            if self.inlined < usize::MAX {
                let complaint = Complaint::new(Code::CapTooLarge, name.place)
                    .with("most", format!("{MOST_STEPS} steps and {MOST_INLINED} `do` lines"))
                    .with("count", "more");
                self.complain(complaint);
            }
            // Said once; the rest of the parts is left out in silence.
            self.inlined = usize::MAX;
            return None;
        }
        self.inlined += 1;
        Some(())
    }

    fn stand_ins(
        &mut self,
        name: &Name,
        part: &PartOf<'a>,
        given: &[Name],
        env: &Env,
    ) -> Option<Vec<(String, Arg)>> {
        let Some(Sentence::Part(declared, wanted)) = part.block.line.map(|line| &line.sentence)
        else {
            return None;
        };
        if wanted.len() != given.len() {
            let complaint = Complaint::new(Code::PartArguments, name.place)
                .with("name", name.value.as_str())
                .with("wanted", i64::try_from(wanted.len()).unwrap_or(i64::MAX))
                .with("given", i64::try_from(given.len()).unwrap_or(i64::MAX))
                .and(declared.place, "the part is declared here");
            self.complain(complaint);
            return None;
        }
        let pairs = wanted.iter().zip(given);
        Some(pairs.map(|(wanted, given)| (wanted.value.clone(), self.arg(given, env))).collect())
    }

    /// What a stand-in stands for.
    fn arg(&mut self, name: &Name, env: &Env) -> Arg {
        if let Some(local) = self.local(name, env) {
            return local;
        }
        match self.names.things.get(&name.value).map(|(thing, _)| *thing) {
            Some(Thing::Item(item)) => Arg::Item(Ref::This(item)),
            Some(Thing::Place(place)) => Arg::Place(Ref::This(place)),
            Some(Thing::Sign(sign)) => Arg::Sign(sign),
            _ => {
                self.unknown(name, "thing", "an item, a place or a sign");
                Arg::Unknown
            }
        }
    }
}
