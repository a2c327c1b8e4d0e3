//! The chart: visibility, light and thickness against the gap, and small pictures along it.

use super::words::{from_where, headline, in_words, millimetres, range_in_words, remedy_in_words};
use super::{Case, Report};
use crate::choose::standoff::{Curve, seen};
use crate::cli::progress::Progress;
use crate::cloth::Basis;
use crate::judge::numbers::{LOW_QUANTILE, Numbers, SAMPLES};
use crate::judge::softness::{DOTS_FROM, SMOOTH_BELOW, SOFT_UP_TO, Softness, look};
use crate::picture::chart::{
    Axis, Chart, Mark, Marks, Panel, Pictures, PlacedPicture, Plot, Rule, Series, Style,
};
use crate::picture::luminance::LuminanceImage;
use crate::picture::plane::Frame;
use crate::picture::small::{developed_together, small_frame, small_luminances};
use crate::quantity::Millimetres;
use crate::scene::{Exposure, Scene};
use crate::words::{at_most_three_digits, three_digits};

/// Visibilities below this are not told apart on the chart: no dots whatever.
const LEAST_SHOWN: f64 = 0.1;
/// Pictures side by side: still a fingertip wide on a telephone.
const PICTURES: usize = 5;
/// Image pixels of a small picture, twice those of its place in the drawing.
const PICTURE_PX: [u32; 2] = [336, 252];
/// A garment whose pixels can be told apart at this size is shown whole, else a part of it at [`CLOSE_PX`], drawn finer.
const WHOLE_PX: [u32; 2] = [224, 168];
/// See [`WHOLE_PX`].
const CLOSE_PX: [u32; 2] = [112, 84];
/// Light kept that differs by less from pitch to pitch is one line.
const SAME_LIGHT: f64 = 0.01;

/// The chart and what it shows in words.
pub(super) fn chart(report: &Report) -> (Chart, String) {
    let several = report.cases.len() > 1;
    let (pictures, exposure) = pictures(report);
    let mut panels = vec![visibility(report), light(report), thickness(report)];
    panels.extend(pictures);
    let (from, to) = report.cases.first().map_or((0.0, 1.0), |case| case.found.sweep.ends_mm());
    let rules = report.cases.iter().filter_map(|case| {
        let step = &case.found.answer.as_ref()?.step;
        let pitch =
            if several { format!("{} apart: ", millimetres(case.found.pitch_mm)) } else { String::new() };
        Some(Rule {
            at: step.gap_mm,
            label: format!("{pitch}{} mm, {}", step.gap_mm, look(step.visibility())),
        })
    });
    let chart = Chart {
        title: format!("{}: how far off the cloth must stand", name(report)),
        subtitle: subtitle(report),
        x: Axis::linear("gap between the pixels and the first cloth", "mm").over(from, to),
        rules: rules.collect(),
        band_label: format!("shaded: {:.0} of 10 estimates", 10.0 * (1.0 - 2.0 * LOW_QUANTILE)),
        panels,
        notes: notes(report, &exposure),
    };
    let alt = alt(report);
    (chart, alt)
}

fn name(report: &Report) -> &str {
    report.cases.first().map_or("", |case| case.scene().name.as_str())
}

fn pitch_name(report: &Report, case: &Case) -> String {
    if report.cases.len() > 1 { format!("{} apart", millimetres(case.found.pitch_mm)) } else { String::new() }
}

/// One line of numbers against the gap, with its band.
fn series(
    report: &Report,
    index: usize,
    pick: impl Fn(&Numbers) -> f64 + Copy,
    name: String,
) -> Option<Series> {
    let sweep = &report.cases.get(index)?.found.sweep;
    let points: Vec<(f64, f64)> =
        sweep.gaps_mm.iter().zip(&sweep.values).map(|(gap, numbers)| (*gap, pick(numbers))).collect();
    // Between the gaps that were sampled it is the ratio to the line that changes evenly, so that the band stays around it.
    let ranges = || sweep.judged.iter().map(|(gap, judged)| (*gap, judged.range(pick)));
    let low = Curve::new(ranges().map(|(gap, range)| (gap, range.low / range.value)));
    let high = Curve::new(ranges().map(|(gap, range)| (gap, range.high / range.value)));
    let band = points.iter().map(|(gap, value)| (*gap, value * low.at(*gap), value * high.at(*gap)));
    let band: Vec<_> = band.collect();
    let certain = sweep.judged.iter().all(|(_, judged)| judged.samples.is_empty());
    Some(Series { name, points, band: (!certain).then_some(band), style: Style::nth(index) })
}

