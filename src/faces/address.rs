//! Paths as addresses: takes a file's path as a person gives it, gives a URI reference, and back.
//!
//! Only what RFC 3986 §2.3 calls unreserved stays as it is; every other byte is written `%XX`, so that
//! no name of a file can end an address or steer who reads it.

/// The URI reference of a path: `file:///…` for an absolute one, else a relative reference.
#[must_use]
pub fn of_path(path: &str) -> String {
    let path = if cfg!(windows) { path.replace('\\', "/") } else { path.to_owned() };
    let drive = cfg!(windows) && path.as_bytes().get(1) == Some(&b':');
    let before = match path.starts_with('/') {
        true => "file://",
        false if drive => "file:///",
        false => "",
    };
    format!("{before}{}", encoded(&path))
}

/// The path of a `file:` address; `None` where it is another kind of address, of another computer, or
/// not text.
#[must_use]
pub fn to_path(address: &str) -> Option<String> {
    let (scheme, rest) = address.split_once(':')?;
    if !scheme.eq_ignore_ascii_case("file") {
        return None;
    }
    let path = match rest.strip_prefix("//") {
        Some(behind) => behind.strip_prefix("localhost").unwrap_or(behind),
        None => rest,
    };
    if !path.starts_with('/') {
        return None;
    }
    let path = decoded(path)?;
    let drive = cfg!(windows) && path.as_bytes().get(2) == Some(&b':');
    Some(if drive { path[1..].to_owned() } else { path })
}

fn encoded(path: &str) -> String {
    let mut text = String::with_capacity(path.len());
    for byte in path.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
                text.push(char::from(byte));
            }
            _ => text.push_str(&format!("%{byte:02X}")),
        }
    }
    text
}

fn decoded(text: &str) -> Option<String> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.bytes();
    while let Some(byte) = rest.next() {
        if byte == b'%' {
            let digits = [rest.next()?, rest.next()?];
            let digits = std::str::from_utf8(&digits).ok()?;
            bytes.push(u8::from_str_radix(digits, 16).ok()?);
        } else {
            bytes.push(byte);
        }
    }
    String::from_utf8(bytes).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_path_comes_back_from_its_address() {
        for path in ["/a/b.bell", "/größe/鍵 1%.bell", "/a b/c#d?e\".bell", "/\u{1b}[2J"] {
            let address = of_path(path);
            assert!(address.bytes().all(|b| b.is_ascii_graphic()), "{address}");
            assert_eq!(to_path(&address).as_deref(), Some(path));
        }
    }

    #[test]
    fn relative_paths_stay_relative_and_never_look_like_a_scheme() {
        assert_eq!(of_path("a b/c.bell"), "a%20b/c.bell");
        assert_eq!(of_path("http://x"), "http%3A//x");
    }

    #[test]
    fn other_addresses_have_no_path() {
        for address in ["untitled:1", "http://host/a", "file://host/a", "file:///a%zz", "file", ""]
        {
            assert_eq!(to_path(address), None, "{address}");
        }
        assert_eq!(to_path("FILE:///a%20b").as_deref(), Some("/a b"));
        assert_eq!(to_path("file:/a").as_deref(), Some("/a"));
    }
}
