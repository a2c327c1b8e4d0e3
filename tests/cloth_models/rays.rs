//! One clear fibre, ray by ray: an independent twin of the table of mean cosines in `cloth::fibres`.
//!
//! Rays fall on a smooth round cylinder from a random side, are reflected and refracted as vectors by Snell's law, and go one of
//! the two ways at each surface with the probability of Fresnel's formulas for unpolarised light. No closed form for the angles is used.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use weftlight::cloth::fibres::{Lie, asymmetry};

/// Rays of each case: the sampling error of a mean cosine is then about 2e-4.
const RAYS: usize = 4_000_000;
/// Standard errors allowed.
const SIGMAS: f64 = 4.0;
/// Half a unit in the third decimal of the table.
const TABLE: f64 = 5e-4;

type Vector = [f64; 3];

fn dot(a: Vector, b: Vector) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn along(a: Vector, x: f64, b: Vector, y: f64) -> Vector {
    std::array::from_fn(|i| x * a[i] + y * b[i])
}

/// Fresnel's sine and tangent laws: reflectances for light polarised across and in the plane of incidence.
fn fresnel(incidence: f64, n1: f64, n2: f64) -> (f64, f64) {
    let sine = n1 / n2 * incidence.sin();
    if sine >= 1.0 {
        return (1.0, 1.0);
    }
    let refraction = sine.asin();
    if incidence < 1e-6 {
        let r = ((n1 - n2) / (n1 + n2)).powi(2);
        return (r, r);
    }
    let (less, more) = (incidence - refraction, incidence + refraction);
    ((less.sin() / more.sin()).powi(2), (less.tan() / more.tan()).powi(2))
}

/// Snell's law for a unit vector `way` that meets a surface whose unit `normal` points against it; `None`: totally reflected.
fn refracted(way: Vector, normal: Vector, n1: f64, n2: f64) -> Option<Vector> {
    let eta = n1 / n2;
    let cosine = -dot(way, normal);
    let square = 1.0 - eta * eta * (1.0 - cosine * cosine);
    (square > 0.0).then(|| along(way, eta, normal, eta * cosine - square.sqrt()))
}

fn reflected(way: Vector, normal: Vector) -> Vector {
    along(way, 1.0, normal, -2.0 * dot(way, normal))
}

/// Follows a ray onto a cylinder of radius 1 around the z axis; `returns(reflectance)` says at each surface whether it is
/// reflected. Gives the way on which it leaves.
fn scattered(way: Vector, offset: f64, n: f64, mut returns: impl FnMut(f64) -> bool) -> Vector {
    /// A ray that has not left by then never will.
    const MOST_SURFACES: usize = 10_000;
    let unpolarised = |cosine: f64, n1, n2| {
        let (s, p) = fresnel(cosine.clamp(0.0, 1.0).acos(), n1, n2);
        0.5 * (s + p)
    };
    let mut at = [-(1.0 - offset * offset).sqrt(), offset, 0.0];
    let outward = at;
    if returns(unpolarised(-dot(way, outward), 1.0, n)) {
        return reflected(way, outward);
    }
    let mut way = refracted(way, outward, 1.0, n).expect("into the denser medium every ray goes");
    for _ in 0..MOST_SURFACES {
        let step = -2.0 * (at[0] * way[0] + at[1] * way[1]) / (way[0].powi(2) + way[1].powi(2));
        at = [at[0] + step * way[0], at[1] + step * way[1], 0.0];
        let inward = [-at[0], -at[1], 0.0];
        if returns(unpolarised(-dot(way, inward), n, 1.0)) {
            way = reflected(way, inward);
        } else {
            return refracted(way, inward, n, 1.0).expect("what is totally reflected returns");
        }
    }
    panic!("a ray is caught");
}

/// Mean cosine of the scattering angle with its standard error, and the share that is scattered backwards.
fn mean_cosine(n: f64, lie: Lie, seed: u64) -> (f64, f64, f64) {
    let mut rng = Pcg64::seed_from_u64(seed);
    let (mut sum, mut squares, mut backwards) = (0.0, 0.0, 0usize);
    for _ in 0..RAYS {
        // The shadow of a fibre goes with the cosine of the tilt.
        let along_fibre = match lie {
            Lie::Flat => 0.0,
            Lie::Random => loop {
                let z: f64 = rng.random_range(-1.0..1.0);
                if rng.random::<f64>() < (1.0 - z * z).sqrt() {
                    break z;
                }
            },
        };
        let way = [(1.0 - along_fibre * along_fibre).sqrt(), 0.0, along_fibre];
        let offset = rng.random_range(-1.0..1.0);
        let left = scattered(way, offset, n, |reflectance| rng.random::<f64>() < reflectance);
        let cosine = dot(way, left);
        sum += cosine;
        squares += cosine * cosine;
        backwards += usize::from(cosine < 0.0);
    }
    let rays = RAYS as f64;
    let mean = sum / rays;
    (mean, ((squares / rays - mean * mean) / rays).sqrt(), backwards as f64 / rays)
}

/// Refractive index; mean cosine for fibres in all directions and across; share scattered backwards in all directions. Computed for
/// the design of this project by another program; no published value is known.
const DESIGN: [(f64, f64, f64, f64); 5] = [
    (1.50, 0.769, 0.727, 0.067),
    (1.53, 0.756, 0.709, 0.071),
    (1.55, 0.747, 0.698, 0.074),
    (1.58, 0.735, 0.681, 0.078),
    (1.62, 0.719, 0.659, 0.084),
];

