//! What a proof tells: a table over all scripts, reviewed by hand; every figure exact to the millisecond
//! against the check itself; the published form of it; and that a long check can be stopped.

use std::cell::Cell;
use std::collections::BTreeSet;
use std::fmt::Write as _;

use stepbell::clock::Millis;
use stepbell::complaint::why_verdict;
use stepbell::faces::judged;
use stepbell::faces::proven::{down, up};
use stepbell::faces::verdict::judgement;
use stepbell::guide::sayable;
use stepbell::procedure::model::Procedure;
use stepbell::procedure::plan::{Next, Plan, Report as Told, StepIx};
use stepbell::procedure::timing::{Mark, SpeechSource, Timing as _, What};
use stepbell::procedure::{Examined, examine};
use stepbell::proof::compile::{Forms, Segment, TooLarge, segment};
use stepbell::proof::controllable::{Stopped, Verdict as Answer, check};
use stepbell::proof::network::{EdgeTag, Network, Point};
use stepbell::proof::report::{Hard, Judgement, Report, WindowReport, judge};
use stepbell::proof::timing::NetworkTiming;
use stepbell::proof::tn;
use stepbell::proof::verdict::{Verdict, prove, verdict};

use crate::journals::check_committed;
use crate::readme::blocks;
use crate::verdicts::scripts;

fn judged_all(examined: &Examined) -> Judgement {
    let procedure = examined.procedure.as_ref().expect("a model");
    judge(procedure, &examined.plans, &examined.speech, true, &|| false).expect("nobody stops it")
}

fn reported(examined: &Examined) -> Option<Report> {
    match judged_all(examined) {
        Judgement::Proven(report) => Some(*report),
        _ => None,
    }
}

fn seconds(length: Millis, up: bool) -> String {
    let more = if up { 999 } else { 0 };
    Millis::secs((length.0 + more).div_euclid(1000)).to_string()
}

/// Verdict, tightest window with what it has to spare, and lengths of a run, for every script. Whether
/// each line is true was worked out by hand beside the scripts.
#[test]
fn the_table_of_all_scripts() {
    let mut table = String::new();
    for (name, examined) in scripts() {
        let _ = writeln!(table, "{name}");
        match judged_all(&examined) {
            Judgement::Proven(report) => {
                let lengths = &report.lengths;
                let best = lengths.best.map_or("none".to_owned(), |best| seconds(best, false));
                let _ = writeln!(
                    table,
                    "  proven   best {best}, once {}, worst {} (cool-downs {})",
                    seconds(lengths.once, true),
                    seconds(lengths.most, true),
                    seconds(lengths.cool_downs, true),
                );
                for window in report.windows.iter().take(2) {
                    let _ = writeln!(table, "  {}", told(window, &examined));
                }
                if report.windows.is_empty() {
                    table.push_str("  no window\n");
                }
            }
            Judgement::Refused(refusal, repairs) => {
                let certain = if refusal.certain { "impossible" } else { "not proven" };
                let _ = write!(table, "  {certain}, short by {}", up(refusal.short));
                let repair = repairs.first().map(|r| {
                    let line = examined.sources.line_col(r.place).line;
                    format!("; line {line} at {} would do", r.to)
                });
                let _ = writeln!(table, "{}", repair.unwrap_or_default());
            }
            other => panic!("{name}: {other:?}"),
        }
    }
    insta::assert_snapshot!(table);
}

fn told(window: &WindowReport, examined: &Examined) -> String {
    let line = examined.sources.line_col(window.place).line;
    let of = up(window.length);
    let mut text = format!("line {line} ({of}) spares {}", down(window.slack));
    if let Some(latest) = window.latest {
        let from = &examined.plans[latest.from.plan].step(latest.from.step).name;
        let _ = write!(text, ", cue within {} of {from} {:?}", down(latest.after), latest.mark);
    }
    if let Some(hard) = window.hard {
        let _ = write!(text, " [{hard:?}]");
    }
    text
}

// ------------------------------------------------------------------ exact to the millisecond

/// The plans with the answers that the proof awaits in quiet: what is to spare is so as it is led.
fn led(examined: &Examined) -> Vec<Plan> {
    let procedure = examined.procedure.as_ref().expect("a model");
    let mut plans = examined.plans.clone();
    for plan in &mut plans {
        plan.quiet = Some(NetworkTiming::new(procedure, plan, &examined.speech).quiet());
    }
    plans
}

