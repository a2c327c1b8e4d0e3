//! The overview: everything on one page, smaller than life, with the check square and the legend.

use super::drawing::{CUT, INK, WIRE, paper};
use super::tiles::{CHECK_MM, Grid, LEGEND, LeftOut, MARGIN_MM, page, page_name};
use super::wiring::End;
use super::{Plan, counted, span};
use crate::paper::Paper;
use crate::picture::chart::{escaped, plain_number as n};
use std::fmt::Write as _;

/// Pieces that are named in the overview; more names would hide the drawing.
const MOST_NAMES: usize = 60;
/// Pixels of which each is drawn; beyond, only each so many, so that the file stays small.
const MOST_DOTS: usize = 20_000;

/// Lowest and highest place on paper of pixels, pieces and pattern piece.
pub(super) fn overview_extent(plan: &Plan) -> ([f64; 2], [f64; 2]) {
    let pixels = plan.places.iter().map(|place| place.at);
    let pieces = plan.pieces.iter().flat_map(|piece| [piece.from, piece.to]);
    let edge = plan.edge.iter().flat_map(|edge| edge.rings.iter().flatten().copied());
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for point in pixels.chain(pieces).chain(edge).map(paper) {
        for i in 0..2 {
            low[i] = low[i].min(point[i]);
            high[i] = high[i].max(point[i]);
        }
    }
    (low, high)
}

/// A square with its size written in it.
pub(super) fn check_square(x: f64, y: f64) -> String {
    let side = CHECK_MM;
    let words = |dy: f64, text: &str| {
        format!(
            r#"<text x="{}" y="{}" font-size="3.2" text-anchor="middle" fill="{INK}">{text}</text>"#,
            n(x + 0.5 * side),
            n(y + dy)
        )
    };
    format!(
        r#"<rect x="{}" y="{}" width="{side}" height="{side}" fill="none" stroke="{INK}" stroke-width="0.3"/>{}{}{}"#,
        n(x),
        n(y),
        words(20.0, "Check square"),
        words(26.0, "50 mm each side"),
        words(32.0, "Measure it first")
    )
}

/// The overview page. With a grid it shows how the pages lie.
pub(super) fn overview(
    plan: &Plan,
    on: Paper,
    pages: Option<(&Grid, &[(usize, usize)])>,
    left_out: Option<LeftOut>,
) -> String {
    let [width, height] = on.size_mm();
    let room = [width - 2.0 * MARGIN_MM, height - 2.0 * MARGIN_MM - 24.0 - 74.0];
    let (mut low, mut high) = overview_extent(plan);
    if let Some((grid, shown)) = pages {
        for (row, column) in shown {
            let (from, to) = grid.window(*column, *row);
            low = std::array::from_fn(|i| low[i].min(from[i]));
            high = std::array::from_fn(|i| high[i].max(to[i]));
        }
    }
    let size: [f64; 2] = std::array::from_fn(|i| (high[i] - low[i]).max(1.0));
    let scale = (room[0] / size[0]).min(room[1] / size[1]).min(1.0);
    let text = |x: f64, y: f64, size: f64, words: &str| {
        format!(
            r#"<text x="{}" y="{}" font-size="{size}" fill="{INK}">{}</text>"#,
            n(x),
            n(y),
            escaped(words)
        )
    };
    let mut body = String::new();
    let title: String = plan.name.chars().take(40).collect();
    body += &text(MARGIN_MM, MARGIN_MM + 7.0, 7.0, &title);
    body += &text(
        MARGIN_MM,
        MARGIN_MM + 13.5,
        3.6,
        &format!(
            "Overview, {} of life size. {}, {}, {}.",
            if scale < 1.0 { format!("1:{}", n((10.0 / scale).round() / 10.0)) } else { "1:1".to_owned() },
            counted(plan.places.len(), "pixel"),
            counted(plan.pieces.len(), "piece"),
            counted(plan.joints.len(), "place") + " to solder"
        ),
    );
    body += &text(
        MARGIN_MM,
        MARGIN_MM + 18.5,
        3.2,
        "As one looks at the garment, the pixels facing you. Pixels count from 0.",
    );
    let top = MARGIN_MM + 24.0;
    body += &format!(
        r#"<svg x="{}" y="{}" width="{}" height="{}" viewBox="{} {} {} {}">{}</svg>"#,
        n(MARGIN_MM + 0.5 * (room[0] - size[0] * scale)),
        n(top),
        n(size[0] * scale),
        n(size[1] * scale),
        n(low[0]),
        n(low[1]),
        n(size[0]),
        n(size[1]),
        small(plan, scale, pages)
    );
    let below = height - MARGIN_MM - 68.0;
    body += &check_square(MARGIN_MM, below);
    let side = MARGIN_MM + CHECK_MM + 6.0;
    let mut y = below + 4.0;
    let mut say = |words: &str| {
        body += &text(side, y, 3.2, words);
        y += 5.2;
    };
    if let Some(why) = left_out {
        let why = format!("{why}.");
        let (first, second) = why.split_once(": ").unwrap_or((&why, ""));
        say(first);
        say(second);
    } else if let Some((_, shown)) = pages {
        say(&format!(
            "{} to size: cut off one rim of each seam, lay cross on cross,",
            counted(shown.len(), "page")
        ));
        say("glue, and measure across a seam. Print at 100 %, without fitting to the page.");
    }
    for piece in plan.pieces.iter().take(6) {
        let cut = piece.cut_mm.map_or(String::new(), |cut| format!(", {} mm", n(cut)));
        say(&format!("{}: {}{cut}, pixels {}", piece.name(), piece.kind.words(), span(&piece.pixels)));
    }
    if plan.pieces.len() > 6 {
        say("and more: see the cut list");
    }
    body += &text(MARGIN_MM, height - MARGIN_MM - 8.0, 3.0, LEGEND);
    body += &text(
        MARGIN_MM,
        height - MARGIN_MM - 3.0,
        3.0,
        "Figures are estimates and no rating. Switch off before you touch wires. Local codes decide.",
    );
    page(
        &body,
        [width, height],
        &format!("{}: overview", plan.name),
        "Where every piece lies, with a square of 50 mm to check the print.",
    )
}

