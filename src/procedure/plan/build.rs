//! From unrolled steps to plan steps: names become indices, outcomes become targets.
//!
//! Takes a [`Flat`]; gives a [`Plan`] without what depends on paths (walking, hands, resting
//! points), and the complaints that arise while names are resolved.

use super::resolve::no_such_event;
use super::unroll::{Flat, Forward, Holds, Kind, Named};
use super::{
    Awake, Limit, Next, NoReturn, Plan, PlanGuard, PlanMet, PlanSilence, PlanStep, PlanWindow,
    Report, StepIx, Target, Thing, Value, choose,
};
use crate::clock::{Millis, Span};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    Counted, EndingId, Guard, HandCount, HowMany, ItemId, Met, Node, Outcome, PlaceId, Ref, SignId,
    Step, Stretch, Turns, WayId, Window,
};
use crate::source::Place;
use std::collections::BTreeMap;

/// The built-in ending `unsure`.
pub(super) const UNSURE: EndingId = EndingId(2);

/// Builds the plan of a flat list.
pub(super) struct Builder<'p> {
    pub flat: Flat<'p>,
    pub(super) ways: BTreeMap<(WayId, usize, usize), Forward>,
    pub found: Vec<Complaint>,
    /// Steps whose way forward runs off the end.
    pub falls_off: Vec<StepIx>,
}

/// A step's number in the plan.
pub(super) fn ix(step: usize) -> StepIx {
    StepIx(u32::try_from(step).unwrap_or(u32::MAX))
}

