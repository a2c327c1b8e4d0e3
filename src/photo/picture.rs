//! The report of a fit as a chart: for each photograph what was seen, what the cloth found should show, the difference, and the
//! course of the light from the middle outwards.

use super::decode::Photo;
use super::fit::unknowns::{COLOUR_NAMES, COLOURS};
use super::fit::{Profile, ShotFit};
use super::measure::Measured;
use crate::picture::canvas::{Canvas, Rgb8};
use crate::picture::chart::{Axis, Chart, Dash, Mark, Marks, Panel, Plot, Rule, Series, Shape, Strip, Style};
use crate::picture::colour::encode_8bit;
use crate::picture::sheet::strip;

/// Side of the small pictures in image pixels: three of them are as wide as the chart's plots, so that their labels keep the size of
/// its text.
const SIDE_PX: u32 = 240;
/// They show so many heights of the cloth around the spot.
const HEIGHTS_SHOWN: f64 = 2.5;
/// Difference that is drawn in full colour, over the peak.
const FULL_DIFFERENCE: f64 = 0.1;
/// Height of the plots in SVG pixels.
const PROFILE_PX: f64 = 260.0;
const DIFFERENCE_PX: f64 = 130.0;

/// Red, green, blue: dark enough on white, told apart by dash and shape as well.
const STYLES: [Style; COLOURS] = [
    Style { colour: [0xb3, 0x1f, 0x1f], dash: Dash::Solid, shape: Some(Shape::Circle), filled: false },
    Style { colour: [0x1b, 0x6b, 0x2f], dash: Dash::Long, shape: Some(Shape::Square), filled: false },
    Style { colour: [0x1f, 0x45, 0xb3], dash: Dash::Dots, shape: Some(Shape::Triangle), filled: false },
];

/// One photograph and what was made of it.
#[derive(Clone, Copy, Debug)]
pub struct Reported<'a> {
    /// Its name.
    pub name: &'a str,
    /// The photograph.
    pub photo: &'a Photo,
    /// What was measured in it.
    pub measured: &'a Measured,
    /// Model and means.
    pub fit: &'a ShotFit,
    /// Stand-off as stated in mm.
    pub stated_gap_mm: f64,
    /// From the board to the outer face of the cloth in mm.
    pub height_mm: f64,
}

impl Reported<'_> {
    /// Radius of the innermost ring in mm.
    fn core_mm(&self) -> f64 {
        self.measured.rings.edges_mm.get(1).copied().unwrap_or(0.0)
    }
}

