//! A first scene from a few answers: text with comments, to be changed by hand.

use crate::cloth::catalogue;
use crate::diagnose::nearest;
use crate::pixels::package::{IDEAL, Package};
use std::f64::consts::PI;

/// Pixels that a scene is begun with at most; the scene's own limits are wider.
pub const MOST_PIXELS: f64 = 5000.0;

/// What can be asked about in numbers: key, what it is, unit, least and most that is taken, what is usual.
pub const NUMBERS: [Asked; 6] = [
    Asked {
        key: "pitch_mm",
        what: "distance between pixels",
        unit: "mm",
        least: 1.0,
        most: 500.0,
        usual: 16.67,
    },
    Asked { key: "width_mm", what: "width", unit: "mm", least: 1.0, most: 3000.0, usual: 400.0 },
    Asked { key: "height_mm", what: "height", unit: "mm", least: 1.0, most: 3000.0, usual: 200.0 },
    Asked {
        key: "gap_mm",
        what: "gap between pixels and cloth",
        unit: "mm",
        least: 0.0,
        most: 500.0,
        usual: 10.0,
    },
    Asked {
        key: "distance_m",
        what: "distance from which it is seen",
        unit: "m",
        least: 0.1,
        most: 100.0,
        usual: 2.0,
    },
    Asked { key: "room_lx", what: "light of the room", unit: "lx", least: 0.0, most: 20_000.0, usual: 10.0 },
];

/// A number that is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asked {
    /// Its key.
    pub key: &'static str,
    /// What it is, in words.
    pub what: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// The least that is taken.
    pub least: f64,
    /// The most that is taken.
    pub most: f64,
    /// What is usual.
    pub usual: f64,
}

impl Asked {
    /// The number that has this key.
    #[must_use]
    pub fn of(key: &str) -> Option<&'static Asked> {
        NUMBERS.iter().find(|asked| asked.key == key)
    }

    /// The value, when it can be taken.
    ///
    /// # Errors
    /// In words, when it lies outside.
    pub fn taken(&self, value: f64) -> Result<f64, String> {
        let Asked { what, unit, least, most, .. } = self;
        if (*least..=*most).contains(&value) {
            return Ok(value);
        }
        Err(format!("the {what} is {value} {unit}; it may be {least} to {most} {unit}"))
    }
}

/// The form in which pixels are bought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// A strip, laid straight.
    Strip,
    /// A ring.
    Ring,
    /// A rigid or flexible grid.
    Grid,
    /// A thin string, laid straight.
    String,
}

impl Form {
    /// All forms.
    pub const ALL: [Form; 4] = [Form::Strip, Form::Ring, Form::Grid, Form::String];

    /// Its name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Form::Strip => "strip",
            Form::Ring => "ring",
            Form::Grid => "grid",
            Form::String => "string",
        }
    }

    /// The form of this name.
    ///
    /// # Errors
    /// In words, when there is none.
    pub fn named(name: &str) -> Result<Form, String> {
        Form::ALL
            .into_iter()
            .find(|form| form.name() == name)
            .ok_or_else(|| unknown("form", name, "strip, ring, grid, string"))
    }
}

fn unknown(kind: &str, name: &str, known: &str) -> String {
    format!("there is no {kind} `{name}`; there are: {known}")
}

/// Names of the packages that a scene can be begun with.
#[must_use]
pub fn package_names() -> Vec<&'static str> {
    Package::names().into_iter().filter(|name| *name != IDEAL).collect()
}

/// The package's name, when it is one.
///
/// # Errors
/// In words, when it is none.
pub fn package(name: &str) -> Result<String, String> {
    let known = package_names();
    if known.contains(&name) { Ok(name.to_owned()) } else { Err(unknown("package", name, &known.join(", "))) }
}

/// The cloth's name, when it is one of the catalogue's.
///
/// # Errors
/// In words, when it is none.
pub fn cloth(name: &str) -> Result<String, String> {
    if catalogue::text(name).is_some() {
        return Ok(name.to_owned());
    }
    let near = nearest(name, catalogue::names())
        .map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
    Err(format!("the catalogue has no cloth `{name}`{near}"))
}

