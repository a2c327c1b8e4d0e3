//! How far the cloths' uncertainty moves the numbers.
//!
//! # How estimates become ranges
//! The cloths' relative uncertainties (optical thickness, openness, taken as log-normal and independent) are sampled
//! [`SAMPLES`] times by Latin hypercube with a fixed seed, every number is computed anew for each sample, and the range is that
//! from the 10th to the 90th percentile: four times in five the truth lies inside if the cloth's uncertainty is right. The pixels'
//! own spread is not part of it.
//!
//! # Source
//! Latin hypercube: McKay, Beckman & Conover, Technometrics 21 (1979), from memory.

use super::numbers::{Layout, NUMBERS_STEP_NM, Numbers};
use super::pace::{Pace, Straight};
use crate::cloth::Uncertainty;
use crate::cloth::shape::MOST_OPEN;
use crate::light::Stack;
use crate::quantity::{Nanometres, PerMillimetre};
use crate::scene::Scene;
use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_pcg::Pcg64;
use rayon::prelude::*;

/// Samples of the cloths' uncertainty.
pub const SAMPLES: usize = 24;
/// The range reaches from this percentile to its mirror: an 80 % interval.
pub const LOW_QUANTILE: f64 = 0.1;
/// Seed of the samples.
const SEED: u64 = 20;
/// Gaps at which samples are computed when there are many.
pub const ANCHORS: usize = 10;

/// A number with the range that the cloths' uncertainty makes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// The number for the cloths as they are described.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Range {
    /// As JSON, the one shape of every number that has a range. What is infinite becomes null.
    #[must_use]
    pub fn data(self, unit: &str) -> serde_json::Value {
        serde_json::json!({ "value": self.value, "low": self.low, "high": self.high, "unit": unit })
    }
}

impl Layout {
    /// The numbers for the cloths as described, with samples of their uncertainty (none where nothing is uncertain).
    #[must_use]
    pub fn judged(&self, scene: &Scene) -> Judged {
        let Ok(judged) = self.judged_at(&Straight, scene);
        judged
    }

    /// As [`Layout::judged`], at a pace.
    ///
    /// # Errors
    /// When the pace gives the work up.
    pub fn judged_at<P: Pace>(&self, pace: &P, scene: &Scene) -> Result<Judged, P::Stop> {
        pace.go_on()?;
        let value = self.numbers(scene);
        let sample = |factors: &Vec<[f64; 2]>| {
            pace.go_on()?;
            Ok(self.one(NUMBERS_STEP_NM, scene, &|l| varied(scene, l, factors)))
        };
        let samples = factors(scene).par_iter().map(sample).collect::<Result<_, _>>()?;
        Ok(Judged { value, samples })
    }

    /// As [`Layout::judged`] for many scenes that have this layout (other cloths, other gaps), on all cores.
    #[must_use]
    pub fn judged_of(&self, scenes: &[Scene]) -> Vec<Judged> {
        scenes.par_iter().map(|scene| self.judged(scene)).collect()
    }

    /// As [`Layout::judged`] with each of these gaps in mm below the first cloth: the same samples at every gap, and of each
    /// sample once what does not depend on the gap.
    ///
    /// Where there are more than [`ANCHORS`] gaps, the samples are computed at so many of them and between them by
    /// interpolation: how many times the value each of their numbers is follows a straight line over ln(gap), in its logarithm
    /// (error tested). A sample with a number that has no such ratio (a distance that is infinite or zero) is computed there.
    #[must_use]
    pub fn judged_over_gaps(&self, scene: &Scene, gaps_mm: &[f64]) -> Vec<Judged> {
        let Ok(judged) = self.judged_over_gaps_at(&Straight, scene, gaps_mm);
        judged
    }

    /// As [`Layout::judged_over_gaps`], at a pace.
    ///
    /// # Errors
    /// When the pace gives the work up.
    pub fn judged_over_gaps_at<P: Pace>(
        &self,
        pace: &P,
        scene: &Scene,
        gaps_mm: &[f64],
    ) -> Result<Vec<Judged>, P::Stop> {
        self.judged_over_gaps_with(pace, ANCHORS, scene, gaps_mm)
    }

