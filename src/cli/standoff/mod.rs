//! `weftlight standoff`: how far off must the cloth stand?

mod chart;
mod data;
mod words;

use super::charts::{Format, not_drawn};
use super::cloths::whole_catalogue;
use super::progress::Progress;
use super::targets::{read_for, try_targets, usual_target};
use super::view::{ViewOptions, Want, gap, pitch};
use super::{Outcome, output};
use crate::choose::standoff::{
    FIND_PIECES, Found, GAPS, Reason, Remedy, Subject, TRIED, Unjudgeable, end_mm, find, gaps, reason,
    remedies,
};
use crate::cloth::Cloth;
use crate::diagnose::Diagnostic;
use crate::files;
use crate::judge::softness::Softness;
use crate::scene::Scene;
use crate::scene::file::{Resolved, read_at_pitch, read_with_warnings};
use clap::Args;
use std::path::PathBuf;
use std::sync::Arc;

/// The most pitches of one call: more lines than the chart keeps apart.
const MOST_PITCHES: usize = 6;
/// Pixels that stand so much farther apart or closer than asked for (a share) were not set as asked.
const NOT_AS_ASKED: f64 = 0.25;

/// Find out how far off the cloth must stand: the gap at which dots vanish, as a chart and in words
///
/// The gap between the pixels and the first cloth is varied, everything else stays. The chart shows dot visibility, light kept
/// and total thickness against the gap, with small pictures along it; it goes to renders/SCENE-standoff.svg and .png unless
/// --output names other files.
///
/// Exit code 0: a gap does what is wanted; 1: none does; 2: the call or the scene cannot be used.
#[derive(Debug, Args)]
#[command(after_help = "Example: weftlight standoff scenes/collar.yaml --want soft --gap-mm 2..30")]
pub(super) struct Arguments {
    /// The scene file
    #[arg(value_name = "SCENE")]
    scene: PathBuf,

    /// What is wanted at the viewing distance
    #[arg(long, value_enum, default_value_t = Want::Smooth)]
    want: Want,

    /// Pixels so many mm apart instead, such as 5,10,16.7: one line each; strips, rings and grids stay as long as they are
    #[arg(long, value_name = "MM,MM,…", value_parser = pitch, value_delimiter = ',', num_args = 1, allow_hyphen_values = true)]
    pitch_mm: Vec<f64>,

    /// Gaps to look at, such as 0..40 (otherwise from 0 until dots have vanished)
    #[arg(long, value_name = "FROM..TO", value_parser = gap_range, allow_hyphen_values = true)]
    gap_mm: Option<(f64, f64)>,

    /// The chart to write, by its ending: .svg, .png or .pdf; may be given several times
    #[arg(short, long, value_name = "FILE")]
    output: Vec<PathBuf>,

    /// Also write the numbers over the gap to this file
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,

    /// Print what was found as JSON (its shape: `weftlight check --schema standoff`)
    #[arg(long)]
    json: bool,

    #[command(flatten)]
    view: ViewOptions,
}

/// Two gaps in mm, such as `0..40`.
fn gap_range(text: &str) -> Result<(f64, f64), String> {
    let Some((from, to)) = text.split_once("..") else {
        return Err(
            "the first and the last gap are needed with two full stops between, such as 0..40".to_owned()
        );
    };
    let (from, to) = (gap(from)?, gap(to)?);
    if from < to {
        return Ok((from, to));
    }
    Err(format!("the first gap, {from} mm, must be smaller than the last, {to} mm"))
}

/// One pitch of the scene, with what was found.
struct Case {
    subject: Subject,
    found: Found,
    reason: Option<Reason>,
    remedies: Vec<Remedy>,
}

impl Case {
    fn scene(&self) -> &Scene {
        self.subject.scene()
    }
}

