//! The proof as the guide asks it: fills [`Timing`] from the networks ahead of each cue.
//!
//! Takes a plan; gives earliest and latest moments. What can be come to while the bounds are kept is
//! worked out before the run; what only a broken bound leads to, when it is first asked for. An answer
//! is then a handful of sums. It is never later than the plain window arithmetic.

use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::compile::WindowKey;
use super::compile::ahead::{Matters, Standing, visits};
use super::quiet::hush;
use super::table::{Given, Table};
use super::ways::ways;
use crate::clock::Moment;
use crate::procedure::model::Procedure;
use crate::procedure::plan::{Limit, Plan, Quiet, StepIx};
use crate::procedure::timing::{
    CueTimes, Known, Mark, PlainTiming, Point, Promise, SpeechLengths, Timing, What, Why, prompt,
};
use crate::source::Place;

/// So many points of networks are worked out before the run; the rest when it is asked for.
const MOST_BEFORE: usize = 40_000;

/// The timing that a guide is led by, made for its settings.
#[must_use]
pub fn network(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
) -> Box<dyn Timing + Send> {
    Box::new(NetworkTiming::new(procedure, plan, speech))
}

/// Timing by the proof's networks. A copy shares what is worked out.
#[derive(Clone, Debug)]
pub struct NetworkTiming {
    shared: Arc<Shared>,
}

#[derive(Debug)]
struct Shared {
    procedure: Procedure,
    /// The plan, once for each choice of ways of holding.
    ways: Vec<Plan>,
    speech: SpeechLengths,
    plain: PlainTiming,
    /// For each step the stretch of hands that begins with it.
    chains: Vec<Vec<StepIx>>,
    /// For each step the steps from whose cue it is come to without another.
    begins: Vec<Vec<StepIx>>,
    /// For each step what matters for its cue, once that is asked.
    matters: Vec<OnceLock<Matters>>,
    /// For each step what was worked out for its cue, by what stands before it.
    tables: Mutex<Vec<Tables>>,
}

/// The latest safe moment of a cue.
struct LatestCue {
    step: StepIx,
    latest: Moment,
    why: Why,
}

/// The tables of one cue.
type Tables = Vec<(Standing, Arc<Table>)>;

impl NetworkTiming {
    /// Works out every cue that can be come to while the script's bounds are kept.
    #[must_use]
    pub fn new(procedure: &Procedure, plan: &Plan, speech: &SpeechLengths) -> NetworkTiming {
        let mut ways = ways(plan).unwrap_or_else(|_| vec![plan.clone()]);
        // Nobody stops it: it has been proven before the run, or is small.
        let _ = hush(procedure, &mut ways, speech, &|| false);
        let chains: Vec<_> = plan.indexed().map(|(at, _)| plan.chain(at)).collect();
        let mut begins = vec![Vec::new(); plan.steps.len()];
        for (at, _) in plan.indexed().filter(|(_, step)| !step.straight_on) {
            for step in &chains[at.0 as usize] {
                begins[step.0 as usize].push(at);
            }
        }
        let shared = Shared {
            procedure: procedure.clone(),
            plain: PlainTiming::new(procedure, plan, speech),
            matters: plan.steps.iter().map(|_| OnceLock::new()).collect(),
            tables: Mutex::new(vec![Vec::new(); plan.steps.len()]),
            speech: speech.clone(),
            chains,
            begins,
            ways,
        };
        shared.prepare();
        NetworkTiming { shared: Arc::new(shared) }
    }

    /// How many cues are worked out so far.
    #[must_use]
    pub fn worked_out(&self) -> usize {
        let tables = self.shared.tables.lock().unwrap_or_else(PoisonError::into_inner);
        tables.iter().map(Vec::len).sum()
    }

    /// The table of a step's cue as things stand; `way`: for the nth choice of ways of holding alone.
    #[must_use]
    pub fn table(&self, at: StepIx, known: &Known, way: usize) -> Option<(Given<'_>, Table)> {
        let Shared { procedure, ways, speech, .. } = &*self.shared;
        let given = Given { procedure, plan: ways.get(way)?, speech };
        let standing = self.shared.matters(at)?.now(at, known);
        Some((given, Table::new(given, at, &standing)))
    }
}

