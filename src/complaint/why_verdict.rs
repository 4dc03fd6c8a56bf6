//! The long answers of `stepbell why` to a verdict on a script's timing: takes the verdict's name, gives
//! what it means, what to do about it, what it rests on.

use super::why::Why;

/// A verdict by its name, in one sentence and at length.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WhyVerdict {
    /// As it is typed: `not-proven`.
    pub name: &'static str,
    /// What it says.
    pub sentence: &'static str,
    /// At length.
    pub why: Why,
}

const RESTS_ON: &str = "Dynamic controllability of a temporal network with uncertainty (P. Morris, CPAIOR 2014), all \
                        outcomes in one network. grammar/PROOF.md works an example out by hand and gives the \
                        argument.";

/// Every verdict.
pub const ALL: [WhyVerdict; 4] = [
    WhyVerdict {
        name: "proven",
        sentence: "There is a rule for when to cue that meets every window.",
        why: Why {
            matters: "Whatever each hand, answer and spoken word takes inside its bounds, in whatever order \
                      the outcomes come, with at most the declared retries, no window is missed: provided \
                      that each act is done once it is called for, reports come within their delay, and \
                      clock and cues are as exact as stated.\n\
                      Nothing is claimed about the bounds being true, and a window that is proven may still \
                      leave little time to spare.",
            mend: "Look at the tightest windows, and at the bounds that are assumed. Measure them: records \
                   of runs say what hands and vehicle really take.",
            rests_on: RESTS_ON,
        },
    },
    WhyVerdict {
        name: "impossible",
        sentence: "No rule for when to cue can meet every window.",
        why: Why {
            matters: "For every rule there are hands and a vehicle inside the script's bounds that make a \
                      window be missed. The lines shown add up to less than nothing.",
            mend: "One of the numbers shown is not true, or the sequence needs another order: a key taken \
                   earlier, a shorter way, a second person. The least changes of one number that would do \
                   are shown; only you know whether one of them is true of the vehicle or the person.",
            rests_on: RESTS_ON,
        },
    },
    WhyVerdict {
        name: "not-proven",
        sentence: "No rule for when to cue was found that meets every window.",
        why: Why {
            matters: "The check asked a question a little harder than the truth: a report tells of an act \
                      only within bounds, answers that lead on alike are taken together, words are known by \
                      their longest length. A rule may exist; nobody has shown it. Begin such a script only \
                      for a reason: `guide --unproven \"why\"` records it.",
            mend: "See the lines that add up. Say less before the cue (`prepare`), stage what is needed in a \
                   step before, tighten a bound that you have measured, or change one of the numbers shown.",
            rests_on: RESTS_ON,
        },
    },
    WhyVerdict {
        name: "too-large",
        sentence: "The outcomes and retries make more branches than are looked at.",
        why: Why {
            matters: "Every retry is written out as often as it may be used, in every order with the others. \
                      More than 4,000 moments between two resting points, or 20,000 in all, are refused: \
                      nothing is known of the timing.",
            mend: "Lower the count of the retry that is named, share one count among several (`allow … \
                   times`), or let the run rest before the step that it goes back to: no window may reach \
                   across that place.",
            rests_on: RESTS_ON,
        },
    },
];

/// The verdict with this name; blanks and hyphens are one.
#[must_use]
pub fn find(name: &str) -> Option<&'static WhyVerdict> {
    let name = name.trim().to_lowercase().replace(' ', "-");
    ALL.iter().find(|verdict| verdict.name == name)
}
