//! What the table of a record, the score of a rehearsal and a tally say of the windows of one run: the same.

use std::collections::BTreeSet;
use std::fs;

use stepbell::clock::{Millis, Moment};
use stepbell::faces::score::score as score_words;
use stepbell::faces::summary::table;
use stepbell::faces::tally::{table as rows, words};
use stepbell::journal::brief::{Brief, brief};
use stepbell::journal::convert::{Context, effect_body};
use stepbell::journal::entry::{Body, RunKind};
use stepbell::journal::happened::{Fact, Notice};
use stepbell::journal::practice::vehicle_body;
use stepbell::journal::read::{ReadBack, read};
use stepbell::procedure::examine;
use stepbell::procedure::plan::StepIx;
use stepbell::training::replay::{scenes, summary};
use stepbell::training::score::{Score, score};
use stepbell::training::tally::{Met, Tally};
use stepbell::vehicle::law::Law;
use stepbell::vehicle::live::Hands;
use stepbell::vehicle::told::told;

use crate::made_records::header;
use crate::made_records::written;
use crate::practice::{Logged, Person};
use crate::runs_support::{Script, from_text};

const NAME: &str = "two-windows.bell";
/// The lines of the two windows of its step `seal`.
const OF_TEACH: u32 = 22;
const OF_WAKE: u32 = 23;

fn text() -> String {
    fs::read_to_string(format!("tests/runs/{NAME}")).expect("readable")
}

fn rehearsed(tells: i64, taps: [Option<i64>; 3]) -> Vec<u8> {
    rehearsed_in(&text(), tells, taps)
}

/// A rehearsal in which a hand touches so long after each cue; not at all where nothing is said. `tells`: how
/// long it takes to tell of what came.
fn rehearsed_in(text: &str, tells: i64, taps: [Option<i64>; 3]) -> Vec<u8> {
    let script = from_text(NAME, text.to_owned());
    let sources = examine(NAME, text.to_owned(), &mut |_| Err("no file".to_owned())).sources;
    let own = |_: &Script, step: StepIx| -> Vec<Millis> {
        let tap = taps.get(step.0 as usize).copied().flatten();
        tap.map(Millis).into_iter().collect()
    };
    let plan = script.smallest();
    let live = (Law::Inside, 3, &[][..], Hands::Own);
    let mut person = Person::new(&script, &plan.choices, live, &own);
    person.tells = Millis(tells);
    let log = person.logged();
    let context = Context { procedure: &script.procedure, plan: Some(plan), sources: &sources };
    let header = Body::Header(Box::new(header("Teach", text, 0, RunKind::Rehearsal)));
    let entries = log.into_iter().filter_map(|(at, logged)| {
        let body = match logged {
            Logged::Effect(effect) => effect_body(&context.effect(&effect)?),
            Logged::Event(event) => vehicle_body(&told(&event, &context)),
        };
        Some((at, body))
    });
    written(std::iter::once((Moment::START, header)).chain(entries))
}

/// What a tally of one record says of both windows.
fn counted(record: &[u8]) -> [Met; 2] {
    tallied(brief(record))
}

fn tallied(record: ReadBack<Brief>) -> [Met; 2] {
    let mut tally = Tally::default();
    tally.add("run", record, false);
    tally.list_windows();
    let group = tally.groups.values().next().expect("a group");
    [OF_TEACH, OF_WAKE].map(|line| group.met("seal", line))
}

/// The windows that the score says were missed, for a hand that was felt or not.
fn lost(score: &Score) -> BTreeSet<u32> {
    let felt = score.rows.iter().flat_map(|row| row.missed()).map(|left| left.line);
    let unfelt = score.rows.iter().filter_map(|row| Some(row.unfelt()?.why.as_ref()?.line));
    felt.chain(unfelt).collect()
}

fn one(met: u64, missed: u64, not_known: u64) -> Met {
    Met { met, missed, not_known }
}

