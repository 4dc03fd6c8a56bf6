//! Ordered faults in words: takes what is wrong with an order, gives a sentence with a way out.

use super::safe::safe;
use crate::vehicle::order::{KINDS, Kind, Refused};

/// The sentence.
#[must_use]
pub fn refused(why: &Refused) -> String {
    match why {
        Refused::NoKind(name) => {
            let names: Vec<&str> = KINDS.iter().map(|(name, _)| *name).collect();
            format!("there is no fault called `{}`; known are {}", safe(name), names.join(", "))
        }
        Refused::NoTurn(turn) => {
            format!("`{}` is no turn of a step; turns count from 1, as in slip@press/2", safe(turn))
        }
        Refused::NoStep(step, known) => {
            format!("there is no step `{}`; the steps are {}", safe(step), listed(known))
        }
        Refused::NoSuchTurn(step, turns) => {
            format!("step `{}` has {turns} turn{}", safe(step), if *turns == 1 { "" } else { "s" })
        }
        Refused::NotThere(kind, step, able) => format!(
            "in step `{}` there is no {}: {}. It can be in {}",
            safe(step),
            kind.name(),
            needs(*kind),
            listed(able)
        ),
        Refused::Nowhere(kind) => {
            format!("in this script there is no {}: {}", kind.name(), needs(*kind))
        }
    }
}

fn listed(names: &[String]) -> String {
    let names: Vec<String> = names.iter().map(|name| safe(name).into_owned()).collect();
    names.join(", ")
}

const fn needs(kind: Kind) -> &'static str {
    match kind {
        Kind::Silence | Kind::OtherAnswer | Kind::SlowAnswer => {
            "it needs a step that awaits an answer of the vehicle"
        }
        Kind::LostGuard => "it needs a `keep` or `never` that holds there",
        Kind::Slip => "it needs a step with an act of which somebody tells",
        Kind::MemoryFull => {
            "it needs an answer that says \"full\" and leads to an ending that is not learned"
        }
    }
}
