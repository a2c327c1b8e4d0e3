//! Does a moving picture flash too much for people whom flashing makes ill?
//!
//! A warning and no medical clearance: it defers to WCAG and BT.1702, whose thresholds it applies, and to the rules of the place.
//!
//! # Model
//! A **change** is the way between neighbouring extremes of the luminance at a place, if it is large enough; two opposing changes are
//! a **flash**. More than three flashes in any one second, that is seven changes in less than a second, are too many, where they
//! cover more than 0.006 sr of some 10 degree field. Three judgements:
//!
//! | seen | change | field |
//! |---|---|---|
//! | on a screen that the picture fills | relative luminance (WCAG) of the developed 8-bit picture by 0.1 or more, darker state below 0.80 | W3C's block of 341 by 256 pixels on a screen of 1024 by 768; a quarter of it is the limit |
//! | the garment itself, from the viewing distance | 20 cd/m2 or more, darker state below 160 cd/m2; above that Michelson contrast 1/17 or more (BT.1702) | a disc, in true millimetres |
//! | the same from [`NEAR_M`], if the viewing distance is larger | the same | the same |
//!
//! and for each of them red flashes: into or out of a saturated red (`R/(R+G+B) >= 0.8` in linear light), more than 0.2 apart in
//! the CIE 1976 u'v' diagram. Black has the colour of white there.
//!
//! "Concurrently" is taken in two ways, and either is enough:
//! - places that flash too often in the same second, together larger than the limit;
//! - changes of areas larger than the limit within a tenth of a second, wherever they are (light that jumps or sweeps), opposing one
//!   another. What falls in one place while it rises in another is one change.
//!
//! # Assumptions and validity
//! - Everything is seen in cells of whole image pixels, at most a tenth of a degree wide where the picture has no more than some
//!   90 000 of them ([`Judgement::cell_deg`] says), area-averaged. Balanced patterns finer than a cell vanish so, as the
//!   standard's exception wants; squares between half a cell and 0.1 degrees may still be counted (cautious).
//! - How large the screen appears is not known: the picture is taken to fill W3C's screen. Smaller or farther, it is safer.
//! - The field slides in steps of a fortieth of its width; its area is drawn with cells (some per cent, cautious).
//! - The garment is flat and seen from straight ahead; on a body it can only look smaller.
//! - Less contrast need not mean fewer changes in a second: each counts when it is large enough, which is later then, so they may crowd;
//!   and where light jumps, what rises here while it falls there may come apart. The depth that is told was followed as it is and passes.
//! - A change counts at the moment it is large enough.
//!
//! # Source
//! W3C, WCAG 2.2, success criterion 2.3.1 and its definition of general flash and red flash thresholds (cell counts, screen and field from
//! memory); Recommendation ITU-R BT.1702 as quoted by W3C. Values: `tests/reference/flash_thresholds.csv`.
//!
//! # Memory and time
//! Independent of the number of pictures: for every cell its last changes, one second of luminances, and for what loops the
//! first second. Calmer ways to play are found on the way: the share of the speed from the shortest stretch that held too
//! many changes at each place; the share of the contrast by following every place at nine lesser depths too.

mod cells;
mod changes;
mod chart;
mod meter;
mod report;
mod rules;
mod view;
mod words;

pub use chart::flash_chart;
pub use report::{Calmer, Finding, FlashReport, Judgement, Moment, Seen, Worst};
pub use rules::{
    ABSOLUTE_CHANGE, ABSOLUTE_DARKER_BELOW, ABSOLUTE_MICHELSON, AREA_SR, BLOCK_PX, FIELD_DEG,
    FINE_PATTERN_DEG, GENERAL_CHANGE, GENERAL_DARKER_BELOW, MOST_FLASHES, RED_DIFFERENCE, RED_SHARE,
    SCREEN_PX,
};

use crate::picture::canvas::Canvas;
use crate::picture::colour::decode;
use crate::picture::exposure::ExposureValue;
use crate::picture::plane::{Frame, XyzImage};
use crate::picture::render::develop;
use cells::Grid;
use changes::SECOND;
use rules::Contrast;
use std::sync::LazyLock;
use view::{Moved, View};

/// Arm's length: the nearest that someone is taken to look at the garment, in metres.
pub const NEAR_M: f64 = 0.5;
/// The least viewing distance, in metres.
const LEAST_DISTANCE_M: f64 = 0.1;
/// Of a looped sequence so many pictures are kept at most, which is a second at 64 pictures a second.
const MOST_KEPT: usize = 64;

/// What is to be judged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlashSetup {
    /// Where the pictures lie in the plane of the cloth.
    pub frame: Frame,
    /// Viewing distance in metres; at least 0.1.
    pub distance_m: f64,
    /// The exposure at which the pictures are developed for the screen.
    pub exposure: ExposureValue,
    /// Whether the sequence begins again when it ends. Push it once: its first second is then judged once more after its last picture.
    pub looped: bool,
}

/// Why a picture is not taken.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum FlashError {
    /// It does not have the frame's size.
    #[error("the picture is {found:?} image pixels large, the frame {wanted:?}")]
    Size {
        /// The picture's.
        found: [u32; 2],
        /// The frame's.
        wanted: [u32; 2],
    },
    /// Its time does not come after the last one's.
    #[error("the picture's time of {found_s} s does not come after {last_s} s")]
    Time {
        /// The picture's.
        found_s: f64,
        /// The last one's.
        last_s: f64,
    },
}

