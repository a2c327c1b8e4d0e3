//! Cloth that does not stand equally far off all pixels: pictures and numbers against scenes that are level, and against sums
//! with each pixel's own spot.

#![allow(clippy::print_stdout, reason = "the measured errors are worth reading: run with --nocapture")]

use proptest::prelude::*;
use weftlight::cloth::catalogue::{CatalogueOnly, ClothSource};
use weftlight::diagnose::Diagnostic;
use weftlight::judge::numbers::Layout;
use weftlight::light::Window;
use weftlight::picture::die_spots::{DieSpots, die_spots, die_spots_over_gaps};
use weftlight::picture::exposure::ExposureValue;
use weftlight::picture::gap_classes::{GAP_ERROR, GapClasses};
use weftlight::picture::luminance::luminance;
use weftlight::picture::render::caption;
use weftlight::quantity::Millimetres;
use weftlight::scene::Scene;
use weftlight::scene::file::{Resolved, resolve};

/// Of the peak: the same spots, in three pictures in single precision. A transform of 2^22 values rounds by about 6e-8 at each of its 22
/// steps, which add up like noise to 3e-7, forward and back, three times: 7e-7 typically, three times that at the worst place.
const SAME: f64 = 2e-6;
/// Of the peak: gaps solved together share knots, and the forward chains leave so much between them (`light::spots`: 2e-4 of the
/// transform at zero, of which the peak gets no more than its share).
const TOGETHER: f64 = 5e-4;
/// Of the peak: what pictures by Fourier transform promise against direct sums (`tests/picture.rs`).
const PLANE: f64 = 1e-4;

/// Closed felt-like cloth: nothing comes straight through, so that the picture is the glow alone.
const FELT: &str = "{name: test, thickness_mm: 1.5, areal_mass_g_m2: 300, source: test, \
     optics: {bulk: {extinction_per_mm: 14, albedo: 0.995, asymmetry: 0.6, openness: 0.0}}}";

fn resolved(text: &str) -> Result<Resolved, Vec<Diagnostic>> {
    resolve(text, "test", &CatalogueOnly)
}

fn scene(text: &str) -> Scene {
    resolved(text).unwrap_or_else(|problems| panic!("{problems:?}")).scene
}

/// Groups and a layer's keys, in a dark room, as a small picture.
fn written(groups: &str, layer: &str) -> String {
    format!(
        "pixels: [{groups}]\nstack: [{{{layer}, cloth: {FELT}}}]\n\
         view: {{room_lx: 0, size_px: [120, 90], margin_mm: 30, distance_m: 2}}\n"
    )
}

fn planes(scene: &Scene) -> [Vec<f32>; 3] {
    luminance(scene).image.planes
}

/// Greatest difference over the greatest value.
fn worst(found: &[Vec<f32>; 3], exact: &[Vec<f32>; 3]) -> f64 {
    let peak = f64::from(exact.iter().flatten().copied().fold(0.0, f32::max));
    assert!(peak > 0.0);
    let pairs = found.iter().flatten().zip(exact.iter().flatten());
    pairs.map(|(a, b)| (f64::from(*a) - f64::from(*b)).abs()).fold(0.0, f64::max) / peak
}

#[test]
fn a_gap_of_the_group_is_as_good_as_one_of_the_stack() {
    let group = "strip: {pitch_mm: 16.67, count: 5";
    let own = scene(&written(&format!("{{{group}, gap_mm: 7}}}}"), "gap_mm: 3"));
    let stack = scene(&written(&format!("{{{group}}}}}"), "gap_mm: 7"));
    assert_eq!(own.thickness(), stack.thickness());
    assert_eq!(own.uneven_mm(), None);
    let error = worst(&planes(&own), &planes(&stack));
    println!("{error:e}");
    assert!(error < SAME, "{error:e}");
    let numbers = |scene: &Scene| Layout::of(scene).numbers(scene);
    let (own, stack) = (numbers(&own), numbers(&stack));
    assert!((own.dot_visibility.unwrap() / stack.dot_visibility.unwrap() - 1.0).abs() < 0.01);
    assert!((own.mean_cd_m2 / stack.mean_cd_m2 - 1.0).abs() < TOGETHER);
    assert_eq!(own.thickness_mm, stack.thickness_mm);
}