fn visibility(report: &Report) -> Panel {
    let mut plot = Plot::new(Axis::log("dot visibility: times over the eye's threshold", ""));
    plot.height_px = 330.0;
    plot.series = report
        .cases
        .iter()
        .enumerate()
        .filter_map(|(i, case)| series(report, i, seen, pitch_name(report, case)))
        .collect();
    let highest = plot
        .series
        .iter()
        .flat_map(|s| s.band.iter().flatten().map(|b| b.2).chain(s.points.iter().map(|p| p.1)))
        .fold(DOTS_FROM, f64::max);
    plot.y = plot.y.over(LEAST_SHOWN, 10f64.powf(highest.log10().ceil()));
    plot.rules = vec![
        Rule { at: SMOOTH_BELOW, label: "below 1: no dots".to_owned() },
        Rule { at: SOFT_UP_TO, label: "below 3: soft".to_owned() },
        Rule { at: DOTS_FROM, label: "above 10: hard dots".to_owned() },
    ];
    plot.marks = report
        .cases
        .iter()
        .enumerate()
        .filter_map(|(i, case)| {
            let answer = case.found.answer.as_ref()?;
            let (_, to) = case.found.sweep.ends_mm();
            let mark = Mark {
                x: answer.gap.value,
                y: case.found.want.bound(),
                x_range: Some((answer.gap.low, answer.gap.high.min(to))),
                ..Mark::default()
            };
            Some(Marks { name: String::new(), points: vec![mark], style: Style::nth(i).open() })
        })
        .collect();
    Panel::Plot(plot)
}

fn light(report: &Report) -> Panel {
    let mut plot = Plot::new(Axis::linear("light kept, whatever the gap", "%").from_zero());
    plot.height_px = 110.0;
    let kept = |numbers: &Numbers| 100.0 * numbers.light_kept;
    let at = |case: &Case| case.found.sweep.values.first().map_or(0.0, kept);
    let first = report.cases.first().map_or(0.0, at);
    let alike = report.cases.iter().all(|case| (at(case) / first - 1.0).abs() < SAME_LIGHT);
    plot.series = if alike {
        series(report, 0, kept, String::new())
            .map(|s| Series { style: s.style.plain(), ..s })
            .into_iter()
            .collect()
    } else {
        let each = report.cases.iter().enumerate();
        each.filter_map(|(i, case)| series(report, i, kept, pitch_name(report, case))).collect()
    };
    Panel::Plot(plot)
}

fn thickness(report: &Report) -> Panel {
    let mut plot = Plot::new(Axis::linear("total thickness, pixels to outer face", "mm").from_zero());
    plot.height_px = 130.0;
    let line = series(report, 0, |numbers| numbers.thickness_mm, String::new());
    plot.series = line.map(|s| Series { band: None, style: s.style.plain(), ..s }).into_iter().collect();
    Panel::Plot(plot)
}

/// The gaps of the pictures in mm: evenly along the axis, whole where the axis is long enough, and the one to buy among them.
fn shown_gaps(case: &Case) -> Vec<f64> {
    let (from, to) = case.found.sweep.ends_mm();
    let even = |i: usize| from + (to - from) * i as f64 / (PICTURES - 1) as f64;
    let whole = |mm: f64| if to - from >= 2.0 * PICTURES as f64 { mm.round().clamp(from, to) } else { mm };
    let mut gaps: Vec<f64> = (0..PICTURES).map(|i| whole(even(i))).collect();
    if let Some(answer) = &case.found.answer {
        let buy = answer.step.gap_mm;
        // The first picture stays: what the smallest gap looks like.
        let nearest = (1..PICTURES).min_by(|a, b| (gaps[*a] - buy).abs().total_cmp(&(gaps[*b] - buy).abs()));
        if let Some(nearest) = nearest {
            gaps[nearest] = buy;
        }
    }
    gaps
}

