//! Heat maps: figures, colours and frames stand where their cells are, and nothing lies on anything.

use super::*;
use crate::picture::chart::{HeatCell, HeatGrid, HeatMap, HeatPart};

fn cell(value: f64) -> HeatCell {
    HeatCell { value: Some(value), marked: false }
}

/// Two grids with invented values: one of many columns, one with long names of rows.
fn demo() -> HeatMap {
    let part = |heading: &str, columns: usize, rows: usize, factor: f64| HeatPart {
        heading: heading.to_owned(),
        columns: (0..columns).map(|i| format!("{}", 0.5 * f64::from(1 << i))).collect(),
        cells: (0..rows)
            .map(|row| (0..columns).map(|column| cell(factor * (row * columns + column) as f64)).collect())
            .collect(),
    };
    let mut wide = part("nearly white", 7, 3, 1.3);
    wide.cells[1][2] = HeatCell { value: Some(9.96), marked: true };
    wide.cells[2][6] = HeatCell { value: None, marked: false };
    wide.cells[2][5] = cell(f64::NAN);
    HeatMap {
        title: "How far off".to_owned(),
        subtitle: vec!["Invented".to_owned()],
        label: "error (%)".to_owned(),
        edges: [0.5, 1.0, 2.0, 4.0, 8.0, 16.0],
        marked: "too much".to_owned(),
        unknown: "not known, and why it is not known in so many words that they do not stand in one line of the sheet".to_owned(),
        grids: vec![
            HeatGrid {
                heading: "One".to_owned(),
                rows_label: "thickness over gap".to_owned(),
                rows: ["0.05", "0.2", "4"].map(str::to_owned).to_vec(),
                columns_label: "optical thickness".to_owned(),
                parts: vec![wide, part("dyed", 7, 3, 0.1)],
            },
            HeatGrid {
                heading: "Named".to_owned(),
                rows: vec!["felt".to_owned(), "a pile with a long name, longer than the sheet has room for".to_owned()],
                columns_label: "asymmetry".to_owned(),
                parts: vec![part("straight ahead", 3, 2, 0.4), part("from the side, far", 3, 2, 7.0)],
                ..HeatGrid::default()
            },
        ],
        notes: vec!["Note".to_owned()],
    }
}

/// The text, the rectangle and the fill of each cell with a text: a filled rectangle with a rim, and the text drawn next.
fn cells(svg: &str) -> Vec<(String, [f64; 4], String)> {
    let document = xml(svg);
    let nodes: Vec<_> =
        document.descendants().filter(|n| n.has_tag_name("rect") || n.has_tag_name("text")).collect();
    nodes
        .windows(2)
        .filter(|pair| pair[0].has_tag_name("rect") && pair[1].has_tag_name("text"))
        .filter(|pair| pair[0].attribute("fill") != Some("none") && pair[0].has_attribute("stroke"))
        .map(|pair| {
            let rect = ["x", "y", "width", "height"].map(|name| value(&pair[0], name));
            let fill = pair[0].attribute("fill").expect("a fill").to_owned();
            (pair[1].text().expect("words").to_owned(), rect, fill)
        })
        .collect()
}

#[test]
fn each_figure_stands_in_its_cell_on_the_colour_of_its_step() {
    let svg = demo().svg("");
    let cells = cells(&svg);
    let hex = |step: usize| svg::hex(style::HEAT[step]);
    let of = |text: &str| cells.iter().find(|(words, ..)| words == text).unwrap_or_else(|| panic!("{text}"));
    for (text, step) in
        [("0.4", 0), ("0.5", 1), ("0.8", 1), ("1.0", 2), ("3.9", 3), ("6.5", 4), ("10", 5), ("23", 6)]
    {
        assert_eq!(of(text).2, hex(step), "{text}");
    }
    assert_eq!(of("?").2, svg::hex(style::PAPER));
    assert_eq!(svg.matches(">?</text>").count(), 3, "two cells without a value, and the legend");
    let document = xml(&svg);
    for (text, [x, y, w, h], _) in cells {
        let node = elements(&document, "text").into_iter().find(|node| {
            let [at, baseline] = ["x", "y"].map(|name| value(node, name));
            node.text() == Some(&text)
                && (at - (x + 0.5 * w)).abs() < ROUNDING_PX
                && (y..y + h).contains(&baseline)
        });
        assert!(node.is_some(), "{text} in the middle of its cell");
    }
}

#[test]
fn marked_cells_have_a_frame_and_signs_that_do_not_occur_no_legend() {
    let framed = |map: &HeatMap| svg_frames(&map.svg(""));
    let mut map = demo();
    assert_eq!(framed(&map), 2, "the cell and the legend");
    map.grids[0].parts[0].cells[1][2].marked = false;
    map.marked.clear();
    assert_eq!(framed(&map), 0);
    map.unknown.clear();
    assert_eq!(map.svg("").matches(">?</text>").count(), 2);
}

/// Rectangles that are stroked with ink.
fn svg_frames(svg: &str) -> usize {
    let ink = svg::hex(style::INK);
    elements(&xml(svg), "rect").iter().filter(|rect| rect.attribute("stroke") == Some(&ink)).count()
}

#[test]
fn labels_of_a_heat_map_lie_on_the_sheet_and_on_no_other() {
    let svg = demo().svg("what it shows");
    let tree = output::tree(&svg).expect("a drawing");
    nothing_lies_on_anything("heat map", &tree);
    let document = xml(&svg);
    assert_eq!(elements(&document, "desc")[0].text(), Some("what it shows"));
    for text in elements(&document, "text") {
        assert!(value(&text, "font-size") * PHONE_PX / WIDTH_PX >= LEAST_SIZE_PX, "{:?}", text.text());
    }
}

#[test]
fn a_heat_map_without_anything_is_a_valid_drawing() {
    let mut odd = demo();
    odd.grids[0].parts[0].cells.truncate(1);
    odd.grids[0].parts[1].columns.clear();
    odd.grids[1].rows.clear();
    odd.grids.push(HeatGrid::default());
    for map in [HeatMap::default(), odd] {
        let svg = map.svg("");
        assert!(!svg.contains("NaN") && !svg.contains("inf\""), "{svg}");
        assert!(output::tree(&svg).is_ok());
        assert!(svg_to_png(&svg, 1.0).is_ok() && svg_to_pdf(&svg).is_ok());
    }
}