/// All that was asked and found.
struct Report {
    want: Softness,
    cases: Vec<Case>,
    targets: Vec<PathBuf>,
    csv: Option<PathBuf>,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    let Asked { subjects, warnings, files } = asked(arguments)?;
    let targets = targets(arguments, &files)?;
    output::diagnostics(&warnings);
    let want = Softness::from(arguments.want);
    let cases = cases(arguments, subjects, want, &whole_catalogue()?);
    let report = Report { want, cases, targets, csv: arguments.csv.clone() };
    write(&report)?;
    let told = if arguments.json {
        output::json(&data::as_json(&report))
    } else {
        let told = output::data(&words::told(&report));
        next_after(arguments, &report);
        told
    };
    match told {
        Outcome::Fine if report.cases.iter().all(|case| case.found.answer.is_none()) => {
            Ok(Outcome::CheckFailed)
        }
        outcome => Ok(outcome),
    }
}

/// The scene as it looks with the gap that is to be bought; a chart of several pitches has no single one.
fn next_after(arguments: &Arguments, report: &Report) {
    let (true, [case]) = (arguments.pitch_mm.is_empty(), report.cases.as_slice()) else { return };
    let Some(answer) = &case.found.answer else { return };
    let gap = answer.step.gap_mm.to_string();
    let words = ["preview".as_ref(), arguments.scene.as_os_str(), "--gap-mm".as_ref(), gap.as_ref()];
    output::next("see it with this gap", words);
}

/// What is to be looked into.
struct Asked {
    /// The scene at each pitch.
    subjects: Vec<Subject>,
    warnings: Vec<Diagnostic>,
    /// The files that were read for it.
    files: Vec<PathBuf>,
}

fn asked(arguments: &Arguments) -> Result<Asked, Vec<Diagnostic>> {
    let own = read_with_warnings(&arguments.scene)?;
    let files = read_for(&arguments.scene, &own);
    let shown = arguments.scene.display().to_string();
    let prepared = |scene: Scene| {
        Subject::new(arguments.view.applied(scene)).map_err(|fault| unjudgeable(&shown, fault))
    };
    let mut pitches = arguments.pitch_mm.clone();
    pitches.sort_by(f64::total_cmp);
    pitches.dedup();
    if pitches.len() > MOST_PITCHES {
        let fault = Diagnostic::of_file("--pitch-mm", "too many pitches for one chart");
        return Err(vec![fault.allowed(format!("at most {MOST_PITCHES}"))]);
    }
    if pitches.is_empty() {
        return Ok(Asked { subjects: vec![prepared(own.scene)?], warnings: own.warnings, files });
    }
    let mut subjects = Vec::new();
    for pitch in pitches {
        let Resolved { scene, .. } =
            read_at_pitch(&arguments.scene, pitch).map_err(|faults| at_pitch(pitch, faults))?;
        let subject = prepared(scene)?;
        let set = subject.pitch_mm();
        if (set / pitch - 1.0).abs() > NOT_AS_ASKED {
            let fault = Diagnostic::of_file(
                &shown,
                format!("the pixels of this scene cannot stand {pitch} mm apart"),
            );
            return Err(vec![fault.next(format!(
                "The nearest that fits is {set:.1} mm. Single points stay where they are; small rings take whole pixels only."
            ))]);
        }
        subjects.push(subject);
    }
    Ok(Asked { subjects, warnings: own.warnings, files })
}

/// Says at which pitch a scene cannot be used that can be as it is.
fn at_pitch(asked: f64, faults: Vec<Diagnostic>) -> Vec<Diagnostic> {
    let told = |fault: Diagnostic| Diagnostic {
        what: format!("{} with pixels {asked} mm apart", fault.what),
        ..fault
    };
    faults.into_iter().map(told).collect()
}

