//! Contact sheets: pictures in even cells, each with its words below, a heading above and notes at the foot.
//!
//! Text heights follow the width of the sheet: shown 1080 image pixels wide, as on a telephone, the smallest text is more
//! than 14 high. Pictures are pasted as they are; [`shrunk`] makes them smaller beforehand.

use super::canvas::{Canvas, Line, Rgb8, shortened, text_width, wrapped};
use super::caption::{BAR, INK, QUIET};
use super::colour::{decode, encode_8bit};

/// Line height of the small text over the width of the sheet. The font's own size is 1/1.164 of its line height: 19.6 and
/// 16.9 image pixels at a width of 1080.
const TEXT_SHARE: f32 = 1.0 / 55.0;
/// Text is never lower than this: a size of 14.6.
const LEAST_TEXT_PX: f32 = 17.0;
/// Line height of a cell's title over that of the small text.
const TITLE: f32 = 1.15;
/// Line height of the sheet's title over that of the small text.
const HEADING: f32 = 1.35;
/// Distance from line to line over line height.
const LEADING: f32 = 1.22;
/// Blank around cells over line height of the small text.
const PAD: f32 = 0.8;
/// A cell is at least this many line heights wide: some eighteen letters.
const LEAST_CELL: f32 = 10.0;
/// The most columns chosen without being asked; beyond, cells are narrow on a telephone.
const MOST_COLUMNS: usize = 4;
/// A cell's title takes at most this many lines.
const TITLE_LINES: usize = 2;
/// The hair line around a picture.
const EDGE: Rgb8 = [60, 63, 72];

/// A picture and what stands below it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cell {
    /// The picture.
    pub picture: Canvas,
    /// Words below it: the first is the title, the others follow in smaller, quieter letters, wrapped and never cut.
    pub lines: Vec<String>,
}

/// The sizes of a sheet.
#[derive(Clone, Copy, Debug)]
struct Sizes {
    text: f32,
    pad: f32,
    cell: f32,
    width: u32,
}

impl Sizes {
    fn of(picture_px: u32, columns: usize) -> Sizes {
        // Text and blank follow the width, which follows from them: a few rounds settle it, each adds a few per cent at most.
        let count = columns as f32;
        let mut text = LEAST_TEXT_PX;
        let mut width = 0.0;
        let mut cell = 0.0;
        for _ in 0..6 {
            cell = (picture_px as f32).max((LEAST_CELL * text).ceil());
            width = count * cell + (count + 1.0) * (PAD * text).round();
            text = (width * TEXT_SHARE).round().max(LEAST_TEXT_PX);
        }
        let pad = (PAD * text).round();
        Sizes { text, pad, cell, width: width.max(count * cell + (count + 1.0) * pad) as u32 }
    }

    fn left(&self, column: usize) -> f32 {
        self.pad + column as f32 * (self.cell + self.pad)
    }

    fn step(height: f32) -> f32 {
        (LEADING * height).ceil()
    }
}

/// Lines below one another; gives where they end.
fn stack(to: &mut Vec<Line>, lines: Vec<String>, left: f32, top: f32, height: f32, colour: Rgb8) -> f32 {
    let mut top = top;
    for text in lines {
        to.push(Line { left, top, height, colour, text });
        top += Sizes::step(height);
    }
    top
}

/// A number of columns that makes the sheet about as wide as high, without many empty cells.
fn fitting_columns(cells: &[Cell]) -> usize {
    let widest = cells.iter().map(|c| c.picture.width_px).max().unwrap_or(0);
    let tallest = cells.iter().map(|c| c.picture.height_px).max().unwrap_or(0) as f32;
    let words = cells.iter().map(|c| c.lines.len()).max().unwrap_or(0) as f32;
    let unfit = |columns: usize| {
        let sizes = Sizes::of(widest, columns);
        let rows = cells.len().div_ceil(columns);
        let height = rows as f32 * (tallest + (words + 1.0) * Sizes::step(sizes.text));
        let empty = (rows * columns - cells.len()) as f32 / (rows * columns) as f32;
        (sizes.width as f32 / height.max(1.0)).ln().abs() + empty
    };
    (1..=cells.len().clamp(1, MOST_COLUMNS)).min_by(|a, b| unfit(*a).total_cmp(&unfit(*b))).unwrap_or(1)
}

