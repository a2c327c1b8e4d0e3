//! The chart of voltages along the run.

use super::Plan;
use crate::build::powered::Powered;
use crate::picture::chart::{Axis, Chart, Mark, Marks, Panel, Plot, Series, Style};

/// Pixels that a line of the chart shows; of more, each so many, so that the sheet stays small. What is too low is always shown.
const MOST_POINTS: usize = 600;
/// Marks of pixels that are too low; more would be a solid bar.
const MOST_MARKS: usize = 200;

/// The chart as SVG; `None` without a supply.
#[must_use]
pub fn volts_chart(plan: &Plan) -> Option<String> {
    let power = plan.power.as_ref()?;
    let (typical, worst) = (&power.both.typical, &power.both.worst);
    let line = |name: &str, values: &[f64], style: Style| Series {
        name: name.to_owned(),
        points: thinned(values),
        band: None,
        style: style.plain(),
    };
    let mut plot = Plot::new(Axis::linear("voltage at the pixel", "V"));
    plot.series = vec![
        line("typical parts", &typical.solved.volts, Style::nth(0)),
        line("unfavourable parts", &worst.solved.volts, Style::nth(1)),
        line("needed, typical", &typical.least_volts, Style::nth(2).quiet()),
        line("needed, unfavourable", &worst.least_volts, Style::nth(3).quiet()),
    ];
    for (name, run, style) in [
        ("too low with typical parts", typical, Style::nth(2)),
        ("too low with unfavourable parts", worst, Style::nth(1).open()),
    ] {
        let low = too_low(run);
        if !low.is_empty() {
            plot.marks.push(Marks { name: name.to_owned(), points: low, style });
        }
    }
    let below = typical.pixels_below();
    let alt = format!(
        "Voltage at {} pixels in the order of the data, at the brightness that the supply allows. {} of them get less than they need with typical parts, {} with unfavourable ones.",
        plan.places.len(),
        below,
        worst.pixels_below()
    );
    let chart = Chart {
        title: format!("{}: voltage along the run", plan.name),
        subtitle: vec!["Pixels from 0 at data in, at the brightness that the supply allows".to_owned()],
        // Up to the last pixel and no further: the lines' names then stand beside their ends.
        x: Axis {
            range: Some((0.0, plan.places.len().saturating_sub(1).max(1) as f64)),
            ..Axis::linear("pixel", "")
        },
        panels: vec![Panel::Plot(plot)],
        notes: vec!["Below what it needs, a pixel loses blue and green first and may flicker. Estimates: measure the real run.".to_owned()],
        ..Chart::default()
    };
    Some(chart.svg(&alt))
}

/// Values with their numbers, each so many, and the last.
fn thinned(values: &[f64]) -> Vec<(f64, f64)> {
    let step = values.len().div_ceil(MOST_POINTS).max(1);
    let last = values.len().saturating_sub(1);
    let kept = values.iter().enumerate().filter(|(i, _)| i % step == 0 || *i == last);
    kept.map(|(i, v)| (i as f64, *v)).collect()
}

/// The pixels that get less than they need.
fn too_low(run: &Powered) -> Vec<Mark> {
    let all: Vec<usize> = run.below().into_iter().flatten().collect();
    let step = all.len().div_ceil(MOST_MARKS).max(1);
    all.iter()
        .step_by(step)
        .map(|&i| Mark { x: i as f64, y: run.solved.volts[i], ..Mark::default() })
        .collect()
}
