//! Scene files: from text to a [`Scene`] with nothing left open.
//!
//! [`resolve`] is pure: text in, scene or problems out; cloths come from a [`ClothSource`]. [`read`] does the same
//! for a file on disk.

use super::drawn::Drawings;
use super::groups::{self, Dimming};
use super::shape::{MARGIN_HEIGHTS, MARGIN_LEAST_MM, MOST_PIXELS, PLACED, SCENE};
use super::stand_off::{self, Relief};
use super::{
    Exposure, GroupForm, Laid, PatternPiece, Pixel, PlacedCloth, Scene, SheetWords, View, extent_with,
};
use crate::build::supply;
use crate::cloth::Cloth;
use crate::cloth::catalogue::{ClothSource, Reference};
use crate::diagnose::{Diagnostic, Problem, Problems, nearest};
use crate::motion::{self, pattern::Sent};
use crate::pixels::drawing::scale::Scale;
use crate::quantity::Millimetres;
use crate::reading::{Entry, Kind, Node, check, parse};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

/// A scene that can be used, and what in it is probably not meant.
#[derive(Clone, Debug, PartialEq)]
pub struct Resolved {
    /// The scene.
    pub scene: Scene,
    /// Warnings, in the order of the file.
    pub warnings: Vec<Diagnostic>,
    /// What became of the groups that follow a drawing or a list.
    pub laid: Vec<Laid>,
    /// What each group of the file is.
    pub forms: Vec<GroupForm>,
    /// The drawings that were used and the size of their units.
    pub scales: Vec<(String, Scale)>,
    /// The drawings and lists that were read, and the photograph that is named, as their paths are shown.
    pub files: Vec<String>,
    /// The maker's words on the sheet for a client.
    pub sheet: SheetWords,
}

/// Reads a scene file; warnings are dropped.
///
/// # Errors
/// Every problem of the file, and of the cloth files that it names.
pub fn read(path: &Path) -> Result<Scene, Vec<Diagnostic>> {
    read_with_warnings(path).map(|resolved| resolved.scene)
}

/// Reads a scene file.
///
/// # Errors
/// Every problem of the file, and of the cloth files that it names.
pub fn read_with_warnings(path: &Path) -> Result<Resolved, Vec<Diagnostic>> {
    let text = crate::files::read_text(path)?;
    resolve(&text, &path.display().to_string(), &crate::files::ClothsBeside::scene(path))
}

/// Reads a scene file with its pixels this many mm apart instead, as [`resolve_at_pitch`].
///
/// # Errors
/// As [`read`]; also when the pixels become too many.
pub fn read_at_pitch(path: &Path, pitch_mm: f64) -> Result<Resolved, Vec<Diagnostic>> {
    let text = crate::files::read_text(path)?;
    resolve_at_pitch(&text, &path.display().to_string(), &crate::files::ClothsBeside::scene(path), pitch_mm)
}

/// Reads the text of a scene. `shown_as` is the file's name in messages.
///
/// # Errors
/// Every problem of the text in the order of the file, followed by those of the cloth files that it names.
pub fn resolve(text: &str, shown_as: &str, cloths: &dyn ClothSource) -> Result<Resolved, Vec<Diagnostic>> {
    resolve_with(text, shown_as, cloths, None)
}

/// As [`resolve`], with the pixels of every strip, ring, grid, path and fill this many mm apart instead. Each group stays as long
/// as it is, to the nearest whole pixel, and so gets more or fewer pixels at the levels they had; lists of colours and levels
/// repeat. Rows of a fill move together in the same ratio; listed places stay.
///
/// # Errors
/// As [`resolve`]; also when the pixels become too many.
pub fn resolve_at_pitch(
    text: &str,
    shown_as: &str,
    cloths: &dyn ClothSource,
    pitch_mm: f64,
) -> Result<Resolved, Vec<Diagnostic>> {
    resolve_with(text, shown_as, cloths, Some(pitch_mm))
}

