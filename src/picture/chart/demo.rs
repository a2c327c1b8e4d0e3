//! Charts for the tests, with invented values in the shape of real ones.

use super::*;
use crate::picture::canvas::Canvas;

/// A row of spots that run into each other as `spread` grows.
pub(super) fn spots(width_px: u32, height_px: u32, spread: f64) -> Canvas {
    let mut rgb = Vec::new();
    for y in 0..height_px {
        for x in 0..width_px {
            let pitch = f64::from(width_px) / 3.0;
            let dx = (f64::from(x) / pitch).fract() - 0.5;
            let dy = (f64::from(y) - 0.5 * f64::from(height_px)) / pitch;
            let light = (-(dx * dx) / (spread * spread)).exp()
                + (-(1.0 - dx.abs()).powi(2) / (spread * spread)).exp();
            let light = (light * (-(dy * dy) / (0.02 + spread * spread)).exp()).min(1.0);
            rgb.extend([light, 0.75 * light, 0.35 * light].map(|v| (v.sqrt() * 255.0) as u8));
        }
    }
    Canvas::from_rgb(width_px, height_px, rgb).expect("a canvas")
}

fn sampled(from: f64, to: f64, count: usize, f: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    (0..count).map(|i| from + (to - from) * i as f64 / (count - 1) as f64).map(|x| (x, f(x))).collect()
}

fn banded(points: &[(f64, f64)], down: f64, up: f64) -> Option<Vec<(f64, f64, f64)>> {
    Some(points.iter().map(|(x, y)| (*x, y * down, y * up)).collect())
}

pub(super) fn standoff() -> Chart {
    let visible = |at: f64| move |gap: f64| 60.0 * (-(gap + at) / 4.2).exp() + 0.02;
    let one = sampled(0.0, 30.0, 31, visible(0.0));
    let two = sampled(0.0, 30.0, 31, visible(5.0));
    let mut visibility = Plot::new(Axis::log("dot visibility: 1 is what the eye just sees", ""));
    visibility.height_px = 280.0;
    visibility.series = vec![
        Series {
            name: "one layer".to_owned(),
            band: banded(&one, 0.6, 1.7),
            points: one,
            style: Style::nth(0).plain(),
        },
        Series {
            name: "two layers".to_owned(),
            band: banded(&two, 0.6, 1.7),
            points: two,
            style: Style::nth(1).plain(),
        },
    ];
    visibility.rules = vec![Rule { at: 1.0, label: "1: the eye's threshold".to_owned() }];
    let kept = sampled(0.0, 30.0, 16, |gap| 72.0 - 0.9 * gap);
    let mut light = Plot::new(Axis::linear("light kept", "%").from_zero());
    light.height_px = 180.0;
    light.series = vec![
        Series {
            name: "one layer".to_owned(),
            band: banded(&kept, 0.85, 1.1),
            points: kept.clone(),
            style: Style::nth(0),
        },
        Series {
            name: "two layers".to_owned(),
            points: kept.iter().map(|(x, y)| (*x, y * 0.68)).collect(),
            band: None,
            style: Style::nth(1),
        },
    ];
    let mut thickness = Plot::new(Axis::linear("total thickness", "mm").from_zero());
    thickness.height_px = 150.0;
    thickness.series = vec![Series {
        name: "total thickness".to_owned(),
        points: vec![(0.0, 3.1), (30.0, 33.1)],
        band: None,
        style: Style::nth(2).plain(),
    }];
    let pictures = [0.0, 3.0, 6.0, 10.0, 15.0, 20.0, 30.0].map(|x| PlacedPicture {
        x,
        picture: spots(400, 300, 0.08 + x / 45.0),
        label: format!("{x} mm"),
    });
    Chart {
        title: "Lantern walk, collar: how far off the cloth must stand".to_owned(),
        subtitle: vec!["Ivory wool felt over pixels 33 mm apart, seen from 2 m in a dark street".to_owned()],
        x: Axis::linear("gap between pixels and cloth", "mm"),
        rules: vec![
            Rule { at: 12.3, label: "two layers: dots vanish at 12.3 mm".to_owned() },
            Rule { at: 17.2, label: "one layer: dots vanish at 17.2 mm".to_owned() },
        ],
        band_label: "shaded: 8 of 10 estimates lie here".to_owned(),
        panels: vec![
            Panel::Plot(visibility),
            Panel::Plot(light),
            Panel::Plot(thickness),
            Panel::Pictures(Pictures { heading: "What it looks like".to_owned(), pictures: pictures.to_vec() }),
        ],
        notes: vec!["Estimates: ±30 % in luminance, ±20 % in spot width, from the cloth's label alone. Measure the cloth to narrow the bands.".to_owned()],
    }
}

