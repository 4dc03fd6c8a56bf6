//! The page's server on real sockets: what it refuses, what it serves, what flows, who may press. The
//! server runs in this very process; the run's side is a face and a channel.

use std::io::{BufReader, Read, Write};
use std::net::SocketAddr;
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use serde_json::{Value, json};
use stepbell::clock::{Millis, Moment};
use stepbell::edge::clock::Beginning;
use stepbell::edge::keys::Meant;
use stepbell::edge::page::shelf::{Rung, Shelf};
use stepbell::edge::page::{Around, News, Opening, Page, PageFace, Where};
use stepbell::edge::terminal::{Face, Happening, Inbox};
use stepbell::faces::words::{Banner, Setting};
use stepbell::guide::cue::Press;
use stepbell::journal::entry::{EndingClass, Sender};
use stepbell::journal::happened::{
    Count, CountWhat, Cue, Effect, Fact, Means, Outcome, StepAt, Tone, Window,
};

use crate::http::{Answer, Browser, PATIENCE, answer, connect, get, raw, split};
use crate::page_card::{acting, picture};

/// One sound for one tone.
struct OneSound;

impl Shelf for OneSound {
    fn all(&self) -> Vec<String> {
        vec!["now".to_owned()]
    }

    fn wav(&self, name: &str) -> Option<Arc<[u8]>> {
        (name == "now").then(|| Arc::from(&b"RIFF"[..]))
    }

    fn tone(&self, tone: Tone) -> Option<Rung> {
        (tone == Tone::Now).then(|| Rung { sound: "now".to_owned(), lead: Millis(300) })
    }

    fn words(&self, _: Cue, text: &str) -> Option<String> {
        (text == "Try every key.").then(|| "words-1".to_owned())
    }

    fn ended(&self, class: EndingClass) -> Option<String> {
        (class == EndingClass::Unsure).then(|| "own-unsure".to_owned())
    }
}

/// A page that is served, and the run's side of it.
struct Served {
    at: SocketAddr,
    address: String,
    face: PageFace,
    from: Receiver<Happening>,
}

fn serve() -> Served {
    let setting = Setting {
        title: "Show one key".to_owned(),
        banners: vec![Banner::Demonstration],
        ..Setting::default()
    };
    let opening = Opening { at: Where::Here(0), https: false, setting, shelf: Arc::new(OneSound) };
    let page = Page::serve(&opening).expect("served");
    let address = page.address();
    let (to, from) = channel();
    let mut face = page.into_face();
    face.attach(Inbox::new(to));
    face.keep_time(Beginning::now());
    face.show(&picture());
    let (at, _) = split(&address);
    Served { at, address, face, from }
}

impl Served {
    fn browser(&self) -> Browser {
        Browser::open(&self.address)
    }

    /// A browser whose page has said that it is there.
    fn begun(&self) -> Browser {
        let browser = self.browser();
        say(&browser, true);
        browser
    }

    /// The next press that reached the run.
    #[track_caller]
    fn sent(&self) -> (Meant, Sender) {
        loop {
            let happening = self.from.recv_timeout(PATIENCE).expect("a press");
            if let Happening::Page(News::Sent(meant, from)) = happening {
                return (meant, from);
            }
        }
    }

    /// Waits until the run is told this about the pages.
    #[track_caller]
    fn around(&self, holds: impl Fn(&Around) -> bool) -> Around {
        loop {
            match self.from.recv_timeout(PATIENCE).expect("news") {
                Happening::Page(News::Pages(around)) if holds(&around) => return around,
                _ => {}
            }
        }
    }
}

fn say(browser: &Browser, visible: bool) -> Answer {
    let said = json!({"visible": visible, "sound": "on", "armed": true});
    let answer = browser.post("/state", &said);
    assert_eq!(answer.status, 200);
    answer
}

fn turn(browser: &Browser) -> u64 {
    let card = browser.events().until("card", |_| true);
    card["turn"].as_u64().expect("a turn")
}

#[track_caller]
fn press(browser: &Browser, press: &str, turn: u64, tap: u64) -> Answer {
    browser.post("/press", &json!({"press": press, "turn": turn, "tap": tap, "number": 2}))
}

