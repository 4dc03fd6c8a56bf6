//! What every name of a script means: takes a [`Library`], gives each name with the things that it
//! stands for and where they are declared and used.
//!
//! It looks at sentences alone, so that it works while a script is being written. What a name means is
//! as the checker has it: a part's stand-ins first, then the turns around, then what is declared; steps
//! of the same part first, then those around, parts done without a name counting as written in place.

use std::collections::{BTreeMap, BTreeSet};

use super::mentions::{Kind, Mention, Says, Wants, mentions};
use crate::procedure::library::Library;
use crate::source::{FileId, Place};
use crate::syntax::blocks;
use crate::syntax::tree::{Sentence, Tree};

/// A thing that has a name, in [`Names::symbols`].
pub type SymbolIx = usize;

/// Something with a name.
#[derive(Clone, Debug)]
pub struct Symbol {
    /// Its name.
    pub name: String,
    /// What it is.
    pub kind: Kind,
    /// Where it is declared.
    pub declared: Vec<Place>,
    /// Where it is used.
    pub used: Vec<Place>,
    /// The line of its first declaration.
    pub line: (FileId, usize),
    /// The room in which no other may have its name.
    pub room: Room,
}

/// Names in different rooms do not meet.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Room {
    /// Items, places, rounds, signs, helpers.
    Things,
    /// Things inside a part, or inside a turn: the line that opens it.
    Inside(FileId, usize),
    /// Readings, by what they are read of.
    Readings(Vec<String>),
    /// Answers of a reading.
    Answers(Vec<String>),
    /// Secrets.
    Secrets,
    /// Guards.
    Guards,
    /// The person guided.
    Operators,
    /// Endings.
    Endings,
    /// Purses of tries.
    Purses,
    /// Parts.
    Parts,
    /// Tables.
    Tables,
    /// Steps, phases and aliases of one part, or of the script itself.
    Flow(Scope),
}

/// A part, or the script itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Scope {
    /// The script's own lines.
    Top,
    /// The part that this line opens.
    Part(FileId, usize),
}

/// A name in a text, and what it stands for there; nothing where it is not known.
#[derive(Clone, Debug)]
pub struct Spot {
    /// Where.
    pub place: Place,
    /// What it may mean.
    pub says: Says,
    /// What it stands for.
    pub symbols: Vec<SymbolIx>,
}

/// Every name of a script and of the files that it uses.
#[derive(Clone, Debug, Default)]
pub struct Names {
    /// What has a name.
    pub symbols: Vec<Symbol>,
    /// Every name in the texts, by file and place.
    pub spots: Vec<Spot>,
}

impl Names {
    /// Reads the names of a library.
    #[must_use]
    pub fn of(library: &Library) -> Names {
        let mut reader = Reader::default();
        for (file, tree) in &library.trees {
            reader.declare(*file, tree);
        }
        for (file, tree) in &library.trees {
            reader.uses(*file, tree);
        }
        let mut names = Names { symbols: reader.symbols, spots: reader.spots };
        names.spots.sort_by_key(|spot| spot.place);
        names
    }

    /// The name at a byte, its end included.
    #[must_use]
    pub fn at(&self, file: FileId, byte: usize) -> Option<&Spot> {
        self.spots.iter().find(|spot| {
            let (start, end) = (spot.place.start as usize, spot.place.end as usize);
            spot.place.file == file && start <= byte && byte <= end
        })
    }

    /// Everything that must be renamed together with these: two things that one name stands for.
    #[must_use]
    pub fn together(&self, of: &[SymbolIx]) -> BTreeSet<SymbolIx> {
        let mut all: BTreeSet<SymbolIx> = of.iter().copied().collect();
        loop {
            let before = all.len();
            for spot in &self.spots {
                if spot.symbols.iter().any(|symbol| all.contains(symbol)) {
                    all.extend(spot.symbols.iter().copied());
                }
            }
            if all.len() == before {
                return all;
            }
        }
    }
}

