//! The numbers of the steps on the sheet.
//!
//! Takes the blocks of a procedure; gives each written step its number, counted in the order in which
//! they stand, and finds the number of a step by its name.

use crate::procedure::model::{Node, Procedure};

/// Every step's number.
pub(super) struct Numbers(Vec<Entry>);

struct Entry {
    name: String,
    alias: Option<String>,
}

impl Numbers {
    /// Counts the steps; those that are only done on the way back stand behind the others.
    pub fn of(procedure: &Procedure) -> Numbers {
        let mut numbers = Numbers(Vec::new());
        numbers.walk(&procedure.body, None);
        for way in &procedure.ways {
            numbers.walk(&way.body, None);
        }
        numbers
    }

    fn walk(&mut self, body: &[Node], alias: Option<&str>) {
        for node in body {
            match node {
                Node::Step(step) => {
                    self.0.push(Entry { name: step.name.clone(), alias: alias.map(str::to_owned) });
                }
                Node::Each { body, .. }
                | Node::Repeat { body, .. }
                | Node::OnlyIf { body, .. }
                | Node::Phase { body, .. } => self.walk(body, alias),
                Node::Part { alias: own, body, .. } => self.walk(body, own.as_deref().or(alias)),
                Node::NoWayBack { .. } | Node::Finish(..) => {}
            }
        }
    }

    /// The number of the step that a moment's path names, as seen from the step `here`: the last one
    /// not behind it, else the first behind it.
    pub fn before(&self, path: &[String], here: u32) -> Option<u32> {
        match path {
            [name] => self.nearest(name, here),
            [alias, name] => self
                .find(here, |entry| entry.name == *name && entry.alias.as_deref() == Some(alias)),
            _ => None,
        }
    }

    /// The number of the step with this name that is nearest.
    pub fn nearest(&self, name: &str, here: u32) -> Option<u32> {
        self.find(here, |entry| entry.name == name)
    }

    fn find(&self, here: u32, is: impl Fn(&Entry) -> bool) -> Option<u32> {
        let numbered = || (1_u32..).zip(&self.0).filter(|(_, entry)| is(entry)).map(|(n, _)| n);
        numbered().filter(|n| *n <= here).last().or_else(|| numbered().next())
    }
}
