//! The drawings as independent readers see them: `roxmltree` for the file, `usvg` for the laid-out text, `png` for the image
//! pixels.

mod heat_map;

use super::demo::{crowded, odd, pick, spots, standoff, strip_alone};
use super::*;
use proptest::prelude::*;
use resvg::usvg::{self, roxmltree};
use std::f64::consts::LOG10_2;

/// Coordinates are written with two decimals: half a hundredth each for a plot's left edge, its width, and the place
/// compared with them.
const ROUNDING_PX: f64 = 0.0151;
/// Kerning and hinting differ by little between the layout here and the renderer's.
const WIDTH_SLACK: f64 = 0.01;
/// Two labels may share this much of their line boxes, in square pixels: blank above and below letters, no ink.
const SHARED_SLACK: f64 = 12.0;
/// The width a telephone shows, and the least size of text on it.
const PHONE_PX: f64 = 720.0;
const LEAST_SIZE_PX: f64 = 14.0;

fn demos() -> [(&'static str, Chart); 6] {
    [
        ("standoff", standoff()),
        ("pick", pick()),
        ("odd", odd()),
        ("strip", strip_alone()),
        ("crowded", crowded()),
        ("empty", Chart::default()),
    ]
}

fn xml(svg: &str) -> roxmltree::Document<'_> {
    roxmltree::Document::parse(svg).expect("well-formed XML")
}

fn value(node: &roxmltree::Node<'_, '_>, name: &str) -> f64 {
    node.attribute(name).and_then(|v| v.parse().ok()).expect("a number")
}

fn elements<'a, 'd>(document: &'a roxmltree::Document<'d>, name: &'a str) -> Vec<roxmltree::Node<'a, 'd>> {
    document.descendants().filter(|n| n.has_tag_name(("http://www.w3.org/2000/svg", name))).collect()
}

/// Left, top, right and bottom of the plots, from their frames.
fn frames(document: &roxmltree::Document<'_>) -> Vec<[f64; 4]> {
    elements(document, "clipPath")
        .iter()
        .filter_map(|clip| clip.first_element_child())
        .map(|r| {
            let [x, y, w, h] = ["x", "y", "width", "height"].map(|name| value(&r, name));
            [x, y, x + w, y + h]
        })
        .collect()
}

fn points(node: &roxmltree::Node<'_, '_>) -> Vec<(f64, f64)> {
    let pair = |p: &str| {
        let (x, y) = p.split_once(',').expect("a pair");
        (x.parse().expect("x"), y.parse().expect("y"))
    };
    node.attribute("points").expect("points").split(' ').map(pair).collect()
}

fn plot_of(y: Axis, series: Vec<Series>) -> Chart {
    Chart {
        title: "Hem".to_owned(),
        x: Axis::linear("gap", "mm").over(0.0, 20.0),
        panels: vec![Panel::Plot(Plot { series, ..Plot::new(y) })],
        ..Chart::default()
    }
}

fn line(points: &[(f64, f64)]) -> Series {
    Series { name: "line".to_owned(), points: points.to_vec(), band: None, style: Style::nth(0).plain() }
}

#[test]
fn values_lie_where_the_axes_say() {
    let values = [(0.0, 2.0), (5.0, 4.0), (20.0, 10.0)];
    for (axis, shares) in [
        (Axis::linear("light", "").over(2.0, 12.0), [0.0, 0.2, 0.8]),
        (Axis::log("light", "").over(1.0, 100.0), [0.5 * LOG10_2, LOG10_2, 0.5]),
    ] {
        let svg = plot_of(axis, vec![line(&values)]).svg("");
        let document = xml(&svg);
        let [left, top, right, bottom] = frames(&document)[0];
        let drawn = points(&elements(&document, "polyline")[0]);
        for (((px, py), (x, _)), share) in drawn.iter().zip(values).zip(shares) {
            assert!((px - (left + x / 20.0 * (right - left))).abs() < ROUNDING_PX, "{px} {x}");
            assert!((py - (bottom - share * (bottom - top))).abs() < ROUNDING_PX, "{py} {share}");
        }
    }
}

