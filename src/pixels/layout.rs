//! Layouts: where the pixels of a strip, a ring or a grid sit, in wiring order.
//!
//! x points to the right and y upwards as one looks at the garment; turns are anticlockwise. Closed forms only:
//! pixel i is computed from i, not from its neighbour, so that no rounding adds up along a strip.

use crate::quantity::Millimetres;

/// Place and turn of one package.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Its centre.
    pub at: [Millimetres; 2],
    /// Its turn in radians, anticlockwise; 0 is upright.
    pub turn_rad: f64,
}

/// The order in which a grid is wired.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GridOrder {
    /// Every second row runs back.
    Zigzag,
    /// Every row runs from left to right.
    SameWay,
}

/// A straight strip: the first pixel at `start`, the others in `direction_rad` from it, the packages turned with the
/// strip.
pub fn strip(
    start: [Millimetres; 2],
    direction_rad: f64,
    pitch: Millimetres,
    count: usize,
) -> impl Iterator<Item = Place> {
    let step = direction(direction_rad);
    (0..count).map(move |i| {
        let along = pitch.0 * i as f64;
        Place {
            at: [Millimetres(start[0].0 + along * step[0]), Millimetres(start[1].0 + along * step[1])],
            turn_rad: direction_rad,
        }
    })
}

/// A ring of evenly spaced pixels: the first at the angle `start_rad` (anticlockwise from the right; a quarter turn is
/// the top), the others anticlockwise from it, the upper edge of every package facing outwards.
pub fn ring(
    centre: [Millimetres; 2],
    diameter: Millimetres,
    start_rad: f64,
    count: usize,
) -> impl Iterator<Item = Place> {
    let radius = diameter.0 / 2.0;
    (0..count).map(move |i| {
        let angle = start_rad + std::f64::consts::TAU * i as f64 / count as f64;
        let out = direction(angle);
        Place {
            at: [Millimetres(centre[0].0 + radius * out[0]), Millimetres(centre[1].0 + radius * out[1])],
            turn_rad: angle - std::f64::consts::FRAC_PI_2,
        }
    })
}

/// Distance between the centres of neighbours on a ring: the chord, not the arc.
#[must_use]
pub fn ring_pitch(diameter: Millimetres, count: usize) -> Millimetres {
    if count < 2 {
        return Millimetres(f64::INFINITY);
    }
    diameter * (std::f64::consts::PI / count as f64).sin()
}

/// A grid around `centre`: the first pixel at the upper left, row after row downwards.
pub fn grid(
    centre: [Millimetres; 2],
    pitch: Millimetres,
    [columns, rows]: [usize; 2],
    order: GridOrder,
) -> impl Iterator<Item = Place> {
    let left = centre[0].0 - pitch.0 * (columns as f64 - 1.0) / 2.0;
    let top = centre[1].0 + pitch.0 * (rows as f64 - 1.0) / 2.0;
    (0..rows).flat_map(move |row| {
        (0..columns).map(move |i| {
            let back = order == GridOrder::Zigzag && row % 2 == 1;
            let column = if back { columns - 1 - i } else { i };
            Place {
                at: [Millimetres(left + pitch.0 * column as f64), Millimetres(top - pitch.0 * row as f64)],
                turn_rad: 0.0,
            }
        })
    })
}

/// Places turned around a centre, anticlockwise, and their packages with them.
pub fn turned(
    places: impl Iterator<Item = Place>,
    centre: [Millimetres; 2],
    turn_deg: f64,
) -> impl Iterator<Item = Place> {
    let turn_rad = turn_deg.to_radians();
    let [cos, sin] = direction(turn_rad);
    places.map(move |place| {
        if turn_deg == 0.0 {
            return place;
        }
        let [x, y] = [place.at[0].0 - centre[0].0, place.at[1].0 - centre[1].0];
        let at = [centre[0].0 + cos * x - sin * y, centre[1].0 + sin * x + cos * y];
        Place { at: at.map(Millimetres), turn_rad: place.turn_rad + turn_rad }
    })
}

