//! `stepbell rehearse FILE --runs N`: takes a script, plays it many times on every core, gives the odds
//! as a report, JSON or a picture.

use std::ops::Range;
use std::sync::Arc;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::args::{Figures, RehearseArgs};
use super::check::proved;
use super::exit::Exit;
use super::out::Answer;
use super::script::{examined, pictures};
use crate::edge::{files, many};
use crate::faces::margins::picture;
use crate::faces::odds::{document, report};
use crate::faces::orders::refused;
use crate::faces::safe::safe;
use crate::faces::verdict::verdict;
use crate::guide::{Guide, Settings};
use crate::procedure::model::{EndingId, ItemId, Procedure};
use crate::procedure::plan::Choices;
use crate::procedure::timing::speech_lengths;
use crate::proof::timing::network;
use crate::proof::verdict::Verdict;
use crate::training::odds::{Odds, One, Terms, hoped_ending, play};
use crate::training::sensitivity::{Declared, Of, declared, paired, with};
use crate::training::statistics::Lengths;
use crate::training::study::{Help, Script, Study};
use crate::vehicle::Practice;
use crate::vehicle::law::Law;
use crate::vehicle::order::{Refused, fault};

/// What would help is tried in at most so many runs for each declared time.
const HELP_RUNS: u64 = 2_000;

/// Plays the runs; gives the odds.
#[must_use]
pub fn run(args: &RehearseArgs) -> Answer {
    match answer(args) {
        Ok(answer) | Err(answer) => answer,
    }
}

fn answer(args: &RehearseArgs) -> Result<Answer, Answer> {
    let usage = |why: String| Answer::trouble(Exit::Usage, why);
    let examined =
        examined(&args.guide.file).map_err(|why| Answer::trouble(Exit::Unreadable, why))?;
    let sound = examined.is_sound();
    let Some(procedure) = examined.procedure.clone().filter(|_| sound) else {
        let err = format!(
            "{}\nstepbell: not rehearsed while an error stands.\n",
            pictures(&examined, false)
        );
        return Err(Answer { out: String::new(), err, exit: Exit::Findings });
    };
    let choices = choices(&procedure, &args.count).map_err(usage)?;
    let law = law(args);
    let terms = Terms { seed: args.seed.unwrap_or(1), law, orders: args.fault.clone() };
    let mut given = Answer::ok("");
    if let Some(timing) = proved(&examined).filter(|t| !matches!(t, Verdict::Proven(_))) {
        given.err = format!("{}\n", verdict(&timing, &examined));
    }
    let work = Work { procedure: Arc::new(procedure), choices, terms };
    let mut practice = work.practice().ok_or_else(|| {
        let why = "the questions of this script do not lead to a first step with likely answers";
        Answer::trouble(Exit::Unable, why)
    })?;
    work.check_orders(&practice).map_err(|why| usage(refused(&why)))?;
    let hoped = hoped_ending(&mut practice);
    let runs = args.runs.unwrap_or(1);
    let threads = args.threads.map_or_else(many::cores, usize::from);
    let help_runs = runs.min(HELP_RUNS);
    let times = declared(&work.procedure);
    let size = Size { threads, help_runs, bar: bar(runs + help_runs * times.len() as u64) };
    let unable = |why: std::io::Error| {
        Answer::trouble(Exit::Unable, format!("no thread could be begun: {why}"))
    };
    let (odds, before) = work.odds(&size, runs, hoped).map_err(unable)?;
    let script =
        Script { procedure: &work.procedure, plan: practice.plan(), sources: &examined.sources };
    let mut study = Study::new(script, &work.terms, odds, hoped);
    study.help_runs = help_runs;
    for time in &times {
        let help = work.help(time, &before, &size, hoped).map_err(unable)?;
        let place = match &time.of {
            Of::Hands(_, place) | Of::Strokes(_, place) | Of::Answer(_, place) => Some(*place),
            Of::Reaction | Of::Report | Of::Pace => None,
        };
        let line = place.map(|place| examined.sources.line_col(place).line);
        study.help.push(Help { line, ..help });
    }
    size.bar.finish_and_clear();
    study
        .help
        .sort_by(|a, b| b.chance.change.total_cmp(&a.chance.change).then(b.least.cmp(&a.least)));
    given.out = match args.format {
        Figures::Human => report(&study),
        Figures::Json => {
            serde_json::to_string_pretty(&document(&study)).map(|t| t + "\n").unwrap_or_default()
        }
    };
    if let Some(path) = &args.picture
        && let Err(why) = files::put(path, &picture(&study))
    {
        let name = path.display().to_string();
        given.err.push_str(&format!("stepbell: no picture in {}: {why}\n", safe(&name)));
        given.exit = Exit::Unable;
    }
    Ok(given)
}

/// How lengths are drawn.
#[must_use]
pub fn law(args: &RehearseArgs) -> Law {
    if args.inside { Law::Inside } else { Law::Tails(args.spread.unwrap_or_default()) }
}

