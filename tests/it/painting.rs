//! The painter against a terminal's own reading of its bytes: whatever was painted before, the screen
//! shows exactly the last view, and no row of an older one.

use proptest::prelude::*;
use stepbell::clock::Millis;
use stepbell::faces::terminal::{Painter, Size};
use stepbell::faces::words::{Far, Kind, Line, View};
use stepbell::journal::happened::Window;

const SIZES: [Size; 2] = [Size { columns: 80, rows: 24 }, Size { columns: 100, rows: 30 }];
/// Columns of the bar, and where it and the large digits begin.
const BAR: usize = 44;
const INDENT: usize = 16;

fn line(kind: Kind, text: &str) -> Line {
    let window = if kind == Kind::Window { Window::Safe } else { Window::None };
    Line { kind, text: text.to_owned(), window }
}

/// The three lines that are always there, with what stands around them.
fn view(act: &str, more: &[(Kind, &str)], bar: Option<(i64, i64)>) -> View {
    let mut lines = vec![
        line(Kind::Title, "Show one key twice · step 1 of 2: wake"),
        line(Kind::Hands, "In your hands:  the working key (one band of tape)"),
        line(Kind::Do, &format!("Do:             {act}")),
        line(Kind::Means, "Your press:     Space = the answer came: you see the dash lit"),
    ];
    lines.extend(more.iter().map(|(kind, text)| line(*kind, text)));
    View { lines, bar: bar.map(|(left, whole)| (Millis(left), Millis(whole))), far: Far::default() }
}

fn terminal(size: Size) -> vt100::Parser {
    vt100::Parser::new(
        size.rows.try_into().expect("rows"),
        size.columns.try_into().expect("columns"),
        0,
    )
}

/// The screen's rows without blanks at their ends, up to the last that shows anything.
fn rows(parser: &vt100::Parser, size: Size) -> Vec<String> {
    let text = parser.screen().rows(0, size.columns).map(|row| row.trim_end().to_owned());
    let mut rows: Vec<_> = text.collect();
    while rows.last().is_some_and(String::is_empty) {
        rows.pop();
    }
    rows
}

/// What a painter that has painted nothing else puts on an empty screen.
fn alone(view: &View, size: Size, colour: bool) -> Vec<String> {
    let mut parser = terminal(size);
    parser.process(&Painter::new(size, colour).paint(view, size));
    rows(&parser, size)
}

/// Paints views one after the other on one screen; after each, nothing else stands there.
#[track_caller]
fn in_a_row(views: &[View], size: Size, colour: bool) {
    let mut parser = terminal(size);
    let mut painter = Painter::new(size, colour);
    for (nth, view) in views.iter().enumerate() {
        parser.process(&painter.paint(view, size));
        assert_eq!(rows(&parser, size), alone(view, size, colour), "view {nth} at {size:?}");
        assert!(parser.screen().hide_cursor());
        assert!(painter.paint(view, size).is_empty(), "the same view needs no bytes");
    }
    parser.process(&painter.leave());
    assert!(!parser.screen().hide_cursor(), "the cursor is back");
    let last = views.last().map_or_else(Vec::new, |view| alone(view, size, colour));
    assert_eq!(rows(&parser, size), last, "the last view is left standing");
    assert_eq!(usize::from(parser.screen().cursor_position().0), last.len(), "below the view");
}

fn samples() -> Vec<View> {
    let long = "Hold the working key against the start button, its flat side first, until the chime \
                sounds once, then lay it back into the tray on the passenger seat and close the lid.";
    let digits = "[== OPEN ==]  18 s left to act";
    let every: Vec<(Kind, &str)> = vec![
        (Kind::Window, digits),
        (Kind::Why, "                (20s after wake, line 27)"),
        (Kind::Question, "? Which key is it?"),
        (Kind::Answer, "  1  the working key"),
        (Kind::Answer, "  2  the new key"),
        (Kind::Typing, "> 12,6_"),
        (Kind::Next, "Next:           Put the key into the tin box."),
        (Kind::Record, "record: saved"),
        (Kind::Keys, "Space done · e something else · s slip · a again · b back · q stop"),
    ];
    let crowd = vec![(Kind::Remark, "! one of very many remarks, each on a row of its own"); 40];
    vec![
        view("Press.", &[], None),
        view(long, &every, Some((18_000, 20_000))),
        view(long, &every, Some((7_900, 20_000))),
        view("Press.", &[(Kind::Window, digits)], Some((100, 20_000))),
        view(&long.repeat(4), &every, Some((20_000, 20_000))),
        view("鍵を押す, Zündschlüssel é ↑", &every, Some((754_000, 900_000))),
        view("Press.", &crowd, None),
        view(
            "Press.",
            &[(Kind::Ended, "ENDED: learned. What was to be learned is learned.")],
            None,
        ),
    ]
}

#[test]
fn the_screen_is_the_last_view_and_nothing_else() {
    for size in SIZES {
        for colour in [false, true] {
            let mut views = samples();
            in_a_row(&views, size, colour);
            views.reverse();
            in_a_row(&views, size, colour);
        }
    }
}