/// What stands around a line.
#[derive(Clone, Debug)]
pub struct Around {
    /// The part around, if any.
    pub scope: Scope,
    /// Lines of `for each`, outermost first.
    pub turns: Vec<usize>,
    /// The line of the innermost block.
    pub block: Option<usize>,
}

/// A part that is done.
#[derive(Clone, Debug)]
struct Done {
    part: String,
    alias: Option<String>,
}

/// From where a part is done, and the turns around the line that does it.
type Caller = (Scope, Vec<(FileId, usize)>);

/// Parts do parts no deeper than this (as the checker has it).
const DEEPEST: usize = 16;

#[derive(Default)]
struct Reader {
    symbols: Vec<Symbol>,
    spots: Vec<Spot>,
    known: BTreeMap<(Room, String), SymbolIx>,
    around: BTreeMap<FileId, Vec<Around>>,
    /// Parts done, by the scope that does them and by the part that is done.
    done: BTreeMap<Scope, Vec<Done>>,
    callers: BTreeMap<String, Vec<Caller>>,
    /// Parts by name, with the scopes that they are, and back.
    parts: BTreeMap<String, Vec<Scope>>,
    named: BTreeMap<Scope, String>,
    /// Turns as moments: `spare over`.
    turns: Vec<(Scope, SymbolIx)>,
}

/// What stands around each line of a tree.
pub fn around(file: FileId, tree: &Tree) -> Vec<Around> {
    let opener = blocks::pair(tree).opener;
    let mut open: Vec<usize> = Vec::new();
    let mut all = Vec::with_capacity(tree.lines.len());
    for (at, line) in tree.lines.iter().enumerate() {
        if let Sentence::End(_) = line.sentence
            && let Some(depth) = open.iter().rposition(|line| Some(*line) == opener[at])
        {
            open.truncate(depth);
        }
        let is = |wanted: fn(&Sentence) -> bool| {
            open.iter().copied().filter(move |line| wanted(&tree.lines[*line].sentence))
        };
        let part = is(|s| matches!(s, Sentence::Part(..))).next_back();
        let turns = is(|s| matches!(s, Sentence::Each(..))).collect();
        let scope = part.map_or(Scope::Top, |line| Scope::Part(file, line));
        all.push(Around { scope, turns, block: open.last().copied() });
        if blocks::opens(&line.sentence).is_some() {
            open.push(at);
        }
    }
    all
}

impl Reader {
    fn declare(&mut self, file: FileId, tree: &Tree) {
        let all = around(file, tree);
        for (at, line) in tree.lines.iter().enumerate() {
            let around = &all[at];
            if let Sentence::Part(name, _) = &line.sentence {
                self.parts.entry(name.value.clone()).or_default().push(Scope::Part(file, at));
                self.named.insert(Scope::Part(file, at), name.value.clone());
            }
            self.note_done(file, &line.sentence, around);
            for mention in mentions(&line.sentence) {
                let Says::Is(kind) = mention.says else { continue };
                let room = room(kind, &mention, file, at, around.scope);
                self.add(room, kind, mention.name.place, &mention.name.value, (file, at), around);
            }
        }
        self.around.insert(file, all);
    }

    fn note_done(&mut self, file: FileId, sentence: &Sentence, around: &Around) {
        let turns: Vec<_> = around.turns.iter().map(|line| (file, *line)).collect();
        let mut note = |part: &str, alias: Option<String>| {
            let caller = (around.scope, turns.clone());
            self.callers.entry(part.to_owned()).or_default().push(caller);
            let done = Done { part: part.to_owned(), alias };
            self.done.entry(around.scope).or_default().push(done);
        };
        if let Sentence::Do(part, _, alias) = sentence {
            note(&part.value, alias.as_ref().map(|alias| alias.value.clone()));
            return;
        }
        let ways = mentions(sentence).into_iter();
        for way in ways.filter(|mention| mention.says == Says::Means(Wants::Part)) {
            note(&way.name.value, None);
        }
    }

