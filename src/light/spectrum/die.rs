//! Spectra of light-emitting dies from what a data sheet says about them.
//!
//! Model. A coloured die sends out one band. Its shape is Ohno's
//! `s = (g + 2 g^5)/3, g = exp(-((lambda - p)/w)^2)` (Y. Ohno, Spectral design considerations for white LED color
//! rendering, Optical Engineering 44(11), 2005), here with a width of its own on either side of the peak, as real
//! bands have: nitride dies (green, blue) have the longer tail towards long waves, phosphide dies (red) towards short
//! ones. The peak p is solved so that the *dominant* wavelength (CIE, against equal-energy white), which data sheets
//! state, comes out exactly. A white die is a blue pump under a phosphor band, Gaussian in photon energy; the place
//! of that band and the pump's share are solved so that the chromaticity is that of a black body of [`WHITE_CCT_K`].
//!
//! The widths are chosen here, not measured: within the full widths at half maximum usual for such dies (red 15 to
//! 20 nm, green 30 to 40, blue 18 to 28, from memory) and so that peak and dominant wavelength differ as in a data
//! sheet of one three-colour package (peak/dominant 629/622, 521/530, 464/470 nm). With them the luminous efficacies
//! of that sheet (210, 535, 84 lm/W) come out 1.5 %, 5 % and 15 % low: real bands have fainter, farther tails.
//!
//! Absolute scale. A die of luminous intensity I0 straight ahead and beam `cos^m` sends the luminous flux
//! `Phi_v = 2 pi I0/(m + 1)` (integral of the beam over the hemisphere), and the radiant flux `Phi_v / (K_m sum s V step)`.
//!
//! Valid at 25 degrees Celsius and at any duty cycle; the shift of the peak with current and temperature (some nm)
//! is left out.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | p, w | peak wavelength, width parameter of one side | nm |
//! | s | relative spectral power, integral 1 | 1/nm |
//! | I0 | luminous intensity straight ahead | cd |
//! | m | exponent of the beam | 1 |

use super::illuminant::black_body;
use super::observer::{
    EQUAL_ENERGY, K_M, Xyz, dominant_wavelength, luminous_efficacy, matching_functions, xyz_of,
};
use super::{SAMPLES, STEP_NM, Spectrum};
use crate::light::quadrature::bisect;
use crate::pixels::package::{Die, DieFacts};
use crate::quantity::Nanometres;
use std::f64::consts::PI;
use std::ops::Range;

/// Width parameters of a band on its short-wave and its long-wave side, in nm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Widths {
    /// Towards short waves.
    pub short_nm: f64,
    /// Towards long waves.
    pub long_nm: f64,
}

/// Red (phosphide) die: full width at half maximum 17 nm.
pub const RED_WIDTHS: Widths = Widths { short_nm: 20.0, long_nm: 17.0 };
/// Green (nitride) die: full width at half maximum 32 nm.
pub const GREEN_WIDTHS: Widths = Widths { short_nm: 27.0, long_nm: 43.0 };
/// Blue (nitride) die: full width at half maximum 23 nm.
pub const BLUE_WIDTHS: Widths = Widths { short_nm: 20.0, long_nm: 30.0 };
/// Blue pump of a white die: full width at half maximum 18 nm (typical, from memory).
pub const PUMP_WIDTHS: Widths = Widths { short_nm: 16.0, long_nm: 24.0 };
/// Full width at half maximum of the phosphor's band, in eV (typical of a yellow garnet phosphor, from memory).
pub const PHOSPHOR_WIDTH_EV: f64 = 0.55;
/// Correlated colour temperature of the white die, in K: "neutral white", a typical trade value (common practice,
/// no source).
pub const WHITE_CCT_K: f64 = 4000.0;
/// Photon energy times wavelength, h c / e, in eV nm (CODATA 2018).
const EV_NM: f64 = 1_239.841_984;
/// How far from the dominant wavelength the peak is looked for, in nm; usual dies lie within 10.
const PEAK_SEARCH_NM: f64 = 30.0;
/// Where the phosphor's peak is looked for, in nm.
const PHOSPHOR_SEARCH_NM: [f64; 2] = [540.0, 610.0];
/// A wavelength matters to the picture when one of its weights exceeds this share of the die's greatest weight. The
/// light left out is then below 2e-4 of the whole.
pub const WEIGHT_FLOOR: f64 = 1e-4;