/// The check: takes picture after picture. See the head of this module.
#[derive(Clone, Debug)]
pub struct FlashCheck {
    setup: FlashSetup,
    /// The screen, the garment and, if that is nearer, the garment at arm's length.
    views: Vec<View>,
    pushed: usize,
    first_s: f64,
    last_s: f64,
    /// Means over the cells of the pictures of the first second, for what loops.
    kept: Vec<(f64, Vec<Vec<[f32; 3]>>)>,
}

static LINEAR: LazyLock<[f32; 256]> =
    LazyLock::new(|| std::array::from_fn(|code| decode(code as f64 / 255.0) as f32));

impl FlashCheck {
    /// A check that has seen nothing yet.
    #[must_use]
    pub fn new(setup: FlashSetup) -> FlashCheck {
        let distance_m =
            if setup.distance_m >= LEAST_DISTANCE_M { setup.distance_m } else { LEAST_DISTANCE_M };
        let setup = FlashSetup { distance_m, ..setup };
        let garment = |distance_m: f64| {
            let seen = Seen::Garment { distance_m };
            let grid = Grid::from_distance(&setup.frame, distance_m);
            View::new(seen, grid, Contrast::Absolute { depth: 1.0 })
        };
        let screen = Grid::on_screen(&setup.frame);
        let mut views =
            vec![View::new(Seen::Screen, screen, Contrast::Relative { depth: 1.0 }), garment(distance_m)];
        if distance_m > NEAR_M {
            views.push(garment(NEAR_M));
        }
        FlashCheck { setup, views, pushed: 0, first_s: 0.0, last_s: 0.0, kept: Vec::new() }
    }

    /// Takes the next picture: X, Y and Z in cd/m2, from `time_s` on.
    ///
    /// # Errors
    /// A picture of another size than the frame, a time that does not come after the last one's.
    pub fn push(&mut self, time_s: f64, image: &XyzImage) -> Result<(), FlashError> {
        self.fits([image.width_px, image.height_px], time_s)?;
        self.push_developed(time_s, image, &develop(image, self.setup.exposure))
    }

    /// As [`FlashCheck::push`], with the developed picture as it is sent: what is already there need not be made again, and it
    /// may be cut at the edge of the pattern piece.
    ///
    /// # Errors
    /// As [`FlashCheck::push`], for either picture.
    pub fn push_developed(
        &mut self,
        time_s: f64,
        image: &XyzImage,
        canvas: &Canvas,
    ) -> Result<(), FlashError> {
        self.fits([image.width_px, image.height_px], time_s)?;
        self.fits([canvas.width_px, canvas.height_px], time_s)?;
        if self.pushed == 0 {
            self.first_s = time_s;
        }
        self.last_s = time_s;
        let means: Vec<Vec<[f32; 3]>> = self
            .views
            .iter()
            .map(|view| match view.seen {
                Seen::Screen => view.grid.averaged(|i| {
                    std::array::from_fn(|c| {
                        canvas.rgb.get(3 * i + c).map_or(0.0, |&code| LINEAR[usize::from(code)])
                    })
                }),
                Seen::Garment { .. } => view.grid.averaged(|i| std::array::from_fn(|c| image.planes[c][i])),
            })
            .collect();
        self.step(time_s, self.pushed, &means);
        self.pushed += 1;
        if self.setup.looped && time_s - self.first_s <= 1.0 && self.kept.len() < MOST_KEPT {
            self.kept.push((time_s, means));
        }
        Ok(())
    }

    fn fits(&self, found: [u32; 2], time_s: f64) -> Result<(), FlashError> {
        let wanted = [self.setup.frame.width_px, self.setup.frame.height_px];
        if found != wanted {
            return Err(FlashError::Size { found, wanted });
        }
        let later = self.pushed == 0 || time_s > self.last_s;
        if !later || !time_s.is_finite() {
            return Err(FlashError::Time { found_s: time_s, last_s: self.last_s });
        }
        Ok(())
    }

    fn step(&mut self, time_s: f64, frame: usize, means: &[Vec<[f32; 3]>]) {
        let ticks = ((time_s - self.first_s) * f64::from(SECOND)).round() as u32;
        for (view, means) in self.views.iter_mut().zip(means) {
            view.push(Moved { ticks, time_s, frame }, means);
        }
    }

    /// What was found.
    #[must_use]
    pub fn finish(mut self) -> FlashReport {
        let span_s = self.last_s - self.first_s;
        // The last picture is shown as long as the others on average.
        let period_s = match self.pushed {
            0 | 1 => 0.0,
            n => span_s * n as f64 / (n - 1) as f64,
        };
        if self.setup.looped && period_s > 0.0 {
            self.play_on(period_s);
        }
        let first_s = self.first_s;
        let mut judged = self.views.into_iter().map(|view| view.judgement(first_s));
        let mut next = || judged.next().unwrap_or_else(Judgement::empty);
        let (screen, garment) = (next(), next());
        FlashReport {
            frames: self.pushed,
            duration_s: period_s,
            looped: self.setup.looped,
            screen,
            garment,
            near: judged.next(),
        }
    }

    /// Across the seam: the first second once more, or a short loop so often that two seconds pass.
    fn play_on(&mut self, period_s: f64) {
        /// A second that begins before the seam ends within one second after it; the second one lets the extremes settle.
        const SHORT_LOOPS_S: f64 = 2.0;
        let kept = std::mem::take(&mut self.kept);
        let rounds = if period_s <= 1.0 { (SHORT_LOOPS_S / period_s).ceil() as usize } else { 1 };
        for round in 1..=rounds {
            for (frame, (time_s, means)) in kept.iter().enumerate() {
                self.step(time_s + round as f64 * period_s, frame, means);
            }
        }
    }
}
