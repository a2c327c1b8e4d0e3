//! From a place to its cell.

/// Square cells of a plane, row by row from the lowest x and y.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cells {
    /// Lowest x and y of the first cell in mm.
    pub corner_mm: [f64; 2],
    /// Side of a cell in mm, above zero.
    pub side_mm: f64,
    /// Cells along x and along y.
    pub count: [usize; 2],
}

impl Cells {
    /// Number of cells.
    #[must_use]
    pub fn len(&self) -> usize {
        self.count[0] * self.count[1]
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The lowest x and y in mm of a cell.
    #[must_use]
    pub fn corner_of(&self, cell: usize) -> [f64; 2] {
        let columns = self.count[0].max(1);
        let [x, y] = self.corner_mm;
        [x + self.side_mm * (cell % columns) as f64, y + self.side_mm * (cell / columns) as f64]
    }

    /// The cell in which a place lies; `None` outside, and for what is not a number.
    #[inline]
    pub(super) fn find(&self, x: f64, y: f64) -> Option<usize> {
        let [column, row] = [(x - self.corner_mm[0]) / self.side_mm, (y - self.corner_mm[1]) / self.side_mm];
        let inside =
            column >= 0.0 && row >= 0.0 && column < self.count[0] as f64 && row < self.count[1] as f64;
        inside.then(|| row as usize * self.count[0] + column as usize)
    }
}

#[cfg(test)]
mod tests {
    use super::Cells;

    #[test]
    fn every_cell_holds_its_middle_and_no_place_outside_is_in_one() {
        let cells = Cells { corner_mm: [-3.0, 1.5], side_mm: 0.7, count: [5, 3] };
        for cell in 0..cells.len() {
            let [x, y] = cells.corner_of(cell).map(|v| v + 0.35);
            assert_eq!(cells.find(x, y), Some(cell));
        }
        for (x, y) in
            [(-3.01, 2.0), (0.51, 2.0), (0.0, 1.49), (0.0, 3.61), (f64::NAN, 2.0), (0.0, f64::INFINITY)]
        {
            assert_eq!(cells.find(x, y), None, "{x} {y}");
        }
        assert!(Cells { count: [0, 4], ..cells }.is_empty());
    }
}
