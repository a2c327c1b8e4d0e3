//! The picture in the plane of the cloth: the sum of the spots of all pixels, by Fourier transforms.
//!
//! Model: `I(r) = sum_c sum_p amount_p L_c(|r - r_p|)`, where the spot `L_c` is the inverse transform of
//! `window(k) L_c(k)`. Each point enters at its exact place; the value given for an image pixel is that at its centre.
//!
//! Method, with the figures that belong to it:
//! 1. Points are spread over a grid by a Kaiser-Bessel window and corrected in frequency space ([`super::gridding`]).
//!    The grid is as coarse as the spots' spectra allow; where it is coarser than the image, the image is read off it by the
//!    same window, else image pixels are nodes of the grid.
//! 2. A Fourier transform makes the picture periodic, and the tails of spots are long (`r^-4`): padding alone would have to be
//!    ten times the picture's size. The spectrum is therefore split into a near part, which needs little padding on
//!    the fine grid, and a far part on a coarser grid with more padding, which is split again; see the `radial` module. Each far
//!    part is added to the nodes of the next finer grid. The last grid is padded by ten times the extent of
//!    everything.
//! 3. One forward transform per channel; one multiplication per (channel, component); one inverse transform per component.
//!    Rows without points and rows outside the picture are left out.
//!
//! Sharp spots: where a spot is sharper than the grid carries (its spectrum beyond the grid's Nyquist frequency holds more
//! than the allowed share of its peak), the picture is seen through a Gaussian aperture, as wide as needed and no wider
//! (at most about 1.5 grid steps of standard deviation). So nothing rings and the energy stays; [`PlaneReport`] says how wide
//! it was. The grid is refined to half an image pixel first, unless the picture is too large for that.
//!
//! Validity: equal to direct summation within 1e-4 of the peak (measured: see `tests/picture.rs`).
//! Single precision: values below about 1e-7 of the brightest are noise.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | k | angular frequency | 1/mm |
//! | L(k) | spectrum of a spot, `2 pi int L(r) J0(k r) r dr` | mm2 times the picture's unit per unit of amount |

use super::levels;
use super::memory::Memory;
pub use super::radial::Accuracy;
use super::slanted::Slanted;
pub use super::slanted::SlantedChannel;
use crate::light::Window;
use crate::light::oblique::Sight;
use crate::light::spread::SpotSpectrum;
use rayon::prelude::*;

/// Where the image lies in the plane: x to the right, y upwards, rows going downwards.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// x of the centre of the first (top left) image pixel, in mm.
    pub first_x_mm: f64,
    /// y of the centre of the first (top left) image pixel, in mm.
    pub first_y_mm: f64,
    /// Distance between image pixels, in mm.
    pub mm_per_px: f64,
    /// Image pixels in a row.
    pub width_px: u32,
    /// Rows.
    pub height_px: u32,
}

impl Frame {
    /// The frame whose middle lies at a place.
    #[must_use]
    pub fn centred(x_mm: f64, y_mm: f64, mm_per_px: f64, width_px: u32, height_px: u32) -> Frame {
        Frame {
            first_x_mm: x_mm - 0.5 * f64::from(width_px.saturating_sub(1)) * mm_per_px,
            first_y_mm: y_mm + 0.5 * f64::from(height_px.saturating_sub(1)) * mm_per_px,
            mm_per_px,
            width_px,
            height_px,
        }
    }

    /// The centre of an image pixel, x and y in mm.
    #[must_use]
    pub fn centre_of(&self, column: u32, row: u32) -> [f64; 2] {
        [
            self.first_x_mm + f64::from(column) * self.mm_per_px,
            self.first_y_mm - f64::from(row) * self.mm_per_px,
        ]
    }

    /// Number of image pixels.
    #[must_use]
    pub fn len(&self) -> usize {
        self.width_px as usize * self.height_px as usize
    }

    /// Whether there is nothing to show.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// A picture in CIE XYZ; Y in cd/m2 when the amounts and spectra say so. Three planes, each row by row from the top.
#[derive(Clone, Debug, PartialEq)]
pub struct XyzImage {
    /// Image pixels in a row.
    pub width_px: u32,
    /// Rows.
    pub height_px: u32,
    /// X, Y and Z.
    pub planes: [Vec<f32>; 3],
}

impl XyzImage {
    /// A black picture.
    #[must_use]
    pub fn black(width_px: u32, height_px: u32) -> XyzImage {
        let n = width_px as usize * height_px as usize;
        XyzImage { width_px, height_px, planes: std::array::from_fn(|_| zeros(n)) }
    }

    /// X, Y, Z of one image pixel; black outside the picture.
    #[must_use]
    pub fn at(&self, column: u32, row: u32) -> [f32; 3] {
        if column >= self.width_px || row >= self.height_px {
            return [0.0; 3];
        }
        let i = row as usize * self.width_px as usize + column as usize;
        [self.planes[0][i], self.planes[1][i], self.planes[2][i]]
    }
}

/// Zeros that have been written.
///
/// Zeros fresh from the operating system are not there yet: adding to them reads each page first and writes it afterwards,
/// which costs two interruptions a page, the second one of all cores.
pub(super) fn zeros(n: usize) -> Vec<f32> {
    /// Values that one thread writes at a time.
    const PIECE: usize = 1 << 16;
    let mut zeros = vec![0.0; n];
    zeros.par_chunks_mut(PIECE).for_each(|piece| piece.fill(0.0));
    zeros
}

/// A point that sends light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpotPoint {
    /// Place, x in mm.
    pub x_mm: f64,
    /// Place, y in mm.
    pub y_mm: f64,
    /// Amount of light, in the unit to which the spectra refer.
    pub amount: f64,
}

