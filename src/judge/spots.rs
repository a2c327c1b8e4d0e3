//! The spots of a scene's pixels, each over its own gap.

use crate::picture::die_spots::Folded;
use crate::picture::gap_classes::GapClasses;

/// The spots over the classes of gaps, and what each pixel's spot is made of.
#[derive(Clone, Debug)]
pub(super) struct Spots {
    /// By class, at least one.
    pub(super) folded: Vec<Folded>,
    pub(super) classes: GapClasses,
}

impl Spots {
    /// Whether all pixels have the same gap.
    pub(super) fn level(&self) -> bool {
        self.folded.len() == 1
    }

    /// Over the lowest gap.
    pub(super) fn lowest(&self) -> &Folded {
        &self.folded[0]
    }

    /// Over the highest gap.
    pub(super) fn highest(&self) -> &Folded {
        &self.folded[self.folded.len() - 1]
    }

    /// The highest gap in mm.
    pub(super) fn highest_mm(&self) -> f64 {
        self.classes.gaps_mm[self.classes.gaps_mm.len() - 1]
    }

    /// What the pixels' amounts of light count in one class.
    pub(super) fn amounts(&self, class: usize, amounts: &[f64]) -> Vec<f64> {
        amounts.iter().enumerate().map(|(pixel, amount)| amount * self.classes.share(pixel, class)).collect()
    }
}
