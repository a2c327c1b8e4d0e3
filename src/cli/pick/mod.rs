//! `weftlight pick`: from what is wanted to cloth, layers, gap and pitch.

mod data;

use super::charts::{Format, not_drawn};
use super::cloths::{Chosen, choose};
use super::numbers::{whole_within, within};
use super::progress::Progress;
use super::targets::{read_for, try_targets, usual_target};
use super::view::{ViewOptions, Want, gap, pitch};
use super::{Outcome, output};
use crate::choose::compare::words::{digits, percent, ranged};
use crate::choose::pick::{self, FellAway, Missed, Offer, Picked, Wants, Way};
use crate::choose::pick_chart::{letter, pick_chart};
use crate::cloth::catalogue;
use crate::diagnose::Diagnostic;
use crate::files;
use crate::judge::numbers::{Layout, Numbers};
use crate::judge::softness::Softness;
use crate::reading::Limits;
use crate::scene::Scene;
use crate::scene::file::{Resolved, read_at_pitch, read_with_warnings};
use crate::scene::variants::Replaced;
use crate::words::{aligned, three_digits};
use clap::Args;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

/// A gap of three pitches hides the dots behind any cloth without holes; beyond 60 mm no garment goes.
const PITCHES: f64 = 3.0;
const LEAST_REACH_MM: f64 = 20.0;
const MOST_REACH_MM: f64 = 60.0;
/// More combinations than this take minutes.
const MOST_COMBINATIONS: usize = 2000;
const LAYERS: Limits = Limits::new(1.0, 8.0, "layers");
const SHARE: Limits = Limits::new(0.0, 1.0, "(share of the light)");
const LUMINANCE: Limits = Limits::new(0.0, 1e6, "cd/m2");
const THICKNESS: Limits = Limits::new(0.0, 1000.0, "mm");
const SHIFT: Limits = Limits::new(0.0, 100.0, "(CIEDE2000)");
const PRICE: Limits = Limits::new(0.0, 1e9, "(your currency, for a metre)");

/// Find cloth, layers, gap and pitch for what you want: the best trade-offs, as a chart and a table
///
/// Every cloth on offer, in every number of layers and at every pitch, gets the smallest gap at which the glow is as soft as
/// wanted. What misses another want falls away and is counted; what is left and beaten by nothing else in thickness, brightness,
/// number of pixels and price is shown.
#[derive(Debug, Args)]
#[command(after_help = "Example: weftlight pick scenes/collar.yaml --want soft --at-most-mm 20")]
pub(super) struct Arguments {
    /// The scene file
    #[arg(value_name = "SCENE")]
    scene: PathBuf,

    /// How soft a glow is wanted
    #[arg(long, value_name = "LOOK", value_enum, default_value = "smooth")]
    want: Want,

    /// Mean luminance at least, in cd/m2
    #[arg(long, value_name = "CD/M2", value_parser = luminance, allow_negative_numbers = true)]
    at_least_cd_m2: Option<f64>,

    /// Share of the light kept at least, 0 to 1
    #[arg(long, value_name = "SHARE", value_parser = share, allow_negative_numbers = true)]
    at_least_light: Option<f64>,

    /// Thickness of gap and cloths together at most, in mm
    #[arg(long, value_name = "MM", value_parser = thickness, allow_negative_numbers = true)]
    at_most_mm: Option<f64>,

    /// Colour shift below this (CIEDE2000; 1 is just seen, 5 is another colour)
    #[arg(long, value_name = "SHIFT", value_parser = shift, allow_negative_numbers = true)]
    colour_shift_below: Option<f64>,

    /// Price below this for a metre of the cloth, times its layers; cloths without a price fall away
    #[arg(long, value_name = "PRICE", value_parser = money, allow_negative_numbers = true)]
    price_below: Option<f64>,

    /// Cloths on offer: names, patterns such as "felt*", or cloth files (otherwise the whole catalogue)
    #[arg(long = "cloth", value_name = "CLOTH")]
    cloths: Vec<String>,

    /// Numbers of layers on offer
    #[arg(long, value_name = "N,N", value_parser = layers, value_delimiter = ',', default_value = "1,2")]
    with_layers: Vec<usize>,

    /// Gaps on offer in mm (otherwise every whole millimetre up to three pitches)
    #[arg(long, value_name = "MM,MM", value_parser = gap, value_delimiter = ',', allow_negative_numbers = true)]
    gap_mm: Vec<f64>,

    /// Pitches on offer in mm (otherwise the scene's own)
    #[arg(long, value_name = "MM,MM", value_parser = pitch, value_delimiter = ',', allow_negative_numbers = true)]
    pitch_mm: Vec<f64>,

