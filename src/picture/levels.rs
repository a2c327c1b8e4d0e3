//! The grids of [`super::plane`]: planning each, adding its picture, and handing the far part on to the next.
//!
//! All that depends on places and spots alone is planned once ([`Plan`]); what a picture costs then, however many are made with
//! other amounts, is its transforms.

use super::fft2::{Fft2, smooth_size};
use super::gridding::{Lattice, WIDTH, interpolate_onto};
use super::memory::{Memory, of_interpolating, of_planes};
use super::plane::{Accuracy, Frame, PlaneReport, SpotChannel, SpotPoint, zeros};
use super::radial::{Crossover, Samples, gaussian};
use super::slanted::Slanted;
use super::transform::Transform;
use crate::light::spread::SpotSpectrum;
use rayon::prelude::*;
use std::f64::consts::PI;

/// Below this ratio of grid step to image pixel the image's own pixels are the cheaper grid.
const WORTH_INTERPOLATING: f64 = 1.25;
/// A grid of half an image pixel is used for sharp spots up to this many image pixels: beyond, it would not fit in a
/// few hundred megabytes.
const REFINED_PIXELS: usize = 2_500_000;
/// Padding of the finest grid as a share of the picture's larger side: less makes the next grid dear, more this one.
const FIRST_PAD: f64 = 0.04;
/// Each far grid pads this many times as far as the grid before it.
const PAD_GROWTH: f64 = 6.0;
/// The least padding is so many times the distance at which the near part could die off at all on the grid.
const LEAST_PAD: f64 = 1.2;
/// Once the padding is this share of the extent of everything, the next grid is the last.
const NEARLY_ALL: f64 = 0.5;
/// Padding of the last grid over the extent of everything: a spot's tail `h^2 / (pi r^4)` summed over an evenly lit square
/// of side W and its periodic copies then stays below 1.3e-4 (h/W)^2 of the mean.
const LAST_PAD_EXTENTS: f64 = 10.0;
/// Padding of the last grid over the spots' own scale h, for pictures smaller than a spot: `(h/r)^4` is then 2e-5 of the peak.
const LAST_PAD_SCALES: f64 = 15.0;
/// Honest spots need no more than four grids; a spectrum with faults (a scale without bounds) must not go on for ever.
const MOST_GRIDS: usize = 6;
/// A last grid of so few nodes is not worth splitting.
const SMALL_GRID: usize = 131_072;

/// One channel, cleaned.
pub(super) struct Channel<'a> {
    /// The points that can be used, and the place of each in the list that was given.
    pub(super) points: Vec<(usize, SpotPoint)>,
    pub(super) source: &'a SpotChannel<'a>,
    /// The spots themselves where they are seen from the side; the source then holds their envelopes.
    pub(super) slanted: Option<&'a Slanted<'a>>,
}

impl Channel<'_> {
    /// Whether another channel's points are the same ones in the same places, whatever they send.
    pub(super) fn has_places_of(&self, other: &Channel<'_>) -> bool {
        let place = |(index, p): &(usize, SpotPoint)| (*index, p.x_mm, p.y_mm);
        self.points.len() == other.points.len()
            && self.points.iter().zip(&other.points).all(|(a, b)| place(a) == place(b))
    }
}

/// What stays the same over all grids.
pub(super) struct Job<'a> {
    pub(super) channels: Vec<Channel<'a>>,
    pub(super) accuracy: Accuracy,
    pub(super) crossover: &'static Crossover,
    pub(super) aperture_mm: f64,
    /// Frequency beyond which no spot, softened, has anything that matters, in 1/mm.
    pub(super) band: f64,
    pub(super) scale_mm: f64,
}

/// A sum of spots, planned: places, spots and frame are settled, amounts are still open.
pub(super) struct Plan {
    /// The components that each channel reaches.
    on: Vec<[bool; 3]>,
    finest: Option<Box<PlannedGrid>>,
    /// How the sum is made.
    pub(super) report: PlaneReport,
}

/// A grid of a plan with those below it.
struct PlannedGrid {
    transform: Transform,
    target: Lattice,
    interpolated: bool,
    next: Option<Box<PlannedGrid>>,
}

