//! Blue light into an eye that looks into bare pixels.
//!
//! # Model
//! **Blue-light radiance** (IEC 62471): `L_B = int L_e(lambda) B(lambda) d lambda` at 200 mm, averaged over a circular field. With the
//! weighted intensity `I_B` of everything inside a field of diameter `D = gamma 200 mm`, `L_B = sum I_B / (pi D^2 / 4)`. The field
//! is laid where it takes in most: neighbours within it add up, parts of a window outside it do not.
//!
//! | group | limit of L_B in W/(m2 sr) | field gamma in mrad | time |
//! |---|---|---|---|
//! | exempt | 100 | 100 (20 mm at 200 mm) | 10 000 s |
//! | 1 (low) | 10 000 | 11 (2.2 mm) | 100 s |
//! | 2 (moderate) | 4 000 000 | 1.7 (0.34 mm) | 0.25 s |
//!
//! # Assumptions and validity
//! Those of [`super`].
//!
//! # Source
//! IEC 62471:2006 (limits of the risk groups and fields second-hand). Values and their sources:
//! `tests/reference/blue_light_hazard.csv`, `blue_light_limits.csv`. Cells of the table between 380 and 430 nm that it leaves out
//! are joined by straight lines; light-emitting dies send next to nothing there.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | B | blue-light hazard weight | 1 |
//! | I_B | weighted radiant intensity straight ahead | W/sr |
//! | L_B | weighted radiance, averaged over a field | W/(m2 sr) |

use super::{Likely, candela, radius_mm};
use crate::light::spectrum::{Spectrum, xyz_of};
use crate::picture::luminance::place;
use crate::pixels::package::Package;
use crate::quantity::Nanometres;
use crate::scene::Scene;
use rayon::prelude::*;
use std::f64::consts::PI;

/// Distance at which the standard judges lamps that are not for general lighting, in mm.
pub const DISTANCE_MM: f64 = 200.0;
/// Limits of the exempt group, groups 1 and 2: `L_B` in W/(m2 sr) and the field in mrad.
pub const LIMITS: [(f64, f64); 3] = [(100.0, 100.0), (1e4, 11.0), (4e6, 1.7)];

/// The weights up to 500 nm; beyond, [`weight`] has the formula.
const WEIGHTS: [(f64, f64); 19] = [
    (380.0, 0.01),
    (400.0, 0.1),
    (410.0, 0.4),
    (420.0, 0.9),
    (430.0, 0.98),
    (435.0, 1.0),
    (440.0, 1.0),
    (445.0, 0.97),
    (450.0, 0.94),
    (455.0, 0.9),
    (460.0, 0.8),
    (465.0, 0.7),
    (470.0, 0.62),
    (475.0, 0.55),
    (480.0, 0.45),
    (485.0, 0.4),
    (490.0, 0.22),
    (495.0, 0.16),
    (500.0, 0.1),
];

/// Blue-light hazard weight of a wavelength; 0 outside 380 to 700 nm.
#[must_use]
pub fn weight(wavelength: Nanometres) -> f64 {
    let nm = wavelength.0;
    if !(380.0..=700.0).contains(&nm) {
        return 0.0;
    }
    if nm >= 500.0 {
        return 10f64.powf((450.0 - nm) / 50.0).max(0.001);
    }
    let i = WEIGHTS.partition_point(|&(at, _)| at <= nm).clamp(1, WEIGHTS.len() - 1);
    let ((low_nm, low), (high_nm, high)) = (WEIGHTS[i - 1], WEIGHTS[i]);
    low + (nm - low_nm) / (high_nm - low_nm) * (high - low)
}

/// Weighted radiant power per luminous flux of a light in W/lm; the same number in W/sr per candela.
#[must_use]
pub fn blue_w_per_lm(spectrum: &Spectrum) -> f64 {
    let weighted = spectrum.times(&Spectrum::from_fn(weight)).integral();
    let luminous = xyz_of(spectrum).luminance();
    if luminous > 0.0 { weighted / luminous } else { 0.0 }
}

/// The blue light of all pixels together.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BlueLight {
    /// `L_B` averaged over the fields of [`LIMITS`], in W/(m2 sr).
    pub radiance: [Likely; 3],
}

impl BlueLight {
    /// The risk group the typical values, or the upper ends, would fall into: 0 is exempt, 3 beyond all limits.
    #[must_use]
    pub fn group(&self, upper: bool) -> usize {
        let value = |radiance: &Likely| if upper { radiance.high } else { radiance.typical };
        let within = |(radiance, limit): (&Likely, &(f64, f64))| value(radiance) <= limit.0;
        self.radiance.iter().zip(&LIMITS).position(within).unwrap_or(LIMITS.len())
    }