/// The plans with one line's end so much sooner.
fn sooner(plans: &[Plan], window: &WindowReport, by: Millis) -> Vec<Plan> {
    let mut plans = plans.to_vec();
    let close = |hi: &mut Option<Millis>| *hi = hi.map(|hi| hi.minus(by));
    for plan in &mut plans {
        if window.what == What::Limit {
            let limits = plan.limits.iter_mut().filter(|limit| limit.place == window.place);
            limits.for_each(|limit| close(&mut limit.range.hi));
        }
        for step in &mut plan.steps {
            let windows = step.windows.iter_mut().filter(|w| w.place == window.place);
            windows.for_each(|window| close(&mut window.range.hi));
        }
    }
    plans
}

/// A window that closes sooner by what it has to spare is still met; by 1 ms more it is not. Only by
/// changing the script's own numbers, and by the verdict alone.
#[test]
fn what_a_window_has_to_spare_is_exact() {
    let mut tried = 0;
    for (name, examined) in scripts() {
        let Some(report) = reported(&examined) else { continue };
        let procedure = examined.procedure.as_ref().expect("a model");
        let proven = |plans: &[Plan]| {
            matches!(verdict(procedure, plans, &examined.speech), Verdict::Proven(_))
        };
        let plans = led(&examined);
        for window in &report.windows {
            let line = examined.sources.line_col(window.place).line;
            if sooner(&plans, window, Millis(1)) == plans {
                continue; // a count's or a hold's own length: a sum of constants, tried below
            }
            let less = sooner(&plans, window, window.slack);
            assert!(proven(&less), "{name}, line {line}: {window:?}");
            let more = sooner(&plans, window, window.slack.plus(Millis(1)));
            assert!(!proven(&more), "{name}, line {line}: {window:?}");
            tried += 1;
        }
    }
    assert!(tried > 25, "{tried} windows");
}

/// Every segment that can be reached, as compiled without a second form for any window.
fn segments(examined: &Examined, procedure: &Procedure, plan: &Plan) -> Vec<Segment> {
    let mut open = match plan.entry {
        Some(Next::Step(entry)) => vec![entry],
        _ => Vec::new(),
    };
    let (mut done, mut all) = (BTreeSet::new(), Vec::new());
    while let Some(start) = open.pop() {
        if done.insert(start) {
            let made = segment(procedure, plan, &examined.speech, start, &Forms::new());
            let made = made.expect("small");
            open.extend(made.leads.iter().copied());
            all.push(made);
        }
    }
    all
}

/// Whether a changed segment is controllable in any choice of forms for the windows that have two.
fn holds(
    examined: &Examined,
    plan: &Plan,
    plain: &Segment,
    change: &dyn Fn(&Segment) -> Network,
) -> bool {
    let procedure = examined.procedure.as_ref().expect("a model");
    let keys: Vec<_> = plain.forms.iter().copied().collect();
    assert!(keys.len() <= 8, "{} windows with two forms", keys.len());
    (0..1_usize << keys.len()).any(|bits| {
        let kept = keys.iter().enumerate().filter(|(n, _)| bits >> n & 1 == 1);
        let forms: Forms = kept.map(|(_, key)| *key).collect();
        let made = segment(procedure, plan, &examined.speech, plain.start, &forms);
        controllable(&change(&made.expect("small")))
    })
}

fn controllable(network: &Network) -> bool {
    check(network) == Answer::Controllable
}

/// A cue given at its latest safe moment, each time, leaves all that follows possible; 1 ms later it does
/// not. The networks are the compiled ones, with that one demand added.
#[test]
fn the_latest_safe_moment_is_exact() {
    let mut tried = 0;
    for (name, examined) in scripts() {
        let Some(report) = reported(&examined) else { continue };
        let procedure = examined.procedure.as_ref().expect("a model");
        let plans = led(&examined);
        for window in &report.windows {
            let Some(latest) = window.latest else { continue };
            let from = &examined.plans[latest.from.plan].step(latest.from.step).name;
            let all_hold = |after: Millis| {
                plans.iter().all(|plan| {
                    segments(&examined, procedure, plan).iter().all(|segment| {
                        let mut network = segment.network.clone();
                        for demand in &segment.demands {
                            let mine = demand.key.place == window.place && demand.bound.is_some();
                            if mine && counts_from(plan, segment, demand.from, from, latest.mark) {
                                let most = Millis::ZERO.minus(after);
                                let added =
                                    network.add_bound(demand.cue, demand.from, most, EdgeTag::NONE);
                                added.expect("small");
                            }
                        }
                        controllable(&network)
                    })
                })
            };
            assert!(all_hold(latest.after), "{name}: {window:?}");
            assert!(!all_hold(latest.after.plus(Millis(1))), "{name}: {window:?}");
            tried += 1;
        }
    }
    assert!(tried > 20, "{tried} windows");
}