/// What one view looks like, said without the painter's help.
#[test]
fn a_view_is_its_lines_its_digits_and_its_bar() {
    let digits = "[== OPEN ==]  18 s left to act";
    for size in SIZES {
        let shown = alone(&view("Press.", &[(Kind::Window, digits)], Some((10, 20))), size, true);
        assert_eq!(shown[0], "Show one key twice · step 1 of 2: wake");
        assert_eq!(shown[1], "In your hands:  the working key (one band of tape)");
        assert_eq!(shown[2], "Do:             Press.");
        assert_eq!(shown[3], "Your press:     Space = the answer came: you see the dash lit");
        let at = shown.iter().position(|row| row == digits).expect("the window's line");
        assert!(at > 4, "large digits stand above it: {shown:#?}");
        for row in &shown[4..at] {
            assert!(row.is_empty() || row.starts_with(&" ".repeat(INDENT)), "{shown:#?}");
        }
        let bar = shown[at + 1].trim_start();
        assert_eq!(bar.len(), BAR, "{shown:#?}");
        let full = bar.chars().filter(|c| *c == '#').count();
        // The piece that is running out counts as full.
        assert_eq!(full, BAR / 2 + 1, "half the time, half the bar: {bar}");
        assert_eq!(shown.len(), at + 2);
    }
}

#[test]
fn a_bar_is_full_at_its_beginning_and_empty_at_its_end() {
    for (left, mark) in [(20, "#"), (0, "-")] {
        let view = view("Press.", &[(Kind::Window, "[== OPEN ==]")], Some((left, 20)));
        let shown = alone(&view, SIZES[0], false);
        assert_eq!(shown.last().map(|row| row.trim_start()), Some(mark.repeat(BAR).as_str()));
    }
}

#[test]
fn every_word_of_a_long_line_is_on_the_screen() {
    for size in SIZES {
        let words: Vec<String> = (0..60).map(|n| format!("word{n}")).collect();
        let shown = alone(&view(&words.join(" "), &[], None), size, true).join("\n");
        for word in &words {
            assert!(shown.split_whitespace().any(|seen| seen == word), "{word} in\n{shown}");
        }
    }
}

/// A view in a terminal that scrolls: what stood above it stays above it.
#[test]
fn a_view_that_begins_on_the_last_row_moves_up_whole() {
    for size in SIZES {
        let mut parser = terminal(size);
        let mut painter = Painter::new(size, true);
        parser.process("\r\n".repeat(usize::from(size.rows) - 2).as_bytes());
        parser.process(b"$ stepbell guide\r\n");
        for view in samples() {
            parser.process(&painter.paint(&view, size));
            let wanted = alone(&view, size, true);
            let shown = rows(&parser, size);
            let at = shown.iter().position(|row| row == &wanted[0]).expect("its first row");
            assert_eq!(shown[at..], wanted, "{size:?}");
        }
    }
}

/// Whatever the terminal made of the old frame when its size changed, nothing of it is left.
#[test]
fn another_size_lays_the_view_out_anew() {
    let sizes = [SIZES[0], Size { columns: 40, rows: 12 }, SIZES[1]];
    let mut painter = Painter::new(SIZES[0], false);
    let mut parser = terminal(SIZES[0]);
    for (view, size) in samples().iter().zip(sizes.iter().cycle()) {
        let rows_ = size.rows.try_into().expect("rows");
        parser.screen_mut().set_size(rows_, size.columns.try_into().expect("columns"));
        parser.process(&painter.paint(view, *size));
        assert_eq!(rows(&parser, *size), alone(view, *size, false), "{size:?}");
        // A frame that was still laid out for another size is broken by the terminal.
        parser.process("one of the old frame's rows that is long \r\n".repeat(5).as_bytes());
    }
}

fn any_view() -> impl Strategy<Value = View> {
    let kind = prop::sample::select(vec![
        Kind::Window,
        Kind::Why,
        Kind::Question,
        Kind::Answer,
        Kind::Notice,
        Kind::Remark,
        Kind::Next,
        Kind::Record,
    ]);
    let text = "[a-z鍵ü]{1,30}( [a-z鍵ü]{1,12}){0,30}";
    let more = prop::collection::vec((kind, text), 0..12);
    let bar = prop::option::of((0..700_000_i64, 1..700_000_i64));
    ("[a-z]{1,12}( [a-z]{1,12}){0,40}", more, bar).prop_map(|(act, more, bar)| {
        let more: Vec<_> = more.iter().map(|(kind, text)| (*kind, text.as_str())).collect();
        view(&act, &more, bar.map(|(left, whole)| (left.min(whole), whole)))
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_views_in_a_row_leave_only_the_last(
        views in prop::collection::vec(any_view(), 2..6),
        size in prop::sample::select(SIZES.to_vec()),
        colour: bool,
    ) {
        in_a_row(&views, size, colour);
    }
}
