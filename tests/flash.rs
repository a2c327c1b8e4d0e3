//! The check of flashing from outside: sequences on both sides of every threshold of WCAG 2.x (2.3.1) and ITU-R BT.1702
//! (`tests/reference/flash_thresholds.csv`), at several picture rates, across a loop's seam, and what must hold for any sequence.

use proptest::prelude::*;
use weftlight::judge::flash::{FlashCheck, FlashError, FlashReport, FlashSetup, Judgement, flash_chart};
use weftlight::picture::canvas::Canvas;
use weftlight::picture::chart::svg_to_png;
use weftlight::picture::colour::{decode, encode_8bit};
use weftlight::picture::exposure::ExposureValue;
use weftlight::picture::plane::{Frame, XyzImage};

/// 640 by 480 mm, seen from 2 m: .006 sr are 24 000 mm2, that is 240 image pixels of 10 mm.
const SMALL: Frame = Frame { first_x_mm: 0.0, first_y_mm: 0.0, mm_per_px: 10.0, width_px: 64, height_px: 48 };
/// The same with cells of a quarter of W3C's screen pixels: .006 sr are 21 824 of those, 1364 of these.
const LARGE: Frame = Frame { width_px: 256, height_px: 192, mm_per_px: 2.5, ..SMALL };

/// What one image pixel shows: code on the screen, X, Y, Z in cd/m2 on the garment.
type Shown = ([u8; 3], [f32; 3]);

fn setup(frame: Frame, looped: bool) -> FlashSetup {
    FlashSetup { frame, distance_m: 2.0, exposure: ExposureValue(5.0), looped }
}

/// The report on a sequence: `shown` by number of the picture, column and row.
fn judged(
    frame: Frame,
    fps: f64,
    count: usize,
    looped: bool,
    shown: impl Fn(usize, u32, u32) -> Shown,
) -> FlashReport {
    let mut check = FlashCheck::new(setup(frame, looped));
    for i in 0..count {
        let mut image = XyzImage::black(frame.width_px, frame.height_px);
        let mut rgb = Vec::with_capacity(3 * frame.len());
        for row in 0..frame.height_px {
            for column in 0..frame.width_px {
                let (code, xyz) = shown(i, column, row);
                rgb.extend(code);
                let at = (row * frame.width_px + column) as usize;
                image.planes.iter_mut().zip(xyz).for_each(|(plane, v)| plane[at] = v);
            }
        }
        let canvas = Canvas::from_rgb(frame.width_px, frame.height_px, rgb).expect("sized");
        check.push_developed(i as f64 / fps, &image, &canvas).expect("in order");
    }
    check.finish()
}

/// A grey code of a relative luminance, and that luminance once coded.
fn grey(luminance: f64) -> [u8; 3] {
    [encode_8bit(luminance); 3]
}

/// White light of a luminance in cd/m2 (D65).
fn white(luminance: f64) -> [f32; 3] {
    [0.9505, 1.0, 1.089].map(|v| (v * luminance) as f32)
}

/// Whether a square wave of so many flashes a second is on in picture `i`.
fn on(i: usize, flashes: f64, fps: f64) -> bool {
    (i as f64 * flashes / fps + 1e-9).fract() < 0.5
}

/// The screen alone: two relative luminances, all over.
fn screen(fps: f64, flashes: f64, low: f64, high: f64) -> FlashReport {
    judged(SMALL, fps, (4.0 * fps) as usize, false, |i, _, _| {
        (grey(if on(i, flashes, fps) { high } else { low }), white(5.0))
    })
}

/// The garment alone: two luminances in cd/m2, all over.
fn garment(fps: f64, flashes: f64, low: f64, high: f64) -> FlashReport {
    judged(SMALL, fps, (4.0 * fps) as usize, false, |i, _, _| {
        (grey(0.2), white(if on(i, flashes, fps) { high } else { low }))
    })
}