/// Whether a point is the cue of a step with this name, or none of the cues where its report is meant.
fn counts_from(plan: &Plan, segment: &Segment, point: Point, name: &str, mark: Mark) -> bool {
    let cue = segment.cues.iter().find(|(_, cue)| *cue == point).map(|(step, _)| *step);
    match cue {
        Some(step) => mark == Mark::Called && plan.step(step).name == name,
        None => mark == Mark::Reported && reported_by(plan, segment, point, name),
    }
}

/// Whether a point is the report of a step with this name: what a window of a later step counts from.
fn reported_by(plan: &Plan, segment: &Segment, point: Point, name: &str) -> bool {
    // Acts that go straight on are reported together, at the last of them.
    let reported = |from: StepIx| {
        let mut last = from;
        while let (true, Next::Step(next)) =
            (plan.step(last).report != Told::Answer, plan.step(last).go_on)
            && plan.step(next).straight_on
        {
            last = next;
        }
        last
    };
    segment.demands.iter().filter(|demand| demand.from == point).any(|demand| {
        let windows = &plan.step(demand.key.step).windows;
        let window = windows.iter().find(|window| window.place == demand.key.place);
        window.is_some_and(|window| plan.step(reported(window.anchor.step)).name == name)
    })
}

/// The network with what holds back the cues of one line so much later.
fn put_off(plan: &Plan, segment: &Segment, cue: StepIx, by: Millis) -> Network {
    let place = plan.step(cue).place;
    let cues = segment.cues.iter().filter(|(step, _)| plan.step(*step).place == place);
    let cues: Vec<Point> = cues.map(|(_, point)| *point).collect();
    let old = &segment.network;
    let mut network = Network::new();
    let points: Vec<Point> = old.points().map(|_| network.add_point().expect("room")).collect();
    let at = |point: Point| points[point.index()];
    for link in old.links() {
        let added = network.add_link(at(link.activation), at(link.outcome), link.takes, link.tag);
        added.expect("a link");
    }
    for bound in old.bounds() {
        let held = bound.most <= Millis::ZERO && cues.contains(&bound.from);
        let most = if held { bound.most.minus(by) } else { bound.most };
        network.add_bound(at(bound.from), at(bound.to), most, bound.tag).expect("a bound");
    }
    network
}

/// A cue put off by as long as it may wait, each time, leaves everything possible; by 1 ms more it does
/// not.
#[test]
fn how_long_a_cue_may_wait_is_exact() {
    let mut tried = 0;
    for (name, examined) in scripts() {
        let Some(report) = reported(&examined) else { continue };
        let procedure = examined.procedure.as_ref().expect("a model");
        let plans = led(&examined);
        for cue in &report.cues {
            let Some(wait) = cue.may_wait else { continue };
            let all_hold = |by: Millis| {
                plans.iter().all(|plan| {
                    let place = plans[cue.at.plan].step(cue.at.step).place;
                    let step = plan.indexed().find(|(_, step)| step.place == place);
                    let Some((step, _)) = step else { return true };
                    let segments = segments(&examined, procedure, plan);
                    let late = |s: &Segment| put_off(plan, s, step, by);
                    segments.iter().all(|plain| holds(&examined, plan, plain, &late))
                })
            };
            assert!(all_hold(wait), "{name}: {cue:?}");
            assert!(!all_hold(wait.plus(Millis(1))), "{name}: {cue:?}");
            assert!(cue.because.is_some(), "{name}: {cue:?}");
            tried += 1;
        }
    }
    assert!(tried > 15, "{tried} cues");
}

