//! When frames are shown.

/// Frames of one film.
pub const MOST_FRAMES: usize = 10_000;

/// Frames at equal distances over a stretch of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timing {
    /// How many.
    pub count: usize,
    /// How long all of them take together, in s.
    pub seconds: f64,
}

impl Timing {
    /// Frames over so many seconds, as near to a rate as fits a whole number of them, at least one: a loop then closes exactly.
    /// `None` when a number is not positive and finite, or when it takes more than [`MOST_FRAMES`].
    #[must_use]
    pub fn new(seconds: f64, frames_per_s: f64) -> Option<Timing> {
        let count = (seconds * frames_per_s).round();
        let sound = seconds > 0.0 && seconds.is_finite() && frames_per_s > 0.0 && count <= MOST_FRAMES as f64;
        sound.then_some(Timing { count: (count as usize).max(1), seconds })
    }

    /// Frames in a second.
    #[must_use]
    pub fn frames_per_s(&self) -> f64 {
        self.count as f64 / self.seconds
    }

    /// When a frame begins, in s.
    #[must_use]
    pub fn time_s(&self, frame: usize) -> f64 {
        self.seconds * frame as f64 / self.count as f64
    }

    /// How long a frame is shown, in whole units of which a second has so many. What rounding leaves is carried along, so that all
    /// together last as long as they should to half a unit.
    #[must_use]
    pub fn delay(&self, frame: usize, per_s: f64) -> u16 {
        let ends = |frame: usize| (self.time_s(frame) * per_s).round();
        (ends(frame + 1) - ends(frame)).clamp(0.0, f64::from(u16::MAX)) as u16
    }

    /// The rate as a fraction in lowest terms: exact for durations in whole microseconds.
    #[must_use]
    pub fn rate(&self) -> [u64; 2] {
        const PER_S: f64 = 1e6;
        let (over, under) =
            ((self.count as f64 * PER_S) as u64, (self.seconds * PER_S).round().max(1.0) as u64);
        let (mut a, mut b) = (over, under);
        while b != 0 {
            (a, b) = (b, a % b);
        }
        [over / a.max(1), under / a.max(1)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_fill_the_loop_and_rounding_is_carried_along() {
        let timing = Timing::new(1.0, 30.0).expect("in order");
        let delays: Vec<u16> = (0..30).map(|i| timing.delay(i, 100.0)).collect();
        assert_eq!(delays.iter().map(|d| u32::from(*d)).sum::<u32>(), 100, "{delays:?}");
        assert_eq!(&delays[..3], &[3, 4, 3]);
        assert_eq!(timing.rate(), [30, 1]);
        // 2.5 s at 25 in the second are 62.5 frames: 63, a little faster, and the loop closes.
        let closing = Timing::new(2.5, 25.0).expect("in order");
        assert_eq!((closing.count, closing.rate()), (63, [126, 5]));
        assert_eq!(Timing::new(0.01, 10.0).expect("one frame").count, 1);
        assert_eq!(Timing::new(1.0, f64::NAN), None);
        assert_eq!(Timing::new(0.0, 25.0), None);
        assert_eq!(Timing::new(1001.0, 10.0), None);
    }
}