/// The points of one kind (one die), their emitting window and their spots in X, Y and Z.
#[derive(Clone, Debug)]
pub struct SpotChannel<'a> {
    /// The points. Those with a place or an amount that is not finite are left out.
    pub points: Vec<SpotPoint>,
    /// The outline from which each of them sends its light.
    pub window: Window,
    /// Turn of that outline, anticlockwise, in radians.
    pub window_turn_rad: f64,
    /// Spectra of the spot in X, Y and Z per unit of amount; `None` for a component that stays dark.
    pub kernels: [Option<&'a SpotSpectrum>; 3],
}

/// What was done to make a picture.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaneReport {
    /// Nodes of the finest grid, in x and y, padding included; zero when nothing had to be done.
    pub nodes: [usize; 2],
    /// Step of the finest grid, in mm.
    pub step_mm: f64,
    /// Whether the image was read between the nodes of that grid (else its pixels are nodes).
    pub interpolated: bool,
    /// Standard deviation of the Gaussian aperture, in mm, where the spots were too sharp for the grid.
    pub aperture_mm: Option<f64>,
    /// Number of grids, from the finest to the coarsest.
    pub grids: usize,
}

/// A picture and how it came about.
#[derive(Clone, Debug, PartialEq)]
pub struct Plane {
    /// The picture.
    pub image: XyzImage,
    /// How it was made.
    pub report: PlaneReport,
}

/// The sum of all spots, at the centres of the frame's image pixels.
///
/// A frame without pixels or with a pixel size that is not positive and finite gives an empty or black picture.
#[must_use]
pub fn sum_of_spots(frame: &Frame, channels: &[SpotChannel<'_>], accuracy: Accuracy) -> Plane {
    let mut image = XyzImage::black(frame.width_px, frame.height_px);
    let report = add_spots(&mut image, frame, channels, accuracy);
    Plane { image, report }
}

/// Adds the sum of all spots to a picture of the frame's size; see [`sum_of_spots`]. A picture of another size is left
/// as it is.
pub fn add_spots(
    image: &mut XyzImage,
    frame: &Frame,
    channels: &[SpotChannel<'_>],
    accuracy: Accuracy,
) -> PlaneReport {
    let planned = PlannedSpots::new(frame, channels, accuracy);
    let amounts: Vec<Vec<f32>> =
        channels.iter().map(|c| c.points.iter().map(|p| p.amount as f32).collect()).collect();
    planned.add(image, &amounts);
    planned.report().clone()
}

/// As [`add_spots`], with spots seen from the side: the frame lies in the picture, onto which the garment is projected.
pub fn add_slanted_spots(
    image: &mut XyzImage,
    frame: &Frame,
    sight: Sight,
    channels: &[SlantedChannel<'_>],
    accuracy: Accuracy,
) -> PlaneReport {
    let planned = PlannedSpots::slanted(frame, sight, channels, accuracy);
    let amounts: Vec<Vec<f32>> =
        channels.iter().map(|c| c.points.iter().map(|p| p.amount as f32).collect()).collect();
    planned.add(image, &amounts);
    planned.report().clone()
}

/// A sum of spots whose places, spots and frame are settled once, for many pictures with other amounts.
pub struct PlannedSpots {
    plan: levels::Plan,
    pixels: usize,
}

impl std::fmt::Debug for PlannedSpots {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("PlannedSpots").field("report", self.report()).finish_non_exhaustive()
    }
}

impl PlannedSpots {
    /// Settles everything but the amounts. Points whose amount in the channels is zero stay dark for good; the amounts there
    /// have no other meaning.
    #[must_use]
    pub fn new(frame: &Frame, channels: &[SpotChannel<'_>], accuracy: Accuracy) -> PlannedSpots {
        PlannedSpots { plan: levels::Plan::new(frame, channels, &[], accuracy), pixels: frame.len() }
    }

    /// The same for spots seen from the side.
    #[must_use]
    pub fn slanted(
        frame: &Frame,
        sight: Sight,
        channels: &[SlantedChannel<'_>],
        accuracy: Accuracy,
    ) -> PlannedSpots {
        let slanted: Vec<Slanted<'_>> = channels.iter().map(|channel| Slanted::new(channel, sight)).collect();
        let envelopes: Vec<[SpotSpectrum; 3]> = slanted.par_iter().map(Slanted::envelopes).collect();
        let seen = |p: &SpotPoint| {
            let [x_mm, y_mm] = sight.seen([p.x_mm, p.y_mm]);
            SpotPoint { x_mm, y_mm, ..*p }
        };
        let round: Vec<SpotChannel<'_>> = channels
            .iter()
            .zip(&envelopes)
            .map(|(channel, envelopes)| SpotChannel {
                points: channel.points.iter().map(seen).collect(),
                window: Window::Point,
                window_turn_rad: 0.0,
                kernels: envelopes.each_ref().map(Some),
            })
            .collect();
        PlannedSpots { plan: levels::Plan::new(frame, &round, &slanted, accuracy), pixels: frame.len() }
    }

    /// How the sums are made.
    #[must_use]
    pub fn report(&self) -> &PlaneReport {
        &self.plan.report
    }

    /// What the plan and its pictures take, the planes of the pictures not counted.
    pub(super) fn memory(&self) -> Memory {
        self.plan.memory()
    }

    /// Adds the sum of all spots to a picture of the frame's size: by channel, the amounts of its points. A picture of another
    /// size is left as it is.
    pub fn add(&self, image: &mut XyzImage, amounts: &[Vec<f32>]) {
        if image.planes.iter().all(|p| p.len() == self.pixels) {
            self.plan.add(&mut image.planes, amounts);
        }
    }
}
