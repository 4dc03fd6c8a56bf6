//! `ready --keys`: what is said about a foot switch, on a virtual clock and in a terminal, and what a guide
//! makes of what was kept.

use std::time::Duration;

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use proptest::prelude::*;
use stepbell::cli::ready_keys::dialog::{Dialog, Found};
use stepbell::clock::{Millis, Moment};
use stepbell::edge::dialogue::{Answers, Heard};
use stepbell::edge::keymap::KeyMap;
use stepbell::edge::keys::{Interrupts, Keyboard, Mode};

use super::pty::{Term, folder};

/// A conversation and everything that was said in it.
struct Talk {
    dialog: Dialog,
    now: Moment,
    said: Vec<String>,
}

impl Talk {
    fn new(text: &str) -> Talk {
        let map = KeyMap::parse(text).expect("keys");
        let file = Some("/home/somebody/.config/stepbell/keys".to_owned());
        let mut dialog = Dialog::new(map, text.to_owned(), file, None);
        let said = dialog.begin();
        let mut talk = Talk { dialog, now: Moment(0), said };
        talk.pass(10);
        talk
    }

    fn pass(&mut self, ms: i64) -> &mut Talk {
        let end = self.now.after(Millis(ms));
        while let Some(due) = self.dialog.due().filter(|due| *due <= end) {
            self.now = self.now.max(due);
            let said = self.dialog.wake(self.now);
            self.said.extend(said);
        }
        self.now = end;
        self
    }

    fn event(&mut self, event: KeyEvent) -> &mut Talk {
        let said = self.dialog.hear(Heard::Key(event), self.now);
        self.said.extend(said);
        self
    }

    fn press(&mut self, code: KeyCode) -> &mut Talk {
        self.event(KeyEvent::new(code, KeyModifiers::NONE))
    }

    /// Holds a key down for five seconds: so long until the first repeat, then one after each of these.
    fn hold(&mut self, code: KeyCode, first: i64, next: i64) -> &mut Talk {
        self.press(code).pass(first);
        let mut left = 5000 - first;
        while left > 0 {
            self.press(code).pass(next);
            left -= next;
        }
        self
    }

    /// Once, then held, then assigned by a digit.
    fn tried(&mut self, code: KeyCode, first: i64, next: i64, digit: char) -> &mut Talk {
        self.press(code).pass(1000).hold(code, first, next).pass(3000).press(KeyCode::Char(digit))
    }

    fn has_said(&self, part: &str) -> bool {
        self.said.iter().any(|line| line.contains(part))
    }
}

const F5: KeyCode = KeyCode::F(5);

#[test]
fn a_conversation_reads_like_this() {
    let mut talk = Talk::new("");
    talk.tried(F5, 500, 33, '1').press(KeyCode::Char('y')).pass(50);
    talk.tried(KeyCode::PageUp, 1400, 600, '0').press(KeyCode::Char('n'));
    talk.press(KeyCode::Char('y'));
    insta::assert_snapshot!(talk.said.join("\n"));
    let kept = "done+=F5,held=1900ms,repeat=800ms";
    assert_eq!(talk.dialog.found(), Found::Save(kept.to_owned()));
}

#[test]
fn what_guide_cannot_take_is_told_with_a_way_out() {
    let mut talk = Talk::new("");
    talk.pass(21_000);
    assert!(talk.has_said("Nothing has come."));
    let said = talk.dialog.hear(Heard::Click, talk.now);
    assert!(said[0].contains("mouse button"), "{said:?}");
    talk.press(KeyCode::Char('a')).pass(20).press(KeyCode::Char('b')).pass(1000);
    assert!(talk.has_said("It sends several keys: a, b."), "{:#?}", talk.said);
    talk.event(KeyEvent::new(KeyCode::Char('s'), KeyModifiers::CONTROL)).pass(1000);
    assert!(talk.has_said("It sends Ctrl with s"), "{:#?}", talk.said);
    talk.press(KeyCode::CapsLock).pass(1000);
    assert!(talk.has_said("for which guide has no name"), "{:#?}", talk.said);
    talk.press(F5).pass(1000).press(KeyCode::F(6));
    assert!(talk.has_said("That was F6. Keep F5 down."), "{:#?}", talk.said);
    // The wrong key held down is told of once, so that what to do stays on the screen.
    let said = talk.said.len();
    talk.pass(500);
    for _ in 0..100 {
        talk.press(KeyCode::F(6)).pass(33);
    }
    assert_eq!(talk.said.len(), said, "{:#?}", talk.said);
    talk.press(KeyCode::F(7));
    assert!(talk.has_said("That was F7. Keep F5 down."), "{:#?}", talk.said);
    talk.event(KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL));
    assert!(talk.dialog.is_over());
    assert_eq!(talk.dialog.found(), Found::Stopped);
}

#[test]
fn a_switch_that_sends_its_key_again_on_release_is_warned_of() {
    let mut talk = Talk::new("");
    talk.press(F5).pass(1000).press(F5).pass(4500).press(F5).pass(3000);
    assert!(talk.has_said("once more when it is let go"), "{:#?}", talk.said);
    let mut talk = Talk::new("");
    talk.press(F5).pass(1000).press(F5).pass(8000);
    assert!(talk.has_said("It sends nothing more while it is held."), "{:#?}", talk.said);
}

