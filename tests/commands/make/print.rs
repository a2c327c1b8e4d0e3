//! The drawings to size: in their own millimetres, in the PDF, and printed by a browser.
//!
//! PDF pages are measured with `pdftoppm` and `pdfinfo` (poppler), the browser is `chromium`. Where they are missing the tests say so on standard
//! error and check nothing; `.ci/run` sees to it that they are there.

use super::super::Folder;
use super::SVG;
use crate::sheets::{printed, run, text, there, tree, with_demo};
use std::collections::BTreeMap;

/// Side of the check square, in mm.
const CHECK_MM: f64 = 50.0;
/// What a ruler shows; the picture's own pixel is 0.1 mm.
const RULER_MM: f64 = 0.1;
/// Image pixels to the millimetre: 254 to the inch.
const PER_MM: f64 = 10.0;

#[test]
fn every_pixel_is_drawn_in_its_place_to_size() {
    /// Drawings are written to a hundredth of a millimetre.
    const ROUNDING_MM: f64 = 0.0051;
    let folder = with_demo("wing");
    folder.fine(&["make", "wing.yaml", "-o", "out"]);
    let html = text(&folder, "out/sheet.html");
    let sheet = tree(&html);
    let map: Vec<[f64; 2]> = text(&folder, "out/map.csv")
        .lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().expect("a number")).collect();
            [cells[1], cells[2]]
        })
        .collect();
    let mut drawn = vec![0; map.len()];
    let pages =
        sheet.descendants().filter(|n| n.has_tag_name((SVG, "svg")) && n.attribute("width") == Some("210mm"));
    let mut count = 0;
    for page in pages.skip(1) {
        assert_eq!(
            (page.attribute("height"), page.attribute("viewBox")),
            (Some("297mm"), Some("0 0 210 297"))
        );
        let window = page.children().find(|n| n.has_tag_name((SVG, "svg"))).expect("the drawing");
        let own = |name: &str| window.attribute(name).expect("a number").parse::<f64>().expect("a number");
        let view: Vec<f64> = window
            .attribute("viewBox")
            .expect("a box")
            .split(' ')
            .map(|v| v.parse().expect("a number"))
            .collect();
        // One unit of the drawing is one millimetre of the paper.
        assert_eq!((own("width"), own("height")), (view[2], view[3]));
        for body in
            window.children().filter(|n| n.has_tag_name((SVG, "rect")) && n.attribute("transform").is_some())
        {
            let place = body.attribute("transform").expect("a place");
            let inner = place.trim_start_matches("translate(").split(')').next().expect("numbers");
            let at: Vec<f64> = inner.split(' ').map(|v| v.parse().expect("a number")).collect();
            let index = map
                .iter()
                .position(|p| {
                    (p[0] - at[0]).abs() < ROUNDING_MM + 1e-3 && (p[1] + at[1]).abs() < ROUNDING_MM + 1e-3
                })
                .unwrap_or_else(|| panic!("no pixel at {at:?}"));
            drawn[index] += 1;
        }
        count += 1;
    }
    assert!(count > 1 && drawn.iter().all(|times| *times >= 1), "{count} pages: {drawn:?}");
}

/// Width and height of every page of a PDF, in mm.
fn page_sizes(folder: &Folder, pdf: &str) -> Vec<[f64; 2]> {
    let (out, _) = run(folder, "pdfinfo", &["-l", "1000", pdf]);
    let sizes = out.lines().filter(|line| line.starts_with("Page") && line.contains("size:"));
    sizes
        .map(|line| {
            let numbers: Vec<f64> = line.split_whitespace().filter_map(|word| word.parse().ok()).collect();
            // The page's number, width and height in points.
            [numbers[1], numbers[2]].map(|points| points * 25.4 / 72.0)
        })
        .collect()
}

/// Width and height of the check squares in a PDF, in mm, by page from 1.
fn check_squares(folder: &Folder, pdf: &str) -> BTreeMap<usize, [f64; 2]> {
    run(folder, "pdftoppm", &["-r", "254", "-gray", pdf, "seen"]);
    let mut found = BTreeMap::new();
    for name in folder.names().iter().filter(|name| name.starts_with("seen-") && name.ends_with(".pgm")) {
        let page: usize = name.trim_start_matches("seen-").trim_end_matches(".pgm").parse().expect("a page");
        if let Some(size) = square(&folder.read(name)) {
            found.insert(page, size);
        }
        std::fs::remove_file(folder.path(name)).expect("removed");
    }
    found
}

