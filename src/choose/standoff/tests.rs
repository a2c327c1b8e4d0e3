//! The search against the square-grid table, and on small scenes.

use super::*;
use crate::cloth::Cloth;
use crate::cloth::catalogue::CatalogueOnly;
use crate::quantity::PerMillimetre;
use crate::scene::file::resolve;
use std::sync::Arc;

/// A thin cloth whose optics are given, with this openness and uncertainty.
fn scene(pixels: &str, openness: f64, uncertainty: f64) -> Scene {
    let text = format!(
        "pixels: [{pixels}]\nboard: {{reflectance: 0.5}}\nstack: [{{gap_mm: 4, cloth: {{name: test, thickness_mm: 1, source: test, \
         uncertainty: {{optical_thickness: {uncertainty}, openness: 0}}, optics: {{bulk: {{extinction_per_mm: 20, albedo: 0.998, \
         asymmetry: 0, openness: {openness}}}}}}}}}]\nview: {{distance_m: 2, room_lx: 20}}\n"
    );
    resolve(&text, "test", &CatalogueOnly).expect("a scene in order").scene
}

fn strip(pitch_mm: f64, openness: f64) -> Scene {
    scene(&format!("strip: {{pitch_mm: {pitch_mm}, count: 6}}"), openness, 0.0)
}

/// Irradiance over its mean, h over a square grid of equal Lambertian points of pitch 1: at a point and in the middle of four. The sum
/// of h^2 / (pi (h^2 + r^2)^2) over the points to [`FAR`]; those beyond as an even sheet.
fn square_grid(h: f64) -> [f64; 2] {
    const FAR: i32 = 60;
    [0.0, 0.5].map(|shift| {
        let (mut sum, mut inside) = (0.0, 0.0);
        for i in -FAR..=FAR {
            for j in -FAR..=FAR {
                let (x, y) = (f64::from(i) + shift, f64::from(j) + shift);
                let r2 = x * x + y * y;
                if r2 < f64::from(FAR - 1).powi(2) {
                    sum += h * h / (std::f64::consts::PI * (h * h + r2).powi(2));
                    inside += 1.0;
                }
            }
        }
        // The share of a point's flux outside a disc: h^2 / (h^2 + r^2), the disc as large as the points' cells together.
        let disc = inside / std::f64::consts::PI;
        sum + h * h / (h * h + disc)
    })
}

#[test]
fn the_search_finds_the_heights_of_the_square_grid_table() {
    // Height over pitch, most and least irradiance over the mean: computed elsewhere by direct sum and Fourier series.
    let table = [(0.5, 1.616, 0.710), (0.75, 1.1247, 0.9127), (1.0, 1.0270, 0.9774), (1.25, 1.0059, 0.9945)];
    let ripple = |most: f64, least: f64| (most - least) / (most + least);
    let curve = |level: f64| {
        Curve::new(gaps(0.1, 2.0, GAPS).into_iter().map(|h| {
            let [most, least] = square_grid(h);
            (h, ripple(most, least) / level)
        }))
    };
    for (h, most, least) in table {
        let found = curve(ripple(most, least)).deciding(Softness::Smooth).expect("crosses");
        // The table has three or four decimals of a ripple that falls e-fold over 1/6 of a pitch; straight lines add less.
        let rounding = if h == 0.5 { 5e-4 } else { 5e-5 } / ripple(most, least) / 6.0;
        assert!((found - h).abs() < rounding + 1e-3, "{found} against {h}");
    }
}

#[test]
fn the_gap_found_is_where_visibility_crosses_one() {
    let subject = Subject::new(strip(10.0, 0.0)).expect("judgeable");
    let found = find(&subject, &gaps(0.0, 24.0, 13), Softness::Smooth, &|| ());
    let answer = found.answer.expect("an answer");
    let gap = answer.gap.value;
    // Refined between gaps 2 mm apart: on either side of it by no more than it claims.
    assert!(
        subject.visibility(gap - 2.0 * FOUND_TO_MM) > 1.0
            && subject.visibility(gap + 2.0 * FOUND_TO_MM) < 1.0,
        "{gap}"
    );
    assert!(answer.step.visibility() < 1.0 && answer.next.expect("one less").visibility() >= 1.0);
    assert_eq!((answer.gap.low, answer.gap.high), (gap, gap), "nothing is uncertain");
    assert_eq!(answer.step.share, 1.0);
    assert_eq!(answer.other_end_mm, None);
    let dots = find(&subject, &gaps(0.0, 24.0, 13), Softness::Dots, &|| ()).answer.expect("an answer");
    assert!(dots.step.gap_mm <= dots.gap.value && dots.gap.value - dots.step.gap_mm < 1.0);
    assert!(dots.step.visibility() >= 10.0 && dots.next.expect("one more").visibility() < 10.0);
}