/// A contact sheet. `columns` is chosen when it is `None`. The first line of `heading` is the sheet's title, the others and the
/// `footer` are smaller; all are wrapped.
///
/// The pictures keep their size; cells are as wide as the widest of them, and wide enough for words.
#[must_use]
pub fn sheet(cells: &[Cell], columns: Option<usize>, heading: &[String], footer: &[String]) -> Canvas {
    let columns = columns.map_or_else(|| fitting_columns(cells), |c| c.clamp(1, cells.len().max(1)));
    let widest = cells.iter().map(|c| c.picture.width_px).max().unwrap_or(0);
    let sizes = Sizes::of(widest, columns);
    let room = sizes.width as f32 - 2.0 * sizes.pad;
    let mut lines = Vec::new();
    let mut pictures = Vec::new();

    let mut top = sizes.pad;
    for (i, line) in heading.iter().enumerate() {
        let (height, colour) =
            if i == 0 { ((HEADING * sizes.text).round(), INK) } else { (sizes.text, QUIET) };
        top = stack(&mut lines, wrapped(line, height, room), sizes.pad, top, height, colour);
    }
    if !heading.is_empty() {
        top += 0.5 * sizes.pad;
    }
    for row in cells.chunks(columns) {
        let tallest = row.iter().map(|c| c.picture.height_px).max().unwrap_or(0) as f32;
        let mut bottom = top + tallest;
        for (column, cell) in row.iter().enumerate() {
            let left = sizes.left(column);
            let inset = (0.5 * (sizes.cell - cell.picture.width_px as f32)).max(0.0).floor();
            pictures.push((left + inset, top, &cell.picture));
            bottom = bottom.max(words(&mut lines, cell, &sizes, left, top + tallest + 0.3 * sizes.pad));
        }
        top = (bottom + sizes.pad).ceil();
    }
    for line in footer {
        top = stack(&mut lines, wrapped(line, sizes.text, room), sizes.pad, top, sizes.text, QUIET);
    }
    if !footer.is_empty() {
        top += sizes.pad;
    }
    drawn(sizes.width, top, &pictures, &lines)
}

/// The words below a picture; gives where they end.
fn words(lines: &mut Vec<Line>, cell: &Cell, sizes: &Sizes, left: f32, top: f32) -> f32 {
    let mut top = top;
    for (i, line) in cell.lines.iter().enumerate() {
        if i > 0 {
            top = stack(lines, wrapped(line, sizes.text, sizes.cell), left, top, sizes.text, QUIET);
            continue;
        }
        let height = (TITLE * sizes.text).round();
        let mut title = wrapped(line, height, sizes.cell);
        if title.len() > TITLE_LINES {
            let rest = title.split_off(TITLE_LINES - 1).join(" ");
            title.push(shortened(&rest, height, sizes.cell));
        }
        top = stack(lines, title, left, top, height, INK);
    }
    top
}

fn drawn(width: u32, height: f32, pictures: &[(f32, f32, &Canvas)], lines: &[Line]) -> Canvas {
    let mut canvas = Canvas::filled(width, height.ceil() as u32, BAR);
    for (left, top, picture) in pictures {
        let (left, top) = (*left as i64, *top as i64);
        canvas.fill(left - 1, top - 1, picture.width_px + 2, picture.height_px + 2, EDGE);
        canvas.paste(left, top, picture);
    }
    canvas.lines(lines);
    canvas
}

/// One row of pictures side by side with a short label in the middle below each, e.g. `6 mm`. Labels are cut where they
/// do not fit.
#[must_use]
pub fn strip(cells: &[(Canvas, String)]) -> Canvas {
    let widest = cells.iter().map(|c| c.0.width_px).max().unwrap_or(0).max(1);
    let tallest = cells.iter().map(|c| c.0.height_px).max().unwrap_or(0);
    let count = cells.len() as u32;
    let text = (widest * count.max(1)) as f32 * TEXT_SHARE;
    let text = text.round().max(LEAST_TEXT_PX);
    let gap = (0.3 * text).round() as u32;
    let width = count * widest + (count + 1) * gap;
    let height = gap as f32 + tallest as f32 + 1.5 * text;
    let mut pictures = Vec::new();
    let mut lines = Vec::new();
    for (i, (picture, label)) in (0_u32..).zip(cells) {
        let left = (gap + i * (widest + gap)) as f32;
        pictures.push((left + (0.5 * (widest - picture.width_px) as f32).floor(), gap as f32, picture));
        let label = shortened(label, text, (widest + gap) as f32);
        let left = left + 0.5 * (widest as f32 - text_width(&label, text));
        let top = (gap + tallest) as f32 + 0.15 * text;
        lines.push(Line { left, top, height: text, colour: INK, text: label });
    }
    drawn(width, height, &pictures, &lines)
}

