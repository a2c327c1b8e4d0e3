//! Pictures from which no cloth can be told: what a fit must refuse, in words.

use crate::spots::ColourSpots;
use crate::synthetic::Camera;

/// Dark and noise only: no pixel was lit.
pub(crate) fn empty(camera: &Camera) -> Vec<u8> {
    camera.expose(|_| [0.0; 3])
}

/// Two equally bright spots so many mm from each other.
pub(crate) fn two_spots(camera: &Camera, spots: &ColourSpots, apart_mm: f64) -> Vec<u8> {
    camera.photograph(spots, &[[-0.5 * apart_mm, 0.0], [0.5 * apart_mm, 0.0]])
}

/// A spot whose middle lies on the left edge of the picture.
pub(crate) fn cut_off(camera: &Camera, spots: &ColourSpots) -> Vec<u8> {
    let aside = Camera { centre_px: [0.0, camera.centre_px[1]], ..camera.clone() };
    aside.photograph(spots, &[[0.0; 2]])
}

/// A spot on a cloth that is turned about the upright axis by this angle, seen from `distance_mm`: its right side is nearer.
///
/// The outline is that of the perspective; the radiance is still that straight ahead.
pub(crate) fn tilted(camera: &Camera, spots: &ColourSpots, degrees: f64, distance_mm: f64) -> Vec<u8> {
    let (sine, cosine) = degrees.to_radians().sin_cos();
    let on_cloth = |[x, y]: [f64; 2]| {
        let across = x * distance_mm / (distance_mm * cosine + x * sine);
        [across, y * (1.0 - across * sine / distance_mm)]
    };
    camera.photograph_through(spots, &[[0.0; 2]], on_cloth)
}

/// Lines of dark signs on a bright ground, as a photographed screen or page.
pub(crate) fn text(camera: &Camera) -> Vec<u8> {
    /// Value of the ground, and of the signs.
    const BRIGHT: f64 = 0.75;
    const DARK: f64 = 0.05;
    /// Size in px of a stroke; signs are three strokes wide and five high.
    const STROKE_PX: f64 = 2.0;
    let stroke_mm = STROKE_PX * camera.mm_per_px;
    let shown = Camera { exposure: 1.0, ..camera.clone() };
    shown.expose(|[x, y]| {
        let [column, row] = [x, y].map(|at| (at / stroke_mm).floor() as i64);
        let inked = column.rem_euclid(4) < 3 && row.rem_euclid(8) < 5 && scattered_bit(column, row);
        [if inked { DARK } else { BRIGHT }; 3]
    })
}

/// A bit that looks random: a multiplicative hash of a cell.
fn scattered_bit(column: i64, row: i64) -> bool {
    let mixed = (column as u64)
        .wrapping_mul(0x9e37_79b9_7f4a_7c15)
        .wrapping_add((row as u64).wrapping_mul(0xc2b2_ae3d_27d4_eb4f));
    (mixed ^ (mixed >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9) >> 63 == 1
}

/// A photograph of 40 million picture elements (7304 x 5478) without noise or mosaic, otherwise good.
pub(crate) fn huge(camera: &Camera, spots: &ColourSpots) -> Vec<u8> {
    let (width_px, height_px) = (7304, 5478);
    let centre_px = [0.5 * f64::from(width_px - 1), 0.5 * f64::from(height_px - 1)];
    let full_scale_electrons = f64::INFINITY;
    let large =
        Camera { width_px, height_px, centre_px, full_scale_electrons, bayer: false, ..camera.clone() };
    large.photograph(spots, &[[0.0; 2]])
}

/// The first part of a file, this share of its bytes: a copy that broke off.
pub(crate) fn truncated(file: &[u8], share: f64) -> Vec<u8> {
    file[..(file.len() as f64 * share) as usize].to_vec()
}

/// The first bytes of a HEIC file (ISO 14496-12 file type box with the brand `heic`, from memory), and nothing after them.
pub(crate) fn heic_header() -> Vec<u8> {
    let mut bytes = vec![0, 0, 0, 24];
    bytes.extend_from_slice(b"ftypheic\0\0\0\0mif1heic");
    bytes.resize(2048, 0);
    bytes
}
