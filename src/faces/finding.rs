//! A verdict as one finding at one place, for programs that mark places: takes a [`Verdict`] and the
//! script that it is about, gives a sentence, its place, and the sentences that add up.
//!
//! `verdict` words the same for a person who reads from top to bottom; here each share of the sum keeps
//! its own place, so that a reader can go there.

use super::safe::safe;
use super::verdict::{explosion, what, word};
use crate::clock::Millis;
use crate::procedure::Examined;
use crate::procedure::timing::What;
use crate::proof::hidden::Ground;
use crate::proof::verdict::{Refusal, Verdict};
use crate::source::Place;

/// A verdict at its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// The verdict in a word, as `word` gives it.
    pub word: &'static str,
    /// Whether everything is well.
    pub proven: bool,
    /// Where it belongs: the demand that cannot be met, else the title.
    pub place: Place,
    /// What is said.
    pub sentence: String,
    /// By how much the time is short.
    pub short: Option<Millis>,
    /// The sentences that add up, in their order.
    pub shares: Vec<Share>,
}

/// One sentence's share of a sum.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Share {
    /// The sentence.
    pub place: Place,
    /// What it adds (+) or takes (-), and for what.
    pub text: String,
}

/// The finding that a verdict is.
#[must_use]
pub fn finding(verdict: &Verdict, examined: &Examined) -> Finding {
    match verdict {
        Verdict::Refused(refusal) => refused(refusal, verdict, examined),
        Verdict::Proven(extent) if extent.demands == 0 => {
            plain(verdict, examined, "Proven: there is no window to miss.")
        }
        Verdict::Proven(_) => plain(
            verdict,
            examined,
            "Proven: there is a rule for when to cue that meets every window, limit and dwell, for \
             every outcome and retry, as long as hands, reports, spoken words and the vehicle stay \
             inside the script's bounds. Whether they do is the author's claim.",
        ),
        Verdict::TooLarge(large) => {
            let sentence = format!("Not proven: {}", explosion(large, examined));
            let all = plain(verdict, examined, &sentence);
            Finding { place: large.retry().unwrap_or(all.place), ..all }
        }
        Verdict::Unanchored(place) => Finding {
            place: *place,
            ..plain(
                verdict,
                examined,
                "Not proven: what this measures from lies before a place where the run begins \
                 again. Measure from a moment behind that place, or lead back to before it.",
            )
        },
    }
}

fn plain(verdict: &Verdict, examined: &Examined, sentence: &str) -> Finding {
    Finding {
        word: word(verdict),
        proven: matches!(verdict, Verdict::Proven(_)),
        place: title(examined),
        sentence: sentence.to_owned(),
        short: None,
        shares: Vec::new(),
    }
}

/// Where the script says what it is for.
fn title(examined: &Examined) -> Place {
    let procedure = examined.procedure.as_ref();
    let said = procedure.and_then(|p| p.texts.get(p.title?.0 as usize));
    said.map_or_else(Place::default, |said| said.place)
}

fn refused(refusal: &Refusal, verdict: &Verdict, examined: &Examined) -> Finding {
    let plan = examined.plans.get(refusal.plan);
    let step = plan.map_or("", |plan| plan.step(refusal.start).name.as_str());
    let head = if refusal.certain { "Impossible" } else { "Not proven" };
    let sentence = format!(
        "{head}: on a way that begins with step `{}`, the time is short by {}.",
        safe(step),
        refusal.short
    );
    let demanded =
        |g: &&Ground| matches!(g.what, What::Window | What::Limit) && g.length > Millis::ZERO;
    let grounds = &refusal.grounds;
    let place = grounds.iter().find(demanded).or(grounds.first()).map(|ground| ground.place);
    let shares = grounds.iter().map(|ground| {
        let sign = if ground.length > Millis::ZERO { "+" } else { "-" };
        let size = Millis(ground.length.0.saturating_abs());
        let step = plan.map_or("", |plan| plan.step(ground.step).name.as_str());
        let text = format!("{sign}{size} {} (step `{}`)", what(ground.what), safe(step));
        Share { place: ground.place, text }
    });
    Finding {
        word: word(verdict),
        proven: false,
        place: place.unwrap_or_else(|| title(examined)),
        sentence,
        short: Some(refusal.short),
        shares: shares.collect(),
    }
}
