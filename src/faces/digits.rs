//! Large digits for a view across a bench: takes a short figure (`17 s`, `1:05`), gives five rows.
//!
//! Drawn on a grid of three columns by five rows a character, a cell being two columns wide, so that
//! a digit is about as wide as high in a terminal. Shapes are our own and differ in more than one cell.

/// Rows of a large figure.
pub const ROWS: usize = 5;

/// The five rows of a figure; characters without a shape are left out.
#[must_use]
pub fn large(figure: &str) -> [String; ROWS] {
    let mut rows: [String; ROWS] = Default::default();
    for shape in figure.chars().filter_map(shape) {
        for (row, cells) in rows.iter_mut().zip(shape) {
            for cell in cells.chars() {
                row.push_str(if cell == '#' { "##" } else { "  " });
            }
            row.push_str("  ");
        }
    }
    rows.map(|row| row.trim_end().to_owned())
}

const fn shape(c: char) -> Option<[&'static str; ROWS]> {
    Some(match c {
        '0' => ["###", "# #", "# #", "# #", "###"],
        '1' => [" # ", "## ", " # ", " # ", "###"],
        '2' => ["###", "  #", "###", "#  ", "###"],
        '3' => ["###", "  #", " ##", "  #", "###"],
        '4' => ["# #", "# #", "###", "  #", "  #"],
        '5' => ["###", "#  ", "###", "  #", "###"],
        '6' => ["###", "#  ", "###", "# #", "###"],
        '7' => ["###", "  #", " # ", " # ", " # "],
        '8' => ["###", "# #", "###", "# #", "###"],
        '9' => ["###", "# #", "###", "  #", "###"],
        ':' => [" ", "#", " ", "#", " "],
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_digits_look_alike_and_all_are_of_one_height() {
        let shapes: Vec<_> = ('0'..='9').filter_map(shape).collect();
        assert_eq!(shapes.len(), 10);
        for (i, one) in shapes.iter().enumerate() {
            for other in &shapes[..i] {
                let cells = one
                    .concat()
                    .chars()
                    .zip(other.concat().chars())
                    .filter(|(a, b)| a != b)
                    .count();
                assert!(cells >= 1, "{one:?} {other:?}");
            }
        }
    }

    #[test]
    fn a_figure_is_drawn_row_by_row() {
        assert_eq!(large("17 s")[0], "  ##    ######");
        assert_eq!(large("1:05").len(), ROWS);
    }
}
