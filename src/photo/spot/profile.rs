//! The course of a patch's light with the radius, and the outline at half of its height; see [`super`]. Lengths in cells.

use crate::photo::cells::{Grid, quantile};
use nalgebra::{Matrix3, Vector3};
use std::f64::consts::{PI, TAU};

/// A course continued into a clipped core.
struct Curve {
    /// Coefficients of the powers of `(r / furthest)^2`.
    logarithm: [f64; 3],
    furthest: f64,
}

impl Curve {
    fn at(&self, r: f64) -> f64 {
        let s = (r / self.furthest).powi(2);
        let [a, b, c] = self.logarithm;
        (a + b * s + c * s * s).exp()
    }
}

/// Medians of rings one cell wide.
pub(super) struct Profile {
    /// Above the background; NaN where there is nothing unclipped.
    open: Vec<f64>,
    /// As it is seen, clipped or not, background included.
    seen: Vec<f64>,
    /// Radius from which on rings are wholly unclipped.
    open_from: usize,
}

impl Profile {
    /// From the grid without and with clipped cells; `None` where nothing is seen at the middle or all is clipped.
    pub(super) fn new(open: &Grid, all: &Grid, middle: [f64; 2], level: f64) -> Option<Profile> {
        let rings = open.columns / 2;
        let mut open_rings = vec![Vec::new(); rings];
        let mut all_rings = vec![Vec::new(); rings];
        for (i, (o, a)) in open.values.iter().zip(&all.values).enumerate() {
            let d = [(i % open.columns) as f64 - middle[0], (i / open.columns) as f64 - middle[1]];
            let ring = d[0].hypot(d[1]).round() as usize;
            if ring < rings {
                if o.is_finite() {
                    open_rings[ring].push(*o);
                }
                if a.is_finite() {
                    all_rings[ring].push(*a);
                }
            }
        }
        let open_from =
            (0..rings).rposition(|r| open_rings[r].len() < all_rings[r].len()).map_or(0, |r| r + 1);
        let open: Vec<f64> = open_rings.iter_mut().map(|ring| quantile(ring, 0.5) - level).collect();
        let mut seen: Vec<f64> = all_rings.iter_mut().map(|ring| quantile(ring, 0.5)).collect();
        // The innermost ring holds no cell where the middle lies at a corner of four.
        if seen.len() > 1 && seen[0].is_nan() {
            seen[0] = seen[1];
        }
        let any =
            open.iter().skip(open_from).any(|v| v.is_finite()) && seen.iter().take(2).any(|v| v.is_finite());
        any.then_some(Profile { open, seen, open_from })
    }

    /// Light as seen at a radius, background included, by straight lines.
    pub(super) fn seen_at(&self, radius: f64) -> f64 {
        let ring = radius.floor() as usize;
        let at = |r: usize| self.seen[r.min(self.seen.len() - 1)];
        let (low, high) = (at(ring), at(ring + 1));
        if high.is_finite() && low.is_finite() { low + (radius - ring as f64) * (high - low) } else { low }
    }

    /// Height above the background: of the innermost rings, or what the course outside a clipped core comes to.
    fn height(&self) -> Option<f64> {
        if self.open_from == 0 {
            let inner = self.open.iter().take(2).copied().filter(|v| v.is_finite()).fold(f64::NAN, f64::max);
            return (inner > 0.0).then_some(inner);
        }
        let rim = self.rim()?;
        // A core may be some times as high as its rim; a curve that says more is not believed.
        Some(self.continued().map_or(rim, |curve| curve.at(0.0)).clamp(rim, 20.0 * rim))
    }

    /// Height of the first ring that is wholly unclipped.
    fn rim(&self) -> Option<f64> {
        self.open.iter().skip(self.open_from).copied().find(|v| v.is_finite()).filter(|rim| *rim > 0.0)
    }

    /// `exp(a + b r^2 + c r^4)` through the unclipped rings above a tenth of the first of them.
    fn continued(&self) -> Option<Curve> {
        let rim = self.rim()?;
        let usable: Vec<(f64, f64)> = (self.open_from..self.open.len())
            .map(|r| (r as f64, self.open[r]))
            .take_while(|(_, v)| *v > 0.1 * rim)
            .collect();
        let furthest = usable.last()?.0.max(1.0);
        let mut normal = Matrix3::zeros();
        let mut right = Vector3::zeros();
        for (r, v) in &usable {
            let s = (r / furthest).powi(2);
            let does = Vector3::new(1.0, s, s * s);
            // Errors of the logarithm go as one over the value.
            normal += v * v * does * does.transpose();
            right += v * v * v.ln() * does;
        }
        let enough = usable.len() >= 4;
        let factor = normal.cholesky().filter(|_| enough)?;
        Some(Curve { logarithm: factor.solve(&right).into(), furthest })
    }

