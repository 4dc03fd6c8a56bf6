//! How late the run's clock wakes while its page is attacked, against the same run left in peace, in
//! turns; how much memory the attack takes; whether the phone goes on being served. Everything else is
//! on too: the big view in a terminal that is read, a voice and tones that are played, a record on the
//! disk (`lateness/garage.rs`).
//!
//! `cargo bench --bench page -- [SECONDS]` attacks four times for so long (default 30; `--short` takes
//! 4), and as long in peace before each; oftener where the times are over a limit (`lateness/late.rs`).
//! The attack: 1,000 half-open connections that are opened again as they are closed, bodies of 10 MB,
//! wrong tokens, foreign hosts; the phone has a line of its own. Attacker and phone are programs of
//! their own. Fails where p99 more than doubles, p99.9 grows by more than 10 ms, memory by more than
//! 10 MB, a wake comes early, or the phone hears nothing for 1.5 s. Absolute times belong to the
//! computer at hand.
#![expect(clippy::disallowed_methods, reason = "a benchmark starts programs and waits")]

#[path = "lateness/garage.rs"]
mod garage;
#[path = "lateness/heard.rs"]
mod heard;
#[path = "../tests/it/http.rs"]
#[expect(dead_code, reason = "the tests' browser can do more than watch")]
mod http;
#[path = "lateness/late.rs"]
mod late;

use std::io::{BufRead, BufReader, ErrorKind, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::process::{Child, Command, ExitCode, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use stepbell::clock::{Millis, Moment};
use stepbell::edge::clock::{RunClock, Wake, read};
use stepbell::edge::terminal::Happening;

use garage::Garage;
use late::{LONGER, Late, ratio};

const HALF_OPEN: usize = 1000;
/// A cue is given and a picture shown so often; a live run shows pictures so often while a count runs.
const CUE: Millis = Millis(100);
const ROUNDS: usize = 4;
const BODY: usize = 10 << 20;
const BETWEEN_BODIES: Duration = Duration::from_millis(250);
/// The attacker stands back behind all else on this computer, and may end so much later.
const GRACE: Duration = Duration::from_secs(20);

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let word = |n: usize| words.get(n).map_or("", String::as_str);
    match word(0) {
        "phone" => phone(word(1)),
        "attack" => attack(word(1), word(2).parse().unwrap_or(5)),
        "--player" => return heard::play(),
        _ => {
            let short = words.iter().any(|word| word == "--short");
            let asked = words.iter().find_map(|word| word.parse().ok());
            return measure(asked.unwrap_or(if short { 4 } else { 30 }));
        }
    }
    ExitCode::SUCCESS
}

fn say(line: &str) {
    let _ = writeln!(std::io::stdout(), "{line}");
}

/// This program again, as somebody else.
fn other(words: &[&str]) -> Child {
    let this = std::env::current_exe().expect("a name");
    let mut command = Command::new(this);
    command.args(words).stdout(Stdio::piped()).spawn().expect("it starts")
}

struct Run {
    clock: RunClock,
    garage: Garage,
    from: mpsc::Receiver<Happening>,
    given: Moment,
    waits: u64,
}

fn measure(seconds: u64) -> ExitCode {
    let mut garage = Garage::open(&["view", "page", "voice", "record"]);
    say(&garage.told());
    let (address, from) = garage.take_page().expect("the page is on");
    let clock = RunClock::start();
    let mut run = Run { clock, garage, from, given: Moment::START, waits: 0 };
    let mut phone = other(&["phone", &address]);
    run.wait(Duration::from_secs(2));
    let memory = memory();
    let mut found = Found { least: memory, most: memory, told_all: true, ..Found::default() };
    for round in 1..=ROUNDS * LONGER {
        run.round(&address, seconds, &mut found);
        if round % ROUNDS == 0 && found.attacked.over(&found.peace).is_none() {
            break;
        }
    }
    say(&format!("  {}", run.garage.close()));
    let mut told = String::new();
    let _ = phone.stdout.take().map(|mut out| out.read_to_string(&mut told));
    let _ = phone.wait();
    found.silence = told.trim().parse().unwrap_or(u64::MAX);
    report(&found)
}

/// What was measured: lateness in peace and attacked, memory in KiB before and at the most, the phone's
/// longest silence in milliseconds, whether every attacker told what became of it.
#[derive(Default)]
struct Found {
    peace: Late,
    attacked: Late,
    least: u64,
    most: u64,
    silence: u64,
    told_all: bool,
}

impl Run {
    /// Some seconds in peace, then as many attacked.
    fn round(&mut self, address: &str, seconds: u64, found: &mut Found) {
        found.peace.add(self.wait(Duration::from_secs(seconds)));
        let mut attacker = other(&["attack", address, &seconds.to_string()]);
        // It ends by itself; on a busy computer it may be late in doing so.
        let until = Instant::now() + Duration::from_secs(seconds) + GRACE;
        while Instant::now() < until && matches!(attacker.try_wait(), Ok(None)) {
            found.attacked.add(self.wait(Duration::from_millis(250)));
            found.most = found.most.max(memory());
        }
        let _ = attacker.kill();
        let mut told = String::new();
        let _ = attacker.stdout.take().map(|mut out| out.read_to_string(&mut told));
        let _ = attacker.wait();
        found.told_all &= !told.trim().is_empty();
        say(&format!("  attack: {}", told.trim().lines().last().unwrap_or("nothing told")));
        self.wait(Duration::from_secs(1));
    }

    /// Waits of 1 to 3 ms for so long, each late by so many nanoseconds; pictures and sounds go out
    /// meanwhile.
    fn wait(&mut self, length: Duration) -> Vec<i64> {
        let until = Instant::now() + length;
        let mut late = Vec::new();
        while Instant::now() < until {
            self.waits += 1;
            let wait = Millis(2 + i64::try_from(self.waits % 3).unwrap_or(0));
            let deadline = self.clock.now().after(wait);
            let due = self.clock.instant_of(deadline);
            loop {
                let woken = self.clock.wait_until(deadline, &self.from);
                if matches!(woken.why, Wake::Due) {
                    late.push(read().boot - due);
                    break;
                }
            }
            let now = self.clock.now();
            if now.since(self.given) >= CUE {
                self.given = now;
                self.garage.cue(now);
            }
        }
        late
    }
}

fn failed(why: &str) -> ExitCode {
    say(&format!("  FAILED: {why}"));
    ExitCode::FAILURE
}

/// What this program keeps in memory, in KiB.
fn memory() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmRSS:"));
    let number = line.and_then(|line| line.split_whitespace().nth(1));
    number.and_then(|number| number.parse().ok()).unwrap_or(0)
}

