//! Do single dots show? The contrast of the dots, seen through the eye's contrast sensitivity.
//!
//! # Model
//! The luminance picture I is held against I_even, the picture of the same light spread evenly among neighbouring pixels
//! ([`super::neighbours`], which leaves ends and rims where they are) behind the same cloth. What differs is dots:
//!
//! ```text
//! c(x)  = (I(x) - I_even(x)) / (I_even(x) + I_room)          over the lit area, I_even >= half of its greatest value
//! V(D)^2 = 2 < (c filtered by S(u))^2 >,   u in cycles per degree at the distance D
//! ```
//!
//! V is the *dot visibility*: for a sine wave of modulation m it is m S(u), modulation over threshold; for a picture with many
//! frequencies the thresholds add up quadratically over the full spectrum. Below 1 an average observer sees no dots.
//!
//! Two more numbers come from the same pictures, over the places between pixels: *ripple*, `(max - min) / (max + min)` of
//! I / I_even, which the fall-off at the ends of a strip does not touch; and *evenness*, min / mean of I, which it does.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | I, I_even, I_room | luminance of the glow, of the even glow, of the cloth in the room's light | cd/m2 |
//! | S(u) | contrast sensitivity at the mean luminance of the lit area ([`super::eye`]) | 1 |
//! | D | viewing distance | m |
//!
//! # Assumptions and validity
//! A steady picture, looked at. The bare light that comes straight through counts with its pixels. Frequencies above
//! 32 cycles per degree at the scene's viewing distance are left out (the eye does not pass them), or above what 400,000 samples
//! can hold. Judged by luminance alone: dots of different colour and equal luminance do not count.
//!
//! # Source
//! Contrast sensitivity: Barten (1999), see [`super::eye`]. Quadratic summation over frequencies: Barten (1999) and the many
//! channels that he quotes; the comparison with an evenly spread source is this project's own definition.

use super::eye::Sensitivity;
use super::neighbours::Neighbourhood;
use super::straight::StraightPictures;
use crate::light::Window;
use crate::light::spread::SpotSpectrum;
use crate::picture::fft2::{Fft2, smooth_size};
use crate::picture::plane::{Accuracy, Frame, SpotChannel, SpotPoint, XyzImage, add_spots};
use std::f64::consts::PI;

/// Finest detail that the eye passes, in cycles per degree.
const FINEST_CYCLES: f64 = 32.0;
/// Finer than this nobody sees anything, in cycles per degree: the sensitivity is below 1e-6.
const UNSEEN_CYCLES: f64 = 120.0;
/// Samples a pitch at least.
const SAMPLES_PER_PITCH: f64 = 8.0;
/// Most samples of the picture.
const MOST_SAMPLES: f64 = 400_000.0;
/// The lit area: where the even glow has this share of its greatest value.
const LIT_SHARE: f64 = 0.5;
/// It fades over this range of shares around it.
const LIT_FADE: f64 = 0.4;
/// Widest field that the eye's sensitivity is asked for, in degrees: a person looks at a part of what is wider.
const WIDEST_FIELD_DEG: f64 = 60.0;
/// Distances searched for the one at which dots vanish, in m.
const NEAREST_M: f64 = 0.1;
const FARTHEST_M: f64 = 200.0;
/// What comes straight through below this intensity is left out: ten decades below a pixel.
const LEAST_STRAIGHT_CD: f64 = 1e-10;
/// Rings with less than this share of the whole power are left out: the eye's sensitivity, squared, differs by less than 1e8
/// between frequencies that it passes at all.
const LEAST_POWER: f64 = 1e-15;
/// Rings of spatial frequency into which the spectrum is gathered.
const RINGS: usize = 1024;

