//! The battery: published ratings and tables, worked reserves, and a second reckoning in another
//! language.

use std::path::PathBuf;
use std::process::Command;

use stepbell::clock::Millis;
use stepbell::power::check::{Refused, check_ratings};
use stepbell::power::formula::{
    Discharge, capacity_from_reserve, capacity_share, charge_at, exponent, reserve, run_time,
};
use stepbell::power::{
    Battery, Between, Demand, Exponent, Kind, Length, Load, MeterError, Microohms, MilliampHours,
    Milliamps, Millivolts, Minutes, Months, PerMille, Question, Rated, Settings, Table,
    TenthsCelsius, assess,
};

use crate::journals::skipped;

const WARM: TenthsCelsius = TenthsCelsius(267);

/// A fresh flooded battery of 60 Ah and exponent 1.2 at 26.7 °C, 10 A over 10 mΩ, to 12.0 V, for a
/// run of 20 minutes.
pub fn question() -> Question {
    Question {
        battery: Battery {
            kind: Kind::Flooded,
            rated: Some(Rated::WithExponent {
                capacity: MilliampHours(60_000),
                exponent: Exponent(1200),
            }),
            rest: Some(Millivolts(12_550)),
            age: Some(Months(24)),
            temperature: WARM,
            resistance: Some(Microohms(10_000)),
        },
        load: Some(Load::Amperes(Milliamps(10_000))),
        charger: None,
        demand: Demand {
            length: Length::AtMost(Millis::secs(20 * 60)),
            floor: Millivolts(12_000),
            ceiling: None,
        },
        meter: MeterError::LEAST,
        settings: Settings::default(),
    }
}

pub fn with(change: impl FnOnce(&mut Question)) -> Question {
    let mut question = question();
    change(&mut question);
    question
}

pub fn least(question: &Question) -> Millis {
    assess(question).reserve.expect("ratings and load are known").least
}

pub fn minutes(time: Millis) -> i64 {
    (time.0 + 30_000).div_euclid(60_000)
}

fn exponent_of(minutes: i32, amp_hours: i32) -> Exponent {
    exponent(Minutes(minutes), MilliampHours(amp_hours * 1000)).expect("two ratings")
}

/// Reserve minutes, 20-hour capacity in Ah and exponent in hundredths.
/// Source: owner's manual of a battery monitor, "Link 2000", p. 26. The formula: reserve-capacity
/// entry of a battery maker's glossary, minutes at 25 A to 10.5 V at 27 °C.
const PUBLISHED: [(i32, i32, i32); 17] = [
    (140, 43, 120),
    (130, 70, 113),
    (167, 86, 112),
    (188, 95, 112),
    (388, 180, 111),
    (500, 225, 110),
    (447, 225, 124),
    (488, 235, 119),
    (530, 244, 114),
    (535, 250, 117),
    (660, 305, 121),
    (760, 350, 128),
    (135, 85, 123),
    (160, 105, 128),
    (225, 130, 124),
    (450, 216, 117),
    (375, 180, 114),
];

#[test]
fn published_exponents_are_met_but_for_a_rounding_and_a_misprint() {
    let (mut fit, mut near, mut refused) = (0, 0, 0);
    for (minutes, amp_hours, hundredths) in PUBLISHED {
        let found = exponent_of(minutes, amp_hours);
        let off = (found.0 - hundredths * 10).abs();
        let taken = check_ratings(MilliampHours(amp_hours * 1000), Minutes(minutes));
        match (minutes, amp_hours) {
            // Below 1: the same battery would give more charge at 25 A than at its 20-hour current.
            (140, 43) => {
                assert_eq!(found, Exponent(876));
                assert_eq!(taken, Err(Refused::RatingsDisagree { exponent: Some(found) }));
                refused += 1;
            }
            (160, 105) => {
                assert_eq!(found, Exponent(1291), "published 1.28");
                assert!(taken.is_ok());
                near += 1;
            }
            _ => {
                assert!(off <= 6, "{minutes} min, {amp_hours} Ah: {found:?}, {hundredths}");
                assert!(taken.is_ok());
                fit += 1;
            }
        }
    }
    assert_eq!((fit, near, refused), (15, 1, 1));
}

/// 100 Ah, exponent 1.2. Computed by hand from t = H·(C/(I·H))^k.
#[test]
fn the_rated_form_is_used_and_not_the_one_ampere_form() {
    let hours = |amperes: i32| {
        let time = run_time(Milliamps(amperes * 1000), MilliampHours(100_000), Exponent(1200));
        (time.0 + 18_000) / 36_000
    };
    assert_eq!(hours(5), 2000, "by definition of the rating");
    assert_eq!(hours(10), 871);
    assert_eq!(hours(25), 290);
    // C/I^k with the same capacity gives 14.5 h at 5 A (an electrical engineering site's worked
    // example): another formula.
    assert_ne!(hours(5), 1450);
    // Below the rated current no more than the rated capacity: 2 A for 50 h.
    assert_eq!(hours(2), 5000);
}

