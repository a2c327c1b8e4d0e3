//! How the dots look from where: stretches of distance with one look each.
//!
//! **Model**: the dot visibility at [`DISTANCES_M`] and at the scene's own, between them straight in both logarithms; where it falls below
//! one for good, the distance at which dots vanish as [`crate::judge`] finds it.

use crate::choose::compare::words::digits;
use crate::judge::numbers::{Layout, Numbers};
use crate::judge::softness::look;
use crate::scene::Scene;

/// Distances at which the visibility is computed, in m: from arm's length to across a large square.
pub(super) const DISTANCES_M: [f64; 8] = [0.3, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0];
/// Steps into which the logarithm of the distance is cut for the ends of stretches: 1 % of the distance each.
const STEPS: usize = 470;
/// Where dots vanish farther off than what is computed, the scale ends so many times beyond.
const BEYOND: f64 = 1.3;
/// Visibilities below this count as this.
const NOTHING: f64 = 1e-6;

/// A stretch of distances from which the dots look alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Zone {
    /// Nearest, in m.
    pub from_m: f64,
    /// Farthest, in m.
    pub to_m: f64,
    /// What the dots look like.
    pub look: &'static str,
}

/// The stretches from near to far; none where no two pixels are neighbours.
#[must_use]
pub fn zones(layout: &Layout, scene: &Scene, own: &Numbers) -> Vec<Zone> {
    let Some(own_visibility) = own.dot_visibility else { return Vec::new() };
    let at = |distance_m| {
        let mut scene = scene.clone();
        scene.view.distance_m = distance_m;
        scene
    };
    let computed = layout.numbers_of(&DISTANCES_M.map(at));
    let mut points: Vec<(f64, f64)> =
        DISTANCES_M.iter().zip(computed).filter_map(|(d, n)| Some((*d, n.dot_visibility?))).collect();
    points.retain(|(d, _)| *d != scene.view.distance_m);
    points.push((scene.view.distance_m, own_visibility));
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let farthest = points.last().map_or(0.0, |p| p.0);
    if let Some(vanish) = own.dots_vanish_m.filter(|m| m.is_finite() && *m > farthest) {
        points.extend([(vanish, 1.0), (BEYOND * vanish, 1.0 / BEYOND)]);
    }
    stretches(&points, own.dots_vanish_m)
}

fn stretches(points: &[(f64, f64)], vanish_m: Option<f64>) -> Vec<Zone> {
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return Vec::new() };
    let (low, high) = (first.0.ln(), last.0.ln());
    let visibility = |ln_d: f64| {
        let i = points.partition_point(|p| p.0.ln() <= ln_d).clamp(1, points.len().max(2) - 1);
        let (Some(a), Some(b)) = (points.get(i - 1), points.get(i)) else { return first.1 };
        let (va, vb) = (a.1.max(NOTHING).ln(), b.1.max(NOTHING).ln());
        let span = b.0.ln() - a.0.ln();
        (va + (vb - va) * if span > 0.0 { (ln_d - a.0.ln()) / span } else { 0.0 }).exp()
    };
    let mut zones: Vec<Zone> = Vec::new();
    for i in 0..=STEPS {
        let ln_d = low + (high - low) * i as f64 / STEPS as f64;
        // Beyond the distance at which dots vanish there are none, and nearer there are: interpolation must not say otherwise.
        let look = match vanish_m {
            Some(vanish) if ln_d.exp() >= vanish => look(0.0),
            Some(vanish) if vanish.is_finite() && ln_d.exp() > 0.9 * vanish => {
                look(visibility(ln_d).max(1.0))
            }
            _ => look(visibility(ln_d)),
        };
        match zones.last_mut() {
            Some(zone) if zone.look == look => zone.to_m = ln_d.exp(),
            _ => {
                if let Some(zone) = zones.last_mut() {
                    zone.to_m = ln_d.exp();
                }
                zones.push(Zone { from_m: ln_d.exp(), to_m: ln_d.exp(), look });
            }
        }
    }
    if let (Some(vanish), [.., before, end]) = (vanish_m, zones.as_mut_slice())
        && end.look == look(0.0)
        && vanish.is_finite()
        && vanish > before.from_m
    {
        before.to_m = vanish;
        end.from_m = vanish;
    }
    zones
}

impl Zone {
    /// The stretch in words: `hard dots up to 8.2 m`, `soft from 12 to 20 m`, `no dots beyond 20 m`.
    #[must_use]
    pub fn in_words(&self, first: bool, last: bool) -> String {
        let Zone { from_m, to_m, look } = *self;
        match (first, last) {
            (true, true) => {
                format!("{look} from any distance between {} and {} m", digits(from_m), digits(to_m))
            }
            (true, false) => format!("{look} up to {} m", digits(to_m)),
            (false, true) => format!("{look} beyond {} m", digits(from_m)),
            (false, false) => format!("{look} from {} to {} m", digits(from_m), digits(to_m)),
        }
    }

    /// Its share of the whole scale of distances, which is logarithmic.
    #[must_use]
    pub fn share(&self, whole: &[Zone]) -> f64 {
        let (Some(first), Some(last)) = (whole.first(), whole.last()) else { return 1.0 };
        let span = (last.to_m / first.from_m).ln();
        if span > 0.0 { (self.to_m / self.from_m).ln() / span } else { 1.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_follow_the_visibility() {
        // V = 20 / D: 10 at 2 m, 3 at 6.67 m, 1 at 20 m.
        let points: Vec<(f64, f64)> = DISTANCES_M.iter().map(|d| (*d, 20.0 / d)).collect();
        let zones = stretches(&points, Some(20.0));
        let looks: Vec<&str> = zones.iter().map(|zone| zone.look).collect();
        assert_eq!(looks, ["hard dots", "dots show", "soft", "no dots"]);
        /// A step of the scale.
        const STEP: f64 = 1.012;
        for (zone, end) in zones.iter().zip([2.0, 20.0 / 3.0, 20.0, 32.0]) {
            assert!(zone.to_m / end < STEP && end / zone.to_m < STEP, "{zone:?} {end}");
        }
        assert_eq!(zones[2].to_m, 20.0);
        let whole: f64 = zones.iter().map(|zone| zone.share(&zones)).sum();
        assert!((whole - 1.0).abs() < 1e-9);
        assert_eq!(zones[3].in_words(false, true), "no dots beyond 20 m");
        let always = stretches(&points, Some(f64::INFINITY));
        assert_eq!(always.last().map(|zone| zone.look), Some("no dots"), "what is computed counts");
        let never = stretches(&[(0.3, 0.1), (32.0, 0.01)], Some(0.0));
        assert_eq!(never.len(), 1);
        assert!(never[0].in_words(true, true).starts_with("no dots from any distance"));
    }
}
