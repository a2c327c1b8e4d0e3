//! Where things are: the common x axis, the margins, the sizes.

use super::axis::{Axis, Span, Tick};
use super::labels::Label;
use super::{Chart, Panel, Plot, TEXT_PX, WIDTH_PX, svg};

/// Blank edge of the sheet.
pub(super) const PAD: f64 = 26.0;
/// Size of the title.
pub(super) const TITLE_PX: f64 = 27.0;
/// Size of the line above a panel.
pub(super) const HEADING_PX: f64 = 20.0;
/// Blank between two panels.
pub(super) const PANEL_GAP: f64 = 26.0;
/// Blank between a number and its axis.
pub(super) const TICK_GAP: f64 = 9.0;
/// Blank between a line's end and its label.
pub(super) const END_GAP: f64 = 10.0;
/// Labels at the ends of lines are broken at this width.
const END_LABEL_PX: f64 = 150.0;
/// A line that ends within this distance of the right edge has its label in the margin.
const AT_EDGE_PX: f64 = 12.0;
/// Least distance between the middles of two numbers on an upright axis.
const Y_TICK_PX: f64 = 44.0;
/// Least blank between two numbers on the level axis.
const X_TICK_GAP: f64 = 18.0;
/// The most numbers on the level axis.
const MOST_X_TICKS: usize = 12;

/// A plot's upright axis.
#[derive(Clone, Debug)]
pub(super) struct Upright {
    pub(super) span: Span,
    pub(super) ticks: Vec<Tick>,
}

/// What all panels share.
#[derive(Clone, Debug)]
pub(super) struct Frame {
    /// Left edge of the plots.
    pub(super) left: f64,
    /// Right edge of the plots.
    pub(super) right: f64,
    /// The x axis.
    pub(super) x: Span,
    /// Its ticks.
    pub(super) ticks: Vec<Tick>,
    /// The upright axis of each panel that has one.
    pub(super) uprights: Vec<Option<Upright>>,
}

impl Frame {
    pub(super) fn of(chart: &Chart) -> Frame {
        let x = chart.x.span(all_x(chart));
        let uprights: Vec<_> = chart.panels.iter().map(upright).collect();
        let numbers =
            chart.panels.iter().zip(&uprights).filter_map(|(panel, upright)| match (panel, upright) {
                (Panel::Plot(plot), Some(upright)) => Some(widest(&plot.y, &upright.ticks)),
                _ => None,
            });
        let left = PAD + numbers.fold(0.0, f64::max) + TICK_GAP;
        let mut frame = Frame { left, right: WIDTH_PX - PAD - 16.0, x, ticks: Vec::new(), uprights };
        let ends = chart
            .panels
            .iter()
            .filter_map(
                |panel| if let Panel::Plot(plot) = panel { Some(frame.end_width(plot)) } else { None },
            )
            .fold(0.0, f64::max);
        if ends > 0.0 {
            frame.right = WIDTH_PX - PAD - ends - END_GAP;
        }
        frame.ticks = frame.level_ticks(&chart.x);
        frame
    }

    /// Width of the widest label in the right margin.
    fn end_width(&self, plot: &Plot) -> f64 {
        if !has_end_labels(plot) {
            return 0.0;
        }
        let at_edge =
            |s: &&super::Series| last_point(&s.points, &self.x).is_some_and(|(x, _)| self.at_edge(x));
        plot.series.iter().filter(at_edge).map(|s| end_label(&s.name).width).fold(0.0, f64::max)
    }

