//! A photograph of the garment, as a scene marks it.

use super::Scene;
use super::drawn::Drawings;
use crate::diagnose::{Problem, Problems};
use crate::picture::on_photo::marks::MarkFault;
use crate::picture::on_photo::surface::{Area, Surface};
use crate::reading::Entry;

/// A photograph and where the garment is seen in it.
#[derive(Clone, Debug, PartialEq)]
pub struct PhotoView {
    /// Its path.
    pub file: String,
    /// Points of the marked area, row by row from the upper left, in image pixels (y downwards; the middle of the upper left image
    /// pixel is [0, 0]).
    pub points_px: Vec<[f64; 2]>,
    /// Points in a row.
    pub columns: usize,
    /// Rows.
    pub rows: usize,
    /// Width of the marked area in mm; without it, what the scene shows.
    pub width_mm: Option<f64>,
    /// Height in mm.
    pub height_mm: Option<f64>,
    /// Its middle in mm.
    pub centre_mm: Option<[f64; 2]>,
    /// Illuminance on the garment when it was taken, in lx.
    pub room_lx: Option<f64>,
    /// Its exposure value at ISO 100.
    pub exposure_ev: Option<f64>,
}

impl PhotoView {
    /// A photograph with four corners: top left, top right, bottom right, bottom left.
    #[must_use]
    pub fn with_corners(file: String, corners: [[f64; 2]; 4]) -> PhotoView {
        PhotoView {
            file,
            points_px: in_rows(corners),
            columns: 2,
            rows: 2,
            width_mm: None,
            height_mm: None,
            centre_mm: None,
            room_lx: None,
            exposure_ev: None,
        }
    }

    /// The marked area of a scene's garment.
    #[must_use]
    pub fn area(&self, scene: &Scene) -> Area {
        let (low, high) = scene.shown_extent();
        let [width, height] = [0, 1].map(|i| (high[i] - low[i]).0);
        Area {
            centre_mm: self.centre_mm.unwrap_or([0, 1].map(|i| 0.5 * (low[i].0 + high[i].0))),
            size_mm: [self.width_mm.unwrap_or(width), self.height_mm.unwrap_or(height)],
        }
    }

    /// Tests the points.
    ///
    /// # Errors
    /// What is wrong with them.
    pub fn checked(&self) -> Result<(), MarkFault> {
        // Sizes do not matter for that.
        let area = Area { centre_mm: [0.0, 0.0], size_mm: [1.0, 1.0] };
        Surface::through(area, &self.points_px, self.columns, self.rows).map(drop)
    }
}

/// Corners around the area as two rows of two.
#[must_use]
pub fn in_rows([top_left, top_right, bottom_right, bottom_left]: [[f64; 2]; 4]) -> Vec<[f64; 2]> {
    vec![top_left, top_right, bottom_left, bottom_right]
}

/// The photograph of a view; `None` after a problem was reported.
pub(super) fn read(
    view: &Entry<'_>,
    drawings: &mut Drawings<'_>,
    problems: &mut Problems,
) -> Option<Option<PhotoView>> {
    if !view.has("photo") {
        return Some(None);
    }
    let photo = view.map("photo")?;
    let (points_px, columns, rows, key) = if photo.has("corners_px") {
        let corners: [[f64; 2]; 4] = photo.pairs("corners_px")?.try_into().ok()?;
        (in_rows(corners), 2, 2, "corners_px")
    } else {
        let points = photo.pairs("points_px")?;
        if !(photo.has("columns") && photo.has("rows")) {
            problems.push(
                Problem::error(photo.place_of("points_px"), "`points_px` needs `columns` and `rows`")
                    .found(format!("{} points", points.len()))
                    .next("Say how many points stand in a row, and how many rows there are: such as `columns: 3, rows: 3`."),
            );
            return None;
        }
        (points, photo.count("columns")?, photo.count("rows")?, "points_px")
    };
    if photo.has("exposure_ev") && !photo.has("room_lx") {
        problems.push(
            Problem::error(
                photo.place_of("exposure_ev"),
                "`exposure_ev` of a photograph needs its `room_lx`",
            )
            .next("Add the light on the garment when it was taken, or leave `exposure_ev` out."),
        );
        return None;
    }
    let open = |key: &str| if photo.has(key) { photo.number(key).map(Some) } else { Some(None) };
    let photo_view = PhotoView {
        file: drawings.named(photo.text("file")?),
        points_px,
        columns,
        rows,
        width_mm: open("width_mm")?,
        height_mm: open("height_mm")?,
        centre_mm: if photo.has("centre_mm") { Some(photo.pair("centre_mm")?) } else { None },
        room_lx: open("room_lx")?,
        exposure_ev: open("exposure_ev")?,
    };
    if let Err(fault) = photo_view.checked() {
        problems.push(Problem::error(photo.place_of(key), fault.to_string()).next(fault.next()));
        return None;
    }
    Some(Some(photo_view))
}
