//! Textile fibres: density, refractive index, usual diameter, and how a single fibre scatters light.
//!
//! **Sources.** Densities at 65 % relative humidity: Morton & Hearle, Physical Properties of Textile Fibres, 4th
//! edition, table 5.1 (seen as a copy of the table). Refractive indices along and across the fibre at 589 nm: the
//! same book, table 24.1 (from memory). Diameters: wool and silk from fibre handbooks (seen), the others common
//! practice, no source.
//!
//! **Scattering of one fibre.** Geometric optics of a clear smooth round cylinder, unpolarised light, diffraction
//! left out; the mean cosine of the scattering angle depends on the refractive index alone. Computed for this
//! table, not published; the unit tests compute it again from the closed form of van de Hulst, Light Scattering by
//! Small Particles (1957), chapter 12, generalised to oblique light. **Validity:** fibres much thicker than the
//! wavelength, from about 5 um; round ones best.

/// One kind of fibre.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fibre {
    /// Name as it is written in a cloth file.
    pub name: &'static str,
    /// Density in g/cm3 at 65 % relative humidity.
    pub density_g_cm3: f64,
    /// Refractive index for light polarised along the fibre.
    pub index_along: f64,
    /// Refractive index for light polarised across the fibre.
    pub index_across: f64,
    /// Usual diameter in micrometres, where the label says nothing.
    pub diameter_um: f64,
    /// Other names under which the fibre is found.
    also: &'static [&'static str],
}

impl Fibre {
    /// Mean refractive index, `(along + 2 across) / 3` (Morton & Hearle, chapter 24; from memory).
    #[must_use]
    pub fn refractive_index(&self) -> f64 {
        (self.index_along + 2.0 * self.index_across) / 3.0
    }
}

const fn fibre(
    name: &'static str,
    density_g_cm3: f64,
    index: (f64, f64),
    diameter_um: f64,
    also: &'static [&'static str],
) -> Fibre {
    Fibre { name, density_g_cm3, index_along: index.0, index_across: index.1, diameter_um, also }
}

/// The fibres that are known. Acrylic and polypropylene have ranges in the book; their middles stand here.
pub const FIBRES: [Fibre; 8] = [
    fibre("cotton", 1.52, (1.578, 1.532), 16.0, &[]),
    fibre("viscose", 1.49, (1.539, 1.519), 15.0, &["rayon"]),
    fibre("wool", 1.31, (1.553, 1.542), 20.0, &["merino"]),
    fibre("silk", 1.34, (1.591, 1.538), 11.5, &[]),
    fibre("nylon", 1.14, (1.582, 1.519), 18.0, &["polyamide"]),
    fibre("polyester", 1.39, (1.725, 1.537), 18.0, &["pet"]),
    fibre("acrylic", 1.19, (1.510, 1.512), 18.0, &[]),
    fibre("polypropylene", 0.91, (1.525, 1.495), 25.0, &["pp"]),
];

/// All names under which a fibre is found.
pub fn names() -> impl Iterator<Item = &'static str> {
    FIBRES.iter().flat_map(|fibre| std::iter::once(fibre.name).chain(fibre.also.iter().copied()))
}

/// The fibre of this name, capital letters or not.
#[must_use]
pub fn find(name: &str) -> Option<&'static Fibre> {
    let name = name.trim().to_lowercase();
    FIBRES.iter().find(|fibre| fibre.name == name || fibre.also.contains(&name.as_str()))
}

/// How the fibres of a cloth lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lie {
    /// In the plane of the cloth, struck across their length.
    Flat,
    /// In all directions.
    Random,
}

/// Refractive index; mean cosine for fibres in all directions; for light across the fibre.
const ASYMMETRY: [(f64, f64, f64); 5] = [
    (1.50, 0.769, 0.727),
    (1.53, 0.756, 0.709),
    (1.55, 0.747, 0.698),
    (1.58, 0.735, 0.681),
    (1.62, 0.719, 0.659),
];