#[test]
fn numbers_stand_at_their_values() {
    let svg = plot_of(Axis::linear("light", "%").over(0.0, 100.0), vec![line(&[(0.0, 50.0), (20.0, 50.0)])])
        .svg("");
    let document = xml(&svg);
    let [left, _, right, _] = frames(&document)[0];
    let texts = elements(&document, "text");
    let of = |words: &str| texts.iter().find(|t| t.text() == Some(words)).expect(words);
    for gap in [0.0, 10.0, 20.0] {
        let x = value(of(&format!("{gap}\u{a0}mm")), "x");
        assert!((x - (left + gap / 20.0 * (right - left))).abs() < ROUNDING_PX);
    }
    assert!(value(of("100\u{a0}%"), "y") < value(of("0\u{a0}%"), "y"));
    of("gap (mm)");
}

#[test]
fn gaps_and_infinities_break_lines() {
    let (inf, nan) = (f64::INFINITY, f64::NAN);
    let values =
        [(0.0, 1.0), (1.0, 2.0), (2.0, nan), (3.0, 1.0), (4.0, inf), (5.0, 2.0), (6.0, 2.0), (7.0, 1.0)];
    let svg = plot_of(Axis::linear("light", ""), vec![line(&values)]).svg("");
    let document = xml(&svg);
    let lengths: Vec<_> = elements(&document, "polyline").iter().map(|l| points(l).len()).collect();
    assert_eq!(lengths, [2, 3]);
    // The lone point between the two gaps is a dot, the infinite value an arrow head at the upper edge.
    assert_eq!(elements(&document, "path").len(), 2);
    // On a logarithmic axis what is not above 0 is a gap as well.
    let svg = plot_of(
        Axis::log("light", ""),
        vec![line(&[(0.0, 1.0), (1.0, 2.0), (2.0, 0.0), (3.0, 2.0), (4.0, 3.0)])],
    )
    .svg("");
    assert_eq!(elements(&xml(&svg), "polyline").len(), 2);
}

/// Whether a point is inside a polygon, by counting the edges to its right.
fn inside(polygon: &[(f64, f64)], (x, y): (f64, f64)) -> bool {
    let next = polygon.iter().cycle().skip(1);
    let crossings = polygon
        .iter()
        .zip(next)
        .filter(|((ax, ay), (bx, by))| (ay > &y) != (by > &y) && x < ax + (y - ay) / (by - ay) * (bx - ax));
    crossings.count() % 2 == 1
}

#[test]
fn bands_hold_their_lines() {
    let values: Vec<_> = (0..=20).map(|i| (f64::from(i), 30.0 * (-f64::from(i) / 5.0).exp())).collect();
    let band: Vec<_> = values.iter().map(|(x, y)| (*x, 0.7 * y, 1.4 * y)).collect();
    for axis in [Axis::linear("dots", ""), Axis::log("dots", "")] {
        let svg = plot_of(axis, vec![Series { band: Some(band.clone()), ..line(&values) }]).svg("");
        let document = xml(&svg);
        let polygon = points(&elements(&document, "polygon")[0]);
        // After the two edges of the band comes the line.
        let drawn = points(&elements(&document, "polyline")[2]);
        assert_eq!((polygon.len(), drawn.len()), (42, 21));
        let inner = &drawn[1..drawn.len() - 1];
        assert!(inner.iter().all(|p| inside(&polygon, *p)));
        assert!(!inside(&polygon, (drawn[10].0, drawn[10].1 - 200.0)));
    }
}

#[test]
fn the_drawing_says_what_it_is() {
    let chart = odd();
    let svg = chart.svg("Falls from 9 m at <2 mm> & more");
    let document = xml(&svg);
    let root = document.root_element();
    assert_eq!(root.attribute("role"), Some("img"));
    let title = elements(&document, "title")[0];
    let desc = elements(&document, "desc")[0];
    assert_eq!(title.text(), Some(chart.title.as_str()));
    assert_eq!(desc.text(), Some("Falls from 9 m at <2 mm> & more"));
    let named = [title, desc].map(|n| n.attribute("id").expect("a name").to_owned()).join(" ");
    assert_eq!(root.attribute("aria-labelledby"), Some(named.as_str()));
    assert_eq!(title.parent_element(), Some(root));
    assert_ne!(named, svg_names(&standoff().svg("")), "two charts in one page have different names");
}

fn svg_names(svg: &str) -> String {
    xml(svg).root_element().attribute("aria-labelledby").expect("names").to_owned()
}