#[track_caller]
fn refused(answer: &Answer, status: u16) {
    assert_eq!((answer.status, answer.body.as_str()), (status, ""), "{answer:?}");
}

#[test]
fn without_the_token_there_is_nothing() {
    let served = serve();
    let wrong = served.address.rsplit('/').next().expect("a token").replace(|_| true, "0");
    for path in ["/", "/page.js", "/events", "/now"] {
        refused(&get(served.at, path, &[]), 404);
    }
    refused(&get(served.at, &format!("/{wrong}"), &[]), 404);
    // That was five in this second, or nearly: soon it is enough. The true token is never locked out.
    let many: Vec<u16> = (0..40).map(|_| get(served.at, "/", &[]).status).collect();
    assert!(many.contains(&429), "{many:?}");
    let browser = served.browser();
    assert_eq!(browser.get("/").status, 200);
    let forged =
        Browser { cookie: browser.cookie.replace(|c: char| c.is_alphabetic(), "1"), ..browser };
    assert!(matches!(forged.get("/").status, 404 | 429));
    assert!(matches!(press(&forged, "done", 1, 1).status, 404 | 429));
}

#[test]
fn only_our_own_host_named_once() {
    let served = serve();
    let browser = served.browser();
    let ask = |hosts: &[&str]| {
        let hosts: String = hosts.iter().map(|host| format!("Host: {host}\r\n")).collect();
        let head = format!("GET / HTTP/1.1\r\n{hosts}Cookie: {}\r\n\r\n", browser.cookie);
        raw(served.at, head.as_bytes()).expect("an answer")
    };
    let ours = served.at.to_string();
    assert_eq!(ask(&[&ours]).status, 200);
    assert_eq!(ask(&[&format!("localhost:{}", served.at.port())]).status, 200);
    refused(&ask(&["evil.example"]), 421);
    refused(&ask(&[&format!("evil.example:{}", served.at.port())]), 421);
    refused(&ask(&[]), 400);
    refused(&ask(&[&ours, &ours]), 400);
    refused(&ask(&[&ours, "evil.example"]), 400);
    // The name of a proxy's request counts too.
    let head = format!("GET http://evil.example/ HTTP/1.1\r\nHost: {ours}\r\n\r\n");
    refused(&raw(served.at, head.as_bytes()).expect("an answer"), 421);
}

#[test]
fn a_change_needs_our_origin_and_the_pages_key() {
    let served = serve();
    let browser = served.begun();
    let ours = format!("http://{}", served.at);
    let key = browser.key.clone();
    let body = json!({"press": "done", "turn": 1, "tap": 1});
    let other = served.browser().key;
    for headers in [
        vec![("X-Page-Key", key.as_str())],
        vec![("Origin", ours.as_str())],
        vec![("Origin", "http://evil.example"), ("X-Page-Key", key.as_str())],
        vec![("Origin", "null"), ("X-Page-Key", key.as_str())],
        vec![("Origin", ours.as_str()), ("X-Page-Key", other.as_str())],
        vec![
            ("Origin", ours.as_str()),
            ("X-Page-Key", key.as_str()),
            ("Sec-Fetch-Site", "cross-site"),
        ],
    ] {
        refused(&browser.post_with("/press", &body, &headers), 403);
        refused(&browser.post_with("/role", &json!({"role": "leads"}), &headers), 403);
    }
    // A form of another site can send neither the header nor JSON.
    let form = format!(
        "POST /press HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\nOrigin: {ours}\r\nX-Page-Key: {key}\r\n\
         Content-Type: text/plain\r\nContent-Length: 2\r\n\r\n{{}}",
        served.at, browser.cookie
    );
    assert_eq!(raw(served.at, form.as_bytes()).expect("an answer").status, 415);
    assert_eq!(press(&browser, "again", 1, 1).status, 202);
    assert_eq!(served.sent().0, Meant::Press(Press::SayAgain));
    assert!(served.from.try_iter().all(|h| !matches!(h, Happening::Page(News::Sent(..)))));
}

