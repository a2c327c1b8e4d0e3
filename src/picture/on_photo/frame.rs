//! Which part of the cloth's plane a photograph needs, and how finely.

use super::UNSEEN;
use super::footprint::Glow;
use super::surface::Surface;
use crate::picture::exposure::resolve;
use crate::picture::luminance::luminance_in;
use crate::picture::plane::Frame;
use crate::scene::Scene;

/// Texels of a luminance picture at most: more would take half a gigabyte.
const MOST_TEXELS: f64 = 12e6;
/// Places along each side of the photograph at which the surface is looked at.
const LATTICE: u32 = 64;
/// Texels along the longer side of the rough picture that shows where the glow ends.
const ROUGH: f64 = 160.0;
/// So many heights of the stack, and so many mm, from the pixels the glow of any cloth has fallen below [`UNSEEN`] …
const REACH_HEIGHTS: f64 = 20.0;
/// … also where there is hardly a stack.
const REACH_MM: f64 = 50.0;
/// Rim around a pattern piece, as a share of its size.
const RIM: f64 = 0.03;
/// A count that misses a whole number by less is rounding.
const ROUNDING: f64 = 1e-6;

/// Lowest and highest place, x and y in mm.
#[derive(Clone, Copy, Debug)]
struct Extent {
    low: [f64; 2],
    high: [f64; 2],
}

impl Extent {
    fn grown(self, by: [f64; 2]) -> Extent {
        Extent {
            low: [self.low[0] - by[0], self.low[1] - by[1]],
            high: [self.high[0] + by[0], self.high[1] + by[1]],
        }
    }

    fn within(self, other: Extent) -> Option<Extent> {
        let low = [self.low[0].max(other.low[0]), self.low[1].max(other.low[1])];
        let high = [self.high[0].min(other.high[0]), self.high[1].min(other.high[1])];
        (low[0] < high[0] && low[1] < high[1]).then_some(Extent { low, high })
    }

    fn around(places: impl Iterator<Item = [f64; 2]>) -> Option<Extent> {
        places.fold(None, |extent, p| {
            let Extent { low, high } = extent.unwrap_or(Extent { low: p, high: p });
            Some(Extent {
                low: [low[0].min(p[0]), low[1].min(p[1])],
                high: [high[0].max(p[0]), high[1].max(p[1])],
            })
        })
    }

    fn contains(&self, p: [f64; 2]) -> bool {
        (0..2).all(|i| (self.low[i]..=self.high[i]).contains(&p[i]))
    }

    fn size(&self) -> [f64; 2] {
        [self.high[0] - self.low[0], self.high[1] - self.low[1]]
    }
}