    /// Take away all cloths of the scene, not only the outermost
    #[arg(long)]
    replace_all: bool,

    #[command(flatten)]
    view: ViewOptions,

    /// The chart to write, ending in .svg, .png or .pdf; may be given several times (otherwise renders/SCENE-pick.svg and .png)
    #[arg(short, long, value_name = "FILE")]
    output: Vec<PathBuf>,

    /// Also write the table as CSV
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,

    /// Print what was found as JSON (its shape: `weftlight check --schema pick`)
    #[arg(long)]
    json: bool,
}

fn share(text: &str) -> Result<f64, String> {
    within(text, &SHARE)
}

fn luminance(text: &str) -> Result<f64, String> {
    within(text, &LUMINANCE)
}

fn thickness(text: &str) -> Result<f64, String> {
    within(text, &THICKNESS)
}

fn shift(text: &str) -> Result<f64, String> {
    within(text, &SHIFT)
}

fn money(text: &str) -> Result<f64, String> {
    within(text, &PRICE)
}

fn layers(text: &str) -> Result<usize, String> {
    whole_within(text, &LAYERS).map(|n| n as usize)
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    let chosen = choose(&arguments.cloths)?;
    let (offer, warnings, mut read) = offer(arguments, &chosen)?;
    let wants = Wants {
        softness: arguments.want.into(),
        at_least_cd_m2: arguments.at_least_cd_m2,
        at_least_light: arguments.at_least_light,
        at_most_mm: arguments.at_most_mm,
        colour_shift_below: arguments.colour_shift_below,
        price_below: arguments.price_below,
    };
    possible(&offer, &wants)?;
    let stem = arguments.scene.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let targets = targets(arguments, &stem);
    let formats = targets.iter().map(|target| Format::of(target)).collect::<Result<Vec<_>, _>>()?;
    read.extend(chosen.files.iter().cloned());
    try_targets(arguments.csv.iter().chain(&targets), &read)?;
    output::diagnostics(&warnings);
    output::diagnostics(&chosen.faults);
    let picked = {
        let progress = Progress::new(offer.combinations(), "Trying cloths");
        pick::pick(&offer, &wants, &|| progress.step())
    };
    let mut together: Vec<(&Path, Vec<u8>)> = Vec::new();
    if !picked.best.is_empty() {
        let (chart, alt) = pick_chart(&offer.scenes[0].1, &picked, &wants);
        let svg = chart.svg(&alt);
        for (target, format) in targets.iter().zip(formats) {
            let bytes = format.bytes(&svg).map_err(|error| not_drawn(target, &error))?;
            together.push((target, bytes));
        }
        if let Some(path) = &arguments.csv {
            let bytes = data::csv(&picked)
                .map_err(|e| vec![Diagnostic::of_file(&path.display().to_string(), e.to_string())])?;
            together.push((path, bytes));
        }
    }
    files::write_together(&together)?;
    let written: Vec<&Path> = together.iter().map(|(path, _)| *path).collect();
    let outcome = if arguments.json {
        output::json(&data::as_json(&offer, &picked, &wants, &written))
    } else {
        let told = output::data(&in_words(&offer, &picked, &wants, &written));
        next_after(arguments, &picked);
        told
    };
    let fault = picked.best.is_empty() || !chosen.faults.is_empty();
    Ok(if outcome == Outcome::Fine && fault { Outcome::CheckFailed } else { outcome })
}

/// The scene behind the first of the best, where a word on the command line names its cloth and the scene keeps its pitch.
fn next_after(arguments: &Arguments, picked: &Picked) {
    let (Some(best), true) = (picked.best.first(), arguments.pitch_mm.is_empty()) else { return };
    let Way { cloth, layers, gap_mm, .. } = &best.way;
    let Some(Ok(_)) =
        catalogue::by_name(&cloth.name).filter(|named| named.as_ref().is_ok_and(|n| n == cloth))
    else {
        return;
    };
    let (layers, gap) = (layers.to_string(), gap_mm.to_string());
    let way = ["--cloth", &cloth.name, "--with-layers", &layers, "--gap-mm", &gap];
    let all = arguments.replace_all.then_some("--replace-all");
    let words = ["compare".as_ref(), arguments.scene.as_os_str()].into_iter();
    output::next("see A", words.chain(way.into_iter().chain(all).map(OsStr::new)));
}

