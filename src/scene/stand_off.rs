//! How far the first cloth stands off each pixel, where it is not the same everywhere.
//!
//! # Model
//! Over the pixel at the place (x, y) the gap is
//!
//! ```text
//! gap = own + rise(x, y),   own: `gap_mm` of the pixel's group, else of the first layer of the stack
//! dome:   rise = R (1 - r^2 / a^2) inside the radius a around the centre, else 0         (a paraboloid)
//! quilt:  rise = R |sin(pi u / c) sin(pi v / c)|,  u, v from the origin                   (0 on every seam, R amid each cell)
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | R | rise of the middle over the rest; negative: a hollow | mm |
//! | a, r | radius of the dome, distance from its centre | mm |
//! | c | side of a quilt's cells | mm |
//!
//! # Assumptions and validity
//! Near each pixel the cloth is taken as level, at the height that it has over that pixel, and whatever lies on it follows it. A spot
//! is about as wide as its gap, and a slope s lifts one of its flanks and lowers the other: the luminance of the plainest spot,
//! `L = h^2 / (pi (h^2 + r^2)^2)`, changes there (r = 0.64 h, where it is half its height) by a share of `0.53 s`. Above [`STEEP`] the
//! file is warned about. The crease at the rim of a dome or at a seam is not seen by this measure: what is on its other side counts
//! as going on level too.
//!
//! # Source
//! Geometry; how quilting really stands off is for the maker to measure.

use super::shape::{GAP_MM, MOST_LAYERS, PLACED};
use super::{Pixel, PlacedCloth, Scene};
use crate::diagnose::{Problem, Problems};
use crate::quantity::Millimetres;
use crate::reading::Entry;
use std::f64::consts::PI;

/// Slope above which the level spot errs by more than a sixth on its flanks (0.53 times 0.3 is 16 %). Higher, and pictures that
/// are visibly wrong pass without a word; lower, and every quilt is warned about.
pub const STEEP: f64 = 0.3;

/// How the gap below the first cloth changes over the garment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Relief {
    /// Not at all.
    Level,
    /// A paraboloid around a centre.
    Dome {
        /// Rise in the middle.
        rise: Millimetres,
        /// Middle.
        centre: [Millimetres; 2],
        /// From here on outwards there is no rise; above 0.
        radius: Millimetres,
    },
    /// Squares stitched down at their sides.
    Quilt {
        /// Rise amid each square.
        rise: Millimetres,
        /// Side of a square; above 0.
        cell: Millimetres,
        /// A corner of a square.
        origin: [Millimetres; 2],
    },
}

impl Relief {
    /// Reads `dome` or `quilt` of a layer. `None` when something in it is faulty (it has been reported then).
    pub(super) fn read(layer: &Entry<'_>) -> Option<Relief> {
        let place = |entry: &Entry<'_>, key| entry.pair(key).map(|at| at.map(Millimetres));
        if layer.has("dome") {
            let dome = layer.map("dome")?;
            return Some(Relief::Dome {
                rise: Millimetres(dome.number("rise_mm")?),
                centre: place(&dome, "centre_mm")?,
                radius: Millimetres(dome.number("radius_mm")?),
            });
        }
        if layer.has("quilt") {
            let quilt = layer.map("quilt")?;
            return Some(Relief::Quilt {
                rise: Millimetres(quilt.number("rise_mm")?),
                cell: Millimetres(quilt.number("cell_mm")?),
                origin: place(&quilt, "origin_mm")?,
            });
        }
        Some(Relief::Level)
    }

    /// How much farther off the cloth stands at a place than where there is no rise.
    #[must_use]
    pub fn rise(&self, at: [Millimetres; 2]) -> Millimetres {
        match *self {
            Relief::Level => Millimetres(0.0),
            Relief::Dome { rise, centre, radius } => {
                let share = (at[0] - centre[0]).0.hypot((at[1] - centre[1]).0) / radius.0;
                Millimetres(rise.0 * (1.0 - share * share).max(0.0))
            }
            Relief::Quilt { rise, cell, origin } => {
                let [u, v] = [0, 1].map(|i| PI * (at[i] - origin[i]).0 / cell.0);
                Millimetres(rise.0 * (u.sin() * v.sin()).abs())
            }
        }
    }

    /// Steepness of the cloth at a place: change of height over distance.
    #[must_use]
    pub fn slope(&self, at: [Millimetres; 2]) -> f64 {
        match *self {
            Relief::Level => 0.0,
            Relief::Dome { rise, centre, radius } => {
                let far = (at[0] - centre[0]).0.hypot((at[1] - centre[1]).0);
                if far > radius.0 { 0.0 } else { 2.0 * rise.0.abs() * far / (radius.0 * radius.0) }
            }
            Relief::Quilt { rise, cell, origin } => {
                let [(su, cu), (sv, cv)] = [0, 1].map(|i| (PI * (at[i] - origin[i]).0 / cell.0).sin_cos());
                rise.0.abs() * PI / cell.0 * (cu * sv).hypot(su * cv)
            }
        }
    }
}

