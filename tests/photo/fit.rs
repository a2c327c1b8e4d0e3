//! From a photograph back to the cloth: what is recovered, over cloths, gaps and noise.

use crate::cloths::{BOARD_REFLECTANCE, CLOTHS, TestCloth, WAVELENGTHS_NM, named};
use crate::spots::{self, ColourSpots};
use crate::synthetic::{Camera, Save};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;
use weftlight::cloth::{Cloth, file};
use weftlight::light::photons::Ring;
use weftlight::light::spots::spots as solved;
use weftlight::light::{Stack, Window};
use weftlight::photo::cloth_file::{Heading, cloth_file};
use weftlight::photo::decode::{ToneChoice, decode};
use weftlight::photo::fit::certainty::Certainty;
use weftlight::photo::fit::second::BARE_SURE;
use weftlight::photo::fit::unknowns::COLOURS;
use weftlight::photo::fit::{Beforehand, Fit, Lit, Shot, Subject, fit};
use weftlight::photo::measure::{Expected, Scale, joined, measure, measure_bare};
use weftlight::quantity::{Millimetres, Nanometres};

/// Half of the 5050's window.
const WINDOW_MM: f64 = 1.8;
/// The bare pixel is photographed at an exposure that leaves its brightest channel here.
const BARE_PEAK: f64 = 0.5;

/// How a series of photographs is taken.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Conditions {
    pub(crate) name: &'static str,
    pub(crate) electrons: f64,
    pub(crate) save: Save,
    /// Peak of the glow over full scale.
    pub(crate) peak: f64,
    pub(crate) bare: bool,
    /// Seed of the noise.
    pub(crate) seed: u64,
}

/// A dim telephone picture: noise, mosaic, JPEG 85, background with a slope, vignetting.
pub(crate) const NOISY: Conditions =
    Conditions { name: "noisy", electrons: 4000.0, save: Save::Jpeg(85), peak: 0.7, bare: true, seed: 7 };
/// A better one.
pub(crate) const CLEAN: Conditions =
    Conditions { name: "clean", electrons: 40_000.0, save: Save::Jpeg(95), peak: 0.7, bare: true, seed: 8 };

fn camera(cloth: &TestCloth, gap_mm: f64, conditions: &Conditions) -> Camera {
    let height = gap_mm + cloth.thickness_mm;
    // The picture shows seven heights across.
    let mm_per_px = 7.0 * height / 640.0;
    Camera {
        full_scale_electrons: conditions.electrons,
        save: conditions.save,
        seed: conditions.seed,
        centre_px: [301.3, 262.8],
        ..Camera::everyday(640, 520, mm_per_px)
    }
}

/// The photographs that the guide asks for at one gap: white; of a dyed cloth each colour alone; and where holes let the bare pixel
/// through, one more at a short exposure that does not clip it.
fn cameras(
    cloth: &TestCloth,
    gap_mm: f64,
    conditions: &Conditions,
    spots: &ColourSpots,
) -> Vec<(Camera, Lit)> {
    /// Spread of the albedo from which on a cloth counts as dyed.
    const DYED: f64 = 0.1;
    /// Radiance of the bare window through the cloth over the glow from which on it is photographed by itself.
    const BARE_SEEN: f64 = 0.3;
    /// Value of the window at the short exposure.
    const WINDOW_PEAK: f64 = 0.8;
    let base = camera(cloth, gap_mm, conditions);
    let low = cloth.albedo.iter().copied().fold(1.0, f64::min);
    let high = cloth.albedo.iter().copied().fold(0.0, f64::max);
    let colours: Vec<Lit> =
        if high - low > DYED { (0..COLOURS).map(Lit::One).collect() } else { vec![Lit::White] };
    let mut all = Vec::new();
    for (i, lit) in colours.into_iter().enumerate() {
        let mut camera = Camera { seed: base.seed + 1000 * i as u64, ..base.clone() };
        if let Lit::One(c) = lit {
            camera.channel_gain = std::array::from_fn(|d| if d == c { base.channel_gain[c] } else { 0.0 });
        }
        let at = &[[0.0; 2]];
        let bare_over_glow = spots.direct_ahead * spots.window_radiance()
            / (0..COLOURS).filter(|c| lit.tells(*c)).map(|c| spots.glow(c, 0.0)).fold(0.0, f64::max);
        if bare_over_glow > BARE_SEEN {
            let short = Camera { seed: camera.seed + 500, ..camera.clone() };
            all.push((short.with_peak(spots, at, WINDOW_PEAK), lit));
        }
        all.push((camera.with_glow_peak(spots, at, conditions.peak), lit));
    }
    all
}

