//! Drawings: units, transforms, shapes, and what must not be followed.

use super::scale::{Basis, PIXEL_MM};
use super::*;
use crate::pixels::curve::Curve;
use kurbo::Rect;

/// Arcs of radius 10 miss by [`ARC_ERROR`] of it; sums and products of a few doubles of size 1000 are far better.
const EXACT_MM: f64 = 10.0 * ARC_ERROR;
/// Arcs miss by [`ARC_ERROR`] of the radius; lengths by a few times that.
const LENGTH: f64 = 1e-8;

fn drawing(text: &str) -> Drawing {
    let mut problems = Problems::default();
    let found = read(text, &mut problems);
    found.unwrap_or_else(|| panic!("{:?}", problems.into_diagnostics("f", text)))
}

/// The messages of a text, and whether it can be used.
fn told(text: &str) -> (bool, Vec<String>) {
    let mut problems = Problems::default();
    let used = read(text, &mut problems).is_some();
    (used, problems.into_diagnostics("f", text).into_iter().map(|d| d.what).collect())
}

fn shape(text: &str, id: &str) -> BezPath {
    drawing(text).shape(id, text).unwrap_or_else(|missing| panic!("{missing:?}")).path
}

fn reach(text: &str, id: &str) -> Rect {
    kurbo::Shape::bounding_box(&shape(text, id))
}

fn assert_reach(text: &str, id: &str, [x0, y0, x1, y1]: [f64; 4]) {
    let found = reach(text, id);
    let off = [found.x0 - x0, found.y0 - y0, found.x1 - x1, found.y1 - y1];
    assert!(off.iter().all(|o| o.abs() < EXACT_MM), "{found:?} instead of {x0} {y0} {x1} {y1}");
}

