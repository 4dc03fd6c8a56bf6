//! Everything that a run can have on: the big view in a terminal that is read, a page that is watched, a
//! voice and tones that are played, a record on the disk. Gives cues to all of it as a run does.

use std::fs::{File, OpenOptions};
use std::io::Read;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::Receiver;
use std::thread;

use stepbell::clock::{Millis, Moment};
use stepbell::edge::clock::Beginning;
use stepbell::edge::console::Console;
use stepbell::edge::keymap::KeyMap;
use stepbell::edge::page::shelf::Tones;
use stepbell::edge::page::{Opening, Page, Where};
use stepbell::edge::screen::{Paint, Screen};
use stepbell::edge::terminal::{Face, Happening, Inbox};
use stepbell::edge::writer::{Finish, Place, Plan, Recorder};
use stepbell::faces::big::{BigPainter, Looks};
use stepbell::faces::block::Ink;
use stepbell::faces::reach::RowHeight;
use stepbell::faces::sounds::Sounds;
use stepbell::faces::terminal::Size;
use stepbell::faces::words::{Banner, Picture, RecordState, Setting};
use stepbell::journal::convert::effect_body;
use stepbell::journal::entry::{FORMAT, Header, RunKind, ScriptFile, VERSION};
use stepbell::journal::happened::{
    Count, CountWhat, Cue, Effect, Fact, Mark, PointAt, Stage, StepAt, Tone, Window,
};

use crate::heard::loudspeaker;
use crate::http::Browser;

/// A terminal as wide and high as a whole screen of small text.
const SIZE: Size = Size { columns: 200, rows: 50 };

/// What is said at every cue.
const WORDS: &str = "Working key.";

/// Faces, sounds and record.
pub struct Garage {
    console: Console,
    recorder: Option<Recorder>,
    folder: PathBuf,
    picture: Picture,
    on: Vec<String>,
    read: Arc<AtomicU64>,
    watched: Arc<AtomicU64>,
    page: Option<PageAt>,
    cues: u64,
}

/// Where the page is, and what is pressed on it.
pub type PageAt = (String, Receiver<Happening>);

