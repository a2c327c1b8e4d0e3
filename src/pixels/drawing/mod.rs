//! Drawings: the shapes of an SVG file by the ids of their elements, in mm, with y upwards.
//!
//! # What is read
//! `path`, `line`, `polyline`, `polygon`, `rect`, `circle` and `ellipse`, alone or in groups, with nested transforms, `viewBox` and
//! `use` of an element of the same file. Circular and elliptic arcs become cubic curves that miss them by less than
//! [`ARC_ERROR`] of their radius. The upper left corner of the drawing is the origin, so a drawing lies below it.
//!
//! # Units
//! See [`scale`]: a `width` with a unit rules; a bare `width` counts in pixels of 1/96 inch, as the standard says; without any
//! `width` or `height` one unit of the drawing is one millimetre.
//!
//! # What is not
//! Scripts, links to other files and pictures are never followed, and [`read`] says that they are there. Style sheets, colours
//! and widths of lines do not matter. Text has to be turned into paths by the drawing program. Symbols and transforms
//! inside styles are not followed. Files with a document type definition are refused.
//!
//! # Source
//! SVG 1.1 (second edition): 7 Coordinate systems, 8 Paths, 9 Basic shapes, F.6 arcs (from memory).

mod figures;
pub mod scale;
mod walk;

use crate::diagnose::{MOST_QUOTED, Place, Problem, Problems, nearest, shortened};
use kurbo::BezPath;
use scale::Scale;
use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

/// Largest distance of a drawn arc from the true one, as a share of its radius: at a radius of 10 m a hundredth of a
/// micrometre, and lengths to 1e-9.
pub const ARC_ERROR: f64 = 1e-9;
/// Elements and pieces of text in one file. The most detailed pattern sheets have some ten thousand.
pub const MOST_ELEMENTS: u32 = 200_000;
/// Lines and curves in one drawing, everything that `use` repeats included; bounds time and memory (each takes about 60 bytes).
pub const MOST_SEGMENTS: usize = 500_000;
/// Groups inside one another, a step for every `use` included; keeps the stack small.
pub const MOST_DEPTH: usize = 64;
/// Farthest place of a shape from the drawing's corner in mm: as far as a scene reaches.
pub const MOST_REACH_MM: f64 = 10_000.0;
/// Ids that a message lists.
const MOST_LISTED: usize = 20;

/// A drawing: its shapes and their names.
#[derive(Clone, Debug)]
pub struct Drawing {
    /// Size of the drawing's unit.
    pub scale: Scale,
    figures: Vec<Figure>,
    names: BTreeMap<String, Named>,
}

/// One basic shape or what is wrong with it.
#[derive(Clone, Debug)]
struct Figure {
    path: Result<BezPath, Arc<Fault>>,
    shown: Shown,
}

/// An element with an id. Its shapes are neighbours in the list, in the order of the file.
#[derive(Clone, Debug)]
struct Named {
    figures: Range<usize>,
    shown: Shown,
    element: String,
}

/// Whether an element is seen in the drawing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Shown {
    Yes,
    /// Hidden by the one who drew.
    Hidden,
    /// Part of something that is drawn elsewhere or not at all (`defs`, `clipPath`).
    Template,
}

/// What is wrong at a place of the file. Told only when the shape is asked for.
#[derive(Clone, Debug, PartialEq)]
struct Fault {
    bytes: Range<usize>,
    what: String,
    found: Option<String>,
    allowed: Option<&'static str>,
    next: Option<&'static str>,
}

impl Fault {
    fn new(bytes: Range<usize>, what: impl Into<String>) -> Fault {
        Fault { bytes, what: what.into(), found: None, allowed: None, next: None }
    }

    fn problem(&self, text: &str) -> Problem {
        Problem {
            found: self.found.as_deref().map(shortened),
            allowed: self.allowed.map(str::to_owned),
            next: self.next.map(str::to_owned),
            ..Problem::error(&place_at(text, self.bytes.clone()), self.what.clone())
        }
    }
}

/// Line and column of a piece of text.
fn place_at(text: &str, bytes: Range<usize>) -> Place {
    let before = text.get(..bytes.start).unwrap_or(text);
    let line_start = before.rfind('\n').map_or(0, |i| i + 1);
    Place {
        line: before.bytes().filter(|byte| *byte == b'\n').count() + 1,
        column: before[line_start..].chars().count() + 1,
        bytes,
    }
}

/// Reads the text of an SVG file. `None` after an error was reported; warnings say what is ignored.
pub fn read(text: &str, problems: &mut Problems) -> Option<Drawing> {
    let options = roxmltree::ParsingOptions { nodes_limit: MOST_ELEMENTS, ..Default::default() };
    match roxmltree::Document::parse_with_options(text, options) {
        Ok(document) => walk::drawing_of(&document, text, problems),
        Err(error) => {
            problems.push(not_xml(&error, text));
            None
        }
    }
}

