//! What the proof costs a run: how long one answer to the guide takes, how long it takes to work out
//! every cue before the run, and how long to look ahead again where nothing was worked out. As ratios to
//! plain window arithmetic and to one check of the same script, in the same run.
//!
//! `cargo bench --bench live` measures 16, 66 and 330 steps; `--short` leaves the 330 out, which take most
//! of a minute.

#![expect(clippy::disallowed_methods, reason = "a benchmark reads the real clock")]
#![expect(clippy::print_stdout, reason = "a benchmark prints what it measured")]

mod best;

use best::best_of;

use std::cell::RefCell;
use std::fmt::Write as _;
use std::hint::black_box;
use std::sync::Arc;
use std::time::{Duration, Instant};

use stepbell::clock::Moment;
use stepbell::guide::{Guide, Settings};
use stepbell::power::Length;
use stepbell::procedure::examine;
use stepbell::procedure::model::Procedure;
use stepbell::procedure::plan::Plan;
use stepbell::procedure::timing::{
    Known, Mark, PlainTiming, Point, SpeechLengths, Timing, Why, speech_lengths,
};
use stepbell::proof::timing::NetworkTiming;
use stepbell::proof::verdict::{Verdict, verdict};
use stepbell::vehicle::play;

thread_local! {
    static ASKED: RefCell<Vec<(Point, Known)>> = const { RefCell::new(Vec::new()) };
}

/// Plain arithmetic that remembers what was asked.
struct Heard(PlainTiming);

impl Timing for Heard {
    fn earliest(&self, point: Point, known: &Known) -> Moment {
        self.0.earliest(point, known)
    }

    fn latest(&self, point: Point, known: &Known) -> Option<Moment> {
        ASKED.with_borrow_mut(|asked| {
            let fresh = asked.last().is_none_or(|(p, k)| (p, k) != (&point, known));
            if point.mark == Mark::Called && fresh {
                asked.push((point, known.clone()));
            }
        });
        self.0.latest(point, known)
    }

    fn why(&self, point: Point, known: &Known) -> Option<Why> {
        self.0.why(point, known)
    }
}

fn heard(procedure: &Procedure, plan: &Plan, speech: &SpeechLengths) -> Box<dyn Timing + Send> {
    Box::new(Heard(PlainTiming::new(procedure, plan, speech)))
}

fn main() {
    println!(
        "one stretch of that many steps, each with a window from the answer before, an answer, a \
         silence; one limit over all"
    );
    let short = std::env::args().any(|argument| argument == "--short");
    let all = [16, 66, 330];
    for steps in if short { &all[..2] } else { &all[..] } {
        measure(*steps);
    }
}

/// A script in which everything hangs together: no resting point from its first answer on.
fn script(steps: usize) -> String {
    let mut text = String::from(
        "procedure \"Bench\"\ndevice \"Bench device (invented)\"\nstatus demonstration\nassumed \"invented\"\n\
         sign chime, hear \"the chime\" once, quiet 1.5s\n\
         step s0 \"Press it.\"\n  takes 1s to 3s\n  hear chime, between 1s and 3s after done, so go on\n  \
         nothing within 6s after done, so finish as unsure\n",
    );
    let _ = writeln!(
        text,
        "phase all\n  within {}s after s0 answered\n  late, so finish as unsure",
        40 * steps
    );
    for n in 1..steps {
        let _ = write!(
            text,
            "  step s{n} \"Press it.\"\n    takes 1s to 3s\n    within 30s after s{} answered\n    \
             hear chime, between 1s and 3s after done, so go on\n    \
             nothing within 6s after done, so finish as unsure\n    late, so finish as unsure\n",
            n - 1
        );
    }
    text + "end phase\nfinish as learned\n"
}

fn measure(steps: usize) {
    let examined = examine("bench", script(steps), &mut |_| Err("no file".to_owned()));
    assert!(examined.is_sound(), "{:#?}", examined.complaints);
    let procedure = Arc::new(examined.procedure.expect("a model"));
    let plans = examined.plans;
    let speech = speech_lengths(&procedure);
    let plan = &plans[0];

    let proven = verdict(&procedure, &plans, &speech);
    let Verdict::Proven(extent) = proven else { panic!("{proven:?}") };
    let check = best_of(&mut || drop(black_box(verdict(&procedure, &plans, &speech))));

    let settings = Settings {
        speech: speech.clone(),
        timing: heard,
        rehearsal: true,
        length: Length::Unbounded,
    };
    let guide = Guide::new(Arc::clone(&procedure), settings);
    let _ = play(guide, &procedure, &speech, 1, &[], &plan.choices);
    let asked = ASKED.take();
    assert!(asked.len() >= steps, "{} states of {steps} steps", asked.len());

    let begun = Instant::now();
    let timing = NetworkTiming::new(&procedure, plan, &speech);
    let before = begun.elapsed();
    let plain = PlainTiming::new(&procedure, plan, &speech);
    let worked_out = timing.worked_out();
    let all = |timing: &dyn Timing| {
        for (cue, known) in &asked {
            black_box(timing.earliest(*cue, known));
            black_box(timing.latest(*cue, known));
            black_box(timing.why(*cue, known));
            black_box(timing.promise(*cue, known));
        }
    };
    // The first pass works out what is missing, if anything.
    all(&timing);
    let missing = timing.worked_out() - worked_out;
    let answer = best_of(&mut || all(&timing));
    let arithmetic = best_of(&mut || all(&plain));
    let again = asked.iter().map(|(cue, known)| {
        let begun = Instant::now();
        black_box(timing.table(cue.step, known, 0));
        begun.elapsed()
    });
    let again = again.max().unwrap_or_default();

    let each = |all: Duration| all.as_secs_f64() * 1e6 / asked.len() as f64;
    let times = |a: Duration, b: Duration| a.as_secs_f64() / b.as_secs_f64();
    println!(
        "{steps:>5} steps {:>5} points  check {:>8.2} ms | before the run {worked_out} cues: {:.1} times \
         a check | one event (earliest, latest, why, promise): {:.2} µs, {:.1} times plain arithmetic | \
         the worst cue worked out anew: {:.2} ms, {:.2} times a check | {missing} missing",
        extent.points,
        check.as_secs_f64() * 1e3,
        times(before, check),
        each(answer),
        times(answer, arithmetic),
        again.as_secs_f64() * 1e3,
        times(again, check),
    );
}
