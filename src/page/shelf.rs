//! The cloths: each as a small lit swatch with the figures by which a maker chooses, and cloths of the maker's own.
//!
//! Every swatch shows one white 5050 pixel at a level at which none is white all over, 6 mm behind the cloth in a dark room, all at one exposure: that of the
//! middle of the catalogue. What is brighter or darker on the shelf is so at home.

use super::asked::Answer;
use crate::cloth::Cloth;
use crate::cloth::catalogue;
use crate::cloth::diffuse::through_with_range;
use crate::cloth::file::resolve as cloth_of;
use crate::cloth::label::write::{Heading, cloth_file};
use crate::cloth::label::{LabelInput, Structure};
use crate::diagnose::Diagnostic;
use crate::light::straight::straight_transmittance;
use crate::picture::clip::developed;
use crate::picture::exposure::{ExposureValue, resolve_for_set};
use crate::picture::luminance::{LuminanceImage, luminance};
use crate::picture::png_out::srgb_8;
use crate::quantity::{Millimetres, Nanometres};
use crate::reading::plain::Plain;
use crate::reading::{parse, shape};
use crate::scene::{Exposure, Scene};
use serde_json::{Value, json};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// Stand-off of the swatches.
const STAND_OFF_MM: f64 = 6.0;
/// Side of a swatch in image pixels, and what it shows in mm.
const SIDE_PX: u32 = 160;
const SIDE_MM: f64 = 44.0;
/// Where the shelf's share of light is told: green, which the eye weighs most.
const GREEN_NM: f64 = 525.0;
/// Cloths of one's own on the shelf of one page; beyond, the oldest leaves.
const MOST_OWN: usize = 100;

/// A cloth of the maker's own.
#[derive(Clone, Debug)]
struct Own {
    cloth: Arc<Cloth>,
    text: String,
}

/// The cloths of a page.
#[derive(Debug, Default)]
pub struct Shelf {
    own: Mutex<Vec<Own>>,
    exposure: OnceLock<ExposureValue>,
}

impl Shelf {
    fn own(&self) -> Vec<Own> {
        self.own.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn add(&self, own: Own) {
        let mut all = self.own.lock().unwrap_or_else(PoisonError::into_inner);
        all.retain(|known| known.cloth.name != own.cloth.name);
        all.push(own);
        if all.len() > MOST_OWN {
            all.remove(0);
        }
    }

    fn cloth(&self, name: &str) -> Option<Arc<Cloth>> {
        let own = self.own().into_iter().find(|own| own.cloth.name == name).map(|own| own.cloth);
        own.or_else(|| catalogue::by_name(name)?.ok())
    }

    /// A value with every `{shelf: NAME}` in it replaced by that cloth, written in place; `None` where there is no such cloth.
    #[must_use]
    pub fn written_in(&self, value: Plain) -> Option<Plain> {
        match value {
            Plain::Map(entries) => match entries.as_slice() {
                [(key, Plain::Text(name))] if key == "shelf" => {
                    let own = self.own().into_iter().find(|own| own.cloth.name == *name)?;
                    parse(&own.text).ok().map(|tree| Plain::from(&tree))
                }
                _ => {
                    let written = |(key, value)| Some((key, self.written_in(value)?));
                    entries.into_iter().map(written).collect::<Option<_>>().map(Plain::Map)
                }
            },
            Plain::List(items) => {
                items.into_iter().map(|item| self.written_in(item)).collect::<Option<_>>().map(Plain::List)
            }
            other => Some(other),
        }
    }

    /// The exposure of all swatches.
    fn exposure(&self) -> ExposureValue {
        *self.exposure.get_or_init(|| {
            let cloths = catalogue::names().filter_map(|name| catalogue::by_name(name)?.ok());
            let pictures: Vec<LuminanceImage> = cloths.map(|cloth| luminance(&one_pixel(&cloth))).collect();
            resolve_for_set(Exposure::Auto, pictures.iter().map(|p| p.image.planes[1].as_slice()))
        })
    }
}

fn one_pixel(cloth: &Arc<Cloth>) -> Scene {
    Scene::one_pixel_behind(cloth, Millimetres(STAND_OFF_MM), Millimetres(SIDE_MM), SIDE_PX)
}

/// All cloths with the figures by which one chooses.
#[must_use]
pub fn list(shelf: &Shelf) -> Answer {
    let named = catalogue::names().filter_map(|name| catalogue::by_name(name)?.ok());
    let mut cloths: Vec<Value> = named.map(|cloth| facts(&cloth, None)).collect();
    cloths.extend(shelf.own().iter().map(|own| facts(&own.cloth, Some(&own.text))));
    Answer::json(&json!({"cloths": cloths, "stand_off_mm": STAND_OFF_MM}))
}

fn facts(cloth: &Arc<Cloth>, own: Option<&str>) -> Value {
    let scene = one_pixel(cloth);
    let numbers = crate::judge::numbers::Layout::of(&scene).numbers(&scene);
    let [middle, low, high] = through_with_range(cloth, Nanometres(GREEN_NM));
    let layer = cloth.layer_at(Millimetres(STAND_OFF_MM), Nanometres(GREEN_NM));
    json!({
        "name": cloth.name, "title": cloth.title, "about": cloth.source, "thickness_mm": cloth.thickness.0,
        "areal_mass_g_m2": cloth.areal_mass_g_m2, "light_kept": middle, "light_kept_low": low, "light_kept_high": high,
        "spot_mm": numbers.spot_width_mm, "straight_share": straight_transmittance(&[layer]), "basis": cloth.basis.key(),
        "own": own.is_some(), "swatch": format!("/api/shelf/{}.png", cloth.name),
        // What to put into a scene: the name, or the whole cloth written in place, so that the scene needs no other file.
        "value": own.map_or_else(|| json!(cloth.name), in_place),
    })
}

/// A cloth file's text as JSON.
pub(super) fn in_place(text: &str) -> Value {
    parse(text).map_or(Value::Null, |tree| as_json(&Plain::from(&tree)))
}

pub(super) fn as_json(plain: &Plain) -> Value {
    match plain {
        Plain::Nothing => Value::Null,
        Plain::Flag(flag) => json!(flag),
        Plain::Number(number) => json!(number),
        Plain::Text(text) => json!(text),
        Plain::List(items) => items.iter().map(as_json).collect(),
        Plain::Map(entries) => {
            Value::Object(entries.iter().map(|(key, value)| (key.clone(), as_json(value))).collect())
        }
    }
}

/// The swatch of a cloth; `None` where there is no such cloth.
#[must_use]
pub fn swatch(shelf: &Shelf, name: &str) -> Option<Answer> {
    let cloth = shelf.cloth(name)?;
    let image = luminance(&one_pixel(&cloth));
    let canvas = developed(&image, shelf.exposure());
    let png = srgb_8(&canvas, image.frame.mm_per_px, &[("Software", "weftlight")]).ok()?;
    Some(Answer::bytes("image/png", png, None))
}

/// Names of the fibres that a label may name.
#[must_use]
pub fn fibres() -> Vec<&'static str> {
    crate::cloth::fibres::names().collect()
}

