//! Cloth to cut: area and mass.
//!
//! **Model**: every cloth of the stack is as large as the pattern piece, or, where the scene draws none, as the rectangle around the pixels
//! with the margin that pictures show. Mass is areal mass times area. Sleeves are no cloth; the mass of pixels, wires and battery is
//! left out.

use crate::scene::Scene;

/// Where the size of a cloth comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SizeFrom {
    /// The pattern piece of the scene.
    Outline,
    /// The rectangle around the pixels' centres with this margin on every side, in mm.
    Margin(f64),
}

/// One layer to cut.
#[derive(Clone, Debug, PartialEq)]
pub struct ClothPiece {
    /// Its number, from 1: C1, C2, …, from the pixels outwards.
    pub number: usize,
    /// Name of the cloth in plain words.
    pub title: String,
    /// Width and height of the piece, in mm.
    pub size_mm: [f64; 2],
    /// Its area.
    pub area_mm2: f64,
    /// Where its size comes from.
    pub from: SizeFrom,
    /// Areal mass, in g/m2, where known.
    pub areal_mass_g_m2: Option<f64>,
    /// Mass, in g, where known.
    pub mass_g: Option<f64>,
    /// Thickness of the cloth.
    pub thickness_mm: f64,
    /// Air below it.
    pub gap_mm: f64,
    /// What it lies over, in words.
    pub over: String,
}

const MM2_PER_M2: f64 = 1e6;

/// The layers to cut, from the pixels outwards.
#[must_use]
pub fn cloth_pieces(scene: &Scene) -> Vec<ClothPiece> {
    let (size_mm, area_mm2, from) = match &scene.piece {
        Some(piece) => {
            let (low, high) = piece.outline.extent();
            ([(high[0] - low[0]).0, (high[1] - low[1]).0], piece.outline.area_mm2(), SizeFrom::Outline)
        }
        None => {
            let (low, high) = scene.extent();
            let margin = scene.view.margin.0;
            let size: [f64; 2] = std::array::from_fn(|i| (high[i] - low[i]).0 + 2.0 * margin);
            (size, size[0] * size[1], SizeFrom::Margin(margin))
        }
    };
    let mut over = "the pixels".to_owned();
    let mut pieces = Vec::new();
    for placed in &scene.stack {
        let cloth = &placed.cloth;
        let below = std::mem::replace(&mut over, cloth.title.clone());
        if placed.sleeve {
            continue;
        }
        pieces.push(ClothPiece {
            number: pieces.len() + 1,
            title: cloth.title.clone(),
            size_mm,
            area_mm2,
            from,
            areal_mass_g_m2: cloth.areal_mass_g_m2,
            mass_g: cloth.areal_mass_g_m2.map(|mass| mass * area_mm2 / MM2_PER_M2),
            thickness_mm: cloth.thickness.0,
            gap_mm: placed.gap_below.0,
            over: below,
        });
    }
    pieces
}
