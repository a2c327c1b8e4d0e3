//! The trade's rule of thumb (common practice, no source): a stand-off of about one pitch makes the dots vanish.
//!
//! The model says: true to within half a pitch for closed cloth, false for cloth that light passes straight through. Over one
//! pitch of gap a closed white cloth still ripples by 1 to 5 %, and the eye sees 0.3 to 0.5 % where it sees best. One pitch is
//! enough where the dots are fine to the eye (5 mm from 2 m on) or where room light drowns the glow (daylight shade); 10 to 33 mm
//! at 1 to 5 m in a room or in the dark need 1.1 to 1.45 pitches. Pixels of type 5050, white with a warm tint.

use super::scene;
use pxfm::f_k1;
use std::f64::consts::{PI, SQRT_2};
use weftlight::judge::dots::{Emitter, dots};
use weftlight::judge::eye::contrast_sensitivity;
use weftlight::judge::neighbours::neighbourhood;
use weftlight::judge::numbers::Layout;
use weftlight::light::Window;
use weftlight::light::bare::irradiance_spot;

/// Pitches of common strips and nets, in mm.
const PITCHES_MM: [f64; 4] = [5.0, 10.0, 16.67, 33.0];
/// Viewing distances in m.
const DISTANCES_M: [f64; 3] = [1.0, 2.0, 5.0];
/// No gap beyond this many pitches is tried. (Far beyond, the glow is so faint that the trace of bare light which even fleece lets
/// straight through shows again.)
const MOST_PITCHES: f64 = 2.0;

/// A row or square of pixels and its light.
#[derive(Clone, Copy)]
struct Setting {
    square: bool,
    pitch_mm: f64,
    distance_m: f64,
    level: f64,
    room_lx: f64,
}

/// A strip behind cloth in a dim room at an evening's level of the pixels.
const DIM_ROOM: Setting =
    Setting { square: false, pitch_mm: 16.67, distance_m: 2.0, level: 0.4, room_lx: 20.0 };

/// Smallest gap over pitch at which dots vanish, to a hundredth; `None` where [`MOST_PITCHES`] do not do it.
///
/// The logarithm of dot visibility falls nearly straight with the gap, so it is searched by straight lines.
fn pitches(visibility: impl Fn(f64) -> f64) -> Option<f64> {
    let (mut low, mut high) = (0.1, MOST_PITCHES);
    if visibility(high) >= 1.0 {
        return None;
    }
    let mut at = 1.2;
    for _ in 0..12 {
        let log = visibility(at).ln();
        if log >= 0.0 {
            low = at
        } else {
            high = at
        }
        if log.abs() < 0.02 || high - low < 0.01 {
            break;
        }
        /// Fall of the logarithm over one pitch: that of the first harmonic, a little less than 2 pi.
        const FALL: f64 = 5.0;
        at = (at + log / FALL).clamp(low + 0.1 * (high - low).min(0.1), high - 0.1 * (high - low).min(0.1));
    }
    Some(high.min(at.max(low)))
}

/// The same behind a cloth of the catalogue.
fn behind(cloth: &str, setting: Setting) -> Option<f64> {
    let Setting { square, pitch_mm, distance_m, level, room_lx } = setting;
    let group = if square { "grid: {columns: 10, rows: 10" } else { "strip: {count: 24" };
    let scene = scene(&format!(
        "pixels: [{group}, pitch_mm: {pitch_mm}}}]\nstack: [{{gap_mm: 1, cloth: {cloth}}}]\n\
         light: {{colour: \"#ffd9a0\", level: {level}}}\nview: {{distance_m: {distance_m}, room_lx: {room_lx}}}\n"
    ));
    let layout = Layout::of(&scene);
    pitches(|p| {
        layout.numbers_over_gaps(&scene, &[p * pitch_mm])[0].dot_visibility.expect("neighbouring pixels")
    })
}

/// Luminance of the even glow under the ideal diffuser, in cd/m2.
const GLOW: f64 = 200.0;

