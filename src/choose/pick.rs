//! The other way round: from what is wanted to cloth, layers, gap and pitch.
//!
//! # Method
//! Every combination of pitch, cloth and number of layers gets the smallest of the gaps on offer at which the glow is as soft as wanted;
//! a larger gap would only be thicker. Nine gaps are looked at, then halves below the first that does. Behind closed cloth dots never stand
//! out more at a larger gap; behind cloth with holes they do again from some gap on, and a stretch of soft gaps shorter than an eighth of
//! those on offer may be passed over. What then misses another want falls away, and is counted. Of the rest, those that nothing else beats in thickness, brightness, number of
//! pixels (where several pitches are on offer) and price (where all prices are known) are the trade-offs to choose from. They alone
//! are judged with the ranges that the cloths' uncertainty makes, and get the gap that is safe.
//!
//! Differences that no one would notice count as none: half a millimetre, and 5 % of luminance.

use super::pareto::unbeaten;
use crate::cloth::Cloth;
use crate::judge::numbers::{Judged, Layout, Numbers};
use crate::judge::softness::Softness;
use crate::quantity::Millimetres;
use crate::scene::Scene;
use crate::scene::variants::Replaced;
use rayon::prelude::*;
use std::sync::Arc;

/// Thicknesses are compared in steps of this many mm: cloth gives under the hand by more.
const SAME_MM: f64 = 0.5;
/// Luminances are compared in steps of this ratio: the eye sees 5 % side by side, and not from one day to the next.
const SAME_LIGHT: f64 = 1.05;
/// A gap is safe when the softness is met in at least this share of the samples.
pub const SAFE_SHARE: f64 = 0.9;

/// What is wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wants {
    /// How soft, at the scene's viewing distance.
    pub softness: Softness,
    /// Mean luminance in cd/m2 at least.
    pub at_least_cd_m2: Option<f64>,
    /// Share of the light kept at least.
    pub at_least_light: Option<f64>,
    /// Thickness of gap and cloths together in mm at most.
    pub at_most_mm: Option<f64>,
    /// Colour shift (CIEDE2000) below.
    pub colour_shift_below: Option<f64>,
    /// Price of a metre of the cloth for each layer below.
    pub price_below: Option<f64>,
}

/// What there is to choose from.
#[derive(Clone, Debug)]
pub struct Offer {
    /// The scene at each pitch on offer, with that pitch in mm; the scene's own pitch is `None` for single pixels.
    pub scenes: Vec<(Option<f64>, Scene)>,
    /// The cloths.
    pub cloths: Vec<Arc<Cloth>>,
    /// Numbers of layers.
    pub layers: Vec<usize>,
    /// Gaps between the pixels and the first cloth, in mm, rising.
    pub gaps_mm: Vec<f64>,
    /// Which cloth of the scene makes room.
    pub replaced: Replaced,
}

impl Offer {
    /// Number of combinations of pitch, cloth and layers.
    #[must_use]
    pub fn combinations(&self) -> usize {
        self.scenes.len() * self.cloths.len() * self.layers.len()
    }
}

/// One way to build it.
#[derive(Clone, Debug)]
pub struct Way {
    /// The scene built so.
    pub scene: Scene,
    /// The cloth.
    pub cloth: Arc<Cloth>,
    /// Its layers.
    pub layers: usize,
    /// Distance between neighbouring pixels in mm.
    pub pitch_mm: Option<f64>,
    /// Gap between the pixels and the first cloth in mm.
    pub gap_mm: f64,
    /// All numbers.
    pub numbers: Numbers,
    /// Price of a metre of the cloth for each layer; what stays below it is not counted.
    pub price: Option<f64>,
    /// Which of the offer's scenes it is made from.
    offered: usize,
}

