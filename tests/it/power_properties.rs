//! The battery: properties over random batteries and runs.

use proptest::prelude::*;
use stepbell::clock::Millis;
use stepbell::power::{
    Ask, Assessment, Battery, Charger, Demand, Exponent, Kind, Length, Load, MeterError, Microohms,
    MilliampHours, Milliamps, Millivolts, Minutes, Months, Question, Rated, TenthsCelsius, Verdict,
    assess,
};

use crate::power::with;

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
