//! Changes at one place: its way up and down, with small wiggles passed over.

use super::rules::{Colour, Contrast, RED_DIFFERENCE, uv_distance};
use std::cmp::Ordering;

/// Ticks of a second. Times are whole ticks, so that a second is a second.
pub(super) const SECOND: u32 = 10_000;
/// Times may be rounded (to ticks, or as hundredths of a second in a file): so much short of a second is a second.
const ROUNDING: u32 = 5;

/// Whether two times lie in one second (its end does not belong to it).
pub(super) fn in_one_second(earlier: u32, later: u32) -> bool {
    is_short(later.saturating_sub(earlier))
}

/// Whether a stretch is shorter than a second.
pub(super) fn is_short(ticks: u32) -> bool {
    ticks < SECOND - ROUNDING
}

/// Direction of a change.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Way {
    /// None yet.
    #[default]
    Unknown,
    /// Brighter, or to saturated red.
    Up,
    /// Darker, or away from saturated red.
    Down,
}

impl Way {
    pub(super) fn other(self) -> Way {
        match self {
            Way::Up => Way::Down,
            _ => Way::Up,
        }
    }
}

/// What is followed at a place.
pub(super) trait Path: Clone + Default + Send + Sync {
    /// Its values.
    type Sample: Copy + Send + Sync;
    /// What decides whether a change counts.
    type Rule: Copy + Send + Sync;
    /// Takes the next value; tells a change that opposes the last one.
    fn step(&mut self, now: Way, sample: Self::Sample, rule: Self::Rule) -> Option<Way>;
}

/// Luminance from valley to peak: a change is told as soon as the way from the last extreme counts. The earliest possible moment
/// gives the most changes, and what wiggles less than a change is part of the way.
#[derive(Clone, Debug)]
pub(super) struct Light {
    low: f32,
    high: f32,
}

impl Default for Light {
    fn default() -> Light {
        Light { low: f32::INFINITY, high: f32::NEG_INFINITY }
    }
}

impl Path for Light {
    type Sample = f32;
    type Rule = Contrast;

    fn step(&mut self, now: Way, sample: f32, rule: Contrast) -> Option<Way> {
        self.low = self.low.min(sample);
        self.high = self.high.max(sample);
        let rises = now != Way::Up && rule.counts(self.low, sample);
        let falls = now != Way::Down && rule.counts(sample, self.high);
        if rises {
            self.high = sample;
            Some(Way::Up)
        } else if falls {
            self.low = sample;
            Some(Way::Down)
        } else {
            None
        }
    }
}

/// Colour between saturated red and elsewhere. Of the states since the last change the one farthest from where it came from is kept.
#[derive(Clone, Debug, Default)]
pub(super) struct Redness {
    red: Option<[f32; 2]>,
    elsewhere: Option<[f32; 2]>,
}

impl Path for Redness {
    type Sample = Colour;
    type Rule = ();

    fn step(&mut self, now: Way, sample: Colour, (): ()) -> Option<Way> {
        let far =
            |from: Option<[f32; 2]>| from.is_some_and(|from| uv_distance(from, sample.uv) > RED_DIFFERENCE);
        if now != Way::Up && sample.red && far(self.elsewhere) {
            self.red = Some(sample.uv);
            return Some(Way::Up);
        }
        if now != Way::Down && far(self.red) {
            self.elsewhere = Some(sample.uv);
            return Some(Way::Down);
        }
        if sample.red && now != Way::Down {
            self.red = Some(farther(self.red, sample.uv, self.elsewhere));
        }
        if now != Way::Up {
            self.elsewhere = Some(farther(self.elsewhere, sample.uv, self.red));
        }
        None
    }
}

/// The one of two colours that lies farther from a third; without that, the one with the smaller u' (red has the greatest).
fn farther(known: Option<[f32; 2]>, new: [f32; 2], from: Option<[f32; 2]>) -> [f32; 2] {
    let Some(known) = known else { return new };
    let order = match from {
        Some(from) => uv_distance(new, from).total_cmp(&uv_distance(known, from)),
        None => known[0].total_cmp(&new[0]),
    };
    if order == Ordering::Greater { new } else { known }
}

/// When the changes of a place were: a ring of the latest times lies beside it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Count {
    /// Direction of the latest change.
    pub(super) way: Way,
    stored: u8,
    next: u8,
    /// Shortest stretch that ever held too many changes, in ticks.
    pub(super) shortest: u32,
}

impl Default for Count {
    fn default() -> Count {
        Count { way: Way::Unknown, stored: 0, next: 0, shortest: u32::MAX }
    }
}

impl Count {
    /// Takes a change.
    pub(super) fn add(&mut self, way: Way, now: u32, ring: &mut [u32]) {
        let keep = ring.len() as u8;
        ring[usize::from(self.next)] = now;
        self.next = (self.next + 1) % keep;
        self.stored = (self.stored + 1).min(keep);
        self.way = way;
        if let Some(first) = self.latest(super::rules::TOO_MANY_CHANGES, ring) {
            self.shortest = self.shortest.min(now - first);
        }
    }

