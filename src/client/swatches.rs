//! The cloths with their colours: unlit in daylight over the board, and lit by the scene's own light through each cloth alone.
//!
//! **Model**: unlit is the daylight (CIE D65) that the cloth over its board throws back; white is what throws back all of it. Lit is what
//! the cloth alone lets through of the pixels' light ([`crate::cloth::diffuse`]); its brightness is not comparable, each is shown as
//! bright as a screen can. Colours that a screen cannot show are made paler at the same hue.

use crate::cloth::diffuse::totals;
use crate::cloth::{Basis, Cloth};
use crate::light::Stack;
use crate::light::spectrum::{Spectrum, Xyz, die_weights};
use crate::picture::canvas::Rgb8;
use crate::picture::colour::gamut::into_gamut;
use crate::picture::colour::{encode_8bit, linear_srgb};
use crate::picture::luminance::room_light;
use crate::pixels::package::Package;
use crate::quantity::{Millimetres, Nanometres};
use crate::scene::Scene;
use std::f64::consts::PI;
use std::sync::Arc;

/// Colours of light that are shown of one scene; more are not told apart on a swatch.
pub(super) const MOST_COLOURS: usize = 4;
/// Distance of the wavelengths at which transmittance is computed; between them straight lines.
const STEP_NM: f64 = 20.0;

/// A cloth of the scene.
#[derive(Clone, Debug, PartialEq)]
pub struct ClothCard {
    /// Name in plain words.
    pub title: String,
    /// Where its numbers come from, in words.
    pub source: String,
    /// How its optics are known.
    pub basis: Basis,
    /// Relative uncertainty of its optical thickness, and of its holes (zero where it has none).
    pub uncertainty: [f64; 2],
    /// Whether it is the sleeve of a strip.
    pub sleeve: bool,
    /// Thickness.
    pub thickness_mm: f64,
    /// Areal mass, where known.
    pub areal_mass_g_m2: Option<f64>,
    /// Mass of the piece to cut, where known.
    pub mass_g: Option<f64>,
    /// Air below it, least and most.
    pub gap_mm: [f64; 2],
    /// Colour unlit, in daylight.
    pub unlit: Rgb8,
    /// Colour lit, for each colour of the scene's light, the most frequent first.
    pub lit: Vec<Rgb8>,
}

/// The cloths from the pixels outwards.
pub(super) fn cards(scene: &Scene) -> Vec<ClothCard> {
    let lights = lights(scene);
    let mut masses = crate::build::make::cloths::cloth_pieces(scene).into_iter();
    let placed = scene.stack.iter().enumerate();
    placed
        .map(|(i, placed)| {
            let cloth = &placed.cloth;
            let piece = if placed.sleeve { None } else { masses.next() };
            let holes = if cloth.openness > 0.0 { cloth.uncertainty.openness } else { 0.0 };
            ClothCard {
                title: cloth.title.clone(),
                source: cloth.source.clone(),
                basis: cloth.basis,
                uncertainty: [cloth.uncertainty.optical_thickness, holes],
                sleeve: placed.sleeve,
                thickness_mm: cloth.thickness.0,
                areal_mass_g_m2: cloth.areal_mass_g_m2,
                mass_g: piece.and_then(|piece| piece.mass_g),
                gap_mm: if i == 0 { scene.gap_range_mm() } else { [placed.gap_below.0; 2] },
                unlit: unlit(scene, cloth),
                lit: through(cloth, &lights),
            }
        })
        .collect()
}

/// What a cloth alone lets through of each light.
fn through(cloth: &Cloth, lights: &[(Arc<Package>, Vec<f64>)]) -> Vec<Rgb8> {
    let at = |l: Nanometres| totals(&cloth.layer_at(Millimetres(0.0), l)).through;
    let steps = ((crate::light::spectrum::LAST_NM - crate::light::spectrum::FIRST_NM) / STEP_NM) as usize;
    let knots: Vec<f64> =
        (0..=steps).map(|i| at(Nanometres(crate::light::spectrum::FIRST_NM + STEP_NM * i as f64))).collect();
    let transmittance = Spectrum::from_fn(|l| {
        let x = (l.0 - crate::light::spectrum::FIRST_NM) / STEP_NM;
        let i = (x as usize).min(steps - 1);
        knots[i] + (x - i as f64) * (knots[i + 1] - knots[i])
    });
    lights.iter().map(|(package, levels)| brightest(light(package, levels, &transmittance))).collect()
}

