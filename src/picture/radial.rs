//! What the picture must know of round spots: how far their spectra reach, how to soften those that reach beyond what
//! the picture can carry, how to split them into a near and a far part, and quick tables of them.
//!
//! The split. With the crossover `B(x) = (erf(a (1 + x)) + erf(a (1 - x))) / 2` and a frequency `kc`,
//! `L(k) = L(k) [1 - B(k/kc)] + L(k) B(k/kc)`. B is a box of half-width 1 convolved with a Gaussian: analytic, even, 1 at
//! zero but for `erfc(a)`. So the first part has lost the behaviour at k = 0 that makes the tails of a spot long (a term
//! `k^2 ln k` makes a tail `r^-4`) and dies off in space like `exp(-(kc r / 2a)^2)`; the second part ends shortly above `kc`
//! and needs few nodes. This is the idea of Ewald's summation (1921) with a crossover that is compact on both sides.

use crate::light::sinc;
use crate::light::spread::SpotSpectrum;
use pxfm::f_erf;
use rayon::prelude::*;
use std::sync::LazyLock;

/// Samples taken of a spectrum for the integrals below. Spaced like the square root of k, so that a thousandth of the
/// reach separates them at the upper end and far less at the lower.
const SAMPLES: usize = 2048;
/// Where a spectrum is taken to end: far below anything that an eight-bit or a half-float picture can show.
const END_SHARE: f64 = 1e-10;
/// `erfc(5)` is 1.5e-12: beyond, the crossover counts as zero.
const CROSSOVER_OVER: f64 = 5.0;
/// Entries of a table; straight-line interpolation over the square root of k then errs by less than 1e-5 of L(0) for
/// spots whose scales differ by a factor 100.
pub(super) const TABLE: usize = 4096;
/// Entries of a table that one thread makes at least: fewer are not worth handing out.
const LEAST_TASK: usize = 512;
/// Entries of the table of `sin(x)/x`, per unit of x.
const SINC_PER_UNIT: f64 = 128.0;

/// How exact a picture must be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Accuracy {
    /// Errors well below 1e-4 of the peak.
    #[default]
    Picture,
    /// Errors near 1e-6 of the peak, for spots with a bright core and faint wide skirts; costs more padding.
    Skirts,
}

impl Accuracy {
    /// Share of a spot's peak that may be lost at each of the approximations.
    pub(super) fn share(self) -> f64 {
        match self {
            Accuracy::Picture => 1e-5,
            Accuracy::Skirts => 1e-7,
        }
    }

    /// Share of a spot's peak that may lie beyond the grid's Nyquist frequency before the spot is softened. Somewhat more
    /// than a grid chosen freely would lose, as softening costs a few percent of the peak at once.
    pub(super) fn softening_share(self) -> f64 {
        2.5 * self.share()
    }

    /// Share that is left beyond the Nyquist frequency once a spot is softened: negative lobes stay below it by far.
    pub(super) fn softened_share(self) -> f64 {
        0.3 * self.share()
    }

    /// The crossover's shape a: `erfc(a)` is about `share()`.
    fn steepness(self) -> f64 {
        (-self.share().ln()).sqrt() - 0.35
    }

    /// `kc` times the distance at which the near part has died off: `exp(-(kc r / 2a)^2) = share()`.
    pub(super) fn pad_times_crossover(self) -> f64 {
        2.0 * self.steepness() * (-self.share().ln()).sqrt()
    }

    /// Entries of the crossover's table per unit of `k / kc`; straight lines between them leave kinks of 1e-6 and 2e-8.
    fn crossover_entries(self) -> f64 {
        match self {
            Accuracy::Picture => 1024.0,
            Accuracy::Skirts => 8192.0,
        }
    }

    /// Entries of the table of a far part. Its band is narrow, so half as many entries as for the finest grid leave 2e-6.
    pub(super) fn far_entries(self) -> usize {
        match self {
            Accuracy::Picture => TABLE / 2,
            Accuracy::Skirts => TABLE,
        }
    }