pub(super) fn pick() -> Chart {
    let names = [
        "ivory wool felt",
        "cotton batiste",
        "two layers of organza",
        "fleece, 3 mm",
        "fleece, 6 mm",
        "spacer mesh and voile",
        "silk habotai",
        "linen",
        "jersey",
        "wool felt and batiste",
        "velvet",
        "tulle",
    ];
    let point = |i: usize| {
        let thickness = 1.0 + 1.7 * i as f64 + 1.3 * (i as f64 * 2.4).sin();
        let visibility = 30.0 * (-thickness / 6.0).exp() * (1.6 + (i as f64 * 1.7).cos());
        (thickness, visibility)
    };
    let all: Vec<_> = (0..names.len()).map(|i| (names[i], point(i))).collect();
    let beaten = |p: (f64, f64)| all.iter().any(|(_, q)| *q != p && q.0 <= p.0 && q.1 <= p.1);
    let mark = |(name, (x, y)): &(&str, (f64, f64))| Mark {
        x: *x,
        y: *y,
        y_range: Some((0.7 * y, 1.5 * y)),
        x_range: None,
        label: (*name).to_owned(),
    };
    let mut front: Vec<_> = all.iter().filter(|(_, p)| !beaten(*p)).collect();
    front.sort_by(|a, b| a.1.0.total_cmp(&b.1.0));
    let mut plot = Plot::new(Axis::log("dot visibility", ""));
    plot.height_px = 520.0;
    plot.series = vec![Series {
        name: "the best for their thickness".to_owned(),
        points: front.iter().map(|(_, p)| *p).collect(),
        band: None,
        style: Style { dash: Dash::Long, ..Style::nth(0).plain() },
    }];
    plot.marks = vec![
        Marks {
            name: "beaten by another in both".to_owned(),
            points: all.iter().filter(|(_, p)| beaten(*p)).map(mark).collect(),
            style: Style::nth(1).quiet().open(),
        },
        Marks {
            name: "best choice".to_owned(),
            points: front.iter().map(|f| mark(f)).collect(),
            style: Style::nth(0),
        },
    ];
    plot.rules = vec![Rule { at: 1.0, label: "1: the eye's threshold".to_owned() }];
    Chart {
        title: "Lantern walk, wing: which cloth".to_owned(),
        subtitle: vec!["Further down is smoother, further left is thinner".to_owned()],
        x: Axis::linear("total thickness", "mm").from_zero(),
        rules: vec![Rule { at: 15.0, label: "at most 15 mm".to_owned() }],
        band_label: String::new(),
        panels: vec![Panel::Plot(plot)],
        notes: vec!["Thin lines: 8 of 10 estimates.".to_owned()],
    }
}

