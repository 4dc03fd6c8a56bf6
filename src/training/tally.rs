//! What many records say together: takes records one after the other, gives counts by script and kind.
//!
//! Editions of a script are kept apart by its text's hash, rehearsals from live runs, and persons only
//! on request. Nothing is dropped in silence: what cannot be read is named, what is damaged is counted
//! and still used as far as it is certain, a record given twice is counted once.

use std::collections::{BTreeMap, BTreeSet};

use super::bounds::{Proposed, proposed};
use super::learning::{Curve, curve};
use super::replay::{Missed, Summary};
use super::statistics::Lengths;
use super::windows::{Turn, of_script};
use crate::clock::{Millis, Moment};
use crate::journal::brief::Brief;
use crate::journal::entry::{EndingClass, Header, RunKind};
use crate::journal::happened as h;
use crate::journal::read::ReadBack;

/// What is counted together.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Key {
    /// The script's title.
    pub title: String,
    /// The hash of its text: another edition has another.
    pub sha256: String,
    /// The hashes of the files that it uses.
    pub used: Vec<String>,
    /// Whether it was practice.
    pub rehearsal: bool,
    /// Who, where that was asked for and is known.
    pub person: Option<String>,
}

/// The counts of one script.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Group {
    /// Runs.
    pub runs: u64,
    /// Runs that ended as learned.
    pub learned: u64,
    /// How often each ending was reached.
    pub endings: BTreeMap<String, (Option<EndingClass>, u64)>,
    /// Things, each by itself: how many ended as learned, of how many.
    pub things: (u64, u64),
    /// What was left of each window, by step and line.
    pub windows: BTreeMap<(String, u32), Window>,
    /// How often each step was done or tried, so that its windows were met or missed: by turn.
    pub tried: BTreeMap<String, BTreeMap<Turn, u64>>,
    /// How often a step ended because it was too late, or because nothing came.
    pub open: u64,
    /// How often a window of each step closed first, and the record does not say which.
    pub unnamed: BTreeMap<String, u64>,
    /// How often each limit on several steps was missed, by its line.
    pub limits: BTreeMap<u32, u64>,
    /// How often each moment was told of at all.
    pub told: BTreeMap<Timed, u64>,
    /// Bounds of the script that were broken, by step and moment.
    pub broken: BTreeMap<Timed, Broken>,
    /// The lengths of the runs that were learned without going back, in the order of their start.
    pub lengths: Vec<(String, Millis)>,
    /// Damaged records among them.
    pub damaged: u64,
    /// The first of its records' headers, for the script that all of them hold.
    pub header: Option<Box<Header>>,
    /// What they propose of the script's times, once that was asked: see [`Tally::propose`].
    pub proposed: Option<Proposed>,
}

/// What was left of a window.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Window {
    /// Its length, where it has an upper end.
    pub length: Option<Millis>,
    /// What was left, each time that the record tells.
    pub left: Lengths,
    /// How often it closed first: it decided that its step was too late.
    pub closed: u64,
    /// Those of them in which another step was going on, so that its own was not even tried.
    pub ahead: u64,
    /// The turns of its step that it says nothing of: see [`Tally::list_windows`].
    pub not_in: BTreeSet<Turn>,
}

/// How often a window was met.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Met {
    /// For sure: what was left of it is known, and not less than nothing.
    pub met: u64,
    /// It closed first.
    pub missed: u64,
    /// Its step was done or tried, and the record does not tell, or not for sure: another window of the
    /// step closed first, nothing came that would tell of the act, or the computer was away.
    pub not_known: u64,
}

/// A moment of a step whose time the script declares.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Timed {
    /// The step.
    pub step: String,
    /// Which moment.
    pub which: Which,
}

/// Which moment of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Which {
    /// The person's act, by the record's word for the moment.
    Act(&'static str),
    /// The vehicle's answer with this number, from 0.
    Answer(u32),
}

impl Which {
    /// In a word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Which::Act(word) => word,
            Which::Answer(_) => "answered",
        }
    }
}

/// A bound that was broken.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Broken {
    /// By how much it took longer, each time.
    pub longer: Lengths,
    /// By how much it came sooner, each time.
    pub sooner: Lengths,
}

/// Everything.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tally {
    /// By script and kind.
    pub groups: BTreeMap<Key, Group>,
    /// What could not be read, and why.
    pub refused: Vec<(String, String)>,
    /// Records that were damaged.
    pub damaged: Vec<String>,
    /// Records that a program is still writing: they have not ended yet, and are not counted.
    pub running: Vec<String>,
    /// Records that were there before under another name.
    pub again: Vec<String>,
    /// Copies that hold nothing but the beginning of another's run, which is counted there: each with
    /// the other.
    pub cut: Vec<(String, String)>,
    /// Records whose clock jumped or slept.
    pub jumped: Vec<String>,
    seen: BTreeSet<(String, String)>,
}

/// What one record tells: the part of counting that every record can have done by itself.
#[derive(Clone, Debug)]
pub struct Told {
    header: Box<Header>,
    link: String,
    damaged: bool,
    /// The computer's clock jumped or slept.
    jumped: bool,
    /// Its steps, its ending: what is counted of them, no lateness and no length of the whole.
    summary: Summary,
    facts: Vec<h::Fact>,
    /// The last moment at which anything happened but a picture or a sound.
    last: Moment,
}

