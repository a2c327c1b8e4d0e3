//! `weftlight cloth estimate`: from a label to a cloth file.

pub(super) mod options;
mod words;

use super::super::{Outcome, output};
use super::{COLOURS, STAND_OFF_MM, whole_json};
use crate::cloth::catalogue::Reference;
use crate::cloth::diffuse::totals;
use crate::cloth::label::influence::{Influences, Input, Range as Influenced, influences};
use crate::cloth::label::write::{Heading, cloth_file};
use crate::cloth::label::{LabelInput, Structure, estimate};
use crate::cloth::{Cloth, file};
use crate::diagnose::Diagnostic;
use crate::files;
use crate::judge::numbers::Range;
use crate::light::{Source, Window};
use crate::pixels::package::Package;
use crate::quantity::{Millimetres, Nanometres};
use clap::Args;
use options::Blend;
use serde_json::json;
use std::path::{Path, PathBuf};

/// The made-up origin of problems that no single option has alone.
const SHOWN_AS: &str = "the label";
/// What the file says about its numbers.
const SOURCE: &str = "Label estimate by the fibre model from the values given. Not measured.";

/// Estimate a cloth from its label, and write a cloth file
///
/// Without --output the file goes to standard output and what it means to standard error. The file is an estimate: it
/// says how well each value is known, what that does to light and spot, and what is worth measuring.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: weftlight cloth estimate --fibre wool --areal-mass-g-m2 300 --thickness-mm 2 --colour \"#eeeedd\" -o my-felt.yaml"
)]
pub(super) struct Arguments {
    /// The fibre, or several with their percentages: "wool 70, polyester 30" (cotton, viscose, wool, silk, nylon, polyester,
    /// acrylic, polypropylene). A few percent of another may be counted as the one most like it
    #[arg(long, value_name = "FIBRE", value_parser = options::fibres)]
    fibre: Blend,

    /// Mass of one square metre in grams
    #[arg(long, value_name = "G/M2", value_parser = options::areal_mass, allow_negative_numbers = true)]
    areal_mass_g_m2: f64,

    /// Thickness as worn, unpressed, in mm
    #[arg(long, value_name = "MM", value_parser = options::thickness, allow_negative_numbers = true)]
    thickness_mm: f64,

    /// Colour of the cloth folded many times, as "#rrggbb", in quotes
    #[arg(long, value_name = "COLOUR", value_parser = options::colour)]
    colour: [u8; 3],

    /// How it is made: felt (fleece too), woven, knit, sheer, mesh or wadding (otherwise taken as felt)
    #[arg(long, value_name = "MAKE", value_parser = options::structure)]
    structure: Option<Structure>,

    /// Diameter of the fibres in micrometres (otherwise typical for the fibre)
    #[arg(long, value_name = "UM", value_parser = options::diameter, allow_negative_numbers = true)]
    fibre_um: Option<f64>,

    /// Share of the area that is not holes, 0.02 to 1 (otherwise typical for how it is made)
    #[arg(long, value_name = "SHARE", value_parser = options::cover, allow_negative_numbers = true)]
    cover: Option<f64>,

    /// Short name of the cloth (otherwise that of the file, or fibre and make)
    #[arg(long, value_name = "NAME", value_parser = options::name)]
    name: Option<String>,

    /// Name in plain words
    #[arg(long, value_name = "WORDS", value_parser = options::title)]
    title: Option<String>,

    /// The cloth file to write, ending in .yaml
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,

    /// Write over a file that is there already
    #[arg(long, requires = "output")]
    replace: bool,

    /// Print JSON (its shape: `weftlight check --schema cloth-estimate`)
    #[arg(long)]
    json: bool,
}

impl Arguments {
    fn structure(&self) -> Structure {
        self.structure.unwrap_or(Structure::Felt)
    }

    fn label(&self) -> LabelInput {
        LabelInput {
            fibres: self.fibre.0.clone(),
            fibre_um: self.fibre_um,
            areal_mass_g_m2: self.areal_mass_g_m2,
            thickness: Millimetres(self.thickness_mm),
            colour: self.colour,
            structure: self.structure(),
            cover: self.cover,
        }
    }

    fn name(&self) -> String {
        let stem =
            self.output.as_deref().and_then(Path::file_stem).map(|stem| stem.to_string_lossy().into_owned());
        // The stem of a file may hold what a cloth's name may not.
        let stem = stem.and_then(|stem| options::name(&stem).ok());
        let made_up = || format!("{}-{}", self.fibre.0[0].0, self.structure().name());
        self.name.clone().or(stem).unwrap_or_else(made_up)
    }

