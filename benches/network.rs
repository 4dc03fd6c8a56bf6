//! How long the prover takes, as ratios within one run: growth with the number of points, against
//! a straightforward cubic check, and for plain networks against scipy's Johnson where there is one.
//!
//! `cargo bench --bench network`, or `-- --short` for small networks alone; set `PYTHON` to an
//! interpreter that has scipy.

#![expect(clippy::disallowed_methods, reason = "a benchmark reads the real clock")]
#![expect(clippy::print_stdout, reason = "a benchmark prints what it measured")]

mod best;

use best::best_of;

use std::hint::black_box;
use std::io::Write as _;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use stepbell::clock::{Millis, Moment, Span};
use stepbell::proof::controllable::{Verdict, check};
use stepbell::proof::dispatch::{Live, Plan};
use stepbell::proof::network::{EdgeTag, Network, Point};

const SIZES: [usize; 4] = [50, 200, 500, 2_000];
/// What is tried in short.
const FEW: [usize; 2] = [50, 200];
/// The dense check takes far too long beyond this.
const LARGEST_DENSE: usize = 500;

/// Makes a network with that many points.
type Make = fn(usize) -> Network;

fn main() {
    let short = std::env::args().any(|argument| argument == "--short");
    let sizes: &[usize] = if short { &FEW } else { &SIZES };
    if short {
        println!("in short: no network of more than {} points", FEW[FEW.len() - 1]);
    }
    println!("near-linear: a long script, step after step; fork/join: many short branches at once");
    let shapes: [(&str, Make); 2] = [("near-linear", near_linear), ("fork/join", fork_join)];
    for (name, make) in shapes {
        let mut times = Vec::new();
        for &size in sizes {
            let network = make(size);
            assert_eq!(check(&network), Verdict::Controllable, "{name} {size}");
            let took = best_of(&mut || {
                black_box(check(black_box(&network)));
            });
            println!("{name:>12} {size:>5} points  check {:>9.3} ms", ms(took));
            times.push(took);
        }
        let (small, large) = (sizes.len() / 3, sizes.len() - 1);
        let exponent = growth(sizes[small], times[small], sizes[large], times[large]);
        println!(
            "{name:>12} growth: time ~ points^{exponent:.2} ({} to {} points)",
            sizes[small], sizes[large]
        );
    }
    println!("{:>12} peak memory so far: {}", "", peak_memory());
    for (name, make) in shapes {
        live(name, &make(200));
    }
    println!("{:>12} peak memory so far: {}", "", peak_memory());
    for (name, make) in shapes {
        for &size in sizes.iter().filter(|&&size| size <= LARGEST_DENSE) {
            against_dense(name, &make(size));
        }
    }
    for (name, make) in shapes {
        for &size in sizes {
            against_scipy(name, &make(size));
        }
    }
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1000.0
}

/// The exponent of growth from one size to another.
#[expect(clippy::cast_precision_loss, reason = "small sizes")]
fn growth(few: usize, small: Duration, many: usize, large: Duration) -> f64 {
    (large.as_secs_f64() / small.as_secs_f64()).ln() / (many as f64 / few as f64).ln()
}

/// Adds points, bounds and links without naming them.
struct Builder {
    network: Network,
}

impl Builder {
    fn new() -> Builder {
        Builder { network: Network::new() }
    }

    fn point(&mut self) -> Point {
        self.network.add_point().expect("few points")
    }

    /// `to` lies between `least` and `most` after `from`.
    fn within(&mut self, from: Point, to: Point, least: i64, most: i64) {
        self.network.add_bound(from, to, Millis(most), EdgeTag(0)).expect("small");
        self.network.add_bound(to, from, Millis(-least), EdgeTag(0)).expect("small");
    }

    fn link(&mut self, from: Point, least: i64, most: i64) -> Point {
        let outcome = self.point();
        let takes = Span::new(Millis(least), Millis(most));
        self.network.add_link(from, outcome, takes, EdgeTag(0)).expect("a new outcome");
        outcome
    }
}

/// Cue, act, answer, again and again: the act within 10 s of the last answer, a prompt that must
/// be over before, a limit over the whole.
fn near_linear(size: usize) -> Network {
    let mut made = Builder::new();
    let start = made.point();
    let mut previous = start;
    while made.network.point_count() + 5 <= size {
        let prepare = made.point();
        let spoken = made.link(prepare, 1_500, 2_400);
        let cue = made.point();
        let act = made.link(cue, 700, 4_000);
        made.within(previous, prepare, 0, 1_000);
        made.within(spoken, cue, 0, 600);
        made.within(previous, act, 0, 10_000);
        previous = made.link(act, 200, 3_000);
    }
    while made.network.point_count() < size {
        let next = made.point();
        made.within(previous, next, 0, 1_000);
        previous = next;
    }
    let steps = i64::try_from(size).expect("small");
    made.within(start, previous, 0, 4_000 * steps);
    made.network
}

