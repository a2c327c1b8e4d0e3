//! One plot: grid, bands, lines, points and their labels.

use super::labels::{LEADING, Label, Placer, Rect, nearest, spread};
use super::layout::{END_GAP, Frame, TICK_GAP, Upright, end_label, has_end_labels, height, last_point};
use super::legend::{BAND_OPACITY, MARKER_PX, line_stroke, marker, text_block};
use super::style::{FRAME, GRID, INK, PAPER, QUIET};
use super::svg::{self, Anchor, Body, Stroke};
use super::{Mark, Plot, Rule, Series, Style, TEXT_PX};

/// Values off the plot are drawn at most this far beyond its edge, in SVG pixels; the rest is cut off.
const BEYOND_PX: f64 = 1000.0;
/// How far beyond the plot's edge a band without an end is drawn.
const OPEN_PX: f64 = 6.0;
/// Least distance between two markers on a line.
const MARKER_GAP: f64 = 24.0;
/// A lone point of a line without markers is a dot of this radius.
const DOT_PX: f64 = 3.6;
/// Labels of points are broken at this width.
const LABEL_PX: f64 = 210.0;
/// Distances of a label from its point: beside it, then farther off with a thin line.
const RINGS: [f64; 4] = [5.0, 20.0, 40.0, 64.0];
/// Blank around a label.
const PLATE_PX: f64 = 3.0;
/// Dashes of marker lines.
const RULE_DASH: &str = "6 4";

/// Where a plot is and what its axes cover.
pub(super) struct Area<'a> {
    pub(super) frame: &'a Frame,
    pub(super) upright: &'a Upright,
    pub(super) top: f64,
    pub(super) bottom: f64,
}

impl Area<'_> {
    pub(super) fn y_px(&self, y: f64) -> f64 {
        self.bottom - self.upright.span.share(y) * (self.bottom - self.top)
    }

    fn x_px(&self, x: f64) -> f64 {
        self.frame.x_px(x)
    }

    fn rect(&self) -> Rect {
        [self.frame.left, self.top, self.frame.right - self.frame.left, self.bottom - self.top]
    }

    /// A point in the drawing, values far off brought near; `None` where a line has a gap.
    fn place(&self, x: f64, y: f64) -> Option<(f64, f64)> {
        let (px, py) = (self.x_px(x), self.y_px(y));
        let near = |v: f64, low: f64, high: f64| v.clamp(low - BEYOND_PX, high + BEYOND_PX);
        (px.is_finite() && py.is_finite())
            .then(|| (near(px, self.frame.left, self.frame.right), near(py, self.top, self.bottom)))
    }

    /// The end of a band or of a thin line; an end without a place (infinite, or not above 0 on a logarithmic axis) lies just
    /// beyond the plot's edge.
    fn end(&self, y: f64) -> Option<f64> {
        let py = self.y_px(y);
        let beyond = if py.is_infinite() { OPEN_PX } else { BEYOND_PX };
        (!py.is_nan()).then(|| py.clamp(self.top - beyond, self.bottom + beyond))
    }

    fn holds(&self, (px, py): (f64, f64)) -> bool {
        let slack = 0.5;
        (self.frame.left - slack..=self.frame.right + slack).contains(&px)
            && (self.top - slack..=self.bottom + slack).contains(&py)
    }
}

/// Draws a plot's area with its top edge at `top`; gives its bottom edge.
pub(super) fn draw(
    body: &mut Body,
    plot: &Plot,
    frame: &Frame,
    upright: &Upright,
    upright_rules: &[Rule],
    top: f64,
    clip: &str,
) -> f64 {
    let area = Area { frame, upright, top, bottom: top + height(plot) };
    let lines: Vec<Vec<Vec<(f64, f64)>>> = plot.series.iter().map(|s| runs(&area, s)).collect();
    body.clip_path(clip, area.rect());
    draw_grid(body, plot, &area);
    body.clipped(clip, |body| {
        for series in &plot.series {
            for band in bands(&area, series) {
                draw_band(body, &band, series.style);
            }
        }
    });
    let level = draw_rules(body, plot, upright_rules, &area);
    body.clipped(clip, |body| {
        for (series, runs) in plot.series.iter().zip(&lines) {
            runs.iter()
                .filter(|run| run.len() > 1)
                .for_each(|run| body.polyline(run, line_stroke(series.style)));
        }
        draw_ranges(body, plot, &area);
    });
    body.rect(area.rect(), None, Some(Stroke::new(FRAME, 1.2)));
    for (series, runs) in plot.series.iter().zip(&lines) {
        draw_markers(body, series.style, runs, &area);
        draw_arrows(body, series, &area);
    }
    for (style, place) in mark_places(plot, &area) {
        marker(body, style, place.0, place.1, 1.15 * MARKER_PX);
    }
    label(body, plot, &area, &lines, &level);
    area.bottom
}

