//! Pixels laid along curves.
//!
//! Pixels on a *wire* sit a pitch apart along the curve, wherever it goes. A *strip* is cut into whole pixels, each of which takes one
//! pitch of it, half on either side; it does not go around corners: there it is cut and goes on behind. Across a gap between two
//! pieces the pixels are as far apart as the drawing makes them.

use super::curve::{Curve, FIT_MM, Piece};
use super::layout::Place;
use crate::quantity::Millimetres;

/// What is laid along a curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Flat strip: cut at whole pixels, one pitch each, and at corners.
    Strip,
    /// Bendable wire: follows every curve and corner.
    Wire,
}

/// How pixels are laid along a curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Laying {
    /// What is laid.
    pub kind: Kind,
    /// Distance from pixel to pixel along the curve.
    pub pitch_mm: f64,
    /// Where the first pixel sits along the first piece; else half a pitch from its start for a strip, at its start for a wire.
    pub start_mm: Option<f64>,
    /// Number of pixels; else as many as fit.
    pub count: Option<usize>,
    /// Whether packages turn with the curve.
    pub turned: bool,
}

/// What lies on one piece of the curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cut {
    /// Number of pixels.
    pub pixels: usize,
    /// Length to be cut: a pitch for each pixel of a strip, from the first to the last on a wire.
    pub cut_mm: f64,
    /// What is left of the piece of the drawing: its length less the cut one.
    pub left_mm: f64,
}

impl Laying {
    fn start_on(&self, piece: usize) -> f64 {
        let usual = match self.kind {
            Kind::Strip => 0.5 * self.pitch_mm,
            Kind::Wire => 0.0,
        };
        self.start_mm.filter(|_| piece == 0).unwrap_or(usual)
    }

    /// Pixels that fit on a piece. A float, since a short pitch on a long curve may give more than anybody wants.
    fn fitting(&self, piece: &Piece, index: usize) -> f64 {
        let start = self.start_on(index);
        if start > piece.length_mm + FIT_MM {
            return 0.0;
        }
        let after = match self.kind {
            // The last pixel's half pitch belongs to the strip.
            Kind::Strip => 0.5,
            Kind::Wire => 1.0,
        };
        let along = ((piece.length_mm - start + FIT_MM) / self.pitch_mm + after).floor().max(0.0);
        // Around a closed curve the last pixel keeps its distance from the first.
        let around = ((piece.length_mm + FIT_MM) / self.pitch_mm).floor();
        match self.kind {
            _ if !piece.closed => along,
            Kind::Strip => around,
            Kind::Wire => around.max(1.0),
        }
    }

    /// Pixels that fit on the whole curve.
    #[must_use]
    pub fn most(&self, curve: &Curve) -> f64 {
        curve.pieces.iter().enumerate().map(|(i, piece)| self.fitting(piece, i)).sum()
    }

    /// How many pixels lie on each piece and what is cut for it.
    #[must_use]
    pub fn cuts(&self, curve: &Curve) -> Vec<Cut> {
        let mut wanted = self.count.unwrap_or(usize::MAX);
        let pieces = curve.pieces.iter().enumerate();
        pieces
            .map(|(i, piece)| {
                let pixels = (self.fitting(piece, i) as usize).min(wanted);
                wanted -= pixels;
                let cut_mm = match self.kind {
                    Kind::Strip => self.pitch_mm * pixels as f64,
                    Kind::Wire => self.pitch_mm * pixels.saturating_sub(1) as f64,
                };
                Cut { pixels, cut_mm, left_mm: piece.length_mm - cut_mm }
            })
            .collect()
    }

    /// The places of the pixels along the curve, piece after piece. Cut a strip's curve at its corners first.
    #[must_use]
    pub fn places(&self, curve: &Curve) -> Vec<Place> {
        let mut places = Vec::new();
        for (i, (piece, cut)) in curve.pieces.iter().zip(self.cuts(curve)).enumerate() {
            let start = self.start_on(i);
            places.extend((0..cut.pixels).map(|pixel| {
                let along = start + self.pitch_mm * pixel as f64;
                let along = if piece.closed { along.rem_euclid(piece.length_mm) } else { along };
                let spot = piece.at(along);
                let turn_rad = if self.turned { spot.direction_rad } else { 0.0 };
                Place { at: spot.at.map(Millimetres), turn_rad }
            }));
        }
        places
    }
}
