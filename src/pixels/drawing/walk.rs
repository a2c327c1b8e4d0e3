//! From the tree of an SVG file to the list of its shapes and their names.

use super::scale::{attribute, in_units, nested, outermost, start_tag};
use super::{Drawing, Fault, Figure, MOST_DEPTH, MOST_SEGMENTS, Named, Shown, figures, place_at};
use crate::diagnose::{Problem, Problems};
use kurbo::Affine;
use roxmltree::{Document, Node, NodeId};
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::ops::Range;
use std::sync::Arc;
use svgtypes::{Length, TransformListParser, TransformListToken};

/// Elements visited, each repetition by `use` counted; twice what [`MOST_SEGMENTS`] allows for shapes.
const MOST_VISITED: usize = 2 * MOST_SEGMENTS;
/// The name space of SVG.
const SVG: &str = "http://www.w3.org/2000/svg";

/// What is ignored, with its number and its first place.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Ignored {
    Script,
    Link,
    StyleTransform,
    Symbol,
    TwiceNamed,
}

impl Ignored {
    fn in_words(self, count: usize) -> String {
        let many = |one: &str, several: &str| {
            if count == 1 { one.to_owned() } else { several.replace('#', &count.to_string()) }
        };
        match self {
            Ignored::Script => many(
                "the drawing holds a script; it is ignored",
                "the drawing holds # scripts; they are ignored",
            ),
            Ignored::Link => many(
                "the drawing refers to something outside itself; that is not followed",
                "the drawing refers # times to something outside itself; that is not followed",
            ),
            Ignored::StyleTransform => many(
                "a style of the drawing holds a transform; it is ignored",
                "# styles of the drawing hold transforms; they are ignored",
            ),
            Ignored::Symbol => {
                many("`use` of a symbol is not followed", "`use` of symbols is not followed (# times)")
            }
            Ignored::TwiceNamed => many(
                "an id stands twice in the drawing; the first element with it counts",
                "# ids stand twice in the drawing; the first element with each counts",
            ),
        }
    }
}

/// What holds for an element and all below it.
#[derive(Clone)]
struct State {
    into_mm: Affine,
    shown: Shown,
    fault: Option<Arc<Fault>>,
    depth: usize,
    /// Inside a `use`, ids belong to the original.
    named: bool,
}

struct Walker<'a, 'input> {
    document: &'a Document<'input>,
    targets: BTreeMap<&'a str, NodeId>,
    drawing: Drawing,
    segments: usize,
    visited: usize,
    ignored: BTreeMap<Ignored, (usize, Range<usize>)>,
    too_much: Option<Fault>,
}

/// Reads the tree. `None` after an error was reported.
pub(super) fn drawing_of(document: &Document<'_>, text: &str, problems: &mut Problems) -> Option<Drawing> {
    let root = document.root_element();
    if root.tag_name().name() != "svg" {
        let fault = Fault {
            found: Some(root.tag_name().name().to_owned()),
            ..Fault::new(start_tag(root), "this is not an SVG drawing")
        };
        problems.push(fault.problem(text));
        return None;
    }
    let (scale, into_mm) = match outermost(root) {
        Ok(found) => found,
        Err(fault) => {
            problems.push(fault.problem(text));
            return None;
        }
    };
    let drawing = Drawing { scale, figures: Vec::new(), names: BTreeMap::new() };
    let mut walker = Walker {
        document,
        targets: BTreeMap::new(),
        drawing,
        segments: 0,
        visited: 0,
        ignored: BTreeMap::new(),
        too_much: None,
    };
    walker.look_over();
    let upwards = Affine::scale_non_uniform(1.0, -1.0) * into_mm;
    let state = State { into_mm: upwards, shown: Shown::Yes, fault: None, depth: 0, named: true };
    walker.inside(root, &state);
    walker.name(root, 0, Shown::Yes);
    for (ignored, (count, bytes)) in &walker.ignored {
        problems.push(Problem::warning(&place_at(text, bytes.clone()), ignored.in_words(*count)));
    }
    if let Some(fault) = &walker.too_much {
        problems.push(fault.problem(text));
        return None;
    }
    Some(walker.drawing)
}

