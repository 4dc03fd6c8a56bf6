//! The prover against answers from the literature, against a game played to the end, and against
//! itself under changes that must not matter.

use std::path::{Path, PathBuf};

use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{RngSeed, TestRunner};
use stepbell::proof::controllable::{LatestSafe, Part, Verdict, check, latest_safe};
use stepbell::proof::tn::{self, NamedNetwork};

use crate::proofs_game::{Plain, person_wins};

pub fn published() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/networks/published")
}

pub fn read(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn network(name: &str) -> NamedNetwork {
    let parsed = tn::parse(&read(&published().join(name)));
    parsed.unwrap_or_else(|error| panic!("{name}: {error:?}"))
}

/// The rows of `published.tsv`: file, answer, answer of an independent game if one was played.
fn rows() -> Vec<(String, bool, String)> {
    let table = read(&published().join("published.tsv"));
    let rows = table.lines().skip(1).map(|line| {
        let fields: Vec<&str> = line.split('\t').collect();
        let [file, answer, game] = fields[..] else { panic!("a row of three: {line}") };
        assert!(["dc", "not"].contains(&answer), "{line}");
        (file.to_owned(), answer == "dc", game.to_owned())
    });
    rows.collect()
}

#[test]
fn published_networks_are_answered_as_published() {
    assert_eq!(rows().len(), 24);
    for (file, controllable, _) in rows() {
        let named = network(&file);
        let verdict = check(&named.network);
        assert_eq!(verdict == Verdict::Controllable, controllable, "{file}: {verdict:?}");
    }
}

#[test]
fn the_game_agrees_with_the_published_answers() {
    for (file, controllable, game) in rows() {
        // Where the table says that a game was played, it is small enough for ours.
        if game == "dc" || game == "not" {
            if file == "loops-3.tn" {
                continue; // seven points, lengths up to 48: too many states for a test
            }
            assert_eq!(person_wins(&Plain::of(&network(&file).network)), controllable, "{file}");
        }
    }
}

/// Keeps the links that form a forest: series and shared activations happen often.
fn forest(drawn: Vec<(usize, usize, i64, i64)>) -> Vec<(usize, usize, i64, i64)> {
    let mut kept: Vec<(usize, usize, i64, i64)> = Vec::new();
    for (a, c, lo, hi) in drawn {
        let mut above = Some(a);
        let mut circle = false;
        while let Some(point) = above {
            circle |= point == c;
            above = kept.iter().find(|link| link.1 == point).map(|link| link.0);
        }
        if !circle && kept.iter().all(|link| link.1 != c) {
            kept.push((a, c, lo, hi));
        }
    }
    kept
}

/// Bounds and links drawn without regard to each other: most that fail contradict themselves.
fn careless(points: usize) -> impl Strategy<Value = Plain> {
    let bound = (0..points, 0..points, prop_oneof![3 => -4..=6_i64, 1 => Just(0_i64)]);
    let bounds = proptest::collection::vec(bound, 0..=2 * points);
    let link = (0..points, 0..points, 0..4_i64, 0..4_i64);
    let links = proptest::collection::vec(link, 0..=3);
    (bounds, links).prop_map(move |(bounds, links)| {
        let links = links.into_iter().map(|(a, c, lo, more)| (a, c, lo, (lo + more).min(4)));
        Plain { points, bounds, links: forest(links.collect()) }
    })
}

/// Bounds and links drawn around one hidden plan, so that a network that fails mostly fails
/// because of what nature may pick.
fn around_a_plan(points: usize) -> impl Strategy<Value = Plain> {
    let times = proptest::collection::vec(0..=5_i64, points);
    let bound = (0..points, 0..points, prop_oneof![1 => Just(0_i64), 3 => 0..=4_i64]);
    let bounds = proptest::collection::vec(bound, 1..=2 * points);
    let link = (0..points, 0..points, 0..=2_i64, 0..=2_i64);
    let links = proptest::collection::vec(link, 2..=5);
    (times, bounds, links).prop_map(move |(times, bounds, links)| {
        let apart = |u: usize, v: usize| times[v] - times[u];
        let bounds = bounds.into_iter().map(|(u, v, slack)| (u, v, apart(u, v) + slack));
        let links = links
            .into_iter()
            .filter(|&(a, c, _, _)| apart(a, c) >= 0)
            .map(|(a, c, less, more)| (a, c, (apart(a, c) - less).max(0), apart(a, c) + more));
        let links = forest(links.take(3).collect());
        Plain { points, bounds: bounds.collect(), links }
    })
}

/// Tiny networks, small enough to be played out.
pub fn tiny(most_points: usize) -> impl Strategy<Value = Plain> {
    (2..=most_points).prop_flat_map(
        |points| prop_oneof![1 => careless(points).boxed(), 4 => around_a_plan(points).boxed()],
    )
}

pub fn config(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(0x5EED),
        ..ProptestConfig::default()
    }
}

fn controllable(plain: &Plain) -> bool {
    check(&plain.build()) == Verdict::Controllable
}

proptest! {
    #![proptest_config(config(4000))]

    #[test]
    fn verdict_is_the_outcome_of_the_game(plain in tiny(6)) {
        prop_assert_eq!(controllable(&plain), person_wins(&plain));
    }
}

/// The draw is worth something only if it holds networks of every kind.
#[test]
fn drawn_networks_are_of_every_kind() {
    let mut runner = TestRunner::new(config(1));
    let (mut kept, mut lost_to_nature, mut contradictory) = (0, 0, 0);
    for _ in 0..2000 {
        let plain = tiny(6).new_tree(&mut runner).expect("a network").current();
        let uncertain = plain.links.iter().filter(|link| link.2 < link.3).count();
        let consistent = plain.build().distances().expect("few points").is_some();
        match (controllable(&plain), consistent) {
            (true, true) if uncertain >= 2 && plain.bounds.len() >= 3 => kept += 1,
            (false, true) => lost_to_nature += 1,
            (false, false) => contradictory += 1,
            (true, false) => panic!("kept although contradictory: {plain:?}"),
            (true, true) => {}
        }
    }
    assert!(kept >= 80 && lost_to_nature >= 250 && contradictory >= 100);
}