    fn judged_over_gaps_with<P: Pace>(
        &self,
        pace: &P,
        anchors: usize,
        scene: &Scene,
        gaps_mm: &[f64],
    ) -> Result<Vec<Judged>, P::Stop> {
        let values = self.numbers_over_gaps_at(pace, scene, gaps_mm)?;
        let anchors = spread(gaps_mm, anchors);
        let anchor_gaps: Vec<f64> = anchors.iter().map(|&i| gaps_mm[i]).collect();
        let samples: Vec<Vec<Numbers>> = factors(scene)
            .par_iter()
            .map(|factors| {
                let stack_at = |l| varied(scene, l, factors);
                let over = |gaps: &[f64]| self.over_gaps(pace, NUMBERS_STEP_NM, scene, &stack_at, gaps);
                let computed = over(&anchor_gaps)?;
                let mut all: Vec<Option<Numbers>> =
                    (0..gaps_mm.len()).map(|i| between(i, gaps_mm, &values, &anchors, &computed)).collect();
                let missing: Vec<usize> = (0..all.len()).filter(|&i| all[i].is_none()).collect();
                if !missing.is_empty() {
                    let gaps: Vec<f64> = missing.iter().map(|&i| gaps_mm[i]).collect();
                    missing.iter().zip(over(&gaps)?).for_each(|(&i, numbers)| all[i] = Some(numbers));
                }
                Ok(all.into_iter().flatten().collect())
            })
            .collect::<Result<_, _>>()?;
        let at = |i: usize| samples.iter().map(|sample| sample[i]).collect();
        Ok(values.into_iter().enumerate().map(|(i, value)| Judged { value, samples: at(i) }).collect())
    }
}

/// What distances of gaps are measured by: straight lines over `ln(gap + this)` need no more anchors near zero.
const SHORT_MM: f64 = 0.5;

fn place(gap_mm: f64) -> f64 {
    (gap_mm + SHORT_MM).ln()
}

/// Indices of at most so many of the gaps, in rising order of the gaps, the first and the last among them, spread evenly over
/// the logarithm.
fn spread(gaps_mm: &[f64], count: usize) -> Vec<usize> {
    let mut order: Vec<usize> = (0..gaps_mm.len()).collect();
    order.sort_by(|&a, &b| gaps_mm[a].total_cmp(&gaps_mm[b]));
    let (Some(&first), Some(&last)) = (order.first(), order.last()) else { return order };
    if order.len() <= count.max(2) {
        return order;
    }
    let (low, high) = (place(gaps_mm[first]), place(gaps_mm[last]));
    let step = (high - low) / (count.max(2) - 1) as f64;
    let mut found = vec![first];
    let mut next = low + step;
    for &i in &order[1..order.len() - 1] {
        if place(gaps_mm[i]) >= next - 0.5 * step && found.len() + 1 < count.max(2) {
            found.push(i);
            next = place(gaps_mm[i]).max(next) + step;
        }
    }
    found.push(last);
    found
}

/// The numbers of a sample at the gap `i` from those at the anchors; `None` where they have to be computed.
fn between(
    i: usize,
    gaps_mm: &[f64],
    values: &[Numbers],
    anchors: &[usize],
    computed: &[Numbers],
) -> Option<Numbers> {
    if let Some(known) = anchors.iter().position(|&a| a == i) {
        return Some(computed[known]);
    }
    let x = place(gaps_mm[i]);
    let right = anchors.partition_point(|&a| place(gaps_mm[a]) < x).clamp(1, anchors.len().max(2) - 1);
    let (l, r) = (*anchors.get(right - 1)?, *anchors.get(right)?);
    let (from, to) = (place(gaps_mm[l]), place(gaps_mm[r]));
    let share = if to > from { (x - from) / (to - from) } else { 0.0 };
    let (left, right) = (ratios(&computed[right - 1], &values[l])?, ratios(&computed[right], &values[r])?);
    let mut numbers = values[i];
    let mut fields = numbers.fields_mut();
    for (field, (left, right)) in fields.iter_mut().zip(left.into_iter().zip(right)) {
        match (field, left, right) {
            (Some(field), Some(left), Some(right)) if **field > 0.0 && field.is_finite() => {
                **field *= (left + share * (right - left)).exp();
            }
            // The same at both anchors and without a ratio: as the value.
            (_, None, None) => {}
            _ => return None,
        }
    }
    Some(numbers)
}

