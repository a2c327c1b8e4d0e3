//! What would do it where no gap does: other pixels, more cloth, another distance; each computed, and told only if it does.
//!
//! # Assumptions
//! Pixels are sold at the pitches of [`USUAL_PITCHES_MM`] (60, 100, 144 and 200 to the metre: common practice, no source). Twice
//! the mass is taken as twice the fibres in the same thickness: twice the extinction, and holes only where both halves have
//! them (the square of the openness); half the mass the other way round.

use super::curve::whole_step;
use super::{Curve, ROUGH, Subject, gaps, seen};
use crate::cloth::Cloth;
use crate::judge::numbers::Numbers;
use crate::judge::softness::Softness;
use crate::light::straight::{STRAIGHT_AT, straight_transmittance};
use crate::quantity::{Millimetres, PerMillimetre};
use crate::scene::shape::{DISTANCE_M, GAP_MM, MOST_LAYERS};
use crate::scene::{PlacedCloth, Scene};
use std::sync::Arc;

/// Pitches that strips are sold in, in mm: 30, 60, 100, 144 and 200 to the metre.
pub const USUAL_PITCHES_MM: [f64; 5] = [33.33, 16.67, 10.0, 6.94, 5.0];
/// A pitch this much smaller or larger than the present one is another one.
const OTHER_PITCH: f64 = 0.9;
/// Gaps and distances beyond those looked at are tried in such steps.
const LADDER: f64 = 1.25;
/// Halvings of the last step of the ladder of distances: a distance to about 1 %.
const HALVINGS: usize = 5;
/// Gaps of the first look at a change.
const FIRST_LOOK: usize = 6;
/// A change whose best gap of the first look is so many times off is given up: its true best lies between two gaps of that look,
/// and visibility falls by less than that from one to the next near its least value.
const HOPELESS: f64 = 10.0;
/// Straight light below this share of a pixel's light is no reason.
const SOME_STRAIGHT: f64 = 1e-4;
/// Dots that show this much more at the largest gap than at the best one come back.
const COME_BACK: f64 = 1.05;

/// One change to a scene.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// Pixels this many mm apart.
    Pitch(f64),
    /// One more layer of the outermost cloth, on the outside.
    MoreLayers,
    /// The outermost cloth twice as heavy.
    MoreMass,
    /// One more layer, and pixels this many mm apart.
    LayersAndPitch(f64),
    /// This cloth over the outermost one, upon it.
    Cover(Arc<Cloth>),
    /// A gap outside those that were looked at.
    OtherGap,
    /// Seen from this many metres.
    Distance(f64),
    /// Without the outermost cloth.
    FewerLayers,
    /// The outermost cloth half as heavy.
    LessMass,
}

/// A change that does it.
#[derive(Clone, Debug, PartialEq)]
pub struct Remedy {
    /// The change.
    pub change: Change,
    /// The gap in whole mm at which it then does.
    pub gap_mm: f64,
    /// The numbers there, as estimated, without ranges.
    pub numbers: Numbers,
}

/// Why no gap does it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reason {
    /// Light comes straight through holes: this share of a pixel's light straight ahead; with the holes closed, this gap in mm
    /// would do.
    Holes {
        /// Share of the light, 0 to 1.
        straight: f64,
        /// Gap that would do with the holes closed.
        closed_mm: f64,
    },
    /// This share of the light passes without being scattered, through holes or between the fibres of thin cloth, and dots show
    /// more again at larger gaps.
    Unscattered {
        /// Share of the light, 0 to 1.
        straight: f64,
    },
}

/// Why no gap from `from_mm` to `to_mm` gives a soft or smooth glow, if it is the bare light that comes straight through.
#[must_use]
pub fn reason(subject: &Subject, from_mm: f64, to_mm: f64, want: Softness, curve: &Curve) -> Option<Reason> {
    let straight = straight(&subject.scene);
    if want == Softness::Dots || straight < SOME_STRAIGHT {
        return None;
    }
    let mut closed = subject.scene.clone();
    for placed in &mut closed.stack {
        placed.cloth = Arc::new(Cloth { openness: 0.0, ..(*placed.cloth).clone() });
    }
    let closed_mm = Subject { scene: closed, ..subject.clone() }
        .rough(from_mm, to_mm, ROUGH)
        .deciding(want)
        .filter(|_| subject.scene.stack.iter().any(|placed| placed.cloth.openness > 0.0));
    if let Some(closed_mm) = closed_mm {
        return Some(Reason::Holes { straight, closed_mm });
    }
    let best = curve.best(want)?.1;
    (curve.at(to_mm) > COME_BACK * best).then_some(Reason::Unscattered { straight })
}

