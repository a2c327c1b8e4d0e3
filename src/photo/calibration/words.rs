//! What photographs told, sentence by sentence.

use super::Calibrated;
use super::asking::Asking;
use super::shots::Ready;
use crate::cloth::Cloth;
use crate::photo::cloth_file::LEAST_OPEN;
use crate::photo::fit::certainty::{Certainty, Interval};
use crate::photo::fit::second::{Further, Promise};
use crate::photo::fit::unknowns::{COLOUR_NAMES, COLOURS};
use crate::photo::fit::{Fit, Profile, ShotFit};
use crate::words::{folded, percent, three_digits};

/// Scattering known less well than this (standard uncertainty of its logarithm) is called not separable.
const NOT_SEPARABLE: f64 = 0.15;
/// A further photograph is worth telling of if it lowers the uncertainty to this share.
const WORTH: f64 = 0.8;
/// Misfit over what was expected of it at which the model is said not to describe the photograph.
const MISFIT: f64 = 3.0;

/// Sentences in lines that fit a window.
#[must_use]
pub fn in_lines(sentences: &[String]) -> String {
    /// Stands for the space between a number and its unit, where a line must not end.
    const TIED: &str = "\u{1}%";
    let lines = sentences.iter().flat_map(|sentence| folded(&sentence.replace(" %", TIED)));
    lines.map(|line| line.replace(TIED, " %")).collect::<Vec<_>>().join("\n")
}

fn interval(found: &Interval) -> String {
    format!("{} ({} to {})", three_digits(found.value), three_digits(found.low), three_digits(found.high))
}

fn share(found: &Interval) -> String {
    format!("{} ({} to {})", percent(found.value), percent(found.low), percent(found.high))
}

/// The photographs in words, for the file's source.
pub(super) fn photos(ready: &Ready) -> String {
    let each = ready.read.iter().map(|read| format!("{} at {} mm stand-off", read.name, read.gap_mm));
    let bare = if ready.bare.is_some() { ", and of the bare pixel" } else { "" };
    format!("{}{bare}", each.collect::<Vec<_>>().join(", "))
}

/// What the fit found, sentence by sentence.
pub(super) fn calibrated(found: &Calibrated, asking: &Asking) -> Vec<String> {
    let Calibrated { ready, fit, certainty, further, told, .. } = found;
    let colours: Vec<usize> = (0..COLOURS).filter(|c| told[*c]).collect();
    let main = if told[1] { 1 } else { colours.first().copied().unwrap_or(1) };
    let mut lines = vec!["From photographs; the ranges hold the true value 90 times of 100 if camera and ruler are as good as stated.".to_owned()];
    lines.push(format!(
        "Reduced optical thickness in {}: {}. It says how well the cloth mixes light: below 1 it hardly does, from 5 on it hides all.",
        COLOUR_NAMES[main],
        interval(&certainty.reduced[main])
    ));
    let known = |c: usize| ready.subject.answer[c].is_some();
    if colours.iter().any(|c| known(*c)) {
        let each: Vec<String> = colours
            .iter()
            .filter(|c| known(**c))
            .map(|c| format!("{} {}", COLOUR_NAMES[*c], share(&certainty.light_kept[*c])))
            .collect();
        lines.push(format!(
            "Light kept (of a pixel's light, leaves the front of cloth over a board that sends back {}): {}.",
            percent(ready.subject.board_reflectance),
            each.join(", ")
        ));
    } else {
        lines.push(
            "Light kept: not known, for no photo shows the bare pixel. What the file says about brightness is a guess from the spot's shape."
                .to_owned(),
        );
    }
    lines.push(holes(&certainty.openness));
    for (read, shot) in ready.read.iter().zip(&fit.shots) {
        lines.push(misfit_line(&read.name, shot));
        lines.extend(moved(read.gap_mm, ready, shot));
    }
    if fit.reduced_chi_square > MISFIT * MISFIT {
        lines.push(format!(
            "The model does not describe the photographs well: they differ by {:.1} times what noise and model explain. A second lamp, a cloth \
             that is not even, a changed tone curve or a wrong stand-off may be why. The ranges are widened accordingly.",
            fit.reduced_chi_square.sqrt()
        ));
    }
    if !fit.settled {
        lines.push(
            "The search for the best numbers was ended before it came to rest; take them as rough."
                .to_owned(),
        );
    }
    lines.extend(separable(ready, fit, certainty, further, asking));
    lines
}

fn holes(openness: &Interval) -> String {
    if openness.value < LEAST_OPEN {
        let most = 100.0 * openness.high.max(LEAST_OPEN);
        let most = if most < 10.0 { format!("{most:.2}") } else { format!("{most:.0}") };
        return format!("Holes: none found; up to {most} % of the area cannot be ruled out.");
    }
    format!("Holes: {} of the area.", share(openness))
}