/// Whether an element belongs to the drawing itself. Files written by hand often leave the name space out.
fn of_svg(node: Node<'_, '_>) -> bool {
    node.is_element() && node.tag_name().namespace().is_none_or(|space| space == SVG)
}

/// The target of a link.
fn link<'a>(node: Node<'a, '_>) -> Option<&'a str> {
    node.attributes().find(|attribute| attribute.name() == "href").map(|attribute| attribute.value().trim())
}

impl<'a> Walker<'a, '_> {
    fn ignore(&mut self, what: Ignored, bytes: Range<usize>) {
        self.ignored.entry(what).or_insert((0, bytes)).0 += 1;
    }

    /// Notes ids and everything that is ignored, wherever it stands.
    fn look_over(&mut self) {
        for node in self.document.descendants() {
            if node.pi().is_some_and(|pi| pi.target == "xml-stylesheet") {
                self.ignore(Ignored::Link, node.range());
            }
            if !of_svg(node) {
                continue;
            }
            if let Some(id) = node.attribute("id") {
                match self.targets.entry(id) {
                    Entry::Vacant(free) => {
                        free.insert(node.id());
                    }
                    Entry::Occupied(_) => self.ignore(Ignored::TwiceNamed, start_tag(node)),
                }
            }
            self.look_for_scripts_and_links(node);
        }
    }

    fn look_for_scripts_and_links(&mut self, node: Node<'a, '_>) {
        let name = node.tag_name().name();
        // Attributes such as onclick hold a script.
        if name == "script"
            || node.attributes().any(|a| a.namespace().is_none() && a.name().starts_with("on"))
        {
            self.ignore(Ignored::Script, start_tag(node));
        }
        let outside = |link: &str| !link.is_empty() && !link.starts_with('#') && !link.starts_with("data:");
        if link(node).is_some_and(outside) {
            self.ignore(Ignored::Link, start_tag(node));
        }
        let style = if name == "style" { node.text() } else { node.attribute("style") };
        if let Some(style) = style {
            if style.contains("@import") || style.contains("://") {
                self.ignore(Ignored::Link, start_tag(node));
            }
            if style.split([';', '{', ' ', '\n', '\t']).any(|word| word.starts_with("transform:")) {
                self.ignore(Ignored::StyleTransform, start_tag(node));
            }
        }
    }

    fn inside(&mut self, node: Node<'a, '_>, state: &State) {
        for child in node.children() {
            self.element(child, state);
        }
    }

    fn element(&mut self, node: Node<'a, '_>, around: &State) {
        if !of_svg(node) || self.too_much.is_some() {
            return;
        }
        // `use` can repeat groups without end even where they hold nothing.
        self.visited += 1;
        if self.visited > MOST_VISITED {
            self.too_much = Some(Fault::new(start_tag(node), "`use` repeats too much of the drawing"));
            return;
        }
        if around.depth >= MOST_DEPTH {
            self.too_much = Some(Fault {
                allowed: Some("at most 64 groups inside one another"),
                ..Fault::new(start_tag(node), "the drawing is nested too deep")
            });
            return;
        }
        let mut state = State { depth: around.depth + 1, ..around.clone() };
        if state.shown == Shown::Yes && is_hidden(node) {
            state.shown = Shown::Hidden;
        }
        match transform(node) {
            Ok(own) => state.into_mm *= own,
            Err(fault) => state.fault = Some(Arc::new(fault)),
        }
        let first = self.drawing.figures.len();
        match node.tag_name().name() {
            "g" | "a" | "switch" => self.inside(node, &state),
            "defs" | "symbol" | "clipPath" | "mask" | "pattern" | "marker" => {
                state.shown = Shown::Template;
                self.inside(node, &state);
            }
            "svg" => {
                match nested(node) {
                    Ok(own) => state.into_mm *= own,
                    Err(fault) => state.fault = Some(Arc::new(fault)),
                }
                self.inside(node, &state);
            }
            "use" => self.used(node, state.clone()),
            name if figures::is_figure(name) => self.figure(node, &state),
            _ => {}
        }
        if state.named {
            self.name(node, first, state.shown);
        }
    }

    /// Gives the shapes since `first` the element's id.
    fn name(&mut self, node: Node<'a, '_>, first: usize, shown: Shown) {
        let Some(id) = node.attribute("id") else { return };
        if self.targets.get(id) == Some(&node.id()) {
            let figures = first..self.drawing.figures.len();
            let element = node.tag_name().name().to_owned();
            self.drawing.names.insert(id.to_owned(), Named { figures, shown, element });
        }
    }

    fn figure(&mut self, node: Node<'a, '_>, state: &State) {
        let path = match &state.fault {
            Some(fault) => Err(Arc::clone(fault)),
            None => figures::outline(node).map(|path| state.into_mm * path).map_err(Arc::new),
        };
        self.segments += path.as_ref().map_or(1, |path| path.elements().len());
        if self.segments > MOST_SEGMENTS {
            self.too_much = Some(Fault {
                allowed: Some("at most 500000, repeated ones included"),
                next: Some("Save the shapes that are needed in a file of their own."),
                ..Fault::new(start_tag(node), "the drawing has too many lines and curves")
            });
            return;
        }
        // What has no size is not drawn.
        if path.as_ref().is_ok_and(|path| path.is_empty()) {
            return;
        }
        self.drawing.figures.push(Figure { path, shown: state.shown });
    }

    fn used(&mut self, node: Node<'a, '_>, mut state: State) {
        let Some(id) = link(node).and_then(|link| link.strip_prefix('#')) else { return };
        let Some(target) = self.targets.get(id).and_then(|id| self.document.get_node(*id)) else {
            state.fault = Some(Arc::new(Fault {
                found: Some(id.to_owned()),
                ..Fault::new(start_tag(node), "`use` names an element that is not there")
            }));
            self.drawing
                .figures
                .extend(state.fault.map(|fault| Figure { path: Err(fault), shown: state.shown }));
            return;
        };
        if matches!(target.tag_name().name(), "symbol" | "svg") {
            self.ignore(Ignored::Symbol, start_tag(node));
            return;
        }
        let shift = |name| Ok::<_, Fault>(attribute::<Length>(node, name)?.and_then(in_units).unwrap_or(0.0));
        match shift("x").and_then(|x| Ok((x, shift("y")?))) {
            Ok(shift) => state.into_mm *= Affine::translate(shift),
            Err(fault) => state.fault = Some(Arc::new(fault)),
        }
        state.named = false;
        self.element(target, &state);
    }
}

