//! The spread function.

/// A radially symmetric spot, held as its two-dimensional Fourier transform sampled over spatial frequency.
///
/// `value(k)` is the transform `2 pi int L(r) J0(k r) r dr` at the angular frequency k in 1/mm. Between the knots
/// it is interpolated; beyond the last knot it is zero.
#[derive(Clone, Debug)]
pub struct SpotSpectrum {
    knots: Vec<f64>,
    values: Vec<f64>,
}

impl SpotSpectrum {
    /// From knots (rising, starting at 0, in 1/mm) and values.
    #[must_use]
    pub fn new(knots: Vec<f64>, values: Vec<f64>) -> SpotSpectrum {
        SpotSpectrum { knots, values }
    }

    /// The transform at angular frequency `k` in 1/mm.
    #[must_use]
    pub fn value(&self, k: f64) -> f64 {
        let i = self.knots.partition_point(|&x| x <= k);
        if i == 0 || i >= self.knots.len() {
            return 0.0;
        }
        let f = (k - self.knots[i - 1]) / (self.knots[i] - self.knots[i - 1]);
        self.values[i - 1] * (1.0 - f) + self.values[i] * f
    }

    /// The frequency in 1/mm beyond which the transform is below `share` of its value at zero.
    #[must_use]
    pub fn reach(&self, share: f64) -> f64 {
        let limit = share * self.values[0].abs();
        let i = self.values.iter().rposition(|v| v.abs() > limit).unwrap_or(0);
        self.knots[(i + 1).min(self.knots.len() - 1)]
    }
}
