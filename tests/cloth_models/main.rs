//! The ways to know a cloth: from its label and from a measurement.

mod kubelka_munk;
mod published;
mod rays;

use weftlight::cloth::label::{Estimate, LabelError, LabelInput, Structure, estimate, reflectance};
use weftlight::cloth::measured::{Inverted, MeasuredError, MeasuredInput, MeasuredPoint, invert};
use weftlight::light::Optics;
use weftlight::light::sheet::{Quadrature, Sheet};
use weftlight::quantity::{Millimetres, Nanometres, PerMillimetre};

fn near(what: &str, found: f64, wanted: f64, tolerance: f64) {
    assert!(
        (found - wanted).abs() <= tolerance,
        "{what}: found {found:.8}, wanted {wanted}, allowed {tolerance:e}"
    );
}

fn ivory_felt() -> LabelInput {
    LabelInput {
        fibres: vec![("wool".into(), 1.0)],
        fibre_um: Some(20.0),
        areal_mass_g_m2: 600.0,
        thickness: Millimetres(3.0),
        colour: [0xf2, 0xea, 0xd8],
        structure: Structure::Felt,
        cover: None,
    }
}

fn estimated(label: &LabelInput) -> Estimate {
    estimate(label).expect("a sound label")
}

fn tau(label: &LabelInput, estimate: &Estimate) -> f64 {
    estimate.extinction * label.thickness
}

/// Closed forms: tau = w / (rho d) in all directions, 4 w / (pi rho d) lying flat, by hand.
#[test]
fn optical_thickness_follows_from_mass_and_fibre() {
    const ROUNDING: f64 = 1e-9;
    let felt = ivory_felt();
    near("felt", tau(&felt, &estimated(&felt)), 600.0 / 1.31 / 20.0, ROUNDING);

    let loft = LabelInput { thickness: Millimetres(30.0), ..felt.clone() };
    near("loft changes nothing", tau(&loft, &estimated(&loft)), 600.0 / 1.31 / 20.0, ROUNDING);

    let poplin = LabelInput { structure: Structure::Woven, cover: Some(0.8), ..felt };
    let flat = 4.0 * 600.0 / 1.31 / (std::f64::consts::PI * 20.0);
    let found = estimated(&poplin);
    near("woven, mass on the covered share", tau(&poplin, &found), flat / 0.8, ROUNDING);
    near("openness", found.openness, 0.2, ROUNDING);
    assert!(found.asymmetry < estimated(&ivory_felt()).asymmetry, "flat fibres scatter less forwards");
    assert!(found.uncertainty.optical_thickness > estimated(&ivory_felt()).uncertainty.optical_thickness);
    assert!(found.notes.iter().any(|note| note.contains("bundled")));
}

#[test]
fn a_blend_lies_between_its_parts() {
    let of = |wool: f64, polyester: f64| {
        let fibres = [("wool", wool), ("polyester", polyester)].into_iter().filter(|(_, share)| *share > 0.0);
        let label = LabelInput {
            fibres: fibres.map(|(name, share)| (name.into(), share)).collect(),
            fibre_um: None,
            ..ivory_felt()
        };
        let found = estimated(&label);
        (tau(&label, &found), found.asymmetry)
    };
    let (wool, blend, polyester) = (of(1.0, 0.0), of(70.0, 30.0), of(0.0, 1.0));
    // Optical thicknesses of the parts add by mass.
    near("tau", blend.0, 0.7 * wool.0 + 0.3 * polyester.0, 1e-9);
    assert!(blend.1 < wool.1 && blend.1 > polyester.1);
}