fn report(found: &Found) -> ExitCode {
    let (peace, attacked) = (&found.peace, &found.attacked);
    let (waits, more) = ((peace.count(), attacked.count()), found.most.saturating_sub(found.least));
    say(&format!(
        "late by µs, {} waits in peace and {} attacked: in peace | attacked | ratio",
        waits.0, waits.1
    ));
    for (name, part) in [("p50", 500), ("p99", 990), ("p99.9", 999), ("worst", 1000)] {
        let (peace, war) = (peace.at(part), attacked.at(part));
        let times = ratio(war, peace);
        say(&format!("  {name:>5}  {:>8} | {:>8} | {times}", peace / 1000, war / 1000));
    }
    say(&format!(
        "  memory: {more} KiB more at the most; the phone's longest silence: {} ms",
        found.silence
    ));
    let mut wrong = Vec::from_iter(attacked.over(peace));
    if peace.at(0) < 0 || attacked.at(0) < 0 {
        wrong.push("a wake came early");
    }
    if more > 10 << 10 {
        wrong.push("memory grew by more than 10 MB");
    }
    if found.silence > 1500 {
        wrong.push("the phone heard nothing for 1.5 s");
    }
    if !found.told_all {
        wrong.push("an attacker did not come to its end");
    }
    wrong.iter().fold(ExitCode::SUCCESS, |_, why| failed(why))
}

fn split(address: &str) -> (SocketAddr, String) {
    let rest = address.trim_start_matches("http://");
    let (at, path) = rest.split_once('/').expect("a path");
    (at.parse().expect("an address"), path.to_owned())
}