impl Shared {
    fn prepare(&self) {
        let mut points = 0;
        let all = self.ways.first().map(|plan| visits(&self.procedure, plan, &self.speech));
        for (at, standing) in all.unwrap_or_default() {
            points += self.work_out(at, standing).points();
            if points > MOST_BEFORE {
                return;
            }
        }
    }

    fn matters(&self, at: StepIx) -> Option<&Matters> {
        let plan = self.ways.first()?;
        Some(self.matters.get(at.0 as usize)?.get_or_init(|| Matters::ahead_of(plan, at)))
    }

    /// Works out the cue of a step.
    fn work_out(&self, at: StepIx, standing: Standing) -> Arc<Table> {
        let mut table = Table::default();
        for plan in &self.ways {
            let given = Given { procedure: &self.procedure, plan, speech: &self.speech };
            table.join(Table::new(given, at, &standing));
        }
        let table = Arc::new(table);
        let mut tables = self.tables.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(of_step) = tables.get_mut(at.0 as usize) {
            of_step.push((standing, Arc::clone(&table)));
        }
        table
    }

    /// The table that counts for the cue of a step now.
    fn now(&self, at: StepIx, known: &Known) -> Arc<Table> {
        let Some(matters) = self.matters(at) else { return Arc::default() };
        // A thread that died while it held this has left nothing half done in here.
        let mut tables = self.tables.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(of_step) = tables.get_mut(at.0 as usize) {
            let made = of_step.iter().position(|(standing, _)| matters.is(standing, at, known));
            if let Some(made) = made {
                // The same is mostly asked again.
                of_step.swap(0, made);
                return of_step.first().map(|(_, table)| Arc::clone(table)).unwrap_or_default();
            }
        }
        drop(tables);
        self.work_out(at, matters.now(at, known))
    }

    /// The latest safe cue of a step and the sentence that binds it.
    fn latest_cue(&self, at: StepIx, known: &Known) -> Option<(Moment, Why)> {
        self.latest_by(&self.now(at, known), at, known)
    }

    /// The same by the table that counts now.
    fn latest_by(&self, table: &Table, at: StepIx, known: &Known) -> Option<(Moment, Why)> {
        let risky = table.at_risk();
        let hopeless = |step: StepIx, what: What, place: Place| {
            let same =
                |key: &WindowKey| key.place == place && (key.step == step || what == What::Limit);
            risky.is_some_and(|keys| keys.iter().any(same))
        };
        let cue = Point { step: at, mark: Mark::Called };
        let plain = self.plain.latest_where(cue, known, &hopeless);
        let network = table.latest(known);
        match (plain, network) {
            (Some(plain), Some((at, why))) if at < plain.0 => Some((at, why.unwrap_or(plain.1))),
            (Some(plain), _) => Some(plain),
            // A limit without a sentence cannot be told, and there is none: every upper end has one.
            (None, network) => network.and_then(|(at, why)| Some((at, why?))),
        }
    }

    /// The latest safe act: by its own windows, and not later than it can be after the latest cue.
    fn latest_act(
        &self,
        point: Point,
        cue: Option<&LatestCue>,
        known: &Known,
    ) -> Option<(Moment, Why)> {
        let own = self.plain.latest_where(point, known, &|_, _, _| false);
        let ahead = cue.and_then(|cue| {
            let reach = self.plain.reach(cue.step, point)?;
            Some((cue.latest.after(reach), cue.why))
        });
        own.into_iter().chain(ahead).min_by_key(|(at, _)| *at)
    }

    /// The cue that was given for the act of a step, and how late it was safe.
    fn cue_of(&self, act: StepIx, known: &Known) -> Option<LatestCue> {
        let called = |step: &StepIx| {
            let called = known.get(Point { step: *step, mark: Mark::Called })?;
            Some((called.latest, *step))
        };
        let (_, step) = self.begins.get(act.0 as usize)?.iter().filter_map(called).max()?;
        let (latest, why) = self.latest_cue(step, known)?;
        Some(LatestCue { step, latest, why })
    }

