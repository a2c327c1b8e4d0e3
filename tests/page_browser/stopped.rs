//! The program is stopped while the page is open.

use crate::programs::Program;
use crate::seen::{GAP_BOX, visit_demo};
use crate::tab::DESK;

#[test]
fn without_its_program_the_page_says_so_keeps_the_work_and_goes_on_when_it_is_back() {
    let Some((program, tab)) = visit_demo(DESK, "collar") else { return };
    tab.changed(|| tab.write(GAP_BOX, "7.5"));
    let text = tab.text();
    assert!(!tab.sees("#notice"));
    let port = program.port();
    program.end();
    tab.write(GAP_BOX, "9");
    tab.until("the notice", "return visible(byId('notice'))");
    let notice = tab.words("#notice");
    assert!(notice.contains("does not answer") && notice.contains("weftlight serve"), "{notice}");
    assert_eq!(tab.text(), text);
    let (name, bytes) = tab.downloaded(|| tab.click("#save"));
    assert_eq!((name.as_str(), String::from_utf8(bytes).expect("text")), ("collar.yaml", text.clone()));

    let _again = Program::serve(port);
    tab.until("it goes on", "return byId('notice').hidden");
    // What was asked for meanwhile is made up for.
    tab.until(
        "the last change",
        "const now = state(); return now.gap === '9' && now.shown === now.wanted && now.detail === 'full'",
    );
    assert_eq!(tab.text(), text.replace("gap_mm: 7.5", "gap_mm: 9"));
}
