//! What a picture takes of memory, told before its arrays are there, and the most that it may take.
//!
//! # Model
//! A scene in a frame is planned first ([`super::projector`]): spots, tables, and for each point and grid where it lies. That is bounded by
//! the number of pixels, whatever the picture's size. From the plan follow the arrays that grow with the picture:
//!
//! ```text
//! picture    planes + max(glow, bare, made)
//! planes     12 N
//! sum        of a grid at the image's own pixels:  max(transforms, sum of the next grid)
//!            of a coarser one:  12 n + max(transforms, sum of the next grid, 4 W h)
//! transforms sum over channels (8 r u)  +  24 u' h  +  threads * (scratch of a block of columns)
//! bare       halos and sharp images:  12 N + sum
//! made       8-bit file: 9 N;  8-bit and linear 16-bit file: 30 N
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | N | image pixels | 1 |
//! | W | image pixels in a row | 1 |
//! | n, h | nodes of a grid that are wanted, rows of them | 1 |
//! | r | rows of a grid on which points of a channel lie | 1 |
//! | u, u' | columns of its spectrum that are used, rounded up to whole blocks | 1 |
//!
//! A channel is a die of a package over one of the gaps for which spots are made; X, Y, Z of a spot are three components. A film holds several
//! frames on the way, and each that is ready as planes, canvas and packed picture.
//!
//! # Validity
//! Single channels that are dark are counted as lit, so a scene of one colour takes less. What does not grow with the picture is counted as
//! [`BESIDE`]. Within a factor of two of what an allocator counts for pictures of a million image pixels and more (`tests/memory.rs`).

use super::gridding::{Stencil, WIDTH};
use super::plane::Frame;
use super::projector::Projector;
use super::transform::{BLOCK, PlacedPoint, ROWS, Transform};
use crate::diagnose::Diagnostic;
use std::mem::size_of;
use std::sync::Arc;

/// A picture may take this much, in bytes: a picture of the greatest size (8192 x 8192) behind one even cloth takes 1.4 to 3 GiB, and
/// machines on which garments are designed have 8. What needs more is refused before it is begun.
pub const MOST_MEMORY: usize = 4 << 30;
/// What does not grow with the picture, in bytes: solving the stack, tables of spots, the caption, what threads hold.
pub const BESIDE: usize = 64 << 20;
/// X, Y and Z of an image pixel in single precision.
const PLANES: usize = 12;
/// A canvas, the one with the caption bar, and the file in two forms while it is packed: three bytes, three, and with glow seldom one
/// each; see the module's text.
const TO_PNG: usize = 9;
/// Linear R, G, B as they are collected, twice 12 bytes; later once, beside 16 bits a value (6) and the file in two forms. A quarter on top,
/// for how the collecting is shared out among threads.
const TO_LINEAR: usize = 30;
/// A frame of a film that is ready: canvas, canvas with bar, packed.
const READY: usize = 9;
/// A complex number in single precision.
const COMPLEX: usize = 8;
/// X, Y and Z.
const COMPONENTS: usize = 3;

/// What is made of a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Output {
    /// An 8-bit file.
    Png,
    /// An 8-bit and a linear 16-bit file.
    PngAndLinear,
}

/// A picture that would take too much memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "a picture of {} x {} image pixels of this scene would take about {} MiB of memory",
    size_px[0], size_px[1], needed.div_ceil(MIB)
)]
pub struct TooLarge {
    /// Width and height in image pixels.
    pub size_px: [u32; 2],
    /// What it would take, in bytes.
    pub needed: usize,
    /// What it may take, in bytes.
    pub most: usize,
}

const MIB: usize = 1 << 20;

impl TooLarge {
    /// What is allowed, in words.
    #[must_use]
    pub fn allowed(&self) -> String {
        format!("at most {} MiB for one picture", self.most / MIB)
    }

    /// What to do.
    #[must_use]
    pub fn next(&self) -> String {
        let [width, height] = self.smaller();
        format!(
            "Make the picture smaller: --size-px {width}x{height}, or `size_px: [{width}, {height}]` under `view`."
        )
    }

    /// A size of the same proportions that fits.
    fn smaller(&self) -> [u32; 2] {
        /// Rows that are touched and rims do not shrink with the area.
        const ROOM: f64 = 0.85;
        let growing = self.needed.saturating_sub(BESIDE).max(1) as f64;
        let scale = (ROOM * self.most.saturating_sub(BESIDE) as f64 / growing).sqrt().min(1.0);
        self.size_px.map(|side| ((f64::from(side) * scale) as u32).max(16))
    }

    /// As a message about a file.
    #[must_use]
    pub fn about(&self, shown_as: &str) -> Diagnostic {
        Diagnostic::of_file(shown_as, self.to_string()).allowed(self.allowed()).next(self.next())
    }
}

/// Memory in bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Memory {
    /// What the plan holds.
    pub held: usize,
    /// What comes on top while a picture is made, its planes not counted.
    pub working: usize,
}