/// Smallest gap over pitch under an ideal thin diffuser over a square net of `side` by `side` Lambertian points.
fn under_ideal_diffuser(side: usize, pitch_mm: f64, distance_m: f64) -> f64 {
    let pixels = scene(&format!(
        "pixels: [grid: {{columns: {side}, rows: {side}, pitch_mm: {pitch_mm}}}]\nstack: []\n"
    ))
    .pixels;
    let around = neighbourhood(&pixels);
    let lights: Vec<_> = pixels.iter().map(|p| (p.at.map(|x| x.0), GLOW * pitch_mm * pitch_mm)).collect();
    let found = pitches(|p| {
        let spot = irradiance_spot(1.0, p * pitch_mm);
        let emitter =
            Emitter { spot: Some(spot), window: Window::Point, lights: lights.clone(), straight_cd: 0.0 };
        dots(&around, &[emitter], 0.0, distance_m).expect("a lit net").visibility(distance_m)
    });
    found.expect("dots vanish under an ideal diffuser")
}

/// The same for an endless net: one plus 2 kh K1(kh) (cos + cos), two gratings at right angles, whose thresholds add up
/// quadratically.
fn under_ideal_diffuser_without_rim(side: usize, pitch_mm: f64, distance_m: f64) -> f64 {
    let mm_per_degree = 1e3 * distance_m * PI / 180.0;
    let field_deg = (side as f64 * pitch_mm / mm_per_degree).min(60.0);
    let sensitivity = contrast_sensitivity(mm_per_degree / pitch_mm, GLOW, field_deg);
    let (mut low, mut high) = (0.1, MOST_PITCHES);
    for _ in 0..40 {
        let middle: f64 = 0.5 * (low + high);
        let kh = 2.0 * PI * middle;
        if SQRT_2 * 2.0 * kh * f_k1(kh) * sensitivity > 1.0 { low = middle } else { high = middle }
    }
    low
}

#[test]
fn under_an_ideal_diffuser_the_gap_follows_from_one_harmonic_and_the_rim() {
    /// In pitches: in the middle of a net dots fall off exponentially with the gap, at its rim, where neighbours are missing,
    /// they fall off slowly and go on showing. A net of 12 by 12 is mostly rim; in one of 48 by 48 it counts for a quarter.
    const RIM: f64 = 0.15;
    for (pitch_mm, distance_m) in [(5.0, 2.0), (10.0, 5.0)] {
        let more = [12, 48].map(|side| {
            under_ideal_diffuser(side, pitch_mm, distance_m)
                - under_ideal_diffuser_without_rim(side, pitch_mm, distance_m)
        });
        println!("ideal, {pitch_mm} mm, {distance_m} m: {more:.3?} pitches more than an endless net");
        assert!(
            0.0 < more[1] && more[1] < more[0] && more[0] < RIM,
            "{pitch_mm} mm, {distance_m} m: {more:?}"
        );
    }
}

/// "About one pitch": within this many pitches.
const ABOUT: f64 = 0.15;

#[test]
fn one_pitch_is_enough_for_fine_dots_from_two_metres_on() {
    let fine = |distance_m| {
        behind("felt-wool-ivory", Setting { pitch_mm: 5.0, distance_m, ..DIM_ROOM }).expect("felt is closed")
    };
    let pitches = DISTANCES_M.map(fine);
    println!("felt, 5 mm: {pitches:.2?}");
    assert!(pitches[0] < 1.0 + ABOUT && pitches[1] < 1.0 && pitches[2] < 0.75, "{pitches:?}");
}

#[test]
fn coarser_dots_behind_closed_cloth_need_more_than_one_pitch() {
    /// Between these many pitches all closed cloths of the catalogue lie, strips and nets, 10 to 33 mm, 1 to 5 m.
    const ENOUGH: std::ops::Range<f64> = 1.05..1.5;
    let mut settings = Vec::new();
    for pitch_mm in [10.0, 16.67, 33.0] {
        settings.extend(
            DISTANCES_M.map(|distance_m| ("felt-wool-ivory", Setting { pitch_mm, distance_m, ..DIM_ROOM })),
        );
        settings.push(("felt-wool-ivory", Setting { pitch_mm, square: true, ..DIM_ROOM }));
        settings.push(("canvas", Setting { pitch_mm, ..DIM_ROOM }));
        settings.push(("fleece", Setting { pitch_mm, ..DIM_ROOM }));
    }
    for (cloth, setting) in settings {
        let found = behind(cloth, setting).expect("the cloth is closed");
        let Setting { pitch_mm, distance_m, square, .. } = setting;
        println!(
            "{cloth}, {pitch_mm} mm, {distance_m} m, {}: {found:.2}",
            if square { "net" } else { "strip" }
        );
        assert!(ENOUGH.contains(&found), "{cloth}, {pitch_mm} mm, {distance_m} m: {found} pitches");
    }
}