/// Bursts within a second, and what a person has little time for, are not called comfortable.
#[test]
fn what_is_hard_for_a_person_is_said() {
    let mut hard = Vec::new();
    for (name, examined) in scripts() {
        let Some(report) = reported(&examined) else { continue };
        for window in report.windows.iter().filter(|window| window.hard.is_some()) {
            let line = examined.sources.line_col(window.place).line;
            hard.push((name.clone(), line, window.hard));
            if window.hard == Some(Hard::LittleToSpare) {
                assert!(window.slack < Millis(1000), "{window:?}");
            }
        }
        for window in report.windows.iter().filter(|window| window.hard.is_none()) {
            assert!(window.slack >= Millis(1000), "{name}: {window:?}");
        }
    }
    let burst = |line| ("20-alarms-interlink".to_owned(), line, Some(Hard::Burst));
    assert!(hard.contains(&burst(31)) && hard.contains(&burst(39)), "{hard:?}");
}

// ------------------------------------------------------------------ the published form

fn document(examined: &Examined) -> serde_json::Value {
    let timing = judged_all(examined);
    let scripts = vec![judged::script(examined, Some(&timing))];
    serde_json::to_value(judged::Document { scripts }).expect("a document")
}

#[test]
fn the_published_form_of_an_answer_is_the_one_that_the_types_make() {
    check_committed("grammar/check.schema.json", judged::schema().as_bytes());
}

/// Every answer has the published form; an answer without what it must have has not.
#[test]
fn every_answer_has_the_published_form() {
    let schema = serde_json::from_str(&judged::schema()).expect("a schema");
    let validator = jsonschema::validator_for(&schema).expect("a schema");
    for (name, examined) in scripts() {
        let answer = document(&examined);
        assert!(validator.is_valid(&answer), "{name}: {answer}");
        for member in ["sound", "errors", "variants", "complaints"] {
            let mut spoilt = answer.clone();
            spoilt["scripts"][0].as_object_mut().expect("an object").remove(member);
            assert!(!validator.is_valid(&spoilt), "{name} without {member}");
        }
        let mut spoilt = answer.clone();
        spoilt["scripts"][0]["timing"]["verdict"] = "perhaps".into();
        assert!(!validator.is_valid(&spoilt), "{name}");
    }
}

#[test]
fn an_answer_carries_every_figure() {
    let (_, examined) = scripts().into_iter().find(|(n, _)| n == "01-two-keys-spare").expect("it");
    insta::assert_snapshot!(serde_json::to_string_pretty(&document(&examined)).expect("text"));
}

// ------------------------------------------------------------------ what a person reads

#[test]
fn what_is_proven_is_told_in_words() {
    let mut text = String::new();
    for name in ["push-start-spare", "01-two-keys-spare", "20-alarms-interlink"] {
        let (_, examined) = scripts().into_iter().find(|(n, _)| n == name).expect("it");
        let all = name == "push-start-spare";
        let _ =
            writeln!(text, "==== {name}\n{}", judgement(&judged_all(&examined), &examined, all));
    }
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    insta::assert_snapshot!(text);
}

// ------------------------------------------------------------------ the document

/// Every figure of the document is what the program says of the script in it: the rows and stories are
/// lines of the answer, the sum by hand is the latest safe moment, the network in it is the published one
/// and its branches can be met each for itself.
#[test]
fn the_document_about_the_proof_says_what_the_program_says() {
    let script = blocks("grammar/PROOF.md", "bell").remove(0);
    let examined = examine("a.bell", script.clone(), &mut |_| Err("no file".to_owned()));
    assert!(examined.complaints.is_empty(), "{:?}", examined.complaints);
    let report = reported(&examined).expect("proven");
    let window = report.windows.first().expect("a window");
    let latest = window.latest.expect("a cue").after;
    assert_eq!((latest, window.slack), (Millis(4_630), Millis(3_861)));
    // 15 - 0.02 - (1.5 + 3) - 0.35 - 1.5 - 4, and the quickest press before the words are over.
    assert_eq!(latest, Millis(15_000 - 20 - (1_500 + 3_000) - 350 - 1_500 - 4_000));
    assert_eq!(latest.minus(window.slack), Millis(769));
    let narrow = script.replace("within 15s after", "within 11s after");
    let narrow = examine("a.bell", narrow, &mut |_| Err("no file".to_owned()));
    let told = [&examined, &narrow].map(|e| judgement(&judged_all(e), e, false)).concat();
    let shown = blocks("grammar/PROOF.md", "text");
    assert_eq!(shown.len(), 2);
    for block in &shown {
        assert!(told.contains(block.as_str()), "{block}\n--- is not in\n{told}");
    }
    let network = |text: &str| tn::parse(text).expect("a network").network;
    let shown = blocks("grammar/PROOF.md", "tn").remove(0);
    let file = |name: &str| {
        let path = format!("{}/tests/networks/published/{name}", env!("CARGO_MANIFEST_DIR"));
        std::fs::read_to_string(path).expect("readable")
    };
    let bare = |text: String| {
        let lines: Vec<String> =
            text.lines().filter(|line| !line.starts_with('#')).map(str::to_owned).collect();
        lines
    };
    assert_eq!(bare(shown.clone()), bare(file("tree-union.tn")));
    assert!(!controllable(&network(&shown)));
    for path in ["tree-path-a.tn", "tree-path-b.tn"] {
        assert!(controllable(&network(&file(path))), "{path}");
    }
}

