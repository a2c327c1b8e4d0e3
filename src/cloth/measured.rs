//! From a measured transmittance and reflectance to optics.
//!
//! **Model.** One closed or holed layer ([`crate::light::sheet`]) with one extinction for all wavelengths (fibres
//! are large against the wavelength) and an albedo for each. The asymmetry cannot be told from totals and is given.
//! With a straight-through share `D` at normal incidence the openness follows from `D = o + (1 - o) exp(-tau)`;
//! without one the cloth counts as closed.
//!
//! **Method.** Least squares over `ln tau` and the albedos by Gauss-Newton steps, halved until they help, with the
//! albedos kept within 0 to 1; started from the best of a coarse table. One wavelength is met exactly; with more
//! there is one number too few for that, and the residuals say how well one extinction serves them all. Squares are
//! of absolute differences, as photometers err. Inverse adding-doubling: Prahl, van Gemert & Welch, Applied Optics 32
//! (1993) 559. **Validity:** light that is not bent at the faces (cloth), samples wide against their thickness.

use crate::light::Optics;
use crate::light::sheet::{Quadrature, Sheet};
use crate::light::spectrum::Spectrum;
use crate::quantity::{Millimetres, Nanometres, PerMillimetre};
use nalgebra::{DMatrix, DVector};

/// Nodes per hemisphere while searching: totals good to about 1e-5.
const DIRECTIONS: usize = 16;
/// Nodes per hemisphere for the coarse table of starting points.
const COARSE_DIRECTIONS: usize = 6;
/// Optical thicknesses of the coarse table: two an octave from 0.02 to 330.
const COARSE_TAU: (f64, f64, usize) = (0.02, std::f64::consts::SQRT_2, 29);
/// Albedos of the coarse table.
const COARSE_ALBEDO: [f64; 9] = [0.0, 0.3, 0.6, 0.8, 0.9, 0.96, 0.985, 0.996, 1.0];
/// Least and greatest optical thickness searched.
const TAU_RANGE: (f64, f64) = (1e-4, 1e4);
/// Step in `ln tau` and in the albedo for the differences that stand for derivatives.
const DIFFERENCE: f64 = 1e-5;
/// Gauss-Newton is quadratic near the solution; more steps than this mean it is not getting there.
const STEPS: usize = 60;
/// The search ends when a step changes `ln tau` and every albedo by less than this.
const SETTLED: f64 = 1e-10;
/// A step that does not help is halved this often before the search ends.
const HALVINGS: usize = 30;
/// Slack for `T + R` above 1 by rounding of the stated figures.
const ROUNDING: f64 = 1e-9;

/// One wavelength of a measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasuredPoint {
    /// Where it was measured.
    pub wavelength: Nanometres,
    /// Total transmittance, 0 to 1.
    pub transmittance: f64,
    /// Total reflectance over black, 0 to 1.
    pub reflectance: f64,
}

/// A measurement of one cloth.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuredInput {
    /// Thickness while it was measured.
    pub thickness: Millimetres,
    /// Transmittance and reflectance, at one wavelength or several.
    pub points: Vec<MeasuredPoint>,
    /// Share of light at normal incidence that goes straight through, holes included.
    pub direct: Option<f64>,
    /// Asymmetry of the phase function.
    pub asymmetry: f64,
    /// Whether the light came from all sides (Lambertian) instead of straight on.
    pub diffuse_incidence: bool,
}

/// How far the layer found is from the figures stated (found minus stated).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residual {
    /// At this wavelength.
    pub wavelength: Nanometres,
    /// Of the transmittance.
    pub transmittance: f64,
    /// Of the reflectance.
    pub reflectance: f64,
}

