//! Luminances by hand; blue light against the standard's values and a scale worked elsewhere.

use super::blue::{Part, share_inside, weight};
use super::*;
use crate::cloth::catalogue::CatalogueOnly;
use crate::light::spectrum::Spectrum;
use crate::scene::file::resolve;

fn scene(text: &str) -> Scene {
    resolve(text, "test", &CatalogueOnly).expect("a scene in order").scene
}

fn rows(table: &str) -> Vec<Vec<f64>> {
    let lines = table.lines().filter(|l| !l.starts_with('#')).skip(1);
    lines.map(|l| l.split(',').map(|v| v.parse().unwrap_or(0.0)).collect()).collect()
}

#[test]
fn weights_and_limits_are_the_standards() {
    for row in rows(include_str!("../../../tests/reference/blue_light_hazard.csv")) {
        // Six digits are printed.
        assert!((weight(Nanometres(row[0])) / row[1] - 1.0).abs() < 1e-5, "{row:?}");
    }
    assert_eq!([weight(Nanometres(379.0)), weight(Nanometres(701.0))], [0.0; 2]);
    let limits = rows(include_str!("../../../tests/reference/blue_light_limits.csv"));
    for (row, limit) in limits.iter().zip(LIMITS) {
        assert_eq!((row[1], row[2]), limit);
    }
}

#[test]
fn the_worked_scale_is_reproduced() {
    // Computed elsewhere: a die of 0.2 cd with a Gaussian band 22 nm wide, its peak at 464 to 466 nm, sends 2.4 to 2.8 mW/sr; over
    // 11 mrad at 200 mm, all of it inside the field, that is 640 to 730 W/(m2 sr); over 100 mrad 8 to 9, printed with one digit.
    let over = |blue: f64, mrad: f64| {
        let parts = [Part { at: [0.0; 2], radius: 0.5, blue: [blue; 3] }];
        radiance(&parts, &[[0.0; 2]], mrad).typical
    };
    for (nm, blue, wide, near) in [(464.0, 2.8e-3, 9.0, 730.0), (466.0, 2.4e-3, 8.0, 640.0)] {
        let gaussian = |w: Nanometres| (-4.0 * 2f64.ln() * ((w.0 - nm) / 22.0).powi(2)).exp();
        let found = 0.2 * blue_w_per_lm(&Spectrum::from_fn(gaussian));
        // Half of the last digit printed.
        assert!((found - blue).abs() < 0.05e-3, "{nm}: {found}");
        assert!((over(found, 100.0) - wide).abs() < 0.5, "{nm}: {}", over(found, 100.0));
        assert!((over(found, 11.0) - near).abs() < 5.0, "{nm}: {}", over(found, 11.0));
    }
    // The project's own spectrum of such a die (dominant 465 nm) lies in the same range.
    let mut die = Package::named("5050").expect("in the table").dies[2].clone();
    die.dominant = Nanometres(465.0);
    let own = 0.2 * blue_w_per_lm(&die_spectrum(&die));
    assert!((2.4e-3..2.8e-3).contains(&own), "{own}");
}

#[test]
fn the_lens_between_circles_is_right() {
    // Against counting on a fine grid.
    /// Cells of 1/400 of the radius.
    const ERROR: f64 = 0.01;
    for (r, field, away) in
        [(1.0, 1.0, 0.0), (1.0, 0.4, 0.3), (1.0, 2.0, 1.5), (0.5, 0.6, 0.9), (2.0, 1.0, 1.2)]
    {
        let (mut inside, mut all) = (0.0, 0.0);
        for i in -400..=400 {
            for j in -400..=400 {
                let (x, y) = (r * f64::from(i) / 400.0, r * f64::from(j) / 400.0);
                if x.hypot(y) <= r {
                    all += 1.0;
                    inside += f64::from(u8::from((x - away).hypot(y) <= field));
                }
            }
        }
        let found = share_inside(r, field, away);
        assert!((found - inside / all).abs() < ERROR, "{r} {field} {away}: {found}");
    }
    assert_eq!([share_inside(0.0, 1.0, 0.9), share_inside(0.0, 1.0, 1.1)], [1.0, 0.0]);
}