/// One kind of light of the scene: its spot in luminance, the intensity that comes straight through, its window.
#[derive(Clone, Debug)]
pub struct Emitter {
    /// Spot in cd/m2 (mm2 in the transform) at full level; `None` without cloth.
    pub spot: Option<SpotSpectrum>,
    /// Outline.
    pub window: Window,
    /// For each pixel of the scene: place of the light's centre in mm and level; level 0 for pixels of other kinds. Below 0 only
    /// where several emitters together make a pixel's spot ([`crate::picture::gap_classes`]).
    pub lights: Vec<([f64; 2], f64)>,
    /// Intensity straight through at full level in cd.
    pub straight_cd: f64,
}

/// What the comparison with the even glow gives.
#[derive(Clone, Debug)]
pub struct Dots {
    /// `(max - min) / (max + min)` of I / I_even between the pixels.
    pub ripple: f64,
    /// min / mean of I between the pixels.
    pub evenness: f64,
    /// Mean luminance of the glow between the pixels, in cd/m2.
    pub glow_mean: f64,
    /// Highest luminance of the glow, in cd/m2.
    pub glow_peak: f64,
    /// Area of the lit part in mm2.
    pub lit_mm2: f64,
    /// Ring by ring: angular frequency in 1/mm and twice the mean square of the contrast it holds.
    power: Vec<(f64, f64)>,
    adaptation: f64,
}

impl Dots {
    /// Dot visibility V at a distance in m.
    #[must_use]
    pub fn visibility(&self, distance_m: f64) -> f64 {
        let mm_per_degree = 1e3 * distance_m * (PI / 180.0);
        let field = (self.lit_mm2.sqrt() / mm_per_degree).min(WIDEST_FIELD_DEG);
        let eye = Sensitivity::new(self.adaptation, field);
        self.power
            .iter()
            .map(|&(k, power)| (k / (2.0 * PI) * mm_per_degree, power))
            .take_while(|&(u, _)| u < UNSEEN_CYCLES)
            .map(|(u, power)| power * eye.at(u).powi(2))
            .sum::<f64>()
            .sqrt()
    }

    /// The distance in m beyond which no dots show; `None` when they still show from 200 m, zero when they never do.
    #[must_use]
    pub fn vanishing_distance_m(&self) -> Option<f64> {
        const STEPS: usize = 60;
        /// Of a step of 14 %: 2e-5 of the distance.
        const HALVINGS: usize = 13;
        let ratio = (FARTHEST_M / NEAREST_M).powf(1.0 / STEPS as f64);
        let distance = |i: usize| NEAREST_M * ratio.powi(i as i32);
        if self.visibility(FARTHEST_M) >= 1.0 {
            return None;
        }
        let Some(last) = (0..STEPS).rev().find(|&i| self.visibility(distance(i)) >= 1.0) else {
            return Some(0.0);
        };
        let (mut near, mut far) = (distance(last), distance(last + 1));
        for _ in 0..HALVINGS {
            let middle = (near * far).sqrt();
            if self.visibility(middle) >= 1.0 {
                near = middle;
            } else {
                far = middle;
            }
        }
        Some((near * far).sqrt())
    }
}

/// Compares the glow with the even glow. `None` for a scene in which no two pixels are neighbours, or without light.
#[must_use]
pub fn dots(
    neighbourhood: &Neighbourhood,
    emitters: &[Emitter],
    room_cd_m2: f64,
    distance_m: f64,
) -> Option<Dots> {
    dots_with(&StraightPictures::default(), neighbourhood, emitters, room_cd_m2, distance_m)
}

