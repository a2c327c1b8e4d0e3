//! Where things lie in the picture of a garment that is seen from the side.
//!
//! # Model
//! The outer face is projected along the line of sight: lengths along the direction of the viewer shrink by the cosine of the angle from
//! straight ahead, lengths across it stay. What lies `d` below the outer face moves by `d sin(angle)` towards the viewer's side. All
//! lines of sight are parallel: the viewer is far off against the garment's size.
//!
//! # Source
//! Orthographic projection: any text on descriptive geometry.

/// The direction from which a garment is seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sight {
    /// Angle from straight ahead in radians, below a right angle.
    pub tilt_rad: f64,
    /// Direction of the viewer in the garment's plane in radians: 0 to the right (+x), anticlockwise.
    pub from_rad: f64,
}

impl Sight {
    /// Where a place of the outer face lies in the picture.
    #[must_use]
    pub fn seen(&self, at: [f64; 2]) -> [f64; 2] {
        self.stretched(at, self.tilt_rad.cos())
    }

    /// Where in the picture a place lies that is `depth_mm` below the outer face: moved towards the viewer's side.
    #[must_use]
    pub fn seen_below(&self, at: [f64; 2], depth_mm: f64) -> [f64; 2] {
        let (sin, cos) = self.from_rad.sin_cos();
        let [x, y] = self.seen(at);
        let shift = depth_mm * self.tilt_rad.sin();
        [x + shift * cos, y + shift * sin]
    }

    /// The place of the outer face that is seen at a place of the picture.
    #[must_use]
    pub fn unseen(&self, at: [f64; 2]) -> [f64; 2] {
        self.stretched(at, 1.0 / self.tilt_rad.cos())
    }

    fn stretched(&self, [x, y]: [f64; 2], factor: f64) -> [f64; 2] {
        let (sin, cos) = self.from_rad.sin_cos();
        let along = (factor - 1.0) * (x * cos + y * sin);
        [x + along * cos, y + along * sin]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_below_the_face_move_as_a_turned_garment_does() {
        /// Rounding.
        const ROUNDING: f64 = 1e-12;
        let sight = Sight { tilt_rad: 0.6, from_rad: 1.1 };
        // The garment turned about the axis across u: with the viewer's right and up as axes, a place at (x, y, -d) is seen where
        // its components along w = cos(tilt) u - sin(tilt) z and along the axis lie.
        let (at, depth) = ([3.0, -7.0], 4.0);
        let (sin, cos) = sight.from_rad.sin_cos();
        let along = (at[0] * cos + at[1] * sin) * sight.tilt_rad.cos() + depth * sight.tilt_rad.sin();
        let across = at[1] * cos - at[0] * sin;
        let expected = [along * cos - across * sin, along * sin + across * cos];
        let found = sight.seen_below(at, depth);
        assert!((0..2).all(|i| (found[i] - expected[i]).abs() < ROUNDING), "{found:?} {expected:?}");
        let back = sight.unseen(sight.seen(at));
        assert!((0..2).all(|i| (back[i] - at[i]).abs() < ROUNDING), "{back:?}");
    }
}
