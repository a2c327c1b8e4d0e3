//! Groups that follow a drawing or a list, and the outline of the pattern piece: from an entry of the file to places.

use super::shape::MOST_PIXELS;
use super::{Laid, LaidKind, PatternPiece};
use crate::cloth::catalogue::{ClothSource, NamedText};
use crate::diagnose::{Diagnostic, Place as FilePlace, Problem, Problems, shortened};
use crate::pixels::curve::{Curve, FIT_MM, MOST_LINES};
use crate::pixels::drawing::{self, Drawing, Missing, scale::Scale};
use crate::pixels::fill::{Filled, Filling, NoFilling};
use crate::pixels::laying::{Kind, Laying};
use crate::pixels::layout::Place;
use crate::pixels::list;
use crate::pixels::outline::{NoOutline, Outline};
use crate::quantity::Millimetres;
use crate::reading::Entry;
use kurbo::{Affine, BezPath};
use std::collections::BTreeMap;
use std::sync::Arc;

/// A drawing that was read, with its file.
struct Sheet {
    file: NamedText,
    drawing: Drawing,
}

/// The drawings of a scene; each file is read once, however often it is used.
pub(super) struct Drawings<'a> {
    source: &'a dyn ClothSource,
    sheets: BTreeMap<String, Option<Arc<Sheet>>>,
    /// Problems of the files themselves.
    pub(super) elsewhere: Vec<Diagnostic>,
    /// Names of the drawings with the size of their units, in the order of use.
    pub(super) scales: Vec<(String, Scale)>,
    /// Drawings and lists that were read.
    pub(super) files: Vec<String>,
    /// Lines and curves of all groups so far.
    lines: usize,
}

/// Lines and curves of all drawn groups of a scene together; bounds time and memory (each takes some kilobytes).
const MOST_SCENE_LINES: usize = 100_000;

