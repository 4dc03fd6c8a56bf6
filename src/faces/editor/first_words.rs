//! The words that a sentence may begin with, where each belongs, and an example to show beside it.
//!
//! Only an order of what is offered: what may stand where is the checker's.

/// Where a sentence belongs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Where {
    /// In the head of the script.
    Head,
    /// In a head, of the script or of a block.
    Stretch,
    /// Between steps.
    Flow,
    /// In a step.
    Step,
    /// In a step or a table.
    Outcome,
    /// In a profile of a person.
    Person,
    /// Among the tests.
    Tests,
    /// Anywhere.
    Anywhere,
}

use Where::{Anywhere, Flow, Head, Outcome, Person, Step, Stretch, Tests};

/// Each first word, where it belongs, and an example.
pub const FIRST: &[(&str, Where, &str)] = &[
    ("procedure", Head, "procedure \"Add a spare key\""),
    ("vehicle", Head, "vehicle \"Hollin Tassel (invented)\""),
    ("device", Head, "device \"Candlewick alarms (invented)\""),
    ("edition", Head, "edition 3"),
    ("status", Head, "status demonstration"),
    ("according", Anywhere, "according to common practice"),
    ("assumed", Anywhere, "assumed \"no hand times are published\""),
    ("use", Head, "use \"parts/settle.bell\""),
    ("affirm", Head, "affirm ownership"),
    ("danger", Anywhere, "danger exhaust, \"Exhaust gas kills. Start the engine only outdoors.\""),
    ("warning", Anywhere, "warning movement, \"The vehicle may move. Wheels blocked.\""),
    ("caution", Anywhere, "caution siren, \"The siren may sound. Wear ear protection.\""),
    ("notice", Anywhere, "notice \"Have every remote at hand.\""),
    (
        "ending",
        Head,
        "ending refused, not learned, \"The vehicle refused. The old keys still work.\"",
    ),
    ("have", Head, "have spare, new key, \"the new key\", felt as \"two bands of tape\""),
    ("place", Head, "place bench, 2 paces from seat, \"at the instrument\""),
    ("round", Head, "round wheels, left-front, right-front"),
    ("sign", Head, "sign chime-once, hear \"the chime\" once, quiet 1.5s"),
    ("secret", Head, "secret pin, \"the vehicle's PIN, kept by its owner\""),
    ("ask", Head, "ask rest in V, between 9 and 16, \"Battery voltage?\""),
    ("start", Head, "start only if rest is at least 12 V, else \"Charge the battery first.\""),
    ("better", Head, "better if rest is at least 13 V, else \"Connect a charger.\""),
    ("battery", Head, "battery at least 12.4 V, at most 14.8 V"),
    ("allow", Head, "allow wrong 4 times, \"wrong entries, all screens together\""),
    ("operator", Head, "operator apprentice \"first year\""),
    ("helper", Head, "helper mate \"a second person\""),
    ("keep", Stretch, "keep charger, \"The charger stays connected.\", if lost finish as unsure"),
    ("never", Stretch, "never \"Do not start the engine.\", if done finish as stopped"),
    ("if", Stretch, "if broken off, \"Show every old key again within ten minutes.\""),
    ("late", Stretch, "late, so go back to wake, at most twice, else finish as not-learned"),
    ("slip", Stretch, "slip, so go back to wake, at most once, else finish as unsure"),
    ("anything", Stretch, "anything else, so finish as unsure"),
    ("within", Stretch, "within 30s after open answered"),
    ("step", Flow, "step wake \"Hold the working key against the reader.\""),
    ("phase", Flow, "phase learning"),
    ("for", Flow, "for each spare of spares"),
    ("repeat", Flow, "repeat 4 times"),
    ("only", Flow, "only if kind is rolling"),
    ("do", Flow, "do settle of spare and seat as first-settle"),
    ("no", Flow, "no way back \"From here on, a key that is not shown is forgotten.\""),
    ("finish", Flow, "finish as learned"),
    ("end", Flow, "end phase"),
    ("part", Flow, "part settle of which and where"),
    ("table", Flow, "table closing"),
    ("tests", Flow, "tests"),
    ("prepare", Step, "prepare \"The new key, to the button.\""),
    ("say", Step, "say \"New key.\""),
    ("takes", Step, "takes 1s to 5s"),
    ("with", Step, "with spare at button"),
    ("at", Step, "at bench"),
    ("by", Step, "by mate"),
    ("take", Step, "take spare"),
    ("put", Step, "put down spare"),
    ("needs", Step, "needs both hands"),
    ("straight", Step, "straight on"),
    ("hold", Step, "hold until answered"),
    ("let", Step, "let go of press"),
    ("count", Step, "count 8, lasting 5s to 9s, within 10s, ending \"the switch ON\""),
    ("one", Step, "one way \"Turn the switch to LOCK.\""),
    ("between", Step, "between 3s and 10s after first-on done"),
    ("not", Step, "not before 10s after off done"),
    ("about", Step, "about 10s give or take 1s after off done"),
    ("begin", Step, "begin within 30s after previous free done, later turns only"),
    ("or", Step, "or within 45s after second-on answered, according to \"second page\""),
    ("see", Outcome, "see lamp-steady, within 2s after done, so go on"),
    ("hear", Outcome, "hear chime-once, between 1s and 4s after done, so go on"),
    ("feel", Outcome, "feel motor-hums, within 10s after done, so go on"),
    ("read", Outcome, "read \"Key refused\", within 5s after done, so finish as refused"),
    ("look", Step, "look up closing, within 10s after done"),
    ("nothing", Outcome, "nothing within 6s after done, so finish as unsure"),
    ("reacts", Person, "reacts in 200ms to 2s"),
    ("reports", Person, "reports in 500ms to 3s"),
    ("speech", Person, "speech 110 words a minute"),
    ("walks", Person, "walks a pace in 500ms to 900ms"),
    ("has", Person, "has 2 hands"),
    (
        "test",
        Tests,
        "test spares, \"Start the engine.\", expect \"it runs\", else finish as unsure",
    ),
    ("recount", Tests, "recount known, 1 more for each of spares, else finish as unsure"),
    ("note", Anywhere, "note Kept, never spoken."),
];

/// Where a first word belongs, and an example.
#[must_use]
pub fn first(word: &str) -> Option<(Where, &'static str)> {
    FIRST
        .iter()
        .find(|(first, ..)| *first == word)
        .map(|(_, belongs, example)| (*belongs, *example))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::FileId;
    use crate::syntax::hopes::first_words;
    use crate::syntax::{build, print};

    #[test]
    fn every_first_word_has_an_example_that_is_a_sentence_in_canonical_form() {
        let mut all: Vec<&str> = FIRST.iter().map(|(word, ..)| *word).collect();
        all.sort_unstable();
        assert_eq!(all, first_words());
        for (word, _, example) in FIRST {
            assert_eq!(example.split([' ', ',']).next(), Some(*word));
            let (tree, found) = build::read(FileId(0), example);
            let strays: Vec<_> = found.iter().map(|c| c.code.name()).collect();
            assert!(strays.iter().all(|code| code.contains("block")), "{example}: {strays:?}");
            assert_eq!(print::tidy(&tree).trim_end(), *example);
        }
    }
}