/// Ohno's band with a width for each side, peak 1.
#[must_use]
pub fn band(peak: Nanometres, widths: Widths) -> Spectrum {
    Spectrum::from_fn(|w| {
        let width = if w < peak { widths.short_nm } else { widths.long_nm };
        let g = (-((w.0 - peak.0) / width).powi(2)).exp();
        (g + 2.0 * g.powi(5)) / 3.0
    })
}

/// A band that is a Gaussian in photon energy, peak 1.
fn energy_band(peak: Nanometres, full_width_ev: f64) -> Spectrum {
    Spectrum::from_fn(|w| {
        let away = EV_NM * (1.0 / w.0 - 1.0 / peak.0) / full_width_ev;
        (-4.0 * std::f64::consts::LN_2 * away * away).exp()
    })
}

/// The peak wavelength that gives a band its dominant wavelength, by bisection.
///
/// For a dominant wavelength that no such band can have (outside about 435 to 670 nm), the peak is put at the
/// dominant wavelength itself.
#[must_use]
pub fn peak_for_dominant(dominant: Nanometres, widths: Widths) -> Nanometres {
    let off = |peak: f64| {
        let colour = xyz_of(&band(Nanometres(peak), widths)).chromaticity()?;
        Some(dominant_wavelength(colour, EQUAL_ENERGY)?.0 - dominant.0)
    };
    // Near the ends of the locus a band has no dominant wavelength, so the search narrows to where it has one.
    let usable = |steps: Range<i32>, away: f64| {
        steps.map(|i| dominant.0 + away * f64::from(i)).take_while(|&p| off(p).is_some()).last()
    };
    let reach = PEAK_SEARCH_NM as i32 + 1;
    let ends = usable(0..reach, -1.0).zip(usable(0..reach, 1.0));
    match ends {
        Some((low, high)) if off(low).is_some_and(|o| o <= 0.0) && off(high).is_some_and(|o| o >= 0.0) => {
            Nanometres(bisect(low, high, |p| off(p).unwrap_or(0.0)))
        }
        _ => dominant,
    }
}

/// The white die: pump and phosphor, mixed to the chromaticity of a black body.
fn white_spectrum(pump_dominant: Nanometres) -> Spectrum {
    let chromaticity = |s: &Spectrum| xyz_of(s).chromaticity().unwrap_or(EQUAL_ENERGY);
    let target = chromaticity(&black_body(WHITE_CCT_K));
    let pump = band(peak_for_dominant(pump_dominant, PUMP_WIDTHS), PUMP_WIDTHS);
    let from_target = |s: &Spectrum| {
        let [x, y] = chromaticity(s);
        [x - target[0], y - target[1]]
    };
    let p = from_target(&pump);
    // Mixtures lie on the straight line between the two chromaticities: turn it through the target.
    let side = |peak: f64| {
        let q = from_target(&energy_band(Nanometres(peak), PHOSPHOR_WIDTH_EV));
        p[0] * q[1] - p[1] * q[0]
    };
    let [low, high] = PHOSPHOR_SEARCH_NM;
    let sign = if side(low) <= side(high) { 1.0 } else { -1.0 };
    let phosphor = energy_band(Nanometres(bisect(low, high, |peak| sign * side(peak))), PHOSPHOR_WIDTH_EV);
    let q = from_target(&phosphor);
    let [to_pump, to_phosphor] = [p[0].hypot(p[1]), q[0].hypot(q[1])];
    let sum = |s: &Spectrum| xyz_of(s).0.iter().sum::<f64>();
    let pump = pump.scaled(to_phosphor / sum(&pump));
    let phosphor = phosphor.scaled(to_pump / sum(&phosphor));
    Spectrum(std::array::from_fn(|i| pump.0[i] + phosphor.0[i]))
}

/// Relative spectral power of a die in 1/nm, scaled so that its integral over the grid is 1: times a radiant flux in
/// W it is the spectral flux in W/nm.
#[must_use]
pub fn die_spectrum(facts: &DieFacts) -> Spectrum {
    let coloured = |widths| band(peak_for_dominant(facts.dominant, widths), widths);
    let shape = match facts.die {
        Die::Red => coloured(RED_WIDTHS),
        Die::Green => coloured(GREEN_WIDTHS),
        Die::Blue => coloured(BLUE_WIDTHS),
        Die::White => white_spectrum(facts.dominant),
    };
    shape.scaled(1.0 / shape.integral())
}