/// The same with pictures kept from evaluations of other cloths.
pub(super) fn dots_with(
    kept: &StraightPictures,
    neighbourhood: &Neighbourhood,
    emitters: &[Emitter],
    room_cd_m2: f64,
    distance_m: f64,
) -> Option<Dots> {
    let pitch = neighbourhood.pitch_mm?;
    let frame = frame(neighbourhood, pitch, distance_m);
    let mut image = XyzImage::black(frame.width_px, frame.height_px);
    let lights: Vec<[Vec<SpotPoint>; 2]> = emitters.iter().map(|e| lights(neighbourhood, e)).collect();
    let mut channels = Vec::new();
    for (emitter, lights) in emitters.iter().zip(&lights) {
        let Some(spot) = &emitter.spot else { continue };
        channels.extend(lights.iter().enumerate().map(|(plane, points)| SpotChannel {
            points: points.clone(),
            window: emitter.window,
            window_turn_rad: 0.0,
            kernels: std::array::from_fn(|i| (i == plane).then_some(spot)),
        }));
    }
    let aperture_mm = add_spots(&mut image, &frame, &channels, Accuracy::Picture).aperture_mm.unwrap_or(0.0);
    for (emitter, lights) in emitters.iter().zip(&lights).filter(|(e, _)| e.straight_cd > LEAST_STRAIGHT_CD) {
        let straight = kept.get(&frame, aperture_mm, emitter.window, lights);
        let candela = emitter.straight_cd as f32;
        for (plane, unit) in image.planes.iter_mut().zip(&straight.planes) {
            plane.iter_mut().zip(unit).for_each(|(value, unit)| *value += candela * unit);
        }
    }
    compare(&frame, &image, neighbourhood, pitch, room_cd_m2)
}

/// The frame around all pixels, as fine as the eye at that distance and the pitch ask for.
fn frame(neighbourhood: &Neighbourhood, pitch: f64, distance_m: f64) -> Frame {
    let places = neighbourhood.even.iter().flatten();
    let (low, high) = places.fold(([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]), |(low, high), p| {
        (
            std::array::from_fn::<f64, 2, _>(|i| low[i].min(p.at[i])),
            std::array::from_fn::<f64, 2, _>(|i| high[i].max(p.at[i])),
        )
    });
    let size = [high[0] - low[0] + pitch, high[1] - low[1] + pitch];
    let seen = 1e3 * distance_m * (PI / 180.0) / (2.0 * FINEST_CYCLES);
    let step = (pitch / SAMPLES_PER_PITCH).min(seen).max((size[0] * size[1] / MOST_SAMPLES).sqrt());
    let count = |length: f64| ((length / step).ceil() as u32).max(4);
    let middle = [0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1])];
    Frame::centred(middle[0], middle[1], step, count(size[0]), count(size[1]))
}

/// The lights of one kind where they are, and spread evenly.
fn lights(neighbourhood: &Neighbourhood, emitter: &Emitter) -> [Vec<SpotPoint>; 2] {
    let point = |(at, amount): ([f64; 2], f64)| SpotPoint { x_mm: at[0], y_mm: at[1], amount };
    let real = emitter.lights.iter().copied().filter(|(_, level)| *level != 0.0);
    let levels: Vec<f64> = emitter.lights.iter().map(|(_, level)| *level).collect();
    // The light's own place in the package moves the even version as a whole.
    let offset = |pixel: usize| -> [f64; 2] {
        std::array::from_fn(|i| emitter.lights[pixel].0[i] - neighbourhood.places[pixel][i])
    };
    let even = neighbourhood.spread(&levels, offset);
    [real.map(point).collect(), even.into_iter().map(point).collect()]
}

