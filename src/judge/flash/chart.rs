//! The report as a chart: the worst place over its worst second, with small pictures.

use super::report::{Finding, FlashReport, Judgement, Seen};
use crate::picture::canvas::Canvas;
use crate::picture::chart::{
    Axis, Chart, Dash, Mark, Marks, Panel, Pictures, PlacedPicture, Plot, Series, Style,
};

/// Small pictures at most: more would be too small on a telephone.
const MOST_PICTURES: usize = 7;
/// Height of a plot in SVG pixels.
const HEIGHT_PX: f64 = 220.0;

/// The upright axis ends so much above the highest value.
const ROOM: f64 = 1.08;

/// The chart of a report, and what it shows in words: luminance at the worst place over the worst second, on a screen and on the
/// garment, every change marked.
///
/// `pictures` are those of [`FlashReport::worst_frames`], or any others, with their times in s; the first seven are
/// drawn. Without any change over a large area there is nothing to plot, and the words alone stand.
#[must_use]
pub fn flash_chart(report: &FlashReport, name: &str, pictures: &[(f64, Canvas)]) -> (Chart, String) {
    let mut panels: Vec<Panel> =
        [&report.screen, &report.garment].into_iter().filter_map(plot).map(Panel::Plot).collect();
    let placed: Vec<PlacedPicture> = pictures
        .iter()
        .take(MOST_PICTURES)
        .map(|(x, picture)| PlacedPicture { x: *x, picture: picture.clone(), label: format!("{x:.2} s") })
        .collect();
    if !placed.is_empty() {
        let heading = "The worst second".to_owned();
        panels.push(Panel::Pictures(Pictures { heading, pictures: placed }));
    }
    let words = report.words();
    let verdict = if report.passed() {
        "passes the usual limits of flashing"
    } else {
        "flashes more than the usual limits allow"
    };
    let chart = Chart {
        title: format!("{name}: {verdict}"),
        x: Axis::linear("time", "s"),
        panels,
        notes: words.clone(),
        ..Chart::default()
    };
    (chart, words.join(" "))
}

/// The finding to show of a judgement: the one that fails, else the one with more changes.
fn shown(judgement: &Judgement) -> &Finding {
    let rank = |finding: &Finding| (!finding.passed, finding.most_changes);
    if rank(&judgement.red) > rank(&judgement.general) { &judgement.red } else { &judgement.general }
}

fn plot(judgement: &Judgement) -> Option<Plot> {
    let worst = shown(judgement).worst.as_ref()?;
    let (label, unit, nth) = match judgement.seen {
        Seen::Screen => ("on a screen: relative luminance at the worst place", "", 0),
        Seen::Garment { .. } => ("the garment: luminance at the worst place", "cd/m2", 1),
    };
    let highest = worst.trace.iter().map(|moment| moment.luminance).fold(0.0, f64::max);
    let mut plot = Plot::new(Axis::linear(label, unit).over(0.0, ROOM * highest));
    plot.height_px = HEIGHT_PX;
    // A picture stands until the next one comes.
    let mut points = Vec::with_capacity(2 * worst.trace.len());
    for (i, moment) in worst.trace.iter().enumerate() {
        points.push((moment.time_s, moment.luminance));
        points.extend(worst.trace.get(i + 1).map(|next| (next.time_s, moment.luminance)));
    }
    plot.series = vec![Series {
        name: String::new(),
        points,
        band: None,
        style: Style { dash: Dash::Solid, ..Style::nth(nth).plain() },
    }];
    let marks = worst.changes_s.iter().filter_map(|&x| {
        let moment = worst.trace.iter().find(|moment| moment.time_s >= x)?;
        Some(Mark { x, y: moment.luminance, ..Mark::default() })
    });
    plot.marks = vec![Marks {
        name: "a change that counts; two are a flash".to_owned(),
        points: marks.collect(),
        style: Style::nth(nth + 2),
    }];
    Some(plot)
}
