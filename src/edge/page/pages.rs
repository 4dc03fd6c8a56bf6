//! The pages that were opened: takes what each says of itself and sends, gives who may press and what
//! the other faces are told. Pure bookkeeping, no socket; moments are those of the server.

use std::net::IpAddr;

use serde::Deserialize;

use super::secret::Secret;
use crate::clock::{Millis, Moment};
use crate::edge::keymap::REPEAT;
use crate::edge::keys::Meant;
use crate::faces::page::status::{Role, Sound, Status, present, trouble};
use crate::guide::cue::Press;
use crate::journal::entry::Sender;

/// Pages at once.
const MOST: usize = 8;
/// A page of which nothing was heard for so long is missing: it says how it is every second.
const MISSING: Millis = Millis(3500);
/// A page whose stream has ended and that has not come back for so long is gone: a reload takes a second
/// or two, on a slow phone (the project's own choice).
const GONE: Millis = Millis(4000);
/// A page that led and of which nothing was heard for so long leaves its place to the next.
const LAPSED: Millis = Millis(10_000);
/// A page that never said anything makes room for another after this.
const MUTE: Millis = Millis(30_000);
/// The longest text that is typed, in characters.
const LONGEST_TEXT: usize = 200;

/// How a page says it is.
#[derive(Clone, Debug, Default, Deserialize)]
pub struct Said {
    /// Whether it can be seen.
    pub visible: bool,
    /// `off`, `on`, `interrupted`.
    #[serde(default)]
    pub sound: String,
    /// Whether somebody has pressed there.
    #[serde(default)]
    pub armed: bool,
}

/// What a page sends.
#[derive(Clone, Debug, Deserialize)]
pub struct Sent {
    /// Which press: `done`, `answer`, `else`, `slip`, `again`, `back`, `hold`, `stop`, `typed`, `move`.
    pub press: String,
    /// Which answer.
    #[serde(default)]
    pub number: u8,
    /// What was typed, or where a replay is to go.
    #[serde(default)]
    pub text: String,
    /// The turn that stood on the page when it was pressed.
    pub turn: u64,
    /// The number of the tap, ever growing on one page.
    pub tap: u64,
}

/// Why a press is not handed on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotTaken {
    /// This page only watches.
    Watches,
    /// It is not the helper's turn.
    NotHelper,
    /// It was for what stood there before.
    Old,
    /// The same again at once: a double tap.
    Twice,
    /// No such press.
    Unknown,
}

impl NotTaken {
    /// A word for the page.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            NotTaken::Watches => "watches",
            NotTaken::NotHelper => "not-helper",
            NotTaken::Old => "old",
            NotTaken::Twice => "twice",
            NotTaken::Unknown => "unknown",
        }
    }
}

/// What stands on the pages, as far as presses care.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Stand {
    /// Grows whenever a press would mean something else.
    pub turn: u64,
    /// Whether the helper acts.
    pub helper: bool,
    /// Whether a text is asked.
    pub text: bool,
    /// Whether it is a replay, which can be moved.
    pub replay: bool,
}

/// One page.
#[derive(Debug)]
struct Page {
    number: u32,
    session: Secret,
    key: Secret,
    from: IpAddr,
    role: Role,
    visible: bool,
    sound: Sound,
    /// Whether it was tapped for the first time, before a reload too.
    armed: bool,
    /// Whether its sound was wanted last.
    aloud: bool,
    /// Whether it has said anything.
    begun: bool,
    heard: Moment,
    /// How many of its streams are open; after a reload there may be two for a moment.
    streams: u32,
    /// When the last one ended.
    left: Moment,
    /// The last press that was taken, and when.
    last: Option<(String, Moment)>,
    /// The last tap and what became of it.
    tap: Option<(u64, Result<(), NotTaken>)>,
}

/// All pages.
#[derive(Debug, Default)]
pub struct Pages {
    open: Vec<Page>,
    next: u32,
}

