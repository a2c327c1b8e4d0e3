//! The points that mark a garment in a photograph: what can be wrong with them.

use thiserror::Error;

/// Corners nearer than this mark nothing, in image pixels.
pub const LEAST_SIDE_PX: f64 = 4.0;
/// Three corners count as on a line where the angle between them is within a degree of 180 or 0: points set by hand are not surer.
const LEAST_SINE: f64 = 0.02;

/// The order of the corners, in words.
const ORDER: &str = "top left, top right, bottom right, bottom left, as the garment is seen";

/// Why points mark no surface.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum MarkFault {
    /// Not as many as the grid says.
    #[error(
        "a grid of {columns} columns and {rows} rows needs {} points, {found} are given; 2 to 16 columns and rows are taken", columns * rows
    )]
    Count {
        /// Points in a row.
        columns: usize,
        /// Rows.
        rows: usize,
        /// Points given.
        found: usize,
    },
    /// Two lie together.
    #[error("corners {first} and {second} lie in the same place")]
    Together {
        /// The first of them, from 1.
        first: usize,
        /// The second, from 1.
        second: usize,
    },
    /// Three lie on a line.
    #[error("three corners lie on a line, or nearly so")]
    OnALine,
    /// The sides cross.
    #[error("the lines from corner to corner cross")]
    Crossed,
    /// One is dented inwards.
    #[error("corner {corner} lies inside the triangle of the others: a flat rectangle is never seen so")]
    Dented {
        /// Which, from 1.
        corner: usize,
    },
    /// They run the wrong way.
    #[error("the corners run anticlockwise: the garment would be mirrored")]
    Mirrored,
    /// A bent surface folds.
    #[error("the surface folds over itself, or turns its edge, between columns {column} and {} and rows {row} and {}", column + 1, row + 1)]
    Folded {
        /// The column to the left of the place, from 1.
        column: usize,
        /// The row above, from 1.
        row: usize,
    },
    /// The edge of a bent surface crosses itself.
    #[error("the edge of the grid crosses itself")]
    EdgeCrosses,
    /// A point outside the picture.
    #[error("the point [{x}, {y}] lies outside the picture of {width} by {height} image pixels")]
    Outside {
        /// Its place.
        x: f64,
        /// Its place.
        y: f64,
        /// Width of the picture.
        width: usize,
        /// Height of the picture.
        height: usize,
    },
}

impl MarkFault {
    /// What to do about it.
    #[must_use]
    pub fn next(&self) -> String {
        match self {
            MarkFault::Count { .. } => {
                "List the points row by row, from the upper left.".to_owned()
            }
            MarkFault::Together { .. } => {
                format!("Give four different corners: {ORDER}.")
            }
            MarkFault::OnALine => {
                "Mark the four corners of a rectangle on the garment that is not seen from the side.".to_owned()
            }
            MarkFault::Crossed | MarkFault::Mirrored | MarkFault::Dented { .. } => {
                format!("Give them in this order: {ORDER}.")
            }
            MarkFault::Folded { .. } | MarkFault::EdgeCrosses => {
                "Check the order of the points there (row by row, from the upper left), or leave out the part that turns away."
                    .to_owned()
            }
            MarkFault::Outside { .. } => {
                "Read the places off this very picture as it is shown upright: x to the right, y downwards, from its upper left."
                    .to_owned()
            }
        }
    }
}

