//! A drill over a record: takes its reel and its script, gives a question before each cue: what comes
//! next, and by when. The choices are the procedure's own steps and times.
//!
//! A time that is typed counts as right within a tenth of the window (common practice, no source): whoever
//! knows a window of 30 s as "half a minute" knows it.

use std::collections::BTreeMap;

use super::reel::Reel;
use super::replay::Happened;
use super::tally::mark_word;
use crate::clock::Millis;
use crate::journal::drill::{About, Answer, Judged};
use crate::journal::happened::{Count, CountWhat, Effect, Fact, Shown, StepAt, Why};
use crate::procedure::model::{EventRef, Node, Procedure, Step};
use crate::vehicle::Draw;
use crate::vehicle::law::Law;

/// So many steps stand to choose from, where the procedure has so many.
const CHOICES: usize = 4;
/// So many times, "no window" besides.
const TIMES: usize = 3;

/// A question before a cue.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Item {
    /// The scene before which the replay stands still.
    pub before: usize,
    /// The step that comes.
    pub step: StepAt,
    /// For the nth time in this run.
    pub nth: u32,
    /// What is to be done.
    pub acts: Vec<String>,
    /// Which of `acts` is the one that comes.
    pub right: usize,
    /// By when: the tightest of what binds it, its own window, a limit of its stretch, or the window of
    /// a later step that runs already. Nothing where nothing binds.
    pub by: Option<By>,
    /// Times to choose from, in order; the last, without one, says that there is no window.
    pub times: Vec<Option<Millis>>,
}

/// By when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct By {
    /// So long.
    pub within: Millis,
    /// After this moment, as the script calls it.
    pub after: String,
}

/// An answer as it was given.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Given {
    /// The nth choice, from 0.
    Choice(usize),
    /// A time that was typed; nothing for "no window".
    Time(Option<Millis>),
    /// *Show me.*
    Shown,
}

/// The questions of a record, in order. `seed` shuffles the choices: the same gives the same.
#[must_use]
pub fn items(reel: &Reel, procedure: Option<&Procedure>, seed: u64) -> Vec<Item> {
    let mut steps = Vec::new();
    if let Some(procedure) = procedure {
        gather(&procedure.body, &mut steps);
        procedure.ways.iter().for_each(|way| gather(&way.body, &mut steps));
    }
    let stops = stops(reel);
    let acts = acts(&stops, procedure, &steps);
    let lengths = lengths(&steps, &stops);
    let item = |(n, stop): (usize, Stop)| {
        let step = steps.iter().find(|step| step.name == stop.step.name);
        let by = stop.binds.as_ref().map(|why| bound(why, step.copied()));
        let by = by.or_else(|| step.and_then(|step| by_window(step)));
        let mut draw = Draw::of_run(seed, n as u64, Law::Inside);
        let others: Vec<&String> = acts.iter().filter(|act| **act != stop.act).collect();
        let mut chosen: Vec<String> =
            some(&mut draw, others, CHOICES - 1).into_iter().cloned().collect();
        let right = below(&mut draw, chosen.len() + 1);
        chosen.insert(right, stop.act);
        let times = times(by.as_ref(), &lengths, &mut draw);
        Item { before: stop.before, step: stop.step, nth: stop.nth, acts: chosen, right, by, times }
    };
    stops.into_iter().enumerate().map(item).collect()
}

/// A step of a run: its number and its turn.
type Named = (u32, Option<(u32, u32)>);

/// A place to ask at.
#[derive(Clone, Debug)]
struct Stop {
    before: usize,
    step: StepAt,
    nth: u32,
    act: String,
    /// What the guide counted to first, for the act; before it for its cue.
    binds: Option<Why>,
    /// Whether that was for the act.
    for_act: bool,
}

impl Stop {
    /// What the guide counts to here.
    fn hears(&mut self, shown: &Shown) {
        let Some(Count { what, why: Some(why), .. }) = &shown.count else { return };
        let for_act = match what {
            CountWhat::LatestAct => true,
            CountWhat::LatestCue => false,
            _ => return,
        };
        if self.binds.is_none() || (for_act && !self.for_act) {
            (self.binds, self.for_act) = (Some(why.clone()), for_act);
        }
    }
}

