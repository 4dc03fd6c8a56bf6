//! Which declared time would help most: takes a procedure, gives its declared times and the procedure
//! with one of them shorter; takes what two practices of one seed came to, gives the difference.
//!
//! Both practices draw by name, so a run of one and the same run of the other differ in the changed time
//! alone (common random numbers). The difference of two chances is then known from the runs that went
//! otherwise: with `b` that became good and `c` that became bad of `n`, it is (b − c)/n with the
//! variance (b + c − (b − c)²/n)/n² of paired samples.

use super::statistics::float;
use crate::clock::{Millis, Span};
use crate::procedure::model::{Node, Procedure, Step};
use crate::source::Place;
use std::collections::BTreeSet;

/// A time that the script declares.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Declared {
    /// Which kind, and where.
    pub of: Of,
    /// The declared bounds.
    pub span: Span,
}

/// Whose declared time it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Of {
    /// `takes` of the step with this name.
    Hands(String, Place),
    /// The strokes of a count in the step with this name.
    Strokes(String, Place),
    /// The vehicle's answer in the step with this name.
    Answer(String, Place),
    /// The operator's reaction.
    Reaction,
    /// The operator's report.
    Report,
    /// A pace.
    Pace,
}

/// How much of the room between the least and the most is taken away: a quarter.
const SHARE: i64 = 4;

impl Declared {
    /// The most that it would be with a quarter less room above its least, in tenths of a second where
    /// that is still less than now.
    #[must_use]
    pub fn shorter(&self) -> Millis {
        let room = self.span.hi.minus(self.span.lo).0;
        let exact = self.span.hi.0 - room / SHARE;
        let tenths = exact.saturating_add(50).div_euclid(100) * 100;
        let rounded = tenths.max(self.span.lo.0);
        Millis(if rounded < self.span.hi.0 { rounded } else { exact })
    }
}

/// Every declared time with room between its bounds, each sentence once; of a step's answers the first,
/// which is the hoped-for one.
#[must_use]
pub fn declared(procedure: &Procedure) -> Vec<Declared> {
    let mut answered = BTreeSet::new();
    let mut all = every(procedure);
    all.retain(|declared| match &declared.of {
        Of::Answer(step, _) => answered.insert(step.clone()),
        _ => true,
    });
    all.retain(|declared| declared.span.lo < declared.span.hi);
    all
}

/// Every declared time, each sentence once.
#[must_use]
pub fn every(procedure: &Procedure) -> Vec<Declared> {
    let mut all: Vec<Declared> = Vec::new();
    let mut add = |of: Of, span: Span| {
        let declared = Declared { of, span };
        if !all.iter().any(|known| known.of == declared.of) {
            all.push(declared);
        }
    };
    add(Of::Reaction, procedure.operator.reacts);
    add(Of::Report, procedure.operator.reports);
    if procedure.places.iter().any(|place| place.far.is_some()) {
        add(Of::Pace, procedure.operator.pace);
    }
    let mut copy = procedure.clone();
    each_step(&mut copy, &mut |step| {
        let name = || step.name.clone();
        if let Some(takes) = &step.takes {
            add(Of::Hands(name(), takes.place), takes.span);
        }
        if let Some((count, lasting)) = step.count.as_ref().and_then(|c| Some((c, c.lasting?))) {
            add(Of::Strokes(name(), count.place), lasting);
        }
        for met in &step.met {
            add(Of::Answer(name(), met.place), met.delay);
        }
    });
    all
}

/// The procedure with one declared time between other bounds.
#[must_use]
pub fn with(procedure: &Procedure, of: &Of, to: Span) -> Procedure {
    let mut changed = procedure.clone();
    let operator = &mut changed.operator;
    match of {
        Of::Reaction => operator.reacts = to,
        Of::Report => operator.reports = to,
        Of::Pace => operator.pace = to,
        Of::Hands(..) | Of::Strokes(..) | Of::Answer(..) => {
            each_step(&mut changed, &mut |step| change(step, of, to));
        }
    }
    changed
}

fn change(step: &mut Step, of: &Of, to: Span) {
    match of {
        Of::Hands(_, place) => {
            if let Some(takes) = step.takes.as_mut().filter(|takes| takes.place == *place) {
                takes.span = to;
            }
        }
        Of::Strokes(_, place) => {
            let count = step.count.as_mut().filter(|count| count.place == *place);
            if let Some(lasting) = count.and_then(|count| count.lasting.as_mut()) {
                *lasting = to;
            }
        }
        Of::Answer(_, place) => {
            for met in step.met.iter_mut().filter(|met| met.place == *place) {
                met.delay = to;
            }
        }
        Of::Reaction | Of::Report | Of::Pace => {}
    }
}

fn each_step(procedure: &mut Procedure, act: &mut impl FnMut(&mut Step)) {
    let ways = procedure.ways.iter_mut().map(|way| &mut way.body);
    for body in ways.chain([&mut procedure.body]) {
        nodes(body, act);
    }
}

fn nodes(body: &mut [Node], act: &mut impl FnMut(&mut Step)) {
    for node in body {
        match node {
            Node::Step(step) => act(step),
            Node::Each { body, .. }
            | Node::Repeat { body, .. }
            | Node::OnlyIf { body, .. }
            | Node::Phase { body, .. }
            | Node::Part { body, .. } => nodes(body, act),
            Node::NoWayBack { .. } | Node::Finish(..) => {}
        }
    }
}

/// By how much a chance differs between two practices of one seed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// The chance of the changed one less that of the other.
    pub change: f64,
    /// Its standard error.
    pub error: f64,
}

/// The difference of two chances, run by run.
#[must_use]
pub fn paired(before: &[bool], after: &[bool]) -> Difference {
    let pairs = || before.iter().zip(after);
    let better = pairs().filter(|(before, after)| !**before && **after).count();
    let worse = pairs().filter(|(before, after)| **before && !**after).count();
    let n = float(before.len().min(after.len()) as u64);
    if n == 0.0 {
        return Difference { change: 0.0, error: f64::INFINITY };
    }
    let (b, c) = (float(better as u64), float(worse as u64));
    let variance = (b + c - (b - c) * (b - c) / n) / (n * n);
    Difference { change: (b - c) / n, error: libm::sqrt(variance.max(0.0)) }
}