#[test]
fn of_two_windows_on_one_step_only_the_one_that_closed_first_is_missed() {
    let runs = [
        ("met", 900, [Some(900); 3], [one(1, 0, 0), one(1, 0, 0)]),
        // A hand so late that the window had closed, and told of at once: the guide cannot be sure.
        ("not_sure", 400, [Some(900), Some(900), Some(9_000)], [one(0, 0, 1), one(1, 0, 0)]),
        ("of_teach", 900, [Some(900), Some(900), None], [one(0, 1, 0), one(0, 0, 1)]),
        ("of_wake", 2_900, [Some(900), Some(4_800), None], [one(0, 0, 1), one(0, 1, 0)]),
    ];
    let mut all = Tally::default();
    for (name, tells, taps, wanted) in runs {
        let record = rehearsed(tells, taps);
        all.add(name, brief(&record), false);
        assert_eq!(counted(&record), wanted, "{name}");
        let read = read(&record);
        let scenes = scenes(&read);
        insta::assert_snapshot!(
            name,
            table(read.header.as_ref(), &summary(&scenes)) + "\n" + &score_words(&score(&scenes))
        );
    }
    all.list_windows();
    insta::assert_snapshot!("together", words(&all));
    let row = |row: &str| row.split(',').skip(6).take(5).collect::<Vec<_>>().join(",");
    let rows: Vec<String> = rows(&all).lines().map(row).collect();
    assert_eq!(rows, ["step,line,met,missed,not_known", "seal,22,1,1,2", "seal,23,2,1,1"]);
}

/// The first records did not say which window it was: of one alone that is plain, of two it stays unknown.
#[test]
fn a_record_that_names_no_window_has_missed_the_only_one() {
    let (both, late) = (text(), [Some(900), Some(900), None]);
    let other = both.lines().nth(OF_WAKE as usize - 1).expect("a line");
    let alone = both.replace(&format!("{other}\n"), "  say \"Seal.\"\n");
    for (text, wanted) in
        [(&both, [one(0, 0, 1), one(0, 0, 1)]), (&alone, [one(0, 1, 0), Met::default()])]
    {
        let mut record = brief(&rehearsed_in(text, 900, late));
        let facts = record.entries.iter_mut().filter_map(|entry| match &mut entry.body {
            Brief::Fact(fact) => Some(fact.as_mut()),
            _ => None,
        });
        for fact in facts {
            if let Fact::Noticed { notice: Notice::Late { why, .. } } = fact {
                assert!(why.take().is_some());
            }
        }
        assert_eq!(tallied(record), wanted);
    }
}

/// However late the hands are: every window is counted once, a tally calls those missed that the table
/// does, none of them met that was truly missed, and where nothing was felt the score names the same.
#[test]
fn tally_table_and_score_agree_on_every_window() {
    let delays =
        [None, Some(700), Some(2_000), Some(4_500), Some(6_500), Some(9_000), Some(14_000)];
    let mut seen = BTreeSet::new();
    for (teach, tells) in [(900, 400), (900, 2_900), (2_500, 900), (4_800, 2_900), (6_000, 4_000)] {
        for seal in delays {
            let record = rehearsed(tells, [Some(900), Some(teach), seal]);
            let scenes = scenes(&read(&record));
            let (sum, score) = (summary(&scenes), score(&scenes));
            let [of_teach, of_wake] = counted(&record);
            let named: BTreeSet<u32> = sum
                .rows
                .iter()
                .filter_map(|row| Some(row.missed.as_ref()?.why.as_ref()?.line))
                .collect();
            let lost = lost(&score);
            let felt = score.rows.iter().any(|row| row.step.name == "seal" && row.act.is_some());
            let reached = sum.rows.iter().any(|row| row.step.name == "seal");
            for (line, met) in [(OF_TEACH, of_teach), (OF_WAKE, of_wake)] {
                let case = format!("teach {teach}, seal {seal:?}, line {line}: {met:?}, {lost:?}");
                assert_eq!(met.met + met.missed + met.not_known, u64::from(reached), "{case}");
                assert_eq!(met.missed == 1, named.contains(&line), "{case}");
                assert!(met.met == 0 || !lost.contains(&line), "{case}");
                assert!(felt || named.contains(&line) == lost.contains(&line), "{case}");
                seen.insert((met.met, met.missed, met.not_known));
            }
        }
    }
    assert!(seen.is_superset(&BTreeSet::from([(1, 0, 0), (0, 1, 0), (0, 0, 1)])), "{seen:?}");
}