/// Twice the area of the triangle, positive where it runs clockwise as seen (y downwards).
fn turn(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Whether two stretches cross, ends not counted.
fn cross(a: [f64; 2], b: [f64; 2], c: [f64; 2], d: [f64; 2]) -> bool {
    turn(a, b, c) * turn(a, b, d) < 0.0 && turn(c, d, a) * turn(c, d, b) < 0.0
}

/// Tests four corners: top left, top right, bottom right, bottom left.
///
/// # Errors
/// The first thing that is wrong with them.
pub fn checked_corners(corners: [[f64; 2]; 4]) -> Result<(), MarkFault> {
    for (i, a) in corners.iter().enumerate() {
        for (j, b) in corners.iter().enumerate().skip(i + 1) {
            let apart = apart(*a, *b);
            if apart.is_nan() || apart < LEAST_SIDE_PX {
                return Err(MarkFault::Together { first: i + 1, second: j + 1 });
            }
        }
    }
    let [a, b, c, d] = corners;
    if cross(a, b, c, d) || cross(b, c, d, a) {
        return Err(MarkFault::Crossed);
    }
    let at = |i: usize| corners[i % 4];
    let turns: [f64; 4] = std::array::from_fn(|i| turn(at(i + 3), at(i), at(i + 1)));
    // The sine of the angle at a corner; near 0 degrees is as useless as near 180.
    let sine = |i: usize| turns[i].abs() / (apart(at(i + 3), at(i)) * apart(at(i), at(i + 1)));
    if (0..4).any(|i| sine(i) < LEAST_SINE) {
        return Err(MarkFault::OnALine);
    }
    let clockwise = turns.iter().filter(|t| **t > 0.0).count();
    match clockwise {
        4 => Ok(()),
        0 => Err(MarkFault::Mirrored),
        // Three turn alike: the fourth is dented. Two and two is crossed, and has been told.
        1 | 3 => {
            let odd = turns.iter().position(|t| (*t > 0.0) == (clockwise == 1)).unwrap_or(0);
            Err(MarkFault::Dented { corner: odd + 1 })
        }
        _ => Err(MarkFault::Crossed),
    }
}

/// Whether a closed line crosses itself.
pub(super) fn edge_crosses(line: &[[f64; 2]]) -> bool {
    let n = line.len();
    let side = |i: usize| (line[i], line[(i + 1) % n]);
    (0..n).any(|i| {
        let (a, b) = side(i);
        (i + 2..n).filter(|j| (j + 1) % n != i).any(|j| {
            let (c, d) = side(j);
            cross(a, b, c, d)
        })
    })
}

/// Tests that points lie in a picture: its edge is half an image pixel around the middles of the outermost ones.
///
/// # Errors
/// The first that does not.
pub fn checked_inside(points: &[[f64; 2]], width: usize, height: usize) -> Result<(), MarkFault> {
    let inside = |v: f64, side: usize| (-0.5..=side as f64 - 0.5).contains(&v);
    match points.iter().find(|[x, y]| !(inside(*x, width) && inside(*y, height))) {
        None => Ok(()),
        Some(&[x, y]) => Err(MarkFault::Outside { x, y, width, height }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_fault_has_its_name() {
        let good = [[10.0, 10.0], [110.0, 15.0], [100.0, 90.0], [15.0, 80.0]];
        assert_eq!(checked_corners(good), Ok(()));
        let [a, b, c, d] = good;
        // Turned on its side is sound.
        assert_eq!(checked_corners([b, c, d, a]), Ok(()));
        assert_eq!(checked_corners([a, c, b, d]), Err(MarkFault::Crossed));
        assert_eq!(checked_corners([a, b, d, c]), Err(MarkFault::Crossed));
        assert_eq!(checked_corners([a, d, c, b]), Err(MarkFault::Mirrored));
        assert_eq!(checked_corners([a, b, b, d]), Err(MarkFault::Together { first: 2, second: 3 }));
        assert_eq!(checked_corners([a, b, [60.0, 12.5], d]), Err(MarkFault::OnALine));
        assert_eq!(checked_corners([a, b, [30.0, 30.0], d]), Err(MarkFault::Dented { corner: 3 }));
        assert!(checked_corners([a, b, [f64::NAN, 3.0], d]).is_err());
        // Long and thin, as a hem.
        assert_eq!(checked_corners([[0.0, 0.0], [2000.0, 0.0], [2000.0, 9.0], [0.0, 9.0]]), Ok(()));
    }

    #[test]
    fn inside_reaches_to_the_edge_of_the_outermost_pixels() {
        assert_eq!(checked_inside(&[[-0.5, -0.5], [63.5, 47.5]], 64, 48), Ok(()));
        let fault = checked_inside(&[[3.0, 3.0], [63.6, 3.0]], 64, 48);
        assert!(matches!(fault, Err(MarkFault::Outside { x: 63.6, .. })), "{fault:?}");
    }
}
