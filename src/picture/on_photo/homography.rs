//! Views of a plane: the map from places on a flat garment to places in a photograph of it.
//!
//! # Model
//! A camera without distortion sees a plane through a homography: a 3 x 3 matrix that maps `(x, y, 1)` to `(X, Y, W)`, seen
//! at `(X/W, Y/W)`. Four points of which no three lie on a line, and where they are seen, fix it up to a factor. It is found from
//! the two frames of four points: with `l` from `[p1 p2 p3] l = p4`, the matrix `[l1 p1, l2 p2, l3 p3]` maps the unit
//! vectors and their sum to the four points, and the homography is one such matrix times the inverse of another.
//!
//! # Assumptions
//! The lens draws straight lines straight. Lenses of telephones, with what the telephone corrects, do so within a few image pixels
//! (common practice, no source).
//!
//! # Source
//! Any text on projective geometry: the four-point construction of a collineation.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | x, y | place on the plane | mm, or any |
//! | X/W, Y/W | place in the picture | image pixels |
//! | W | positive in front of the camera, 0 on the horizon | any |

use nalgebra::{Matrix2, Matrix3, Vector3};

/// A frame of four points whose third corner is seen so nearly on a line with two others has no inverse in double precision.
const LEAST_WEIGHT: f64 = 1e-12;

/// A homography, with its factor chosen so that W is positive at the four points that fixed it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Homography(Matrix3<f64>);

/// The matrix that maps the unit vectors and their sum to four points.
fn frame_of(points: [[f64; 2]; 4]) -> Option<Matrix3<f64>> {
    let column = |p: [f64; 2]| Vector3::new(p[0], p[1], 1.0);
    let [a, b, c, d] = points.map(column);
    let weights = Matrix3::from_columns(&[a, b, c]).lu().solve(&d)?;
    let sound = weights.iter().all(|w| w.is_finite() && w.abs() > LEAST_WEIGHT);
    sound.then(|| Matrix3::from_columns(&[a * weights[0], b * weights[1], c * weights[2]]))
}

impl Homography {
    /// The homography that maps four points to four others; `None` where three of either lie on a line, or where no camera in
    /// front of the plane sees the four so (W would change its sign between them).
    #[must_use]
    pub fn through(from: [[f64; 2]; 4], to: [[f64; 2]; 4]) -> Option<Homography> {
        let matrix = frame_of(to)? * frame_of(from)?.try_inverse()?;
        let weights = from.map(|[x, y]| (matrix * Vector3::new(x, y, 1.0)).z);
        let sign = weights[0].signum();
        let one_side = weights.iter().all(|w| w * sign > 0.0);
        // Of size one, so that no chain of them overflows.
        let size = matrix.norm();
        (one_side && size.is_finite() && size > 0.0).then(|| Homography(matrix * (sign / size)))
    }

    /// First `other`, then this one.
    #[must_use]
    pub fn after(&self, other: &Homography) -> Homography {
        Homography(self.0 * other.0)
    }

    /// The way back; `None` where the map is flat. Places that are seen in front of the camera have a positive W in it.
    #[must_use]
    pub fn inverse(&self) -> Option<Homography> {
        self.0.try_inverse().map(Homography)
    }

    /// Where a place is seen; `None` on the horizon and behind the camera.
    #[must_use]
    pub fn at(&self, place: [f64; 2]) -> Option<[f64; 2]> {
        let v = self.0 * Vector3::new(place[0], place[1], 1.0);
        let seen = [v.x / v.z, v.y / v.z];
        (v.z > 0.0 && seen.iter().all(|c| c.is_finite())).then_some(seen)
    }

