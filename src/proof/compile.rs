//! From a plan to networks: every outcome, every retry, every hand and vehicle inside its bounds.
//!
//! Takes a procedure, its plan and the lengths of its prompts; gives one [`Segment`] for each resting
//! point that can be reached: the union of all branches from there up to the next resting points.
//! A resting point is a step behind which no window, limit or answer reaches (`rest_before`), so what
//! was before it does not matter, and segments are checked apart. Retries inside a segment are
//! unrolled.
//!
//! Cues are points that the guide decides; reports are links that nature decides; acts, answers and
//! releases are hidden ([`Hidden`]). What is spoken before a cue delays it by its longest length,
//! exactly as the guide itself waits for it.

use super::hidden::{Ground, Hidden, Leg, grounds};
use super::network::{EdgeTag, Network, NetworkError, Point};
use crate::clock::{Millis, Span};
use crate::procedure::model::{
    CLOCK_ERROR, CUE_JITTER, Event, Hold, HowMany, Procedure, PurseId, Range,
};
use crate::procedure::plan::{
    Limit, Next, Plan, PlanMet, PlanStep, PlanWindow, Report, StepIx, Target, person,
};
use crate::procedure::timing::{
    Bracket, Known, Mark, Point as Named, SpeechLengths, What, hands, now_words, prompt,
    report_delay, strokes,
};
use crate::source::Place;
use std::collections::{BTreeMap, BTreeSet};

/// The most points of one segment.
pub const MOST_SEGMENT_POINTS: usize = 4_000;

/// The union network of all branches between resting points.
#[derive(Clone, Debug)]
pub struct Segment {
    /// The resting point (or the step of a run going on) where it begins.
    pub start: StepIx,
    /// The network.
    pub network: Network,
    /// For each tag, the sentences behind the edge.
    pub grounds: Vec<Vec<Ground>>,
    /// For each link's tag, what it is made of.
    pub legs: BTreeMap<u32, Vec<Leg>>,
    /// Windows whose anchor could be counted from its cue or from its report.
    pub forms: BTreeSet<WindowKey>,
    /// Every cue, in the order of making: the first of a step is the one on its first try.
    pub cues: Vec<(StepIx, Point)>,
    /// Every window and limit that was laid on the network.
    pub demands: Vec<Demand>,
    /// Resting points that its branches lead to.
    pub leads: BTreeSet<StepIx>,
    /// Answers with one continuation share a link: sound, and perhaps stricter than needed.
    pub merged: bool,
    /// A window whose anchor lies before the segment: it could not be laid.
    pub unanchored: Option<Place>,
    /// The points of each branch's end, with the step that ends it.
    pub ends: Vec<(StepIx, Point)>,
}

/// A window in one place of one branch.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WindowKey {
    /// Its step.
    pub step: StepIx,
    /// Its line.
    pub place: Place,
}

/// A window or limit laid on the network.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Demand {
    /// Which.
    pub key: WindowKey,
    /// Its bound in the network; `None` where it is a sum of constants.
    pub bound: Option<usize>,
    /// The sum left over where it is one of constants.
    pub left: Option<Millis>,
    /// Measured from this point.
    pub from: Point,
    /// The cue that it binds.
    pub cue: Point,
    /// The window's own upper end.
    pub length: Millis,
}

/// Why no segment could be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TooLarge {
    /// Too many points: this step's retries (or the choices behind it) explode.
    Points(StepIx),
    /// A sum of lengths beyond what a network holds.
    Length(StepIx),
}

/// How each window is written where it has two forms; a missing one is told.
pub type Forms = BTreeSet<WindowKey>;

/// A moment in all its forms: from the cue first, from the report last.
type Shapes = Vec<Hidden>;

#[derive(Clone, Debug, Default)]
struct Path {
    seen: BTreeMap<Named, Shapes>,
    used: BTreeMap<PurseId, u32>,
    entered: BTreeSet<StepIx>,
    /// Un-happens when it is entered.
    back: Option<StepIx>,
}

/// How a step is come to.
#[derive(Clone, Debug, Default)]
struct Entry {
    /// The end of the step above.
    over: Option<Point>,
    /// A cool-down, and its sentence.
    cool: Option<(Millis, Place)>,
    /// The cue during which something was already prepared, when that is said to its end, and for
    /// which step.
    ahead: Option<(Point, Millis, StepIx)>,
    /// The end of the act above, for a step that goes straight on.
    act: Option<Hidden>,
}