/// The way back: fold the estimated cloth, look at it under D65, and find the colour of the label.
#[test]
fn a_folded_cloth_shows_the_colour_of_its_label() {
    /// The published basis meets the primaries to 3e-4 of linear light; half a step of 8-bit sRGB is 2e-3 to 4e-3.
    const LINEAR: f64 = 5e-4;
    /// Optical thickness of the folded cloth, so thick that nothing gets through.
    const FOLDED: f64 = 2e4;
    let quadrature = Quadrature::new(16, &[]);
    for colour in [[0xf2, 0xea, 0xd8], [0xb0, 0x20, 0x28], [0x20, 0x40, 0x90], [0x14, 0x14, 0x14]] {
        let label = LabelInput { colour, ..ivory_felt() };
        let found = estimated(&label);
        let mut seen = [0.0; 3];
        for (i, weights) in observer().enumerate() {
            let optics = Optics {
                extinction: found.extinction,
                albedo: found.albedo.0[i],
                asymmetry: found.asymmetry,
                openness: 0.0,
            };
            let reflected = Sheet::of_layer(&optics, FOLDED, &quadrature).reflected_diffuse();
            seen.iter_mut().zip(weights).for_each(|(sum, weight)| *sum += weight * reflected);
        }
        for (found, stated) in linear_srgb(seen).into_iter().zip(colour) {
            near(&format!("{colour:?}"), found, linear(stated), LINEAR);
        }
    }
}

/// Reflectances of Mallett & Yuksel (2019) under D65 are the colours they were made of, over the whole cube of sRGB.
#[test]
fn reflectances_give_back_their_colours() {
    /// The published basis meets the primaries to 3e-4 of linear light.
    const LINEAR: f64 = 4e-4;
    /// The basis is printed to nine decimals, and its three spectra sum to 1.
    const ROUNDING: f64 = 2e-5;
    let steps = [0, 51, 102, 153, 204, 255u8];
    for red in steps {
        for (green, blue) in steps.iter().flat_map(|&g| steps.map(|b| (g, b))) {
            let colour = [red, green, blue];
            let spectrum = reflectance::from_srgb(colour);
            assert!(spectrum.0.iter().all(|r| (-ROUNDING..=1.0 + ROUNDING).contains(r)), "{colour:?}");
            let mut seen = [0.0; 3];
            for (weights, reflected) in observer().zip(&spectrum.0) {
                seen.iter_mut().zip(weights).for_each(|(sum, weight)| *sum += weight * reflected);
            }
            for (found, stated) in linear_srgb(seen).into_iter().zip(colour) {
                near(&format!("{colour:?}"), found, linear(stated), LINEAR);
            }
        }
    }
}

/// IEC 61966-2-1.
fn linear(stated: u8) -> f64 {
    let stated = f64::from(stated) / 255.0;
    if stated <= 0.04045 { stated / 12.92 } else { ((stated + 0.055) / 1.055).powf(2.4) }
}

/// CIE 1931 observer times D65 (source in the file), 380 to 780 nm.
fn observer() -> impl Iterator<Item = [f64; 3]> {
    include_str!("../reference/d65_observer_1931.csv").lines().filter(|line| !line.starts_with('#')).map(
        |line| {
            let fields: Vec<f64> = line.split(',').map(|field| field.parse().expect("a number")).collect();
            [fields[1], fields[2], fields[3]]
        },
    )
}

/// IEC 61966-2-1, from XYZ.
fn linear_srgb([x, y, z]: [f64; 3]) -> [f64; 3] {
    [
        3.240_625_5 * x - 1.537_208 * y - 0.498_628_6 * z,
        -0.968_930_7 * x + 1.875_756_1 * y + 0.041_517_5 * z,
        0.055_710_1 * x - 0.204_021_1 * y + 1.056_995_9 * z,
    ]
}

#[test]
fn white_cloth_still_absorbs_a_little() {
    /// Interpolation of the folded cloth's reflectance and rounding.
    const INTERPOLATION: f64 = 1e-6;
    let found = estimated(&LabelInput { colour: [255; 3], ..ivory_felt() });
    let folded = reflectance::Folded::new(found.asymmetry);
    for albedo in found.albedo.0 {
        assert!(albedo < 1.0);
        near("white", folded.reflectance(albedo), reflectance::GREATEST_REFLECTANCE, INTERPOLATION);
    }
}

