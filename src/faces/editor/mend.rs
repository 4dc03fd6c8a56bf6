//! Ways to mend a document, each a change of its text: takes complaints and a refused verdict, gives what
//! an editor offers at a place.
//!
//! A change that would make the timing proven is made in the text and the whole text is judged again:
//! only what is then proven is offered, and the person picks it. Whether the new number is true is the
//! author's to know; the offer says so.

use crate::clock::Millis;
use crate::complaint::{Code, Complaint};
use crate::faces::verdict::{MOST_REPAIRS, mended};
use crate::procedure::timing::What;
use crate::proof::repair::{Repair, repairs_until};
use crate::proof::verdict::Verdict;
use crate::source::{FileId, Place};
use crate::syntax::tree::{At, Bound, Duration, Held, Length, Sentence, Tree, When};

use super::judge::{Judged, Task, look};

/// A change of a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mend {
    /// What it does, for a list to pick from.
    pub title: String,
    /// What it replaces.
    pub place: Place,
    /// With what.
    pub text: String,
    /// Whether it needs no judgement.
    pub mechanical: bool,
}

/// What a complaint offers: its mechanical fix, or the word that was probably meant.
#[must_use]
pub fn of_complaint(complaint: &Complaint, at: &str) -> Option<Mend> {
    if let Some(fix) = &complaint.fix {
        let title = match fix.text.trim() {
            text if text.is_empty() || text.contains('\n') || text.len() > 60 => {
                fix.what.to_owned()
            }
            text => format!("{}: {text}", fix.what),
        };
        let (place, text) = (fix.place, fix.text.clone());
        return Some(Mend { title, place, text, mechanical: true });
    }
    let near = complaint.near.as_ref()?;
    let single = |text: &str| {
        !text.is_empty() && text.chars().all(|c| c.is_alphanumeric() || c == '-' || c == '_')
    };
    let guessed =
        matches!(complaint.code, Code::UnknownName | Code::NotASentence | Code::UnfinishedSentence);
    (guessed && single(at) && single(near)).then(|| Mend {
        title: format!("Write `{near}`"),
        place: complaint.place,
        text: near.clone(),
        mechanical: false,
    })
}

/// What would make a refused timing proven. `read` gives used files; `stop` is asked many times a second
/// whether to give up, and what was found by then is given.
pub fn of_timing(
    judged: &Judged,
    tree: &Tree,
    read: &mut dyn FnMut(&str) -> Result<String, String>,
    stop: &dyn Fn() -> bool,
) -> Vec<Mend> {
    let (Some(Verdict::Refused(refusal)), Some(procedure)) =
        (&judged.verdict, &judged.examined.procedure)
    else {
        return Vec::new();
    };
    let (plans, speech) = (&judged.examined.plans, &judged.examined.speech);
    let all = repairs_until(procedure, plans, speech, refusal, stop).unwrap_or_default();
    let mut found = Vec::new();
    for repair in all {
        if stop() || found.len() >= MOST_REPAIRS {
            break;
        }
        // Other files have other readers: only the document's own numbers are changed.
        if repair.place.file != FileId(0) {
            continue;
        }
        let Some((place, text)) = rewritten(tree, &repair) else { continue };
        let Some(source) = judged.examined.sources.get(FileId(0)) else { continue };
        let mut changed = source.text().to_owned();
        changed.replace_range(place.start as usize..place.end as usize, &text);
        let task = Task {
            address: judged.address.clone(),
            version: judged.version,
            name: source.name().to_owned(),
            text: changed,
        };
        let mut again = look(task, read);
        if again.prove(stop).is_err() {
            break;
        }
        if matches!(again.verdict, Some(Verdict::Proven(_))) {
            let told = mended(&repair, &judged.examined);
            let title = format!("It {}", told.trim());
            found.push(Mend { title, place, text, mechanical: false });
        }
    }
    found
}

/// The change of one sentence that states another upper bound.
fn rewritten(tree: &Tree, repair: &Repair) -> Option<(Place, String)> {
    let holds = |outer: Place| {
        outer.file == repair.place.file
            && outer.start <= repair.place.start
            && repair.place.end <= outer.end
    };
    let line = tree.lines.iter().find(|line| holds(line.place))?;
    match (&line.sentence, repair.what) {
        (Sentence::Takes(length, _), What::Hands) => length_to(length, repair.to),
        (Sentence::Hold(held, _), What::Holding) => match &held.value {
            Held::For(length) => length_to(length, repair.to),
            Held::On | Held::Until(..) => None,
        },
        (Sentence::Count(count, _), What::Strokes) => match &count.lasting {
            Some((length, false)) => length_to(length, repair.to),
            _ => None,
        },
        (Sentence::Nothing { when, .. }, What::Silence) => when_to(when, repair.to),
        (Sentence::KeepAwake(every, _), What::Awake) => Some(number(every, repair.to)),
        (
            Sentence::Window(when, ..)
            | Sentence::Begin(when, ..)
            | Sentence::LetGo(when, ..)
            | Sentence::OrWindow(when, ..),
            What::Window | What::Limit,
        ) => when_to(when, repair.to),
        _ => None,
    }
}

fn length_to(length: &At<Length>, to: Millis) -> Option<(Place, String)> {
    match &length.value {
        Length::FromTo(_, most) | Length::UpTo(most) => Some(number(most, to)),
        Length::Around { middle, leeway: Some(leeway), .. } => {
            let least = middle.value.minus(leeway.value).max(Millis::ZERO);
            Some((length.place, format!("{least} to {to}")))
        }
        Length::Exactly(_) | Length::AtLeast(_) | Length::Around { leeway: None, .. } => None,
    }
}

fn when_to(when: &When, to: Millis) -> Option<(Place, String)> {
    match &when.bound.value {
        Bound::Within(most) | Bound::Between(_, most) => Some(number(most, to)),
        Bound::About(middle, Some(leeway)) => {
            let least = middle.value.minus(leeway.value).max(Millis::ZERO);
            Some((when.bound.place, format!("between {least} and {to}")))
        }
        Bound::NotBefore(_) | Bound::About(_, None) => None,
    }
}

fn number(duration: &Duration, to: Millis) -> (Place, String) {
    (duration.place, to.to_string())
}
