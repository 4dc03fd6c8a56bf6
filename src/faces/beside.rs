//! Two records side by side: takes what the other one shows, gives its lines; on a wide screen takes a view
//! of both, gives them in two columns. On a narrow one the other stands below.

use super::head::Beside;
use unicode_width::UnicodeWidthStr;

use super::safe::wrap;
use super::terminal::Size;
use super::words::{Kind, Line, View, view};
use crate::journal::happened::Window;

/// From here on there is room for two columns.
const WIDE: u16 = 100;
/// Between them.
const RULE: &str = " | ";

/// The lines of the other record, its name first.
#[must_use]
pub fn lines(beside: &Beside) -> Vec<(Kind, String)> {
    let View { lines, .. } = view(&beside.picture, &beside.setting);
    let name = (Kind::Beside, format!("BESIDE: {}", beside.name));
    let rest = lines.into_iter().filter_map(|line| match line.kind {
        Kind::Banner | Kind::Keys | Kind::Record | Kind::Aside | Kind::Why => None,
        Kind::Window => Some((Kind::BesideWindow, line.text)),
        _ => Some((Kind::Beside, line.text)),
    });
    std::iter::once(name).chain(rest).collect()
}

/// A view with the other record's lines to the right of this one's, where there is room.
#[must_use]
pub fn columns(mut view: View, size: Size) -> View {
    let other = |line: &Line| matches!(line.kind, Kind::Beside | Kind::BesideWindow);
    let (Some(from), Some(last)) =
        (view.lines.iter().position(other), view.lines.iter().rposition(other))
    else {
        return view;
    };
    if size.columns < WIDE {
        return view;
    }
    let begins = view.lines.iter().position(|line| line.kind != Kind::Banner).unwrap_or(from);
    let room = usize::from(size.columns).saturating_sub(1 + RULE.len());
    let (left, right) = (room.div_ceil(2), room / 2);
    let broken = |lines: &[Line], width: usize| -> Vec<String> {
        lines.iter().flat_map(|line| wrap(&line.text, width, 2)).collect()
    };
    let mut here = vec!["THIS RECORD".to_owned()];
    here.extend(broken(view.lines.get(begins..from).unwrap_or_default(), left));
    let there = broken(view.lines.get(from..=last).unwrap_or_default(), right);
    let none = String::new();
    let rows = (0..here.len().max(there.len())).map(|nth| {
        let (one, two) = (here.get(nth).unwrap_or(&none), there.get(nth).unwrap_or(&none));
        let blanks = " ".repeat(left.saturating_sub(one.width()));
        let text = format!("{one}{blanks}{RULE}{two}").trim_end().to_owned();
        Line { kind: Kind::Beside, text, window: Window::None }
    });
    let rows: Vec<Line> = rows.collect();
    view.lines.splice(begins..=last, rows);
    view.bar = None;
    view
}
