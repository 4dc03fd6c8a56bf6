//! The loudspeaker: takes tones and words from the run without ever making it wait, gives them to a
//! player from a thread of its own, behind a bounded queue. A player that fails is told of; it is started
//! once more, then the next one. What should have sounded meanwhile does not: it would be late.

use std::collections::VecDeque;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, SyncSender, TryRecvError, sync_channel};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use super::player::{Known, Player, found};
use crate::faces::mix::Mixer;
use crate::faces::sounds::{Sounds, ending_tone};
use crate::faces::tones::Register;
use crate::faces::voicing::{Bank, Own};
use crate::faces::words::Banner;
use crate::journal::entry::EndingClass;
use crate::journal::happened::{Cue, Tone};

/// Samples a second where nothing is spoken.
const RATE: u32 = 22_050;
/// So many orders may wait for the thread.
const ORDERS: usize = 64;
/// A player that does not play by then is passed over.
const PATIENCE: Duration = Duration::from_secs(6);
/// Whoever waits for what still sounds waits so long.
const LAST_WORDS: Duration = Duration::from_secs(4);
/// What still sounds at the end is cut after so long.
const LONGEST_END: Duration = Duration::from_secs(15);
/// What came while there was no player for so long is left out.
const TOO_LATE: Duration = Duration::from_millis(150);
/// A player that has played for so long is started once more.
const PLAYED: Duration = Duration::from_secs(60);
/// More often than this no player is started anew in one run.
const MOST_ANEW: usize = 6;

/// What the thread is told.
enum Order {
    Ring(Tone, Option<Arc<[i16]>>),
    Say(Cue, Arc<[i16]>),
    TimeIsUp(Arc<[i16]>),
}

/// What the thread tells.
#[derive(Debug, Default)]
struct Told {
    settled: bool,
    /// What befell the sound, not told yet.
    news: VecDeque<String>,
    trouble: Option<String>,
    over: bool,
}

type Shared = Arc<(Mutex<Told>, Condvar)>;

fn lock(shared: &Shared) -> MutexGuard<'_, Told> {
    shared.0.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What is needed to make sounds.
#[derive(Clone, Debug)]
pub struct Wanted<'a> {
    /// Where programs lie.
    pub search: Option<&'a OsStr>,
    /// Only the player of this name; `None`: the first that plays.
    pub player: Option<&'a str>,
    /// The player that is tried first.
    pub first: Option<&'a str>,
    /// What can be spoken; `None`: only tones.
    pub bank: Option<Arc<Bank>>,
    /// What this is, if not the real thing.
    pub banners: &'a [Banner],
    /// Where files for a player may lie.
    pub temporary: &'a Path,
}

/// A player at work, behind its queue.
#[derive(Debug)]
pub struct Speaker {
    orders: Option<SyncSender<Order>>,
    shared: Shared,
    bank: Option<Arc<Bank>>,
    player: &'static str,
    told: bool,
}

/// No player plays: each that was tried, and why it does not.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct NoPlayer(pub Vec<String>);

impl Speaker {
    /// Starts the first player that plays; waits until it does.
    ///
    /// # Errors
    /// [`NoPlayer`], with a reason for each that was found.
    pub fn start(wanted: &Wanted<'_>) -> Result<Speaker, NoPlayer> {
        let mut failed = NoPlayer::default();
        let is_wanted = |known: &Known| wanted.player.is_none_or(|name| name == known.name);
        let mut players = found(wanted.search);
        players.retain(|(known, _)| is_wanted(known));
        players.sort_by_key(|(known, _)| wanted.first != Some(known.name));
        for (nth, (known, program)) in players.iter().cloned().enumerate() {
            let rate = wanted.bank.as_ref().map_or(RATE, |bank| bank.rate);
            let player = Player::start(known, &program, rate, wanted.temporary);
            let next = VecDeque::from_iter(players.iter().skip(nth).cloned());
            let anew = Anew { next, rate, temporary: wanted.temporary.to_owned(), often: 0 };
            match player.and_then(|player| Speaker::with(player, anew, wanted)) {
                Ok(speaker) => return Ok(speaker),
                Err(why) => failed.0.push(why),
            }
        }
        Err(failed)
    }

