//! Whether a changed segment is still controllable: takes a segment of a proof and a change to its
//! network, asks the check, as the proof itself asked it.
//!
//! A window whose anchor was reported has two forms; where the first fails, the windows of the cycle are
//! counted the other way, one after the other, exactly as in the proof.

use crate::clock::Millis;
use crate::procedure::model::Procedure;
use crate::procedure::plan::StepIx;
use crate::procedure::timing::SpeechLengths;
use crate::proof::compile::{Forms, Segment, WindowKey, segment};
use crate::proof::controllable::{Stopped, Verdict, check_until};
use crate::proof::network::Network;
use crate::proof::verdict::{ProvenPlan, Refusal, refusal};

/// What every trial needs.
#[derive(Clone, Copy)]
pub(super) struct Trials<'a> {
    pub procedure: &'a Procedure,
    pub speech: &'a SpeechLengths,
    pub stop: &'a dyn Fn() -> bool,
}

/// A segment to be changed.
#[derive(Clone, Copy)]
pub(super) struct Trial<'a> {
    pub with: Trials<'a>,
    pub part: &'a ProvenPlan,
    pub start: StepIx,
    pub segment: &'a Segment,
}

impl Trial<'_> {
    /// Nothing where every bound can be kept, in whichever form; else the first reason why not.
    pub fn fails(&self, change: &dyn Fn(&Segment) -> Network) -> Result<Option<Refusal>, Stopped> {
        let mut forms = Forms::new();
        let mut first: Option<Refusal> = None;
        loop {
            let remade;
            let made = if forms == self.segment.chosen {
                self.segment
            } else {
                let Trials { procedure, speech, .. } = self.with;
                // What was made once with other forms has the same points.
                let Ok(made) = segment(procedure, &self.part.way, speech, self.start, &forms)
                else {
                    return Ok(first);
                };
                remade = made;
                &remade
            };
            let network = change(made);
            let Verdict::Not(cycle) = check_until(&network, self.with.stop)? else {
                return Ok(None);
            };
            let why = refusal(made, &cycle, self.start);
            let keys = why.grounds.iter().map(|g| WindowKey { step: g.step, place: g.place });
            let mut others = keys.filter(|key| made.forms.contains(key));
            let other = others.find(|key| !forms.contains(key));
            let told = first.get_or_insert(why).clone();
            let Some(key) = other else { return Ok(Some(told)) };
            forms.insert(key);
        }
    }

    /// The same with the forms that the proof has chosen, and no others: by how much it falls short.
    pub fn short_as_it_is(&self, network: &Network) -> Result<Option<Millis>, Stopped> {
        Ok(match check_until(network, self.with.stop)? {
            Verdict::Controllable => None,
            Verdict::Not(cycle) => Some(Millis::ZERO.minus(cycle.value)),
        })
    }
}