/// The layer found.
#[derive(Clone, Debug, PartialEq)]
pub struct Inverted {
    /// Extinction of the covered part.
    pub extinction: PerMillimetre,
    /// Share of the area that is holes.
    pub openness: f64,
    /// Albedo at each wavelength measured, wavelengths rising.
    pub albedo: Vec<(Nanometres, f64)>,
    /// How well the figures are met, in the same order.
    pub residuals: Vec<Residual>,
    /// Straight-through share found minus stated; zero when none was stated.
    pub direct_residual: f64,
}

impl Inverted {
    /// The albedo on the fixed grid: straight lines between the points, level outside them.
    #[must_use]
    pub fn albedo_spectrum(&self) -> Spectrum {
        let knots: Vec<(f64, f64)> = self.albedo.iter().map(|(at, albedo)| (at.0, *albedo)).collect();
        Spectrum::from_knots(&knots)
    }

    /// The largest residual of any transmittance or reflectance, without sign.
    #[must_use]
    pub fn worst_residual(&self) -> f64 {
        self.residuals.iter().flat_map(|r| [r.transmittance.abs(), r.reflectance.abs()]).fold(0.0, f64::max)
    }
}

/// Why a measurement cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MeasuredError {
    /// There is no point.
    #[error("The measurement has no wavelength. Give a transmittance and a reflectance for at least one.")]
    NoPoint,
    /// The same wavelength twice.
    #[error("The wavelength {wavelength} stands there twice.")]
    Twice {
        /// Which.
        wavelength: Nanometres,
    },
    /// A number is out of its range.
    #[error("The {what} is {value}, but it must be {allowed}.")]
    OutOfRange {
        /// Which number.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What it may be, in words.
        allowed: &'static str,
    },
    /// More light comes out than goes in.
    #[error(
        "At {wavelength} transmittance {transmittance} and reflectance {reflectance} add up to more than 1."
    )]
    TooMuchLight {
        /// Where.
        wavelength: Nanometres,
        /// As stated.
        transmittance: f64,
        /// As stated.
        reflectance: f64,
    },
    /// More light goes straight through than goes through at all.
    #[error("At {wavelength} the straight-through share {direct} exceeds the transmittance {transmittance}.")]
    DirectExceedsTotal {
        /// Where.
        wavelength: Nanometres,
        /// As stated.
        direct: f64,
        /// As stated.
        transmittance: f64,
    },
    /// The search did not end.
    #[error("No layer was found that comes near the figures; the best is off by {worst:.3}.")]
    NotFound {
        /// Largest difference from a stated figure.
        worst: f64,
    },
}

/// Finds the layer whose totals are the measured ones.
///
/// # Errors
/// When the figures are impossible or the search does not end.
pub fn invert(input: &MeasuredInput) -> Result<Inverted, MeasuredError> {
    let points = checked(input)?;
    let search = Search { input, points: &points, quadrature: Quadrature::new(DIRECTIONS, &[1.0]) };
    let unknowns = search.improve(search.start())?;
    let tau = unknowns[0].exp();
    let residuals = search.differences(&unknowns);
    Ok(Inverted {
        extinction: PerMillimetre(tau / input.thickness.0),
        openness: search.openness(tau),
        albedo: points.iter().zip(unknowns.iter().skip(1)).map(|(p, a)| (p.wavelength, *a)).collect(),
        residuals: points
            .iter()
            .zip(residuals.as_slice().chunks_exact(2))
            .map(|(p, d)| Residual { wavelength: p.wavelength, transmittance: d[0], reflectance: d[1] })
            .collect(),
        direct_residual: input.direct.map_or(0.0, |direct| {
            let open = search.openness(tau);
            open + (1.0 - open) * (-tau).exp() - direct
        }),
    })
}