/// Logarithm of each number of a sample over the value; `None` in the list where both are the same and have no ratio, `None`
/// altogether where they differ and have none.
fn ratios(sample: &Numbers, value: &Numbers) -> Option<[Option<f64>; 11]> {
    let (mut sample, mut value) = (*sample, *value);
    let mut found = [None; 11];
    for (found, (s, v)) in found.iter_mut().zip(sample.fields_mut().into_iter().zip(value.fields_mut())) {
        *found = match (s, v) {
            (Some(s), Some(v)) if *s > 0.0 && *v > 0.0 && s.is_finite() && v.is_finite() => {
                Some((*s / *v).ln())
            }
            (Some(s), Some(v)) if *s == *v => None,
            (None, None) => None,
            _ => return None,
        };
    }
    Some(found)
}

impl Numbers {
    /// All numbers that the cloths' uncertainty moves.
    fn fields_mut(&mut self) -> [Option<&mut f64>; 11] {
        [
            self.spot_width_mm.as_mut(),
            self.widest_spot_mm.as_mut(),
            self.evenness.as_mut(),
            self.ripple.as_mut(),
            self.dot_visibility.as_mut(),
            self.dots_vanish_m.as_mut(),
            Some(&mut self.mean_cd_m2),
            Some(&mut self.peak_cd_m2),
            Some(&mut self.light_kept),
            self.colour_shift.as_mut(),
            Some(&mut self.contrast_with_room),
        ]
    }
}

/// The numbers of a scene and how far the cloths' uncertainty moves them.
#[derive(Clone, Debug)]
pub struct Judged {
    /// For the cloths as they are described.
    pub value: Numbers,
    /// For the samples.
    pub samples: Vec<Numbers>,
}

impl Judged {
    /// One number with its range.
    #[must_use]
    pub fn range(&self, pick: impl Fn(&Numbers) -> f64) -> Range {
        range(pick(&self.value), &self.samples.iter().map(&pick).collect::<Vec<_>>())
    }

    /// One number that need not exist with its range.
    #[must_use]
    pub fn range_of(&self, pick: impl Fn(&Numbers) -> Option<f64>) -> Option<Range> {
        let value = pick(&self.value)?;
        Some(range(value, &self.samples.iter().filter_map(pick).collect::<Vec<_>>()))
    }
}

/// The range of one number over the samples; the value alone where there are none.
pub(crate) fn range(value: f64, samples: &[f64]) -> Range {
    let mut sorted: Vec<f64> = samples.iter().copied().filter(|v| !v.is_nan()).collect();
    if sorted.is_empty() {
        return Range { value, low: value, high: value };
    }
    sorted.sort_by(f64::total_cmp);
    let [low, high] = [LOW_QUANTILE, 1.0 - LOW_QUANTILE].map(|q| quantile(&sorted, q));
    Range { value, low: low.min(value), high: high.max(value) }
}

/// The quantile `q` of samples in rising order: sample `i` of `n` stands for the middle of its nth of the law (Hazen's plotting
/// position), with straight lines between them. Beside an infinite one there is no line: the sample counts whose nth holds `q`.
/// NaN without samples.
#[must_use]
pub fn quantile(sorted: &[f64], q: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else { return f64::NAN };
    let x = (q * sorted.len() as f64 - 0.5).clamp(0.0, last as f64);
    let (left, share) = (sorted[x as usize], x.fract());
    let right = sorted[(x as usize + 1).min(last)];
    match (left.is_finite() && right.is_finite(), share < 0.5) {
        (true, _) => left + share * (right - left),
        (false, true) => left,
        (false, false) => right,
    }
}

