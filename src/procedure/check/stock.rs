//! What must be there: items, places, rounds, signs, secrets, readings and gates.
//!
//! Takes the heads of the script and its used files; fills the model's stock. Two walks: first the
//! things that have a name, then what speaks of them.

use super::blocks::Block;
use super::names::Thing;
use super::{Check, Env, count};
use crate::clock::{Millis, Span};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    Gate, Item, ItemId, PlaceDef, PlaceId, Reading, ReadingId, ReadingKind, Round, RoundId, Sign,
    SignId, SignPattern,
};
use crate::source::Place;
use crate::syntax::tree::{
    Answer, Condition, Name, Pattern, Sense, Sentence, Text, Value, ValueMore,
};

/// The largest group: each count up to it is unrolled and proven by itself.
const MOST_ITEMS: u32 = 16;
/// The largest count that a sign may have: more is not counted by ear or eye.
const MOST_SIGNALS: u32 = 20;

impl<'a> Check<'a> {
    /// Declares what one line of a file's head names. Of a used file only places and signs.
    pub(super) fn declare_line(&mut self, sentence: &'a Sentence, main: bool) {
        match sentence {
            Sentence::Place { name, text, .. } => {
                let id = PlaceId(count(self.model.places.len()));
                self.enter(name, Thing::Place(id));
                let text = self.text(text);
                let name_of = name.value.clone();
                self.model.places.push(PlaceDef {
                    name: name_of,
                    text,
                    far: None,
                    place: name.place,
                });
            }
            Sentence::Sign { .. } => self.declare_sign(sentence),
            _ if !main => {}
            Sentence::Have { .. } => self.declare_item(sentence),
            Sentence::Round(name, _) => {
                let id = RoundId(count(self.model.rounds.len()));
                self.enter(name, Thing::Round(id));
                self.model.rounds.push(Round { name: name.value.clone(), places: Vec::new() });
            }
            Sentence::Secret(name, text) => {
                if let Some(first) = self.names.secrets.get(&name.value) {
                    let first = *first;
                    self.taken(name, Some(first));
                } else {
                    self.names.secrets.insert(name.value.clone(), name.place);
                }
                let text = self.text(text);
                self.model.secrets.push((name.value.clone(), text));
            }
            Sentence::Ending { .. } => self.ending_line(sentence),
            Sentence::Allow(name, times, text) => self.purse(name, times, text),
            _ => {}
        }
    }

    fn declare_item(&mut self, sentence: &Sentence) {
        let Sentence::Have { group, name, role, kind, label, felt } = sentence else { return };
        let id = ItemId(count(self.model.items.len()));
        self.enter(name, Thing::Item(id));
        let mut span = (1, 1);
        if let Some((least, most)) = group {
            if least.value > most.value {
                let place = least.place.to(most.place);
                let complaint = Complaint::new(Code::RangeReversed, place)
                    .with("lo", i64::from(least.value))
                    .with("hi", i64::from(most.value));
                self.complain(complaint);
            }
            let lo = self.counted(least.value, least.place, u32::MAX, &name.value);
            let hi = self.counted(most.value, most.place, MOST_ITEMS, &name.value);
            span = (lo.min(hi), hi);
        }
        let (label, felt) = (self.text(label), felt.as_ref().map(|felt| self.text(felt)));
        self.model.items.push(Item {
            name: name.value.clone(),
            count: span,
            group: group.is_some(),
            role: *role,
            kind: kind.as_ref().map(|kind| kind.value.clone()),
            label,
            felt,
            place: name.place,
        });
    }

    fn declare_sign(&mut self, sentence: &Sentence) {
        let Sentence::Sign { name, sense, object, pattern, lasting, quiet } = sentence else {
            return;
        };
        let id = SignId(count(self.model.signs.len()));
        self.enter(name, Thing::Sign(id));
        let pattern = match pattern {
            None => SignPattern::Plain,
            Some(Pattern::Times(times)) => {
                SignPattern::Times(self.counted(times.value, times.place, MOST_SIGNALS, "signals"))
            }
            Some(Pattern::State(state)) => SignPattern::State(state.value.clone()),
        };
        let lasting = lasting.as_ref().and_then(|length| self.span(length)).unwrap_or(Span::ZERO);
        let object = self.text(object);
        self.model.signs.push(Sign {
            name: name.value.clone(),
            sense: sense.value,
            object,
            pattern,
            lasting,
            quiet: quiet.as_ref().map_or(Millis::ZERO, |quiet| quiet.value),
            place: name.place,
        });
    }

    /// An inline `read "…"`: the text is the sign, one for each text in the script.
    pub(super) fn text_sign(&mut self, text: &Text) -> SignId {
        let same = |known: &str| known.trim().to_lowercase() == text.value.trim().to_lowercase();
        let known = self
            .model
            .signs
            .iter()
            .position(|sign| sign.name.is_empty() && same(self.model.text(sign.object)));
        if let Some(known) = known {
            return SignId(count(known));
        }
        let object = self.text(text);
        let id = SignId(count(self.model.signs.len()));
        self.model.signs.push(Sign {
            name: String::new(),
            sense: Sense::Read,
            object,
            pattern: SignPattern::Plain,
            lasting: Span::ZERO,
            quiet: Millis::ZERO,
            place: text.place,
        });
        id
    }