impl Garage {
    /// Opens what is named.
    pub fn open(on: &[&'static str]) -> Garage {
        let is_on = |name: &str| on.contains(&name);
        let (read, watched) = (Arc::default(), Arc::default());
        let mut faces: Vec<Box<dyn Face>> = Vec::new();
        let mut sounds: Vec<Box<dyn Sounds>> = Vec::new();
        if is_on("view") {
            let screen = view(&read);
            sounds.push(Box::new(screen.bell()));
            faces.push(Box::new(screen));
        }
        let mut at = None;
        if is_on("page") {
            let (face, page) = page(&watched);
            faces.push(face);
            at = Some(page);
        }
        let folder = std::env::temp_dir().join(format!("stepbell-bench-{}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a folder for what is kept");
        let mut heard = Vec::new();
        if is_on("voice") {
            let (sound, what) = loudspeaker(&folder, &[WORDS]);
            sounds.push(sound);
            heard.push(what);
        }
        let recorder = is_on("record").then(|| record(folder.clone()));
        let mut console = Console::with(faces, sounds, KeyMap::default());
        console.keep_time(Beginning::now());
        let on = on.iter().filter(|name| **name != "voice").map(|name| (*name).to_owned());
        let on = on.chain(heard).collect();
        Garage {
            console,
            recorder,
            folder,
            picture: picture(),
            on,
            read,
            watched,
            page: at,
            cues: 0,
        }
    }

    /// Where the page is, and what is pressed on it, for who looks after that.
    pub fn take_page(&mut self) -> Option<PageAt> {
        self.page.take()
    }

    /// What is on.
    pub fn told(&self) -> String {
        format!("with {}", self.on.join(", "))
    }

    /// A cue, given as a run gives it: to the record first, then to sounds and faces.
    pub fn cue(&mut self, at: Moment) {
        self.cues += 1;
        let point = PointAt { step: step(), mark: Mark::Called };
        let effects = [
            Effect::Fact { fact: Fact::CueGiven { point, due: at.0, given: at.0 } },
            Effect::Ring { tone: Tone::Now },
            Effect::Say { cue: Cue::Now, text: WORDS.to_owned() },
        ];
        for effect in &effects {
            if let Some(recorder) = &mut self.recorder {
                // What the queue has no room for is counted by the recorder.
                let _ = recorder.put(at, effect_body(effect));
            }
            self.console.tell(effect, at);
        }
        self.picture.at = at;
        self.picture.since = at;
        // Other digits at every cue.
        let left = Millis::secs(10 + i64::try_from(self.cues % 50).unwrap_or(0));
        let what = CountWhat::LatestAct;
        self.picture.shown.count = Some(Count { to: at.after(left).0, what, why: None });
        let troubles = self.console.show(&self.picture);
        assert!(troubles.is_empty(), "{troubles:?}");
    }

    /// Ends it all; says how much of it there was.
    pub fn close(self) -> String {
        let at = self.picture.at;
        let kept = self.recorder.map(|recorder| recorder.finish(at, Millis::secs(10)));
        self.console.close();
        let _ = std::fs::remove_dir_all(&self.folder);
        // What was not on was not measured.
        let is_on = |name: &str| self.on.iter().any(|on| on == name);
        assert!(!is_on("view") || self.read.load(Ordering::Relaxed) > 0, "nothing was painted");
        assert!(!is_on("page") || self.watched.load(Ordering::Relaxed) > 0, "no page was told");
        let lost = match kept {
            Some(Finish::Done(outcome)) => format!("{} entries of the record lost", outcome.lost),
            Some(_) => "the record did not end".to_owned(),
            None => "no record".to_owned(),
        };
        format!(
            "{} cues, {} bytes read from the terminal, {} events at the page, {lost}",
            self.cues,
            self.read.load(Ordering::Relaxed),
            self.watched.load(Ordering::Relaxed)
        )
    }
}

/// The big view in a pseudo-terminal that somebody reads.
fn view(read: &Arc<AtomicU64>) -> Screen {
    let (slave, mut master) = terminal();
    let read = Arc::clone(read);
    thread::spawn(move || {
        let mut buffer = [0; 4096];
        while let Ok(n) = master.read(&mut buffer) {
            read.fetch_add(n as u64, Ordering::Relaxed);
        }
    });
    let looks = Looks { colour: true, ink: Ink::Blocks, row: RowHeight::default(), calm: false };
    let paint = Paint::Big(BigPainter::new(SIZE, looks));
    Screen::start(slave, paint, setting(), Arc::default(), || SIZE).expect("a thread")
}

/// Both ends of a pseudo-terminal.
fn terminal() -> (File, File) {
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pseudo-terminal");
    grantpt(&master).and_then(|()| unlockpt(&master)).expect("its other end");
    let name = ptsname(&master, Vec::new()).expect("its name").into_string().expect("plain text");
    let slave = OpenOptions::new().read(true).write(true).open(name).expect("its other end");
    (slave, File::from(master))
}

/// The page, with somebody who watches it.
fn page(watched: &Arc<AtomicU64>) -> (Box<dyn Face>, PageAt) {
    let shelf = Arc::new(Tones::new(&setting()));
    let opening = Opening { at: Where::Here(0), https: false, setting: setting(), shelf };
    let page = Page::serve(&opening).expect("a page");
    let address = page.address();
    let face = page.into_face();
    let (to, from) = std::sync::mpsc::channel();
    face.attach(Inbox::new(to));
    let (watched, watcher) = (Arc::clone(watched), address.clone());
    thread::spawn(move || {
        let mut events = Browser::open(&watcher).events();
        while events.next().is_some() {
            watched.fetch_add(1, Ordering::Relaxed);
        }
    });
    (Box::new(face), (address, from))
}

fn record(folder: PathBuf) -> Recorder {
    let header = Header {
        format: FORMAT.to_owned(),
        version: VERSION,
        tool: env!("CARGO_PKG_VERSION").to_owned(),
        run: RunKind::Live,
        started: "2031-05-06T07:08:09Z".to_owned(),
        title: "Add a spare".to_owned(),
        status: "demonstration".to_owned(),
        files: vec![ScriptFile::new("spare.bell", "note A spare.\n")],
        profile: "standard".to_owned(),
        lengths: "model".to_owned(),
        spoken: Vec::new(),
        lag: 0,
        operator: None,
        counts: std::collections::BTreeMap::new(),
        continues: None,
        rehearsal: None,
    };
    let plan = Plan { place: Place::Folder(folder), second: None, header };
    Recorder::begin(plan, |_| {}).expect("a record")
}

fn setting() -> Setting {
    Setting {
        title: "Add a spare".to_owned(),
        banners: vec![Banner::Demonstration],
        ..Setting::default()
    }
}

fn step() -> StepAt {
    StepAt { ix: 3, name: "show-working".to_owned(), line: 66, file: None, turn: None }
}

fn picture() -> Picture {
    let mut picture = Picture::new(Moment::START);
    picture.record = RecordState::Saved;
    let shown = &mut picture.shown;
    shown.stage = Stage::Acting;
    shown.step = Some(step());
    shown.progress = (4, 7);
    shown.hands = vec!["the working key (one band of tape)".to_owned()];
    shown.act = Some("Hold the working key against the start button.".to_owned());
    shown.next = Some("Put the working key into the tin box.".to_owned());
    shown.window = Window::Safe;
    picture
}
