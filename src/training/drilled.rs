//! What many drills say together: takes the answers of each, gives counts by script, by person only on
//! request, and by step. Editions of a script are kept apart; runs are counted elsewhere.

use std::collections::{BTreeMap, BTreeSet};

use crate::journal::drill::{About, Judged, ReadDrill, VERSION};

/// What is counted together.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Key {
    /// The script's title.
    pub title: String,
    /// The hash of its text.
    pub sha256: String,
    /// Who, where that was asked for and is known.
    pub person: Option<String>,
}

/// The drills of one script.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Group {
    /// How many.
    pub drills: u64,
    /// How many were left before their end.
    pub left: u64,
    /// By step and question, in the order in which steps were first asked for.
    pub steps: Vec<((String, u32), BTreeMap<About, Count>)>,
}

/// Answers to one question.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Count {
    /// All.
    pub asked: u64,
    /// Right ones.
    pub right: u64,
    /// Another step.
    pub wrong: u64,
    /// Times taken for shorter than they are.
    pub sooner: u64,
    /// Times taken for longer than they are.
    pub later: u64,
    /// Not answered: asked to be shown.
    pub shown: u64,
}

impl Count {
    fn add(&mut self, judged: Judged) {
        self.asked += 1;
        let one = match judged {
            Judged::Right => &mut self.right,
            Judged::Wrong => &mut self.wrong,
            Judged::Sooner => &mut self.sooner,
            Judged::Later => &mut self.later,
            Judged::Shown => &mut self.shown,
        };
        *one += 1;
    }
}

/// Everything.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Drills {
    /// By script.
    pub groups: BTreeMap<Key, Group>,
    /// What are no answers of a drill, and why.
    pub refused: Vec<(String, String)>,
    /// Files with torn or damaged lines.
    pub damaged: Vec<String>,
    /// Files that were there before under another name.
    pub again: Vec<String>,
    seen: BTreeSet<(String, String)>,
}

impl Drills {
    /// One drill more. `by_person` keeps persons apart.
    pub fn add(&mut self, name: &str, drill: &ReadDrill, by_person: bool) {
        let Some(header) = &drill.header else {
            let why = "no answers of a drill, or its first line is damaged".to_owned();
            return self.refused.push((name.to_owned(), why));
        };
        if header.version > VERSION {
            let why = format!("version {} of its form, where {VERSION} is known", header.version);
            return self.refused.push((name.to_owned(), why));
        }
        if !self.seen.insert((header.started.clone(), drill.last.clone())) {
            return self.again.push(name.to_owned());
        }
        if drill.damaged > 0 {
            self.damaged.push(name.to_owned());
        }
        let key = Key {
            title: header.title.clone(),
            sha256: header.script_sha256.clone(),
            person: header.operator.clone().filter(|_| by_person),
        };
        let group = self.groups.entry(key).or_default();
        group.drills += 1;
        group.left += u64::from(!drill.whole);
        for answer in &drill.answers {
            let step = (answer.step.clone(), answer.line);
            let at = group.steps.iter().position(|(known, _)| *known == step);
            let at = at.unwrap_or_else(|| {
                group.steps.push((step, BTreeMap::new()));
                group.steps.len() - 1
            });
            let Some((_, counts)) = group.steps.get_mut(at) else { continue };
            counts.entry(answer.about).or_default().add(answer.judged);
        }
    }

    /// How many drills were counted.
    #[must_use]
    pub fn counted(&self) -> u64 {
        self.groups.values().map(|group| group.drills).sum()
    }
}