fn resolve_with(
    text: &str,
    shown_as: &str,
    cloths: &dyn ClothSource,
    pitch_mm: Option<f64>,
) -> Result<Resolved, Vec<Diagnostic>> {
    let mut problems = Problems::default();
    let mut elsewhere = Vec::new();
    let mut drawings = Drawings::new(cloths);
    let mut sheet = SheetWords::default();
    let found = match parse(text) {
        Ok(root) => {
            sheet = sheet_words(&root);
            scene_of(&root, cloths, &mut drawings, pitch_mm, &mut problems, &mut elsewhere)
        }
        Err(problem) => {
            problems.push(*problem);
            None
        }
    };
    let faulty = problems.errors() > 0;
    let mut diagnostics = problems.into_diagnostics(shown_as, text);
    diagnostics.extend(elsewhere);
    diagnostics.extend(drawings.elsewhere);
    match found {
        Some((scene, laid, forms)) if !faulty => Ok(Resolved {
            scene,
            warnings: diagnostics,
            laid,
            forms,
            scales: drawings.scales,
            files: drawings.files,
            sheet,
        }),
        _ => Err(diagnostics),
    }
}

/// Checks the whole tree, then reads as much of it as is sound, so that faults in one part do not hide those in
/// another. Gives `None` only after a problem was reported.
fn scene_of(
    root: &Node,
    cloths: &dyn ClothSource,
    drawings: &mut Drawings<'_>,
    pitch_mm: Option<f64>,
    problems: &mut Problems,
    elsewhere: &mut Vec<Diagnostic>,
) -> Option<(Scene, Vec<Laid>, Vec<GroupForm>)> {
    if root.value == crate::reading::Value::Nothing {
        problems.push(
            Problem::error(&root.place, "the file is empty")
                .allowed(format!("the keys {}", SCENE.keys()))
                .next("Begin with `pixels:` and `stack:`."),
        );
        return None;
    }
    check(root, &Kind::Map(&SCENE), "the scene", problems);
    let scene = Entry::new(&SCENE, root);
    let stack = stack(&scene, cloths, problems, elsewhere);
    stand_off::check_layers(&scene, problems);
    let relief = match scene.items("stack").first() {
        Some(node) => Relief::read(&Entry::new(&PLACED, node)),
        None => Some(Relief::Level),
    };
    let pixels = pixels(&scene, drawings, pitch_mm, problems);
    // At another pitch the pixels have other numbers than the file's author had in mind; those beyond the last are left out then.
    let count = pixels.as_ref().map(|groups| groups.pixels.len()).filter(|_| pitch_mm.is_none());
    let supply = scene.has("supply").then(|| supply::read(&scene.map("supply")?, count, problems));
    let piece = piece(&scene, drawings, problems);
    let mut stack = stack?;
    let Groups { mut pixels, sent, laid, forms, own_gaps } = pixels?;
    stand_off::settle(&mut pixels, &own_gaps, &mut stack, &relief?, &scene, problems);
    let pattern = match scene.map("light")?.has("pattern") {
        true => {
            let entry = scene.map("light")?.map("pattern")?;
            let found =
                motion::read::read(&entry, &pixels, &sent, cloths, problems, elsewhere, &mut drawings.files);
            Some(Arc::new(found?))
        }
        false => None,
    };
    if let Some(pattern) = &pattern {
        pixels.iter_mut().zip(pattern.levels_at(0.0)).for_each(|(pixel, levels)| pixel.levels = levels);
    }
    let height = stand_off::thickness(&pixels, &stack).0;
    let piece = piece?;
    if let Some(piece) = &piece {
        check_inside(&pixels, piece, &scene, problems);
    }
    let (low, high) = extent_with(&pixels, piece.as_ref());
    let shown_mm = [(high[0] - low[0]).0, (high[1] - low[1]).0];
    // Behind a pattern piece the light ends at its edge.
    let around = if piece.is_some() { 0.0 } else { MARGIN_HEIGHTS * height };
    let view = view(&scene.map("view")?, around + MARGIN_LEAST_MM, shown_mm, drawings, problems)?;
    let scene = Scene {
        name: scene.text("name")?.to_owned(),
        board_reflectance: scene.map("board")?.number("reflectance")?,
        pixels,
        stack,
        view,
        supply: supply.map_or(Some(None), |supply| supply.map(Some))?,
        piece,
        pattern,
    };
    Some((scene, laid, forms))
}

