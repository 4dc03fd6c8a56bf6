//! One stretch of hands: a cue and the acts that follow it straight on.
//!
//! Takes how a step is come to; gives its cue and the hidden moments of its acts.

use super::{Ahead, Entry, Maker, Path, TooLarge, Work};
use crate::clock::{Millis, Span};
use crate::procedure::model::{CLOCK_ERROR, Hold, Range, TextId};
use crate::procedure::plan::{StepIx, person};
use crate::procedure::timing::{Mark, Point as Named, What, announced, hands, now_words, strokes};
use crate::proof::hidden::{Ground, Hidden};
use crate::source::Place;

/// Longer than any length that a script can state.
const LONGEST: Millis = Millis::secs(2 * 24 * 60 * 60);

impl Maker<'_> {
    pub(super) fn stretch(&mut self, work: Work) -> Result<(), TooLarge> {
        let Work { at, entry, mut path } = work;
        if path.back == Some(at) {
            path.seen.retain(|named, _| named.step < at);
            path.returns.retain(|back| *back < at);
            path.returns.push(at);
            path.back = None;
        }
        let first_try = path.entered.insert(at);
        let chain = self.chain(at);
        let mut here = match entry.act.clone().filter(|_| self.plan.step(at).straight_on) {
            Some(act) => act,
            None => {
                self.visited(at, first_try, &path);
                self.cue(at, &entry, &mut path)?
            }
        };
        let cue = here.root;
        for (nth, ix) in chain.iter().enumerate() {
            path.entered.insert(*ix);
            here = self.act(*ix, &here, nth == 0, &mut path);
            self.own_demands(*ix, &path, cue)?;
            self.windows(*ix, &path, cue, first_try, false)?;
        }
        let last = *chain.last().unwrap_or(&at);
        self.afresh_from(&chain);
        self.outcomes(last, cue, &here, first_try, &chain, &path)
    }

    /// This step and all that follow straight on, up to the one whose answer is awaited.
    pub(super) fn chain(&self, at: StepIx) -> Vec<StepIx> {
        self.plan.chain(at)
    }

    /// The words before the cue, text by text: cautions where nobody stops for them, then the prompts.
    pub(super) fn words_before(&self, at: StepIx) -> Vec<Ground> {
        let mut texts = Vec::new();
        if !self.plan.step(at).rest_before {
            let alerts = self.chain(at).into_iter().flat_map(|ix| &self.plan.step(ix).alerts);
            texts.extend(alerts.map(|alert| alert.text));
        }
        texts.extend(announced(self.plan, at));
        let said = |text: TextId| {
            let place = self.procedure.texts.get(text.0 as usize).map(|said| said.place);
            let place = place.unwrap_or(self.plan.step(at).place);
            let length = Millis::ZERO.minus(self.speech.of(text).hi);
            Ground { step: at, place, what: What::PrepareWords, length }
        };
        texts.into_iter().map(said).collect()
    }

    pub(super) fn cue(
        &mut self,
        at: StepIx,
        entry: &Entry,
        path: &mut Path,
    ) -> Result<Hidden, TooLarge> {
        let cue = self.point(at)?;
        self.made.cues.push((at, cue));
        let step = self.plan.step(at);
        let ground = |what, place, length: Millis| Ground {
            step: at,
            place,
            what,
            length: Millis::ZERO.minus(length),
        };
        let words = self.words_before(at);
        let entry = &self.asked(at, entry)?;
        let cool = entry.cool.map(|(length, place)| ground(What::CoolDown, place, length));
        let prepared = entry.ahead.is_some_and(|ahead| ahead.whose == at) && cool.is_none();
        let mut last = if prepared { Vec::new() } else { words };
        let spared = self.spared.get(&at).copied();
        last.extend(spared.map(|spare| ground(What::PrepareWords, step.place, spare)));
        last.extend(self.reminders(at));
        if let Some(over) = entry.over {
            self.after(over, cue, cool.into_iter().chain(last.iter().copied()).collect(), at)?;
        }
        if let Some(Ahead { during, by, heard, whose }) = entry.ahead {
            let above = self.plan.step(by).place;
            let heard = Ground { step: by, ..ground(What::NowWords, above, heard) };
            let said = std::iter::once(heard).chain(self.words_before(whose)).chain(last);
            self.after(during, cue, said.collect(), at)?;
        }
        self.reminded(at, entry, cue, path);
        let seen = Hidden::seen(cue);
        path.seen.insert(Named { step: at, mark: Mark::Called }, vec![seen.clone()]);
        // Hands start at the second word, so nothing counts on how long the words take at the least.
        let now = Span::new(Millis::ZERO, now_words(self.speech, step).hi);
        let now = self.leg(now, at, step.place, What::NowWords);
        let heard = seen.then(now);
        path.seen.insert(Named { step: at, mark: Mark::Heard }, vec![heard.clone()]);
        Ok(heard)
    }

    /// A question at a step that is not a resting point is answered when the person can: nothing that
    /// must happen by a moment can wait for it.
    fn asked(&mut self, at: StepIx, entry: &Entry) -> Result<Entry, TooLarge> {
        let mut entry = entry.clone();
        let asks = self.chain(at).into_iter().any(|ix| !self.plan.step(ix).asks.is_empty());
        if let Some(over) = entry.over.filter(|_| asks) {
            let place = self.plan.step(at).place;
            let leg = self.leg(Span::new(Millis::ZERO, LONGEST), at, place, What::Question);
            entry.over = Some(self.report(at, over, &Hidden::seen(over).then(leg))?);
        }
        Ok(entry)
    }

    /// One act behind `here`; gives its end. Its least counts from the cue: `now_words` may take no
    /// time at all.
    pub(super) fn act(&mut self, at: StepIx, here: &Hidden, cued: bool, path: &mut Path) -> Hidden {
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
    pub(super) fn let_go(
        &mut self,
        at: StepIx,
        done: &Hidden,
        range: Range,
        place: Place,
    ) -> Hidden {
        let reacts = person(self.procedure, self.plan.step(at).by).reacts;
        let exact = range.hi == Some(range.lo);
        let least = if exact { range.lo } else { range.lo.plus(CLOCK_ERROR) };
        // The latest at which it can have been taken, then the least hold, less the quickest hand.
        let mut said = Hidden::seen(done.root);
        for leg in &done.legs {
            let latest = self.leg(Span::exactly(leg.span.hi), leg.step, leg.place, leg.what);
            said = said.then(latest);
        }
        let quickest = reacts.lo.min(least);
        let held = self.leg(Span::exactly(least), at, place, What::Holding);
        let early = Span::exactly(Millis::ZERO.minus(quickest));
        let early = self.leg(early, at, place, What::LettingGo);
        let free = reacts.then(Span::new(Millis::ZERO, self.speech.jitter()));
        let free = self.leg(free, at, place, What::LettingGo);
        said.then(held).then(early).then(free)
    }
}