    /// Radius at half of the height.
    pub(super) fn half_width(&self) -> Option<f64> {
        let half = self.height()? / 2.0;
        let rim = self.rim()?;
        if self.open_from > 0 && rim < half {
            // Half of the height lies within the clipped core.
            let curve = self.continued()?;
            let inwards = (0..self.open_from * 10).rev().map(|i| f64::from(i as u32) / 10.0);
            return { inwards }.find(|r| curve.at(*r) >= half).or(Some(self.open_from as f64));
        }
        let mut last = (self.open_from as f64, rim);
        for r in self.open_from..self.open.len() {
            let v = self.open[r];
            if v < half {
                let share = (last.1 - half) / (last.1 - v).max(f64::MIN_POSITIVE);
                return Some(last.0 + share.clamp(0.0, 1.0) * (r as f64 - last.0));
            }
            if v.is_finite() {
                last = (r as f64, v);
            }
        }
        // Wider than what was looked at.
        Some(self.open.len() as f64)
    }

    /// The level of the outline above the background: half of the height, but clear of the clipped core.
    fn outline_level(&self) -> Option<f64> {
        /// Share of the light at the rim of a clipped core.
        const BELOW_RIM: f64 = 0.7;
        let half = self.height()? / 2.0;
        if self.open_from == 0 {
            return Some(half);
        }
        Some(half.min(BELOW_RIM * self.rim()?))
    }
}

/// The outline of a patch as an ellipse.
pub(super) struct Outline {
    /// Short over long axis.
    pub(super) roundness: f64,
    /// Direction of the long axis, 0 to pi, turning upwards from the right.
    pub(super) long_axis_rad: f64,
    /// Root mean square departure from the ellipse over the radius.
    pub(super) ragged: f64,
}

/// Directions in which the outline is sought.
const DIRECTIONS: usize = 48;

/// The outline about a middle; `None` where too little of it is seen. Beyond `free`, the distance of the nearest other bright place, half
/// of it, nothing is looked at.
pub(super) fn outline(
    grid: &Grid,
    middle: [f64; 2],
    level: f64,
    profile: &Profile,
    half: f64,
    free: f64,
) -> Option<Outline> {
    let threshold = level + profile.outline_level()?;
    let furthest = (3.0 * half + 2.0).min((0.5 * free).max(half)).min(grid.columns as f64 / 2.0);
    let radii: Vec<(f64, f64)> = (0..DIRECTIONS)
        .map(|i| TAU * i as f64 / DIRECTIONS as f64)
        .filter_map(|angle| Some((angle, crossing(grid, middle, angle, threshold, half, furthest)?)))
        .collect();
    if radii.len() < DIRECTIONS / 2 {
        return None;
    }
    let harmonics = harmonics(&radii)?;
    let radius = harmonics[0].max(f64::MIN_POSITIVE);
    let long = harmonics[3].hypot(harmonics[4]);
    let left: f64 = radii.iter().map(|(angle, r)| (r - series(&harmonics, *angle)).powi(2)).sum();
    // The long axis, with the rows turned to go upwards.
    let axis = -0.5 * harmonics[4].atan2(harmonics[3]);
    Some(Outline {
        roundness: ((radius - long) / (radius + long)).clamp(0.0, 1.0),
        long_axis_rad: axis.rem_euclid(PI),
        ragged: (left / radii.len() as f64).sqrt() / radius,
    })
}

/// Where the light in a direction falls below a threshold for good: half a step clear of noise by averaging over an arc.
fn crossing(
    grid: &Grid,
    middle: [f64; 2],
    angle: f64,
    threshold: f64,
    half: f64,
    furthest: f64,
) -> Option<f64> {
    /// Radians of the arc to each side.
    const ARC: f64 = 0.07;
    let step = (half / 12.0).max(0.25);
    let light = |r: f64| {
        let on_arc = |a: f64| grid.between(middle[0] + r * a.cos(), middle[1] + r * a.sin());
        (on_arc(angle - ARC) + on_arc(angle) + on_arc(angle + ARC)) / 3.0
    };
    let mut last = (0.0, f64::INFINITY);
    let mut r = step;
    while r <= furthest {
        let value = light(r);
        if value.is_nan() {
            return None;
        }
        if value < threshold {
            let share = if last.1.is_finite() { (last.1 - threshold) / (last.1 - value) } else { 1.0 };
            return Some(last.0 + share * (r - last.0));
        }
        last = (r, value);
        r += step;
    }
    // It stays bright as far as one may look.
    Some(furthest)
}

fn terms(angle: f64) -> [f64; 5] {
    [1.0, angle.cos(), angle.sin(), (2.0 * angle).cos(), (2.0 * angle).sin()]
}

fn series(harmonics: &[f64; 5], angle: f64) -> f64 {
    terms(angle).iter().zip(harmonics).map(|(t, h)| t * h).sum()
}

/// Least squares for the mean and the first two harmonics.
fn harmonics(radii: &[(f64, f64)]) -> Option<[f64; 5]> {
    let mut normal = nalgebra::Matrix5::zeros();
    let mut right = nalgebra::Vector5::zeros();
    for (angle, r) in radii {
        let does = nalgebra::Vector5::from(terms(*angle));
        normal += does * does.transpose();
        right += *r * does;
    }
    Some(normal.cholesky()?.solve(&right).into())
}
