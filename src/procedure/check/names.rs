//! The tables of declared things, and what is said when a name is not in them.
//!
//! Takes the blocks of the script and its used files; gives [`Names`]. Items, places, rounds, signs
//! and helpers share one room, since a stand-in may be any of them; readings and secrets, endings,
//! purses, parts and tables each have their own.

use std::collections::BTreeMap;

use super::blocks::{Block, Entry};
use super::{Arg, Check, Env};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    EndingId, HelperId, ItemId, Over, PlaceId, PurseId, ReadingId, Ref, RoundId, SignId,
};
use crate::source::Place;
use crate::syntax::tree::{Name, Sentence};

/// For so many unknown names of one script it is guessed what was meant.
const MOST_GUESSES: usize = 100;

/// A thing by name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Thing {
    Item(ItemId),
    Place(PlaceId),
    Round(RoundId),
    Sign(SignId),
    Helper(HelperId),
}

/// A part with its file's own default for where numbers come from.
#[derive(Clone, Copy)]
pub(super) struct PartOf<'a> {
    pub(super) block: &'a Block<'a>,
    /// The file that holds it.
    pub(super) file: &'a Block<'a>,
    /// Whether that is the script itself.
    pub(super) main: bool,
}

/// Everything that has been declared.
#[derive(Default)]
pub(super) struct Names<'a> {
    pub(super) things: BTreeMap<String, (Thing, Place)>,
    pub(super) readings: BTreeMap<String, (ReadingId, Place)>,
    pub(super) secrets: BTreeMap<String, Place>,
    pub(super) endings: BTreeMap<String, (EndingId, Option<Place>)>,
    pub(super) purses: BTreeMap<String, (PurseId, Place)>,
    pub(super) parts: BTreeMap<String, (PartOf<'a>, Place)>,
    pub(super) tables: BTreeMap<String, (&'a Block<'a>, Place)>,
    /// Every step's name as written, for what was probably meant.
    pub(super) steps: Vec<(String, Place)>,
    pub(super) phases: Vec<String>,
}

impl<'a> Check<'a> {
    /// Declares what a file's head and blocks name. Of a used file only parts, signs and places.
    pub(super) fn declare(&mut self, file: &'a Block<'a>, main: bool) {
        for line in &file.head {
            self.declare_line(&line.sentence, main);
        }
        for entry in &file.entries {
            let Entry::Block(block) = entry else { continue };
            match block.line.map(|line| &line.sentence) {
                Some(Sentence::Part(name, _)) => {
                    let part = PartOf { block, file, main };
                    self.gather(block);
                    if let Some((_, first)) = self.names.parts.get(&name.value) {
                        let first = *first;
                        self.taken(name, Some(first));
                    } else {
                        self.names.parts.insert(name.value.clone(), (part, name.place));
                    }
                }
                Some(Sentence::Table(name)) if main => {
                    if let Some((_, first)) = self.names.tables.get(&name.value) {
                        let first = *first;
                        self.taken(name, Some(first));
                    } else {
                        self.names.tables.insert(name.value.clone(), (block, name.place));
                    }
                }
                _ => {}
            }
        }
        if main {
            self.gather(file);
        }
    }

    /// Notes the names of steps and phases, and the purses that stand in heads of blocks.
    fn gather(&mut self, block: &'a Block<'a>) {
        if block.line.is_some() {
            for line in &block.head {
                if let Sentence::Allow(name, times, text) = &line.sentence {
                    self.purse(name, times, text);
                }
            }
        }
        for entry in &block.entries {
            match entry {
                Entry::Step(step) => {
                    if let Sentence::Step(name, _) = &step.line.sentence {
                        self.names.steps.push((name.value.clone(), name.place));
                    }
                }
                Entry::Block(inner) => {
                    let part =
                        matches!(inner.line.map(|line| &line.sentence), Some(Sentence::Part(..)));
                    if let Some(Sentence::Phase(name)) = inner.line.map(|line| &line.sentence) {
                        self.names.phases.push(name.value.clone());
                    }
                    if !part {
                        self.gather(inner);
                    }
                }
                Entry::Line(_) => {}
            }
        }
    }

