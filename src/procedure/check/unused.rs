//! What is declared and named nowhere.
//!
//! Takes the trees: a name counts as used wherever a line says it, also in a step that could not be
//! built, so that one mistake makes one complaint. Tools need no use, and a used file may hold more
//! than is taken from it.

use std::collections::BTreeSet;

use super::Check;
use crate::complaint::{Code, Complaint};
use crate::procedure::model::Role;
use crate::source::{FileId, Place};
use crate::syntax::tree::{
    Condition, ConditionTest, GoBack, Name, Outcome, Sentence, SightOf, Value, ValueMore,
};

/// Names as lines say them.
#[derive(Default)]
struct Mentions<'t> {
    things: BTreeSet<&'t str>,
    parts: BTreeSet<&'t str>,
}

impl Check<'_> {
    pub(super) fn unused(&mut self) {
        let library = self.library;
        let mut said = Mentions::default();
        for line in library.trees.iter().flat_map(|(_, tree)| &tree.lines) {
            said.line(&line.sentence);
        }
        let mut found: Vec<(Code, String, Place)> = Vec::new();
        for item in &self.model.items {
            if item.role != Role::Tool && !said.things.contains(&*item.name) {
                found.push((Code::ItemUnused, item.name.clone(), item.place));
            }
        }
        for sign in &self.model.signs {
            let ours = sign.place.file == FileId(0) && !sign.name.is_empty();
            if ours && !said.things.contains(&*sign.name) {
                found.push((Code::SignUnused, sign.name.clone(), sign.place));
            }
        }
        for (name, (part, place)) in &self.names.parts {
            if part.main && !said.parts.contains(&**name) {
                found.push((Code::PartUnused, name.clone(), *place));
            }
        }
        for (code, name, place) in found {
            if !self.in_a_stray(&name) {
                self.complain(Complaint::new(code, place).with("name", name));
            }
        }
    }
}

impl<'t> Mentions<'t> {
    fn line(&mut self, sentence: &'t Sentence) {
        use Sentence as S;
        match sentence {
            S::With(items, _) => self.things(items),
            S::Take(item) | S::PutDown(item) | S::KeepAway(item, _) | S::Each(_, item) => {
                self.thing(item);
            }
            S::Do(part, given, _) => {
                self.parts.insert(&part.value);
                self.things(given);
            }
            S::Test { item, .. } => self.things(item),
            S::Recount { per, .. } => self.things(per),
            S::Ask { value, .. } => self.value(value),
            S::StartOnlyIf(condition, _) | S::BetterIf(condition, _) | S::OnlyIf(condition) => {
                self.condition(condition);
            }
            S::Sensed { sights, so, .. } => {
                for sight in sights {
                    if let SightOf::Sign(name) = &sight.what {
                        self.thing(name);
                    }
                }
                self.outcome(so);
            }
            S::Keep { lost: so, .. }
            | S::Never(_, so)
            | S::Nothing { so, .. }
            | S::AnythingElse(so)
            | S::Late(so)
            | S::Slip(so) => self.outcome(so),
            _ => {}
        }
    }

    fn thing(&mut self, name: &'t Name) {
        self.things.insert(&name.value);
    }

    fn things(&mut self, names: impl IntoIterator<Item = &'t Name>) {
        for name in names {
            self.thing(name);
        }
    }

    fn value(&mut self, value: &'t Value) {
        match &value.more {
            ValueMore::Of(name) | ValueMore::With(name) => self.thing(name),
            ValueMore::Alone => {}
        }
    }

    fn condition(&mut self, condition: &'t Condition) {
        self.value(&condition.value);
        if let ConditionTest::SameAs(value) = &condition.test {
            self.value(value);
        }
    }

    fn outcome(&mut self, so: &'t Outcome) {
        if let Outcome::GoBack(back) = so {
            let GoBack { way: Some(way), .. } = &**back else { return };
            self.parts.insert(&way.value);
        }
    }
}