    fn with(player: Player, mut anew: Anew, wanted: &Wanted<'_>) -> Result<Speaker, String> {
        let practice = !wanted.banners.is_empty();
        let register = if practice { Register::Practice } else { Register::Real };
        let mut mixer = Mixer::new(register, anew.rate);
        let name = player.name();
        let (orders, queue) = sync_channel(ORDERS);
        let shared = Shared::default();
        let work = Arc::clone(&shared);
        let bank = wanted.bank.clone();
        let signs: Vec<_> = wanted
            .banners
            .iter()
            .filter_map(|banner| bank.as_ref()?.own(Own::sign(*banner)))
            .collect();
        if practice && signs.is_empty() {
            mixer.ring(Tone::Prepare, None);
        }
        signs.into_iter().for_each(|sign| mixer.sign(sign));
        std::thread::Builder::new()
            .name("speaker".to_owned())
            .spawn(move || {
                let trouble = play(player, mixer, &queue, &work, &mut anew).err();
                let mut told = lock(&work);
                told.over = true;
                told.trouble = trouble;
                work.1.notify_all();
            })
            .map_err(|why| format!("no thread for {name}: {why}"))?;
        let speaker = Speaker { orders: Some(orders), shared, bank, player: name, told: false };
        let waits = |told: &mut Told| !told.settled && !told.over;
        let (told, _) = speaker
            .shared
            .1
            .wait_timeout_while(lock(&speaker.shared), PATIENCE, waits)
            .unwrap_or_else(PoisonError::into_inner);
        match (&told.trouble, told.settled) {
            (Some(why), _) => Err(why.clone()),
            (None, true) => {
                drop(told);
                Ok(speaker)
            }
            (None, false) => Err(format!("{name} does not begin to play")),
        }
    }

    /// The player's name.
    #[must_use]
    pub fn player(&self) -> &'static str {
        self.player
    }

    fn order(&mut self, order: Order) {
        if let Some(orders) = &self.orders {
            // A full queue means that the player has hung; the thread tells of that by itself.
            let _ = orders.try_send(order);
        }
    }

    fn own(&self, own: Own) -> Option<Arc<[i16]>> {
        self.bank.as_ref()?.own(own)
    }
}

impl Sounds for Speaker {
    fn ring(&mut self, tone: Tone) {
        let words = match tone {
            Tone::TenLeft => self.own(Own::Ten),
            Tone::FiveLeft => self.own(Own::Five),
            _ => None,
        };
        self.order(Order::Ring(tone, words));
    }

    fn say(&mut self, cue: Cue, words: &str) {
        let known = self.bank.as_ref().and_then(|bank| bank.text(words));
        // Only what the script says is known before the run; the rest is trouble of the program itself.
        let known = known.or_else(|| self.own(Own::Trouble).filter(|_| cue == Cue::Notice));
        if let Some(words) = known {
            self.order(Order::Say(cue, words));
        }
    }

    fn vehicle(&mut self, words: &str) {
        if let Some(words) = self.bank.as_ref().and_then(|bank| bank.text(words)) {
            self.order(Order::Say(Cue::Notice, words));
        }
    }

    fn time_is_up(&mut self) {
        if let Some(words) = self.own(Own::TimeIsUp) {
            self.order(Order::TimeIsUp(words));
        }
    }

    fn trouble(&mut self) -> Option<String> {
        let mut told = lock(&self.shared);
        if let Some(news) = told.news.pop_front() {
            return Some(news);
        }
        let why = told.trouble.clone().filter(|_| !self.told)?;
        drop(told);
        self.told = true;
        Some(format!("the sound no longer works: {why}"))
    }