/// Factors on optical thickness and openness of each layer, sample by sample; no samples where nothing is uncertain. Layers of the same
/// cloth have the same factors.
fn factors(scene: &Scene) -> Vec<Vec<[f64; 2]>> {
    let certain = |u: Uncertainty| u.optical_thickness == 0.0 && u.openness == 0.0;
    if scene.stack.iter().all(|placed| certain(placed.cloth.uncertainty)) {
        return Vec::new();
    }
    let mut random = Pcg64::seed_from_u64(SEED);
    let mut samples = vec![vec![[1.0; 2]; scene.stack.len()]; SAMPLES];
    for (layer, placed) in scene.stack.iter().enumerate() {
        // Layers of one cloth come from one bolt: what its label leaves open is the same in all of them.
        if let Some(same) = scene.stack[..layer].iter().position(|below| below.cloth == placed.cloth) {
            samples.iter_mut().for_each(|sample| sample[layer] = sample[same]);
            continue;
        }
        let u = placed.cloth.uncertainty;
        for (which, relative) in [u.optical_thickness, u.openness].into_iter().enumerate() {
            let mut strata: Vec<usize> = (0..SAMPLES).collect();
            strata.shuffle(&mut random);
            for (sample, stratum) in samples.iter_mut().zip(strata) {
                let p = (stratum as f64 + 0.5) / SAMPLES as f64;
                sample[layer][which] = (relative.ln_1p() * normal_quantile(p)).exp();
            }
        }
    }
    samples
}

/// Quantile of the standard normal law.
fn normal_quantile(p: f64) -> f64 {
    std::f64::consts::SQRT_2 * pxfm::f_erfinv((2.0 * p - 1.0).clamp(-1.0 + 1e-15, 1.0 - 1e-15))
}