/// A gap and its look, short enough for the width of a picture.
fn short_label(gap: &str, look: &str) -> String {
    const FITTING: usize = 16;
    let whole = format!("{gap}: {look}");
    if whole.chars().count() > FITTING {
        whole.replace("hard dots", "dots").replace("dots show", "dots")
    } else {
        whole
    }
}

/// The part of the garment that the pictures show: all of it, or a close view where that would be too fine.
fn frame(scene: &Scene, pitch_mm: f64) -> Frame {
    let coarse = |size_px: [u32; 2]| small_frame(scene, Some(pitch_mm), size_px);
    let (whole, close) = (coarse(WHOLE_PX), coarse(CLOSE_PX));
    // A part is shown at the same image pixel in mm whatever the size; only the whole garment is finer.
    let frame = if whole.mm_per_px < close.mm_per_px { whole } else { close };
    let finer = f64::from(frame.width_px) / f64::from(PICTURE_PX[0]);
    let middle = [
        frame.first_x_mm + 0.5 * f64::from(frame.width_px - 1) * frame.mm_per_px,
        frame.first_y_mm - 0.5 * f64::from(frame.height_px - 1) * frame.mm_per_px,
    ];
    Frame::centred(middle[0], middle[1], frame.mm_per_px * finer, PICTURE_PX[0], PICTURE_PX[1])
}

/// The exposure of the scene; an automatic one is that of the picture at the gap to buy of the widest pitch, or of the second
/// one where there is none, told as its gap in mm: at no gap the dots are so bright that all else would be dark.
fn exposed_for(report: &Report, luminances: &[LuminanceImage]) -> (Exposure, Option<f64>) {
    let Some(case) = report.cases.last() else { return (Exposure::Auto, None) };
    let wanted = case.scene().view.exposure;
    let bought = case.found.answer.as_ref().map(|answer| answer.step.gap_mm);
    let gaps = shown_gaps(case);
    let which = gaps.iter().position(|gap| Some(*gap) == bought).unwrap_or(1);
    match (wanted, luminances.rchunks(PICTURES).next().and_then(|row| row.get(which..=which))) {
        (Exposure::Auto, Some(one)) => {
            (Exposure::Fixed(developed_together(one, wanted).0.0), gaps.get(which).copied())
        }
        _ => (wanted, None),
    }
}

/// A row of pictures for each pitch, all at one exposure and one scale.
fn pictures(report: &Report) -> (Vec<Panel>, String) {
    let widest = report.cases.iter().map(|case| case.found.pitch_mm).fold(0.0, f64::max);
    let mut scenes = Vec::new();
    for case in &report.cases {
        let frame = frame(case.scene(), widest);
        scenes.extend(
            shown_gaps(case).into_iter().map(|gap| (case, gap, case.scene().at_gap(Millimetres(gap)), frame)),
        );
    }
    let progress = Progress::new(scenes.len(), "Drawing pictures");
    let framed: Vec<(&Scene, Frame)> = scenes.iter().map(|(_, _, scene, frame)| (scene, *frame)).collect();
    let luminances = small_luminances(&framed, &|| progress.step());
    let (wanted, exposed_gap) = exposed_for(report, &luminances);
    let (exposure, canvases) = developed_together(&luminances, wanted);
    let mut panels: Vec<Panel> = Vec::new();
    let several = report.cases.len() > 1;
    for (rows, case) in canvases.chunks(PICTURES).zip(&report.cases) {
        let curve = case.found.sweep.curve();
        let placed = shown_gaps(case).into_iter().zip(rows).map(|(gap, picture)| PlacedPicture {
            x: gap,
            picture: picture.clone(),
            label: short_label(&millimetres(gap), look(curve.at(gap))),
        });
        let across = frame(case.scene(), widest);
        let across = f64::from(across.width_px) * across.mm_per_px;
        let pitch = if several {
            format!(", pixels {} apart", millimetres(case.found.pitch_mm))
        } else {
            String::new()
        };
        panels.push(Panel::Pictures(Pictures {
            heading: format!("What it looks like{pitch}; each picture {across:.0} mm wide"),
            pictures: placed.collect(),
        }));
    }
    let chosen =
        exposed_gap.map(|mm| format!(", chosen for a gap of {}", millimetres(mm))).unwrap_or_default();
    (panels, format!("{exposure} (ISO 100){chosen}"))
}