impl Pages {
    /// Opens a page for whoever showed the token. `None` where there are too many.
    ///
    /// # Errors
    /// Where no random numbers can be had.
    pub fn open(&mut self, from: IpAddr, now: Moment) -> std::io::Result<Option<u32>> {
        if self.open.len() >= MOST {
            let gone = |page: &Page| {
                let quiet = now.since(page.heard);
                quiet > if page.begun { LAPSED } else { MUTE }
            };
            let Some(at) = self.open.iter().position(gone) else { return Ok(None) };
            self.open.remove(at);
        }
        let page = Page {
            number: self.next + 1,
            session: Secret::draw()?,
            key: Secret::draw()?,
            from,
            role: Role::Watches,
            visible: true,
            sound: Sound::Off,
            armed: false,
            aloud: false,
            begun: false,
            heard: now,
            streams: 0,
            left: now,
            last: None,
            tap: None,
        };
        self.next += 1;
        self.open.push(page);
        Ok(Some(self.next))
    }

    /// The page with this session. Every session is compared, so that the time tells nothing.
    #[must_use]
    pub fn of_session(&self, session: &str) -> Option<u32> {
        self.open.iter().fold(None, |found, page| match page.session.is(session) {
            true => Some(page.number),
            false => found,
        })
    }

    fn get(&self, number: u32) -> Option<&Page> {
        self.open.iter().find(|page| page.number == number)
    }

    fn get_mut(&mut self, number: u32) -> Option<&mut Page> {
        self.open.iter_mut().find(|page| page.number == number)
    }

    /// A page's session and key.
    #[must_use]
    pub fn secrets(&self, number: u32) -> Option<(&Secret, &Secret)> {
        self.get(number).map(|page| (&page.session, &page.key))
    }

    /// Whether a page was opened from there.
    #[must_use]
    pub fn knows(&self, address: IpAddr) -> bool {
        self.open.iter().any(|page| page.from == address)
    }

    /// A page's role.
    #[must_use]
    pub fn role(&self, number: u32) -> Option<Role> {
        self.get(number).map(|page| page.role)
    }

    /// The page that leads.
    #[must_use]
    pub fn leader(&self) -> Option<u32> {
        self.open.iter().find(|page| page.role == Role::Leads).map(|page| page.number)
    }

    /// Whether anybody can press on a page right now.
    #[must_use]
    pub fn is_led(&self, now: Moment) -> bool {
        let there = |page: &Page| !page.is_missing(now, MISSING) && !page.is_gone(now);
        self.open.iter().any(|page| page.role == Role::Leads && there(page))
    }

    /// Whether the page that leads is gone, so that another may well take the lead.
    #[must_use]
    pub fn leader_is_gone(&self, now: Moment) -> bool {
        self.open.iter().any(|page| page.role == Role::Leads && page.is_gone(now))
    }

    /// Whether a page was tapped for the first time, and whether its sound was wanted then: what it has
    /// to know after a reload.
    #[must_use]
    pub fn was_tapped(&self, number: u32) -> (bool, bool) {
        self.get(number).map_or((false, false), |page| (page.armed, page.aloud))
    }

    /// A stream to a page begins.
    pub fn stream_begins(&mut self, number: u32) {
        if let Some(page) = self.get_mut(number) {
            page.streams = page.streams.saturating_add(1);
        }
    }

    /// A stream to a page has ended: it was closed, is loaded anew, or its phone sleeps.
    pub fn stream_ends(&mut self, number: u32, now: Moment) {
        if let Some(page) = self.get_mut(number) {
            page.streams = page.streams.saturating_sub(1);
            page.left = now;
        }
    }

