//! Cloth files: from text to a [`Cloth`] with nothing left open.

use super::label::{self, LabelError, LabelInput, Structure};
use super::measured::{self, MeasuredInput, MeasuredPoint};
use super::shape::{CLOTH, MOST_OPTICAL_THICKNESS};
use super::{Basis, Buying, Cloth, Uncertainty};
use crate::diagnose::{Diagnostic, Problem, Problems};
use crate::light::spectrum::Spectrum;
use crate::quantity::{Millimetres, Nanometres, PerMillimetre};
use crate::reading::{Entry, Kind, check, parse};

/// A sum of two shares may exceed 1 by the rounding of a few doubles.
const ENERGY_ROUNDING: f64 = 1e-9;

/// A single measurement without a wavelength is taken for this one, the middle of the visible range; as the only
/// point of its spectrum it holds at every wavelength.
const MEASURED_WITHOUT_WAVELENGTH: Nanometres = Nanometres(550.0);

/// Reads the text of a cloth file. `shown_as` is the file's name in messages.
///
/// # Errors
/// Every problem of the text, in the order of the file.
pub fn resolve(text: &str, shown_as: &str) -> Result<Cloth, Vec<Diagnostic>> {
    let mut problems = Problems::default();
    let cloth = match parse(text) {
        Ok(root) => {
            check(&root, &Kind::Map(&CLOTH), "the cloth file", &mut problems);
            from_entry(&Entry::new(&CLOTH, &root), &mut problems)
        }
        Err(problem) => {
            problems.push(*problem);
            None
        }
    };
    match cloth {
        Some(cloth) if problems.errors() == 0 => Ok(cloth),
        _ => Err(problems.into_diagnostics(shown_as, text)),
    }
}

/// Makes a cloth of a map that has been checked against [`CLOTH`] already; adds what that check cannot see.
/// Gives `None` only after a problem was reported.
pub fn from_entry(entry: &Entry<'_>, problems: &mut Problems) -> Option<Cloth> {
    let name = entry.text("name");
    let thickness = entry.number("thickness_mm").map(Millimetres);
    let optics = entry.map("optics")?;
    let (way, numbers) = optics.only()?;
    let known = match way {
        "bulk" => bulk(&numbers, Basis::Bulk),
        "calibrated" => bulk(&numbers, Basis::Calibrated),
        "measured" => from_measurement(&numbers, thickness, problems),
        _ => from_label(entry, &numbers, thickness, problems),
    }?;
    let thickness = thickness?;
    let optical_thickness = known.extinction * thickness;
    if optical_thickness > MOST_OPTICAL_THICKNESS {
        problems.push(
            Problem::error(numbers.place_of("extinction_per_mm"), "the cloth is too dense to be computed")
                .found(format!("an optical thickness of {optical_thickness:.0} (extinction times thickness)"))
                .allowed(format!("at most {MOST_OPTICAL_THICKNESS}")),
        );
        return None;
    }
    let stated = entry.map("uncertainty")?;
    let buying = entry.map("buying")?;
    let name = name?.to_owned();
    Some(Cloth {
        title: if entry.has("title") { entry.text("title")?.to_owned() } else { name.clone() },
        name,
        source: entry.text("source")?.trim().to_owned(),
        notes: known.notes,
        basis: known.basis,
        thickness,
        extinction: known.extinction,
        albedo: known.albedo,
        asymmetry: known.asymmetry,
        openness: known.openness,
        areal_mass_g_m2: entry.number("areal_mass_g_m2"),
        uncertainty: Uncertainty {
            optical_thickness: stated
                .number("optical_thickness")
                .unwrap_or(known.uncertainty.optical_thickness),
            openness: stated.number("openness").unwrap_or(known.uncertainty.openness),
        },
        buying: Buying {
            width: buying.number("width_mm").map(Millimetres),
            price_per_m: buying.number("price_per_m"),
        },
    })
}

/// What any of the four ways ends in.
struct Known {
    basis: Basis,
    extinction: PerMillimetre,
    albedo: Spectrum,
    asymmetry: f64,
    openness: f64,
    uncertainty: Uncertainty,
    notes: Vec<String>,
}