/// From where and behind what, then the answers.
fn subtitle(report: &Report) -> Vec<String> {
    let Some(scene) = report.cases.first().map(Case::scene) else { return Vec::new() };
    let cloths: Vec<&str> = scene.stack.iter().map(|placed| placed.cloth.title.as_str()).collect();
    let pitch = match report.cases.as_slice() {
        [one] => format!("; pixels {} apart", millimetres(one.found.pitch_mm)),
        _ => String::new(),
    };
    let scene = format!(
        "Behind: {}{pitch}; seen from {} m in {} lx of room light.",
        cloths.join(", then "),
        at_most_three_digits(scene.view.distance_m),
        at_most_three_digits(scene.view.room_lx)
    );
    std::iter::once(scene).chain(report.cases.iter().map(|case| headline(report, case, ""))).collect()
}

fn notes(report: &Report, exposure: &str) -> Vec<String> {
    let Some(case) = report.cases.first() else { return Vec::new() };
    let scene = case.scene();
    let mut lines = vec![format!(
        "All pictures at one exposure, {exposure}. They are close views, in which dots can show that are not seen from {} m.",
        at_most_three_digits(scene.view.distance_m),
    )];
    for case in report.cases.iter().filter(|case| case.found.answer.is_none()) {
        lines.extend(case.reason.map(in_words));
        let outermost = scene.stack.last().map_or("", |placed| placed.cloth.title.as_str());
        let pitch = pitch_name(report, case);
        let before = if pitch.is_empty() { String::new() } else { format!("{pitch}: ") };
        lines.extend(
            case.remedies
                .iter()
                .map(|remedy| format!("{before}What would do it: {}.", remedy_in_words(remedy, outermost))),
        );
    }
    if case.found.sweep.judged.iter().any(|(_, judged)| !judged.samples.is_empty()) {
        let basis = if scene.stack.iter().any(|placed| placed.cloth.basis == Basis::Label) {
            "The cloth is estimated from its label, not measured: let a test piece decide. "
        } else {
            ""
        };
        lines.push(format!("{basis}Ranges: 80 % of {SAMPLES} seeded samples of the cloths' uncertainty."));
    }
    lines.push("The words stand for numbers of this program, not of a standard.".to_owned());
    lines
}

/// What the chart shows, in words.
fn alt(report: &Report) -> String {
    let mut sentences = vec![format!(
        "Chart of dot visibility, light kept and total thickness against the gap between the pixels and the first cloth of {}, \
         with small pictures.",
        name(report)
    )];
    for case in &report.cases {
        sentences.push(headline(report, case, &from_where(case.scene())));
        let (from, to) = case.found.sweep.ends_mm();
        let curve = case.found.sweep.curve();
        let softness = Softness::ALL.into_iter().zip(&case.found.softness).filter_map(|(softness, gap)| {
            let gap = gap.as_ref()?;
            let range = range_in_words(gap, to);
            Some(match softness {
                Softness::Dots => format!(" Hard dots up to {}{range}.", millimetres(gap.value)),
                _ => format!(" {} from {} on{range}.", softness.word(), millimetres(gap.value)),
            })
        });
        sentences.push(format!(
            "Dot visibility is {} at a gap of {} and {} at {}.{}",
            three_digits(curve.at(from)),
            millimetres(from),
            three_digits(curve.at(to)),
            millimetres(to),
            softness.collect::<String>(),
        ));
        if let Some(answer) = &case.found.answer {
            let numbers = &answer.step.judged.value;
            sentences.push(format!(
                "At {} mm {} % of the light is kept and the whole is {} thick.",
                answer.step.gap_mm,
                three_digits(100.0 * numbers.light_kept),
                millimetres(numbers.thickness_mm),
            ));
        }
    }
    sentences.join(" ")
}