#[test]
fn a_long_body_and_a_long_head_are_not_read() {
    let served = serve();
    let browser = served.begun();
    let origin = format!("http://{}", served.at);
    let head = |length: usize| {
        format!(
            "POST /press HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\nOrigin: {origin}\r\nX-Page-Key: {}\r\n\
             Content-Type: application/json\r\nContent-Length: {length}\r\n\r\n",
            served.at, browser.cookie, browser.key
        )
    };
    let long = [head(10 << 20).as_bytes(), &vec![b' '; 10 << 20]].concat();
    let answer = raw(served.at, &long);
    // The answer may be lost where the rest of the body still comes; it is no success in either case.
    assert!(answer.is_none_or(|answer| answer.status == 413));
    let chunked = head(0).replace("Content-Length: 0", "Transfer-Encoding: chunked");
    let chunk = format!("{:x}\r\n{}\r\n", 1 << 20, " ".repeat(1 << 20));
    let answer = raw(served.at, format!("{chunked}{chunk}{chunk}").as_bytes());
    assert!(answer.is_none_or(|answer| answer.status == 413));
    let wide =
        format!("GET / HTTP/1.1\r\nHost: {}\r\nX: {}\r\n\r\n", served.at, "x".repeat(1 << 20));
    let answer = raw(served.at, wide.as_bytes());
    assert!(answer.is_none_or(|answer| answer.status == 431));
    let many = format!("GET / HTTP/1.1\r\nHost: {}\r\n{}\r\n", served.at, "X: x\r\n".repeat(100));
    assert!(raw(served.at, many.as_bytes()).is_none_or(|answer| answer.status == 431));
    assert_eq!(press(&browser, "again", 1, 1).status, 202);
    assert_eq!(served.sent().0, Meant::Press(Press::SayAgain));
}

#[test]
fn half_open_connections_are_let_go_and_take_no_place_of_the_page() {
    let mut served = serve();
    let browser = served.begun();
    let mut events = browser.events();
    events.until("card", |_| true);
    let half = format!("GET / HTTP/1.1\r\nHost: {}\r\nX-a: ", served.at);
    let mut crowd: Vec<_> = (0..200)
        .map(|_| {
            let mut stream = connect(served.at);
            let _ = stream.write_all(half.as_bytes());
            stream
        })
        .collect();
    // The page's own line goes on, and new ones are served.
    let mut next = acting();
    next.shown.act = Some("Another act.".to_owned());
    served.face.show(&next);
    events.until("card", |card| card["act"] == "Another act.");
    assert_eq!(press(&browser, "again", 1, 1).status, 202);
    // All of them are let go: most at once, the last by the time-out of their heads.
    let mut rest = [0; 64];
    for stream in &mut crowd {
        assert!(matches!(stream.read(&mut rest), Ok(0) | Err(_)), "still open");
    }
    assert_eq!(browser.get("/").status, 200);
    events.until("beat", |_| true);
}

/// A body that never comes is not waited for, and a head neither.
#[test]
fn what_comes_too_slowly_is_not_waited_for() {
    let served = serve();
    let browser = served.begun();
    let head = format!(
        "POST /press HTTP/1.1\r\nHost: {0}\r\nCookie: {1}\r\nOrigin: http://{0}\r\nX-Page-Key: {2}\r\n\
         Content-Type: application/json\r\nContent-Length: 100\r\n\r\n{{",
        served.at, browser.cookie, browser.key
    );
    let mut slow = connect(served.at);
    slow.write_all(head.as_bytes()).expect("sent");
    let silent = connect(served.at);
    let answer = answer(&mut BufReader::new(slow)).expect("an answer");
    assert_eq!(answer.status, 408);
    let mut rest = [0; 8];
    assert!(matches!((&silent).read(&mut rest), Ok(0) | Err(_)), "still open");
}