fn draw_grid(body: &mut Body, plot: &Plot, area: &Area<'_>) {
    let (left, right) = (area.frame.left, area.frame.right);
    let stroke = |text: &str| Stroke::new(GRID, if text.is_empty() { 0.6 } else { 1.1 });
    for tick in &area.frame.ticks {
        let x = area.x_px(tick.value);
        body.line((x, area.top), (x, area.bottom), stroke(&tick.text));
    }
    for tick in &area.upright.ticks {
        let y = area.y_px(tick.value);
        body.line((left, y), (right, y), stroke(&tick.text));
        if !tick.text.is_empty() {
            let words = plot.y.words(&tick.text);
            body.words(
                left - TICK_GAP,
                y + 0.5 * svg::CAPITAL * TEXT_PX,
                TEXT_PX,
                Anchor::End,
                QUIET,
                &words,
            );
        }
    }
}

/// The unbroken parts of a line.
fn runs(area: &Area<'_>, series: &Series) -> Vec<Vec<(f64, f64)>> {
    let places: Vec<_> = series.points.iter().map(|(x, y)| area.place(*x, *y)).collect();
    places
        .split(|p| p.is_none())
        .filter(|run| !run.is_empty())
        .map(|run| run.iter().flatten().copied().collect())
        .collect()
}

/// The unbroken parts of a band: x, upper and lower edge in the drawing.
fn bands(area: &Area<'_>, series: &Series) -> Vec<Vec<(f64, f64, f64)>> {
    let edge = |(x, low, high): &(f64, f64, f64)| {
        let px = area.x_px(*x);
        let (a, b) = (area.end(*low)?, area.end(*high)?);
        px.is_finite().then(|| {
            let px = px.clamp(area.frame.left - BEYOND_PX, area.frame.right + BEYOND_PX);
            (px, a.min(b), a.max(b))
        })
    };
    let places: Vec<_> = series.band.iter().flatten().map(edge).collect();
    places
        .split(|p| p.is_none())
        .filter(|run| !run.is_empty())
        .map(|run| run.iter().flatten().copied().collect())
        .collect()
}

fn draw_band(body: &mut Body, band: &[(f64, f64, f64)], style: Style) {
    let rim = Stroke::new(style.colour, 0.9).dashed(style.dash.pattern());
    if let [(x, upper, lower)] = band {
        body.line((*x, *upper), (*x, *lower), Stroke::new(style.colour, 1.4));
        return;
    }
    let upper: Vec<_> = band.iter().map(|(x, upper, _)| (*x, *upper)).collect();
    let lower: Vec<_> = band.iter().rev().map(|(x, _, lower)| (*x, *lower)).collect();
    body.polygon(&[upper.clone(), lower.clone()].concat(), style.colour, BAND_OPACITY);
    body.polyline(&upper, rim);
    body.polyline(&lower, rim);
}

/// The marker lines; gives the level ones in view with their heights.
fn draw_rules<'p>(
    body: &mut Body,
    plot: &'p Plot,
    upright: &[Rule],
    area: &Area<'_>,
) -> Vec<(f64, &'p Rule)> {
    let stroke = Stroke::new(INK, 1.6).dashed(Some(RULE_DASH));
    for rule in upright.iter().filter(|r| area.frame.x.contains(r.at)) {
        let x = area.x_px(rule.at);
        body.line((x, area.top), (x, area.bottom), stroke);
    }
    let span = &area.upright.span;
    let level: Vec<_> =
        plot.rules.iter().filter(|r| span.contains(r.at)).map(|r| (area.y_px(r.at), r)).collect();
    for (y, _) in &level {
        body.line((area.frame.left, *y), (area.frame.right, *y), stroke);
    }
    level
}