#[test]
fn text_is_large_enough_on_a_telephone() {
    for (name, chart) in demos() {
        let svg = chart.svg("");
        for text in elements(&xml(&svg), "text") {
            assert!(
                value(&text, "font-size") * PHONE_PX / WIDTH_PX >= LEAST_SIZE_PX,
                "{name} {:?}",
                text.text()
            );
        }
    }
}

/// Every text in a group and the groups in it, with the box the renderer lays it out in.
fn laid_out(group: &usvg::Group) -> Vec<(String, [f64; 4])> {
    let of = |node: &usvg::Node| match node {
        usvg::Node::Group(group) => laid_out(group),
        usvg::Node::Text(text) => {
            let words = text.chunks().iter().map(|c| c.text().to_owned()).collect();
            let b = text.abs_bounding_box();
            vec![(words, [b.x(), b.y(), b.width(), b.height()].map(f64::from))]
        }
        _ => Vec::new(),
    };
    group.children().iter().flat_map(of).collect()
}

/// All texts of a drawing are on its sheet, and none on another.
fn nothing_lies_on_anything(name: &str, tree: &usvg::Tree) {
    let texts = laid_out(tree.root());
    let height = f64::from(tree.size().height());
    for (i, (words, rect)) in texts.iter().enumerate() {
        let [x, y, w, h] = *rect;
        assert!(x >= 0.0 && y >= 0.0 && x + w <= WIDTH_PX && y + h <= height, "{name}: {words} {rect:?}");
        for (other, other_rect) in &texts[..i] {
            let shared = labels::overlap(*rect, *other_rect);
            assert!(shared <= SHARED_SLACK, "{name}: {words} / {other}: {shared}");
        }
    }
}

#[test]
fn labels_lie_on_the_sheet_and_on_no_other() {
    for (name, chart) in demos() {
        nothing_lies_on_anything(name, &output::tree(&chart.svg("")).expect("a drawing"));
    }
}

#[test]
fn text_is_as_wide_as_the_renderer_makes_it() {
    for words in
        ["Lantern walk, collar", "two layers: dots vanish at 12.3 mm", "AVATAR Te. 10\u{202f}000 cd/m²"]
    {
        let mut body = svg::Body::default();
        body.words(10.0, 50.0, TEXT_PX, svg::Anchor::Start, style::INK, words);
        let file = svg::file(WIDTH_PX, 100.0, "t", "", "", &body);
        let tree = output::tree(&file).expect("a drawing");
        let (_, [_, _, width, _]) = laid_out(tree.root())[0].clone();
        let ours = svg::width(words, TEXT_PX);
        assert!((ours / width - 1.0).abs() < WIDTH_SLACK, "{words}: {ours} {width}");
    }
}

fn decoded(file: &[u8]) -> (u32, u32, Vec<u8>, png::Info<'static>) {
    let mut reader = png::Decoder::new(std::io::Cursor::new(file)).read_info().expect("a PNG");
    let mut values = vec![0; reader.output_buffer_size().expect("a size")];
    reader.next_frame(&mut values).expect("image data");
    (reader.info().width, reader.info().height, values, reader.info().clone())
}

#[test]
fn the_png_has_the_size_asked_for_and_the_scale_in_it() {
    let svg = strip_alone().svg("");
    let tall = value(&xml(&svg).root_element(), "height");
    for scale in [0.5_f32, 1.0, 2.0] {
        let (width, height, values, info) = decoded(&svg_to_png(&svg, scale).expect("a PNG"));
        assert_eq!(
            (f64::from(width), f64::from(height)),
            (900.0 * f64::from(scale), (tall * f64::from(scale)).round())
        );
        assert_eq!(values.len(), 3 * (width * height) as usize);
        assert_eq!(values[..3], [255; 3]);
        assert!(info.srgb.is_some());
        // 96 pixels an inch are 3780 a metre (25.4 mm to the inch).
        assert_eq!(info.pixel_dims.map(|d| d.xppu), Some((96.0 / 0.0254 * scale).round() as u32));
    }
    for scale in [0.0, -1.0, f32::NAN, f32::INFINITY, 1000.0] {
        assert!(matches!(svg_to_png(&svg, scale), Err(ChartError::Size { .. })), "{scale}");
    }
    assert!(matches!(svg_to_png("<svg", 1.0), Err(ChartError::Xml(_))));
    assert!(matches!(svg_to_png("<p/>", 1.0), Err(ChartError::Svg(_))));
}

