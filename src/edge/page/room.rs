//! What all requests of a page's server share: its names and secrets, the open pages and connections,
//! what stands on the pages now. Locked for moments only, and by the page's own thread only.

use std::collections::BTreeMap;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use tokio::sync::{Notify, broadcast, watch};

use super::face::{PageFace, Published};
use super::guard::{Names, Refused};
use super::pages::{Pages, Stand};
use super::places::{Id, Places};
use super::secret::Secret;
use super::shelf::Shelf;
use crate::clock::Moment;
use crate::edge::clock::Beginning;
use crate::edge::keys::Meant;
use crate::edge::terminal::{Happening, Inbox};
use crate::faces::head::PlaceOn;
use crate::faces::page::{Card, card};
use crate::faces::words::{KeyNames, Setting, wants_text};
use crate::journal::entry::Sender;
use crate::journal::happened::{Answer, Hold, Means, Question, Stage};

/// Sounds that wait for a page that is slow; older ones are dropped.
const HEARD: usize = 32;
/// Wrong tries in a second from one address; more are answered by 429.
const TRIES: u32 = 5;
/// Addresses whose tries are counted in one second.
const COUNTED: usize = 256;

/// What a page's server tells the run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum News {
    /// A press or a text, and from which page.
    Sent(Meant, Sender),
    /// How the pages are.
    Pages(Around),
}

/// How the pages are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Around {
    /// What is wrong, for the other faces.
    pub troubles: Vec<String>,
    /// Who is there.
    pub present: Option<String>,
    /// Whether somebody can press on a page.
    pub led: bool,
}

/// What stands on the pages.
#[derive(Debug, Default)]
pub(super) struct Standing {
    /// As JSON.
    pub json: String,
    pub stand: Stand,
}

/// What a press depends on. While it stays the same, a press means the same.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Turn {
    stage: Stage,
    means: Means,
    question: Option<Question>,
    answers: Vec<Answer>,
    held: bool,
    outcomes: u64,
    /// Which question of a drill.
    drill: Option<String>,
}

/// Connections, and how each is told to go.
#[derive(Debug, Default)]
struct Door {
    places: Places,
    kicks: BTreeMap<Id, Arc<Notify>>,
    /// The running second and the wrong tries in it.
    second: i64,
    tries: BTreeMap<IpAddr, u32>,
}

/// See the file's head.
pub(super) struct Room {
    pub address: SocketAddr,
    pub names: Names,
    pub token: Secret,
    /// The name of the session's cookie: cookies do not tell ports apart, so the port is in it.
    pub cookie: String,
    pub secure: bool,
    /// Whether others in the network can read along.
    pub readable: bool,
    pub shelf: Arc<dyn Shelf>,
    setting: Setting,
    born: Beginning,
    pages: Mutex<Pages>,
    /// Grows with every change of the pages.
    pub pages_changed: watch::Sender<u64>,
    door: Mutex<Door>,
    clock: OnceLock<Beginning>,
    to_run: OnceLock<Inbox>,
    turn: Mutex<Option<(Turn, u64)>>,
    pub published: watch::Receiver<Arc<Published>>,
    pub standing: watch::Sender<Arc<Standing>>,
    pub heard: broadcast::Sender<Arc<str>>,
    /// Whether the run is over: streams end after what stands there.
    pub over: watch::Sender<bool>,
    begun: AtomicBool,
}

