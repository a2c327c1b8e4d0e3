//! `weftlight spread --self-check`: transport against photons over a grid of stacks.

use super::heat_map::heat_map;
use super::{Arguments, Outcome, output};
use crate::cli::charts::{Format, not_drawn};
use crate::cli::progress::Progress;
use crate::cli::targets::{try_targets, usual_target};
use crate::diagnose::Diagnostic;
use crate::files;
use crate::light::accuracy::{Case, Checked, FINE_ENOUGH, Group, SIGMAS, cases, check};
use crate::words::{aligned, folded, three_digits};
use clap::ValueEnum;
use serde_json::json;
use std::path::Path;

/// Photons a stack unless asked otherwise: the whole list takes a minute on two cores, two on slow ones.
pub(super) const PHOTONS: u64 = 200_000;
/// As many of the worst stacks are told one by one.
const TOLD: usize = 12;

/// Which stacks are tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Stacks {
    /// All of them
    All,
    /// One closed cloth, straight ahead
    One,
    /// One cloth with holes, straight ahead
    Holes,
    /// Several cloths, straight ahead
    Piles,
    /// Single cloths and piles, from the side
    Side,
}

impl Stacks {
    fn hold(self, case: &Case) -> bool {
        let is = if case.tilt_deg > 0.0 {
            Stacks::Side
        } else if case.is_pile() {
            Stacks::Piles
        } else if case.has_holes() {
            Stacks::Holes
        } else {
            Stacks::One
        };
        self == Stacks::All || self == is
    }
}

/// What was tried, with what, and what came of it.
pub(super) struct Report {
    pub(super) photons: u64,
    pub(super) seed: u64,
    pub(super) checked: Vec<Checked>,
}

pub(super) fn run(arguments: &Arguments, stacks: Stacks) -> Result<Outcome, Vec<Diagnostic>> {
    let target = arguments.output.clone().unwrap_or_else(|| usual_target("self-check"));
    let format = Format::of(&target)?;
    try_targets(arguments.csv.iter().chain([&target]), &[])?;
    // The seed goes with the place in the whole list, so that some stacks alone come out as among all.
    let cases: Vec<(Case, u64)> =
        cases().into_iter().zip(0..).filter(|(case, _)| stacks.hold(case)).collect();
    let photons = arguments.photons.unwrap_or(PHOTONS);
    let progress = Progress::new(cases.len(), "Sending photons through stacks");
    let checked = cases
        .into_iter()
        .map(|(case, place)| {
            let checked = check(case, photons, arguments.seed.wrapping_add(place));
            progress.step();
            checked
        })
        .collect();
    drop(progress);
    let report = Report { photons, seed: arguments.seed, checked };
    let (map, alt) = heat_map(&report);
    let bytes = format.bytes(&map.svg(&alt)).map_err(|error| not_drawn(&target, &error))?;
    let mut together: Vec<(&Path, Vec<u8>)> = vec![(&target, bytes)];
    if let Some(path) = &arguments.csv {
        let bytes = csv(&report)
            .map_err(|e| vec![Diagnostic::of_file(&path.display().to_string(), e.to_string())])?;
        together.push((path, bytes));
    }
    files::write_together(&together)?;
    let written: Vec<String> = together.iter().map(|(path, _)| path.display().to_string()).collect();
    let text = if arguments.json {
        format!("{:#}", as_json(&report, &written))
    } else {
        in_words(&report, &written)
    };
    let outcome = output::data(&text);
    let over = report.checked.iter().any(Checked::is_over);
    Ok(if outcome == Outcome::Fine && over { Outcome::CheckFailed } else { outcome })
}