fn count(file: &[u8], what: &str) -> usize {
    file.windows(what.len()).filter(|w| *w == what.as_bytes()).count()
}

#[test]
fn the_pdf_has_one_page_of_the_drawings_size_with_text_and_pictures() {
    for (name, chart) in demos() {
        let svg = chart.svg("A strip of six pictures");
        let pdf = svg_to_pdf(&svg).expect("a PDF");
        assert!(pdf.starts_with(b"%PDF-"), "{name}");
        assert_eq!((count(&pdf, "/Type/Page/"), count(&pdf, "/Type/Pages/Count 1/")), (1, 1), "{name}");
        let points = value(&xml(&svg).root_element(), "height") * 0.75;
        let page = format!("/MediaBox[0 0 675 {}]", svg::n(points));
        assert_eq!(count(&pdf, &page), 1, "{name}: {page}");
        let pictures = elements(&xml(&svg), "image").len();
        assert_eq!(count(&pdf, "/Subtype/Image/"), pictures, "{name}");
        assert_eq!(count(&pdf, "/S/Figure/") * count(&pdf, "/Alt(A strip of six pictures)"), 1, "{name}");
        // Text is text: a font that can be mapped back to letters.
        assert_eq!(count(&pdf, "DejaVuSans") > 0 && count(&pdf, "/ToUnicode") > 0, name != "empty", "{name}");
    }
    assert!(matches!(svg_to_pdf("<svg"), Err(ChartError::Xml(_))));
}

#[test]
fn the_same_chart_is_the_same_file() {
    for (_, chart) in demos() {
        let (one, other) = (chart.svg("alt"), chart.clone().svg("alt"));
        assert_eq!(one, other);
        assert_eq!(svg_to_pdf(&one).expect("a PDF"), svg_to_pdf(&other).expect("a PDF"));
    }
}

#[test]
fn pictures_stand_at_their_values_in_every_format() {
    let colour = [20, 160, 90];
    let placed =
        |x: f64| PlacedPicture { x, picture: Canvas::filled(90, 60, colour), label: format!("{x} mm") };
    let mut chart = plot_of(Axis::linear("light", ""), vec![line(&[(0.0, 1.0), (20.0, 2.0)])]);
    chart.panels.push(Panel::Pictures(Pictures {
        heading: "seen".to_owned(),
        pictures: [5.0, 10.0, 15.0].map(placed).to_vec(),
    }));
    chart.panels.push(Panel::Strip(Strip {
        heading: String::new(),
        picture: Canvas::filled(100, 10, colour),
        from: 5.0,
        to: 15.0,
        height_px: Some(40.0),
    }));
    let svg = chart.svg("");
    let document = xml(&svg);
    let [left, _, right, _] = frames(&document)[0];
    let at = |x: f64| left + x / 20.0 * (right - left);
    let images: Vec<_> = elements(&document, "image")
        .iter()
        .map(|i| ["x", "y", "width", "height"].map(|name| value(i, name)))
        .collect();
    assert_eq!(images.len(), 4);
    for ([x, _, w, h], gap) in images.iter().zip([5.0, 10.0, 15.0]) {
        assert!((x + 0.5 * w - at(gap)).abs() < 2.0 * ROUNDING_PX, "{x} {w} {gap}");
        assert!((w / h - 1.5).abs() < 1e-3);
    }
    let [x, y, w, h] = images[3];
    assert!((x - at(5.0)).abs() < ROUNDING_PX && (x + w - at(15.0)).abs() < 2.0 * ROUNDING_PX && h == 40.0);
    let (width, _, values, _) = decoded(&svg_to_png(&svg, 1.0).expect("a PNG"));
    let seen = |x: f64, y: f64| {
        let i = 3 * (y as usize * width as usize + x as usize);
        [values[i], values[i + 1], values[i + 2]]
    };
    for [x, y, w, h] in &images {
        assert_eq!(seen(x + 0.5 * w, y + 0.5 * h), colour);
    }
    assert_eq!(seen(x - 3.0, y + 20.0), [255; 3]);
}