fn compare(
    frame: &Frame,
    image: &XyzImage,
    neighbourhood: &Neighbourhood,
    pitch: f64,
    room: f64,
) -> Option<Dots> {
    let [glow, even, _] = &image.planes;
    let greatest = even.iter().copied().fold(0.0, f32::max);
    if greatest <= 0.0 {
        return None;
    }
    // How far each sample belongs to the lit area; it fades over the rim, so that the rim does not spread the frequencies.
    let lit = |i: usize| -> f64 {
        let x = ((f64::from(even[i] / greatest) - LIT_SHARE) / LIT_FADE + 0.5).clamp(0.0, 1.0);
        x * x * (3.0 - 2.0 * x)
    };
    let (width, height) = (frame.width_px as usize, frame.height_px as usize);

    // The picture is padded by its own size, so that the filter does not see a periodic copy.
    let fft = Fft2::new(smooth_size(2 * width, true), smooth_size(2 * height, false));
    let mut contrast = vec![0.0f32; fft.nx * fft.ny];
    let (mut area, mut lit_count, mut luminance) = (0.0, 0.0, 0.0);
    for i in 0..width * height {
        let weight = lit(i);
        if weight <= 0.0 {
            continue;
        }
        let (row, column) = (i / width, i % width);
        let base = f64::from(even[i]) + room;
        contrast[row * fft.nx + column] = (weight * (f64::from(glow[i]) - f64::from(even[i])) / base) as f32;
        area += weight;
        lit_count += weight * weight;
        luminance += weight * (f64::from(glow[i]) + room);
    }
    let lowest = 2.0 * PI / pitch;
    let power = ring_power(&fft, &contrast, frame.mm_per_px, lit_count)
        .into_iter()
        .map(|(k, power)| (k, power * dots_only(k / lowest)));
    let power = gathered(power);

    let (mut least, mut most) = (f64::INFINITY, 0.0f64);
    let (mut darkest, mut sum, mut count) = (f64::INFINITY, 0.0, 0usize);
    for place in neighbourhood.even.iter().flatten().filter(|p| p.between) {
        let (Some(i), Some(e)) = (sample(frame, glow, place.at), sample(frame, even, place.at)) else {
            continue;
        };
        // Where pixels are dark on purpose there are no dots to speak of.
        if e >= LIT_SHARE * f64::from(greatest) {
            least = least.min(i / e);
            most = most.max(i / e);
        }
        darkest = darkest.min(i);
        sum += i;
        count += 1;
    }
    if count == 0 || most <= 0.0 {
        return None;
    }
    let mean = sum / count as f64;
    Some(Dots {
        ripple: (most - least) / (most + least),
        evenness: if mean > 0.0 { darkest.max(0.0) / mean } else { 0.0 },
        glow_mean: mean,
        glow_peak: f64::from(glow.iter().copied().fold(0.0, f32::max)),
        lit_mm2: area * frame.mm_per_px * frame.mm_per_px,
        power,
        adaptation: luminance / area.max(f64::MIN_POSITIVE),
    })
}

/// What counts as dots, by frequency over that of the pitch. Drawing the pixels out also changes the ends and the rim of the lit
/// area a little; that difference is no dots, and lies mostly at lower frequencies.
fn dots_only(share: f64) -> f64 {
    const NOTHING: f64 = 0.4;
    const ALL: f64 = 0.8;
    let x = ((share - NOTHING) / (ALL - NOTHING)).clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}

/// Twice the mean square (over the lit samples) of the contrast in each ring of frequencies.
fn ring_power(fft: &Fft2, contrast: &[f32], step: f64, lit_count: f64) -> Vec<(f64, f64)> {
    let spectrum = fft.forward(contrast);
    let (nx, ny) = (fft.nx, fft.ny);
    let (dkx, dky) = (2.0 * PI / (nx as f64 * step), 2.0 * PI / (ny as f64 * step));
    let ring = PI / step * 2f64.sqrt() / RINGS as f64;
    let mut rings = vec![(0.0, 0.0); RINGS + 1];
    let norm = 2.0 / (nx as f64 * ny as f64 * lit_count.max(f64::MIN_POSITIVE));
    for u in 0..fft.half() {
        // The other half of the spectrum is this one mirrored.
        let twice = if u == 0 || 2 * u == nx { 1.0 } else { 2.0 };
        let kx = dkx * u as f64;
        for v in 0..ny {
            let ky = dky * if 2 * v <= ny { v as f64 } else { v as f64 - ny as f64 };
            let k = (kx * kx + ky * ky).sqrt();
            let power = twice * norm * f64::from(spectrum[u * ny + v].norm_sqr());
            let entry = &mut rings[((k / ring) as usize).min(RINGS)];
            entry.0 += k * power;
            entry.1 += power;
        }
    }
    let least = LEAST_POWER * rings.iter().map(|r| r.1).sum::<f64>();
    rings.into_iter().filter(|r| r.1 > least).map(|(weighted, power)| (weighted / power, power)).collect()
}

