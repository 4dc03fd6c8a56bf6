//! A QR code for a terminal: takes a text, gives rows of half-blocks, two modules a character.
//!
//! A light border of four modules stands around it (ISO/IEC 18004, quiet zone; from memory). Cameras
//! want dark on light, so the light modules are drawn: on a dark terminal they are what shines.

use qrcode::types::Color;
use qrcode::{EcLevel, QrCode};

/// Modules of light around the code.
const BORDER: usize = 4;

/// The rows of the code; `None` where the text is too long for one.
#[must_use]
pub fn rows(text: &str) -> Option<Vec<String>> {
    // The lowest level of correction: a screen has no dirt on it, and fewer modules are larger ones.
    let code = QrCode::with_error_correction_level(text, EcLevel::L).ok()?;
    let width = code.width();
    let size = width + 2 * BORDER;
    let colours = code.to_colors();
    let light = |x: usize, y: usize| {
        let inside = |n: usize| n.checked_sub(BORDER).filter(|n| *n < width);
        match (inside(x), inside(y)) {
            (Some(x), Some(y)) => colours.get(y * width + x) != Some(&Color::Dark),
            _ => true,
        }
    };
    let half = |x: usize, y: usize| match (light(x, y), y + 1 >= size || light(x, y + 1)) {
        (true, true) => '█',
        (true, false) => '▀',
        (false, true) => '▄',
        (false, false) => ' ',
    };
    let row = |y: usize| (0..size).map(|x| half(x, y)).collect();
    Some((0..size).step_by(2).map(row).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_with_its_secret_fits_a_small_terminal() {
        let address = format!("HTTP://192.168.100.200:65535/{}", "Z".repeat(26));
        let rows = rows(&address).unwrap();
        assert!(rows.len() <= 20, "{} rows", rows.len());
        let wide = rows.iter().map(|row| row.chars().count()).max().unwrap();
        assert!(wide <= 40, "{wide} columns");
        assert!(rows.iter().all(|row| row.chars().count() == wide));
        // The border is light: two whole rows above and below, four columns at the sides.
        assert!(rows[..2].iter().all(|row| row.chars().all(|c| c == '█')));
        assert!(rows.iter().all(|row| row.starts_with("████") && row.ends_with("████")));
        assert_eq!(super::rows(&"x".repeat(5000)), None);
    }
}