impl Scene {
    /// Air between a pixel and the first cloth. A pixel that would come through the cloth touches it.
    #[must_use]
    pub fn gap_over(&self, pixel: &Pixel) -> Millimetres {
        gap_over(pixel, &self.stack)
    }

    /// The least and the greatest gap between a pixel and the first cloth, in mm; twice the gap of the stack without pixels.
    #[must_use]
    pub fn gap_range_mm(&self) -> [f64; 2] {
        gap_range_mm(&self.pixels, &self.stack)
    }

    /// The least and the greatest gap in mm where the cloth does not stand equally far off all pixels.
    #[must_use]
    pub fn uneven_mm(&self) -> Option<[f64; 2]> {
        let [low, high] = self.gap_range_mm();
        (!self.stack.is_empty() && high - low > SAME_MM).then_some([low, high])
    }

    /// What to know of gaps where the cloth does not stand equally far off all pixels, in one sentence or two.
    #[must_use]
    pub fn uneven_in_words(&self) -> Option<String> {
        let [low, high] = self.uneven_mm()?;
        let first = self.stack.first()?.gap_below.0;
        let [low, high, first] = [low, high, first].map(|mm| (100.0 * mm).round() / 100.0);
        Some(format!(
            "The stand-off is uneven: {low} to {high} mm over the pixels of the scene as it is. A gap named here is that of the lowest \
             group, without dome or quilt ({first} mm in the scene); another gap moves the cloth off all pixels by the same."
        ))
    }
}

impl Pixel {
    /// Air between the pixel and the first cloth, given the gap of the first layer; a pixel never comes through the cloth.
    #[must_use]
    pub fn gap_from(&self, first: Millimetres) -> Millimetres {
        Millimetres((first.0 + self.extra_gap.0).max(0.0))
    }
}

fn gap_over(pixel: &Pixel, stack: &[PlacedCloth]) -> Millimetres {
    pixel.gap_from(stack.first().map_or(Millimetres(0.0), |placed| placed.gap_below))
}

fn gap_range_mm(pixels: &[Pixel], stack: &[PlacedCloth]) -> [f64; 2] {
    if pixels.is_empty() {
        return [stack.first().map_or(0.0, |placed| placed.gap_below.0); 2];
    }
    let gaps = pixels.iter().map(|pixel| gap_over(pixel, stack).0);
    gaps.fold([f64::INFINITY, 0.0], |[low, high], gap| [low.min(gap), high.max(gap)])
}

/// From the board to the outer face, where the cloth stands farthest off a pixel.
pub(super) fn thickness(pixels: &[Pixel], stack: &[PlacedCloth]) -> Millimetres {
    let [_, highest] = gap_range_mm(pixels, stack);
    let gap = |i: usize, placed: &PlacedCloth| if i == 0 { highest } else { placed.gap_below.0 };
    Millimetres(stack.iter().enumerate().map(|(i, placed)| gap(i, placed) + placed.cloth.thickness.0).sum())
}

/// Gaps that differ by less, in mm, are the same: a thousandth of a hair, and far more than rounding.
pub(crate) const SAME_MM: f64 = 1e-4;

/// Reports `dome` and `quilt` of other layers than the first, whose relief they would be.
pub(super) fn check_layers(scene: &Entry<'_>, problems: &mut Problems) {
    for node in scene.items("stack").iter().take(MOST_LAYERS).skip(1) {
        let layer = Entry::new(&PLACED, node);
        for key in ["dome", "quilt"].into_iter().filter(|key| layer.has(key)) {
            problems.push(
                Problem::error(layer.place_of(key), format!("`{key}` is for the first layer of the stack"))
                    .next("Give it to the first layer: those above follow it."),
            );
        }
    }
}

