//! Values by moment: takes a point of a plan, gives what was put there.
//!
//! A row a step, a place a mark. A plan has at most a thousand steps, and the guide asks for moments
//! again and again while a person waits, so nothing is searched for and a copy is one block.

use super::{Mark, Point};
use crate::procedure::plan::StepIx;
use std::fmt;

/// The values of one step.
type Row<T> = [Option<T>; Mark::ALL.len()];

/// A value for each moment that has one.
#[derive(Clone)]
pub struct ByPoint<T> {
    /// By step; as long as the last step that ever had a value.
    rows: Vec<Row<T>>,
}

impl<T> ByPoint<T> {
    /// What was put there.
    #[must_use]
    pub fn get(&self, point: Point) -> Option<&T> {
        self.rows.get(point.step.0 as usize)?[point.mark as usize].as_ref()
    }

    /// Puts a value there, in the place of the one before.
    pub fn insert(&mut self, point: Point, value: T) {
        let row = point.step.0 as usize;
        if row >= self.rows.len() {
            self.rows.resize_with(row + 1, empty);
        }
        self.rows[row][point.mark as usize] = Some(value);
    }

    /// Removes everything of this step.
    pub fn clear_step(&mut self, step: StepIx) {
        if let Some(row) = self.rows.get_mut(step.0 as usize) {
            *row = empty();
        }
    }

    /// Removes everything of this step and of all later ones.
    pub fn clear_from(&mut self, step: StepIx) {
        self.rows.truncate(step.0 as usize);
    }

    /// Removes everything.
    pub fn clear(&mut self) {
        self.rows.clear();
    }

    /// Every value, in the order of steps and marks.
    pub fn iter(&self) -> impl Iterator<Item = (Point, &T)> {
        (0..).map(StepIx).zip(&self.rows).flat_map(|(step, row)| {
            let marks = Mark::ALL.into_iter().zip(row);
            marks.filter_map(move |(mark, value)| Some((Point { step, mark }, value.as_ref()?)))
        })
    }
}

fn empty<T>() -> Row<T> {
    std::array::from_fn(|_| None)
}

/// Nothing anywhere.
impl<T> Default for ByPoint<T> {
    fn default() -> ByPoint<T> {
        ByPoint { rows: Vec::new() }
    }
}

/// Rows without a value make no difference.
impl<T: PartialEq> PartialEq for ByPoint<T> {
    fn eq(&self, other: &ByPoint<T>) -> bool {
        self.iter().eq(other.iter())
    }
}

impl<T: Eq> Eq for ByPoint<T> {}

/// As a map.
impl<T: fmt::Debug> fmt::Debug for ByPoint<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_map().entries(self.iter()).finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(step: u32, mark: Mark) -> Point {
        Point { step: StepIx(step), mark }
    }

    #[test]
    fn the_places_of_marks_are_their_order() {
        assert!(Mark::ALL.iter().enumerate().all(|(n, mark)| *mark as usize == n));
    }

    #[test]
    fn what_was_removed_is_as_if_it_had_never_been_there() {
        let mut values = ByPoint::default();
        values.insert(at(1, Mark::Done), 'a');
        let before = values.clone();
        values.insert(at(4, Mark::Over), 'b');
        values.insert(at(2, Mark::Called), 'c');
        let all: Vec<_> = values.iter().map(|(point, value)| (point.step.0, *value)).collect();
        assert_eq!(all, [(1, 'a'), (2, 'c'), (4, 'b')]);
        assert_eq!(values.get(at(4, Mark::Over)), Some(&'b'));
        assert_eq!(values.get(at(9, Mark::Over)), None);
        values.clear_step(StepIx(4));
        values.clear_step(StepIx(2));
        assert_eq!(values, before);
        values.clear_from(StepIx(2));
        assert_eq!(values, before);
        values.clear_from(StepIx(0));
        assert_eq!(values, ByPoint::default());
    }
}