    /// A page says how it is. The first one leads, and a new one where the one that led has lapsed.
    pub fn say(&mut self, number: u32, said: &Said, now: Moment) {
        let free = !self.open.iter().any(|page| {
            let there = !page.is_missing(now, LAPSED) && !page.is_gone(now);
            page.role == Role::Leads && page.number != number && there
        });
        let Some(page) = self.get_mut(number) else { return };
        page.visible = said.visible;
        page.sound = match said.sound.as_str() {
            "on" => Sound::On,
            "interrupted" => Sound::Interrupted,
            _ => Sound::Off,
        };
        page.armed |= said.armed;
        if said.armed {
            page.aloud = page.sound != Sound::Off;
        }
        page.heard = now;
        let first = !std::mem::replace(&mut page.begun, true);
        if first && free {
            self.take_role(number, Role::Leads);
        }
    }

    /// Gives a page a role; whoever led before watches.
    pub fn take_role(&mut self, number: u32, role: Role) {
        for page in &mut self.open {
            if page.number == number {
                page.role = role;
            } else if role == Role::Leads && page.role == Role::Leads {
                page.role = Role::Watches;
            }
        }
    }

    /// A press from a page: what it means and who sent it, `None` for a tap that came a second time.
    ///
    /// # Errors
    /// [`NotTaken`].
    pub fn press(
        &mut self,
        number: u32,
        sent: &Sent,
        stand: Stand,
        now: Moment,
    ) -> Result<Option<(Meant, Sender)>, NotTaken> {
        let Some(page) = self.get_mut(number) else { return Err(NotTaken::Unknown) };
        page.heard = now;
        match page.tap {
            // A browser may send again what got lost on its way back.
            Some((tap, before)) if tap == sent.tap => return before.map(|()| None),
            Some((tap, _)) if sent.tap < tap => return Err(NotTaken::Old),
            _ => {}
        }
        let taken = page.meant(sent, stand, now);
        page.tap = Some((sent.tap, taken.as_ref().map(|_| ()).map_err(|why| *why)));
        if taken.is_ok() {
            page.last = Some((sent.press.clone(), now));
        }
        let from = Sender { page: number, helper: page.role == Role::Helps };
        taken.map(|meant| Some((meant, from)))
    }

    /// How the pages are that have said anything.
    #[must_use]
    pub fn statuses(&self, now: Moment) -> Vec<Status> {
        let begun = self.open.iter().filter(|page| page.begun);
        let status = |page: &Page| Status {
            page: page.number,
            role: page.role,
            gone: page.is_gone(now),
            missing: page.is_missing(now, MISSING) && page.visible,
            hidden: !page.visible,
            sound: page.sound,
        };
        begun.map(status).collect()
    }

    /// What is wrong with pages on which somebody presses.
    #[must_use]
    pub fn troubles(&self, now: Moment) -> Vec<String> {
        self.statuses(now).into_iter().filter_map(trouble).collect()
    }

    /// Who is there.
    #[must_use]
    pub fn present(&self, now: Moment) -> Option<String> {
        present(&self.statuses(now))
    }
}

impl Page {
    fn is_missing(&self, now: Moment, after: Millis) -> bool {
        now.since(self.heard) > after
    }

    /// Whether it has no stream and says nothing, for longer than a reload takes.
    fn is_gone(&self, now: Moment) -> bool {
        self.streams == 0 && now.since(self.left) > GONE && self.is_missing(now, GONE)
    }