    /// Whether a window or limit binds something of the stretch that begins with `first`.
    fn binds(&self, key: WindowKey, first: StepIx) -> bool {
        let Some(chain) = self.chains.get(first.0 as usize) else { return false };
        let limits = self.ways.first().map_or(&[][..], |plan| &plan.limits);
        let holds = |l: &&Limit| l.from <= key.step && key.step <= l.to;
        let limit = limits.iter().find(|l| l.place == key.place && holds(l));
        chain.iter().any(|step| match limit {
            Some(limit) => limit.from <= *step && *step <= limit.to,
            None => *step == key.step,
        })
    }

    /// What the table of a step's cue promises.
    fn promise_by(&self, table: &Table, at: StepIx) -> Promise {
        match table.at_risk() {
            Some(keys) if keys.is_empty() => Promise::All,
            Some(keys) if keys.iter().any(|key| self.binds(*key, at)) => Promise::AtRisk,
            None if self.has_windows(at) => Promise::AtRisk,
            Some(_) | None => Promise::Own,
        }
    }

    fn has_windows(&self, first: StepIx) -> bool {
        let steps = self.chains.get(first.0 as usize).into_iter().flatten();
        let plan = self.ways.first();
        steps.into_iter().any(|at| plan.is_some_and(|plan| !plan.step(*at).windows.is_empty()))
    }

    fn bound(&self, point: Point, known: &Known) -> Option<(Moment, Why)> {
        match point.mark {
            Mark::Called => self.latest_cue(point.step, known),
            Mark::Prepare | Mark::Prepared => {
                let (latest, why) = self.latest_cue(point.step, known)?;
                let plan = self.ways.first().filter(|_| point.mark == Mark::Prepare);
                let words = plan.map(|plan| prompt(plan, &self.speech, point.step).hi);
                Some((latest.before(words.unwrap_or_default()), why))
            }
            Mark::Begun | Mark::Done | Mark::Released => {
                self.latest_act(point, self.cue_of(point.step, known).as_ref(), known)
            }
            _ => self.plain.latest_where(point, known, &|_, _, _| false),
        }
    }
}

impl Timing for NetworkTiming {
    fn earliest(&self, point: Point, known: &Known) -> Moment {
        let plain = self.shared.plain.earliest(point, known);
        match point.mark {
            Mark::Called => plain.max(self.shared.now(point.step, known).earliest(known)),
            _ => plain,
        }
    }

    fn latest(&self, point: Point, known: &Known) -> Option<Moment> {
        self.shared.bound(point, known).map(|(latest, _)| latest)
    }

    fn why(&self, point: Point, known: &Known) -> Option<Why> {
        self.shared.bound(point, known).map(|(_, why)| why)
    }

    fn bound(&self, point: Point, known: &Known) -> Option<(Moment, Option<Why>)> {
        self.shared.bound(point, known).map(|(latest, why)| (latest, Some(why)))
    }

    fn closes(&self, point: Point, known: &Known) -> Option<(Moment, Why)> {
        self.shared.plain.latest_where(point, known, &|_, _, _| false)
    }

    fn quiet(&self) -> Quiet {
        self.shared.ways.first().and_then(|plan| plan.quiet.clone()).unwrap_or_default()
    }

    fn promise(&self, cue: Point, known: &Known) -> Promise {
        self.shared.promise_by(&self.shared.now(cue.step, known), cue.step)
    }

    fn cue(&self, step: StepIx, known: &Known) -> CueTimes {
        let table = self.shared.now(step, known);
        let plain = self.shared.plain.earliest(Point { step, mark: Mark::Called }, known);
        let latest = self.shared.latest_by(&table, step, known);
        CueTimes {
            earliest: plain.max(table.earliest(known)),
            bound: latest.map(|(latest, why)| (latest, Some(why))),
            promise: self.shared.promise_by(&table, step),
        }
    }

    fn act(&self, step: StepIx, known: &Known) -> [Option<(Moment, Option<Why>)>; 3] {
        let cue = self.shared.cue_of(step, known);
        Mark::OF_ACTS.map(|mark| {
            let latest = self.shared.latest_act(Point { step, mark }, cue.as_ref(), known);
            latest.map(|(at, why)| (at, Some(why)))
        })
    }
}
