//! How bright bare pixels are, and how much blue light reaches an eye that looks into them from close by.
//!
//! An estimate from package data and no certification: the standard's classes are for measured products.
//!
//! # Model
//! - **Luminance** of the bright window: intensity straight ahead over area. A die's own patch sends the share `1 - c` of its light,
//!   the whole window the rest ([`Package::bright_parts`]): the mean over the window is `I/A`, the brightest place is the patch.
//! - **Blue-light radiance** (IEC 62471): `L_B = int L_e(lambda) B(lambda) d lambda` at 200 mm, averaged over a circular field. With the
//!   weighted intensity `I_B` of everything inside a field of diameter `D = gamma 200 mm`, `L_B = sum I_B / (pi D^2 / 4)`. The field
//!   is laid where it takes in most: neighbours within it add up, parts of a window outside it do not.
//!
//! | group | limit of L_B in W/(m2 sr) | field gamma in mrad | time |
//! |---|---|---|---|
//! | exempt | 100 | 100 (20 mm at 200 mm) | 10 000 s |
//! | 1 (low) | 10 000 | 11 (2.2 mm) | 100 s |
//! | 2 (moderate) | 4 000 000 | 1.7 (0.34 mm) | 0.25 s |
//!
//! - **Behind cloth** the light that comes straight through keeps the picture of the pixels, times the straight transmittance; what is
//!   scattered is counted as if all of it still came from where the pixels are. For the widest field that is near the truth, for the
//!   narrower ones far too much: figures behind cloth are "at most".
//!
//! # Assumptions and validity
//! Seen from straight ahead, where pixels are brightest. Levels are shares of time, far too fast for an eye: averages count; the
//! standard's rules for single pulses are not applied. Square windows count as discs of the same area. The ranges are those
//! of the packages' intensities alone: a blue die of 465 nm instead of 470 nm sends nearly half as much again per candela. `ideal` sources have no extent: no luminance is told for them.
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

use super::ranges::Range;
use crate::light::Window;
use crate::light::spectrum::{Spectrum, die_spectrum, xyz_of};
use crate::light::totals::shares;
use crate::light::transport::straight_transmittance;
use crate::picture::luminance::{packages, place};
use crate::pixels::package::{Die, DieFacts, Package};
use crate::quantity::Nanometres;
use crate::scene::Scene;
use rayon::prelude::*;
use std::f64::consts::PI;

/// Distance at which the standard judges lamps that are not for general lighting, in mm.
pub const DISTANCE_MM: f64 = 200.0;
/// Limits of the exempt group, groups 1 and 2: `L_B` in W/(m2 sr) and the field in mrad.
pub const LIMITS: [(f64, f64); 3] = [(100.0, 100.0), (1e4, 11.0), (4e6, 1.7)];
/// Luminance from which a small light is taken to dazzle at night, in cd/m2 (common practice, no source: a clear
/// sky is some 5000 to 10 000).
pub const DAZZLES_CD_M2: f64 = 10_000.0;
/// Wavelength at which a stack's straight share is told, in nm, as in the pictures.
const STRAIGHT_NM: f64 = 550.0;
/// Wavelength that stands for blue dies where the scattered share of a stack is asked for, in nm.
const BLUE_NM: f64 = 460.0;

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

/// A value that data sheets give a range for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Likely {
    /// With every die at the lower end of its range.
    pub low: f64,
    /// Typical.
    pub typical: f64,
    /// With every die at the upper end of its range.
    pub high: f64,
}

impl Likely {
    fn of(f: impl Fn(usize) -> f64) -> Likely {
        Likely { low: f(0), typical: f(1), high: f(2) }
    }

    /// All three times a factor.
    #[must_use]
    pub fn times(self, factor: f64) -> Likely {
        Likely { low: self.low * factor, typical: self.typical * factor, high: self.high * factor }
    }
}

/// Intensity of a die at full level in cd: lower end, typical, upper end.
fn candela(die: &DieFacts, case: usize) -> f64 {
    1e-3 * [die.range_mcd[0], die.typical_mcd, die.range_mcd[1]][case]
}

/// One die of a package at full level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DieLight {
    /// Which.
    pub die: Die,
    /// Luminance of the whole window by its light, in cd/m2.
    pub window_cd_m2: Likely,
    /// Luminance of its own bright patch, in cd/m2.
    pub patch_cd_m2: Likely,
    /// Weighted intensity straight ahead, in W/sr.
    pub blue_w_sr: Likely,
}

