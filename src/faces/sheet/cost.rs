//! Ways to get a key, compared: the author's own figures, kept out of the timing language.
//!
//! Takes the text of a table (comma-separated, one way a line); gives the ways with what n keys cost
//! by each, and from how many keys on one way costs less than another. Money is counted in hundredths
//! of whatever the author counts in; the column's heading may say in what: `once (crowns)`.
//!
//! ```text
//! way,once (crowns),each (crowns),minutes each,note
//! ready-made by a dealer,0,1900,0,two weeks
//! own tool with a blank,2600,350,40,the tool is shared with the neighbour
//! ```

/// Figures beyond this are taken for a slip of the pen.
const MOST: i64 = 1_000_000_000;
/// The largest number of keys that is compared.
pub(super) const MOST_KEYS: i64 = 12;
/// More ways than this are no comparison.
const MOST_WAYS: usize = 12;

/// The table.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Costs {
    /// In what the author counts; empty where not said.
    pub unit: String,
    /// The ways, in the author's order.
    pub ways: Vec<WayToGet>,
}

/// One way to get a key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WayToGet {
    /// What it is.
    pub name: String,
    /// What it costs once, in hundredths: tools, travel.
    pub once: i64,
    /// What each key costs, in hundredths.
    pub each: i64,
    /// Minutes of work for each key.
    pub minutes: i64,
    /// A remark.
    pub note: String,
}

/// What is wrong with a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// The line, from 1.
    pub line: u64,
    /// What, as a sentence.
    pub what: String,
}

impl WayToGet {
    /// What n keys cost by this way, in hundredths.
    #[must_use]
    pub const fn total(&self, keys: i64) -> i64 {
        self.once.saturating_add(self.each.saturating_mul(keys))
    }
}

/// From how many keys on the second way costs no more than the first, where it costs more for fewer.
#[must_use]
pub(super) fn break_even(first: &WayToGet, second: &WayToGet) -> Option<i64> {
    let saved = first.each - second.each;
    let more = second.once - first.once;
    if saved <= 0 || second.total(1) <= first.total(1) {
        return None;
    }
    let keys = more.div_euclid(saved) + i64::from(more.rem_euclid(saved) > 0);
    Some(keys.max(1))
}

/// Reads a table.
///
/// # Errors
/// Every line that cannot be meant, with its number.
pub fn costs(text: &str) -> Result<Costs, Vec<Mistake>> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .flexible(true)
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let heading = match reader.headers() {
        Ok(heading) => heading.clone(),
        Err(why) => return Err(vec![Mistake { line: 1, what: why.to_string() }]),
    };
    let column = |name: &str| heading.iter().position(|cell| plain(cell) == name);
    let wanted = ["way", "once", "each"];
    let missing: Vec<Mistake> = wanted
        .iter()
        .filter(|name| column(name).is_none())
        .map(|name| Mistake {
            line: 1,
            what: format!("there is no column \"{name}\". Wanted are: way, once, each; more may be: minutes each, note"),
        })
        .collect();
    let (Some(way), Some(once), Some(each)) = (column("way"), column("once"), column("each"))
    else {
        return Err(missing);
    };
    let (minutes, note) = (column("minutes each"), column("note"));
    let mut costs = Costs { unit: unit(heading.get(once).unwrap_or("")), ways: Vec::new() };
    let mut mistakes = Vec::new();
    for row in reader.records() {
        let row = match row {
            Ok(row) => row,
            Err(why) => {
                let line = why.position().map_or(0, csv::Position::line);
                mistakes.push(Mistake { line, what: why.to_string() });
                continue;
            }
        };
        let line = row.position().map_or(0, csv::Position::line);
        let cell = |at: usize| row.get(at).unwrap_or("").to_owned();
        let figure = |at: usize, scale: i64, name: &str| {
            number(&cell(at), scale).ok_or_else(|| Mistake {
                line,
                what: format!(
                    "\"{}\" is no amount for \"{name}\"; wanted is a figure like 35 or 12.50",
                    cell(at)
                ),
            })
        };
        let worked = minutes.filter(|at| !cell(*at).is_empty());
        let minutes = worked.map_or(Ok(0), |at| figure(at, 1, "minutes each"));
        match (figure(once, 100, "once"), figure(each, 100, "each"), minutes) {
            (Ok(once), Ok(each), Ok(minutes)) if !cell(way).is_empty() => {
                let note = note.map(cell).unwrap_or_default();
                costs.ways.push(WayToGet { name: cell(way), once, each, minutes, note });
            }
            (once, each, minutes) => {
                mistakes.extend([once.err(), each.err(), minutes.err()].into_iter().flatten());
                if cell(way).is_empty() {
                    mistakes.push(Mistake { line, what: "the way has no name".to_owned() });
                }
            }
        }
    }
    if costs.ways.len() > MOST_WAYS {
        let what = format!("more than {MOST_WAYS} ways are no comparison");
        mistakes.push(Mistake { line: 1, what });
    }
    if mistakes.is_empty() { Ok(costs) } else { Err(mistakes) }
}