    /// Enters a thing; a second one of the same name is refused.
    pub(super) fn enter(&mut self, name: &Name, thing: Thing) {
        match self.names.things.get(&name.value) {
            Some((_, first)) => {
                let first = *first;
                self.taken(name, Some(first));
            }
            None => {
                self.names.things.insert(name.value.clone(), (thing, name.place));
            }
        }
    }

    pub(super) fn taken(&mut self, name: &Name, first: Option<Place>) {
        let mut complaint =
            Complaint::new(Code::NameTwice, name.place).with("name", name.value.as_str());
        if let Some(first) = first {
            complaint = complaint.and(first, "it stands here first");
        }
        self.complain(complaint);
    }

    /// The item that a name means here.
    pub(super) fn item(&mut self, name: &Name, env: &Env) -> Option<Ref<ItemId>> {
        let found = match self.local(name, env) {
            Some(Arg::Item(item)) => Some(item),
            Some(Arg::Unknown) => return None,
            Some(_) => {
                self.wrong_kind(name, "no item here", "an item");
                return None;
            }
            None => match self.names.things.get(&name.value) {
                Some((Thing::Item(item), _)) => Some(Ref::This(*item)),
                _ => None,
            },
        };
        if found.is_none() {
            self.unknown(name, "item", "an item");
        }
        found
    }

    /// The place that a name means here.
    pub(super) fn place(&mut self, name: &Name, env: &Env) -> Option<Ref<PlaceId>> {
        match self.local(name, env) {
            Some(Arg::Place(place)) => return Some(place),
            Some(Arg::Unknown) => return None,
            Some(_) => {
                self.wrong_kind(name, "no place here", "a place");
                return None;
            }
            None => {}
        }
        if let Some((Thing::Place(place), _)) = self.names.things.get(&name.value) {
            return Some(Ref::This(*place));
        }
        self.unknown(name, "place", "a place");
        None
    }

    /// The sign that a name means here.
    pub(super) fn sign(&mut self, name: &Name, env: &Env) -> Option<SignId> {
        let found = match self.local(name, env) {
            Some(Arg::Sign(sign)) => Some(sign),
            Some(Arg::Unknown) => return None,
            Some(_) => {
                self.wrong_kind(name, "no sign here", "a sign");
                return None;
            }
            None => match self.names.things.get(&name.value) {
                Some((Thing::Sign(sign), _)) => Some(*sign),
                _ => None,
            },
        };
        if found.is_none() {
            self.unknown(name, "sign", "a sign");
        }
        found
    }

    /// A stand-in or a turn's thing of this name.
    pub(super) fn local(&self, name: &Name, env: &Env) -> Option<Arg> {
        let turn = env.turns.iter().rev().find(|turn| turn.name.as_ref() == Some(&name.value));
        let stand_in = env.stand_ins.iter().rev().find(|(stand, _)| *stand == name.value);
        if let Some((_, arg)) = stand_in {
            return Some(arg.clone());
        }
        turn.map(|turn| match turn.over {
            Some(Over::Items(_)) => Arg::Item(Ref::Turn(name.value.clone())),
            Some(Over::Places(_)) => Arg::Place(Ref::Turn(name.value.clone())),
            None => Arg::Unknown,
        })
    }

    pub(super) fn ending(&mut self, name: &Name) -> EndingId {
        if let Some((ending, _)) = self.names.endings.get(&name.value) {
            return *ending;
        }
        self.unknown(name, "ending", "an ending");
        super::head::UNSURE
    }

    fn wrong_kind(&mut self, name: &Name, is: &str, wanted: &str) {
        if self.unknown.insert(format!("{wanted} {}", name.value)) {
            let complaint = Complaint::new(Code::WrongKindOfName, name.place)
                .with("name", name.value.as_str())
                .with("is", is)
                .with("wanted", wanted);
            self.complain(complaint);
        }
    }

