//! `stepbell network`: verdicts, matrices, distances, and what it says of files it cannot read.

use std::fmt::Write as _;
use std::path::Path;

use stepbell::cli::network::{Format, Options, Output, run};

use crate::proofs::{published, read};

fn file(name: &str) -> (String, Result<String, String>) {
    (name.to_owned(), Ok(read(&published().join(name))))
}

fn ask(text: &str, options: &Options) -> Output {
    run(&[("a.tn".to_owned(), Ok(text.to_owned()))], options)
}

#[track_caller]
fn wrong(text: &str, complaint: &str) {
    let output = ask(text, &Options::default());
    assert_eq!(output.stderr, format!("a.tn:{complaint}\n"));
    assert_eq!((output.stdout.as_str(), output.exit), ("", 3));
}

#[test]
fn one_line_a_file() {
    let output = run(
        &["commute-1991.tn", "commute-1991-bus.tn", "edge-before.tn", "late-check.tn"].map(file),
        &Options::default(),
    );
    insta::assert_snapshot!(output.stdout, @r"
    commute-1991.tn consistent
    commute-1991-bus.tn inconsistent
    edge-before.tn dc
    late-check.tn not
    ");
    assert_eq!((output.stderr.as_str(), output.exit), ("", 1));
    assert_eq!(run(&[file("edge-before.tn")], &Options::default()).exit, 0);
}

#[test]
fn the_matrix_of_1991_is_printed_as_it_stands() {
    let minimal = Options { minimal: true, ..Options::default() };
    let output = run(&[file("commute-1991.tn")], &minimal);
    assert_eq!(output.stdout, read(&published().join("commute-1991.min")));
    assert_eq!(output.exit, 0);
    let open = ask("network 1\npoint A\npoint B\nbound A B 3\n", &minimal);
    assert_eq!(open.stdout, "0 3\ninf 0\n");
    let bus = run(&[file("commute-1991-bus.tn")], &minimal);
    assert_eq!((bus.stdout.as_str(), bus.exit), ("commute-1991-bus.tn inconsistent\n", 1));
}

#[test]
fn the_latest_distance_is_the_safe_one() {
    let latest = |from: &str, to: &str| Options {
        latest: Some((from.to_owned(), to.to_owned())),
        ..Options::default()
    };
    // C comes 1..3 after A, X at least 1 before it: as if it came at once, X is due with A.
    assert_eq!(run(&[file("edge-before.tn")], &latest("A", "X")).stdout, "0\n");
    assert_eq!(run(&[file("edge-before.tn")], &latest("X", "A")).stdout, "none\n");
    // X0 to X4 is [60, 70].
    assert_eq!(run(&[file("commute-1991.tn")], &latest("X0", "X4")).stdout, "70\n");
    assert_eq!(run(&[file("commute-1991.tn")], &latest("X4", "X0")).stdout, "-60\n");
    let output = run(&[file("late-check.tn")], &latest("E1", "E3"));
    assert_eq!((output.stdout.as_str(), output.exit), ("late-check.tn not\n", 1));
    let output = run(&[file("late-check.tn")], &latest("E1", "E9"));
    assert_eq!(
        (output.stderr.as_str(), output.exit),
        ("late-check.tn: there is no point `E9`\n", 2)
    );
}

#[test]
fn json_shows_the_cycle() {
    let options = Options { format: Format::Json, minimal: true, ..Options::default() };
    let missing = ("gone.tn".to_owned(), Err("no such file".to_owned()));
    let broken = ("broken.tn".to_owned(), Ok("network 1\npoint\n".to_owned()));
    let output = run(&[file("late-check.tn"), file("edge-before.tn"), missing, broken], &options);
    assert_eq!(output.exit, 3);
    insta::assert_snapshot!(output.stdout);
}

#[test]
fn mistakes_are_told_with_their_line() {
    wrong("", "1: the first line has to be `network 1`");
    wrong("# only a comment\n", "1: the first line has to be `network 1`");
    wrong("point A\n", "1: the first line has to be `network 1`");
    wrong("\nnetwork 2\n", "2: version `2` of the format is not known, only `network 1`");
    wrong(
        "network 1\nedge A B 3\n",
        "2: `edge` is not known: a line is a `point`, a `bound` or a `link`",
    );
    wrong("network 1\npoint A # x\npoint A\n", "3: point `A` is declared twice");
    wrong("network 1\npoint A B\n", "2: this line is written `point NAME`");
    wrong("network 1\npoint A\nbound A A\n", "3: this line is written `bound FROM TO MOST`");
    wrong("network 1\npoint A\nbound A Z 3\n", "3: no line above declares point `Z`");
    wrong("network 1\npoint A\nbound A A 1.5\n", "3: `1.5` is not a whole number");
    let two = "network 1\npoint A\npoint C\n";
    wrong(&format!("{two}link A C 5 3\n"), "4: the least, 5, is more than the most, 3");
    wrong(
        &format!("{two}link A C -1 3\n"),
        "4: the least, -1, is negative: an outcome comes after its cause",
    );
    let large = "the number is too large: at most 1099511627776, either way";
    wrong(&format!("{two}bound A C 1099511627777\n"), &format!("4: {large}"));
    wrong(&format!("{two}bound A C -99999999999999999999\n"), &format!("4: {large}"));
    wrong(&format!("{two}link A C 1 3\nlink A C 1 3\n"), "5: this outcome already has a link");
    wrong(&format!("{two}link A C 1 3\nlink C A 1 3\n"), "5: these links go round in a circle");
    wrong(&format!("{two}link A A 1 3\n"), "4: these links go round in a circle");
}

#[test]
fn a_hostile_word_stays_short_and_harmless() {
    let word = format!("\u{1b}[31m{}", "x".repeat(100_000));
    let output = ask(&format!("network 1\n{word}\n"), &Options::default());
    assert!(output.stderr.len() < 200 && !output.stderr.contains('\u{1b}'), "{}", output.stderr);
}

#[test]
fn exact_links_and_links_from_zero_are_taken() {
    let text = "network 1\npoint A\npoint B\npoint C\nlink A B 4 4\nlink A C 0 2\nbound C B 3\n";
    assert_eq!(ask(text, &Options::default()).stdout, "a.tn not\n");
    assert_eq!(ask(&text.replace("C B 3", "C B 4"), &Options::default()).stdout, "a.tn dc\n");
}

/// Points in a chain, each at least 1 and at most 3 after the one before.
fn chain(points: usize) -> String {
    let mut text = "network 1\n".to_owned();
    for i in 0..points {
        let _ = writeln!(text, "point P{i}");
    }
    for i in 1..points {
        let _ = writeln!(text, "bound P{} P{i} 3\nbound P{i} P{} -1", i - 1, i - 1);
    }
    text
}

#[test]
fn a_million_lines_are_read_and_answered() {
    let mut text = chain(333_334);
    text.push_str("bound P0 P333333 333332\n");
    assert!(text.lines().count() > 1_000_000);
    // One short of the 333,333 that the chain takes at least.
    assert_eq!(ask(&text, &Options::default()).stdout, "a.tn inconsistent\n");
}

#[test]
fn a_matrix_that_would_not_fit_is_refused() {
    let matrix = ask(&chain(4_001), &Options { minimal: true, ..Options::default() });
    assert_eq!((matrix.stdout.as_str(), matrix.exit), ("", 4));
    assert_eq!(matrix.stderr, "a.tn: the matrix of 4001 points would be too large: at most 4000\n");
}

/// Networks without links, answered by two other libraries; `tests/networks/regenerate.py` says
/// how.
#[test]
fn plain_networks_are_answered_as_by_other_libraries() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/networks/plain");
    let table = read(&folder.join("plain.tsv"));
    let (mut consistent, mut inconsistent) = (0, 0);
    for row in table.lines().skip(1) {
        let (name, answer) = row.split_once('\t').expect("a row of two");
        let input = [(name.to_owned(), Ok(read(&folder.join(name))))];
        assert_eq!(run(&input, &Options::default()).stdout, format!("{name} {answer}\n"));
        let matrix = run(&input, &Options { minimal: true, ..Options::default() }).stdout;
        if answer == "consistent" {
            consistent += 1;
            assert_eq!(matrix, read(&folder.join(name).with_extension("min")), "{name}");
        } else {
            inconsistent += 1;
            assert_eq!(matrix, format!("{name} inconsistent\n"));
        }
    }
    assert!(consistent >= 8 && inconsistent >= 2, "{consistent} and {inconsistent}");
}