/// Before the first scene that tells of a step: its prepare cue, its entry, or what it shows. A step that
/// is entered again is asked for again.
fn stops(reel: &Reel) -> Vec<Stop> {
    let mut stops: Vec<Stop> = Vec::new();
    let mut asked: BTreeMap<Named, (usize, u32)> = BTreeMap::new();
    for (ix, scene) in reel.scenes().iter().enumerate() {
        let Happened::Effect(effect) = &scene.what else { continue };
        let (step, entered, shown) = match effect {
            Effect::Fact { fact: Fact::Entered { step, nth, .. } } => (step, Some(*nth), None),
            Effect::Fact { fact: Fact::CueGiven { point, .. } } => (&point.step, None, None),
            Effect::Show(shown) => match &shown.step {
                Some(step) => (step, None, Some(&**shown)),
                None => continue,
            },
            _ => continue,
        };
        let name = (step.ix, step.turn);
        let again = |(_, nth): &(usize, u32)| entered.is_some_and(|now| now > *nth);
        let known = asked.get(&name).copied();
        if known.is_none_or(|known| again(&known)) {
            let nth = entered.unwrap_or(1);
            asked.insert(name, (stops.len(), nth));
            stops.push(Stop {
                before: ix,
                step: step.clone(),
                nth,
                act: String::new(),
                binds: None,
                for_act: false,
            });
        }
        let (Some((at, _)), Some(shown)) = (asked.get(&name), shown) else { continue };
        let Some(stop) = stops.get_mut(*at) else { continue };
        stop.hears(shown);
        if stop.act.is_empty() {
            stop.act = act(shown);
        }
    }
    // A step whose act was never shown, as where a run was broken off, cannot be asked for.
    stops.retain(|stop| !stop.act.is_empty());
    stops
}

/// What is to be done, by whom.
fn act(shown: &Shown) -> String {
    let act = shown.act.clone().unwrap_or_default();
    match (&shown.who, act.is_empty()) {
        (Some(who), false) => format!("{who}: {act}"),
        _ => act,
    }
}

fn gather<'a>(nodes: &'a [Node], steps: &mut Vec<&'a Step>) {
    for node in nodes {
        match node {
            Node::Step(step) => steps.push(step),
            Node::Each { body, .. }
            | Node::Repeat { body, .. }
            | Node::OnlyIf { body, .. }
            | Node::Phase { body, .. }
            | Node::Part { body, .. } => gather(body, steps),
            Node::NoWayBack { .. } | Node::Finish(..) => {}
        }
    }
}

/// Everything that is done in this procedure, each once: as it was shown, and of the steps that this run
/// did not come to, as it is written.
fn acts(stops: &[Stop], procedure: Option<&Procedure>, steps: &[&Step]) -> Vec<String> {
    let mut acts: Vec<String> = Vec::new();
    let mut add = |act: String| {
        if !act.is_empty() && !acts.contains(&act) {
            acts.push(act);
        }
    };
    for stop in stops {
        add(stop.act.clone());
    }
    let seen = |step: &Step| stops.iter().any(|stop| stop.step.name == step.name);
    for step in steps.iter().filter(|step| !seen(step)) {
        let by = step.by.is_some();
        add(procedure.filter(|_| !by).map_or("", |all| all.text(step.text)).to_owned());
    }
    acts
}

/// What the guide counted to, with its beginning in the script's words.
fn bound(why: &Why, step: Option<&Step>) -> By {
    let within = Millis(why.ms);
    let same = |event: &str| why.event.is_none_or(|mark| mark_word(mark) == event);
    let own = step.and_then(|step| {
        let window = step
            .windows
            .iter()
            .find(|window| window.range.hi == Some(within) && same(window.anchor.event.word()))?;
        Some(moment(&window.anchor, &step.name))
    });
    let after = own.unwrap_or_else(|| match why.event {
        Some(event) => format!("{} {}", why.after, mark_word(event)),
        None => why.after.clone(),
    });
    By { within, after }
}

/// The tightest window of a step that has an end: what binds it where a record counts to nothing.
fn by_window(step: &Step) -> Option<By> {
    let ended = step.windows.iter().filter_map(|window| Some((window.range.hi?, window)));
    let (within, window) = ended.min_by_key(|(hi, _)| *hi)?;
    Some(By { within, after: moment(&window.anchor, &step.name) })
}

/// A moment as the script calls it.
fn moment(of: &EventRef, here: &str) -> String {
    let name = if of.path.is_empty() { here.to_owned() } else { of.path.join(" ") };
    let before = if of.previous { "previous " } else { "" };
    format!("{before}{name} {}", of.event.word())
}

