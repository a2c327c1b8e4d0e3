//! The drawing to size, cut into pages to glue together.
//!
//! Every page shows the same way round: as one looks at the garment. Neighbouring pages share a strip of [`OVERLAP_MM`]; crosses on both say
//! where they meet. A page that would show nothing is left out. The paper lies on its side where that takes fewer pages.

use super::drawing::{Element, INK, elements};
use super::overview::{check_square, overview, overview_extent};
use super::{Plan, counted};
use crate::paper::Paper;
use crate::picture::chart::{escaped, plain_number as n};

/// Blank along every edge of the paper: most printers reach to 5 mm.
pub const MARGIN_MM: f64 = 10.0;
/// Room above the drawing of a page for its name, and below for the scale.
const HEAD_MM: f64 = 14.0;
const FOOT_MM: f64 = 14.0;
/// What neighbouring pages share.
pub const OVERLAP_MM: f64 = 10.0;
/// Blank around the drawing.
const AROUND_MM: f64 = 12.0;
/// The most pages to size: two large boards full. Beyond, only the overview is drawn.
pub const MOST_TILES: usize = 60;
/// The most pixels that are drawn to size: beyond, files become too large to open. Only the overview is drawn then.
pub const MOST_DRAWN: usize = 5000;
/// Side of the square by which a print is checked.
pub const CHECK_MM: f64 = 50.0;

/// One page to size.
#[derive(Clone, Debug, PartialEq)]
pub struct Tile {
    /// Its name: a letter for the row from the top, a number for the column from the left.
    pub name: String,
    /// The page, an SVG drawing as large as the paper.
    pub svg: String,
}

/// Why there are no pages to size.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LeftOut {
    /// Too many pages.
    #[error("to size the drawing would take {0} pages, more than {MOST_TILES}: only the overview is drawn")]
    Pages(usize),
    /// Too many pixels.
    #[error("the scene has {0} pixels; up to {MOST_DRAWN} are drawn to size: only the overview is drawn")]
    Pixels(usize),
}

/// The overview and the pages to size.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawings {
    /// The overview with the check square, an SVG drawing as large as the paper.
    pub overview: String,
    /// The pages, row by row.
    pub tiles: Vec<Tile>,
    /// Why there are none.
    pub left_out: Option<LeftOut>,
    /// The paper.
    pub paper: Paper,
    /// Whether the pages to size lie on their side; the overview stands upright.
    pub across: bool,
}

/// How the drawing is cut into pages.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Grid {
    /// Upper left corner of the first page's drawing, on the drawing's own paper coordinates.
    pub(super) low: [f64; 2],
    /// Width and height of a page's drawing.
    pub(super) page: [f64; 2],
    pub(super) columns: usize,
    pub(super) rows: usize,
    /// Whether the paper lies on its side.
    pub(super) across: bool,
}

impl Grid {
    fn of(low: [f64; 2], high: [f64; 2], paper: Paper, across: bool) -> Grid {
        let [width, height] = paper.lying_mm(across);
        let page = [width - 2.0 * MARGIN_MM, height - 2.0 * MARGIN_MM - HEAD_MM - FOOT_MM];
        let count = |i: usize| {
            let size = high[i] - low[i];
            (((size - OVERLAP_MM) / (page[i] - OVERLAP_MM)).ceil()).clamp(1.0, 1e6) as usize
        };
        let (columns, rows) = (count(0), count(1));
        // The drawing lies in the middle of its pages.
        let whole = |count: usize, i: usize| count as f64 * (page[i] - OVERLAP_MM) + OVERLAP_MM;
        let free = [whole(columns, 0) - (high[0] - low[0]), whole(rows, 1) - (high[1] - low[1])];
        Grid { low: std::array::from_fn(|i| low[i] - 0.5 * free[i]), page, columns, rows, across }
    }

    /// The pages, row by row, on which something is drawn; none where they are far too many.
    fn shown(&self, all: &[Element]) -> Vec<(usize, usize)> {
        if self.columns * self.rows > 100 * MOST_TILES {
            return Vec::new();
        }
        let every = (0..self.rows).flat_map(|row| (0..self.columns).map(move |column| (row, column)));
        every
            .filter(|(row, column)| {
                let (low, high) = self.window(*column, *row);
                // What lies in the overlap alone is on the neighbouring page too.
                let inner = |v: f64, sign: f64| v + sign * 0.5 * OVERLAP_MM;
                all.iter().any(|e| e.touches(low.map(|v| inner(v, 1.0)), high.map(|v| inner(v, -1.0))))
            })
            .collect()
    }