#[test]
fn two_groups_at_two_gaps_are_the_sum_of_two_scenes() {
    let groups = [("4", "0"), ("9", "0.2")].map(|(gap, dimmed)| {
        format!(
            "{{strip: {{pitch_mm: 16.67, count: 4, start_mm: [{}, {gap}], level: {}, gap_mm: {gap}}}}}",
            if gap == "4" { "0" } else { "5" },
            if dimmed == "0" { "1" } else { "0.7" }
        )
    });
    let both = scene(&written(&groups.join(", "), "gap_mm: 4"));
    assert_eq!(both.uneven_mm(), Some([4.0, 9.0]));
    // The same frame: the other group is there, and dark.
    let dark = |group: &String| group.replace("level: 1", "level: 0").replace("level: 0.7", "level: 0");
    let first = planes(&scene(&written(&format!("{}, {}", groups[0], dark(&groups[1])), "gap_mm: 4")));
    let second = planes(&scene(&written(&format!("{}, {}", dark(&groups[0]), groups[1]), "gap_mm: 4")));
    let sum: [Vec<f32>; 3] =
        std::array::from_fn(|c| first[c].iter().zip(&second[c]).map(|(a, b)| a + b).collect());
    let error = worst(&planes(&both), &sum);
    println!("{error:e}");
    assert!(error < SAME, "{error:e}");
    // And each of them is a level scene.
    let level = |gap: f64| {
        let mut level = scene(&written(&groups.join(", "), "gap_mm: 4")).at_gap(Millimetres(gap));
        level.pixels.iter_mut().for_each(|pixel| pixel.extra_gap.0 = 0.0);
        let group = usize::from(gap == 9.0);
        level.pixels.iter_mut().filter(|p| p.group != group).for_each(|p| p.levels.fill(0.0));
        planes(&level)
    };
    for (alone, gap) in [(first, 4.0), (second, 9.0)] {
        let error = worst(&alone, &level(gap));
        println!("{gap}: {error:e}");
        assert!(error < TOGETHER, "{gap}: {error:e}");
    }
}

/// Luminance at some image pixels with each pixel's own spot, solved for its gap alone, term by term.
fn direct(scene: &Scene, places: &[[f64; 2]]) -> Vec<f64> {
    let mut sums = vec![0.0; places.len()];
    for pixel in &scene.pixels {
        let gap = scene.gap_over(pixel);
        let spots: DieSpots = die_spots(&[&*pixel.package], &|l| scene.stack_over(gap, l)).remove(0);
        for ((facts, level), spot) in pixel.package.dies.iter().zip(&pixel.levels).zip(&spots.dies) {
            let (offset, window) = pixel.package.glow_source(facts);
            assert_eq!((offset.map(|o| o.0), pixel.turn_rad), ([0.0; 2], 0.0));
            let radii: Vec<f64> =
                places.iter().map(|p| (p[0] - pixel.at[0].0).hypot(p[1] - pixel.at[1].0)).collect();
            for (sum, value) in sums.iter_mut().zip(spot[1].at_radii(window, &radii)) {
                *sum += level * value;
            }
        }
    }
    sums
}

#[test]
fn domes_and_quilts_are_the_sums_of_each_pixels_own_spot() {
    // Points, so that the outline is exact in the direct sum.
    let points: Vec<String> = (0..12)
        .map(|i| format!("{{point: {{at_mm: [{}, {}]}}}}", 9.3 * f64::from(i % 4), 11.0 * f64::from(i / 4)))
        .collect();
    for layer in [
        "gap_mm: 4, dome: {rise_mm: 6, centre_mm: [12, 9], radius_mm: 40}",
        "gap_mm: 4, quilt: {rise_mm: 6, cell_mm: 50, origin_mm: [-7, 3]}",
        "gap_mm: 12, dome: {rise_mm: -10, centre_mm: [9.3, 11], radius_mm: 50}",
        "gap_mm: 2, quilt: {rise_mm: 15, cell_mm: 55, origin_mm: [-0.2, -0.1]}",
    ] {
        let fine = written(&points.join(", "), layer).replace("[120, 90]", "[480, 360]");
        let scene = scene(&fine);
        let classes = GapClasses::of(&scene);
        let picture = luminance(&scene);
        let frame = picture.frame;
        assert_eq!(picture.report.as_ref().and_then(|r| r.aperture_mm), None, "softened");
        let pixels: Vec<(u32, u32)> = (0..frame.height_px)
            .step_by(17)
            .flat_map(|r| (0..frame.width_px).step_by(11).map(move |c| (c, r)))
            .collect();
        let places: Vec<[f64; 2]> = pixels.iter().map(|&(c, r)| frame.centre_of(c, r)).collect();
        let exact = direct(&scene, &places);
        let peak = exact.iter().copied().fold(0.0, f64::max);
        let error = pixels
            .iter()
            .zip(&exact)
            .map(|(&(c, r), exact)| (f64::from(picture.image.at(c, r)[1]) - exact).abs())
            .fold(0.0, f64::max)
            / peak;
        let [low, high] = scene.gap_range_mm();
        println!(
            "{layer}: gaps {low:.2} to {high:.2} mm, {} classes for {} pixels: {error:.2e}",
            classes.gaps_mm.len(),
            scene.pixels.len()
        );
        assert!(error < GAP_ERROR + PLANE, "{layer}: {error:e}");
    }
}