/// Neighbouring rings gathered while they lie close together, so that a distance is quickly judged.
fn gathered(rings: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
    /// Width over frequency. The sensitivity, squared, bends by less than the square of this within it.
    const WIDTH: f64 = 0.01;
    let mut found: Vec<(f64, f64)> = Vec::new();
    let mut first = f64::NEG_INFINITY;
    for (k, power) in rings.filter(|ring| ring.1 > 0.0) {
        match found.last_mut() {
            Some(last) if k <= first * (1.0 + WIDTH) => {
                let sum = last.1 + power;
                *last = ((last.0 * last.1 + k * power) / sum, sum);
            }
            _ => {
                first = k;
                found.push((k, power));
            }
        }
    }
    found
}

/// Value at a place between the samples, by straight lines; `None` outside the frame.
fn sample(frame: &Frame, plane: &[f32], at: [f64; 2]) -> Option<f64> {
    let x = (at[0] - frame.first_x_mm) / frame.mm_per_px;
    let y = (frame.first_y_mm - at[1]) / frame.mm_per_px;
    let (width, height) = (frame.width_px as usize, frame.height_px as usize);
    if !(x >= 0.0 && y >= 0.0 && x <= (width - 1) as f64 && y <= (height - 1) as f64) {
        return None;
    }
    let (column, row) = ((x as usize).min(width - 2), (y as usize).min(height - 2));
    let (fx, fy) = (x - column as f64, y - row as f64);
    let value = |r: usize, c: usize| f64::from(plane[r * width + c]);
    Some(
        (value(row, column) * (1.0 - fx) + value(row, column + 1) * fx) * (1.0 - fy)
            + (value(row + 1, column) * (1.0 - fx) + value(row + 1, column + 1) * fx) * fy,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::eye::contrast_sensitivity;
    use crate::judge::neighbours::neighbourhood;
    use crate::light::bare::irradiance_spot;
    use crate::pixels::package::Package;
    use crate::quantity::Millimetres;
    use crate::scene::Pixel;
    use std::sync::Arc;

    /// A square grid of equal Lambertian points under an ideal thin diffuser at the height `h` mm, 10 mm apart. Ripple is looked
    /// for between pixels at least `rim` pixels from the edge.
    fn grid(side: u32, rim: u32, h: f64, distance_m: f64) -> Dots {
        let package = Arc::new(Package::ideal(1.0));
        let pixels: Vec<Pixel> = (0..side * side)
            .map(|i| Pixel {
                at: [i % side, i / side].map(|n| Millimetres(10.0 * f64::from(n))),
                turn_rad: 0.0,
                package: Arc::clone(&package),
                levels: vec![1.0],
                group: 0,
                extra_gap: Millimetres(0.0),
            })
            .collect();
        let spot = irradiance_spot(1.0, h);
        let emitter = Emitter {
            spot: Some(spot),
            window: Window::Point,
            lights: pixels.iter().map(|p| ([p.at[0].0, p.at[1].0], 1e4)).collect(),
            straight_cd: 0.0,
        };
        let mut neighbourhood = neighbourhood(&pixels);
        let inner = |c: f64| c >= 10.0 * f64::from(rim) && c <= 10.0 * f64::from(side - 1 - rim);
        for place in neighbourhood.even.iter_mut().flatten() {
            place.between &= inner(place.at[0]) && inner(place.at[1]);
        }
        dots(&neighbourhood, &[emitter], 0.0, distance_m).expect("a lit grid")
    }

    #[test]
    fn ripple_of_an_ideal_diffuser_over_a_square_grid() {
        // Greatest and least irradiance over the mean, by direct sums and Fourier series (computed, no publication); the
        // third number is the rounding of the two.
        for (h_over_p, most, least, rounding) in [
            (0.5, 1.616, 0.710, 5e-4),
            (0.75, 1.1247, 0.9127, 5e-5),
            (1.0, 1.0270, 0.9774, 5e-5),
            (1.25, 1.0059, 0.9945, 5e-5),
            (1.5, 1.0013, 0.9987, 5e-5),
        ] {
            /// Samples of the picture and of the sheet do not lie on the brightest and darkest places, at most p/12 away in
            /// each direction: 1 - cos(2 pi / 12) of the ripple where it is a sine, and it falls short only.
            const PLACES: f64 = 0.14;
            let ripple = (most - least) / (most + least);
            let found = grid(24, 8, 10.0 * h_over_p, 2.0).ripple;
            let allowed = PLACES * ripple + 2.0 * rounding;
            assert!((found - ripple).abs() < allowed, "h/p {h_over_p}: {found} against {ripple}");
        }
    }

    #[test]
    fn visibility_of_a_grid_is_its_modulation_times_the_sensitivity() {
        // At h = p only the first harmonics are left: 1 + m (cos + cos), m = 2 kh K1(kh) at kh = 2 pi (closed form; 2 times
        // 0.006201), and two thresholds add quadratically.
        // At the rim neighbours are missing and the same dots stand out more, which adds a share that falls as one over the
        // side of the grid; two sizes let it be taken out.
        /// What is left: the diagonal harmonic (0.4 %), the next order of the rim, and the rim of the lit area, which spreads
        /// each frequency a little to where the sensitivity is another.
        const ERROR: f64 = 0.03;
        let modulation = 2.0 * 0.006_201;
        for distance_m in [0.5, 1.0, 2.0, 4.0] {
            let ratio = |side: u32| {
                let found = grid(side, 0, 10.0, distance_m);
                let mm_per_degree = 1e3 * distance_m * PI / 180.0;
                let field = (found.lit_mm2.sqrt() / mm_per_degree).min(WIDEST_FIELD_DEG);
                let sensitivity = contrast_sensitivity(mm_per_degree / 10.0, found.adaptation, field);
                found.visibility(distance_m) / (2f64.sqrt() * modulation * sensitivity)
            };
            let without_rim = (80.0 * ratio(80) - 40.0 * ratio(40)) / 40.0;
            assert!((without_rim - 1.0).abs() < ERROR, "{distance_m} m: {without_rim}");
        }
    }

    #[test]
    fn gathered_rings_are_seen_as_the_single_ones() {
        /// Of the visibility: the square of a ring's width of 1 %, ten times over for the steep fall of the sensitivity.
        const ERROR: f64 = 1e-3;
        let rings: Vec<(f64, f64)> =
            (1..1000).map(|i| (0.005 * f64::from(i), 1e-4 * (1.0 + (0.1 * f64::from(i)).sin()))).collect();
        let mut dots = grid(4, 0, 8.0, 2.0);
        let quick = gathered(rings.iter().copied());
        assert!(quick.len() < rings.len() / 2);
        for distance_m in [0.1, 0.5, 2.0, 10.0, 50.0] {
            dots.power = rings.clone();
            let single = dots.visibility(distance_m);
            dots.power.clone_from(&quick);
            let together = dots.visibility(distance_m);
            assert!((together / single - 1.0).abs() < ERROR, "{distance_m} m: {together} and {single}");
        }
    }

    #[test]
    fn beyond_the_vanishing_distance_no_dots_show() {
        let dots = grid(12, 0, 8.0, 2.0);
        let vanish = dots.vanishing_distance_m().expect("dots of 10 mm vanish somewhere");
        assert!(vanish > 0.0);
        assert!((dots.visibility(vanish) - 1.0).abs() < 1e-3);
        for further in [1.1, 1.5, 2.0, 5.0, 10.0] {
            assert!(dots.visibility(further * vanish) < 1.0);
        }
    }
}
