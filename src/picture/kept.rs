//! What light does behind cloths that were looked at before: spots and the room's light, kept from picture to picture.
//!
//! Someone who tries things out sees the same cloths at the same gaps again and again: coarsely and in full, brighter and darker, closer and
//! from farther off. Their spots are solved once. What is kept is what was computed: a picture comes out the same
//! but for one rounding of the room's light, which is kept for one lux.

use super::die_spots::{DieSpots, die_spots_over_gaps};
use super::luminance::room_light;
use crate::light::spectrum::observer::Xyz;
use crate::pixels::package::Package;
use crate::quantity::Millimetres;
use crate::scene::{PlacedCloth, Scene};
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

/// Spots of all dies of a scene's packages, for each of its gaps.
pub(super) type Spots = Vec<Vec<DieSpots>>;

/// The last things that were asked for, with their answers.
#[derive(Debug)]
struct Recent<Q, A> {
    most: usize,
    known: Mutex<VecDeque<(Q, A)>>,
}

impl<Q: PartialEq, A: Clone> Recent<Q, A> {
    fn new(most: usize) -> Recent<Q, A> {
        Recent { most, known: Mutex::default() }
    }

    /// The answer, computed where it is not known. Two who ask at once may both compute it.
    fn get(&self, question: Q, answer: impl FnOnce(&Q) -> A) -> A {
        let lock = || self.known.lock().unwrap_or_else(PoisonError::into_inner);
        let mut known = lock();
        if let Some(place) = known.iter().position(|(q, _)| *q == question) {
            // Rotated to the front: what is asked for is not forgotten.
            if let Some(entry) = known.remove(place) {
                let found = entry.1.clone();
                known.push_front(entry);
                return found;
            }
        }
        drop(known);
        let found = answer(&question);
        let mut known = lock();
        known.push_front((question, found.clone()));
        known.truncate(self.most);
        found
    }
}

/// Cloths over a board.
#[derive(Debug, PartialEq)]
struct Cover {
    board_reflectance: f64,
    stack: Vec<PlacedCloth>,
}

impl Cover {
    fn of(scene: &Scene, first_gap: Millimetres) -> Cover {
        let mut stack = scene.stack.clone();
        if let Some(first) = stack.first_mut() {
            first.gap_below = first_gap;
        }
        Cover { board_reflectance: scene.board_reflectance, stack }
    }
}

/// Pixels behind cloths over gaps.
#[derive(Debug, PartialEq)]
struct Behind {
    cover: Cover,
    packages: Vec<Package>,
    gaps_mm: Vec<f64>,
}

/// What was computed for the cloths that were looked at last.
#[derive(Debug)]
pub struct Kept {
    spots: Recent<Behind, Arc<Spots>>,
    room: Recent<Cover, Xyz>,
}

impl Kept {
    /// Nothing yet; at most so many cloths with their gaps are kept.
    #[must_use]
    pub fn new(most: usize) -> Kept {
        Kept { spots: Recent::new(most), room: Recent::new(most) }
    }

    pub(super) fn spots(&self, scene: &Scene, packages: &[&Package], gaps_mm: &[f64]) -> Arc<Spots> {
        let lowest = Millimetres(gaps_mm.first().copied().unwrap_or(0.0));
        let behind = Behind {
            cover: Cover::of(scene, lowest),
            packages: packages.iter().map(|package| (*package).clone()).collect(),
            gaps_mm: gaps_mm.to_vec(),
        };
        self.spots.get(behind, |_| Arc::new(spots(scene, packages, gaps_mm)))
    }

    /// The room's light on the cloth.
    pub(super) fn room(&self, scene: &Scene) -> Xyz {
        let gap = scene.stack.first().map_or(Millimetres(0.0), |placed| placed.gap_below);
        let per_lux = self.room.get(Cover::of(scene, gap), |_| room_light(&|l| scene.stack_at(l), 1.0));
        per_lux.scaled(scene.view.room_lx)
    }
}

/// The spots of a scene's packages over gaps in mm, from the lowest on.
pub(super) fn spots(scene: &Scene, packages: &[&Package], gaps_mm: &[f64]) -> Spots {
    let lowest = Millimetres(gaps_mm.first().copied().unwrap_or(0.0));
    die_spots_over_gaps(packages, &|l| scene.stack_over(lowest, l), gaps_mm)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cloth::catalogue::CatalogueOnly;
    use crate::picture::luminance::{frame, luminance, luminance_within};
    use crate::picture::memory::{MOST_MEMORY, Output};
    use crate::scene::file::resolve;
    use std::sync::atomic::{AtomicUsize, Ordering};

    fn scene(gap_mm: f64, level: f64, room_lx: f64) -> Scene {
        let text = format!(
            "name: Kept\npixels: [{{strip: {{package: \"5050\", pitch_mm: 10, count: 4}}}}]\nstack: [{{gap_mm: {gap_mm}, cloth: felt-wool-ivory}}]\n\
             light: {{colour: \"#ffffff\", level: {level}}}\nview: {{distance_m: 2, room_lx: {room_lx}, size_px: [96, 54]}}\n"
        );
        resolve(&text, "kept", &CatalogueOnly).expect("a sound scene").scene
    }

    #[test]
    fn pictures_from_what_was_kept_are_the_same() {
        /// The room's light is kept for one lux and multiplied: one rounding in f64 before the planes' f32.
        const ROUNDING: f32 = 1e-6;
        let kept = Kept::new(2);
        for (gap, level, room) in
            [(6.0, 0.2, 10.0), (6.0, 0.7, 30.0), (9.0, 0.2, 0.0), (12.0, 0.2, 10.0), (6.0, 0.2, 10.0)]
        {
            let scene = scene(gap, level, room);
            let new = luminance(&scene);
            let old = luminance_within(&scene, frame(&scene), Some(&kept), Output::Png, MOST_MEMORY)
                .expect("a small picture");
            for (a, b) in new.image.planes.iter().flatten().zip(old.image.planes.iter().flatten()) {
                assert!((a - b).abs() <= ROUNDING * a.abs(), "{a} {b}");
            }
        }
    }

    #[test]
    fn the_last_answers_are_kept_and_no_more() {
        let computed = AtomicUsize::new(0);
        let recent = Recent::new(2);
        let ask = |question: i32| {
            recent.get(question, |q| {
                computed.fetch_add(1, Ordering::Relaxed);
                q * q
            })
        };
        assert_eq!([ask(2), ask(3), ask(2)], [4, 9, 4]);
        assert_eq!(computed.load(Ordering::Relaxed), 2);
        // 3 was asked for longer ago than 2 and is forgotten for 5.
        assert_eq!([ask(5), ask(2), ask(3)], [25, 4, 9]);
        assert_eq!(computed.load(Ordering::Relaxed), 4);
    }
}