#[test]
fn reserve_minutes_and_capacity_lead_to_each_other() {
    for (minutes, amp_hours, _) in PUBLISHED.into_iter().skip(1) {
        let back = capacity_from_reserve(Minutes(minutes), exponent_of(minutes, amp_hours));
        let off = (back.0 - amp_hours * 1000).abs();
        // The exponent is kept in thousandths: half of one is up to 0.15 % of the capacity.
        assert!(off <= amp_hours * 2, "{minutes} min: {back:?}");
        let time = run_time(Milliamps(25_000), back, exponent_of(minutes, amp_hours));
        // The capacity is kept in whole mAh, which is worth this much of the time.
        let worth = i64::from(minutes) * 60 / i64::from(amp_hours) + 1;
        assert!((time.0 - i64::from(minutes) * 60_000).abs() <= 2 * worth, "{minutes} min: {time}");
    }
}

#[track_caller]
fn check_table(table: Table, rows: &[(i32, i32)]) {
    let shown: Vec<_> = table.shown().map(|(volts, charge)| (volts.0, charge.0)).collect();
    assert_eq!(shown, rows);
    for &(volts, charge) in rows {
        assert_eq!(charge_at(table, Millivolts(volts)), PerMille(charge));
    }
    let (lowest, highest) = (rows[0].0, rows[rows.len() - 1].0);
    assert_eq!(charge_at(table, Millivolts(lowest - 1000)), PerMille(0));
    assert_eq!(charge_at(table, Millivolts(highest + 1000)), PerMille(1000));
}

#[test]
fn rest_voltages_are_those_of_the_published_tables() {
    // Source: a battery maker's "State of Charge", table 6, full at a density of 1.265; the same
    // figures in a second publication of 2009.
    check_table(
        Table::Flooded,
        &[(11_890, 0), (12_060, 250), (12_240, 500), (12_450, 750), (12_650, 1000)],
    );
    // Source: a mailing list of radio amateurs; round figures without a measurement behind them.
    check_table(
        Table::FloodedRuleOfThumb,
        &[(11_600, 0), (12_000, 250), (12_200, 500), (12_400, 750), (12_600, 1000)],
    );
    // Source: owner's manual of a maker of glass-mat batteries.
    check_table(
        Table::Agm,
        &[(10_500, 0), (11_750, 250), (12_200, 500), (12_550, 750), (12_800, 1000)],
    );
    // Straight between the rows.
    assert_eq!(charge_at(Table::Flooded, Millivolts(12_550)), PerMille(875));
}

#[test]
fn capacity_in_the_cold_is_that_of_the_published_tables() {
    let share = |tenths| capacity_share(TenthsCelsius(tenths));
    // Source: US Army TM 5-4210-230-14&P-1, table 3 (cranking output).
    for (tenths, per_mille) in [(267, 1000), (0, 650), (-178, 400), (-288, 200)] {
        assert_eq!(share(tenths).least, PerMille(per_mille), "{tenths} tenths");
    }
    // Source: a deep-cycle maker's user guide, § 7.5: 0.9 % of run time a degree around 27 °C, from
    // 24 to 32 °C. At 24 °C it promises 97.3 %, the other table 96.4 %: both are carried.
    assert_eq!(share(240), Between { least: PerMille(964), most: PerMille(973) });
    assert_eq!(share(320), Between::exactly(PerMille(1000)));
    assert_eq!(share(-289), Between::exactly(PerMille(0)));
}

/// Worked beforehand with a script that shares no code with this one; minutes without and with the
/// ±0.02 V of the meter. What is promised is the lower.
#[track_caller]
fn check_worked(question: &Question, table: Table, without: i64, promised: i64) {
    let Some(Rated::WithExponent { capacity, exponent: k }) = question.battery.rated else {
        panic!("a worked row has both ratings");
    };
    let (Some(Load::Amperes(load)), Some(rest), Some(ohms)) =
        (question.load, question.battery.rest, question.battery.resistance)
    else {
        panic!("a worked row has a load, a rest voltage and a resistance");
    };
    let sag = load.0 / 1000 * ohms.0 / 1000;
    let old = question.battery.age.is_some_and(|age| age > Months(48));
    let exact = reserve(&Discharge {
        table,
        rest: Some(Between::exactly(rest)),
        floor: Between::exactly(question.demand.floor.plus(Millivolts(sag))),
        load: Between::exactly(load),
        capacity,
        k,
        health: Between::exactly(PerMille(if old { 700 } else { 1000 })),
        temperature: WARM,
    });
    assert_eq!(minutes(exact.least), without);
    let assessed = assess(question);
    let (main, by_main) = assessed.by_table[0];
    assert_eq!((main, minutes(by_main.least)), (table, promised));
    let hull = assessed.reserve.expect("known");
    assert!(hull.least <= by_main.least && by_main.most <= hull.most);
}

