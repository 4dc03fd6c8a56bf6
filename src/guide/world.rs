//! What does not change during a run: the plan, the bounds of persons and speech, the asked timing.
//!
//! Takes the procedure, the plan and the settings; gives lookups and the brackets within which an
//! act, an answer and a report can lie, given the moment of the cue.

use crate::clock::{Millis, Moment, Span};
use crate::guide::cue::Cue;
use crate::procedure::model::{
    Alert, CLOCK_ERROR, EndingClass, EndingId, Event, Hold, Procedure, Profile, PurseId, Range,
    ReadingId, TextId,
};
use crate::procedure::plan::{Anchor, Next, Plan, PlanStep, Report, StepIx, Target, person};
use crate::procedure::timing::{
    Bracket, Known, Mark, Point, SpeechLengths, Timing, announced, hands, now_words, report_delay,
    strokes,
};
use std::sync::Arc;

/// Everything that stays the same during a run.
pub(super) struct World {
    /// The checked model.
    pub procedure: Arc<Procedure>,
    /// The flat plan.
    pub plan: Arc<Plan>,
    /// What is allowed when.
    pub timing: Box<dyn Timing + Send>,
    /// How long texts take to say.
    pub speech: SpeechLengths,
    /// The steps on the hoped-for way.
    pub way: Vec<StepIx>,
    /// For each step the stretch of hands that begins with it.
    chains: Vec<Arc<[StepIx]>>,
    /// For each step what is said before its cue.
    sayings: Vec<Sayings>,
}

/// What is said before a now cue, in order.
pub(super) type Sayings = Arc<[(TextId, Cue)]>;

/// The brackets of one act, as far as its bounds tell before it is reported.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Expected {
    /// Which step.
    pub step: StepIx,
    /// The vehicle feels the first of it.
    pub begun: Bracket,
    /// It is complete.
    pub done: Bracket,
    /// The held thing is free, for a hold of a fixed length.
    pub released: Option<Bracket>,
}

impl Expected {
    /// The last of the act.
    pub fn end(&self) -> Bracket {
        self.released.unwrap_or(self.done)
    }
}

impl World {
    /// A run of this plan, with what never changes in it worked out.
    pub fn new(
        procedure: Arc<Procedure>,
        plan: Arc<Plan>,
        timing: Box<dyn Timing + Send>,
        speech: SpeechLengths,
    ) -> World {
        let quiet = Some(timing.quiet());
        let same = plan.quiet == quiet;
        let plan = if same { plan } else { Arc::new(Plan { quiet, ..Plan::clone(&plan) }) };
        let chains = plan.indexed().map(|(at, _)| plan.chain(at).into()).collect();
        let (way, sayings) = (Vec::new(), Vec::new());
        let mut world = World { procedure, plan, timing, speech, way, chains, sayings };
        world.way = world.hoped_way();
        let steps = world.plan.indexed().map(|(at, _)| at);
        world.sayings = steps.map(|at| world.say_before(at).into()).collect();
        world
    }

    /// The step with this index.
    pub fn step(&self, ix: StepIx) -> &PlanStep {
        self.plan.step(ix)
    }

    /// How long a text takes to say.
    pub fn speech(&self, text: TextId) -> Span {
        self.speech.of(text)
    }

    /// The now cue from its beginning to its end: tone and words.
    pub fn now_words(&self, step: &PlanStep) -> Span {
        now_words(&self.speech, step)
    }

    /// The acting person's bounds.
    pub fn actor(&self, step: &PlanStep) -> &Profile {
        person(&self.procedure, step.by)
    }

    /// From what was seen or done to the press.
    pub fn reports(&self, step: &PlanStep) -> Span {
        report_delay(&self.procedure, step)
    }

    /// The class of an ending.
    pub fn class(&self, ending: EndingId) -> EndingClass {
        let known = self.procedure.endings.get(ending.0 as usize);
        known.map_or(EndingClass::Unsure, |ending| ending.class)
    }

    /// How many tries a purse holds.
    pub fn tries(&self, purse: PurseId) -> u32 {
        self.procedure.purses.get(purse.0 as usize).map_or(0, |purse| purse.tries)
    }

    /// Where the hoped-for way leads from a step.
    pub fn hoped(&self, ix: StepIx) -> Next {
        self.plan.hoped(ix)
    }

    /// The steps of one stretch of hands: this one and all that follow straight on, up to the one
    /// whose answer is awaited. A stretch never turns back.
    pub fn chain(&self, ix: StepIx) -> &Arc<[StepIx]> {
        &self.chains[ix.0 as usize]
    }

    /// The nth caution before a stretch of hands.
    pub fn alert(&self, ix: StepIx, n: u32) -> Option<&Alert> {
        self.alerts(ix).nth(n as usize)
    }

