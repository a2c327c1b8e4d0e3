//! How well each value of a label is known, and what that makes of the light and of the spot behind the cloth.
//!
//! **Model.** Every value is moved on its own by one standard uncertainty, down and up, and light and spot are computed
//! again: mass, fibre diameter, fibre model and threads change the optical thickness in proportion; thickness spreads the
//! same optical thickness over another depth; holes leave the mass to the covered share; colour changes the albedo. The
//! values are taken as independent: what they do together is the root of the sum of the squares, of logarithms for the light
//! and of millimetres for the spot. **Validity:** first order in the uncertainties. **Source:** the law of propagation of
//! uncertainty (JCGM 100, Guide to the expression of uncertainty in measurement, from memory). The uncertainties themselves
//! are common practice, no source.

use super::reflectance::{Folded, from_srgb};
use super::{Estimate, LabelInput, OPENNESS, Structure};
use crate::cloth::diffuse::totals;
use crate::cloth::fibres::Lie;
use crate::cloth::shape::MOST_OPEN;
use crate::light::spots::spots;
use crate::light::{Layer, Optics, Source, Stack};
use crate::quantity::{Millimetres, Nanometres, PerMillimetre};
use rayon::prelude::*;

/// Areal mass as printed on a label: what cloth of one order differs by.
const MASS: f64 = 0.10;
/// Thickness: that of soft cloth hangs on the pressure of the gauge.
const THICKNESS: f64 = 0.20;
/// Diameter of the fibres: fibres of one kind and name differ by that much.
const DIAMETER: f64 = 0.20;
/// The fibre model itself, asymmetry included, for fibres spread evenly.
const MODEL: f64 = 0.20;
/// The threads, into which fibres are bundled and which the model leaves out.
const THREADS: f64 = 0.265;
/// Every channel of the colour, in steps of 255: two screens, or two pictures of one cloth, differ by that much.
const COLOUR_STEPS: u8 = 10;
/// Reflectance of the board behind the spot: that of a scene which says nothing.
const BOARD: f64 = 0.5;

/// One value of a label, or what the estimate leaves out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Input {
    /// Areal mass.
    Mass,
    /// Diameter of the fibres.
    Diameter,
    /// Share of the area that is holes.
    Holes,
    /// Colour.
    Colour,
    /// Thickness.
    Thickness,
    /// The model: clear, smooth, round fibres, spread evenly.
    Model,
    /// Threads, which are bundles.
    Threads,
}

impl Input {
    /// The values that have a say in cloth of this structure with this openness.
    fn of(structure: Structure, openness: f64) -> Vec<Input> {
        let mut all = vec![Input::Mass, Input::Diameter];
        all.extend((openness > 0.0).then_some(Input::Holes));
        all.extend([Input::Colour, Input::Thickness, Input::Model]);
        all.extend((structure.lie() == Lie::Flat).then_some(Input::Threads));
        all
    }

    /// Name in plain words.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Input::Mass => "mass",
            Input::Diameter => "fibre diameter",
            Input::Holes => "holes",
            Input::Colour => "colour",
            Input::Thickness => "thickness",
            Input::Model => "fibre model",
            Input::Threads => "threads",
        }
    }

    /// How well it is known, in words.
    #[must_use]
    pub fn known_to(self) -> String {
        let share = |u: f64| format!("±{:.0} %", 100.0 * u);
        match self {
            Input::Mass => share(MASS),
            Input::Diameter => share(DIAMETER),
            Input::Holes => share(OPENNESS),
            Input::Colour => format!("±{COLOUR_STEPS} of 255"),
            Input::Thickness => share(THICKNESS),
            Input::Model => share(MODEL),
            Input::Threads => share(THREADS),
        }
    }

    /// On what that rests.
    #[must_use]
    pub fn basis(self) -> &'static str {
        match self {
            Input::Mass => "what pieces of one order differ by; common practice, no source",
            Input::Diameter => "fibres of one kind and name differ by that much; common practice, no source",
            Input::Holes => "a guess from pictures of such cloth; common practice, no source",
            Input::Colour => {
                "two screens, or two pictures of one cloth, differ by that much; common practice, no source"
            }
            Input::Thickness => "soft cloth is as thick as the gauge lets it be; common practice, no source",
            Input::Model => {
                "fibres are taken as clear, smooth, round and spread evenly; a judgement, no source"
            }
            Input::Threads => {
                "bundles of fibres let through more light than fibres spread out; a judgement, no source"
            }
        }
    }

    /// Whether a ruler, a kitchen scale or a phone can tell it.
    #[must_use]
    pub fn at_home(self) -> bool {
        matches!(self, Input::Mass | Input::Thickness | Input::Colour | Input::Holes)
    }

    /// Relative standard uncertainty of the optical thickness that comes from this value.
    fn of_optical_thickness(self) -> f64 {
        match self {
            Input::Mass => MASS,
            Input::Diameter => DIAMETER,
            Input::Model => MODEL,
            Input::Threads => THREADS,
            Input::Holes | Input::Colour | Input::Thickness => 0.0,
        }
    }
}