#[test]
fn many_pictures_keep_apart_and_in_order() {
    let pictures: Vec<_> = [0.0, 0.5, 1.0, 2.0, 5.0, 20.0, 30.0]
        .map(|x| PlacedPicture { x, picture: spots(60, 60, 0.2), label: format!("{x} mm") })
        .to_vec();
    let chart = Chart {
        x: Axis::linear("gap", "mm"),
        panels: vec![Panel::Pictures(Pictures { heading: String::new(), pictures })],
        ..Chart::default()
    };
    let svg = chart.svg("");
    let images: Vec<_> =
        elements(&xml(&svg), "image").iter().map(|i| (value(i, "x"), value(i, "width"))).collect();
    assert_eq!(images.len(), 7);
    assert!(images.windows(2).all(|p| p[1].0 >= p[0].0 + p[0].1), "{images:?}");
    assert!(images.iter().all(|(x, w)| *x >= 0.0 && x + w <= WIDTH_PX));
}

fn any_value() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -100.0..100.0_f64,
        1 => any::<f64>(),
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(f64::NEG_INFINITY),
        1 => Just(0.0),
        1 => Just(f64::MIN_POSITIVE),
        1 => Just(f64::MAX),
    ]
}

fn any_axis() -> impl Strategy<Value = Axis> {
    let range = proptest::option::of((any_value(), any_value()));
    (range, any::<bool>(), any::<bool>(), "\\PC{0,12}").prop_map(|(range, log, from_zero, label)| Axis {
        label,
        unit: "mm".to_owned(),
        range,
        scale: if log { Scale::Log } else { Scale::Linear },
        from_zero,
    })
}

fn any_chart() -> impl Strategy<Value = Chart> {
    let v = any_value;
    let series = proptest::collection::vec(
        (
            proptest::collection::vec((v(), v()), 0..6),
            proptest::option::of(proptest::collection::vec((v(), v(), v()), 0..6)),
            any::<String>(),
        ),
        0..4,
    );
    let marks =
        proptest::collection::vec((v(), v(), proptest::option::of((v(), v())), any::<String>()), 0..5);
    let panel = (any_axis(), series, marks, v(), v()).prop_map(|(y, series, marks, rule, height_px)| {
        let series = series
            .into_iter()
            .enumerate()
            .map(|(i, (points, band, name))| Series { name, points, band, style: Style::nth(i) })
            .collect();
        let points = marks
            .into_iter()
            .map(|(x, y, range, label)| Mark { x, y, x_range: range, y_range: range, label })
            .collect();
        Panel::Plot(Plot {
            y,
            height_px,
            series,
            marks: vec![Marks { name: "marks".to_owned(), points, style: Style::nth(1) }],
            rules: vec![Rule { at: rule, label: "rule".to_owned() }],
        })
    });
    let pictures = proptest::collection::vec((v(), 0..4_u32), 0..4).prop_map(|pictures| {
        let placed = |(x, size): (f64, u32)| PlacedPicture {
            x,
            picture: Canvas::filled(size, size, [0; 3]),
            label: "label".to_owned(),
        };
        Panel::Pictures(Pictures {
            heading: String::new(),
            pictures: pictures.into_iter().map(placed).collect(),
        })
    });
    let strip = (v(), v(), v()).prop_map(|(from, to, height_px)| {
        Panel::Strip(Strip {
            heading: String::new(),
            picture: Canvas::filled(2, 2, [0; 3]),
            from,
            to,
            height_px: Some(height_px),
        })
    });
    let panels = proptest::collection::vec(prop_oneof![4 => panel, 1 => pictures, 1 => strip], 0..4);
    (any_axis(), panels, v(), any::<String>()).prop_map(|(x, panels, rule, title)| Chart {
        title,
        subtitle: vec!["line".to_owned()],
        x,
        rules: vec![Rule { at: rule, label: "rule".to_owned() }],
        band_label: "band".to_owned(),
        panels,
        notes: vec!["note".to_owned()],
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]
    #[test]
    fn every_chart_is_a_valid_drawing(chart in any_chart()) {
        let svg = chart.svg("alt");
        let document = xml(&svg);
        for node in document.descendants() {
            for attribute in node.attributes().filter(|a| !["id", "href"].contains(&a.name())) {
                let value = attribute.value();
                prop_assert!(!value.contains("NaN") && !value.contains("inf"), "{value}");
            }
        }
        prop_assert!(output::tree(&svg).is_ok());
    }
}
