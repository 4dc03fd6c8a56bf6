//! Going to a place in a 24-hour record, against playing through up to there: takes nothing, prints how
//! long each takes and their ratio, from the same places of the same record in the same run. `-- --short`
//! goes to fewer places.

#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock")]
#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

use std::hint::black_box;
use std::time::{Duration, Instant};

use stepbell::clock::{Millis, Moment};
use stepbell::faces::plain::blank;
use stepbell::journal::happened::{
    Count, CountWhat, Effect, Fact, Mark, Notice, PointAt, StepAt, Window,
};
use stepbell::training::playhead::{Move, Pace, Playhead};
use stepbell::training::reel::Reel;
use stepbell::training::replay::{Happened, Scene};

/// A day.
const DAY: i64 = 86_400_000;
/// A scene so often: 288,000 in a day, near the most that a record may have.
const EVERY: i64 = 300;
/// What is aimed for.
const AIM: Duration = Duration::from_millis(10);

fn main() {
    let short = std::env::args().any(|argument| argument == "--short");
    let places: i64 = if short { 20 } else { 200 };
    let scenes = day();
    let count = scenes.len();
    let begun = Instant::now();
    let reel = Reel::new(scenes);
    let ready = begun.elapsed();
    let (mut through, mut sought, mut worst) = (Duration::ZERO, Duration::ZERO, Duration::ZERO);
    let mut head = Playhead::new(&reel, Pace::TRUE, Moment::START);
    for nth in 0..places {
        // Spread over the whole day, in no order (the steps of the golden section).
        let at = Moment((nth * 618_034 % 1_000_000) * (DAY / 1_000_000));
        let begun = Instant::now();
        head.go(&reel, &Move::To(at), Moment::START);
        let frame = black_box(reel.frame(head.seen()));
        let took = begun.elapsed();
        sought += took;
        worst = worst.max(took);
        let begun = Instant::now();
        let whole = black_box(reel.played_through(head.seen()));
        through += begun.elapsed();
        assert_eq!(frame, whole, "the place is not the one played to");
    }
    let n = u32::try_from(places).unwrap_or(1);
    println!(
        "{count} scenes in 24 hours, made ready in {:.0} ms; {places} places: seek {:.1} us on average, \
         {:.1} us at worst; playing through {:.0} us on average",
        ready.as_secs_f64() * 1e3,
        (sought / n).as_secs_f64() * 1e6,
        worst.as_secs_f64() * 1e6,
        (through / n).as_secs_f64() * 1e6,
    );
    println!(
        "seek against playing through: {:.0} times quicker; against the aim of 10 ms: {:.3} of it at worst",
        through.as_secs_f64() / sought.as_secs_f64(),
        worst.as_secs_f64() / AIM.as_secs_f64(),
    );
    // One that the system interrupts tells nothing: the mean is judged.
    assert!(sought < AIM, "a seek takes longer than 10 ms");
}

/// A day of steps, each cued, shown and now and then missed.
fn day() -> Vec<Scene> {
    let scene = |nth: i64| {
        let step = StepAt {
            ix: u32::try_from(nth / 4 % 9).unwrap_or(0),
            name: format!("step-{}", nth / 4 % 9),
            line: 10,
            file: None,
            turn: None,
        };
        let effect = match nth % 4 {
            0 => Effect::Fact { fact: Fact::Entered { step, nth: 1, break_off: None } },
            1 => Effect::Fact {
                fact: Fact::CueGiven {
                    point: PointAt { step, mark: Mark::Called },
                    due: 0,
                    given: 0,
                },
            },
            2 => {
                let mut shown = blank();
                shown.act = Some("Hold the working key against the reader.".to_owned());
                shown.window = Window::Safe;
                shown.count =
                    Some(Count { to: nth * EVERY + 9000, what: CountWhat::LatestAct, why: None });
                shown.step = Some(step);
                Effect::Show(Box::new(shown))
            }
            _ => Effect::Fact { fact: Fact::Noticed { notice: Notice::Late { step, why: None } } },
        };
        let at = Moment::START.after(Millis(nth * EVERY));
        Scene { line: 1, at, what: Happened::Effect(effect) }
    };
    (0..DAY / EVERY).map(scene).collect()
}