#[test]
fn a_switch_that_was_let_go_in_between_is_measured_once_more() {
    let mut talk = Talk::new("");
    talk.press(F5).pass(1000);
    talk.hold(F5, 500, 1300).pass(3000);
    assert!(talk.has_said("Once more: press it"), "{:#?}", talk.said);
    talk.hold(F5, 500, 33).pass(3000).press(KeyCode::Char('1')).press(KeyCode::Char('n'));
    talk.press(KeyCode::Char('y'));
    assert_eq!(talk.dialog.found(), Found::Save("done+=F5".to_owned()));

    // Twice so: what would swallow the next press of a quick foot is not kept.
    let mut talk = Talk::new("");
    talk.press(F5).pass(1000);
    talk.hold(F5, 1700, 1700).pass(3000).hold(F5, 1700, 1700).pass(3000);
    assert!(talk.has_said("Still so:"), "{:#?}", talk.said);
    talk.press(KeyCode::Char('1')).press(KeyCode::Char('n')).press(KeyCode::Char('y'));
    assert_eq!(talk.dialog.found(), Found::Save("done+=F5".to_owned()));
}

#[test]
fn keys_that_are_known_need_no_setting_and_those_that_would_leave_nothing_are_refused() {
    let mut talk = Talk::new("");
    talk.tried(KeyCode::PageDown, 500, 33, '1').press(KeyCode::Char('n'));
    assert!(talk.has_said("It sends PageDown. guide takes it as: done."), "{:#?}", talk.said);
    assert_eq!(talk.dialog.found(), Found::Nothing);

    let mut talk = Talk::new("done=F5");
    talk.tried(F5, 500, 33, '7');
    assert!(talk.has_said("`done` would be left without a key"), "{:#?}", talk.said);
    talk.press(KeyCode::Char('0')).press(KeyCode::Char('n'));
    assert_eq!(talk.dialog.found(), Found::Nothing);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever the rhythm of a held switch: once its gaps are kept, a held press counts once, and a
    /// press ten seconds later counts again.
    #[test]
    fn a_held_press_counts_once_with_what_was_kept(
        first in 60..1500_i64,
        next in 15..700_i64,
        jitter in prop::collection::vec(0..100_i64, 40),
    ) {
        let mut talk = Talk::new("");
        talk.tried(F5, first, next, '1').press(KeyCode::Char('n')).press(KeyCode::Char('y'));
        let Found::Save(text) = talk.dialog.found() else { panic!("nothing was kept") };
        let map = KeyMap::saved(&text).expect("keys");
        let (mut keyboard, mut interrupts) = (Keyboard::new(map), Interrupts::default());
        let event = KeyEvent::new(F5, KeyModifiers::NONE);
        let mut at = Moment(0);
        let mut taken = usize::from(keyboard.take(event, at, Mode::Presses, &mut interrupts).is_some());
        // The same switch at another time: each gap up to a tenth longer.
        let gaps = std::iter::once(first).chain(std::iter::repeat(next)).zip(&jitter);
        for (gap, jitter) in gaps {
            at = at.after(Millis(gap + gap * jitter / 1000));
            taken += usize::from(keyboard.take(event, at, Mode::Presses, &mut interrupts).is_some());
        }
        prop_assert_eq!(taken, 1, "{}", text);
        at = at.after(Millis(10_000));
        prop_assert!(keyboard.take(event, at, Mode::Presses, &mut interrupts).is_some());
    }
}

#[test]
fn a_switch_is_tried_kept_and_used_by_the_next_run() {
    let folder = folder("pedal");
    let mut term = Term::start(&["ready", "--keys"], &folder, &[]);
    term.wait_for("Press the switch once and let it go.");
    assert!(!term.is_cooked());
    term.press("\x1b[15~").wait_for("It sends F5. guide takes it as nothing so far.");
    // Held: the first repeat comes after 0.9 s.
    term.press("\x1b[15~");
    term.pass(Duration::from_millis(900));
    for _ in 0..100 {
        term.press("\x1b[15~");
        term.pass(Duration::from_millis(33));
        if term.screen().contains("Let go.") {
            break;
        }
    }
    term.wait_for("guide needs held=").wait_for("A held press counts once.");
    term.wait_for("What shall it mean?").press("1").wait_for("F5 means done.");
    term.press("n").wait_for("For guide: --keys held=").press("y");
    term.wait_for("guide uses it from now on.");
    assert_eq!(term.ends(), 0);
    assert!(term.is_restored() && term.is_cooked());
    let kept = folder.join(".config/stepbell/keys");
    let text = std::fs::read_to_string(&kept).expect("kept");
    assert!(text.contains("held=") && text.contains(",done+=F5"), "{text}");

    let args = ["guide", "tests/terminal/tiny.bell", "--no-record"];
    let mut term = Term::start(&args, &folder, &[]);
    term.wait_for("Is no real vehicle meant?").press("\x1b[15~").wait_for("Local rules");
    term.press("\x03").press("\x03");
    assert_eq!(term.ends(), 130);

    std::fs::write(&kept, "done=NoSuchKey\n").expect("written");
    let mut term = Term::start(&args, &folder, &[]);
    term.wait_for("the kept keys are left aside:").wait_for("key called `NoSuchKey`");
    term.wait_for("`stepbell ready --keys` sets them anew");
    term.press("\x03").press("\x03");
    assert_eq!(term.ends(), 130);
}