impl Told {
    /// What a record tells.
    ///
    /// # Errors
    /// Why it is not to be counted.
    pub fn of(read: ReadBack<Brief>) -> Result<Told, String> {
        let Some(header) = read.header else {
            return Err("no record of ours, or its first line is damaged".to_owned());
        };
        let mut told = Told {
            header: Box::new(header),
            link: read.link.prev,
            damaged: !read.faults.is_empty(),
            jumped: false,
            summary: Summary::default(),
            facts: Vec::new(),
            last: Moment::START,
        };
        for entry in read.entries {
            told.hears(entry.body, entry.at);
        }
        Ok(told)
    }

    /// Whether it has not ended, by an ending or otherwise.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.summary.ending.is_none() && self.summary.interrupted.is_none()
    }

    fn hears(&mut self, what: Brief, at: Moment) {
        match what {
            Brief::Fact(fact) => {
                self.summary.fact(&fact, at);
                self.facts.push(*fact);
            }
            Brief::Ended { ending, class } => self.summary.ending = Some((ending, class)),
            Brief::Clock => self.jumped = true,
            Brief::Interrupted(by) => self.summary.interrupted = Some(by),
            Brief::Other => {}
            Brief::Aside => return,
        }
        self.last = at;
    }
}

impl Tally {
    /// Something that is no record.
    pub fn refuse(&mut self, name: &str, why: String) {
        self.refused.push((name.to_owned(), why));
    }

    /// One record more. `by_person` keeps persons apart.
    pub fn add(&mut self, name: &str, read: ReadBack<Brief>, by_person: bool) {
        match Told::of(read) {
            Ok(told) => self.count(name, told, by_person),
            Err(why) => self.refuse(name, why),
        }
    }

    /// What one record tells, counted.
    pub fn count(&mut self, name: &str, told: Told, by_person: bool) {
        if !self.seen.insert((told.header.started.clone(), told.link.clone())) {
            return self.again.push(name.to_owned());
        }
        if told.jumped {
            self.jumped.push(name.to_owned());
        }
        if told.damaged {
            self.damaged.push(name.to_owned());
        }
        let header = &told.header;
        let key = Key {
            title: header.title.clone(),
            sha256: header.script_sha256().to_owned(),
            used: header.files.iter().skip(1).map(|file| file.sha256.clone()).collect(),
            rehearsal: header.run == RunKind::Rehearsal,
            person: header.operator.clone().filter(|_| by_person),
        };
        let group = self.groups.entry(key).or_default();
        group.add(&told);
        group.header.get_or_insert(told.header);
    }

    /// Works out what the live runs propose of the declared times; each script is proven anew for it. An
    /// imaginary vehicle says nothing about a real one.
    pub fn propose(&mut self) {
        for (_, group) in self.groups.iter_mut().filter(|(key, _)| !key.rehearsal) {
            group.proposed = proposed(group);
        }
    }

    /// Where a step was too late or nothing came, the script's other windows of steps that were tried are
    /// listed too: whether they were met is not known. Where a step was done in several turns, the
    /// script says in which of them its windows hold.
    pub fn list_windows(&mut self) {
        let asks = |group: &&mut Group| group.open > 0 || group.tried.values().any(|t| t.len() > 1);
        for group in self.groups.values_mut().filter(asks) {
            let Some(header) = &group.header else { continue };
            for ((step, line), of) in of_script(header) {
                let listed = group.open > 0 && group.tried(&step, &of.not_in) > 0;
                let key = (step, line);
                if listed || group.windows.contains_key(&key) {
                    let window = group.windows.entry(key).or_default();
                    window.length.get_or_insert(of.length);
                    window.not_in = of.not_in;
                }
            }
        }
    }

    /// How many records were counted.
    #[must_use]
    pub fn counted(&self) -> u64 {
        self.groups.values().map(|group| group.runs).sum()
    }
}

impl Group {
    fn add(&mut self, told: &Told) {
        let sum = &told.summary;
        self.runs += 1;
        self.damaged += u64::from(told.damaged);
        let (ending, class) = match (&sum.ending, sum.interrupted) {
            (Some((name, class)), _) => (name.clone(), Some(*class)),
            (None, Some(_)) => ("broken off".to_owned(), None),
            (None, None) => ("unfinished".to_owned(), None),
        };
        self.learned += u64::from(class == Some(EndingClass::Learned));
        self.endings.entry(ending).or_insert((class, 0)).1 += 1;
        for (_, class) in &sum.things {
            self.things.0 += u64::from(*class == EndingClass::Learned);
            self.things.1 += 1;
        }
        for row in sum.rows.iter().filter(|row| !row.taken_back) {
            let step = &row.step.name;
            let open = matches!(row.outcome, Some((h::Outcome::Late | h::Outcome::Silent, _)));
            self.open += u64::from(open);
            if row.tried {
                let times = self.tried.entry(step.clone()).or_default();
                *times.entry(row.step.turn).or_default() += 1;
            }
            if let Some(missed) = &row.missed {
                self.missed(missed, *step == missed.step.name);
            }
            for (line, length, left) in &row.margins {
                let window = self.windows.entry((step.clone(), *line)).or_default();
                window.length = *length;
                window.left.add(*left);
            }
        }
        // An imaginary vehicle contradicts nothing.
        if told.header.run == RunKind::Live {
            self.times(&told.facts);
        }
        self.practised(told, class);
    }

