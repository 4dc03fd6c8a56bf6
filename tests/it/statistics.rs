//! Intervals, tails and quantiles against a reference library, and draws against their own law.

use std::fs;
use std::process::Command;

use super::runs_support::root;
use stepbell::clock::{Millis, Span};
use stepbell::procedure::plan::StepIx;
use stepbell::training::intervals::{exact, jeffreys};
use stepbell::training::learning::Curve;
use stepbell::training::statistics::{Interval, Lengths, fraction, standard_error, wilson};
use stepbell::vehicle::Draw;
use stepbell::vehicle::law::{Law, Share, Spread, Spreads};
use stepbell::vehicle::normal::quantile;

/// One row of the golden table, `tests/statistics/regenerate.py` says of what.
struct Row(Vec<String>);

impl Row {
    fn float(&self, n: usize) -> f64 {
        self.0[n].parse().unwrap_or_else(|_| panic!("{:?}", self.0))
    }

    fn whole(&self, n: usize) -> i64 {
        self.0[n].parse().unwrap_or_else(|_| panic!("{:?}", self.0))
    }

    fn span(&self) -> Span {
        Span::new(Millis(self.whole(2)), Millis(self.whole(3)))
    }

    fn spread(&self) -> Spread {
        Spread(u32::try_from(self.whole(1)).unwrap())
    }

    #[track_caller]
    fn is(&self, column: usize, found: f64, relative: f64) {
        let told = self.float(column);
        let off = (found - told).abs();
        assert!(off <= relative * told.abs() + 1e-15, "{:?}: {found}, not {told}", self.0);
    }
}

fn rows(kind: &str) -> Vec<Row> {
    let text = fs::read_to_string(root().join("tests/statistics/golden.tsv")).unwrap();
    let rows = text.lines().map(|line| Row(line.split('\t').map(str::to_owned).collect()));
    let rows: Vec<Row> = rows.filter(|row| row.0[0] == kind).collect();
    assert!(rows.len() >= 4, "only {} rows of {kind}", rows.len());
    rows
}

fn count(n: i64) -> u64 {
    u64::try_from(n).unwrap()
}

#[test]
fn the_figures_are_what_their_script_makes() {
    let script = root().join("tests/statistics/regenerate.py");
    let skipped = |why: &str| {
        super::journals::skipped(&format!("the statistics' table against its script: {why}"));
    };
    let Ok(made) = Command::new("python3").arg(script).output() else {
        return skipped("no python3");
    };
    let said = String::from_utf8_lossy(&made.stderr);
    if said.contains("ModuleNotFoundError") {
        return skipped("no scipy or statsmodels");
    }
    assert!(made.status.success(), "{said}");
    let committed = fs::read(root().join("tests/statistics/golden.tsv")).unwrap();
    assert!(made.stdout == committed, "golden.tsv is stale: regenerate.py --write");
}

#[test]
fn wilsons_interval_is_the_reference_librarys() {
    for row in rows("wilson") {
        let found = wilson(count(row.whole(1)), count(row.whole(2)), row.float(3));
        row.is(4, found.lo, 1e-10);
        row.is(5, found.hi, 1e-10);
    }
    let none = wilson(0, 0, 1.96);
    assert_eq!((none.lo, none.hi), (0.0, 1.0), "nothing tried, nothing known");
}

#[test]
fn the_other_intervals_are_the_reference_librarys() {
    for (kind, interval) in [("jeffreys", jeffreys as fn(u64, u64) -> Interval), ("exact", exact)] {
        for row in rows(kind) {
            let found = interval(count(row.whole(1)), count(row.whole(2)));
            for (nth, end) in [(3, found.lo), (4, found.hi)] {
                assert!((end - row.float(nth)).abs() < 1e-10, "{:?}: {found:?}", row.0);
            }
        }
    }
}