/// Every window's length in the procedure, and every limit that was counted to, each once.
fn lengths(steps: &[&Step], stops: &[Stop]) -> Vec<Millis> {
    let windows = steps.iter().flat_map(|step| &step.windows).filter_map(|window| window.range.hi);
    let counted = stops.iter().filter_map(|stop| Some(Millis(stop.binds.as_ref()?.ms)));
    let mut all: Vec<Millis> = windows.chain(counted).collect();
    all.sort();
    all.dedup();
    all
}

/// Times to choose from: the window's own, others of the procedure, and twice or half of it; in order, so
/// that the place among them tells nothing.
fn times(by: Option<&By>, lengths: &[Millis], draw: &mut Draw) -> Vec<Option<Millis>> {
    let right = by.map(|by| by.within);
    let base = right.or(lengths.first().copied()).unwrap_or(Millis::secs(30));
    let mut others: Vec<Millis> = lengths.to_vec();
    others.extend([Millis(base.0 / 2), base.times(2), base.times(3)]);
    others.retain(|length| Some(*length) != right && length.0 > 0);
    others.sort();
    others.dedup();
    let wanted = TIMES - usize::from(right.is_some());
    let mut times: Vec<Millis> = some(draw, others, wanted).into_iter().chain(right).collect();
    times.sort();
    times.into_iter().map(Some).chain([None]).collect()
}

impl Item {
    /// The answer that is right to *what* and to *when*, from 0.
    #[must_use]
    pub fn wanted(&self, about: About) -> usize {
        match about {
            About::What => self.right,
            About::When => {
                let within = self.by.as_ref().map(|by| by.within);
                self.times.iter().position(|time| *time == within).unwrap_or(0)
            }
        }
    }

    /// How an answer is; `None` where it is none to this question.
    #[must_use]
    pub fn judge(&self, about: About, given: &Given) -> Option<Judged> {
        match (about, given) {
            (_, Given::Shown) => Some(Judged::Shown),
            (About::What, Given::Choice(n)) if *n < self.acts.len() => {
                Some(if *n == self.right { Judged::Right } else { Judged::Wrong })
            }
            (About::When, Given::Choice(n)) => {
                self.times.get(*n).map(|time| self.in_time(*time, 0))
            }
            (About::When, Given::Time(time)) => Some(self.in_time(*time, 10)),
            (About::What, Given::Choice(_) | Given::Time(_)) => None,
        }
    }

    /// How a time is, one part in `slack` off counted as right; 0: none.
    fn in_time(&self, time: Option<Millis>, slack: i64) -> Judged {
        let Some(by) = &self.by else {
            return if time.is_none() { Judged::Right } else { Judged::Sooner };
        };
        let Some(time) = time else { return Judged::Later };
        let off = time.0.saturating_sub(by.within.0);
        let right = match slack {
            0 => off == 0,
            slack => off.saturating_abs() <= by.within.0 / slack,
        };
        match off {
            _ if right => Judged::Right,
            off if off < 0 => Judged::Sooner,
            _ => Judged::Later,
        }
    }
}

/// A score that teaches: how many were right, and which steps to look at again.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Score {
    /// Right answers, of how many: to *what*, to *when*.
    pub what: (u32, u32),
    /// To *when*.
    pub when: (u32, u32),
    /// Times that were taken for longer than they are: each a window missed.
    pub later: u32,
    /// What was not right, in the order of asking.
    pub again: Vec<Answer>,
}

/// The score of these answers.
#[must_use]
pub fn score(answers: &[Answer]) -> Score {
    let mut score = Score::default();
    for answer in answers {
        let of = match answer.about {
            About::What => &mut score.what,
            About::When => &mut score.when,
        };
        of.1 += 1;
        if answer.judged == Judged::Right {
            of.0 += 1;
        } else {
            score.again.push(answer.clone());
        }
        score.later += u32::from(answer.judged == Judged::Later);
    }
    score
}

/// One of `n`, from 0.
fn below(draw: &mut Draw, n: usize) -> usize {
    let last = i64::try_from(n.saturating_sub(1)).unwrap_or(i64::MAX);
    usize::try_from(draw.between(0, last)).unwrap_or(0)
}

/// At most so many of these, in any order.
fn some<T>(draw: &mut Draw, mut all: Vec<T>, most: usize) -> Vec<T> {
    let mut chosen = Vec::new();
    while chosen.len() < most && !all.is_empty() {
        let at = below(draw, all.len());
        chosen.push(all.swap_remove(at));
    }
    chosen
}