/// Share of a pixel's light straight ahead that comes through without being scattered.
fn straight(scene: &Scene) -> f64 {
    straight_transmittance(&scene.stack_at(STRAIGHT_AT).layers)
}

/// The changes that do it within the gaps from `from_mm` to `to_mm`. `at_pitch` gives the scene with its pixels so many mm apart,
/// if that can be; `covers` are cloths that may lie over the outermost one where bare light comes through. `best_mm` is the gap that comes nearest. `done` is called after each, [`TRIED`] times at most.
#[must_use]
pub fn remedies(
    subject: &Subject,
    (from_mm, to_mm): (f64, f64),
    want: Softness,
    best_mm: f64,
    at_pitch: &dyn Fn(f64) -> Option<Scene>,
    covers: &[Arc<Cloth>],
    done: &dyn Fn(),
) -> Vec<Remedy> {
    let scene = subject.scene();
    let tried = |change: Change, scene: Scene| {
        let found = tried(scene, from_mm, to_mm, want);
        done();
        found.map(|(gap_mm, numbers)| Remedy { change, gap_mm, numbers })
    };
    let pitches = other_pitches(subject.pitch_mm, want);
    let pitch =
        pitches.iter().find_map(|&mm| at_pitch(mm).and_then(|denser| tried(Change::Pitch(mm), denser)));
    let cloths = if want == Softness::Dots {
        [
            fewer_layers(scene).and_then(|fewer| tried(Change::FewerLayers, fewer)),
            tried(Change::LessMass, with_mass(scene, 0.5)),
        ]
    } else {
        [
            more_layers(scene).and_then(|more| tried(Change::MoreLayers, more)),
            tried(Change::MoreMass, with_mass(scene, 2.0)),
        ]
    };
    let mut found: Vec<Remedy> = pitch.into_iter().chain(cloths.into_iter().flatten()).collect();
    if found.is_empty() && want != Softness::Dots {
        let both = pitches.iter().find_map(|&mm| {
            let denser = at_pitch(mm)?;
            tried(Change::LayersAndPitch(mm), more_layers(&denser)?)
        });
        found.extend(both);
    }
    if want != Softness::Dots && straight(scene) >= SOME_STRAIGHT {
        let covers = best_covers(subject, to_mm, want, covers);
        found.extend(covers.into_iter().filter_map(|(cloth, covered)| tried(Change::Cover(cloth), covered)));
    }
    found.extend(other_gap(subject, from_mm, to_mm, want));
    done();
    found.extend(other_distance(subject, best_mm, want));
    done();
    found
}

/// Steps of [`remedies`], at most.
pub const TRIED: usize = 2 * USUAL_PITCHES_MM.len() + 6;

/// The usual pitches to try, nearest to the present one first: denser ones, or wider ones for dots. Beyond the usual ones, half
/// or twice the present one.
fn other_pitches(present: f64, want: Softness) -> Vec<f64> {
    let mut other: Vec<f64> = USUAL_PITCHES_MM.to_vec();
    if want == Softness::Dots {
        other.reverse();
        other.retain(|mm| OTHER_PITCH * mm > present);
    } else {
        other.retain(|mm| *mm < OTHER_PITCH * present);
    }
    if other.is_empty() {
        other.push(if want == Softness::Dots { 2.0 * present } else { 0.5 * present });
    }
    other
}

/// The whole millimetre at which a scene does it, and its numbers there.
fn tried(scene: Scene, from_mm: f64, to_mm: f64, want: Softness) -> Option<(f64, Numbers)> {
    let subject = Subject::new(scene).ok()?;
    let (_, best) = subject.rough(from_mm, to_mm, FIRST_LOOK).best(want)?;
    let far_off = if want == Softness::Dots { want.bound() / best } else { best / want.bound() };
    if far_off > HOPELESS {
        return None;
    }
    let curve = subject.rough(from_mm, to_mm, ROUGH);
    let stretch = subject.refined(&curve, want)?;
    does(&subject, whole_step(want, &stretch)?, want)
}

/// The numbers at a gap if it does.
fn does(subject: &Subject, gap_mm: f64, want: Softness) -> Option<(f64, Numbers)> {
    let numbers = subject.numbers(&[gap_mm]).into_iter().next()?;
    want.is_met_by(seen(&numbers)).then_some((gap_mm, numbers))
}

fn more_layers(scene: &Scene) -> Option<Scene> {
    with_layer(scene, &scene.stack.last()?.cloth)
}

