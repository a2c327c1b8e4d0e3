//! The kernels of plane-parallel transport at one spatial frequency: incomplete modified Bessel functions.
//!
//! # Model
//! Light that leaves a plane source with the angular weight `u^-(m+1)`, `u = 1 / cos(theta)`, and runs along a path of
//! optical length `A u` and height `z` has, at the angular spatial frequency k, the transform
//!
//! ```text
//! Gm(A, b) = int_1^inf u^-(m+1) exp(-A u) J0(b sqrt(u^2 - 1)) du
//!          = 1/Gamma(m+1) int_A^inf (s - A)^m exp(-sqrt(s^2 + b^2)) / sqrt(s^2 + b^2) ds
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | A | optical path straight across | 1 |
//! | b | spatial frequency times height, k z | 1 |
//! | m | angular exponent: 0 isotropic scattering, 1 a Lambertian face, any real number for a source | 1 |
//! | rho | sqrt(A^2 + b^2) | 1 |
//!
//! The second form never oscillates: it is positive and smooth everywhere except at A = b = 0, where G0 grows like a
//! logarithm. With `q = sqrt(s^2 + b^2) - rho` it becomes an integral against `exp(-q)` that a double-exponential rule
//! solves to rounding ([`direct`]); [`Kernel`] tabulates `Gm exp(rho)` over `ln rho` and `tan(angle / 2)` and
//! interpolates with six points each way.
//!
//! # Validity
//! [`direct`]: m >= 0, relative error below 1e-11. [`Kernel`]: relative error below 1e-6 for
//! rho between [`SMALLEST`] and [`LARGEST`]; G0 has its own limit below, and everything above is taken as zero
//! (exp(-46) = 1e-20).
//!
//! # Source
//! Gradshteyn & Ryzhik, Table of Integrals, Series and Products, 6.616.2 (the Bessel integral that turns the first form
//! into the second); Jones, Incomplete Bessel functions I, Proc. Edinburgh Math. Soc. 50 (2007); the double-exponential
//! rule: Takahasi & Mori, Double exponential formulas for numerical integration, Publ. RIMS 9 (1974). From memory.

use super::quadrature::{POINTS, lagrange};
use pxfm::f_lgamma;
use std::sync::OnceLock;

/// Smallest rho of the table. Below it G0 follows its logarithm and the others have reached their limit.
pub const SMALLEST: f64 = 1e-7;
/// Largest rho of the table; beyond it a kernel counts as zero.
pub const LARGEST: f64 = 46.0;

/// Steps of the table in ln(rho).
const RHO_STEPS: usize = 210;
/// Steps of the table in tan(angle/2). The kernel changes near angle = 90 degrees over a width of about
/// rho^-1/2 = 0.15 at the far end of the table; fewer steps would lose digits there first.
const ANGLE_STEPS: usize = 72;

const EULER_GAMMA: f64 = 0.577_215_664_901_532_9;

/// `Gm(a, b)` by double-exponential quadrature: slow, plain, good to about 11 digits. The table is made from it.
///
/// Returns infinity for m = 0 at a = b = 0.
#[must_use]
pub fn direct(m: f64, a: f64, b: f64) -> f64 {
    scaled(m, a, b) * (-a.hypot(b)).exp()
}

/// The double-exponential rule for `int_0^inf exp(-q) f(q) dq`: places q and weights.
///
/// `q = exp(x - exp(-x))` makes both ends fall off double-exponentially, so singular behaviour of f at 0 does no harm.
fn rule() -> &'static [(f64, f64)] {
    /// Step in x; 1/24 leaves a few units of 1e-12.
    const STEP: f64 = 1.0 / 24.0;
    static RULE: OnceLock<Vec<(f64, f64)>> = OnceLock::new();
    RULE.get_or_init(|| {
        (-108..=88)
            .map(|i| {
                let x = STEP * f64::from(i);
                let q = (x - (-x).exp()).exp();
                (q, STEP * (-q).exp() * q * (1.0 + (-x).exp()))
            })
            .filter(|&(_, w)| w > 1e-300)
            .collect()
    })
}

/// `Gm(a, b) exp(rho)`.
fn scaled(m: f64, a: f64, b: f64) -> f64 {
    // int_0^inf exp(-q) (s - a)^m / s dq with s = sqrt(a^2 + q^2 + 2 q rho), s - a = (q^2 + 2 q rho) / (s + a).
    let rho = a.hypot(b);
    if rho == 0.0 {
        return if m > 0.0 { 1.0 / m } else { f64::INFINITY };
    }
    let sum = |power: &dyn Fn(f64) -> f64| -> f64 {
        rule()
            .iter()
            .map(|&(q, weight)| {
                let w2 = q * (q + 2.0 * rho);
                let s = (a * a + w2).sqrt();
                weight * power(w2 / (s + a)) / s
            })
            .sum()
    };
    if m == 0.0 {
        sum(&|_| 1.0)
    } else if m == 1.0 {
        sum(&|x| x)
    } else {
        sum(&|x| x.powf(m)) / f_lgamma(m + 1.0).exp()
    }
}

