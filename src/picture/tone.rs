//! The tone curve: darks as they are, highlights rolled off into what the screen can show.
//!
//! Model: the electrical-electrical transfer function of Report ITU-R BT.2390 (section 5.4.1, from memory), which works
//! on luminances coded by the perceptual quantiser of Recommendation ITU-R BT.2100 (SMPTE ST 2084). With black at zero:
//!
//! ```text
//! e  = PQ(L) / PQ(L_peak)            scene, 0 to 1          m = PQ(L_screen) / PQ(L_peak)
//! ks = 1.5 m - 0.5                   the knee
//! e <  ks:  unchanged
//! e >= ks:  t = (e - ks)/(1 - ks)
//!           (2t^3 - 3t^2 + 1) ks + (t^3 - 2t^2 + t)(1 - ks) + (-2t^3 + 3t^2) m
//! ```
//!
//! so the curve leaves the straight line without a corner at the knee and arrives level at full scale. It rises
//! everywhere: the mean slope of the bent part is 1/3, within the bound of Fritsch and Carlson (1980) for end slopes 1 and 0.
//!
//! The curve is applied to the greatest of the three linear sRGB values and all three are scaled alike. That keeps the
//! chromaticity: a bright red glow stays red. (Applied to the luminance, it would leave bright saturated colours outside the
//! screen's range and the gamut mapping would bleach them: to the eye that looks at the garment they are not bleached.)
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | L_screen | luminance of the screen's white that the coding assumes | cd/m2 |
//! | L_peak | scene luminance that reaches full scale, in the same scale | cd/m2 |

use super::colour::gamut::into_gamut;
use super::colour::{encode_8bit, linear_srgb};
use super::exposure::ExposureValue;
use crate::light::spectrum::Xyz;

/// Luminance of the screen's white, in cd/m2, as the perceptual quantiser is told: a usual desktop setting, and the
/// nominal peak of standard dynamic range (ITU-R BT.2408, BT.1886; from memory).
pub const SCREEN_WHITE_CD_M2: f64 = 100.0;
/// How many times full scale the scene may be before it is white: 10, that is a scene of 1000 cd/m2 on a screen of 100.
pub const HEADROOM: f64 = 10.0;
/// The least headroom that bends anything.
const LEAST_HEADROOM: f64 = 1.0;
/// The largest headroom: the perceptual quantiser ends at 10 000 cd/m2.
const MOST_HEADROOM: f64 = PQ_PEAK_CD_M2 / SCREEN_WHITE_CD_M2;

/// Constants of the perceptual quantiser (ITU-R BT.2100, Table 4).
const PQ_PEAK_CD_M2: f64 = 10_000.0;
const PQ_M1: f64 = 2610.0 / 16384.0;
const PQ_M2: f64 = 2523.0 / 4096.0 * 128.0;
const PQ_C1: f64 = 3424.0 / 4096.0;
const PQ_C2: f64 = 2413.0 / 4096.0 * 32.0;
const PQ_C3: f64 = 2392.0 / 4096.0 * 32.0;

/// Code (0 to 1) of a luminance in cd/m2 under the perceptual quantiser.
#[must_use]
pub fn pq_code(luminance: f64) -> f64 {
    let y = (luminance / PQ_PEAK_CD_M2).max(0.0).powf(PQ_M1);
    ((PQ_C1 + PQ_C2 * y) / (1.0 + PQ_C3 * y)).powf(PQ_M2)
}

/// Luminance in cd/m2 of a code under the perceptual quantiser.
#[must_use]
pub fn pq_luminance(code: f64) -> f64 {
    let e = code.max(0.0).powf(1.0 / PQ_M2);
    PQ_PEAK_CD_M2 * ((e - PQ_C1).max(0.0) / (PQ_C2 - PQ_C3 * e)).powf(1.0 / PQ_M1)
}

/// A tone curve for one headroom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToneCurve {
    headroom: f64,
    /// PQ code of the scene's peak.
    peak_code: f64,
    /// Code of the screen's white over that of the peak.
    white: f64,
    /// The knee in the same scale, and as a share of full scale.
    knee_code: f64,
    knee: f64,
}

impl Default for ToneCurve {
    fn default() -> ToneCurve {
        ToneCurve::new(HEADROOM)
    }
}

impl ToneCurve {
    /// The curve that brings `headroom` times full scale down to full scale; the headroom is held to 1 to 100. With 1
    /// nothing is bent, only cut.
    #[must_use]
    pub fn new(headroom: f64) -> ToneCurve {
        let headroom = headroom.clamp(LEAST_HEADROOM, MOST_HEADROOM);
        let peak_code = pq_code(headroom * SCREEN_WHITE_CD_M2);
        let white = pq_code(SCREEN_WHITE_CD_M2) / peak_code;
        let knee_code = 1.5 * white - 0.5;
        ToneCurve {
            headroom,
            peak_code,
            white,
            knee_code,
            knee: pq_luminance(knee_code * peak_code) / SCREEN_WHITE_CD_M2,
        }
    }

    /// The share of full scale up to which the curve changes nothing.
    #[must_use]
    pub fn knee(&self) -> f64 {
        self.knee
    }

    /// Screen value, at most 1, of a scene value; both are shares of full scale. Negative values pass unchanged.
    #[must_use]
    pub fn apply(&self, scene: f64) -> f64 {
        if scene <= self.knee {
            return scene;
        }
        if scene >= self.headroom {
            return 1.0;
        }
        let e = pq_code(scene * SCREEN_WHITE_CD_M2) / self.peak_code;
        let t = ((e - self.knee_code) / (1.0 - self.knee_code)).clamp(0.0, 1.0);
        let (t2, t3) = (t * t, t * t * t);
        let bent = (2.0 * t3 - 3.0 * t2 + 1.0) * self.knee_code
            + (t3 - 2.0 * t2 + t) * (1.0 - self.knee_code)
            + (3.0 * t2 - 2.0 * t3) * self.white;
        (pq_luminance(bent * self.peak_code) / SCREEN_WHITE_CD_M2).min(1.0)
    }

    /// The curve on a colour in linear sRGB, its chromaticity kept: afterwards no value exceeds 1. Negative values (colours
    /// outside sRGB) stay negative.
    #[must_use]
    pub fn apply_to_colour(&self, rgb: [f64; 3]) -> [f64; 3] {
        let greatest = rgb[0].max(rgb[1]).max(rgb[2]);
        if greatest <= self.knee {
            return rgb;
        }
        let factor = self.apply(greatest) / greatest;
        rgb.map(|v| v * factor)
    }
}

/// From absolute tristimulus values to what the screen is sent: exposure, tone curve, gamut, code.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Development {
    /// The exposure.
    pub exposure: ExposureValue,
    /// The tone curve.
    pub curve: ToneCurve,
}

impl Development {
    /// Linear sRGB, within 0 to 1, of tristimulus values in cd/m2.
    #[must_use]
    pub fn linear(&self, xyz: Xyz) -> [f64; 3] {
        let shares = xyz.scaled(1.0 / self.exposure.full_scale().0);
        into_gamut(self.curve.apply_to_colour(linear_srgb(shares)))
    }

    /// The 8-bit sRGB pixel of tristimulus values in cd/m2.
    #[must_use]
    pub fn pixel(&self, xyz: Xyz) -> [u8; 3] {
        self.linear(xyz).map(encode_8bit)
    }
}
