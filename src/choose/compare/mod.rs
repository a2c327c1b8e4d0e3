//! Which cloth? One scene behind many cloths, in layers and at gaps, judged and put in order.
//!
//! A *candidate* is a cloth, a number of layers and a gap ([`Wanted::candidates`]); a *row* is a candidate with its numbers
//! ([`judged`]). Rows are put in order ([`sort`]), those that do not meet a want taken out ([`filter`]), and graded in plain words
//! ([`verdict`]); [`contact`] makes the cells of the contact sheet.

pub mod contact;
pub mod filter;
pub mod verdict;
pub mod words;

use crate::cloth::Cloth;
use crate::judge::numbers::{Judged, Layout, Numbers};
use crate::light::straight::{STRAIGHT_AT, straight_transmittance};
use crate::quantity::Millimetres;
use crate::scene::Scene;
use crate::scene::shape::MOST_LAYERS;
use crate::scene::variants::Replaced;
use rayon::prelude::*;
use std::sync::Arc;

/// The most candidates of one comparison. Each takes some tenths of a second; more than this is a search, not a comparison.
pub const MOST_CANDIDATES: usize = 2000;
/// Two candidates are told apart when one is the better in this share of all pairs of their samples. It is the outer end of the
/// ranges that are shown, so that ranges which overlap strongly are never put in an order.
const TOLD_APART: f64 = 0.9;
/// Nor are they told apart when their numbers differ by less than this factor: no label and no eye tells so little.
const LEAST_FACTOR: f64 = 1.1;

/// What is to be compared.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// The cloths.
    pub cloths: Vec<Arc<Cloth>>,
    /// Numbers of layers; one layer when empty.
    pub layers: Vec<usize>,
    /// Gaps below the first cloth; the scene's own when empty.
    pub gaps: Vec<Millimetres>,
    /// Which of the scene's cloths the candidates take the place of.
    pub replaced: Replaced,
}

/// Why a comparison cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Unfit {
    /// Nothing says how far off the cloth stands.
    #[error("the scene has no cloth, so nothing says how far off a cloth would stand")]
    NoGap,
    /// More cloths upon each other than a scene may have.
    #[error("the scene would have {would} cloths upon each other; at most {MOST_LAYERS} are possible")]
    TooManyLayers {
        /// So many.
        would: usize,
    },
    /// Too much work.
    #[error(
        "{cloths} cloths, {layers} numbers of layers and {gaps} gaps make {} candidates; at most {MOST_CANDIDATES} are possible",
        cloths * layers * gaps
    )]
    TooMany {
        /// Number of cloths.
        cloths: usize,
        /// Numbers of layers.
        layers: usize,
        /// Number of gaps.
        gaps: usize,
    },
}

/// One cloth in one number of layers at one gap.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// The cloth.
    pub cloth: Arc<Cloth>,
    /// Layers of it upon each other.
    pub layers: usize,
    /// Gap below the first cloth of the scene.
    pub gap: Millimetres,
    /// Which cloths it takes the place of.
    pub replaced: Replaced,
}

impl Candidate {
    /// The scene behind this candidate.
    #[must_use]
    pub fn scene(&self, base: &Scene) -> Scene {
        base.behind(&self.cloth, self.layers, self.replaced).at_gap(self.gap)
    }

    /// Price of the bolt's metre times the layers, in the user's own currency; `None` where the cloth has no price.
    #[must_use]
    pub fn price_per_m(&self) -> Option<f64> {
        self.cloth.price_per_m(self.layers)
    }

    /// Board to outer face, with all that stays below the candidate.
    #[must_use]
    pub fn thickness(&self, base: &Scene) -> Millimetres {
        self.scene(&stack_of(base)).thickness()
    }
}

/// The scene without its pixels, of which there may be many.
fn stack_of(scene: &Scene) -> Scene {
    Scene {
        name: scene.name.clone(),
        board_reflectance: scene.board_reflectance,
        pixels: Vec::new(),
        stack: scene.stack.clone(),
        view: scene.view.clone(),
        supply: None,
        piece: scene.piece.clone(),
        pattern: None,
    }
}

impl Wanted {
    /// All candidates: gap by gap, in it by layers, in it by cloth. Layers and gaps that are named twice count once.
    ///
    /// # Errors
    /// Why there can be none.
    pub fn candidates(&self, scene: &Scene) -> Result<Vec<Candidate>, Unfit> {
        let mut layers = if self.layers.is_empty() { vec![1] } else { self.layers.clone() };
        layers.sort_unstable();
        layers.dedup();
        let own = scene.stack.first().map(|placed| placed.gap_below.0);
        let mut gaps: Vec<f64> = self.gaps.iter().map(|gap| gap.0).collect();
        if gaps.is_empty() {
            gaps.push(own.ok_or(Unfit::NoGap)?);
        }
        gaps.sort_by(f64::total_cmp);
        gaps.dedup();
        let would = self.stays_below(scene).len() + layers.last().copied().unwrap_or(1);
        if would > MOST_LAYERS {
            return Err(Unfit::TooManyLayers { would });
        }
        let (cloths, layer_count) = (self.cloths.len(), layers.len());
        if cloths.saturating_mul(layer_count).saturating_mul(gaps.len()) > MOST_CANDIDATES {
            return Err(Unfit::TooMany { cloths, layers: layer_count, gaps: gaps.len() });
        }
        let mut candidates = Vec::new();
        for &gap in &gaps {
            for &layers in &layers {
                candidates.extend(self.cloths.iter().map(|cloth| Candidate {
                    cloth: Arc::clone(cloth),
                    layers,
                    gap: Millimetres(gap),
                    replaced: self.replaced,
                }));
            }
        }
        Ok(candidates)
    }