/// The exponential integral `E_n(x)`, n >= 1 real: `G_{n-1}(x, 0)`.
#[must_use]
pub fn exponential_integral(n: f64, x: f64) -> f64 {
    direct(n - 1.0, x, 0.0)
}

/// One kernel `Gm`, tabulated.
#[derive(Debug)]
pub struct Kernel {
    m: f64,
    /// `Gm exp(rho)`, angle index running fastest.
    table: Vec<f64>,
}

/// A kernel along a ray on which A and b grow in a fixed ratio: one row of the table.
#[derive(Clone, Debug)]
pub struct Ray {
    row: Vec<f64>,
    small: Option<f64>,
}

const LN_SMALLEST: f64 = -16.118_095_650_958_32;
const PER_LN_STEP: f64 = 1.0 / LN_STEP;
const LN_STEP: f64 = (3.828_641_396_489_095 - LN_SMALLEST) / (RHO_STEPS - 1) as f64;

impl Kernel {
    /// Tabulates `Gm`; takes about 15 ms on one core for m = 0 and 1, more for others.
    ///
    /// On threads of its own: tables that are made once are asked for by tasks of the shared pool, which would wait for a table
    /// whose making waits for them.
    #[must_use]
    pub fn of_order(m: f64) -> Kernel {
        /// Pieces made at the same time.
        const PIECES: usize = 4;
        let row = |i: usize| {
            let rho = (LN_SMALLEST + LN_STEP * i as f64).exp();
            (0..ANGLE_STEPS).map(move |j| {
                let t = j as f64 / (ANGLE_STEPS - 1) as f64;
                let norm = 1.0 + t * t;
                scaled(m, rho * (1.0 - t * t) / norm, rho * 2.0 * t / norm)
            })
        };
        let mut table = vec![0.0; RHO_STEPS * ANGLE_STEPS];
        let rows = RHO_STEPS.div_ceil(PIECES);
        std::thread::scope(|scope| {
            for (piece, values) in table.chunks_mut(rows * ANGLE_STEPS).enumerate() {
                scope.spawn(move || {
                    let all = (piece * rows..).flat_map(row);
                    values.iter_mut().zip(all).for_each(|(value, v)| *value = v);
                });
            }
        });
        Kernel { m, table }
    }

    /// The kernel of isotropic scattering, G0, made once.
    #[must_use]
    pub fn isotropic() -> &'static Kernel {
        static TABLE: OnceLock<Kernel> = OnceLock::new();
        TABLE.get_or_init(|| Kernel::of_order(0.0))
    }

    /// The kernel of a Lambertian face, G1, made once.
    #[must_use]
    pub fn lambertian() -> &'static Kernel {
        static TABLE: OnceLock<Kernel> = OnceLock::new();
        TABLE.get_or_init(|| Kernel::of_order(1.0))
    }

    /// `Gm(a, b)` for a, b >= 0.
    #[must_use]
    pub fn value(&self, a: f64, b: f64) -> f64 {
        let rho = (a * a + b * b).sqrt();
        if rho >= LARGEST {
            return 0.0;
        }
        if rho < SMALLEST {
            return self.limit(a, rho);
        }
        let (i, wi) = lagrange((rho.ln() - LN_SMALLEST) * PER_LN_STEP, RHO_STEPS);
        let (j, wj) = lagrange(b / (rho + a) * (ANGLE_STEPS - 1) as f64, ANGLE_STEPS);
        let mut across = [0.0; POINTS];
        for (p, w) in wi.iter().enumerate() {
            let start = (i + p) * ANGLE_STEPS + j;
            across.iter_mut().zip(&self.table[start..start + POINTS]).for_each(|(a, v)| *a += w * v);
        }
        across.iter().zip(&wj).map(|(a, w)| a * w).sum::<f64>() * (-rho).exp()
    }

    /// The row of the table for A : b = `a` : `b`.
    #[must_use]
    pub fn along(&self, a: f64, b: f64) -> Ray {
        let rho = (a * a + b * b).sqrt();
        let (j, wj) = lagrange(b / (rho + a) * (ANGLE_STEPS - 1) as f64, ANGLE_STEPS);
        let row = (0..RHO_STEPS)
            .map(|i| {
                let start = i * ANGLE_STEPS + j;
                self.table[start..start + POINTS].iter().zip(&wj).map(|(v, w)| v * w).sum::<f64>()
            })
            .collect();
        let small = (self.m == 0.0).then(|| -EULER_GAMMA - (0.5 * (a / rho + 1.0)).ln());
        Ray { row, small }
    }

    fn limit(&self, a: f64, rho: f64) -> f64 {
        if self.m == 0.0 {
            -EULER_GAMMA - (0.5 * (a + rho)).max(f64::MIN_POSITIVE).ln()
        } else {
            1.0 / self.m
        }
    }
}