/// A number with its range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Range {
    fn of(a: f64, b: f64) -> Range {
        Range { low: a.min(b), high: a.max(b) }
    }
}

/// What one value does when it is moved by its uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Influence {
    /// Which value.
    pub input: Input,
    /// Share of light from all sides that is let through.
    pub light: Range,
    /// Full width at half maximum in mm of the spot; `None` where the spot has no such width.
    pub spot_mm: Option<Range>,
}

impl Influence {
    /// Factor between the least and the most light.
    #[must_use]
    pub fn light_factor(&self) -> f64 {
        // No light either way: nothing is moved.
        if self.light.low > 0.0 { self.light.high / self.light.low } else { 1.0 }
    }

    fn spot_change(&self) -> f64 {
        self.spot_mm.map_or(0.0, |range| range.high - range.low)
    }
}

/// All of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Influences {
    /// Share of light from all sides that is let through by the cloth as estimated.
    pub light: f64,
    /// Width of the spot behind it, in mm.
    pub spot_mm: Option<f64>,
    /// What each value does.
    pub each: Vec<Influence>,
    /// Light, all values together.
    pub light_together: Range,
    /// Spot, all values together.
    pub spot_together: Option<Range>,
}

impl Influences {
    /// Of the values that count, the one that moves the light most.
    #[must_use]
    pub fn most_for_light(&self, counts: impl Fn(Input) -> bool) -> Option<&Influence> {
        let those = self.each.iter().filter(|one| counts(one.input));
        those.max_by(|a, b| a.light_factor().total_cmp(&b.light_factor()))
    }

    /// Of the values that count, the one that moves the width of the spot most; none where the spot has no width.
    #[must_use]
    pub fn most_for_spot(&self, counts: impl Fn(Input) -> bool) -> Option<&Influence> {
        let those = self.each.iter().filter(|one| counts(one.input) && one.spot_mm.is_some());
        those.max_by(|a, b| a.spot_change().total_cmp(&b.spot_change()))
    }

    /// Range of the light if some values were known exactly.
    #[must_use]
    pub fn light_without(&self, known: impl Fn(Input) -> bool) -> Range {
        let rest: Vec<Influence> = self.each.iter().filter(|one| !known(one.input)).copied().collect();
        light_together(self.light, &rest)
    }
}

/// Moves every value of a label by its uncertainty, at one wavelength, for a source on the board under the gap.
#[must_use]
pub fn influences(
    label: &LabelInput,
    estimate: &Estimate,
    wavelength: Nanometres,
    gap: Millimetres,
    source: &Source,
) -> Influences {
    let optics = Optics {
        extinction: estimate.extinction,
        albedo: estimate.albedo.at(wavelength),
        asymmetry: estimate.asymmetry,
        openness: estimate.openness,
    };
    let layer = Layer { gap_below: gap, thickness: label.thickness, optics };
    let seen = |layer: &Layer| (totals(layer).through, spot_width(layer, source));
    let inputs = Input::of(label.structure, estimate.openness);
    let (light, spot_mm) = seen(&layer);
    let each: Vec<Influence> = inputs
        .into_par_iter()
        .map(|input| {
            let [(a, wide_a), (b, wide_b)] =
                [false, true].map(|up| seen(&moved(&layer, label, wavelength, input, up)));
            let spot_mm = wide_a.zip(wide_b).map(|(a, b)| Range::of(a, b));
            Influence { input, light: Range::of(a, b), spot_mm }
        })
        .collect();
    Influences {
        light,
        spot_mm,
        light_together: light_together(light, &each),
        spot_together: spot_mm.and_then(|spot| spot_together(spot, &each)),
        each,
    }
}