    /// The box of a page's drawing.
    pub(super) fn window(&self, column: usize, row: usize) -> ([f64; 2], [f64; 2]) {
        let low = [
            self.low[0] + column as f64 * (self.page[0] - OVERLAP_MM),
            self.low[1] + row as f64 * (self.page[1] - OVERLAP_MM),
        ];
        (low, [low[0] + self.page[0], low[1] + self.page[1]])
    }
}

/// The name of a page: `B3`; beyond the letters rows are numbered.
#[must_use]
pub fn page_name(row: usize, column: usize) -> String {
    let letter = u8::try_from(row).ok().filter(|row| *row < 26).map(|row| char::from(b'A' + row));
    match letter {
        Some(letter) => format!("{letter}{}", column + 1),
        None => format!("R{}-{}", row + 1, column + 1),
    }
}

/// The overview and the pages to size.
#[must_use]
pub fn drawings(plan: &Plan, paper: Paper) -> Drawings {
    let (low, high) = overview_extent(plan);
    let (low, high) = (low.map(|v| v - AROUND_MM), high.map(|v| v + AROUND_MM));
    let none = |why: LeftOut| Drawings {
        overview: overview(plan, paper, None, Some(why)),
        tiles: Vec::new(),
        left_out: Some(why),
        paper,
        across: false,
    };
    if plan.places.len() > MOST_DRAWN {
        return none(LeftOut::Pixels(plan.places.len()));
    }
    let all = elements(plan);
    let lying = |across| {
        let grid = Grid::of(low, high, paper, across);
        (grid, grid.shown(&all))
    };
    let [upright, side] = [false, true].map(lying);
    let fewer = !side.1.is_empty() && (upright.1.is_empty() || side.1.len() < upright.1.len());
    let (grid, shown) = if fewer { side } else { upright };
    if shown.is_empty() || shown.len() > MOST_TILES {
        let pages = if shown.is_empty() { grid.columns * grid.rows } else { shown.len() };
        return none(LeftOut::Pages(pages));
    }
    let tiles = shown
        .iter()
        .map(|(row, column)| Tile {
            name: page_name(*row, *column),
            svg: tile(plan, &all, &grid, (*row, *column), &shown, paper),
        })
        .collect();
    let overview = overview(plan, paper, Some((&grid, &shown)), None);
    Drawings { overview, tiles, left_out: None, paper, across: grid.across }
}

fn tile(
    plan: &Plan,
    all: &[Element],
    grid: &Grid,
    (row, column): (usize, usize),
    shown: &[(usize, usize)],
    paper: Paper,
) -> String {
    let [width, height] = paper.lying_mm(grid.across);
    let (low, high) = grid.window(column, row);
    let name = page_name(row, column);
    let [page_width, page_height] = grid.page;
    let (left, top) = (MARGIN_MM, MARGIN_MM + HEAD_MM);
    let mut body = String::new();
    let inside = all.iter().filter(|element| element.touches(low, high)).map(|element| element.svg.as_str());
    let drawn: Vec<&str> = inside.collect();
    body += &format!(
        r#"<svg x="{}" y="{}" width="{}" height="{}" viewBox="{} {} {} {}">{}</svg>"#,
        n(left),
        n(top),
        n(page_width),
        n(page_height),
        n(low[0]),
        n(low[1]),
        n(page_width),
        n(page_height),
        drawn.join("\n")
    );
    body += &format!(
        r##"<rect x="{}" y="{}" width="{}" height="{}" fill="none" stroke="#7d8491" stroke-width="0.2"/>"##,
        n(left),
        n(top),
        n(page_width),
        n(page_height)
    );
    body += &meeting(grid, (row, column), shown, [left, top]);
    let text = |x: f64, y: f64, size: f64, anchor: &str, words: &str| {
        format!(
            r#"<text x="{}" y="{}" font-size="{size}" text-anchor="{anchor}" fill="{INK}">{}</text>"#,
            n(x),
            n(y),
            escaped(words)
        )
    };
    let title: String = plan.name.chars().take(48).collect();
    body += &text(left, MARGIN_MM + 6.0, 7.0, "start", &name);
    body += &text(
        left + 16.0,
        MARGIN_MM + 3.6,
        3.6,
        "start",
        &format!("{title}: 1:1, {} to size, this is {name}", counted(shown.len(), "page")),
    );
    body += &text(
        left + 16.0,
        MARGIN_MM + 8.6,
        3.2,
        "start",
        "As one looks at the garment, the pixels facing you. Working from the back? Hold the sheet against a window.",
    );
    // Two sides of the check square on every page, the whole of it on the overview.
    let foot = top + page_height + 4.5;
    body += &format!(
        r#"<path d="M{} {}v3m0 -1.5h{CHECK_MM}m0 -1.5v3" fill="none" stroke="{INK}" stroke-width="0.3"/>"#,
        n(left),
        n(foot)
    );
    body += &text(
        left + CHECK_MM + 2.0,
        foot + 2.6,
        3.2,
        "start",
        "50 mm. Print at 100 %, without fitting to the page.",
    );
    body += &format!(
        r#"<path d="M{} {}h3m-1.5 0v{CHECK_MM}m-1.5 0h3" fill="none" stroke="{INK}" stroke-width="0.3"/>"#,
        n(left - 4.0),
        n(top)
    );
    body += &text(left, foot + 8.0, 3.0, "start", LEGEND);
    page(&body, [width, height], &format!("{} {name}", plan.name), "One page of the drawing to size.")
}