struct Work {
    at: StepIx,
    entry: Entry,
    path: Path,
}

/// What comes after an outcome.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Onward {
    End,
    Step { enter: StepIx, retry: Option<(PurseId, StepIx, Millis, Place)> },
}

/// Compiles the segment that begins at a resting point, with these windows in their form from the
/// cue.
///
/// # Errors
/// [`TooLarge`] where the branches explode.
pub fn segment(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
    start: StepIx,
    forms: &Forms,
) -> Result<Segment, TooLarge> {
    let mut maker = Maker::new(procedure, plan, speech, start, forms);
    maker.work.push(Work { at: start, entry: Entry::default(), path: Path::default() });
    maker.run()?;
    Ok(maker.made)
}

/// Compiles what is left of a run before the cue of `start`, with what is known so far. The first
/// point of the network is the run's start, moment 0.
///
/// # Errors
/// [`TooLarge`] where the branches explode.
pub fn residual(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
    start: StepIx,
    known: &Known,
) -> Result<Segment, TooLarge> {
    let forms = Forms::new();
    let mut maker = Maker::new(procedure, plan, speech, start, &forms);
    let zero = maker.point(start)?;
    let mut path = Path::default();
    for (named, Bracket { earliest, latest }) in known.iter() {
        let span = Span::new(Millis(earliest.0), Millis(latest.0));
        let leg = maker.leg(span, start, plan.step(named.step).place, What::Order);
        path.seen.insert(named, vec![Hidden::seen(zero).then(leg)]);
        path.entered.insert(named.step);
    }
    path.entered.remove(&start);
    let entry =
        Entry { over: Some(zero), ahead: Some((zero, Millis::ZERO, start)), ..Entry::default() };
    maker.work.push(Work { at: start, entry, path });
    maker.run()?;
    Ok(maker.made)
}

struct Maker<'a> {
    procedure: &'a Procedure,
    plan: &'a Plan,
    speech: &'a SpeechLengths,
    forms: &'a Forms,
    made: Segment,
    work: Vec<Work>,
    legs: u32,
}

