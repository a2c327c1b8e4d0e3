//! The parts of the drawing to size: each with the box that it fills, so that a page draws only what it shows.
//!
//! Millimetres; x to the right, y downwards as SVG has it, so that a place [x, y] of the scene is at [x, -y].

use super::pieces::{Piece, PieceKind, piece_of};
use super::wiring::End;
use super::{Placed, Plan};
use crate::picture::chart::{escaped, plain_number as n};
use std::fmt::Write as _;

/// Ink of all lines.
pub(super) const INK: &str = "#1b1e25";
/// Cut marks.
pub(super) const CUT: &str = "#b43f06";
/// Hook-up wires.
pub(super) const WIRE: &str = "#0a539e";
/// Bodies of strips.
const STRIP: &str = "#e6e8ec";
/// Height of the numbers beside pixels, in mm: read at arm's length.
const NUMBER_MM: f64 = 2.3;
/// Height of the names of pieces and ends, in mm.
const NAME_MM: f64 = 3.2;
/// Pixels closer than this are not all numbered, in mm: three digits would run into each other.
const NUMBER_ROOM_MM: f64 = 5.0;
/// Then each so many is, and the outer ones of a piece.
const NUMBER_EACH: usize = 5;
/// Room between bodies that an arrow needs, in mm.
const ARROW_ROOM_MM: f64 = 2.4;
/// How far a cut mark stands out on both sides of the strip, in mm.
const MARK_OUT_MM: f64 = 4.0;
/// Corners of a line that one element holds.
const RUN: usize = 40;
/// Names that keep clear of each other; beyond, they are too many to be read anyway, and comparing them all takes time.
const MOST_NAMES: usize = 500;
/// Letters are about so wide over their height.
const LETTER: f64 = 0.62;

/// One element and its box.
pub(super) struct Element {
    pub(super) low: [f64; 2],
    pub(super) high: [f64; 2],
    pub(super) svg: String,
}

impl Element {
    /// Whether any of it lies within a box.
    pub(super) fn touches(&self, low: [f64; 2], high: [f64; 2]) -> bool {
        (0..2).all(|i| self.low[i] <= high[i] && self.high[i] >= low[i])
    }
}

/// A place of the scene on paper.
pub(super) fn paper([x, y]: [f64; 2]) -> [f64; 2] {
    [x, -y]
}

fn bounded(points: impl IntoIterator<Item = [f64; 2]>, beyond: f64, svg: String) -> Element {
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for point in points {
        for i in 0..2 {
            low[i] = low[i].min(point[i] - beyond);
            high[i] = high[i].max(point[i] + beyond);
        }
    }
    Element { low, high, svg }
}