#[test]
fn answers_let_nothing_from_outside_in() {
    let served = serve();
    let browser = served.browser();
    for answer in [browser.get("/"), browser.get("/page.js"), get(served.at, "/", &[])] {
        let policy = answer.header("content-security-policy").expect("a policy");
        for part in [
            "default-src 'none'",
            "script-src 'self'",
            "frame-ancestors 'none'",
            "form-action 'none'",
        ] {
            assert!(policy.contains(part), "{policy}");
        }
        assert!(!policy.contains("unsafe") && !policy.contains('*') && !policy.contains("http"));
        for (name, value) in [
            ("x-content-type-options", "nosniff"),
            ("referrer-policy", "no-referrer"),
            ("cross-origin-resource-policy", "same-origin"),
            ("cache-control", "no-store"),
        ] {
            assert_eq!(answer.header(name), Some(value), "{name}");
        }
        assert_eq!(answer.header("access-control-allow-origin"), None);
    }
    let page = browser.get("/");
    assert!(!page.body.contains("{{key}}") && page.body.contains(&browser.key));
    let cookie = get(served.at, &split(&served.address).1, &[]);
    let cookie = cookie.header("set-cookie").expect("a cookie").to_owned();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
    for (path, kind) in [
        ("/page.css", "text/css"),
        ("/page.js", "text/javascript"),
        ("/icon.svg", "image/svg+xml"),
        ("/sounds", "application/json"),
        ("/sound/now", "audio/wav"),
    ] {
        let answer = browser.get(path);
        assert_eq!(answer.status, 200, "{path}");
        assert!(answer.header("content-type").is_some_and(|k| k.starts_with(kind)), "{path}");
    }
    for path in ["/sound/then", "/sound/..%2f..%2fetc", "/none", "/assets/page.js", "//"] {
        assert_eq!(browser.get(path).status, 404, "{path}");
    }
    assert_eq!(browser.post("/now", &json!({})).status, 405);
}

#[test]
fn what_the_run_shows_and_rings_flows_to_the_page() {
    let mut served = serve();
    let browser = served.begun();
    let mut events = browser.events();
    let first = events.until("card", |_| true);
    assert_eq!(first["banners"][0], "DEMONSTRATION: invented numbers, not for a real vehicle");
    assert_eq!(events.until("you", |you| you["role"] == "leads")["page"], 1);
    let before = events.until("beat", |_| true)["now"].as_f64().expect("a time");
    served.face.show(&acting());
    let card = events.until("card", |card| card["act"] == "Show the key.");
    assert_eq!(card["count"]["to"], 30_000);
    assert_eq!(card["window"]["mark"], "[== OPEN ==]");
    assert!(card["turn"].as_u64() > first["turn"].as_u64());
    served.face.tell(&Effect::Ring { tone: Tone::Now }, Moment(7));
    let heard = events.until("heard", |_| true);
    assert_eq!(heard, json!({"at": 7, "tone": "now", "sound": "now", "lead": 300}));
    let after = events.until("beat", |_| true)["now"].as_f64().expect("a time");
    assert!(after > before);
    // Whoever comes again gets everything at once.
    let again = browser.events().until("card", |_| true);
    assert_eq!(again, card);
    // The last picture still arrives, then the line ends.
    let mut last = acting();
    last.ended = Some("ENDED: learned.".to_owned());
    served.face.show(&last);
    served.face.finish();
    events.until("card", |card| card["ended"] == "ENDED: learned.");
    while events.next().is_some() {}
    assert_eq!(served.face.trouble(), None);
}

/// How it ended is heard on a page: in words where there are some, else by the tone, then by the script's
/// own text.
#[test]
fn the_end_is_heard_on_a_page() {
    let mut served = serve();
    let browser = served.begun();
    let mut events = browser.events();
    events.until("card", |_| true);
    let mut heard = |class, text: Option<&str>| {
        let text = text.map(str::to_owned);
        let ended = Effect::Ended { ending: String::new(), class, text, hand_over: None };
        served.face.tell(&ended, Moment(9));
        events.until("heard", |_| true)
    };
    let words = heard(EndingClass::Unsure, None);
    assert_eq!(words, json!({"at": 9, "cue": "ended", "sound": "own-unsure"}));
    for (class, tone) in [
        (EndingClass::Learned, "prepare"),
        (EndingClass::NotLearned, "missed"),
        (EndingClass::Stopped, "missed"),
    ] {
        assert_eq!(heard(class, None)["tone"], tone, "{class:?}");
    }
    heard(EndingClass::Unsure, Some("Try every key."));
    let text = events.until("heard", |_| true);
    assert_eq!(text, json!({"at": 9, "cue": "notice", "sound": "words-1"}));
}