fn svg(attributes: &str, inside: &str) -> String {
    format!(r#"<svg xmlns="http://www.w3.org/2000/svg" {attributes}>{inside}</svg>"#)
}

const LINE: &str = r#"<path id="edge" d="M10,20 L110,20"/>"#;

#[test]
fn units() {
    let width = |attributes: &str| reach(&svg(attributes, LINE), "edge").width();
    let basis = |attributes: &str| drawing(&svg(attributes, LINE)).scale.basis;
    for (attributes, expected, from) in [
        ("", 100.0, Basis::Assumed),
        (r#"viewBox="0 0 400 300""#, 100.0, Basis::Assumed),
        (r#"width="100%" height="100%" viewBox="0 0 400 300""#, 100.0, Basis::Assumed),
        (r#"width="400mm" viewBox="0 0 400 300""#, 100.0, Basis::Physical),
        (r#"width="40cm" height="30cm" viewBox="0 0 400 300""#, 100.0, Basis::Physical),
        (r#"width="4in" viewBox="0 0 400 300""#, 25.4, Basis::Physical),
        (r#"width="72pt" viewBox="0 0 100 100""#, 25.4, Basis::Physical),
        (r#"width="6pc" viewBox="0 0 100 100""#, 25.4, Basis::Physical),
        // Without a view box the unit is the standard's pixel, 96 to the inch.
        (r#"width="400mm" height="300mm""#, 100.0 * PIXEL_MM, Basis::Physical),
        (r#"width="400" height="300""#, 100.0 * PIXEL_MM, Basis::Pixels),
        (r#"width="800px" height="600px" viewBox="0 0 400 300""#, 200.0 * PIXEL_MM, Basis::Pixels),
        // The larger side has room left over: the view box keeps its proportions, unless it is told not to.
        (r#"width="400mm" height="100mm" viewBox="0 0 100 100""#, 100.0, Basis::Physical),
        (
            r#"width="400mm" height="100mm" viewBox="0 0 100 100" preserveAspectRatio="xMidYMid slice""#,
            400.0,
            Basis::Physical,
        ),
        (
            r#"width="400mm" height="100mm" viewBox="0 0 100 100" preserveAspectRatio="none""#,
            400.0,
            Basis::Physical,
        ),
    ] {
        assert!((width(attributes) - expected).abs() < EXACT_MM, "{attributes}: {}", width(attributes));
        assert_eq!(basis(attributes), from, "{attributes}");
    }
    // The corner of the view box is the origin, and y runs upwards.
    assert_reach(&svg(r#"width="400mm" viewBox="5 10 400 300""#, LINE), "edge", [5.0, -10.0, 105.0, -10.0]);
    // What is left over lies on both sides: 150 mm of 300.
    let wide = r#"width="400mm" height="100mm" viewBox="0 0 100 100""#;
    assert_reach(&svg(wide, LINE), "edge", [160.0, -20.0, 260.0, -20.0]);
    for bad in [
        r#"width="0" viewBox="0 0 1 1""#,
        r#"width="-5mm" viewBox="0 0 1 1""#,
        r#"viewBox="0 0 0 0""#,
        r#"width="wide""#,
    ] {
        assert!(!told(&svg(bad, LINE)).0, "{bad}");
    }
}

#[test]
fn transforms_and_groups() {
    let inside = r#"<g transform="translate(10 20)"><g transform="scale(2) rotate(90)">
        <rect id="box" width="4" height="1"/></g></g>"#;
    // (x, y) turned by 90 degrees (y downwards: clockwise on the screen) is (-y, x), then doubled, then shifted.
    assert_reach(&svg("", inside), "box", [8.0, -28.0, 10.0, -20.0]);
    let about = r#"<line id="l" x1="0" y1="0" x2="10" y2="0" transform="rotate(90, 10, 0)"/>"#;
    assert_reach(&svg("", about), "l", [10.0, -0.0, 10.0, 10.0]);
    let group =
        r#"<g id="both"><circle id="a" cx="5" cy="5" r="5"/><g><rect x="20" width="10" height="3"/></g></g>"#;
    assert_reach(&svg("", group), "both", [0.0, -10.0, 30.0, 0.0]);
    assert_reach(&svg("", group), "a", [0.0, -10.0, 10.0, 0.0]);
    let nested = r#"<svg x="10" y="10" width="50" height="50" viewBox="0 0 5 5"><rect id="r" width="1" height="2"/></svg>"#;
    assert_reach(&svg("", nested), "r", [10.0, -30.0, 20.0, -10.0]);
    let used = r##"<defs><g id="star"><rect id="ray" width="1" height="1"/></g></defs>
        <g id="sky"><use href="#star" x="5"/><use id="far" href="#star" transform="scale(3)" x="10" y="2"/></g>"##;
    assert_reach(&svg("", used), "sky", [5.0, -9.0, 33.0, 0.0]);
    assert_reach(&svg("", used), "far", [30.0, -9.0, 33.0, -6.0]);
    assert_reach(&svg("", used), "ray", [0.0, -1.0, 1.0, 0.0]);
    assert_eq!(drawing(&svg("", used)).ids().collect::<Vec<_>>(), ["far", "ray", "sky", "star"]);
}

#[test]
fn basic_shapes_are_as_long_as_geometry_says() {
    use std::f64::consts::PI;
    let length = |inside: &str| Curve::of(&shape(&svg("", inside), "s")).length_mm();
    for (inside, expected) in [
        (r#"<line id="s" x1="0" y1="0" x2="30" y2="40"/>"#, 50.0),
        (r#"<polyline id="s" points="0,0 30,40 30,0"/>"#, 90.0),
        (r#"<polygon id="s" points="0 0 30 40 30 0"/>"#, 120.0),
        (r#"<rect id="s" width="30" height="20"/>"#, 100.0),
        // Rounded by 5 at each corner: eight times 5 less, a circle of radius 5 more; one radius stands for both.
        (r#"<rect id="s" width="30" height="20" rx="5"/>"#, 100.0 - 40.0 + 10.0 * PI),
        (r#"<rect id="s" width="30" height="20" ry="5"/>"#, 100.0 - 40.0 + 10.0 * PI),
        // A radius is at most half a side: this is a circle.
        (r#"<rect id="s" width="20" height="20" rx="500"/>"#, 20.0 * PI),
        (r#"<circle id="s" cx="3" cy="4" r="50"/>"#, 100.0 * PI),
        (r#"<ellipse id="s" rx="50" ry="50"/>"#, 100.0 * PI),
        (r#"<path id="s" d="M0 0h10v10H0z"/>"#, 40.0),
        (r#"<path id="s" d="m 5 5 l 3 4 m 10 0 l 3 4"/>"#, 10.0),
        // Three quarters of a circle and one quarter; a radius too small grows to half the distance.
        (r#"<path id="s" d="M0 10 A10 10 0 1 1 10 20"/>"#, 15.0 * PI),
        (r#"<path id="s" d="M0 10 a10 10 0 0 0 10 10"/>"#, 5.0 * PI),
        (r#"<path id="s" d="M0 0 A1 1 0 0 1 20 0"/>"#, 10.0 * PI),
        (r#"<path id="s" d="M0 0 A0 5 0 0 1 20 0"/>"#, 20.0),
        // A drawing command after a closed curve goes on from its start.
        (r#"<path id="s" d="M0 0 h3 v4 z l -3 -4"/>"#, 17.0),
    ] {
        assert!((length(inside) / expected - 1.0).abs() < LENGTH, "{inside}: {} {expected}", length(inside));
    }
    // Smooth commands mirror the control point before; their long form is the same curve.
    let pairs = [
        ("M0 0 C0 10 10 10 10 0 S 20 -10 20 0", "M0 0 C0 10 10 10 10 0 C10 -10 20 -10 20 0"),
        ("M0 0 Q5 10 10 0 T20 0 T30 0", "M0 0 Q5 10 10 0 Q15 -10 20 0 Q25 10 30 0"),
        ("M0 0 q5 10 10 0 t10 0", "M0 0 Q5 10 10 0 Q15 -10 20 0"),
        ("M0 0 S 20 -10 20 0", "M0 0 C0 0 20 -10 20 0"),
        ("M0 0 L5 5 T20 0", "M0 0 L5 5 Q5 5 20 0"),
    ];
    for (short, long) in pairs {
        let path = |d: &str| shape(&svg("", &format!(r#"<path id="s" d="{d}"/>"#)), "s");
        assert_eq!(path(short), path(long), "{short}");
    }
}

#[test]
fn what_is_hidden() {
    let inside = r#"<g id="all"><rect id="a" width="1" height="1"/>
        <g display="none"><rect id="b" width="9" height="9"/></g>
        <rect style="fill:red; display : none" width="7" height="7"/></g>
        <g id="gone" style="display:none"><rect width="5" height="5"/></g>
        <clipPath id="clip"><circle r="3"/></clipPath>"#;
    let text = svg("", inside);
    let found = |id: &str| drawing(&text).shape(id, &text).expect("a shape");
    assert_reach(&text, "all", [0.0, -1.0, 1.0, 0.0]);
    assert_eq!(found("all").remarks, ["2 hidden shapes of `all` are left out"]);
    assert_reach(&text, "b", [0.0, -9.0, 9.0, 0.0]);
    assert!(found("b").remarks[0].contains("is hidden in the drawing; it is used all the same"));
    assert_reach(&text, "gone", [0.0, -5.0, 5.0, 0.0]);
    assert_eq!(found("clip").remarks.len(), 0, "a template is no mistake");
}

#[test]
fn scripts_and_links_are_named_and_not_followed() {
    let inside = r##"<script>alert(1)</script><g onclick="x()"/><image href="https://example.org/a.png"/>
        <use xlink:href="other.svg#a"/><a href="https://example.org"><rect id="edge" width="2" height="1"/></a>
        <style>@import url("x.css"); .a {transform: scale(2)}</style><image href="data:image/png;base64,AAAA"/>"##;
    let text = svg(r#"xmlns:xlink="http://www.w3.org/1999/xlink""#, inside);
    let (used, said) = told(&format!("<?xml-stylesheet href='a.css'?>{text}"));
    assert!(used);
    let said = said.join("\n");
    assert!(said.contains("the drawing holds 2 scripts; they are ignored"), "{said}");
    assert!(said.contains("refers 5 times to something outside itself; that is not followed"), "{said}");
    assert!(said.contains("a style of the drawing holds a transform; it is ignored"), "{said}");
    assert_reach(&text, "edge", [0.0, -1.0, 2.0, 0.0]);
    assert_eq!(told(&svg("", LINE)), (true, vec![]), "an honest drawing needs no words");
}

#[test]
fn ids_that_are_not_there() {
    let text = svg(
        "",
        r#"<path id="edge" d="M0 0h9"/><path id="vein-1" d="M0 0h9"/><text id="label">a</text><g id="empty"/>"#,
    );
    let missing = |id: &str| match drawing(&text).shape(id, &text) {
        Err(Missing::Id { what, allowed, near }) => (what, allowed, near),
        other => panic!("{other:?}"),
    };
    let (what, allowed, near) = missing("edg");
    assert_eq!(what, "the drawing has no element with the id `edg`");
    assert_eq!((allowed.as_str(), near.as_deref()), ("edge, vein-1", Some("edge")));
    assert!(missing("label").0.contains("(text) has no lines or curves"));
    assert!(missing("empty").0.contains("(g) has no lines or curves"));
    assert_eq!(missing("zzz").2, None);
    let none = svg("", r#"<path d="M0 0h9"/>"#);
    let Err(Missing::Id { allowed, .. }) = drawing(&none).shape("a", &none) else { panic!("found") };
    assert!(allowed.contains("no element with an id"), "{allowed}");
    let many: String = (0..50).map(|i| format!(r#"<path id="p{i:02}" d="M0 0h9"/>"#)).collect();
    let many = svg("", &many);
    let Err(Missing::Id { allowed, .. }) = drawing(&many).shape("none", &many) else { panic!("found") };
    assert!(allowed.ends_with("p19, and 30 more"), "{allowed}");
}

#[test]
fn a_fault_matters_only_where_it_is_asked_for() {
    let text = svg(
        "",
        "<path id=\"good\" d=\"M0 0h9\"/>\n<path id=\"bad\" d=\"M0 0 h q\"/>\n\
        <g id=\"turned\" transform=\"turn(3)\"><path id=\"in\" d=\"M0 0h9\"/></g>\n\
        <rect id=\"em\" width=\"2em\" height=\"1\"/><polygon id=\"odd\" points=\"1 2 3\"/><use id=\"lost\" href=\"#nothing\"/>",
    );
    assert!(told(&text).0);
    assert_reach(&text, "good", [0.0, 0.0, 9.0, 0.0]);
    let fault = |id: &str| match drawing(&text).shape(id, &text) {
        Err(Missing::Faulty(problem)) => *problem,
        other => panic!("{other:?}"),
    };
    let bad = fault("bad");
    assert_eq!((bad.place.line, bad.place.column), (2, 19));
    assert!(bad.what.contains("the curve `d` cannot be read"), "{bad:?}");
    assert_eq!(fault("in").place.line, 3);
    assert!(fault("turned").allowed.expect("a list").contains("rotate"));
    assert!(fault("em").what.contains("the unit of `width` has no fixed size"));
    assert!(fault("odd").what.contains("an x without its y"));
    assert!(fault("lost").what.contains("an element that is not there"));
    for far in ["M0 0 h1e9", "M0 0 h1e300 h1e300", "M0 0 L1e308,1e308 h1e308"] {
        let text = svg("", &format!(r#"<path id="far" d="{far}"/>"#));
        let Err(Missing::Id { what, .. }) = drawing(&text).shape("far", &text) else { panic!("{far}") };
        assert!(what.contains("mm from the drawing's corner"), "{what}");
    }
}

#[test]
fn what_is_no_drawing() {
    let refused = |text: &str| {
        let (used, said) = told(text);
        assert!(!used, "{}", &text[..text.len().min(80)]);
        said.join("\n")
    };
    assert!(refused("").contains("not valid XML"));
    assert!(refused("<svg><g></svg>").contains("not valid XML"));
    assert!(refused("<html/>").contains("this is not an SVG drawing"));
    assert!(refused("<!DOCTYPE svg [<!ENTITY a 'b'>]><svg/>").contains("document type definition"));
    let place = {
        let mut problems = Problems::default();
        assert!(read("<svg>\n  <path d='M0'></pth>\n</svg>", &mut problems).is_none());
        problems.into_diagnostics("f", "<svg>\n  <path d='M0'></pth>\n</svg>").remove(0)
    };
    assert_eq!(place.line, Some(2), "{place:?}");
    // Too deep, too many, repeated without end: told at once.
    let deep = svg("", &("<g>".repeat(100_000) + &"</g>".repeat(100_000)));
    assert!(refused(&deep).contains("nested too deep"));
    assert!(refused(&svg("", &"<g/>".repeat(MOST_ELEMENTS as usize))).contains("too many elements"));
    let itself = svg("", r##"<g id="a"><use href="#a"/></g>"##);
    assert!(refused(&itself).contains("nested too deep"));
    let mut bomb = String::from(r#"<g id="a0"><path d="M0 0h1"/></g>"#);
    for i in 1..30 {
        bomb += &format!(r##"<g id="a{i}">{}</g>"##, format!(r##"<use href="#a{}"/>"##, i - 1).repeat(9));
    }
    assert!(refused(&svg("", &bomb)).contains("too many lines and curves"));
    assert!(refused(&svg("", &bomb.replace(r#"<path d="M0 0h1"/>"#, ""))).contains("repeats too much"));
    let long = svg("", &format!(r#"<path id="s" d="M0 0{}"/>"#, "h1".repeat(MOST_SEGMENTS + 1)));
    assert!(refused(&long).contains("too many lines and curves"));
}

proptest::proptest! {
    // Some thousand damaged drawings take a second; the seed is fixed, so that a run can be repeated.
    #![proptest_config(proptest::test_runner::Config {
        cases: 3000,
        rng_seed: proptest::test_runner::RngSeed::Fixed(11),
        failure_persistence: None,
        ..proptest::test_runner::Config::default()
    })]

    /// A damaged drawing is read or refused; nothing panics, and whatever comes out is finite.
    #[test]
    fn damage_never_panics(
        cuts in proptest::collection::vec((0.0..1.0f64, 0usize..8, 0usize..PIECES.len()), 1..8)
    ) {
        let mut text: Vec<char> = EXAMPLE.chars().collect();
        for (at, cut, piece) in cuts {
            let from = (at * text.len() as f64) as usize;
            let to = (from + cut).min(text.len());
            text.splice(from..to, PIECES[piece].chars());
        }
        let text: String = text.into_iter().collect();
        let mut problems = Problems::default();
        if let Some(drawing) = read(&text, &mut problems) {
            let ids: Vec<String> = drawing.ids().map(str::to_owned).collect();
            for id in ids.iter().map(String::as_str).chain(["edge"]) {
                if let Ok(found) = drawing.shape(id, &text) {
                    proptest::prop_assert!(found.path.is_finite());
                    let _ = crate::pixels::outline::Outline::of(&found.path);
                    proptest::prop_assert!(Curve::of(&found.path).length_mm().is_finite());
                }
            }
        } else {
            proptest::prop_assert!(problems.errors() > 0);
        }
    }
}

const PIECES: [&str; 24] = [
    "<",
    ">",
    "/>",
    "\"",
    "=",
    "&#0;",
    "&amp;",
    "id=\"a\"",
    "M",
    "z",
    "A 1 1 0 0 1 ",
    "-",
    "1e308",
    "1e-308",
    "NaN",
    " 0 ",
    "%",
    "mm",
    "<g>",
    "</g>",
    "<use href=\"#edge\"/>",
    "ä",
    "\u{feff}",
    "transform=\"scale(0)\"",
];

const EXAMPLE: &str = r##"<?xml version="1.0"?>
<svg xmlns="http://www.w3.org/2000/svg" width="210mm" height="297mm" viewBox="0 0 210 297">
<defs><circle id="dot" r="3"/></defs><script>x()</script>
<g id="wing" transform="translate(3 4) rotate(12 5 6) skewX(3)">
<path id="edge" d="M10 10 C20 -5 40 5 50 20 S 80 40 90 20 Q 100 0 110 10 T 130 10 A 5 8 30 1 0 140 20 l3 4 h5 v-3 z"/>
<rect id="box" x="1" y="2" width="30" height="20" rx="3"/><ellipse id="eye" cx="5" rx="4" ry="2"/>
<polyline id="line" points="0,0 5,5 10,0"/><use id="copy" href="#dot" x="9"/></g></svg>"##;
