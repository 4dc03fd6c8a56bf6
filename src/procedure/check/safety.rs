//! What a procedure about keys must hold: ownership, a working key, tests of every key, no secret.
//!
//! Takes the built model. Rules without a source beside them are common practice.

use super::Check;
use super::blocks::Block;
use super::signs::steps;
use super::values::singular;
use super::words::{holds, plain};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    ConditionTest, Item, ItemId, Procedure, ReadingId, ReadingKind, Role, SubjectKind, Unit,
};
use crate::source::Place;
use crate::syntax::tree::Sentence;

/// Kinds of item that open or start something.
const KEYS: &[&str] = &["key", "fob", "transponder", "blank", "card"];
/// Kinds that are keys to a vehicle and may be something else to a device.
const REMOTES: &[&str] = &["remote", "handset", "transmitter"];
/// Words of a secret that must not be typed as an answer.
const SECRETS: &[&str] = &[
    "pin",
    "password",
    "passcode",
    "start code",
    "security code",
    "radio code",
    "menu code",
    "access code",
];

impl Check<'_> {
    pub(super) fn safety(&mut self, main: &Block<'_>) {
        let model = std::mem::take(&mut self.model);
        self.status(&model, main);
        self.ownership(&model, main);
        self.working_key(&model, main);
        if !["tests", "test", "recount"].iter().any(|word| self.lost.contains(word)) {
            self.tested(&model, main);
            self.recounted(&model, main);
        }
        if !["start", "better", "only"].iter().any(|word| self.lost.contains(word)) {
            self.compared(&model, main);
        }
        self.typed_secrets(&model);
        self.model = model;
    }

    fn status(&mut self, model: &Procedure, main: &Block<'_>) {
        let title = model.title.and_then(|title| model.texts.get(title.0 as usize));
        if let (Some(title), None, false) = (title, &model.status, main.stray) {
            self.complain(Complaint::new(Code::StatusMissing, title.place));
        }
    }

    fn ownership(&mut self, model: &Procedure, main: &Block<'_>) {
        if model.affirm_ownership.is_some() || main.stray {
            return;
        }
        let added = new_key(model).map(|item| item.place);
        let Some(place) = added.or_else(|| removal(model)) else { return };
        let mut complaint = Complaint::new(Code::OwnershipMissing, place);
        let head = main.head.iter().rfind(|line| {
            matches!(
                line.sentence,
                Sentence::Procedure(_)
                    | Sentence::Subject(..)
                    | Sentence::Edition(_)
                    | Sentence::Status(_)
            )
        });
        if let Some(line) = head {
            let end = Place { start: line.place.end, ..line.place };
            complaint = complaint.fix("add the affirmation", end, "\naffirm ownership");
        }
        self.complain(complaint);
    }

    fn working_key(&mut self, model: &Procedure, main: &Block<'_>) {
        let Some(new) = new_key(model) else { return };
        let works =
            model.items.iter().any(|item| item.role == Role::Registered && key(model, item));
        if !works && !main.stray {
            self.complain(Complaint::new(Code::NoWorkingKey, new.place));
        }
        let mut keys = model.items.iter().filter(|i| i.role == Role::Registered && key(model, i));
        let (Some(only), None) = (keys.next(), keys.next()) else { return };
        let first = model.tests.iter().find_map(|test| Some((test.item?, test.place)));
        let Some((item, place)) = first else { return };
        let tried = model.items.get(item.0 as usize);
        let whole = !self.lost.contains("test") && !self.lost.contains("tests");
        if whole && !only.group && tried.is_some_and(|tried| tried.place == only.place) {
            let complaint = Complaint::new(Code::WorkingKeyFirst, place);
            self.complain(complaint.and(only.place, "the only working key"));
        }
    }

    fn tested(&mut self, model: &Procedure, main: &Block<'_>) {
        if new_key(model).is_none() {
            return;
        }
        for (at, item) in model.items.iter().enumerate() {
            let id = ItemId(super::count(at));
            let tried = model.tests.iter().any(|test| test.item == Some(id));
            if tried || item.role == Role::Tool || !key(model, item) || main.stray {
                continue;
            }
            let complaint = Complaint::new(Code::KeyNotTested, item.place);
            self.complain(complaint.with("name", item.name.as_str()));
        }
    }

    fn recounted(&mut self, model: &Procedure, main: &Block<'_>) {
        // One count that is asked again shows whether anything was lost.
        if new_key(model).is_none() || main.stray || !model.recounts.is_empty() {
            return;
        }
        for reading in &model.readings {
            let ReadingKind::Number { unit: Unit::Count(noun), .. } = &reading.answer else {
                continue;
            };
            let noun = singular(noun);
            let counts_keys = KEYS.contains(&noun) || REMOTES.contains(&noun);
            if counts_keys && reading.before {
                let complaint = Complaint::new(Code::CountNotChecked, reading.place);
                self.complain(complaint.with("name", reading.name.as_str()));
            }
        }
    }

    /// A trait of a key that is asked before the run and decides nothing.
    fn compared(&mut self, model: &Procedure, main: &Block<'_>) {
        let gates: Vec<_> = model.gates.iter().map(|gate| &gate.condition).collect();
        for (at, reading) in model.readings.iter().enumerate() {
            let id = ReadingId(super::count(at));
            let used = gates.iter().any(|condition| {
                condition.reading == id
                    || matches!(condition.test, ConditionTest::SameAs(other) if other == id)
            });
            let chooses = self.library.trees.iter().flat_map(|(_, tree)| &tree.lines).any(|line| {
                let Sentence::OnlyIf(condition) = &line.sentence else { return false };
                reading.name.split(' ').next() == Some(condition.value.name.value.as_str())
            });
            if reading.before && reading.of.is_some() && !used && !chooses && !main.stray {
                let complaint = Complaint::new(Code::NotCompared, reading.place);
                self.complain(complaint.with("name", reading.name.as_str()));
            }
        }
    }

    /// A question whose answer would be a secret. At hand or not is all that may be asked.
    fn typed_secrets(&mut self, model: &Procedure) {
        for reading in &model.readings {
            if matches!(reading.answer, ReadingKind::Choice(_)) {
                continue;
            }
            let words = plain(model.text(reading.text));
            if SECRETS.iter().any(|secret| holds(&words, secret)) {
                let complaint = Complaint::new(Code::SecretRecorded, reading.place)
                    .with("name", reading.name.as_str())
                    .with("how", "typed as an answer");
                self.complain(complaint);
            }
        }
    }
}

/// Whether an item opens or starts something.
fn key(model: &Procedure, item: &Item) -> bool {
    let device = matches!(model.subject, Some((SubjectKind::Device, _)));
    match item.kind.as_deref().map(singular) {
        Some(kind) => KEYS.contains(&kind) || (!device && REMOTES.contains(&kind)),
        None => !device && item.role != Role::Tool,
    }
}

fn new_key(model: &Procedure) -> Option<&Item> {
    model.items.iter().find(|item| item.role == Role::New && key(model, item))
}

/// A step that takes a key away.
fn removal(model: &Procedure) -> Option<Place> {
    let removes = |words: &str| {
        let verb = ["erase", "delete", "clear", "forget", "unregister"];
        let thing = ["key", "keys", "remote", "remotes", "fob", "fobs"];
        verb.iter().any(|verb| holds(words, verb)) && thing.iter().any(|thing| holds(words, thing))
    };
    let found = steps(model).into_iter().find(|step| removes(&plain(model.text(step.text))));
    found.map(|step| step.place)
}
