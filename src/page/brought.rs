//! Files that the page brought in beside its scene: drawings, lists, cloth files, pictures and photographs.
//!
//! The maker chooses them in the browser; the page sends each under the path by which the scene names it. That path is only a name here:
//! nothing is read from the file system by it, and nothing is written. What is kept is bounded, for each page and for all pages together.
//! Of one path, what was brought counts before what was opened with the program: it was chosen later.

use super::asked::{Answer, MOST_TEXT_BYTES, Opened};
use super::demos;
use crate::cloth::Cloth;
use crate::cloth::catalogue::{NamedBytes, NamedText, Reference};
use crate::cloth::file::resolve as cloth_of;
use crate::diagnose::Diagnostic;
use base64::Engine;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

/// Pages whose files are kept; beyond, those of the page that brought nothing for longest leave.
pub const MOST_PAGES: usize = 8;
/// Files of one page.
pub const MOST_FILES: usize = 64;
/// Bytes of all files of one page: a few photographs from a telephone.
pub const MOST_BYTES: usize = 48 << 20;
/// Body of a question that brings one file: the most that one page may bring, in base64.
pub const MOST_BODY_BYTES: usize = MOST_BYTES / 3 * 4 + (1 << 16);
/// Endings of pictures and photographs.
const PICTURES: [&str; 7] = [".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp", ".gif"];
/// The longest path, in bytes.
const MOST_PATH_BYTES: usize = 300;

/// What the pages brought in.
#[derive(Debug)]
pub struct Brought {
    opened: Arc<Opened>,
    pages: Mutex<Vec<OfPage>>,
}

#[derive(Debug)]
struct OfPage {
    page: String,
    sizes: BTreeMap<String, usize>,
    /// What was opened and what was brought together.
    all: Arc<Opened>,
}

impl Brought {
    /// Over what was opened with the program.
    #[must_use]
    pub fn over(opened: Opened) -> Brought {
        Brought { opened: Arc::new(opened), pages: Mutex::default() }
    }

    /// The files that the scene of a question may name: those of its `demo`, or those of its page (`files`).
    #[must_use]
    pub fn of(&self, question: &Value) -> Arc<Opened> {
        if let Some(files) = question["demo"].as_str().and_then(demos::files_of) {
            return files;
        }
        let pages = self.pages.lock().unwrap_or_else(PoisonError::into_inner);
        let own = question["files"].as_str().and_then(|page| pages.iter().find(|own| own.page == page));
        Arc::clone(own.map_or(&self.opened, |own| &own.all))
    }

    /// Takes a file in.
    #[must_use]
    pub fn bring(&self, question: &Value) -> Answer {
        match self.taken_in(question) {
            Ok(path) => Answer::json(&json!({"path": path})),
            Err(problems) => Answer::problems("", &problems),
        }
    }

    fn taken_in(&self, question: &Value) -> Result<String, Vec<Diagnostic>> {
        let page = question["files"].as_str().filter(|page| !page.is_empty() && page.len() <= 64);
        let page = page.ok_or_else(|| fault("the file", "the question does not say whose file it is"))?;
        let path = question["path"].as_str().unwrap_or("");
        if !is_path(path) {
            let shown = if path.is_empty() { "the file" } else { "this path" };
            return Err(fault(
                shown,
                "a file is brought by its name, or by its path from the scene's folder",
            ));
        }
        let bytes = bytes(question).ok_or_else(|| fault(path, "this file holds nothing that can be read"))?;
        let size = bytes.len();
        let file = File::of(path, bytes)?;
        let mut pages = self.pages.lock().unwrap_or_else(PoisonError::into_inner);
        let mut own = match pages.iter().position(|own| own.page == page) {
            Some(at) => pages.remove(at),
            None => OfPage { page: page.to_owned(), sizes: BTreeMap::new(), all: Arc::clone(&self.opened) },
        };
        let told = own.fits(path, size);
        if told.is_ok() {
            own.sizes.insert(path.to_owned(), size);
            file.put(path, Arc::make_mut(&mut own.all));
        }
        pages.push(own);
        if pages.len() > MOST_PAGES {
            pages.remove(0);
        }
        told.map(|()| path.to_owned())
    }
}

impl OfPage {
    fn fits(&self, path: &str, size: usize) -> Result<(), Vec<Diagnostic>> {
        let others = self.sizes.iter().filter(|(known, _)| *known != path);
        let (count, bytes) = others.fold((0, 0), |(count, bytes), (_, size)| (count + 1, bytes + size));
        if count >= MOST_FILES {
            return Err(fault(path, format!("{MOST_FILES} files are here already, and more are not kept")));
        }
        if bytes + size > MOST_BYTES {
            let what =
                format!("the files of this page would be larger than {} MB together", MOST_BYTES >> 20);
            let fault = Diagnostic::of_file(path, what);
            return Err(vec![
                fault.next("Make the photographs smaller, or start the page with `weftlight serve SCENE`."),
            ]);
        }
        Ok(())
    }
}

fn fault(path: &str, what: impl Into<String>) -> Vec<Diagnostic> {
    vec![Diagnostic::of_file(path, what)]
}

/// A name, or a path that counts from the scene's folder, as a scene may write it.
fn is_path(path: &str) -> bool {
    !path.is_empty()
        && path.len() <= MOST_PATH_BYTES
        && !path.starts_with('/')
        && !path.contains(['\\', ':'])
        && !path.chars().any(char::is_control)
}

fn bytes(question: &Value) -> Option<Vec<u8>> {
    match question["text"].as_str() {
        Some(text) => Some(text.as_bytes().to_vec()),
        None => base64::engine::general_purpose::STANDARD.decode(question["base64"].as_str()?).ok(),
    }
}

/// A file by what it is for, which its ending tells.
enum File {
    Cloth(Arc<Cloth>),
    Drawing(String),
    Picture(Vec<u8>),
}

impl File {
    fn of(path: &str, bytes: Vec<u8>) -> Result<File, Vec<Diagnostic>> {
        let lower = path.to_ascii_lowercase();
        let is_cloth = matches!(Reference::of(path), Reference::Path(_));
        let is_picture = PICTURES.iter().any(|ending| lower.ends_with(ending));
        // A list of places may have any ending.
        if !is_cloth && (is_picture || std::str::from_utf8(&bytes).is_err()) {
            return Ok(File::Picture(bytes));
        }
        let text = String::from_utf8(bytes).map_err(|_| fault(path, "this file is no text in UTF-8"))?;
        if !is_cloth {
            return Ok(File::Drawing(text));
        }
        if text.len() > MOST_TEXT_BYTES {
            return Err(fault(path, "this file is longer than a cloth can be"));
        }
        cloth_of(&text, path).map(|cloth| File::Cloth(Arc::new(cloth)))
    }

    fn put(self, path: &str, all: &mut Opened) {
        let (path, shown_as) = (path.to_owned(), path.to_owned());
        match self {
            File::Cloth(cloth) => {
                all.cloths.insert(path, cloth);
            }
            File::Drawing(text) => {
                all.drawings.insert(path, NamedText { shown_as, text });
            }
            File::Picture(bytes) => {
                all.pictures.insert(path, NamedBytes { shown_as, bytes });
            }
        }
    }
}