/// The answers.
#[derive(Clone, Debug, PartialEq)]
pub struct Answers {
    /// Form of the pixels.
    pub form: Form,
    /// Their package.
    pub package: String,
    /// Distance between them in mm.
    pub pitch_mm: f64,
    /// Width, length or diameter in mm.
    pub width_mm: f64,
    /// Height in mm, for a grid.
    pub height_mm: f64,
    /// Name of the cloth.
    pub cloth: String,
    /// Gap below it in mm.
    pub gap_mm: f64,
    /// Distance of the viewer in m.
    pub distance_m: f64,
    /// Light of the room in lx.
    pub room_lx: f64,
}

impl Answers {
    /// The scene's text.
    ///
    /// # Errors
    /// In words, when it would have too many pixels.
    pub fn scene_text(&self) -> Result<String, String> {
        let Answers { package, pitch_mm: pitch, width_mm: width, cloth, gap_mm, distance_m, room_lx, .. } =
            self;
        let along = |mm: f64| (mm / pitch).round().max(1.0);
        let strip =
            |count: f64| format!("strip: {{package: \"{package}\", pitch_mm: {pitch}, count: {count}}}");
        let (what, group, count) = match self.form {
            Form::Strip => ("A straight strip", strip(along(*width) + 1.0), along(*width) + 1.0),
            Form::String => {
                ("A string of pixels, laid straight", strip(along(*width) + 1.0), along(*width) + 1.0)
            }
            Form::Ring => {
                let count = (PI * width / pitch).round().max(3.0);
                (
                    "A ring",
                    format!("ring: {{package: \"{package}\", count: {count}, diameter_mm: {width}}}"),
                    count,
                )
            }
            Form::Grid => {
                let (columns, rows) = (along(*width) + 1.0, along(self.height_mm) + 1.0);
                let group = format!(
                    "grid: {{package: \"{package}\", columns: {columns}, rows: {rows}, pitch_mm: {pitch}, order: zigzag}}"
                );
                ("A grid", group, columns * rows)
            }
        };
        if count > MOST_PIXELS {
            return Err(format!("that would be {count} pixels; more than {MOST_PIXELS} are not begun with"));
        }
        Ok(format!(
            "# {what}, begun with a few questions. Lengths are in millimetres; what is left out has a sensible default.\n\
             name: My piece\n\
             board: {{reflectance: 0.5}}            # what the pixels sit on: the share of the light that it throws back\n\
             pixels:\n  - {group}\n\
             stack:                              # the cloths, from the pixels outwards\n  - {{gap_mm: {gap_mm}, cloth: {cloth}}}\n\
             light: {{colour: \"#ffd9a0\", level: 0.4}}\n\
             view: {{distance_m: {distance_m}, room_lx: {room_lx}}}\n"
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cloth::catalogue::CatalogueOnly;
    use crate::scene::file::resolve;

    fn answers(form: Form) -> Answers {
        Answers {
            form,
            package: "5050".to_owned(),
            pitch_mm: 10.0,
            width_mm: 100.0,
            height_mm: 50.0,
            cloth: "fleece".to_owned(),
            gap_mm: 6.0,
            distance_m: 2.0,
            room_lx: 10.0,
        }
    }

    #[test]
    fn every_form_is_a_sound_scene_of_the_asked_size() {
        // A strip of 100 mm at 10 mm has 11 pixels; a ring of 100 mm diameter has 314 mm around.
        for (form, count) in [(Form::Strip, 11), (Form::String, 11), (Form::Ring, 31), (Form::Grid, 66)] {
            let text = answers(form).scene_text().expect("few enough");
            let resolved = resolve(&text, "begun", &CatalogueOnly).expect("a sound scene");
            assert_eq!(resolved.scene.pixels.len(), count, "{form:?}");
            assert_eq!(resolved.warnings, []);
            assert_eq!(resolved.scene.stack[0].gap_below.0, 6.0);
            assert_eq!(Form::named(form.name()), Ok(form));
        }
    }

    #[test]
    fn what_cannot_be_taken_is_told_in_words() {
        let many = Answers { width_mm: 3000.0, height_mm: 3000.0, pitch_mm: 1.0, ..answers(Form::Grid) };
        assert!(many.scene_text().is_err_and(|words| words.contains("more than 5000")));
        assert!(Form::named("cube").is_err_and(|words| words.contains("strip")));
        assert!(cloth("fleec").is_err_and(|words| words.contains("`fleece`")));
        assert!(package("9999").is_err_and(|words| words.contains("5050")));
        let gap = Asked::of("gap_mm").expect("asked");
        assert!(gap.taken(-1.0).is_err() && gap.taken(f64::NAN).is_err());
        assert_eq!(gap.taken(0.0), Ok(0.0));
    }
}
