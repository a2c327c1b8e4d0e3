//! One photon's way through the stack.

use std::f64::consts::PI;

use rand::Rng;

use super::cells::Cells;
use super::draw;
use super::rings::Rings;
use crate::light::phase::henyey_greenstein;
use crate::light::stack::unscattered;
use crate::light::{Source, Stack, Window};

/// Weight below which Russian roulette is played. Lower follows photons that hardly count; higher makes the
/// weights of the survivors, and with them the sampling error, uneven. The expectation does not depend on it.
const ROULETTE_BELOW: f64 = 0.1;

/// Weight of a photon that survives roulette; it survives with the probability (its weight) / (this).
const SURVIVOR_WEIGHT: f64 = 0.2;

/// The direction in which light leaves towards the viewer.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sight {
    /// Unit vector from the cloth to the viewer; z is above 0.
    pub(super) direction: [f64; 3],
}

impl Sight {
    /// The viewer stands straight in front of the cloth.
    pub(super) const STRAIGHT_AHEAD: Sight = Sight { direction: [0.0, 0.0, 1.0] };

    /// The viewer stands to the side of +x, so far from straight ahead.
    pub(super) fn from_the_side(tilt_rad: f64) -> Sight {
        Sight { direction: [tilt_rad.sin(), 0.0, tilt_rad.cos()] }
    }

    /// Cosine between the direction and +z.
    #[inline]
    fn cosine(self) -> f64 {
        self.direction[2]
    }

    /// Cosine of the angle by which light of the direction `from` must turn to reach the viewer.
    #[inline]
    fn turn(self, from: [f64; 3]) -> f64 {
        let [x, y, z] = self.direction;
        x * from[0] + y * from[1] + z * from[2]
    }
}

/// Where what the viewer sees is sorted to.
#[derive(Debug)]
pub(super) enum Places {
    /// Rings around the source.
    Rings(Rings),
    /// Cells of a plane.
    Cells(Cells),
}

impl Places {
    pub(super) fn len(&self) -> usize {
        match self {
            Places::Rings(rings) => rings.len(),
            Places::Cells(cells) => cells.len(),
        }
    }

    #[inline]
    fn find(&self, x: f64, y: f64) -> Option<usize> {
        match self {
            Places::Rings(rings) => rings.find(x, y),
            Places::Cells(cells) => cells.find(x, y),
        }
    }
}

/// A cloth in its place, ready for the walk.
#[derive(Clone, Copy, Debug)]
struct Slab {
    bottom_mm: f64,
    top_mm: f64,
    extinction: f64,
    albedo: f64,
    asymmetry: f64,
    openness: f64,
    /// Transmittance of the slabs above towards the viewer, divided by the viewer's cosine.
    seen_above: f64,
}

impl Slab {
    /// Share of the light of a direction that passes without scattering, holes included.
    fn transmittance(&self, cosine: f64) -> f64 {
        let tau = self.extinction * (self.top_mm - self.bottom_mm);
        unscattered(self.openness, tau / cosine)
    }
}

/// Sums over the photons of one batch.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Tally {
    /// Light towards the viewer in each ring, per sr and per unit of area across the view.
    pub(super) seen: Vec<f64>,
    /// The same over the whole plane.
    pub(super) seen_in_all: f64,
    /// Unscattered light at the top, as the transmittance of each emitted direction.
    pub(super) direct: f64,
    /// Unscattered light at the top, counted photon by photon.
    counted_direct: f64,
    /// Scattered light at the top.
    pub(super) scattered: f64,
    /// Light that ended in the cloths.
    pub(super) cloth: f64,
    /// Light that ended in the board.
    pub(super) board: f64,
}

impl Tally {
    fn new(rings: usize) -> Tally {
        let seen = vec![0.0; rings];
        Tally {
            seen,
            seen_in_all: 0.0,
            direct: 0.0,
            counted_direct: 0.0,
            scattered: 0.0,
            cloth: 0.0,
            board: 0.0,
        }
    }

    /// All the light that ended somewhere.
    pub(super) fn accounted(&self) -> f64 {
        self.counted_direct + self.scattered + self.cloth + self.board
    }
}