/// Shots at one gap and the camera's answer at an exposure of 1.
fn shots(
    cloth: &TestCloth,
    gap_mm: f64,
    conditions: &Conditions,
    told: Told,
) -> (Vec<Shot>, [Option<(f64, f64)>; 3]) {
    let spots = spots::of(cloth, gap_mm);
    let cameras = cameras(cloth, gap_mm, conditions, &spots);
    let mm_per_px = cameras[0].0.mm_per_px * told.scale;
    let mut answer = [None; 3];
    if conditions.bare {
        let (first, _) = &cameras[0];
        let white = Camera { channel_gain: Camera::everyday(1, 1, 1.0).channel_gain, ..first.clone() };
        let ratio = BARE_PEAK / (white.exposure * spots.window_radiance());
        let bytes = white.photograph_bare(&spots, &[[0.0; 2]], ratio);
        let bare = decode(&bytes, ToneChoice::Auto).expect("decodes");
        let light =
            measure_bare(&bare, mm_per_px, ratio * white.exposure * told.bare, 1.0, WINDOW_MM).expect("bare");
        answer = joined(&[light], BARE_SURE).channels;
    }
    let shot = |(camera, lit): &(Camera, Lit)| {
        let photo = decode(&camera.photograph(&spots, &[[0.0; 2]]), ToneChoice::Auto).expect("decodes");
        let scale = Scale::MmPerPx(mm_per_px);
        let height_mm = gap_mm + told.gap_mm + cloth.thickness_mm;
        let expected = Expected { pixels: Some(1), height_mm, window_mm: WINDOW_MM };
        let measured = measure(&photo, scale, expected).expect("measured");
        Shot {
            gap_mm: gap_mm + told.gap_mm,
            gap_sure_mm: 0.3,
            scale_sure: scale.sure(),
            exposure: camera.exposure,
            exposure_sure: 0.03,
            lit: *lit,
            rings: measured.rings.clone(),
            centres_mm: measured.centres_mm(),
            half_diagonal_mm: measured.half_diagonal_mm,
        }
    };
    (cameras.iter().map(shot).collect(), answer)
}

/// What the maker got wrong: factors on the scale and on the exposure of the bare photograph, error of the gap.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Told {
    pub(crate) scale: f64,
    pub(crate) bare: f64,
    pub(crate) gap_mm: f64,
}

pub(crate) const RIGHTLY: Told = Told { scale: 1.0, bare: 1.0, gap_mm: 0.0 };

/// One cloth, fitted.
pub(crate) struct Recovered {
    pub(crate) fit: Fit,
    pub(crate) certainty: Certainty,
    pub(crate) cloth: Cloth,
}

pub(crate) fn recovered(
    cloth: &TestCloth,
    gaps_mm: &[f64],
    conditions: &Conditions,
    told: Told,
) -> Recovered {
    let mut all = Vec::new();
    let mut answers = [None; 3];
    for gap in gaps_mm {
        let (shots, answer) = shots(cloth, *gap, conditions, told);
        all.extend(shots);
        answers = answer;
    }
    let first = all[0].exposure;
    let subject = Subject {
        thickness_mm: cloth.thickness_mm,
        board_reflectance: BOARD_REFLECTANCE,
        beam_power: 1.0,
        windows: [spots::source().window; COLOURS],
        answer: answers.map(|a| a.map(|(value, sure)| (value * first, sure))),
        beforehand: Beforehand::default(),
    };
    let found = fit(&subject, &all).expect("fitted");
    let certainty = found.certainty();
    let heading = Heading {
        name: "test",
        title: "test",
        photos: "synthetic",
        comment: "",
        thickness_mm: cloth.thickness_mm,
        areal_mass_g_m2: None,
        dies: WAVELENGTHS_NM.map(Nanometres),
        told: [true; 3],
    };
    let text = cloth_file(&heading, &found.cloth, &certainty);
    let read = file::resolve(&text, "test").expect("the file reads back");
    Recovered { fit: found, certainty, cloth: read }
}

/// Errors of a recovery: relative ones of reduced optical thickness and light kept (worst of the colours), of the spot at a gap that was
/// not fitted over its peak (worst radius and colour).
#[derive(Clone, Copy, Debug)]
pub(crate) struct Errors {
    pub(crate) reduced: f64,
    pub(crate) kept: f64,
    pub(crate) predicted: f64,
}