impl Plan {
    /// Plans the sum of spots for a frame. Points whose place or amount is not finite, or whose amount is zero, are left out for
    /// good; the amounts serve for nothing else. Where there are spots seen from the side, they stand for the channels of the same
    /// numbers.
    pub(super) fn new(
        frame: &Frame,
        channels: &[SpotChannel<'_>],
        slanted: &[Slanted<'_>],
        accuracy: Accuracy,
    ) -> Plan {
        let mut plan = Plan {
            on: channels.iter().map(|c| c.kernels.map(|kernel| kernel.is_some())).collect(),
            finest: None,
            report: PlaneReport {
                nodes: [0; 2],
                step_mm: 0.0,
                interpolated: false,
                aperture_mm: None,
                grids: 0,
            },
        };
        if !frame.is_empty() && frame.mm_per_px > 0.0 && frame.mm_per_px.is_finite() {
            plan.finest = planned(frame, channels, slanted, accuracy, &mut plan.report).map(Box::new);
        }
        plan
    }

    /// What the plan and its pictures take.
    pub(super) fn memory(&self) -> Memory {
        self.finest.as_ref().map_or_else(Memory::default, |finest| finest.memory())
    }

    /// Adds the sum of spots to planes of the frame's size: for each channel the amounts of its points, in the order in which
    /// they were given. Amounts that are not finite count as none, and so do missing ones.
    pub(super) fn add(&self, planes: &mut [Vec<f32>; 3], amounts: &[Vec<f32>]) {
        let lit = |channel: usize| {
            amounts.get(channel).is_some_and(|amounts| amounts.iter().any(|a| a.is_finite() && *a != 0.0))
        };
        let lit: Vec<bool> = (0..self.on.len()).map(lit).collect();
        let active = std::array::from_fn(|c| self.on.iter().zip(&lit).any(|(on, lit)| *lit && on[c]));
        if let Some(finest) = &self.finest {
            finest.add(planes, amounts, &active);
        }
    }
}

impl PlannedGrid {
    /// What this grid and all coarser ones take.
    fn memory(&self) -> Memory {
        let next = self.next.as_ref().map_or_else(Memory::default, |next| next.memory());
        let mut all = self.transform.memory().and_then(next);
        if self.interpolated {
            let Lattice { columns, rows, .. } = self.transform.grid.wanted;
            let reading = of_interpolating(rows, self.target.columns);
            all.working = of_planes(columns * rows) + all.working.max(reading);
        }
        all
    }

    /// Adds this grid's part, and through it the parts of all coarser grids, to the target's planes.
    fn add(&self, planes: &mut [Vec<f32>; 3], amounts: &[Vec<f32>], active: &[bool; 3]) {
        if !self.interpolated {
            self.transform.add(planes, amounts, active);
            if let Some(next) = &self.next {
                next.add(planes, amounts, active);
            }
            return;
        }
        let wanted = &self.transform.grid.wanted;
        let n = wanted.columns * wanted.rows;
        let mut coarse = active.map(|on| zeros(if on { n } else { 0 }));
        self.transform.add(&mut coarse, amounts, active);
        if let Some(next) = &self.next {
            next.add(&mut coarse, amounts, active);
        }
        for (plane, values) in planes.iter_mut().zip(&coarse).filter(|(_, v)| !v.is_empty()) {
            interpolate_onto(plane, &self.target, values, wanted);
        }
    }
}

/// The grids for a frame that has pixels; `None` when there is nothing to draw.
fn planned(
    frame: &Frame,
    channels: &[SpotChannel<'_>],
    slanted: &[Slanted<'_>],
    accuracy: Accuracy,
    report: &mut PlaneReport,
) -> Option<PlannedGrid> {
    let usable = |(_, p): &(usize, SpotPoint)| {
        p.x_mm.is_finite() && p.y_mm.is_finite() && p.amount.is_finite() && p.amount != 0.0
    };
    let channels: Vec<Channel<'_>> = channels
        .iter()
        .enumerate()
        .map(|(i, source)| {
            let points = source.points.iter().copied().enumerate().filter(usable).collect();
            Channel { points, source, slanted: slanted.get(i) }
        })
        .collect();
    let mut spots: Vec<&SpotSpectrum> = Vec::new();
    let lit = channels.iter().filter(|c| !c.points.is_empty());
    for spot in lit.flat_map(|c| c.source.kernels.iter().flatten().copied()) {
        if !spots.iter().any(|known| std::ptr::eq(*known, spot)) {
            spots.push(spot);
        }
    }
    let samples: Vec<Samples> = spots.par_iter().filter_map(|s| Samples::of(s)).collect();
    if samples.is_empty() {
        return None;
    }
    let scale_mm = samples.iter().map(Samples::wide_scale).fold(0.0, f64::max);
    let target = Lattice {
        x0_mm: frame.first_x_mm,
        y0_mm: frame.first_y_mm,
        step_mm: frame.mm_per_px,
        columns: frame.width_px as usize,
        rows: frame.height_px as usize,
    };
    // Refine the grid, else soften the spots.
    let nyquist = PI / frame.mm_per_px;
    let finest = if frame.len() <= REFINED_PIXELS { 2.0 * nyquist } else { nyquist };
    let widest = |f: &(dyn Fn(&Samples) -> f64 + Sync)| samples.par_iter().map(f).reduce(|| 0.0, f64::max);
    let reach = widest(&|s| s.band(accuracy.softening_share(), |_| 1.0));
    let stride = if reach > nyquist && finest > nyquist { 2 } else { 1 };
    let mut aperture_mm = 0.0;
    if reach > finest {
        aperture_mm = widest(&|s| s.aperture(accuracy.softened_share(), finest));
        report.aperture_mm = Some(aperture_mm);
    }
    let band = widest(&|s| s.band(accuracy.share(), |k| gaussian(k, aperture_mm)));
    let crossover = Crossover::of(accuracy);
    let job = Job { channels, accuracy, crossover, aperture_mm, band, scale_mm };
    Some(job.plan_grid(&target, &Pass { post: &[], low_pass: None, pad_mm: 0.0, stride }, report))
}

/// What a grid takes over from the one before it.
struct Pass<'a> {
    /// Steps of the grids between which and the image the values will be interpolated.
    post: &'a [f64],
    /// The crossover frequency below which this grid takes over, in 1/mm.
    low_pass: Option<f64>,
    /// The padding aimed at, in mm.
    pad_mm: f64,
    /// Nodes per step of the target, where the target's nodes are used.
    stride: usize,
}

/// One grid, planned.
pub(super) struct Grid {
    pub(super) fft: Fft2,
    /// The transforms back: of a grid of which only every `stride`-th node is wanted, the spectrum is folded to that many fewer nodes.
    pub(super) back: Fft2,
    /// The nodes whose values are wanted. The first is node 0 of the grid.
    pub(super) wanted: Lattice,
    /// Nodes of the grid from one wanted node to the next.
    pub(super) stride: usize,
    pub(super) step_mm: f64,
    /// Frequency beyond which nothing is left, in 1/mm.
    pub(super) band: f64,
    /// Steps of the grids between which and the image the values will be interpolated.
    pub(super) post: Vec<f64>,
    pub(super) low_pass: Option<f64>,
    pub(super) high_pass: Option<f64>,
    /// Points farther than this from the wanted nodes do not matter, in mm.
    pub(super) pad_mm: f64,
}

impl Job<'_> {
    /// Frequency beyond which nothing of what a crossover lets pass matters.
    fn band(&self, low_pass: Option<f64>) -> f64 {
        low_pass.map_or(self.band, |kc| self.band.min(kc * self.accuracy.crossover_end()))
    }

    fn all_points(&self) -> impl Iterator<Item = &SpotPoint> {
        self.channels.iter().flat_map(|c| &c.points).map(|(_, point)| point)
    }

    /// Plans one grid, and through it all coarser grids, for the nodes of a target.
    fn plan_grid(&self, target: &Lattice, pass: &Pass<'_>, report: &mut PlaneReport) -> PlannedGrid {
        let band = self.band(pass.low_pass);
        let interpolated = PI / band >= WORTH_INTERPOLATING * target.step_mm;
        let (step_mm, wanted, stride) = if interpolated {
            (PI / band, target.cover(PI / band), 1)
        } else {
            (target.step_mm / pass.stride as f64, *target, pass.stride)
        };
        let post: Vec<f64> = pass.post.iter().copied().chain(interpolated.then_some(step_mm)).collect();

        let least = LEAST_PAD * self.accuracy.pad_times_crossover() * step_mm;
        let sides = [wanted.columns, wanted.rows].map(|n| n as f64 * wanted.step_mm);
        let first = if pass.low_pass.is_none() { FIRST_PAD * sides[0].max(sides[1]) } else { pass.pad_mm };
        let mut pad_mm = first.max(least);
        let extent = self.extent(&wanted);
        let last_pad = (LAST_PAD_EXTENTS * extent).max(LAST_PAD_SCALES * self.scale_mm);
        let mut nodes = self.nodes(&wanted, step_mm, stride, pad_mm);
        let all_nodes = self.nodes(&wanted, step_mm, stride, last_pad);
        let last = report.grids + 1 >= MOST_GRIDS
            || pad_mm >= last_pad
            || all_nodes[0] * all_nodes[1] <= SMALL_GRID.max(nodes[0] * nodes[1]);
        if last && report.grids + 1 < MOST_GRIDS {
            (pad_mm, nodes) = (last_pad, all_nodes);
        }
        let crossover = (!last).then(|| self.accuracy.pad_times_crossover() / pad_mm);
        if report.grids == 0 {
            *report = PlaneReport { nodes, step_mm, interpolated, aperture_mm: report.aperture_mm, grids: 0 };
        }
        report.grids += 1;

        let grid = Grid {
            fft: Fft2::new(nodes[0], nodes[1]),
            back: Fft2::new(nodes[0] / stride, nodes[1] / stride),
            wanted,
            stride,
            step_mm,
            band: band.min(PI / step_mm),
            post: post.clone(),
            low_pass: pass.low_pass,
            high_pass: crossover,
            pad_mm,
        };
        let next_pad = if pad_mm >= NEARLY_ALL * extent { last_pad } else { PAD_GROWTH * pad_mm };
        let next = Pass { post: &post, low_pass: crossover, pad_mm: next_pad, stride: 1 };
        let below = if interpolated { &wanted } else { target };
        let next = (!last).then(|| Box::new(self.plan_grid(below, &next, report)));
        PlannedGrid { transform: self.transform(grid), target: *target, interpolated, next }
    }

    /// The larger side of the box around the wanted nodes and all points, in mm.
    fn extent(&self, wanted: &Lattice) -> f64 {
        let right = wanted.x0_mm + wanted.columns as f64 * wanted.step_mm;
        let bottom = wanted.y0_mm - wanted.rows as f64 * wanted.step_mm;
        let start = [wanted.x0_mm, right, bottom, wanted.y0_mm];
        let [x0, x1, y0, y1] = self.all_points().fold(start, |[x0, x1, y0, y1], p| {
            [x0.min(p.x_mm), x1.max(p.x_mm), y0.min(p.y_mm), y1.max(p.y_mm)]
        });
        (x1 - x0).max(y1 - y0)
    }

    /// Nodes in x and y, multiples of the stride, so that no periodic copy of a point that matters comes nearer than `pad_mm`.
    fn nodes(&self, wanted: &Lattice, step_mm: f64, stride: usize, pad_mm: f64) -> [usize; 2] {
        let width = wanted.columns.saturating_sub(1) as f64 * wanted.step_mm;
        let height = wanted.rows.saturating_sub(1) as f64 * wanted.step_mm;
        let mut period = [width, height];
        for place in self.all_points().map(|p| [p.x_mm - wanted.x0_mm, wanted.y0_mm - p.y_mm]) {
            if matters(place, [width, height], pad_mm) {
                for (axis, side) in [width, height].into_iter().enumerate() {
                    period[axis] = period[axis].max(side + pad_mm - place[axis]).max(place[axis] + pad_mm);
                }
            }
        }
        let count = |length: f64| ((length / step_mm).ceil() as usize + 1).max(2 * WIDTH);
        [smooth_size(count(period[0]), true), smooth_size(count(period[1]), stride == 2)]
    }
}

/// Whether a place is so near a box that starts at zero that its spot's near part reaches it.
pub(super) fn matters(place: [f64; 2], sides: [f64; 2], pad: f64) -> bool {
    place.iter().zip(sides).all(|(&p, side)| p >= -pad && p <= side + pad)
}