pub(super) fn odd() -> Chart {
    let (inf, nan) = (f64::INFINITY, f64::NAN);
    let mut gaps = Plot::new(Axis::linear("distance where dots vanish & <others>", "m"));
    gaps.series = vec![
        Series {
            name: "with gaps".to_owned(),
            points: vec![
                (0.0, inf),
                (1.0, inf),
                (2.0, 9.0),
                (3.0, 7.0),
                (4.0, nan),
                (5.0, 4.0),
                (6.0, nan),
                (7.0, 3.0),
                (8.0, 2.0),
            ],
            band: Some(vec![
                (0.0, 5.0, inf),
                (2.0, 6.0, inf),
                (3.0, 5.0, 9.0),
                (4.0, nan, 8.0),
                (5.0, 3.0, 5.0),
                (7.0, 2.0, 4.0),
                (8.0, -inf, 3.0),
            ]),
            style: Style::nth(0).plain(),
        },
        Series { name: "nothing".to_owned(), style: Style::nth(1), ..Series::default() },
        Series {
            name: "one point".to_owned(),
            points: vec![(4.0, 5.0)],
            band: None,
            style: Style::nth(3).plain(),
        },
        Series {
            name: "ends early".to_owned(),
            points: vec![(0.0, 1.0), (6.0, 6.0)],
            band: None,
            style: Style::nth(2),
        },
    ];
    let mut log = Plot::new(Axis::log("light", "cd/m²"));
    log.series = vec![Series {
        name: "light".to_owned(),
        points: vec![
            (0.0, 1000.0),
            (2.0, 100.0),
            (3.0, 0.0),
            (4.0, -5.0),
            (5.0, 3.0),
            (8.0, 0.01),
            (nan, 4.0),
            (inf, 4.0),
        ],
        band: Some(vec![(0.0, 500.0, 2000.0), (2.0, 0.0, 300.0), (5.0, -3.0, 10.0), (8.0, 0.005, 0.03)]),
        style: Style::nth(4),
    }];
    Chart {
        title: "Gaps, <tags> & \"quotes\"".to_owned(),
        x: Axis::linear("gap", "mm"),
        band_label: "shaded: range".to_owned(),
        panels: vec![
            Panel::Plot(gaps),
            Panel::Plot(log),
            Panel::Plot(Plot { height_px: 100.0, ..Plot::new(Axis::linear("empty", "")) }),
            Panel::Strip(Strip {
                heading: "along the gap".to_owned(),
                picture: spots(900, 90, 0.2),
                from: 2.0,
                to: 6.0,
                height_px: Some(60.0),
            }),
        ],
        ..Chart::default()
    }
}

/// More marker lines, lines and points than there is room for side by side.
pub(super) fn crowded() -> Chart {
    let series = |i: usize| Series {
        name: format!("series {}, with a long name", i + 1),
        points: sampled(0.0, 11.0, 25, |x| 8.0 / (1.0 + x / (2.0 + 0.1 * i as f64))),
        band: None,
        style: Style::nth(i).plain(),
    };
    let mark = |i: u32| Mark {
        x: 6.0 + 0.4 * f64::from(i % 3),
        y: 5.0 + 0.3 * f64::from(i / 3),
        label: format!("cloth number {i}"),
        ..Mark::default()
    };
    let mut plot = Plot::new(Axis::linear("dot visibility", "").from_zero());
    plot.height_px = 400.0;
    plot.series = (0..4).map(series).collect();
    plot.marks =
        vec![Marks { name: String::new(), points: (0..7).map(mark).collect(), style: Style::nth(5) }];
    let rule = |at: f64| Rule { at, label: format!("at {at} mm dots vanish for one more of the cloths") };
    Chart {
        title: "Panel: a crowded chart whose title is so long that it has to be broken into two lines"
            .to_owned(),
        x: Axis::linear("gap", "mm"),
        rules: [3.0, 4.0, 9.5, 14.0].map(rule).to_vec(),
        panels: vec![Panel::Plot(plot)],
        ..Chart::default()
    }
}

/// The axis of pictures alone.
pub(super) fn strip_alone() -> Chart {
    let pictures = (0..6).map(|i| f64::from(i) * 2.0).map(|x| PlacedPicture {
        x,
        picture: spots(300, 300, 0.1 + x / 30.0),
        label: format!("{x} mm"),
    });
    Chart {
        title: "Badge".to_owned(),
        x: Axis::linear("gap", "mm"),
        panels: vec![Panel::Pictures(Pictures { heading: String::new(), pictures: pictures.collect() })],
        ..Chart::default()
    }
}