/// The thin lines through uncertain points.
fn draw_ranges(body: &mut Body, plot: &Plot, area: &Area<'_>) {
    for group in &plot.marks {
        let stroke = Stroke::new(group.style.colour, 1.4);
        for mark in &group.points {
            for (from, to) in ranges(mark, area) {
                body.line(from, to, stroke);
            }
        }
    }
}

/// The ends of a point's thin lines.
fn ranges(mark: &Mark, area: &Area<'_>) -> Vec<((f64, f64), (f64, f64))> {
    let Some((px, py)) = area.place(mark.x, mark.y) else { return Vec::new() };
    let level = mark.x_range.map(|(a, b)| {
        let end = |x: f64| {
            let px = area.x_px(x);
            (!px.is_nan()).then(|| px.clamp(area.frame.left - BEYOND_PX, area.frame.right + BEYOND_PX))
        };
        Some(((end(a)?, py), (end(b)?, py)))
    });
    let upright = mark.y_range.map(|(a, b)| Some(((px, area.end(a)?), (px, area.end(b)?))));
    level.flatten().into_iter().chain(upright.flatten()).collect()
}

fn draw_markers(body: &mut Body, style: Style, runs: &[Vec<(f64, f64)>], area: &Area<'_>) {
    for run in runs {
        let mut before: Option<(f64, f64)> = None;
        for place in run.iter().filter(|p| area.holds(**p)) {
            let far = before.is_none_or(|b| (place.0 - b.0).hypot(place.1 - b.1) >= MARKER_GAP);
            if style.shape.is_some() && far {
                marker(body, style, place.0, place.1, MARKER_PX);
                before = Some(*place);
            }
        }
        if let ([place], None) = (run.as_slice(), style.shape)
            && area.holds(*place)
        {
            body.path(&super::Shape::Circle.path(place.0, place.1, DOT_PX), style.colour, None);
        }
    }
}

/// An arrow head at the edge that an infinite value lies beyond; neighbours share one.
fn draw_arrows(body: &mut Body, series: &Series, area: &Area<'_>) {
    let mut before = f64::NEG_INFINITY;
    for (x, y) in series.points.iter().filter(|p| p.1.is_infinite() && area.frame.x.contains(p.0)) {
        let px = area.x_px(*x);
        if px - before < MARKER_GAP {
            continue;
        }
        before = px;
        let (shape, py) = if *y > 0.0 {
            (super::Shape::Triangle, area.top + 1.6 * MARKER_PX)
        } else {
            (super::Shape::Wedge, area.bottom - 1.6 * MARKER_PX)
        };
        body.path(&shape.path(px, py, MARKER_PX), PAPER, Some(Stroke::new(series.style.colour, 1.8)));
    }
}

/// The marked points in view.
fn mark_places(plot: &Plot, area: &Area<'_>) -> Vec<(Style, (f64, f64))> {
    let shown = |style: Style| Style { shape: style.shape.or(Some(super::Shape::Circle)), ..style };
    let places = |group: &super::Marks| {
        let style = shown(group.style);
        let places = group.points.iter().filter_map(|m| area.place(m.x, m.y)).filter(|p| area.holds(*p));
        places.map(|p| (style, p)).collect::<Vec<_>>()
    };
    plot.marks.iter().flat_map(places).collect()
}

/// All labels within and beside the plot.
fn label(
    body: &mut Body,
    plot: &Plot,
    area: &Area<'_>,
    lines: &[Vec<Vec<(f64, f64)>>],
    level: &[(f64, &Rule)],
) {
    let [left, top, width, height] = area.rect();
    let mut placer = Placer::within([left + 3.0, top + 3.0, width - 6.0, height - 6.0]);
    lines.iter().flatten().for_each(|run| placer.avoid_line(run));
    for (_, (x, y)) in mark_places(plot, area) {
        let r = 1.6 * MARKER_PX;
        placer.avoid([x - r, y - r, 2.0 * r, 2.0 * r]);
    }
    for mark in plot.marks.iter().flat_map(|m| &m.points) {
        ranges(mark, area).iter().for_each(|(a, b)| placer.avoid_line(&[*a, *b]));
    }
    for (y, rule) in level {
        rule_label(body, &mut placer, rule, *y, area);
    }
    for (y, _) in level {
        placer.avoid_line(&[(left, *y), (left + width, *y)]);
    }
    for group in &plot.marks {
        for mark in &group.points {
            mark_label(body, &mut placer, mark, group.style, area);
        }
    }
    if has_end_labels(plot) {
        end_labels(body, &mut placer, plot, area);
    }
}