/// One package.
#[derive(Clone, Debug, PartialEq)]
pub struct PackageLight {
    /// Its name.
    pub name: String,
    /// Its dies, each alone at full level.
    pub dies: Vec<DieLight>,
    /// Mean luminance of its window with all dies at full level, in cd/m2.
    pub full_cd_m2: Likely,
    /// The same of the brightest such pixel at the scene's levels.
    pub scene_cd_m2: Likely,
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

    fn times(self, factor: f64) -> BlueLight {
        BlueLight { radiance: self.radiance.map(|radiance| radiance.times(factor)) }
    }
}

/// Bare pixels of a scene.
#[derive(Clone, Debug, PartialEq)]
pub struct BareLight {
    /// The packages that have an extent.
    pub packages: Vec<PackageLight>,
    /// Share of the light that comes straight through the cloth; 1 without cloth.
    pub straight: f64,
    /// At most this share of the blue light comes through, straight or scattered.
    pub blue_kept: f64,
    /// Blue light of the bare pixels with every die at full level.
    pub blue_full: BlueLight,
    /// Blue light of the bare pixels at the scene's levels.
    pub blue_scene: BlueLight,
}

/// A part of a pixel's bright area.
#[derive(Clone, Copy, Debug)]
struct Part {
    at: [f64; 2],
    radius: f64,
    /// Weighted intensity in W/sr: lower end, typical, upper end.
    blue: [f64; 3],
}