    fn ended(&mut self, class: EndingClass, text: Option<&str>) {
        let text = text.and_then(|text| self.bank.as_ref()?.text(text));
        match self.own(Own::ended(class)) {
            Some(words) => self.order(Order::Say(Cue::Prepare, words)),
            None => self.order(Order::Ring(ending_tone(class), None)),
        }
        if let Some(text) = text {
            self.order(Order::Say(Cue::Notice, text));
        }
    }

    fn takes_time(&self) -> bool {
        true
    }

    fn still_sounds(&mut self) -> bool {
        self.orders = None;
        !lock(&self.shared).over
    }

    fn finish(&mut self) {
        self.orders = None;
        let waits = |told: &mut Told| !told.over;
        let done = self.shared.1.wait_timeout_while(lock(&self.shared), LAST_WORDS, waits);
        drop(done);
    }
}

impl Drop for Speaker {
    fn drop(&mut self) {
        self.orders = None;
    }
}

/// What is needed to go on with another player.
struct Anew {
    /// The one at work, then those that were not tried yet.
    next: VecDeque<(Known, PathBuf)>,
    rate: u32,
    temporary: PathBuf,
    /// How often that was done.
    often: usize,
}

impl Anew {
    /// Another player in the place of one that has failed.
    fn player(&mut self) -> Option<Player> {
        while self.often < MOST_ANEW {
            let (known, program) = self.next.pop_front()?;
            self.often += 1;
            if let Ok(player) = Player::start(known, &program, self.rate, &self.temporary) {
                return Some(player);
            }
        }
        None
    }
}

/// Plays, by one player after the other if need be.
fn play(
    mut player: Player,
    mut mixer: Mixer,
    queue: &Receiver<Order>,
    shared: &Shared,
    anew: &mut Anew,
) -> Result<(), String> {
    loop {
        let Err(why) = serve(&mut player, &mut mixer, queue, shared) else {
            player.finish();
            return Ok(());
        };
        let gone = Instant::now();
        let quiet = player.quiet();
        if !lock(shared).settled {
            return Err(why);
        }
        if player.age() > PLAYED {
            anew.next.push_front(player.program());
        }
        let Some(next) = anew.player() else { return Err(why) };
        player = next;
        let name = player.name();
        lock(shared).news.push_back(format!(
            "the sound stopped: {why}. It goes on by {name}; what came meanwhile is only shown"
        ));
        // Time went on without sound.
        let quiet = quiet.max(gone.elapsed()).min(PATIENCE);
        let samples = quiet.as_millis() * u128::from(anew.rate) / 1000;
        mixer.next(usize::try_from(samples).unwrap_or(0));
        if quiet > TOO_LATE {
            queue.try_iter().for_each(drop);
        }
    }
}

/// Plays until there is nobody left who orders, and what sounds has sounded.
fn serve(
    player: &mut Player,
    mixer: &mut Mixer,
    queue: &Receiver<Order>,
    shared: &Shared,
) -> Result<(), String> {
    let mut ending: Option<Instant> = None;
    loop {
        let mut changed = false;
        if ending.is_none() {
            loop {
                match queue.try_recv() {
                    Ok(order) => {
                        if !changed {
                            player.catch_up(mixer);
                        }
                        take(mixer, order);
                        changed = true;
                    }
                    Err(TryRecvError::Empty) => break,
                    Err(TryRecvError::Disconnected) => {
                        ending = Some(Instant::now());
                        break;
                    }
                }
            }
        }
        if let Some(since) = ending {
            player.catch_up(mixer);
            if mixer.is_silent() || since.elapsed() > LONGEST_END {
                return Ok(());
            }
        }
        player.feed(mixer, changed)?;
        if player.is_settled() && !lock(shared).settled {
            lock(shared).settled = true;
            shared.1.notify_all();
        }
        if player.age() > PATIENCE && !lock(shared).settled {
            player.end();
            return Err(format!("{} does not begin to play", player.name()));
        }
    }
}

fn take(mixer: &mut Mixer, order: Order) {
    match order {
        Order::Ring(tone, words) => mixer.ring(tone, words),
        Order::Say(cue, words) => mixer.say(cue, words),
        Order::TimeIsUp(words) => mixer.time_is_up(words),
    }
}
