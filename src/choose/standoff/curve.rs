//! Dot visibility against gap, and where it is what is wanted.
//!
//! Between two gaps the logarithm of the visibility is taken as a straight line: behind scattering cloth the visibility of a
//! frequency k falls about as kh K1(kh) with the height h, whose logarithm is nearly straight. At 40 gaps up to one and a half
//! times the crossing the crossing is then wrong by less than 0.01 mm of 10 mm (tested).

use crate::judge::numbers::Range;
use crate::judge::ranges::range;
use crate::judge::softness::Softness;

/// Visibilities below this count as this: no dots whatever, and a logarithm all the same.
const NOTHING: f64 = 1e-6;

/// Dot visibility against gap.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curve {
    /// Gap in mm, rising, and the logarithm of the visibility.
    points: Vec<(f64, f64)>,
}

/// Gaps in mm from one to another, all of which give what is wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// The smallest.
    pub from_mm: f64,
    /// The largest.
    pub to_mm: f64,
}

impl Curve {
    /// A curve through gaps in mm and dot visibilities, in any order. What is no number is left out.
    #[must_use]
    pub fn new(points: impl IntoIterator<Item = (f64, f64)>) -> Curve {
        let mut points: Vec<_> = points
            .into_iter()
            .filter(|(gap, v)| gap.is_finite() && v.is_finite())
            .map(|(gap, v)| (gap, v.max(NOTHING).ln()))
            .collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        points.dedup_by(|a, b| a.0 == b.0);
        Curve { points }
    }

    /// The visibility at a gap within the curve; beyond its ends that of the end.
    #[must_use]
    pub fn at(&self, gap_mm: f64) -> f64 {
        let after = self.points.partition_point(|p| p.0 <= gap_mm);
        let Some(&(left, a)) = after.checked_sub(1).and_then(|i| self.points.get(i)) else {
            return self.points.first().map_or(f64::NAN, |p| p.1.exp());
        };
        let Some(&(right, b)) = self.points.get(after) else { return a.exp() };
        (a + (b - a) * (gap_mm - left) / (right - left)).exp()
    }

    /// This curve times a factor that depends on the gap: that of another curve, whose own points may be fewer.
    #[must_use]
    pub fn times(&self, factor: &Curve) -> Curve {
        Curve::new(self.points.iter().map(|(gap, ln_v)| (*gap, ln_v.exp() * factor.at(*gap))))
    }

    /// The stretches in which the wanted softness is met, from the smallest gap up.
    #[must_use]
    pub fn met(&self, want: Softness) -> Vec<Stretch> {
        let met = |(_, ln_v): (f64, f64)| want.is_met_by(ln_v.exp());
        let bound = want.bound().ln();
        let mut stretches = Vec::new();
        let mut begun = self.points.first().filter(|p| met(**p)).map(|p| p.0);
        for pair in self.points.windows(2) {
            let ((left, a), (right, b)) = (pair[0], pair[1]);
            if met(pair[0]) == met(pair[1]) {
                continue;
            }
            let crossing = left + (right - left) * ((bound - a) / (b - a)).clamp(0.0, 1.0);
            match begun.take() {
                Some(from_mm) => stretches.push(Stretch { from_mm, to_mm: crossing }),
                None => begun = Some(crossing),
            }
        }
        let last = self.points.last().map(|p| p.0);
        stretches.extend(begun.zip(last).map(|(from_mm, to_mm)| Stretch { from_mm, to_mm }));
        stretches
    }

    /// The gap that decides for a wanted softness: the smallest one that gives it, or the largest one that still shows dots. `None`
    /// where no gap does. Where bare light brings the dots back at larger gaps, only the first stretch counts.
    #[must_use]
    pub fn deciding(&self, want: Softness) -> Option<f64> {
        self.met(want).first().map(|stretch| deciding(want, stretch))
    }

