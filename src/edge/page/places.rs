//! Who may hold a connection: takes connections as they come, prove themselves and go; gives which one
//! must make room. Pure bookkeeping, no socket.
//!
//! A connection is a stranger's until a request with a valid session came over it. Strangers push out
//! strangers, the oldest first: whoever is in earnest sends a whole request at once, while half-open
//! connections grow old. Places for addresses from which a page was opened before, and for the
//! connections of open pages, are apart, so that no crowd of strangers can take them.

use std::collections::BTreeMap;
use std::net::IpAddr;

/// Strangers at once.
const STRANGERS: usize = 16;
/// Strangers at once from one address.
const STRANGERS_EACH: usize = 8;
/// Unproven connections at once from addresses of open pages.
const FAMILIAR: usize = 8;
/// Proven connections at once of one page: browsers open six to one server.
const PROVEN_EACH: usize = 8;
/// Proven connections at once of all pages.
const PROVEN: usize = 32;

/// The number of a connection, in the order in which they came.
pub type Id = u64;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Standing {
    Stranger,
    Familiar,
    /// Of this page.
    Proven(u32),
}

/// The connections that are open.
#[derive(Debug, Default)]
pub struct Places {
    next: Id,
    open: BTreeMap<Id, (IpAddr, Standing)>,
}

impl Places {
    /// A connection has come from an address; `familiar` where a page was opened from there before.
    /// Gives its number, and the connection that must go for it.
    pub fn come(&mut self, address: IpAddr, familiar: bool) -> (Id, Option<Id>) {
        let standing = if familiar { Standing::Familiar } else { Standing::Stranger };
        let out = match standing {
            Standing::Stranger => self
                .oldest(STRANGERS_EACH, |from, s| s == Standing::Stranger && from == address)
                .or_else(|| self.oldest(STRANGERS, |_, s| s == Standing::Stranger)),
            _ => self.oldest(FAMILIAR, |_, s| s == Standing::Familiar),
        };
        if let Some(out) = out {
            self.open.remove(&out);
        }
        let id = self.next;
        self.next += 1;
        self.open.insert(id, (address, standing));
        (id, out)
    }

    /// A connection has shown a valid session of this page. Gives the connection that must go.
    pub fn prove(&mut self, id: Id, page: u32) -> Option<Id> {
        let now = self.open.get(&id).map(|(_, standing)| *standing)?;
        if now == Standing::Proven(page) {
            return None;
        }
        let out = self
            .oldest(PROVEN_EACH, |_, s| s == Standing::Proven(page))
            .or_else(|| self.oldest(PROVEN, |_, s| matches!(s, Standing::Proven(_))));
        if let Some(out) = out {
            self.open.remove(&out);
        }
        if let Some((_, standing)) = self.open.get_mut(&id) {
            *standing = Standing::Proven(page);
        }
        out
    }

    /// A connection has ended.
    pub fn go(&mut self, id: Id) {
        self.open.remove(&id);
    }

    /// How many are open.
    #[must_use]
    pub fn len(&self) -> usize {
        self.open.len()
    }

    /// Whether none is open.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.open.is_empty()
    }

    /// The oldest of those that `which` picks, where there are already so many.
    fn oldest(&self, most: usize, which: impl Fn(IpAddr, Standing) -> bool) -> Option<Id> {
        let mut picked = self.open.iter().filter(|(_, (from, standing))| which(*from, *standing));
        let first = picked.next().map(|(id, _)| *id)?;
        (picked.count() + 1 >= most).then_some(first)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn from(last: u8) -> IpAddr {
        IpAddr::from([10, 0, 0, last])
    }

    #[test]
    fn a_crowd_of_strangers_takes_only_the_places_of_strangers() {
        let mut places = Places::default();
        let (phone, out) = places.come(from(1), false);
        assert_eq!((places.prove(phone, 1), out), (None, None));
        let mut gone = Vec::new();
        for n in 0..1000_u32 {
            let address = from(u8::try_from(n % 200).unwrap() + 2);
            gone.extend(places.come(address, false).1);
        }
        assert_eq!(places.len(), STRANGERS + 1);
        assert!(!gone.contains(&phone));
        // The oldest go first, so the latest is still there.
        assert!(gone.is_sorted() && !gone.contains(&1000));
        // The phone comes again while they stand there.
        let (again, out) = places.come(from(1), true);
        assert_eq!((out, places.prove(again, 1)), (None, None));
    }

    #[test]
    fn one_address_cannot_push_out_the_others() {
        let mut places = Places::default();
        let (other, _) = places.come(from(9), false);
        let gone: Vec<_> = (0..100).filter_map(|_| places.come(from(2), false).1).collect();
        assert_eq!(places.len(), STRANGERS_EACH + 1);
        assert!(!gone.contains(&other));
    }

    #[test]
    fn a_page_that_opens_ever_more_connections_loses_its_own_oldest() {
        let mut places = Places::default();
        let mut open = |page: u32| {
            let (id, _) = places.come(from(3), true);
            (id, places.prove(id, page))
        };
        let (other, _) = open(2);
        let (first, _) = open(1);
        for _ in 1..PROVEN_EACH {
            assert_eq!(open(1).1, None);
        }
        assert_eq!(open(1).1, Some(first));
        assert!(places.open.contains_key(&other));
        places.go(other);
        assert_eq!(places.len(), PROVEN_EACH);
    }
}
