//! The battery with a charger: what it must give, its two readings, and what it leaves to the battery.

use stepbell::clock::Millis;
use stepbell::power::{
    Ask, Assessment, Charger, Finding, Length, Load, MeterError, Milliamps, Millivolts, Question,
    Verdict, assess,
};

use crate::power::with;

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

#[test]
fn a_charger_that_seems_too_small_by_a_drop_alone_asks_for_the_current() {
    // 0.25 V may be 64 A over a very good battery; how much it is can be measured.
    let by_drop = |load| {
        assess(&with(|q| {
            q.battery.rest = Some(Millivolts(12_650));
            q.battery.resistance = None;
            q.demand.floor = Millivolts(13_000);
            q.load = Some(load);
            q.charger =
                Some(Charger { gives: Milliamps(20_000), readings: Some([Millivolts(13_300); 2]) });
        }))
    };
    let drop = Millivolts(250);
    let open = by_drop(Load::Drop(drop));
    assert_eq!((open.verdict, open.asks), (Verdict::DoNotStart, vec![Ask::Load]));
    let measured = by_drop(Load::Both { amperes: Milliamps(10_000), drop });
    assert_eq!((measured.verdict, measured.asks), (Verdict::GoWithCharger, vec![]));
    let too_much = by_drop(Load::Both { amperes: Milliamps(18_000), drop });
    assert_eq!((too_much.verdict, too_much.asks), (Verdict::DoNotStart, vec![]));
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