/// A way that nothing beats, with what is known of it.
#[derive(Clone, Debug)]
pub struct Best {
    /// The way.
    pub way: Way,
    /// Its numbers with their samples.
    pub judged: Judged,
    /// Samples in which it is as soft as wanted.
    pub met: usize,
    /// The smallest gap on offer, in mm, at which [`SAFE_SHARE`] of the samples are; `None` when there is none.
    pub safe_gap_mm: Option<f64>,
}

impl Best {
    /// Share of the samples in which it is as soft as wanted.
    #[must_use]
    pub fn sureness(&self) -> f64 {
        if self.judged.samples.is_empty() { 1.0 } else { self.met as f64 / self.judged.samples.len() as f64 }
    }
}

/// Why ways fell away.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Missed {
    /// Too thick even at the smallest gap.
    Thickness,
    /// Keeps too little light.
    Light,
    /// Too dear, or without a price.
    Price,
    /// Not as soft as wanted at any gap on offer.
    Softness,
    /// Too dark.
    Luminance,
    /// Shifts the colour.
    Colour,
}

/// Ways that missed one want.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FellAway {
    /// The want, the first that was missed.
    pub missed: Missed,
    /// How many ways missed it.
    pub count: usize,
    /// What came nearest to it, in the want's own unit (dot visibility for softness); `None` when nothing has a value.
    pub nearest: Option<f64>,
}

/// What a search found.
#[derive(Clone, Debug)]
pub struct Picked {
    /// The best trade-offs, the thinnest first.
    pub best: Vec<Best>,
    /// Other ways that meet every want.
    pub others: Vec<Way>,
    /// What fell away and why.
    pub fell_away: Vec<FellAway>,
    /// Whether price was part of the comparison.
    pub by_price: bool,
}

/// Searches an offer. `done` is called after each combination.
#[must_use]
pub fn pick(offer: &Offer, wants: &Wants, done: &(dyn Fn() + Sync)) -> Picked {
    let layouts: Vec<Layout> = offer.scenes.iter().map(|(_, scene)| Layout::of(scene)).collect();
    let combinations: Vec<(usize, &Arc<Cloth>, usize)> = (0..offer.scenes.len())
        .flat_map(|s| offer.cloths.iter().map(move |cloth| (s, cloth)))
        .flat_map(|(s, cloth)| offer.layers.iter().map(move |&layers| (s, cloth, layers)))
        .collect();
    let tried: Vec<Result<Way, (Missed, Option<f64>)>> = combinations
        .par_iter()
        .map(|&(offered, cloth, layers)| {
            let way = try_way(offer, wants, &layouts[offered], (offered, cloth, layers));
            done();
            way
        })
        .collect();
    let mut ways = Vec::new();
    let mut missed = Vec::new();
    for result in tried {
        match result {
            Ok(way) => ways.push(way),
            Err(why) => missed.push(why),
        }
    }
    let by_price = !ways.is_empty() && ways.iter().all(|way| way.price.is_some());
    let costs: Vec<Vec<f64>> = ways.iter().map(|way| costs(way, by_price)).collect();
    let unbeaten = unbeaten(&costs);
    let (mut front, mut others) = (Vec::new(), Vec::new());
    for (i, way) in ways.into_iter().enumerate() {
        if unbeaten.contains(&i) { front.push(way) } else { others.push(way) }
    }
    front.sort_by(|a, b| {
        let key = |w: &Way| (w.numbers.thickness_mm, -w.numbers.mean_cd_m2);
        key(a).partial_cmp(&key(b)).unwrap_or(std::cmp::Ordering::Equal)
    });
    let best = front
        .into_par_iter()
        .map(|way| {
            let layout = &layouts[way.offered];
            judged(offer, wants, layout, way)
        })
        .collect();
    Picked { best, others, fell_away: fell_away(&missed), by_price }
}