/// What the signs mean, in one line.
pub(super) const LEGEND: &str = "full triangle: data goes in · open square: data comes out · red dashes: cut here · blue dashes: wires · ring with plus: power";

/// Crosses where this page meets its neighbours, and their names.
fn meeting(
    grid: &Grid,
    (row, column): (usize, usize),
    shown: &[(usize, usize)],
    [left, top]: [f64; 2],
) -> String {
    let [width, height] = grid.page;
    let half = 0.5 * OVERLAP_MM;
    let mut out = String::new();
    let mut neighbour = |there: Option<(usize, usize)>, line: [[f64; 2]; 2], label: [f64; 2], sign: &str| {
        let Some((r, c)) = there.filter(|there| shown.contains(there)) else { return };
        let [[x0, y0], [x1, y1]] = line;
        out.push_str(&format!(
            r##"<path d="M{} {}L{} {}" stroke="#7d8491" stroke-width="0.25" stroke-dasharray="4 3"/>"##,
            n(x0),
            n(y0),
            n(x1),
            n(y1)
        ));
        // Crosses at a quarter and three quarters of the seam.
        for share in [0.25, 0.75] {
            let [x, y] = [x0 + share * (x1 - x0), y0 + share * (y1 - y0)];
            out.push_str(&format!(
                r#"<path d="M{} {}h6m-3 -3v6" stroke="{INK}" stroke-width="0.3" fill="none"/>"#,
                n(x - 3.0),
                n(y)
            ));
        }
        out.push_str(&format!(
            r##"<text x="{}" y="{}" font-size="3.4" text-anchor="middle" fill="#4d535e" stroke="#ffffff" stroke-width="0.8" paint-order="stroke">{sign} {}</text>"##,
            n(label[0]),
            n(label[1]),
            page_name(r, c)
        ));
    };
    let (right, bottom) = (left + width, top + height);
    neighbour(
        column.checked_sub(1).map(|c| (row, c)),
        [[left + half, top], [left + half, bottom]],
        [left + half + 8.0, top + 0.1 * height],
        "\u{2190}",
    );
    neighbour(
        Some((row, column + 1)),
        [[right - half, top], [right - half, bottom]],
        [right - half - 8.0, top + 0.1 * height],
        "\u{2192}",
    );
    neighbour(
        row.checked_sub(1).map(|r| (r, column)),
        [[left, top + half], [right, top + half]],
        [left + 0.1 * width, top + half + 5.0],
        "\u{2191}",
    );
    neighbour(
        Some((row + 1, column)),
        [[left, bottom - half], [right, bottom - half]],
        [left + 0.1 * width, bottom - half - 2.0],
        "\u{2193}",
    );
    out
}

/// A page as large as the paper, in mm.
pub(super) fn page(body: &str, [width, height]: [f64; 2], title: &str, desc: &str) -> String {
    format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}" font-family="DejaVu Sans, Verdana, sans-serif" role="img"><title>{}</title><desc>{}</desc><rect width="{w}" height="{h}" fill="#ffffff"/>{body}</svg>"##,
        escaped(title),
        escaped(desc),
        w = n(width),
        h = n(height),
    )
}

impl Drawings {
    /// What the drawings are, in words.
    #[must_use]
    pub fn in_words(&self) -> String {
        match self.left_out {
            Some(why) => format!("{why}."),
            None => format!(
                "An overview with a check square of 50 mm and {} to size, {}{}: {}.",
                counted(self.tiles.len(), "page"),
                self.paper.name(),
                if self.across { " on its side" } else { "" },
                self.tiles.iter().map(|tile| tile.name.as_str()).collect::<Vec<_>>().join(", ")
            ),
        }
    }

    /// The check square alone, for the sheet's own page.
    #[must_use]
    pub fn check_square() -> String {
        check_square(0.0, 0.0)
    }
}