/// The frame for a photograph of a size: what the glow reaches and the photograph shows, in texels no larger than the finest
/// image pixel's piece of cloth. Texels count from the corner of the marked area. `None` where nothing is seen.
pub(super) fn chosen(dark: &Scene, surface: &Surface, size_px: [u32; 2]) -> Option<Frame> {
    let area = surface.area();
    let marked = Extent {
        low: [0, 1].map(|i| area.centre_mm[i] - 0.5 * area.size_mm[i]),
        high: [0, 1].map(|i| area.centre_mm[i] + 0.5 * area.size_mm[i]),
    };
    let lattice: Vec<_> = lattice(size_px).filter_map(|px| surface.on_garment(px)).collect();
    let visible = Extent::around(lattice.iter().map(|(mm, _)| *mm))?;
    let reach = match &dark.piece {
        Some(piece) => {
            let (low, high) = piece.outline.extent();
            let piece = Extent { low: low.map(|v| v.0), high: high.map(|v| v.0) };
            // A rim outside the piece, so that its edge is not the frame's.
            piece.grown(piece.size().map(|side| RIM * side))
        }
        None => {
            let (low, high) = dark.extent();
            let far = REACH_HEIGHTS * dark.thickness().0 + REACH_MM;
            let reach = Extent { low: low.map(|v| v.0), high: high.map(|v| v.0) }.grown([far; 2]);
            let rough = reach.within(visible)?;
            lit(dark, rough).unwrap_or(rough)
        }
    };
    let reach = match surface.beyond_mm() {
        Some(beyond) => reach.within(marked.grown(beyond))?,
        None => reach,
    };
    let wanted = reach.within(visible)?;
    let centre = surface.in_photo(area.centre_mm).and_then(|px| surface.on_garment(px));
    let finest = lattice
        .iter()
        .filter(|(mm, _)| wanted.contains(*mm))
        .chain(&centre)
        .map(|(_, scale)| scale.column(0).norm().min(scale.column(1).norm()))
        .fold(f64::INFINITY, f64::min);
    let [across, upright] = wanted.size();
    let finest = finest.max((across * upright / MOST_TEXELS).sqrt());
    let mm_per_px = area.size_mm[0] / (area.size_mm[0] / finest - ROUNDING).ceil().max(1.0);
    let texels = |from: f64, to: f64| {
        let first = (from / mm_per_px + ROUNDING).floor();
        let last = (to / mm_per_px - ROUNDING).ceil().max(first + 1.0);
        (first, (last - first) as u32)
    };
    let (left, width_px) = texels(wanted.low[0] - marked.low[0], wanted.high[0] - marked.low[0]);
    let (top, height_px) = texels(marked.high[1] - wanted.high[1], marked.high[1] - wanted.low[1]);
    Some(Frame {
        first_x_mm: marked.low[0] + (left + 0.5) * mm_per_px,
        first_y_mm: marked.high[1] - (top + 0.5) * mm_per_px,
        mm_per_px,
        width_px,
        height_px,
    })
}

/// Places of a photograph in even steps, its edge included.
fn lattice([width, height]: [u32; 2]) -> impl Iterator<Item = [f64; 2]> {
    let along = |i: u32, side: u32| f64::from(i) / f64::from(LATTICE) * f64::from(side) - 0.5;
    (0..=LATTICE).flat_map(move |row| (0..=LATTICE).map(move |c| [along(c, width), along(row, height)]))
}

/// The part of an extent in which the glow is above [`UNSEEN`] of full scale, by a rough picture; `None` in the dark.
fn lit(dark: &Scene, extent: Extent) -> Option<Extent> {
    let [across, upright] = extent.size();
    let mm_per_px = across.max(upright) / ROUGH;
    let count = |side: f64| (side / mm_per_px).ceil().max(1.0) as u32;
    let middle = [0, 1].map(|i| 0.5 * (extent.low[i] + extent.high[i]));
    let frame = Frame::centred(middle[0], middle[1], mm_per_px, count(across), count(upright));
    let rough = luminance_in(dark, frame);
    let least = UNSEEN * resolve(dark.view.exposure, [rough.image.planes[1].as_slice()]).full_scale().0;
    let bright = (0..frame.height_px)
        .flat_map(|row| (0..frame.width_px).map(move |column| (column, row)))
        .filter(|(column, row)| f64::from(rough.image.at(*column, *row)[1]) > least)
        .map(|(column, row)| frame.centre_of(column, row));
    Extent::around(bright).map(|lit| lit.grown([1.5 * mm_per_px; 2]))
}

/// The brightest texel along the edge of a glow that lies inside the photograph: where the glow is cut off.
pub(super) fn brightest_cut(glow: &Glow, surface: &Surface, size_px: [u32; 2]) -> f64 {
    let (frame, image) = (glow.frame(), glow.image());
    let (right, bottom) = (frame.width_px - 1, frame.height_px - 1);
    let rows = (0..frame.width_px).flat_map(|c| [(c, 0), (c, bottom)]);
    let columns = (0..frame.height_px).flat_map(|r| [(0, r), (right, r)]);
    rows.chain(columns)
        .filter(|(column, row)| {
            // Outside by more than an image pixel: the edge is not seen.
            let inside = |v: f64, side: u32| (0.5..=f64::from(side) - 1.5).contains(&v);
            let seen = surface.in_photo(frame.centre_of(*column, *row));
            seen.is_some_and(|[x, y]| inside(x, size_px[0]) && inside(y, size_px[1]))
        })
        .map(|(column, row)| f64::from(image.at(column, row)[1]))
        .fold(0.0, f64::max)
}
