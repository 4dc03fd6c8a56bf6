//! A drill in words: takes questions, answers and scores, gives sentences. The score says what to look at
//! again, and what a wrong time would have cost.

use std::fmt::Write as _;

use super::head::Asks;
use super::phrases;
use super::safe::{cell, safe};
use crate::clock::Millis;
use crate::journal::drill::{About, Answer, Judged};
use crate::training::drill::{By, Item, Score};
use crate::training::drilled::{Count, Drills, Group};

/// What is chosen where a step has no window.
const NO_WINDOW: &str = "no window: no hurry";

/// A question with its choices. `told`: how the last answers were; `nth` of how many steps.
#[must_use]
pub fn asks(item: &Item, about: About, told: Vec<String>, (nth, of): (usize, usize)) -> Asks {
    let question = match about {
        About::What => "What comes next?",
        About::When => "By when?",
    };
    Asks {
        question: Some(question.to_owned()),
        choices: choices(item, about),
        types: about == About::When,
        told,
        progress: format!("DRILL, step {nth} of {of}"),
    }
}

/// The choices in words.
#[must_use]
pub fn choices(item: &Item, about: About) -> Vec<String> {
    match about {
        About::What => item.acts.clone(),
        About::When => item.times.iter().map(|time| within(*time)).collect(),
    }
}

/// A time as a choice.
#[must_use]
pub fn within(time: Option<Millis>) -> String {
    time.map_or_else(|| NO_WINDOW.to_owned(), |time| format!("within {time}"))
}

/// What is right.
#[must_use]
pub fn wanted(item: &Item, about: About) -> String {
    match (about, &item.by) {
        (About::What, _) => item.acts.get(item.right).cloned().unwrap_or_default(),
        (About::When, Some(By { within, after })) => format!("within {within} after {after}"),
        (About::When, None) => NO_WINDOW.to_owned(),
    }
}

/// How an answer was.
#[must_use]
pub fn judged(answer: &Answer) -> String {
    let Answer { given, wanted, step, line, .. } = answer;
    let place = format!("step {step}, line {line}");
    match (answer.about, answer.judged) {
        (About::What, Judged::Right) => format!("RIGHT: {wanted}"),
        (About::When, Judged::Right) => format!("RIGHT: {wanted}."),
        (_, Judged::Shown) => format!("It is: {wanted} ({place})"),
        (About::What, _) => format!("NO. You said: {given} It is: {wanted} ({place})"),
        (About::When, Judged::Later) => {
            format!(
                "TOO LONG. You said: {given}. It is: {wanted} ({place}). The window would have closed."
            )
        }
        (About::When, _) if wanted == NO_WINDOW => {
            format!("NO. You said: {given}. There is no window here ({place}): take your time.")
        }
        (About::When, _) => {
            format!(
                "SHORTER THAN IT IS. You said: {given}. It is: {wanted} ({place}). Safe, but hurried."
            )
        }
    }
}

/// A score, line by line.
#[must_use]
pub fn score(score: &Score, whole: bool) -> Vec<String> {
    let ((what, of_what), (when, of_when)) = (score.what, score.when);
    let begins = if whole { "DRILL OVER" } else { "DRILL LEFT before its end" };
    let mut lines = vec![format!(
        "{begins}: {} of {} right (what comes next: {what} of {of_what}; by when: {when} of {of_when})",
        what + when,
        of_what + of_when
    )];
    match score.later {
        0 => {}
        1 => lines.push(
            "One time was taken for longer than it is: beside a vehicle that is a window missed."
                .to_owned(),
        ),
        n => lines.push(format!(
            "{n} times were taken for longer than they are: beside a vehicle each is a window missed."
        )),
    }
    if !score.again.is_empty() {
        lines.push("Look again at:".to_owned());
    }
    for answer in &score.again {
        let Answer { step, line, given, wanted, .. } = answer;
        let asked = match answer.about {
            About::What => "what comes next",
            About::When => "by when",
        };
        let said = match answer.judged {
            Judged::Shown => String::new(),
            _ => format!("; you said: {given}"),
        };
        let wanted = wanted.trim_end_matches('.');
        lines.push(format!("  {step} (line {line}), {asked}: {wanted}{said}"));
    }
    lines
}