/// The maker's words on the sheet for a client; what is not sound is reported by the check of the whole tree.
fn sheet_words(root: &Node) -> SheetWords {
    let Some(sheet) = Entry::new(&SCENE, root).map("sheet") else { return SheetWords::default() };
    let text = |key| sheet.text(key).map(str::to_owned);
    SheetWords { title: text("title"), note: text("note"), client: text("client") }
}

/// The pattern piece; `None` after a problem was reported.
fn piece(
    scene: &Entry<'_>,
    drawings: &mut Drawings<'_>,
    problems: &mut Problems,
) -> Option<Option<PatternPiece>> {
    if !scene.has("outline") {
        return Some(None);
    }
    drawings.pattern(&scene.map("outline")?, problems).map(Some)
}

/// Pixels outside the pattern piece are an error, pixels in its seam allowance a warning; each group tells its own.
fn check_inside(pixels: &[Pixel], piece: &PatternPiece, scene: &Entry<'_>, problems: &mut Problems) {
    /// Pixels that a message names.
    const MOST_NAMED: usize = 5;
    let places: Vec<[f64; 2]> = pixels.iter().map(|pixel| pixel.at.map(|v| v.0)).collect();
    let near = piece.outline.too_near(&places, piece.seam.0);
    for (group, node) in scene.items("pixels").iter().enumerate() {
        let own = || near.iter().filter(|(i, _)| pixels[*i].group == group);
        let outside: Vec<_> = own().filter(|(_, depth)| *depth < 0.0).copied().collect();
        let in_seam: Vec<_> = own().filter(|(_, depth)| *depth >= 0.0).copied().collect();
        let place = node.place.start();
        for (which, what) in [(outside, "outside the outline"), (in_seam, "in the seam allowance")] {
            let worst = which.iter().min_by(|a, b| a.1.total_cmp(&b.1));
            let Some((index, depth)) = worst.copied() else { continue };
            let one = which.len() == 1;
            let message = if one { "a pixel lies".to_owned() } else { format!("{} pixels lie", which.len()) };
            let [x, y] = places[index];
            let far = if depth < 0.0 { "outside" } else { "from the edge" };
            let named: Vec<String> = which.iter().take(MOST_NAMED).map(|(i, _)| i.to_string()).collect();
            let more = if which.len() > MOST_NAMED { " …" } else { "" };
            let message = format!("{message} {what}");
            let mut problem = if depth < 0.0 {
                Problem::error(&place, message)
            } else {
                Problem::warning(&place, message).allowed(format!("at least {} from the edge", piece.seam))
            };
            problem =
                problem.found(format!("pixel {index}, {:.2} mm {far}, at [{x:.1}, {y:.1}]", depth.abs()));
            problems.push(problem.next(format!(
                "Counted from 0 over the whole scene: {}{more}. Move them inside, or check `at_mm` and the drawing's size.",
                named.join(", ")
            )));
        }
    }
}

/// The largest default picture, width and height.
const DEFAULT_PX: [f64; 2] = [1920.0, 1080.0];
/// A default picture of a long strip keeps this many image pixels on its short side, so that the caption fits.
const SHORT_SIDE_PX: f64 = 480.0;

