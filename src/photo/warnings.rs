//! What is wrong with a photograph, in plain words, and what to do about it.
//!
//! The limits are common practice, no source: each is where the named fault begins to cost about a tenth in what is read from the
//! picture.

use super::decode::{Format, Photo, Tone};
use super::find::{Found, Spot};
use std::fmt;

/// Half width in pixels below which rings are too few.
pub const LEAST_HALF_WIDTH_PX: f64 = 8.0;
/// Peak over the noise of a pixel below which a spot is dim.
pub const LEAST_SIGNAL: f64 = 10.0;
/// Half widths from the middle to the edge below which the spot's foot is cut off.
pub const LEAST_HALF_WIDTHS_TO_EDGE: f64 = 3.0;
/// Short over long axis below which a spot is not round.
pub const LEAST_ROUNDNESS: f64 = 0.93;
/// Background over peak above which the room is not dark.
pub const MOST_BACKGROUND: f64 = 0.1;
/// Change of the background across the picture over the peak above which the room's light is one-sided.
pub const MOST_SLOPE: f64 = 0.1;
/// Share of pixels at code 0 in all channels above which faint light may be cut off.
pub const MOST_BLACK: f64 = 0.25;

/// Why codes may not follow the light.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotLinear {
    /// The file says that shots were joined or tones treated (HDR).
    Composite,
    /// A JPEG's codes went through the camera's own tone curve, which is not in the file.
    CameraCurve,
}

/// A fact about a photograph that harms what is read from it.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum PhotoWarning {
    /// The core is at the brightest value that the file can hold.
    ClippedCore {
        /// Radius of the clipped core in pixels.
        radius_px: f64,
        /// Half width of the spot in pixels.
        half_width_px: f64,
    },
    /// The spot has few pixels.
    Small {
        /// Half width in pixels.
        half_width_px: f64,
    },
    /// The spot is hardly above the noise.
    Dim {
        /// Peak over the noise of a pixel.
        signal_to_noise: f64,
    },
    /// The picture's edge is near.
    CutOff {
        /// Pixels from the middle to the nearest edge.
        edge_px: f64,
        /// Half width in pixels.
        half_width_px: f64,
    },
    /// The outline is longer one way.
    NotRound {
        /// Short over long axis.
        roundness: f64,
        /// Direction of the long axis in radians, from the right, turning upwards.
        long_axis_rad: f64,
    },
    /// The room is not dark.
    BrightBackground {
        /// Background over peak.
        share: f64,
    },
    /// The room's light comes from one side.
    SlopedBackground {
        /// Change across the picture over the peak.
        share: f64,
    },
    /// More than one spot, not in an even row.
    SeveralSpots {
        /// How many.
        count: usize,
    },
    /// Bright things beside the spots.
    OtherLights {
        /// How many.
        count: usize,
    },
    /// Faint light was cut off at code 0.
    BlackCut {
        /// Share of pixels at code 0.
        share: f64,
    },
    /// Codes may not follow the light.
    PossiblyNotLinear(NotLinear),
    /// The flash fired.
    Flash,
}

impl PhotoWarning {
    /// The fact and the advice in plain sentences.
    #[must_use]
    pub fn words(&self) -> String {
        self.to_string()
    }
}

impl fmt::Display for PhotoWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PhotoWarning::ClippedCore { radius_px, half_width_px } => write!(
                f,
                "the middle of the spot is overexposed: {radius_px:.0} px around the middle, of {half_width_px:.0} px to half brightness. \
                 What lies there is left out; a picture with a shorter exposure tells more"
            ),
            PhotoWarning::Small { half_width_px } => write!(
                f,
                "the spot is small in the picture: {half_width_px:.1} px from its middle to half brightness, where \
                 {LEAST_HALF_WIDTH_PX:.0} or more are wanted. Go nearer"
            ),
            PhotoWarning::Dim { signal_to_noise } => write!(
                f,
                "the spot is dim: {signal_to_noise:.1} times the noise of a pixel, where {LEAST_SIGNAL:.0} or more are wanted. \
                 Expose longer, with the camera on a stand"
            ),
            PhotoWarning::CutOff { edge_px, half_width_px } => write!(
                f,
                "the picture ends {edge_px:.0} px from the middle of the spot, which is {half_width_px:.0} px to half brightness. \
                 Put the spot in the middle or step back, so that its glow is in the picture"
            ),
            PhotoWarning::NotRound { roundness, long_axis_rad } => write!(
                f,
                "the spot is not round: {:.0} % as wide as long, the long way at {:.0} degrees from level. Hold the camera square to the cloth, \
                 do not stretch the cloth one way, light one pixel only",
                100.0 * roundness,
                long_axis_rad.to_degrees()
            ),
            PhotoWarning::BrightBackground { share } => write!(
                f,
                "the room is not dark: the background has {:.0} % of the spot's brightness. Darken the room",
                100.0 * share
            ),
            PhotoWarning::SlopedBackground { share } => write!(
                f,
                "light falls in from one side: across the picture the background changes by {:.0} % of the spot's brightness. \
                 Its slope is taken out, but a dark room is better",
                100.0 * share
            ),
            PhotoWarning::SeveralSpots { count } => {
                write!(
                    f,
                    "there are {count} spots, not in an even row. Light one pixel, or an even row of them"
                )
            }
            PhotoWarning::OtherLights { count } => write!(
                f,
                "something else is bright in the picture ({count}): a window, a lamp, a reflection. Cover it or turn away from it"
            ),
            PhotoWarning::BlackCut { share } => write!(
                f,
                "{:.0} % of the picture is wholly black: faint light may have been cut off, so that the foot of the spot looks darker \
                 than it is. Expose longer",
                100.0 * share
            ),
            PhotoWarning::PossiblyNotLinear(NotLinear::Composite) => write!(
                f,
                "the camera joined several shots or treated bright and dark parts apart (HDR), so that brightness in the picture does not \
                 follow the light. Switch that off, or take a raw picture"
            ),
            PhotoWarning::PossiblyNotLinear(NotLinear::CameraCurve) => write!(
                f,
                "a JPEG is taken to follow the standard (sRGB) curve, but cameras bend the tones further by a curve of their own. A raw picture \
                 developed without a curve to a 16-bit TIFF or PNG is more exact"
            ),
            PhotoWarning::Flash => {
                write!(f, "the flash fired. Switch it off: only the pixel should light the cloth")
            }
        }
    }
}