/// One start, branches of an act, an answer and a follow-up that keep pace with their neighbours,
/// one end with a deadline.
fn fork_join(size: usize) -> Network {
    let mut made = Builder::new();
    let (start, end) = (made.point(), made.point());
    let mut neighbour = None;
    while made.network.point_count() + 4 <= size {
        let act = made.point();
        let done = made.link(act, 500, 2_000);
        let answer = made.link(done, 300, 3_000);
        let follow = made.point();
        made.within(start, act, 0, 20_000);
        made.within(answer, follow, 0, 4_000);
        made.within(follow, end, 0, 60_000);
        if let Some(neighbour) = neighbour.replace(act) {
            made.within(neighbour, act, -1_500, 1_500);
        }
    }
    while made.network.point_count() < size {
        let spare = made.point();
        made.within(start, spare, 0, 1_000);
    }
    made.within(start, end, 0, 70_000);
    made.network
}

/// A run at the pace of the latest safe moments, each event timed: what happened is noted, then
/// both moments of the next cue are looked up.
fn live(name: &str, network: &Network) {
    let begun = Instant::now();
    let plan = Arc::new(Plan::new(network.clone()).expect("controllable"));
    let planned = begun.elapsed();
    let mut live = Live::new(Arc::clone(&plan));
    let (mut now, mut events, mut worst, mut total) = (0, 0_u32, Duration::ZERO, Duration::ZERO);
    let mut due: Vec<(i64, Point)> = Vec::new();
    loop {
        let enabled: Vec<Point> = live.enabled().collect();
        let act = enabled
            .iter()
            .map(|&point| {
                let from = live.earliest(point).map_or(now, |limit| limit.at.0).max(now);
                let latest = live.latest(point, Moment(now)).map_or(from, |limit| limit.at.0);
                (latest.max(from), point)
            })
            .min();
        let Some((at, point)) = due.iter().copied().chain(act).min() else { break };
        due.retain(|&(_, other)| other != point);
        now = at;
        for link in network.links().iter().filter(|link| link.activation == point) {
            due.push((at + link.takes.hi.0, link.outcome));
        }
        let start = Instant::now();
        let broken = live.happen(point, Moment(at));
        let next = live.enabled().next();
        black_box(next.map(|cue| (live.earliest(cue), live.latest(cue, Moment(now)))));
        let took = start.elapsed();
        assert!(broken.parts.is_empty(), "a bound was broken");
        worst = worst.max(took);
        total += took;
        events += 1;
    }
    assert_eq!(usize::try_from(events), Ok(network.point_count()), "all points happen");
    println!(
        "{name:>12} {events:>5} points  plan {:.3} ms, live {:.1} us an event, {:.1} us at worst",
        ms(planned),
        ms(total) * 1000.0 / f64::from(events),
        ms(worst) * 1000.0
    );
}

fn against_dense(name: &str, network: &Network) {
    let sparse = best_of(&mut || {
        black_box(check(black_box(network)));
    });
    let start = Instant::now();
    assert!(Dense::new(network).check(), "both must answer alike");
    let dense = start.elapsed();
    println!(
        "{name:>12} {:>5} points  straightforward cubic check {:.3} ms: ours is {:.0} times as fast",
        network.point_count(),
        ms(dense),
        dense.as_secs_f64() / sparse.as_secs_f64()
    );
}

/// The same search written down plainly: a full matrix of edges, for each negative point a
/// quadratic shortest-path walk, recursion for the points it needs.
struct Dense {
    count: usize,
    weight: Vec<i64>,
    /// For the inner point of a link, its outcome.
    outcome: Vec<Option<usize>>,
    /// Negative edges into each point.
    starts: Vec<Vec<(usize, i64)>>,
    open: Vec<bool>,
    done: Vec<bool>,
}

const FAR: i64 = i64::MAX / 4;

impl Dense {
    fn new(network: &Network) -> Dense {
        let points = network.point_count();
        let count = points + network.links().len();
        let mut dense = Dense {
            count,
            weight: vec![FAR; count * count],
            outcome: vec![None; count],
            starts: vec![Vec::new(); count],
            open: vec![false; count],
            done: vec![false; count],
        };
        for bound in network.bounds() {
            dense.add(bound.from.index(), bound.to.index(), bound.most.0);
        }
        for (i, link) in network.links().iter().enumerate() {
            let (inner, end) = (points + i, link.outcome.index());
            let (lo, hi) = (link.takes.lo.0, link.takes.hi.0);
            dense.add(link.activation.index(), inner, lo);
            dense.add(inner, link.activation.index(), -lo);
            dense.add(inner, end, hi - lo);
            dense.add(end, inner, 0);
            dense.add(end, inner, lo - hi);
            dense.outcome[inner] = Some(end);
        }
        dense
    }