impl std::fmt::Debug for Room {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Room").field("address", &self.address).finish_non_exhaustive()
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Room {
    /// A room and the face that feeds it.
    pub fn new(
        address: SocketAddr,
        opening: &super::Opening,
        shared: bool,
    ) -> io::Result<(Room, PageFace)> {
        let scheme = if opening.https { "https" } else { "http" };
        let mut setting = opening.setting.clone();
        setting.keys = KeyNames { done: "DONE".to_owned(), ..KeyNames::default() };
        let (heard, _) = broadcast::channel(HEARD);
        let (face, published) = PageFace::new(heard.clone(), Arc::clone(&opening.shelf));
        let room = Room {
            address,
            names: Names::new(scheme, authorities(address, opening.https)),
            token: Secret::draw()?,
            cookie: format!("stepbell-{}", address.port()),
            secure: opening.https,
            readable: shared && !opening.https,
            shelf: Arc::clone(&opening.shelf),
            setting,
            born: Beginning::now(),
            pages: Mutex::default(),
            pages_changed: watch::Sender::new(0),
            door: Mutex::default(),
            clock: OnceLock::new(),
            to_run: OnceLock::new(),
            turn: Mutex::default(),
            published,
            standing: watch::Sender::new(Arc::default()),
            heard,
            over: watch::Sender::new(false),
            begun: AtomicBool::new(false),
        };
        room.stand();
        Ok((room, face))
    }

    /// The server's own moment.
    pub fn now(&self) -> Moment {
        Moment(self.born.micros().div_euclid(1000))
    }

    /// The run's time in milliseconds, where it goes on by itself.
    pub fn run_time(&self) -> Option<f64> {
        // Far below 2^53 microseconds.
        #[expect(clippy::cast_precision_loss, reason = "a run is no 285 years long")]
        self.clock.get().map(|clock| clock.micros() as f64 / 1000.0)
    }

    /// The run's time goes on from here.
    pub fn keep_time(&self, clock: Beginning) {
        // The first one counts; a run has one beginning.
        let _ = self.clock.set(clock);
    }

    /// Presses go here from now on.
    pub fn attach(&self, to: Inbox) {
        let _ = self.to_run.set(to);
    }

    /// Tells the run, where one is attached.
    pub fn tell(&self, news: News) -> bool {
        match self.to_run.get() {
            Some(to) => {
                match news {
                    sent @ News::Sent(..) => to.put(Happening::Page(sent)),
                    pages @ News::Pages(_) => to.tell(Happening::Page(pages)),
                }
                true
            }
            None => false,
        }
    }

    /// The open pages.
    pub fn pages(&self) -> MutexGuard<'_, Pages> {
        lock(&self.pages)
    }

    /// Lets every page know that something changed among them.
    pub fn pages_have_changed(&self) {
        self.pages_changed.send_modify(|version| *version += 1);
    }

    /// Somebody has pressed on a page for the first time.
    pub fn begin(&self) {
        self.begun.store(true, Ordering::Relaxed);
    }

    /// Whether somebody has.
    pub fn is_begun(&self) -> bool {
        self.begun.load(Ordering::Relaxed)
    }

    /// How the pages are now.
    pub fn around(&self) -> Around {
        let (pages, now) = (self.pages(), self.now());
        Around {
            troubles: pages.troubles(now),
            present: pages.present(now),
            led: pages.is_led(now),
        }
    }

    /// A connection has come.
    pub fn come(self: &Arc<Room>, from: IpAddr) -> Arc<Seat> {
        let familiar = self.pages().knows(from);
        let mut door = lock(&self.door);
        let (id, out) = door.places.come(from, familiar);
        let kick = Arc::new(Notify::new());
        door.kicks.insert(id, Arc::clone(&kick));
        door.kick(out);
        Arc::new(Seat { room: Arc::clone(self), id, from, kick })
    }

    /// A wrong try from there: what it is answered by.
    pub fn wrong_try(&self, from: IpAddr) -> Refused {
        let second = self.now().0.div_euclid(1000);
        let mut door = lock(&self.door);
        if door.second != second {
            door.second = second;
            door.tries.clear();
        }
        if door.tries.len() >= COUNTED && !door.tries.contains_key(&from) {
            return Refused::TooMany;
        }
        let tries = door.tries.entry(from).or_insert(0);
        *tries += 1;
        if *tries > TRIES { Refused::TooMany } else { Refused::NotFound }
    }

