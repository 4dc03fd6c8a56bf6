//! Whole runs led from a page, by the program itself: through pipes whose input has ended, and in a
//! terminal that is closed on the way. A replay on a page.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::http::{Browser, Events};
use crate::pty::{Term, folder, records, unbroken};

const SCRIPT: &str = "tests/terminal/tiny.bell";
/// A whole run takes less.
const WHOLE: Duration = Duration::from_secs(60);
/// The same press again counts after this.
const AGAIN: Duration = Duration::from_millis(710);

/// A person at a page.
struct Person {
    browser: Browser,
    events: Events,
    tap: u64,
    card: Value,
}

impl Person {
    fn at(address: &str) -> Person {
        let browser = Browser::open(address);
        let said = json!({"visible": true, "sound": "on", "armed": true});
        assert_eq!(browser.post("/state", &said).status, 200);
        let mut events = browser.events();
        let card = events.until("card", |_| true);
        Person { browser, events, tap: 0, card }
    }

    /// Presses *done* wherever it means something, until the run is over; gives how it ended.
    #[track_caller]
    fn leads_to_the_end(&mut self) -> String {
        let begun = Instant::now();
        let mut pressed = Instant::now();
        while self.card["ended"].is_null() {
            assert!(begun.elapsed() < WHOLE, "{}", self.card);
            let (name, data) = self.events.next().expect("the line holds until the end");
            if name == "card" {
                self.card = data;
            }
            // The beat comes often enough to try again what came too early.
            if self.card["big"]["live"] == true && pressed.elapsed() >= AGAIN {
                pressed = Instant::now();
                self.press("done");
            }
        }
        self.card["ended"].as_str().expect("a text").to_owned()
    }

    fn press(&mut self, press: &str) {
        self.tap += 1;
        let sent = json!({"press": press, "turn": self.card["turn"], "tap": self.tap});
        let status = self.browser.post("/press", &sent).status;
        assert!(matches!(status, 202 | 409), "{status}");
    }
}

fn start(words: &[&str], folder: &Path) -> (Child, String, BufReader<std::process::ChildStdout>) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_stepbell"))
        .args(words)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env("TMPDIR", folder)
        .env_remove("XDG_STATE_HOME")
        .env_remove("HOME")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("it starts");
    let mut from = BufReader::new(child.stdout.take().expect("piped"));
    let mut line = String::new();
    from.read_line(&mut line).expect("a line");
    let address = line.trim().strip_prefix("page: ").expect("an address").to_owned();
    (child, address, from)
}

fn lines_of(record: &Path) -> Vec<Value> {
    let text = fs::read_to_string(record).expect("readable");
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

fn notes(lines: &[Value]) -> Vec<String> {
    let notes = lines.iter().filter(|line| line["kind"] == "note");
    notes.map(|line| line["text"].as_str().unwrap_or("").to_owned()).collect()
}

/// The one record of a run that was led from a page.
fn led(name: &str) -> (PathBuf, String) {
    let folder = folder(name);
    let to = folder.to_str().expect("a plain path");
    let (mut child, address, from) = start(&["guide", SCRIPT, "--record", to, "--page"], &folder);
    let ended = Person::at(&address).leads_to_the_end();
    let rest: Vec<_> = from.lines().map_while(Result::ok).collect();
    assert_eq!(child.wait().expect("it ends").code(), Some(0), "{}", rest.join("\n"));
    (records(&folder).remove(0), ended)
}

#[test]
fn a_run_without_any_keyboard_is_led_from_a_page_and_says_who_pressed() {
    let (record, ended) = led("page-led");
    assert!(ended.starts_with("ENDED: learned"), "{ended}");
    let lines = lines_of(&record);
    let presses: Vec<_> =
        lines.iter().filter(|l| l["kind"] == "input" && l["what"]["input"] == "done").collect();
    assert!(presses.len() >= 8, "{presses:?}");
    assert!(presses.iter().all(|line| line["from"] == json!({"page": 1})), "{presses:?}");
    let notes = notes(&lines);
    assert!(notes.contains(&"page served to this computer over http".to_owned()), "{notes:?}");
    assert!(notes.contains(&"page 1 leads".to_owned()), "{notes:?}");
    // Nothing in the record opens the page.
    assert!(!fs::read_to_string(&record).expect("readable").contains("http://127"));
}

#[test]
fn a_replay_on_a_page_says_so_and_takes_no_reports() {
    let (record, _) = led("page-replayed");
    let name = record.to_str().expect("a plain path");
    let folder = record.parent().expect("a folder");
    let (mut child, address, from) = start(&["replay", name, "--page", "--speed", "4"], folder);
    let mut person = Person::at(&address);
    let card = person.events.until("card", |card| card["act"] == "Press the start button.");
    assert_eq!(card["banners"][0], "REPLAY: this has already happened");
    assert_eq!(card["replay"], true);
    assert!(card["at"].is_i64(), "it shows the moments as they were: {card}");
    person.events.until("card", |card| !card["ended"].is_null());
    from.lines().for_each(drop);
    assert_eq!(child.wait().expect("it ends").code(), Some(0));
}

#[cfg(unix)]
#[test]
fn a_terminal_that_is_closed_leaves_the_run_to_the_page() {
    let folder = folder("page-closed");
    let to = folder.to_str().expect("a plain path");
    let words = ["guide", SCRIPT, "--record", to, "--page", "--plain"];
    let mut term = Term::start(&words, &folder, &[]);
    term.wait_for("press Enter here to begin without it");
    let screen = unbroken(&term.screen());
    let address = screen.split("page: ").nth(1).and_then(|rest| rest.split(' ').next());
    // The first press on the page begins the run; nobody presses Enter.
    let mut person = Person::at(address.expect("an address"));
    term.wait_for("Is no real vehicle meant?");
    person.card = person.events.until("card", |card| !card["question"].is_null());
    // The run knows of the page before the terminal goes.
    term.wait_for("page 1 leads");
    term.hang_up();
    let ended = person.leads_to_the_end();
    assert!(ended.starts_with("ENDED: learned"), "{ended}");
    assert_eq!(term.ends(), 0);
    let lines = lines_of(&records(&folder)[0]);
    let notes = notes(&lines).join("\n");
    assert!(notes.contains("the terminal was closed; the page leads on"), "{notes}");
    assert_eq!(lines.last().expect("a line")["kind"], "end");
}