/// The layer with one value moved down or up by its uncertainty.
fn moved(layer: &Layer, label: &LabelInput, wavelength: Nanometres, input: Input, up: bool) -> Layer {
    let mut layer = *layer;
    let factor = |u: f64| if up { 1.0 + u } else { 1.0 / (1.0 + u) };
    match input {
        Input::Mass | Input::Diameter | Input::Model | Input::Threads => {
            layer.optics.extinction =
                PerMillimetre(layer.optics.extinction.0 * factor(input.of_optical_thickness()));
        }
        Input::Thickness => {
            layer.thickness = Millimetres(layer.thickness.0 * factor(THICKNESS));
            layer.optics.extinction = PerMillimetre(layer.optics.extinction.0 / factor(THICKNESS));
        }
        Input::Holes => {
            let open = (layer.optics.openness * factor(OPENNESS)).min(MOST_OPEN);
            let crowded = (1.0 - layer.optics.openness) / (1.0 - open);
            layer.optics.extinction = PerMillimetre(layer.optics.extinction.0 * crowded);
            layer.optics.openness = open;
        }
        Input::Colour => {
            let step =
                |c: u8| if up { c.saturating_add(COLOUR_STEPS) } else { c.saturating_sub(COLOUR_STEPS) };
            let reflectance = from_srgb(label.colour.map(step)).at(wavelength);
            layer.optics.albedo = Folded::new(layer.optics.asymmetry).albedo(reflectance);
        }
    }
    layer
}

fn spot_width(layer: &Layer, source: &Source) -> Option<f64> {
    /// Spots are looked for up to this many heights of the outer face.
    const REACH: f64 = 20.0;
    let stack = Stack { board_reflectance: BOARD, layers: vec![*layer] };
    let limit = REACH * (stack.height().0 + 1.0);
    spots(&[stack], source.beam_power).first()?.full_width(source.window, limit, 0.5)
}

fn light_together(light: f64, each: &[Influence]) -> Range {
    let squares = |end: fn(&Range) -> f64| {
        each.iter().map(|one| (end(&one.light).max(f64::MIN_POSITIVE) / light).ln().powi(2)).sum::<f64>()
    };
    if light <= 0.0 {
        return Range { low: 0.0, high: each.iter().map(|one| one.light.high).fold(0.0, f64::max) };
    }
    let (low, high) = (squares(|range| range.low).sqrt(), squares(|range| range.high).sqrt());
    Range { low: light * (-low).exp(), high: (light * high.exp()).min(1.0) }
}

fn spot_together(spot: f64, each: &[Influence]) -> Option<Range> {
    let ranges = each.iter().map(|one| one.spot_mm).collect::<Option<Vec<Range>>>()?;
    let root = |end: fn(&Range) -> f64| ranges.iter().map(|r| (end(r) - spot).powi(2)).sum::<f64>().sqrt();
    Some(Range { low: (spot - root(|r| r.low)).max(0.0), high: spot + root(|r| r.high) })
}

#[cfg(test)]
mod tests {
    use super::super::{BUNDLED, SPREAD_OUT};
    use super::*;

    /// The sums are stated in whole percent.
    const WHOLE_PERCENT: f64 = 0.005;

    #[test]
    fn the_parts_make_the_uncertainty_that_cloth_files_get() {
        for (structure, stated) in Structure::ALL.map(|s| match s.lie() {
            Lie::Flat => (s, BUNDLED),
            Lie::Random => (s, SPREAD_OUT),
        }) {
            let parts = Input::of(structure, 0.1);
            let sum: f64 = parts.iter().map(|input| input.of_optical_thickness().powi(2)).sum();
            assert!((sum.sqrt() - stated).abs() < WHOLE_PERCENT, "{structure:?}: {}", sum.sqrt());
        }
    }
}
