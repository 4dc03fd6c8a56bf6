//! Faults to order: takes names such as `silence@wake`, gives faults of a plan, or what is wrong.
//!
//! Without a step the seed chooses one among those where the fault can happen, so that nobody who
//! practises knows where.

use super::draw::{Draw, What};
use super::{Fault, Wrong};
use crate::clock::{Millis, Span};
use crate::procedure::model::{EndingClass, Procedure, SignPattern};
use crate::procedure::plan::{GuardIx, Next, Plan, PlanStep, Report, StepIx, Target};
use std::str::FromStr;

/// How much later than it may a slow vehicle answers: half as long again, at least this.
const SLOW: Millis = Millis(1500);
/// How long after its cue a guard is lost.
const LOST_AFTER: Span = Span::new(Millis(500), Millis(2500));

/// The kinds of faults that have a name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// The vehicle is silent.
    Silence,
    /// It gives another answer than hoped for.
    OtherAnswer,
    /// It answers later than it may.
    SlowAnswer,
    /// Something that must stay true does not.
    LostGuard,
    /// The person does something else than told.
    Slip,
    /// The vehicle's memory is full.
    MemoryFull,
}

/// All kinds, with their names.
pub const KINDS: [(&str, Kind); 6] = [
    ("silence", Kind::Silence),
    ("other-answer", Kind::OtherAnswer),
    ("slow-answer", Kind::SlowAnswer),
    ("lost-guard", Kind::LostGuard),
    ("slip", Kind::Slip),
    ("memory-full", Kind::MemoryFull),
];

/// A fault as it is ordered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Order {
    /// What is to go wrong.
    pub kind: Kind,
    /// In which step; `None`: the seed chooses.
    pub step: Option<String>,
    /// In which turn of it, from 1; `None`: the first.
    pub turn: Option<u32>,
}

/// Why an order cannot be carried out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refused {
    /// No fault has this name.
    NoKind(String),
    /// Behind the `/` stands no turn.
    NoTurn(String),
    /// The plan has no such step; the names that it has.
    NoStep(String, Vec<String>),
    /// The step has no such turn; how many it has.
    NoSuchTurn(String, usize),
    /// It cannot happen in this step; where it can.
    NotThere(Kind, String, Vec<String>),
    /// It cannot happen anywhere in this script.
    Nowhere(Kind),
}

impl Kind {
    /// Its name.
    #[must_use]
    pub fn name(self) -> &'static str {
        KINDS.iter().find(|(_, kind)| *kind == self).map_or("", |(name, _)| name)
    }
}

/// As it is typed.
impl std::fmt::Display for Order {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.kind.name())?;
        if let Some(step) = &self.step {
            write!(f, "@{step}")?;
        }
        self.turn.map_or(Ok(()), |turn| write!(f, "/{turn}"))
    }
}

impl FromStr for Order {
    type Err = Refused;

    /// `NAME`, `NAME@STEP` or `NAME@STEP/TURN`.
    fn from_str(text: &str) -> Result<Order, Refused> {
        let (name, rest) = match text.split_once('@') {
            Some((name, rest)) => (name, Some(rest)),
            None => (text, None),
        };
        let kind = KINDS.iter().find(|(known, _)| *known == name.trim());
        let Some((_, kind)) = kind else { return Err(Refused::NoKind(name.trim().to_owned())) };
        let (step, turn) = match rest.and_then(|rest| rest.rsplit_once('/')) {
            Some((step, turn)) => {
                let turn = turn.trim();
                let read = turn.parse().ok().filter(|turn| *turn > 0);
                let Some(read) = read else { return Err(Refused::NoTurn(turn.to_owned())) };
                (Some(step), Some(read))
            }
            None => (rest, None),
        };
        let step = step.map(str::trim).filter(|step| !step.is_empty()).map(str::to_owned);
        Ok(Order { kind: *kind, step, turn })
    }
}

/// The fault of a plan that an order means.
///
/// # Errors
/// [`Refused`] where there is no such step, or where it cannot happen.
pub fn fault(
    order: &Order,
    procedure: &Procedure,
    plan: &Plan,
    draw: &mut Draw,
) -> Result<Fault, Refused> {
    let able: Vec<StepIx> = plan
        .indexed()
        .map(|(ix, _)| ix)
        .filter(|ix| made(order.kind, procedure, plan, *ix, draw).is_some())
        .collect();
    let ix = match &order.step {
        Some(name) => named(name, order.turn, plan)?,
        None => {
            let hoped = hoped_way(plan);
            let likely: Vec<StepIx> =
                able.iter().copied().filter(|ix| hoped.contains(ix)).collect();
            let among = if likely.is_empty() { &able } else { &likely };
            let most = i64::try_from(among.len()).unwrap_or(0) - 1;
            draw.about(StepIx(0), order.kind as u32, What::Trouble);
            let chosen = usize::try_from(draw.between(0, most)).unwrap_or(0);
            *among.get(chosen).ok_or(Refused::Nowhere(order.kind))?
        }
    };
    made(order.kind, procedure, plan, ix, draw).ok_or_else(|| {
        if able.is_empty() {
            return Refused::Nowhere(order.kind);
        }
        let names = names(able.iter().map(|ix| plan.step(*ix)));
        Refused::NotThere(order.kind, plan.step(ix).name.clone(), names)
    })
}