/// `why` knows every verdict by the word that `check` says.
#[test]
fn every_verdict_has_a_long_answer() {
    for word in ["proven", "impossible", "not proven", "too large"] {
        let found = why_verdict::find(word).expect(word);
        assert!(found.why.matters.len() > 100 && found.why.mend.len() > 100, "{word}");
    }
    assert_eq!(why_verdict::find("perhaps"), None);
}

// ------------------------------------------------------------------ measured speech

/// Words that were measured take the place of the model's: what the model refuses may be proven with a
/// voice, and the report names it.
#[test]
fn measured_words_are_counted_with_and_named() {
    let (_, whole) = scripts().into_iter().find(|(n, _)| n == "push-start-spare").expect("it");
    let name = whole.sources.files().next().expect("a file").1.text().to_owned();
    let narrow = name.replace("within 30s after open answered", "within 16s after open answered");
    assert_ne!(narrow, name);
    let mut examined = examine("narrow.bell", narrow, &mut |_| Err("no file".to_owned()));
    assert!(reported(&examined).is_none(), "16 s are not enough by the model");
    let texts: Vec<_> = examined.speech.iter().map(|(text, _)| text).collect();
    for text in &texts {
        examined.speech.measured(*text, Millis(900), SpeechSource::Measured);
    }
    examined.speech.voice = Some("a quick voice".to_owned());
    let report = reported(&examined).expect("proven with that voice");
    let said = sayable(examined.procedure.as_ref().expect("sound")).len();
    assert_eq!(report.rests.spoken, [(SpeechSource::Measured, said)].into());
    let words = judgement(&judged_all(&examined), &examined, false);
    assert!(words.contains("rendered and measured (voice: a quick voice)"), "{words}");
    assert!(!words.contains("by the model"), "{words}");
}

// ------------------------------------------------------------------ long checks

/// A script whose steps each go back to the first, `tries` times, in `phases` that rest in between. Each
/// step has `lines` windows.
pub fn many_retries(phases: u32, steps: u32, tries: u32, lines: u32) -> String {
    let mut text = "procedure \"Many retries\"\ndevice \"Brackwater strongbox (invented)\"\n\
        status demonstration\nassumed \"an invented device\"\naffirm ownership\n\
        have old, registered key, \"the key that works\", felt as \"one band of tape\"\n\
        have spare, new key, \"the new key\", felt as \"two bands of tape\"\n\
        sign chime, hear \"the chime\" once, quiet 1.5s\n\
        late, so finish as unsure\n"
        .to_owned();
    for p in 0..phases {
        let _ = write!(
            text,
            "step open-{p} \"Hold the working key against the reader.\"\n  with old\n  \
             keep away spare, \"in the drawer\"\n  takes 1s to 4s\n  \
             hear chime, between 1s and 3s after done, so go on\n  \
             nothing within 6s after done, so finish as not-learned\n"
        );
        for s in 0..steps {
            let _ = write!(
                text,
                "step show-{p}-{s} \"Hold the new key against the reader.\"\n  with spare\n  \
                 keep away old, \"in the drawer\"\n  takes 1s to 4s\n"
            );
            for line in 0..lines {
                let _ = writeln!(text, "  within {}h after open-{p} answered", 20 - line);
            }
            let _ = write!(
                text,
                "  hear chime, between 1s and 3s after done, so go on\n  \
                 nothing within 6s after done, so go back to show-{p}-0, at most {tries} times, else \
                 finish as unsure\n"
            );
        }
    }
    text + "finish as learned\ntests\n  test spare, \"Open it.\", expect \"the bolt moves\", else \
        finish as unsure\n  test old, \"Open it.\", expect \"the bolt moves\", else finish as \
        unsure\nend tests\n"
}