/// Many drills as a table.
#[must_use]
pub fn table(drills: &Drills) -> String {
    let mut text = String::new();
    for (key, group) in &drills.groups {
        let hash: String = key.sha256.chars().take(8).collect();
        let who = key.person.as_ref().map_or_else(String::new, |who| format!(", {who}"));
        let _ = writeln!(text, "{} (script {}){}", safe(&key.title), safe(&hash), safe(&who));
        let left = match group.left {
            0 => String::new(),
            n => format!(", {n} left before the end"),
        };
        let _ = writeln!(text, "DRILLS: {}{left}; right answers of all:", group.drills);
        rows(&mut text, group);
        text.push('\n');
    }
    let _ = writeln!(
        text,
        "{} counted; runs are counted by `tally` without --drills",
        phrases::plural(drills.counted(), "drill")
    );
    for name in &drills.damaged {
        let _ = writeln!(text, "damaged, counted as far as it can be read: {}", safe(name));
    }
    for name in &drills.again {
        let _ = writeln!(text, "given twice, counted once: {}", safe(name));
    }
    for (name, why) in &drills.refused {
        let _ = writeln!(text, "not counted: {}: {}", safe(name), safe(why));
    }
    text
}

fn rows(text: &mut String, group: &Group) {
    let _ = writeln!(text, "  {:<28} {:>10} {:>10}  taken for longer", "step", "what", "by when");
    for ((step, line), counts) in &group.steps {
        let of = |about| counts.get(&about).copied().unwrap_or_default();
        let share = |count: Count| match count.asked {
            0 => "-".to_owned(),
            n => format!("{} of {n}", count.right),
        };
        let (what, when) = (of(About::What), of(About::When));
        let name = format!("{} (line {line})", safe(step));
        let _ = writeln!(
            text,
            "  {name:<28} {:>10} {:>10}  {}",
            share(what),
            share(when),
            if when.later > 0 { when.later.to_string() } else { "-".to_owned() }
        );
    }
}

/// Many drills for a spreadsheet: one line a step and question.
#[must_use]
pub fn sheet(drills: &Drills) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing into memory does not fail.
    let _ = writer.write_record([
        "title",
        "script_sha256",
        "person",
        "drills",
        "left_early",
        "step",
        "line",
        "question",
        "asked",
        "right",
        "wrong",
        "too_short",
        "too_long",
        "not_answered",
    ]);
    for (key, group) in &drills.groups {
        for ((step, line), counts) in &group.steps {
            for (about, count) in counts {
                let mut row = vec![
                    cell(&key.title),
                    key.sha256.clone(),
                    cell(key.person.as_deref().unwrap_or("")),
                    group.drills.to_string(),
                    group.left.to_string(),
                    cell(step),
                    line.to_string(),
                    word(*about).to_owned(),
                ];
                row.extend(counted(count).map(|n| n.to_string()));
                let _ = writer.write_record(row);
            }
        }
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}

/// A question in a word.
const fn word(about: About) -> &'static str {
    match about {
        About::What => "what",
        About::When => "when",
    }
}

/// All answers, then how many were right, wrong, too short, too long, not given: these add up.
const fn counted(count: &Count) -> [u64; 6] {
    let Count { asked, right, wrong, sooner, later, shown } = *count;
    [asked, right, wrong, sooner, later, shown]
}

/// Many drills for programs.
#[must_use]
pub fn document(drills: &Drills) -> serde_json::Value {
    let count = |count: Option<&Count>| {
        count.map(|c| {
            serde_json::json!({
                "asked": c.asked, "right": c.right, "wrong": c.wrong, "sooner": c.sooner,
                "later": c.later, "shown": c.shown,
            })
        })
    };
    let groups: Vec<_> = drills
        .groups
        .iter()
        .map(|(key, group)| {
            let steps: Vec<_> = group
                .steps
                .iter()
                .map(|((step, line), counts)| {
                    serde_json::json!({
                        "step": step, "line": line,
                        "what": count(counts.get(&About::What)),
                        "when": count(counts.get(&About::When)),
                    })
                })
                .collect();
            serde_json::json!({
                "title": key.title, "script_sha256": key.sha256, "operator": key.person,
                "drills": group.drills, "left": group.left, "steps": steps,
            })
        })
        .collect();
    let refused: Vec<_> = drills
        .refused
        .iter()
        .map(|(name, why)| serde_json::json!({"name": name, "why": why}))
        .collect();
    serde_json::json!({
        "drills": groups, "damaged": drills.damaged, "twice": drills.again, "refused": refused,
    })
}

/// A step by name and turn, for an answer.
#[must_use]
pub fn step_name(item: &Item) -> String {
    phrases::step(&item.step)
}
