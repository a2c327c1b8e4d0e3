//! Random numbers and directions.
//!
//! Sources: von Neumann, Various techniques used in connection with random digits (1951): azimuth by rejection;
//! Marsaglia, Choosing a point from the surface of a sphere (1972); Duff et al., Building an orthonormal basis,
//! revisited (2017). All from memory.

use rand::{Rng, RngExt};

/// Asymmetry below which the Henyey-Greenstein law is drawn as isotropic. The inverse of the law divides by `2 g`
/// and loses digits as `g` goes to 0; here the mean cosine is wrong by less than a millionth, far below any
/// sampling error.
const ISOTROPIC_BELOW: f64 = 1e-6;

/// Smallest cosine to the plane of the layers that a direction may have. A ray exactly in the plane would never
/// reach a face and its path would not be a number; a ray this shallow runs 1000 km in a gap of 1 mm and is as
/// good as gone. Directions this shallow are drawn about once in 1e9.
pub(super) const SHALLOWEST: f64 = 1e-9;

/// A uniform number from 0 (included) to 1 (excluded).
#[inline]
pub(super) fn uniform(rng: &mut impl Rng) -> f64 {
    rng.random()
}

/// An optical free path: exponentially distributed with mean 1.
#[inline]
pub(super) fn free_path(rng: &mut impl Rng) -> f64 {
    -(1.0 - uniform(rng)).ln()
}

/// A point in the unit disc without its centre, and the square of its distance from the centre.
#[inline]
pub(super) fn in_disc(rng: &mut impl Rng) -> (f64, f64, f64) {
    loop {
        let x = 2.0 * uniform(rng) - 1.0;
        let y = 2.0 * uniform(rng) - 1.0;
        let squared = x * x + y * y;
        if squared < 1.0 && squared > 0.0 {
            return (x, y, squared);
        }
    }
}

/// Cosine and sine of a uniform azimuth: the doubled angle of a point in the disc.
#[inline]
fn azimuth(rng: &mut impl Rng) -> (f64, f64) {
    let (x, y, squared) = in_disc(rng);
    let scale = 1.0 / squared;
    ((x * x - y * y) * scale, 2.0 * x * y * scale)
}

/// Keeps a direction out of the plane of the layers.
#[inline]
fn off_plane(direction: [f64; 3]) -> [f64; 3] {
    let [x, y, z] = direction;
    [x, y, z.abs().max(SHALLOWEST).copysign(z)]
}

/// A direction whose cosine to +z is given, with a random azimuth.
#[inline]
pub(super) fn around_z(cosine: f64, rng: &mut impl Rng) -> [f64; 3] {
    let sine = (1.0 - cosine * cosine).max(0.0).sqrt();
    let (c, s) = azimuth(rng);
    off_plane([sine * c, sine * s, cosine])
}

/// A direction from a Lambertian surface facing +z: a point of the disc lifted onto the half sphere.
#[inline]
pub(super) fn lambertian(rng: &mut impl Rng) -> [f64; 3] {
    let (x, y, squared) = in_disc(rng);
    off_plane([x, y, (1.0 - squared).sqrt()])
}

/// A direction after scattering by the Henyey-Greenstein law of asymmetry `g`.
#[inline]
pub(super) fn scattered(direction: [f64; 3], g: f64, rng: &mut impl Rng) -> [f64; 3] {
    if g.abs() < ISOTROPIC_BELOW {
        let (x, y, squared) = in_disc(rng);
        let lift = 2.0 * (1.0 - squared).sqrt();
        return off_plane([x * lift, y * lift, 1.0 - 2.0 * squared]);
    }
    let part = (1.0 - g * g) / (1.0 - g + 2.0 * g * uniform(rng));
    let cosine = ((1.0 + g * g - part * part) / (2.0 * g)).clamp(-1.0, 1.0);
    let sine = (1.0 - cosine * cosine).sqrt();
    let (c, s) = azimuth(rng);
    off_plane(turned(direction, [sine * c, sine * s, cosine]))
}

/// `local`, given in a frame whose third axis is `axis`, in the frame of the stack.
#[inline]
fn turned(axis: [f64; 3], local: [f64; 3]) -> [f64; 3] {
    let [x, y, z] = axis;
    let sign = 1f64.copysign(z);
    let a = -1.0 / (sign + z);
    let b = x * y * a;
    let first = [1.0 + sign * x * x * a, sign * b, -sign * x];
    let second = [b, sign + y * y * a, -y];
    std::array::from_fn(|i| local[0] * first[i] + local[1] * second[i] + local[2] * axis[i])
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_pcg::Pcg64Mcg;

    const DRAWS: u32 = 200_000;
    /// Allowed distance of a mean of `DRAWS` values between -1 and 1, whose standard deviation is at most 1: 4.5
    /// standard errors.
    const MEAN_DOUBT: f64 = 0.01;

    /// Means of f over draws of a direction.
    fn means<const N: usize>(seed: u64, mut draw: impl FnMut(&mut Pcg64Mcg) -> [f64; N]) -> [f64; N] {
        let mut rng = Pcg64Mcg::seed_from_u64(seed);
        let mut sums = [0.0; N];
        for _ in 0..DRAWS {
            for (sum, value) in sums.iter_mut().zip(draw(&mut rng)) {
                *sum += value / f64::from(DRAWS);
            }
        }
        sums
    }

    fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
        a.iter().zip(b).map(|(a, b)| a * b).sum()
    }

    #[test]
    fn henyey_greenstein_turns_have_the_legendre_moments_of_the_law() {
        // The n-th Legendre moment of the law is g^n (Henyey & Greenstein 1941); the azimuth is uniform.
        let axes = [[0.0, 0.0, 1.0], [0.0, 0.0, -1.0], [0.48, -0.6, 0.64], [0.6, 0.8, -1e-9]];
        for g in [-0.5, 0.0, 1e-5, 0.3, 0.9] {
            for axis in axes {
                let across = [axis[1], -axis[0], 0.0];
                let [first, second, side, length] = means(1, |rng| {
                    let turned = scattered(axis, g, rng);
                    let c = dot(axis, turned);
                    [c, 1.5 * c * c - 0.5, dot(across, turned), dot(turned, turned)]
                });
                assert!((first - g).abs() < MEAN_DOUBT, "g {g}: mean cosine {first}");
                assert!((second - g * g).abs() < MEAN_DOUBT, "g {g}: second moment {second}");
                assert!(side.abs() < MEAN_DOUBT, "g {g}: mean to the side {side}");
                assert!((length - 1.0).abs() < 1e-9, "g {g}: mean square of the length {length}");
            }
        }
    }

    #[test]
    fn lambertian_and_exponential_draws_have_their_means() {
        // Lambert: mean cosine 2/3, mean square 1/2. Exponential: the mean of exp(-path) is 1/2.
        let [cosine, square, path] = means(2, |rng| {
            let c = lambertian(rng)[2];
            [c, c * c, (-free_path(rng)).exp()]
        });
        assert!((cosine - 2.0 / 3.0).abs() < MEAN_DOUBT, "{cosine}");
        assert!((square - 0.5).abs() < MEAN_DOUBT, "{square}");
        assert!((path - 0.5).abs() < MEAN_DOUBT, "{path}");
    }

    #[test]
    fn no_direction_lies_in_the_plane() {
        assert_eq!(off_plane([1.0, 0.0, 0.0])[2], SHALLOWEST);
        assert_eq!(off_plane([1.0, 0.0, -0.0])[2], -SHALLOWEST);
    }
}