fn examined_text(text: String) -> Examined {
    let examined = examine("many.bell", text, &mut |_| Err("no file".to_owned()));
    assert!(examined.is_sound(), "{:?}", examined.complaints);
    examined
}

/// Too many moments in one segment, or in all of them together: refused, and the retry is named.
#[test]
fn what_explodes_is_refused_and_the_retry_is_named() {
    for (phases, steps, tries) in [(1, 4, 3), (9, 3, 2)] {
        let examined = examined_text(many_retries(phases, steps, tries, 1));
        let Judgement::TooLarge(large) = judged_all(&examined) else { panic!("it is too large") };
        let TooLarge::Points(explosion) = large else { panic!("{large:?}") };
        let (place, times) = explosion.retry.expect("a retry");
        assert!(times > 10, "{times}");
        let number = examined.sources.line_col(place).line;
        let text = many_retries(phases, steps, tries, 1);
        let line = text.lines().nth(number as usize - 1).expect("a line");
        assert!(line.contains("go back to show-"), "{line}");
        let words = judgement(&judged_all(&examined), &examined, false);
        assert!(words.replace('\n', " ").contains(&format!("line {number}")), "{words}");
    }
    // The same in pieces that are small enough, and few enough.
    let examined = examined_text(many_retries(3, 3, 1, 1));
    let report = reported(&examined).expect("proven");
    assert!(report.extent.points > 100 && report.extent.all_points > 300, "{:?}", report.extent);
}

/// Whoever says stop is heard soon: in the proof, in the figures behind it, in the repairs.
#[test]
fn a_long_check_asks_often_and_stops_when_told() {
    let examined = examined_text(many_retries(1, 3, 1, 3));
    let procedure = examined.procedure.as_ref().expect("a model");
    let asked = Cell::new(0_u32);
    let count = |until: u32| {
        asked.set(0);
        let stop = || {
            asked.set(asked.get() + 1);
            asked.get() > until
        };
        let judged = judge(procedure, &examined.plans, &examined.speech, true, &stop);
        (judged, asked.get())
    };
    let (whole, asks) = count(u32::MAX);
    assert!(matches!(whole, Ok(Judgement::Proven(_))) && asks > 1000, "{asks}");
    for part in 0..8 {
        let until = asks / 8 * part;
        assert_eq!(count(until), (Err(Stopped), until + 1), "after {until} of {asks}");
    }
    let stopped = prove(procedure, &examined.plans, &examined.speech, &|| true);
    assert!(matches!(stopped, Err(Stopped)));
}

/// A check that takes long says so on standard error, and Ctrl-C ends it with 130 and no half answer.
#[cfg(unix)]
#[test]
fn a_long_check_says_so_and_ctrl_c_ends_it() {
    use rustix::process::{Pid, Signal, kill_process};
    use std::io::{BufRead, BufReader, Read};
    use std::process::{Command, Stdio};
    let file = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("many.bell");
    std::fs::write(&file, many_retries(1, 3, 2, 19)).expect("written");
    let mut run = Command::new(env!("CARGO_BIN_EXE_stepbell"))
        .args(["check", "--format", "json"])
        .arg(&file)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    let mut err = BufReader::new(run.stderr.take().expect("a pipe"));
    let mut line = String::new();
    err.read_line(&mut line).expect("a line");
    assert!(line.contains("still being checked; Ctrl-C stops it"), "{line}");
    let pid = i32::try_from(run.id()).ok().and_then(Pid::from_raw).expect("a process");
    kill_process(pid, Signal::INT).expect("it hears");
    let mut rest = String::new();
    err.read_to_string(&mut rest).expect("text");
    assert!(rest.contains("stopped; nothing is known of"), "{rest}");
    let ended = run.wait_with_output().expect("ended");
    assert_eq!(ended.status.code(), Some(130), "{rest}");
    assert!(ended.stdout.is_empty(), "half an answer");
}