impl<'p> Builder<'p> {
    pub fn new(mut flat: Flat<'p>) -> Builder<'p> {
        let found = std::mem::take(&mut flat.found);
        Builder { flat, ways: BTreeMap::new(), found, falls_off: Vec::new() }
    }

    /// The plan, path facts not yet filled in.
    pub fn plan(&mut self) -> Plan {
        let mut plan = Plan {
            choices: self.flat.choices.clone(),
            main: ix(self.flat.main).0,
            entry: Some(self.next(self.flat.entry)),
            ..Plan::default()
        };
        // The list grows while retries add the steps of their parts.
        while plan.steps.len() < self.flat.steps.len() {
            let step = self.step(plan.steps.len());
            plan.steps.push(step);
        }
        plan.guards = self.guards(plan.steps.len());
        while plan.steps.len() < self.flat.steps.len() {
            let step = self.step(plan.steps.len());
            plan.steps.push(step);
        }
        plan.no_returns = self.no_returns();
        plan.limits = self.limits();
        plan.awake = self.awake();
        plan.things = self.things();
        plan
    }

    pub(super) fn next(&self, forward: Forward) -> Next {
        match forward {
            Forward::Step(step) => Next::Step(ix(step)),
            Forward::End(ending) => Next::End(ending),
            Forward::Off => Next::End(UNSURE),
        }
    }

    fn step(&mut self, at: usize) -> PlanStep {
        let step = self.flat.steps[at].step;
        let scope = self.flat.steps[at].scope;
        let forward = self.flat.steps[at].next;
        let things = |refs: &[Ref<ItemId>]| -> Vec<Thing> {
            refs.iter().filter_map(|r| self.flat.thing(scope, r)).collect()
        };
        let with = things(&step.with);
        let (take, put_down) = (things(&step.take), things(&step.put_down));
        let thing = self.flat.new_thing(scope);
        let (takes, takes_basis, takes_place) = takes(step);
        let otherwise = self.head_outcome(at, |s| s.otherwise.as_ref());
        let otherwise = otherwise.unwrap_or(Target::To(Next::End(UNSURE)));
        let slip = self.head_outcome(at, |s| s.slip.as_ref()).unwrap_or_else(|| otherwise.clone());
        let windows = self.windows(at);
        let missable = windows.iter().any(|w| w.range.hi.is_some());
        let late = if missable { self.head_outcome(at, |s| s.late.as_ref()) } else { None };
        let met = self.met(at);
        let silence = self.silence(at);
        let blind = met.is_empty() && silence.is_none();
        if blind && forward == Forward::Off {
            self.falls_off.push(ix(at));
        }
        PlanStep {
            name: step.name.clone(),
            place: step.place,
            turn: self.flat.turn(scope),
            thing: thing.map(|(_, thing)| thing),
            by: step.by,
            at: step
                .at
                .as_ref()
                .and_then(|r| self.flat.place(scope, r))
                .unwrap_or(PlaceId(u32::MAX)),
            walk: Span::ZERO,
            away: self.away(at, &with),
            with,
            in_hand: Vec::new(),
            take,
            put_down,
            hands: step.hands.unwrap_or(if step.only_watch {
                HandCount::None
            } else {
                HandCount::One
            }),
            text: step.text,
            prepare: step.prepare.unwrap_or(step.text),
            say: step.say,
            say_lasting: step.say_lasting,
            alerts: step.alerts.clone(),
            ways: step.ways.iter().map(|(text, _)| *text).collect(),
            only_watch: step.only_watch,
            takes,
            takes_basis,
            takes_place,
            straight_on: step.straight_on,
            report: self.report(at, blind),
            count: step.count.as_ref().map(|count| (self.strokes(step, count), count.clone())),
            hold: step.hold.first().cloned(),
            or_hold: step.hold.get(1..).unwrap_or_default().to_vec(),
            lets_go: self.lets_go(at),
            windows,
            met,
            silence,
            otherwise,
            slip,
            late,
            go_on: self.next(forward),
            asks: self.asks(step),
            break_off: self.head(at, |s| s.break_off),
            rest_before: false,
            breath_before: false,
            free: false,
            closes_thing: thing.is_some_and(|(turn, _)| self.flat.scopes[turn].to == at + 1),
        }
    }

    fn asks(&self, step: &Step) -> Vec<crate::procedure::model::ReadingId> {
        let late = |r: &crate::procedure::model::ReadingId| {
            self.flat.procedure.readings.get(r.0 as usize).is_some_and(|reading| !reading.before)
        };
        step.asks.iter().copied().filter(late).collect()
    }

    /// A run of acts has one report: an act that the next follows at once is not reported.
    fn report(&self, at: usize, blind: bool) -> Report {
        let FlatNext { straight, no_report } = self.flat_next(at);
        if !blind {
            Report::Answer
        } else if no_report || straight {
            Report::None
        } else {
            Report::Act
        }
    }

    fn flat_next(&self, at: usize) -> FlatNext {
        let straight = match self.flat.steps[at].next {
            Forward::Step(next) => self.flat.steps[next].step.straight_on,
            _ => false,
        };
        FlatNext { straight, no_report: self.flat.steps[at].step.no_report }
    }

    /// How many strokes: as written, as the reading says, or as many as fit before silence.
    fn strokes(&self, step: &Step, count: &Counted) -> u32 {
        match count.how_many {
            HowMany::Exactly(n) => n,
            HowMany::Reading(reading) => {
                let answer = match self.flat.choices.answer(reading) {
                    Some(Value::Number(n)) => Some(*n),
                    _ => choose::plausible(self.flat.procedure, reading).map(|(_, hi)| hi),
                };
                answer.and_then(|n| u32::try_from(n / 1000).ok()).unwrap_or(1).max(1)
            }
            HowMany::UntilAnswered => {
                let longest = step.silence.iter().map(|s| s.within.0).max();
                let every = count.every.map(|e| e.lo.0).filter(|e| *e > 0);
                let most = longest.zip(every).map_or(0, |(within, every)| within / every);
                u32::try_from(most.saturating_add(1)).unwrap_or(1)
            }
        }
    }

    fn lets_go(&mut self, at: usize) -> Option<StepIx> {
        let (name, place) = self.flat.steps[at].step.lets_go.as_ref()?;
        match self.flat.find(at, std::slice::from_ref(name), false) {
            Some(Named::Step(held)) if held < at => Some(ix(held)),
            _ => {
                let event = format!("{name} begun");
                self.found
                    .push(Complaint::new(Code::EventNotHappened, *place).with("event", event));
                None
            }
        }
    }

    fn away(&self, at: usize, with: &[Thing]) -> Vec<(Thing, crate::procedure::model::TextId)> {
        let mut away = Vec::new();
        for stretch in self.stretches(at) {
            for (item, text, _) in &stretch.away {
                let group = self.flat.procedure.items.get(item.0 as usize).is_some_and(|i| i.group);
                let many =
                    if group { self.flat.choices.count(self.flat.procedure, *item) } else { 1 };
                let things = (0..many).map(|nth| Thing { item: *item, nth });
                away.extend(things.filter(|t| !with.contains(t)).map(|t| (t, *text)));
            }
        }
        away
    }

    /// What holds at a step, innermost first: its own, then every scope's around it.
    fn stretches(&self, at: usize) -> Vec<&'p Stretch> {
        let flat = &self.flat.steps[at];
        let heads = self.flat.around(flat.scope).filter_map(|s| self.flat.scopes[s].head);
        std::iter::once(&flat.step.own).chain(heads).collect()
    }