/// What a maker pays for a way, in thickness, darkness, pixels and money.
fn costs(way: &Way, by_price: bool) -> Vec<f64> {
    let mut costs = vec![
        (way.numbers.thickness_mm / SAME_MM).round(),
        -(way.numbers.mean_cd_m2.max(f64::MIN_POSITIVE).ln() / SAME_LIGHT.ln()).round(),
        way.scene.pixels.len() as f64,
    ];
    if by_price {
        costs.push(way.price.unwrap_or(f64::NAN));
    }
    costs
}

/// The way of one combination, or the want that it misses and what it reaches.
fn try_way(
    offer: &Offer,
    wants: &Wants,
    layout: &Layout,
    (offered, cloth, layers): (usize, &Arc<Cloth>, usize),
) -> Result<Way, (Missed, Option<f64>)> {
    let (pitch_mm, scene) = &offer.scenes[offered];
    let scene = scene.behind(cloth, layers, offer.replaced);
    let price = cloth.price_per_m(layers);
    let thickness = |gap: f64| scene.at_gap(Millimetres(gap)).thickness().0;
    let least_gap = offer.gaps_mm.first().copied().unwrap_or(0.0);
    let gaps: Vec<f64> = offer
        .gaps_mm
        .iter()
        .copied()
        .filter(|&gap| wants.at_most_mm.is_none_or(|most| thickness(gap) <= most))
        .collect();
    if gaps.is_empty() {
        return Err((Missed::Thickness, Some(thickness(least_gap))));
    }
    if let Some(below) = wants.price_below
        && price.is_none_or(|price| price >= below)
    {
        return Err((Missed::Price, price));
    }
    let at = |gaps: &[f64]| layout.numbers_over_gaps(&scene, gaps);
    if let Some(least) = wants.at_least_light {
        let kept = layout.numbers(&scene.at_gap(Millimetres(gaps[0]))).light_kept;
        if kept < least {
            return Err((Missed::Light, Some(kept)));
        }
    }
    let gap_mm =
        smallest(&gaps, &at, &|n| soft_enough(wants, n)).map_err(|reached| (Missed::Softness, reached))?;
    let scene = scene.at_gap(Millimetres(gap_mm));
    let numbers = layout.numbers(&scene);
    if let Some(least) = wants.at_least_cd_m2
        && numbers.mean_cd_m2 < least
    {
        return Err((Missed::Luminance, Some(numbers.mean_cd_m2)));
    }
    if let Some(below) = wants.colour_shift_below
        && numbers.colour_shift.is_none_or(|shift| shift >= below)
    {
        return Err((Missed::Colour, numbers.colour_shift));
    }
    let cloth = Arc::clone(cloth);
    Ok(Way { scene, cloth, layers, pitch_mm: *pitch_mm, gap_mm, numbers, price, offered })
}

/// Whether the softness is met. Where no two pixels are neighbours there are no dots to judge, and nothing is met.
fn soft_enough(wants: &Wants, numbers: &Numbers) -> bool {
    numbers.dot_visibility.is_some_and(|v| wants.softness.is_met_by(v))
}

/// Gaps tried at once before the search by halves.
const STEPS: usize = 8;

/// The first of rising gaps whose numbers are good: from a few at once (which share most of the work), then by halves before the first
/// good one. The error holds the least dot visibility found.
fn smallest(
    gaps: &[f64],
    at: &dyn Fn(&[f64]) -> Vec<Numbers>,
    good: &dyn Fn(&Numbers) -> bool,
) -> Result<f64, Option<f64>> {
    let last = gaps.len() - 1;
    let mut tried: Vec<usize> = (0..=STEPS).map(|i| i * last / STEPS).collect();
    tried.dedup();
    let numbers = at(&tried.iter().map(|&i| gaps[i]).collect::<Vec<_>>());
    let Some(first) = numbers.iter().position(good) else {
        let least = numbers.iter().filter_map(|n| n.dot_visibility).fold(f64::INFINITY, f64::min);
        return Err(least.is_finite().then_some(least));
    };
    if first == 0 {
        return Ok(gaps[0]);
    }
    let (mut bad, mut end) = (tried[first - 1], tried[first]);
    while end - bad > 1 {
        let middle = usize::midpoint(bad, end);
        if at(&[gaps[middle]]).iter().all(good) { end = middle } else { bad = middle }
    }
    Ok(gaps[end])
}