    fn meant(&self, sent: &Sent, stand: Stand, now: Moment) -> Result<Meant, NotTaken> {
        let press = match sent.press.as_str() {
            "done" => Press::Done,
            "answer" if (1..=9).contains(&sent.number) => Press::Answer(sent.number),
            "else" => Press::SomethingElse,
            "slip" => Press::Slip,
            "again" => Press::SayAgain,
            "back" => Press::TakeBack,
            "hold" => Press::Hold,
            "stop" => Press::Stop,
            // Strokes of a count come quickly, and whatever stands there.
            "act" => return self.may(Press::Done, stand).map(|()| Meant::Touch),
            "move" => {
                self.may(Press::Done, stand)?;
                return moved(sent, stand);
            }
            "typed" => {
                self.may(Press::Done, stand)?;
                return typed(sent, stand);
            }
            _ => return Err(NotTaken::Unknown),
        };
        self.may(press, stand)?;
        let again = self
            .last
            .as_ref()
            .is_some_and(|(last, at)| *last == sent.press && now.since(*at) < REPEAT);
        if again {
            return Err(NotTaken::Twice);
        }
        // What these mean does not depend on what stands there.
        let always = matches!(press, Press::SayAgain | Press::Hold | Press::Stop);
        if sent.turn != stand.turn && !always {
            return Err(NotTaken::Old);
        }
        Ok(Meant::Press(press))
    }

    fn may(&self, press: Press, stand: Stand) -> Result<(), NotTaken> {
        match self.role {
            Role::Leads => Ok(()),
            Role::Watches => Err(NotTaken::Watches),
            Role::Helps => {
                let reports = matches!(
                    press,
                    Press::Done | Press::Answer(_) | Press::SomethingElse | Press::Slip
                );
                match press {
                    Press::SayAgain => Ok(()),
                    _ if reports && stand.helper => Ok(()),
                    _ => Err(NotTaken::NotHelper),
                }
            }
        }
    }
}

/// A move of a replay: it means the same whatever stands there, and comes as often as a finger slides.
fn moved(sent: &Sent, stand: Stand) -> Result<Meant, NotTaken> {
    let text: String = sent.text.chars().filter(|c| !c.is_control()).take(LONGEST_TEXT).collect();
    match text.trim() {
        text if stand.replay && !text.is_empty() => Ok(Meant::Moved(text.to_owned())),
        _ => Err(NotTaken::Unknown),
    }
}

