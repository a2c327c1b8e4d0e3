//! The moving picture, made up here: it is put on the page, its stills on the paper, and a bad one is refused.

use super::super::Folder;
use super::{assert_sound, print};
use crate::sheets::tree;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use weftlight::client::html::html;
use weftlight::client::pages::pages;
use weftlight::client::{Motion, NoMotion, Sheet, Words, sheet};
use weftlight::cloth::catalogue::CatalogueOnly;
use weftlight::paper::Paper;
use weftlight::picture::canvas::Canvas;
use weftlight::picture::chart::svgs_to_pdf;
use weftlight::scene::file::resolve;

const SIZE: [u16; 2] = [24, 12];

/// Four frames, each of one grey.
fn gif_file() -> Vec<u8> {
    let mut bytes = Vec::new();
    let palette = [0, 0, 0, 80, 80, 80, 160, 160, 160, 255, 255, 255];
    let mut encoder = gif::Encoder::new(&mut bytes, SIZE[0], SIZE[1], &palette).expect("a GIF");
    encoder.set_repeat(gif::Repeat::Infinite).expect("repeats");
    for grey in 0..4_u8 {
        let pixels = vec![grey; usize::from(SIZE[0]) * usize::from(SIZE[1])];
        let mut frame = gif::Frame::from_indexed_pixels(SIZE[0], SIZE[1], pixels, None);
        frame.delay = 25;
        encoder.write_frame(&frame).expect("a frame");
    }
    drop(encoder);
    bytes
}

fn motion() -> Motion {
    let stills = (0..9_u8).map(|i| Canvas::filled(u32::from(SIZE[0]), u32::from(SIZE[1]), [28 * i; 3]));
    Motion {
        animation: gif_file(),
        alt: "The glow swells and fades \"slowly\" & again.".to_owned(),
        caption: "One second, exposure EV 5.0 at ISO 100.".to_owned(),
        stills: stills.collect(),
    }
}

fn plain() -> Sheet {
    let text =
        "name: Made up\npixels: [strip: {pitch_mm: 10, count: 6}]\nstack: [{gap_mm: 6, cloth: jersey}]\n";
    let resolved = resolve(text, "made-up.yaml", &CatalogueOnly).expect("in order");
    sheet(&resolved, Words::default()).expect("a sheet")
}

#[test]
fn a_moving_picture_stands_on_the_page_and_its_stills_on_the_paper() {
    let with = plain().with_motion(Some(motion())).expect("taken");
    let page = html(&with);
    assert_sound(&page);
    let tree = tree(&page);
    let moving: Vec<_> = tree
        .descendants()
        .filter(|n| {
            n.tag_name().name() == "img"
                && n.attribute("src").is_some_and(|s| s.starts_with("data:image/gif;base64,"))
        })
        .collect();
    assert_eq!(moving.len(), 1);
    let source = moving[0].attribute("src").expect("a source");
    assert_eq!(
        STANDARD.decode(&source["data:image/gif;base64,".len()..]).expect("base64"),
        gif_file(),
        "byte for byte"
    );
    assert_eq!(moving[0].attribute("alt"), Some("The glow swells and fades \"slowly\" & again."));
    // Who wants nothing to move gets a still.
    assert!(page.contains("(prefers-reduced-motion: reduce)"));
    let stills = tree
        .descendants()
        .filter(|n| n.attribute("alt").is_some_and(|alt| alt.starts_with("Still ")))
        .count();
    assert_eq!(stills, 4, "four of nine");
    let before = pages(&plain(), Paper::A4);
    let after = pages(&with, Paper::A4);
    let count = |pages: &[String]| pages.iter().map(|page| page.matches("<image").count()).sum::<usize>();
    assert_eq!(count(&after), count(&before) + 4);
    let folder = Folder::new();
    folder.write("m.pdf", svgs_to_pdf(&after).expect("a PDF"));
    print::assert_at_most_two_pages(&folder, "m.pdf");
}

#[test]
fn without_one_nothing_changes_and_a_bad_one_is_refused() {
    assert_eq!(html(&plain().with_motion(None).expect("as it is")), html(&plain()));
    let refused = |change: fn(&mut Motion)| {
        let mut bad = motion();
        change(&mut bad);
        plain().with_motion(Some(bad)).map(|_| ()).expect_err("refused")
    };
    assert!(matches!(refused(|m| m.animation = b"<svg onload='x'/>".to_vec()), NoMotion::Format));
    assert!(matches!(refused(|m| m.animation.clear()), NoMotion::Format));
    assert!(matches!(refused(|m| m.animation.resize(9 << 20, 0)), NoMotion::Large(_)));
    assert!(matches!(refused(|m| m.alt = " ".to_owned()), NoMotion::NoWords));
    assert!(matches!(refused(|m| m.stills.clear()), NoMotion::NoStills));
}
