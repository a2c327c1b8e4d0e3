//! The scene file: saved, read by the command line, opened again.

use crate::programs::weftlight;
use crate::seen::{GAP_BOX, WHOLE, visit, visit_demo};
use crate::tab::DESK;

#[test]
fn the_saved_file_is_the_text_the_command_line_reads_it_and_it_opens_again() {
    let Some((_program, tab)) = visit_demo(DESK, "collar") else { return };
    tab.changed(|| tab.write(GAP_BOX, "9.5"));
    let (text, picture) = (tab.text(), tab.painted(WHOLE));
    assert!(tab.sees("#unsaved"));
    let (name, bytes) = tab.downloaded(|| tab.click("#save"));
    assert_eq!(name, "collar.yaml");
    assert_eq!(String::from_utf8(bytes).expect("text"), text);
    assert!(!tab.sees("#unsaved"));
    let demo = include_str!("../../scenes/collar.yaml");
    assert_eq!(text, demo.replace("gap_mm: 6", "gap_mm: 9.5"), "only the gap is new");

    let (code, said) = weftlight(tab.folder(), &["check", "collar.yaml"]);
    assert_eq!(code, 0, "{said}");
    let (code, said) = weftlight(tab.folder(), &["preview", "collar.yaml", "-o", "seen.png"]);
    assert_eq!(code, 0, "{said}");
    let size = image::image_dimensions(tab.folder().join("seen.png")).expect("a picture");
    assert!(size.0 > 100 && size.1 > 100, "{size:?}");

    let Some((_program, fresh)) = visit(DESK) else { return };
    let opened = fresh.changed(|| fresh.give_file("#open-file", &tab.folder().join("collar.yaml")));
    assert_eq!((fresh.text(), opened.gap.as_str()), (text, "9.5"));
    assert!(!fresh.sees("#unsaved"));
    // Each finds its own exposure for its first picture, so the light may differ, but there is a picture.
    assert!(fresh.painted(WHOLE).is_a_picture() && picture.is_a_picture());
}
