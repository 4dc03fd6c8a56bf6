//! From how far a character can be read: takes the height of a terminal's row and a number of rows,
//! gives distances, and the rows that a distance needs.
//!
//! NUREG-0700, revision 2 (2002), 1.3.1-4: a character's height is 6.283 · D · MA / 21600, where D is
//! the distance and MA the angle that it fills, in minutes of arc: at least 16, preferably 20 to 22.

use std::fmt;

/// The distance that the large digits are made for, in millimetres: two or three metres from the
/// screen, both hands at the vehicle (common practice).
pub const ACROSS_THE_GARAGE: u64 = 3000;
/// The least angle, in minutes of arc.
pub const LEAST: u64 = 16;
/// The preferred angle.
pub const PREFERRED: u64 = 22;

/// The height of one row of the terminal, in micrometres. What a program is told of a screen does not
/// say how large it is, so this is an assumption that a person can better with a ruler.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RowHeight(u32);

impl Default for RowHeight {
    /// 3 mm: 19 picture points of 0.161 mm, which is 10-point text with its leading on a 14-inch
    /// screen of 1920 points that is not scaled up. Most set-ups are larger (computed; common
    /// practice, no source).
    fn default() -> RowHeight {
        RowHeight(3000)
    }
}

impl RowHeight {
    /// From millimetres such as `3` or `4.25`.
    ///
    /// # Errors
    /// A sentence, when it is no number from 1 to 100.
    pub fn parse(text: &str) -> Result<RowHeight, String> {
        let wrong = || "a height in millimetres from 1 to 100, as in 3 or 4.25".to_owned();
        let (whole, part) = text.trim().split_once('.').unwrap_or((text.trim(), ""));
        let digits = |text: &str| text.chars().all(|c| c.is_ascii_digit());
        if whole.is_empty() || whole.len() > 3 || part.len() > 3 || !digits(whole) || !digits(part)
        {
            return Err(wrong());
        }
        let micrometres: u32 = format!("{whole}{part:0<3}").parse().map_err(|_| wrong())?;
        if (1000..=100_000).contains(&micrometres) {
            Ok(RowHeight(micrometres))
        } else {
            Err(wrong())
        }
    }

    /// How many rows a character needs to fill an angle at a distance in millimetres.
    #[must_use]
    pub fn rows_for(self, distance: u64, angle: u64) -> usize {
        let rows = (6283 * distance * angle).div_ceil(21600 * u64::from(self.0));
        usize::try_from(rows).unwrap_or(usize::MAX)
    }

    /// From how many millimetres a character of so many rows fills an angle.
    #[must_use]
    pub fn distance_of(self, rows: usize, angle: u64) -> u64 {
        let rows = u64::try_from(rows).unwrap_or(u64::MAX);
        u64::from(self.0).saturating_mul(rows).saturating_mul(21600) / (6283 * angle)
    }

    /// The height of so many rows, in micrometres.
    #[must_use]
    pub fn times(self, rows: usize) -> u64 {
        u64::from(self.0).saturating_mul(u64::try_from(rows).unwrap_or(u64::MAX))
    }
}

/// Millimetres.
impl fmt::Display for RowHeight {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (whole, part) = (self.0 / 1000, self.0 % 1000);
        match part {
            0 => write!(f, "{whole}"),
            part => write!(f, "{whole}.{}", format!("{part:03}").trim_end_matches('0')),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Heights in tenths of a millimetre for 16 and 22 minutes of arc, computed apart from this code
    /// from the formula: 0.6 m 2.8 and 3.8 mm, 1 m 4.7 and 6.4, 2 m 9.3 and 12.8, 3 m 14.0 and 19.2,
    /// 5 m 23.3 and 32.0.
    #[test]
    fn heights_agree_with_the_published_rule() {
        let tenth = RowHeight(100);
        for (distance, least, preferred) in
            [(600, 28, 38), (1000, 47, 64), (2000, 93, 128), (3000, 140, 192), (5000, 233, 320)]
        {
            for (angle, height) in [(LEAST, least), (PREFERRED, preferred)] {
                let rows = tenth.rows_for(distance, angle);
                assert!(rows.abs_diff(height) <= 1, "{distance} {angle}: {rows}");
                assert!(tenth.distance_of(rows, angle) >= distance);
                assert!(tenth.distance_of(rows - 1, angle) < distance);
            }
        }
    }

    #[test]
    fn seven_rows_of_three_millimetres_are_read_across_the_garage() {
        let row = RowHeight::default();
        assert_eq!(row.rows_for(ACROSS_THE_GARAGE, LEAST), 5);
        assert_eq!(row.rows_for(ACROSS_THE_GARAGE, PREFERRED), 7);
    }

    #[test]
    fn heights_are_read_and_written_in_millimetres() {
        assert_eq!(RowHeight::parse("3"), Ok(RowHeight(3000)));
        assert_eq!(RowHeight::parse(" 4.25 "), Ok(RowHeight(4250)));
        assert_eq!(RowHeight::parse("4.25").map(|row| row.to_string()), Ok("4.25".to_owned()));
        for wrong in ["", "0", "0.9", "101", "-3", "3,5", "3mm", "1e2", "99999999999", ".5"] {
            assert!(RowHeight::parse(wrong).is_err(), "{wrong}");
        }
    }
}