const BARE: &str =
    "pixels: [strip: {pitch_mm: 16.67, count: 12}]\nstack: []\nlight: {colour: \"#ffffff\", level: 0.5}\n";

#[test]
fn luminance_is_intensity_over_area() {
    let light = BareLight::of(&scene(BARE));
    let package = &light.packages[0];
    // 0.625 + 1.25 + 0.3 cd over a disc of 3.6 mm.
    let area = PI * 1.8e-3_f64.powi(2);
    assert!((package.full_cd_m2.typical / (2.175 / area) - 1.0).abs() < 1e-9);
    assert!((package.scene_cd_m2.typical / package.full_cd_m2.typical - 0.5).abs() < 1e-9);
    assert!((package.full_cd_m2.high / (2.5 / area) - 1.0).abs() < 1e-9);
    let sum: f64 = package.dies.iter().map(|die| die.window_cd_m2.typical).sum();
    assert!((sum / package.full_cd_m2.typical - 1.0).abs() < 1e-9);
    // A patch of 1.1 mm with half the light is brighter than the window's mean.
    assert!(package.dies.iter().all(|die| die.patch_cd_m2.typical > 4.0 * die.window_cd_m2.typical));
    assert!(light.dazzle_words().is_some_and(|words| words.contains("do not look into bare pixels")));
    assert!(light.blue_words().contains("within the exempt limit of 100"));
}

#[test]
fn neighbours_within_the_field_add_up() {
    let at = |pitch: f64, count: u32| {
        let text = format!(
            "pixels: [strip: {{pitch_mm: {pitch}, count: {count}}}]\nstack: []\nlight: {{colour: \"#ffffff\", level: 1}}\n"
        );
        BareLight::of(&scene(&text)).blue_full.radiance.map(|r| r.typical)
    };
    let alone = at(30.0, 3);
    // 20 mm hold two pixels 16.67 mm apart (but for the outer parts of their windows) and three 7 mm apart.
    assert!((1.85..=2.0).contains(&(at(16.67, 3)[0] / alone[0])), "{}", at(16.67, 3)[0] / alone[0]);
    assert!((at(7.0, 5)[0] / alone[0] - 3.0).abs() < 1e-6, "{}", at(7.0, 5)[0] / alone[0]);
    // 2.2 mm and less see one pixel.
    for field in [1, 2] {
        assert!((at(7.0, 5)[field] / alone[field] - 1.0).abs() < 1e-9);
    }
    // Narrower fields see the bright place alone: more radiance, never more than the source's own.
    assert!(alone[0] < alone[1] && alone[1] < alone[2]);
    let package = Package::named("5050").expect("in the table");
    let own: f64 = package
        .dies
        .iter()
        .map(|die| {
            let blue = 1e-3 * die.typical_mcd * blue_w_per_lm(&die_spectrum(die));
            let part = |window, share: f64| blue * share / (PI * (1e-3 * radius_mm(window)).powi(2));
            package.bright_parts(die).iter().map(|(_, window, share)| part(*window, *share)).sum::<f64>()
        })
        .sum();
    assert!(alone[2] <= own);
}

#[test]
fn cloth_and_level_lessen_it_and_nothing_is_no_harm() {
    let bare = BareLight::of(&scene(BARE));
    let cloth =
        BareLight::of(&scene(&BARE.replace("stack: []", "stack: [{gap_mm: 6, cloth: felt-wool-ivory}]")));
    assert_eq!((bare.straight, bare.blue_kept), (1.0, 1.0));
    assert!(cloth.straight < 0.01 && cloth.blue_kept < 0.6);
    assert_eq!(bare.blue_full, cloth.blue_full);
    assert!(cloth.blue_behind_cloth().radiance[0].typical < bare.blue_behind_cloth().radiance[0].typical);
    for (upper, blue) in [(false, bare.blue_full), (true, bare.blue_full)] {
        assert!(blue.group(upper) <= 1);
    }
    let mut empty = scene(BARE);
    empty.pixels.clear();
    let none = BareLight::of(&empty);
    assert_eq!((none.packages.len(), none.blue_full), (0, BlueLight::default()));
    let point = BareLight::of(&scene("pixels: [point: {at_mm: [0, 0]}]\nstack: []\n"));
    assert!(point.dazzle_words().is_none() && point.blue_words().contains("not a certification"));
}