/// So many gaps beyond the one found are looked at together before the search for a safe one goes farther.
const NEAR: usize = 4;

/// A way with its ranges and its safe gap.
fn judged(offer: &Offer, wants: &Wants, layout: &Layout, way: Way) -> Best {
    let judged = layout.judged(&way.scene);
    let met = |judged: &Judged| judged.samples.iter().filter(|n| soft_enough(wants, n)).count();
    let safe = |judged: &Judged| met(judged) as f64 >= SAFE_SHARE * judged.samples.len() as f64;
    let fits = |gap: f64| {
        wants.at_most_mm.is_none_or(|most| way.scene.at_gap(Millimetres(gap)).thickness().0 <= most)
    };
    let wider: Vec<f64> =
        offer.gaps_mm.iter().copied().filter(|&gap| gap > way.gap_mm && fits(gap)).collect();
    let safe_at = |gap: f64| safe(&layout.judged(&way.scene.at_gap(Millimetres(gap))));
    let safe_gap_mm = if safe(&judged) {
        Some(way.gap_mm)
    } else if wants.softness == Softness::Dots {
        // A larger gap makes no harder dots.
        None
    } else {
        let (near, far) = wider.split_at(wider.len().min(NEAR));
        let at_near = layout.judged_over_gaps(&way.scene, near);
        let found = near.iter().zip(&at_near).find(|(_, judged)| safe(judged)).map(|(gap, _)| *gap);
        found.or_else(|| first_from(far, &safe_at))
    };
    Best { met: met(&judged), judged, way, safe_gap_mm }
}

/// The first of rising gaps that is good, by halves after strides that double.
fn first_from(gaps: &[f64], good: &dyn Fn(f64) -> bool) -> Option<f64> {
    let mut bad = None;
    let mut reach = 1;
    let mut end = loop {
        let at = (reach - 1).min(gaps.len().checked_sub(1)?);
        if good(gaps[at]) {
            break at;
        }
        bad = Some(at);
        if at + 1 == gaps.len() {
            return None;
        }
        reach *= 2;
    };
    while end > bad.map_or(0, |b| b + 1) {
        let middle = usize::midpoint(bad.map_or(0, |b| b + 1), end);
        if good(gaps[middle]) { end = middle } else { bad = Some(middle) }
    }
    Some(gaps[end])
}