    /// The gaps on either side of a place, among those that were computed.
    #[must_use]
    pub fn around(&self, gap_mm: f64) -> Option<(f64, f64)> {
        let after = self.points.partition_point(|p| p.0 < gap_mm);
        Some((self.points.get(after.checked_sub(1)?)?.0, self.points.get(after)?.0))
    }

    /// Gap and visibility where least is seen of the dots; where most is seen, for someone who wants dots.
    #[must_use]
    pub fn best(&self, want: Softness) -> Option<(f64, f64)> {
        let order = |a: &&(f64, f64), b: &&(f64, f64)| a.1.total_cmp(&b.1);
        let best = match want {
            Softness::Dots => self.points.iter().max_by(order),
            _ => self.points.iter().min_by(order),
        };
        best.map(|(gap, ln_v)| (*gap, ln_v.exp()))
    }
}

/// The end of a stretch that decides.
pub(super) fn deciding(want: Softness, stretch: &Stretch) -> f64 {
    if want == Softness::Dots { stretch.to_mm } else { stretch.from_mm }
}

/// The whole millimetre beside the deciding gap, on the safe side and within the stretch: up, or down for dots.
pub(super) fn whole_step(want: Softness, stretch: &Stretch) -> Option<f64> {
    /// A gap this little off a whole millimetre is that millimetre.
    const ROUNDING_MM: f64 = 1e-6;
    match want {
        Softness::Dots => {
            Some((stretch.to_mm + ROUNDING_MM).floor()).filter(|mm| *mm >= stretch.from_mm - ROUNDING_MM)
        }
        _ => Some((stretch.from_mm - ROUNDING_MM).ceil().max(0.0))
            .filter(|mm| *mm <= stretch.to_mm + ROUNDING_MM),
    }
}

/// A gap with its range over the samples, from the 10th to the 90th percentile. A sample in which no gap does it counts as
/// an infinite one; for dots as 0.
pub(super) fn gap_range(value: f64, samples: &[Curve], want: Softness) -> Range {
    let never = if want == Softness::Dots { 0.0 } else { f64::INFINITY };
    let gaps: Vec<f64> = samples.iter().map(|curve| curve.deciding(want).unwrap_or(never)).collect();
    range(value, &gaps)
}

/// Finds where `ln_v` crosses `bound` between two gaps at which it lies on either side, by false position with the weights
/// of the end that stays halved (Illinois), to `within_mm`. At most a dozen calls; false position needs three or four on
/// a nearly straight line.
pub(super) fn crossing(
    (mut left, mut at_left): (f64, f64),
    (mut right, mut at_right): (f64, f64),
    within_mm: f64,
    difference: &dyn Fn(f64) -> f64,
) -> f64 {
    const MOST_STEPS: usize = 12;
    let mut middle = 0.5 * (left + right);
    for _ in 0..MOST_STEPS {
        if right - left <= within_mm || at_left == at_right {
            break;
        }
        let former = middle;
        middle = (left - at_left * (right - left) / (at_right - at_left)).clamp(left, right);
        let at_middle = difference(middle);
        if at_middle == 0.0 {
            break;
        }
        if (at_middle > 0.0) == (at_left > 0.0) {
            (left, at_left) = (middle, at_middle);
            at_right *= 0.5;
        } else {
            (right, at_right) = (middle, at_middle);
            at_left *= 0.5;
        }
        if (middle - former).abs() < 0.5 * within_mm {
            break;
        }
    }
    middle
}

#[cfg(test)]
mod tests {
    use super::*;

    /// x K1(x) by its integral, cosh substitution: x K1(x) = integral of x cosh(t) exp(-x cosh t).
    fn x_k1(x: f64) -> f64 {
        let n = 4000;
        let h = 12.0 / f64::from(n);
        (0..=n)
            .map(|i| {
                let t = h * f64::from(i);
                let weight = if i == 0 || i == n { 0.5 } else { 1.0 };
                weight * h * x * t.cosh() * (-x * t.cosh()).exp()
            })
            .sum()
    }