/// A photon on its way.
struct Photon {
    place: [f64; 3],
    direction: [f64; 3],
    weight: f64,
}

impl Photon {
    #[inline]
    fn rises(&self) -> bool {
        self.direction[2] > 0.0
    }

    /// Moves on by a length in mm.
    #[inline]
    fn advance(&mut self, length_mm: f64) {
        for (place, direction) in self.place.iter_mut().zip(self.direction) {
            *place += length_mm * direction;
        }
    }

    /// Moves on in a straight line to a height that lies ahead.
    #[inline]
    fn go_to(&mut self, height_mm: f64) {
        self.advance((height_mm - self.place[2]) / self.direction[2]);
        self.place[2] = height_mm;
    }

    /// Plays Russian roulette with a light photon; false means that it is out.
    #[inline]
    fn survives(&mut self, rng: &mut impl Rng) -> bool {
        if self.weight >= ROULETTE_BELOW {
            return true;
        }
        let survives = draw::uniform(rng) * SURVIVOR_WEIGHT < self.weight;
        self.weight = SURVIVOR_WEIGHT;
        survives
    }
}

/// Everything a photon can meet, and the place where its traces are kept.
#[derive(Debug)]
pub(super) struct Course {
    slabs: Vec<Slab>,
    board_reflectance: f64,
    /// Transmittance of all slabs towards the viewer.
    seen_from_board: f64,
    /// The exponent of the inverse of the emission law, `1 / (m + 1)`.
    emission_power: f64,
    window: Window,
    sight: Sight,
    places: Places,
    /// The height at which lines of sight are sorted by place: the outer face.
    face_mm: f64,
}

impl Course {
    /// Lays out a stack, a source, the viewer's direction and where what is seen is sorted to.
    pub(super) fn new(stack: &Stack, source: &Source, sight: Sight, places: Places) -> Course {
        let mut slabs: Vec<Slab> = stack
            .layers
            .iter()
            .zip(stack.bottoms())
            .map(|(layer, bottom)| Slab {
                bottom_mm: bottom.0,
                top_mm: bottom.0 + layer.thickness.0,
                extinction: layer.optics.extinction.0,
                albedo: layer.optics.albedo,
                asymmetry: layer.optics.asymmetry,
                openness: layer.optics.openness,
                seen_above: 1.0,
            })
            .collect();
        let mut seen = 1.0;
        for slab in slabs.iter_mut().rev() {
            slab.seen_above = seen / sight.cosine();
            seen *= slab.transmittance(sight.cosine());
        }
        Course {
            slabs,
            board_reflectance: stack.board_reflectance,
            seen_from_board: seen,
            emission_power: 1.0 / (source.beam_power + 1.0),
            window: source.window,
            sight,
            places,
            face_mm: stack.height().0,
        }
    }

    /// Walks `photons` photons. The polar angles of emission are stratified: photon `i` takes its angle from the
    /// `i`-th of as many equal shares of the flux.
    pub(super) fn run(&self, photons: u64, rng: &mut impl Rng) -> Tally {
        let mut tally = Tally::new(self.places.len());
        let share = 1.0 / photons as f64;
        for i in 0..photons {
            let rank = (i as f64 + draw::uniform(rng)) * share;
            let photon = self.emit(rank, rng);
            self.follow(photon, rng, &mut tally);
        }
        tally
    }

    /// A photon leaving the window; `rank`, from 0 to 1, is the share of the flux that is emitted more steeply.
    fn emit(&self, rank: f64, rng: &mut impl Rng) -> Photon {
        let [x, y] = match self.window {
            Window::Point => [0.0, 0.0],
            Window::Disc { diameter } => {
                let (x, y, _) = draw::in_disc(rng);
                [0.5 * diameter.0 * x, 0.5 * diameter.0 * y]
            }
            Window::Square { side } => {
                [side.0 * (draw::uniform(rng) - 0.5), side.0 * (draw::uniform(rng) - 0.5)]
            }
        };
        let cosine = (1.0 - rank).max(0.0).powf(self.emission_power);
        Photon { place: [x, y, 0.0], direction: draw::around_z(cosine, rng), weight: 1.0 }
    }