    /// A window closed first. `own`: it is one of the step that ended by it.
    fn missed(&mut self, missed: &Missed, own: bool) {
        let step = &missed.step.name;
        let Some(why) = &missed.why else {
            return *self.unnamed.entry(step.clone()).or_default() += 1;
        };
        if why.is == h::Sentence::Limit {
            return *self.limits.entry(why.line).or_default() += 1;
        }
        let window = self.windows.entry((step.clone(), why.line)).or_default();
        window.length = Some(Millis(why.ms));
        window.closed += 1;
        window.ahead += u64::from(!own);
    }

    /// How often a window was met, missed, and neither for sure.
    #[must_use]
    pub fn met(&self, step: &str, line: u32) -> Met {
        let Some(window) = self.windows.get(&(step.to_owned(), line)) else {
            return Met::default();
        };
        let below = window.left.below(Millis::ZERO);
        let alone = self.windows.keys().filter(|(of, _)| of == step).count() == 1;
        // Where a step has one window only, no record need say which.
        let unnamed = self.unnamed.get(step).copied().filter(|_| alone).unwrap_or(0);
        let tried = self.tried(step, &window.not_in);
        let told = window.left.n() + (window.closed - window.ahead) + unnamed;
        Met {
            met: window.left.n() - below,
            missed: window.closed + unnamed,
            not_known: tried.saturating_sub(told) + below,
        }
    }

    /// How often a step was done or tried in other turns than these.
    fn tried(&self, step: &str, not_in: &BTreeSet<Turn>) -> u64 {
        let turns = self.tried.get(step).into_iter().flatten();
        turns.filter(|(turn, _)| !not_in.contains(turn)).map(|(_, n)| n).sum()
    }

    /// Which moments were told of, and which of them lay outside their bounds. Which answer it was is
    /// told right after.
    fn times(&mut self, facts: &[h::Fact]) {
        let mut answered = None;
        for fact in facts {
            match fact {
                h::Fact::Broken { step, mark: h::Mark::Answered, ms } => {
                    answered = Some((step.clone(), *ms));
                }
                h::Fact::Broken { step, mark, ms } => {
                    let which = Which::Act(mark_word(*mark));
                    self.broke(Timed { step: step.name.clone(), which }, *ms);
                }
                h::Fact::Outcome { step, outcome } => {
                    let which = match outcome {
                        h::Outcome::Done => Which::Act(mark_word(h::Mark::Done)),
                        h::Outcome::Met { nth, .. } => Which::Answer(*nth),
                        _ => continue,
                    };
                    let timed = Timed { step: step.name.clone(), which };
                    *self.told.entry(timed.clone()).or_default() += 1;
                    if let Some((_, ms)) = answered.take().filter(|(of, _)| of == step) {
                        self.broke(timed, ms);
                    }
                }
                _ => {}
            }
        }
    }

    fn broke(&mut self, timed: Timed, ms: i64) {
        let broken = self.broken.entry(timed).or_default();
        let by = Millis(ms.saturating_abs());
        if ms < 0 { broken.sooner.add(by) } else { broken.longer.add(by) }
    }

    /// The length of a run that was learned at once: others are longer for another reason than practice.
    fn practised(&mut self, told: &Told, class: Option<EndingClass>) {
        let rows = &told.summary.rows;
        let straight = rows.iter().all(|row| row.nth == 1 && !row.taken_back);
        let Some(first) = rows.first() else { return };
        if class != Some(EndingClass::Learned) || !straight {
            return;
        }
        let end = rows.iter().filter_map(|row| row.outcome.as_ref()).map(|(_, at)| *at).max();
        let length = end.unwrap_or(told.last).since(first.entered);
        let started = &told.header.started;
        let at = self.lengths.partition_point(|(known, _)| known <= started);
        self.lengths.insert(at, (started.clone(), length));
    }

    /// The curve of practice, from five runs on.
    #[must_use]
    pub fn curve(&self) -> Option<Curve> {
        let lengths: Vec<Millis> = self.lengths.iter().map(|(_, length)| *length).collect();
        curve(&lengths)
    }
}

/// A moment of a step as a record calls it.
pub(super) const fn mark_word(mark: h::Mark) -> &'static str {
    match mark {
        h::Mark::Prepare => "prepare",
        h::Mark::Prepared => "prepared",
        h::Mark::Called => "called",
        h::Mark::Heard => "heard",
        h::Mark::Begun => "begun",
        h::Mark::Done => "done",
        h::Mark::LetGo => "let go",
        h::Mark::Released => "released",
        h::Mark::Answered => "answered",
        h::Mark::Reported => "reported",
        h::Mark::Over => "over",
    }
}