#[test]
fn light_hardly_matters_until_the_room_drowns_the_glow() {
    for pitch_mm in PITCHES_MM {
        let at = |level, room_lx| {
            behind("felt-wool-ivory", Setting { level, room_lx, pitch_mm, ..DIM_ROOM })
                .expect("felt is closed")
        };
        // The same strip from a hundredth of its light in the dark to all of it in a lit room.
        let [dim, evening, lit] = [at(0.01, 0.0), at(0.4, 20.0), at(1.0, 300.0)];
        let shade = at(1.0, 10_000.0);
        println!(
            "{pitch_mm} mm: {dim:.2} dim, {evening:.2} evening, {lit:.2} lit room, {shade:.2} daylight shade"
        );
        assert!((dim - evening).abs() < ABOUT && (lit - evening).abs() < ABOUT, "{dim} {evening} {lit}");
        assert!(shade < 1.0 + ABOUT, "{pitch_mm} mm in daylight shade: {shade} pitches");
    }
}

#[test]
fn behind_cloth_with_holes_dots_never_vanish() {
    // The bare light shows through holes, however far off the cloth stands.
    for cloth in ["jersey", "muslin", "organza"] {
        for distance_m in DISTANCES_M {
            assert_eq!(
                behind(cloth, Setting { distance_m, ..DIM_ROOM }),
                None,
                "{cloth} from {distance_m} m"
            );
        }
    }
}

/// Dot visibility of a strip behind felt at these gaps in mm.
fn of_a_strip(gaps_mm: &[f64]) -> Vec<f64> {
    let Setting { pitch_mm, distance_m, level, room_lx, .. } = DIM_ROOM;
    let scene = scene(&format!(
        "pixels: [{{strip: {{count: 24, pitch_mm: {pitch_mm}}}}}]\n\
         stack: [{{gap_mm: 10, cloth: felt-wool-ivory}}]\n\
         light: {{level: {level}}}\nview: {{distance_m: {distance_m}, room_lx: {room_lx}}}\n"
    ));
    let numbers = Layout::of(&scene).numbers_over_gaps(&scene, gaps_mm);
    numbers.iter().map(|numbers| numbers.dot_visibility.expect("pixels beside each other")).collect()
}

/// Logarithm of the first harmonic over a line of Lambertian points, `(1 + kh) exp(-kh)` of its mean at the height h (the Fourier
/// transform of `1 / (h^2 + x^2)^2`; Gradshteyn & Ryzhik 3.737, number from memory).
fn harmonic(gap_mm: f64) -> f64 {
    let kh = 2.0 * PI * gap_mm / DIM_ROOM.pitch_mm;
    kh.ln_1p() - kh
}

#[test]
fn dots_of_a_strip_fade_like_their_first_harmonic_down_to_the_threshold() {
    /// Share of the harmonic's fall that must be found: the cloth is no thin sheet and throws light back on the board, and the ends
    /// of the strip hold a little at frequencies just below the dots'.
    const FALL: f64 = 0.8;
    let gaps = [14.0, 17.0, 20.0, 22.0];
    let visibility = of_a_strip(&gaps);
    for (gap, v) in gaps.windows(2).zip(visibility.windows(2)) {
        let (found, full) = ((v[1] / v[0]).ln(), harmonic(gap[1]) - harmonic(gap[0]));
        println!("{gap:?} mm: {v:.3?}, {found:.3} of {full:.3}");
        assert!(found < FALL * full, "{gap:?}: {v:?}, {found} of {full}");
    }
}

#[test]
#[ignore = "known defect: below the eye's threshold the ends of a strip count as dots (README, known limits)"]
fn dots_of_a_strip_go_on_fading_with_the_gap() {
    /// Share of the first harmonic's fall that must be left.
    const LEFT: f64 = 0.7;
    let (near, far) = (26.0, 30.0);
    let visibility = of_a_strip(&[near, far]);
    let fall = (visibility[1] / visibility[0]).ln();
    assert!(fall < LEFT * (harmonic(far) - harmonic(near)), "{fall}");
}