impl Ray {
    /// The kernel at `rho` on this ray, whose logarithm is at hand.
    #[must_use]
    pub fn at(&self, rho: f64, ln_rho: f64) -> f64 {
        let x = (ln_rho - LN_SMALLEST) * PER_LN_STEP;
        if x >= (RHO_STEPS - 1) as f64 {
            return 0.0;
        }
        if x < 0.0 {
            return self.small.map_or(self.row[0], |constant| constant - ln_rho);
        }
        let (i, w) = lagrange(x, RHO_STEPS);
        let sum: f64 = self.row[i..i + POINTS].iter().zip(&w).map(|(v, w)| v * w).sum();
        sum * (-rho).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pxfm::{f_k0, f_k1};

    /// The double-exponential rule with step 1/24 is good to a few units of 1e-12 (measured); one digit of reserve.
    const DIRECT_ERROR: f64 = 2e-11;

    /// What the module promises of the table.
    const TABLE_ERROR: f64 = 1e-6;

    fn close(found: f64, expected: f64, relative: f64, what: &str) {
        assert!((found - expected).abs() <= relative * expected.abs(), "{what}: {found} against {expected}");
    }

    #[test]
    fn exponential_integrals_have_the_handbook_values() {
        // Abramowitz & Stegun, tables 5.1 and 5.4 (from memory, re-computed with scipy.special.expn 1.17).
        for (n, x, value) in [
            (1.0, 0.1, 1.822_923_958_419_390_7),
            (1.0, 1.0, 0.219_383_934_395_520_28),
            (2.0, 0.5, 0.326_643_862_324_553_2),
            (2.0, 1.0, 0.148_495_506_775_922_05),
            (3.0, 1.0, 0.109_691_967_197_760_14),
            (3.0, 5.0, 0.000_877_800_892_770_638_5),
            (4.0, 2.0, 0.025_022_841_213_660_316),
        ] {
            close(exponential_integral(n, x), value, DIRECT_ERROR, &format!("E{n}({x})"));
        }
    }

    #[test]
    fn without_optical_path_g0_is_the_macdonald_function() {
        for b in [1e-4, 0.01, 0.1, 1.0, 3.0, 10.0, 40.0] {
            close(direct(0.0, 0.0, b), f_k0(b), DIRECT_ERROR, &format!("K0({b})"));
        }
    }

    #[test]
    fn without_optical_path_g1_is_an_exponential_and_g2_is_known() {
        // G1(0, b) = exp(-b); G2(0, b) = (1/2) int s^2 exp(-q)/q ds = b K1(b) / 2 (integrate by parts).
        for b in [1e-4, 0.01, 0.1, 1.0, 3.0, 10.0, 40.0] {
            close(direct(1.0, 0.0, b), (-b).exp(), DIRECT_ERROR, &format!("exp(-{b})"));
            close(direct(2.0, 0.0, b), 0.5 * b * f_k1(b), DIRECT_ERROR, &format!("{b} K1({b})/2"));
        }
    }

    #[test]
    fn table_keeps_its_stated_error() {
        for m in [0.0, 1.0, 4.0, 0.6] {
            let kernel = Kernel::of_order(m);
            let mut worst: f64 = 0.0;
            for i in 0..300 {
                let rho = SMALLEST * (0.999 * LARGEST / SMALLEST).powf(f64::from(i) / 299.0) * 1.000_1;
                for j in 0..97 {
                    let angle = std::f64::consts::FRAC_PI_2 * f64::from(j) / 96.0;
                    let (a, b) = (rho * angle.cos(), rho * angle.sin());
                    let exact = direct(m, a, b);
                    worst = worst.max((kernel.value(a, b) / exact - 1.0).abs());
                    let ray = kernel.along(a, b);
                    worst = worst.max((ray.at(rho, rho.ln()) / exact - 1.0).abs());
                }
            }
            assert!(worst < TABLE_ERROR, "m = {m}: {worst:e}");
        }
    }

    #[test]
    fn below_the_table_g0_follows_its_logarithm() {
        let kernel = Kernel::isotropic();
        for (a, b) in [(1e-8, 0.0), (0.0, 3e-9), (2e-9, 2e-9)] {
            close(kernel.value(a, b), direct(0.0, a, b), 1e-7, "small");
            let rho = f64::hypot(a, b);
            close(kernel.along(a, b).at(rho, rho.ln()), direct(0.0, a, b), 1e-7, "small, along a ray");
        }
    }
}