/// The picture averaged down to at most `most_width_px` wide, its shape kept; a smaller one stays as it is.
///
/// Each new image pixel is the mean of the area it covers, taken in linear light (sRGB decoded and encoded again after
/// IEC 61966-2-1): the light that leaves the picture stays the same.
#[must_use]
pub fn shrunk(picture: &Canvas, most_width_px: u32) -> Canvas {
    let (w, h) = (picture.width_px as usize, picture.height_px as usize);
    let most = most_width_px.max(1) as usize;
    if w <= most || h == 0 {
        return picture.clone();
    }
    let new_w = most;
    let new_h = ((h * new_w) as f64 / w as f64).round().max(1.0) as usize;
    let linear: Vec<f64> = (0..=255).map(|v| decode(f64::from(v) / 255.0)).collect();
    let across = shares(w, new_w);
    let down = shares(h, new_h);
    // First along the rows, then down the columns.
    let rows: Vec<[f64; 3]> = picture
        .rgb
        .chunks_exact(3 * w)
        .flat_map(|row| {
            let pixel = |x: usize| [0, 1, 2].map(|c| linear[usize::from(row[3 * x + c])]);
            across.iter().map(move |parts| mean(parts, pixel)).collect::<Vec<_>>()
        })
        .collect();
    let rgb = down
        .iter()
        .flat_map(|parts| {
            let rows = &rows;
            (0..new_w).flat_map(move |x| mean(parts, |y| rows[y * new_w + x]).map(encode_8bit))
        })
        .collect();
    Canvas { width_px: new_w as u32, height_px: new_h as u32, rgb }
}

/// Which old places each new one covers, and how much of it each fills.
fn shares(old: usize, new: usize) -> Vec<Vec<(usize, f64)>> {
    let ratio = old as f64 / new as f64;
    (0..new)
        .map(|i| {
            let (from, to) = (i as f64 * ratio, (i + 1) as f64 * ratio);
            (from as usize..old.min(to.ceil() as usize))
                .map(|j| (j, (to.min((j + 1) as f64) - from.max(j as f64)) / ratio))
                .filter(|(_, share)| *share > 1e-12)
                .collect()
        })
        .collect()
}

