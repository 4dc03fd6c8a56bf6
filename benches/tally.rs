//! What a tally of many records takes, as a ratio within one run: against one grouping query of an
//! analytic database (`duckdb` by its Python package) over the same files.
//!
//! `cargo bench --bench tally` writes 10,000 records below `target` and counts them; `-- --short` a few
//! hundred. Set `PYTHON` to an interpreter that has `duckdb`; without one our own figures stand alone.
//! The query only groups the endings; the tally also checks every line's checksum and link.

#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock, files and cores")]
#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

#[path = "../tests/it/made_records.rs"]
mod made_records;
#[path = "../tests/it/runs_support.rs"]
#[expect(dead_code, reason = "a part of what the tests need")]
mod runs_support;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use stepbell::cli::tally::counted;
use stepbell::clock::Millis;
use stepbell::journal::entry::RunKind;
use stepbell::procedure::plan::StepIx;
use stepbell::vehicle::{Fault, Wrong};

use made_records::{header, record};

/// So many different runs, each written down with many beginnings.
const RUNS: u64 = 100;

const QUERY: &str = "
import duckdb, resource, sys, time
begun = time.perf_counter()
rows = duckdb.sql(\"\"\"
    select json_extract_string(what, '$.ending') as ending, count(*) as runs
    from read_ndjson('\"\"\" + sys.argv[1] + \"\"\"/*.jsonl',
                     columns = {kind: 'VARCHAR', what: 'JSON'}, ignore_errors = true)
    where kind = 'effect' and json_extract_string(what, '$.effect') = 'ended'
    group by all order by all\"\"\").fetchall()
took = time.perf_counter() - begun
print(took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, sum(n for _, n in rows))
";

fn main() {
    let short = std::env::args().any(|argument| argument == "--short");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("tally-bench");
    let records = write(&folder, if short { 300 } else { 10_000 });
    let bytes: u64 =
        records.iter().filter_map(|path| fs::metadata(path).ok()).map(|m| m.len()).sum();
    // Once before, so that both find the files in memory.
    let _ = counted(&records, false).expect("threads");
    let begun = Instant::now();
    let tally = counted(&records, false).expect("threads");
    let ours = begun.elapsed().as_secs_f64();
    assert_eq!(tally.counted(), records.len() as u64, "{:?}", tally.refused);
    let ended: u64 = tally.groups.values().flat_map(|g| g.endings.values()).map(|(_, n)| n).sum();
    println!(
        "{} records, {:.0} MB: tally {ours:.2} s, {:.0} records a second, peak memory {} kB",
        records.len(),
        bytes as f64 / 1e6,
        records.len() as f64 / ours,
        peak_memory()
    );
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let asked = Command::new(python).args(["-c", QUERY]).arg(&folder).output();
    let told = asked.ok().filter(|out| out.status.success());
    let Some(told) = told.and_then(|out| String::from_utf8(out.stdout).ok()) else {
        println!("no Python with duckdb here: nothing to compare with");
        return;
    };
    let figures: Vec<f64> = told.split_whitespace().filter_map(|word| word.parse().ok()).collect();
    let [theirs, memory, counted] = figures[..] else { panic!("{told}") };
    assert!((counted - ended as f64).abs() < 0.5, "both count the same endings");
    println!(
        "one grouping query of duckdb over the same files {theirs:.2} s, peak memory {memory:.0} kB: the \
         tally takes {:.2} times as long",
        ours / theirs
    );
}

fn write(folder: &Path, count: u64) -> Vec<PathBuf> {
    let _ = fs::remove_dir_all(folder);
    fs::create_dir_all(folder).expect("a folder");
    let script = runs_support::push_start();
    let text = fs::read_to_string("procedures/push-start-spare.bell").expect("readable");
    let mut all = Vec::new();
    for nth in 0..count {
        let seed = nth % RUNS;
        let faults = match seed % 4 {
            0 => vec![Fault::Step(StepIx(1), 1, Wrong::Silence)],
            // Nobody acts, so that nothing comes; and nobody tells of an act, so that a window is missed.
            1 => vec![Fault::Step(StepIx(3), 1, Wrong::Slow(Millis::secs(600)))],
            2 => vec![Fault::Step(StepIx(4), 1, Wrong::NoPress)],
            _ => Vec::new(),
        };
        let bytes =
            record(&script, header("Add a spare", &text, nth, RunKind::Live), seed, &faults);
        let path = folder.join(format!("{nth:05}.jsonl"));
        fs::write(&path, bytes).expect("written");
        all.push(path);
    }
    all
}

/// As Linux tells it.
fn peak_memory() -> String {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.map_or_else(|| "unknown".to_owned(), |line| line.trim().trim_end_matches(" kB").to_owned())
}