pub(crate) fn errors(cloth: &TestCloth, found: &Recovered) -> Errors {
    let truth = spots::of(cloth, cloth.predicted_gap_mm);
    let (mut reduced, mut kept, mut predicted): (f64, f64, f64) = (0.0, 0.0, 0.0);
    for (c, nm) in WAVELENGTHS_NM.into_iter().enumerate() {
        reduced = reduced.max((found.certainty.reduced[c].value / cloth.reduced_thickness(c) - 1.0).abs());
        let share = truth.colours[c].direct_share.value + truth.colours[c].scattered_share.value;
        kept = kept.max((found.certainty.light_kept[c].value / share - 1.0).abs());
        let layer = found.cloth.layer_at(Millimetres(cloth.predicted_gap_mm), Nanometres(nm));
        let stack = Stack { board_reflectance: BOARD_REFLECTANCE, layers: vec![layer] };
        let spot = &solved(&[stack], 1.0)[0];
        let height = cloth.predicted_gap_mm + cloth.thickness_mm;
        // Ring by ring, as the photons were counted: the very middle of their curve is less certain than any ring.
        let window: Window = spots::source().window;
        let rings: Vec<&Ring> =
            truth.colours[c].rings.iter().filter(|ring| ring.inner_mm < 4.0 * height).collect();
        let edges: Vec<[f64; 2]> = rings.iter().map(|ring| [ring.inner_mm, ring.outer_mm]).collect();
        let values = spot.over_rings(window, &edges);
        let peak = values.iter().copied().fold(0.0, f64::max);
        for (ring, value) in rings.iter().zip(values) {
            predicted = predicted.max((value - ring.radiance.value).abs() / peak);
        }
    }
    Errors { reduced, kept, predicted }
}

fn row(cloth: &TestCloth, gaps: &[f64], conditions: &Conditions) -> (Errors, String) {
    let found = recovered(cloth, gaps, conditions, RIGHTLY);
    let e = errors(cloth, &found);
    let text = format!(
        "{:18} {:>12} {:6} {:5.1} % {:5.1} % {:5.1} %   ±{:4.1} % ±{:4.1} %  {:6.2}",
        cloth.name,
        format!("{gaps:?}"),
        conditions.name,
        100.0 * e.reduced,
        100.0 * e.kept,
        100.0 * e.predicted,
        100.0 * found.certainty.reduced[1].relative(),
        100.0 * found.certainty.light_kept[1].relative(),
        found.fit.reduced_chi_square,
    );
    (e, text)
}

/// What is asked for: a tenth of the reduced optical thickness, 8 % of the light kept, 5 % of the peak at a gap that was not fitted.
const ASKED: Errors = Errors { reduced: 0.10, kept: 0.08, predicted: 0.05 };

impl Errors {
    fn within(&self, limit: &Errors) -> bool {
        self.reduced < limit.reduced && self.kept < limit.kept && self.predicted < limit.predicted
    }
}

#[test]
fn photographs_give_back_the_cloth() {
    for (name, gap, conditions) in [
        ("wool-felt-1", 4.0, NOISY),
        ("fleece", 14.0, NOISY),
        ("jersey", 12.0, NOISY),
        ("muslin", 5.0, CLEAN),
    ] {
        let (errors, text) = row(named(name), &[gap], &conditions);
        assert!(errors.within(&ASKED), "{text}");
    }
}

/// Where the model itself (clear, loose wadding: see the README's limits) or the picture (organza is mostly holes, and nearly all of its
/// light comes straight) does not tell more, and a red felt of which green and blue hardly come through.
const NOT_ASKED: [(&str, &str); 3] = [
    ("wadding", "the middle of its spot is up to 12 % too dark in the model"),
    ("organza", "its scattering hardly shows: light kept and prediction at the far gap hold"),
    ("red-felt", "reduced thickness and light kept hold, the spot at another gap is up to 7 % off"),
];

#[test]
#[ignore = "a table of all cloths, gaps and noises: minutes; a part of it runs in photographs_give_back_the_cloth"]
#[allow(clippy::print_stdout)] // A table is there to be read.
fn table() {
    println!("cloth                gaps (mm)    noise  tau'    kept    predicted  90 % of tau', kept  chi2");
    let mut outside = Vec::new();
    for conditions in [CLEAN, NOISY] {
        for cloth in &CLOTHS {
            let [near, far] = cloth.fit_gaps_mm;
            for gaps in [vec![near], vec![far], vec![near, far]] {
                let (errors, text) = row(cloth, &gaps, &conditions);
                println!("{text}");
                if !errors.within(&ASKED) && !NOT_ASKED.iter().any(|(name, _)| *name == cloth.name) {
                    outside.push(text);
                }
            }
        }
    }
    assert!(outside.is_empty(), "{outside:#?}");
}

