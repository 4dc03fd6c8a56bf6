//! Typed values: what a person typed for a reading becomes a value, or a reason to ask again.
//!
//! Takes the reading's kind and the text as typed; gives a [`Value`], never a guess, and whether it is
//! what was typed to the letter. Anything else is read back before it is taken.

use crate::procedure::model::{ReadingKind, Unit};
use crate::procedure::plan::Value;

/// Why a typed value is asked again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Refused {
    /// It is no value of this kind.
    NotUnderstood,
    /// It is outside the plausible range.
    NotPlausible,
}

/// Reads a typed text as a value of this kind.
pub(super) fn read(kind: &ReadingKind, typed: &str) -> Result<Value, Refused> {
    let typed = typed.trim();
    match kind {
        ReadingKind::Number { unit, plausible } => {
            let number = number(typed, unit).ok_or(Refused::NotUnderstood)?;
            match plausible {
                Some((lo, hi)) if number < *lo || number > *hi => Err(Refused::NotPlausible),
                _ => Ok(Value::Number(number)),
            }
        }
        ReadingKind::Text if typed.is_empty() => Err(Refused::NotUnderstood),
        ReadingKind::Text => Ok(Value::Text(typed.to_owned())),
        ReadingKind::Choice(names) => names
            .iter()
            .find(|name| same_text(name, typed))
            .map(|name| Value::Text(name.clone()))
            .ok_or(Refused::NotUnderstood),
    }
}

/// Whether a value is to the letter what was typed: it need not be read back.
pub(super) fn as_typed(value: &Value, typed: &str) -> bool {
    match value {
        Value::Number(number) => canonical(*number) == typed,
        Value::Text(text) => text == typed,
    }
}

/// A number of thousandths in its shortest form: `13`, `12.65`, `-0.5`.
fn canonical(number: i64) -> String {
    let (whole, part) = (number.unsigned_abs() / 1000, number.unsigned_abs() % 1000);
    let sign = if number < 0 { "-" } else { "" };
    if part == 0 {
        return format!("{sign}{whole}");
    }
    format!("{sign}{whole}.{}", format!("{part:03}").trim_end_matches('0'))
}

/// A whole count without a unit, between two bounds, both included.
pub(super) fn count(typed: &str, least: u32, most: u32) -> Result<u32, Refused> {
    let n: u32 = typed.trim().parse().map_err(|_| Refused::NotUnderstood)?;
    if n < least || n > most { Err(Refused::NotPlausible) } else { Ok(n) }
}

/// A decimal with a point or a comma and at most three places, in thousandths; its unit may stand
/// behind it. More than one separator, a foreign unit or anything else is not a number.
fn number(typed: &str, unit: &Unit) -> Option<i64> {
    let split = typed
        .char_indices()
        .find(|(i, c)| !(c.is_ascii_digit() || *c == '.' || *c == ',' || (*i == 0 && is_sign(*c))))
        .map_or(typed.len(), |(i, _)| i);
    let (figure, rest) = typed.split_at(split);
    if !rest.trim().is_empty() && !names_unit(rest.trim(), unit) {
        return None;
    }
    let (negative, figure) = match figure.strip_prefix(['-', '−']) {
        Some(more) => (true, more),
        None => (false, figure.strip_prefix('+').unwrap_or(figure)),
    };
    let (whole, part) = figure.split_once(['.', ',']).unwrap_or((figure, ""));
    let plain = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    let whole_count = matches!(unit, Unit::Count(_));
    if whole.is_empty() || !plain(whole) || !plain(part) || part.len() > 3 {
        return None;
    }
    if figure.contains(['.', ',']) && (part.is_empty() || whole_count) {
        return None;
    }
    let whole: i64 = whole.parse().ok()?;
    let part: i64 = format!("{part:0<3}").parse().ok()?;
    let value = whole.checked_mul(1000)?.checked_add(part)?;
    Some(if negative { -value } else { value })
}

fn is_sign(c: char) -> bool {
    matches!(c, '-' | '+' | '−')
}

/// Whether a word behind a figure is this unit, in any case.
fn names_unit(word: &str, unit: &Unit) -> bool {
    let is = |names: &[&str]| names.iter().any(|name| word.eq_ignore_ascii_case(name));
    match unit {
        Unit::Volt => is(&["V", "volt", "volts"]),
        Unit::Ampere => is(&["A", "ampere", "amperes"]),
        Unit::AmpereHour => is(&["Ah"]),
        Unit::Megahertz => is(&["MHz"]),
        Unit::Kilohertz => is(&["kHz"]),
        Unit::Celsius => is(&["°C", "C"]),
        Unit::Kilopascal => is(&["kPa"]),
        Unit::KilometreHour => is(&["km/h"]),
        Unit::Percent => is(&["%"]),
        Unit::Count(name) => {
            let stem = |s: &str| s.trim_end_matches('s').to_lowercase();
            stem(word) == stem(name)
        }
    }
}

/// Two texts are the same answer: case and outer blanks do not matter.
fn same_text(a: &str, b: &str) -> bool {
    a.trim().to_lowercase() == b.trim().to_lowercase()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn volts(typed: &str, expected: Result<i64, Refused>) {
        let kind = ReadingKind::Number { unit: Unit::Volt, plausible: Some((9_000, 16_000)) };
        assert_eq!(read(&kind, typed), expected.map(Value::Number), "typed {typed:?}");
    }

    #[test]
    fn a_number_is_read_as_written_or_asked_again() {
        volts("12.65", Ok(12_650));
        volts("12,65", Ok(12_650));
        volts(" 12,65 V ", Ok(12_650));
        volts("12.6v", Ok(12_600));
        volts("+13", Ok(13_000));
        volts("1265", Err(Refused::NotPlausible));
        volts("-12.6", Err(Refused::NotPlausible));
        for typed in
            ["", "twelve", "12.6 A", "12..6", "12.", ".6", "12.6543", "1 2", "1,2,3", "V", "12e1"]
        {
            volts(typed, Err(Refused::NotUnderstood));
        }
        volts("99999999999999999999", Err(Refused::NotUnderstood));
    }

    #[test]
    fn things_are_counted_whole() {
        let kind = ReadingKind::Number { unit: Unit::Count("keys".to_owned()), plausible: None };
        assert_eq!(read(&kind, "2"), Ok(Value::Number(2_000)));
        assert_eq!(read(&kind, "1 key"), Ok(Value::Number(1_000)));
        assert_eq!(read(&kind, "2.5"), Err(Refused::NotUnderstood));
        assert_eq!(read(&kind, "2 remotes"), Err(Refused::NotUnderstood));
    }

    #[test]
    fn a_choice_is_one_of_its_names() {
        let kind = ReadingKind::Choice(vec!["fixed".to_owned(), "rolling".to_owned()]);
        assert_eq!(read(&kind, "Rolling "), Ok(Value::Text("rolling".to_owned())));
        assert_eq!(read(&kind, "roll"), Err(Refused::NotUnderstood));
    }
}