    /// The time of the nth latest change, from 1.
    pub(super) fn latest(&self, n: usize, ring: &[u32]) -> Option<u32> {
        if n == 0 || n > usize::from(self.stored) {
            return None;
        }
        Some(ring[(usize::from(self.next) + ring.len() - n) % ring.len()])
    }

    /// Whether at least `n` changes lie in the second that ends now.
    pub(super) fn reaches(&self, n: usize, now: u32, ring: &[u32]) -> bool {
        self.latest(n, ring).is_some_and(|first| in_one_second(first, now))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RELATIVE: Contrast = Contrast::Relative { depth: 1.0 };

    fn changes<P: Path>(samples: &[P::Sample], rule: P::Rule) -> usize {
        let (mut path, mut way, mut count) = (P::default(), Way::Unknown, 0);
        for &sample in samples {
            if let Some(new) = path.step(way, sample, rule) {
                assert_ne!(new, way, "changes oppose one another");
                way = new;
                count += 1;
            }
        }
        count
    }

    #[test]
    fn wiggles_are_part_of_the_way() {
        assert_eq!(changes::<Light>(&[0.0, 0.3, 0.25, 0.6, 0.55, 0.9, 0.88], RELATIVE), 1);
        assert_eq!(changes::<Light>(&[0.5, 0.3, 0.5, 0.3, 0.5], RELATIVE), 4);
        assert_eq!(changes::<Light>(&[0.5, 0.41, 0.5, 0.41, 0.5], RELATIVE), 0);
        // Slowly, in steps that are small each.
        let ramp: Vec<f32> = (0..100).map(|i| 0.005 * i as f32).collect();
        assert_eq!(changes::<Light>(&ramp, RELATIVE), 1);
        // Above .8 nothing counts; a way that reaches below counts once.
        assert_eq!(changes::<Light>(&[0.85, 1.0, 0.85, 1.0, 0.7, 0.95, 0.82, 1.0], RELATIVE), 2);
    }

    #[test]
    fn the_greedy_count_is_the_greatest() {
        // Against all choices of states: the longest chain of opposing changes, by dynamic programming.
        let mut seed = 12345_u64;
        let mut random = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 40) as f32 / (1 << 24) as f32
        };
        for _ in 0..300 {
            let samples: Vec<f32> = (0..40).map(|_| 0.4 * random() + 0.6 * random()).collect();
            let mut best = vec![[0_usize; 2]; samples.len()];
            for i in 0..samples.len() {
                for j in 0..i {
                    if RELATIVE.counts(samples[j], samples[i]) {
                        best[i][0] = best[i][0].max(best[j][1] + 1);
                    }
                    if RELATIVE.counts(samples[i], samples[j]) {
                        best[i][1] = best[i][1].max(best[j][0] + 1);
                    }
                }
            }
            let most = best.iter().flatten().copied().max().unwrap_or(0);
            assert_eq!(changes::<Light>(&samples, RELATIVE), most, "{samples:?}");
        }
    }

    #[test]
    fn red_changes_need_a_saturated_red_and_a_distance() {
        let red = Colour { uv: [0.45, 0.52], red: true };
        let at = |distance: f32| Colour { uv: [0.45 - distance, 0.52], red: false };
        let alternating = |other| [red, other, red, other, red];
        assert_eq!(changes::<Redness>(&alternating(at(0.21)), ()), 4);
        assert_eq!(changes::<Redness>(&alternating(at(0.19)), ()), 0);
        let dull = Colour { red: false, ..red };
        assert_eq!(changes::<Redness>(&[dull, at(0.3), dull, at(0.3)], ()), 0);
        // By way of a colour between, and from elsewhere first.
        assert_eq!(changes::<Redness>(&[at(0.3), at(0.1), red, at(0.1), at(0.25), red], ()), 3);
        // The farthest state counts: elsewhere far, back near, then red.
        assert_eq!(changes::<Redness>(&[red, at(0.3), at(0.15), red], ()), 2);
    }

    #[test]
    fn a_second_is_a_second() {
        let mut count = Count::default();
        let mut ring = [0; 8];
        for i in 0..7 {
            count.add(Way::Up, i * 1666, &mut ring);
        }
        assert!(count.reaches(7, 6 * 1666, &ring) == is_short(9996));
        assert!(!in_one_second(0, 10_000) && !in_one_second(0, 9_996) && in_one_second(0, 9_990));
        assert_eq!((count.latest(1, &ring), count.latest(7, &ring)), (Some(9996), Some(0)));
        assert_eq!((count.latest(8, &ring), count.shortest), (None, 9996));
    }
}