#[test]
fn worked_reserves_promise_the_lower_column() {
    let flooded = |rest, floor, amperes: i32, months| {
        with(|q| {
            q.battery.rest = Some(Millivolts(rest));
            q.battery.age = Some(Months(months));
            q.demand.floor = Millivolts(floor);
            q.load = Some(Load::Amperes(Milliamps(amperes * 1000)));
        })
    };
    check_worked(&flooded(12_550, 12_000, 10, 24), Table::Flooded, 161, 154);
    check_worked(&flooded(12_550, 12_000, 10, 60), Table::Flooded, 105, 100);
    check_worked(&flooded(12_550, 12_400, 10, 24), Table::Flooded, 18, 11);
    check_worked(&flooded(12_650, 12_400, 10, 24), Table::Flooded, 53, 46);
    check_worked(&flooded(12_550, 12_000, 25, 24), Table::Flooded, 34, 32);
    check_worked(&flooded(12_650, 13_000, 10, 24), Table::Flooded, 0, 0);
    let agm = with(|q| {
        q.battery = Battery {
            kind: Kind::Agm,
            rated: Some(Rated::WithExponent {
                capacity: MilliampHours(70_000),
                exponent: Exponent(1110),
            }),
            rest: Some(Millivolts(12_800)),
            resistance: Some(Microohms(6_000)),
            ..q.battery
        };
        q.demand.floor = Millivolts(12_400);
    });
    check_worked(&agm, Table::Agm, 118, 110);
}

fn golden_folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/power")
}

/// One row of the golden table as a question, with the least and the most in milliseconds.
fn golden_row(line: &str) -> (Question, i64, i64) {
    let cells: Vec<&str> = line.split('\t').collect();
    let number = |at: usize| cells[at].parse::<i64>().expect("a whole number");
    let small = |at: usize| i32::try_from(number(at)).expect("a small number");
    let kind = match cells[0] {
        "flooded" => Kind::Flooded,
        "agm" => Kind::Agm,
        "gel" => Kind::Gel,
        other => panic!("no such kind: {other}"),
    };
    let (capacity, reserve) = (MilliampHours(small(1)), Minutes(small(3)));
    let rated = match (small(1), small(2), small(3)) {
        (0, 0, _) => Rated::ReserveMinutes(reserve),
        (_, 0, 0) => Rated::TwentyHours(capacity),
        (_, 0, _) => Rated::Both { capacity, reserve },
        (_, k, _) => Rated::WithExponent { capacity, exponent: Exponent(k) },
    };
    let (amperes, drop) = (Milliamps(small(7)), Millivolts(small(8)));
    let load = match (small(7), small(8)) {
        (_, -1) => Load::Amperes(amperes),
        (0, _) => Load::Drop(drop),
        _ => Load::Both { amperes, drop },
    };
    let question = with(|q| {
        q.battery = Battery {
            kind,
            rated: Some(rated),
            rest: Some(Millivolts(small(4))),
            age: (small(5) >= 0).then(|| Months(small(5))),
            temperature: TenthsCelsius(small(6)),
            resistance: Some(Microohms(small(9))),
        };
        q.load = Some(load);
        q.demand.floor = Millivolts(small(10));
        q.meter = MeterError::new(Millivolts(small(11)));
    });
    (question, number(12), number(13))
}

#[test]
fn a_second_reckoning_gives_the_same_reserves() {
    let golden = std::fs::read_to_string(golden_folder().join("golden.tsv")).expect("golden.tsv");
    let (mut rows, mut above_zero) = (0, 0);
    for line in golden.lines().skip(1) {
        let (question, least, most) = golden_row(line);
        let found = assess(&question).reserve.expect("ratings and load are known");
        // The powers of two languages may differ in their last place.
        assert!((found.least.0 - least).abs() <= 2, "{line}\nleast {}", found.least.0);
        assert!((found.most.0 - most).abs() <= 2, "{line}\nmost {}", found.most.0);
        rows += 1;
        above_zero += usize::from(least > 0);
    }
    assert_eq!(rows, 540);
    assert!(above_zero > rows / 4, "only {above_zero} rows have a reserve");
}

#[test]
fn the_golden_table_is_what_its_script_makes() {
    let folder = golden_folder();
    let Ok(made) = Command::new("python3").arg(folder.join("regenerate.py")).output() else {
        return skipped("the golden table against its script: no python3");
    };
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let committed = std::fs::read(folder.join("golden.tsv")).expect("golden.tsv");
    assert!(made.stdout == committed, "golden.tsv is stale: regenerate.py --write");
}