impl<'a> Drawings<'a> {
    pub(super) fn new(source: &'a dyn ClothSource) -> Drawings<'a> {
        Drawings {
            source,
            sheets: BTreeMap::new(),
            elsewhere: Vec::new(),
            scales: Vec::new(),
            files: Vec::new(),
            lines: 0,
        }
    }

    /// The text of a file; `None` after its problems were noted.
    fn text(&mut self, path: &str) -> Option<NamedText> {
        let file = self.source.drawing_text(path).map_err(|faults| self.elsewhere.extend(faults)).ok()?;
        self.files.push(file.shown_as.clone());
        Some(file)
    }

    /// Notes a file that is named and read later; gives its path from the present folder.
    pub(super) fn named(&mut self, path: &str) -> String {
        let whole = self.source.path_of(path);
        self.files.push(whole.clone());
        whole
    }

    fn sheet(&mut self, path: &str, place: &FilePlace, problems: &mut Problems) -> Option<Arc<Sheet>> {
        let known = self.sheets.get(path).cloned();
        let sheet = known.unwrap_or_else(|| {
            let sheet = self.opened(path);
            self.sheets.insert(path.to_owned(), sheet.clone());
            sheet
        });
        if sheet.is_none() {
            problems.push(
                Problem::error(place, "the drawing cannot be used")
                    .found(path)
                    .next("Its own problems follow below."),
            );
        }
        sheet
    }

    fn opened(&mut self, path: &str) -> Option<Arc<Sheet>> {
        let file = self.text(path)?;
        let mut own = Problems::default();
        let drawing = drawing::read(&file.text, &mut own);
        self.elsewhere.extend(own.into_diagnostics(&file.shown_as, &file.text));
        let drawing = drawing?;
        self.scales.push((path.to_owned(), drawing.scale));
        Some(Arc::new(Sheet { file, drawing }))
    }

    /// The lines that an entry draws. `None` after a problem was reported.
    fn lines(&mut self, entry: &Entry<'_>, problems: &mut Problems) -> Option<BezPath> {
        let path = self.drawn(entry, problems)?;
        self.lines += path.segments().count();
        if self.lines > MOST_SCENE_LINES {
            problems.push(
                Problem::error(source_place(entry), "the curves of the scene have too many lines")
                    .found(format!("{} up to here", self.lines))
                    .allowed(format!("at most {MOST_SCENE_LINES} in all groups together"))
                    .next("Simplify the curves in the drawing program."),
            );
            return None;
        }
        Some(path)
    }

    /// What an entry draws, by `svg` and `id` or by `points_mm`, in its place.
    fn drawn(&mut self, entry: &Entry<'_>, problems: &mut Problems) -> Option<BezPath> {
        let [x, y] = entry.pair("at_mm")?;
        if entry.has("points_mm") {
            let mut path = BezPath::new();
            for (i, [x, y]) in entry.pairs("points_mm")?.into_iter().enumerate() {
                if i == 0 { path.move_to((x, y)) } else { path.line_to((x, y)) }
            }
            return Some(Affine::translate((x, y)) * path);
        }
        let sheet = self.sheet(entry.text("svg")?, entry.place_of("svg"), problems)?;
        let Some(id) = entry.text("id") else {
            if !entry.has("id") {
                let ids = sheet.drawing.ids().take(20).map(shortened).collect::<Vec<_>>().join(", ");
                problems.push(
                    Problem::error(
                        entry.place_of("svg"),
                        format!("{} needs the key `id`", entry.shape().what),
                    )
                    .allowed(format!("ids of this drawing: {ids}"))
                    .next("Add `id`: the id of the element in the drawing."),
                );
            }
            return None;
        };
        let place = entry.place_of("id");
        match sheet.drawing.shape(id, &sheet.file.text) {
            Ok(found) => {
                for remark in found.remarks {
                    problems.push(Problem::warning(place, remark));
                }
                Some(Affine::translate((x, y)) * found.path)
            }
            Err(Missing::Id { what, allowed, near }) => {
                let problem = Problem::error(place, what).found(id).allowed(allowed);
                problems.push(match near {
                    Some(near) => problem.next(format!("Did you mean `{near}`?")),
                    None => problem,
                });
                None
            }
            Err(Missing::Faulty(own)) => {
                self.elsewhere.push(Diagnostic::new(&sheet.file.shown_as, &sheet.file.text, *own));
                let problem = Problem::error(place, "this element of the drawing cannot be used").found(id);
                problems.push(problem.next("What is wrong in it follows below."));
                None
            }
        }
    }

    /// The outline of the pattern piece.
    pub(super) fn pattern(&mut self, entry: &Entry<'_>, problems: &mut Problems) -> Option<PatternPiece> {
        let path = self.lines(entry, problems)?;
        let seam = Millimetres(entry.number("seam_mm")?);
        match Outline::of(&path_closed(path, entry)) {
            Ok(outline) => Some(PatternPiece { outline, seam }),
            Err(fault) => {
                problems.push(no_outline(fault, entry));
                None
            }
        }
    }
}

/// Corners listed in the scene go around to the first; a drawing says itself where it is closed.
fn path_closed(mut path: BezPath, entry: &Entry<'_>) -> BezPath {
    if entry.has("points_mm") {
        path.close_path();
    }
    path
}

/// Where the lines of an entry come from.
fn source_place<'a>(entry: &Entry<'a>) -> &'a FilePlace {
    entry.place_of(if entry.has("points_mm") { "points_mm" } else { "id" })
}

fn no_outline(fault: NoOutline, entry: &Entry<'_>) -> Problem {
    let what =
        format!("{}{fault}", if entry.shape().what == "a fill" { "it cannot be filled: " } else { "" });
    let problem = Problem::error(&source_place(entry).start(), what);
    match fault {
        NoOutline::Open { .. } => problem.next("Close the curve in the drawing program."),
        NoOutline::Crossing { .. } => problem
            .allowed("a closed curve that does not cross or touch itself; a closed curve inside another is a hole")
            .next("Mend the curve there; x runs to the right and y upwards from the drawing's upper left corner, moved by `at_mm`."),
        NoOutline::Empty => problem.next("Name a closed curve."),
        NoOutline::TooDetailed { .. } => problem.next("Simplify the curve in the drawing program."),
    }
}

/// A group that follows a drawing or a list.
#[derive(Clone, Debug)]
pub(super) enum Form {
    Path { curve: Curve, laying: Laying, source: String },
    Fill { path: BezPath, filling: Filling, filled: Filled, source: String },
    List { places: Vec<Place>, source: String },
}

/// Where a group's places come from, in words.
fn source_of(entry: &Entry<'_>) -> String {
    match (entry.text("svg"), entry.text("id")) {
        (Some(svg), Some(id)) if entry.has("svg") => format!("{} of {}", shortened(id), shortened(svg)),
        _ => "points_mm".to_owned(),
    }
}