#[test]
fn ranges_are_those_of_each_sample_searched_alone() {
    let subject = Subject::new(scene("strip: {pitch_mm: 10, count: 6}", 0.0, 0.5)).expect("judgeable");
    let found = find(&subject, &gaps(0.0, 24.0, GAPS), Softness::Smooth, &|| ());
    let answer = found.answer.expect("an answer");
    // At the ends of the range the share of samples without dots is that of the percentile, give or take one of 24.
    let share = |gap: f64| {
        Step::new(gap, subject.layout.judged(&subject.scene.at_gap(Millimetres(gap))), Softness::Smooth).share
    };
    let (low, high) = (share(answer.gap.low), share(answer.gap.high));
    assert!((low - LOW).abs() <= ONE_OF && (high - (1.0 - LOW)).abs() <= ONE_OF, "{low} {high}");
    let sure = answer.sure.expect("a sure step");
    assert!(sure.gap_mm >= answer.step.gap_mm && sure.share >= SURE);
    const LOW: f64 = crate::judge::numbers::LOW_QUANTILE;
    const ONE_OF: f64 = 1.0 / 24.0;
}

#[test]
fn the_sweep_ends_beyond_the_gap_that_does() {
    let subjects: Vec<Subject> =
        [5.0, 10.0].map(|pitch| Subject::new(strip(pitch, 0.0)).expect("judgeable")).into();
    let end = end_mm(&subjects);
    assert!((LEAST_END_MM..=3.0 * 10.0).contains(&end) && end % END_STEP_MM == 0.0, "{end}");
    assert!(subjects.iter().all(|subject| subject.visibility(end) < 1.0));
    let open = Subject::new(strip(10.0, 0.3)).expect("judgeable");
    assert_eq!(end_mm(&[open]), 30.0, "three pitches where no gap does");
}

#[test]
fn what_would_do_does() {
    let subject = Subject::new(strip(10.0, 0.0)).expect("judgeable");
    let found = find(&subject, &gaps(0.0, 9.0, 10), Softness::Smooth, &|| ());
    assert!(found.answer.is_none() && found.best.0 == 9.0);
    let at_pitch = |mm: f64| Some(strip(mm, 0.0));
    let would = remedies(&subject, (0.0, 9.0), Softness::Smooth, found.best.0, &at_pitch, &[], &|| ());
    assert_eq!(reason(&subject, 0.0, 9.0, Softness::Smooth, &found.sweep.curve()), None);
    let pitch = would.iter().find(|r| matches!(r.change, Change::Pitch(_))).expect("denser pixels");
    let denser = match pitch.change {
        Change::Pitch(mm) => Subject::new(strip(mm, 0.0)).expect("judgeable"),
        _ => unreachable!(),
    };
    assert!(denser.visibility(pitch.gap_mm) < 1.0 && pitch.gap_mm <= 9.0);
    let gap = would.iter().find(|r| r.change == Change::OtherGap).expect("more gap");
    assert!(subject.visibility(gap.gap_mm) < 1.0 && subject.visibility(gap.gap_mm - 1.0) >= 1.0);
}

#[test]
fn bare_light_through_holes_is_the_reason() {
    let subject = Subject::new(strip(10.0, 0.2)).expect("judgeable");
    let found = find(&subject, &gaps(0.0, 20.0, 9), Softness::Smooth, &|| ());
    assert!(found.answer.is_none());
    let closed = Subject::new(strip(10.0, 0.0)).expect("judgeable");
    match reason(&subject, 0.0, 20.0, Softness::Smooth, &found.sweep.curve()) {
        // A fifth is holes; what passes the covered part unscattered is exp(-20) of the rest.
        Some(Reason::Holes { straight, closed_mm }) => {
            assert!((straight - (0.2 + 0.8 * (-20f64).exp())).abs() < 1e-6, "{straight}");
            let dots = (closed.visibility(closed_mm).ln()).abs();
            assert!(dots < 0.1, "with the holes closed the visibility there is about 1: {dots}");
        }
        other => panic!("{other:?}"),
    }
    // A closed cloth over it does; one with holes is not offered.
    let covers = [("thin", 0.0, 20.0), ("heavy", 0.0, 60.0), ("open", 0.2, 1.0)].map(
        |(name, openness, extinction)| {
            let cloth = (*subject.scene.stack[0].cloth).clone();
            let extinction = PerMillimetre(extinction);
            Arc::new(Cloth { name: name.to_owned(), openness, extinction, ..cloth })
        },
    );
    let would = remedies(&subject, (0.0, 20.0), Softness::Smooth, found.best.0, &|_| None, &covers, &|| ());
    let cover = |r: &Remedy| match &r.change {
        Change::Cover(cloth) => Some((cloth.name.clone(), r.gap_mm, r.numbers)),
        _ => None,
    };
    let found: Vec<_> = would.iter().filter_map(cover).collect();
    assert_eq!(found.len(), 1, "both closed ones are as thick: {found:?}");
    let (name, gap_mm, numbers) = found[0].clone();
    assert_eq!(name, "thin", "of two that do it the one that keeps more light");
    assert!(seen(&numbers) < 1.0 && (0.0..=20.0).contains(&gap_mm));
}

#[test]
fn scenes_without_dots_are_told_apart() {
    let without = |change: &dyn Fn(&mut Scene)| {
        let mut scene = strip(10.0, 0.0);
        change(&mut scene);
        Subject::new(scene).expect_err("nothing to choose")
    };
    assert_eq!(without(&|scene| scene.stack.clear()), Unjudgeable::NoCloth);
    assert_eq!(without(&|scene| scene.pixels.clear()), Unjudgeable::NoPixels);
    assert_eq!(without(&|scene| scene.pixels.truncate(1)), Unjudgeable::Single);
    assert_eq!(without(&|scene| scene.pixels.iter_mut().for_each(|p| p.levels.fill(0.0))), Unjudgeable::Dark);
}