    fn head<T>(&self, at: usize, of: impl Fn(&'p Stretch) -> Option<T>) -> Option<T> {
        self.stretches(at).into_iter().find_map(of)
    }

    fn head_outcome(
        &mut self,
        at: usize,
        of: impl Fn(&'p Stretch) -> Option<&'p Outcome>,
    ) -> Option<Target> {
        let outcome = self.head(at, of)?;
        Some(self.target(at, outcome))
    }

    fn in_turn(&self, at: usize, turns: Option<Turns>) -> bool {
        let turn = self.flat.turn(self.flat.steps[at].scope);
        match (turns, turn) {
            (None | Some(Turns::FirstTry), _) | (_, None) => true,
            (Some(Turns::FirstTurn), Some((nth, _))) => nth == 0,
            (Some(Turns::LaterTurns), Some((nth, _))) => nth > 0,
            (Some(Turns::EarlierTurns), Some((nth, of))) => nth + 1 < of,
            (Some(Turns::LastTurn), Some((nth, of))) => nth + 1 == of,
        }
    }

    fn windows(&mut self, at: usize) -> Vec<PlanWindow> {
        let step = self.flat.steps[at].step;
        let mut windows = Vec::new();
        for window in &step.windows {
            if !self.in_turn(at, window.turns) {
                continue;
            }
            if let Some(because) = self.lacks(at, window.subject) {
                self.found.push(no_such_event(&step.name, window.subject, because, window.place));
            }
            windows.extend(self.window(at, window));
        }
        windows
    }

    fn window(&mut self, at: usize, window: &Window) -> Option<PlanWindow> {
        Some(PlanWindow {
            subject: window.subject,
            range: window.range,
            anchor: self.anchor(at, &window.anchor)?,
            first_try_only: window.turns == Some(Turns::FirstTry),
            basis: window.basis.clone(),
            place: window.place,
        })
    }

    fn met(&mut self, at: usize) -> Vec<PlanMet> {
        let step = self.flat.steps[at].step;
        let mut all = Vec::new();
        for met in &step.met {
            if !self.in_turn(at, met.turns) {
                continue;
            }
            let Some(anchor) = self.anchor(at, &met.anchor) else { continue };
            all.push(PlanMet {
                signs: met.signs.clone(),
                delay: met.delay,
                anchor,
                recognise: self.recognise(met),
                then: self.target(at, &met.so),
                basis: met.basis.clone(),
                place: met.place,
            });
        }
        all
    }

    /// All signs must be known: each is watched, and a count waits for its quiet.
    fn recognise(&self, met: &Met) -> Span {
        let one = |id: &SignId| {
            let sign = self.flat.procedure.signs.get(id.0 as usize)?;
            Some(sign.lasting.then(Span::exactly(sign.quiet)))
        };
        met.signs
            .iter()
            .filter_map(one)
            .fold(Span::ZERO, |all, sign| Span::new(all.lo.max(sign.lo), all.hi.max(sign.hi)))
    }

    fn silence(&mut self, at: usize) -> Option<PlanSilence> {
        let step = self.flat.steps[at].step;
        let silence = step.silence.iter().find(|s| self.in_turn(at, s.turns))?;
        Some(PlanSilence {
            within: silence.within,
            anchor: self.anchor(at, &silence.anchor)?,
            then: self.target(at, &silence.so),
            basis: silence.basis.clone(),
            place: silence.place,
        })
    }

    /// Every guard, cut into ranges of steps with one and the same target.
    fn guards(&mut self, steps: usize) -> Vec<PlanGuard> {
        let mut all: Vec<PlanGuard> = Vec::new();
        let mut steps = steps;
        let mut at = 0;
        while at < steps {
            let guards: Vec<&'p Guard> =
                self.stretches(at).into_iter().flat_map(|s| s.guards.iter()).collect();
            for guard in guards {
                let lost = self.target(at, &guard.lost);
                let same = all.iter_mut().rfind(|g| g.place == guard.place && g.text == guard.text);
                match same {
                    Some(same) if same.to.0 + 1 == ix(at).0 && same.lost == lost => {
                        same.to = ix(at);
                    }
                    _ => all.push(PlanGuard {
                        text: guard.text,
                        forbids: guard.forbids,
                        watched: guard.watched.clone(),
                        from: ix(at),
                        to: ix(at),
                        lost,
                        place: guard.place,
                    }),
                }
            }
            at += 1;
            steps = self.flat.steps.len();
        }
        all
    }

    fn no_returns(&self) -> Vec<NoReturn> {
        let of = |point: &super::unroll::FlatNoReturn<'_>| {
            let (Forward::Step(before), Node::NoWayBack { text, safe, place }) =
                (point.before, point.node)
            else {
                return None;
            };
            Some(NoReturn { before: ix(before), text: *text, safe: *safe, place: *place })
        };
        self.flat.no_returns.iter().filter_map(of).collect()
    }

    /// Limits of every scope, at its last step.
    fn limits(&mut self) -> Vec<Limit> {
        let mut all = Vec::new();
        for scope in 0..self.flat.scopes.len() {
            let (from, to) = (self.flat.scopes[scope].from, self.flat.scopes[scope].to);
            let Some(head) = self.flat.scopes[scope].head.filter(|_| from < to) else { continue };
            let last = to - 1;
            for window in &head.limits {
                if !self.in_turn(last, window.turns) {
                    continue;
                }
                let Some(anchor) = self.anchor(last, &window.anchor) else { continue };
                let late = self.late_around(scope, last);
                all.push(Limit {
                    from: ix(from),
                    to: ix(last),
                    range: window.range,
                    anchor,
                    late,
                    basis: window.basis.clone(),
                    place: window.place,
                });
            }
        }
        all
    }

    fn late_around(&mut self, scope: usize, at: usize) -> Option<Target> {
        let heads = self.flat.around(scope).filter_map(|s| self.flat.scopes[s].head);
        let late = heads.filter_map(|h| h.late.as_ref()).next()?;
        Some(self.target(at, late))
    }

    fn awake(&self) -> Vec<Awake> {
        let mut all: Vec<Awake> = Vec::new();
        for at in 0..self.flat.steps.len() {
            for (every, text, place) in self.stretches(at).into_iter().flat_map(|s| s.awake.iter())
            {
                let awake = all.iter().position(|a| a.place == *place && a.text == *text);
                let awake = awake.unwrap_or_else(|| {
                    let (every, text, place) = (*every, *text, *place);
                    all.push(Awake { every, text, stretches: Vec::new(), place });
                    all.len() - 1
                });
                match all[awake].stretches.last_mut() {
                    Some((_, to)) if to.0 + 1 == ix(at).0 => *to = ix(at),
                    _ => all[awake].stretches.push((ix(at), ix(at))),
                }
            }
        }
        all
    }

    fn things(&self) -> Vec<Thing> {
        let mut things = Vec::new();
        for (nth, scope) in self.flat.scopes.iter().enumerate() {
            if let Kind::Turn { holds: Some(Holds::Thing(thing)), .. } = scope.kind
                && self.flat.new_thing(nth).is_some_and(|(s, _)| s == nth)
                && !things.contains(&thing)
            {
                things.push(thing);
            }
        }
        things
    }
}

struct FlatNext {
    straight: bool,
    no_report: bool,
}

/// The hull of all equally good ways, with the ground of the step's own line.
fn takes(step: &Step) -> (Span, crate::procedure::model::Basis, Place) {
    let ways = step.ways.iter().filter_map(|(_, span)| *span).reduce(Span::hull);
    let own = step.takes.as_ref();
    let span = match (own.map(|t| t.span), ways) {
        (Some(own), Some(ways)) => own.hull(ways),
        (own, ways) => own.or(ways).unwrap_or(Span::exactly(Millis::ZERO)),
    };
    let basis = own.map(|t| t.basis.clone()).unwrap_or_default();
    (span, basis, own.map_or(step.place, |t| t.place))
}