/// The stack with the layers' optical thickness and openness times their factors.
fn varied(scene: &Scene, wavelength: Nanometres, factors: &[[f64; 2]]) -> Stack {
    let mut stack = scene.stack_at(wavelength);
    for (layer, [thicker, opener]) in stack.layers.iter_mut().zip(factors) {
        layer.optics.extinction = PerMillimetre(layer.optics.extinction.0 * thicker);
        layer.optics.openness = (layer.optics.openness * opener).min(MOST_OPEN);
    }
    stack
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cloth::catalogue::CatalogueOnly;
    use crate::scene::file::resolve;

    fn scene(text: &str) -> Scene {
        resolve(text, "test", &CatalogueOnly).expect("a scene in order").scene
    }

    fn strip(cloth: &str, gap_mm: f64) -> Scene {
        scene(&format!(
            "pixels: [strip: {{pitch_mm: 16.67, count: 12}}]\nstack: [{{gap_mm: {gap_mm}, cloth: {cloth}}}]\n\
             light: {{colour: \"#ffd9a0\", level: 0.4}}\n"
        ))
    }

    #[test]
    fn normal_quantiles_have_the_handbook_values() {
        // Abramowitz & Stegun table 26.1 (from memory): 1.281552 at 0.9, 1.959964 at 0.975.
        for (p, x) in [(0.5, 0.0), (0.9, 1.281_552), (0.975, 1.959_964), (0.1, -1.281_552)] {
            assert!((normal_quantile(p) - x).abs() < 1e-6, "{p}: {}", normal_quantile(p));
        }
    }

    #[test]
    fn quantiles_are_hazens_and_know_infinity() {
        // Worked by hand: of five samples the quantile 0.1 is the lowest, 0.5 the third, 0.6 half-way to the next.
        let five = [1.0, 2.0, 4.0, 8.0, 16.0];
        for (q, expected) in [(0.0, 1.0), (0.1, 1.0), (0.5, 4.0), (0.6, 6.0), (0.9, 16.0), (1.0, 16.0)] {
            assert!((quantile(&five, q) - expected).abs() < 1e-12, "{q}: {}", quantile(&five, q));
        }
        // A tenth of the law lies beyond the 0.9 quantile: two infinite samples of 24 do not reach it, three do.
        let with = |infinite: usize| {
            let finite = (0..24 - infinite).map(|i| i as f64);
            let all: Vec<f64> = finite.chain(std::iter::repeat_n(f64::INFINITY, infinite)).collect();
            let mirrored: Vec<f64> = all.iter().rev().map(|v| -v).collect();
            assert_eq!(quantile(&mirrored, 0.1), -quantile(&all, 0.9));
            quantile(&all, 0.9)
        };
        assert_eq!((with(2), with(3)), (21.0, f64::INFINITY));
        assert!(quantile(&[], 0.5).is_nan());
    }

    #[test]
    fn a_range_holds_its_value_and_is_the_same_each_time() {
        let scene = strip("jersey", 4.0);
        let layout = Layout::of(&scene);
        let (one, other) = (layout.judged(&scene), layout.judged(&scene));
        for pick in [|n: &Numbers| n.light_kept, |n: &Numbers| n.mean_cd_m2] {
            let range = one.range(pick);
            assert!(range.low < range.value && range.value < range.high, "{range:?}");
            assert_eq!(range, other.range(pick));
        }
    }

    #[test]
    fn ranges_over_gaps_are_those_of_single_scenes() {
        /// Of a number: the spots agree within 1e-4 of their transform at zero ([`crate::light::spots`]), and at the frequency of
        /// the pixels a fiftieth of that is left over the highest of these gaps.
        const KNOTS: f64 = 5e-3;
        for cloth in ["jersey", "felt-wool-red"] {
            let gaps = [2.0, 5.0, 9.0];
            let layout = Layout::of(&strip(cloth, 1.0));
            for (&gap, over) in gaps.iter().zip(layout.judged_over_gaps(&strip(cloth, 3.0), &gaps)) {
                let single = layout.judged(&strip(cloth, gap));
                for pick in [
                    |n: &Numbers| n.mean_cd_m2,
                    |n: &Numbers| n.peak_cd_m2,
                    |n: &Numbers| n.ripple.unwrap(),
                    |n: &Numbers| n.dot_visibility.unwrap(),
                    |n: &Numbers| n.spot_width_mm.unwrap(),
                    |n: &Numbers| n.thickness_mm,
                ] {
                    let (one, other) = (over.range(pick), single.range(pick));
                    for (one, other) in
                        [(one.value, other.value), (one.low, other.low), (one.high, other.high)]
                    {
                        assert!((one - other).abs() <= KNOTS * other, "{cloth} {gap}: {one} and {other}");
                    }
                }
            }
        }
    }

    #[test]
    fn anchors_stand_for_the_gaps_between_them() {
        /// Of an end of a range: straight lines between ten gaps of forty.
        const LINES: f64 = 0.03;
        let gaps: Vec<f64> = (1..=40).map(f64::from).collect();
        for cloth in ["voile", "felt-wool-ivory"] {
            let scene = strip(cloth, 1.0);
            let layout = Layout::of(&scene);
            let quick = layout.judged_over_gaps(&scene, &gaps);
            let Ok(full) = layout.judged_over_gaps_with(&Straight, gaps.len(), &scene, &gaps);
            for ((quick, full), gap) in quick.iter().zip(&full).zip(&gaps) {
                for (name, pick) in [
                    ("mean", (|n: &Numbers| n.mean_cd_m2) as fn(&Numbers) -> f64),
                    ("peak", |n| n.peak_cd_m2),
                    ("kept", |n| n.light_kept),
                    ("visibility", |n| n.dot_visibility.unwrap()),
                    ("width", |n| n.spot_width_mm.unwrap()),
                ] {
                    let (one, other) = (quick.range(pick), full.range(pick));
                    for (one, other) in [(one.low, other.low), (one.high, other.high)] {
                        assert!((one / other - 1.0).abs() < LINES, "{cloth} {gap} {name}: {one} {other}");
                    }
                }
            }
        }
    }
}