fn bulk(numbers: &Entry<'_>, basis: Basis) -> Option<Known> {
    let albedo = if numbers.has("albedo") {
        Spectrum::constant(numbers.number("albedo")?)
    } else {
        let points: Vec<(f64, f64)> = numbers
            .by_wavelength("albedo_by_nm")?
            .into_iter()
            .map(|(nm, node)| match node.value {
                crate::reading::Value::Number(albedo) => Some((nm, albedo)),
                _ => None,
            })
            .collect::<Option<_>>()?;
        Spectrum::from_knots(&points)
    };
    Some(Known {
        basis,
        extinction: PerMillimetre(numbers.number("extinction_per_mm")?),
        albedo,
        asymmetry: numbers.number("asymmetry")?,
        openness: numbers.number("openness")?,
        uncertainty: Uncertainty::default(),
        notes: Vec::new(),
    })
}

fn from_measurement(
    numbers: &Entry<'_>,
    thickness: Option<Millimetres>,
    problems: &mut Problems,
) -> Option<Known> {
    let points = measured_points(numbers, problems)?;
    let input = MeasuredInput {
        thickness: thickness?,
        points,
        direct: if numbers.has("direct") { Some(numbers.number("direct")?) } else { None },
        asymmetry: numbers.number("asymmetry")?,
        diffuse_incidence: numbers.text("under")? == "diffuse",
    };
    match measured::invert(&input) {
        Ok(found) => Some(Known {
            basis: Basis::Measured,
            extinction: found.extinction,
            albedo: found.albedo_spectrum(),
            asymmetry: input.asymmetry,
            openness: found.openness,
            uncertainty: Uncertainty::default(),
            notes: vec![format!("The layer found meets the figures within {:.3}.", found.worst_residual())],
        }),
        Err(error) => {
            problems.push(
                Problem::error(numbers.place(), "no cloth was found that has these measurements")
                    .next(error.to_string()),
            );
            None
        }
    }
}

/// The measurements, wavelengths rising.
fn measured_points(numbers: &Entry<'_>, problems: &mut Problems) -> Option<Vec<MeasuredPoint>> {
    let errors = problems.errors();
    let mut points = Vec::new();
    let mut take = |wavelength: Nanometres, at: &Entry<'_>, problems: &mut Problems| {
        let (Some(transmittance), Some(reflectance)) = (at.number("transmittance"), at.number("reflectance"))
        else {
            return;
        };
        if transmittance + reflectance > 1.0 + ENERGY_ROUNDING {
            problems.push(
                Problem::error(at.place_of("reflectance"), "more light leaves the cloth than falls on it")
                    .found(format!("transmittance {transmittance} and reflectance {reflectance}"))
                    .allowed("together at most 1"),
            );
        }
        points.push(MeasuredPoint { wavelength, transmittance, reflectance });
    };
    if numbers.has("by_nm") {
        for (nm, node) in numbers.by_wavelength("by_nm")? {
            take(Nanometres(nm), &Entry::new(&super::shape::MEASURED_AT, node), problems);
        }
    } else if numbers.has("transmittance") && !numbers.has("reflectance") {
        problems.push(
            Problem::error(numbers.place(), "`measured` needs the key `reflectance`")
                .next("Add `reflectance`: total reflectance before black."),
        );
    } else {
        take(MEASURED_WITHOUT_WAVELENGTH, numbers, problems);
    }
    (problems.errors() == errors && !points.is_empty()).then_some(points)
}