fn typed(sent: &Sent, stand: Stand) -> Result<Meant, NotTaken> {
    if sent.turn != stand.turn || !stand.text {
        return Err(NotTaken::Old);
    }
    let text: String = sent.text.chars().filter(|c| !c.is_control()).take(LONGEST_TEXT).collect();
    match text.trim() {
        "" => Err(NotTaken::Unknown),
        text => Ok(Meant::Typed(text.to_owned())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOME: IpAddr = IpAddr::V4(std::net::Ipv4Addr::LOCALHOST);

    fn pages(n: usize) -> Pages {
        let mut pages = Pages::default();
        for _ in 0..n {
            let number = pages.open(HOME, Moment(0)).unwrap().unwrap();
            pages.say(number, &Said { visible: true, ..Said::default() }, Moment(0));
        }
        pages
    }

    fn sent(press: &str, turn: u64, tap: u64) -> Sent {
        Sent { press: press.to_owned(), number: 2, text: " 12.6\u{7} ".to_owned(), turn, tap }
    }

    const STAND: Stand = Stand { turn: 7, helper: false, text: false, replay: false };

    #[track_caller]
    fn check(pages: &mut Pages, sent: &Sent, at: i64, wanted: &Result<Option<Meant>, NotTaken>) {
        let taken = pages.press(1, sent, STAND, Moment(at));
        assert_eq!(taken.map(|taken| taken.map(|(meant, _)| meant)), *wanted);
    }

    #[test]
    fn a_double_tap_and_a_tap_sent_again_count_once() {
        let mut pages = pages(1);
        let done = Ok(Some(Meant::Press(Press::Done)));
        check(&mut pages, &sent("done", 7, 1), 0, &done);
        check(&mut pages, &sent("done", 7, 1), 40, &Ok(None));
        check(&mut pages, &sent("done", 7, 2), 300, &Err(NotTaken::Twice));
        check(&mut pages, &sent("done", 7, 2), 2000, &Err(NotTaken::Twice));
        check(&mut pages, &sent("done", 7, 3), 700, &done);
        check(&mut pages, &sent("done", 7, 1), 5000, &Err(NotTaken::Old));
        check(&mut pages, &sent("answer", 7, 9), 5000, &Ok(Some(Meant::Press(Press::Answer(2)))));
    }

    #[test]
    fn a_press_for_what_stood_there_before_is_not_taken() {
        let mut pages = pages(1);
        for (tap, press) in (1..).zip(["done", "answer", "else", "slip", "back", "typed"]) {
            check(&mut pages, &sent(press, 6, tap), 0, &Err(NotTaken::Old));
        }
        for (tap, (name, press)) in
            (10..).zip([("hold", Press::Hold), ("stop", Press::Stop), ("again", Press::SayAgain)])
        {
            check(&mut pages, &sent(name, 6, tap), 0, &Ok(Some(Meant::Press(press))));
        }
        check(&mut pages, &sent("wink", 7, 20), 0, &Err(NotTaken::Unknown));
    }

    #[test]
    fn a_text_is_taken_where_one_is_asked_and_made_plain() {
        let mut pages = pages(1);
        let stand = Stand { text: true, ..STAND };
        let taken = pages.press(1, &sent("typed", 7, 1), stand, Moment(0)).unwrap().unwrap();
        assert_eq!(taken.0, Meant::Typed("12.6".to_owned()));
        assert_eq!(taken.1, Sender { page: 1, helper: false });
    }

    #[test]
    fn only_a_replay_is_moved_and_as_often_as_a_finger_slides() {
        let mut pages = pages(2);
        let slide = |tap| Sent { text: "65s\u{7}".to_owned(), ..sent("move", 0, tap) };
        check(&mut pages, &slide(1), 0, &Err(NotTaken::Unknown));
        let stand = Stand { replay: true, ..STAND };
        for tap in 2..9 {
            let taken = pages.press(1, &slide(tap), stand, Moment(0)).unwrap().unwrap();
            assert_eq!(taken.0, Meant::Moved("65s".to_owned()));
        }
        let taken = pages.press(2, &slide(1), stand, Moment(0));
        assert_eq!(taken, Err(NotTaken::Watches));
    }

    #[test]
    fn one_page_leads_and_another_may_take_over() {
        let mut pages = pages(2);
        assert_eq!(pages.leader(), Some(1));
        let press = |pages: &mut Pages, page, tap| {
            pages.press(page, &sent("done", 7, tap), STAND, Moment(0)).map(|taken| taken.is_some())
        };
        assert_eq!(press(&mut pages, 2, 1), Err(NotTaken::Watches));
        pages.take_role(2, Role::Leads);
        assert_eq!(press(&mut pages, 2, 2), Ok(true));
        assert_eq!(press(&mut pages, 1, 3), Err(NotTaken::Watches));
        assert_eq!(pages.leader(), Some(2));
    }

    #[test]
    fn the_helper_reports_the_helpers_steps_only() {
        let mut pages = pages(2);
        pages.take_role(2, Role::Helps);
        let mut press = |name: &str, helper, tap| {
            let stand = Stand { helper, ..STAND };
            let taken = pages.press(2, &sent(name, 7, tap), stand, Moment(0));
            taken.map(|taken| taken.map(|(_, from)| from.helper))
        };
        assert_eq!(press("done", false, 1), Err(NotTaken::NotHelper));
        assert_eq!(press("done", true, 2), Ok(Some(true)));
        assert_eq!(press("stop", true, 3), Err(NotTaken::NotHelper));
        assert_eq!(press("again", false, 4), Ok(Some(true)));
    }

    #[test]
    fn a_page_that_is_gone_leaves_its_place() {
        let mut pages = pages(1);
        assert!(pages.is_led(Moment(3000)) && !pages.is_led(Moment(4000)));
        assert_eq!(pages.troubles(Moment(4000)).len(), 1);
        let hidden = Said { visible: false, sound: "on".to_owned(), armed: true };
        pages.stream_begins(1);
        pages.say(1, &hidden, Moment(5000));
        assert!(pages.troubles(Moment(60_000)).concat().contains("hidden"));
        let two = pages.open(HOME, Moment(60_000)).unwrap().unwrap();
        pages.say(two, &Said { visible: true, ..Said::default() }, Moment(60_000));
        assert_eq!(pages.leader(), Some(2));
        assert_eq!(pages.role(1), Some(Role::Watches));
    }

    #[test]
    fn a_leader_that_was_closed_is_gone_and_a_reload_keeps_the_lead() {
        let mut pages = pages(1);
        let said = |visible, armed| Said { visible, sound: "on".to_owned(), armed };
        pages.stream_begins(1);
        pages.say(1, &said(true, true), Moment(20_000));
        // A reload: hidden, the stream ends, and begins anew.
        pages.say(1, &said(false, true), Moment(20_900));
        pages.stream_ends(1, Moment(21_000));
        pages.stream_begins(1);
        let silent = Said { visible: true, ..Said::default() };
        pages.say(1, &silent, Moment(23_000));
        assert_eq!((pages.leader(), pages.leader_is_gone(Moment(23_000))), (Some(1), false));
        assert_eq!(pages.was_tapped(1), (true, true));
        // Closed: it says that it is hidden, and then nothing more.
        pages.say(1, &said(false, true), Moment(29_900));
        pages.stream_ends(1, Moment(30_000));
        assert!(pages.troubles(Moment(34_000)).concat().contains("hidden"));
        let told = pages.troubles(Moment(34_001));
        assert!(told.concat().starts_with("the phone that leads is gone"), "{told:?}");
        assert!(pages.leader_is_gone(Moment(34_001)) && !pages.is_led(Moment(34_001)));
        assert_eq!(pages.present(Moment(34_001)), None);
        // The next page leads at once; where the first one comes back, it watches.
        let two = pages.open(HOME, Moment(35_000)).unwrap().unwrap();
        pages.say(two, &silent, Moment(35_000));
        assert_eq!(pages.leader(), Some(2));
        assert_eq!(pages.troubles(Moment(36_000)), Vec::<String>::new());
        pages.stream_begins(1);
        pages.say(1, &silent, Moment(36_000));
        assert_eq!(pages.present(Moment(36_000)).unwrap(), "page 1 watches, page 2 leads");
    }

    #[test]
    fn a_watcher_that_was_closed_is_forgotten_and_one_that_sleeps_is_not() {
        let mut pages = pages(3);
        for number in 1..=3 {
            pages.stream_begins(number);
            let said = Said { visible: number == 1, ..Said::default() };
            pages.say(number, &said, Moment(1000));
        }
        pages.stream_ends(3, Moment(1000));
        let mut at = |now| {
            pages.say(1, &Said { visible: true, ..Said::default() }, Moment(now));
            pages.present(Moment(now)).unwrap()
        };
        assert_eq!(at(5000), "page 1 leads, page 2 watches, page 3 watches");
        assert_eq!(at(5001), "page 1 leads, page 2 watches");
        assert_eq!(at(60_000), "page 1 leads, page 2 watches");
    }

    #[test]
    fn there_are_eight_pages_at_most_and_those_that_are_gone_make_room() {
        let mut pages = pages(MOST);
        assert_eq!(pages.open(HOME, Moment(1000)).unwrap(), None);
        for number in 2..=8 {
            pages.say(number, &Said { visible: true, ..Said::default() }, Moment(15_000));
        }
        assert_eq!(pages.open(HOME, Moment(15_001)).unwrap(), Some(9));
        assert!(pages.secrets(1).is_none() && pages.secrets(9).is_some());
        let session = pages.secrets(9).unwrap().0.written();
        assert_eq!(pages.of_session(&session), Some(9));
        assert_eq!(pages.of_session("x"), None);
    }
}
