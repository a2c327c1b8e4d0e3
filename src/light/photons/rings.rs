//! From a place to its ring.

/// Cells of the lookup table per ring. More cells save comparisons in rings that are unlike each other in width;
/// the result does not depend on it.
const CELLS_PER_RING: usize = 4;

/// Edges of `count` rings of equal width from 0 to `max_mm`, in mm: `count + 1` values.
#[must_use]
pub fn ring_edges(max_mm: f64, count: usize) -> Vec<f64> {
    (0..=count).map(|i| max_mm * i as f64 / count as f64).collect()
}

/// Rings around the origin with a table that finds the ring of a radius in a step or two.
#[derive(Debug)]
pub(super) struct Rings {
    /// Squares of the edges in mm2.
    edges_squared: Vec<f64>,
    /// For each cell of equal width in radius, the first ring that reaches beyond the cell's start.
    first_ring: Vec<u32>,
    /// Cells per mm.
    cells_per_mm: f64,
}

impl Rings {
    /// From rising edges in mm.
    pub(super) fn new(radii: &[f64]) -> Rings {
        assert!(
            radii.iter().all(|r| r.is_finite() && *r >= 0.0),
            "ring edges must be finite and not negative"
        );
        assert!(radii.is_sorted_by(|a, b| a < b), "ring edges must rise");
        let count = radii.len().saturating_sub(1);
        let outermost = radii.last().copied().unwrap_or(0.0);
        let cells = count * CELLS_PER_RING;
        let first_ring = (0..=cells)
            .map(|cell| {
                let start = outermost * cell as f64 / cells as f64;
                let ring = radii.partition_point(|edge| *edge <= start).saturating_sub(1);
                // One ring early: rounding may put a radius into the cell after its own.
                ring.saturating_sub(1) as u32
            })
            .collect();
        Rings {
            edges_squared: radii.iter().map(|r| r * r).collect(),
            first_ring,
            cells_per_mm: cells as f64 / outermost.max(f64::MIN_POSITIVE),
        }
    }

    /// Number of rings.
    pub(super) fn len(&self) -> usize {
        self.edges_squared.len().saturating_sub(1)
    }

    /// The ring in which the place (x, y) in mm lies, inner edge included, outer edge not.
    #[inline]
    pub(super) fn find(&self, x: f64, y: f64) -> Option<usize> {
        let squared = x * x + y * y;
        // Written so that a place that is not a number is in no ring.
        let inside =
            self.len() > 0 && squared >= self.edges_squared[0] && squared < self.edges_squared[self.len()];
        if !inside {
            return None;
        }
        let mut ring = self.first_ring[(squared.sqrt() * self.cells_per_mm) as usize] as usize;
        while squared >= self.edges_squared[ring + 1] {
            ring += 1;
        }
        Some(ring)
    }
}

#[cfg(test)]
mod tests {
    use super::{Rings, ring_edges};

    #[test]
    fn every_place_is_in_the_ring_whose_edges_enclose_it() {
        let uneven = vec![0.3, 0.31, 0.5, 2.0, 2.25, 9.0];
        for radii in [ring_edges(7.0, 11), ring_edges(0.1, 1), uneven, vec![1.0], vec![]] {
            let rings = Rings::new(&radii);
            let steps = (0..=3000).map(|i| f64::from(i) * 0.0033);
            for r in steps.chain(radii.iter().copied()) {
                let expected = radii
                    .windows(2)
                    .position(|edges| edges[0] * edges[0] <= r * r && r * r < edges[1] * edges[1]);
                assert_eq!(rings.find(0.0, -r), expected, "radius {r} among {radii:?}");
            }
            assert_eq!(rings.find(f64::NAN, 0.0), None);
            assert_eq!(rings.find(f64::INFINITY, 0.0), None);
        }
    }

    #[test]
    #[should_panic(expected = "ring edges must rise")]
    fn edges_that_fall_are_refused() {
        let _ = Rings::new(&[0.0, 2.0, 1.0]);
    }
}
