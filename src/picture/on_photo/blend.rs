//! The photograph in linear light, and the sum of the two lights.

use super::footprint::Glow;
use super::surface::Surface;
use crate::light::spectrum::observer::Xyz;
use crate::photo::decode::Photo;
use crate::picture::colour::xyz_of_linear_srgb;
use crate::picture::plane::XyzImage;
use crate::pixels::outline::Outline;
use rayon::prelude::*;

/// Mean linear value of the marked cloth below which it counts as black: a third of the first step of 8 bits.
pub(super) const BLACK: f64 = 1e-4;

/// A photograph in XYZ, its white at Y = 1, made smaller where it was too large.
pub(super) struct Small {
    pub(super) image: XyzImage,
    /// Whether any channel is burnt out, image pixel by image pixel.
    burnt: Vec<bool>,
    /// Image pixels of the photograph to one of this picture, across and down.
    ratio: [f64; 2],
}

impl Small {
    /// Each image pixel is the mean, in linear light, of what it covers of the photograph.
    pub(super) fn of(photo: &Photo, most_px: [u32; 2]) -> Small {
        let sides = [photo.width as f64, photo.height as f64];
        let fit = (f64::from(most_px[0]) / sides[0]).min(f64::from(most_px[1]) / sides[1]).min(1.0);
        let [width, height] = sides.map(|side| (side * fit).round().max(1.0));
        let ratio = [sides[0] / width, sides[1] / height];
        let mut image = XyzImage::black(width as u32, height as u32);
        let width = width as usize;
        let mut burnt = vec![false; image.planes[0].len()];
        let [x, y, z] = &mut image.planes;
        x.par_chunks_mut(width)
            .zip(y.par_chunks_mut(width))
            .zip(z.par_chunks_mut(width))
            .zip(burnt.par_chunks_mut(width))
            .enumerate()
            .for_each(|(row, (((x, y), z), burnt))| {
                for column in 0..width {
                    let (rgb, any_burnt) = mean(photo, [column, row], ratio);
                    let Xyz(xyz) = xyz_of_linear_srgb(rgb);
                    (x[column], y[column], z[column]) = (xyz[0] as f32, xyz[1] as f32, xyz[2] as f32);
                    burnt[column] = any_burnt;
                }
            });
        Small { image, burnt, ratio }
    }

    /// A place of the photograph in this picture; both count from the middle of their upper left image pixel.
    pub(super) fn place(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [(x + 0.5) / self.ratio[0] - 0.5, (y + 0.5) / self.ratio[1] - 0.5]
    }
}

/// The mean of the photograph over one image pixel of the smaller picture, and whether any part of it is burnt out.
fn mean(photo: &Photo, at: [usize; 2], ratio: [f64; 2]) -> ([f64; 3], bool) {
    let limits = [photo.width, photo.height];
    // Whole and broken image pixels on each axis with their weights.
    let parts = [0, 1].map(|axis| {
        let (from, to) = (at[axis] as f64 * ratio[axis], (at[axis] + 1) as f64 * ratio[axis]);
        let last = (to.ceil() as usize).min(limits[axis]);
        (from as usize..last).map(move |i| (i, to.min(i as f64 + 1.0) - from.max(i as f64)))
    });
    let [across, down] = parts;
    let (mut sum, mut weight, mut burnt) = ([0.0; 3], 0.0, false);
    for (row, high) in down {
        for (column, wide) in across.clone() {
            let share = wide * high;
            if share > 1e-9 {
                burnt |= photo.clipped(column, row).contains(&true);
                for (sum, value) in sum.iter_mut().zip(photo.linear(column, row)) {
                    *sum += share * value;
                }
                weight += share;
            }
        }
    }
    (sum.map(|v| v / weight), burnt)
}

/// What the photograph shows of the marked cloth, weighed by area on the garment.
#[derive(Clone, Copy, Default)]
pub(super) struct Cloth {
    /// Area that is seen, in mm2.
    pub(super) area: f64,
    /// Area times linear luminance.
    light: f64,
    /// Area that is burnt out, in mm2.
    pub(super) burnt_out: f64,
}

impl Cloth {
    /// Mean linear luminance, where the photograph's white is 1.
    pub(super) fn mean(&self) -> f64 {
        if self.area > 0.0 { self.light / self.area } else { 0.0 }
    }

    fn with(self, other: Cloth) -> Cloth {
        Cloth {
            area: self.area + other.area,
            light: self.light + other.light,
            burnt_out: self.burnt_out + other.burnt_out,
        }
    }
}

/// The glow as the photograph's camera sees it, and the cloth in the photograph.
pub(super) struct Seen {
    pub(super) glow: XyzImage,
    pub(super) cloth: Cloth,
}

/// Looks at every image pixel.
pub(super) fn seen(small: &Small, surface: &Surface, glow: &Glow, outline: Option<&Outline>) -> Seen {
    let (width, height) = (small.image.width_px, small.image.height_px);
    let mut image = XyzImage::black(width, height);
    let width = width as usize;
    let [x, y, z] = &mut image.planes;
    let area = surface.area();
    let rows: Vec<Cloth> = x
        .par_chunks_mut(width)
        .zip(y.par_chunks_mut(width))
        .zip(z.par_chunks_mut(width))
        .enumerate()
        .map(|(row, ((x, y), z))| {
            let mut cloth = Cloth::default();
            for column in 0..width {
                let Some((mm, scale)) = surface.on_garment([column as f64, row as f64]) else { continue };
                if area.contains(mm) && outline.is_none_or(|outline| outline.contains(mm)) {
                    let i = row * width + column;
                    let mm2 = scale.determinant().abs();
                    cloth.area += mm2;
                    cloth.light += mm2 * f64::from(small.image.planes[1][i]);
                    cloth.burnt_out += if small.burnt[i] { mm2 } else { 0.0 };
                }
                if let Some(xyz) = glow.over(mm, &scale) {
                    (x[column], y[column], z[column]) = (xyz[0] as f32, xyz[1] as f32, xyz[2] as f32);
                }
            }
            cloth
        })
        .collect();
    Seen { glow: image, cloth: rows.into_iter().fold(Cloth::default(), Cloth::with) }
}

/// The photograph, its white at a luminance, with the glow.
pub(super) fn added(mut photo: XyzImage, white_cd_m2: f64, glow: &XyzImage) -> XyzImage {
    for (plane, glow) in photo.planes.iter_mut().zip(&glow.planes) {
        plane
            .par_iter_mut()
            .zip(glow)
            .for_each(|(value, glow)| *value = (f64::from(*value) * white_cd_m2) as f32 + glow);
    }
    photo
}