/// A standard normal number (Box and Muller).
fn normal(stream: &mut Pcg64Mcg) -> f64 {
    let (u, v): (f64, f64) = (stream.random(), stream.random());
    (-2.0 * (1.0 - u).ln()).sqrt() * (2.0 * std::f64::consts::PI * v).cos()
}

/// Makers who measure gap, scale and exposures as well as they state, over all cloths in turn.
fn covered(photographs: usize) -> (usize, usize) {
    let mut stream = Pcg64Mcg::seed_from_u64(20);
    let makers: Vec<Told> = (0..photographs)
        .map(|_| Told {
            scale: (0.01 * normal(&mut stream)).exp(),
            bare: (BARE_SURE * normal(&mut stream)).exp(),
            gap_mm: 0.3 * normal(&mut stream),
        })
        .collect();
    let held: Vec<(bool, bool)> = makers
        .into_par_iter()
        .enumerate()
        .map(|(i, told)| {
            let cloth = &CLOTHS[i % CLOTHS.len()];
            let gap = cloth.fit_gaps_mm[(i / CLOTHS.len()) % 2];
            let conditions = Conditions { seed: 100 + i as u64, ..NOISY };
            let found = recovered(cloth, &[gap], &conditions, told);
            let green = &spots::of(cloth, gap).colours[1];
            let kept = green.direct_share.value + green.scattered_share.value;
            let certainty = &found.certainty;
            (certainty.reduced[1].holds(cloth.reduced_thickness(1)), certainty.light_kept[1].holds(kept))
        })
        .collect();
    (held.iter().filter(|h| h.0).count(), held.iter().filter(|h| h.1).count())
}

#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    /// 90 of 100 are promised; 80 to 98 are asked for, two and a half standard deviations of the count on either side.
    const ASKED_OF_100: std::ops::RangeInclusive<usize> = 80..=98;
    let (reduced, kept) = covered(100);
    assert!(ASKED_OF_100.contains(&reduced), "reduced optical thickness: {reduced} of 100");
    assert!(ASKED_OF_100.contains(&kept), "light kept: {kept} of 100");
}

#[test]
fn the_bare_pixel_gives_the_cameras_answer() {
    /// JPEG and noise; without them, 16 bits and the edges of the window.
    const EVERYDAY: f64 = 0.015;
    const CLEAN: f64 = 1e-3;
    let spots = spots::of(&CLOTHS[0], 5.0);
    let everyday = Camera { centre_px: [301.3, 262.8], ..Camera::everyday(640, 520, 0.09) };
    for (camera, tone, limit) in [
        (Camera::clean(640, 520, 0.09), ToneChoice::Linear, CLEAN),
        (everyday.clone(), ToneChoice::Auto, EVERYDAY),
        (Camera { save: Save::Png, ..everyday }, ToneChoice::Auto, EVERYDAY),
    ] {
        let camera = camera.with_glow_peak(&spots, &[[0.0; 2]], 0.7);
        let ratio = BARE_PEAK / (camera.exposure * spots.window_radiance());
        let bytes = camera.photograph_bare(&spots, &[[0.0; 2]], ratio);
        let bare = decode(&bytes, tone).expect("decodes");
        let light = measure_bare(&bare, 0.09, ratio * camera.exposure, 1.0, WINDOW_MM).expect("bare");
        for (answer, gain) in light.answer.iter().zip(camera.channel_gain) {
            assert!((answer.0 / gain - 1.0).abs() < limit, "{light:?} of {:?}", camera.channel_gain);
        }
    }
}

#[test]
fn the_model_is_the_photons_picture() {
    /// Of the peak: forward scattering (README's limits) and the photons' own errors of half a per cent.
    const MODEL: f64 = 0.03;
    /// Clear, loose wadding: a known defect, see `ranges_of_the_spot_behind_thin_cloth_hold_what_photons_find`.
    const EXCEPT: &str = "wadding";
    for cloth in CLOTHS.iter().filter(|cloth| cloth.name != EXCEPT) {
        let gap = cloth.predicted_gap_mm;
        let truth = spots::of(cloth, gap);
        for c in 0..COLOURS {
            let rings = &truth.colours[c].rings;
            let edges: Vec<[f64; 2]> = rings.iter().map(|ring| [ring.inner_mm, ring.outer_mm]).collect();
            let values = solved(&[cloth.stack(gap, c)], 1.0)[0].over_rings(spots::source().window, &edges);
            let peak = values.iter().copied().fold(0.0, f64::max);
            for (ring, value) in rings.iter().zip(values) {
                let error = (value - ring.radiance.value).abs() / peak;
                assert!(error < MODEL, "{} {c} at {} mm: {error}", cloth.name, ring.inner_mm);
            }
        }
    }
}