#[test]
fn more_than_three_flashes_a_second_are_too_many() {
    for fps in [10.0, 25.0, 30.0, 60.0] {
        for (flashes, passes) in [(2.0, true), (2.9, true), (3.0, true), (3.1, false), (4.0, false)] {
            let report = screen(fps, flashes, 0.05, 0.6);
            assert_eq!(report.screen.general.passed, passes, "{flashes} at {fps}");
            assert!(report.garment.passed() && report.screen.red.passed);
            let report = garment(fps, flashes, 10.0, 60.0);
            assert_eq!(report.garment.general.passed, passes, "{flashes} at {fps}");
            assert_eq!(report.near.as_ref().map(|near| near.passed()), Some(passes));
            assert!(report.screen.passed());
        }
    }
    // 12.5 pictures a second: a period must be whole pictures or some stretch of them is shorter than the wave's own. Three
    // periods of 2.9 Hz take 12.9 pictures, so somewhere 12: .96 s, as it is really shown.
    for (flashes, passes) in [(2.0, true), (2.5, true), (2.9, false), (4.0, false)] {
        assert_eq!(screen(12.5, flashes, 0.05, 0.6).screen.passed(), passes, "{flashes}");
    }
}

#[test]
fn flashes_are_counted_and_placed() {
    let report = screen(25.0, 5.0, 0.05, 0.6);
    let general = &report.screen.general;
    // Ten changes a second.
    assert_eq!(general.most_changes, 10);
    assert!((general.flashes() - 5.0).abs() < 1e-12);
    // All of the picture flashes: all of the field, four times the limit (its outline is drawn with cells).
    assert!((3.8..4.6).contains(&general.area_over_limit()), "{}", general.area_over_limit());
    let worst = general.worst.as_ref().expect("a worst second");
    assert!(worst.end_s - worst.start_s < 1.0 && worst.changes_s.len() == 10 && worst.frames.len() == 10);
    assert_eq!(report.worst_frames(), worst.frames);
    assert_eq!(general.spans_s.len(), 1);
    let [from, to] = general.spans_s[0];
    assert!(from <= 0.2 && to > 3.8, "{from} {to}");
    // From 7 changes in .6 s the speed follows: three periods of .2 s must take a second.
    let calmer = report.calmer().expect("too much");
    assert_eq!(calmer.speed, Some(0.6));
    // .55 of contrast must become less than .1.
    assert_eq!(calmer.depth, Some(0.1));
}

#[test]
fn small_steps_and_bright_darks_do_not_count_on_a_screen() {
    for (low, high, passes) in
        [(0.20, 0.29, true), (0.20, 0.31, false), (0.81, 0.95, true), (0.79, 0.93, false)]
    {
        // An 8-bit step is at most .009 of luminance; what is shown is on the side meant.
        let shown = |v: f64| decode(f64::from(encode_8bit(v)) / 255.0);
        assert_eq!(shown(high) - shown(low) < 0.1 || shown(low) >= 0.8, passes);
        assert_eq!(screen(25.0, 5.0, low, high).screen.passed(), passes, "{low} {high}");
    }
}

#[test]
fn small_steps_do_not_count_on_the_garment() {
    for (low, high, passes) in [
        (0.0, 19.0, true),
        (0.0, 21.0, false),
        (159.0, 178.0, true),
        (159.0, 180.0, false),
        // 161 needs 1/17 of Michelson contrast, that is 18/16 of 161: 181.1.
        (161.0, 181.0, true),
        (161.0, 181.3, false),
        (1000.0, 1124.0, true),
        (1000.0, 1126.0, false),
    ] {
        assert_eq!(garment(25.0, 5.0, low, high).garment.passed(), passes, "{low} {high}");
    }
}

