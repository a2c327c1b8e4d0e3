//! The light that the viewer's ray, sent backwards, leaves at every depth of one layer.

use super::basis::{Basis, eigen, norm};
use crate::light::Layer;
use nalgebra::{DMatrix, DVector, Dyn, LU};

/// Least loss of any moment, as a share of the extinction: keeps the modes of a cloth that absorbs nothing apart from each other.
/// It is far below the rounding of albedos.
const LEAST_LOSS: f64 = 1e-9;
/// A mode that decays within this share as fast as the viewer's ray is moved aside by that much in frequency.
const RESONANCE: f64 = 1e-6;

/// One closed layer, expanded to one degree.
#[derive(Debug)]
pub(super) struct Slab {
    basis: &'static Basis,
    extinction: f64,
    thickness: f64,
    /// By degree: `mu a g^l`.
    scattered: Vec<f64>,
    /// By degree: extinction less what is scattered into the same moment.
    lost: Vec<f64>,
    modes: Vec<Mode>,
}

/// A solution that decays along one axis.
#[derive(Debug)]
struct Mode {
    /// Azimuth mode about its own axis.
    order: usize,
    /// Length in mm over which it decays.
    length: f64,
    /// Its moments from degree `order` up.
    moments: Vec<f64>,
}

impl Slab {
    pub(super) fn new(degree: usize, layer: &Layer) -> Slab {
        let basis = Basis::get(degree);
        let extinction = layer.optics.extinction.0;
        let scattered: Vec<f64> = (0..=degree)
            .map(|l| extinction * layer.optics.albedo * layer.optics.asymmetry.powi(l as i32))
            .collect();
        let lost: Vec<f64> =
            scattered.iter().map(|s| (extinction - s).max(LEAST_LOSS * extinction)).collect();
        let modes = (0..degree).flat_map(|order| modes(basis, &lost, order)).collect();
        Slab { basis, extinction, thickness: layer.thickness.0, scattered, lost, modes }
    }

    /// Moments (row) of what is scattered anew per mm at each depth below the outer face (column), after at least one earlier
    /// scattering, for a ray of unit irradiance straight into the outer face with the lateral frequency `k`.
    pub(super) fn sources(&self, k: f64, depths: &[f64]) -> DMatrix<f64> {
        self.at(k).sources(depths)
    }

    fn at(&self, k: f64) -> Waves<'_> {
        let resonant = |mode: &Mode| (mode.decay(k) / self.extinction - 1.0).abs() < RESONANCE;
        let k = if self.modes.iter().any(resonant) { k * (1.0 + 10.0 * RESONANCE) + RESONANCE } else { k };
        let decays: Vec<f64> = self.modes.iter().map(|mode| mode.decay(k)).collect();
        let columns: Vec<DVector<f64>> =
            self.modes.iter().zip(&decays).map(|(mode, decay)| self.column(mode, k, *decay)).collect();
        let down = DMatrix::from_columns(&columns);
        let up = self.mirrored(&down);
        let (from_outside, from_inside) = (&self.basis.incoming * &down, &self.basis.incoming * &up);
        let through: Vec<f64> = decays.iter().map(|decay| (-decay * self.thickness).exp()).collect();
        let count = decays.len();
        // What comes in at the outer face (mu > 0) and, mirrored, at the inner.
        let system = DMatrix::from_fn(2 * count, 2 * count, |i, j| match (i < count, j < count) {
            (true, true) => from_outside[(i, j)],
            (true, false) => from_inside[(i, j - count)] * through[j - count],
            (false, true) => from_inside[(i - count, j)] * through[j],
            (false, false) => from_outside[(i - count, j - count)],
        });
        Waves { slab: self, k, decays, down, up, system: system.lu() }
    }

    /// The moments in these columns with every direction's mu turned round.
    fn mirrored(&self, columns: &DMatrix<f64>) -> DMatrix<f64> {
        DMatrix::from_fn(columns.nrows(), columns.ncols(), |i, j| self.basis.parity[i] * columns[(i, j)])
    }

    /// Moments of a mode, largest 1, decaying away from the outer face.
    fn column(&self, mode: &Mode, k: f64, decay: f64) -> DVector<f64> {
        let growth = mode.length * (decay + k);
        let mut column = DVector::zeros(self.basis.len());
        for (l, moment) in (mode.order..).zip(&mode.moments) {
            let parts = self.basis.turned(l, mode.order, growth);
            for (i, &(_, m)) in self.basis.index.iter().enumerate().filter(|(_, lm)| lm.0 == l) {
                column[i] = moment * parts[m];
            }
        }
        let largest = column.amax();
        if largest > 0.0 { column / largest } else { column }
    }

    /// Moments of the light that decays like the unscattered ray.
    fn beam(&self, k: f64) -> DVector<f64> {
        let basis = self.basis;
        let mut system = &basis.across * k - &basis.along * self.extinction;
        for (i, &(l, _)) in basis.index.iter().enumerate() {
            system[(i, i)] += self.lost[l];
        }
        let first = |&(l, m): &(usize, usize)| if m == 0 { self.scattered[l] * norm(l, 0) } else { 0.0 };
        let right = DVector::from_iterator(basis.len(), basis.index.iter().map(first));
        system.lu().solve(&right).unwrap_or_else(|| DVector::zeros(basis.len()))
    }
}