/// A label on a plate of paper.
fn on_plate(body: &mut Body, label: &Label, rect: Rect, colour: crate::picture::canvas::Rgb8) {
    body.rect(rect, Some((PAPER, 0.86)), None);
    text_block(body, label, rect[0] + PLATE_PX, rect[1], Anchor::Start, colour);
}

fn rule_label(body: &mut Body, placer: &mut Placer, rule: &Rule, y: f64, area: &Area<'_>) {
    let label = Label::new(&rule.label, TEXT_PX, 0.8 * (area.frame.right - area.frame.left));
    if label.lines.is_empty() {
        return;
    }
    let (w, h) = (label.width + 2.0 * PLATE_PX, label.height);
    let free = (area.frame.right - area.frame.left - w - 12.0).max(0.0);
    let candidates = [1.0, 0.0, 0.75, 0.5, 0.25].into_iter().flat_map(|share| {
        let x = area.frame.left + 6.0 + share * free;
        [[x, y - h - 2.0, w, h], [x, y + 3.0, w, h]]
    });
    if let Some(rect) = placer.place(candidates) {
        on_plate(body, &label, rect, INK);
    }
}

fn mark_label(body: &mut Body, placer: &mut Placer, mark: &Mark, style: Style, area: &Area<'_>) {
    let label = Label::new(&mark.label, TEXT_PX, LABEL_PX);
    let Some(place) = area.place(mark.x, mark.y).filter(|p| area.holds(*p)) else { return };
    if label.lines.is_empty() {
        return;
    }
    if let Some(rect) = placer.place_tied(place, around(place, &label)) {
        leader(body, place, rect, style);
        on_plate(body, &label, rect, style.colour);
    }
}

/// Rectangles around a place for a label, near ones first.
fn around((x, y): (f64, f64), label: &Label) -> impl Iterator<Item = Rect> {
    let (w, h) = (label.width + 2.0 * PLATE_PX, label.height);
    let sides: [(f64, f64); 12] = [
        (1.0, 0.0),
        (-1.0, 0.0),
        (0.0, -1.0),
        (0.0, 1.0),
        (1.0, -1.0),
        (1.0, 1.0),
        (-1.0, -1.0),
        (-1.0, 1.0),
        (0.5, -1.0),
        (-0.5, -1.0),
        (0.5, 1.0),
        (-0.5, 1.0),
    ];
    RINGS.into_iter().flat_map(move |ring| {
        let (dx, dy) = (MARKER_PX + ring + 0.5 * w, MARKER_PX + ring + 0.5 * h);
        sides.into_iter().map(move |(sx, sy)| {
            // Beside the point a diagonal label only needs to clear the marker's corner.
            let (sx, sy) = if sx != 0.0 && sy != 0.0 { (sx * 0.92, sy * 0.92) } else { (sx, sy) };
            [x + sx * dx - 0.5 * w, y + sy * dy - 0.5 * h, w, h]
        })
    })
}

/// A thin line from a point to its label where they are apart.
fn leader(body: &mut Body, (x, y): (f64, f64), rect: Rect, style: Style) {
    let near = nearest((x, y), rect);
    if (near.0 - x).hypot(near.1 - y) > MARKER_PX + 1.5 * RINGS[0] {
        body.line((x, y), near, Stroke::new(style.colour, 1.0));
    }
}