    /// Where the crossover has fallen to `share()`, `erfc(a (x - 1)) / 2 = share()`, in units of `kc`. Far parts carry the
    /// even light of large fields, so here the spectrum itself must be exact, not only the peak of one spot.
    pub(super) fn crossover_end(self) -> f64 {
        1.0 + self.steepness().recip() * (-self.share().ln()).sqrt()
    }
}

/// The crossover B(x), tabulated: the split is exact whatever B is, so that straight lines do no harm as long as all grids
/// use the same ones.
pub(super) struct Crossover {
    values: Vec<f64>,
    per_unit: f64,
}

impl Crossover {
    /// Made once for each accuracy.
    pub(super) fn of(accuracy: Accuracy) -> &'static Crossover {
        static PICTURE: LazyLock<Crossover> = LazyLock::new(|| Crossover::new(Accuracy::Picture));
        static SKIRTS: LazyLock<Crossover> = LazyLock::new(|| Crossover::new(Accuracy::Skirts));
        match accuracy {
            Accuracy::Picture => &PICTURE,
            Accuracy::Skirts => &SKIRTS,
        }
    }

    fn new(accuracy: Accuracy) -> Crossover {
        let a = accuracy.steepness();
        let end = 1.0 + CROSSOVER_OVER / a;
        let per_unit = accuracy.crossover_entries();
        let count = (end * per_unit).ceil() as usize;
        let at = |x: f64| 0.5 * (f_erf(a * (1.0 + x)) + f_erf(a * (1.0 - x)));
        Crossover { values: (0..=count).map(|i| at(i as f64 / per_unit)).collect(), per_unit }
    }

    /// B at `x = k / kc`; zero beyond the table.
    pub(super) fn at(&self, x: f64) -> f64 {
        let at = x.abs() * self.per_unit;
        let i = at as usize;
        match (self.values.get(i), self.values.get(i + 1)) {
            (Some(low), Some(high)) => low + (at - i as f64) * (high - low),
            _ => 0.0,
        }
    }
}

/// Samples of one spectrum.
pub(super) struct Samples {
    k: Vec<f64>,
    value: Vec<f64>,
    /// `int |L| k dk`, proportional to the peak of a spot whose spectrum has one sign.
    total: f64,
}

impl Samples {
    /// `None` for a spectrum that is zero everywhere.
    pub(super) fn of(spot: &SpotSpectrum) -> Option<Samples> {
        let end = spot.reach(END_SHARE);
        if !(end > 0.0 && end.is_finite()) {
            return None;
        }
        let k: Vec<f64> = (0..=SAMPLES).map(|i| end * (i as f64 / SAMPLES as f64).powi(2)).collect();
        let value: Vec<f64> = k.iter().map(|&k| spot.value(k)).collect();
        let mut samples = Samples { k, value, total: 0.0 };
        samples.total = samples.slices(|_| 1.0).sum();
        (samples.total > 0.0 && samples.total.is_finite()).then_some(samples)
    }

    /// The trapezia of `int |L m| k dk`, from the upper end downwards.
    fn slices<'a>(&'a self, m: impl Fn(f64) -> f64 + 'a) -> impl Iterator<Item = f64> + 'a {
        let at = move |i: usize| (self.value[i] * m(self.k[i])).abs() * self.k[i];
        (0..SAMPLES).rev().map(move |i| 0.5 * (at(i) + at(i + 1)) * (self.k[i + 1] - self.k[i]))
    }

    /// The frequency beyond which `m(k) L(k)` adds less than `share` of the spot's peak.
    pub(super) fn band(&self, share: f64, m: impl Fn(f64) -> f64) -> f64 {
        let mut beyond = 0.0;
        for (above, slice) in self.slices(m).enumerate() {
            beyond += slice;
            if beyond > share * self.total {
                return self.k[SAMPLES - above];
            }
        }
        self.k[1]
    }