    /// The cautions before a stretch of hands.
    pub fn alerts(&self, ix: StepIx) -> impl Iterator<Item = &Alert> {
        self.chain(ix).iter().flat_map(|step| &self.step(*step).alerts)
    }

    /// The nth reading asked before a stretch of hands.
    pub fn asked(&self, ix: StepIx, n: u32) -> Option<ReadingId> {
        self.asks(ix).nth(n as usize)
    }

    /// The readings asked before a stretch of hands.
    pub fn asks(&self, ix: StepIx) -> impl Iterator<Item = ReadingId> {
        self.chain(ix).iter().flat_map(|step| self.step(*step).asks.iter().copied())
    }

    /// What is said before the now cue of a step.
    pub fn sayings(&self, ix: StepIx) -> &Sayings {
        &self.sayings[ix.0 as usize]
    }

    /// The cautions where nobody can stop to acknowledge them, then what to take and where to stand,
    /// for every step of the stretch.
    fn say_before(&self, ix: StepIx) -> Vec<(TextId, Cue)> {
        let mut sayings = Vec::new();
        if !self.step(ix).rest_before {
            sayings.extend(self.alerts(ix).map(|alert| (alert.text, Cue::Caution)));
        }
        let announced = announced(&self.plan, ix).into_iter();
        sayings.extend(announced.map(|text| (text, Cue::Prepare)));
        sayings
    }

    /// The brackets of every act of a stretch whose now cue was given at `called`.
    pub fn expect(&self, chain: &[StepIx], called: Moment) -> Vec<Expected> {
        let Some(first) = chain.first().map(|ix| self.step(*ix)) else { return Vec::new() };
        let words = self.now_words(first).hi;
        let hands = hands(&self.procedure, first);
        let begun = Bracket {
            earliest: called.after(hands.lo),
            latest: called.after(words).after(hands.hi),
        };
        self.expect_from(chain, begun)
    }

    /// The same for a stretch that follows an act which ended within `end`: no cue, no reaction.
    pub fn expect_after(&self, chain: &[StepIx], end: Bracket) -> Vec<Expected> {
        let Some(first) = chain.first().map(|ix| self.step(*ix)) else { return Vec::new() };
        self.expect_from(chain, plus(end, first.walk.then(first.takes)))
    }

    fn expect_from(&self, chain: &[StepIx], begun: Bracket) -> Vec<Expected> {
        let mut begun = begun;
        let mut all = Vec::new();
        for (i, ix) in chain.iter().enumerate() {
            let step = self.step(*ix);
            if i > 0 {
                let before = all.last().map_or(begun, Expected::end);
                begun = plus(before, step.walk.then(step.takes));
            }
            let done = plus(begun, strokes(step));
            let released = match &step.hold {
                Some(Hold::For(range, ..)) => {
                    let let_go = self.let_go_due(step, done, *range);
                    Some(plus(
                        Bracket { earliest: let_go, latest: let_go.after(self.speech.jitter()) },
                        self.actor(step).reacts,
                    ))
                }
                _ => None,
            };
            all.push(Expected { step: *ix, begun, done, released });
        }
        all
    }

    /// The acts of a stretch once the end of the last is told: each lies as far before the next as the
    /// bounds of the hands between them allow. Where a bound was broken, nothing is concluded from it.
    pub fn told(&self, expected: &[Expected], told: Option<Bracket>) -> Vec<Expected> {
        let mut acts = expected.to_vec();
        let Some(mut end) = told else { return acts };
        for i in (0..acts.len()).rev() {
            let step = self.step(acts[i].step);
            let (narrowed, broken) = meet(acts[i].end(), end);
            match acts[i].released {
                Some(_) => acts[i].released = Some(narrowed),
                None => acts[i].done = narrowed,
            }
            if broken.is_some() {
                break;
            }
            if acts[i].released.is_none() {
                let begun = meet(acts[i].begun, minus(acts[i].done, strokes(step)));
                acts[i].begun = begun.0;
            }
            // A hold of a fixed length ends by the guide's word and tells nothing of its beginning.
            if i == 0 || acts[i].released.is_some() {
                break;
            }
            end = minus(acts[i].begun, step.walk.then(step.takes));
        }
        acts
    }