/// How far photograph and model differ.
fn misfit_line(name: &str, shot: &ShotFit) -> String {
    let misfits: Vec<(f64, f64)> = shot.profiles.iter().flatten().map(Profile::misfit).collect();
    let rms = misfits.iter().map(|m| m.0).fold(0.0, f64::max);
    let worst = misfits.iter().map(|m| m.1).fold(0.0, f64::max);
    format!(
        "{name}: photograph and model differ by {:.1} % of the peak (root mean square), {:.1} % at worst.",
        100.0 * rms,
        100.0 * worst
    )
}

/// Stand-off and scale that the spot itself wants, where they are far from those stated.
fn moved(stated_mm: f64, ready: &Ready, shot: &ShotFit) -> Option<String> {
    /// Standard uncertainties away from the stated value.
    const FAR: f64 = 2.0;
    let first = ready.shots.first()?;
    let gap = (shot.gap_mm - stated_mm) / first.gap_sure_mm;
    let scale = shot.scale.ln() / first.scale_sure;
    if gap.abs() > FAR {
        return Some(format!(
            "The spot looks like one at {:.1} mm stand-off instead of {stated_mm} mm. Measure it again: from the board to the inner face of the cloth.",
            shot.gap_mm
        ));
    }
    (scale.abs() > FAR).then(|| {
        format!("The spot looks {:.1} % larger than the scale says. Measure the scale again, on the cloth itself.", 100.0 * (shot.scale - 1.0))
    })
}

/// What cannot be told apart, and which photograph would help.
fn separable(
    ready: &Ready,
    fit: &Fit,
    certainty: &Certainty,
    further: &[Promise],
    asking: &Asking,
) -> Vec<String> {
    let mut lines = Vec::new();
    if certainty.ln_scattering > NOT_SEPARABLE {
        let (power, sure) = certainty.best_known;
        if sure < 0.6 * certainty.ln_scattering && power > 0.0 {
            lines.push(format!(
                "Scattering and absorption cannot be told apart well: more of one with less of the other makes nearly the same picture. Known to \
                 ±{:.0} % is only scattering times absorption to the power {power:.2} (green).",
                100.0 * sure
            ));
        } else {
            lines.push(format!(
                "The spot's shape hardly depends on how strongly this cloth scatters: it is known to ±{:.0} % only.",
                100.0 * certainty.ln_scattering
            ));
        }
    }
    let Some(best) = further.first() else { return lines };
    let helps = best.ln_scattering < WORTH * certainty.ln_scattering;
    if certainty.ln_scattering > 0.5 * NOT_SEPARABLE && helps {
        let photo = match best.further {
            Further::Gap(gap) => format!(
                "at {gap} mm stand-off, fitted together with {},",
                if fit.shots.len() == 1 { "this one" } else { "these" }
            ),
            Further::Bare => format!("of the bare pixel at a short exposure{}", asking.bare),
        };
        lines.push(format!(
            "A further photograph {photo} would bring scattering from ±{:.0} % to ±{:.0} %.",
            100.0 * certainty.ln_scattering,
            100.0 * best.ln_scattering
        ));
    } else if certainty.ln_scattering > NOT_SEPARABLE && ready.shots.len() > 1 {
        lines.push("No further photograph of this kind would tell much more.".to_owned());
    }
    lines
}

/// What the comparison found, sentence by sentence.
#[must_use]
pub fn compared(cloth: &Cloth, ready: &Ready, shots: &[ShotFit]) -> Vec<String> {
    let mut lines = Vec::new();
    for (read, shot) in ready.read.iter().zip(shots) {
        let name = &read.name;
        let worst = shot.profiles.iter().flatten().map(|p| p.misfit().1).fold(0.0, f64::max);
        lines.push(format!(
            "{name}: at {} mm stand-off the photograph and what {} should do differ by {:.1} % of the peak at worst.",
            read.gap_mm,
            cloth.title,
            100.0 * worst
        ));
        for (c, profile) in shot.profiles.iter().enumerate() {
            let Some(profile) = profile else { continue };
            let (rms, worst) = profile.misfit();
            lines.push(format!(
                "  {}: {:.1} % root mean square, {:.1} % at worst.",
                COLOUR_NAMES[c],
                100.0 * rms,
                100.0 * worst
            ));
        }
    }
    lines.push(if ready.bare.is_some() {
        "Brightness was predicted from the bare pixel; only the background was fitted.".to_owned()
    } else {
        "Brightness and background were fitted (no photo of the bare pixel): only the shape of the spot was predicted.".to_owned()
    });
    lines
}