    /// Says once that a name is not known, or is known as something else.
    pub(super) fn unknown(&mut self, name: &Name, kind: &'static str, wanted: &'static str) {
        if self.in_a_stray(&name.value) || !self.unknown.insert(format!("{wanted} {}", name.value))
        {
            return;
        }
        if let Some((is, place)) = self.is_known_as(&name.value) {
            let mut complaint = Complaint::new(Code::WrongKindOfName, name.place)
                .with("name", name.value.as_str())
                .with("is", is)
                .with("wanted", wanted);
            if let Some(place) = place {
                complaint = complaint.and(place, "it is declared here");
            }
            self.complain(complaint);
            return;
        }
        let few = self.unknown.len() <= MOST_GUESSES;
        let near = few.then(|| nearest(&name.value, self.candidates(kind))).flatten();
        let complaint = Complaint::new(Code::UnknownName, name.place)
            .with("kind", kind)
            .with("name", name.value.as_str())
            .near(near);
        self.complain(complaint);
    }

    /// Whether a line that could not be read names it.
    pub(super) fn in_a_stray(&self, name: &str) -> bool {
        // A reading's name may be several words: `chip of green`.
        words_of(name).all(|word| self.strays.contains(word))
    }

    fn is_known_as(&self, name: &str) -> Option<(&'static str, Option<Place>)> {
        let names = &self.names;
        if let Some((thing, place)) = names.things.get(name) {
            let is = match thing {
                Thing::Item(_) => "an item",
                Thing::Place(_) => "a place",
                Thing::Round(_) => "a round of places",
                Thing::Sign(_) => "a sign",
                Thing::Helper(_) => "a helper",
            };
            return Some((is, Some(*place)));
        }
        if let Some((_, place)) = names.readings.get(name) {
            return Some(("a reading", Some(*place)));
        }
        if let Some(place) = names.secrets.get(name) {
            return Some(("a secret", Some(*place)));
        }
        if let Some((_, place)) = names.endings.get(name) {
            return Some(("an ending", *place));
        }
        if let Some((_, place)) = names.purses.get(name) {
            return Some(("a purse of tries", Some(*place)));
        }
        if let Some((_, place)) = names.parts.get(name) {
            return Some(("a part", Some(*place)));
        }
        if let Some((_, place)) = names.tables.get(name) {
            return Some(("a table", Some(*place)));
        }
        if let Some((_, place)) = names.steps.iter().find(|(step, _)| step == name) {
            return Some(("a step", Some(*place)));
        }
        names.phases.iter().any(|phase| phase == name).then_some(("a phase", None))
    }

    fn candidates(&self, kind: &str) -> Vec<&str> {
        let names = &self.names;
        let things = |wanted: fn(&Thing) -> bool| {
            names.things.iter().filter(move |(_, (thing, _))| wanted(thing)).map(|(n, _)| &**n)
        };
        match kind {
            "item" => things(|t| matches!(t, Thing::Item(_))).collect(),
            "group" => things(|t| matches!(t, Thing::Item(_) | Thing::Round(_))).collect(),
            "place" => things(|t| matches!(t, Thing::Place(_))).collect(),
            "sign" => things(|t| matches!(t, Thing::Sign(_))).collect(),
            "helper" => things(|t| matches!(t, Thing::Helper(_))).collect(),
            "thing" => names.things.keys().map(String::as_str).collect(),
            "reading" => names.readings.keys().map(String::as_str).collect(),
            "ending" => names.endings.keys().map(String::as_str).collect(),
            "purse" => names.purses.keys().map(String::as_str).collect(),
            "part" => names.parts.keys().map(String::as_str).collect(),
            "table" => names.tables.keys().map(String::as_str).collect(),
            "step" => names.steps.iter().map(|(n, _)| &**n).collect(),
            _ => Vec::new(),
        }
    }