fn light(package: &Package, levels: &[f64], transmittance: &Spectrum) -> Xyz {
    let dies = package.dies.iter().zip(levels);
    dies.map(|(die, &level)| die_weights(die, package.beam_power).through(transmittance).scaled(level)).sum()
}

/// The different lights of the scene, the most frequent first; levels relative to their sum.
fn lights(scene: &Scene) -> Vec<(Arc<Package>, Vec<f64>)> {
    /// Shares that differ by less are the same colour.
    const SAME: f64 = 1e-3;
    let mut found: Vec<(Arc<Package>, Vec<f64>, usize)> = Vec::new();
    for pixel in &scene.pixels {
        let sum: f64 = pixel.levels.iter().sum();
        if sum <= 0.0 {
            continue;
        }
        let own: Vec<f64> = pixel.levels.iter().map(|level| level / sum).collect();
        let same = |(package, levels, _): &&mut (Arc<Package>, Vec<f64>, usize)| {
            **package == *pixel.package && levels.iter().zip(&own).all(|(a, b)| (a - b).abs() < SAME)
        };
        if let Some(known) = found.iter_mut().find(same) {
            known.2 += 1;
        } else if found.len() < 64 {
            // A picture of thousands of colours shows its most frequent among the first.
            found.push((Arc::clone(&pixel.package), own, 1));
        }
    }
    found.sort_by_key(|(_, _, count)| std::cmp::Reverse(*count));
    found.into_iter().take(MOST_COLOURS).map(|(package, levels, _)| (package, levels)).collect()
}

/// The cloth in daylight, over the board on which the pixels sit; white is what throws back all light.
fn unlit(scene: &Scene, cloth: &Arc<Cloth>) -> Rgb8 {
    let stack_at = |l| Stack {
        board_reflectance: scene.board_reflectance,
        layers: vec![cloth.layer_at(Millimetres(0.0), l)],
    };
    // E R / pi with E = pi lx is R times the white.
    into_gamut(linear_srgb(room_light(&stack_at, PI))).map(|v| encode_8bit(v.clamp(0.0, 1.0)))
}

/// A colour as bright as a screen shows it; black for no light.
fn brightest(xyz: Xyz) -> Rgb8 {
    if xyz.luminance() <= 0.0 {
        return [0; 3];
    }
    let rgb = into_gamut(linear_srgb(xyz.scaled(0.5 / xyz.luminance())));
    let most = rgb.iter().copied().fold(0.0, f64::max);
    if most <= 0.0 { [0; 3] } else { rgb.map(|v| encode_8bit((v / most).clamp(0.0, 1.0))) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cloth::catalogue::CatalogueOnly;
    use crate::scene::file::resolve;

    fn scene(text: &str) -> Scene {
        resolve(text, "test", &CatalogueOnly).expect("in order").scene
    }

    #[test]
    fn colours_go_through_cloth_as_they_must() {
        let scene = scene(
            "pixels: [strip: {pitch_mm: 10, count: 5, colours: [\"#ff0000\", \"#0000ff\"]}]\n\
             stack: [{gap_mm: 5, cloth: felt-wool-red}, {gap_mm: 0, cloth: felt-wool-ivory}]\n",
        );
        let cards = cards(&scene);
        let [red, ivory] = [&cards[0], &cards[1]];
        assert!(red.unlit[0] > red.unlit[1] + 50 && red.unlit[0] > red.unlit[2] + 50, "{:?}", red.unlit);
        let spread = |c: Rgb8| c.iter().max().expect("three") - c.iter().min().expect("three");
        assert!(spread(ivory.unlit) < 60 && ivory.unlit.iter().all(|v| *v > 150), "{:?}", ivory.unlit);
        // Three pixels are red, two blue.
        assert_eq!(ivory.lit.len(), 2);
        assert!(ivory.lit[0][0] == 255 && ivory.lit[1][2] == 255, "{:?}", ivory.lit);
    }

    #[test]
    fn at_most_four_colours_and_none_of_dark_pixels() {
        let colours = ["#ff0000", "#00ff00", "#0000ff", "#ffff00", "#00ffff", "#000000"].join("\", \"");
        let scene = scene(&format!(
            "pixels: [strip: {{pitch_mm: 10, count: 12, colours: [\"{colours}\"]}}]\nstack: [{{gap_mm: 5, cloth: jersey}}]\n"
        ));
        assert_eq!(cards(&scene)[0].lit.len(), MOST_COLOURS);
    }
}
