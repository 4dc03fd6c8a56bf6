//! The battery: published ratings and tables, worked reserves, a second reckoning in another
//! language, properties over random batteries, verdicts with and without a charger, answers that
//! are asked again.

use std::path::PathBuf;
use std::process::Command;

use proptest::prelude::*;
use stepbell::clock::Millis;
use stepbell::power::check::{
    Asked, Refused, check_age, check_bounds, check_capacity, check_charger, check_charger_voltage,
    check_drop, check_load, check_ratings, check_reserve_minutes, check_rest_voltage,
    check_temperature, resistance_from_cranking,
};
use stepbell::power::formula::{
    Discharge, capacity_from_reserve, capacity_share, charge_at, exponent, reserve, run_time,
};
use stepbell::power::{
    Ask, Assessment, Battery, Between, Charger, Demand, Exponent, Finding, Kind, Length, Load,
    MeterError, Microohms, MilliampHours, Milliamps, Millivolts, Minutes, Months, PerMille,
    Question, Rated, Settings, Table, TenthsCelsius, Verdict, assess,
};

use crate::journals::skipped;

const WARM: TenthsCelsius = TenthsCelsius(267);

/// A fresh flooded battery of 60 Ah and exponent 1.2 at 26.7 °C, 10 A over 10 mΩ, to 12.0 V, for a
/// run of 20 minutes.
fn question() -> Question {
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

fn with(change: impl FnOnce(&mut Question)) -> Question {
    let mut question = question();
    change(&mut question);
    question
}

fn least(question: &Question) -> Millis {
    assess(question).reserve.expect("ratings and load are known").least
}

fn minutes(time: Millis) -> i64 {
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

// --- the second reckoning -----------------------------------------------------------------------

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

// --- properties ---------------------------------------------------------------------------------

fn any_rated() -> impl Strategy<Value = Rated> {
    let capacity = (20_000..250_000i32).prop_map(MilliampHours);
    prop_oneof![
        capacity.clone().prop_map(Rated::TwentyHours),
        (30..400i32).prop_map(|minutes| Rated::ReserveMinutes(Minutes(minutes))),
        (capacity, 1000..1400i32)
            .prop_map(|(capacity, k)| Rated::WithExponent { capacity, exponent: Exponent(k) }),
    ]
}

fn any_load() -> impl Strategy<Value = Load> {
    let amperes = (200..60_000i32).prop_map(Milliamps);
    let drop = (0..400i32).prop_map(Millivolts);
    prop_oneof![
        amperes.clone().prop_map(Load::Amperes),
        drop.clone().prop_map(Load::Drop),
        (amperes, drop).prop_map(|(amperes, drop)| Load::Both { amperes, drop }),
    ]
}

fn any_question() -> impl Strategy<Value = Question> {
    let kind = prop_oneof![Just(Kind::Flooded), Just(Kind::Agm), Just(Kind::Gel)];
    let battery = (
        kind,
        any_rated(),
        11_500..12_800i32,
        proptest::option::of(0..120i32),
        -350..400i32,
        proptest::option::of(3_000..20_000i32),
    );
    let run = (any_load(), 10_500..12_600i32, 20..150i32, 1..120i64);
    (battery, run).prop_map(|((kind, rated, rest, age, celsius, ohms), run)| {
        let (load, floor, meter, length) = run;
        with(|q| {
            q.battery = Battery {
                kind,
                rated: Some(rated),
                rest: Some(Millivolts(rest)),
                age: age.map(Months),
                temperature: TenthsCelsius(celsius),
                resistance: ohms.map(Microohms),
            };
            q.load = Some(load);
            q.demand.floor = Millivolts(floor);
            q.demand.length = Length::AtMost(Millis::secs(length * 60));
            q.meter = MeterError::new(Millivolts(meter));
        })
    })
}

/// The change makes things worse: neither reserve nor verdict may become better by it.
fn never_better(before: &Question, after: &Question) -> Result<(), TestCaseError> {
    let (before, after) = (assess(before), assess(after));
    let least = |a: &Assessment| a.reserve.map(|r| r.least);
    prop_assert!(least(&after) <= least(&before), "{:?} {:?}", before.reserve, after.reserve);
    prop_assert!(after.verdict <= before.verdict, "{:?} {:?}", before.verdict, after.verdict);
    Ok(())
}

fn heavier(load: Load, by: i32) -> Load {
    let more = Millivolts(by / 50);
    match load {
        Load::Amperes(i) => Load::Amperes(i.plus(Milliamps(by))),
        Load::Drop(drop) => Load::Drop(drop.plus(more)),
        Load::Both { amperes, drop } => {
            Load::Both { amperes: amperes.plus(Milliamps(by)), drop: drop.plus(more) }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn more_load_is_never_better(before in any_question(), by in 1..20_000i32) {
        let after = Question { load: before.load.map(|load| heavier(load, by)), ..before };
        never_better(&before, &after)?;
    }

    #[test]
    fn below_26_degrees_colder_is_never_better(
        before in any_question(), warmer in -350..260i32, by in 1..300i32,
    ) {
        let at = |tenths| {
            let temperature = TenthsCelsius(tenths);
            Question { battery: Battery { temperature, ..before.battery }, ..before }
        };
        never_better(&at(warmer), &at(warmer - by))?;
    }

    #[test]
    fn a_lower_rest_voltage_is_never_better(before in any_question(), by in 1..900i32) {
        let rest = before.battery.rest.map(|rest| rest.minus(Millivolts(by)));
        let after = Question { battery: Battery { rest, ..before.battery }, ..before };
        never_better(&before, &after)?;
    }

    #[test]
    fn a_wider_meter_error_is_never_better(before in any_question(), by in 1..200i32) {
        let meter = MeterError::new(before.meter.millivolts().plus(Millivolts(by)));
        never_better(&before, &Question { meter, ..before })?;
    }

    #[test]
    fn a_longer_run_and_a_higher_floor_are_never_better(
        before in any_question(), by in 1..3600i64, raise in 0..800i32,
    ) {
        let Length::AtMost(length) = before.demand.length else { unreachable!("always bounded") };
        let demand = Demand {
            length: Length::AtMost(length.plus(Millis::secs(by))),
            floor: before.demand.floor.plus(Millivolts(raise)),
            ..before.demand
        };
        never_better(&before, &Question { demand, ..before })?;
    }

    #[test]
    fn an_older_battery_or_one_of_unknown_age_is_never_better(before in any_question(), by in 1..200i32) {
        let aged = |age| Question { battery: Battery { age, ..before.battery }, ..before };
        if let Some(age) = before.battery.age {
            never_better(&before, &aged(Some(Months(age.0 + by))))?;
        }
        never_better(&before, &aged(None))?;
    }

    #[test]
    fn bounds_are_in_order_and_a_go_is_earned(question in any_question()) {
        let found = assess(&question);
        let reserve = found.reserve.expect("ratings and load are known");
        prop_assert!(reserve.least <= reserve.most && reserve.least >= Millis::ZERO);
        prop_assert!(found.charge.least <= found.charge.most);
        let Length::AtMost(length) = question.demand.length else { unreachable!("always bounded") };
        match found.verdict {
            Verdict::Go => prop_assert!(reserve.least >= length.times(2)),
            Verdict::GoWithCharger => prop_assert!(
                reserve.least >= length && found.asks.contains(&Ask::ConnectCharger)
            ),
            Verdict::DoNotStart => {
                prop_assert!(!found.may_start() && !found.findings.is_empty());
            }
        }
    }

    /// Numbers that `check` would never let through still end in an answer, never in a panic; a load
    /// of nothing never in a go.
    #[test]
    fn nonsense_is_answered(numbers in proptest::array::uniform12(any::<i32>()), length in any::<i64>()) {
        let [rest, age, celsius, ohms, amperes, drop, gives, first, second, floor, c20, minutes] = numbers;
        for rated in [
            Rated::TwentyHours(MilliampHours(c20)),
            Rated::ReserveMinutes(Minutes(minutes)),
            Rated::Both { capacity: MilliampHours(c20), reserve: Minutes(minutes) },
            Rated::WithExponent { capacity: MilliampHours(c20), exponent: Exponent(minutes) },
        ] {
            for load in [
                Load::Amperes(Milliamps(amperes)),
                Load::Drop(Millivolts(drop)),
                Load::Both { amperes: Milliamps(amperes), drop: Millivolts(drop) },
            ] {
                let found = assess(&with(|q| {
                    q.battery = Battery {
                        kind: Kind::Gel,
                        rated: Some(rated),
                        rest: Some(Millivolts(rest)),
                        age: Some(Months(age)),
                        temperature: TenthsCelsius(celsius),
                        resistance: Some(Microohms(ohms)),
                    };
                    q.load = Some(load);
                    q.charger = Some(Charger {
                        gives: Milliamps(gives),
                        readings: Some([Millivolts(first), Millivolts(second)]),
                    });
                    q.demand.length = Length::AtMost(Millis(length));
                    q.demand.floor = Millivolts(floor);
                }));
                if let Some(reserve) = found.reserve {
                    prop_assert!(reserve.least <= reserve.most);
                }
                if amperes <= 0 && !matches!(load, Load::Drop(_)) {
                    prop_assert!(!found.may_start() && found.asks.contains(&Ask::Load));
                }
            }
        }
    }
}

// --- verdicts -----------------------------------------------------------------------------------

#[test]
fn a_battery_that_lasts_twice_as_long_goes_alone() {
    let found = assess(&question());
    assert_eq!(found.verdict, Verdict::Go);
    assert!(found.may_start());
    // 154 min by the main table; the rule of thumb promises less, and the verdict rests on it.
    let lower = found.reserve.expect("known").least;
    assert!(
        found
            .findings
            .contains(&Finding::TablesDisagree { main: found.by_table[0].1.least, lower })
    );
    assert_eq!(minutes(lower), 152);
}

#[test]
fn between_once_and_twice_a_charger_is_asked_for_and_below_once_nothing_starts() {
    let lasting =
        |mins: i64| assess(&with(|q| q.demand.length = Length::AtMost(Millis::secs(mins * 60))));
    let thin = lasting(80);
    assert_eq!(thin.verdict, Verdict::GoWithCharger);
    assert_eq!(thin.asks, [Ask::ConnectCharger]);
    assert!(!thin.may_start());
    assert!(thin.findings.iter().any(|f| matches!(f, Finding::Thin { .. })));
    let short = lasting(160);
    assert_eq!(short.verdict, Verdict::DoNotStart);
    assert!(short.findings.iter().any(|f| matches!(f, Finding::TooShort { .. })));
}

#[test]
fn enough_for_the_floor_but_not_for_starting_the_engine_is_refused() {
    // To 11.0 V the reserve is long, but a run of 100 min ends below half of the charge.
    let found = assess(&with(|q| {
        q.demand.floor = Millivolts(11_000);
        q.demand.length = Length::AtMost(Millis::secs(110 * 60));
    }));
    assert!(found.reserve.expect("known").least >= Millis::secs(220 * 60));
    assert_eq!(found.verdict, Verdict::DoNotStart);
    let ends = found.findings.iter().find_map(|f| match f {
        Finding::EndsTooLow { charge, keep } => Some((*charge, *keep)),
        _ => None,
    });
    // 0.85 now, less 110 of 283 minutes.
    assert_eq!(ends, Some((PerMille(461), PerMille(500))));
}

#[test]
fn an_unbounded_run_asks_for_a_limit_and_assumes_none() {
    let found = assess(&with(|q| q.demand.length = Length::Unbounded));
    assert_eq!(found.verdict, Verdict::DoNotStart);
    assert_eq!(found.asks, [Ask::Limit]);
    // The reserve is told all the same.
    assert_eq!(found.reserve, assess(&question()).reserve);
}

#[test]
fn what_is_missing_is_asked_for() {
    let bare = assess(&with(|q| {
        q.battery.rated = None;
        q.battery.rest = None;
        q.load = None;
        q.demand.length = Length::Unbounded;
    }));
    assert_eq!(bare.verdict, Verdict::DoNotStart);
    assert_eq!(bare.asks, [Ask::Limit, Ask::Ratings, Ask::Load, Ask::RestVoltage]);
    assert_eq!((bare.reserve, bare.charge.least), (None, PerMille(0)));

    let misprint = assess(&with(|q| {
        q.battery.rated =
            Some(Rated::Both { capacity: MilliampHours(43_000), reserve: Minutes(140) });
    }));
    assert_eq!(misprint.asks, [Ask::Ratings]);
    let exponent = Some(Exponent(876));
    assert!(misprint.findings.contains(&Finding::RatingsDisagree { exponent }));
}

#[test]
fn surface_charge_is_no_charge() {
    // Above 12.8 V without a charger a flooded battery shows surface charge: it may last 6 h and
    // more (two sources); what is below it is unknown.
    let found = assess(&with(|q| q.battery.rest = Some(Millivolts(12_810))));
    assert_eq!(found.asks, [Ask::RestVoltageAgain, Ask::ConnectCharger]);
    assert_eq!(found.verdict, Verdict::DoNotStart);
    assert_eq!(found.charge, Between { least: PerMille(0), most: PerMille(1000) });
    assert_eq!(found.reserve.expect("known").least, Millis::ZERO);
    // Up to there a reading above full counts as full.
    let at = |rest| least(&with(|q| q.battery.rest = Some(Millivolts(rest))));
    assert_eq!(at(12_800), at(12_650));
}

#[test]
fn cold_widens_the_voltage_both_ways_and_lessens_the_capacity() {
    let at = |tenths| assess(&with(|q| q.battery.temperature = TenthsCelsius(tenths)));
    let (mild, cold, hot) = (at(100), at(99), at(351));
    let by = Millivolts(100);
    assert!(!mild.findings.contains(&Finding::VoltageDisputed { by }));
    assert!(cold.findings.contains(&Finding::VoltageDisputed { by }));
    assert!(hot.findings.contains(&Finding::VoltageDisputed { by }));
    assert!(cold.charge.least < mild.charge.least && cold.charge.most > mild.charge.most);
    assert!(at(-300).findings.contains(&Finding::ColderThanTable));
    assert_eq!(at(-300).verdict, Verdict::DoNotStart);
}

#[test]
fn a_coarse_reading_carries_half_of_its_last_place() {
    assert_eq!(MeterError::of_decimals(2), MeterError::LEAST);
    assert_eq!(MeterError::of_decimals(1).millivolts(), Millivolts(70));
    assert_eq!(MeterError::of_decimals(0).millivolts(), Millivolts(520));
    assert_eq!(MeterError::new(Millivolts(-5)), MeterError::LEAST);
}

// --- the charger --------------------------------------------------------------------------------

/// Floor 13.0 V and ceiling 13.5 V, a full battery, a charger of so many amperes.
fn charging(amperes: i32, readings: Option<[i32; 2]>) -> Question {
    with(|q| {
        q.battery.rest = Some(Millivolts(12_650));
        q.demand.floor = Millivolts(13_000);
        q.demand.ceiling = Some(Millivolts(13_500));
        q.charger = Some(Charger {
            gives: Milliamps(amperes * 1000),
            readings: readings.map(|both| both.map(Millivolts)),
        });
    })
}

#[test]
fn a_floor_above_any_battery_says_so_and_asks_for_charger_and_readings() {
    let alone = assess(&with(|q| {
        q.battery.rest = Some(Millivolts(12_650));
        q.demand.floor = Millivolts(13_000);
    }));
    assert_eq!(alone.verdict, Verdict::DoNotStart);
    assert_eq!(alone.reserve.map(|r| r.most), Some(Millis::ZERO));
    assert_eq!(alone.asks, [Ask::ConnectCharger, Ask::ChargerReadings]);
    let finding =
        Finding::FloorAboveBattery { needs: Millivolts(13_100), full: Millivolts(12_650) };
    assert!(alone.findings.contains(&finding));

    let unread = assess(&charging(20, None));
    assert_eq!((unread.verdict, unread.asks), (Verdict::DoNotStart, vec![Ask::ChargerReadings]));
}

#[track_caller]
fn check_readings(readings: [i32; 2], goes: bool, found: Option<Finding>) {
    let assessed = assess(&charging(20, Some(readings)));
    let verdict = if goes { Verdict::GoWithCharger } else { Verdict::DoNotStart };
    assert_eq!(assessed.verdict, verdict, "{:?}", assessed.findings);
    assert_eq!(assessed.may_start(), goes);
    if let Some(found) = found {
        assert!(assessed.findings.contains(&found), "{:?}", assessed.findings);
    }
}

#[test]
fn two_readings_between_floor_with_margin_and_ceiling_let_it_go() {
    check_readings([13_300, 13_300], true, None);
    check_readings([13_200, 13_200], true, None);
    let ceiling = Millivolts(13_500);
    check_readings(
        [13_490, 13_500],
        true,
        Some(Finding::NearCeiling { read: Millivolts(13_500), ceiling }),
    );
    check_readings(
        [13_400, 13_510],
        false,
        Some(Finding::ChargerReadingHigh { read: Millivolts(13_510), ceiling }),
    );
    check_readings(
        [13_200, 13_190],
        false,
        Some(Finding::ChargerReadingLow { read: Millivolts(13_190), least: Millivolts(13_200) }),
    );
    check_readings(
        [13_400, 13_370],
        false,
        Some(Finding::ChargerReadingFalls { by: Millivolts(30) }),
    );
}

#[test]
fn a_floor_and_ceiling_with_no_room_for_the_margin_are_told() {
    let mut narrow = charging(20, Some([13_100, 13_100]));
    narrow.demand.ceiling = Some(Millivolts(13_150));
    let found = assess(&narrow);
    assert_eq!(found.verdict, Verdict::DoNotStart);
    let (least, ceiling) = (Millivolts(13_200), Millivolts(13_150));
    assert!(found.findings.contains(&Finding::NoReadingFits { least, ceiling }));
}

#[test]
fn only_a_charger_that_bears_load_and_acceptance_holds_a_high_floor() {
    // 10 A of load and a tenth of 60 Ah: 16 A.
    let verdict = |amperes| assess(&charging(amperes, Some([13_300, 13_300]))).verdict;
    assert_eq!(verdict(16), Verdict::GoWithCharger);
    assert_eq!(verdict(15), Verdict::DoNotStart);
    let small = assess(&charging(15, Some([13_300, 13_300])));
    let (gives, needs) = (Milliamps(15_000), Milliamps(16_000));
    assert!(small.findings.contains(&Finding::ChargerTooSmall { gives, needs }));
    // A battery far from full takes all that any charger gives.
    let mut low = charging(100, Some([13_300, 13_300]));
    low.battery.rest = Some(Millivolts(12_400));
    let bulk = assess(&low);
    assert_eq!(bulk.verdict, Verdict::DoNotStart);
    assert!(bulk.findings.iter().any(|f| matches!(f, Finding::StillBulk { .. })));
}

/// The base battery is too short for a run of 160 min to 12.0 V; what a charger makes of it.
fn relieved(amperes: i32, mins: i64) -> Assessment {
    assess(&with(|q| {
        q.demand.length = Length::AtMost(Millis::secs(mins * 60));
        q.charger = Some(Charger {
            gives: Milliamps(amperes * 1000),
            readings: Some([Millivolts(12_600); 2]),
        });
    }))
}

#[test]
fn a_charger_below_the_load_leaves_the_rest_to_the_battery() {
    assert_eq!(relieved(10, 160).verdict, Verdict::GoWithCharger);
    let by_six = relieved(6, 160);
    assert_eq!(by_six.verdict, Verdict::GoWithCharger);
    let (from_battery, reserve) = by_six
        .findings
        .iter()
        .find_map(|f| match f {
            Finding::ChargerBelowLoad { from_battery, reserve } => Some((*from_battery, *reserve)),
            _ => None,
        })
        .expect("told");
    assert_eq!(from_battery, Milliamps(4_000));
    assert!(reserve.least >= Millis::secs(320 * 60));
    assert_eq!(relieved(1, 300).verdict, Verdict::DoNotStart);
}

#[test]
fn a_charger_just_below_the_load_still_discharges_the_battery() {
    let told = |amperes| {
        relieved(amperes, 160).findings.iter().find_map(|f| match f {
            Finding::ChargerBelowLoad { from_battery, .. } => Some(*from_battery),
            _ => None,
        })
    };
    assert_eq!(told(9), Some(Milliamps(1_000)));
    assert_eq!(told(10), None);
}

#[test]
fn a_charger_that_only_bears_the_load_leaves_a_low_battery_low() {
    // 12.2 V at rest is below half of the charge; 10 A bear the load and add nothing.
    let found = assess(&with(|q| {
        q.battery.rest = Some(Millivolts(12_200));
        q.charger =
            Some(Charger { gives: Milliamps(10_000), readings: Some([Millivolts(12_600); 2]) });
    }));
    assert_eq!(found.verdict, Verdict::DoNotStart);
    let ends = |f: &Finding| matches!(f, Finding::EndsTooLow { charge, .. } if charge.0 < 500);
    assert!(found.findings.iter().any(ends), "{:?}", found.findings);
}

#[test]
fn a_measured_drop_stays_as_it_is_under_a_charger() {
    // 12.0 V and 0.3 V of drop, ±0.02 V: down to 12.32 V at rest, whatever the charger takes over.
    let mut question = with(|q| {
        q.load = Some(Load::Both { amperes: Milliamps(10_000), drop: Millivolts(300) });
        q.demand.length = Length::AtMost(Millis::secs(100 * 60));
        q.charger =
            Some(Charger { gives: Milliamps(6_000), readings: Some([Millivolts(12_600); 2]) });
    });
    let relieved = assess(&question).findings.iter().find_map(|f| match f {
        Finding::ChargerBelowLoad { reserve, .. } => Some(*reserve),
        _ => None,
    });
    question.charger = None;
    question.load = Some(Load::Both { amperes: Milliamps(4_000), drop: Millivolts(300) });
    assert_eq!(relieved, assess(&question).reserve);
}

#[test]
fn a_coarse_meter_raises_the_margin_above_the_floor() {
    let mut question = charging(20, Some([13_250, 13_250]));
    question.meter = MeterError::new(Millivolts(300));
    question.battery.rest = Some(Millivolts(12_650));
    let found = assess(&question);
    assert_eq!(found.verdict, Verdict::DoNotStart);
    let (read, least) = (Millivolts(13_250), Millivolts(13_300));
    assert!(found.findings.contains(&Finding::ChargerReadingLow { read, least }));
}

#[test]
fn no_reserve_is_too_short_for_any_run() {
    let found = assess(&with(|q| {
        q.demand.floor = Millivolts(12_540);
        q.demand.length = Length::AtMost(Millis::ZERO);
    }));
    assert_eq!(found.reserve.expect("known").least, Millis::ZERO);
    assert_eq!(found.verdict, Verdict::DoNotStart);
}

#[test]
fn a_charger_may_not_lift_a_good_battery_above_the_ceiling() {
    let lifted = |readings: Option<[i32; 2]>| {
        assess(&with(|q| {
            q.demand.ceiling = Some(Millivolts(13_500));
            q.charger = Some(Charger {
                gives: Milliamps(20_000),
                readings: readings.map(|both| both.map(Millivolts)),
            });
        }))
    };
    assert_eq!(lifted(Some([13_300, 13_300])).verdict, Verdict::Go);
    assert_eq!(lifted(Some([14_200, 14_400])).verdict, Verdict::DoNotStart);
    assert_eq!(lifted(None).asks, [Ask::ChargerReadings]);
}

#[test]
fn a_rest_voltage_above_the_ceiling_is_refused() {
    let found = assess(&with(|q| q.demand.ceiling = Some(Millivolts(12_500))));
    assert_eq!(found.verdict, Verdict::DoNotStart);
    let (read, ceiling) = (Millivolts(12_550), Millivolts(12_500));
    assert!(found.findings.contains(&Finding::RestAboveCeiling { read, ceiling }));
}

// --- answers that are asked again ---------------------------------------------------------------

#[test]
fn answers_that_cannot_be_meant_are_refused_with_their_range() {
    assert_eq!(check_rest_voltage(12_650), Ok(Millivolts(12_650)));
    // 1265 for 12.65: never guessed.
    assert_eq!(
        check_rest_voltage(1_265_000),
        Err(Refused::OutOfRange {
            asked: Asked::RestVoltage,
            got: 1_265_000,
            least: 9_000,
            most: 15_000
        })
    );
    assert_eq!(check_age(4_500), Ok(Months(54)));
    assert_eq!(
        check_age(-1),
        Err(Refused::OutOfRange { asked: Asked::Age, got: -1, least: 0, most: 30_000 })
    );
    assert_eq!(check_charger(0), Err(Refused::ChargerWithoutCurrent));
    assert!(check_charger(-5_000).is_err());
    assert_eq!(check_charger(25_000).map(|c| c.gives), Ok(Milliamps(25_000)));
    assert!(check_load(0).is_err());
    assert_eq!(check_load(10_000), Ok(Milliamps(10_000)));
    assert!(check_capacity(0).is_err());
    assert_eq!(check_capacity(60_000), Ok(MilliampHours(60_000)));
    assert_eq!(check_reserve_minutes(130_000), Ok(Minutes(130)));
    assert!(check_temperature(100_000).is_err());
    assert_eq!(check_temperature(-150), Ok(TenthsCelsius(-2)), "rounded to the colder");
    assert!(check_charger_voltage(27_600).is_err(), "a 24 V system");
    for extreme in [i64::MIN, i64::MAX] {
        assert!(check_rest_voltage(extreme).is_err());
        assert!(check_age(extreme).is_err());
        assert!(check_temperature(extreme).is_err());
        assert!(resistance_from_cranking(extreme).is_err());
    }
}

#[test]
fn readings_that_contradict_each_other_are_refused() {
    let (rest, key_on) = (Millivolts(12_550), Millivolts(12_600));
    assert_eq!(check_drop(rest, 12_430), Ok(Millivolts(120)));
    assert_eq!(check_drop(rest, 12_600), Err(Refused::RisesUnderLoad { rest, key_on }));
    assert_eq!(
        check_bounds(13_000, Some(13_500)),
        Ok((Millivolts(13_000), Some(Millivolts(13_500))))
    );
    assert_eq!(
        check_bounds(13_500, Some(13_000)),
        Err(Refused::CeilingBelowFloor { floor: Millivolts(13_500), ceiling: Millivolts(13_000) })
    );
    // 25 A being the 20-hour current of 500 Ah, no exponent follows.
    assert_eq!(
        check_ratings(MilliampHours(500_000), Minutes(600)),
        Err(Refused::RatingsDisagree { exponent: None })
    );
}

#[test]
fn the_cranking_current_gives_the_resistance_of_a_cold_battery() {
    // 600 A pull it from 12.6 V to 7.2 V, by the definition of the rating: 9 mΩ.
    assert_eq!(resistance_from_cranking(600_000), Ok(Microohms(9_000)));
}