fn from_label(
    entry: &Entry<'_>,
    label: &Entry<'_>,
    thickness: Option<Millimetres>,
    problems: &mut Problems,
) -> Option<Known> {
    if !entry.has("areal_mass_g_m2") {
        problems.push(
            Problem::error(label.place(), "a label estimate needs the mass of the cloth")
                .next("Add `areal_mass_g_m2` beside `thickness_mm`: mass of one square metre in grams."),
        );
        return None;
    }
    let input = LabelInput {
        fibres: label.blend("fibre")?,
        fibre_um: if label.has("fibre_um") { Some(label.number("fibre_um")?) } else { None },
        areal_mass_g_m2: entry.number("areal_mass_g_m2")?,
        thickness: thickness?,
        colour: label.colour("colour")?,
        structure: Structure::named(label.text("structure")?)?,
        cover: if label.has("cover") { Some(label.number("cover")?) } else { None },
    };
    match label::estimate(&input) {
        Ok(found) => Some(Known {
            basis: Basis::Label,
            extinction: found.extinction,
            albedo: found.albedo,
            asymmetry: found.asymmetry,
            openness: found.openness,
            uncertainty: found.uncertainty,
            notes: found.notes,
        }),
        Err(error) => {
            let (place, what) = match error {
                LabelError::DenserThanItsFibres { .. } => {
                    (entry.place_of("thickness_mm"), "the cloth would be denser than its fibres")
                }
                _ => (label.place_of("fibre"), "the label cannot be estimated"),
            };
            problems.push(Problem::error(place, what).next(error.to_string()));
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BULK: &str = "name: test cloth\nthickness_mm: 2.0\noptics: {bulk: {extinction_per_mm: 2.5, albedo: 0.995, asymmetry: 0.5, openness: 0.1}}\n";

    #[test]
    fn bulk_numbers_arrive_as_written() {
        let cloth = resolve(BULK, "f").expect("valid");
        assert_eq!(cloth.name, "test cloth");
        assert_eq!(cloth.title, "test cloth");
        assert_eq!(cloth.basis, Basis::Bulk);
        assert_eq!(cloth.thickness, Millimetres(2.0));
        let optics = cloth.optics_at(Nanometres(600.0));
        assert_eq!((optics.extinction.0, optics.albedo), (2.5, 0.995));
        assert_eq!((optics.asymmetry, optics.openness), (0.5, 0.1));
        assert_eq!(cloth.areal_mass_g_m2, None);
        assert_eq!(cloth.uncertainty, Uncertainty::default());
    }

    #[test]
    fn albedo_by_wavelength_is_straight_between_points() {
        let text = BULK.replace("albedo: 0.995", "albedo_by_nm: {650: 0.9, 450: 0.5, 550: 0.7}");
        let cloth = resolve(&text, "f").expect("valid");
        let near = |nm: f64, value: f64| {
            // The sums of the interpolation are exact to a few units in the last place.
            assert!((cloth.albedo.at(Nanometres(nm)) - value).abs() < 1e-14, "{nm}");
        };
        near(380.0, 0.5);
        near(450.0, 0.5);
        near(500.0, 0.6);
        near(625.0, 0.85);
        near(780.0, 0.9);
    }

    #[test]
    fn faults_that_no_single_key_shows() {
        let what = |text: &str| {
            let all = resolve(text, "f").expect_err("refused");
            all.iter()
                .map(|d| format!("{}:{} {}", d.line.unwrap_or(0), d.column.unwrap_or(0), d.what))
                .collect::<Vec<_>>()
                .join("; ")
        };
        let dense = BULK.replace("extinction_per_mm: 2.5", "extinction_per_mm: 200").replace("2.0", "100");
        assert_eq!(what(&dense), "3:36 the cloth is too dense to be computed");
        let both = BULK.replace("albedo: 0.995", "albedo: 0.995, albedo_by_nm: {500: 1}");
        assert_eq!(what(&both), "3:56 `albedo` and `albedo_by_nm` exclude each other");
        assert_eq!(
            what("name: a\nthickness_mm: 1\noptics: {measured: {transmittance: 0.7, reflectance: 0.6}}"),
            "3:54 more light leaves the cloth than falls on it"
        );
        assert_eq!(
            what("name: a\nthickness_mm: 1\noptics: {measured: {transmittance: 0.7}}"),
            "3:20 `measured` needs the key `reflectance`"
        );
        assert_eq!(
            what(
                "name: a\nthickness_mm: 1\noptics: {label: {fibre: wool, colour: \"#ffffff\", structure: felt}}"
            ),
            "3:17 a label estimate needs the mass of the cloth"
        );
        assert_eq!(
            what(
                "name: a\nthickness_mm: 0.3\nareal_mass_g_m2: 600\n\
                 optics: {label: {fibre: wool, colour: \"#ffffff\", structure: felt}}"
            ),
            "2:15 the cloth would be denser than its fibres"
        );
        let two = BULK.replace("openness: 0.1}", "openness: 0.1}, label: {}");
        assert!(what(&two).contains("takes exactly one key"), "{}", what(&two));
    }
}