    /// The places of a replay to go to; none where it is none.
    pub fn places(&self) -> Arc<[PlaceOn]> {
        let published = self.published.borrow();
        let head = published.picture.head.as_ref();
        head.map_or_else(|| Arc::from([]), |head| Arc::clone(&head.places))
    }

    /// Brings what stands on the pages up to what the run published; a picture like the one before
    /// changes nothing.
    pub fn stand(&self) {
        let published = Arc::clone(&self.published.borrow());
        let picture = &published.picture;
        let shown = &picture.shown;
        let answers = if shown.answers.is_empty() { &picture.offers } else { &shown.answers };
        let asks = picture.head.as_ref().and_then(|head| head.asks.as_ref());
        let now = Turn {
            stage: shown.stage,
            means: shown.means,
            question: shown.question.clone(),
            answers: answers.clone(),
            held: shown.hold == Hold::Held,
            outcomes: published.outcomes,
            drill: asks.and_then(|asks| Some(asks.progress.clone() + asks.question.as_ref()?)),
        };
        let mut turn = lock(&self.turn);
        let number = match &*turn {
            Some((before, number)) if *before == now => *number,
            Some((_, number)) => *number + 1,
            None => 1,
        };
        *turn = Some((now, number));
        let types = asks.is_some_and(|asks| asks.types && asks.question.is_some());
        let stand = Stand {
            turn: number,
            helper: shown.who.is_some(),
            text: wants_text(shown) || types,
            replay: picture.head.is_some(),
        };
        let card = card(picture, &self.setting);
        let at = self.clock.get().is_none().then_some(picture.at.0);
        let json = Whole { turn: number, at, readable: self.readable, card };
        // Plain texts and numbers, for which serde_json cannot fail.
        let json = serde_json::to_string(&json).unwrap_or_default();
        let new = Standing { json, stand };
        self.standing.send_if_modified(|standing| {
            let differs = standing.json != new.json;
            if differs {
                *standing = Arc::new(new);
            }
            differs
        });
    }
}

/// A card as it is sent.
#[derive(serde::Serialize)]
struct Whole {
    turn: u64,
    /// The moment that the figure is true for, where time does not go on by itself.
    at: Option<i64>,
    /// Whether others can read along.
    readable: bool,
    #[serde(flatten)]
    card: Card,
}

impl Door {
    fn kick(&mut self, out: Option<Id>) {
        if let Some(kick) = out.and_then(|id| self.kicks.remove(&id)) {
            kick.notify_one();
        }
    }
}

/// A connection's place; gone with it.
pub(super) struct Seat {
    pub room: Arc<Room>,
    pub from: IpAddr,
    id: Id,
    kick: Arc<Notify>,
}

impl Seat {
    /// Waits until this connection must make room.
    pub async fn kicked(&self) {
        self.kick.notified().await;
    }

    /// This connection must go.
    pub fn leave(&self) {
        self.kick.notify_one();
    }

    /// A valid session of this page came over it.
    pub fn prove(&self, page: u32) {
        let mut door = lock(&self.room.door);
        let out = door.places.prove(self.id, page);
        door.kick(out);
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        let mut door = lock(&self.room.door);
        door.places.go(self.id);
        door.kicks.remove(&self.id);
    }
}

/// Every way in which our own address is written in `Host`.
fn authorities(address: SocketAddr, https: bool) -> Vec<String> {
    let port = address.port();
    let mut names = vec![address.to_string()];
    if address.ip().is_loopback() {
        names.push(format!("localhost:{port}"));
    }
    // The scheme's own port is left out by browsers.
    if port == if https { 443 } else { 80 } {
        let bare: Vec<_> = names
            .iter()
            .filter_map(|name| name.rsplit_once(':'))
            .map(|(n, _)| n.to_owned())
            .collect();
        names.splice(0..0, bare);
    }
    names
}