/// Mean cosine of the angle by which one clear fibre scatters light.
///
/// Straight-line interpolation over the refractive index; outside 1.50 to 1.62 the end value.
#[must_use]
pub fn asymmetry(refractive_index: f64, lie: Lie) -> f64 {
    let value = |row: &(f64, f64, f64)| match lie {
        Lie::Flat => row.2,
        Lie::Random => row.1,
    };
    let n = refractive_index.clamp(ASYMMETRY[0].0, ASYMMETRY[ASYMMETRY.len() - 1].0);
    let i = ASYMMETRY.partition_point(|row| row.0 < n).clamp(1, ASYMMETRY.len() - 1);
    let (below, above) = (&ASYMMETRY[i - 1], &ASYMMETRY[i]);
    let share = (n - below.0) / (above.0 - below.0);
    value(below) * (1.0 - share) + value(above) * share
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::quadrature::{Rule, gauss_legendre};
    use std::f64::consts::{FRAC_PI_2, PI};

    /// Half a unit in the third decimal of the table, and as much again for the quadrature.
    const TABLE: f64 = 1e-3;
    /// Inner reflections beyond this number carry less than 1e-9 of the light.
    const REFLECTIONS: i32 = 40;

    /// Unpolarised Fresnel reflectance at the cosine of incidence `cos_in`.
    fn fresnel(cos_in: f64, n: f64) -> f64 {
        let cos_out = (1.0 - (1.0 - cos_in * cos_in) / (n * n)).sqrt();
        let s = (cos_in - n * cos_out) / (cos_in + n * cos_out);
        let p = (cos_out - n * cos_in) / (cos_out + n * cos_in);
        0.5 * (s * s + p * p)
    }

    /// Mean cosine for rays that make the angle `tilt` with the plane across the fibre.
    fn mean_cosine(n: f64, tilt: f64) -> f64 {
        // Seen along the fibre a tilted ray is refracted as if by the larger index of Bravais.
        let seen = (n * n - tilt.sin().powi(2)).sqrt() / tilt.cos();
        let Rule { nodes: offsets, weights } = gauss_legendre(200);
        offsets
            .iter()
            .zip(&weights)
            .map(|(&offset, weight)| {
                let (inward, inside) = (offset.asin(), (offset / seen).asin());
                let r = fresnel(tilt.cos() * inward.cos(), n);
                let cosine = |turn: f64| tilt.sin().powi(2) + tilt.cos().powi(2) * turn.cos();
                let through: f64 = (1..REFLECTIONS)
                    .map(|p| {
                        let turn = 2.0 * (inward - inside) + f64::from(p - 1) * (PI - 2.0 * inside);
                        (1.0 - r).powi(2) * r.powi(p - 1) * cosine(turn)
                    })
                    .sum();
                weight * (r * cosine(PI - 2.0 * inward) + through)
            })
            .sum()
    }

    #[test]
    fn the_table_follows_from_geometric_optics() {
        let Rule { nodes: shares, weights } = gauss_legendre(40);
        for (n, random, across) in ASYMMETRY {
            assert!((mean_cosine(n, 0.0) - across).abs() < TABLE, "n {n}");
            // Fibres in all directions: the solid angle and the shadow each carry a cosine of the tilt.
            let (mut sum, mut all) = (0.0, 0.0);
            for (share, weight) in shares.iter().zip(&weights) {
                let tilt = share * FRAC_PI_2;
                let w = weight * tilt.cos().powi(2);
                sum += w * mean_cosine(n, tilt);
                all += w;
            }
            assert!((sum / all - random).abs() < TABLE, "n {n}: {}", sum / all);
        }
    }

    #[test]
    fn interpolation_meets_the_table_and_stays_in_it() {
        assert_eq!(asymmetry(1.55, Lie::Random), 0.747);
        assert_eq!(asymmetry(1.40, Lie::Flat), 0.727);
        assert_eq!(asymmetry(1.70, Lie::Flat), 0.659);
        let between = asymmetry(1.565, Lie::Flat);
        assert!(between < 0.698 && between > 0.681);
    }

    #[test]
    fn fibres_are_found_by_any_of_their_names() {
        assert_eq!(find(" Polyamide").map(|f| f.name), Some("nylon"));
        assert!(find("glass").is_none());
    }
}