/// The drawing itself; sizes that are meant for the paper are divided by the scale.
fn small(plan: &Plan, scale: f64, pages: Option<(&Grid, &[(usize, usize)])>) -> String {
    let on_paper = |mm: f64| n(mm / scale);
    let mut out = String::new();
    if let Some((grid, shown)) = pages {
        for (row, column) in shown {
            let (low, high) = grid.window(*column, *row);
            let _ = write!(
                out,
                r##"<rect x="{}" y="{}" width="{}" height="{}" fill="none" stroke="#9aa1ad" stroke-width="{}" stroke-dasharray="{} {}"/><text x="{}" y="{}" font-size="{}" fill="#6a707c">{}</text>"##,
                n(low[0]),
                n(low[1]),
                n(high[0] - low[0]),
                n(high[1] - low[1]),
                on_paper(0.25),
                on_paper(1.5),
                on_paper(1.0),
                n(low[0] + 7.0 / scale),
                n(low[1] + 7.0 / scale),
                on_paper(4.5),
                page_name(*row, *column)
            );
        }
    }
    for ring in plan.edge.iter().flat_map(|edge| &edge.rings) {
        let _ = write!(
            out,
            r#"<path d="{}" fill="none" stroke="{INK}" stroke-width="{}"/>"#,
            path(ring.iter().copied()),
            on_paper(0.4)
        );
    }
    for piece in &plan.pieces {
        let points = std::iter::once(piece.from)
            .chain(plan.places[piece.pixels.clone()].iter().map(|place| place.at))
            .chain(std::iter::once(piece.to));
        let _ = write!(
            out,
            r##"<path d="{}" fill="none" stroke="#b9bec8" stroke-width="{}"/>"##,
            path(points),
            on_paper(0.5)
        );
    }
    for wire in &plan.wires {
        let (End::Out(from), End::In(to)) = (wire.from, wire.to) else { continue };
        let ends = [plan.pieces[from].to, plan.pieces[to].from];
        let _ = write!(
            out,
            r#"<path d="{}" fill="none" stroke="{WIRE}" stroke-width="{}" stroke-dasharray="{} {}"/>"#,
            path(ends),
            on_paper(0.4),
            on_paper(1.5),
            on_paper(1.0)
        );
    }
    let each = plan.places.len().div_ceil(MOST_DOTS);
    let mut dots = String::new();
    for place in plan.places.iter().step_by(each.max(1)) {
        let [x, y] = paper(place.at);
        let _ = write!(dots, "M{} {}h0", n(x), n(y));
    }
    let dot = (0.9 / scale).max(plan.places[0].body_mm);
    let _ =
        write!(out, r#"<path d="{dots}" stroke="{INK}" stroke-width="{}" stroke-linecap="round"/>"#, n(dot));
    let mut names: Vec<[f64; 2]> = Vec::new();
    for piece in plan.pieces.iter().take(MOST_NAMES) {
        let [x, y] = paper(piece.from);
        // Names of neighbouring starts move down, line by line, until they are clear of the others.
        let mut at = [x + 1.6 / scale, y - 1.6 / scale];
        while names
            .iter()
            .any(|other| (other[0] - at[0]).abs() < 26.0 / scale && (other[1] - at[1]).abs() < 4.8 / scale)
        {
            at[1] += 1.2 / scale;
        }
        names.push(at);
        let _ = write!(
            out,
            r##"<circle cx="{}" cy="{}" r="{}" fill="{CUT}"/><text x="{}" y="{}" font-size="{}" fill="{CUT}" stroke="#ffffff" stroke-width="{}" paint-order="stroke">{}{}</text>"##,
            n(x),
            n(y),
            on_paper(1.0),
            n(at[0]),
            n(at[1]),
            on_paper(4.0),
            on_paper(0.9),
            piece.name(),
            if piece.number == 1 { " DATA IN" } else { "" }
        );
    }
    if let Some(last) = plan.pieces.last() {
        let [x, y] = paper(last.to);
        let side = 2.0 / scale;
        let _ = write!(
            out,
            r##"<rect x="{}" y="{}" width="{}" height="{}" fill="#ffffff" stroke="{CUT}" stroke-width="{}"/><text x="{}" y="{}" font-size="{}" text-anchor="end" fill="{CUT}" stroke="#ffffff" stroke-width="{}" paint-order="stroke">END</text>"##,
            n(x - 0.5 * side),
            n(y - 0.5 * side),
            n(side),
            n(side),
            on_paper(0.4),
            n(x - 1.6 / scale),
            n(y + 5.0 / scale),
            on_paper(4.0),
            on_paper(0.9)
        );
    }
    out
}

fn path(points: impl IntoIterator<Item = [f64; 2]>) -> String {
    let mut d = String::new();
    for (i, point) in points.into_iter().enumerate() {
        let [x, y] = paper(point);
        let _ = write!(d, "{}{} {}", if i == 0 { "M" } else { "L" }, n(x), n(y));
    }
    d
}
