//! A picture of the odds: takes a study, gives a self-contained SVG of what was left of each window.
//!
//! Black on white, told apart by shape and by words, so that it can be printed and copied. Each row is
//! one window, drawn from its close (0) to its whole length; left of the close it was missed. The
//! description says the same in sentences for those who do not see it.

use std::fmt::Write as _;

use super::odds::{percent, seconds, window_words};
use super::safe::{fit, safe};
use crate::clock::Millis;
use crate::training::statistics::{Z95, fraction, wilson};
use crate::training::study::{Study, WindowRow};

/// The picture's width.
const WIDTH: i64 = 900;
/// Where the rows' drawing begins and ends: a quarter of a window before its close to its whole.
const LEFT: i64 = 330;
const RIGHT: i64 = 740;
/// The part of the drawing in front of the close.
const BEFORE: f64 = 0.2;
/// The height of a row, and where the first one stands.
const ROW: i64 = 34;
const TOP: i64 = 150;
/// More rows than these are not drawn; the report and JSON have them all.
const MOST_ROWS: usize = 40;

/// The picture.
#[must_use]
pub fn picture(study: &Study) -> String {
    let rows: Vec<&WindowRow> = study.windows.iter().take(MOST_ROWS).collect();
    let bottom = TOP + ROW * i64::try_from(rows.len()).unwrap_or(0);
    let height = bottom + 96;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" \
         width=\"{WIDTH}\" height=\"{height}\" role=\"img\" aria-labelledby=\"t d\" \
         font-family=\"sans-serif\" font-size=\"14\">\n"
    );
    let title = format!("Rehearsal: what was left of each window. {}", study.title);
    let _ = writeln!(svg, "<title id=\"t\">{}</title>", text(&title));
    let _ = writeln!(svg, "<desc id=\"d\">{}</desc>", text(&description(study, &rows)));
    svg.push_str(PATTERN);
    let _ = writeln!(svg, "<rect width=\"{WIDTH}\" height=\"{height}\" fill=\"#fff\"/>");
    head(&mut svg, study);
    scale(&mut svg, bottom);
    for (n, row) in (0..).zip(&rows) {
        draw(&mut svg, row, TOP + ROW * n + ROW / 2);
    }
    legend(&mut svg, bottom);
    svg.push_str("</svg>\n");
    svg
}

/// What lies before the close is hatched.
const PATTERN: &str = "<defs><pattern id=\"h\" width=\"6\" height=\"6\" \
                       patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">\
                       <rect width=\"6\" height=\"6\" fill=\"#fff\"/>\
                       <path d=\"M0 0V6\" stroke=\"#777\" stroke-width=\"1.5\"/></pattern></defs>\n";

fn head(svg: &mut String, study: &Study) {
    let line = |svg: &mut String, y: i64, size: i64, bold: bool, words: &str| {
        let weight = if bold { " font-weight=\"bold\"" } else { "" };
        let _ = writeln!(
            svg,
            "<text x=\"20\" y=\"{y}\" font-size=\"{size}\"{weight}>{}</text>",
            text(words)
        );
    };
    line(svg, 32, 18, true, "REHEARSAL: there is no vehicle");
    line(svg, 58, 16, true, &fit(&study.title, 90));
    line(svg, 80, 14, false, &fit(&chance(study), 120));
    let faults = match study.orders.as_slice() {
        [] => String::new(),
        orders => format!("; in every run {}", orders.join(", ")),
    };
    line(
        svg,
        100,
        14,
        false,
        &fit(&format!("{} runs, seed {}{faults}", study.runs, study.seed), 120),
    );
}

fn chance(study: &Study) -> String {
    let Some((ending, _, n)) = &study.hoped else { return "no ending is hoped for".to_owned() };
    let within = wilson(*n, study.runs, Z95);
    format!(
        "ends as hoped ({ending}) in {} of runs, 95 % interval {} to {}",
        percent(fraction(*n, study.runs)),
        percent(within.lo),
        percent(within.hi)
    )
}

