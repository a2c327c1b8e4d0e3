//! Exposure: which luminance fills the scale of the picture, stated as a photographer would.
//!
//! Model: a camera at ISO 100 whose exposure is based on saturation (ISO 12232, from memory): the sensor is full at
//! `L = 78 N^2 / (S q t)` with lens factor q = 0.65, S = 100, and `N^2/t = 2^EV`, so
//!
//! `L_full = 1.2 cd/m2 * 2^EV`.
//!
//! (A reflected-light meter with K = 12.5 would place middle grey at `0.125 * 2^EV` cd/m2, 3.3 stops lower.)
//!
//! The automatic choice is one rule for every picture: the luminance that 0.5 % of the picture exceeds fills
//! the scale. A bare pixel seen through a hole covers less than that and burns out, as it does to the eye and
//! the camera; the glow of the cloth is what the exposure is made for. What lies above full scale is not lost: the tone
//! curve rolls it off. Pictures shown side by side are exposed together: variants of one garment for the brightest of them
//! ([`resolve`]), a set of cloths for the median ([`resolve_for_set`]).

use crate::quantity::Luminance;
use crate::scene::Exposure;

/// Full scale at exposure value 0, in cd/m2: 78 / (100 x 0.65), ISO 12232 (from memory).
pub const FULL_SCALE_AT_EV0: f64 = 1.2;
/// Share of a picture that may exceed full scale under the automatic exposure.
pub const SHARE_ABOVE: f64 = 0.005;
/// The darkest automatic exposure value: full scale 0.3 cd/m2. Below, the eye hardly sees colour, so a picture
/// exposed for less would show what nobody sees; a picture with no light at all stays black.
pub const EV_MIN: f64 = -2.0;
/// The brightest automatic exposure value: full scale 1.3 million cd/m2, beyond any bare die.
pub const EV_MAX: f64 = 20.0;
/// Automatic values are whole multiples of one over this, rounded to the darker picture, so that the figure printed
/// on the picture with one decimal is the one that was used.
pub const STEPS_PER_EV: f64 = 10.0;

/// A photographic exposure value at ISO 100.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct ExposureValue(pub f64);

impl ExposureValue {
    /// The luminance that fills the scale.
    #[must_use]
    pub fn full_scale(self) -> Luminance {
        Luminance(FULL_SCALE_AT_EV0 * self.0.exp2())
    }

    /// The exposure value for which a luminance (above zero) fills the scale.
    #[must_use]
    pub fn for_full_scale(luminance: Luminance) -> ExposureValue {
        ExposureValue((luminance.0 / FULL_SCALE_AT_EV0).log2())
    }
}

impl std::fmt::Display for ExposureValue {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // Adding zero turns -0.0 into 0.0.
        write!(f, "EV {:.1}", self.0 + 0.0)
    }
}

/// The exposure of a set of pictures shown together: what the scene fixes, or the automatic one.
///
/// `pictures` holds the luminances of each picture in cd/m2, in any order.
pub fn resolve<'a, T: Copy + Into<f64> + 'a>(
    wanted: Exposure,
    pictures: impl IntoIterator<Item = &'a [T]>,
) -> ExposureValue {
    match wanted {
        Exposure::Fixed(ev) => ExposureValue(ev),
        Exposure::Auto => automatic(pictures),
    }
}

/// The automatic exposure of a set of pictures shown together (see the head of this module).
///
/// Luminances that are not finite are passed over. Takes linear time and a copy of one picture.
pub fn automatic<'a, T: Copy + Into<f64> + 'a>(pictures: impl IntoIterator<Item = &'a [T]>) -> ExposureValue {
    let brightest = pictures.into_iter().map(exceeded_by_share).fold(0.0, f64::max);
    rounded(brightest)
}

/// The automatic exposure value for which this luminance fills the scale.
fn rounded(luminance: f64) -> ExposureValue {
    let ev = if luminance > 0.0 { ExposureValue::for_full_scale(Luminance(luminance)).0 } else { EV_MIN };
    // An exact multiple of the step must not be pushed up by its own rounding.
    let steps = (ev.clamp(EV_MIN, EV_MAX) * STEPS_PER_EV - 1e-9).ceil();
    ExposureValue(steps / STEPS_PER_EV)
}

/// The exposure of a set of pictures of which some may be a thousand times as bright as others: what the scene fixes, or the median
/// of the exposures that each would have alone.
///
/// [`resolve`] exposes for the brightest, which is right for variants of one garment. In a set of cloths the brightest is a sheer
/// that hides nothing: exposed for its bare pixels, every felt beside it would be black. With the median as many pictures
/// burn out in their brightest places as stay dark, and the tone curve rolls off what lies up to ten times above full
/// scale. Pictures without light do not count.
pub fn resolve_for_set<'a, T: Copy + Into<f64> + 'a>(
    wanted: Exposure,
    pictures: impl IntoIterator<Item = &'a [T]>,
) -> ExposureValue {
    if let Exposure::Fixed(ev) = wanted {
        return ExposureValue(ev);
    }
    let mut bright: Vec<f64> = pictures.into_iter().map(exceeded_by_share).filter(|l| *l > 0.0).collect();
    bright.sort_by(f64::total_cmp);
    let Some(last) = bright.len().checked_sub(1) else { return rounded(0.0) };
    // Exposure is logarithmic: an even number of pictures meets in the geometric mean of the two in the middle.
    rounded((bright[last / 2] * bright[last.div_ceil(2)]).sqrt())
}

/// The luminance that [`SHARE_ABOVE`] of the picture exceeds; zero for a picture without pixels.
fn exceeded_by_share<T: Copy + Into<f64>>(picture: &[T]) -> f64 {
    // With room for all at once: a list that grows takes twice as much, of large pictures hundreds of megabytes.
    let mut values: Vec<f64> = Vec::with_capacity(picture.len());
    values.extend(picture.iter().map(|&v| v.into()).filter(|v| v.is_finite()));
    if values.is_empty() {
        return 0.0;
    }
    let above = (SHARE_ABOVE * values.len() as f64) as usize;
    let place = values.len() - 1 - above;
    *values.select_nth_unstable_by(place, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_is_exposed_for_its_median() {
        let even = |luminance: f32| vec![luminance; 400];
        let set = |luminances: &[f32]| {
            let pictures: Vec<Vec<f32>> = luminances.iter().map(|l| even(*l)).collect();
            resolve_for_set(Exposure::Auto, pictures.iter().map(Vec::as_slice))
        };
        let alone = |luminance: f32| automatic([even(luminance).as_slice()]);
        assert_eq!(set(&[50.0]), alone(50.0), "one picture is a picture");
        assert_eq!(set(&[1.0, 90_000.0, 50.0]), alone(50.0), "neither the brightest nor the darkest counts");
        assert_eq!(set(&[10.0, 1000.0]), alone(100.0), "two meet half-way, in stops");
        assert_eq!(set(&[0.0, 50.0, 0.0, 0.0]), alone(50.0), "pictures without light do not count");
        assert_eq!(set(&[0.0]), ExposureValue(EV_MIN));
        assert_eq!(set(&[]), ExposureValue(EV_MIN));
        let fixed = resolve_for_set(Exposure::Fixed(7.0), [even(50.0).as_slice()]);
        assert_eq!(fixed, ExposureValue(7.0));
    }
}
