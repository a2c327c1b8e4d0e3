//! How much light a plane layer, or a pile of them, sends back and lets through, in each direction.
//!
//! **Model.** Plane layers without lateral structure, light averaged over azimuth, one wavelength. Each layer
//! scatters by the Henyey-Greenstein phase function; holes ([`Optics::openness`]) let a share of the light pass
//! straight. Solved by doubling and adding with the direct beam kept apart from the scattered light, so that
//! nothing is ever found as a small difference.
//!
//! **Equations.** With `pi F0` the flux of a parallel beam through a plane across it, incident at cosine mu0,
//! the reflected and the transmitted scattered radiance are `I(mu) = mu0 R(mu, mu0) F0` and
//! `I(mu) = mu0 T(mu, mu0) F0`. Products are `(X Y)(mu, mu0) = int 2 mu' X(mu, mu') Y(mu', mu0) dmu'`. For an
//! upper layer (a) on a lower layer (b), `E = diag(exp(-tau/mu))`:
//!
//! ```text
//! D  = (1 - Ra* Rb)^-1 (Ta + Ra* Rb Ea)      scattered light going down between them
//! U  = Rb Ea + Rb D                          light going up between them
//! R  = Ra + Ea U + Ta* U
//! T  = Eb D + Tb Ea + Tb D
//! ```
//!
//! de Haan, Bosma & Hovenier, The adding method for multiple scattering calculations of polarized light,
//! Astronomy and Astrophysics 183 (1987) 371 (their Q, D, U scheme; cited from memory); Plass, Kattawar &
//! Catchings, Applied Optics 12 (1973) 314 (from memory). Forward peaks beyond the reach of the nodes are cut
//! off by the delta-M method, Wiscombe, Journal of the Atmospheric Sciences 34 (1977) 1408.
//!
//! **Start.** A layer of thickness s is begun with single scattering S(s) (exact exponentials); two halves
//! doubled give D(s), which holds half of the second order; `2 D(s) - S(s)` holds all of it. The error that is
//! left is of third order, about `s^2` relative to the layer's own scattering.
//!
//! **Symbols.** tau optical thickness, a single-scattering albedo, g asymmetry, mu cosine to the normal, all
//! pure numbers. **Validity:** any a in 0 to 1, any tau; g up to about 0.85 with 16 to 24 nodes.

mod doubling;
mod forward;
mod modes;
mod quadrature;
mod towards;

pub use forward::{ForwardRow, forward_row};
pub use modes::AzimuthTable;
pub(super) use modes::associated_row;
pub use quadrature::Quadrature;
pub use towards::{Towards, TowardsTable};

use crate::light::Optics;
use nalgebra::DMatrix;

/// A layer, or a pile of layers, as seen from outside.
///
/// `r` and `t` belong to light falling on the upper face, `r_star` and `t_star` to light falling on the lower
/// face. Element `(i, j)` is the kernel for light arriving along node j and leaving along node i.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Reflection kernel for light from above.
    pub r: DMatrix<f64>,
    /// Kernel of the scattered transmission for light from above.
    pub t: DMatrix<f64>,
    /// Reflection kernel for light from below.
    pub r_star: DMatrix<f64>,
    /// Kernel of the scattered transmission for light from below.
    pub t_star: DMatrix<f64>,
    /// Share of the light along each node that goes straight through, holes and the delta-M forward peak included.
    pub direct: Vec<f64>,
    /// Share of the light along each node that meets no fibre at all: holes and `exp(-tau/mu)`.
    pub unscattered: Vec<f64>,
    flux_weight: Vec<f64>,
}

impl Sheet {
    /// One layer of the optical thickness `tau` (of its covered part).
    ///
    /// Of `optics` the albedo, the asymmetry and the openness are used.
    #[must_use]
    pub fn of_layer(optics: &Optics, tau: f64, quadrature: &Quadrature) -> Sheet {
        let covered = doubling::layer(optics, tau, quadrature);
        let share = 1.0 - optics.openness;
        let pierced = |e: f64| optics.openness + share * e;
        let r = covered.r * share;
        let t = covered.t * share;
        Sheet {
            r_star: r.clone(),
            t_star: t.clone(),
            r,
            t,
            direct: covered.direct.into_iter().map(pierced).collect(),
            unscattered: quadrature.mu.iter().map(|mu| pierced((-tau / mu).exp())).collect(),
            flux_weight: quadrature.flux_weight.clone(),
        }
    }

