//! On paper, and in a browser.

use super::super::Folder;
use super::DEMOS;
use crate::sheets::{printed, run, there, with_demo};

/// Number of pages, and width and height of the first in mm.
fn pages(folder: &Folder, pdf: &str) -> (usize, [f64; 2]) {
    let (out, _) = run(folder, "pdfinfo", &[pdf]);
    let line = |name: &str| out.lines().find(|line| line.starts_with(name)).expect("a line").to_owned();
    let numbers =
        |line: String| -> Vec<f64> { line.split_whitespace().filter_map(|word| word.parse().ok()).collect() };
    let size = numbers(line("Page size:"));
    (numbers(line("Pages:"))[0] as usize, [size[0], size[1]].map(|points| points * 25.4 / 72.0))
}

/// The sheet is to be looked through at once: two pages.
pub(super) fn assert_at_most_two_pages(folder: &Folder, pdf: &str) {
    if there("pdfinfo", "-v") {
        let (count, _) = pages(folder, pdf);
        assert!((1..=2).contains(&count), "{pdf}: {count} pages");
    }
}

#[test]
fn the_pdf_is_as_large_as_the_paper() {
    /// Sizes are told in points with three decimals.
    const TOLD_MM: f64 = 0.01;
    if !there("pdfinfo", "-v") {
        return;
    }
    for (paper, size) in [("a4", [210.0, 297.0]), ("letter", [215.9, 279.4])] {
        let folder = with_demo("badge");
        folder.fine(&["sheet", "badge.yaml", "-o", "x.pdf", "--paper", paper]);
        let (count, found) = pages(&folder, "x.pdf");
        assert!(count <= 2 && (0..2).all(|i| (found[i] - size[i]).abs() < TOLD_MM), "{count} {found:?}");
    }
}

#[test]
fn a_browser_opens_the_page_without_complaint_and_prints_it_on_two_pages() {
    if !(there("chromium", "--version") && there("pdfinfo", "-v")) {
        return;
    }
    let faulty = "<!DOCTYPE html><html><body><script>nothing.here()</script></body></html>";
    for (i, name) in DEMOS.into_iter().enumerate() {
        let folder = with_demo(name);
        if i == 0 {
            // That complaints are heard at all: a page with a fault in it.
            folder.write("faulty.html", faulty);
            assert!(printed(&folder, "faulty.html", "faulty.pdf").contains("nothing"));
        }
        let paper = ["a4", "letter"][i % 2];
        folder.fine(&["sheet", &format!("{name}.yaml"), "-o", "page.html", "--paper", paper]);
        assert_eq!(printed(&folder, "page.html", "print.pdf"), "", "{name}");
        assert_at_most_two_pages(&folder, "print.pdf");
    }
}
