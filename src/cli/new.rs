//! `weftlight new`: a first scene from a few questions.

use super::{Outcome, output};
use crate::diagnose::Diagnostic;
use crate::files;
use crate::scene::starter::{Answers, Asked, Form, cloth, package};
use crate::words::capital;
use clap::Args;
use serde_json::json;
use std::io::{self, BufRead, Write};
use std::path::{Path, PathBuf};

/// What is usual where words are asked for.
const USUAL_FORM: &str = "strip";
const USUAL_PACKAGE: &str = "5050";
const USUAL_CLOTH: &str = "felt-wool-ivory";

/// Begin a scene file with a few questions
///
/// Every question has a usual answer, which Enter takes; answers that are given as options are not asked for. The file has
/// comments and is meant to be changed by hand. A file that is there already is left alone.
#[derive(Debug, Args)]
#[command(after_help = "Example: weftlight new cape.yaml --form strip --width-mm 600 --cloth fleece")]
pub(super) struct Arguments {
    /// The scene file to write
    #[arg(value_name = "FILE", default_value = "scene.yaml")]
    file: PathBuf,

    /// Form of the pixels: strip, ring, grid or string
    #[arg(long, value_name = "FORM")]
    form: Option<String>,

    /// Package of the pixels, such as 5050
    #[arg(long, value_name = "NAME")]
    package: Option<String>,

    /// Distance between pixels in mm
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    pitch_mm: Option<String>,

    /// Width in mm: the length of a strip, the diameter of a ring
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    width_mm: Option<String>,

    /// Height of a grid in mm
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    height_mm: Option<String>,

    /// Cloth over the pixels, by its name in the catalogue (`weftlight cloth list`)
    #[arg(long, value_name = "NAME")]
    cloth: Option<String>,

    /// Gap between pixels and cloth in mm
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    gap_mm: Option<String>,

    /// Distance from which it is seen in m
    #[arg(long, value_name = "M", allow_negative_numbers = true)]
    distance_m: Option<String>,

    /// Light of the room in lx
    #[arg(long, value_name = "LX", allow_negative_numbers = true)]
    room_lx: Option<String>,

    /// Ask nothing: take the usual answer for what is not given
    #[arg(long)]
    no_questions: bool,

    /// Print the answers as JSON (its shape: `weftlight check --schema new`)
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    files::check_new(&arguments.file)?;
    let mut asking = Asking { ended: arguments.no_questions };
    let answers = asking.answers(arguments).map_err(|what| refused(&what))?;
    let text = answers.scene_text().map_err(|what| refused(&what))?;
    files::write_new(&arguments.file, text.as_bytes())?;
    if arguments.json {
        return Ok(output::json(&as_json(&arguments.file, &answers)));
    }
    let file = arguments.file.as_os_str();
    let picture = arguments.file.with_extension("png");
    let outcome = output::data(&format!("Wrote {}.", arguments.file.display()));
    output::next("see it", ["preview".as_ref(), file, "-o".as_ref(), picture.as_os_str()]);
    output::next("try it by hand in the browser", ["serve".as_ref(), file, "--open".as_ref()]);
    Ok(outcome)
}

fn as_json(file: &Path, answers: &Answers) -> serde_json::Value {
    json!({
        "files": output::files([file]),
        "form": answers.form.name(), "package": answers.package, "pitch_mm": answers.pitch_mm, "width_mm": answers.width_mm,
        "height_mm": (answers.form == Form::Grid).then_some(answers.height_mm), "cloth": answers.cloth, "gap_mm": answers.gap_mm,
        "distance_m": answers.distance_m, "room_lx": answers.room_lx,
    })
}

fn refused(what: &str) -> Vec<Diagnostic> {
    vec![Diagnostic::of_file("the answers", what.to_owned())]
}

/// The questions still to be asked.
struct Asking {
    /// Nobody answers (any more): the usual answers are taken.
    ended: bool,
}

impl Asking {
    fn answers(&mut self, given: &Arguments) -> Result<Answers, String> {
        let form = self.word(
            "Form of the pixels (strip, ring, grid, string)",
            given.form.as_deref(),
            USUAL_FORM,
            Form::named,
        )?;
        Ok(Answers {
            form,
            package: self.word("Package of the pixels", given.package.as_deref(), USUAL_PACKAGE, package)?,
            pitch_mm: self.number("pitch_mm", given.pitch_mm.as_deref(), None)?,
            width_mm: self.number("width_mm", given.width_mm.as_deref(), width_words(form))?,
            height_mm: match form {
                Form::Grid => self.number("height_mm", given.height_mm.as_deref(), None)?,
                _ => 0.0,
            },
            cloth: self.word(
                "Cloth over them (`weftlight cloth list`)",
                given.cloth.as_deref(),
                USUAL_CLOTH,
                cloth,
            )?,
            gap_mm: self.number("gap_mm", given.gap_mm.as_deref(), None)?,
            distance_m: self.number("distance_m", given.distance_m.as_deref(), None)?,
            room_lx: self.number("room_lx", given.room_lx.as_deref(), None)?,
        })
    }

    fn number(&mut self, key: &str, given: Option<&str>, words: Option<&str>) -> Result<f64, String> {
        let asked = Asked::of(key).ok_or_else(|| format!("nobody asked for `{key}`"))?;
        let question = format!("{} in {}", capital(words.unwrap_or(asked.what)), asked.unit);
        self.word(&question, given, &asked.usual.to_string(), |text| {
            let value = text.replace(',', ".").parse().map_err(|_| format!("`{text}` is not a number"))?;
            asked.taken(value)
        })
    }

    /// An answer: that given, else the one typed (asked for again until it can be taken), else the usual one.
    fn word<T>(
        &mut self,
        question: &str,
        given: Option<&str>,
        usual: &str,
        read: impl Fn(&str) -> Result<T, String>,
    ) -> Result<T, String> {
        if let Some(given) = given {
            return read(given.trim());
        }
        while !self.ended {
            let Some(typed) = self.typed(question, usual) else { break };
            match read(if typed.is_empty() { usual } else { &typed }) {
                Ok(value) => return Ok(value),
                Err(what) => output::message(&format!(
                    "{}{}",
                    capital(&what),
                    if what.ends_with('?') { "" } else { "." }
                )),
            }
        }
        read(usual)
    }

    /// A line from standard input; `None` at its end.
    fn typed(&mut self, question: &str, usual: &str) -> Option<String> {
        let mut told = io::stderr().lock();
        // There is nowhere to tell that the question could not be shown.
        let _ = write!(told, "{question} [{usual}]: ").and_then(|()| told.flush());
        drop(told);
        let mut line = String::new();
        let read = io::stdin().lock().read_line(&mut line);
        if !read.is_ok_and(|bytes| bytes > 0) {
            output::message("");
            self.ended = true;
            return None;
        }
        Some(line.trim().to_owned())
    }
}

fn width_words(form: Form) -> Option<&'static str> {
    match form {
        Form::Ring => Some("diameter"),
        Form::Grid => None,
        Form::Strip | Form::String => Some("length"),
    }
}