/// The solutions of one slab at one frequency.
#[derive(Debug)]
struct Waves<'a> {
    slab: &'a Slab,
    k: f64,
    decays: Vec<f64>,
    /// Moments of the solutions that decay away from the outer face, and from the inner.
    down: DMatrix<f64>,
    up: DMatrix<f64>,
    /// What their amounts, those first that decay away from the outer face, bring in at both faces.
    system: LU<f64, Dyn, Dyn>,
}

impl Waves<'_> {
    /// See [`Slab::sources`].
    fn sources(&self, depths: &[f64]) -> DMatrix<f64> {
        let (slab, count) = (self.slab, self.decays.len());
        let beam = DMatrix::from_column_slice(slab.basis.len(), 1, slab.beam(self.k).as_slice());
        let at_outer = &slab.basis.incoming * &beam;
        let at_inner = &slab.basis.incoming * slab.mirrored(&beam);
        let unscattered = (-slab.extinction * slab.thickness).exp();
        let amounts =
            self.amounts(|i| if i < count { -at_outer[i] } else { -at_inner[i - count] * unscattered });
        let profile = DMatrix::from_fn(2 * count, depths.len(), |j, z| {
            let way = if j < count { depths[z] } else { slab.thickness - depths[z] };
            amounts[j] * (-self.decays[j % count] * way).exp()
        });
        let straight = DMatrix::from_fn(1, depths.len(), |_, z| (-slab.extinction * depths[z]).exp());
        let mut found = &self.down * profile.rows(0, count) + &self.up * profile.rows(count, count);
        found += beam * straight;
        for (i, &(l, _)) in slab.basis.index.iter().enumerate() {
            found.row_mut(i).scale_mut(slab.scattered[l]);
        }
        found
    }

    fn amounts(&self, right: impl Fn(usize) -> f64) -> DVector<f64> {
        let n = 2 * self.decays.len();
        let right = DVector::from_fn(n, |i, _| right(i));
        self.system.solve(&right).unwrap_or_else(|| DVector::zeros(n))
    }
}

impl Mode {
    /// Decay with depth in 1/mm at the lateral frequency `k`.
    fn decay(&self, k: f64) -> f64 {
        k.hypot(1.0 / self.length)
    }
}

/// The solutions of one azimuth mode that decay along their own axis.
fn modes(basis: &Basis, lost: &[f64], order: usize) -> Vec<Mode> {
    let places: Vec<usize> =
        basis.index.iter().enumerate().filter(|(_, lm)| lm.1 == order).map(|(i, _)| i).collect();
    let roots: Vec<f64> = places.iter().map(|&i| lost[basis.index[i].0].sqrt()).collect();
    let n = places.len();
    let matrix = DMatrix::from_fn(n, n, |i, j| basis.along[(places[i], places[j])] / (roots[i] * roots[j]));
    // Lengths come in pairs of either sign, and one is zero when their number is odd.
    eigen(&matrix)
        .into_iter()
        .take(n / 2)
        .map(|(length, vector)| Mode {
            order,
            length,
            moments: vector.iter().zip(&roots).map(|(part, root)| part / root).collect(),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::Optics;
    use crate::light::harmonics::basis::DEGREES;
    use crate::quantity::{Millimetres, PerMillimetre};

    #[test]
    fn modes_obey_the_equation_to_the_last_digits() {
        /// Of the largest coefficient: the condition of high modes, some 1e11, multiplies it.
        const ROUNDING: f64 = 1e-13;
        let optics = Optics { extinction: PerMillimetre(2.0), albedo: 0.9995, asymmetry: 0.8, openness: 0.0 };
        let layer = Layer { gap_below: Millimetres(1.0), thickness: Millimetres(1.0), optics };
        for degree in DEGREES {
            let slab = Slab::new(degree, &layer);
            assert_eq!(slab.modes.len(), (1..=degree).map(|n| n.div_ceil(2)).sum::<usize>());
            for k in [0.0, 0.3, 2.0, 7.0] {
                for mode in &slab.modes {
                    let decay = mode.decay(k);
                    let mut system = &slab.basis.across * k - &slab.basis.along * decay;
                    for (i, &(l, _)) in slab.basis.index.iter().enumerate() {
                        system[(i, i)] += slab.lost[l];
                    }
                    let left = (&system * slab.column(mode, k, decay)).amax() / system.amax();
                    assert!(left < ROUNDING, "degree {degree}, k {k}, {mode:?}: {left:e}");
                }
            }
        }
    }
}