#[test]
fn a_press_reaches_the_run_once_with_its_sender() {
    let mut served = serve();
    served.face.show(&acting());
    let browser = served.begun();
    let now = turn(&browser);
    assert_eq!(press(&browser, "done", now, 1).status, 202);
    assert_eq!(served.sent(), (Meant::Press(Press::Done), Sender { page: 1, helper: false }));
    // The browser sends it again, the finger trembles, the page is behind.
    assert_eq!(press(&browser, "done", now, 1).status, 202);
    let why = |answer: Answer| (answer.status, answer.json()["why"].as_str().unwrap().to_owned());
    assert_eq!(why(press(&browser, "done", now, 2)), (409, "twice".to_owned()));
    assert_eq!(why(press(&browser, "answer", now + 1, 3)), (409, "old".to_owned()));
    let step = StepAt { ix: 0, name: "show".to_owned(), line: 3, file: None, turn: None };
    let fact = Fact::Outcome { step, outcome: Outcome::Done };
    served.face.tell(&Effect::Fact { fact }, Moment(1));
    served.face.show(&acting());
    browser.events().until("card", |card| card["turn"] == now + 1);
    assert_eq!(why(press(&browser, "slip", now, 4)), (409, "old".to_owned()));
    assert_eq!(press(&browser, "answer", now + 1, 5).status, 202);
    assert_eq!(served.sent().0, Meant::Press(Press::Answer(2)));
    assert!(served.from.try_iter().all(|h| !matches!(h, Happening::Page(News::Sent(..)))));
    assert_eq!(browser.post("/press", &json!({"press": 7})).status, 422);
}

#[test]
fn a_second_page_watches_until_it_takes_the_lead_or_helps() {
    let mut served = serve();
    let mut picture = acting();
    served.face.show(&picture);
    let (one, two) = (served.begun(), served.begun());
    let now = turn(&two);
    assert_eq!(press(&two, "done", now, 1).json()["why"], "watches");
    let around =
        served.around(|around| around.present.as_ref().is_some_and(|p| p.contains("page 2")));
    assert_eq!(around.present.as_deref(), Some("page 1 leads, page 2 watches"));
    assert!(around.led);
    assert_eq!(two.post("/role", &json!({"role": "helps"})).status, 204);
    assert_eq!(press(&two, "done", now, 2).json()["why"], "not-helper");
    picture.shown.who = Some("helper".to_owned());
    served.face.show(&picture);
    two.events().until("card", |card| card["helper"] == true);
    assert_eq!(press(&two, "done", now, 3).status, 202);
    assert_eq!(served.sent(), (Meant::Press(Press::Done), Sender { page: 2, helper: true }));
    assert_eq!(two.post("/role", &json!({"role": "leads"})).status, 204);
    one.events().until("you", |you| you["role"] == "watches" && you["leader"] == 2);
    assert_eq!(press(&one, "stop", now, 4).json()["why"], "watches");
    assert_eq!(two.post("/role", &json!({"role": "king"})).status, 400);
}

#[test]
fn a_hidden_page_is_told_of_elsewhere() {
    let served = serve();
    let browser = served.begun();
    served.around(|around| around.troubles.is_empty() && around.present.is_some());
    say(&browser, false);
    let around = served.around(|around| !around.troubles.is_empty());
    assert!(around.troubles[0].contains("hidden"), "{:?}", around.troubles);
    say(&browser, true);
    served.around(|around| around.troubles.is_empty());
    // Then it says nothing more: it is missed.
    let around = served.around(|around| !around.troubles.is_empty());
    assert!(around.troubles[0].contains("not heard of"), "{:?}", around.troubles);
}

/// Whoever does not read keeps nobody waiting, neither the run nor the other page.
#[test]
fn a_page_that_does_not_read_delays_nothing() {
    let mut served = serve();
    let (slow, quick) = (served.begun(), served.begun());
    let _unread = slow.events();
    let mut events = quick.events();
    let mut picture = acting();
    let longest = Arc::new(Mutex::new(Duration::ZERO));
    for n in 0..3000_i64 {
        picture.shown.act = Some(format!("Act {n}: {}", "x".repeat(2000)));
        let before = std::time::Instant::now();
        served.face.show(&picture);
        served.face.tell(&Effect::Ring { tone: Tone::Tick }, Moment(n));
        let took = before.elapsed();
        let mut longest = longest.lock().expect("not poisoned");
        *longest = (*longest).max(took);
    }
    events.until("card", |card| card["act"].as_str().is_some_and(|a| a.starts_with("Act 2999")));
    // Far above what it takes, far below what a full socket would.
    assert!(*longest.lock().expect("not poisoned") < Duration::from_secs(2));
}

