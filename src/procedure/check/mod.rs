//! From what was written to what is true: a script and its used files become a checked model.
//!
//! Takes a [`Library`]; gives the [`Procedure`], unless something in it means nothing, and every
//! complaint that needs no path through the steps. `blocks` nests the lines, `head`, `stock` and
//! `flow` build the model, the other files look at what was built.

mod acts;
mod basis;
mod battery;
mod blocks;
mod events;
mod flow;
mod hands;
mod hazards;
mod head;
mod limits;
mod names;
mod outcome;
mod parts;
mod phrase;
mod safety;
mod signs;
mod step;
mod stock;
mod stretch;
mod trials;
mod unused;
mod values;
mod words;

use std::collections::{BTreeMap, BTreeSet};

use self::blocks::Block;
use self::names::Names;
use crate::complaint::{Code, Complaint};
use crate::procedure::library::Library;
use crate::procedure::model::{
    Basis, ItemId, Over, PlaceId, Procedure, PurseId, Ref, Said, SignId, TextId, WayId,
};
use crate::source::{FileId, Place};
use crate::syntax::tree::{Sentence, Text};

/// Builds the model of a script. The model is absent when a part of it would mean nothing; the
/// complaints are as many as could be found, sorted by file and place.
#[must_use]
pub fn check(library: &Library) -> (Option<Procedure>, Vec<Complaint>) {
    let mut check = Check::new(library);
    if !check.within_limits() {
        return (None, check.out);
    }
    let files: Vec<(FileId, Block<'_>)> = library
        .trees
        .iter()
        .map(|(file, tree)| (*file, blocks::nest(tree, &mut check.out)))
        .collect();
    check.run(&files);
    let Check { mut out, model, .. } = check;
    if library.complaints.iter().any(blocks_in_doubt) {
        out.retain(|complaint| !follows_from_blocks(complaint));
    }
    out.sort_by_key(|complaint| (complaint.place.file, complaint.place.start, complaint.code));
    out.dedup_by(|a, b| a.code == b.code && a.place == b.place);
    let broken = library.complaints.iter().chain(&out).any(leaves_a_hole);
    ((!broken).then_some(model), out)
}

/// Whether the model has a hole where this complaint stands. Other errors leave a whole model, which
/// can still be looked at path by path.
fn leaves_a_hole(complaint: &Complaint) -> bool {
    complaint.is_error()
        && !matches!(
            complaint.code,
            Code::SentenceOutOfPlace
                | Code::SaidTwice
                | Code::ProcedureMissing
                | Code::WindowEmpty
                | Code::AnswerWithoutSilence
                | Code::SameObservation
                | Code::SignTwice
                | Code::SignVerb
                | Code::QuietMissing
                | Code::LateMissing
                | Code::OwnershipMissing
                | Code::NoWorkingKey
                | Code::UnknownHazard
                | Code::SecretRecorded
        )
}

/// Whether this says that blocks do not pair.
fn blocks_in_doubt(complaint: &Complaint) -> bool {
    matches!(complaint.code, Code::EndWithoutBlock | Code::WrongEnd | Code::BlockNotClosed)
}

/// Whether this may be no more than an echo of a block that is not closed: it is looked at again
/// when the blocks pair.
fn follows_from_blocks(complaint: &Complaint) -> bool {
    matches!(
        complaint.code,
        Code::SentenceOutOfPlace
            | Code::SaidTwice
            | Code::NoTurnBefore
            | Code::TurnsOutsideBlock
            | Code::ThisOneOutside
            | Code::LateMissing
            | Code::KeyNotTested
            | Code::CountNotChecked
            | Code::WorkingKeyFirst
    )
}

/// The checker at work.
struct Check<'a> {
    library: &'a Library,
    out: Vec<Complaint>,
    model: Procedure,
    names: Names<'a>,
    /// Texts by place, so that a part done twice has each of its texts once.
    texts: BTreeMap<Place, TextId>,
    /// Names already complained about.
    unknown: BTreeSet<String>,
    /// The words of lines that could not be read: a name among them is not called unknown.
    strays: BTreeSet<&'a str>,
    /// One of them may have been a `for each` or `repeat`.
    lost_turns: bool,
    /// First words that such lines were probably meant to have: what they would say is not missing.
    lost: BTreeSet<&'static str>,
    /// Steps with a line that could not be read or resolved: their moments are not known.
    incomplete: BTreeSet<Place>,
    /// Windows without a `late`, with the outermost block that they stand in.
    late_missing: BTreeMap<Place, Option<Place>>,
    /// Purses by the line that they count.
    line_purses: BTreeMap<Place, PurseId>,
    ways: BTreeMap<String, Option<WayId>>,
    /// Numbers that nobody stands behind.
    unsourced: BTreeSet<Place>,
    /// Steps made so far, parts inlined.
    steps: usize,
    /// Parts put in place so far.
    inlined: usize,
    /// Texts that tell the person what to do, with whether a count stands beside.
    told: Vec<Told>,
}