fn named(name: &str, turn: Option<u32>, plan: &Plan) -> Result<StepIx, Refused> {
    let all: Vec<StepIx> =
        plan.indexed().filter(|(_, step)| step.name == name).map(|(ix, _)| ix).collect();
    if all.is_empty() {
        return Err(Refused::NoStep(name.to_owned(), names(plan.steps.iter())));
    }
    let nth = turn.map_or(0, |turn| turn.saturating_sub(1) as usize);
    all.get(nth).copied().ok_or_else(|| Refused::NoSuchTurn(name.to_owned(), all.len()))
}

/// Each name once, in order.
fn names<'a>(steps: impl Iterator<Item = &'a PlanStep>) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for step in steps {
        if !names.contains(&step.name) {
            names.push(step.name.clone());
        }
    }
    names
}

/// The fault in this step, if it can happen there.
fn made(
    kind: Kind,
    procedure: &Procedure,
    plan: &Plan,
    ix: StepIx,
    draw: &mut Draw,
) -> Option<Fault> {
    let step = plan.step(ix);
    let answers = step.report == Report::Answer;
    draw.about(ix, kind as u32, What::Trouble);
    let wrong = match kind {
        Kind::Silence => answers.then_some(Wrong::Silence)?,
        Kind::OtherAnswer => {
            let others = i64::try_from(step.met.len()).ok()? - 1;
            match (answers, others) {
                (false, _) => return None,
                (true, ..1) => Wrong::Other,
                (true, others) => Wrong::Answer(u32::try_from(draw.between(1, others)).ok()?),
            }
        }
        Kind::SlowAnswer => {
            let most = step.met.first().filter(|_| answers)?.delay.hi;
            Wrong::Late(Millis(most.0 / 2).max(SLOW))
        }
        Kind::Slip => (step.report != Report::None && !step.only_watch).then_some(Wrong::Slip)?,
        Kind::MemoryFull => {
            let full = (0..)
                .zip(&step.met)
                .find(|(n, met)| *n > 0 && says_full(procedure, &met.signs, &met.then));
            Wrong::Answer(full.filter(|_| answers)?.0)
        }
        Kind::LostGuard => {
            let holds = |g: &crate::procedure::plan::PlanGuard| g.from <= ix && ix <= g.to;
            let guard = (0..).zip(&plan.guards).find(|(_, g)| holds(g) && !step.straight_on)?.0;
            return Some(Fault::Lost(GuardIx(guard), ix, 1, draw.within(LOST_AFTER)));
        }
    };
    Some(Fault::Step(ix, 1, wrong))
}

/// Whether an answer says that nothing more can be stored: it leads to an ending that is not learned,
/// and the word stands in the sign or in the ending.
fn says_full(
    procedure: &Procedure,
    signs: &[crate::procedure::model::SignId],
    then: &Target,
) -> bool {
    let Target::To(Next::End(ending)) = then else { return false };
    let Some(ending) = procedure.endings.get(ending.0 as usize) else { return false };
    let full = |text: &str| text.to_lowercase().contains("full");
    let signs = signs.iter().filter_map(|sign| procedure.signs.get(sign.0 as usize));
    let mut said = signs.map(|sign| {
        let state = matches!(&sign.pattern, SignPattern::State(state) if full(state));
        state || full(procedure.text(sign.object)) || full(&sign.name)
    });
    let told = full(&ending.name) || ending.text.is_some_and(|text| full(procedure.text(text)));
    ending.class == EndingClass::NotLearned && (told || said.any(|said| said))
}

/// The steps on the way that is hoped for.
fn hoped_way(plan: &Plan) -> Vec<StepIx> {
    let (mut way, mut at) = (Vec::new(), plan.entry);
    while let Some(Next::Step(ix)) = at {
        if way.contains(&ix) || (ix.0 as usize) >= plan.steps.len() {
            break;
        }
        way.push(ix);
        let step = plan.step(ix);
        at = Some(match step.met.first() {
            Some(met) if step.report == Report::Answer => match &met.then {
                Target::To(next) | Target::ThisOne { next, .. } => *next,
                Target::Again { enter, .. } => Next::Step(*enter),
            },
            _ => step.go_on,
        });
    }
    way
}
