//! The phase function of all cloth: how light that is scattered once is spread over directions.
//!
//! # Source
//! Henyey & Greenstein, Diffuse radiation in the galaxy, Astrophysical Journal 93 (1941). From memory.

/// The Henyey-Greenstein phase function of asymmetry `g` (above -1 and below 1) at a cosine of the scattering angle,
/// normalised to a mean of 1 over the sphere; divided by 4 pi it is per steradian.
#[inline]
pub(super) fn henyey_greenstein(g: f64, cosine: f64) -> f64 {
    let squared = 1.0 + g * g - 2.0 * g * cosine;
    (1.0 - g * g) / (squared * squared.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::quadrature::gauss_legendre;

    #[test]
    fn the_mean_is_one_and_the_mean_cosine_is_g() {
        /// 64 nodes of a rule integrate the law with g up to 0.6 to rounding.
        const ROUNDING: f64 = 1e-13;
        let rule = gauss_legendre(64);
        for g in [-0.6, 0.0, 0.2, 0.6] {
            let mean = |f: fn(f64) -> f64| -> f64 {
                let places = rule.nodes.iter().map(|x| 2.0 * x - 1.0);
                places.zip(&rule.weights).map(|(c, w)| w * f(c) * henyey_greenstein(g, c)).sum()
            };
            assert!((mean(|_| 1.0) - 1.0).abs() < ROUNDING, "g {g}");
            assert!((mean(|c| c) - g).abs() < ROUNDING, "g {g}");
        }
    }
}
