//! How to reach the page, on a terminal: takes the rows of a QR code, the address, what is told of it and
//! the terminal's size; gives rows among which the code stands whole, or says how large a terminal it needs.

use unicode_width::UnicodeWidthStr;

use crate::faces::safe::wrap;
use crate::faces::terminal::Size;

/// Columns between the code and what stands beside it.
const APART: usize = 2;
/// With fewer columns nothing stands beside the code.
const NARROWEST: usize = 30;

/// One row: a row of the code, with text beside it, or a text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Row {
    /// The code's part; empty where there is none.
    pub code: String,
    /// The text.
    pub text: String,
}

/// What is told.
#[derive(Clone, Copy, Debug)]
pub struct Invitation<'a> {
    /// The rows of the code, all as wide; none where there is no code.
    pub code: &'a [String],
    /// The address, which is not broken: it may be copied.
    pub address: &'a str,
    /// What it is safe against.
    pub told: &'a [String],
    /// What to do now.
    pub last: &'a str,
}

/// The rows for a terminal of this size; below them there is a row left for the cursor.
#[must_use]
pub fn rows(invitation: &Invitation<'_>, size: Size) -> Vec<Row> {
    let Invitation { code, told, .. } = *invitation;
    // The last column is left free: a terminal may break a row that fills it.
    let columns = usize::from(size.columns).saturating_sub(1);
    let wide = code.first().map_or(0, |row| row.width());
    let room = columns.saturating_sub(wide + APART);
    let beside = if room < NARROWEST { Vec::new() } else { broken(told, room) };
    let beside = if beside.len() > code.len() { Vec::new() } else { beside };
    let told = if beside.is_empty() { told } else { &[] };
    let below = below(invitation, told, None, columns);
    let taken = |text: &String| text.width().div_ceil(columns.max(1)).max(1);
    let needed = code.len() + below.iter().map(taken).sum::<usize>() + 1;
    if wide <= columns && needed <= usize::from(size.rows) {
        let beside = beside.into_iter().chain(std::iter::repeat(String::new()));
        let beside =
            beside.map(|text| format!("{}{text}", " ".repeat(APART)).trim_end().to_owned());
        let coded = code.iter().cloned().zip(beside).map(|(code, text)| Row { code, text });
        return coded.chain(texts(below)).collect();
    }
    let why = (!code.is_empty()).then(|| too_small(needed, wide + 1, size));
    texts(self::below(invitation, invitation.told, why, columns)).collect()
}

fn too_small(rows: usize, columns: usize, size: Size) -> String {
    format!(
        "This terminal is too small for the QR code, which needs {rows} rows and {columns} columns: it has \
         {} rows and {} columns. Make it larger and the code appears, or type the address.",
        size.rows, size.columns
    )
}

fn below(
    Invitation { address, last, .. }: &Invitation<'_>,
    told: &[String],
    why: Option<String>,
    columns: usize,
) -> Vec<String> {
    let more: Vec<_> = why.into_iter().chain([(*last).to_owned()]).collect();
    [vec![(*address).to_owned()], broken(told, columns), broken(&more, columns)].concat()
}

fn broken(lines: &[String], columns: usize) -> Vec<String> {
    lines.iter().flat_map(|line| wrap(line, columns, 2)).collect()
}

fn texts(lines: Vec<String>) -> impl Iterator<Item = Row> {
    lines.into_iter().map(|text| Row { code: String::new(), text })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::faces::page::qr;

    fn address() -> String {
        format!("http://192.168.100.200:65535/{}", "z".repeat(26))
    }

    fn code() -> Vec<String> {
        qr::rows(&address().to_uppercase()).expect("a code")
    }

    fn shown(code: &[String], columns: u16, rows: u16) -> Vec<Row> {
        let told = [
            "Not encrypted: whoever can read this network can read along, and can press too. Use a \
             network that you trust, or --https.",
            "If it does not open: same network? Does a firewall here block port 65535?",
        ];
        let invitation = Invitation {
            code,
            address: &format!("page: {}", address()),
            told: &told.map(str::to_owned),
            last: "Open it and press its first button; or press Enter here to begin without it.",
        };
        super::rows(&invitation, Size { columns, rows })
    }

    fn coded(rows: &[Row]) -> usize {
        rows.iter().filter(|row| !row.code.is_empty()).count()
    }

    #[test]
    fn the_whole_code_stands_on_a_usual_terminal_or_is_said_to_need_a_larger_one() {
        let code = code();
        let usual = shown(&code, 80, 24);
        assert_eq!(coded(&usual), 19);
        assert!(usual.len() < 24, "{} rows", usual.len());
        assert!(usual[0].text.starts_with("  Not encrypted:"), "told beside it: {usual:?}");
        let low = shown(&code, 80, 17);
        assert_eq!(coded(&low), 0);
        let text: Vec<_> = low.iter().map(|row| row.text.as_str()).collect();
        let text = text.join(" ");
        let why = "needs 22 rows and 38 columns: it has 17 rows and 80 columns.";
        assert!(text.split_whitespace().collect::<Vec<_>>().join(" ").contains(why), "{text}");
        assert!(text.contains("page: http://192.168.100.200:65535/zzz"));
        assert_eq!(coded(&shown(&code, 80, 21)), 0);
        assert_eq!(coded(&shown(&code, 80, 22)), 19, "what it needs is enough");
        assert_eq!(coded(&shown(&code, 30, 60)), 0, "too narrow");
        // Too narrow for text beside it: below.
        let narrow = shown(&code, 50, 40);
        assert_eq!((coded(&narrow), narrow[0].text.as_str()), (19, ""));
    }

    #[test]
    fn nothing_is_wider_or_higher_than_the_terminal() {
        let code = code();
        for columns in 20..130 {
            for rows in 8..40 {
                let shown = shown(&code, columns, rows);
                let wide = |row: &Row| row.code.width() + row.text.width();
                let too_wide = |row: &&Row| {
                    wide(row) >= usize::from(columns) && !row.text.starts_with("page: ")
                };
                assert_eq!(shown.iter().find(too_wide), None, "{columns}×{rows}");
                assert!(coded(&shown) == 0 || shown.len() < usize::from(rows), "{columns}×{rows}");
            }
        }
    }
}