    /// The second walk: ways between places, rounds, readings, gates, the checklist.
    pub(super) fn settle(&mut self, main: &Block<'_>) {
        let library = self.library;
        let env = Env::default();
        for (index, (_, tree)) in library.trees.iter().enumerate() {
            for line in &tree.lines {
                match &line.sentence {
                    Sentence::Place { name, .. } => self.way_to(name, &line.sentence),
                    Sentence::Round(name, places) if index == 0 => self.round(name, places),
                    _ => {}
                }
            }
        }
        if self.model.places.is_empty() {
            let text = Text { value: "here".to_owned(), place: Place::default() };
            let text = self.text(&text);
            let place = Place::default();
            self.model.places.push(PlaceDef { name: "here".to_owned(), text, far: None, place });
        }
        self.readings(main, &env);
        let Some((_, tree)) = library.trees.first() else { return };
        for line in &tree.lines {
            match &line.sentence {
                Sentence::StartWith(text) => {
                    let text = self.text(text);
                    self.model.checklist.push(text);
                }
                Sentence::StartOnlyIf(condition, text) => self.gate(condition, true, text, &env),
                Sentence::BetterIf(condition, text) => self.gate(condition, false, text, &env),
                _ => {}
            }
        }
    }

    fn way_to(&mut self, name: &Name, sentence: &Sentence) {
        let Sentence::Place { far: Some(far), .. } = sentence else { return };
        let from = self.names.things.get(&far.from.value).map(|(thing, _)| *thing);
        let Some(Thing::Place(from)) = from else {
            self.unknown(&far.from, "place", "a place");
            return;
        };
        let extra = far.extra.as_ref().and_then(|extra| self.span(extra)).unwrap_or(Span::ZERO);
        let known = self.model.places.iter_mut().find(|place| place.place == name.place);
        if let Some(place) = known {
            place.far = Some((from, far.paces.value, extra));
        }
    }

    fn round(&mut self, name: &Name, places: &[Name]) {
        let mut stops = Vec::new();
        for stop in places {
            match self.names.things.get(&stop.value) {
                Some((Thing::Place(place), _)) => stops.push(*place),
                _ => self.unknown(stop, "place", "a place"),
            }
        }
        if let Some((Thing::Round(round), place)) = self.names.things.get(&name.value)
            && *place == name.place
            && let Some(round) = self.model.rounds.get_mut(round.0 as usize)
        {
            round.places = stops;
        }
    }

    /// Every `ask`: those in the head are asked before the run, the others at their step.
    fn readings(&mut self, main: &Block<'_>, env: &Env) {
        let library = self.library;
        for (index, (_, tree)) in library.trees.iter().enumerate() {
            let begun = tree.lines.iter().position(|l| matches!(l.sentence, Sentence::Step(..)));
            for (at, line) in tree.lines.iter().enumerate() {
                let Sentence::Ask { value, answer, text } = &line.sentence else { continue };
                let before = main.head.iter().any(|head| head.place == line.place);
                // Of a used file only what its parts ask.
                if index == 0 || begun.is_some_and(|begun| at > begun) {
                    self.ask(value, answer, text, before, env);
                }
            }
        }
    }

    fn ask(&mut self, value: &Value, answer: &Answer, text: &Text, before: bool, env: &Env) {
        let name = &value.name;
        if self.names.secrets.contains_key(&name.value) {
            self.secret(name, "asked for");
            return;
        }
        let (of, full) = match &value.more {
            ValueMore::Of(item) => match self.item(item, env) {
                Some(crate::procedure::model::Ref::This(id)) => {
                    (Some(id), format!("{} of {}", name.value, item.value))
                }
                _ => return,
            },
            ValueMore::Alone | ValueMore::With(_) => (None, name.value.clone()),
        };
        if let Some((_, first)) = self.names.readings.get(&full) {
            let first = *first;
            self.taken(&Name { value: full, place: name.place }, Some(first));
            return;
        }
        let answer = match answer {
            Answer::Number(unit, range) => {
                let plausible = range.as_ref().and_then(|(lo, hi)| {
                    self.ordered_numbers(lo, hi).map(|()| (lo.value, hi.value))
                });
                // A unit that is not known leaves the reading usable; one complaint is enough.
                let unit = self.unit(unit).unwrap_or_else(|| unit.value.clone());
                ReadingKind::Number { unit, plausible }
            }
            Answer::Text => ReadingKind::Text,
            Answer::Choice(answers) => {
                ReadingKind::Choice(answers.iter().map(|answer| answer.value.clone()).collect())
            }
        };
        let id = ReadingId(count(self.model.readings.len()));
        self.names.readings.insert(full.clone(), (id, name.place));
        let text = self.text(text);
        let place = name.place;
        self.model.readings.push(Reading { name: full, of, answer, text, before, place });
    }

    fn gate(&mut self, written: &Condition, must: bool, text: &Text, env: &Env) {
        let Some(condition) = self.condition(written, env) else { return };
        let reading = self.model.readings.get(condition.reading.0 as usize);
        if reading.is_some_and(|reading| !reading.before) {
            let complaint = Complaint::new(Code::LateChoice, written.value.name.place)
                .with("value", written.value.name.value.as_str());
            self.complain(complaint);
        }
        let otherwise = self.text(text);
        self.model.gates.push(Gate { condition, must, otherwise });
    }
}