    fn title(&self) -> String {
        self.title.clone().unwrap_or_else(|| {
            let make = match self.structure() {
                Structure::Felt => "Felt",
                Structure::Woven => "Woven cloth",
                Structure::Knit => "Knit",
                Structure::Sheer => "Sheer cloth",
                Structure::Mesh => "Mesh",
                Structure::Wadding => "Wadding",
            };
            format!("{make}, {}, {} mm", words::fibres(&self.fibre.0), self.thickness_mm)
        })
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    let label = arguments.label();
    let (name, title) = (arguments.name(), arguments.title());
    let heading = |comment| Heading { name: &name, title: &title, source: SOURCE, comment };
    let cloth = as_read(&cloth_file(&heading(""), &label))?;
    let replaced =
        arguments.output.as_deref().map(|target| new_cloth_file(target, arguments.replace)).transpose()?;
    let found = estimate(&label)
        .map_err(|error| vec![whole("the label cannot be estimated").next(error.to_string())])?;
    let (colour, nm) = telling_colour(&cloth);
    let influences = influences(&label, &found, Nanometres(nm), Millimetres(STAND_OFF_MM), &source());
    let mut explained = words::explained(&cloth, &label, &influences, colour);
    if arguments.structure.is_none() {
        explained.push("How it is made was not stated; it is taken as felt (--structure).".to_owned());
    }
    let text = cloth_file(&heading(&explained.join("\n")), &label);
    if let Some(target) = &arguments.output {
        let write = if arguments.replace { files::write_atomically } else { files::write_new };
        write(target, text.as_bytes())?;
    }
    if arguments.json {
        return Ok(output::json(&as_json(arguments, &cloth, &text, (nm, &influences), &explained)));
    }
    let (Some(target), Some(replaced)) = (&arguments.output, replaced) else {
        let outcome = output::data(text.trim_end());
        output::message(&explained.join("\n"));
        return Ok(outcome);
    };
    let done = if replaced { "Replaced" } else { "Wrote" };
    let beside = target.file_name().unwrap_or_default().to_string_lossy();
    explained.push(format!("{done} {}. In a scene beside it: cloth: {beside}", target.display()));
    let outcome = output::data(&explained.join("\n"));
    output::next("see it", ["cloth".as_ref(), "show".as_ref(), target.as_path()]);
    Ok(outcome)
}

/// The cloth as the file's reader understands it, so that both refuse the same; the problems without places, since nobody
/// has seen the text.
fn as_read(text: &str) -> Result<Cloth, Vec<Diagnostic>> {
    file::resolve(text, SHOWN_AS).map_err(|problems| {
        problems
            .into_iter()
            .map(|problem| Diagnostic {
                what: match &problem.found {
                    Some(found) => format!("{}: {found}", problem.what),
                    None => problem.what.clone(),
                },
                next: problem.next.or_else(|| Some("Check mass, thickness and fibre diameter.".to_owned())),
                excerpt: None,
                line: None,
                column: None,
                ..problem
            })
            .collect()
    })
}

fn whole(what: &str) -> Diagnostic {
    Diagnostic::of_file(SHOWN_AS, what)
}

/// Tries the place of the file; tells whether one is there already. Cloth files may hold somebody's own figures, so they
/// are written over only when that is asked for.
pub(super) fn new_cloth_file(target: &Path, replace: bool) -> Result<bool, Vec<Diagnostic>> {
    let shown = target.display().to_string();
    if let Reference::Name(_) = Reference::of(&shown) {
        let fault =
            Diagnostic::of_file(&shown, "this name does not end in .yaml, so no scene would find the cloth");
        return Err(vec![fault.next(format!("Name it {}.", target.with_extension("yaml").display()))]);
    }
    files::check_writable(target)?;
    let there = target.exists();
    if there && !replace {
        let fault = Diagnostic::of_file(&shown, "this file is there already");
        return Err(vec![fault.next("Choose another name, or say --replace to write over it.")]);
    }
    Ok(there)
}

/// The colour at which influences are told: green, unless another one comes through more than twice as well (a red cloth lets
/// through nothing else).
fn telling_colour(cloth: &Cloth) -> (&'static str, f64) {
    const TWICE: f64 = 2.0;
    let through = |nm: f64| totals(&cloth.layer_at(Millimetres(STAND_OFF_MM), Nanometres(nm))).through;
    let green = COLOURS[1];
    let best = COLOURS.into_iter().max_by(|a, b| through(a.1).total_cmp(&through(b.1))).unwrap_or(green);
    if through(best.1) > TWICE * through(green.1) { best } else { green }
}

/// The pixel of the small picture of `weftlight cloth show`.
fn source() -> Source {
    Package::named("5050").map_or(Source { beam_power: 1.0, window: Window::Point }, |package| Source {
        beam_power: package.beam_power,
        window: package.dies.first().map_or(package.window, |die| package.glow_source(die).1),
    })
}

fn as_json(
    arguments: &Arguments,
    cloth: &Cloth,
    text: &str,
    (nm, influences): (f64, &Influences),
    explained: &[String],
) -> serde_json::Value {
    let ranged = |value: f64, Influenced { low, high }, unit: &str| Range { value, low, high }.data(unit);
    let light = |moved| ranged(influences.light, moved, "1");
    let spot = |moved: Option<Influenced>| Some(ranged(influences.spot_mm?, moved?, "mm"));
    let mut all = whole_json(cloth);
    all["files"] = output::files(&arguments.output);
    all["cloth_file"] = json!(text);
    all["explained"] = json!(explained);
    all["influences"] = json!({
        "nm": nm,
        "gap_mm": STAND_OFF_MM,
        "light_through": light(influences.light_together),
        "spot_width_mm": spot(influences.spot_together),
        "each": influences.each.iter().map(|one| json!({
            "value": one.input.name(), "known_to": one.input.known_to(), "basis": one.input.basis(),
            "light_through": light(one.light), "spot_width_mm": spot(one.spot_mm),
        })).collect::<Vec<_>>(),
        "most_at_home_for_light": influences.most_for_light(Input::at_home).map(|one| one.input.name()),
        "most_at_home_for_spot": influences.most_for_spot(Input::at_home).map(|one| one.input.name()),
    });
    all
}