    /// The standard deviation, in mm, of the narrowest Gaussian aperture that brings the spot within `limit`.
    pub(super) fn aperture(&self, share: f64, limit: f64) -> f64 {
        let within = |s: f64| self.band(share, |k| gaussian(k, s)) <= limit;
        if within(0.0) {
            return 0.0;
        }
        let (mut low, mut high) = (0.0, (-2.0 * share.ln()).sqrt() / limit);
        while !within(high) {
            high *= 1.5;
        }
        for _ in 0..30 {
            let middle = 0.5 * (low + high);
            if within(middle) {
                high = middle;
            } else {
                low = middle;
            }
        }
        high
    }

    /// The stand-off of the Lambertian point whose spectrum `k h K1(k h)` falls to nine tenths at the same frequency
    /// (k h = 0.33): a measure of the widest part of the spot.
    pub(super) fn wide_scale(&self) -> f64 {
        let level = 0.9 * self.value[0];
        let at = self.value.iter().position(|&v| v < level).unwrap_or(SAMPLES).max(1);
        0.33 / self.k[at]
    }
}

/// Transform of a Gaussian aperture of unit weight and standard deviation `s`.
pub(super) fn gaussian(k: f64, s: f64) -> f64 {
    (-0.5 * (k * s).powi(2)).exp()
}

/// The places of tables over the square root of k: the same for all tables of one grid, so that they are found once.
#[derive(Clone, Copy)]
pub(super) struct Scale {
    end: f64,
    count: usize,
    per_root: f32,
}

impl Scale {
    /// So many entries up to the frequency `end`.
    pub(super) fn new(end: f64, count: usize) -> Scale {
        Scale { end, count, per_root: (count as f64 / end.sqrt()) as f32 }
    }

    /// The entry below and the share of the next where the square of k is `k2`, which must not lie beyond the end.
    #[inline]
    pub(super) fn place(self, k2: f32) -> (u32, f32) {
        let at = k2.sqrt().sqrt() * self.per_root;
        let entry = at as u32;
        (entry, at - entry as f32)
    }
}

/// Three spectra tabulated together.
pub(super) struct Table(Vec<[f32; 4]>);

impl Table {
    /// Tabulates `f(k)`.
    pub(super) fn new(scale: Scale, f: impl Fn(f64) -> [f64; 3] + Sync) -> Table {
        let entry = |i: usize| {
            let [x, y, z] = f(scale.end * (i as f64 / scale.count as f64).powi(2));
            [x as f32, y as f32, z as f32, 0.0]
        };
        Table((0..scale.count + 2).into_par_iter().with_min_len(LEAST_TASK).map(entry).collect())
    }

    /// The values at a place of the table's scale; beyond the end: zero.
    #[inline]
    pub(super) fn at(&self, (entry, share): (u32, f32)) -> [f32; 4] {
        let i = entry as usize;
        match self.0.get(i..i + 2) {
            Some([low, high]) => std::array::from_fn(|c| low[c] + share * (high[c] - low[c])),
            _ => [0.0; 4],
        }
    }
}

/// `sin(x)/x` tabulated, for windows that are turned against the grid.
pub(super) struct SincTable(Vec<f32>);

impl SincTable {
    pub(super) fn new(end: f64) -> SincTable {
        SincTable(
            (0..(end * SINC_PER_UNIT) as usize + 3).map(|i| sinc(i as f64 / SINC_PER_UNIT) as f32).collect(),
        )
    }

    #[inline]
    pub(super) fn at(&self, x: f32) -> f32 {
        let at = x.abs() * SINC_PER_UNIT as f32;
        let i = (at as usize).min(self.0.len() - 2);
        let share = at - i as f32;
        self.0[i] + share * (self.0[i + 1] - self.0[i])
    }
}
