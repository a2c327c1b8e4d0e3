//! Finds the lit spots of a photograph.

use super::decode::Photo;
use thiserror::Error;

/// A round patch of light.
#[derive(Clone, Debug, PartialEq)]
pub struct Spot {
    /// Its middle in pixels, `[x, y]`; the middle of the upper left pixel is `[0, 0]`.
    pub centre_px: [f64; 2],
    /// Radius in pixels at which the light is half of the peak above the background. Where the core is clipped the peak is
    /// taken from the course outside it.
    pub half_width_px: f64,
    /// Peak R, G, B above the background, linear 0 to 1; where [`Spot::clipped_px`] is not 0, a lower limit.
    pub peak: [f64; 3],
    /// Clipped pixels of the core.
    pub clipped_px: usize,
    /// Radius in pixels that holds them.
    pub clipped_radius_px: f64,
    /// Short over long axis of the contour at half of the peak: 1 is round.
    pub roundness: f64,
    /// Direction of the long axis in radians, from x to the right, turning upwards, 0 to pi.
    pub long_axis_rad: f64,
    /// Pixels from the middle to the picture's nearest edge.
    pub nearest_edge_px: f64,
}

/// What is lit in a photograph.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Spots, the brightest first; never empty.
    pub spots: Vec<Spot>,
    /// Bright things that are no spots (a window, a lamp, writing).
    pub others: Vec<Spot>,
    /// Background R, G, B at the brightest spot, linear 0 to 1.
    pub background: [f64; 3],
    /// Change of the background (mean of R, G, B) across the picture's width and height, linear.
    pub background_slope: [f64; 2],
    /// Standard deviation of single pixels of the background, R, G, B, linear.
    pub noise: [f64; 3],
}

/// Spots in a row.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Indices into [`Found::spots`] from one end of the row to the other, starting at the left (or the lower) end.
    pub order: Vec<usize>,
    /// Mean distance of neighbours in pixels.
    pub pitch_px: f64,
    /// Largest distance of a middle from the straight line in pixels.
    pub off_line_px: f64,
}

impl Found {
    /// The spots as a row, if there are several about equally bright ones on a line.
    #[must_use]
    pub fn row(&self) -> Option<Row> {
        None
    }
}

/// Why no spot was found.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum FindError {
    /// One colour all over.
    #[error("the picture is one even colour")]
    Even,
    /// Much of the picture is clipped.
    #[error("{share:.0} % of the picture is at its brightest possible value")]
    Washed {
        /// Share of clipped pixels, 0 to 1.
        share: f64,
    },
    /// Nothing stands out.
    #[error("nothing lit stands out")]
    Nothing {
        /// Height of the most striking thing over the noise of the averaged picture.
        signal_to_noise: f64,
    },
    /// Bright things, but none is a spot.
    #[error("{things} bright things, none of them a round spot")]
    NoSpot {
        /// How many.
        things: usize,
    },
}

/// Finds the lit spots.
///
/// # Errors
/// See [`FindError`].
pub fn spots(_photo: &Photo) -> Result<Found, FindError> {
    Err(FindError::Even)
}