    /// The scene's cloths that stay below the candidates, from the pixels outwards.
    #[must_use]
    pub fn stays_below<'a>(&self, scene: &'a Scene) -> &'a [crate::scene::PlacedCloth] {
        match self.replaced {
            Replaced::Outermost => &scene.stack[..scene.stack.len().saturating_sub(1)],
            Replaced::All => &[],
        }
    }
}

/// A candidate and its numbers.
#[derive(Clone, Debug)]
pub struct Row {
    /// The candidate.
    pub candidate: Candidate,
    /// Its numbers with their ranges.
    pub judged: Judged,
    /// Share of the light that comes straight through, unscattered: through holes or thin cloth.
    pub straight: f64,
}

/// Judges candidates, in parallel; the rows stand in their order. `done` is called after each.
#[must_use]
pub fn judged(scene: &Scene, candidates: &[Candidate], done: &(dyn Fn() + Sync)) -> Vec<Row> {
    let layout = Layout::of(scene);
    candidates
        .par_iter()
        .map(|candidate| {
            let scene = candidate.scene(scene);
            let straight = straight_transmittance(&scene.stack_at(STRAIGHT_AT).layers);
            let judged = layout.judged(&scene);
            done();
            Row { candidate: candidate.clone(), judged, straight }
        })
        .collect()
}

/// What comes first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Order {
    /// Fewest dots first; where no two pixels are neighbours, the widest spot first.
    #[default]
    Dots,
    /// Most light first.
    Light,
    /// Thinnest first.
    Thickness,
    /// Cheapest first, those without a price last.
    Price,
}

impl Order {
    /// All four.
    pub const ALL: [Order; 4] = [Order::Dots, Order::Light, Order::Thickness, Order::Price];

    /// Its word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Order::Dots => "dots",
            Order::Light => "light",
            Order::Thickness => "thickness",
            Order::Price => "price",
        }
    }

    /// What comes first, in words.
    #[must_use]
    pub fn in_words(self) -> &'static str {
        match self {
            Order::Dots => "fewest dots first",
            Order::Light => "most light first",
            Order::Thickness => "thinnest first",
            Order::Price => "cheapest first, unknown prices last",
        }
    }

    /// The number that is put in order, smaller is better; unknown is last.
    fn key(self, row: &Row, numbers: &Numbers) -> f64 {
        match self {
            Order::Dots => match (numbers.dot_visibility, numbers.spot_width_mm) {
                (Some(visibility), _) => visibility,
                (None, Some(width)) => 1.0 / width,
                (None, None) => f64::INFINITY,
            },
            Order::Light => 1.0 / numbers.light_kept,
            Order::Thickness => numbers.thickness_mm,
            Order::Price => row.candidate.price_per_m().unwrap_or(f64::INFINITY),
        }
    }
}

/// Puts rows in order; equal ones by the light they keep, then as they stood.
pub fn sort(rows: &mut [Row], order: Order) {
    let light = |row: &Row| row.judged.value.light_kept;
    rows.sort_by(|a, b| {
        let (one, other) = (order.key(a, &a.judged.value), order.key(b, &b.judged.value));
        one.total_cmp(&other).then(light(b).total_cmp(&light(a)))
    });
}

/// Whether two rows can be told apart in what they are ordered by: one has to be better than the other by more than a tenth, and
/// in nine of ten pairs of samples of what the cloths' descriptions leave open. The cloths' uncertainties are independent, so
/// every sample of one is held against every sample of the other.
#[must_use]
pub fn told_apart(a: &Row, b: &Row, order: Order) -> bool {
    let middle = [a, b].map(|row| order.key(row, &row.judged.value));
    if middle[0] == middle[1] {
        return false;
    }
    // Thickness and price are known, not estimated.
    if matches!(order, Order::Thickness | Order::Price) {
        return true;
    }
    let (low, high) = (middle[0].min(middle[1]), middle[0].max(middle[1]));
    if high < LEAST_FACTOR * low {
        return false;
    }
    let [one, other] = [a, b].map(|row| {
        let value = std::slice::from_ref(&row.judged.value);
        let samples = if row.judged.samples.is_empty() { value } else { &row.judged.samples };
        samples.iter().map(|numbers| order.key(row, numbers)).collect::<Vec<_>>()
    });
    let pairs = one.iter().flat_map(|x| other.iter().map(move |y| (x, y)));
    let below = pairs.filter(|(x, y)| x < y).count() as f64 / (one.len() * other.len()) as f64;
    below >= TOLD_APART || below <= 1.0 - TOLD_APART
}

#[cfg(test)]
mod tests;