/// A bar on standard error, and only where that is a terminal.
fn bar(all: u64) -> ProgressBar {
    // It is hidden by itself where standard error is no terminal.
    let bar = ProgressBar::with_draw_target(Some(all), ProgressDrawTarget::stderr());
    if let Ok(style) = ProgressStyle::with_template("rehearsing {wide_bar} {pos} of {len} runs") {
        bar.set_style(style.progress_chars("=> "));
    }
    bar
}

/// How many of each group, by the names of the script.
fn choices(procedure: &Procedure, counts: &[(String, u32)]) -> Result<Choices, String> {
    let mut choices = Choices::default();
    for (name, n) in counts {
        let groups = (0..).map(ItemId).zip(&procedure.items).filter(|(_, item)| item.group);
        let known: Vec<_> = groups.collect();
        let Some((id, item)) = known.iter().find(|(_, item)| item.name == *name) else {
            let names: Vec<_> = known.iter().map(|(_, item)| item.name.as_str()).collect();
            return Err(match names.as_slice() {
                [] => "this script has no group to count".to_owned(),
                names => {
                    format!("no group is called `{}`; known are {}", safe(name), names.join(", "))
                }
            });
        };
        let (least, most) = item.count;
        if !(least..=most).contains(n) {
            return Err(format!("there are {least} to {most} {}, not {n}", safe(name)));
        }
        choices.counts.push((*id, *n));
    }
    Ok(choices)
}

/// What each thread needs to begin.
struct Work {
    procedure: Arc<Procedure>,
    choices: Choices,
    terms: Terms,
}

/// How much is played, on how many threads, and where that is shown.
struct Size {
    threads: usize,
    help_runs: u64,
    bar: ProgressBar,
}

/// The first runs, one by one.
#[derive(Default)]
struct First {
    /// Which of them ended as hoped.
    well: Vec<bool>,
    /// The least left in each.
    least: Lengths,
}

impl Work {
    fn practice(&self) -> Option<Practice> {
        let speech = speech_lengths(&self.procedure);
        let settings = Settings {
            speech: speech.clone(),
            timing: network,
            rehearsal: true,
            length: crate::power::Length::Unbounded,
        };
        let guide = Guide::new(Arc::clone(&self.procedure), settings);
        Practice::new(guide, &self.procedure, &speech, &self.choices)
    }

    /// Whether every fault can happen; where, the first run's draws choose.
    fn check_orders(&self, practice: &Practice) -> Result<(), Refused> {
        let mut draw = crate::vehicle::Draw::of_run(self.terms.seed, 0, self.terms.law);
        for order in &self.terms.orders {
            fault(order, &self.procedure, practice.plan(), &mut draw)?;
        }
        Ok(())
    }

    /// What one shorter time would do; its line is for whoever knows the files.
    fn help(
        &self,
        time: &Declared,
        before: &First,
        size: &Size,
        hoped: Option<EndingId>,
    ) -> std::io::Result<Help> {
        let to = time.shorter();
        let changed = Work {
            procedure: Arc::new(with(
                &self.procedure,
                &time.of,
                crate::clock::Span::new(time.span.lo, to),
            )),
            choices: self.choices.clone(),
            terms: self.terms.clone(),
        };
        let (_, after) = changed.odds(size, 0, hoped)?;
        let least = |first: &First| first.least.quantile(50).unwrap_or_default();
        Ok(Help {
            of: time.of.clone(),
            line: None,
            from: time.span.hi,
            to,
            chance: paired(&before.well, &after.well),
            least: least(&after).minus(least(before)),
        })
    }

    /// Plays runs on threads: the first `help_runs` are kept one by one, and all of them counted where
    /// there are at least `runs`.
    fn odds(
        &self,
        Size { threads, help_runs, bar }: &Size,
        runs: u64,
        hoped: Option<EndingId>,
    ) -> std::io::Result<(Odds, First)> {
        let worker = || (self.practice(), Odds::default(), Vec::new());
        let work = |(practice, odds, first): &mut Worker, range: Range<u64>| {
            let Some(practice) = practice else { return };
            let mut heard = |one: One| {
                if one.run < *help_runs {
                    first.push(one);
                }
            };
            // The orders were checked before.
            if let Ok(part) = play(practice, &self.procedure, &self.terms, hoped, range, &mut heard)
            {
                odds.merge(&part);
            }
        };
        let offset = bar.position();
        let done = |n| bar.set_position(bar.position().max(offset + n));
        let shares = many::spread(*threads, runs.max(*help_runs), worker, work, done)?;
        let (mut odds, mut first) = (Odds::default(), Vec::new());
        for (_, part, runs) in shares {
            odds.merge(&part);
            first.extend(runs);
        }
        first.sort_by_key(|one| one.run);
        let mut kept = First::default();
        for one in &first {
            kept.well.push(one.well);
            one.least.into_iter().for_each(|least| kept.least.add(least));
        }
        Ok((odds, kept))
    }
}

type Worker = (Option<Practice>, Odds, Vec<One>);