fn unjudgeable(shown: &str, fault: Unjudgeable) -> Vec<Diagnostic> {
    let (what, next) = match fault {
        Unjudgeable::NoCloth => {
            ("the scene has no cloth, so there is no gap to choose", "Put a cloth into `stack:`.")
        }
        Unjudgeable::NoPixels => {
            ("the scene has no pixels, so there are no dots", "Put pixels into `pixels:`.")
        }
        Unjudgeable::Dark => (
            "every pixel is dark, so there are no dots",
            "Give `light` a level above 0 and a colour other than black.",
        ),
        Unjudgeable::Single => (
            "no two lit pixels are neighbours, so there are no dots that could melt into each other",
            "A single pixel is always one spot: `weftlight preview` shows how wide it is with each --gap-mm.",
        ),
    };
    vec![Diagnostic::of_file(shown, what).next(next)]
}

/// The files to write, each tried before the work.
fn targets(arguments: &Arguments, read: &[PathBuf]) -> Result<Vec<PathBuf>, Vec<Diagnostic>> {
    let mut targets = arguments.output.clone();
    if targets.is_empty() {
        let stem = arguments.scene.file_stem().unwrap_or_default().to_string_lossy();
        let png = usual_target(&format!("{stem}-standoff"));
        targets = vec![png.with_file_name(format!("{stem}-standoff.svg")), png];
    }
    for target in &targets {
        Format::of(target)?;
    }
    try_targets(targets.iter().chain(&arguments.csv), read)?;
    Ok(targets)
}

fn cases(
    arguments: &Arguments,
    subjects: Vec<Subject>,
    want: Softness,
    catalogue: &[Arc<Cloth>],
) -> Vec<Case> {
    let progress = Progress::new(subjects.len() * FIND_PIECES, "Trying gaps");
    let (from, to) = arguments.gap_mm.unwrap_or_else(|| (0.0, end_mm(&subjects)));
    let gaps = gaps(from, to, GAPS);
    let found: Vec<Found> =
        subjects.iter().map(|subject| find(subject, &gaps, want, &|| progress.step())).collect();
    drop(progress);
    let at_pitch = |mm: f64| {
        let resolved = read_at_pitch(&arguments.scene, mm).ok()?;
        Some(arguments.view.applied(resolved.scene))
    };
    let lost = found.iter().filter(|found| found.answer.is_none()).count();
    let progress = Progress::new(lost * TRIED, "Trying what would do");
    subjects
        .into_iter()
        .zip(found)
        .map(|(subject, found)| {
            let without = found.answer.is_none();
            let reason = without.then(|| reason(&subject, from, to, want, &found.sweep.curve())).flatten();
            let remedies = if without {
                remedies(&subject, (from, to), want, found.best.0, &at_pitch, catalogue, &|| progress.step())
            } else {
                Vec::new()
            };
            Case { subject, found, reason, remedies }
        })
        .collect()
}

/// Draws and writes everything; nothing is written before everything could be drawn.
fn write(report: &Report) -> Result<(), Vec<Diagnostic>> {
    let (chart, alt) = chart::chart(report);
    let svg = chart.svg(&alt);
    let mut drawn = Vec::new();
    for target in &report.targets {
        drawn.push((target, Format::of(target)?.bytes(&svg).map_err(|e| not_drawn(target, &e))?));
    }
    drawn.extend(report.csv.iter().map(|csv| (csv, data::as_csv(report).into_bytes())));
    files::write_together(&drawn)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gaps_are_two_rising_numbers() {
        assert_eq!(gap_range("0..40"), Ok((0.0, 40.0)));
        assert_eq!(gap_range("2.5..4"), Ok((2.5, 4.0)));
        for (wrong, said) in [
            ("40", "two full stops"),
            ("40..0", "must be smaller"),
            ("5..5", "must be smaller"),
            ("-1..5", "allowed: 0 to 500 mm"),
            ("0..501", "allowed: 0 to 500 mm"),
            ("..5", "is not a number"),
            ("0..nan", "allowed: 0 to 500 mm"),
        ] {
            let message = gap_range(wrong).expect_err("refused");
            assert!(message.contains(said), "{wrong}: {message}");
        }
    }
}
