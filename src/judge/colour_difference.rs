//! How different two colours look: CIELAB and CIEDE2000.
//!
//! CIELAB: CIE 015 (ISO/CIE 11664-4), with the exact constants (6/29)^3 and so on. CIEDE2000: ISO/CIE 11664-6, as
//! implemented by the general-purpose library `palette`, which reproduces the test pairs of Sharma, Wu and Dalal, The
//! CIEDE2000 color-difference formula (2005), Table 1.
//!
//! One unit is about what a practised eye just sees side by side. The formula was made for differences up to some
//! 5 units; larger values order colours well but are not in proportion to what is seen.

use crate::light::spectrum::Xyz;
use crate::picture::colour::white;
use palette::color_difference::Ciede2000;
use palette::white_point::D65;

/// The lightness L* at which [`colour_shift`] compares: the middle of the scale.
pub const EQUAL_LIGHTNESS: f64 = 50.0;

/// A colour in CIELAB.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lab {
    /// Lightness, 0 black to 100 white.
    pub l: f64,
    /// Green (negative) to red.
    pub a: f64,
    /// Blue (negative) to yellow.
    pub b: f64,
}

/// The cube root of CIELAB with its straight start (CIE 015).
fn root(t: f64) -> f64 {
    const KNEE: f64 = 6.0 / 29.0;
    if t > KNEE * KNEE * KNEE { t.cbrt() } else { t / (3.0 * KNEE * KNEE) + 4.0 / 29.0 }
}

/// CIELAB of tristimulus values seen beside a white, both in the same unit.
#[must_use]
pub fn lab(xyz: Xyz, white: Xyz) -> Lab {
    let [x, y, z] = std::array::from_fn(|i| root(xyz.0[i] / white.0[i]));
    Lab { l: 116.0 * y - 16.0, a: 500.0 * (x - y), b: 200.0 * (y - z) }
}

/// The CIEDE2000 difference of two colours.
#[must_use]
pub fn ciede2000(one: Lab, other: Lab) -> f64 {
    // The white of the library's type plays no part in the difference.
    let of = |c: Lab| palette::Lab::<D65, f64>::new(c.l, c.a, c.b);
    of(one).difference(of(other))
}

/// How much a cloth shifts the colour of a light: CIEDE2000 between the bare light and the light behind the cloth, both
/// brought to the lightness [`EQUAL_LIGHTNESS`] under D65, so that being dimmer does not count. `None` when one of
/// them is dark.
#[must_use]
pub fn colour_shift(bare: Xyz, through: Xyz) -> Option<f64> {
    let luminance = ((EQUAL_LIGHTNESS + 16.0) / 116.0_f64).powi(3);
    let equal = |light: Xyz| {
        let factor = luminance / light.luminance();
        (light.luminance() > 0.0 && factor.is_finite()).then(|| lab(light.scaled(factor), white()))
    };
    Some(ciede2000(equal(bare)?, equal(through)?))
}