/// All warnings about a photograph and what was found in it, the brightest spot (or the worst of an even row) standing for all.
#[must_use]
pub fn warnings(photo: &Photo, found: &Found) -> Vec<PhotoWarning> {
    let row = found.row().filter(|row| row.order.len() == found.spots.len());
    let told: &[Spot] = if row.is_some() { &found.spots } else { &found.spots[..found.spots.len().min(1)] };
    let mut list = Vec::new();
    if photo.flash {
        list.push(PhotoWarning::Flash);
    }
    if photo.composite {
        list.push(PhotoWarning::PossiblyNotLinear(NotLinear::Composite));
    } else if photo.format == Format::Jpeg && photo.tone == Tone::Srgb {
        list.push(PhotoWarning::PossiblyNotLinear(NotLinear::CameraCurve));
    }
    list.extend(of_spots(told, found, row.is_some()));
    if found.spots.len() > 1 && row.is_none() {
        list.push(PhotoWarning::SeveralSpots { count: found.spots.len() });
    }
    if !found.others.is_empty() {
        list.push(PhotoWarning::OtherLights { count: found.others.len() });
    }
    let brightest = found.spots.first().map_or(f64::NAN, Spot::brightness);
    let background = found.background.iter().sum::<f64>() / 3.0 / brightest;
    if background > MOST_BACKGROUND {
        list.push(PhotoWarning::BrightBackground { share: background });
    }
    let slope = found.background_slope[0].hypot(found.background_slope[1]) / brightest;
    if slope > MOST_SLOPE {
        list.push(PhotoWarning::SlopedBackground { share: slope });
    }
    let black = photo.black_share().into_iter().fold(1.0, f64::min);
    if black > MOST_BLACK {
        list.push(PhotoWarning::BlackCut { share: black });
    }
    list
}

/// Warnings about spots; the neighbours in a row are no edge of the picture, and merge into a long outline.
fn of_spots(spots: &[Spot], found: &Found, in_row: bool) -> Vec<PhotoWarning> {
    let mut list = Vec::new();
    let largest = |key: fn(&Spot) -> f64| spots.iter().max_by(|a, b| key(a).total_cmp(&key(b)));
    if let Some(spot) = largest(|s| s.clipped_radius_px).filter(|s| s.clipped_px > 0) {
        let (radius_px, half_width_px) = (spot.clipped_radius_px, spot.half_width_px);
        list.push(PhotoWarning::ClippedCore { radius_px, half_width_px });
    }
    if let Some(spot) = largest(|s| -s.half_width_px).filter(|s| s.half_width_px < LEAST_HALF_WIDTH_PX) {
        list.push(PhotoWarning::Small { half_width_px: spot.half_width_px });
    }
    if let Some(spot) = largest(|s| -s.brightness()) {
        let signal = |c: usize| spot.peak[c] / found.noise[c];
        let signal_to_noise = (0..3).map(signal).fold(f64::NEG_INFINITY, f64::max);
        if signal_to_noise < LEAST_SIGNAL {
            list.push(PhotoWarning::Dim { signal_to_noise });
        }
    }
    if let Some(spot) = largest(|s| -s.nearest_edge_px / s.half_width_px) {
        let (edge_px, half_width_px) = (spot.nearest_edge_px, spot.half_width_px);
        if edge_px < LEAST_HALF_WIDTHS_TO_EDGE * half_width_px {
            list.push(PhotoWarning::CutOff { edge_px, half_width_px });
        }
    }
    if let Some(spot) = largest(|s| -s.roundness).filter(|s| !in_row && s.roundness < LEAST_ROUNDNESS) {
        list.push(PhotoWarning::NotRound { roundness: spot.roundness, long_axis_rad: spot.long_axis_rad });
    }
    list
}

#[cfg(test)]
mod tests;