/// The scene with one more cloth upon the outermost one, if there may be so many.
fn with_layer(scene: &Scene, cloth: &Arc<Cloth>) -> Option<Scene> {
    let mut more = scene.clone();
    more.stack.push(PlacedCloth { gap_below: Millimetres(0.0), cloth: Arc::clone(cloth), sleeve: false });
    (more.stack.len() <= MOST_LAYERS).then_some(more)
}

fn fewer_layers(scene: &Scene) -> Option<Scene> {
    let mut fewer = scene.clone();
    fewer.stack.pop().filter(|_| !fewer.stack.is_empty()).map(|_| fewer)
}

/// The scene with so many times the mass of its outermost cloth.
fn with_mass(scene: &Scene, times: f64) -> Scene {
    let mut heavier = scene.clone();
    if let Some(placed) = heavier.stack.last_mut() {
        let cloth = &*placed.cloth;
        placed.cloth = Arc::new(Cloth {
            extinction: PerMillimetre(times * cloth.extinction.0),
            openness: cloth.openness.powf(times),
            areal_mass_g_m2: cloth.areal_mass_g_m2.map(|mass| times * mass),
            ..cloth.clone()
        });
    }
    heavier
}

/// The closed cloths of `covers` that do it as a cover over the outermost cloth at this gap, with the scene that has it: the one
/// that keeps most light, and the thinnest.
fn best_covers(
    subject: &Subject,
    gap_mm: f64,
    want: Softness,
    covers: &[Arc<Cloth>],
) -> Vec<(Arc<Cloth>, Scene)> {
    let does_it = |cloth: &Arc<Cloth>| {
        let covered = Subject { scene: with_layer(&subject.scene, cloth)?, ..subject.clone() };
        let numbers = covered.numbers(&[gap_mm]).into_iter().next()?;
        want.is_met_by(seen(&numbers)).then_some((numbers.light_kept, Arc::clone(cloth), covered.scene))
    };
    let found: Vec<_> = covers.iter().filter(|cloth| cloth.openness == 0.0).filter_map(does_it).collect();
    let brightest = found.iter().max_by(|a, b| a.0.total_cmp(&b.0));
    let thinnest = found.iter().min_by(|a, b| a.1.thickness.0.total_cmp(&b.1.thickness.0));
    let both = brightest.into_iter().chain(thinnest);
    let mut best: Vec<_> = both.map(|(_, cloth, scene)| (Arc::clone(cloth), scene.clone())).collect();
    best.dedup_by(|a, b| Arc::ptr_eq(&a.0, &b.0));
    best
}

/// A gap below or beyond those looked at.
fn other_gap(subject: &Subject, from_mm: f64, to_mm: f64, want: Softness) -> Option<Remedy> {
    let below = if from_mm > 0.0 { gaps(0.0, from_mm, ROUGH) } else { Vec::new() };
    let beyond: Vec<f64> = std::iter::successors(Some(to_mm.max(1.0)), |gap| Some(LADDER * gap))
        .take_while(|gap| GAP_MM.contain(*gap))
        .collect();
    let (gap_mm, numbers) = [below, beyond].into_iter().filter(|gaps| gaps.len() > 1).find_map(|gaps| {
        let curve = Curve::new(gaps.iter().copied().zip(subject.numbers(&gaps).iter().map(seen)));
        let stretch = subject.refined(&curve, want)?;
        does(subject, whole_step(want, &stretch)?, want)
    })?;
    Some(Remedy { change: Change::OtherGap, gap_mm, numbers })
}

/// Another distance, at the whole millimetre beside the best gap.
fn other_distance(subject: &Subject, best_mm: f64, want: Softness) -> Option<Remedy> {
    let gap_mm = best_mm.round();
    let from = |distance_m: f64| {
        let mut other = subject.clone();
        other.scene.view.distance_m = distance_m;
        other.numbers(&[gap_mm]).into_iter().next().filter(|n| want.is_met_by(seen(n)))
    };
    let ratio = if want == Softness::Dots { 1.0 / LADDER } else { LADDER };
    let mut short = subject.scene.view.distance_m;
    let (mut enough, mut numbers) = std::iter::successors(Some(short * ratio), |d| Some(d * ratio))
        .take_while(|distance| DISTANCE_M.contain(*distance))
        .find_map(|distance| {
            let met = from(distance).map(|numbers| (distance, numbers));
            if met.is_none() {
                short = distance;
            }
            met
        })?;
    for _ in 0..HALVINGS {
        let middle = (short * enough).sqrt();
        match from(middle) {
            Some(found) => (enough, numbers) = (middle, found),
            None => short = middle,
        }
    }
    Some(Remedy { change: Change::Distance(enough), gap_mm, numbers })
}