/// A text that tells the person what to do.
struct Told {
    text: String,
    place: Place,
    /// A count or a length beside it gives a vague word its number.
    counted: bool,
    /// Whether it is a whole instruction.
    whole: bool,
}

/// What the names around a line mean.
#[derive(Clone, Default)]
struct Env {
    stand_ins: Vec<(String, Arg)>,
    turns: Vec<TurnEnv>,
    basis: Basis,
    /// Whether a `late` is in force.
    late: bool,
    /// Parts being inlined.
    parts: Vec<String>,
    /// The outermost block around.
    block: Option<Place>,
}

/// A stand-in's meaning.
#[derive(Clone)]
enum Arg {
    Item(Ref<ItemId>),
    Place(Ref<PlaceId>),
    Sign(SignId),
    /// Its name was not known; that has been said.
    Unknown,
}

/// A `for each` or `repeat` around a line.
#[derive(Clone)]
struct TurnEnv {
    name: Option<String>,
    over: Option<Over>,
    /// Over new items.
    new: bool,
}

impl<'a> Check<'a> {
    fn new(library: &'a Library) -> Check<'a> {
        let strays = library.trees.iter().flat_map(|(_, tree)| &tree.lines);
        let strays: BTreeSet<&str> = strays
            .filter_map(|line| match &line.sentence {
                Sentence::Stray(text) => Some(names::words_of(text)),
                _ => None,
            })
            .flatten()
            .collect();
        let lost_turns = strays.contains("each") || strays.contains("repeat");
        let lost = library.trees.iter().flat_map(|(_, tree)| &tree.lines);
        let lost = lost.filter_map(|line| names::lost_word(&line.sentence)).collect();
        Check {
            library,
            out: Vec::new(),
            model: Procedure::default(),
            names: Names::default(),
            texts: BTreeMap::new(),
            unknown: BTreeSet::new(),
            strays,
            lost_turns,
            lost,
            incomplete: BTreeSet::new(),
            late_missing: BTreeMap::new(),
            line_purses: BTreeMap::new(),
            ways: BTreeMap::new(),
            unsourced: BTreeSet::new(),
            steps: 0,
            inlined: 0,
            told: Vec::new(),
        }
    }

    fn run(&mut self, files: &'a [(FileId, Block<'a>)]) {
        let Some((main, used)) = files.split_first() else { return };
        let main = &main.1;
        self.endings_built_in();
        self.declare(main, true);
        for (_, file) in used {
            self.declare(file, false);
        }
        self.settle(main);
        let mut env = Env::default();
        self.head(main, &mut env);
        self.model.body = self.flow(main, &mut env);
        self.trials(main);
        self.look(main);
    }

    /// Everything that looks at the finished model.
    fn look(&mut self, main: &Block<'_>) {
        self.references();
        self.unused();
        self.alike();
        self.signs_alike();
        self.people();
        self.words();
        self.hazards(main);
        self.safety(main);
        self.numbers();
        self.late();
    }

    fn complain(&mut self, complaint: Complaint) {
        self.out.push(complaint);
    }

    fn text(&mut self, text: &Text) -> TextId {
        if let Some(known) = self.texts.get(&text.place) {
            return *known;
        }
        let id = TextId(count(self.model.texts.len()));
        self.model.texts.push(Said { text: text.value.clone(), place: text.place });
        self.texts.insert(text.place, id);
        id
    }
}

/// An index as the model's ids have it. A script of a megabyte never reaches the end.
fn count(len: usize) -> u32 {
    u32::try_from(len).unwrap_or(u32::MAX)
}