/// Width and height of the square in a grey picture (PGM), from the middle of its lines to the middle of the opposite ones.
fn square(pgm: &[u8]) -> Option<[f64; 2]> {
    let mut head = pgm.splitn(4, |byte| *byte == b'\n' || *byte == b' ');
    assert_eq!(head.next(), Some(b"P5".as_slice()));
    let number = |part: Option<&[u8]>| {
        std::str::from_utf8(part.expect("a number")).expect("text").parse::<usize>().expect("a number")
    };
    let (width, height) = (number(head.next()), number(head.next()));
    let rest = head.next().expect("values");
    let from = rest.iter().position(|byte| *byte == b'\n').expect("the end of the head") + 1;
    let dark = |x: usize, y: usize| rest[from + y * width + x] < 128;
    // Runs of ink in a row of about the square's side: its upper and its lower line. Both ends carry half a line's width more.
    let mut lines: Vec<(usize, usize, usize)> = Vec::new();
    for y in 0..height {
        let mut x = 0;
        while x < width {
            let start = x;
            while x < width && dark(x, y) {
                x += 1;
            }
            // A line is thin; dark parts of the preview are not.
            let middle = (start + x) / 2;
            let thin = [y.saturating_sub(20), (y + 20).min(height - 1)].iter().all(|y| !dark(middle, *y));
            if (480..=530).contains(&(x - start)) && thin {
                lines.push((y, start, x - 1));
            }
            x += 1;
        }
    }
    let top = *lines.first()?;
    let near = |line: &&(usize, usize, usize)| line.1.abs_diff(top.1) <= 2 && line.2.abs_diff(top.2) <= 2;
    let group = |from: usize| {
        let rows: Vec<usize> =
            lines.iter().filter(near).map(|line| line.0).filter(|y| y.abs_diff(from) < 20).collect();
        (rows[0] + rows[rows.len() - 1]) as f64 / 2.0
    };
    let bottom = lines.iter().filter(near).map(|line| line.0).max()?;
    if bottom - top.0 < 480 {
        return None; // A bar, no square.
    }
    // Upright lines, in a row between the upper line and the words.
    let y = top.0 + 60;
    let edge = |near: usize| {
        let xs: Vec<usize> = (near.saturating_sub(8)..near + 8).filter(|x| dark(*x, y)).collect();
        (xs[0] + xs[xs.len() - 1]) as f64 / 2.0
    };
    Some([(edge(top.2) - edge(top.1)) / PER_MM, (group(bottom) - group(top.0)) / PER_MM])
}

fn assert_one_true_square(squares: &BTreeMap<usize, [f64; 2]>) {
    assert_eq!(squares.len(), 1, "{squares:?}");
    for side in squares.values().flatten() {
        assert!((side - CHECK_MM).abs() < RULER_MM, "{squares:?}");
    }
}

#[test]
fn the_pdf_is_as_large_as_the_paper_and_its_check_square_50_mm() {
    /// Sizes are told in points with three decimals.
    const TOLD_MM: f64 = 0.01;
    if !(there("pdfinfo", "-v") && there("pdftoppm", "-v")) {
        return;
    }
    // The wing's pages stand upright, those of the collar and the waistcoat are fewer on their side.
    let demos = [
        ("wing", "a4", [210.0, 297.0], [210.0, 297.0]),
        ("waistcoat", "a4", [210.0, 297.0], [297.0, 210.0]),
        ("collar", "letter", [215.9, 279.4], [279.4, 215.9]),
    ];
    for (name, paper, size, to_size) in demos {
        let folder = with_demo(name);
        let plan = folder.json(&["make", &format!("{name}.yaml"), "-o", "out", "--paper", paper, "--json"]);
        let tiles = plan["pages_to_size"].as_u64().expect("a count") as usize;
        let sizes = page_sizes(&folder, "out/sheet.pdf");
        assert!(tiles > 1 && sizes.len() > tiles + 1, "words, overview, {tiles} pages to size: {sizes:?}");
        for (i, found) in sizes.iter().enumerate() {
            let size = if i < sizes.len() - tiles { size } else { to_size };
            assert!((0..2).all(|i| (found[i] - size[i]).abs() < TOLD_MM), "{name} {i}: {found:?}");
        }
        let squares = check_squares(&folder, "out/sheet.pdf");
        assert_one_true_square(&squares);
        assert!(squares.contains_key(&(sizes.len() - tiles)), "on the overview: {squares:?}");
    }
}

#[test]
fn a_browser_opens_the_sheet_without_complaint_and_prints_it_to_size() {
    if !(there("chromium", "--version") && there("pdftoppm", "-v")) {
        return;
    }
    let folder = with_demo("wing");
    let plan = folder.json(&["make", "wing.yaml", "-o", "out", "--json"]);
    let tiles = plan["pages_to_size"].as_u64().expect("a count") as usize;
    // That complaints are heard at all: a page with a fault in it.
    folder.write("faulty.html", "<!DOCTYPE html><html><body><script>nothing.here()</script></body></html>");
    assert!(printed(&folder, "faulty.html", "faulty.pdf").contains("nothing"));

    assert_eq!(printed(&folder, "out/sheet.html", "print.pdf"), "");
    let squares = check_squares(&folder, "print.pdf");
    assert_one_true_square(&squares);
    let pages = page_sizes(&folder, "print.pdf").len();
    // The overview is followed by the pages to size and nothing else.
    assert!(squares.contains_key(&(pages - tiles)), "{squares:?} of {pages}");
}