/// The default size of a picture of `across_mm` (width and height): its own proportions within [`DEFAULT_PX`].
fn fitting_size(across_mm: [f64; 2]) -> [f64; 2] {
    let mm_per_px = (across_mm[0] / DEFAULT_PX[0]).max(across_mm[1] / DEFAULT_PX[1]);
    std::array::from_fn(|i| (across_mm[i] / mm_per_px).round().clamp(SHORT_SIDE_PX, DEFAULT_PX[i]))
}

/// A picture shows at least this much of the garment: the size of one package. Without a margin, a single pixel has
/// no size at all.
const LEAST_SHOWN_MM: f64 = 1.0;

fn view(
    view: &Entry<'_>,
    usual_margin_mm: f64,
    shown_mm: [f64; 2],
    drawings: &mut Drawings<'_>,
    problems: &mut Problems,
) -> Option<View> {
    let photo = super::on_photo::read(view, drawings, problems);
    let margin = if view.has("margin_mm") { view.number("margin_mm")? } else { usual_margin_mm };
    let across_mm = shown_mm.map(|length| length + 2.0 * margin);
    if across_mm.iter().all(|length| *length < LEAST_SHOWN_MM) {
        problems.push(
            Problem::error(view.place_of("margin_mm"), "the picture would show too little")
                .found(format!("{:.2} mm by {:.2} mm", across_mm[0], across_mm[1]))
                .allowed(format!("at least {LEAST_SHOWN_MM} mm from side to side"))
                .next("Give `view` a larger `margin_mm`, or leave it out."),
        );
        return None;
    }
    let [width, height] = if view.has("size_px") { view.pair("size_px")? } else { fitting_size(across_mm) };
    Some(View {
        distance_m: view.number("distance_m")?,
        room_lx: view.number("room_lx")?,
        exposure: match view.number("exposure_ev") {
            Some(ev) => Exposure::Fixed(ev),
            None => Exposure::Auto,
        },
        margin: Millimetres(margin),
        size_px: [width as u32, height as u32],
        age_years: view.number("age_years")?,
        eye_pigment: view.number("eye")?,
        photo: photo?,
        side_rad: view.number("side_deg")?.to_radians(),
        from_rad: view.number("from_deg")?.to_radians(),
    })
}

/// What the groups of pixels say.
struct Groups {
    pixels: Vec<Pixel>,
    /// What each pixel is sent, before any pattern.
    sent: Vec<Sent>,
    /// What is to be told of those that follow a drawing or a list.
    laid: Vec<Laid>,
    /// What each group is.
    forms: Vec<GroupForm>,
    /// `gap_mm` of each group that has one.
    own_gaps: Vec<Option<f64>>,
}

/// The pixels of all groups; `None` after a problem was reported.
fn pixels(
    scene: &Entry<'_>,
    drawings: &mut Drawings<'_>,
    pitch_mm: Option<f64>,
    problems: &mut Problems,
) -> Option<Groups> {
    let light = scene.map("light").as_ref().and_then(Dimming::of_light);
    let nodes = scene.items("pixels");
    let mut total = 0.0;
    let mut groups = Vec::with_capacity(nodes.len());
    for node in nodes {
        let group = groups::read(node, drawings, problems).and_then(|group| match pitch_mm {
            Some(pitch) => group.at_pitch(pitch, problems),
            None => Some(group),
        });
        total += group.as_ref().map_or(0.0, groups::Group::pixels);
        groups.push(group);
        if total > MOST_PIXELS as f64 {
            break; // Drawn groups hold their places, so that more of them would only fill the memory.
        }
    }
    if total > MOST_PIXELS as f64 {
        problems.push(
            Problem::error(&scene.place_of("pixels").start(), "the scene has too many pixels")
                .found(format!("{total} pixels{}", if groups.len() < nodes.len() { " or more" } else { "" }))
                .allowed(format!("at most {MOST_PIXELS}")),
        );
        return None;
    }
    let groups: Vec<groups::Group<'_>> = groups.into_iter().collect::<Option<_>>()?;
    let light = light?;
    let (mut pixels, mut sent) = (Vec::new(), Vec::new());
    for (index, group) in groups.iter().enumerate() {
        let (lit, sent_to_them) = group.lit_pixels(&light, index)?;
        pixels.extend(lit);
        sent.extend(sent_to_them);
    }
    let moves = scene.map("light").is_some_and(|light| light.has("pattern"));
    if !moves
        && !pixels.is_empty()
        && pixels.iter().all(|pixel| pixel.levels.iter().all(|level| *level <= 0.0))
    {
        problems.push(
            Problem::warning(scene.place_of("light"), "every pixel is dark")
                .next("Give `light` a level above 0 and a colour other than black."),
        );
    }
    let laid = groups.iter().enumerate().filter_map(|(index, group)| group.laid(index)).collect();
    let own_gaps = groups.iter().map(groups::Group::own_gap_mm).collect();
    let forms = groups.iter().map(groups::Group::form).collect();
    Some(Groups { pixels, sent, laid, forms, own_gaps })
}

