//! The windows as a picture: one bar a window, drawn to one scale of time.
//!
//! Takes the bars; gives SVG that reads in black and white: what the hands may take is hatched, what is
//! to spare is empty, a tight window has a triangle and the word, not only a thicker line.

use std::fmt::Write as _;

use super::said::{length, marked, spare};
use super::{Bar, Sheet, Spare};
use crate::clock::Millis;

const WIDE: i64 = 720;
const LEFT: i64 = 250;
const RIGHT: i64 = 150;
const ROW: i64 = 46;
const TOP: i64 = 8;
/// A window that stays open is drawn this much longer than its beginning.
const OPEN_END: i64 = 4_000;

/// The picture; nothing where the script has no window.
pub(super) fn picture(sheet: &Sheet) -> Option<String> {
    let bars = &sheet.windows;
    let longest = bars.iter().map(end).max().filter(|longest| *longest > 0)?;
    let high = TOP + ROW * i64::try_from(bars.len()).unwrap_or(0) + 30;
    let scale = Scale { longest };
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDE} {high}\" role=\"img\" \
         aria-labelledby=\"windows-title windows-text\" class=\"windows\">\
         <title id=\"windows-title\">The windows of this procedure</title>\
         <desc id=\"windows-text\">{}</desc>\
         <defs><pattern id=\"hands\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\">\
         <path d=\"M0 6 L6 0\" stroke=\"#000\" stroke-width=\"1.2\"/></pattern></defs>",
        escaped(&described(bars))
    );
    scale.axis(&mut svg, high);
    for (bar, row) in bars.iter().zip(0..) {
        scale.bar(&mut svg, bar, TOP + row * ROW);
    }
    svg.push_str("</svg>");
    Some(svg)
}

fn end(bar: &Bar) -> i64 {
    bar.closes.unwrap_or(bar.opens.saturating_add(OPEN_END))
}

struct Scale {
    longest: i64,
}

impl Scale {
    fn x(&self, ms: i64) -> i64 {
        LEFT + ms.clamp(0, self.longest).saturating_mul(WIDE - LEFT - RIGHT) / self.longest
    }

    /// Whole steps that give four to eight marks.
    fn axis(&self, svg: &mut String, high: i64) {
        let steps = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600];
        let step =
            steps.iter().map(|s| s * 1000).find(|s| self.longest / s <= 6).unwrap_or(7_200_000);
        let mut at = 0;
        while at <= self.longest {
            let x = self.x(at);
            let _ = write!(
                svg,
                "<path d=\"M{x} {TOP} V{}\" stroke=\"#000\" stroke-width=\"0.4\"/>\
                 <text x=\"{x}\" y=\"{}\" text-anchor=\"middle\" class=\"small\">{}</text>",
                high - 22,
                high - 8,
                escaped(&length(Millis(at)))
            );
            at += step;
        }
    }

    fn bar(&self, svg: &mut String, bar: &Bar, y: i64) {
        let label = cut(&format!("{}  {}", bar.step, bar.act), 36);
        let _ = write!(
            svg,
            "<text x=\"0\" y=\"{}\" class=\"label\">{}</text>\
             <text x=\"0\" y=\"{}\" class=\"small\">after {}</text>",
            y + 14,
            escaped(&label),
            y + 29,
            escaped(&cut(&bar.from, 42))
        );
        let (from, to) = (self.x(bar.opens), self.x(end(bar)));
        let slack = match bar.spare {
            Some(Spare::Left { slack, .. }) => Some(slack.0.max(0)),
            Some(Spare::AtRisk) | None => None,
        };
        let safe = slack.unwrap_or(0);
        let hands_end = bar.closes.map_or(to, |closes| self.x(closes - safe));
        let hands_from =
            bar.closes.map(|closes| self.x((closes - safe - bar.hands).max(bar.opens)));
        if let Some(hands_from) = hands_from.filter(|_| slack.is_some() && bar.hands > 0) {
            let _ = write!(
                svg,
                "<rect x=\"{hands_from}\" y=\"{}\" width=\"{}\" height=\"20\" fill=\"url(#hands)\"/>",
                y + 6,
                (hands_end - hands_from).max(1)
            );
        }
        let thick = if marked(bar.spare) { 3 } else { 1 };
        let _ = write!(
            svg,
            "<rect x=\"{from}\" y=\"{}\" width=\"{}\" height=\"20\" fill=\"none\" stroke=\"#000\" \
             stroke-width=\"{thick}\"{}/>",
            y + 6,
            (to - from).max(2),
            if bar.closes.is_none() { " stroke-dasharray=\"5 3\"" } else { "" }
        );
        let _ = write!(
            svg,
            "<text x=\"{}\" y=\"{}\" class=\"label beside\">{}</text>",
            to + 8,
            y + 21,
            escaped(&beside(bar))
        );
    }
}

/// What stands beside a bar.
fn beside(bar: &Bar) -> String {
    match (bar.closes, bar.spare) {
        (None, _) => "stays open".to_owned(),
        (Some(_), Some(known)) => spare(known),
        (Some(closes), None) => format!("closes at {}", length(Millis(closes))),
    }
}

/// The same for who cannot see it.
fn described(bars: &[Bar]) -> String {
    let one = |bar: &Bar| {
        let closes = bar.closes.map_or_else(
            || format!("opens {} after", length(Millis(bar.opens))),
            |closes| format!("{} to {} after", length(Millis(bar.opens)), length(Millis(closes))),
        );
        format!("Step {}: {closes} {}; {}.", bar.step, bar.from, beside(bar))
    };
    bars.iter().map(one).collect::<Vec<_>>().join(" ")
}

fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most - 1).collect();
    format!("{}…", kept.trim_end())
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