impl<'a> Maker<'a> {
    fn new(
        procedure: &'a Procedure,
        plan: &'a Plan,
        speech: &'a SpeechLengths,
        start: StepIx,
        forms: &'a Forms,
    ) -> Maker<'a> {
        let made = Segment {
            start,
            network: Network::new(),
            grounds: vec![Vec::new()],
            legs: BTreeMap::new(),
            forms: BTreeSet::new(),
            cues: Vec::new(),
            demands: Vec::new(),
            leads: BTreeSet::new(),
            merged: false,
            unanchored: None,
            ends: Vec::new(),
        };
        Maker { procedure, plan, speech, forms, made, work: Vec::new(), legs: 0 }
    }

    fn run(&mut self) -> Result<(), TooLarge> {
        while let Some(work) = self.work.pop() {
            self.stretch(work)?;
        }
        Ok(())
    }

    // ---- small parts ----

    fn point(&mut self, at: StepIx) -> Result<Point, TooLarge> {
        if self.made.network.point_count() >= MOST_SEGMENT_POINTS {
            return Err(TooLarge::Points(at));
        }
        self.made.network.add_point().map_err(|_| TooLarge::Points(at))
    }

    fn tag(&mut self, grounds: Vec<Ground>) -> EdgeTag {
        self.made.grounds.push(grounds);
        EdgeTag(u32::try_from(self.made.grounds.len() - 1).unwrap_or(u32::MAX))
    }

    fn leg(&mut self, span: Span, step: StepIx, place: Place, what: What) -> Leg {
        self.legs += 1;
        Leg { id: self.legs, span, step, place, what }
    }

    fn too_long(at: StepIx) -> impl Fn(NetworkError) -> TooLarge {
        move |_| TooLarge::Length(at)
    }

    /// `to` not before `from` and this long.
    fn after(
        &mut self,
        from: Point,
        to: Point,
        by: Vec<Ground>,
        at: StepIx,
    ) -> Result<(), TooLarge> {
        let wait = by.iter().fold(Millis::ZERO, |sum, ground| sum.minus(ground.length));
        let tag = self.tag(by);
        let most = Millis::ZERO.minus(wait);
        self.made.network.add_bound(to, from, most, tag).map_err(Self::too_long(at))
    }

    /// `to` exactly this long after `from`.
    fn exactly(
        &mut self,
        from: Point,
        to: Point,
        length: Millis,
        by: Ground,
    ) -> Result<(), TooLarge> {
        let at = by.step;
        let back = self.tag(vec![Ground { length: Millis::ZERO.minus(length), ..by }]);
        let forth = self.tag(vec![Ground { length, ..by }]);
        let network = &mut self.made.network;
        network.add_bound(from, to, length, forth).map_err(Self::too_long(at))?;
        network.add_bound(to, from, Millis::ZERO.minus(length), back).map_err(Self::too_long(at))
    }

    // ---- one stretch of hands: a cue and the acts that follow it straight on ----

    fn stretch(&mut self, work: Work) -> Result<(), TooLarge> {
        let Work { at, entry, mut path } = work;
        if path.back == Some(at) {
            path.seen.retain(|named, _| named.step < at);
            path.back = None;
        }
        let first_try = path.entered.insert(at);
        let chain = self.chain(at);
        let mut here = match entry.act.clone().filter(|_| self.plan.step(at).straight_on) {
            Some(act) => act,
            None => self.cue(at, &entry, &mut path)?,
        };
        let cue = here.root;
        for (nth, ix) in chain.iter().enumerate() {
            path.entered.insert(*ix);
            here = self.act(*ix, &here, nth == 0, &mut path);
            self.own_demands(*ix, &path, cue)?;
            self.windows(*ix, &path, cue, first_try, None)?;
        }
        let last = *chain.last().unwrap_or(&at);
        self.outcomes(last, cue, &here, first_try, &path)
    }

    /// This step and all that follow straight on, up to the one whose answer is awaited.
    fn chain(&self, at: StepIx) -> Vec<StepIx> {
        let mut chain = vec![at];
        let mut here = at;
        while self.plan.step(here).report != Report::Answer {
            match self.plan.step(here).go_on {
                Next::Step(next) if next > here && self.plan.step(next).straight_on => {
                    chain.push(next);
                    here = next;
                }
                _ => break,
            }
        }
        chain
    }

    /// The words before the cue: cautions where nobody stops for them, then the prompts.
    fn words_before(&self, at: StepIx) -> Millis {
        let step = self.plan.step(at);
        let spoken = prompt(self.plan, self.speech, at).hi;
        if step.rest_before {
            return spoken;
        }
        let alerts = self.chain(at).into_iter().flat_map(|ix| self.plan.step(ix).alerts.iter());
        alerts.fold(spoken, |sum, alert| sum.plus(self.speech.of(alert.text).hi))
    }

    fn cue(&mut self, at: StepIx, entry: &Entry, path: &mut Path) -> Result<Hidden, TooLarge> {
        let cue = self.point(at)?;
        self.made.cues.push((at, cue));
        let step = self.plan.step(at);
        let ground = |what, place, length: Millis| Ground {
            step: at,
            place,
            what,
            length: Millis::ZERO.minus(length),
        };
        let words = ground(What::PrepareWords, step.place, self.words_before(at));
        let cool = entry.cool.map(|(length, place)| ground(What::CoolDown, place, length));
        let prepared = entry.ahead.is_some_and(|(_, _, whose)| whose == at) && cool.is_none();
        if let Some(over) = entry.over {
            let by = cool.into_iter().chain((!prepared).then_some(words)).collect();
            self.after(over, cue, by, at)?;
        }
        if let Some((during, ended, whose)) = entry.ahead {
            let spoken = ground(What::PrepareWords, self.plan.step(whose).place, ended);
            let by = std::iter::once(spoken).chain((!prepared).then_some(words)).collect();
            self.after(during, cue, by, at)?;
        }
        let seen = Hidden::seen(cue);
        path.seen.insert(Named { step: at, mark: Mark::Called }, vec![seen.clone()]);
        let now = self.leg(now_words(self.speech, step), at, step.place, What::NowWords);
        let heard = seen.then(now);
        path.seen.insert(Named { step: at, mark: Mark::Heard }, vec![heard.clone()]);
        Ok(heard)
    }

    /// One act behind `here`; gives its end. Its least counts from the cue: `now_words` may take no
    /// time at all.
    fn act(&mut self, at: StepIx, here: &Hidden, cued: bool, path: &mut Path) -> Hidden {
        let step = self.plan.step(at);
        if step.only_watch {
            return here.clone();
        }
        let mut lengths = hands(self.procedure, step);
        if !cued {
            lengths = step.walk.then(step.takes);
        }
        let hands = self.leg(lengths, at, step.takes_place, What::Hands);
        let begun = here.then(hands);
        let strokes = strokes(step);
        let done = if strokes == Span::ZERO {
            begun.clone()
        } else {
            let place = step.count.as_ref().map_or(step.place, |(_, count)| count.place);
            begun.then(self.leg(strokes, at, place, What::Strokes))
        };
        let named = |mark| Named { step: at, mark };
        path.seen.insert(named(Mark::Begun), vec![begun]);
        path.seen.insert(named(Mark::Done), vec![done.clone()]);
        if let Some(held) = step.lets_go {
            path.seen.insert(Named { step: held, mark: Mark::Released }, vec![done.clone()]);
        }
        match &step.hold {
            Some(Hold::For(range, _, place)) => {
                let free = self.let_go(at, &done, *range, *place);
                path.seen.insert(named(Mark::Released), vec![free.clone()]);
                free
            }
            _ => done,
        }
    }

    /// A hold of a fixed length: the guide says let go so late that it was held long enough whenever
    /// it was taken, the quickest hand allowed for.
    fn let_go(&mut self, at: StepIx, done: &Hidden, range: Range, place: Place) -> Hidden {
        let reacts = person(self.procedure, self.plan.step(at).by).reacts;
        let exact = range.hi == Some(range.lo);
        let least = if exact { range.lo } else { range.lo.plus(CLOCK_ERROR) };
        let latest = done.span().hi;
        let said = latest.plus(least).minus(reacts.lo).max(latest);
        let held = self.leg(Span::exactly(said), at, place, What::Holding);
        let free = reacts.then(Span::new(Millis::ZERO, CUE_JITTER));
        let free = self.leg(free, at, place, What::LettingGo);
        Hidden::seen(done.root).then(held).then(free)
    }

    // ---- demands ----

    /// What a count or a hold demands of itself.
    fn own_demands(&mut self, at: StepIx, path: &Path, cue: Point) -> Result<(), TooLarge> {
        let step = self.plan.step(at);
        let seen = |mark| path.seen.get(&Named { step: at, mark }).map(|forms| forms[0].clone());
        if let (Some((many, count)), Some(begun), Some(done)) =
            (&step.count, seen(Mark::Begun), seen(Mark::Done))
            && count.how_many != HowMany::UntilAnswered
        {
            let gaps = i64::from(many.saturating_sub(1));
            let each = count.each_within.map(|hi| hi.times(gaps));
            for hi in count.within.into_iter().chain(each) {
                let range = Range { lo: Millis::ZERO, hi: Some(hi) };
                let key = WindowKey { step: at, place: count.place };
                self.demand(key, What::Window, range, &done, &begun, cue)?;
            }
        }
        if let (Some(Hold::For(range, _, place)), Some(done), Some(free)) =
            (&step.hold, seen(Mark::Done), seen(Mark::Released))
        {
            let key = WindowKey { step: at, place: *place };
            self.demand(key, What::Holding, *range, &free, &done, cue)?;
        }
        Ok(())
    }

    /// The windows of a step: all but those on a release that waits for the answer, or only those.
    fn windows(
        &mut self,
        at: StepIx,
        path: &Path,
        cue: Point,
        first_try: bool,
        answered: Option<&Hidden>,
    ) -> Result<(), TooLarge> {
        let plan = self.plan;
        let step = plan.step(at);
        let waits = matches!(step.hold, Some(Hold::UntilAnswered(..)));
        for window in &step.windows {
            let late = waits && window.subject == Event::Released;
            if late != answered.is_some() || (window.first_try_only && !first_try) {
                continue;
            }
            self.window(at, window, path, cue)?;
        }
        Ok(())
    }

    fn window(
        &mut self,
        at: StepIx,
        window: &PlanWindow,
        path: &Path,
        cue: Point,
    ) -> Result<(), TooLarge> {
        let subject = Named { step: at, mark: Mark::of(window.subject) };
        let key = WindowKey { step: at, place: window.place };
        let Some(to) = path.seen.get(&subject) else { return Ok(()) };
        let to = to[0].clone();
        let Some(from) = self.anchor(key, Named::of(window.anchor), path, window.range) else {
            return Ok(());
        };
        self.demand(key, What::Window, window.range, &to, &from, cue)
    }

    /// The form in which an anchor is counted from. A least alone, anchored before the segment, can
    /// always be waited for.
    fn anchor(
        &mut self,
        key: WindowKey,
        anchor: Named,
        path: &Path,
        range: Range,
    ) -> Option<Hidden> {
        let forms = path.seen.get(&anchor);
        let Some(forms) = forms else {
            if range.hi.is_some() {
                self.made.unanchored.get_or_insert(key.place);
            }
            return None;
        };
        let form = if self.forms.contains(&key) { forms.first() } else { forms.last() };
        if forms.len() > 1 {
            self.made.forms.insert(key);
        }
        form.cloned()
    }

    /// Lays `lo ≤ to − from ≤ hi` on the network, the clock's error taken off on both sides (not off
    /// an equality, of which nothing would be left).
    fn demand(
        &mut self,
        key: WindowKey,
        what: What,
        range: Range,
        to: &Hidden,
        from: &Hidden,
        cue: Point,
    ) -> Result<(), TooLarge> {
        let exact = range.hi == Some(range.lo);
        let error = if exact { Millis::ZERO } else { CLOCK_ERROR };
        let (to_legs, from_legs) = to.apart(from);
        let own = |length| Ground { step: key.step, place: key.place, what, length };
        if let Some(hi) = range.hi {
            let mut by = vec![own(hi.minus(error))];
            by.extend(grounds(to_legs, false, -1));
            by.extend(grounds(from_legs, true, 1));
            self.lay(key, hi, from.root, to.root, by, cue)?;
        }
        if range.lo > Millis::ZERO {
            let mut by = vec![own(Millis::ZERO.minus(range.lo.plus(error)))];
            by.extend(grounds(to_legs, true, 1));
            by.extend(grounds(from_legs, false, -1));
            self.lay(key, range.lo, to.root, from.root, by, cue)?;
        }
        Ok(())
    }

    /// One edge of a demand. Between moments of one root it is a sum of constants: kept, or a
    /// contradiction of its own.
    fn lay(
        &mut self,
        key: WindowKey,
        length: Millis,
        from: Point,
        to: Point,
        by: Vec<Ground>,
        cue: Point,
    ) -> Result<(), TooLarge> {
        let most = by.iter().fold(Millis::ZERO, |sum, ground| sum.plus(ground.length));
        let upper = by.first().is_some_and(|own| own.length > Millis::ZERO);
        let tag = self.tag(by);
        let demand = Demand { key, bound: None, left: None, from, cue, length };
        if from != to {
            let bound = self.made.network.bounds().len();
            self.made.network.add_bound(from, to, most, tag).map_err(Self::too_long(key.step))?;
            if upper {
                self.made.demands.push(Demand { bound: Some(bound), ..demand });
            }
            return Ok(());
        }
        if upper {
            self.made.demands.push(Demand { left: Some(most), ..demand });
        }
        if most < Millis::ZERO {
            let wall = self.point(key.step)?;
            let none = self.tag(Vec::new());
            let network = &mut self.made.network;
            network.add_bound(from, wall, most, tag).map_err(Self::too_long(key.step))?;
            network.add_bound(wall, from, Millis::ZERO, none).map_err(Self::too_long(key.step))?;
        }
        Ok(())
    }

    // ---- outcomes ----

    fn outcomes(
        &mut self,
        at: StepIx,
        cue: Point,
        end: &Hidden,
        first_try: bool,
        path: &Path,
    ) -> Result<(), TooLarge> {
        let plan = self.plan;
        let step = plan.step(at);
        let ahead = self.ahead(at, cue, path);
        match step.report {
            Report::Answer => self.answers(at, cue, end, first_try, path, ahead)?,
            Report::Act => {
                let told = report_delay(self.procedure, step);
                let leg = self.leg(told, at, step.place, What::Report);
                let over = self.report(at, cue, &end.then(leg))?;
                let mut path = path.clone();
                self.tell(&mut path, at, Mark::Done, over, told, step.place);
                let onward = vec![forward(step.go_on)];
                self.follow(at, over, ahead, Some(end), onward, &path)?;
            }
            Report::None => {
                let over = self.point(at)?;
                let by =
                    Ground { step: at, place: step.place, what: What::Order, length: Millis::ZERO };
                self.exactly(end.root, over, end.span().hi, by)?;
                let mut path = path.clone();
                self.over(&mut path, at, over);
                let onward = vec![forward(step.go_on)];
                self.follow(at, over, ahead, Some(end), onward, &path)?;
            }
        }
        self.asides(at, cue, end, ahead, path)
    }

    /// The step on the hoped-for way is prepared while this answer is awaited.
    fn ahead(&self, at: StepIx, cue: Point, path: &Path) -> Option<(Point, Millis, StepIx)> {
        let step = self.plan.step(at);
        let hoped = match step.met.first() {
            Some(met) if step.report == Report::Answer => first_of(&met.then),
            _ => step.go_on,
        };
        let Next::Step(next) = hoped else { return None };
        let after = self.plan.step(next);
        let asks = self.chain(next).iter().any(|ix| !self.plan.step(*ix).asks.is_empty());
        let pressed = !after.rest_before || !after.windows.is_empty();
        if !pressed || asks || after.straight_on || after.rest_before {
            return None;
        }
        let first = path
            .seen
            .iter()
            .find(|(named, forms)| named.mark == Mark::Heard && forms[0].root == cue);
        let heard = first.map_or(Millis::ZERO, |(_, forms)| forms[0].span().hi);
        Some((cue, heard.plus(self.words_before(next)), next))
    }

    /// A report: nature decides when it comes.
    fn report(&mut self, at: StepIx, cue: Point, when: &Hidden) -> Result<Point, TooLarge> {
        let over = self.point(at)?;
        let takes = when.span();
        let takes = Span::new(takes.lo.max(Millis::ZERO), takes.hi.max(Millis::ZERO));
        let tag = self.tag(Vec::new());
        self.made.legs.insert(tag.0, when.legs.clone());
        self.made.network.add_link(when.root, over, takes, tag).map_err(Self::too_long(at))?;
        if when.root != cue {
            // An answer to an earlier act must not come before the cue that waits for it.
            self.after(cue, over, Vec::new(), at)?;
        }
        Ok(over)
    }

    fn answers(
        &mut self,
        at: StepIx,
        cue: Point,
        end: &Hidden,
        first_try: bool,
        path: &Path,
        ahead: Option<(Point, Millis, StepIx)>,
    ) -> Result<(), TooLarge> {
        let plan = self.plan;
        let step = plan.step(at);
        for group in self.groups(step, path) {
            self.answer(at, cue, end, first_try, path, ahead, &group)?;
        }
        let Some(silence) = &step.silence else { return Ok(()) };
        let from = self.from(Named::of(silence.anchor), path).unwrap_or_else(|| end.clone());
        let over = self.point(at)?;
        let report = report_delay(self.procedure, step).hi;
        let decided = from.span().hi.plus(silence.within).plus(report);
        let by =
            Ground { step: at, place: silence.place, what: What::Silence, length: Millis::ZERO };
        self.exactly(from.root, over, decided, by)?;
        let mut path = path.clone();
        self.over(&mut path, at, over);
        let onward = self.onward(&silence.then, &path);
        self.follow(at, over, ahead, Some(end), onward, &path)
    }

    /// Answers with the same continuation and anchor share one link: what differs between them does
    /// not matter later, or is held by the hull of both.
    fn groups<'s>(&mut self, step: &'s PlanStep, path: &Path) -> Vec<Vec<&'s PlanMet>> {
        let mut groups: Vec<(Vec<Onward>, Vec<&PlanMet>)> = Vec::new();
        for met in &step.met {
            let onward = self.onward(&met.then, path);
            let same = groups
                .iter_mut()
                .find(|(other, mets)| *other == onward && mets[0].anchor == met.anchor);
            match same {
                Some((_, mets)) => {
                    mets.push(met);
                    self.made.merged = true;
                }
                None => groups.push((onward, vec![met])),
            }
        }
        groups.into_iter().map(|(_, mets)| mets).collect()
    }

    #[expect(clippy::too_many_arguments, reason = "one branch of one stretch, all of it needed")]
    fn answer(
        &mut self,
        at: StepIx,
        cue: Point,
        end: &Hidden,
        first_try: bool,
        path: &Path,
        ahead: Option<(Point, Millis, StepIx)>,
        group: &[&PlanMet],
    ) -> Result<(), TooLarge> {
        let plan = self.plan;
        let step = plan.step(at);
        let report = report_delay(self.procedure, step);
        let hull = |of: &dyn Fn(&PlanMet) -> Span| {
            group.iter().map(|met| of(met)).reduce(Span::hull).unwrap_or(Span::ZERO)
        };
        let delay = hull(&|met| met.delay);
        let until = hull(&|met| met.delay.then(met.recognise));
        let recognise = hull(&|met| met.recognise);
        let place = group.first().map_or(step.place, |met| met.place);
        let anchor = group.first().map(|met| Named::of(met.anchor));
        let from = anchor.and_then(|a| self.from(a, path)).unwrap_or_else(|| end.clone());
        let answer = self.leg(delay, at, place, What::Answer);
        let answered = from.then(answer);
        let mut told = recognise.then(report);
        if let Some(Hold::UntilAnswered(more, ..)) = &step.hold {
            // The same hand lets go first.
            let more = more.and_then(|m| m.hi).unwrap_or(Millis::ZERO);
            let reacts = person(self.procedure, step.by).reacts;
            told = told.then(Span::new(Millis::ZERO, reacts.hi.plus(more)));
        }
        // The hull of the sums, which may be less than the sum of the hulls.
        let whole = until.then(Span::new(told.lo.minus(recognise.lo), told.hi.minus(recognise.hi)));
        let rest = Span::new(whole.lo.minus(delay.lo), whole.hi.minus(delay.hi));
        let leg = self.leg(rest, at, place, What::Report);
        let over = self.report(at, cue, &answered.then(leg))?;
        let mut path = path.clone();
        path.seen.insert(Named { step: at, mark: Mark::Answered }, vec![answered.clone()]);
        self.tell(&mut path, at, Mark::Answered, over, told, place);
        if let Some(anchor) = anchor.filter(|anchor| anchor.step == at) {
            self.tell(&mut path, at, anchor.mark, over, delay.then(told), place);
        }
        if let Some(Hold::UntilAnswered(more, _, held)) = &step.hold {
            let reacts = person(self.procedure, step.by).reacts;
            let more = more.map_or(Span::ZERO, |m| Span::new(m.lo, m.hi.unwrap_or(m.lo)));
            let free = self.leg(reacts.then(more), at, *held, What::LettingGo);
            path.seen.insert(Named { step: at, mark: Mark::Released }, vec![answered.then(free)]);
            self.windows(at, &path, cue, first_try, Some(&answered))?;
        }
        let then = group.first().map(|met| self.onward(&met.then, &path));
        self.follow(at, over, ahead, Some(end), then.unwrap_or_default(), &path)
    }

    /// The form of a moment from its cue: links start there.
    fn from(&self, named: Named, path: &Path) -> Option<Hidden> {
        path.seen.get(&named)?.first().cloned()
    }

    /// A moment is told: it lies `back` before the report. And the step is over.
    fn tell(
        &mut self,
        path: &mut Path,
        at: StepIx,
        mark: Mark,
        over: Point,
        back: Span,
        place: Place,
    ) {
        let back = Span::new(Millis::ZERO.minus(back.hi), Millis::ZERO.minus(back.lo));
        let leg = self.leg(back, at, place, What::Report);
        let told = Hidden::seen(over).then(leg);
        if let Some(forms) = path.seen.get_mut(&Named { step: at, mark }) {
            forms.truncate(1);
            forms.push(told);
        }
        self.over(path, at, over);
    }

    fn over(&mut self, path: &mut Path, at: StepIx, over: Point) {
        for mark in [Mark::Reported, Mark::Over] {
            path.seen.insert(Named { step: at, mark }, vec![Hidden::seen(over)]);
        }
    }

    /// Anything else, a slip: a branch of its own where it does not lead to an ending or a rest.
    /// A missed window and a lost guard lead nowhere else.
    fn asides(
        &mut self,
        at: StepIx,
        cue: Point,
        end: &Hidden,
        ahead: Option<(Point, Millis, StepIx)>,
        path: &Path,
    ) -> Result<(), TooLarge> {
        let plan = self.plan;
        let step = plan.step(at);
        let guards = plan.guards.iter().filter(|g| g.from <= at && at <= g.to).map(|g| &g.lost);
        let limits = plan.limits.iter().filter(|l| l.from <= at && at <= l.to);
        let limits = limits.filter_map(|l| l.late.as_ref());
        for target in step.late.iter().chain(guards).chain(limits) {
            self.lead(target);
        }
        let inside = |onward: &Onward| match onward {
            Onward::Step { enter, .. } => !plan.step(*enter).rest_before,
            Onward::End => false,
        };
        let mut done: Vec<Vec<Onward>> = Vec::new();
        for target in [&step.otherwise, &step.slip] {
            let onward = self.onward(target, path);
            self.lead(target);
            let told = step.report != Report::None;
            if !told || !onward.iter().any(inside) || done.contains(&onward) {
                continue;
            }
            done.push(onward.clone());
            let latest = self.latest_report(step);
            let leg = self.leg(Span::new(Millis::ZERO, latest), at, step.place, What::Report);
            let over = self.report(at, cue, &end.then(leg))?;
            let mut path = path.clone();
            self.over(&mut path, at, over);
            self.follow(at, over, ahead, Some(end), onward, &path)?;
        }
        Ok(())
    }

    /// After the end of the act, the latest report of anything.
    fn latest_report(&self, step: &PlanStep) -> Millis {
        let report = report_delay(self.procedure, step).hi;
        let met = step.met.iter().map(|m| m.delay.hi.plus(m.recognise.hi));
        let silence = step.silence.iter().map(|s| s.within);
        met.chain(silence).max().unwrap_or(Millis::ZERO).plus(report)
    }

    /// Every resting point that a target can lead to, its tries spent or not.
    fn lead(&mut self, target: &Target) {
        match target {
            Target::To(Next::Step(next)) | Target::ThisOne { next: Next::Step(next), .. } => {
                if self.plan.step(*next).rest_before {
                    self.made.leads.insert(*next);
                }
            }
            Target::To(Next::End(_)) | Target::ThisOne { .. } => {}
            Target::Again { enter, spent, .. } => {
                if self.plan.step(*enter).rest_before {
                    self.made.leads.insert(*enter);
                }
                self.lead(spent);
            }
        }
    }

    /// What a target can mean on this path: a retry while its purse lasts, and what follows when it
    /// does not. Tries may have been spent before this segment, so both are possible from the first.
    fn onward(&self, target: &Target, path: &Path) -> Vec<Onward> {
        match target {
            Target::To(next) | Target::ThisOne { next, .. } => vec![forward(*next)],
            Target::Again { purse, enter, back, cool_down, spent, place } => {
                let tries = self.procedure.purses.get(purse.0 as usize).map_or(0, |p| p.tries);
                let mut all = self.onward(spent, path);
                if path.used.get(purse).copied().unwrap_or(0) < tries {
                    let retry = Some((*purse, *back, *cool_down, *place));
                    all.insert(0, Onward::Step { enter: *enter, retry });
                }
                all
            }
        }
    }

    /// Goes on behind an outcome: to an ending, to a rest (cut here), or on in this segment.
    fn follow(
        &mut self,
        at: StepIx,
        over: Point,
        ahead: Option<(Point, Millis, StepIx)>,
        end: Option<&Hidden>,
        onward: Vec<Onward>,
        path: &Path,
    ) -> Result<(), TooLarge> {
        self.limits(at, over, path)?;
        for onward in onward {
            let Onward::Step { enter, retry } = onward else {
                self.made.ends.push((at, over));
                continue;
            };
            if self.plan.step(enter).rest_before {
                self.made.leads.insert(enter);
                self.made.ends.push((at, over));
                continue;
            }
            let mut path = path.clone();
            let mut entry =
                Entry { over: Some(over), ahead, act: end.cloned(), ..Entry::default() };
            if let Some((purse, back, cool, place)) = retry {
                *path.used.entry(purse).or_insert(0) += 1;
                path.back = Some(back);
                entry.act = None;
                entry.cool = (cool > Millis::ZERO).then_some((cool, place));
            }
            self.work.push(Work { at: enter, entry, path });
        }
        Ok(())
    }

    /// Limits on stretches that end with this step.
    fn limits(&mut self, at: StepIx, over: Point, path: &Path) -> Result<(), TooLarge> {
        let plan = self.plan;
        let ending = plan.limits.iter().filter(|limit| limit.to == at);
        for Limit { range, anchor, place, .. } in ending {
            let key = WindowKey { step: at, place: *place };
            let Some(from) = self.anchor(key, Named::of(*anchor), path, *range) else { continue };
            self.demand(key, What::Limit, *range, &Hidden::seen(over), &from, over)?;
        }
        Ok(())
    }
}

fn forward(next: Next) -> Onward {
    match next {
        Next::Step(enter) => Onward::Step { enter, retry: None },
        Next::End(_) => Onward::End,
    }
}

/// Where a target leads at first.
fn first_of(target: &Target) -> Next {
    match target {
        Target::To(next) | Target::ThisOne { next, .. } => *next,
        Target::Again { enter, .. } => Next::Step(*enter),
    }
}