fn stack(
    scene: &Entry<'_>,
    cloths: &dyn ClothSource,
    problems: &mut Problems,
    elsewhere: &mut Vec<Diagnostic>,
) -> Option<Vec<PlacedCloth>> {
    let errors = problems.errors();
    let mut finder = Finder { cloths, found: BTreeMap::new() };
    let placed: Vec<Option<PlacedCloth>> = scene
        .items("stack")
        .iter()
        .map(|node| {
            let entry = Entry::new(&PLACED, node);
            let cloth = match entry.map("cloth") {
                Some(inline) if entry.has("cloth") => {
                    crate::cloth::file::from_entry(&inline, problems).map(Arc::new)
                }
                _ => entry.text("cloth").and_then(|name| finder.find(name, &entry, problems, elsewhere)),
            };
            let sleeve = entry.flag("sleeve")?;
            Some(PlacedCloth { gap_below: Millimetres(entry.number("gap_mm")?), cloth: cloth?, sleeve })
        })
        .collect();
    if problems.errors() > errors {
        return None;
    }
    placed.into_iter().collect()
}

/// Finds the cloths of a scene; each name and each file once, however often it is used.
struct Finder<'a> {
    cloths: &'a dyn ClothSource,
    found: BTreeMap<String, Option<Arc<Cloth>>>,
}

impl Finder<'_> {
    fn find(
        &mut self,
        name: &str,
        entry: &Entry<'_>,
        problems: &mut Problems,
        elsewhere: &mut Vec<Diagnostic>,
    ) -> Option<Arc<Cloth>> {
        if let Some(known @ Some(_)) = self.found.get(name) {
            return known.clone();
        }
        let place = entry.place_of("cloth");
        let cloth = match Reference::of(name) {
            Reference::Path(path) => Some(self.cloths.by_path(path)),
            Reference::Name(name) => self.cloths.by_name(name),
        };
        let result = match cloth {
            Some(Ok(cloth)) => Some(cloth),
            Some(Err(faults)) => {
                problems.push(
                    Problem::error(place, "the cloth file cannot be used")
                        .found(name)
                        .next("Its own problems follow below."),
                );
                if !self.found.contains_key(name) {
                    elsewhere.extend(faults);
                }
                None
            }
            None => {
                problems.push(unknown_cloth(name, place, &self.cloths.names()));
                None
            }
        };
        self.found.insert(name.to_owned(), result.clone());
        result
    }
}

fn unknown_cloth(name: &str, place: &crate::diagnose::Place, names: &[String]) -> Problem {
    let problem = Problem::error(place, format!("there is no cloth `{}`", crate::diagnose::shortened(name)))
        .found(name)
        .allowed(format!("{}; or a file that ends in .yaml, or a cloth written in place", names.join(", ")));
    match nearest(name, names.iter().map(String::as_str)) {
        Some(near) => problem.next(format!("Did you mean `{near}`?")),
        None => problem,
    }
}