    #[test]
    fn the_crossing_of_an_ideal_spot_is_found_between_the_gaps() {
        // Level points of kh K1(kh), computed with an independent library: 0.1 at 3.21432, 0.01 at 5.76714.
        for (level, kh) in [(0.1, 3.21432), (0.01, 5.76714)] {
            let k = 0.377;
            let height = kh / k;
            let curve = Curve::new((0..=40).map(|i| {
                let gap = 0.01 + 1.5 * height * f64::from(i) / 40.0;
                (gap, x_k1(k * gap) / level)
            }));
            let found = curve.deciding(Softness::Smooth).expect("crosses");
            assert!((found - height).abs() < 1e-3 * height, "{found} against {height}");
            let (a, b) = curve.around(found).expect("inside");
            let difference = |gap: f64| (x_k1(k * gap) / level).ln();
            let refined = crossing((a, difference(a)), (b, difference(b)), 1e-3, &difference);
            // The level points are given to five decimals.
            assert!((refined - height).abs() < 1e-3, "{refined} against {height}");
        }
    }

    #[test]
    fn stretches_begin_and_end_where_the_bound_is_crossed() {
        // ln V from ln 100 down to ln 0.1 and up to ln 10: straight lines in the logarithm.
        let curve = Curve::new([(0.0, 100.0), (30.0, 0.1), (50.0, 10.0)]);
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-9, "{a} {b}");
        let smooth = curve.met(Softness::Smooth);
        assert_eq!(smooth.len(), 1);
        near(smooth[0].from_mm, 20.0);
        near(smooth[0].to_mm, 40.0);
        let dots = curve.met(Softness::Dots);
        near(dots[0].to_mm, 10.0);
        near(dots[1].from_mm, 50.0);
        near(curve.deciding(Softness::Dots).expect("dots"), 10.0);
        near(curve.at(10.0), 10.0);
        assert_eq!(curve.best(Softness::Smooth).expect("points").0, 30.0);
        assert_eq!(curve.best(Softness::Dots).expect("points").0, 0.0);
        let hard = Curve::new([(0.0, 100.0), (30.0, 40.0)]);
        assert_eq!(hard.deciding(Softness::Smooth), None);
        assert_eq!(hard.deciding(Softness::Dots), Some(30.0));
        assert_eq!(Curve::default().deciding(Softness::Soft), None);
    }

    #[test]
    fn whole_millimetres_lie_on_the_safe_side() {
        let step = |want, from_mm, to_mm| whole_step(want, &Stretch { from_mm, to_mm });
        assert_eq!(step(Softness::Smooth, 24.2, 50.0), Some(25.0));
        assert_eq!(step(Softness::Smooth, 24.0, 50.0), Some(24.0));
        assert_eq!(step(Softness::Soft, 0.0, 50.0), Some(0.0));
        assert_eq!(step(Softness::Smooth, 24.2, 24.6), None);
        assert_eq!(step(Softness::Dots, 0.0, 9.9), Some(9.0));
        assert_eq!(step(Softness::Dots, 9.2, 9.9), None);
    }

    #[test]
    fn samples_without_an_answer_count() {
        let at = |crossing: f64| Curve::new([(0.0, 100.0), (crossing, 1.0), (2.0 * crossing, 0.01)]);
        let never = Curve::new([(0.0, 100.0), (50.0, 2.0)]);
        let samples: Vec<Curve> = (0..8).map(|i| at(20.0 + f64::from(i))).chain([never.clone()]).collect();
        let range = gap_range(23.0, &samples, Softness::Smooth);
        assert!((range.low - 20.4).abs() < 1e-6 && range.value == 23.0, "{range:?}");
        assert!(range.high.is_infinite(), "in more than a tenth of the samples no gap does it: {range:?}");
        let range = gap_range(23.0, &samples[..8], Softness::Smooth);
        assert!((range.high - 26.7).abs() < 1e-6, "{range:?}");
        assert_eq!(gap_range(5.0, &[never], Softness::Dots).low, 5.0);
        assert_eq!(gap_range(5.0, &[], Softness::Smooth).high, 5.0);
    }
}