#[test]
fn small_areas_may_flash() {
    let patch = |frame: Frame, size: [u32; 2]| {
        judged(frame, 20.0, 40, false, move |i, column, row| {
            let lit = column >= 5 && column < 5 + size[0] && row >= 7 && row < 7 + size[1];
            if lit && i % 4 < 2 { (grey(0.6), white(60.0)) } else { (grey(0.05), white(5.0)) }
        })
    };
    for (size, passes) in [([15, 15], true), ([15, 17], false)] {
        assert_eq!(patch(SMALL, size).garment.passed(), passes, "{size:?}");
    }
    for (size, passes) in [([30, 45], true), ([31, 45], false)] {
        let report = patch(LARGE, size);
        assert_eq!(report.screen.passed(), passes, "{size:?}");
        let share = f64::from(size[0] * size[1]) / 1364.0;
        assert!((report.screen.general.area_over_limit() - share).abs() < 1e-3);
    }
    // Two patches, each below the limit and together above it: side by side, and in fields of their own. 10 degrees are 350 mm.
    let pair = |away: u32| {
        judged(SMALL, 20.0, 40, false, move |i, column, row| {
            let lit = row < 15 && (column < 15 || (away..away + 15).contains(&column));
            (grey(0.05), white(if lit && i % 4 < 2 { 60.0 } else { 5.0 }))
        })
    };
    assert!(!pair(18).garment.passed() && pair(49).garment.passed());
    // From arm's length both are larger than the limit.
    assert!(!pair(49).near.expect("2 m is farther").passed());
}

#[test]
fn fine_balanced_patterns_do_not_count() {
    // From 2 m a tenth of a degree is 3.5 mm.
    let frame = Frame { mm_per_px: 0.5, width_px: 480, height_px: 320, ..SMALL };
    let board = |squares_px: u32| {
        judged(frame, 10.0, 15, false, move |i, column, row| {
            let odd = (column / squares_px + row / squares_px + i as u32) % 2 == 1;
            (grey(0.05), white(if odd { 100.0 } else { 0.0 }))
        })
    };
    assert!(board(1).garment.passed() && board(3).garment.passed());
    // 6 mm: .17 degrees.
    assert!(!board(12).garment.passed());
}

#[test]
fn flashes_across_the_seam_of_a_loop_count() {
    let lit = [1, 3, 17, 19];
    let run = |looped| {
        judged(SMALL, 10.0, 20, looped, |i, _, _| {
            if lit.contains(&i) { (grey(0.6), white(60.0)) } else { (grey(0.05), white(5.0)) }
        })
    };
    assert!(run(false).passed());
    let looped = run(true);
    assert!(!looped.screen.passed() && !looped.garment.passed());
    assert!((looped.duration_s - 2.0).abs() < 1e-9);
    let worst = looped.screen.general.worst.expect("a worst second");
    assert!(worst.frames.contains(&19) && worst.frames.contains(&1), "{:?}", worst.frames);
    // A loop of two pictures alone: 5 flashes a second, for ever.
    let short = |looped| {
        judged(SMALL, 10.0, 2, looped, |i, _, _| (grey(if i == 0 { 0.6 } else { 0.05 }), white(5.0)))
    };
    assert!(short(false).passed() && !short(true).screen.passed());
}

#[test]
fn slow_swelling_never_flashes() {
    let report = judged(SMALL, 25.0, 300, true, |i, _, _| {
        let swell = 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / 100.0).cos();
        (grey(swell), white(200.0 * swell))
    });
    assert!(report.passed() && report.calmer().is_none());
    assert!((1..=2).contains(&report.screen.general.most_changes));
}

#[test]
fn deep_pulses_on_both_sides_of_three_a_second() {
    for (flashes, passes) in [(2.9, true), (3.1, false)] {
        // Brighter in the middle than at the edges: the threshold is reached sooner there.
        let report = judged(SMALL, 25.0, 150, false, |i, column, _| {
            let swell = 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 * flashes / 25.0).cos();
            let here = swell * (1.0 - 0.02 * (f64::from(column) - 32.0).abs());
            (grey(here), white(200.0 * here))
        });
        assert_eq!((report.screen.passed(), report.garment.passed()), (passes, passes), "{flashes}");
    }
}

