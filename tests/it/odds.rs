//! The odds of whole scripts: against the closed form, against the proof, and the same on any number of
//! threads.

use super::runs_support::{Script, facts, fixture, push_start, scripts};
use stepbell::clock::Millis;
use stepbell::guide::cue::{Fact, OutcomeKind};
use stepbell::procedure::model::EndingClass;
use stepbell::procedure::plan::{Choices, StepIx};
use stepbell::training::odds::{How, Odds, Terms, hoped_ending, play};
use stepbell::training::statistics::{fraction, standard_error};
use stepbell::vehicle::law::{Law, Spread, Spreads};
use stepbell::vehicle::order::{Kind, Order, Refused, fault};
use stepbell::vehicle::{Draw, Fault, Practice, Transcript, What, Wrong, play_drawn};

const TAILS: Law =
    Law::Tails(Spreads { hands: Spread(500), reports: Spread(500), vehicle: Spread(250) });

fn practice(script: &Script, choices: &Choices) -> Practice {
    Practice::new(script.guide(), &script.procedure, &script.speech, choices).expect("a first step")
}

fn terms(law: Law) -> Terms {
    Terms { seed: 3, law, orders: Vec::new() }
}

fn odds(script: &Script, terms: &Terms, runs: std::ops::Range<u64>) -> Odds {
    let mut practice = practice(script, &script.smallest().choices);
    let hoped = hoped_ending(&mut practice);
    play(&mut practice, &script.procedure, terms, hoped, runs, &mut |_| {}).unwrap()
}

#[test]
fn a_window_is_missed_as_often_as_the_closed_form_says() {
    let script = fixture("one-window.bell");
    let takes = script.smallest().step(StepIx(1)).takes;
    const RUNS: u64 = 6_000;
    for hands in [300, 500, 700] {
        let law = Law::Tails(Spreads { hands: Spread(hands), ..Spreads::default() });
        let odds = odds(&script, &terms(law), 0..RUNS);
        let told = Spread(hands).beyond(Millis(6_000), takes);
        let missed = fraction(RUNS - odds.hoped, RUNS);
        let off = (missed - told).abs() / standard_error(told, RUNS);
        assert!(off < 3.0, "spread {hands}: {missed}, not {told}, {off} standard errors");
        // Whoever misses the window finds the vehicle silent.
        let at = &odds.steps[&StepIx(1)];
        assert_eq!(at.outcomes.get(&How::Silent), Some(&(RUNS - odds.hoped)));
        let late = odds.windows[&(StepIx(1), 0)].below(Millis::ZERO);
        assert_eq!(late, RUNS - odds.hoped, "the margins tell the same");
    }
}

#[test]
fn inside_the_bounds_a_proven_script_is_never_missed() {
    for script in scripts() {
        for plan in [script.plans.first(), script.plans.last()].into_iter().flatten() {
            let mut practice = practice(&script, &plan.choices);
            let hoped = hoped_ending(&mut practice);
            let odds = play(
                &mut practice,
                &script.procedure,
                &terms(Law::Inside),
                hoped,
                0..40,
                &mut |_| {},
            );
            let odds = odds.unwrap();
            assert_eq!(odds.hoped, 40, "{}: {odds:#?}", script.name);
            for (window, left) in &odds.windows {
                assert_eq!(left.below(Millis::ZERO), 0, "{}: {window:?}", script.name);
            }
        }
    }
}

/// A slow answer leaves too little time for what is done before the next window: it is given up before its own
/// step is reached, and missed all the same.
#[test]
fn a_window_that_is_given_up_ahead_is_missed() {
    let script = push_start();
    let step = |name: &str| {
        let ix = script.smallest().steps.iter().position(|step| step.name == name);
        StepIx(u32::try_from(ix.expect("a step")).expect("few"))
    };
    let orders = vec!["slow-answer@show-working".parse::<Order>().expect("an order")];
    let odds = odds(&script, &Terms { seed: 7, law: TAILS, orders }, 0..200);
    let late = odds.steps[&step("tin")].outcomes.get(&How::Late).copied().unwrap_or(0);
    assert!(late > 0, "{:#?}", odds.steps);
    let window = &odds.windows[&(step("show-new"), 0)];
    let own = odds.steps[&step("show-new")].outcomes.get(&How::Late).copied().unwrap_or(0);
    assert_eq!(window.below(Millis::ZERO), late + own, "each of them lost this window");
    assert!(odds.least.below(Millis::ZERO) > 0);
}

#[test]
fn parts_of_the_odds_add_up_in_any_order() {
    let script = push_start();
    let terms = terms(TAILS);
    let whole = odds(&script, &terms, 0..60);
    let mut parts = odds(&script, &terms, 45..60);
    parts.merge(&odds(&script, &terms, 0..20));
    parts.merge(&odds(&script, &terms, 20..45));
    assert_eq!(parts, whole);
    let other = odds(&script, &Terms { seed: 4, ..terms }, 0..60);
    assert_ne!(other, whole, "another seed is another vehicle");
}

/// What a run has come to, without its moments: those of a practice begin elsewhere.
fn outcomes(run: &Transcript) -> Vec<(StepIx, OutcomeKind)> {
    let outcome = |fact: &Fact| match fact {
        Fact::Outcome(step, kind) => Some((*step, *kind)),
        _ => None,
    };
    facts(run).filter_map(outcome).collect()
}