/// Gives every pixel its gap, and reports gaps out of range and steep places, once a group.
///
/// `own_gaps`: `gap_mm` of each group that has one. The first layer gets the least gap of all groups, so that the gap of the stack is
/// one that the scene has.
pub(super) fn settle(
    pixels: &mut [Pixel],
    own_gaps: &[Option<f64>],
    stack: &mut [PlacedCloth],
    relief: &Relief,
    scene: &Entry<'_>,
    problems: &mut Problems,
) {
    let groups = scene.items("pixels");
    let start = |i: usize| groups[i].place.start();
    let Some(first) = stack.first_mut() else {
        for (i, _) in own_gaps.iter().enumerate().filter(|(_, gap)| gap.is_some()) {
            problems.push(
                Problem::warning(&start(i), "`gap_mm` of this group does nothing: there is no cloth")
                    .next("Leave it out, or put a cloth into `stack`."),
            );
        }
        return;
    };
    let of_stack = first.gap_below.0;
    let of_group = |group: usize| own_gaps.get(group).copied().flatten().unwrap_or(of_stack);
    let least = (0..own_gaps.len()).map(of_group).min_by(f64::total_cmp).unwrap_or(of_stack);
    first.gap_below = Millimetres(least);
    let mut worst_gap: Vec<Option<(f64, usize)>> = vec![None; groups.len()];
    let mut steepest: Vec<Option<(f64, usize)>> = vec![None; groups.len()];
    for (i, pixel) in pixels.iter_mut().enumerate() {
        pixel.extra_gap = Millimetres(of_group(pixel.group) - least + relief.rise(pixel.at).0);
        let gap = least + pixel.extra_gap.0;
        let far_out = |gap: f64| (GAP_MM.least - gap).max(gap - GAP_MM.most);
        let outside = far_out(gap);
        // A hollow that just touches may miss 0 by rounding.
        if outside > SAME_MM && worst_gap[pixel.group].is_none_or(|(known, _)| outside > far_out(known)) {
            worst_gap[pixel.group] = Some((gap, i));
        }
        let slope = relief.slope(pixel.at);
        if slope > STEEP && steepest[pixel.group].is_none_or(|(known, _)| slope > known) {
            steepest[pixel.group] = Some((slope, i));
        }
    }
    let place = |i: usize| format!("pixel {i}, [{:.0}, {:.0}]", pixels[i].at[0].0, pixels[i].at[1].0);
    for (group, found) in worst_gap.iter().enumerate() {
        let Some((gap, i)) = *found else { continue };
        let what = if gap < 0.0 {
            "the cloth would lie below pixels of this group"
        } else {
            "the cloth stands too far off pixels of this group"
        };
        problems.push(
            Problem::error(&start(group), what)
                .found(format!("{gap:.2} mm over {}", place(i)))
                .allowed(GAP_MM.in_words())
                .next("Change `gap_mm`, or `rise_mm` of the first layer's `dome` or `quilt`."),
        );
    }
    for (group, found) in steepest.iter().enumerate() {
        let Some((slope, i)) = *found else { continue };
        problems.push(
            Problem::warning(&start(group), "the cloth is steep over pixels of this group")
                .found(format!("a slope of {slope:.2} over {}", place(i)))
                .allowed(format!(
                    "up to {STEEP}: each spot is computed as if the cloth were level over its pixel, and errs by more than a sixth on its flanks where it is steeper"
                ))
                .next("Take the picture there as a sketch, or make the rise smaller or wider."),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a few operations.
    const ROUNDING: f64 = 1e-12;

    fn at(x: f64, y: f64) -> [Millimetres; 2] {
        [Millimetres(x), Millimetres(y)]
    }

    #[test]
    fn heights_in_closed_form() {
        let dome = Relief::Dome { rise: Millimetres(6.0), centre: at(10.0, -5.0), radius: Millimetres(40.0) };
        let quilt = Relief::Quilt { rise: Millimetres(6.0), cell: Millimetres(50.0), origin: at(10.0, 20.0) };
        // Half way out a paraboloid has three quarters of its height; a third of the way across a cell sin^2 60 degrees.
        for (relief, place, height) in [
            (dome, at(10.0, -5.0), 6.0),
            (dome, at(30.0, -5.0), 4.5),
            (dome, at(34.0, 27.0), 0.0),
            (dome, at(500.0, 0.0), 0.0),
            (quilt, at(10.0, 20.0), 0.0),
            (quilt, at(37.0, 20.0), 0.0),
            (quilt, at(35.0, 45.0), 6.0),
            (quilt, at(35.0 - 150.0, 45.0 + 50.0), 6.0),
            (quilt, at(10.0 + 50.0 / 3.0, 20.0 + 50.0 / 3.0), 4.5),
            (Relief::Level, at(3.0, 4.0), 0.0),
        ] {
            let found = relief.rise(place).0;
            assert!((found - height).abs() < ROUNDING, "{relief:?} {place:?}: {found}");
        }
    }

    #[test]
    fn slopes_are_those_of_the_heights() {
        /// Second differences over the step: the relief bends by less than 0.03 a mm.
        const ERROR: f64 = 1e-4;
        const STEP: f64 = 1e-3;
        let reliefs = [
            Relief::Dome { rise: Millimetres(-4.0), centre: at(1.0, 2.0), radius: Millimetres(30.0) },
            Relief::Quilt { rise: Millimetres(7.0), cell: Millimetres(45.0), origin: at(-3.0, 4.0) },
        ];
        for relief in reliefs {
            for [x, y] in [[4.3, 7.7], [12.0, -9.0], [60.0, 41.0]] {
                let [dx, dy] = [at(x + STEP, y), at(x, y + STEP)]
                    .map(|moved| (relief.rise(moved) - relief.rise(at(x, y))).0 / STEP);
                assert!((relief.slope(at(x, y)) - dx.hypot(dy)).abs() < ERROR, "{relief:?} at {x}, {y}");
            }
        }
    }

    #[test]
    fn the_plainest_spot_changes_by_about_half_the_slope_on_its_flanks() {
        /// Of the share 0.53 that stands above.
        const ERROR: f64 = 0.01;
        let spot = |h: f64, r: f64| h * h / (PI * (h * h + r * r).powi(2));
        let half = (2f64.sqrt() - 1.0).sqrt();
        let slope = 1e-4;
        let share = (spot(1.0 + slope * half, half) / spot(1.0, half) - 1.0).abs() / slope;
        assert!((share - 0.53).abs() < ERROR, "{share}");
    }
}