pub(super) fn read_path(
    entry: &Entry<'_>,
    drawings: &mut Drawings<'_>,
    problems: &mut Problems,
) -> Option<Form> {
    let path = drawings.lines(entry, problems)?;
    let lines = path.segments().take(MOST_LINES + 1).count();
    if lines > MOST_LINES {
        problems.push(
            Problem::error(source_place(entry), "the curve has too many lines")
                .allowed(format!("at most {MOST_LINES}"))
                .next("Simplify the curve in the drawing program."),
        );
        return None;
    }
    let kind = match entry.text("kind")? {
        "wire" => Kind::Wire,
        _ => Kind::Strip,
    };
    let whole = Curve::of(&path);
    let whole = if entry.flag("reversed")? { whole.reversed() } else { whole };
    let curve = if kind == Kind::Strip { whole.cut_at_corners() } else { whole };
    let sound = |key: &str| !entry.has(key) || entry.number(key).is_some();
    if !(sound("start_mm") && sound("count")) {
        return None;
    }
    let laying = Laying {
        kind,
        pitch_mm: entry.number("pitch_mm")?,
        start_mm: entry.number("start_mm"),
        count: entry.count("count"),
        turned: entry.text("turn")? == "along",
    };
    check_fit(&curve, &laying, entry, problems)?;
    if kind == Kind::Strip {
        check_bends(&curve, laying.pitch_mm, entry.number("least_radius_mm")?, entry, problems);
    }
    Some(Form::Path { curve, laying, source: source_of(entry) })
}

/// The pixels must fit on the curve, and there must be some.
fn check_fit(curve: &Curve, laying: &Laying, entry: &Entry<'_>, problems: &mut Problems) -> Option<()> {
    let most = laying.most(curve);
    let length = curve.length_mm();
    let first = curve.pieces.first().map_or(0.0, |piece| piece.length_mm);
    if let Some(start) = laying.start_mm.filter(|start| *start > first + FIT_MM) {
        problems.push(
            Problem::error(
                entry.place_of("start_mm"),
                "the first pixel would sit beyond the end of the curve",
            )
            .found(format!("{start} mm"))
            .allowed(format!("0 to {first:.2} mm, the length to its end or first corner")),
        );
        return None;
    }
    if most < 1.0 {
        problems.push(
            Problem::error(source_place(entry), "the curve is too short for a pixel")
                .found(format!("{length:.2} mm"))
                .next("Check the size of the drawing, or lay pixels closer together."),
        );
        return None;
    }
    if laying.count.is_some_and(|count| count as f64 > most) {
        problems.push(
            Problem::error(entry.place_of("count"), "the curve is too short for so many pixels")
                .found(format!("{} pixels on {length:.2} mm", laying.count.unwrap_or(0)))
                .allowed(format!("at most {most} at this pitch and start"))
                .next("Leave `count` out to lay as many as fit."),
        );
        return None;
    }
    Some(())
}

fn check_bends(curve: &Curve, pitch_mm: f64, least_mm: f64, entry: &Entry<'_>, problems: &mut Problems) {
    let Some(tightest) = curve.tightest(pitch_mm).filter(|bend| bend.radius_mm < least_mm) else { return };
    let [x, y] = tightest.at;
    problems.push(
        Problem::warning(
            source_place(entry),
            "the strip would have to bend sideways more tightly than strips do",
        )
        .found(format!("radius {:.1} mm near [{x:.1}, {y:.1}]", tightest.radius_mm))
        .allowed(format!("at least {least_mm} mm (common practice, no source)"))
        .next(
            "Take `kind: wire`, draw a wider curve, or draw straight lines: a strip is cut at their corners. \
                 `least_radius_mm` says what your strip can do.",
        ),
    );
}

pub(super) fn read_fill(
    entry: &Entry<'_>,
    drawings: &mut Drawings<'_>,
    problems: &mut Problems,
) -> Option<Form> {
    let path = drawings.lines(entry, problems)?;
    let pitch_mm = entry.number("pitch_mm")?;
    let rows_mm = if entry.has("rows_mm") { entry.number("rows_mm")? } else { pitch_mm };
    let filling = Filling {
        pitch_mm,
        rows_mm,
        seam_mm: entry.number("seam_mm")?,
        direction_rad: entry.number("direction_deg")?.to_radians(),
        zigzag: entry.text("order")? == "zigzag",
    };
    filled(path_closed(path, entry), filling, entry, problems)
}