    fn add(
        &mut self,
        room: Room,
        kind: Kind,
        place: Place,
        name: &str,
        line: (FileId, usize),
        around: &Around,
    ) {
        let next = self.symbols.len();
        let known = self.known.entry((room.clone(), name.to_owned()));
        let symbol = *known.or_insert(next);
        if symbol == next {
            let name = name.to_owned();
            let (declared, used) = (Vec::new(), Vec::new());
            self.symbols.push(Symbol { name, kind, declared, used, line, room });
            if kind == Kind::Turn {
                self.turns.push((around.scope, symbol));
            }
        }
        self.symbols[symbol].declared.push(place);
        self.spots.push(Spot { place, says: Says::Is(kind), symbols: vec![symbol] });
    }

    fn uses(&mut self, file: FileId, tree: &Tree) {
        for (at, line) in tree.lines.iter().enumerate() {
            let Some(around) = self.around.get(&file).and_then(|all| all.get(at)).cloned() else {
                continue;
            };
            for mention in mentions(&line.sentence) {
                let Says::Means(wants) = mention.says else { continue };
                let symbols = self.meant(&mention, wants, file, &around);
                let place = mention.name.place;
                for symbol in &symbols {
                    self.symbols[*symbol].used.push(place);
                }
                self.spots.push(Spot { place, says: mention.says, symbols });
            }
        }
    }

    fn meant(
        &self,
        mention: &Mention<'_>,
        wants: Wants,
        file: FileId,
        around: &Around,
    ) -> Vec<SymbolIx> {
        let name = &*mention.name.value;
        let of: Vec<String> = mention.of.iter().map(|word| (*word).to_owned()).collect();
        let one = |room: Room| self.find(room, name).into_iter().collect();
        match wants {
            Wants::Item | Wants::Place | Wants::Sign | Wants::Thing | Wants::Group => {
                self.thing(name, file, around).into_iter().collect()
            }
            Wants::Helper => one(Room::Things),
            Wants::Reading => one(Room::Readings(of)),
            Wants::Answer => one(Room::Answers(of)),
            Wants::Ending => one(Room::Endings),
            Wants::Purse => one(Room::Purses),
            Wants::Part => one(Room::Parts),
            Wants::Table => one(Room::Tables),
            Wants::Step | Wants::Moment => {
                let mut path = of;
                path.push(name.to_owned());
                self.in_flow(&path, file, around)
            }
        }
    }

    fn find(&self, room: Room, name: &str) -> Option<SymbolIx> {
        self.known.get(&(room, name.to_owned())).copied()
    }

    /// A stand-in, the thing of a turn, or a thing.
    fn thing(&self, name: &str, file: FileId, around: &Around) -> Option<SymbolIx> {
        let turns: Vec<_> = around.turns.iter().map(|line| (file, *line)).collect();
        let inside = self.inside(name, around.scope, &turns, &mut BTreeSet::new());
        inside.or_else(|| self.find(Room::Things, name))
    }

    fn inside(
        &self,
        name: &str,
        scope: Scope,
        turns: &[(FileId, usize)],
        seen: &mut BTreeSet<Scope>,
    ) -> Option<SymbolIx> {
        if let Scope::Part(file, line) = scope
            && let Some(symbol) = self.find(Room::Inside(file, line), name)
        {
            return Some(symbol);
        }
        let turn = |(file, line): &(FileId, usize)| self.find(Room::Inside(*file, *line), name);
        if let Some(symbol) = turns.iter().rev().find_map(turn) {
            return Some(symbol);
        }
        // A caller's turns are known in its part, its stand-ins are not.
        if !seen.insert(scope) {
            return None;
        }
        self.callers(scope).find_map(|(from, turns)| {
            let turn = turns.iter().rev().find_map(turn);
            turn.or_else(|| self.inside_turns(name, *from, seen))
        })
    }