/// The unit form: the nth run alone, and each doubling leaves the rate.
#[test]
fn the_curve_of_practice_has_the_reference_librarys_factors() {
    for row in rows("unit") {
        let rate = row.float(2) / 1000.0;
        let first = Millis::secs(1_000_000);
        let curve = Curve { floor: Millis::ZERO, first, exponent: -rate.log2(), off: Millis::ZERO };
        row.is(3, curve.of(count(row.whole(1))) / 1e9, 1e-12);
        assert!((curve.rate() - rate).abs() < 1e-12);
    }
}

#[test]
fn normal_quantiles_are_the_reference_librarys() {
    for row in rows("normal") {
        row.is(2, quantile(row.float(1)), 1e-13);
    }
    assert_eq!(quantile(0.0), f64::NEG_INFINITY);
    assert_eq!(quantile(1.0), f64::INFINITY);
    assert!(quantile(-0.1).is_nan() && quantile(1.1).is_nan());
}

#[test]
fn log_normal_tails_and_lengths_are_the_reference_librarys() {
    for row in rows("tail") {
        row.is(5, row.spread().beyond(Millis(row.whole(4)), row.span()), 1e-9);
    }
    for row in rows("length") {
        let found = row.spread().length(row.float(4), row.span());
        let off = found.0 as f64 - row.float(5);
        assert!(off.abs() <= 0.5 + 1e-6, "{:?}: {found}", row.0);
    }
    // Stated by their medians: hi is e^(1.645 sigma) medians.
    for row in rows("median") {
        let (sigma, median) = (row.float(1) / 1000.0, row.float(2));
        let hi = format!("{:.0}", median * (1.644_853_626_951_472_2 * sigma).exp());
        let span = Span::new(Millis::ZERO, Millis(hi.parse().unwrap()));
        row.is(4, row.spread().beyond(Millis(row.whole(3)), span), 1e-3);
    }
    for row in rows("sd") {
        row.is(3, standard_error(row.float(1), count(row.whole(2))), 1e-12);
    }
}

#[test]
fn drawn_lengths_follow_their_law() {
    let spreads = Spreads::default();
    let span = Span::new(Millis(1000), Millis(4000));
    const N: u32 = 200_000;
    for share in [Share::Hands, Share::Vehicle] {
        let mut drawn = Lengths::default();
        for time in 0..N {
            let mut draw = Draw::named(7, Law::Tails(spreads));
            draw.about(StepIx(time % 7), time, stepbell::vehicle::What::Hands);
            drawn.add(draw.takes(share, &[span]));
        }
        assert!(drawn.quantile(0).unwrap() >= span.lo, "the floor is hard");
        for length in [1500, 2000, 3000, 4000, 6000] {
            let told = 1.0 - spreads.of(share).beyond(Millis(length), span);
            let found = fraction(drawn.below(Millis(length)), u64::from(N));
            let se = standard_error(told, u64::from(N));
            // Four standard errors, ten comparisons: one false alarm in about 1,600 seeds.
            let off = (found - told).abs();
            assert!(off < 4.0 * se + 2e-4, "{share:?} below {length}: {found}, not {told}");
        }
    }
}

#[test]
fn quantiles_are_by_rank_and_sums_are_in_any_order() {
    let of = |lengths: &[i64]| {
        let mut all = Lengths::default();
        lengths.iter().for_each(|length| all.add(Millis(*length)));
        all
    };
    let all = of(&[50, 15, 35, 20, 40]);
    // 15, 20, 35, 40, 50: the textbook example of the nearest rank (5 %, 30 %, 40 %, 50 %, 100 %).
    for (p, told) in [(50, 15), (300, 20), (400, 20), (500, 35), (1000, 50), (0, 15)] {
        assert_eq!(all.quantile(p), Some(Millis(told)), "{p} of 1000");
    }
    assert_eq!(Lengths::default().quantile(500), None);
    let (mut one, mut other) = (of(&[50, 15]), of(&[35, 20, 40]));
    one.merge(&of(&[35, 20, 40]));
    other.merge(&of(&[50, 15]));
    assert_eq!((&one, &other), (&all, &all));
    assert_eq!((all.n(), all.below(Millis(35))), (5, 2));
}