/// Opens the page and listens; tells its longest silence in milliseconds at the end.
fn phone(address: &str) {
    let (to, token) = split(address);
    let mut stream = TcpStream::connect(to).expect("connected");
    let head = format!("GET /{token} HTTP/1.1\r\nHost: {to}\r\nConnection: close\r\n\r\n");
    stream.write_all(head.as_bytes()).expect("sent");
    let mut page = String::new();
    let _ = stream.read_to_string(&mut page);
    let cookie = page.split("set-cookie: ").nth(1).and_then(|rest| rest.split(';').next());
    let cookie = cookie.expect("a cookie");
    let mut stream = TcpStream::connect(to).expect("connected");
    let head = format!("GET /events HTTP/1.1\r\nHost: {to}\r\nCookie: {cookie}\r\n\r\n");
    stream.write_all(head.as_bytes()).expect("sent");
    let (mut last, mut longest) = (Instant::now(), Duration::ZERO);
    for line in BufReader::new(stream).lines() {
        let Ok(line) = line else { break };
        if line.starts_with("event: ") {
            longest = longest.max(last.elapsed());
            last = Instant::now();
        }
    }
    say(&longest.as_millis().to_string());
}

/// Attacks for so many seconds; tells what became of it.
fn attack(address: &str, seconds: u64) {
    let (to, _) = split(address);
    #[cfg(unix)]
    {
        use rustix::process::{Resource, getrlimit, setrlimit};
        let mut limit = getrlimit(Resource::Nofile);
        limit.current = limit.maximum;
        let _ = setrlimit(Resource::Nofile, limit);
    }
    let half = format!("GET / HTTP/1.1\r\nHost: {to}\r\nX-a: ");
    let until = Instant::now() + Duration::from_secs(seconds);
    let mut crowd: Vec<TcpStream> = Vec::new();
    let (mut opened, mut bodies, mut refused) = (0_u64, 0_u64, 0_u64);
    let zeros = vec![b'0'; BODY];
    // Whoever attacks from elsewhere takes no core of this computer: the attacker stands back as far as
    // it can, so that what is measured is what its connections do.
    #[cfg(target_os = "linux")]
    let _ = rustix::process::setpriority_process(None, 19);
    let mut posted = Instant::now();
    while Instant::now() < until {
        crowd.retain(is_open);
        while crowd.len() < HALF_OPEN && Instant::now() < until {
            let Ok(mut stream) = TcpStream::connect_timeout(&to, Duration::from_millis(200)) else {
                break;
            };
            let _ = stream.write_all(half.as_bytes());
            let _ = stream.set_nonblocking(true);
            opened += 1;
            crowd.push(stream);
            if opened.is_multiple_of(200) {
                break;
            }
        }
        let post = format!(
            "POST /press HTTP/1.1\r\nHost: {to}\r\nContent-Type: application/json\r\n\
             Content-Length: {BODY}\r\n\r\n"
        );
        if posted.elapsed() > BETWEEN_BODIES {
            posted = Instant::now();
            refused += u64::from(request(to, post.as_bytes(), &zeros));
            bodies += 1;
        }
        for _ in 0..10 {
            let wrong = format!("GET /{} HTTP/1.1\r\nHost: {to}\r\n\r\n", "0".repeat(26));
            refused += u64::from(request(to, wrong.as_bytes(), b""));
        }
        let foreign = "GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n";
        refused += u64::from(request(to, foreign.as_bytes(), b""));
        std::thread::sleep(Duration::from_millis(20));
    }
    say(&format!(
        "{opened} half-open connections, {bodies} bodies of 10 MB; {refused} answers, none of them 200"
    ));
}

/// Whether nobody has closed it.
fn is_open(stream: &TcpStream) -> bool {
    let mut some = [0; 16];
    matches!((&*stream).read(&mut some), Err(why) if why.kind() == ErrorKind::WouldBlock)
}

/// Sends a request; whether it was answered, and never well.
fn request(to: SocketAddr, head: &[u8], body: &[u8]) -> bool {
    let Ok(mut stream) = TcpStream::connect_timeout(&to, Duration::from_millis(500)) else {
        return false;
    };
    let _ = stream.set_read_timeout(Some(Duration::from_millis(500)));
    let _ = stream.set_write_timeout(Some(Duration::from_millis(500)));
    let _ = stream.write_all(head).and_then(|()| stream.write_all(body));
    let mut first = [0; 12];
    let answered = stream.read_exact(&mut first).is_ok();
    assert!(!first.ends_with(b" 200"), "the attack was answered well");
    answered
}