/// A cycle adds up to its value, is negative, and is enough: without the bounds it does not use
/// the network still fails.
fn cycle_is_a_reason(plain: &Plain) -> Result<(), TestCaseError> {
    let network = plain.build();
    let Verdict::Not(cycle) = check(&network) else { return Ok(()) };
    let total: i64 = cycle
        .uses
        .iter()
        .map(|used| used.part.length(&network).0 * i64::try_from(used.times).expect("few"))
        .sum();
    prop_assert_eq!(total, cycle.value.0);
    prop_assert!(total < 0);
    let used = |i: usize| cycle.uses.iter().any(|used| used.part == Part::Bound(i));
    let mut only = plain.clone();
    only.bounds = (0..plain.bounds.len()).filter(|&i| used(i)).map(|i| plain.bounds[i]).collect();
    prop_assert!(!controllable(&only), "{:?} is no reason in {:?}", cycle, plain);
    Ok(())
}

/// The same network with its points numbered and its bounds and links ordered another way.
fn shuffled(plain: &Plain, seed: usize) -> Plain {
    let place = |p: usize| (p * 5 + seed) % 7 % plain.points;
    let mut number: Vec<usize> = (0..plain.points).collect();
    number.sort_by_key(|&p| (place(p), p));
    let mut bounds: Vec<_> =
        plain.bounds.iter().map(|&(u, v, w)| (number[u], number[v], w)).collect();
    let mut links: Vec<_> =
        plain.links.iter().map(|&(a, c, x, y)| (number[a], number[c], x, y)).collect();
    let (b, l) = (bounds.len().max(1), links.len().max(1));
    bounds.rotate_left(seed % b);
    links.rotate_left(seed % l);
    links.reverse();
    Plain { points: plain.points, bounds, links }
}

fn scaled(plain: &Plain, by: i64) -> Plain {
    Plain {
        points: plain.points,
        bounds: plain.bounds.iter().map(|&(u, v, w)| (u, v, w * by)).collect(),
        links: plain.links.iter().map(|&(a, c, x, y)| (a, c, x * by, y * by)).collect(),
    }
}

proptest! {
    #![proptest_config(config(3000))]

    #[test]
    fn a_cycle_is_a_reason(plain in tiny(8)) {
        cycle_is_a_reason(&plain)?;
    }

    #[test]
    fn loosening_never_loses_control(plain in tiny(8), which in 0..16_usize, by in 1..4_i64) {
        if !controllable(&plain) {
            return Ok(());
        }
        let mut looser = plain;
        if let Some(bound) = looser.bounds.get_mut(which) {
            bound.2 += by;
        } else if let Some(link) = looser.links.get_mut(which % 3) {
            link.2 = (link.2 + by).min(link.3);
        }
        prop_assert!(controllable(&looser), "{:?}", looser);
        if let Some(link) = looser.links.get_mut(which % 3) {
            link.3 = (link.3 - by).max(link.2);
        }
        prop_assert!(controllable(&looser), "{:?}", looser);
    }

    #[test]
    fn names_and_order_change_nothing(plain in tiny(8), seed in 0..1000_usize) {
        prop_assert_eq!(controllable(&plain), controllable(&shuffled(&plain, seed)));
    }

    #[test]
    fn the_unit_of_time_changes_nothing(plain in tiny(8), by in 2..1_000_000_i64) {
        prop_assert_eq!(controllable(&plain), controllable(&scaled(&plain, by)));
    }

    /// Whole time is fine enough: the game played in half units has the same outcome.
    #[test]
    fn finer_time_changes_nothing_in_the_game(plain in tiny(4)) {
        prop_assert_eq!(person_wins(&plain), person_wins(&scaled(&plain, 2)));
    }

    #[test]
    fn the_latest_safe_distance_is_the_last_that_holds(plain in tiny(5), ends in (0..5_usize, 0..5_usize)) {
        let (from, to) = (ends.0 % plain.points, ends.1 % plain.points);
        let network = plain.build();
        let points: Vec<_> = network.points().collect();
        let at_least = |least: i64| {
            let mut forced = plain.clone();
            forced.bounds.push((to, from, -least));
            forced
        };
        match latest_safe(&network, points[from], points[to]) {
            LatestSafe::NotControllable => prop_assert!(!controllable(&plain)),
            LatestSafe::Unbounded => prop_assert!(controllable(&at_least(1_000_000))),
            LatestSafe::After(most) => {
                prop_assert!(person_wins(&at_least(most.0)));
                prop_assert!(!person_wins(&at_least(most.0 + 1)));
            }
        }
    }
}

#[test]
fn the_matrix_of_1991_is_reproduced_exactly() {
    let named = network("commute-1991.tn");
    let expected = read(&published().join("commute-1991.min"));
    let distances = named.network.distances().expect("few points").expect("consistent");
    let rows = distances.rows().map(|row| {
        let cells: Vec<String> = row.map(|m| m.expect("bounded").0.to_string()).collect();
        cells.join(" ") + "\n"
    });
    assert_eq!(rows.collect::<String>(), expected);
}

#[test]
fn the_bus_of_1991_is_too_slow() {
    let named = network("commute-1991-bus.tn");
    assert!(named.network.distances().expect("few points").is_none());
    assert!(matches!(check(&named.network), Verdict::Not(_)));
}
