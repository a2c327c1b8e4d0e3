//! The demo scenes, with the drawings and photographs that they name.

use super::asked::Opened;
use crate::cloth::catalogue::{NamedBytes, NamedText};
use std::sync::{Arc, LazyLock};

/// A demo scene.
#[derive(Debug)]
pub struct Demo {
    /// Its name, that of its file.
    pub name: &'static str,
    /// Its text.
    pub text: &'static str,
    drawing: Option<(&'static str, &'static str)>,
    photo: Option<(&'static str, &'static [u8])>,
}

const fn demo(name: &'static str, text: &'static str) -> Demo {
    Demo { name, text, drawing: None, photo: None }
}

const COAT_SVG: (&str, &str) = ("coat.svg", include_str!("../../scenes/coat.svg"));

/// All of them, in the order of the page.
pub static DEMOS: [Demo; 9] = [
    demo("collar", include_str!("../../scenes/collar.yaml")),
    demo("badge", include_str!("../../scenes/badge.yaml")),
    demo("panel", include_str!("../../scenes/panel.yaml")),
    demo("hem", include_str!("../../scenes/hem.yaml")),
    demo("lantern", include_str!("../../scenes/lantern.yaml")),
    Demo {
        drawing: Some(("wing.svg", include_str!("../../scenes/wing.svg"))),
        ..demo("wing", include_str!("../../scenes/wing.yaml"))
    },
    Demo {
        drawing: Some(("waistcoat.svg", include_str!("../../scenes/waistcoat.svg"))),
        ..demo("waistcoat", include_str!("../../scenes/waistcoat.yaml"))
    },
    Demo {
        drawing: Some(COAT_SVG),
        photo: Some(("coat-photo.jpg", include_bytes!("../../scenes/coat-photo.jpg"))),
        ..demo("coat", include_str!("../../scenes/coat.yaml"))
    },
    Demo {
        drawing: Some(COAT_SVG),
        photo: Some(("coat-bent-photo.jpg", include_bytes!("../../scenes/coat-bent-photo.jpg"))),
        ..demo("coat-bent", include_str!("../../scenes/coat-bent.yaml"))
    },
];

impl Demo {
    /// The value of its scene's `name`.
    #[must_use]
    pub fn title(&self) -> &'static str {
        self.text.lines().find_map(|line| line.strip_prefix("name: ")).unwrap_or("")
    }

    fn files(&self) -> Opened {
        let mut files = Opened::default();
        if let Some((path, text)) = self.drawing {
            let named = NamedText { shown_as: path.to_owned(), text: text.to_owned() };
            files.drawings.insert(path.to_owned(), named);
        }
        if let Some((path, bytes)) = self.photo {
            let named = NamedBytes { shown_as: path.to_owned(), bytes: bytes.to_vec() };
            files.pictures.insert(path.to_owned(), named);
        }
        files
    }
}

/// The files of a demo; `None` where there is no such demo.
#[must_use]
pub fn files_of(name: &str) -> Option<Arc<Opened>> {
    static FILES: LazyLock<Vec<Arc<Opened>>> =
        LazyLock::new(|| DEMOS.iter().map(|demo| Arc::new(demo.files())).collect());
    DEMOS.iter().position(|demo| demo.name == name).map(|at| Arc::clone(&FILES[at]))
}
