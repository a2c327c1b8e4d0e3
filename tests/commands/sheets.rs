//! What the tests of both sheets share: a folder with a demo scene, pages as trees, and programs that measure and open them.

use super::{Folder, demo, skipped};
use std::path::Path;
use std::process::Command;

/// A folder with a demo scene and its drawing.
pub(crate) fn with_demo(name: &str) -> Folder {
    let folder = Folder::new();
    folder.write(&format!("{name}.yaml"), demo(name));
    let drawing = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("scenes/{name}.svg"));
    if drawing.exists() {
        folder.write(&format!("{name}.svg"), std::fs::read(drawing).expect("the drawing"));
    }
    folder
}

pub(crate) fn text(folder: &Folder, name: &str) -> String {
    String::from_utf8(folder.read(name)).expect("text")
}

/// A page as a tree. It is written as XML too, so that a mistake in it is found.
pub(crate) fn tree(html: &str) -> roxmltree::Document<'_> {
    let options = roxmltree::ParsingOptions { allow_dtd: true, ..roxmltree::ParsingOptions::default() };
    roxmltree::Document::parse_with_options(html, options).expect("well-formed")
}

pub(crate) fn words(node: roxmltree::Node<'_, '_>) -> String {
    node.descendants().filter_map(|n| n.is_text().then(|| n.text()).flatten()).collect()
}

/// Whether a program is there.
pub(crate) fn there(program: &str, ask: &str) -> bool {
    let found = Command::new(program).arg(ask).output().is_ok_and(|output| output.status.success());
    if !found {
        skipped(&format!("`{program}` is not on this machine, so nothing was printed, opened or measured"));
    }
    found
}

/// Standard output and standard error of a program that must succeed.
pub(crate) fn run(folder: &Folder, program: &str, arguments: &[&str]) -> (String, String) {
    let output = Command::new(program).current_dir(folder.0.path()).args(arguments).output().expect("runs");
    let [out, err] = [output.stdout, output.stderr].map(|text| String::from_utf8_lossy(&text).into_owned());
    assert!(output.status.success(), "{program} {arguments:?}: {err}");
    (out, err)
}

/// What a browser complains of on opening a page, and its print as PDF.
pub(crate) fn printed(folder: &Folder, page: &str, pdf: &str) -> String {
    let address = format!("file://{}", folder.path(page).display());
    let profile = format!("--user-data-dir={}", folder.path("profile").display());
    let print = format!("--print-to-pdf={}", folder.path(pdf).display());
    let arguments = [
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--enable-logging=stderr",
        "--no-pdf-header-footer",
        &profile,
        &print,
        &address,
    ];
    let (_, err) = run(folder, "chromium", &arguments);
    err.lines().filter(|line| line.contains("CONSOLE")).collect::<Vec<_>>().join("\n")
}
