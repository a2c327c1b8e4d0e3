use super::{NotLinear, PhotoWarning, warnings};
use crate::photo::decode::{Format, Photo};
use crate::photo::find::spots;
use crate::photo::synthetic::Scene;

const WHITE: [f64; 3] = [0.5, 0.45, 0.3];

fn told(photo: &Photo) -> Vec<PhotoWarning> {
    warnings(photo, &spots(photo).unwrap())
}

fn scene(half_width: f64, peak: f64) -> Scene {
    let mut scene = Scene::new(420, 380, [0.004; 3], 77);
    scene.gaussian([205.0, 190.0], half_width, WHITE.map(|w| w * peak));
    scene
}

#[test]
fn a_good_picture_has_no_warning() {
    let mut good = scene(40.0, 1.0);
    good.noise(0.002, 0.01);
    assert_eq!(told(&good.linear()), []);
    let curve = [PhotoWarning::PossiblyNotLinear(NotLinear::CameraCurve)];
    assert_eq!(told(&good.jpeg(95)), curve);
}

/// The warnings of a picture that has one fault, beside those of a good one.
fn one_fault(scene: &mut Scene) -> PhotoWarning {
    scene.noise(0.002, 0.01);
    let list = told(&scene.linear());
    assert_eq!(list.len(), 1, "{list:?}");
    list.into_iter().next().unwrap()
}

#[test]
fn every_fault_is_told_with_its_size() {
    let clipped = one_fault(&mut scene(40.0, 2.5));
    assert!(
        matches!(clipped, PhotoWarning::ClippedCore { radius_px, .. } if (10.0..30.0).contains(&radius_px)),
        "{clipped:?}"
    );
    let small = one_fault(&mut scene(6.0, 1.0));
    assert!(
        matches!(small, PhotoWarning::Small { half_width_px } if (half_width_px - 6.0).abs() < 0.5),
        "{small:?}"
    );
    let mut off = Scene::new(420, 380, [0.004; 3], 78);
    off.gaussian([90.0, 190.0], 40.0, WHITE);
    assert!(
        matches!(one_fault(&mut off), PhotoWarning::CutOff { edge_px, .. } if (edge_px - 90.0).abs() < 1.0)
    );
    let mut lit = scene(40.0, 1.0);
    lit.add(|_, _| [0.1; 3]);
    assert!(
        matches!(one_fault(&mut lit), PhotoWarning::BrightBackground { share } if (share - 0.25).abs() < 0.05)
    );
    let mut two = scene(30.0, 1.0);
    two.gaussian([330.0, 290.0], 20.0, WHITE.map(|w| 0.3 * w));
    assert_eq!(one_fault(&mut two), PhotoWarning::SeveralSpots { count: 2 });
    let mut stretched = Scene::new(420, 380, [0.004; 3], 79);
    stretched.add(|x, y| {
        let squared = ((x - 205.0) / 50.0).powi(2) + ((y - 190.0) / 38.0).powi(2);
        WHITE.map(|w| w * (-std::f64::consts::LN_2 * squared).exp())
    });
    assert!(
        matches!(one_fault(&mut stretched), PhotoWarning::NotRound { roundness, .. } if (roundness - 0.76).abs() < 0.03)
    );
    let mut sloped = scene(40.0, 1.0);
    sloped.add(|x, _| [0.06 * x / 420.0; 3]);
    let list = told(&sloped.linear());
    assert!(
        list.iter()
            .any(|w| matches!(w, PhotoWarning::SlopedBackground { share } if (share - 0.14).abs() < 0.03)),
        "{list:?}"
    );
}

#[test]
fn a_dim_spot_in_a_dark_picture_is_told() {
    let mut dim = Scene::new(420, 380, [0.006; 3], 80);
    dim.gaussian([205.0, 190.0], 40.0, [0.012; 3]);
    dim.noise(0.002, 0.0);
    let list = told(&dim.linear());
    let signal = list.iter().find_map(|w| match w {
        PhotoWarning::Dim { signal_to_noise } => Some(*signal_to_noise),
        _ => None,
    });
    assert!(signal.is_some_and(|s| (5.0..10.0).contains(&s)), "{list:?}");
    let mut black = scene(40.0, 1.0);
    black.add(|_, _| [-0.004; 3]);
    black.noise(0.002, 0.01);
    let list = told(&black.linear());
    // Noise about 0: half of what is dark.
    assert!(
        matches!(list[..], [PhotoWarning::BlackCut { share }] if (0.25..0.5).contains(&share)),
        "{list:?}"
    );
}

#[test]
fn an_even_row_is_no_fault() {
    let mut row = Scene::new(520, 300, [0.004; 3], 81);
    for i in 0..4 {
        row.gaussian([110.0 + 100.0 * f64::from(i), 150.0], 25.0, WHITE);
    }
    row.noise(0.002, 0.01);
    assert_eq!(told(&row.linear()), []);
}

#[test]
fn what_the_file_says_is_told() {
    let mut good = scene(40.0, 1.0);
    good.noise(0.002, 0.01);
    let mut photo = good.linear();
    (photo.composite, photo.flash, photo.format) = (true, true, Format::Jpeg);
    let expected = [PhotoWarning::Flash, PhotoWarning::PossiblyNotLinear(NotLinear::Composite)];
    assert_eq!(told(&photo), expected);
}

#[test]
fn words_name_the_fact_and_what_to_do() {
    let clipped = PhotoWarning::ClippedCore { radius_px: 31.4, half_width_px: 80.2 };
    let words = clipped.words();
    assert!(words.contains("31 px") && words.contains("shorter exposure"), "{words}");
    let small = PhotoWarning::Small { half_width_px: 5.31 };
    assert!(small.words().contains("5.3 px") && small.words().contains("Go nearer"));
}
