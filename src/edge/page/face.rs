//! The page as a face of the run: takes pictures and sounds without ever waiting, and keeps only the
//! newest picture.

use std::sync::{Arc, Condvar, Mutex, OnceLock, PoisonError};
use std::time::Duration;

use serde_json::json;
use tokio::sync::{broadcast, watch};

use super::room::Room;
use super::shelf::Shelf;
use crate::clock::{Millis, Moment};
use crate::edge::clock::Beginning;
use crate::edge::terminal::{Face, Inbox};
use crate::faces::sounds::ending_tone;
use crate::faces::words::Picture;
use crate::journal::entry::EndingClass;
use crate::journal::happened::{Cue, Effect, Fact, Tone};

/// How long the end waits for the last picture to go out.
const LAST_PICTURE: Duration = Duration::from_secs(1);

/// What the run shows.
#[derive(Debug)]
pub(super) struct Published {
    pub picture: Picture,
    /// Outcomes so far: a press after one means something else.
    pub outcomes: u64,
}

/// How the server's thread is told to end, and how it says that it has.
#[derive(Debug)]
pub(super) struct End {
    over: watch::Sender<bool>,
    /// Whether it has ended, and why, where that was not meant.
    ended: Mutex<(bool, Option<String>)>,
    changed: Condvar,
}

impl End {
    /// Waits until the run is over.
    pub async fn over(&self) {
        let mut over = self.over.subscribe();
        // The sender lives as long as this.
        let _ = over.wait_for(|over| *over).await;
    }

    /// The thread has ended.
    pub fn ended(&self, why: Option<String>) {
        *self.ended.lock().unwrap_or_else(PoisonError::into_inner) = (true, why);
        self.changed.notify_all();
    }
}

/// The page as the run sees it.
pub struct PageFace {
    published: watch::Sender<Arc<Published>>,
    heard: broadcast::Sender<Arc<str>>,
    shelf: Arc<dyn Shelf>,
    outcomes: u64,
    room: OnceLock<Arc<Room>>,
    end: Arc<End>,
}

impl std::fmt::Debug for PageFace {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("PageFace").finish_non_exhaustive()
    }
}

impl PageFace {
    /// A face, and where its pictures come out.
    pub(super) fn new(
        heard: broadcast::Sender<Arc<str>>,
        shelf: Arc<dyn Shelf>,
    ) -> (PageFace, watch::Receiver<Arc<Published>>) {
        let mut picture = Picture::new(Moment::START);
        picture.asides.push("The run has not begun yet.".to_owned());
        let (published, from) = watch::channel(Arc::new(Published { picture, outcomes: 0 }));
        let end = End {
            over: watch::Sender::new(false),
            ended: Mutex::default(),
            changed: Condvar::new(),
        };
        let face = PageFace {
            published,
            heard,
            shelf,
            outcomes: 0,
            room: OnceLock::new(),
            end: Arc::new(end),
        };
        (face, from)
    }

    pub(super) fn end(&self) -> Arc<End> {
        Arc::clone(&self.end)
    }

    /// The room that it feeds.
    pub(super) fn enter(&self, room: Arc<Room>) {
        let _ = self.room.set(room);
    }

    /// Presses go to this inbox from now on.
    pub fn attach(&self, to: Inbox) {
        if let Some(room) = self.room.get() {
            room.attach(to);
        }
    }

    /// How it ended is said as at the loudspeaker: in words, else by a tone; then the script's own text.
    fn ended(&mut self, class: EndingClass, text: Option<&str>, at: Moment) {
        match self.shelf.ended(class) {
            Some(sound) => self.hear(&json!({"at": at.0, "cue": "ended", "sound": sound})),
            None => self.tell(&Effect::Ring { tone: ending_tone(class) }, at),
        }
        if let Some(text) = text {
            self.tell(&Effect::Say { cue: Cue::Notice, text: text.to_owned() }, at);
        }
    }

    fn hear(&self, heard: &serde_json::Value) {
        // Nobody may be listening.
        let _ = self.heard.send(heard.to_string().into());
    }
}

impl Face for PageFace {
    fn name(&self) -> &'static str {
        "the page"
    }

    fn show(&mut self, picture: &Picture) {
        let published = Published { picture: picture.clone(), outcomes: self.outcomes };
        self.published.send_replace(Arc::new(published));
    }

    fn tell(&mut self, effect: &Effect, at: Moment) {
        match effect {
            Effect::Ring { tone } => {
                let rung = self.shelf.tone(*tone);
                let (sound, lead) = rung.map_or((None, 0), |rung| (Some(rung.sound), rung.lead.0));
                let tone = tone_word(*tone);
                self.hear(&json!({"at": at.0, "tone": tone, "sound": sound, "lead": lead}));
            }
            Effect::Say { cue, text } => {
                let sound = self.shelf.words(*cue, text);
                self.hear(&json!({"at": at.0, "cue": cue_word(*cue), "sound": sound}));
            }
            Effect::Fact { fact: Fact::Outcome { .. } } => self.outcomes += 1,
            Effect::Ended { class, text, .. } => self.ended(*class, text.as_deref(), at),
            _ => {}
        }
    }

    fn keep_time(&mut self, clock: Beginning) {
        if let Some(room) = self.room.get() {
            room.keep_time(clock);
        }
    }

    fn is_afar(&self) -> bool {
        true
    }

    /// Where time goes on by itself the page counts by itself.
    fn pace(&self) -> Option<Millis> {
        None
    }

    fn trouble(&self) -> Option<String> {
        let ended = self.end.ended.lock().unwrap_or_else(PoisonError::into_inner);
        ended.1.clone()
    }

    fn finish(&mut self) {
        self.end.over.send_replace(true);
        let ended = self.end.ended.lock().unwrap_or_else(PoisonError::into_inner);
        let waited = self.end.changed.wait_timeout_while(ended, LAST_PICTURE, |(ended, _)| !*ended);
        drop(waited);
    }
}

const fn tone_word(tone: Tone) -> &'static str {
    match tone {
        Tone::Prepare => "prepare",
        Tone::Now => "now",
        Tone::Tick => "tick",
        Tone::Missed => "missed",
        Tone::TenLeft => "ten-left",
        Tone::FiveLeft => "five-left",
        Tone::LetGo => "let-go",
    }
}

const fn cue_word(cue: Cue) -> &'static str {
    match cue {
        Cue::Prepare => "prepare",
        Cue::Now => "now",
        Cue::Caution => "caution",
        Cue::Question => "question",
        Cue::Again => "again",
        Cue::Notice => "notice",
    }
}
