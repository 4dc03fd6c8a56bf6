//! On which bounds a proof rests: takes the plans, gives every line that bounds something, where its
//! numbers come from, and what is assumed because no line says it.

use crate::clock::{Millis, Span};
use crate::procedure::model::{Basis, CLOCK_ERROR, Procedure, Profile};
use crate::procedure::plan::{Plan, person};
use crate::procedure::sayable::sayable;
use crate::procedure::timing::{Decides, SpeechLengths, SpeechSource, What, bounds};
use crate::source::Place;
use std::collections::{BTreeMap, BTreeSet};

/// On which bounds a proof rests.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rests {
    /// Bounds that stand in the script, each line and kind once, in its order.
    pub written: Vec<WrittenBound>,
    /// What no line says: defaults of the tool.
    pub assumed: Vec<Assumption>,
    /// Spoken texts by the source of their length.
    pub spoken: BTreeMap<SpeechSource, usize>,
    /// Which voice, or whose recordings, were measured.
    pub voice: Option<String>,
}

/// A bound that stands in the script.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WrittenBound {
    /// Its line.
    pub place: Place,
    /// What it bounds.
    pub what: What,
    /// Who decides.
    pub decides: Decides,
    /// Where its numbers come from.
    pub basis: Basis,
}

/// A default that the proof rests on because no line of the script says it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Assumption {
    /// Reaction to a cue.
    Reaction(Span),
    /// From what is seen or done to the report.
    Report(Span),
    /// One pace of a way.
    Pace(Span),
    /// Spoken words, by the model.
    Speech {
        /// Words a minute.
        rate: u32,
        /// How many texts go by it.
        texts: usize,
    },
    /// How wrong the clock and the screen may be, at most.
    Clock(Millis),
    /// How late a cue may be given, at most.
    Jitter(Millis),
}

impl Rests {
    /// How many bounds stand in the script with numbers of this kind.
    #[must_use]
    pub fn count(&self, of: impl Fn(&Basis) -> bool) -> usize {
        self.written.iter().filter(|bound| of(&bound.basis)).count()
    }

    /// How many bounds there are in all.
    #[must_use]
    pub fn total(&self) -> usize {
        self.written.len() + self.assumed.len()
    }

    /// How many of them are assumed: by the author in so many words, and by the tool.
    #[must_use]
    pub fn assumptions(&self) -> usize {
        self.count(|basis| matches!(basis, Basis::Assumed(_) | Basis::Unsaid)) + self.assumed.len()
    }
}

/// The bounds behind a script's timing.
#[must_use]
pub fn rests(procedure: &Procedure, plans: &[Plan], speech: &SpeechLengths) -> Rests {
    let mut seen = BTreeSet::new();
    let mut written = Vec::new();
    for bound in plans.iter().flat_map(|plan| bounds(procedure, plan, speech)) {
        let decided = match bound.decides {
            Decides::Person | Decides::Vehicle | Decides::Demand => true,
            Decides::Guide => bound.what == What::Silence,
            Decides::Speech => false,
        };
        // What follows from the profile alone stands in no line of the script.
        let own = match bound.what {
            What::Report | What::Order => false,
            What::LettingGo => bound.basis != Basis::Unsaid,
            _ => true,
        };
        if decided && own && seen.insert((bound.place, bound.what as u8)) {
            let (place, what, decides) = (bound.place, bound.what, bound.decides);
            written.push(WrittenBound { place, what, decides, basis: bound.basis });
        }
    }
    written.sort_by_key(|bound| bound.place);
    Rests {
        written,
        assumed: assumed(procedure, plans, speech),
        spoken: by_source(procedure, speech),
        voice: speech.voice.clone(),
    }
}

/// Of how many texts that can be said the length comes from where; titles and the like are only shown.
fn by_source(procedure: &Procedure, speech: &SpeechLengths) -> BTreeMap<SpeechSource, usize> {
    let said: BTreeSet<_> = sayable(procedure).into_iter().map(|text| text.id).collect();
    let mut all = BTreeMap::new();
    for (_, spoken) in speech.iter().filter(|(id, _)| said.contains(id)) {
        *all.entry(spoken.source).or_insert(0) += 1;
    }
    all
}

/// The defaults that matter to these plans.
fn assumed(procedure: &Procedure, plans: &[Plan], speech: &SpeechLengths) -> Vec<Assumption> {
    let standard = Profile::default();
    let steps = || plans.iter().flat_map(|plan| &plan.steps);
    let people = || steps().map(|step| person(procedure, step.by)).chain([&procedure.operator]);
    let mut all = Vec::new();
    if people().any(|profile| profile.reacts == standard.reacts) {
        all.push(Assumption::Reaction(standard.reacts));
    }
    if people().any(|profile| profile.reports == standard.reports) {
        all.push(Assumption::Report(standard.reports));
    }
    let walks = steps().filter(|step| step.walk != Span::ZERO);
    if walks.map(|step| person(procedure, step.by)).any(|profile| profile.pace == standard.pace) {
        all.push(Assumption::Pace(standard.pace));
    }
    let by_model = by_source(procedure, speech).get(&SpeechSource::Model).copied().unwrap_or(0);
    if by_model > 0 {
        let rate = procedure.operator.words_a_minute;
        all.push(Assumption::Speech { rate, texts: by_model });
    }
    all.extend([Assumption::Clock(CLOCK_ERROR), Assumption::Jitter(speech.jitter())]);
    all
}