/// CIE 1976 u'v' of linear sRGB, from the matrix printed in IEC 61966-2-1.
fn uv(rgb: [f64; 3]) -> [f64; 2] {
    let row = |m: [f64; 3]| m[0] * rgb[0] + m[1] * rgb[1] + m[2] * rgb[2];
    let (x, y, z) =
        (row([0.4124, 0.3576, 0.1805]), row([0.2126, 0.7152, 0.0722]), row([0.0193, 0.1192, 0.9505]));
    let sum = x + 15.0 * y + 3.0 * z;
    [4.0 * x / sum, 9.0 * y / sum]
}

fn red_flash(a: [u8; 3], b: [u8; 3]) -> FlashReport {
    judged(SMALL, 20.0, 40, false, move |i, _, _| (if i % 4 < 2 { a } else { b }, white(5.0)))
}

#[test]
fn red_flashes_need_a_saturated_red_and_a_distance() {
    let linear = |code: [u8; 3]| code.map(|c| decode(f64::from(c) / 255.0));
    let distance = |a: [u8; 3], b: [u8; 3]| {
        let (a, b) = (uv(linear(a)), uv(linear(b)));
        (a[0] - b[0]).hypot(a[1] - b[1])
    };
    let share = |code: [u8; 3]| linear(code)[0] / linear(code).iter().sum::<f64>();
    let red = [255, 0, 0];
    // Greyer and greyer, at the luminance of the red (.2126), so that no general flash comes in.
    let greyer = |t: f64| {
        let grey = 0.2126 * t;
        [encode_8bit((1.0 - t) + grey), encode_8bit(grey), encode_8bit(grey)]
    };
    let steps = (1..1000).map(|i| greyer(f64::from(i) / 1000.0));
    let (near, far): (Vec<_>, Vec<_>) = steps.partition(|&other| distance(red, other) < 0.2);
    let (near, far) = (near[near.len() - 5], far[5]);
    assert!(distance(red, near) > 0.18 && distance(red, far) < 0.22);
    for (other, passes) in [(near, true), (far, false)] {
        let report = red_flash(red, other);
        assert_eq!(report.screen.red.passed, passes, "{other:?} {}", distance(red, other));
        assert!(report.screen.general.passed);
        assert_eq!(report.calmer().is_none(), passes);
    }
    // Reds on both sides of .8, against a blue-green that is far away and as bright.
    let reds = (0..200).map(|g| [255, 0, g]).collect::<Vec<[u8; 3]>>();
    let (saturated, dull): (Vec<_>, Vec<_>) = reds.into_iter().partition(|&code| share(code) >= 0.8);
    let (saturated, dull) = (saturated[saturated.len() - 1], dull[0]);
    assert!(share(saturated) < 0.81 && share(dull) > 0.79);
    let other = [0, encode_8bit(0.28), encode_8bit(0.28)];
    assert!(!red_flash(saturated, other).screen.red.passed && red_flash(dull, other).screen.red.passed);
    // Red and black flash red even where luminance hardly changes.
    let dim = [encode_8bit(0.3), 0, 0];
    let report = red_flash(dim, [0, 0, 0]);
    assert!(!report.screen.red.passed && report.screen.general.passed);
}

#[test]
fn red_pixels_behind_cloth_flash_red() {
    // Tristimulus values of a 625 nm die, relative to its luminance (CIE 1931 at 625 nm: .7514, .3210, .0001).
    let red = |y: f32| [2.341 * y, y, 0.0003 * y];
    let run = |room: f32| {
        judged(SMALL, 20.0, 40, false, move |i, _, _| {
            let glow = red(if i % 4 < 2 { 12.0 } else { 0.0 });
            let cloth = white(f64::from(room));
            (grey(0.2), [glow[0] + cloth[0], glow[1] + cloth[1], glow[2] + cloth[2]])
        })
    };
    let dark = run(0.0);
    assert!(!dark.garment.red.passed && dark.garment.general.passed);
    assert_eq!(dark.garment.calmer.expect("too much").depth, None);
    // In a bright room the cloth is no saturated red.
    assert!(run(30.0).garment.red.passed);
}

