//! The page's own files, built into the program: nothing comes from outside.

/// A file of the page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Asset {
    /// What kind it is.
    pub kind: &'static str,
    /// Its text.
    pub text: &'static str,
}

/// Stands in the page for its key, a text of letters and digits.
pub const KEY_MARK: &str = "{{key}}";

/// The page, with [`KEY_MARK`] in it.
pub const PAGE: Asset =
    Asset { kind: "text/html; charset=utf-8", text: include_str!("assets/page.html") };

/// The file of this name; the page itself is [`PAGE`].
#[must_use]
pub fn asset(name: &str) -> Option<Asset> {
    const SCRIPT: &str = "text/javascript; charset=utf-8";
    let (kind, text) = match name {
        "page.css" => ("text/css; charset=utf-8", include_str!("assets/page.css")),
        "page.js" => (SCRIPT, include_str!("assets/page.js")),
        "clock.js" => (SCRIPT, include_str!("assets/clock.js")),
        "link.js" => (SCRIPT, include_str!("assets/link.js")),
        "replay.js" => (SCRIPT, include_str!("assets/replay.js")),
        "replay.css" => ("text/css; charset=utf-8", include_str!("assets/replay.css")),
        "show.js" => (SCRIPT, include_str!("assets/show.js")),
        "sound.js" => (SCRIPT, include_str!("assets/sound.js")),
        "icon.svg" => ("image/svg+xml", include_str!("assets/icon.svg")),
        _ => return None,
    };
    Some(Asset { kind, text })
}