fn not_xml(error: &roxmltree::Error, text: &str) -> Problem {
    let at = error.pos();
    let line = text.lines().nth(at.row as usize - 1).unwrap_or("");
    let line_start =
        text.len().min(text.split_inclusive('\n').take(at.row as usize - 1).map(str::len).sum::<usize>());
    let column = at.col as usize - 1;
    let byte = line.char_indices().nth(column).map_or(line.len(), |(i, _)| i);
    let place =
        Place { line: at.row as usize, column: at.col as usize, bytes: line_start + byte..line_start + byte };
    match error {
        roxmltree::Error::DtdDetected => {
            Problem::error(&place, "the drawing has a document type definition, which can name other files")
                .next("Delete the part that begins with `<!DOCTYPE`, or save as plain SVG.")
        }
        roxmltree::Error::NodesLimitReached => Problem::error(&place, "the drawing has too many elements")
            .allowed(format!("at most {MOST_ELEMENTS}"))
            .next("Save the shapes that are needed in a file of their own."),
        _ => Problem::error(&place, format!("the drawing is not valid XML: {error}"))
            .next("Save it anew as plain SVG from the program that drew it."),
    }
}

/// A shape that was asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Its lines and curves in mm, y upwards; one subpath or several.
    pub path: BezPath,
    /// Something about it that is probably not meant, in words.
    pub remarks: Vec<String>,
}

/// Why there is no such shape.
#[derive(Clone, Debug, PartialEq)]
pub enum Missing {
    /// No element has this id, or it has no lines: what to tell.
    Id {
        /// What is wrong.
        what: String,
        /// Ids that can be used.
        allowed: String,
        /// The id that was probably meant.
        near: Option<String>,
    },
    /// The element is there and something in it is wrong, at a place of the drawing.
    Faulty(Box<Problem>),
}

impl Drawing {
    /// The ids of all elements that have lines or curves, in the order of the alphabet.
    pub fn ids(&self) -> impl Iterator<Item = &str> {
        self.names.iter().filter(|(_, named)| !named.figures.is_empty()).map(|(id, _)| id.as_str())
    }

    /// The shapes of the element with this id. `text` is the file's, for the places of problems.
    ///
    /// # Errors
    /// When there is no such element or it cannot be used.
    pub fn shape(&self, id: &str, text: &str) -> Result<Found, Missing> {
        let Some(named) = self.names.get(id) else {
            return Err(
                self.missing(id, format!("the drawing has no element with the id `{}`", shortened(id)))
            );
        };
        if named.figures.is_empty() {
            let element = shortened(&named.element);
            let what = format!("the element `{}` ({element}) has no lines or curves", shortened(id));
            return Err(self.missing(id, what));
        }
        let asked_for_itself = named.shown != Shown::Yes;
        let figures = &self.figures[named.figures.clone()];
        let mut path = BezPath::new();
        let mut left_out = 0;
        for figure in figures {
            match (&figure.path, figure.shown) {
                (_, Shown::Hidden) if !asked_for_itself => left_out += 1,
                (_, Shown::Template) if !asked_for_itself => {}
                (Ok(own), _) => path.extend(own.iter()),
                (Err(fault), _) => return Err(Missing::Faulty(Box::new(fault.problem(text)))),
            }
        }
        let mut remarks = Vec::new();
        if named.shown == Shown::Hidden {
            remarks.push(format!(
                "the element `{}` is hidden in the drawing; it is used all the same",
                shortened(id)
            ));
        }
        if left_out > 0 {
            remarks.push(format!("{left_out} hidden shapes of `{}` are left out", shortened(id)));
        }
        if path.segments().next().is_none() {
            let what = format!("the element `{}` has no lines or curves that are shown", shortened(id));
            return Err(self.missing(id, what));
        }
        let reach = path.control_box();
        let farthest = [reach.x0, reach.x1, reach.y0, reach.y1].map(f64::abs).into_iter().fold(0.0, f64::max);
        // Not finite counts as too far.
        if !path.is_finite() || !farthest.is_finite() || farthest > MOST_REACH_MM {
            return Err(Missing::Id {
                what: format!(
                    "the shape `{}` reaches {farthest:.0} mm from the drawing's corner",
                    shortened(id)
                ),
                allowed: format!("at most {MOST_REACH_MM} mm; {}", self.scale),
                near: None,
            });
        }
        Ok(Found { path, remarks })
    }

    fn missing(&self, id: &str, what: String) -> Missing {
        let near = nearest(id, self.ids().filter(|own| *own != id)).map(str::to_owned);
        Missing::Id { what, allowed: self.listed(), near }
    }

    /// The ids in words.
    fn listed(&self) -> String {
        let count = self.ids().count();
        if count == 0 {
            return "no element with an id has lines or curves; give the shape an id in the drawing program"
                .to_owned();
        }
        let mut listed: Vec<String> = self
            .ids()
            .filter(|id| id.chars().count() <= MOST_QUOTED)
            .take(MOST_LISTED)
            .map(shortened)
            .collect();
        if count > listed.len() {
            listed.push(format!("and {} more", count - listed.len()));
        }
        listed.join(", ")
    }
}

#[cfg(test)]
mod tests;