fn checked(input: &MeasuredInput) -> Result<Vec<MeasuredPoint>, MeasuredError> {
    let within = |what, value: f64, fits: bool, allowed| match value.is_finite() && fits {
        true => Ok(()),
        false => Err(MeasuredError::OutOfRange { what, value, allowed }),
    };
    within("thickness in mm", input.thickness.0, input.thickness.0 > 0.0, "above 0")?;
    within("asymmetry", input.asymmetry, input.asymmetry.abs() < 1.0, "above -1 and below 1")?;
    if let Some(direct) = input.direct {
        within("straight-through share", direct, (0.0..1.0).contains(&direct), "0 or more and below 1")?;
    }
    for point in &input.points {
        let (t, r) = (point.transmittance, point.reflectance);
        within("wavelength in nm", point.wavelength.0, point.wavelength.0 > 0.0, "above 0")?;
        within("transmittance", t, t > 0.0 && t < 1.0, "above 0 and below 1 (a share, not per cent)")?;
        within("reflectance", r, (0.0..1.0).contains(&r), "0 or more and below 1 (a share, not per cent)")?;
        if t + r > 1.0 + ROUNDING {
            return Err(MeasuredError::TooMuchLight {
                wavelength: point.wavelength,
                transmittance: t,
                reflectance: r,
            });
        }
        if let Some(direct) = input.direct.filter(|direct| *direct > t && !input.diffuse_incidence) {
            return Err(MeasuredError::DirectExceedsTotal {
                wavelength: point.wavelength,
                direct,
                transmittance: t,
            });
        }
    }
    let mut points = input.points.clone();
    points.sort_by(|a, b| a.wavelength.0.total_cmp(&b.wavelength.0));
    match points.windows(2).find(|pair| pair[0].wavelength == pair[1].wavelength) {
        _ if points.is_empty() => Err(MeasuredError::NoPoint),
        Some(pair) => Err(MeasuredError::Twice { wavelength: pair[0].wavelength }),
        None => Ok(points),
    }
}

/// The unknowns are `ln tau` and then one albedo per point.
struct Search<'a> {
    input: &'a MeasuredInput,
    points: &'a [MeasuredPoint],
    quadrature: Quadrature,
}