    /// A Lambertian board of this reflectance, which lets nothing through.
    #[must_use]
    pub fn board(reflectance: f64, quadrature: &Quadrature) -> Sheet {
        let n = quadrature.len();
        Sheet {
            r: DMatrix::from_element(n, n, reflectance),
            t: DMatrix::zeros(n, n),
            r_star: DMatrix::from_element(n, n, reflectance),
            t_star: DMatrix::zeros(n, n),
            direct: vec![0.0; n],
            unscattered: vec![0.0; n],
            flux_weight: quadrature.flux_weight.clone(),
        }
    }

    /// This sheet lying on `lower`; both must have been made with the same quadrature.
    ///
    /// # Panics
    /// When the two have different numbers of nodes.
    #[must_use]
    pub fn on_top_of(&self, lower: &Sheet) -> Sheet {
        assert_eq!(self.direct.len(), lower.direct.len(), "sheets on different nodes cannot be added");
        let w = &self.flux_weight;
        let (r, t) = doubling::add(&self.seen_from_above(), &lower.seen_from_above(), w);
        let (r_star, t_star) = doubling::add(&lower.seen_from_below(), &self.seen_from_below(), w);
        let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).collect();
        Sheet {
            r,
            t,
            r_star,
            t_star,
            direct: product(&self.direct, &lower.direct),
            unscattered: product(&self.unscattered, &lower.unscattered),
            flux_weight: w.clone(),
        }
    }

    fn seen_from_above(&self) -> doubling::Face<'_> {
        doubling::Face {
            r: &self.r,
            t: &self.t,
            r_back: &self.r_star,
            t_back: &self.t_star,
            direct: &self.direct,
        }
    }

    fn seen_from_below(&self) -> doubling::Face<'_> {
        doubling::Face {
            r: &self.r_star,
            t: &self.t_star,
            r_back: &self.r,
            t_back: &self.t,
            direct: &self.direct,
        }
    }

    /// Share of light arriving from above along node j that comes back.
    #[must_use]
    pub fn reflected(&self, j: usize) -> f64 {
        self.column_flux(&self.r, j)
    }

    /// Share of light arriving from above along node j that gets through, scattered or not.
    #[must_use]
    pub fn transmitted(&self, j: usize) -> f64 {
        self.direct[j] + self.column_flux(&self.t, j)
    }

    /// Share of light arriving from below along node j that comes back.
    #[must_use]
    pub fn reflected_from_below(&self, j: usize) -> f64 {
        self.column_flux(&self.r_star, j)
    }

    /// Share of light arriving from below along node j that gets through, scattered or not.
    #[must_use]
    pub fn transmitted_from_below(&self, j: usize) -> f64 {
        self.direct[j] + self.column_flux(&self.t_star, j)
    }

    /// Share of Lambertian light from above that comes back.
    #[must_use]
    pub fn reflected_diffuse(&self) -> f64 {
        self.lambertian(|j| self.reflected(j))
    }

    /// Share of Lambertian light from above that gets through.
    #[must_use]
    pub fn transmitted_diffuse(&self) -> f64 {
        self.lambertian(|j| self.transmitted(j))
    }

    fn column_flux(&self, kernel: &DMatrix<f64>, j: usize) -> f64 {
        kernel.column(j).iter().zip(&self.flux_weight).map(|(k, w)| k * w).sum()
    }

    fn lambertian(&self, share: impl Fn(usize) -> f64) -> f64 {
        self.flux_weight.iter().enumerate().filter(|&(_, &w)| w > 0.0).map(|(j, w)| w * share(j)).sum()
    }
}