/// A dome's worth of different gaps over more pixels than there are classes.
fn many_gaps(low: f64, high: f64, cloth: &str) -> Scene {
    let points: Vec<String> =
        (0..40).map(|i| format!("{{point: {{at_mm: [{}, 0]}}}}", f64::from(i))).collect();
    let mut scene =
        scene(&format!("pixels: [{}]\nstack: [{{gap_mm: {low}, cloth: {cloth}}}]\n", points.join(", ")));
    for (i, pixel) in scene.pixels.iter_mut().enumerate() {
        // Unevenly spread.
        pixel.extra_gap.0 = (high - low) * (i as f64 / 39.0).powf(1.3);
    }
    scene
}

/// Greatest difference between a pixel's spot of classes and its own, over its own peak, and the number of classes. `own` is solved
/// together with the classes, so that only interpolation is measured.
fn interpolated(scene: &Scene, window: Window) -> (f64, usize) {
    let classes = GapClasses::of(scene);
    let count = classes.gaps_mm.len();
    let looked_at: Vec<usize> = (0..scene.pixels.len()).step_by(3).collect();
    let mut gaps = classes.gaps_mm.clone();
    gaps.extend(looked_at.iter().map(|&i| scene.gap_over(&scene.pixels[i]).0));
    let package = &scene.pixels[0].package;
    let lowest = scene.gap_over(&scene.pixels[0]);
    let solved = die_spots_over_gaps(&[&**package], &|l| scene.stack_over(lowest, l), &gaps);
    let mut worst = 0.0f64;
    for (place, &pixel) in looked_at.iter().enumerate() {
        let height = scene.gap_over(&scene.pixels[pixel]).0 + 0.1;
        let radii: Vec<f64> = (0..30).map(|i| 0.15 * f64::from(i) * height).collect();
        let at = |class: usize| solved[class][0].dies[0][1].at_radii(window, &radii);
        let exact = at(count + place);
        let mut found = vec![0.0; radii.len()];
        for class in (0..count).filter(|&class| classes.share(pixel, class) != 0.0) {
            let share = classes.share(pixel, class);
            found.iter_mut().zip(at(class)).for_each(|(sum, value)| *sum += share * value);
        }
        for (found, exact_r) in found.iter().zip(&exact) {
            worst = worst.max((found - exact_r).abs() / exact[0]);
        }
    }
    (worst, count)
}

/// A random cloth over random gaps.
#[derive(Clone, Copy, Debug)]
struct Case {
    low: f64,
    rise: f64,
    thickness: f64,
    optical: f64,
    albedo: f64,
    asymmetry: f64,
    openness: f64,
    disc: bool,
}

/// The error of interpolation and the number of classes.
fn of_case(case: Case) -> (f64, usize) {
    let Case { low, rise, thickness, optical, albedo, asymmetry, openness, disc } = case;
    let cloth = format!(
        "{{name: test, thickness_mm: {thickness}, areal_mass_g_m2: 300, source: test, optics: {{bulk: \
         {{extinction_per_mm: {}, albedo: {albedo}, asymmetry: {asymmetry}, openness: {openness}}}}}}}",
        optical / thickness
    );
    // Points under cloth that touches them have no peak to compare with.
    let disc = disc || asymmetry > 0.0;
    let low = if disc { low } else { low + 0.5 };
    let window = if disc { Window::Disc { diameter: Millimetres(3.0) } } else { Window::Point };
    let (error, classes) = interpolated(&many_gaps(low, low + rise, &cloth), window);
    println!("{case:.2?}: {classes} classes, {error:.2e}");
    (error, classes)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn interpolation_between_gaps_stays_within_its_limit(
        low in 0.0..12.0f64,
        rise in 0.5..25.0f64,
        thickness in 0.2..6.0f64,
        optical in 0.5..30.0f64,
        albedo in 0.7..0.999f64,
        asymmetry in prop_oneof![Just(0.0), 0.0..0.8f64],
        openness in prop_oneof![Just(0.0), 0.0..0.4f64],
        disc in any::<bool>(),
    ) {
        let (error, classes) = of_case(Case { low, rise, thickness, optical, albedo, asymmetry, openness, disc });
        prop_assert!(error < GAP_ERROR, "{error:e} with {classes} classes");
    }
}