    fn add(&mut self, from: usize, to: usize, weight: i64) {
        if weight < 0 {
            self.starts[to].push((from, weight));
        } else {
            let cell = &mut self.weight[from * self.count + to];
            *cell = (*cell).min(weight);
        }
    }

    fn check(&mut self) -> bool {
        (0..self.count).all(|source| self.starts[source].is_empty() || self.walk(source))
    }

    fn walk(&mut self, source: usize) -> bool {
        if self.open[source] {
            return false;
        }
        if self.done[source] {
            return true;
        }
        self.open[source] = true;
        let mut length = vec![FAR; self.count];
        let mut left = vec![true; self.count];
        for &(from, weight) in &self.starts[source] {
            length[from] = length[from].min(weight);
        }
        while let Some(at) = (0..self.count).filter(|&v| left[v]).min_by_key(|&v| length[v]) {
            let reached = length[at];
            if reached >= 0 {
                break;
            }
            left[at] = false;
            if !self.starts[at].is_empty() && !self.walk(at) {
                return false;
            }
            for (from, far) in length.iter_mut().enumerate() {
                let quick = self.outcome[from] == Some(at) && from != source;
                let weight = if quick { 0 } else { self.weight[from * self.count + at] };
                *far = (*far).min(reached + weight);
            }
        }
        for (from, &far) in length.iter().enumerate() {
            if (0..FAR / 2).contains(&far) && from != source {
                let cell = &mut self.weight[from * self.count + source];
                *cell = (*cell).min(far);
            }
        }
        self.open[source] = false;
        self.done[source] = true;
        true
    }
}

/// All distances of the network read as a plain one, here and by scipy.
fn against_scipy(name: &str, network: &Network) {
    let size = network.point_count();
    let ours = best_of(&mut || {
        black_box(network.distances().expect("few enough points"));
    });
    match scipy(network) {
        Some(theirs) => println!(
            "{name:>12} {size:>5} points  all distances {:.3} ms, scipy's Johnson {:.3} ms: {:.1} times as fast",
            ms(ours),
            ms(theirs),
            theirs.as_secs_f64() / ours.as_secs_f64()
        ),
        None => println!(
            "{name:>12} {size:>5} points  all distances {:.3} ms; no python with scipy here, so no comparison",
            ms(ours)
        ),
    }
}

const SCIPY: &str = "
import sys, time
import numpy, scipy.sparse, scipy.sparse.csgraph
rows = [tuple(map(int, line.split())) for line in sys.stdin]
count, best = rows[0][0], {}
for u, v, w in rows[1:]:
    best[u, v] = min(w, best.get((u, v), w))
keys = list(best)
# An explicit zero would read as no edge: lengths are shifted by far less than a millisecond.
data = numpy.array([best[k] if best[k] else 1e-9 for k in keys], dtype=float)
graph = scipy.sparse.csr_matrix((data, ([k[0] for k in keys], [k[1] for k in keys])), (count, count))
took = []
for _ in range(3):
    begun = time.perf_counter()
    scipy.sparse.csgraph.johnson(graph)
    took.append(time.perf_counter() - begun)
print(min(took))
";

fn scipy(network: &Network) -> Option<Duration> {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let mut child = Command::new(python)
        .args(["-c", SCIPY])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .ok()?;
    let mut text = format!("{}\n", network.point_count());
    for bound in network.bounds() {
        text += &format!("{} {} {}\n", bound.from.index(), bound.to.index(), bound.most.0);
    }
    for link in network.links() {
        let (from, to) = (link.activation.index(), link.outcome.index());
        text += &format!("{from} {to} {}\n{to} {from} {}\n", link.takes.hi.0, -link.takes.lo.0);
    }
    // A python without scipy ends before it reads; its silence is the answer.
    let _ = child.stdin.take()?.write_all(text.as_bytes());
    let output = child.wait_with_output().ok()?;
    let seconds: f64 = String::from_utf8(output.stdout).ok()?.trim().parse().ok()?;
    Some(Duration::from_secs_f64(seconds))
}

/// The most memory this process has held, where the system says.
fn peak_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.map_or_else(|| "not known here".to_owned(), |size| size.trim().to_owned())
}
