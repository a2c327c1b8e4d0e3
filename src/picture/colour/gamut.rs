//! Bringing colours that a screen cannot show into its range: less chroma, the same hue and lightness.
//!
//! Model: in Oklab the colour moves along the straight line towards the neutral of its own lightness until all three
//! linear sRGB values lie within 0 to 1. Along that line each channel is a cubic polynomial of the share t of the chroma
//! that is kept (a cube of something linear, three times, summed), so the place where it crosses 0 or 1 is found by
//! Newton's method inside a shrinking bracket, to rounding. Colours inside are left alone. At lightness 1 and
//! above nothing but white is left, at 0 and below nothing but black.
//!
//! Lines of equal lightness leave the sRGB solid once and do not come back, so the mapping is continuous, and more
//! chroma never comes out as less. (Checked numerically on 250 lightnesses x 1440 hues with an allowance of a
//! millionth of full scale; below lightness 0.07 that allowance is too coarse to tell.)
//! Cutting channels instead would turn hues: deep orange to yellow, violet to magenta.
//!
//! Source of the idea: CSS Color Module Level 4 (W3C), section on gamut mapping, which also reduces Oklab chroma.

use super::oklab::{RGB_FROM_LMS, ROOTS_FROM_LAB, oklab};

/// Steps after which the search for a crossing stops; Newton needs about 6, plain halving 45 for the tolerance.
const STEPS: usize = 60;
/// Step of Newton's method after which a crossing counts as found. The error left is of the order of its square.
const SHARE_TOLERANCE: f64 = 1e-9;
/// Crossings to follow at most: each of the three channels can leave by either end.
const CROSSINGS: usize = 6;

/// The nearest colour of the same hue and lightness that sRGB can show; linear sRGB in and out.
#[must_use]
#[inline]
pub fn into_gamut(rgb: [f64; 3]) -> [f64; 3] {
    if rgb.iter().all(|v| (0.0..=1.0).contains(v)) { rgb } else { bring_in(rgb) }
}

/// A channel along the line of equal lightness and hue: `c0 + c1 t + c2 t^2 + c3 t^3`.
#[derive(Clone, Copy)]
struct Channel([f64; 4]);

impl Channel {
    fn value(&self, t: f64) -> f64 {
        let [c0, c1, c2, c3] = self.0;
        c0 + t * (c1 + t * (c2 + t * c3))
    }

    fn slope(&self, t: f64) -> f64 {
        let [_, c1, c2, c3] = self.0;
        c1 + t * (2.0 * c2 + 3.0 * t * c3)
    }

    /// How far the channel is out of range at t; zero inside.
    fn excess(&self, t: f64) -> f64 {
        let v = self.value(t);
        (v - 1.0).max(-v).max(0.0)
    }

    /// A place in 0..t at which the channel, inside the range at 0 and outside at t, is at the edge.
    fn crossing(&self, t: f64) -> f64 {
        let at_end = self.value(t);
        let edge = if at_end < 0.0 { 0.0 } else { 1.0 };
        let outwards = if at_end < 0.0 { -1.0 } else { 1.0 };
        let [start, ..] = self.0;
        let (mut inside, mut outside) = (0.0, t);
        let mut guess = t * (edge - start) / (at_end - start);
        for _ in 0..STEPS {
            let beyond = outwards * (self.value(guess) - edge);
            let newton = guess - beyond / (outwards * self.slope(guess));
            if (newton - guess).abs() < SHARE_TOLERANCE {
                return newton.clamp(inside, outside);
            }
            if beyond > 0.0 {
                outside = guess;
            } else {
                inside = guess;
            }
            guess = if newton > inside && newton < outside { newton } else { 0.5 * (inside + outside) };
        }
        guess
    }
}

#[cold]
#[inline(never)]
fn bring_in(rgb: [f64; 3]) -> [f64; 3] {
    let [lightness, a, b] = oklab(rgb);
    if lightness >= 1.0 {
        return [1.0; 3];
    }
    if lightness <= 0.0 || lightness.is_nan() {
        return [0.0; 3];
    }
    let channels = channels(lightness, a, b);
    let mut kept = 1.0;
    for _ in 0..CROSSINGS {
        let worst = channels.iter().max_by(|p, q| p.excess(kept).total_cmp(&q.excess(kept)));
        match worst {
            Some(channel) if channel.excess(kept) > 0.0 => kept = channel.crossing(kept),
            _ => break,
        }
    }
    // What is left to cut is rounding, some 1e-13.
    channels.map(|channel| channel.value(kept).clamp(0.0, 1.0))
}

/// The three channels as polynomials of the kept share of the chroma.
fn channels(lightness: f64, a: f64, b: f64) -> [Channel; 3] {
    let reach = ROOTS_FROM_LAB.map(|row| row[1] * a + row[2] * b);
    let squares = reach.map(|k| k * k);
    let dot = |row: &[f64; 3], v: [f64; 3]| row[0] * v[0] + row[1] * v[1] + row[2] * v[2];
    RGB_FROM_LMS.map(|row| {
        Channel([
            lightness * lightness * lightness,
            3.0 * lightness * lightness * dot(&row, reach),
            3.0 * lightness * dot(&row, squares),
            dot(&row, [squares[0] * reach[0], squares[1] * reach[1], squares[2] * reach[2]]),
        ])
    })
}