    /// The most numbers that stand apart.
    fn level_ticks(&self, axis: &Axis) -> Vec<Tick> {
        let fits = |ticks: &Vec<Tick>| {
            let mut numbered: Vec<_> = ticks.iter().filter(|t| !t.text.is_empty()).collect();
            numbered.sort_by(|a, b| a.value.total_cmp(&b.value));
            let place = |t: &Tick| (self.x_px(t.value), svg::width(&axis.words(&t.text), TEXT_PX));
            numbered.windows(2).all(|pair| {
                let ((a, wa), (b, wb)) = (place(pair[0]), place(pair[1]));
                b - a >= 0.5 * (wa + wb) + X_TICK_GAP
            })
        };
        let tried = (2..=MOST_X_TICKS).rev().map(|most| self.x.ticks(most));
        tried.into_iter().find(fits).unwrap_or_else(|| self.x.ticks(2))
    }

    /// Where a value of the x axis lies.
    pub(super) fn x_px(&self, x: f64) -> f64 {
        self.left + self.x.share(x) * (self.right - self.left)
    }

    /// Whether a line that ends at `x` ends at the right edge.
    pub(super) fn at_edge(&self, x: f64) -> bool {
        self.x_px(x) >= self.right - AT_EDGE_PX
    }
}

/// Whether the plot's lines carry their names at their ends.
pub(super) fn has_end_labels(plot: &Plot) -> bool {
    plot.series.iter().filter(|s| !s.name.trim().is_empty()).count() >= 2
}

/// The label at the end of a line.
pub(super) fn end_label(name: &str) -> Label {
    Label::new(name, TEXT_PX, END_LABEL_PX)
}

/// The last point with a finite value on the x axis.
pub(super) fn last_point(points: &[(f64, f64)], x: &Span) -> Option<(f64, f64)> {
    points.iter().rev().find(|p| x.contains(p.0) && p.1.is_finite()).copied()
}

fn widest(axis: &Axis, ticks: &[Tick]) -> f64 {
    ticks.iter().map(|t| svg::width(&axis.words(&t.text), TEXT_PX)).fold(0.0, f64::max)
}

fn upright(panel: &Panel) -> Option<Upright> {
    let Panel::Plot(plot) = panel else { return None };
    let ends = |range: &Option<(f64, f64)>| range.iter().flat_map(|(a, b)| [*a, *b]).collect::<Vec<_>>();
    let series = plot.series.iter().flat_map(|s| {
        let band = s.band.iter().flatten().flat_map(|(_, low, high)| [*low, *high]);
        s.points.iter().map(|p| p.1).chain(band)
    });
    let marks = plot.marks.iter().flat_map(|m| &m.points).flat_map(|m| {
        let mut values = ends(&m.y_range);
        values.push(m.y);
        values
    });
    let span = plot.y.span(series.chain(marks).chain(plot.rules.iter().map(|r| r.at)));
    let most = (height(plot) / Y_TICK_PX) as usize + 1;
    Some(Upright { ticks: span.ticks(most), span })
}

/// The plot's height, whatever was asked for.
pub(super) fn height(plot: &Plot) -> f64 {
    if plot.height_px.is_finite() { plot.height_px.clamp(80.0, 4000.0) } else { super::PLOT_HEIGHT_PX }
}

/// Every x in the chart.
fn all_x(chart: &Chart) -> impl Iterator<Item = f64> {
    let of_panel = |panel: &Panel| -> Vec<f64> {
        match panel {
            Panel::Plot(plot) => {
                let series = plot
                    .series
                    .iter()
                    .flat_map(|s| s.points.iter().map(|p| p.0).chain(s.band.iter().flatten().map(|b| b.0)));
                let marks = plot.marks.iter().flat_map(|m| &m.points).flat_map(|m| {
                    let (low, high) = m.x_range.unwrap_or((m.x, m.x));
                    [m.x, low, high]
                });
                series.chain(marks).collect()
            }
            Panel::Pictures(pictures) => pictures.pictures.iter().map(|p| p.x).collect(),
            Panel::Strip(strip) => vec![strip.from, strip.to],
        }
    };
    chart
        .panels
        .iter()
        .flat_map(of_panel)
        .chain(chart.rules.iter().map(|r| r.at))
        .collect::<Vec<_>>()
        .into_iter()
}