#[test]
fn dark_dense_thick_and_sharp_cloth_is_interpolated_as_well() {
    let common = Case {
        low: 0.0,
        rise: 24.0,
        thickness: 0.2,
        optical: 28.0,
        albedo: 0.7,
        asymmetry: 0.71,
        openness: 0.0,
        disc: true,
    };
    for case in [
        common,
        Case { asymmetry: 0.0, ..common },
        Case { low: 11.6, rise: 13.0, optical: 0.5, asymmetry: 0.79, ..common },
        Case { low: 11.6, rise: 13.0, thickness: 3.2, optical: 0.9, asymmetry: 0.79, ..common },
        Case { rise: 0.5, thickness: 4.9, optical: 7.1, asymmetry: 0.0, disc: false, ..common },
        Case { low: 0.25, rise: 9.0, thickness: 4.2, optical: 0.5, albedo: 0.98, asymmetry: 0.1, ..common },
    ] {
        let (error, classes) = of_case(case);
        assert!(error < GAP_ERROR, "{case:?}: {error:e} with {classes} classes");
    }
}

#[test]
fn the_catalogue_behind_a_usual_package_stays_within_the_limit() {
    let package = weftlight::pixels::package::Package::named("5050").expect("known");
    let window = package.glow_source(&package.dies[0]).1;
    for cloth in CatalogueOnly.names() {
        let mut scene = many_gaps(3.0, 12.0, &cloth);
        scene.pixels.iter_mut().for_each(|pixel| pixel.package = std::sync::Arc::new(package.clone()));
        let (error, classes) = interpolated(&scene, window);
        println!("{cloth}: {classes} classes, {error:.2e}");
        assert!(error < GAP_ERROR, "{cloth}: {error:e}");
    }
}

#[test]
fn shares_add_up_to_one_and_level_scenes_have_one_class() {
    let scene = many_gaps(2.0, 11.0, FELT);
    let classes = GapClasses::of(&scene);
    assert!(classes.gaps_mm.len() < scene.pixels.len());
    assert_eq!((classes.gaps_mm[0], classes.gaps_mm[classes.gaps_mm.len() - 1]), (2.0, 11.0));
    for pixel in 0..scene.pixels.len() {
        let sum: f64 = (0..classes.gaps_mm.len()).map(|class| classes.share(pixel, class)).sum();
        assert!((sum - 1.0).abs() < 1e-12, "{sum}");
    }
    let level = GapClasses::of(&many_gaps(4.0, 4.0, FELT));
    assert_eq!(level.gaps_mm, [4.0]);
    assert!((0..40).all(|pixel| level.share(pixel, 0) == 1.0));
}

#[test]
fn numbers_have_each_pixel_with_its_own_spot() {
    let groups = "{grid: {pitch_mm: 12, columns: 8, rows: 6}}";
    let numbers = |layer: &str| {
        let scene = scene(&written(groups, layer));
        Layout::of(&scene).numbers(&scene)
    };
    let (low, high) = (numbers("gap_mm: 4"), numbers("gap_mm: 10"));
    let dome = numbers("gap_mm: 4, dome: {rise_mm: 6, radius_mm: 60}");
    assert_eq!(low.widest_spot_mm, None);
    let (narrow, wide) = (dome.spot_width_mm.unwrap(), dome.widest_spot_mm.unwrap());
    assert!(
        low.spot_width_mm.unwrap() < narrow * 1.2
            && narrow < wide
            && wide < 1.01 * high.spot_width_mm.unwrap()
    );
    let seen = |n: &weftlight::judge::numbers::Numbers| n.dot_visibility.unwrap();
    assert!(
        seen(&high) < seen(&dome) && seen(&dome) < seen(&low),
        "{} {} {}",
        seen(&high),
        seen(&dome),
        seen(&low)
    );
    assert!(high.thickness_mm >= dome.thickness_mm && dome.thickness_mm > low.thickness_mm);
    assert_eq!(dome.light_kept, low.light_kept);
}