/// Luminous flux in lm of a die at full level, typical, for a beam `cos^m` with `m = beam_power`.
#[must_use]
pub fn luminous_flux_lm(facts: &DieFacts, beam_power: f64) -> f64 {
    2.0 * PI * facts.typical_mcd * 1e-3 / (beam_power + 1.0)
}

/// What each wavelength of a die's light at full level adds to X, Y and Z.
#[derive(Clone, Debug, PartialEq)]
pub struct DieWeights {
    /// For every wavelength of the grid, the share of X, Y and Z in lm; the Y values add up to the luminous flux.
    pub xyz_lm: [[f64; 3]; SAMPLES],
    /// The indices of the wavelengths that matter (see [`WEIGHT_FLOOR`]).
    pub matters: Range<usize>,
}

impl DieWeights {
    /// Tristimulus values in lm of the die's whole flux.
    #[must_use]
    pub fn total(&self) -> Xyz {
        self.through(&Spectrum::constant(1.0))
    }

    /// Tristimulus values in lm of the die's flux after a cloth that lets through a share of every wavelength.
    #[must_use]
    pub fn through(&self, transmittance: &Spectrum) -> Xyz {
        self.xyz_lm.iter().zip(transmittance.0).map(|(&w, t)| Xyz(w).scaled(t)).sum()
    }
}

/// The weights `K_m Phi_e s(lambda) x_bar(lambda) step` (and y_bar, z_bar) of a die at full level, in lm.
#[must_use]
pub fn die_weights(facts: &DieFacts, beam_power: f64) -> DieWeights {
    let spectrum = die_spectrum(facts);
    let radiant = luminous_flux_lm(facts, beam_power) / luminous_efficacy(&spectrum);
    let bars = matching_functions();
    let xyz_lm: [[f64; 3]; SAMPLES] = std::array::from_fn(|i| {
        std::array::from_fn(|c| K_M * radiant * spectrum.0[i] * bars[c].0[i] * STEP_NM)
    });
    let greatest = |w: &[f64; 3]| w.iter().fold(0.0_f64, |a, &b| a.max(b));
    let floor = WEIGHT_FLOOR * xyz_lm.iter().map(greatest).fold(0.0, f64::max);
    let first = xyz_lm.iter().position(|w| greatest(w) > floor).unwrap_or(0);
    let end = xyz_lm.iter().rposition(|w| greatest(w) > floor).map_or(first, |last| last + 1);
    DieWeights { xyz_lm, matters: first..end }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pixels::package::Package;

    fn dies() -> Vec<DieFacts> {
        Package::names().iter().filter_map(|n| Package::named(n)).flat_map(|p| p.dies).collect()
    }

    #[test]
    fn weights_add_up_to_the_flux_and_little_is_left_out() {
        for facts in dies() {
            let weights = die_weights(&facts, 1.0);
            // Lambertian beam: flux is pi times the intensity (closed form); rounding only.
            let flux = PI * facts.typical_mcd * 1e-3;
            assert!((weights.total().luminance() / flux - 1.0).abs() < 1e-12);
            let kept = Spectrum(std::array::from_fn(|i| f64::from(u8::from(weights.matters.contains(&i)))));
            let total = weights.total();
            let kept = weights.through(&kept);
            for c in 0..3 {
                let lost = (total.0[c] - kept.0[c]) / total.0.iter().sum::<f64>();
                assert!((0.0..2e-4).contains(&lost), "{:?}: {lost}", facts.die);
            }
        }
    }

    #[test]
    fn spectra_have_unit_area() {
        for facts in dies() {
            let spectrum = die_spectrum(&facts);
            assert!((spectrum.integral() - 1.0).abs() < 1e-12);
            assert!(spectrum.0.iter().all(|&v| v >= 0.0));
        }
    }

    #[test]
    fn impossible_dominant_wavelengths_do_no_harm() {
        for nm in [0.0, 380.0, 900.0] {
            assert_eq!(peak_for_dominant(Nanometres(nm), BLUE_WIDTHS), Nanometres(nm));
        }
    }
}