fn filled(path: BezPath, filling: Filling, entry: &Entry<'_>, problems: &mut Problems) -> Option<Form> {
    match filling.of(&path, MOST_PIXELS) {
        Ok(filled) if filled.places.is_empty() => {
            problems.push(
                Problem::error(source_place(entry), "no pixel fits inside the outline")
                    .found(format!(
                        "rows {} mm apart, {} mm of seam allowance",
                        filling.rows_mm, filling.seam_mm
                    ))
                    .next("Lay the pixels closer together, or check the size of the drawing."),
            );
            None
        }
        Ok(filled) => Some(Form::Fill { path, filling, filled, source: source_of(entry) }),
        Err(NoFilling::Outline(fault)) => {
            problems.push(no_outline(fault, entry));
            None
        }
        Err(fault @ NoFilling::TooManyRows { .. }) => {
            let problem = Problem::error(entry.place_of("rows_mm"), fault.to_string());
            problems.push(problem.next("Lay the rows farther apart, or check the size of the drawing."));
            None
        }
    }
}

pub(super) fn read_list(
    entry: &Entry<'_>,
    drawings: &mut Drawings<'_>,
    problems: &mut Problems,
) -> Option<Form> {
    let [x, y] = entry.pair("at_mm")?;
    let path = entry.text("csv")?;
    let mut own = Problems::default();
    let places = drawings.text(path).and_then(|file| {
        let places = list::read(&file.text, &mut own);
        drawings.elsewhere.extend(own.into_diagnostics(&file.shown_as, &file.text));
        places
    });
    let Some(mut places) = places else {
        problems.push(
            Problem::error(entry.place_of("csv"), "the list of places cannot be used")
                .found(path)
                .next("Its own problems follow below."),
        );
        return None;
    };
    for place in &mut places {
        place.at = [place.at[0] + Millimetres(x), place.at[1] + Millimetres(y)];
    }
    Some(Form::List { places, source: shortened(path) })
}

impl Form {
    /// The same curve or area with pixels this far apart; a list stays as it is.
    pub(super) fn at_pitch(self, pitch: f64, entry: &Entry<'_>, problems: &mut Problems) -> Option<Form> {
        match self {
            Form::Path { curve, laying, source } => {
                let longer = |count: usize| {
                    ((laying.pitch_mm * (count as f64 - 1.0) / pitch).round() as usize + 1).max(1)
                };
                let open = Laying { pitch_mm: pitch, count: None, ..laying };
                let most = open.most(&curve);
                let count = laying.count.map(|count| longer(count).min(most as usize));
                let laying = Laying { count, ..open };
                check_fit(&curve, &laying, entry, problems)?;
                Some(Form::Path { curve, laying, source })
            }
            Form::Fill { path, filling, .. } => {
                let rows_mm = filling.rows_mm * pitch / filling.pitch_mm;
                filled(path, Filling { pitch_mm: pitch, rows_mm, ..filling }, entry, problems)
            }
            list @ Form::List { .. } => Some(list),
        }
    }

    /// Number of pixels.
    pub(super) fn pixels(&self) -> f64 {
        match self {
            Form::Path { curve, laying, .. } => {
                laying.count.map_or_else(|| laying.most(curve), |count| count as f64)
            }
            Form::Fill { filled, .. } => filled.places.len() as f64,
            Form::List { places, .. } => places.len() as f64,
        }
    }

    /// The least distance of pixels that the group itself sets.
    pub(super) fn pitch_mm(&self) -> Option<f64> {
        match self {
            Form::Path { laying, .. } => (self.pixels() > 1.0).then_some(laying.pitch_mm),
            Form::Fill { filling, .. } => Some(filling.pitch_mm.min(filling.rows_mm)),
            Form::List { .. } => None,
        }
    }

    pub(super) fn places(&self) -> Vec<Place> {
        match self {
            Form::Path { curve, laying, .. } => laying.places(curve),
            Form::Fill { filled, .. } => filled.places.clone(),
            Form::List { places, .. } => places.clone(),
        }
    }

    /// What is to be told about it.
    pub(super) fn laid(&self, group: usize) -> Laid {
        let (source, kind) = match self {
            Form::Path { curve, laying, source } => (
                source,
                LaidKind::Path { kind: laying.kind, length_mm: curve.length_mm(), cuts: laying.cuts(curve) },
            ),
            Form::Fill { filling, filled, source, .. } => {
                let Filled { rows, ref runs, .. } = *filled;
                (source, LaidKind::Fill { rows, pitch_mm: filling.pitch_mm, runs: runs.clone() })
            }
            Form::List { source, .. } => (source, LaidKind::List),
        };
        Laid { group, pixels: self.pixels() as usize, source: source.clone(), kind }
    }
}
