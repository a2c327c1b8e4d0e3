//! The same scene with something else: another cloth, another gap.

use super::{Exposure, Pixel, PlacedCloth, Scene, View};
use crate::cloth::Cloth;
use crate::pixels::package::Package;
use crate::quantity::Millimetres;
use std::sync::Arc;

/// Which of a scene's cloths another one takes the place of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Replaced {
    /// The outermost; what lies below it (a sleeve, wadding) stays.
    #[default]
    Outermost,
    /// All of them.
    All,
}

impl Scene {
    /// One white 5050 pixel at full level so far behind a cloth, seen from 2 m in a dark room: what pictures of single cloths show. The
    /// picture is a square, its sides in mm and image pixels.
    #[must_use]
    pub fn one_pixel_behind(cloth: &Arc<Cloth>, gap: Millimetres, side: Millimetres, side_px: u32) -> Scene {
        let package = Arc::new(Package::named("5050").unwrap_or_else(|| Package::ideal(1.0)));
        let levels = vec![1.0; package.dies.len()];
        let pixel = Pixel {
            at: [Millimetres(0.0); 2],
            turn_rad: 0.0,
            package,
            levels,
            group: 0,
            extra_gap: Millimetres(0.0),
        };
        Scene {
            name: "One pixel, full level".to_owned(),
            board_reflectance: 0.5,
            pixels: vec![pixel],
            stack: vec![PlacedCloth { gap_below: gap, cloth: Arc::clone(cloth), sleeve: false }],
            view: View {
                photo: None,
                distance_m: 2.0,
                room_lx: 0.0,
                exposure: Exposure::Auto,
                margin: Millimetres(0.5 * side.0),
                size_px: [side_px; 2],
                age_years: 35.0,
                eye_pigment: 0.5,
                side_rad: 0.0,
                from_rad: 0.0,
            },
            supply: None,
            piece: None,
            pattern: None,
        }
    }

    /// The scene behind another cloth, in `layers` layers (at least one) upon each other without air between them. The first
    /// layer stands as far off as the cloth whose place it takes; 0 mm where the scene has no cloth.
    #[must_use]
    pub fn behind(&self, cloth: &Arc<Cloth>, layers: usize, replaced: Replaced) -> Scene {
        let mut scene = self.clone();
        let kept = match replaced {
            Replaced::Outermost => self.stack.len().saturating_sub(1),
            Replaced::All => 0,
        };
        let gap = scene.stack.get(kept).map_or(Millimetres(0.0), |former| former.gap_below);
        scene.stack.truncate(kept);
        let gaps = std::iter::once(gap).chain(std::iter::repeat(Millimetres(0.0)));
        let placed = gaps.take(layers.max(1)).map(|gap_below| PlacedCloth {
            gap_below,
            cloth: Arc::clone(cloth),
            sleeve: false,
        });
        scene.stack.extend(placed);
        scene
    }

    /// The scene with another gap between the pixels and the first cloth; unchanged where it has no cloth. Where the cloth stands off
    /// unevenly, all pixels move by the same amount, and none through the cloth ([`Scene::gap_over`]).
    #[must_use]
    pub fn at_gap(&self, gap: Millimetres) -> Scene {
        let mut scene = self.clone();
        if let Some(first) = scene.stack.first_mut() {
            first.gap_below = gap;
        }
        scene
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cloth::catalogue::{CatalogueOnly, by_name};
    use crate::scene::file::resolve;

    fn scene(stack: &str) -> Scene {
        let text = format!("pixels: [strip: {{pitch_mm: 10, count: 3}}]\nstack: {stack}\n");
        resolve(&text, "test", &CatalogueOnly).expect("in order").scene
    }

    fn stack(scene: &Scene) -> Vec<(f64, &str)> {
        scene.stack.iter().map(|p| (p.gap_below.0, p.cloth.name.as_str())).collect()
    }

    #[test]
    fn another_cloth_takes_the_place_and_the_gap() {
        let jersey = by_name("jersey").expect("listed").expect("in order");
        let one = scene("[{gap_mm: 6, cloth: muslin}]");
        assert_eq!(stack(&one.behind(&jersey, 1, Replaced::Outermost)), [(6.0, "jersey")]);
        assert_eq!(stack(&one.behind(&jersey, 2, Replaced::All)), [(6.0, "jersey"), (0.0, "jersey")]);
        let two = scene("[{gap_mm: 6, cloth: muslin}, {gap_mm: 2, cloth: voile}]");
        assert_eq!(stack(&two.behind(&jersey, 1, Replaced::Outermost)), [(6.0, "muslin"), (2.0, "jersey")]);
        assert_eq!(stack(&two.behind(&jersey, 1, Replaced::All)), [(6.0, "jersey")]);
        assert_eq!(stack(&two.at_gap(Millimetres(9.0))), [(9.0, "muslin"), (2.0, "voile")]);
        assert_eq!(stack(&scene("[]").behind(&jersey, 1, Replaced::Outermost)), [(0.0, "jersey")]);
    }
}