fn is_hidden(node: Node<'_, '_>) -> bool {
    let style: String =
        node.attribute("style").unwrap_or("").chars().filter(|c| !c.is_whitespace()).collect();
    let said = |key: &str, value: &str| {
        node.attribute(key).is_some_and(|own| own.trim() == value)
            || style.split(';').any(|rule| rule.split_once(':') == Some((key, value)))
    };
    said("display", "none") || said("visibility", "hidden") || said("visibility", "collapse")
}

/// The element's own transform.
fn transform(node: Node<'_, '_>) -> Result<Affine, Fault> {
    let Some(attribute) = node.attribute_node("transform") else { return Ok(Affine::IDENTITY) };
    let mut whole = Affine::IDENTITY;
    for token in TransformListParser::from(attribute.value()) {
        let token = token.map_err(|_| Fault {
            found: Some(attribute.value().to_owned()),
            allowed: Some("matrix, translate, scale, rotate, skewX, skewY"),
            ..Fault::new(attribute.range_value(), "`transform` cannot be read")
        })?;
        whole *= match token {
            TransformListToken::Matrix { a, b, c, d, e, f } => Affine::new([a, b, c, d, e, f]),
            TransformListToken::Translate { tx, ty } => Affine::translate((tx, ty)),
            TransformListToken::Scale { sx, sy } => Affine::scale_non_uniform(sx, sy),
            TransformListToken::Rotate { angle } => Affine::rotate(angle.to_radians()),
            TransformListToken::SkewX { angle } => Affine::skew(angle.to_radians().tan(), 0.0),
            TransformListToken::SkewY { angle } => Affine::skew(0.0, angle.to_radians().tan()),
        };
    }
    Ok(whole)
}