#[test]
fn light_that_jumps_counts_though_each_place_flashes_seldom() {
    // Four quarters take turns, each lit for a tenth of a second with a dark tenth between: each flashes 1.25 times a second, together 5.
    let run = |together: bool| {
        judged(SMALL, 20.0, 60, false, move |i, column, row| {
            let quarter = u32::from(column >= 32) + 2 * u32::from(row >= 24);
            let turn = (i as u32 / 4) % 4;
            let lit = i % 4 < 2 && (if together { turn == 0 } else { turn == quarter });
            (grey(0.05), white(if lit { 60.0 } else { 5.0 }))
        })
    };
    assert!(!run(false).garment.passed() && run(true).garment.passed());
    // Two halves that swap twice a second: what one gains the other loses, two flashes a second.
    let swap = judged(SMALL, 20.0, 60, false, |i, column, _| {
        (grey(0.05), white(if (column < 32) == (i % 10 < 5) { 60.0 } else { 5.0 }))
    });
    assert!(swap.passed(), "{:?}", swap.words());
}

#[test]
fn the_projects_own_development_is_used() {
    // Full scale at this exposure is 1.2 x 2^5 = 38.4 cd/m2; 38.4 x .2 and x .31 lie below the tone curve's bend.
    for (high, passes) in [(0.29, true), (0.32, false)] {
        let mut check = FlashCheck::new(setup(SMALL, false));
        for i in 0..40 {
            let mut image = XyzImage::black(64, 48);
            let y = 38.4 * if i % 4 < 2 { high } else { 0.2 };
            image.planes.iter_mut().zip(white(y)).for_each(|(plane, v)| plane.fill(v));
            check.push(f64::from(i) / 20.0, &image).expect("in order");
        }
        let report = check.finish();
        assert_eq!((report.screen.passed(), report.garment.passed()), (passes, true), "{high}");
    }
}

#[test]
fn what_does_not_fit_is_refused_and_nothing_is_no_harm() {
    let mut check = FlashCheck::new(setup(SMALL, true));
    let image = XyzImage::black(64, 48);
    assert!(matches!(check.push(0.0, &XyzImage::black(48, 64)), Err(FlashError::Size { .. })));
    assert!(matches!(check.push(f64::NAN, &image), Err(FlashError::Time { .. })));
    check.push(1.0, &image).expect("the first");
    for time in [1.0, 0.5, f64::INFINITY] {
        assert!(matches!(check.push(time, &image), Err(FlashError::Time { .. })), "{time}");
    }
    assert!(check.finish().passed());
    let nothing = FlashCheck::new(FlashSetup { distance_m: f64::NAN, ..setup(SMALL, true) }).finish();
    assert!(
        nothing.passed() && nothing.words().last().is_some_and(|w| w.contains("not a medical clearance"))
    );
    let empty = Frame { width_px: 0, height_px: 0, ..SMALL };
    let mut check = FlashCheck::new(setup(empty, false));
    check.push(0.0, &XyzImage::black(0, 0)).expect("empty");
    assert!(check.finish().passed());
}

/// Six patches, each larger than the limit from 2 m, 2 x 3.
const PATCHES: Frame = Frame { width_px: 6, height_px: 4, mm_per_px: 80.0, ..SMALL };

fn of_patches(series: &[Vec<f64>; 6], fps: f64) -> FlashReport {
    judged(PATCHES, fps, series[0].len(), false, |i, column, row| {
        (grey(0.2), white(series[(3 * (row / 2) + column / 2) as usize][i]))
    })
}