#[test]
fn labels_that_cannot_be_are_refused() {
    let refused = |label: LabelInput| estimate(&label).expect_err("an impossible label");
    let with = |name: &str, share: f64| LabelInput { fibres: vec![(name.into(), share)], ..ivory_felt() };
    assert_eq!(refused(LabelInput { fibres: vec![], ..ivory_felt() }), LabelError::NoFibre);
    let unknown = refused(with("moonbeam", 1.0)).to_string();
    assert!(unknown.contains("moonbeam") && unknown.contains("wool"), "{unknown}");
    let misspelt = refused(with("polyesther", 1.0)).to_string();
    assert!(misspelt.contains("Did you mean polyester?"), "{misspelt}");
    for label in [
        with("wool", 0.0),
        with("wool", f64::NAN),
        LabelInput { areal_mass_g_m2: 0.0, ..ivory_felt() },
        LabelInput { thickness: Millimetres(-1.0), ..ivory_felt() },
        LabelInput { fibre_um: Some(0.0), ..ivory_felt() },
        LabelInput { cover: Some(1.2), ..ivory_felt() },
        LabelInput { cover: Some(0.0), ..ivory_felt() },
    ] {
        assert!(matches!(refused(label), LabelError::OutOfRange { .. }));
    }
}

/// A solid film of wool of 600 g/m2 is 600 / 1.31 = 458 um thick; nothing thinner holds that mass.
#[test]
fn no_cloth_is_denser_than_its_fibres() {
    let of = |mm: f64, cover: Option<f64>| {
        estimate(&LabelInput { thickness: Millimetres(mm), cover, ..ivory_felt() })
    };
    assert!(of(0.459, None).is_ok());
    let Err(LabelError::DenserThanItsFibres { solid_mm, .. }) = of(0.457, None) else {
        panic!("600 g/m2 of wool in 0.457 mm");
    };
    near("solid film", solid_mm, 0.600 / 1.31, 1e-12);
    assert!(of(0.6, Some(0.5)).is_err(), "the mass sits on the covered half");
}

fn point(wavelength: f64, transmittance: f64, reflectance: f64) -> MeasuredPoint {
    MeasuredPoint { wavelength: Nanometres(wavelength), transmittance, reflectance }
}

fn measurement(points: Vec<MeasuredPoint>, asymmetry: f64) -> MeasuredInput {
    MeasuredInput { thickness: Millimetres(2.0), points, direct: None, asymmetry, diffuse_incidence: false }
}

fn inverted(input: &MeasuredInput) -> Inverted {
    invert(input).expect("a possible measurement")
}

/// Published slabs read backwards: van de Hulst 1980 table 35 (also Wang, Jacques & Zheng 1995), DISORT tests 3a and
/// 3b after van de Hulst table 37 (all seen in quotations, five decimals).
#[test]
fn published_slabs_give_back_their_layers() {
    /// Half a unit in the fifth decimal, times the steepest slope of tau (relative) and albedo over T and R.
    const TAU: f64 = 5e-4;
    const ALBEDO: f64 = 5e-5;
    /// One point is met exactly, but for the 5e-8 that a layer without absorption loses in the doubling's start.
    const EXACT: f64 = 1e-7;
    for (r, t, asymmetry, albedo, tau) in [
        (0.09739, 0.66096, 0.75, 0.9, 2.0),
        (0.07874, 0.92126, 0.75, 1.0, 1.0),
        (0.50642, 0.49358, 0.75, 1.0, 8.0),
    ] {
        let found = inverted(&measurement(vec![point(550.0, t, r)], asymmetry));
        near("tau", found.extinction.0 * 2.0, tau, TAU * tau);
        near("albedo", found.albedo[0].1, albedo, ALBEDO);
        assert!(found.worst_residual() < EXACT, "one point is met exactly: {}", found.worst_residual());
    }
}

/// Totals of a layer with known numbers, from a finer set of directions than the inversion uses.
fn measured_from(optics: Optics, tau: f64, diffuse: bool) -> (f64, f64) {
    let quadrature = Quadrature::new(32, &[1.0]);
    let sheet = Sheet::of_layer(&optics, tau, &quadrature);
    if diffuse {
        (sheet.transmitted_diffuse(), sheet.reflected_diffuse())
    } else {
        (sheet.transmitted(quadrature.extra(0)), sheet.reflected(quadrature.extra(0)))
    }
}