impl Search<'_> {
    /// Openness that goes with the straight-through share.
    fn openness(&self, tau: f64) -> f64 {
        let beer = (-tau).exp();
        self.input.direct.map_or(0.0, |direct| ((direct - beer) / (1.0 - beer)).max(0.0))
    }

    /// Transmittance and reflectance of a layer.
    fn totals(&self, log_tau: f64, albedo: f64, quadrature: &Quadrature) -> [f64; 2] {
        let tau = log_tau.exp();
        let optics = Optics {
            extinction: PerMillimetre(tau / self.input.thickness.0),
            albedo,
            asymmetry: self.input.asymmetry,
            openness: self.openness(tau),
        };
        let sheet = Sheet::of_layer(&optics, tau, quadrature);
        if self.input.diffuse_incidence {
            [sheet.transmitted_diffuse(), sheet.reflected_diffuse()]
        } else {
            let ahead = quadrature.extra(0);
            [sheet.transmitted(ahead), sheet.reflected(ahead)]
        }
    }

    /// Found minus stated: transmittance and reflectance of each point in turn.
    fn differences(&self, unknowns: &DVector<f64>) -> DVector<f64> {
        let each = self.points.iter().zip(unknowns.iter().skip(1)).flat_map(|(point, albedo)| {
            let [t, r] = self.totals(unknowns[0], *albedo, &self.quadrature);
            [t - point.transmittance, r - point.reflectance]
        });
        DVector::from_iterator(2 * self.points.len(), each)
    }

    /// The best of the coarse table.
    fn start(&self) -> DVector<f64> {
        let coarse = Quadrature::new(COARSE_DIRECTIONS, &[1.0]);
        let (first, ratio, count) = COARSE_TAU;
        let mut best = (f64::INFINITY, DVector::zeros(0));
        for k in 0..count {
            let log_tau = (first * ratio.powi(k as i32)).ln();
            let row = COARSE_ALBEDO.map(|albedo| (albedo, self.totals(log_tau, albedo, &coarse)));
            let mut unknowns = vec![log_tau];
            let mut sum = 0.0;
            for point in self.points {
                let misfit =
                    |[t, r]: [f64; 2]| (t - point.transmittance).powi(2) + (r - point.reflectance).powi(2);
                let fits = row.iter().map(|(albedo, totals)| (misfit(*totals), *albedo));
                let (square, albedo) = fits.min_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((f64::MAX, 0.5));
                sum += square;
                unknowns.push(albedo);
            }
            if sum < best.0 {
                best = (sum, DVector::from_vec(unknowns));
            }
        }
        best.1
    }

    fn improve(&self, mut unknowns: DVector<f64>) -> Result<DVector<f64>, MeasuredError> {
        let mut differences = self.differences(&unknowns);
        for _ in 0..STEPS {
            let step = self.step(&unknowns, &differences);
            let mut accepted = None;
            let mut share = 1.0;
            for _ in 0..HALVINGS {
                let tried = within_bounds(&unknowns + &step * share);
                let found = self.differences(&tried);
                if found.norm_squared() < differences.norm_squared() {
                    accepted = Some((tried, found));
                    break;
                }
                share *= 0.5;
            }
            let Some((tried, found)) = accepted else { return Ok(unknowns) };
            let moved = (&tried - &unknowns).amax();
            (unknowns, differences) = (tried, found);
            if moved < SETTLED {
                return Ok(unknowns);
            }
        }
        Err(MeasuredError::NotFound { worst: differences.amax() })
    }

    /// The Gauss-Newton step. An albedo at its bound that would leave it is held there, so that the others can move.
    fn step(&self, unknowns: &DVector<f64>, differences: &DVector<f64>) -> DVector<f64> {
        let jacobian = self.jacobian(unknowns, differences);
        let mut held = vec![false; unknowns.len()];
        loop {
            let mut free = jacobian.clone();
            held.iter()
                .enumerate()
                .filter(|(_, held)| **held)
                .for_each(|(j, _)| free.column_mut(j).fill(0.0));
            let step = free
                .svd(true, true)
                .solve(&(-differences), f64::EPSILON)
                .unwrap_or_else(|_| DVector::zeros(unknowns.len()));
            let leaving = |j: usize| {
                let (at, by): (f64, f64) = (unknowns[j], step[j]);
                (at >= 1.0 && by > 0.0) || (at <= 0.0 && by < 0.0)
            };
            let before = held.clone();
            (1..unknowns.len()).filter(|&j| leaving(j)).for_each(|j| held[j] = true);
            if held == before {
                return step;
            }
        }
    }

    fn jacobian(&self, unknowns: &DVector<f64>, differences: &DVector<f64>) -> DMatrix<f64> {
        let mut jacobian = DMatrix::zeros(differences.len(), unknowns.len());
        for (i, point) in self.points.iter().enumerate() {
            let albedo = unknowns[i + 1];
            let inwards = if albedo > 0.5 { -DIFFERENCE } else { DIFFERENCE };
            let thicker = self.totals(unknowns[0] + DIFFERENCE, albedo, &self.quadrature);
            let paler = self.totals(unknowns[0], albedo + inwards, &self.quadrature);
            let stated = [point.transmittance, point.reflectance];
            for k in 0..2 {
                let row = 2 * i + k;
                let here = differences[row] + stated[k];
                jacobian[(row, 0)] = (thicker[k] - here) / DIFFERENCE;
                jacobian[(row, i + 1)] = (paler[k] - here) / inwards;
            }
        }
        jacobian
    }
}

fn within_bounds(mut unknowns: DVector<f64>) -> DVector<f64> {
    unknowns[0] = unknowns[0].clamp(TAU_RANGE.0.ln(), TAU_RANGE.1.ln());
    unknowns.iter_mut().skip(1).for_each(|albedo| *albedo = albedo.clamp(0.0, 1.0));
    unknowns
}