fn sequences() -> impl Strategy<Value = [Vec<f64>; 6]> {
    // Below 160 cd/m2, where a change is 20 cd/m2 whatever its place; steps and stays.
    let levels = prop::collection::vec(prop_oneof![Just(5.0), Just(24.0), Just(60.0), 0.0..150.0], 50);
    let own = prop::array::uniform6(levels);
    (own, any::<bool>(), 1usize..8).prop_map(|(mut own, same, stay)| {
        for series in &mut own {
            *series = (0..series.len()).map(|i| series[i / stay]).collect();
        }
        if same {
            let first = own[0].clone();
            own.fill(first);
        }
        own
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn slower_is_never_worse(series in sequences()) {
        let mut before = of_patches(&series, 25.0);
        if let Some(speed) = before.calmer().and_then(|calmer| calmer.speed) {
            prop_assert!(of_patches(&series, 25.0 * speed).passed(), "{} does not pass", speed);
        }
        for speed in [0.9, 0.7, 0.5, 0.3, 0.1] {
            let slower = of_patches(&series, 25.0 * speed);
            prop_assert!(slower.garment.general.most_changes <= before.garment.general.most_changes);
            prop_assert!(slower.passed() || !before.passed());
            before = slower;
        }
    }

    #[test]
    fn the_depth_told_passes(series in sequences()) {
        if let Some(depth) = at_depth(&series, 1.0).calmer.and_then(|calmer| calmer.depth) {
            prop_assert!(at_depth(&series, depth).passed());
        }
    }

    #[test]
    #[ignore = "known defect: a change counts when it is large enough, at a lesser depth later: changes can crowd into one second"]
    fn shallower_is_never_worse_where_all_places_go_together(series in sequences()) {
        let first = series[0].clone();
        never_worse_when_shallower(&std::array::from_fn(|_| first.clone()))?;
    }

    #[test]
    #[ignore = "known defect: what one place gains while another loses is one change; at a lesser depth the two can come apart and count twice"]
    fn shallower_is_never_worse_wherever_light_jumps(series in sequences()) {
        never_worse_when_shallower(&series)?;
    }
}

/// The garment with every place closer to its mean.
fn at_depth(series: &[Vec<f64>; 6], depth: f64) -> Judgement {
    let scaled = series.clone().map(|values| {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        values.iter().map(|v| mean + depth * (v - mean)).collect::<Vec<_>>()
    });
    of_patches(&scaled, 25.0).garment
}

fn never_worse_when_shallower(series: &[Vec<f64>; 6]) -> Result<(), TestCaseError> {
    let mut before = at_depth(series, 1.0);
    for depth in [0.8, 0.6, 0.4, 0.2] {
        let shallower = at_depth(series, depth);
        prop_assert!(shallower.general.most_changes <= before.general.most_changes);
        prop_assert!(shallower.passed() || !before.passed());
        before = shallower;
    }
    Ok(())
}

#[test]
fn the_chart_shows_the_worst_second() {
    let shown = |i: usize, column: u32, row: u32| {
        let away = (f64::from(column) - 32.0).hypot(f64::from(row) - 24.0);
        let beat = if (20..55).contains(&i) { i % 5 < 2 } else { i % 25 < 12 };
        let light = if beat { (-away * away / 300.0).exp() } else { 0.03 };
        let code = [encode_8bit(light), encode_8bit(0.7 * light), encode_8bit(0.4 * light)];
        (code, white(120.0 * light))
    };
    let report = judged(SMALL, 25.0, 75, true, shown);
    assert!(!report.passed());
    let pictures: Vec<(f64, Canvas)> = report
        .worst_frames()
        .into_iter()
        .map(|i| {
            let rgb = (0..48).flat_map(|row| (0..64).flat_map(move |column| shown(i, column, row).0));
            (i as f64 / 25.0, Canvas::from_rgb(64, 48, rgb.collect()).expect("sized"))
        })
        .collect();
    assert!(pictures.len() >= 7);
    let (chart, words) = flash_chart(&report, "Lantern walk, collar", &pictures);
    let svg = chart.svg(&words);
    let png = svg_to_png(&svg, 1.0).expect("drawn");
    #[allow(clippy::disallowed_methods, reason = "for looking at")]
    std::fs::write(concat!(env!("CARGO_TARGET_TMPDIR"), "/flash-chart.png"), png).expect("written");
    for part in
        ["TOO MUCH", "a change that counts", "not a medical clearance", "of its speed", "of its contrast"]
    {
        assert!(svg.contains(part) || words.contains(part), "{part}");
    }
    assert_eq!(chart.panels.len(), 3);
}