    /// Follows a photon to its end. `gap` counts the gaps from the board (0) to the open air above the last slab.
    fn follow(&self, mut photon: Photon, rng: &mut impl Rng, tally: &mut Tally) {
        tally.direct +=
            self.slabs.iter().map(|slab| slab.transmittance(photon.direction[2])).product::<f64>();
        let mut scattered = false;
        let mut gap = 0;
        loop {
            let index = if photon.rises() {
                if gap == self.slabs.len() {
                    let top = if scattered { &mut tally.scattered } else { &mut tally.counted_direct };
                    *top += photon.weight;
                    return;
                }
                photon.go_to(self.slabs[gap].bottom_mm);
                gap
            } else if gap == 0 {
                photon.go_to(0.0);
                scattered = true;
                if !self.leave_board(&mut photon, rng, tally) {
                    return;
                }
                continue;
            } else {
                photon.go_to(self.slabs[gap - 1].top_mm);
                gap - 1
            };
            let slab = &self.slabs[index];
            if slab.openness > 0.0 && draw::uniform(rng) < slab.openness {
                photon.go_to(if photon.rises() { slab.top_mm } else { slab.bottom_mm });
            } else {
                match self.wander(slab, &mut photon, rng, tally) {
                    Wander::Ended => return,
                    Wander::Scattered => scattered = true,
                    Wander::Straight => {}
                }
            }
            gap = if photon.rises() { index + 1 } else { index };
        }
    }

    /// Reflects a photon from the board; false means that it is out.
    #[inline]
    fn leave_board(&self, photon: &mut Photon, rng: &mut impl Rng, tally: &mut Tally) -> bool {
        tally.board += photon.weight * (1.0 - self.board_reflectance);
        photon.weight *= self.board_reflectance;
        self.note(photon, self.seen_from_board / PI, tally);
        photon.direction = draw::lambertian(rng);
        photon.survives(rng)
    }

    /// Walks through the covered part of a slab from one of its faces until the photon stands on a face and leaves.
    #[inline]
    fn wander(&self, slab: &Slab, photon: &mut Photon, rng: &mut impl Rng, tally: &mut Tally) -> Wander {
        let mut outcome = Wander::Straight;
        loop {
            let face_mm = if photon.rises() { slab.top_mm } else { slab.bottom_mm };
            let to_face_mm = (face_mm - photon.place[2]) / photon.direction[2];
            let path = draw::free_path(rng);
            if path < slab.extinction * to_face_mm {
                photon.advance(path / slab.extinction);
                tally.cloth += photon.weight * (1.0 - slab.albedo);
                photon.weight *= slab.albedo;
                self.note(photon, self.scattered_to_viewer(slab, photon), tally);
                photon.direction = draw::scattered(photon.direction, slab.asymmetry, rng);
                if !photon.survives(rng) {
                    return Wander::Ended;
                }
                outcome = Wander::Scattered;
            } else {
                photon.advance(to_face_mm);
                photon.place[2] = face_mm;
                return outcome;
            }
        }
    }

    /// Share per sr of a scattered photon that reaches the viewer without another scattering, per unit of area
    /// across the view: phase function, the rest of its own slab, the slabs above.
    #[inline]
    fn scattered_to_viewer(&self, slab: &Slab, photon: &Photon) -> f64 {
        let above = slab.extinction * (slab.top_mm - photon.place[2]) / self.sight.cosine();
        let turned = henyey_greenstein(slab.asymmetry, self.sight.turn(photon.direction)) / (4.0 * PI);
        turned * (-above).exp() * slab.seen_above
    }

    /// Notes what of a photon's weight goes to the viewer, at the place where it leaves the outer face.
    #[inline]
    fn note(&self, photon: &Photon, share: f64, tally: &mut Tally) {
        let [x, y, z] = photon.place;
        let [across, up, out] = self.sight.direction;
        let rise = (self.face_mm - z) / out;
        tally.seen_in_all += photon.weight * share;
        if let Some(place) = self.places.find(x + rise * across, y + rise * up) {
            tally.seen[place] += photon.weight * share;
        }
    }
}

/// How a walk in a slab went.
enum Wander {
    /// Out at a face without scattering.
    Straight,
    /// Out at a face after scattering.
    Scattered,
    /// Lost at roulette.
    Ended,
}