/// A share in per cent with one decimal.
pub(super) fn tenths(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

/// The middle of some values; `None` for none.
fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

impl Report {
    pub(super) fn known(&self) -> impl Iterator<Item = &Checked> {
        self.checked.iter().filter(|checked| checked.is_known())
    }

    /// The stacks that photons tell of, the worst first.
    pub(super) fn by_error(&self) -> Vec<&Checked> {
        let mut all: Vec<&Checked> = self.known().collect();
        all.sort_by(|a, b| b.errors.beyond.total_cmp(&a.errors.beyond));
        all
    }

    /// How many stacks, how many photons, how sure.
    pub(super) fn made_of(&self) -> String {
        let photons = if self.photons < 1_000_000 {
            self.photons.to_string()
        } else {
            format!("{} million", three_digits(self.photons as f64 / 1e6))
        };
        format!("{} stacks, {photons} photons each (seed {}).", self.checked.len(), self.seed)
    }

    /// What chance does.
    pub(super) fn sampling(&self) -> String {
        let middle = median(self.known().map(|c| c.errors.sampling)).unwrap_or(0.0);
        let most = self.known().map(|c| c.errors.sampling).fold(0.0, f64::max);
        format!(
            "Standard error of the photons in a stack's noisiest place: {} of the peak in the middle stack, {} at most.",
            tenths(middle),
            tenths(most)
        )
    }

    /// How many stacks tell nothing; empty where all do.
    pub(super) fn untold(&self) -> Option<String> {
        let count = self.checked.len() - self.known().count();
        (count > 0).then(|| {
            format!(
                "Of {count} stacks too few of the photons get through to tell (standard error above {:.0} % of the peak); they \
                 are not judged.",
                100.0 * FINE_ENOUGH
            )
        })
    }
}

/// What the error is, in words.
pub(super) fn error_in_words() -> String {
    format!(
        "Error: the largest difference between the two in any place of the spot, beyond {SIGMAS} standard errors of the photons, over \
         the peak of the spot."
    )
}

fn in_words(report: &Report, written: &[String]) -> String {
    let mut lines = vec![format!("Transport against photons: {}", report.made_of())];
    lines.extend([error_in_words(), report.sampling()].iter().flat_map(|line| folded(line)));
    lines.push(String::new());
    lines.extend(by_group(report));
    lines.push(String::new());
    lines.push("The worst stacks:".to_owned());
    lines.extend(worst(report));
    lines.push(String::new());
    lines.extend(report.untold().iter().flat_map(|line| folded(line)));
    lines.push(verdict(report));
    lines.extend(written.iter().map(|path| format!("Wrote {path}.")));
    lines.join("\n")
}

/// Whether all is as the README says.
fn verdict(report: &Report) -> String {
    match report.checked.iter().filter(|checked| checked.is_over()).count() {
        0 => "All within the limits that the README names.".to_owned(),
        over => format!("{over} stacks are farther off than the README's limits say."),
    }
}

fn by_group(report: &Report) -> Vec<String> {
    let heading = ["stacks", "how many", "worst", "limit", "middle", "light in all", "the worst"];
    let mut rows = vec![heading.map(str::to_owned).to_vec()];
    for group in Group::ALL {
        let of = || report.known().filter(|checked| checked.case.group() == group);
        let Some(worst) = of().max_by(|a, b| a.errors.beyond.total_cmp(&b.errors.beyond)) else { continue };
        rows.push(vec![
            group.words().to_owned(),
            of().count().to_string(),
            tenths(worst.errors.beyond),
            format!("{:.0} %", 100.0 * group.limit()),
            tenths(median(of().map(|c| c.errors.beyond)).unwrap_or(0.0)),
            tenths(of().map(|c| c.in_all.abs()).fold(0.0, f64::max)),
            worst.case.words(),
        ]);
    }
    aligned(&rows, &[false, true, true, true, true, true, false])
}

fn worst(report: &Report) -> Vec<String> {
    let heading = ["error", "difference", "chance", "rms", "seen from", "stack"];
    let mut rows = vec![heading.map(str::to_owned).to_vec()];
    for checked in report.by_error().into_iter().take(TOLD) {
        let errors = &checked.errors;
        rows.push(vec![
            tenths(errors.beyond),
            format!("{:+.1} %", 100.0 * errors.worst),
            format!("± {}", tenths(errors.sampling)),
            tenths(errors.rms),
            format!("{}°", checked.case.tilt_deg),
            checked.case.words(),
        ]);
    }
    aligned(&rows, &[true, true, true, true, true, false])
}

/// The table: one row a stack.
const COLUMNS: [&str; 15] = [
    "group",
    "stack",
    "tilt_deg",
    "optical_thickness",
    "thickness_over_gap",
    "albedo",
    "asymmetry",
    "openness",
    "error_of_peak",
    "difference_of_peak",
    "rms_of_peak",
    "standard_error_of_peak",
    "light_in_all_error",
    "known",
    "over_limit",
];

fn csv(report: &Report) -> Result<Vec<u8>, csv::Error> {
    let mut table = csv::Writer::from_writer(Vec::new());
    table.write_record(COLUMNS)?;
    for checked in &report.checked {
        let (case, errors) = (&checked.case, &checked.errors);
        let mut row = vec![case.group().words().to_owned(), case.words(), case.tilt_deg.to_string()];
        row.extend(first_cloth(case).map(|value| value.to_string()));
        row.extend(
            [errors.beyond, errors.worst, errors.rms, errors.sampling, checked.in_all].map(|v| v.to_string()),
        );
        row.extend([checked.is_known(), checked.is_over()].map(|yes| yes.to_string()));
        table.write_record(row)?;
    }
    table.into_inner().map_err(|error| csv::Error::from(error.into_error()))
}

/// Numbers of the cloth next to the pixels: optical thickness, thickness over gap, albedo, asymmetry, openness.
fn first_cloth(case: &Case) -> [f64; 5] {
    let Some(layer) = case.stack.layers.first() else { return [0.0; 5] };
    let optics = &layer.optics;
    let over_gap = layer.thickness.0 / layer.gap_below.0;
    [layer.optical_thickness(), over_gap, optics.albedo, optics.asymmetry, optics.openness]
}

fn as_json(report: &Report, written: &[String]) -> serde_json::Value {
    let groups = Group::ALL.map(|group| {
        let of = || report.known().filter(|checked| checked.case.group() == group);
        json!({
            "group": group.words(),
            "stacks": of().count(),
            "limit_of_peak": group.limit(),
            "worst_error_of_peak": of().map(|c| c.errors.beyond).reduce(f64::max),
            "middle_error_of_peak": median(of().map(|c| c.errors.beyond)),
        })
    });
    let stacks = report.checked.iter().map(|checked| {
        let [optical_thickness, thickness_over_gap, albedo, asymmetry, openness] = first_cloth(&checked.case);
        json!({
            "group": checked.case.group().words(), "stack": checked.case.words(), "tilt_deg": checked.case.tilt_deg,
            "optical_thickness": optical_thickness, "thickness_over_gap": thickness_over_gap, "albedo": albedo,
            "asymmetry": asymmetry, "openness": openness,
            "error_of_peak": checked.errors.beyond, "difference_of_peak": checked.errors.worst,
            "rms_of_peak": checked.errors.rms, "standard_error_of_peak": checked.errors.sampling,
            "light_in_all_error": checked.in_all, "known": checked.is_known(), "over_limit": checked.is_over(),
        })
    });
    json!({
        "photons": report.photons,
        "seed": report.seed,
        "files": written,
        "groups": groups,
        "stacks": stacks.collect::<Vec<_>>(),
    })
}