/// A line through places on paper, in runs that a page can leave out.
fn line(points: &[[f64; 2]], width: f64, style: &str, all: &mut Vec<Element>) {
    let mut from = 0;
    while from + 1 < points.len() {
        let to = (from + RUN).min(points.len() - 1);
        let run = &points[from..=to];
        let mut d = String::new();
        for (i, [x, y]) in run.iter().enumerate() {
            let _ = write!(d, "{}{} {}", if i == 0 { "M" } else { "L" }, n(*x), n(*y));
        }
        let svg = format!(r#"<path d="{d}" fill="none" stroke-width="{}" {style}/>"#, n(width));
        all.push(bounded(run.iter().copied(), width, svg));
        from = to;
    }
}

fn words([x, y]: [f64; 2], size: f64, anchor: &str, colour: &str, text: &str, all: &mut Vec<Element>) {
    let svg = format!(
        r##"<text x="{}" y="{}" font-size="{}" text-anchor="{anchor}" fill="{colour}" stroke="#ffffff" stroke-width="{}" paint-order="stroke">{}</text>"##,
        n(x),
        n(y),
        n(size),
        n(0.25 * size),
        escaped(text)
    );
    all.push(bounded([[x, y]], LETTER * size * text.chars().count() as f64 + size, svg));
}

/// The whole drawing, from the ground up.
pub(super) fn elements(plan: &Plan) -> Vec<Element> {
    let mut all = Vec::new();
    for ring in plan.edge.iter().flat_map(|edge| &edge.rings) {
        let points: Vec<[f64; 2]> = ring.iter().map(|p| paper(*p)).collect();
        line(
            &points,
            0.5,
            &format!(r#"stroke="{INK}" stroke-linejoin="round" stroke-linecap="round""#),
            &mut all,
        );
    }
    for piece in &plan.pieces {
        body(plan, piece, &mut all);
    }
    wires(plan, &mut all);
    let mut names = occupied(plan);
    for piece in &plan.pieces {
        arrows(plan, piece, &mut all);
        for (i, place) in plan.places[piece.pixels.clone()].iter().enumerate() {
            pixel(place, &mut all);
            let index = piece.pixels.start + i;
            let crowded = piece.pitch_mm.is_some_and(|[least, _]| least < NUMBER_ROOM_MM);
            let outer = i == 0 || i + 1 == piece.pixels.len();
            if !crowded || outer || index.is_multiple_of(NUMBER_EACH) {
                number(plan, piece, index, &mut all);
            }
        }
        ends(plan, piece, &mut names, &mut all);
    }
    feeds(plan, &mut all);
    all
}

/// Strip or wire below the pixels.
fn body(plan: &Plan, piece: &Piece, all: &mut Vec<Element>) {
    let inner = plan.places[piece.pixels.clone()].iter().map(|place| place.at);
    let mut points: Vec<[f64; 2]> = Vec::with_capacity(piece.pixels.len() + 2);
    points.push(piece.from);
    points.extend(inner);
    points.push(piece.to);
    let points: Vec<[f64; 2]> = points.into_iter().map(paper).collect();
    let points = match piece.kind {
        PieceKind::Strip | PieceKind::Wire => smooth(&points),
        _ => points,
    };
    match piece.kind {
        PieceKind::Strip => line(&points, piece.width_mm, &format!(r#"stroke="{STRIP}""#), all),
        _ => line(&points, 0.6, r##"stroke="#b9bec8" stroke-linejoin="round""##, all),
    }
}

/// A smooth line through places (Catmull and Rom's cubics, from memory): straight through places on a line, and near the drawn curve
/// where pixels follow one.
fn smooth(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    /// Straight lines from place to place.
    const STEPS: usize = 6;
    let last = points.len() - 1;
    let mut all = vec![points[0]];
    for i in 0..last {
        let (a, b) = (points[i], points[i + 1]);
        if a == b {
            continue;
        }
        let (before, after) = (points[i.saturating_sub(1)], points[(i + 2).min(last)]);
        let tangent = |from: [f64; 2], to: [f64; 2], k: usize| 0.5 * (to[k] - from[k]);
        for step in 1..=STEPS {
            let t = step as f64 / STEPS as f64;
            let [h00, h10, h01, h11] = [
                (1.0 + 2.0 * t) * (1.0 - t) * (1.0 - t),
                t * (1.0 - t) * (1.0 - t),
                t * t * (3.0 - 2.0 * t),
                t * t * (t - 1.0),
            ];
            all.push(std::array::from_fn(|k| {
                h00 * a[k] + h10 * tangent(before, b, k) + h01 * b[k] + h11 * tangent(a, after, k)
            }));
        }
    }
    all
}

fn wires(plan: &Plan, all: &mut Vec<Element>) {
    for wire in &plan.wires {
        let (End::Out(from), End::In(to)) = (wire.from, wire.to) else { continue };
        let [a, b] = [plan.pieces[from].to, plan.pieces[to].from].map(paper);
        line(&[a, b], 0.6, &format!(r#"stroke="{WIRE}" stroke-dasharray="3 1.5""#), all);
        // Beside the line, away from the names at its ends.
        let middle = [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])];
        let far = (a[0] - b[0]).hypot(a[1] - b[1]);
        if far > 12.0 {
            words(
                [middle[0] + 1.5, middle[1] - 1.5],
                NAME_MM,
                "start",
                WIRE,
                &format!("W{}", wire.number),
                all,
            );
        }
    }
}

fn pixel(place: &Placed, all: &mut Vec<Element>) {
    let [x, y] = paper(place.at);
    let side = place.body_mm;
    let svg = format!(
        r##"<rect x="{}" y="{}" width="{side}" height="{side}" transform="translate({} {}) rotate({})" fill="#ffffff" stroke="{INK}" stroke-width="0.3"/>"##,
        n(-0.5 * side),
        n(-0.5 * side),
        n(x),
        n(y),
        n(-place.turn_rad.to_degrees())
    );
    all.push(bounded([[x, y]], side, svg));
}

/// Direction of the data at a pixel on paper, as a unit vector.
fn direction(plan: &Plan, piece: &Piece, index: usize) -> [f64; 2] {
    let a = if index > piece.pixels.start { plan.places[index - 1].at } else { piece.from };
    let b = if index + 1 < piece.pixels.end { plan.places[index + 1].at } else { piece.to };
    let [dx, dy] = paper([b[0] - a[0], b[1] - a[1]]);
    let length = dx.hypot(dy);
    if length > 0.0 { [dx / length, dy / length] } else { [1.0, 0.0] }
}

/// Middle of the foot of a pixel's number, and its width: inside the body where that is large enough, else to one side of the run.
fn number_at(plan: &Plan, piece: &Piece, index: usize) -> ([f64; 2], f64) {
    let place = &plan.places[index];
    let [x, y] = paper(place.at);
    let width = LETTER * NUMBER_MM * index.to_string().len() as f64;
    if width.max(NUMBER_MM) < place.body_mm - 0.4 {
        return ([x, y + 0.36 * NUMBER_MM], width);
    }
    let [dx, dy] = direction(plan, piece, index);
    // To the left of the direction of the data; names and feeds go to the right where they can.
    let away = 0.5 * place.body_mm + 0.8 + 0.5 * (width * dy.abs() + NUMBER_MM * dx.abs());
    ([x + dy * away, y - dx * away + 0.36 * NUMBER_MM], width)
}

fn number(plan: &Plan, piece: &Piece, index: usize, all: &mut Vec<Element>) {
    let (at, _) = number_at(plan, piece, index);
    words(at, NUMBER_MM, "middle", INK, &index.to_string(), all);
}

/// Arrows from pixel to pixel, where there is room.
fn arrows(plan: &Plan, piece: &Piece, all: &mut Vec<Element>) {
    for pair in plan.places[piece.pixels.clone()].windows(2) {
        let [a, b] = [pair[0].at, pair[1].at].map(paper);
        let [dx, dy] = [b[0] - a[0], b[1] - a[1]];
        let length = dx.hypot(dy);
        if length - 0.5 * (pair[0].body_mm + pair[1].body_mm) < ARROW_ROOM_MM {
            continue;
        }
        let [ux, uy] = [dx / length, dy / length];
        let [mx, my] = [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])];
        let at = |along: f64, side: f64| [mx + along * ux - side * uy, my + along * uy + side * ux];
        let corners = [at(0.9, 0.0), at(-0.7, 0.7), at(-0.7, -0.7)];
        let [p, q, r] = corners.map(|[x, y]| format!("{} {}", n(x), n(y)));
        all.push(bounded(corners, 0.2, format!(r#"<path d="M{p}L{q}L{r}Z" fill="{INK}"/>"#)));
    }
}

/// A box that a name should not cover.
type Taken = ([f64; 2], [f64; 2]);

/// Pixels with their numbers, which names should not cover; of many pixels, the outer ones of each piece.
fn occupied(plan: &Plan) -> Vec<Taken> {
    let few = plan.places.len() <= 2 * MOST_NAMES;
    let mut all = Vec::new();
    for piece in &plan.pieces {
        for index in piece.pixels.clone() {
            let outer = index == piece.pixels.start || index + 1 == piece.pixels.end;
            if few || (outer && all.len() < MOST_NAMES) {
                let place = &plan.places[index];
                let [x, y] = paper(place.at);
                let half = 0.5 * place.body_mm;
                all.push(([x - half, y - half], [x + half, y + half]));
                let ([x, y], width) = number_at(plan, piece, index);
                all.push(([x - 0.5 * width, y - NUMBER_MM], [x + 0.5 * width, y + 0.2 * NUMBER_MM]));
            }
        }
    }
    all
}

/// Cut marks, names and the two ends of a piece.
fn ends(plan: &Plan, piece: &Piece, names: &mut Vec<Taken>, all: &mut Vec<Element>) {
    let last = plan.pieces.len();
    let name = piece.name();
    let many = last > 1;
    let start = match (piece.number, many) {
        (1, true) => format!("{name} DATA IN"),
        (1, false) => "DATA IN".to_owned(),
        _ => format!("{name} in"),
    };
    let end = match (piece.number == last, many) {
        (true, true) => format!("{name} END"),
        (true, false) => "END".to_owned(),
        _ => format!("{name} out"),
    };
    let first = direction(plan, piece, piece.pixels.start);
    let final_ = direction(plan, piece, piece.pixels.end - 1);
    for (at, [dx, dy], text, is_start) in [(piece.from, first, start, true), (piece.to, final_, end, false)] {
        // Away from the piece.
        let [ox, oy] = if is_start { [-dx, -dy] } else { [dx, dy] };
        let beyond = beyond_pixel(plan, piece);
        let [x, y] = paper(at);
        let [x, y] = [x + beyond * ox, y + beyond * oy];
        let half = if piece.kind == PieceKind::Strip { 0.5 * piece.width_mm } else { 1.5 };
        if piece.kind == PieceKind::Strip {
            let out = half + MARK_OUT_MM;
            line(
                &[[x - dy * out, y + dx * out], [x + dy * out, y - dx * out]],
                0.4,
                &format!(r#"stroke="{CUT}" stroke-dasharray="2 1""#),
                all,
            );
        }
        let mark = if is_start {
            // A full triangle that points with the data.
            let corner = |along: f64, side: f64| {
                format!("{} {}", n(x + along * dx - side * dy), n(y + along * dy + side * dx))
            };
            format!(
                r#"<path d="M{}L{}L{}Z" fill="{CUT}"/>"#,
                corner(0.0, 0.0),
                corner(-3.2, 1.7),
                corner(-3.2, -1.7)
            )
        } else {
            // An open square: nothing goes on from here but what is soldered.
            format!(
                r##"<rect x="{}" y="{}" width="2.4" height="2.4" fill="#ffffff" stroke="{CUT}" stroke-width="0.5"/>"##,
                n(x + 2.0 * dx - 1.2),
                n(y + 2.0 * dy - 1.2)
            )
        };
        all.push(bounded([[x, y]], 4.0, mark));
        // Names stand to the right of the data where they have room, else ever farther off, on either side.
        let side = half + MARK_OUT_MM + 0.5 * NAME_MM;
        let to_side = [side, -side].map(|side| [x - dy * side, y + dx * side]);
        let behind = [[x + 4.5 * ox, y + 4.5 * oy]];
        let farther =
            [1.8 * side, -1.8 * side, 2.6 * side, -2.6 * side].map(|side| [x - dy * side, y + dx * side]);
        let width = LETTER * NAME_MM * text.chars().count() as f64;
        let places = to_side.into_iter().chain(behind).chain(farther).flat_map(|[px, py]| {
            let foot = py + 0.36 * NAME_MM;
            [px, px - width].map(|left| ([left, foot - NAME_MM], [left + width, foot + 0.3 * NAME_MM]))
        });
        let mut places = places.peekable();
        let Some(usual) = places.peek().copied() else { continue };
        let free =
            |(low, high): &Taken| !names.iter().any(|(l, h)| (0..2).all(|i| low[i] < h[i] && high[i] > l[i]));
        let chosen = places.find(free).unwrap_or(usual);
        if names.len() < 4 * MOST_NAMES {
            names.push(chosen);
        }
        words([chosen.0[0], chosen.0[1] + NAME_MM], NAME_MM, "start", CUT, &text, all);
    }
}

/// How far beyond the end of a piece its signs stand: clear of the outer pixel, where the piece ends at that.
fn beyond_pixel(plan: &Plan, piece: &Piece) -> f64 {
    if piece.kind == PieceKind::Strip { 0.0 } else { 0.5 * plan.places[piece.pixels.start].body_mm + 0.5 }
}

/// Where power enters.
fn feeds(plan: &Plan, all: &mut Vec<Element>) {
    for wire in plan.wires.iter().filter(|wire| wire.from == End::Supply) {
        // To the left of the data, opposite to the names of the ends, and away from the piece, so that it hides no cut mark; beside a
        // pixel to the right, opposite to its number.
        let (at, [dx, dy], beyond, side) = match wire.to {
            End::In(piece) => {
                let piece = &plan.pieces[piece];
                let beyond = -beyond_pixel(plan, piece);
                (piece.from, direction(plan, piece, piece.pixels.start), [beyond, beyond - 7.0], 11.0)
            }
            End::Out(piece) => {
                let piece = &plan.pieces[piece];
                let beyond = beyond_pixel(plan, piece);
                (piece.to, direction(plan, piece, piece.pixels.end - 1), [beyond, beyond + 7.0], 11.0)
            }
            End::Beside(pixel) => {
                let piece = &plan.pieces[piece_of(&plan.pieces, pixel)];
                let before = -0.5 * plan.places[pixel].body_mm - 0.5;
                (plan.places[pixel].at, direction(plan, piece, pixel), [before; 2], -11.0)
            }
            End::Supply | End::Controller => continue,
        };
        let [x, y] = paper(at);
        let [fx, fy] = [x + side * dy + beyond[1] * dx, y - side * dx + beyond[1] * dy];
        let [x, y] = [x + beyond[0] * dx, y + beyond[0] * dy];
        line(&[[x, y], [fx, fy]], 0.4, &format!(r#"stroke="{WIRE}""#), all);
        let disc = format!(
            r##"<circle cx="{}" cy="{}" r="2" fill="#ffffff" stroke="{WIRE}" stroke-width="0.6"/><path d="M{} {}h2.2m-1.1 -1.1v2.2" stroke="{WIRE}" stroke-width="0.5" fill="none"/>"##,
            n(fx),
            n(fy),
            n(fx - 1.1),
            n(fy)
        );
        all.push(bounded([[fx, fy]], 2.5, disc));
        words([fx + 3.0, fy + 1.0], NUMBER_MM, "start", WIRE, &format!("W{} power", wire.number), all);
    }
}