fn fell_away(missed: &[(Missed, Option<f64>)]) -> Vec<FellAway> {
    let mut all: Vec<FellAway> = Vec::new();
    for &(why, reached) in missed {
        let more_is_nearer = matches!(why, Missed::Light | Missed::Luminance);
        let nearer = |a: f64, b: f64| if more_is_nearer { a.max(b) } else { a.min(b) };
        match all.iter_mut().find(|known| known.missed == why) {
            Some(known) => {
                known.count += 1;
                known.nearest = match (known.nearest, reached) {
                    (Some(a), Some(b)) => Some(nearer(a, b)),
                    (a, b) => a.or(b),
                };
            }
            None => all.push(FellAway { missed: why, count: 1, nearest: reached }),
        }
    }
    all.sort_by_key(|f| f.missed);
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cloth::catalogue::{CatalogueOnly, by_name};
    use crate::scene::file::{resolve, resolve_at_pitch};

    const SCENE: &str = "pixels: [strip: {pitch_mm: 10, count: 8}]\nstack: [{gap_mm: 6, cloth: jersey}]\nlight: {level: 0.4}\n";

    fn offer(cloths: &[&str]) -> Offer {
        let scene = resolve(SCENE, "test", &CatalogueOnly).expect("in order").scene;
        Offer {
            scenes: vec![(Some(10.0), scene)],
            cloths: cloths.iter().map(|name| by_name(name).expect("listed").expect("in order")).collect(),
            layers: vec![1],
            gaps_mm: (0..=30).map(f64::from).collect(),
            replaced: Replaced::Outermost,
        }
    }

    const SMOOTH: Wants = Wants {
        softness: Softness::Smooth,
        at_least_cd_m2: None,
        at_least_light: None,
        at_most_mm: None,
        colour_shift_below: None,
        price_below: None,
    };

    #[test]
    fn the_gap_found_is_the_smallest_that_does() {
        let offer = offer(&["felt-wool-ivory"]);
        let picked = pick(&offer, &SMOOTH, &|| ());
        let way = &picked.best[0].way;
        let layout = Layout::of(&offer.scenes[0].1);
        let visibility = |gap: f64| {
            layout.numbers(&way.scene.at_gap(Millimetres(gap))).dot_visibility.expect("neighbours")
        };
        assert!(visibility(way.gap_mm) < 1.0 && visibility(way.gap_mm - 1.0) >= 1.0, "{}", way.gap_mm);
        let safe = picked.best[0].safe_gap_mm.expect("within 30 mm");
        assert!(safe >= way.gap_mm);
        let at_safe = layout.judged(&way.scene.at_gap(Millimetres(safe)));
        let met = at_safe.samples.iter().filter(|n| n.dot_visibility.is_some_and(|v| v < 1.0)).count();
        assert!(met as f64 >= SAFE_SHARE * at_safe.samples.len() as f64);
    }

    #[test]
    fn what_falls_away_is_counted_once_with_what_came_nearest() {
        let offer = offer(&["felt-wool-ivory", "felt-wool-ivory-5", "organza", "jersey"]);
        let wants = Wants { at_least_light: Some(0.1), at_most_mm: Some(20.0), ..SMOOTH };
        let picked = pick(&offer, &wants, &|| ());
        let fallen: usize = picked.fell_away.iter().map(|f| f.count).sum();
        assert_eq!(picked.best.len() + picked.others.len() + fallen, offer.combinations());
        let open =
            picked.fell_away.iter().find(|f| f.missed == Missed::Softness).expect("organza hides nothing");
        assert!(open.nearest.expect("judged") >= 1.0);
        for way in picked.best.iter().map(|b| &b.way).chain(&picked.others) {
            assert!(way.numbers.light_kept >= 0.1 && way.numbers.thickness_mm <= 20.0);
        }
        let none = pick(&offer, &Wants { at_most_mm: Some(0.1), ..SMOOTH }, &|| ());
        assert!(none.best.is_empty() && none.fell_away[0].missed == Missed::Thickness);
    }

    #[test]
    fn denser_pixels_need_less_room_and_are_dearer() {
        let mut offer = offer(&["felt-wool-ivory"]);
        let dense = resolve_at_pitch(SCENE, "test", &CatalogueOnly, 5.0).expect("in order").scene;
        assert_eq!(dense.pixels.len(), 15);
        offer.scenes.push((Some(5.0), dense));
        let picked = pick(&offer, &SMOOTH, &|| ());
        assert_eq!(picked.best.len(), 2, "thinner and more pixels against thicker and fewer");
        assert!(picked.best[0].way.pitch_mm < picked.best[1].way.pitch_mm);
        assert!(picked.best[0].way.numbers.thickness_mm < picked.best[1].way.numbers.thickness_mm);
    }

    #[test]
    fn the_first_good_gap_is_found_wherever_it_lies() {
        let gaps: Vec<f64> = (0..23).map(f64::from).collect();
        for first in 0..23 {
            assert_eq!(first_from(&gaps, &|gap| gap >= f64::from(first)), Some(f64::from(first)));
        }
        assert_eq!(first_from(&gaps, &|_| false), None);
        assert_eq!(first_from(&[], &|_| true), None);
    }
}
