//! A plain HTTP client for tests, on bare sockets so that it can also send what no browser would.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::Duration;

/// Longer than any answer takes.
pub const PATIENCE: Duration = Duration::from_secs(30);

/// An answer.
#[derive(Clone, Debug)]
pub struct Answer {
    pub status: u16,
    pub headers: Vec<(String, String)>,
    pub body: String,
}

impl Answer {
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(n, _)| n.eq_ignore_ascii_case(name)).map(|(_, v)| v.as_str())
    }

    #[track_caller]
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.body).expect("JSON")
    }
}

pub fn connect(to: SocketAddr) -> TcpStream {
    let stream = TcpStream::connect(to).expect("connected");
    stream.set_read_timeout(Some(PATIENCE)).expect("set");
    stream
}

/// Sends these bytes and reads one answer; `None` where the connection ends without one.
pub fn raw(to: SocketAddr, bytes: &[u8]) -> Option<Answer> {
    let mut stream = connect(to);
    // A server that refuses early may close before all is sent.
    let _ = stream.write_all(bytes);
    answer(&mut BufReader::new(stream))
}

pub fn answer(from: &mut impl BufRead) -> Option<Answer> {
    let first = line(from)?;
    let status = first.split(' ').nth(1)?.parse().ok()?;
    let mut headers = Vec::new();
    loop {
        let line = line(from)?;
        if line.is_empty() {
            break;
        }
        let (name, value) = line.split_once(':')?;
        headers.push((name.to_owned(), value.trim().to_owned()));
    }
    let mut answer = Answer { status, headers, body: String::new() };
    let length = answer.header("content-length").and_then(|n| n.parse::<u64>().ok());
    if let Some(length) = length {
        let mut body = Vec::new();
        from.take(length).read_to_end(&mut body).ok()?;
        answer.body = String::from_utf8_lossy(&body).into_owned();
    }
    Some(answer)
}

fn line(from: &mut impl BufRead) -> Option<String> {
    let mut line = String::new();
    match from.read_line(&mut line) {
        Ok(n) if n > 0 => Some(line.trim_end().to_owned()),
        _ => None,
    }
}

/// A browser that has opened the page.
#[derive(Clone, Debug)]
pub struct Browser {
    pub at: SocketAddr,
    pub cookie: String,
    pub key: String,
}

impl Browser {
    /// Opens a page by its address.
    #[track_caller]
    pub fn open(address: &str) -> Browser {
        let (at, path) = split(address);
        let answer = get(at, &path, &[]);
        assert_eq!(answer.status, 200, "{address}");
        let cookie = answer.header("set-cookie").expect("a cookie");
        let cookie = cookie.split(';').next().expect("a first part").to_owned();
        let key = answer.body.split("name=\"key\" content=\"").nth(1).expect("a key");
        let key = key.split('"').next().expect("an end").to_owned();
        Browser { at, cookie, key }
    }

    pub fn get(&self, path: &str) -> Answer {
        get(self.at, path, &[("Cookie", &self.cookie)])
    }

    /// A change as the page sends it.
    pub fn post(&self, path: &str, body: &serde_json::Value) -> Answer {
        let origin = format!("http://{}", self.at);
        self.post_with(path, body, &[("Origin", &origin), ("X-Page-Key", &self.key)])
    }

    /// A change with these headers beside the cookie.
    pub fn post_with(
        &self,
        path: &str,
        body: &serde_json::Value,
        headers: &[(&str, &str)],
    ) -> Answer {
        let body = body.to_string();
        let mut head = format!(
            "POST {path} HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\nContent-Type: application/json\r\n\
             Content-Length: {}\r\nConnection: close\r\n",
            self.at,
            self.cookie,
            body.len()
        );
        for (name, value) in headers {
            head.push_str(&format!("{name}: {value}\r\n"));
        }
        raw(self.at, format!("{head}\r\n{body}").as_bytes()).expect("an answer")
    }

    /// The page's events from now on.
    pub fn events(&self) -> Events {
        let mut stream = connect(self.at);
        let head = format!(
            "GET /events HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\nAccept: text/event-stream\r\n\r\n",
            self.at, self.cookie
        );
        stream.write_all(head.as_bytes()).expect("sent");
        let mut from = BufReader::new(stream);
        let answer = answer(&mut from).expect("an answer");
        assert_eq!(answer.status, 200);
        assert_eq!(answer.header("content-type"), Some("text/event-stream"));
        Events { from }
    }
}

pub fn get(at: SocketAddr, path: &str, headers: &[(&str, &str)]) -> Answer {
    let mut head = format!("GET {path} HTTP/1.1\r\nHost: {at}\r\nConnection: close\r\n");
    for (name, value) in headers {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    raw(at, format!("{head}\r\n").as_bytes()).expect("an answer")
}

/// An address as socket and path.
#[track_caller]
pub fn split(address: &str) -> (SocketAddr, String) {
    let rest = address.split_once("://").expect("a scheme").1;
    let (at, path) = rest.split_once('/').expect("a path");
    (at.parse().expect("an address"), format!("/{path}"))
}

/// Events of a page.
pub struct Events {
    from: BufReader<TcpStream>,
}

impl Events {
    /// The next event: its name and data; `None` where the stream has ended.
    pub fn next(&mut self) -> Option<(String, serde_json::Value)> {
        let (mut name, mut data) = (String::new(), String::new());
        loop {
            let line = line(&mut self.from)?;
            // Lines that only say how long the next piece is belong to the transfer.
            match line.split_once(": ") {
                Some(("event", value)) => value.clone_into(&mut name),
                Some(("data", value)) => value.clone_into(&mut data),
                _ if line.is_empty() && !data.is_empty() => {
                    return Some((name, serde_json::from_str(&data).expect("JSON")));
                }
                _ => {}
            }
        }
    }

    /// The next event of this name for which this holds.
    #[track_caller]
    pub fn until(
        &mut self,
        name: &str,
        holds: impl Fn(&serde_json::Value) -> bool,
    ) -> serde_json::Value {
        loop {
            match self.next() {
                Some((n, data)) if n == name && holds(&data) => return data,
                Some(_) => {}
                None => panic!("the stream ended before such a {name}"),
            }
        }
    }
}