#[test]
fn rays_through_a_fibre_give_the_mean_cosines() {
    for (n, random, across, backwards) in DESIGN {
        for (lie, tabulated) in [(Lie::Random, random), (Lie::Flat, across)] {
            let (found, error, back) = mean_cosine(n, lie, (1000.0 * n) as u64);
            let allowed = TABLE + SIGMAS * error;
            assert!(
                (found - tabulated).abs() < allowed,
                "n {n} {lie:?}: {found:.5} ±{error:.5}, design {tabulated}"
            );
            let used = asymmetry(n, lie);
            assert!((found - used).abs() < allowed, "n {n} {lie:?}: {found:.5} ±{error:.5}, program {used}");
            if lie == Lie::Random {
                let error = (back * (1.0 - back) / RAYS as f64).sqrt();
                assert!((back - backwards).abs() < TABLE + SIGMAS * error, "n {n}: {back:.5} backwards");
            }
        }
    }
}

/// Hecht, Optics, chapter 4, and Born & Wolf, Principles of Optics, section 1.5 (from memory).
#[test]
fn fresnel_and_snell_at_worked_values() {
    /// Half a unit in the fourth decimal.
    const FOUR: f64 = 5e-5;
    let near = |what: &str, found: f64, wanted: f64| {
        assert!((found - wanted).abs() < FOUR, "{what}: {found}, {wanted}");
    };
    let n: f64 = 1.5;
    // Glass in air, straight on: 4 %.
    near("normal", fresnel(0.0, 1.0, n).0, 0.04);
    near("normal from inside", fresnel(0.0, n, 1.0).1, 0.04);
    near("nearly normal", fresnel(1e-4, 1.0, n).0, 0.04);
    // Brewster's angle, tan i = n: nothing in the plane comes back, and ((n^2 - 1) / (n^2 + 1))^2 across it.
    let brewster = n.atan();
    near("Brewster's angle", brewster.to_degrees(), 56.3099);
    near("in the plane", fresnel(brewster, 1.0, n).1, 0.0);
    near("across", fresnel(brewster, 1.0, n).0, 0.147_929);
    // At 45 degrees the one reflectance is the square of the other.
    let (s, p) = fresnel(45f64.to_radians(), 1.0, n);
    near("across at 45", s, 0.0920);
    near("square", p, s * s);
    // Total reflection beyond asin(1/n) = 41.81 degrees; everything comes back at grazing incidence.
    assert_eq!(fresnel(41.82f64.to_radians(), n, 1.0), (1.0, 1.0));
    assert!(fresnel(41.80f64.to_radians(), n, 1.0).0 < 1.0);
    let (s, p) = fresnel(89.9999f64.to_radians(), 1.0, n);
    near("grazing", s, 1.0);
    near("grazing", p, 1.0);
    // 30 degrees in air are 19.47 degrees in glass.
    let way = [30f64.to_radians().cos(), 30f64.to_radians().sin(), 0.0];
    let inside = refracted(way, [-1.0, 0.0, 0.0], 1.0, n).expect("goes in");
    near("Snell", inside[1].asin().to_degrees(), 19.4712);
    near("length", dot(inside, inside), 1.0);
    // Light from all sides on glass: 9.18 % comes back (Judd 1942; from memory).
    let steps = 20_000;
    let sum: f64 = (0..steps)
        .map(|i| {
            let square = (f64::from(i) + 0.5) / f64::from(steps); // of the cosine, evenly: flux from all sides
            let (s, p) = fresnel(square.sqrt().acos(), 1.0, n);
            0.5 * (s + p)
        })
        .sum();
    near("from all sides", sum / f64::from(steps), 0.0918);
}

/// Rainbows of a cylinder or sphere of water, n = 4/3: turned by 137.97 degrees at least after one reflection inside, by 129.0
/// degrees at most (a turn of 231.0) after two. Descartes; van de Hulst, Light Scattering by Small Particles, section 13.2 (from memory).
#[test]
fn rainbows_stand_where_they_should() {
    /// Half a unit in the last decimal of the angles.
    const FIRST: f64 = 0.005;
    const SECOND: f64 = 0.05;
    let water = 4.0 / 3.0;
    let turned = |reflections: usize| {
        (1..20_000).map(move |i| {
            let mut surface = 0;
            let left = scattered([1.0, 0.0, 0.0], f64::from(i) / 20_000.0, water, |_| {
                surface += 1;
                (2..2 + reflections).contains(&surface)
            });
            left[0].acos().to_degrees()
        })
    };
    let first = turned(1).fold(f64::INFINITY, f64::min);
    assert!((first - 137.97).abs() < FIRST, "{first}");
    let second = turned(2).fold(0.0, f64::max);
    assert!((second - 129.0).abs() < SECOND, "{second}");
}

/// Whatever a smooth cylinder does, a ray keeps its angle with the axis: the scattered light lies on a cone.
#[test]
fn scattered_light_lies_on_a_cone() {
    /// Rounding of a few dozen operations.
    const ROUNDING: f64 = 1e-12;
    let mut rng = Pcg64::seed_from_u64(7);
    for _ in 0..10_000 {
        let z: f64 = rng.random_range(-0.99..0.99);
        let way = [(1.0 - z * z).sqrt(), 0.0, z];
        let offset = rng.random_range(-1.0..1.0);
        let left = scattered(way, offset, 1.55, |reflectance| rng.random::<f64>() < reflectance);
        assert!((left[2] - z).abs() < ROUNDING && (dot(left, left) - 1.0).abs() < ROUNDING, "{left:?}");
    }
}