/// Unit vector at an angle, exact at whole quarter turns, where the library's sine and cosine of a rounded pi are not.
pub(super) fn direction(angle_rad: f64) -> [f64; 2] {
    const TOLERANCE: f64 = 1e-12; // rounding of degrees turned into radians, far below any layout's precision
    let quarters = angle_rad / std::f64::consts::FRAC_PI_2;
    let nearest = quarters.round();
    if (quarters - nearest).abs() < TOLERANCE {
        return match nearest.rem_euclid(4.0) as u8 {
            0 => [1.0, 0.0],
            1 => [0.0, 1.0],
            2 => [-1.0, 0.0],
            _ => [0.0, -1.0],
        };
    }
    [angle_rad.cos(), angle_rad.sin()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{FRAC_PI_2, FRAC_PI_6, PI};

    /// Sums and products of a few doubles of size 100: ten units in the last place.
    const EXACT_MM: f64 = 1e-13 * 100.0;

    fn assert_places(places: impl Iterator<Item = Place>, expected: &[(f64, f64, f64)]) {
        let places: Vec<Place> = places.collect();
        assert_eq!(places.len(), expected.len());
        for (place, (x, y, turn)) in places.iter().zip(expected) {
            let off = (place.at[0].0 - x).abs().max((place.at[1].0 - y).abs());
            assert!(off <= EXACT_MM, "{place:?} instead of {x}, {y}");
            assert!((place.turn_rad - turn).abs() <= EXACT_MM, "{place:?} instead of a turn of {turn}");
        }
    }

    const ORIGIN: [Millimetres; 2] = [Millimetres(0.0), Millimetres(0.0)];

    #[test]
    fn strips() {
        let start = [Millimetres(1.0), Millimetres(-2.0)];
        assert_places(
            strip(start, 0.0, Millimetres(16.5), 3),
            &[(1.0, -2.0, 0.0), (17.5, -2.0, 0.0), (34.0, -2.0, 0.0)],
        );
        // Upwards, exactly: x stays 1.
        let up: Vec<Place> = strip(start, FRAC_PI_2, Millimetres(10.0), 2).collect();
        assert_eq!(up[1].at, [Millimetres(1.0), Millimetres(8.0)]);
        // Thirty degrees: cos = sqrt(3)/2, sin = 1/2.
        let x = 20.0 * 3.0_f64.sqrt() / 2.0;
        assert_places(
            strip(ORIGIN, FRAC_PI_6, Millimetres(20.0), 2),
            &[(0.0, 0.0, FRAC_PI_6), (x, 10.0, FRAC_PI_6)],
        );
    }

    #[test]
    fn rings() {
        let centre = [Millimetres(5.0), Millimetres(0.0)];
        assert_places(
            ring(centre, Millimetres(60.0), FRAC_PI_2, 4),
            &[(5.0, 30.0, 0.0), (-25.0, 0.0, FRAC_PI_2), (5.0, -30.0, PI), (35.0, 0.0, 3.0 * FRAC_PI_2)],
        );
        // Six pixels: the chord equals the radius (a regular hexagon).
        assert!((ring_pitch(Millimetres(60.0), 6).0 - 30.0).abs() <= EXACT_MM);
    }

    #[test]
    fn grids() {
        let way = |order| grid(ORIGIN, Millimetres(10.0), [3, 2], order);
        assert_places(
            way(GridOrder::Zigzag),
            &[
                (-10.0, 5.0, 0.0),
                (0.0, 5.0, 0.0),
                (10.0, 5.0, 0.0),
                (10.0, -5.0, 0.0),
                (0.0, -5.0, 0.0),
                (-10.0, -5.0, 0.0),
            ],
        );
        assert_places(
            way(GridOrder::SameWay),
            &[
                (-10.0, 5.0, 0.0),
                (0.0, 5.0, 0.0),
                (10.0, 5.0, 0.0),
                (-10.0, -5.0, 0.0),
                (0.0, -5.0, 0.0),
                (10.0, -5.0, 0.0),
            ],
        );
    }
}
