//! What photographs told, as JSON.

use super::super::super::output;
use crate::cloth::Cloth;
use crate::judge::numbers::Range;
use crate::photo::calibration::Calibrated;
use crate::photo::calibration::shots::Ready;
use crate::photo::fit::ShotFit;
use crate::photo::fit::certainty::Interval;
use crate::photo::fit::second::Further;
use crate::photo::fit::unknowns::{COLOUR_NAMES, COLOURS};
use serde_json::{Value, json};
use std::path::Path;

fn interval_json(&Interval { value, low, high }: &Interval) -> Value {
    Range { value, low, high }.data("1")
}

fn shots_json(ready: &Ready, shots: &[ShotFit]) -> Value {
    ready
        .read
        .iter()
        .zip(shots)
        .map(|(read, shot)| {
            let profiles: Vec<Value> = shot
                .profiles
                .iter()
                .enumerate()
                .filter_map(|(c, profile)| {
                    let profile = profile.as_ref()?;
                    let (rms, worst) = profile.misfit();
                    Some(json!({
                        "colour": COLOUR_NAMES[c], "rms_over_peak": rms, "worst_over_peak": worst, "peak": profile.peak,
                        "background": profile.background, "radius_mm": profile.radii_mm, "seen_over_peak": profile.seen,
                        "standard_error_over_peak": profile.errors, "model_over_peak": profile.model,
                    }))
                })
                .collect();
            json!({
                "photo": read.shown_as, "stand_off_mm": read.gap_mm, "mm_per_px": read.measured.mm_per_px,
                "centres_px": read.measured.centres_px, "fitted_stand_off_mm": shot.gap_mm, "fitted_scale": shot.scale,
                "fitted_exposure": shot.exposure, "profiles": profiles,
            })
        })
        .collect()
}

fn remarks_json(ready: &Ready) -> Value {
    ready.remarks.iter().map(|r| json!({ "about": r.file, "what": r.what, "next": r.next })).collect()
}

/// The fit as JSON.
pub(super) fn calibrated(found: &Calibrated, explained: &[String], written: &[&Path]) -> Value {
    let Calibrated { ready, fit, certainty, further, text, .. } = found;
    let by_colour = |intervals: &[Interval; COLOURS]| -> Value {
        let each = intervals.iter().enumerate().map(|(c, i)| (COLOUR_NAMES[c].to_owned(), interval_json(i)));
        Value::Object(each.collect())
    };
    let light_known = ready.subject.answer.iter().any(Option::is_some);
    json!({
        "files": output::files(written),
        "interval": "90 of 100",
        "reduced_optical_thickness": by_colour(&certainty.reduced),
        "light_kept": light_known.then(|| by_colour(&certainty.light_kept)),
        "openness": interval_json(&certainty.openness),
        "optical_thickness": fit.cloth.optical_thickness,
        "albedo": (0..COLOURS).map(|c| fit.cloth.albedo(c)).collect::<Vec<_>>(),
        "asymmetry": fit.cloth.asymmetry,
        "ln_scattering_standard_uncertainty": certainty.ln_scattering,
        "ln_absorption_standard_uncertainty": certainty.ln_absorption,
        "correlation_of_scattering_and_absorption": certainty.correlation,
        "reduced_chi_square": fit.reduced_chi_square,
        "further_photos": further.iter().map(|p| json!({
            "stand_off_mm": match p.further { Further::Gap(gap) => Some(gap), Further::Bare => None },
            "bare": p.further == Further::Bare,
            "ln_scattering_standard_uncertainty": p.ln_scattering,
            "ln_light_kept_standard_uncertainty": p.ln_light_kept,
        })).collect::<Vec<_>>(),
        "photos": shots_json(ready, &fit.shots),
        "remarks": remarks_json(ready),
        "explained": explained,
        "cloth_file": text,
    })
}

/// The comparison as JSON.
pub(super) fn compared(
    cloth: &Cloth,
    ready: &Ready,
    shots: &[ShotFit],
    lines: &[String],
    report: Option<&Path>,
) -> Value {
    json!({
        "files": output::files(report),
        "cloth": cloth.name,
        "brightness_predicted": ready.bare.is_some(),
        "photos": shots_json(ready, shots),
        "remarks": remarks_json(ready),
        "explained": lines,
    })
}