    /// Names of one kind that are easily taken for each other.
    pub(super) fn alike(&mut self) {
        let mut kinds: Vec<Vec<(String, Place)>> = vec![self.names.steps.clone()];
        let same = |a: &Thing, b: &Thing| std::mem::discriminant(a) == std::mem::discriminant(b);
        let things: Vec<_> =
            self.names.things.iter().map(|(n, (thing, p))| (*thing, (n.clone(), *p))).collect();
        let mut done: Vec<Thing> = Vec::new();
        for (thing, _) in &things {
            if !done.iter().any(|d| same(d, thing)) {
                done.push(*thing);
                let of_kind = things.iter().filter(|(t, _)| same(t, thing));
                kinds.push(of_kind.map(|(_, entry)| entry.clone()).collect());
            }
        }
        let declared =
            |(n, (_, p)): (&String, &(EndingId, Option<Place>))| p.map(|p| (n.clone(), p));
        kinds.push(self.names.endings.iter().filter_map(declared).collect());
        for mut kind in kinds {
            kind.sort_by_key(|(_, place)| *place);
            for (i, (name, place)) in kind.iter().enumerate() {
                let twin = kind[..i].iter().find(|(other, _)| look_alike(name, other));
                if let Some((other, first)) = twin {
                    let complaint = Complaint::new(Code::NamesAlike, *place)
                        .with("name", name.as_str())
                        .with("other", other.as_str())
                        .and(*first, "the other stands here");
                    self.out.push(complaint);
                }
            }
        }
    }
}

/// The words of a line, as names would stand in it.
pub(super) fn words_of(line: &str) -> impl Iterator<Item = &str> {
    let apart = |c: char| !c.is_ascii_alphanumeric() && c != '-';
    line.split(apart).filter(|word| !word.is_empty())
}

/// Words with which a line may have been meant to begin, where its loss would make others missing.
const LOSABLE: &[&str] = &[
    "according",
    "assumed",
    "late",
    "nothing",
    "phase",
    "part",
    "recount",
    "test",
    "tests",
    "step",
    "for",
    "repeat",
    "table",
];

/// The first word that a line that could not be read was probably meant to have.
pub(super) fn lost_word(sentence: &Sentence) -> Option<&'static str> {
    let Sentence::Stray(text) = sentence else { return None };
    let first = text.split([' ', '\t']).next().unwrap_or("");
    if first.len() > 20 {
        return None;
    }
    let near = nearest(first, LOSABLE.iter().copied())?;
    LOSABLE.iter().find(|word| **word == near).copied()
}

/// The known name that was probably meant.
pub(super) fn nearest<'n>(name: &str, known: impl IntoIterator<Item = &'n str>) -> Option<String> {
    let limit = (name.chars().count() / 3).clamp(1, 3);
    known
        .into_iter()
        .map(|other| (strsim::osa_distance(name, other), other))
        .filter(|(distance, _)| *distance <= limit)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, other)| other.to_owned())
}

/// Whether two different names look alike: the same but for hyphens, or with one slip of the pen in
/// one longer word. Numbered and lettered names (`wheel-1`, `wheel-2`) are meant to differ by one.
fn look_alike(one: &str, other: &str) -> bool {
    if one == other {
        return false;
    }
    if one.bytes().filter(|b| *b != b'-').eq(other.bytes().filter(|b| *b != b'-')) {
        return true;
    }
    // Every name is laid beside every other: what cannot be alike has to be seen without a copy. One
    // slip makes a name longer by one character, of four bytes at most.
    let hyphens = |name: &str| name.bytes().filter(|b| *b == b'-').count();
    if one.len().abs_diff(other.len()) > 4 || hyphens(one) != hyphens(other) {
        return false;
    }
    let mut differing = one.split('-').zip(other.split('-')).filter(|(x, y)| x != y);
    let (Some((x, y)), None) = (differing.next(), differing.next()) else { return false };
    let digits = |word: &str| word.chars().any(|c| c.is_ascii_digit());
    x.len().min(y.len()) >= 4 && !digits(x) && !digits(y) && strsim::osa_distance(x, y) == 1
}

#[cfg(test)]
mod tests {
    use super::{look_alike, nearest};

    #[test]
    fn names_look_alike_by_one_slip_in_one_longer_word() {
        assert!(look_alike("show-green", "show-greem"));
        assert!(look_alike("key-on", "keyon"));
        assert!(!look_alike("key-on", "key-in"));
        assert!(!look_alike("wheel-1", "wheel-2"));
        assert!(!look_alike("left-front", "left-rear"));
        assert!(!look_alike("wake", "wake"));
    }

    #[test]
    fn the_nearest_name_is_near() {
        assert_eq!(nearest("gren", ["green", "red"]).as_deref(), Some("green"));
        assert_eq!(nearest("lamp", ["green", "red"]), None);
    }
}