/// The scene at every pitch, and all else that is on offer; warnings, and the files that were read.
fn offer(
    arguments: &Arguments,
    chosen: &Chosen,
) -> Result<(Offer, Vec<Diagnostic>, Vec<PathBuf>), Vec<Diagnostic>> {
    let mut warnings = Vec::new();
    let mut files = Vec::new();
    let mut read: Vec<Scene> = Vec::new();
    let mut pitches = arguments.pitch_mm.clone();
    pitches.sort_by(f64::total_cmp);
    pitches.dedup();
    let mut take = |resolved: Resolved| {
        files = read_for(&arguments.scene, &resolved);
        warnings.extend(resolved.warnings);
        read.push(arguments.view.applied(resolved.scene));
    };
    if pitches.is_empty() {
        take(read_with_warnings(&arguments.scene)?);
    }
    for &pitch in &pitches {
        take(read_at_pitch(&arguments.scene, pitch)?);
    }
    let shown = arguments.scene.display().to_string();
    let scenes: Vec<(Option<f64>, Scene)> =
        read.into_iter().map(|scene| (Layout::of(&scene).pitch_mm(), scene)).collect();
    let pitch = scenes.iter().filter_map(|(pitch, _)| *pitch).fold(0.0, f64::max);
    if pitch == 0.0 {
        let fault = Diagnostic::of_file(
            &shown,
            "no two pixels of this scene are neighbours, so there are no dots to judge",
        );
        return Err(vec![fault.next("Use `weftlight preview` for single pixels.")]);
    }
    if scenes.iter().all(|(_, scene)| scene.pixels.iter().all(|p| p.levels.iter().all(|&l| l == 0.0))) {
        let fault = Diagnostic::of_file(&shown, "every pixel is dark, so there is nothing to judge");
        return Err(vec![fault.next("Give `light` a level above 0 and a colour other than black.")]);
    }
    let mut gaps_mm = arguments.gap_mm.clone();
    if gaps_mm.is_empty() {
        let reach = (PITCHES * pitch).clamp(LEAST_REACH_MM, MOST_REACH_MM).ceil() as usize;
        gaps_mm = (0..=reach).map(|mm| mm as f64).collect();
    }
    gaps_mm.sort_by(f64::total_cmp);
    gaps_mm.dedup();
    let mut layers = arguments.with_layers.clone();
    layers.sort_unstable();
    layers.dedup();
    let replaced = if arguments.replace_all { Replaced::All } else { Replaced::Outermost };
    Ok((Offer { scenes, cloths: chosen.cloths.clone(), layers, gaps_mm, replaced }, warnings, files))
}

/// Refuses wants that nothing on offer can meet, whatever the physics, and searches without end.
fn possible(offer: &Offer, wants: &Wants) -> Result<(), Vec<Diagnostic>> {
    let refuse =
        |option: &str, what: String, next: &str| Err(vec![Diagnostic::of_file(option, what).next(next)]);
    if offer.combinations() > MOST_COMBINATIONS {
        let what = format!(
            "{} combinations of pitch, cloth and layers are too many (at most {MOST_COMBINATIONS})",
            offer.combinations()
        );
        return refuse("--cloth", what, "Name fewer cloths, layers or pitches.");
    }
    let all = || {
        offer.scenes.iter().flat_map(|(_, scene)| {
            offer.cloths.iter().flat_map(move |cloth| {
                offer.layers.iter().map(move |&n| scene.behind(cloth, n, offer.replaced))
            })
        })
    };
    let gap = offer.gaps_mm.first().copied().unwrap_or(0.0);
    let thinnest = all()
        .map(|scene| scene.at_gap(crate::quantity::Millimetres(gap)).thickness().0)
        .fold(f64::INFINITY, f64::min);
    if let Some(most) = wants.at_most_mm
        && thinnest > most
    {
        let what = format!(
            "at most {} mm is wanted, but the thinnest on offer takes {} mm with a gap of {} mm",
            three_digits(most),
            three_digits(thinnest),
            three_digits(gap)
        );
        return refuse("--at-most-mm", what, "Allow more, or offer smaller gaps and thinner cloths.");
    }
    if wants.price_below.is_some() && offer.cloths.iter().all(|cloth| cloth.price_per_m(1).is_none()) {
        let what = "no cloth on offer has a price".to_owned();
        return refuse(
            "--price-below",
            what,
            "Copy cloth files from the catalogue and add `buying: {price_per_m: …}` with what your shop asks.",
        );
    }
    Ok(())
}

fn targets(arguments: &Arguments, stem: &str) -> Vec<PathBuf> {
    if !arguments.output.is_empty() {
        return arguments.output.clone();
    }
    let usual = usual_target(&format!("{stem}-pick"));
    vec![usual.with_extension("svg"), usual]
}