#[test]
fn several_wavelengths_share_one_extinction() {
    /// The difference between 16 and 32 directions, magnified by the inversion.
    const RELATIVE: f64 = 2e-3;
    const ALBEDO: f64 = 1e-3;
    let albedos = [(450.0, 0.7), (550.0, 0.97), (620.0, 0.999)];
    for (tau, asymmetry, openness, diffuse) in
        [(0.5, 0.7, 0.3, false), (4.0, 0.7, 0.0, false), (6.0, 0.0, 0.1, true), (25.0, 0.76, 0.0, true)]
    {
        let optics = |albedo| Optics { extinction: PerMillimetre(tau / 2.0), albedo, asymmetry, openness };
        let points = albedos.iter().map(|&(nm, albedo)| {
            let (t, r) = measured_from(optics(albedo), tau, diffuse);
            point(nm, t, r)
        });
        let input = MeasuredInput {
            direct: Some(openness + (1.0 - openness) * f64::exp(-tau)),
            diffuse_incidence: diffuse,
            ..measurement(points.rev().collect(), asymmetry)
        };
        let found = inverted(&input);
        near(&format!("tau {tau}"), found.extinction.0 * 2.0, tau, RELATIVE * tau);
        near("openness", found.openness, openness, ALBEDO);
        for ((nm, albedo), (wavelength, found)) in albedos.iter().zip(&found.albedo) {
            assert_eq!(wavelength.0, *nm, "wavelengths rise");
            near(&format!("albedo at {nm} nm"), *found, *albedo, ALBEDO);
        }
        near("between the points", found.albedo_spectrum().at(Nanometres(500.0)), 0.835, ALBEDO);
        near("beyond the points", found.albedo_spectrum().at(Nanometres(700.0)), 0.999, ALBEDO);
    }
}

#[test]
fn figures_that_do_not_fit_one_extinction_leave_residuals() {
    let (t, r) = measured_from(
        Optics { extinction: PerMillimetre(1.0), albedo: 0.95, asymmetry: 0.7, openness: 0.0 },
        4.0,
        false,
    );
    let found = inverted(&measurement(vec![point(500.0, t, r), point(600.0, t - 0.1, r + 0.08)], 0.7));
    assert!(found.worst_residual() > 0.01, "{}", found.worst_residual());
    // A least-squares residual cannot exceed the change that was made to the figures.
    assert!(found.worst_residual() < 0.1);
}

#[test]
fn impossible_measurements_are_refused() {
    let refused = |input: MeasuredInput| invert(&input).expect_err("an impossible measurement");
    assert_eq!(refused(measurement(vec![], 0.7)), MeasuredError::NoPoint);
    let too_much = refused(measurement(vec![point(550.0, 0.7, 0.4)], 0.7));
    assert!(
        matches!(too_much, MeasuredError::TooMuchLight { .. }) && too_much.to_string().contains("550 nm")
    );
    let twice = vec![point(550.0, 0.3, 0.4), point(550.0, 0.2, 0.4)];
    assert!(matches!(refused(measurement(twice, 0.7)), MeasuredError::Twice { .. }));
    let beam = MeasuredInput { direct: Some(0.5), ..measurement(vec![point(550.0, 0.3, 0.4)], 0.7) };
    assert!(matches!(refused(beam), MeasuredError::DirectExceedsTotal { .. }));
    for (t, r, g) in [
        (0.0, 0.5, 0.7),
        (-0.1, 0.5, 0.7),
        (30.0, 0.5, 0.7),
        (0.3, -0.1, 0.7),
        (0.3, f64::NAN, 0.7),
        (0.3, 0.3, 1.0),
    ] {
        assert!(matches!(
            refused(measurement(vec![point(550.0, t, r)], g)),
            MeasuredError::OutOfRange { .. }
        ));
    }
}