fn scale(svg: &mut String, bottom: i64) {
    let zero = x(0.0);
    let _ = writeln!(
        svg,
        "<rect x=\"{LEFT}\" y=\"{TOP}\" width=\"{}\" height=\"{}\" fill=\"url(#h)\"/>",
        zero - LEFT,
        bottom - TOP
    );
    for quarter in 0..=4 {
        let at = x(f64::from(quarter) / 4.0);
        let width = if quarter == 0 { 2 } else { 1 };
        let colour = if quarter == 0 { "#000" } else { "#bbb" };
        let _ = writeln!(
            svg,
            "<path d=\"M{at} {TOP}V{bottom}\" stroke=\"{colour}\" stroke-width=\"{width}\"/>"
        );
        let label = match quarter {
            0 => "closed".to_owned(),
            4 => "all of it".to_owned(),
            n => format!("{} %", n * 25),
        };
        let anchor = if quarter == 4 { "end" } else { "middle" };
        let _ = writeln!(
            svg,
            "<text x=\"{at}\" y=\"{}\" text-anchor=\"{anchor}\" font-size=\"12\">{label}</text>",
            TOP - 8
        );
    }
    let _ = writeln!(
        svg,
        "<text x=\"{LEFT}\" y=\"{}\" font-size=\"12\">missed</text>\n\
         <text x=\"20\" y=\"{}\" font-size=\"12\">window, narrowest first</text>\n\
         <text x=\"{}\" y=\"{}\" font-size=\"12\">left in 95 of 100; missed</text>",
        TOP - 24,
        TOP - 8,
        RIGHT + 10,
        TOP - 8
    );
}

/// Where a part of a window lies.
fn x(part: f64) -> i64 {
    #[expect(clippy::cast_precision_loss, reason = "a picture's width")]
    let width = (RIGHT - LEFT) as f64;
    let along = (part.clamp(-BEFORE, 1.0) + BEFORE) / (1.0 + BEFORE) * width;
    #[expect(clippy::cast_possible_truncation, reason = "inside the picture")]
    let along = libm::round(along) as i64;
    LEFT + along
}

/// A thin line holds 98 of 100, a thick one 90 of 100, a white mark half.
fn draw(svg: &mut String, row: &WindowRow, y: i64) {
    let at = |p| row.left.quantile(p).map(|left| x(part(left, row.length)));
    let label = fit(&window_words(row), 42);
    let _ = writeln!(svg, "<text x=\"20\" y=\"{}\">{}</text>", y + 5, text(&label));
    if let (Some(p1), Some(p5), Some(p50), Some(p95), Some(p99)) =
        (at(10), at(50), at(500), at(950), at(990))
    {
        let _ = writeln!(
            svg,
            "<path d=\"M{p1} {y}H{p99}\" stroke=\"#000\" stroke-width=\"2\"/>\n\
             <rect x=\"{p5}\" y=\"{}\" width=\"{}\" height=\"12\" fill=\"#000\"/>\n\
             <rect x=\"{}\" y=\"{}\" width=\"4\" height=\"20\" fill=\"#fff\" stroke=\"#000\" \
             stroke-width=\"1.5\"/>",
            y - 6,
            (p95 - p5).max(2),
            p50 - 2,
            y - 10
        );
    }
    let left = row.left.quantile(50).map_or_else(String::new, seconds);
    let missed = percent(fraction(row.missed(), row.left.n()));
    let _ = writeln!(svg, "<text x=\"{}\" y=\"{}\">{left}; {missed}</text>", RIGHT + 10, y + 5);
}

fn part(left: Millis, length: Millis) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "lengths are far below 2^53 ms")]
    let part = left.0 as f64 / length.0.max(1) as f64;
    part
}

fn legend(svg: &mut String, bottom: i64) {
    let words = [
        "Thin line: 98 of 100 runs. Thick line: 90 of 100. White mark: half of them had more left.",
        "What lies further out than the drawing is drawn at its edge. The numbers are the script's \
         author's claim.",
    ];
    for (n, words) in (0..).zip(words) {
        let y = bottom + 34 + 22 * n;
        let _ = writeln!(svg, "<text x=\"20\" y=\"{y}\" font-size=\"13\">{words}</text>");
    }
}

fn description(study: &Study, rows: &[&WindowRow]) -> String {
    let mut text = format!("{} runs without a vehicle: {}.", study.runs, chance(study));
    for row in rows {
        let left = |p| row.left.quantile(p).map_or_else(String::new, seconds);
        let _ = write!(
            text,
            " {}: missed in {}; left in 95 of 100: {}, in half: {}.",
            window_words(row),
            percent(fraction(row.missed(), row.left.n())),
            left(50),
            left(500)
        );
    }
    text
}

/// A text inside an element: harmless, and without markup of its own.
fn text(words: &str) -> String {
    safe(words)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}
