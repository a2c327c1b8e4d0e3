//! Total light of a pixel that was taken without cloth.
//!
//! # Model
//! The light within a radius, less the background, which is the mean of the ring around it of the radii 1.25 to 1.75 times
//! as large, without what is far off its median. What the lens scatters further than that counts as background.
//!
//! # Source
//! Aperture photometry as in astronomy: elementary.

use super::cells::{quantile, spread};
use super::decode::Photo;
use super::rings::rounding_error;

/// Inner and outer radius of the ring that gives the background, over the radius of the disc.
const RING: [f64; 2] = [1.25, 1.75];
/// Pixels of the ring at least.
const LEAST_RING: usize = 50;

/// Light of one channel around a middle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoreLight {
    /// Light above the background: linear value times area, in mm2.
    pub light_mm2: f64,
    /// Its standard error in mm2: noise, rounding to codes, error of the background. Noise is taken as tied together over 4
    /// pixels, as demosaicing and JPEG do.
    pub standard_error_mm2: f64,
    /// Whether any pixel of the disc is clipped: the light is then a lower limit.
    pub clipped: bool,
    /// Background that was taken off, linear.
    pub background: f64,
}

/// Total light above the background within `radius_mm` of a middle, R, G, B; `None` if the disc and the ring that gives the
/// background are not wholly in the picture, or are too small.
#[must_use]
pub fn core_light(
    photo: &Photo,
    mm_per_px: f64,
    centre_px: [f64; 2],
    radius_mm: f64,
) -> Option<[CoreLight; 3]> {
    let radius = radius_mm / mm_per_px;
    let reach = RING[1] * radius;
    let [x, y] = centre_px;
    let inside = reach.is_finite()
        && x >= reach
        && y >= reach
        && x + reach <= (photo.width - 1) as f64
        && y + reach <= (photo.height - 1) as f64;
    if !inside {
        return None;
    }
    let mut disc = Vec::new();
    let mut ring = Vec::new();
    for row in (y - reach).ceil() as usize..=(y + reach).floor() as usize {
        for column in (x - reach).ceil() as usize..=(x + reach).floor() as usize {
            let distance = (column as f64 - x).hypot(row as f64 - y);
            if distance < radius {
                disc.push((column, row));
            } else if distance >= RING[0] * radius && distance < reach {
                ring.push((column, row));
            }
        }
    }
    if ring.len() < LEAST_RING {
        return None;
    }
    Some(std::array::from_fn(|c| channel(photo, c, mm_per_px * mm_per_px, &disc, &ring)))
}

fn channel(
    photo: &Photo,
    c: usize,
    mm2_per_px: f64,
    disc: &[(usize, usize)],
    ring: &[(usize, usize)],
) -> CoreLight {
    /// Pixels whose noise is one: blocks of 2 x 2 by demosaicing.
    const TIED: f64 = 4.0;
    /// Standard deviations from the median within which a pixel of the ring counts.
    const NEAR: f64 = 3.0;
    let light = |&(x, y): &(usize, usize)| photo.linear(x, y)[c];
    let mut around: Vec<f64> = ring.iter().map(light).collect();
    let median = quantile(&mut around, 0.5);
    let step = photo.step_at(median);
    let noise = spread(&mut around.iter().map(|v| v - median).collect::<Vec<_>>());
    around.retain(|v| (v - median).abs() <= NEAR * noise.max(step));
    let background = around.iter().sum::<f64>() / around.len() as f64;
    let count = disc.len() as f64;
    let sum: f64 = disc.iter().map(light).sum();
    // Noise grows with the square root of the light; the level at which it was measured is at least a code.
    let level = background.max(step);
    let lit = (sum / count / level).max(1.0);
    let of_disc = TIED * noise * noise * lit * count;
    let of_background = TIED * noise * noise / around.len() as f64 * count * count;
    let of_rounding = rounding_error(step, noise, noise).powi(2) * count * count;
    CoreLight {
        light_mm2: (sum - background * count) * mm2_per_px,
        standard_error_mm2: (of_disc + of_background + of_rounding).sqrt() * mm2_per_px,
        clipped: disc.iter().any(|&(x, y)| photo.clipped(x, y)[c]),
        background,
    }
}

#[cfg(test)]
mod tests {
    use super::core_light;
    use crate::photo::synthetic::Scene;
    use std::f64::consts::{LN_2, PI};

    const CENTRE: [f64; 2] = [120.4, 101.7];
    const PEAK: [f64; 3] = [0.6, 0.5, 0.3];

    fn scene(seed: u64, overexposure: f64) -> Scene {
        let mut scene = Scene::new(240, 200, [0.004; 3], seed);
        scene.gaussian(CENTRE, 10.0, PEAK.map(|p| overexposure * p));
        scene
    }

    #[test]
    fn the_light_of_a_gaussian_is_its_volume() {
        let truth = PEAK.map(|p| p * PI * 100.0 / LN_2 * 0.01);
        let mut within = 0;
        for seed in 0..40 {
            let mut scene = scene(seed, 1.0);
            scene.noise(0.003, 0.01);
            scene.soften();
            for photo in [scene.linear(), scene.srgb()] {
                // Softening moves light outwards, but not out of the disc.
                let light = core_light(&photo, 0.1, CENTRE, 4.5).unwrap();
                for (light, truth) in light.iter().zip(truth) {
                    let off = (light.light_mm2 - truth).abs();
                    within += usize::from(off <= light.standard_error_mm2);
                    assert!(off < 5.0 * light.standard_error_mm2 && off < 0.02 * truth, "{light:?} {truth}");
                    assert!(!light.clipped);
                }
            }
        }
        // Of 240; the error is an estimate on the safe side.
        assert!(within > 150, "{within} of 240 within one standard error");
    }

    #[test]
    fn clipping_is_told_and_a_disc_beyond_the_picture_refused() {
        let photo = scene(1, 2.0).srgb();
        let light = core_light(&photo, 0.1, CENTRE, 4.5).unwrap();
        assert_eq!(light.map(|l| l.clipped), [true, true, false]);
        assert!(core_light(&photo, 0.1, CENTRE, 6.5).is_none());
        assert!(core_light(&photo, 0.1, CENTRE, 0.1).is_none());
        assert!(core_light(&photo, 0.1, [f64::NAN, 0.0], 1.0).is_none());
    }
}