fn in_words(offer: &Offer, picked: &Picked, wants: &Wants, written: &[&Path]) -> String {
    let scene = &offer.scenes[0].1;
    let mut lines: Vec<String> = written.iter().map(|file| format!("Wrote {}.", file.display())).collect();
    lines.push(format!(
        "{} combinations of cloth, layers and pitch were tried for a glow that is {} from {} m: {}.",
        offer.combinations(),
        wants.softness.word(),
        three_digits(scene.view.distance_m),
        wants.softness.in_words(),
    ));
    if offer.replaced == Replaced::Outermost && scene.stack.len() > 1 {
        let kept: Vec<&str> =
            scene.stack[..scene.stack.len() - 1].iter().map(|p| p.cloth.title.as_str()).collect();
        lines.push(format!(
            "Below the cloth on offer stays: {}. --replace-all takes it away.",
            kept.join(", ")
        ));
    }
    lines.extend(scene.uneven_in_words());
    if picked.best.is_empty() {
        lines.push("Nothing on offer meets every want, so no chart was written.".to_owned());
    } else {
        lines.push(String::new());
        lines.extend(table(picked, wants));
        lines.push(String::new());
        lines.push(format!(
            "None of these is beaten in thickness, brightness, number of pixels{}: thinner ones cost light, brighter ones room.",
            if picked.by_price { " and price" } else { "" }
        ));
        if !picked.others.is_empty() {
            lines.push(format!(
                "{} more meet every want, but another is thinner or brighter.",
                picked.others.len()
            ));
        }
        if !picked.by_price && wants.price_below.is_none() {
            lines.push(
                "Price is left out: not every cloth has one (`buying: {price_per_m: …}` in its file)."
                    .to_owned(),
            );
        }
    }
    lines.extend(picked.fell_away.iter().map(|fell| in_plain_words(fell, offer, wants)));
    lines.push("Cloths known by their label are estimates: a test piece decides.".to_owned());
    lines.join("\n")
}

fn in_plain_words(fell: &FellAway, offer: &Offer, wants: &Wants) -> String {
    let reach = offer.gaps_mm.last().copied().unwrap_or(0.0);
    let nearest = |unit: &str, lead: &str| match fell.nearest {
        Some(value) if value.is_finite() => format!(" ({lead} {}{unit})", three_digits(value)),
        _ => String::new(),
    };
    let why = match fell.missed {
        Missed::Thickness => format!("are too thick{}", nearest(" mm", "the thinnest of them takes")),
        Missed::Light => format!("keep too little light{}", nearest("", "the best keeps a share of")),
        Missed::Price if fell.nearest.is_none() => "have no price".to_owned(),
        Missed::Price => {
            format!("are too dear or have no price{}", nearest("", "the cheapest of them costs"))
        }
        Missed::Softness if wants.softness == Softness::Dots => {
            format!(
                "blur the dots even at {} mm",
                three_digits(offer.gaps_mm.first().copied().unwrap_or(0.0))
            )
        }
        Missed::Softness => format!(
            "still show dots at {} mm, or at the largest gap that is thin enough{}",
            three_digits(reach),
            nearest(" times the eye's threshold", "the softest is at")
        ),
        Missed::Luminance => format!("are too dark{}", nearest(" cd/m2", "the brightest of them gives")),
        Missed::Colour => format!("shift the colour too far{}", nearest("", "the least by")),
    };
    format!("Fell away: {} {why}.", fell.count)
}

fn table(picked: &Picked, wants: &Wants) -> Vec<String> {
    let with_price = picked.best.iter().any(|best| best.way.price.is_some());
    let mut rows: Vec<Vec<String>> = vec![
        [
            "",
            "cloth",
            "layers",
            "pitch",
            "pixels",
            "gap",
            "thick",
            "mean luminance (cd/m2)",
            "light kept",
            wants.softness.word(),
            "safe gap",
        ]
        .map(str::to_owned)
        .to_vec(),
    ];
    if with_price {
        rows[0].push("price".to_owned());
    }
    let mm = |value: f64| format!("{} mm", three_digits(value));
    for (i, best) in picked.best.iter().enumerate() {
        let Way { cloth, layers, pitch_mm, gap_mm, numbers, price, scene, .. } = &best.way;
        let kept = best.judged.range(|n: &Numbers| n.light_kept);
        let mut row = vec![
            letter(i),
            cloth.name.clone(),
            layers.to_string(),
            pitch_mm.map_or(String::new(), mm),
            scene.pixels.len().to_string(),
            mm(*gap_mm),
            mm(numbers.thickness_mm),
            ranged(best.judged.range(|n| n.mean_cd_m2), digits),
            ranged(kept, percent),
            format!("{:.0} %", 100.0 * best.sureness()),
            best.safe_gap_mm.map_or("none".to_owned(), mm),
        ];
        if with_price {
            row.push(price.map_or(String::new(), |p| format!("{p:.2}")));
        }
        rows.push(row);
    }
    aligned(&rows, &vec![false; rows[0].len()])
}
