//! How late the run's clock wakes while its page is attacked, against the same run left in peace, in
//! turns; how much memory the attack takes; whether the phone goes on being served. Everything else is
//! on too: the big view in a terminal that is read, a voice and tones that are played, a record on the
//! disk (`lateness/garage.rs`).
//!
//! `cargo bench --bench page -- [SECONDS]` attacks four times for so long (default 30; `--short` takes
//! 4), and as long in peace before each.
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

use std::io::{BufRead, BufReader, ErrorKind, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::process::{Child, Command, ExitCode, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use stepbell::clock::{Millis, Moment};
use stepbell::edge::clock::{RunClock, Wake, read};
use stepbell::edge::terminal::Happening;

use garage::Garage;

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
    let (mut quiet, mut attacked, mut most) = (Vec::new(), Vec::new(), memory);
    let mut told_all = true;
    for _ in 0..ROUNDS {
        quiet.extend(run.wait(Duration::from_secs(seconds)));
        let mut attacker = other(&["attack", &address, &seconds.to_string()]);
        // It ends by itself; on a busy computer it may be late in doing so.
        let until = Instant::now() + Duration::from_secs(seconds) + GRACE;
        while Instant::now() < until && matches!(attacker.try_wait(), Ok(None)) {
            attacked.extend(run.wait(Duration::from_millis(250)));
            most = most.max(self::memory());
        }
        let _ = attacker.kill();
        let mut told = String::new();
        let _ = attacker.stdout.take().map(|mut out| out.read_to_string(&mut told));
        let _ = attacker.wait();
        told_all &= !told.trim().is_empty();
        say(&format!("  attack: {}", told.trim().lines().last().unwrap_or("nothing told")));
        run.wait(Duration::from_secs(1));
    }
    say(&format!("  {}", run.garage.close()));
    let mut told = String::new();
    let _ = phone.stdout.take().map(|mut out| out.read_to_string(&mut told));
    let _ = phone.wait();
    let gap: u64 = told.trim().parse().unwrap_or(u64::MAX);
    let code = report(&mut quiet, &mut attacked, most.saturating_sub(memory), gap);
    if told_all { code } else { failed("an attacker did not come to its end") }
}

impl Run {
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

/// The value below which `part` in a thousand lie (nearest rank), in microseconds.
fn at(sorted: &[i64], part: usize) -> i64 {
    let rank = (sorted.len() * part).div_ceil(1000).max(1);
    sorted.get(rank - 1).copied().unwrap_or(0) / 1000
}

fn report(quiet: &mut [i64], attacked: &mut [i64], more_kib: u64, gap: u64) -> ExitCode {
    quiet.sort_unstable();
    attacked.sort_unstable();
    say(&format!(
        "late by µs, {} waits in peace and {} attacked: in peace | attacked | ratio",
        quiet.len(),
        attacked.len()
    ));
    for (name, part) in [("p50", 500), ("p99", 990), ("p99.9", 999), ("worst", 1000)] {
        let (peace, war) = (at(quiet, part), at(attacked, part));
        let hundredths = war * 100 / peace.max(1);
        say(&format!(
            "  {name:>5}  {peace:>8} | {war:>8} | {}.{:02}",
            hundredths / 100,
            hundredths % 100
        ));
    }
    say(&format!(
        "  memory: {more_kib} KiB more at the most; the phone's longest silence: {gap} ms"
    ));
    let mut wrong = Vec::new();
    if quiet.first().into_iter().chain(attacked.first()).any(|first| *first < 0) {
        wrong.push("a wake came early");
    }
    if at(attacked, 990) > 2 * at(quiet, 990) {
        wrong.push("p99 more than doubled");
    }
    if at(attacked, 999) > at(quiet, 999) + 10_000 {
        wrong.push("p99.9 grew by more than 10 ms");
    }
    if more_kib > 10 << 10 {
        wrong.push("memory grew by more than 10 MB");
    }
    if gap > 1500 {
        wrong.push("the phone heard nothing for 1.5 s");
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
