//! Scratch.
use std::fs;
use std::path::Path;
use stepbell::procedure::{examine, timing::speech_lengths};
use stepbell::proof::verdict::{Verdict, verdict};
#[test]
fn all() {
    for folder in ["procedures", "tests/scripts/sequences"] {
        let mut paths: Vec<_> = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(folder))
            .unwrap()
            .map(|e| e.unwrap().path())
            .filter(|p| p.extension().is_some_and(|e| e == "bell"))
            .collect();
        paths.sort();
        for p in paths {
            let text = fs::read_to_string(&p).unwrap();
            let ex = examine("x", text, &mut |_| Err(String::new()));
            let (pr, src) = (ex.procedure.as_ref(), &ex.sources);
            let Some(pr) = pr else {
                eprintln!("{}: no model", p.display());
                continue;
            };
            let plans = if ex.plans.is_empty() {
                stepbell::procedure::plans(pr).0
            } else {
                ex.plans.clone()
            };
            let t = std::time::Instant::now();
            let v = verdict(pr, &plans, &speech_lengths(pr));
            eprintln!("== {} {:?}", p.file_name().unwrap().to_string_lossy(), t.elapsed());
            match v {
                Verdict::Refused(r) => {
                    eprintln!(
                        "  REFUSED certain={} short {} plan {} from {}",
                        r.certain,
                        r.short,
                        r.plan,
                        plans[r.plan].step(r.start).name
                    );
                    for g in &r.grounds {
                        eprintln!(
                            "    {:>9} {:?} {} line {}",
                            g.length.to_string(),
                            g.what,
                            plans[r.plan].step(g.step).name,
                            src.line_col(g.place)
                        );
                    }
                }
                v => eprintln!("  {v:?}"),
            }
        }
    }
}