/// Share of a disc of radius `r` that lies inside one of radius `field`, `away` from it (the lens between two circles).
fn share_inside(r: f64, field: f64, away: f64) -> f64 {
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

fn radius_mm(window: Window) -> f64 {
    match window {
        Window::Point => 0.0,
        Window::Disc { diameter } => 0.5 * diameter.0,
        Window::Square { side } => side.0 / PI.sqrt(),
    }
}

impl BareLight {
    /// The bare pixels of a scene.
    #[must_use]
    pub fn of(scene: &Scene) -> BareLight {
        let packages = packages(scene);
        let blue: Vec<Vec<f64>> = packages
            .iter()
            .map(|p| p.dies.iter().map(|die| blue_w_per_lm(&die_spectrum(die))).collect())
            .collect();
        let with = |level: &(dyn Fn(f64) -> f64 + Sync)| {
            let parts = parts(scene, &packages, &blue, level);
            let centres = centres(scene);
            BlueLight { radiance: LIMITS.map(|(_, field)| radiance(&parts, &centres, field)) }
        };
        let beam = packages.iter().map(|p| p.beam_power).fold(f64::INFINITY, f64::min);
        let (straight, blue_kept) = if scene.stack.is_empty() {
            (1.0, 1.0)
        } else {
            let at_blue = scene.stack_at(Nanometres(BLUE_NM));
            let scattered = if beam.is_finite() { shares(&at_blue, beam).scattered.max(0.0) } else { 0.0 };
            let through = straight_transmittance(&at_blue.layers) + scattered;
            (straight_transmittance(&scene.stack_at(Nanometres(STRAIGHT_NM)).layers), through.min(1.0))
        };
        BareLight {
            packages: packages
                .iter()
                .zip(&blue)
                .filter_map(|(package, blue)| package_light(scene, package, blue))
                .collect(),
            straight,
            blue_kept,
            blue_full: with(&|_| 1.0),
            blue_scene: with(&|level| level),
        }
    }

    /// Blue light at the scene's levels, at most, as it comes through the cloth.
    #[must_use]
    pub fn blue_behind_cloth(&self) -> BlueLight {
        self.blue_scene.times(self.blue_kept)
    }

    /// The brightest window at full level, its mean luminance in cd/m2.
    #[must_use]
    pub fn brightest_full_cd_m2(&self) -> Option<Likely> {
        self.brightest(|package| package.full_cd_m2)
    }

    fn brightest(&self, f: impl Fn(&PackageLight) -> Likely) -> Option<Likely> {
        self.packages.iter().map(f).reduce(|a, b| if b.typical > a.typical { b } else { a })
    }

    /// The caution about dazzling: what is seen of the pixels through the cloth (or bare) at the scene's levels, and bare at full level.
    /// `None` for sources without extent.
    #[must_use]
    pub fn dazzle_words(&self) -> Option<String> {
        let full = self.brightest_full_cd_m2()?;
        let scene = self.brightest(|package| package.scene_cd_m2)?;
        let seen = scene.times(self.straight);
        let through = if self.straight < 1.0 { "through the cloth" } else { "bare" };
        let dazzling = if full.typical > DAZZLES_CD_M2 {
            "that dazzles: do not look into bare pixels from close by."
        } else {
            "do not look into bare pixels from close by all the same."
        };
        Some(format!(
            "A pixel's window is seen {through} with {}; bare and with every die at full level it has {}, {dazzling}",
            ranged(seen, "cd/m2"),
            ranged(full, "cd/m2"),
        ))
    }

    /// The caution about blue light.
    #[must_use]
    pub fn blue_words(&self) -> String {
        let limit = LIMITS[0].0;
        let within = |blue: &BlueLight| match (blue.group(false), blue.group(true)) {
            (0, 0) => format!("within the exempt limit of {limit:.0} of IEC 62471"),
            (0, _) => format!(
                "within the exempt limit of {limit:.0} of IEC 62471 typically, over it at the upper end of the range"
            ),
            (1, 1) => {
                format!("over the exempt limit of {limit:.0} of IEC 62471, within that of its group 1 (low)")
            }
            (_, high) => {
                format!("over the exempt limit of {limit:.0} of IEC 62471, as high as its group {high}")
            }
        };
        let full = self.blue_full;
        let mut words = format!(
            "Blue light into an eye 200 mm from the bare pixels, every die at full level: {} W/(m2 sr) over 100 mrad, {}",
            ranged(full.radiance[0], ""),
            within(&full)
        );
        let scene = self.blue_behind_cloth();
        if scene.radiance[0].typical < 0.999 * full.radiance[0].typical {
            let where_ = if self.straight < 1.0 { "through the cloth" } else { "bare" };
            words += &format!(
                "; at the scene's levels, {where_}, at most {} ({})",
                three(scene.radiance[0].high),
                match scene.group(true) {
                    0 => "within the exempt limit".to_owned(),
                    group => format!("group {group}"),
                }
            );
        }
        words + ". An estimate from package data, not a certification."
    }

    /// Both cautions.
    #[must_use]
    pub fn words(&self) -> Vec<String> {
        self.dazzle_words().into_iter().chain([self.blue_words()]).collect()
    }

    /// As JSON.
    #[must_use]
    pub fn data(&self) -> serde_json::Value {
        let likely = |v: &Likely, unit| Range { value: v.typical, low: v.low, high: v.high }.data(unit);
        let blue = |blue: &BlueLight| {
            let fields: Vec<_> = blue
                .radiance
                .iter()
                .zip(&LIMITS)
                .map(|(radiance, (limit, field))| {
                    serde_json::json!({
                        "field_mrad": field, "w_m2_sr": likely(radiance, "W/(m2 sr)"), "limit_w_m2_sr": limit,
                    })
                })
                .collect();
            serde_json::json!({ "fields": fields, "group_typical": blue.group(false), "group_upper_end": blue.group(true) })
        };
        serde_json::json!({
            "straight_through_share": self.straight,
            "window_full_cd_m2": self.brightest_full_cd_m2().map(|luminance| likely(&luminance, "cd/m2")),
            "blue_bare_full": blue(&self.blue_full),
            "blue_bare_scene": blue(&self.blue_scene),
            "blue_through_cloth_at_most": blue(&self.blue_behind_cloth()),
        })
    }
}

/// Three digits at most, without decimals from 100 on.
fn three(value: f64) -> String {
    if value <= 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let scale = 10f64.powf(value.log10().floor() - 1.0);
    format!("{}", ((value / scale).round() * scale * 1e6).round() / 1e6)
}

/// `typical unit (low to high)`.
fn ranged(value: Likely, unit: &str) -> String {
    let space = if unit.is_empty() { "" } else { " " };
    if value.low == value.high {
        return format!("{}{space}{unit}", three(value.typical));
    }
    format!("{}{space}{unit} ({} to {})", three(value.typical), three(value.low), three(value.high))
}

fn package_light(scene: &Scene, package: &Package, blue: &[f64]) -> Option<PackageLight> {
    let area_m2 = |window: Window| PI * (1e-3 * radius_mm(window)).powi(2);
    let window_m2 = area_m2(package.window);
    if window_m2 <= 0.0 {
        return None;
    }
    let dies = package
        .dies
        .iter()
        .zip(blue)
        .map(|(die, &per_cd)| {
            let of = |f: &dyn Fn(f64) -> f64| Likely::of(|case| f(candela(die, case)));
            DieLight {
                die: die.die,
                window_cd_m2: of(&|cd| cd / window_m2),
                patch_cd_m2: of(&|cd| {
                    let parts = package.bright_parts(die);
                    parts.iter().map(|(_, window, share)| cd * share / area_m2(*window)).sum()
                }),
                blue_w_sr: of(&|cd| cd * per_cd),
            }
        })
        .collect();
    let mean = |levels: &[f64]| {
        let candela = |case| package.dies.iter().zip(levels).map(|(d, l)| candela(d, case) * l).sum::<f64>();
        Likely::of(|case| candela(case) / window_m2)
    };
    let scene_cd_m2 = scene
        .pixels
        .iter()
        .filter(|pixel| *pixel.package == *package)
        .map(|pixel| mean(&pixel.levels))
        .reduce(|a, b| if b.typical > a.typical { b } else { a })
        .unwrap_or_default();
    Some(PackageLight {
        name: package.name.clone(),
        dies,
        full_cd_m2: mean(&vec![1.0; package.dies.len()]),
        scene_cd_m2,
    })
}

/// The bright parts of all pixels, sorted by x.
fn parts(
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
fn centres(scene: &Scene) -> Vec<[f64; 2]> {
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
fn radiance(parts: &[Part], centres: &[[f64; 2]], field_mrad: f64) -> Likely {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cloth::catalogue::CatalogueOnly;
    use crate::scene::file::resolve;

    fn scene(text: &str) -> Scene {
        resolve(text, "test", &CatalogueOnly).expect("a scene in order").scene
    }

    fn rows(table: &str) -> Vec<Vec<f64>> {
        let lines = table.lines().filter(|l| !l.starts_with('#')).skip(1);
        lines.map(|l| l.split(',').map(|v| v.parse().unwrap_or(0.0)).collect()).collect()
    }

    #[test]
    fn weights_and_limits_are_the_standards() {
        for row in rows(include_str!("../../tests/reference/blue_light_hazard.csv")) {
            // Six digits are printed.
            assert!((weight(Nanometres(row[0])) / row[1] - 1.0).abs() < 1e-5, "{row:?}");
        }
        assert_eq!([weight(Nanometres(379.0)), weight(Nanometres(701.0))], [0.0; 2]);
        let limits = rows(include_str!("../../tests/reference/blue_light_limits.csv"));
        for (row, limit) in limits.iter().zip(LIMITS) {
            assert_eq!((row[1], row[2]), limit);
        }
    }

    #[test]
    fn the_worked_scale_is_reproduced() {
        // Computed elsewhere: a die of 0.2 cd with a Gaussian band 22 nm wide, its peak at 464 to 466 nm, sends 2.4 to 2.8 mW/sr; over
        // 11 mrad at 200 mm, all of it inside the field, that is 640 to 730 W/(m2 sr); over 100 mrad 8 to 9, printed with one digit.
        let over = |blue: f64, mrad: f64| {
            let parts = [Part { at: [0.0; 2], radius: 0.5, blue: [blue; 3] }];
            radiance(&parts, &[[0.0; 2]], mrad).typical
        };
        for (nm, blue, wide, near) in [(464.0, 2.8e-3, 9.0, 730.0), (466.0, 2.4e-3, 8.0, 640.0)] {
            let gaussian = |w: Nanometres| (-4.0 * 2f64.ln() * ((w.0 - nm) / 22.0).powi(2)).exp();
            let found = 0.2 * blue_w_per_lm(&Spectrum::from_fn(gaussian));
            // Half of the last digit printed.
            assert!((found - blue).abs() < 0.05e-3, "{nm}: {found}");
            assert!((over(found, 100.0) - wide).abs() < 0.5, "{nm}: {}", over(found, 100.0));
            assert!((over(found, 11.0) - near).abs() < 5.0, "{nm}: {}", over(found, 11.0));
        }
        // The project's own spectrum of such a die (dominant 465 nm) lies in the same range.
        let mut die = Package::named("5050").expect("in the table").dies[2].clone();
        die.dominant = Nanometres(465.0);
        let own = 0.2 * blue_w_per_lm(&die_spectrum(&die));
        assert!((2.4e-3..2.8e-3).contains(&own), "{own}");
    }

    #[test]
    fn the_lens_between_circles_is_right() {
        // Against counting on a fine grid.
        /// Cells of 1/400 of the radius.
        const ERROR: f64 = 0.01;
        for (r, field, away) in
            [(1.0, 1.0, 0.0), (1.0, 0.4, 0.3), (1.0, 2.0, 1.5), (0.5, 0.6, 0.9), (2.0, 1.0, 1.2)]
        {
            let (mut inside, mut all) = (0.0, 0.0);
            for i in -400..=400 {
                for j in -400..=400 {
                    let (x, y) = (r * f64::from(i) / 400.0, r * f64::from(j) / 400.0);
                    if x.hypot(y) <= r {
                        all += 1.0;
                        inside += f64::from(u8::from((x - away).hypot(y) <= field));
                    }
                }
            }
            let found = share_inside(r, field, away);
            assert!((found - inside / all).abs() < ERROR, "{r} {field} {away}: {found}");
        }
        assert_eq!([share_inside(0.0, 1.0, 0.9), share_inside(0.0, 1.0, 1.1)], [1.0, 0.0]);
    }

    const BARE: &str = "pixels: [strip: {pitch_mm: 16.67, count: 12}]\nstack: []\nlight: {colour: \"#ffffff\", level: 0.5}\n";

    #[test]
    fn luminance_is_intensity_over_area() {
        let light = BareLight::of(&scene(BARE));
        let package = &light.packages[0];
        // 0.625 + 1.25 + 0.3 cd over a disc of 3.6 mm.
        let area = PI * 1.8e-3_f64.powi(2);
        assert!((package.full_cd_m2.typical / (2.175 / area) - 1.0).abs() < 1e-9);
        assert!((package.scene_cd_m2.typical / package.full_cd_m2.typical - 0.5).abs() < 1e-9);
        assert!((package.full_cd_m2.high / (2.5 / area) - 1.0).abs() < 1e-9);
        let sum: f64 = package.dies.iter().map(|die| die.window_cd_m2.typical).sum();
        assert!((sum / package.full_cd_m2.typical - 1.0).abs() < 1e-9);
        // A patch of 1.1 mm with half the light is brighter than the window's mean.
        assert!(package.dies.iter().all(|die| die.patch_cd_m2.typical > 4.0 * die.window_cd_m2.typical));
        assert!(light.dazzle_words().is_some_and(|words| words.contains("do not look into bare pixels")));
        assert!(light.blue_words().contains("within the exempt limit of 100"));
    }

    #[test]
    fn neighbours_within_the_field_add_up() {
        let at = |pitch: f64, count: u32| {
            let text = format!(
                "pixels: [strip: {{pitch_mm: {pitch}, count: {count}}}]\nstack: []\nlight: {{colour: \"#ffffff\", level: 1}}\n"
            );
            BareLight::of(&scene(&text)).blue_full.radiance.map(|r| r.typical)
        };
        let alone = at(30.0, 3);
        // 20 mm hold two pixels 16.67 mm apart (but for the outer parts of their windows) and three 7 mm apart.
        assert!((1.85..=2.0).contains(&(at(16.67, 3)[0] / alone[0])), "{}", at(16.67, 3)[0] / alone[0]);
        assert!((at(7.0, 5)[0] / alone[0] - 3.0).abs() < 1e-6, "{}", at(7.0, 5)[0] / alone[0]);
        // 2.2 mm and less see one pixel.
        for field in [1, 2] {
            assert!((at(7.0, 5)[field] / alone[field] - 1.0).abs() < 1e-9);
        }
        // Narrower fields see the bright place alone: more radiance, never more than the source's own.
        assert!(alone[0] < alone[1] && alone[1] < alone[2]);
        let package = Package::named("5050").expect("in the table");
        let own: f64 = package
            .dies
            .iter()
            .map(|die| {
                let blue = 1e-3 * die.typical_mcd * blue_w_per_lm(&die_spectrum(die));
                let part = |window, share: f64| blue * share / (PI * (1e-3 * radius_mm(window)).powi(2));
                package.bright_parts(die).iter().map(|(_, window, share)| part(*window, *share)).sum::<f64>()
            })
            .sum();
        assert!(alone[2] <= own);
    }

    #[test]
    fn cloth_and_level_lessen_it_and_nothing_is_no_harm() {
        let bare = BareLight::of(&scene(BARE));
        let cloth =
            BareLight::of(&scene(&BARE.replace("stack: []", "stack: [{gap_mm: 6, cloth: felt-wool-ivory}]")));
        assert_eq!((bare.straight, bare.blue_kept), (1.0, 1.0));
        assert!(cloth.straight < 0.01 && cloth.blue_kept < 0.6);
        assert_eq!(bare.blue_full, cloth.blue_full);
        assert!(cloth.blue_behind_cloth().radiance[0].typical < bare.blue_behind_cloth().radiance[0].typical);
        for (upper, blue) in [(false, bare.blue_full), (true, bare.blue_full)] {
            assert!(blue.group(upper) <= 1);
        }
        let mut empty = scene(BARE);
        empty.pixels.clear();
        let none = BareLight::of(&empty);
        assert_eq!((none.packages.len(), none.blue_full), (0, BlueLight::default()));
        let point = BareLight::of(&scene("pixels: [point: {at_mm: [0, 0]}]\nstack: []\n"));
        assert!(point.dazzle_words().is_none() && point.blue_words().contains("not a certification"));
    }
}