#[test]
fn a_practice_plays_what_a_single_run_plays() {
    for script in [push_start(), fixture("retries.bell"), fixture("four-steps.bell")] {
        let choices = &script.smallest().choices;
        let mut practice = practice(&script, choices);
        let mut again = Vec::new();
        for run in 0..12 {
            let draw = Draw::of_run(9, run, TAILS);
            let alone = play_drawn(
                script.guide(),
                &script.procedure,
                &script.speech,
                draw.clone(),
                &[],
                choices,
            );
            let ran = practice.run(draw, &[], Transcript::default());
            assert_eq!(outcomes(&ran.witness), outcomes(&alone), "{}, run {run}", script.name);
            assert_eq!(ran.truth.margins, alone.truth.margins, "{}, run {run}", script.name);
            assert_eq!(ran.ending, alone.ending);
            again.push(ran.witness.lines);
        }
        let first = practice.run(Draw::of_run(9, 0, TAILS), &[], Transcript::default());
        assert_eq!(first.witness.lines, again[0], "what was played between leaves no trace");
    }
}

#[test]
fn a_draw_depends_on_its_name_alone() {
    let draw = |before: u32| {
        let mut draw = Draw::named(5, TAILS);
        for n in 0..before {
            draw.about(StepIx(n), 1, What::Answer);
            draw.bits();
        }
        draw.about(StepIx(3), 2, What::Hands);
        (draw.bits(), draw.bits())
    };
    assert_eq!(draw(0), draw(17));
    let mut seen: Vec<u64> = Vec::new();
    for step in 0..20 {
        for time in 1..20 {
            for what in [What::Hands, What::Answer, What::Report, What::Trouble] {
                let mut draw = Draw::named(5, TAILS);
                draw.about(StepIx(step), time, what);
                seen.push(draw.bits());
            }
        }
    }
    let all = seen.len();
    seen.sort_unstable();
    seen.dedup();
    assert_eq!(seen.len(), all, "two names, two draws");
}

fn order(text: &str) -> Result<Order, Refused> {
    text.parse()
}

fn ordered(script: &Script, text: &str) -> Result<Fault, Refused> {
    let mut draw = Draw::named(1, TAILS);
    fault(&order(text)?, &script.procedure, script.smallest(), &mut draw)
}

#[test]
fn faults_are_ordered_by_name() {
    let script = push_start();
    let plan = script.smallest();
    let ix = |name: &str| plan.indexed().find(|(_, step)| step.name == name).unwrap().0;
    let at = |name: &str, wrong| Ok(Fault::Step(ix(name), 1, wrong));
    assert_eq!(ordered(&script, "silence@wake"), at("wake", Wrong::Silence));
    assert_eq!(ordered(&script, "other-answer@show-working"), at("show-working", Wrong::Answer(1)));
    assert_eq!(ordered(&script, "other-answer@wake"), at("wake", Wrong::Other));
    assert_eq!(ordered(&script, "slow-answer@wake"), at("wake", Wrong::Late(Millis(1500))));
    assert_eq!(ordered(&script, "slip@tin"), at("tin", Wrong::Slip));
    assert_eq!(ordered(&script, "memory-full"), at("open", Wrong::Answer(1)));
    assert!(
        matches!(ordered(&script, "lost-guard@open"), Ok(Fault::Lost(_, step, 1, _)) if step == ix("open"))
    );
    // Without a step the seed chooses, on the way that is hoped for.
    let places: std::collections::BTreeSet<String> = (0..40)
        .map(|seed| {
            let mut draw = Draw::named(seed, TAILS);
            let order = order("silence").unwrap();
            match fault(&order, &script.procedure, plan, &mut draw).unwrap() {
                Fault::Step(step, 1, Wrong::Silence) => plan.step(step).name.clone(),
                other => panic!("{other:?}"),
            }
        })
        .collect();
    assert!(places.len() > 3, "{places:?}");
}

#[test]
fn an_order_that_cannot_be_is_told_with_what_can() {
    let script = push_start();
    assert_eq!(order("explosion"), Err(Refused::NoKind("explosion".to_owned())));
    assert_eq!(order("silence@wake/two"), Err(Refused::NoTurn("two".to_owned())));
    assert_eq!(order("silence@wake/0"), Err(Refused::NoTurn("0".to_owned())));
    assert!(matches!(ordered(&script, "silence@nowhere"), Err(Refused::NoStep(step, known))
        if step == "nowhere" && known.contains(&"wake".to_owned())));
    assert!(matches!(ordered(&script, "silence@tin"), Err(Refused::NotThere(Kind::Silence, ..))));
    assert_eq!(ordered(&script, "wake@wake"), Err(Refused::NoKind("wake".to_owned())));
    assert_eq!(ordered(&script, "silence@wake/2"), Err(Refused::NoSuchTurn("wake".to_owned(), 1)));
    let plain = fixture("retries.bell");
    assert_eq!(ordered(&plain, "memory-full"), Err(Refused::Nowhere(Kind::MemoryFull)));
    for text in ["silence", "other-answer@wake/2", "slip@tin"] {
        assert_eq!(order(text).unwrap().to_string(), text);
    }
}

#[test]
fn an_ordered_fault_happens_in_every_run() {
    let script = push_start();
    let terms = |text: &str| Terms { orders: vec![order(text).unwrap()], ..terms(Law::Inside) };
    let silent = odds(&script, &terms("silence@wake"), 0..20);
    let wake = &silent.steps[&StepIx(0)];
    assert_eq!((silent.hoped, wake.first_trouble, wake.lost), (20, 20, 0), "one retry mends it");
    let full = odds(&script, &terms("memory-full"), 0..20);
    assert_eq!(full.hoped, 0);
    let (ending, n) = full.endings.iter().next().unwrap();
    assert_eq!((script.ending(*ending), *n), ("full", 20));
    let class = script.procedure.endings[ending.0 as usize].class;
    assert_eq!(class, EndingClass::NotLearned);
}
