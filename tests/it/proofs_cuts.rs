//! Segments cut at resting points against the whole run in one network: random small scripts with
//! retries, windows, limits and least waits. What is proven piece by piece must be proven as a whole.

use std::fmt::Write as _;

use stepbell::procedure::plan::{Next, Plan};
use stepbell::procedure::timing::speech_lengths;
use stepbell::procedure::{Examined, examine};
use stepbell::proof::compile::{Forms, Segment, WindowKey, segment};
use stepbell::proof::controllable::{Part, Verdict as Answer, check};
use stepbell::proof::verdict::Verdict;
use stepbell::vehicle::Draw;

use crate::verdicts::decide;

struct Writer<'a> {
    draw: &'a mut Draw,
    text: String,
    /// Whether each step so far awaits a sign.
    awaits: Vec<bool>,
}

impl Writer<'_> {
    fn upto(&mut self, most: i64) -> i64 {
        self.draw.between(0, most)
    }

    fn once_in(&mut self, many: i64) -> bool {
        self.draw.between(1, many) == 1
    }

    /// A step above, or this one.
    fn any_step(&mut self) -> usize {
        let last = i64::try_from(self.awaits.len()).expect("few") - 1;
        usize::try_from(self.draw.between(0, last)).expect("few")
    }

    fn script(draw: &mut Draw) -> String {
        let mut writer = Writer { draw, text: String::new(), awaits: Vec::new() };
        writer.text.push_str(
            "procedure \"A\"\nstatus demonstration\naccording to common practice\nsign lamp, see \"the \
             lamp\" lit\n",
        );
        let steps = writer.draw.between(2, 4);
        if writer.once_in(4) {
            let within = writer.draw.between(40, 240);
            let _ =
                writeln!(writer.text, "within {within}s after s0 done\nlate, so finish as unsure");
        }
        for n in 0..steps {
            writer.step(n);
        }
        writer.text.push_str("finish as learned\n");
        writer.text
    }

    fn step(&mut self, n: i64) {
        let (lo, more) = (self.draw.between(3, 20), self.upto(40));
        let (lo, hi) = (lo * 100, (lo + more) * 100);
        let _ = writeln!(self.text, "step s{n} \"Press the button.\"\n  takes {lo}ms to {hi}ms");
        for _ in 0..self.upto(2) {
            self.window();
        }
        let awaits = self.once_in(2);
        self.awaits.push(awaits);
        if awaits {
            let (from, wait) = (self.upto(2), self.draw.between(2, 6));
            let outcome = Self::outcome(self.way());
            let _ = writeln!(
                self.text,
                "  see lamp, between {from}s and {wait}s after done, so go on\n  nothing within {}s after \
                 done, so {outcome}",
                wait + 1,
            );
        }
        if self.once_in(4) {
            let outcome = Self::outcome(self.way());
            let _ = writeln!(self.text, "  slip, so {outcome}");
        }
    }

    /// A window from a step above.
    fn window(&mut self) {
        if self.awaits.is_empty() {
            return;
        }
        let from = self.any_step();
        let moment = if self.awaits[from] && self.once_in(2) { "answered" } else { "done" };
        let (wait, more) = (self.draw.between(2, 30), self.draw.between(6, 30));
        let when = match self.upto(3) {
            0 => format!("not before {wait}s"),
            1 => format!("between {wait}s and {}s", wait + more),
            _ => format!("within {}s", 6 + more),
        };
        let _ = writeln!(self.text, "  {when} after s{from} {moment}");
        if !when.starts_with("not") {
            let at = self.text.rfind("\nstep").expect("in a step");
            if !self.text[at..].contains("late") {
                let _ = writeln!(self.text, "  late, so finish as unsure");
            }
        }
    }

    /// Where an outcome leads: a step back with its tries, or nothing.
    fn way(&mut self) -> Option<(usize, &'static str, i64, &'static str)> {
        let back = !self.once_in(3);
        let to = self.any_step();
        let times = if self.once_in(3) { "twice" } else { "once" };
        let cool = if self.once_in(3) { self.draw.between(5, 30) } else { 0 };
        let otherwise = if self.once_in(3) { "go on" } else { "finish as unsure" };
        back.then_some((to, times, cool, otherwise))
    }

    fn outcome(way: Option<(usize, &str, i64, &str)>) -> String {
        match way {
            None => "finish as unsure".to_owned(),
            Some((to, times, 0, otherwise)) => {
                format!("go back to s{to}, at most {times}, else {otherwise}")
            }
            Some((to, times, cool, otherwise)) => {
                format!("go back to s{to} after {cool}s, at most {times}, else {otherwise}")
            }
        }
    }
}

/// Nothing is cut: every retry, from the first cue to every ending, in one network.
fn uncut(plan: &Plan) -> Plan {
    let mut plan = plan.clone();
    for step in &mut plan.steps {
        (step.rest_before, step.free) = (false, false);
    }
    plan
}

/// Whether the whole run can be met, its windows in whichever form holds; nothing where it explodes.
fn whole(examined: &Examined) -> Option<bool> {
    let procedure = examined.procedure.as_ref().expect("a model");
    let plan = uncut(&examined.plans[0]);
    let Some(Next::Step(start)) = plan.entry else { return Some(true) };
    let mut forms = Forms::new();
    loop {
        let made = segment(procedure, &plan, &speech_lengths(procedure), start, &forms).ok()?;
        assert!(made.leads.is_empty() && made.unanchored.is_none(), "cut after all");
        let Answer::Not(cycle) = check(&made.network) else { return Some(true) };
        let other = cycle.uses.iter().flat_map(|used| keys(&made, used.part));
        let Some(key) = other.into_iter().find(|key| !forms.contains(key)) else {
            return Some(false);
        };
        forms.insert(key);
    }
}

/// The windows behind a bound of a cycle that may be counted another way.
fn keys(made: &Segment, part: Part) -> Vec<WindowKey> {
    let Part::Bound(n) = part else { return Vec::new() };
    let tag = made.network.bounds()[n].tag.0 as usize;
    let grounds = made.grounds.get(tag).into_iter().flatten();
    let keys = grounds.map(|g| WindowKey { step: g.step, place: g.place });
    keys.filter(|key| made.forms.contains(key)).collect()
}

#[test]
fn what_is_proven_piece_by_piece_is_proven_as_a_whole() {
    let mut draw = Draw::new(0xC07);
    let (mut proven, mut refused, mut stricter, mut cut, mut sorry) = (0, 0, 0, 0, 0);
    for nth in 0..1000 {
        let text = Writer::script(&mut draw);
        let examined = examine("a.bell", text.clone(), &mut |_| Err("no file".to_owned()));
        if !examined.is_sound() {
            sorry += 1;
            continue;
        }
        let pieces = decide(&examined);
        let Some(whole) = whole(&examined) else { continue };
        match &pieces {
            Verdict::Proven(extent) => {
                assert!(whole, "{nth}: proven in pieces, refused as a whole:\n{text}");
                proven += 1;
                cut += usize::from(extent.segments > 1);
            }
            _ => {
                refused += usize::from(!whole);
                stricter += usize::from(whole);
            }
        }
    }
    assert!(
        proven >= 400 && cut >= 200 && refused >= 250,
        "{proven} {refused} {stricter} {cut} {sorry}"
    );
}
