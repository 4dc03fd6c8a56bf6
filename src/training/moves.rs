//! What a viewer of a replay wants: takes a text, as it is typed or sent by a page, gives a move.

use crate::clock::{Millis, Moment};

/// What a viewer wants.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Move {
    /// Stand still, or go on.
    Pause,
    /// Go on.
    Run,
    /// Stand still.
    Still,
    /// To the next cue.
    Cue,
    /// To the cue before.
    CueBack,
    /// So much later, or earlier where negative.
    By(Millis),
    /// To a moment of the record.
    To(Moment),
    /// To a step by name, for the nth time; where none is given, the next such step, else the first.
    Step(String, Option<u32>),
    /// To the next mark.
    Mark,
    /// To the mark before.
    MarkBack,
    /// Twice as quick.
    Quicker,
    /// Half as quick.
    Slower,
    /// Shorten idle stretches, or no longer.
    Idle,
    /// Stop at marks, or no longer.
    Stops,
    /// To the beginning.
    Begin,
    /// To the end.
    End,
}

/// A move in a word, as it is typed or sent by a page: `pause`, `cue`, `+5s`, `1:05`, a step's name.
#[must_use]
pub fn read_move(text: &str) -> Option<Move> {
    let text = text.trim();
    Some(match text.to_ascii_lowercase().as_str() {
        "" => return None,
        "pause" => Move::Pause,
        "play" => Move::Run,
        "still" => Move::Still,
        "cue" => Move::Cue,
        "cue back" => Move::CueBack,
        "mark" => Move::Mark,
        "mark back" => Move::MarkBack,
        "faster" => Move::Quicker,
        "slower" => Move::Slower,
        "idle" => Move::Idle,
        "stops" => Move::Stops,
        "begin" => Move::Begin,
        "end" => Move::End,
        lower => return Some(place(lower, text)),
    })
}

/// A time (`1:05`, `65s`, `2min 3s`, with a sign so much on or back) or a step (`wake`, `wake/2`).
fn place(lower: &str, text: &str) -> Move {
    if let Some(ms) = lower.strip_suffix("ms").and_then(|n| n.trim().parse::<i64>().ok()) {
        return Move::To(Moment(ms));
    }
    let by = |rest: &str| length(rest.trim());
    match (lower.strip_prefix('+').and_then(by), lower.strip_prefix(['-', '−']).and_then(by)) {
        (Some(on), _) => return Move::By(on),
        (_, Some(back)) => return Move::By(Millis(-back.0)),
        _ => {}
    }
    if let Some(at) = length(lower) {
        return Move::To(Moment(at.0));
    }
    let text = text.strip_prefix("step ").unwrap_or(text).trim();
    let numbered = text.rsplit_once('/').and_then(|(name, n)| Some((name, n.parse().ok()?)));
    match numbered {
        Some((name, nth)) => Move::Step(name.trim().to_owned(), Some(nth)),
        None => Move::Step(text.to_owned(), None),
    }
}

/// `1:05`, `1:02:03`, `65s`, `2min 3s`, `65`; at most a hundred hours.
fn length(text: &str) -> Option<Millis> {
    const MOST: i64 = 360_000_000;
    let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    let ms = if text.contains(':') {
        let parts: Option<Vec<i64>> =
            text.split(':').map(|p| p.parse().ok().filter(|_| digits(p))).collect();
        let parts = parts.filter(|parts| parts.len() <= 3)?;
        parts
            .iter()
            .try_fold(0_i64, |sum, part| sum.checked_mul(60)?.checked_add(*part))?
            .checked_mul(1000)?
    } else if digits(text) {
        text.parse::<i64>().ok()?.checked_mul(1000)?
    } else {
        i64::try_from(humantime::parse_duration(text).ok()?.as_millis()).ok()?
    };
    (ms <= MOST).then_some(Millis(ms))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moves_are_read_as_they_are_typed() {
        let step = |name: &str, nth| Some(Move::Step(name.to_owned(), nth));
        assert_eq!(read_move(" pause "), Some(Move::Pause));
        assert_eq!(read_move("+5s"), Some(Move::By(Millis(5000))));
        assert_eq!(read_move("-2min"), Some(Move::By(Millis(-120_000))));
        assert_eq!(read_move("1:05"), Some(Move::To(Moment(65_000))));
        assert_eq!(read_move("1:02:03"), Some(Move::To(Moment(3_723_000))));
        assert_eq!(read_move("65"), Some(Move::To(Moment(65_000))));
        assert_eq!(read_move("-1500ms"), Some(Move::To(Moment(-1500))));
        assert_eq!(read_move("wake"), step("wake", None));
        assert_eq!(read_move("step wake/2"), step("wake", Some(2)));
        assert_eq!(read_move(""), None);
        assert_eq!(read_move("99999999999999:00"), step("99999999999999:00", None));
    }
}
