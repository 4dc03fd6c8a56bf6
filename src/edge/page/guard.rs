//! What a request must show before anything is done with it: takes its head, gives why it is refused.
//!
//! `Host` is looked at before any route, because a page whose name was bound anew to this computer
//! (DNS rebinding) sends its own name there and no `Origin` with a plain GET. A change needs the
//! page's own origin and its key in a header, which no foreign page can set.

use axum::http::header::{HOST, ORIGIN};
use axum::http::uri::Authority;
use axum::http::{HeaderMap, StatusCode, Uri};

use super::secret::Secret;

/// The header that carries a page's key.
pub const KEY: &str = "x-page-key";

/// Why a request is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// No `Host`, or more than one (RFC 9112 section 3.2 asks for 400).
    NoHost,
    /// Meant for somebody else.
    OtherHost,
    /// No session, or no such thing: both look alike.
    NotFound,
    /// Too many wrong tries from there.
    TooMany,
    /// A change from another origin, or without the key.
    NotOurs,
    /// No more pages.
    Full,
}

impl Refused {
    /// The status that says so.
    #[must_use]
    pub const fn status(self) -> StatusCode {
        match self {
            Refused::NoHost => StatusCode::BAD_REQUEST,
            Refused::OtherHost => StatusCode::MISDIRECTED_REQUEST,
            Refused::NotFound => StatusCode::NOT_FOUND,
            Refused::TooMany => StatusCode::TOO_MANY_REQUESTS,
            Refused::NotOurs => StatusCode::FORBIDDEN,
            Refused::Full => StatusCode::SERVICE_UNAVAILABLE,
        }
    }
}

/// Under which names the page is reached.
#[derive(Clone, Debug)]
pub struct Names {
    scheme: &'static str,
    authorities: Vec<String>,
}

impl Names {
    /// `scheme` is `http` or `https`; `authorities` are `address:port`, the printed one first.
    #[must_use]
    pub fn new(scheme: &'static str, authorities: Vec<String>) -> Names {
        Names { scheme, authorities }
    }

    /// The origin that the page has where it was opened as printed.
    #[must_use]
    pub fn origin(&self) -> String {
        format!("{}://{}", self.scheme, self.authorities.first().map_or("", String::as_str))
    }

    fn knows(&self, authority: &str) -> Option<&str> {
        let known = self.authorities.iter().find(|known| known.eq_ignore_ascii_case(authority));
        known.map(String::as_str)
    }

    /// The name by which a request calls us.
    ///
    /// # Errors
    /// [`Refused::NoHost`], [`Refused::OtherHost`].
    pub fn called(&self, headers: &HeaderMap, uri: &Uri) -> Result<&str, Refused> {
        let host = only(headers, HOST).ok_or(Refused::NoHost)?;
        let known = self.knows(host).ok_or(Refused::OtherHost)?;
        // A proxy's form of request names the host in its target too.
        match uri.authority().map(Authority::as_str) {
            Some(target) if self.knows(target) != Some(known) => Err(Refused::OtherHost),
            _ => Ok(known),
        }
    }

    /// Whether a change comes from our own page, called by this name and knowing this key.
    ///
    /// # Errors
    /// [`Refused::NotOurs`].
    pub fn change(&self, called: &str, headers: &HeaderMap, key: &Secret) -> Result<(), Refused> {
        let ours = format!("{}://{called}", self.scheme);
        let same = only(headers, ORIGIN).is_some_and(|origin| origin.eq_ignore_ascii_case(&ours));
        let site = headers.get_all("sec-fetch-site").iter().all(|site| site == "same-origin");
        let keyed = only(headers, KEY).is_some_and(|given| key.is(given));
        if same && site && keyed { Ok(()) } else { Err(Refused::NotOurs) }
    }
}

/// A header that is there once and is text.
fn only(headers: &HeaderMap, name: impl axum::http::header::AsHeaderName) -> Option<&str> {
    let mut values = headers.get_all(name).iter();
    match (values.next(), values.next()) {
        (Some(value), None) => value.to_str().ok(),
        _ => None,
    }
}

/// The value of a cookie; the first of that name counts.
#[must_use]
pub fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    let lines = headers.get_all(axum::http::header::COOKIE).iter();
    let mut pairs = lines.filter_map(|line| line.to_str().ok()).flat_map(|line| line.split(';'));
    pairs.find_map(|pair| pair.trim().split_once('=').filter(|(n, _)| *n == name).map(|(_, v)| v))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names() -> Names {
        Names::new("http", vec!["127.0.0.1:8123".to_owned(), "localhost:8123".to_owned()])
    }

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            headers.append(*name, value.parse().unwrap());
        }
        headers
    }

    #[track_caller]
    fn calls(pairs: &[(&'static str, &str)], target: &str, wanted: Result<&str, Refused>) {
        assert_eq!(names().called(&headers(pairs), &target.parse().unwrap()), wanted);
    }

    #[test]
    fn only_our_own_name_once() {
        calls(&[("host", "127.0.0.1:8123")], "/", Ok("127.0.0.1:8123"));
        calls(&[("host", "LOCALHOST:8123")], "/", Ok("localhost:8123"));
        calls(&[], "/", Err(Refused::NoHost));
        calls(&[("host", "127.0.0.1:8123"), ("host", "127.0.0.1:8123")], "/", Err(Refused::NoHost));
        calls(&[("host", "127.0.0.1:8123, evil.example")], "/", Err(Refused::OtherHost));
        for foreign in ["evil.example", "evil.example:8123", "127.0.0.1", "127.0.0.1:81", ""] {
            calls(&[("host", foreign)], "/", Err(Refused::OtherHost));
        }
        calls(&[("host", "localhost:8123")], "http://evil.example/", Err(Refused::OtherHost));
        calls(&[("host", "localhost:8123")], "http://localhost:8123/", Ok("localhost:8123"));
    }

    #[test]
    fn a_change_needs_origin_and_key() {
        let key = Secret::draw().unwrap();
        let text = key.written();
        let check = |pairs: &[(&'static str, &str)]| {
            names().change("127.0.0.1:8123", &headers(pairs), &key).is_ok()
        };
        let ours = ("origin", "http://127.0.0.1:8123");
        assert!(check(&[ours, (KEY, &text)]));
        assert!(check(&[ours, (KEY, &text), ("sec-fetch-site", "same-origin")]));
        assert!(!check(&[ours, (KEY, &text), ("sec-fetch-site", "same-site")]));
        assert!(!check(&[ours]));
        assert!(!check(&[(KEY, &text)]));
        assert!(!check(&[ours, ours, (KEY, &text)]));
        assert!(!check(&[ours, (KEY, &text), (KEY, &text)]));
        assert!(!check(&[ours, (KEY, &Secret::draw().unwrap().written())]));
        for foreign in
            ["null", "http://localhost:8123", "https://127.0.0.1:8123", "http://evil.example"]
        {
            assert!(!check(&[("origin", foreign), (KEY, &text)]), "{foreign}");
        }
    }

    #[test]
    fn a_cookie_is_found_among_others() {
        let many = headers(&[("cookie", "a=1; page=x"), ("cookie", "b=2")]);
        assert_eq!(cookie(&many, "page"), Some("x"));
        assert_eq!(cookie(&many, "b"), Some("2"));
        assert_eq!(cookie(&many, "pag"), None);
    }
}
