//! What the other faces say about open pages: takes how each page is, gives sentences.

/// What a page is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// Its presses lead the run.
    Leads,
    /// It reports what the helper does.
    Helps,
    /// It only shows.
    Watches,
}

/// Whether a page can be heard.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Sound {
    /// Nobody has turned it on.
    #[default]
    Off,
    /// On.
    On,
    /// It was on, and something (a call) took it away.
    Interrupted,
}

/// How a page is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Status {
    /// Its number, from 1.
    pub page: u32,
    /// What it is for.
    pub role: Role,
    /// Whether it was closed, as far as can be told: it has no line any more and has not come back.
    pub gone: bool,
    /// Whether nothing has been heard of it for a while.
    pub missing: bool,
    /// Whether it is hidden: another app, a call, a dark screen.
    pub hidden: bool,
    /// Whether it can be heard.
    pub sound: Sound,
}

/// What is wrong with a page that somebody presses on; nothing where all is well.
#[must_use]
pub fn trouble(status: Status) -> Option<String> {
    let page = status.page;
    if status.gone {
        return match status.role {
            Role::Leads => Some(format!(
                "the phone that leads is gone (page {page}): press at the computer, or another page \
                 can take the lead"
            )),
            Role::Helps => Some(format!("the helper's phone is gone (page {page})")),
            Role::Watches => None,
        };
    }
    let whose = match status.role {
        Role::Leads => format!("page {page}, which leads,"),
        Role::Helps => format!("page {page}, for the helper,"),
        Role::Watches => return None,
    };
    let what = match status {
        Status { missing: true, .. } => "is not heard of: press at the computer",
        Status { hidden: true, .. } => {
            "is hidden (another app, a call, a dark screen): it may be silent"
        }
        Status { sound: Sound::Interrupted, .. } => {
            "has lost its sound: tap there to turn it on again"
        }
        _ => return None,
    };
    Some(format!("{whose} {what}"))
}

/// Who is there, in one line; nothing where nobody is.
#[must_use]
pub fn present(all: &[Status]) -> Option<String> {
    let there = all.iter().filter(|status| !status.missing && !status.gone);
    let words: Vec<_> = there
        .map(|status| {
            let does = match status.role {
                Role::Leads => "leads",
                Role::Helps => "helps",
                Role::Watches => "watches",
            };
            format!("page {} {does}", status.page)
        })
        .collect();
    (!words.is_empty()).then(|| words.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    const WELL: Status = Status {
        page: 1,
        role: Role::Leads,
        gone: false,
        missing: false,
        hidden: false,
        sound: Sound::On,
    };

    #[test]
    fn only_what_somebody_presses_on_is_a_trouble() {
        assert_eq!(trouble(WELL), None);
        let told = |status| trouble(status).unwrap_or_default();
        assert!(told(Status { missing: true, ..WELL }).contains("not heard of"));
        assert!(told(Status { hidden: true, ..WELL }).contains("a call"));
        let gone = Status { gone: true, hidden: true, ..WELL };
        assert!(told(gone).contains("is gone") && !told(gone).contains("hidden"));
        assert!(told(Status { role: Role::Helps, ..gone }).contains("the helper's phone is gone"));
        assert_eq!(trouble(Status { role: Role::Watches, ..gone }), None);
        let sound = Sound::Interrupted;
        assert!(told(Status { sound, role: Role::Helps, ..WELL }).contains("for the helper"));
        assert_eq!(trouble(Status { missing: true, role: Role::Watches, ..WELL }), None);
        assert_eq!(trouble(Status { sound: Sound::Off, ..WELL }), None);
    }

    #[test]
    fn who_is_there_is_one_line() {
        let two = Status { page: 2, role: Role::Watches, ..WELL };
        assert_eq!(present(&[WELL, two]).unwrap(), "page 1 leads, page 2 watches");
        assert_eq!(present(&[Status { missing: true, ..WELL }]), None);
        assert_eq!(present(&[Status { gone: true, ..WELL }, two]).unwrap(), "page 2 watches");
    }
}