/// The chart. `notes` stand at its foot.
#[must_use]
pub fn report(title: &str, subtitle: Vec<String>, shots: &[Reported<'_>], notes: Vec<String>) -> Chart {
    let largest = shots.iter().map(|shot| reach(shot)).fold(1.0, f64::max);
    let mut panels = Vec::new();
    for shot in shots {
        panels.push(Panel::Strip(Strip {
            heading: format!(
                "{}, {} mm stand-off. Each picture is {:.0} mm wide.",
                shot.name,
                shot.stated_gap_mm,
                2.0 * HEIGHTS_SHOWN * shot.height_mm
            ),
            picture: pictures(shot),
            from: 0.0,
            to: largest,
            height_px: None,
        }));
        panels.push(Panel::Plot(profile(shot)));
        panels.push(Panel::Plot(difference(shot)));
    }
    Chart {
        title: title.to_owned(),
        subtitle,
        x: Axis::linear("distance from the middle of the spot", "mm").over(0.0, largest),
        panels,
        notes,
        ..Chart::default()
    }
}

/// How far the profiles are drawn in mm: to where one percent of the peak is left, or a little more.
fn reach(shot: &Reported<'_>) -> f64 {
    const LEFT: f64 = 0.01;
    let of_profile = |profile: &Profile| {
        let last = profile.model.iter().rposition(|value| *value > LEFT).unwrap_or(0);
        profile.radii_mm.get(last + 1).or(profile.radii_mm.last()).copied().unwrap_or(1.0)
    };
    shot.fit.profiles.iter().flatten().map(of_profile).fold(HEIGHTS_SHOWN * shot.height_mm, f64::max)
}

fn profile(shot: &Reported<'_>) -> Plot {
    let mut plot = Plot::new(
        Axis::linear("light, 1 at the model's peak; points: photograph, lines: model", "").from_zero(),
    );
    plot.height_px = PROFILE_PX;
    for (c, profile) in shot.fit.profiles.iter().enumerate() {
        let Some(profile) = profile else { continue };
        let points = |values: &[f64]| profile.radii_mm.iter().copied().zip(values.iter().copied()).collect();
        // The points name the colour: names of both would stand twice.
        plot.series.push(Series {
            name: String::new(),
            points: points(&profile.model),
            band: None,
            style: Style { shape: None, ..STYLES[c] },
        });
        let mark = |(i, radius): (usize, &f64)| Mark { x: *radius, y: profile.seen[i], ..Mark::default() };
        plot.marks.push(Marks {
            name: COLOUR_NAMES[c].to_owned(),
            points: profile.radii_mm.iter().enumerate().map(mark).collect(),
            style: STYLES[c],
        });
    }
    plot
}

fn difference(shot: &Reported<'_>) -> Plot {
    /// The axis shows at least so much, in percent: less is noise, and should look like it.
    const LEAST_PERCENT: f64 = 1.0;
    let largest = shot.fit.profiles.iter().flatten().map(|p| 100.0 * p.misfit().1).fold(0.0, f64::max);
    let end = (1.1 * largest).max(LEAST_PERCENT);
    let mut plot = Plot::new(Axis::linear("photograph less model", "% of the peak").over(-end, end));
    plot.height_px = DIFFERENCE_PX;
    plot.rules = vec![Rule { at: 0.0, label: String::new() }];
    for (c, profile) in shot.fit.profiles.iter().enumerate() {
        let Some(profile) = profile else { continue };
        let points = (profile.radii_mm.iter().enumerate())
            .map(|(i, radius)| (*radius, 100.0 * (profile.seen[i] - profile.model[i])))
            .collect();
        plot.series.push(Series {
            name: COLOUR_NAMES[c].to_owned(),
            points,
            band: None,
            style: Style { shape: None, ..STYLES[c] },
        });
    }
    plot
}

/// Photograph, model and difference side by side.
fn pictures(shot: &Reported<'_>) -> Canvas {
    let side_mm = 2.0 * HEIGHTS_SHOWN * shot.height_mm;
    let middle = middle_px(shot.measured);
    let px_per_dot = side_mm / f64::from(SIDE_PX) / shot.measured.mm_per_px;
    let highest = shot.fit.profiles.iter().flatten().map(|p| p.peak).fold(1e-9, f64::max);
    let (mut seen, mut model, mut differs) = (Vec::new(), Vec::new(), Vec::new());
    let from_middle = |dot: u32| (f64::from(dot) + 0.5 - 0.5 * f64::from(SIDE_PX)) * px_per_dot;
    for row in 0..SIDE_PX {
        for column in 0..SIDE_PX {
            let place = [middle[0] + from_middle(column), middle[1] + from_middle(row)];
            let light = averaged(shot.photo, place, 0.5 * px_per_dot);
            let radius = nearest_mm(shot.measured, place);
            seen.extend(shown(shot, light, highest));
            let expected: [f64; COLOURS] = std::array::from_fn(|c| {
                shot.fit.profiles[c].as_ref().map_or(0.0, |p| p.peak * at(p, radius, shot.core_mm()))
            });
            model.extend(
                expected.map(|value: f64| encode_8bit((BRIGHTEST * value / highest).clamp(0.0, 1.0))),
            );
            differs.extend(light.and_then(|light| away(shot, light, radius)).map_or(OUTSIDE, signed));
        }
    }
    let canvas = |rgb| {
        Canvas::from_rgb(SIDE_PX, SIDE_PX, rgb).unwrap_or_else(|| Canvas::filled(SIDE_PX, SIDE_PX, OUTSIDE))
    };
    strip(&[
        (canvas(seen), "photograph".to_owned()),
        (canvas(model), "model".to_owned()),
        (canvas(differs), format!("difference, ±{:.0} %", 100.0 * FULL_DIFFERENCE)),
    ])
}

/// Photograph less model over the peak at a radius, mean of the colours that tell about it. The innermost ring is compared as a whole,
/// as in the fit; `None` inside the first ring that was used, where the photograph is clipped.
fn away(shot: &Reported<'_>, light: [f64; COLOURS], radius: f64) -> Option<f64> {
    let edges = &shot.measured.rings.edges_mm;
    let (mut sum, mut count) = (0.0, 0.0);
    for (c, profile) in shot.fit.profiles.iter().enumerate() {
        let Some(profile) = profile else { continue };
        let first = edges.partition_point(|edge| *edge <= profile.radii_mm[0]).saturating_sub(1);
        if radius < edges[first] {
            continue;
        }
        sum += if first == 0 && radius < edges[1] {
            profile.seen[0] - profile.model[0]
        } else {
            (light[c] - profile.background) / profile.peak - at(profile, radius, shot.core_mm())
        };
        count += 1.0;
    }
    (count > 0.0).then(|| sum / count)
}

/// The peak of the model is shown at this linear value.
const BRIGHTEST: f64 = 0.85;
/// What lies outside the photograph, or was left out.
const OUTSIDE: Rgb8 = [0x60, 0x60, 0x60];

fn shown(shot: &Reported<'_>, light: Option<[f64; 3]>, highest: f64) -> Rgb8 {
    light.map_or(OUTSIDE, |light| {
        std::array::from_fn(|c| {
            let background = shot.fit.profiles[c].as_ref().map_or(0.0, |p| p.background);
            encode_8bit((BRIGHTEST * (light[c] - background) / highest).clamp(0.0, 1.0))
        })
    })
}

/// Blue where the photograph is darker than the model, orange where it is brighter, white where they agree.
fn signed(value: f64) -> Rgb8 {
    const DARKER: [f64; 3] = [30.0, 80.0, 190.0];
    const BRIGHTER: [f64; 3] = [205.0, 95.0, 0.0];
    let share = (value / FULL_DIFFERENCE).clamp(-1.0, 1.0);
    let end = if share < 0.0 { DARKER } else { BRIGHTER };
    std::array::from_fn(|i| (255.0 + share.abs() * (end[i] - 255.0)).round() as u8)
}

fn middle_px(measured: &Measured) -> [f64; 2] {
    let count = measured.centres_px.len().max(1) as f64;
    std::array::from_fn(|i| measured.centres_px.iter().map(|c| c[i]).sum::<f64>() / count)
}

fn nearest_mm(measured: &Measured, [x, y]: [f64; 2]) -> f64 {
    let away = measured.centres_px.iter().map(|c| f64::hypot(c[0] - x, c[1] - y));
    measured.mm_per_px * away.fold(f64::INFINITY, f64::min)
}

/// Mean light over a square of half side `half` around a place, both in pixels; `None` outside the photograph.
fn averaged(photo: &Photo, [x, y]: [f64; 2], half: f64) -> Option<[f64; 3]> {
    let range = |middle: f64, end: usize| {
        let low = (middle - half).round().max(0.0) as usize;
        let high = ((middle + half).round().max(0.0) as usize).min(end.saturating_sub(1));
        (middle >= 0.0 && middle < end as f64).then_some(low.min(high)..=high)
    };
    let (columns, rows) = (range(x, photo.width)?, range(y, photo.height)?);
    let mut sum = [0.0; 3];
    let mut count = 0.0;
    for row in rows {
        for column in columns.clone() {
            photo.linear(column, row).iter().zip(&mut sum).for_each(|(value, sum)| *sum += value);
            count += 1.0;
        }
    }
    Some(sum.map(|s| s / count))
}

/// The model over its peak at a radius. The innermost ring (within `core_mm`) holds the direct image of the pixel as well: where its mean
/// lies clearly above the glow as the other rings have it, the rest stands evenly over the glow inside it and nowhere else.
fn at(profile: &Profile, radius: f64, core_mm: f64) -> f64 {
    /// Share of the mean above which it counts as direct image: a steep glow of closed cloth leaves 5 percent.
    const DIRECT: f64 = 0.1;
    let (radii, values) = (&profile.radii_mm, &profile.model);
    if let (Some((own, others)), Some((mean, glow))) = (radii.split_first(), values.split_first()) {
        let direct = mean - curve(others, glow, *own);
        if *own < core_mm && !others.is_empty() && direct > DIRECT * mean {
            return curve(others, glow, radius) + if radius < core_mm { direct } else { 0.0 };
        }
    }
    curve(radii, values, radius)
}

/// Straight lines between rings, and inside them the Gaussian through the first two, for a glow is flat in its middle.
fn curve(radii: &[f64], values: &[f64], radius: f64) -> f64 {
    let next = radii.partition_point(|r| *r <= radius);
    if next == 0 {
        return match (radii.first_chunk::<2>(), values.first_chunk::<2>()) {
            (Some([r, s]), Some([v, w])) if *v > 0.0 && *w > 0.0 => {
                v * (v / w).powf((r * r - radius * radius) / (s * s - r * r))
            }
            _ => values.first().copied().unwrap_or(0.0),
        };
    }
    if next >= radii.len() {
        return values.last().copied().unwrap_or(0.0);
    }
    let share = (radius - radii[next - 1]) / (radii[next] - radii[next - 1]);
    values[next - 1] + share * (values[next] - values[next - 1])
}

#[cfg(test)]
mod tests {
    use super::{Profile, at};

    const CORE_MM: f64 = 2.2;

    fn glow(radius: f64) -> f64 {
        (-0.03 * radius * radius).exp()
    }

    /// The glow at the rings' radii, `more` in the innermost one.
    fn profile(more: f64) -> Profile {
        let radii_mm = vec![1.5, 2.6, 3.4, 4.4];
        let mut model: Vec<f64> = radii_mm.iter().copied().map(glow).collect();
        model[0] += more;
        Profile { seen: model.clone(), errors: vec![0.01; 4], model, radii_mm, peak: 1.0, background: 0.0 }
    }

    #[test]
    fn the_middle_goes_on_as_the_rings_do_and_the_direct_image_stays_in_it() {
        // Straight lines between rings are so far from this glow.
        const STRAIGHT: f64 = 0.01;
        for more in [0.0, 0.7] {
            let profile = profile(more);
            assert!((at(&profile, 0.0, CORE_MM) - 1.0 - more).abs() < 1e-12);
            assert!((at(&profile, 1.5, CORE_MM) - profile.model[0]).abs() < 1e-12);
            // Outside the core nothing of the direct image is left.
            assert!((at(&profile, 2.3, CORE_MM) - glow(2.3)).abs() < STRAIGHT);
            assert_eq!(at(&profile, 9.0, CORE_MM), profile.model[3]);
        }
        // A little more or less in the innermost ring makes no step at its edge.
        for more in [-0.1, 0.05] {
            let [inside, outside] =
                [CORE_MM - 1e-9, CORE_MM + 1e-9].map(|radius| at(&profile(more), radius, CORE_MM));
            assert!((inside - outside).abs() < 1e-6, "{more}");
        }
        // The innermost ring left out: the middle goes on from those that are there.
        let mut without = profile(0.0);
        without.radii_mm.remove(0);
        without.model.remove(0);
        assert!((at(&without, 1.0, CORE_MM) - glow(1.0)).abs() < 1e-12);
    }
}