    /// How the seen place moves with the place: rows for X/W and Y/W, columns for x and y. `None` as for [`Homography::at`].
    #[must_use]
    pub fn jacobian(&self, place: [f64; 2]) -> Option<Matrix2<f64>> {
        let [x, y] = self.at(place)?;
        let m = &self.0;
        let w = (m * Vector3::new(place[0], place[1], 1.0)).z;
        let jacobian = Matrix2::new(
            m[(0, 0)] - x * m[(2, 0)],
            m[(0, 1)] - x * m[(2, 1)],
            m[(1, 0)] - y * m[(2, 0)],
            m[(1, 1)] - y * m[(2, 1)],
        ) / w;
        jacobian.iter().all(|v| v.is_finite()).then_some(jacobian)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{SMatrix, SVector};

    /// Double precision after a dozen operations on numbers up to some thousand.
    const ROUNDING: f64 = 1e-9;
    const UNIT: [[f64; 2]; 4] = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]];

    fn from_rows(rows: [[f64; 3]; 3]) -> Homography {
        Homography(Matrix3::from_fn(|r, c| rows[r][c]))
    }

    fn near(a: [f64; 2], b: [f64; 2]) -> bool {
        a.iter().zip(b).all(|(a, b)| (a - b).abs() < ROUNDING * (1.0 + b.abs()))
    }

    #[test]
    fn a_trapezoid_worked_by_hand() {
        // The unit square to (0,0), (4,0), (3,2), (1,2). By hand: x-sides are parallel, so W = 1 + h y; the upper side is half as
        // long as the lower one, so W = 2 there and h = 1; X = 4 x + b y with X/W = 1 at (0,1): b = 2, and (4 + 2)/2 = 3 at
        // (1,1); Y = e y with Y/W = 2 there: e = 4. The middle: (2 + 1)/1.5 = 2, 2/1.5 = 4/3, where the diagonals
        // x = 3 y/2 and x = 4 - 3 y/2 of the trapezoid cross.
        let to = [[0.0, 0.0], [4.0, 0.0], [3.0, 2.0], [1.0, 2.0]];
        let h = Homography::through(UNIT, to).expect("a view");
        let by_hand = from_rows([[4.0, 2.0, 0.0], [0.0, 4.0, 0.0], [0.0, 1.0, 1.0]]);
        for place in [[0.5, 0.5], [0.2, 0.9], [0.0, 0.5], [-0.3, 2.0]] {
            assert!(near(h.at(place).expect("seen"), by_hand.at(place).expect("seen")), "{place:?}");
        }
        assert!(near(h.at([0.5, 0.5]).expect("seen"), [2.0, 4.0 / 3.0]));
        // The horizon is y = -1: nothing is seen on it or beyond.
        assert!(h.at([0.5, -1.0]).is_none() && h.at([0.5, -2.0]).is_none());
    }

    #[test]
    fn similar_and_affine_views_are_what_they_should_be() {
        // Turned by 30 degrees, twice as large, moved.
        let (sin, cos) = 30f64.to_radians().sin_cos();
        let similar = |[x, y]: [f64; 2]| [2.0 * (cos * x - sin * y) + 5.0, 2.0 * (sin * x + cos * y) - 7.0];
        let sheared = |[x, y]: [f64; 2]| [3.0 * x + 0.7 * y + 1.0, -0.2 * x + 1.5 * y];
        let maps: [&dyn Fn([f64; 2]) -> [f64; 2]; 2] = [&similar, &sheared];
        for map in maps {
            let h = Homography::through(UNIT, UNIT.map(map)).expect("a view");
            for place in [[0.3, 0.8], [-4.0, 12.0], [100.0, 0.0]] {
                assert!(near(h.at(place).expect("seen"), map(place)));
            }
            let area = h.jacobian([3.0, 4.0]).expect("seen").determinant();
            let expected = h.jacobian([0.0, 0.0]).expect("seen").determinant();
            assert!((area / expected - 1.0).abs() < ROUNDING, "an affine map has one scale everywhere");
        }
    }

    #[test]
    fn the_eight_equations_give_the_same() {
        // The usual way: h33 = 1 and two linear equations a point, solved by the general library.
        let from = [[-210.0, 130.0], [190.0, 140.0], [205.0, -120.0], [-200.0, -110.0]];
        let to = [[512.3, 220.9], [1480.1, 333.0], [1390.7, 1190.2], [488.8, 1011.5]];
        let mut a = SMatrix::<f64, 8, 8>::zeros();
        let mut b = SVector::<f64, 8>::zeros();
        for (i, ([x, y], [u, v])) in from.iter().zip(to).enumerate() {
            let rows = [
                ([*x, *y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y], u),
                ([0.0, 0.0, 0.0, *x, *y, 1.0, -v * x, -v * y], v),
            ];
            for (r, (row, right)) in rows.into_iter().enumerate() {
                for (c, value) in row.into_iter().enumerate() {
                    a[(2 * i + r, c)] = value;
                }
                b[2 * i + r] = right;
            }
        }
        let s = a.lu().solve(&b).expect("a solution");
        let solved = from_rows([[s[0], s[1], s[2]], [s[3], s[4], s[5]], [s[6], s[7], 1.0]]);
        let h = Homography::through(from, to).expect("a view");
        for i in 0..40 {
            let place = [-300.0 + 15.0 * f64::from(i), 200.0 - 11.0 * f64::from(i)];
            assert!(near(h.at(place).expect("seen"), solved.at(place).expect("seen")), "{place:?}");
        }
        for (place, seen) in from.into_iter().zip(to) {
            assert!(near(h.at(place).expect("seen"), seen));
        }
    }

    #[test]
    fn there_and_back_and_one_after_another() {
        let quad = [[10.0, 20.0], [300.0, 40.0], [280.0, 260.0], [30.0, 220.0]];
        let other = [[0.0, 0.0], [7.0, 1.0], [6.0, 5.0], [1.0, 6.0]];
        let first = Homography::through(UNIT, quad).expect("a view");
        let second = Homography::through(quad, other).expect("a view");
        let both = second.after(&first);
        let direct = Homography::through(UNIT, other).expect("a view");
        let back = first.inverse().expect("a way back");
        for place in [[0.1, 0.2], [0.9, 0.4], [0.5, 0.5], [1.2, -0.1]] {
            let seen = first.at(place).expect("seen");
            assert!(near(back.at(seen).expect("in front"), place));
            assert!(near(both.at(place).expect("seen"), direct.at(place).expect("seen")));
            // The product of the two areas is one, and differences of places agree with the derivative.
            let there = first.jacobian(place).expect("seen");
            let home = back.jacobian(seen).expect("in front");
            assert!(((there * home) - Matrix2::identity()).norm() < ROUNDING);
            let step = 1e-6;
            let moved = first.at([place[0] + step, place[1]]).expect("seen");
            // A difference of 1e-6 leaves half of the digits.
            assert!(((moved[0] - seen[0]) / step - there[(0, 0)]).abs() < 1e-3);
        }
    }

    #[test]
    fn points_on_a_line_are_no_view() {
        let flat = [[0.0, 0.0], [1.0, 1.0], [2.0, 2.0], [0.0, 1.0]];
        assert!(Homography::through(UNIT, flat).is_none());
        assert!(Homography::through(flat, UNIT).is_none());
        // A corner dented inwards would be seen from behind.
        assert!(Homography::through(UNIT, [[0.0, 0.0], [4.0, 0.0], [1.0, 1.0], [0.0, 4.0]]).is_none());
    }
}