/// A heading without its unit.
fn plain(cell: &str) -> String {
    cell.split('(').next().unwrap_or("").trim().to_lowercase()
}

/// What stands between the brackets of a heading.
fn unit(cell: &str) -> String {
    let inside = cell.split_once('(').and_then(|(_, rest)| rest.split_once(')'));
    inside.map_or_else(String::new, |(unit, _)| unit.trim().to_owned())
}

/// A figure with at most two decimals, in parts of `scale`; no sign.
fn number(cell: &str, scale: i64) -> Option<i64> {
    let (whole, part) = cell.split_once('.').unwrap_or((cell, ""));
    let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    if whole.is_empty() || !digits(whole) || !digits(part) || part.len() > 2 {
        return None;
    }
    if scale == 1 && !part.is_empty() {
        return None;
    }
    let part: i64 = format!("{part:0<2}").parse().ok()?;
    let value = whole.parse::<i64>().ok()?.checked_mul(scale)?;
    let value = if scale == 100 { value.checked_add(part)? } else { value };
    (value <= MOST).then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: &str = "way,once (crowns),each (crowns),minutes each,note\n\
        ready-made by a dealer,0,1900,0,two weeks\n\
        own tool with a blank,2600,350.50,40,\"shared, by two\"\n";

    #[test]
    fn the_dearer_beginning_pays_from_the_second_key_on() {
        let costs = costs(TABLE).unwrap();
        assert_eq!(costs.unit, "crowns");
        let [dealer, own] = &costs.ways[..] else { panic!("two ways") };
        // 1 key: 1900 against 2950.50; 2 keys: 3800 against 3301.
        assert_eq!((dealer.total(2), own.total(2)), (380_000, 330_100));
        assert_eq!(break_even(dealer, own), Some(2));
        assert_eq!(break_even(own, dealer), None);
        assert_eq!(own.note, "shared, by two");
    }

    #[test]
    fn what_cannot_be_meant_is_told_with_its_line() {
        let table = "way,once,each\na,1,-2\n,3,4\nb,1e5,2\nc,1,2.345\n";
        let lines: Vec<u64> = costs(table).unwrap_err().iter().map(|m| m.line).collect();
        assert_eq!(lines, [2, 3, 4, 5]);
        assert_eq!(costs("name,price\nx,1\n").unwrap_err().len(), 3);
    }

    #[test]
    fn from_the_break_even_on_the_second_is_never_dearer() {
        for (once, each) in [(0, 500), (100, 350), (900, 1), (333, 333)] {
            let first = WayToGet {
                name: String::new(),
                once: 0,
                each: 500,
                minutes: 0,
                note: String::new(),
            };
            let second = WayToGet { once, each, ..first.clone() };
            if let Some(keys) = break_even(&first, &second) {
                assert!(second.total(keys) <= first.total(keys));
                assert!(second.total(keys - 1) > first.total(keys - 1));
            }
        }
    }
}