    fn inside_turns(
        &self,
        name: &str,
        scope: Scope,
        seen: &mut BTreeSet<Scope>,
    ) -> Option<SymbolIx> {
        if seen.len() > DEEPEST || !seen.insert(scope) {
            return None;
        }
        let turn = |(file, line): &(FileId, usize)| self.find(Room::Inside(*file, *line), name);
        self.callers(scope).find_map(|(from, turns)| {
            let found = turns.iter().rev().find_map(turn);
            found.or_else(|| self.inside_turns(name, *from, seen))
        })
    }

    /// From where a part is done, with the turns around.
    fn callers(&self, scope: Scope) -> impl Iterator<Item = &Caller> {
        let name = self.named.get(&scope);
        name.and_then(|name| self.callers.get(name)).into_iter().flatten()
    }

    /// A step, phase, alias or turn: of the same part, else of what does it, else of the script.
    fn in_flow(&self, path: &[String], file: FileId, around: &Around) -> Vec<SymbolIx> {
        if let [name] = path {
            let turn = |line: &usize| self.find(Room::Inside(file, *line), name);
            if let Some(turn) = around.turns.iter().rev().find_map(turn) {
                return vec![turn];
            }
        }
        let mut seen = BTreeSet::new();
        let mut open = vec![around.scope];
        while let Some(scope) = open.pop() {
            if !seen.insert(scope) {
                continue;
            }
            let found = self.of_scope(scope, path, 0, &mut BTreeSet::new());
            if !found.is_empty() {
                return found;
            }
            open.extend(self.callers(scope).map(|(from, _)| *from));
        }
        self.of_scope(Scope::Top, path, 0, &mut BTreeSet::new())
    }

    /// What a path means in a scope, parts done without a name counting as written there.
    fn of_scope(
        &self,
        scope: Scope,
        path: &[String],
        depth: usize,
        seen: &mut BTreeSet<(Scope, usize)>,
    ) -> Vec<SymbolIx> {
        let Some((first, rest)) = path.split_first() else { return Vec::new() };
        // Every place is looked at once for each part of the path, however parts do each other.
        if depth + path.len() > 2 * DEEPEST || !seen.insert((scope, path.len())) {
            return Vec::new();
        }
        let mut found = Vec::new();
        if rest.is_empty() {
            found.extend(self.find(Room::Flow(scope), first));
            let turns = self.turns.iter().filter(|(of, _)| *of == scope).map(|(_, turn)| *turn);
            found.extend(turns.filter(|turn| self.symbols[*turn].name == *first));
        }
        for done in self.done.get(&scope).into_iter().flatten() {
            let further = match &done.alias {
                None => path,
                Some(alias) if alias == first => rest,
                Some(_) => continue,
            };
            for part in self.parts.get(&done.part).into_iter().flatten() {
                found.extend(self.of_scope(*part, further, depth + 1, seen));
            }
        }
        found.sort_unstable();
        found.dedup();
        found
    }
}

/// The room in which a declared name stands.
fn room(kind: Kind, mention: &Mention<'_>, file: FileId, line: usize, scope: Scope) -> Room {
    let of = || mention.of.iter().map(|word| (*word).to_owned()).collect();
    match kind {
        Kind::Item | Kind::Place | Kind::Round | Kind::Sign | Kind::Helper => Room::Things,
        Kind::StandIn | Kind::Turn => Room::Inside(file, line),
        Kind::Reading => Room::Readings(of()),
        Kind::Answer => Room::Answers(of()),
        Kind::Secret => Room::Secrets,
        Kind::Guard => Room::Guards,
        Kind::Operator => Room::Operators,
        Kind::Ending => Room::Endings,
        Kind::Purse => Room::Purses,
        Kind::Part => Room::Parts,
        Kind::Table => Room::Tables,
        Kind::Step | Kind::Phase | Kind::Alias => Room::Flow(scope),
    }
}