/// The names at the lines' ends: in the margin where a line reaches it, else beside the last point.
fn end_labels(body: &mut Body, placer: &mut Placer, plot: &Plot, area: &Area<'_>) {
    let named = plot.series.iter().filter(|s| !s.name.trim().is_empty());
    let ends: Vec<_> = named.filter_map(|s| Some((s, last_point(&s.points, &area.frame.x)?))).collect();
    let (margin, inside): (Vec<_>, Vec<_>) = ends.into_iter().partition(|(_, p)| area.frame.at_edge(p.0));
    let labels: Vec<Label> = margin.iter().map(|(s, _)| end_label(&s.name)).collect();
    let wanted: Vec<f64> = margin.iter().map(|(_, p)| clamped(area, p.1)).collect();
    let heights: Vec<f64> = labels.iter().map(|l| l.height).collect();
    let room = LEADING * TEXT_PX;
    let middles = spread(&wanted, &heights, area.top - 0.5 * room, area.bottom + 0.5 * room);
    for (((series, point), label), (wanted, middle)) in
        margin.iter().zip(&labels).zip(wanted.iter().zip(&middles))
    {
        let x = area.frame.right + END_GAP;
        if (wanted - middle).abs() > 3.0 {
            let from = (area.x_px(point.0) + MARKER_PX + 1.0, *wanted);
            body.line(from, (x - 2.0, *middle), Stroke::new(series.style.colour, 1.0));
        }
        text_block(body, label, x, middle - 0.5 * label.height, Anchor::Start, series.style.colour);
    }
    let labels: Vec<Label> = inside.iter().map(|(s, _)| end_label(&s.name)).collect();
    let places: Vec<(f64, f64)> = inside.iter().map(|(_, p)| (area.x_px(p.0), clamped(area, p.1))).collect();
    let column = column(area, &places, &labels);
    for (i, ((series, _), label)) in inside.iter().zip(&labels).enumerate() {
        let first = column.get(i).copied();
        let candidates = first.into_iter().chain(around(places[i], label));
        if let Some(rect) = placer.place_tied(places[i], candidates) {
            leader(body, places[i], rect, series.style);
            on_plate(body, label, rect, series.style.colour);
        }
    }
}

/// Rectangles for labels of lines that end at about one x: below one another, to the right of the ends. Nothing where the
/// lines end apart, where there is one alone, or where the rectangles do not fit.
fn column(area: &Area<'_>, places: &[(f64, f64)], labels: &[Label]) -> Vec<Rect> {
    let left = places.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    let right = places.iter().map(|p| p.0).fold(f64::NEG_INFINITY, f64::max);
    let width = labels.iter().map(|l| l.width).fold(0.0, f64::max) + 2.0 * PLATE_PX;
    let x = right + MARKER_PX + RINGS[1];
    let heights: Vec<f64> = labels.iter().map(|l| l.height).collect();
    let fits = x + width <= area.frame.right && heights.iter().sum::<f64>() <= area.bottom - area.top - 8.0;
    if places.len() < 2 || right - left > MARKER_GAP || !fits {
        return Vec::new();
    }
    let wanted: Vec<f64> = places.iter().map(|p| p.1).collect();
    let middles = spread(&wanted, &heights, area.top + 4.0, area.bottom - 4.0);
    let rect = |(middle, label): (&f64, &Label)| {
        [x, middle - 0.5 * label.height, label.width + 2.0 * PLATE_PX, label.height]
    };
    middles.iter().zip(labels).map(rect).collect()
}

fn clamped(area: &Area<'_>, y: f64) -> f64 {
    area.y_px(y).clamp(area.top, area.bottom)
}

/// Numbers, where they are wanted, and label below the x axis; gives where they end.
pub(super) fn draw_level_axis(
    body: &mut Body,
    axis: &super::Axis,
    frame: &Frame,
    numbered: bool,
    top: f64,
) -> f64 {
    let mut below = top + TICK_GAP;
    if numbered {
        // Lower than beside an upright axis, whose lowest number reaches below the corner.
        below += 4.0;
        for tick in &frame.ticks {
            let x = frame.x_px(tick.value);
            let length = if tick.text.is_empty() { 4.0 } else { 7.0 };
            body.line((x, top), (x, top + length), Stroke::new(FRAME, 1.2));
            let baseline = below + LEADING * svg::CAPITAL * TEXT_PX;
            body.words(x, baseline, TEXT_PX, Anchor::Middle, QUIET, &axis.words(&tick.text));
        }
        below += LEADING * TEXT_PX + 2.0;
    }
    let label = Label::new(&axis.heading(), TEXT_PX, frame.right - frame.left);
    text_block(body, &label, 0.5 * (frame.left + frame.right), below, Anchor::Middle, INK);
    below + label.height
}