impl Memory {
    /// Of two plans whose pictures are made one after the other.
    pub(super) fn and_then(self, other: Memory) -> Memory {
        Memory { held: self.held + other.held, working: self.working.max(other.working) }
    }

    /// With planes beside those of the picture.
    pub(super) fn with_planes_of(self, pixels: usize) -> Memory {
        Memory { working: self.working + PLANES * pixels, ..self }
    }
}

/// What a still picture takes, in bytes.
#[must_use]
pub fn needed(projector: &Projector, output: Output) -> usize {
    let Memory { held, working } = projector.memory();
    let pixels = projector.frame().len();
    let made = match output {
        Output::Png => TO_PNG,
        Output::PngAndLinear => TO_LINEAR,
    };
    BESIDE + held + PLANES * pixels + working.max(made * pixels)
}

/// What one frame of a film takes while it is made, and what it takes when it is ready, in bytes.
#[must_use]
pub fn of_frame(projector: &Projector) -> [usize; 2] {
    let pixels = projector.frame().len();
    let ready = (PLANES + READY) * pixels;
    [(PLANES * pixels + projector.memory().working).max(ready), ready]
}

/// What a film takes of which so many frames are made at once, in bytes: as many others are ready.
#[must_use]
pub fn of_film(projector: &Projector, at_once: usize) -> usize {
    let [making, ready] = of_frame(projector);
    BESIDE + projector.memory().held + at_once * (making + ready)
}

/// Whether so much is allowed.
///
/// # Errors
/// When it is more than `most`.
pub fn allowed(frame: &Frame, needed: usize, most: usize) -> Result<(), TooLarge> {
    if needed <= most {
        return Ok(());
    }
    Err(TooLarge { size_px: [frame.width_px, frame.height_px], needed, most })
}

/// What reading a coarse picture of so many rows between its nodes takes.
pub(super) fn of_interpolating(rows: usize, columns: usize) -> usize {
    size_of::<f32>() * rows * columns
}

/// Three coarse planes.
pub(super) fn of_planes(nodes: usize) -> usize {
    PLANES * nodes
}

impl Transform {
    /// What the transforms of one grid take.
    pub(super) fn memory(&self) -> Memory {
        let grid = &self.grid;
        let (nx, ny, used) = (grid.fft.nx, grid.fft.ny, self.columns_used);
        let planned = || self.channels.iter().flatten();
        let mut counted: Vec<*const Vec<PlacedPoint>> = Vec::new();
        let (mut held, mut spread, mut most_points) = (0, 0, 0);
        for channel in planned() {
            held += size_of::<f32>() * (channel.across.len() + channel.down.len());
            held += channel.slanted.as_ref().map_or(0, |slanted| slanted.bytes());
            let points = channel.stencils.len();
            most_points = most_points.max(points);
            if !counted.contains(&Arc::as_ptr(&channel.stencils)) {
                counted.push(Arc::as_ptr(&channel.stencils));
                held += size_of::<PlacedPoint>() * points;
            }
            spread += COMPLEX * used * rows_touched(&channel.stencils, ny);
        }
        let threads = rayon::current_num_threads().max(1);
        // Which points lie on which row, in lists that grow by doubling.
        let touching = threads.min(planned().count()) * 2 * size_of::<(usize, f32)>() * WIDTH * most_points;
        let columns = COMPLEX * COMPONENTS * used.next_multiple_of(BLOCK) * grid.wanted.rows;
        let of_columns = threads * BLOCK * ny * (COMPLEX * (1 + COMPONENTS) + COMPLEX);
        let of_rows =
            threads * (ROWS * COMPLEX * used.next_multiple_of(BLOCK).max(grid.fft.half()) + COMPLEX * nx);
        let working = spread + touching.max(columns + of_columns.max(of_rows));
        Memory { held, working }
    }
}

/// On how many rows points lie.
fn rows_touched(points: &[PlacedPoint], ny: usize) -> usize {
    let mut touched = vec![false; ny];
    for (_, _, Stencil { first, .. }) in points {
        for row in 0..WIDTH as i64 {
            touched[(first + row).rem_euclid(ny as i64) as usize] = true;
        }
    }
    touched.into_iter().filter(|touched| *touched).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_that_is_too_large_says_what_it_takes_and_which_size_fits() {
        let frame = Frame::centred(0.0, 0.0, 1.0, 8000, 4000);
        assert_eq!(allowed(&frame, 5 << 30, 5 << 30), Ok(()));
        let fault = allowed(&frame, (16 << 30) + BESIDE, (4 << 30) + BESIDE).expect_err("too large");
        let told = crate::diagnose::render(&fault.about("s.yaml"), crate::diagnose::Ink::Plain);
        assert!(told.contains("8000 x 4000") && told.contains("16448 MiB"), "{told}");
        assert!(told.contains("at most 4160 MiB"), "{told}");
        // A quarter of the memory is half of either side, and somewhat less for what does not shrink.
        let [width, height] = fault.smaller();
        assert!((3600..4000).contains(&width) && width.abs_diff(2 * height) <= 1, "{width} x {height}");
        assert!(told.contains(&format!("--size-px {width}x{height}")), "{told}");
    }
}