fn mean(parts: &[(usize, f64)], value: impl Fn(usize) -> [f64; 3]) -> [f64; 3] {
    parts.iter().fold([0.0; 3], |sum, (at, share)| {
        let value = value(*at);
        [0, 1, 2].map(|c| sum[c] + share * value[c])
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Line height over size of the embedded font (ascent and descent of its `hhea` table).
    const LINE_OVER_SIZE: f32 = 1.164;
    /// The width a telephone shows, and the least size of text on it, in image pixels.
    const PHONE_PX: f32 = 1080.0;
    const LEAST_SIZE_PX: f32 = 14.0;

    fn cell(width: u32, height: u32, shade: u8, title: &str) -> Cell {
        Cell {
            picture: Canvas::filled(width, height, [shade, 20, 200]),
            lines: vec![
                title.to_owned(),
                "dots vanish at 1.8 m".to_owned(),
                "keeps 62 % of the light".to_owned(),
            ],
        }
    }

    fn cells(n: u8) -> Vec<Cell> {
        (0..n).map(|i| cell(300, 200, 10 + 9 * i, &format!("cloth {i}"))).collect()
    }

    fn has(canvas: &Canvas, colour: Rgb8) -> usize {
        canvas.rgb.chunks_exact(3).filter(|p| *p == colour).count()
    }

    #[test]
    fn every_picture_is_there_whole_and_the_words_too() {
        for columns in [None, Some(1), Some(2), Some(3), Some(7), Some(0)] {
            let cells = cells(5);
            let sheet = sheet(&cells, columns, &["Lantern walk".to_owned()], &["±30 %".to_owned()]);
            for i in 0..5 {
                assert_eq!(has(&sheet, [10 + 9 * i, 20, 200]), 300 * 200, "{columns:?} {i}");
            }
            assert!(has(&sheet, INK) > 50);
            assert!(has(&sheet, QUIET) > 50);
        }
    }

    #[test]
    fn text_is_high_enough_on_a_telephone() {
        for picture in [1, 40, 100, 333, 700, 1920] {
            for columns in 1..=4 {
                let sizes = Sizes::of(picture, columns);
                let shown = (PHONE_PX / sizes.width as f32).min(1.0);
                assert!(
                    sizes.text / LINE_OVER_SIZE * shown >= LEAST_SIZE_PX,
                    "{picture} {columns} {sizes:?}"
                );
                assert!(sizes.cell >= LEAST_CELL * LEAST_TEXT_PX - 1.0);
                let end = sizes.left(columns - 1) + sizes.cell + sizes.pad;
                assert!((end - sizes.width as f32).abs() <= 0.05 * sizes.width as f32, "{end} {sizes:?}");
                assert!(end <= sizes.width as f32 + 1.0);
            }
        }
    }

    #[test]
    fn columns_are_chosen_for_an_even_sheet() {
        assert_eq!([1, 2, 4, 9].map(|n| fitting_columns(&cells(n))), [1, 1, 2, 3]);
        let wide: Vec<Cell> = (0..4).map(|i| cell(900, 120, i, "hem")).collect();
        assert_eq!(fitting_columns(&wide), 1);
        assert!(fitting_columns(&[]) == 1);
    }

    #[test]
    fn odd_sheets_are_drawn_too() {
        let empty = sheet(&[], None, &[], &[]);
        assert!(empty.width_px > 0);
        let none = Cell { picture: Canvas::filled(0, 0, BAR), lines: Vec::new() };
        let mixed = [
            none,
            cell(
                30,
                300,
                1,
                "a title that is far too long for its cell and is cut off in the end, as it must be",
            ),
        ];
        let drawn = sheet(&mixed, None, &[], &[]);
        assert_eq!(has(&drawn, [1, 20, 200]), 30 * 300);
        assert!(strip(&[]).width_px > 0 || strip(&[]).rgb.is_empty());
    }

    #[test]
    fn a_strip_is_one_row_with_labels() {
        let cells: Vec<_> =
            (0..6_u8).map(|i| (Canvas::filled(160, 120, [i, 90, 90]), format!("{} mm", 2 * i))).collect();
        let strip = strip(&cells);
        assert!(strip.width_px >= 6 * 160 && strip.height_px < 120 + 60);
        for i in 0..6 {
            assert_eq!(has(&strip, [i, 90, 90]), 160 * 120);
        }
        assert!(has(&strip, INK) > 30);
    }

    /// Half a step of an 8-bit value, and rounding.
    const HALF_STEP: f64 = 0.51;

    #[test]
    fn shrinking_keeps_the_light() {
        // Black and white stripes one image pixel wide: half the light, which is not half the value.
        let rgb = (0..64 * 8).flat_map(|i| [if i % 2 == 0 { 0 } else { 255_u8 }; 3]).collect();
        let stripes = Canvas::from_rgb(64, 8, rgb).expect("a canvas");
        let grey = shrunk(&stripes, 16);
        assert_eq!((grey.width_px, grey.height_px), (16, 2));
        // IEC 61966-2-1 by hand: 255 (1.055 0.5^(1/2.4) - 0.055) = 187.5.
        let by_hand = 255.0 * (1.055 * 0.5_f64.powf(1.0 / 2.4) - 0.055);
        assert!(grey.rgb.iter().all(|v| (f64::from(*v) - by_hand).abs() <= HALF_STEP), "{:?}", grey.rgb);
        // Even colours stay exactly, at every ratio.
        for most in [1, 3, 7, 50, 63] {
            let even = shrunk(&Canvas::filled(64, 31, [200, 3, 90]), most);
            assert_eq!(even.width_px, most);
            assert!(even.rgb.chunks_exact(3).all(|p| p == [200, 3, 90]), "{most}");
        }
        assert_eq!(shrunk(&stripes, 64), stripes);
        assert_eq!(shrunk(&Canvas::filled(0, 0, BAR), 4).width_px, 0);
    }
}