    pub(super) fn times(self, factor: f64) -> BlueLight {
        BlueLight { radiance: self.radiance.map(|radiance| radiance.times(factor)) }
    }
}

/// A part of a pixel's bright area.
#[derive(Clone, Copy, Debug)]
pub(super) struct Part {
    pub(super) at: [f64; 2],
    pub(super) radius: f64,
    /// Weighted intensity in W/sr: lower end, typical, upper end.
    pub(super) blue: [f64; 3],
}

/// Share of a disc of radius `r` that lies inside one of radius `field`, `away` from it (the lens between two circles).
pub(super) fn share_inside(r: f64, field: f64, away: f64) -> f64 {
    if away + r <= field {
        return 1.0;
    }
    if away >= field + r {
        return 0.0;
    }
    if away + field <= r {
        return (field / r).powi(2);
    }
    let angle = |own: f64, other: f64| {
        ((away * away + own * own - other * other) / (2.0 * away * own)).clamp(-1.0, 1.0).acos()
    };
    let (a, b) = (angle(r, field), angle(field, r));
    let lens = r * r * (a - a.sin() * a.cos()) + field * field * (b - b.sin() * b.cos());
    lens / (PI * r * r)
}

/// The bright parts of all pixels, sorted by x.
pub(super) fn parts(
    scene: &Scene,
    packages: &[&Package],
    blue: &[Vec<f64>],
    level: &(dyn Fn(f64) -> f64 + Sync),
) -> Vec<Part> {
    let mut parts = Vec::new();
    for pixel in &scene.pixels {
        let Some(p) = packages.iter().position(|known| **known == *pixel.package) else { continue };
        for ((die, per_cd), &own) in packages[p].dies.iter().zip(&blue[p]).zip(&pixel.levels) {
            let level = level(own);
            if level <= 0.0 {
                continue;
            }
            for (offset, window, share) in packages[p].bright_parts(die) {
                if share > 0.0 {
                    let blue = std::array::from_fn(|case| candela(die, case) * per_cd * level * share);
                    parts.push(Part { at: place(pixel, offset), radius: radius_mm(window), blue });
                }
            }
        }
    }
    parts.sort_by(|a, b| a.at[0].total_cmp(&b.at[0]));
    parts
}

/// Where the field is laid: on dies, on pixels, and so that two pixels lie just inside its edge, which takes in most of them.
pub(super) fn centres(scene: &Scene) -> Vec<[f64; 2]> {
    // The widest field's radius at the distance, a little less so that both pixels' windows are nearly inside.
    let reach = 0.5 * 1e-3 * LIMITS[0].1 * DISTANCE_MM - 1.0;
    let mut places: Vec<[f64; 2]> = scene.pixels.iter().map(|p| p.at.map(|v| v.0)).collect();
    places.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let mut centres = places.clone();
    for pixel in &scene.pixels {
        centres.extend(pixel.package.dies.iter().map(|die| place(pixel, die.offset)));
    }
    for (i, a) in places.iter().enumerate() {
        for b in places[i + 1..].iter().take_while(|b| b[0] - a[0] <= 2.0 * reach) {
            let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
            let half = 0.5 * dx.hypot(dy);
            if half <= 0.0 || half > reach {
                continue;
            }
            let middle = [a[0] + 0.5 * dx, a[1] + 0.5 * dy];
            let off = (reach * reach - half * half).sqrt() / (2.0 * half);
            centres.extend([
                middle,
                [middle[0] - off * dy, middle[1] + off * dx],
                [middle[0] + off * dy, middle[1] - off * dx],
            ]);
        }
    }
    centres
}

/// Greatest weighted radiance over a field of so many mrad, in W/(m2 sr).
pub(super) fn radiance(parts: &[Part], centres: &[[f64; 2]], field_mrad: f64) -> Likely {
    let field = 0.5 * 1e-3 * field_mrad * DISTANCE_MM;
    let widest = parts.iter().map(|part| part.radius).fold(0.0, f64::max);
    let area_m2 = PI * (1e-3 * field).powi(2);
    let inside = |centre: &[f64; 2]| -> [f64; 3] {
        let first = parts.partition_point(|part| part.at[0] < centre[0] - field - widest);
        let mut sum = [0.0; 3];
        for part in parts[first..].iter().take_while(|part| part.at[0] <= centre[0] + field + widest) {
            let away = (part.at[0] - centre[0]).hypot(part.at[1] - centre[1]);
            let share = share_inside(part.radius, field, away);
            sum.iter_mut().zip(part.blue).for_each(|(s, blue)| *s += share * blue);
        }
        sum
    };
    let most = centres.par_iter().map(inside).reduce(|| [0.0; 3], |a, b| if b[1] > a[1] { b } else { a });
    Likely::of(|case| most[case] / area_m2)
}
