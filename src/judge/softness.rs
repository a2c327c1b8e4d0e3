//! How soft a glow is, in three words that each stand for a number.
//!
//! The number is the dot visibility V at the viewing distance ([`super::dots`]): contrast of the dots over the eye's threshold.
//! The bounds are this project's own definition, no standard: at the threshold an average observer finds the dots half of the
//! time; three times above it they are found at a glance, and ten times above it they are what the garment looks like.

/// Below this dot visibility no dots show.
pub const SMOOTH_BELOW: f64 = 1.0;
/// Up to this dot visibility the glow is soft: dots can be found, but have melted into each other.
pub const SOFT_UP_TO: f64 = 3.0;
/// From this dot visibility on the dots are the look.
pub const DOTS_FROM: f64 = 10.0;

/// How soft a glow a maker wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Softness {
    /// The dots are the look: V at least [`DOTS_FROM`].
    Dots,
    /// Dots have melted into each other but can be found: V at most [`SOFT_UP_TO`].
    Soft,
    /// No dots show: V below [`SMOOTH_BELOW`].
    Smooth,
}

impl Softness {
    /// All three, from hard to smooth.
    pub const ALL: [Softness; 3] = [Softness::Dots, Softness::Soft, Softness::Smooth];

    /// Its word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Softness::Dots => "dots",
            Softness::Soft => "soft",
            Softness::Smooth => "smooth",
        }
    }

    /// The dot visibility that bounds it: the least for dots, the greatest for the others.
    #[must_use]
    pub fn bound(self) -> f64 {
        match self {
            Softness::Dots => DOTS_FROM,
            Softness::Soft => SOFT_UP_TO,
            Softness::Smooth => SMOOTH_BELOW,
        }
    }

    /// Whether a dot visibility is what is wanted. A smooth glow is soft as well.
    #[must_use]
    pub fn is_met_by(self, dot_visibility: f64) -> bool {
        match self {
            Softness::Dots => dot_visibility >= DOTS_FROM,
            Softness::Soft => dot_visibility <= SOFT_UP_TO,
            Softness::Smooth => dot_visibility < SMOOTH_BELOW,
        }
    }

    /// What it means, with its number.
    #[must_use]
    pub fn in_words(self) -> &'static str {
        match self {
            Softness::Dots => "the dots are the look: at least 10 times over the eye's threshold",
            Softness::Soft => "dots have melted into each other: at most 3 times over the eye's threshold",
            Softness::Smooth => "no dots show: below the eye's threshold",
        }
    }
}

/// What a dot visibility looks like, in plain words.
#[must_use]
pub fn look(dot_visibility: f64) -> &'static str {
    match dot_visibility {
        v if v < SMOOTH_BELOW => "no dots",
        v if v <= SOFT_UP_TO => "soft",
        v if v < DOTS_FROM => "dots show",
        _ => "hard dots",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_stand_for_their_numbers() {
        for (v, words, met) in [
            (0.5, "no dots", [false, true, true]),
            (1.0, "soft", [false, true, false]),
            (3.0, "soft", [false, true, false]),
            (5.0, "dots show", [false, false, false]),
            (10.0, "hard dots", [true, false, false]),
        ] {
            assert_eq!(look(v), words);
            assert_eq!(Softness::ALL.map(|s| s.is_met_by(v)), met, "{v}");
        }
    }
}
