//! A drill during a replay: takes the questions and where the answers are kept, gives where the replay
//! must stand still, what is asked there, and how each answer was.

use crate::clock::Moment;
use crate::edge::drills::Book;
use crate::faces::drilled::{asks, choices, judged, score, step_name, wanted, within};
use crate::faces::head::Asks;
use crate::journal::drill::{About, Answer, Body};
use crate::training::drill::{Given, Item, score as scored};

/// A drill that goes on.
#[derive(Debug)]
pub struct Drill {
    items: Vec<Item>,
    at: usize,
    about: About,
    /// Since when the question stands.
    since: Option<Moment>,
    answers: Vec<Answer>,
    told: Vec<String>,
    book: Option<Book>,
    seed: u64,
    ended: bool,
}

/// What a drill has come to.
#[derive(Debug)]
pub struct Drilled {
    /// The score, line by line.
    pub score: Vec<String>,
    /// Where the answers are, or why they are not.
    pub kept: Option<Result<String, String>>,
    /// The number that gives the same choices again.
    pub seed: u64,
}

impl Drill {
    /// A drill over these questions. `book`: where the answers are kept; `seed`: what shuffled the choices.
    #[must_use]
    pub fn new(items: Vec<Item>, book: Option<Book>, seed: u64) -> Drill {
        Drill {
            items,
            at: 0,
            about: About::What,
            since: None,
            answers: Vec::new(),
            told: Vec::new(),
            book,
            seed,
            ended: false,
        }
    }

    /// The scene before which the replay stands still.
    #[must_use]
    pub fn limit(&self) -> Option<usize> {
        self.items.get(self.at).map(|item| item.before)
    }

    /// What stands there: the question, or how the last answer was. `stands`: whether the replay stands
    /// before the cue.
    pub fn asks(&mut self, stands: bool, now: Moment) -> Asks {
        let all = self.items.len();
        match self.items.get(self.at).filter(|_| stands) {
            Some(item) => {
                self.since.get_or_insert(now);
                asks(item, self.about, self.told.clone(), (self.at + 1, all))
            }
            None => Asks { told: self.told.clone(), ..Asks::default() },
        }
    }

    /// Whether a question stands.
    #[must_use]
    pub fn choices(&self) -> Option<usize> {
        self.items
            .get(self.at)
            .filter(|_| self.is_asking())
            .map(|item| choices(item, self.about).len())
    }

    /// Whether it waits for an answer.
    pub fn is_asking(&self) -> bool {
        self.since.is_some()
    }

    /// An answer; `None` where it is none to this question. Gives whether the replay goes on.
    pub fn answer(&mut self, given: &Given, now: Moment) -> Option<bool> {
        let item = self.items.get(self.at)?;
        let since = self.since?;
        let verdict = item.judge(self.about, given)?;
        let said = match given {
            Given::Choice(n) => choices(item, self.about).get(*n).cloned().unwrap_or_default(),
            Given::Time(time) => within(*time),
            Given::Shown => String::new(),
        };
        let answer = Answer {
            step: step_name(item),
            line: item.step.line,
            nth: item.nth,
            about: self.about,
            choices: choices(item, self.about),
            given: said,
            wanted: wanted(item, self.about),
            judged: verdict,
            took: now.since(since).0,
        };
        if self.about == About::What {
            self.told.clear();
        }
        // Numbered, so that the same answer twice is news to whoever only listens.
        self.told.push(format!("Step {}: {}", self.at + 1, judged(&answer)));
        if let Some(book) = &mut self.book {
            book.put(now, &Body::Answer(answer.clone()));
        }
        self.answers.push(answer);
        self.since = None;
        Some(match self.about {
            About::What => {
                self.about = About::When;
                false
            }
            About::When => {
                self.about = About::What;
                self.at += 1;
                true
            }
        })
    }

    /// Everything is asked and shown: the score stands there.
    pub fn finish(&mut self, now: Moment) {
        if std::mem::replace(&mut self.ended, true) || self.at < self.items.len() {
            return;
        }
        let sum = scored(&self.answers);
        self.told = score(&sum, true);
        let (asked, right) = (sum.what.1 + sum.when.1, sum.what.0 + sum.when.0);
        if let Some(book) = &mut self.book {
            book.put(now, &Body::End { asked, right });
        }
    }

    /// What it has come to.
    #[must_use]
    pub fn done(self) -> Drilled {
        let whole = self.at >= self.items.len();
        let score = score(&scored(&self.answers), whole);
        Drilled { score, kept: self.book.map(Book::close), seed: self.seed }
    }
}