    /// The longest time from one moment of a stretch to a later one, along the hands between them:
    /// two moments of one stretch are never further apart than that, however late both are.
    pub fn apart(&self, acts: &[Expected], from: Anchor, to: Point) -> Option<Millis> {
        let first = acts.iter().position(|e| e.step == from.step)?;
        let last = acts.iter().position(|e| e.step == to.step)?;
        let order = [Mark::Begun, Mark::Done, Mark::Released];
        let place = |mark: Mark| order.iter().position(|other| *other == mark);
        let (from, to) = (place(Mark::of(from.event))?, place(to.mark)?);
        if (first, from) > (last, to) {
            return None;
        }
        let mut total = Millis::ZERO;
        for (i, e) in acts.iter().enumerate().take(last + 1).skip(first) {
            let step = self.step(e.step);
            let parts = [
                if i > first { step.walk.then(step.takes).hi } else { Millis::ZERO },
                strokes(step).hi,
                e.released.map_or(Millis::ZERO, |released| released.latest.since(e.done.earliest)),
            ];
            let begin = if i == first { from + 1 } else { 0 };
            let end = if i == last { to } else { 2 };
            total = (begin..=end).fold(total, |sum, part| sum.plus(parts[part]));
        }
        Some(total)
    }

    /// When the guide says let go, so that the thing was held long enough whenever it was taken:
    /// counted from the latest moment at which it can have been taken, the quickest hand allowed for.
    pub fn let_go_due(&self, step: &PlanStep, done: Bracket, range: Range) -> Moment {
        let exact = range.hi == Some(range.lo);
        let least = if exact { range.lo } else { range.lo.plus(CLOCK_ERROR) };
        done.latest.after(least).before(self.actor(step).reacts.lo).max(done.latest)
    }

    /// Where an anchor lies: in the stretch going on, or in what has happened.
    pub fn anchor(&self, anchor: Anchor, expected: &[Expected], known: &Known) -> Option<Bracket> {
        let own = expected.iter().find(|e| e.step == anchor.step);
        match (own, anchor.event) {
            (Some(e), Event::Begun) => Some(e.begun),
            (Some(e), Event::Done) => Some(e.done),
            (Some(e), Event::Released) => Some(e.end()),
            _ => known.get(Point::of(anchor)),
        }
    }

    /// The next step on the hoped-for way before which the run can rest.
    pub fn next_rest(&self, from: StepIx) -> Option<StepIx> {
        let mut at = from;
        for _ in 0..self.plan.steps.len() {
            match self.hoped(at) {
                Next::Step(next) if self.step(next).rest_before => return Some(next),
                Next::Step(next) => at = next,
                Next::End(_) => return None,
            }
        }
        None
    }

    /// The steps on the hoped-for way from the run's beginning, in order.
    fn hoped_way(&self) -> Vec<StepIx> {
        let mut way = Vec::new();
        let mut at = self.plan.entry;
        while let Some(Next::Step(ix)) = at {
            if way.contains(&ix) {
                break;
            }
            way.push(ix);
            at = Some(self.hoped(ix));
        }
        way
    }
}

/// Where the outcomes of a step lead, tries spent or not; not what a miss or a lost guard leads to.
pub(super) fn targets(step: &PlanStep) -> Vec<Next> {
    fn ends(target: &Target, all: &mut Vec<Next>) {
        all.push(target.first());
        if let Target::Again { spent, .. } = target {
            ends(spent, all);
        }
    }
    let mut all = Vec::new();
    if step.report != Report::Answer {
        all.push(step.go_on);
    }
    let met = step.met.iter().map(|met| &met.then);
    let silence = step.silence.iter().map(|silence| &silence.then);
    for target in met.chain(silence).chain([&step.otherwise, &step.slip]) {
        ends(target, &mut all);
    }
    all
}

/// A bracket a span later: bounds add.
pub(super) fn plus(bracket: Bracket, span: Span) -> Bracket {
    Bracket { earliest: bracket.earliest.after(span.lo), latest: bracket.latest.after(span.hi) }
}

/// A bracket a span earlier: what can have come before it.
fn minus(bracket: Bracket, span: Span) -> Bracket {
    Bracket { earliest: bracket.earliest.before(span.hi), latest: bracket.latest.before(span.lo) }
}

/// What both brackets allow. Where they share nothing a bound was broken: nobody knows which, so
/// both stay possible; also by how much (positive: later than the first allows).
pub(super) fn meet(bounds: Bracket, seen: Bracket) -> (Bracket, Option<Millis>) {
    let both = Bracket {
        earliest: bounds.earliest.max(seen.earliest),
        latest: bounds.latest.min(seen.latest),
    };
    if both.earliest <= both.latest {
        return (both, None);
    }
    let either = Bracket {
        earliest: bounds.earliest.min(seen.earliest),
        latest: bounds.latest.max(seen.latest),
    };
    let by = if seen.earliest > bounds.latest {
        seen.earliest.since(bounds.latest)
    } else {
        seen.latest.since(bounds.earliest)
    };
    (either, Some(by))
}