/// A cloth from its label, put on the shelf.
#[must_use]
pub fn estimate(question: &Value, shelf: &Shelf) -> Answer {
    match label(question) {
        Ok((name, title, label)) => {
            let heading = Heading {
                name: &name,
                title: &title,
                source: "Label estimate by the fibre model from the values given. Not measured.",
                comment: "",
            };
            let text = cloth_file(&heading, &label);
            match put_on(shelf, text.clone(), "the label") {
                Ok(cloth) => {
                    let [middle, low, high] = through_with_range(&cloth, Nanometres(GREEN_NM));
                    let words = vec![
                        format!(
                            "Lets {:.0} % of green light through, probably {:.0} to {:.0} %.",
                            100.0 * middle,
                            100.0 * low,
                            100.0 * high
                        ),
                        "An estimate from its label, not a measurement; a test piece decides.".to_owned(),
                    ];
                    let answer =
                        json!({"name": name, "text": text, "words": words, "value": in_place(&text)});
                    Answer::json(&answer)
                }
                Err(problems) => Answer::problems("", &problems),
            }
        }
        Err(what) => Answer::problem(what, "Change it in the form."),
    }
}

/// Puts a cloth of the maker's own onto the shelf.
///
/// # Errors
/// The problems of its text.
pub(super) fn put_on(shelf: &Shelf, text: String, shown_as: &str) -> Result<Arc<Cloth>, Vec<Diagnostic>> {
    let cloth = Arc::new(cloth_of(&text, shown_as)?);
    shelf.add(Own { cloth: Arc::clone(&cloth), text });
    Ok(cloth)
}

/// The title that a form gives own cloth.
pub(super) fn title(question: &Value) -> String {
    let title = question["title"].as_str().map(str::trim).filter(|title| !title.is_empty());
    title.map_or_else(|| "My cloth".to_owned(), |title| title.chars().take(80).collect())
}

fn label(question: &Value) -> Result<(String, String, LabelInput), String> {
    let number = |key: &str, name: &str| {
        question[key]
            .as_f64()
            .filter(|v| v.is_finite())
            .ok_or_else(|| format!("{name} is missing or no number"))
    };
    let title = title(question);
    let fibre = question["fibre"].as_str().unwrap_or("").trim().to_owned();
    let colour =
        question["colour"].as_str().and_then(shape::colour).ok_or("the colour is missing: #rrggbb")?;
    let structure = match question["structure"].as_str() {
        None | Some("") => Structure::Felt,
        Some(name) => {
            Structure::named(name).ok_or_else(|| format!("`{name}` is no way in which cloth is made"))?
        }
    };
    let label = LabelInput {
        fibres: vec![(fibre, 1.0)],
        fibre_um: question["fibre_diameter_um"].as_f64(),
        areal_mass_g_m2: number("areal_mass_g_m2", "the mass of a square metre (g)")?,
        thickness: Millimetres(number("thickness_mm", "the thickness (mm)")?),
        colour,
        structure,
        cover: question["cover"].as_f64(),
    };
    Ok((short_name(&title), title, label))
}

/// A short name from a title: lower-case letters, digits and hyphens; letters of other scripts by their numbers where there are no others, so that
/// two titles do not become one name.
pub(super) fn short_name(title: &str) -> String {
    let mut name = String::from("own");
    if !title.chars().any(|c| c.is_ascii_alphanumeric()) {
        title
            .chars()
            .filter(|c| c.is_alphanumeric())
            .for_each(|c| name.push_str(&format!("-{:x}", u32::from(c))));
    }
    for c in title.to_lowercase().chars() {
        match c {
            'a'..='z' | '0'..='9' => {
                if name == "own" {
                    name.push('-');
                }
                name.push(c);
            }
            _ if !name.ends_with('-') => name.push('-'),
            _ => {}
        }
    }
    name.trim_end_matches('-').chars().take(40).collect()
}