#[test]
fn another_gap_moves_all_pixels_by_the_same() {
    let scene = scene(&written("{point: {}}, {point: {at_mm: [5, 0], gap_mm: 3}}", "gap_mm: 5"));
    let gaps = |scene: &Scene| scene.pixels.iter().map(|p| scene.gap_over(p).0).collect::<Vec<_>>();
    let at = |gap: f64| gaps(&scene.at_gap(Millimetres(gap)));
    assert_eq!(gaps(&scene), [5.0, 3.0]);
    // The gap of the scene is the least of its groups'.
    assert_eq!(scene.stack[0].gap_below, Millimetres(3.0));
    assert_eq!(at(8.0), [10.0, 8.0]);
    // In a hollow, no pixel comes through the cloth.
    let dome = "gap_mm: 5, dome: {rise_mm: -4, radius_mm: 50}";
    let hollow = crate::scene(&written("{point: {}}, {point: {at_mm: [50, 0]}}", dome));
    assert_eq!(gaps(&hollow), [1.0, 5.0]);
    assert_eq!(gaps(&hollow.at_gap(Millimetres(2.0))), [0.0, 2.0]);
    // Over several gaps at once as one by one.
    let layout = Layout::of(&scene);
    let one = layout.numbers(&scene.at_gap(Millimetres(8.0)));
    let over = layout.numbers_over_gaps(&scene, &[2.0, 8.0])[1];
    assert_eq!(over.thickness_mm, one.thickness_mm);
    assert!((over.spot_width_mm.unwrap() / one.spot_width_mm.unwrap() - 1.0).abs() < 5e-3);
    assert!((over.widest_spot_mm.unwrap() / one.widest_spot_mm.unwrap() - 1.0).abs() < 5e-3);
}

#[test]
fn the_caption_says_so() {
    let title = |layer: &str| {
        let scene = scene(&written("{point: {}}, {point: {at_mm: [5, 0], gap_mm: 3}}", layer));
        caption(&scene, ExposureValue(10.0)).title
    };
    assert!(title("gap_mm: 5").contains("at 3 to 5 mm (uneven stand-off)"), "{}", title("gap_mm: 5"));
    assert!(title("gap_mm: 3").ends_with("at 3 mm"), "{}", title("gap_mm: 3"));
}

#[test]
fn what_cannot_be_is_refused_with_its_place() {
    let found = |groups: &str, layer: &str| match resolved(&written(groups, layer)) {
        Ok(resolved) => resolved.warnings,
        Err(problems) => problems,
    };
    let strip = "{strip: {pitch_mm: 10, count: 5}}";
    for (groups, layer, what) in [
        ("{strip: {pitch_mm: 10, count: 5, gap_mm: -1}}", "gap_mm: 4", "gap_mm"),
        (strip, "gap_mm: 4, dome: {rise_mm: 6, radius_mm: 0}", "radius_mm"),
        (strip, "gap_mm: 4, dome: {rise_mm: 6}", "radius_mm"),
        (strip, "gap_mm: 4, quilt: {rise_mm: 6, cell_mm: 0}", "cell_mm"),
        (strip, "gap_mm: 4, quilt: {rise_mm: .nan, cell_mm: 30}", "rise_mm"),
        (
            strip,
            "gap_mm: 4, dome: {rise_mm: -9, radius_mm: 90}",
            "the cloth would lie below pixels of this group",
        ),
        (strip, "gap_mm: 490, dome: {rise_mm: 20, radius_mm: 900}", "the cloth stands too far off pixels"),
        (
            strip,
            "gap_mm: 4, dome: {rise_mm: 6, radius_mm: 40}, quilt: {rise_mm: 6, cell_mm: 50}",
            "exclude each other",
        ),
        (
            strip,
            "gap_mm: 4, dome: {rise_mm: 30, radius_mm: 45}",
            "the cloth is steep over pixels of this group",
        ),
    ] {
        let problems = found(groups, layer);
        assert_eq!(problems.len(), 1, "{layer}: {problems:?}");
        assert!(problems[0].what.contains(what) && problems[0].line.is_some(), "{layer}: {problems:?}");
    }
    assert!(found(strip, "gap_mm: 4, dome: {rise_mm: -4, radius_mm: 90}").is_empty(), "a hollow may touch");
    let two = format!(
        "pixels: [{strip}]\nstack: [{{cloth: muslin}}, {{cloth: voile, quilt: {{rise_mm: 3, cell_mm: 40}}}}]\n"
    );
    let problems = resolved(&two).expect_err("only the first layer");
    assert!(problems[0].what.contains("first layer"), "{problems:?}");
    let bare = "pixels: [{point: {gap_mm: 3}}]\nstack: []\n";
    assert!(resolved(bare).expect("usable").warnings[0].what.contains("does nothing"));
}