#[test]
fn the_encrypted_page_is_the_one_whose_fingerprint_is_told() {
    let opening = Opening {
        at: Where::Here(0),
        https: true,
        setting: Setting::default(),
        shelf: Arc::new(OneSound),
    };
    let page = Page::serve(&opening).expect("served");
    assert!(page.address().starts_with("https://127.0.0.1:"));
    let told = page.invitation().concat();
    let (at, path) = split(&page.address());
    // Plain http gets no answer there.
    let plain = raw(at, format!("GET {path} HTTP/1.1\r\nHost: {at}\r\n\r\n").as_bytes());
    assert!(plain.is_none());
    let (certificate, response) = crate::page_tls::get(at, &path);
    let shown = stepbell::journal::sha256_hex(&certificate).to_uppercase();
    let told: String = told.chars().filter(|c| c.is_ascii_alphanumeric()).collect();
    assert!(told.contains(&shown), "{told} {shown}");
    let answer = answer(&mut BufReader::new(response.as_bytes())).expect("an answer");
    assert_eq!(answer.status, 200);
    let cookie = answer.header("set-cookie").expect("a cookie");
    assert!(cookie.contains("Secure"), "{cookie}");
}

#[test]
fn an_address_that_is_taken_is_a_plain_trouble() {
    let served = serve();
    let opening = Opening {
        at: Where::Here(served.at.port()),
        https: false,
        setting: Setting::default(),
        shelf: Arc::new(OneSound),
    };
    let why = Page::serve(&opening).expect_err("taken").to_string();
    assert!(why.contains(&served.at.to_string()), "{why}");
}

#[test]
fn an_invitation_says_what_it_is_safe_against() {
    let served = serve();
    assert!(served.address.starts_with("http://127.0.0.1:"));
    let opening = |https| Opening {
        at: Where::Here(0),
        https,
        setting: Setting::default(),
        shelf: Arc::new(OneSound),
    };
    let plain = Page::serve(&opening(false)).expect("served");
    assert!(plain.invitation().join("\n").contains("--page=lan"));
    assert_eq!(plain.note(), "page served to this computer over http");
    assert_eq!(plain.code(), Vec::<String>::new());
    let secret = Page::serve(&opening(true)).expect("served");
    let told = secret.invitation().join("\n");
    assert!(told.contains("fingerprint") && told.contains("--page=lan"), "{told}");
    assert!(!told.contains("phone will warn"), "no phone reaches it: {told}");
    assert_eq!(secret.note(), "page served to this computer over https");
}

/// The moments that a page counts by are those of the run.
#[test]
fn the_time_is_the_runs_own() {
    let served = serve();
    let browser = served.begun();
    let now = |answer: &Answer| answer.json()["now"].as_f64().expect("a time");
    let first = now(&browser.get("/now"));
    let second = now(&say(&browser, true));
    let third = now(&browser.get("/now"));
    assert!(first > 0.0 && first < second && second < third, "{first} {second} {third}");
}

/// Where a picture's moment is not the run's, as in a replay, the page is told the moment itself.
#[test]
fn without_a_running_clock_each_picture_carries_its_moment() {
    let opening = Opening {
        at: Where::Here(0),
        https: false,
        setting: Setting::default(),
        shelf: Arc::new(OneSound),
    };
    let page = Page::serve(&opening).expect("served");
    let browser = Browser::open(&page.address());
    let mut face = page.into_face();
    let mut picture = acting();
    picture.at = Moment(4321);
    picture.shown.count = Some(Count { to: 9000, what: CountWhat::LatestAct, why: None });
    picture.shown.window = Window::Safe;
    picture.shown.means = Means::ActDone;
    face.show(&picture);
    let mut events = browser.events();
    events.until("card", |card| card["at"] == 4321);
    picture.at = Moment(4421);
    face.show(&picture);
    events.until("card", |card| card["at"] == 4421);
    assert_eq!(events.until("beat", |_| true)["now"], Value::Null);
    assert_eq!(browser.get("/now").json()["now"], Value::Null);
}
