//! What is asked and answered, whatever carries it: questions as JSON, answers as bytes with their kind.

use super::model::problems_in;
use crate::cloth::Cloth;
use crate::cloth::catalogue::{ClothSource, NamedBytes, NamedText};
use crate::diagnose::Diagnostic;
use crate::reading::parse;
use crate::scene::file::{Resolved, resolve};
use rayon::{ThreadPool, ThreadPoolBuilder};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

/// How a text is called in messages.
pub const SHOWN_AS: &str = "the scene";
/// The longest text that is read, in bytes: that of the command line.
pub const MOST_TEXT_BYTES: usize = crate::files::MOST_BYTES as usize;

/// What was opened when the page was started: the files that its scene names, by their paths as the scene writes them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Opened {
    /// The scene's name and text.
    pub scene: Option<NamedText>,
    /// Cloths by path.
    pub cloths: BTreeMap<String, Arc<Cloth>>,
    /// Drawings and lists by path.
    pub drawings: BTreeMap<String, NamedText>,
    /// Pictures of patterns, and photographs, by path.
    pub pictures: BTreeMap<String, NamedBytes>,
}

impl Opened {
    /// Whether a file is at hand.
    #[must_use]
    pub fn holds(&self, path: &str) -> bool {
        self.cloths.contains_key(path) || self.drawings.contains_key(path) || self.pictures.contains_key(path)
    }
}

/// A file that is not at hand.
fn not_here(path: &str, what: &str) -> Vec<Diagnostic> {
    let fault = Diagnostic::of_file(path, format!("this {what} is not here yet"));
    vec![fault.next("Choose it under \u{201c}Files of this scene\u{201d}, or start the page with `weftlight serve SCENE`.")]
}

impl ClothSource for Opened {
    fn by_path(&self, path: &str) -> Result<Arc<Cloth>, Vec<Diagnostic>> {
        self.cloths.get(path).map(Arc::clone).ok_or_else(|| not_here(path, "cloth file"))
    }

    fn drawing_text(&self, path: &str) -> Result<NamedText, Vec<Diagnostic>> {
        self.drawings.get(path).cloned().ok_or_else(|| not_here(path, "drawing or list"))
    }

    fn picture_bytes(&self, path: &str) -> Result<NamedBytes, Vec<Diagnostic>> {
        self.pictures.get(path).cloned().ok_or_else(|| not_here(path, "picture"))
    }
}

/// An answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// HTTP status.
    pub status: u16,
    /// Media type.
    pub kind: &'static str,
    /// What else the page should know, as one line of JSON; `None` for nothing.
    pub about: Option<Value>,
    /// Name under which a browser should save it.
    pub file_name: Option<String>,
    /// The bytes.
    pub body: Vec<u8>,
}

impl Answer {
    /// JSON.
    #[must_use]
    pub fn json(value: &Value) -> Answer {
        Answer {
            status: 200,
            kind: "application/json",
            about: None,
            file_name: None,
            body: value.to_string().into_bytes(),
        }
    }

    /// A picture or another file, with what the page should know.
    #[must_use]
    pub fn bytes(kind: &'static str, body: Vec<u8>, about: Option<Value>) -> Answer {
        Answer { status: 200, kind, about, file_name: None, body }
    }

    /// Problems because of which there is no other answer.
    #[must_use]
    pub fn problems(text: &str, problems: &[Diagnostic]) -> Answer {
        let tree = parse(text).ok();
        let mut answer = Answer::json(&json!({"problems": problems_in(problems, tree.as_ref())}));
        answer.status = 422;
        answer
    }

    /// One problem that belongs to no place of the text.
    #[must_use]
    pub fn problem(what: impl Into<String>, next: &str) -> Answer {
        let fault = Diagnostic::of_file(SHOWN_AS, what);
        Answer::problems("", &[if next.is_empty() { fault } else { fault.next(next) }])
    }

    /// Nobody waits for this any more.
    #[must_use]
    pub fn stale() -> Answer {
        let mut answer = Answer::json(&json!({"stale": true}));
        answer.status = 409;
        answer
    }

    /// The question itself is not understood.
    #[must_use]
    pub fn not_understood(what: &str) -> Answer {
        Answer::refused(400, what)
    }

    /// Turned away, with this status of HTTP.
    #[must_use]
    pub fn refused(status: u16, what: &str) -> Answer {
        Answer { status, ..Answer::problem(what, "") }
    }
}

/// The text of a question.
///
/// # Errors
/// When there is none, or it is too long.
pub fn text(question: &Value) -> Result<&str, Answer> {
    let text =
        question["text"].as_str().ok_or_else(|| Answer::not_understood("the question holds no text"))?;
    if text.len() > MOST_TEXT_BYTES {
        return Err(Answer::problem(
            format!("the text is {} KiB long", text.len() / 1024),
            &format!(
                "A scene may be {} KiB long; move long lists of places into a file of their own.",
                MOST_TEXT_BYTES / 1024
            ),
        ));
    }
    Ok(text)
}

/// Does what reads a text on the one thread that reads texts.
///
/// A text of the greatest size takes some 100 MiB while it is read, in small pieces, which the system's memory keeps for the thread that had them:
/// with one thread once, with many as many times.
pub fn reading<T: Send>(work: impl FnOnce() -> T + Send) -> T {
    static THREAD: OnceLock<Option<ThreadPool>> = OnceLock::new();
    match THREAD.get_or_init(|| ThreadPoolBuilder::new().num_threads(1).build().ok()) {
        Some(thread) => thread.install(work),
        None => work(),
    }
}

/// The scene of a question.
///
/// # Errors
/// The problems of its text.
pub fn scene(question: &Value, opened: &Opened) -> Result<Resolved, Answer> {
    let text = text(question)?;
    reading(|| resolve(text, SHOWN_AS, opened).map_err(|problems| Answer::problems(text, &problems)))
}

/// A number of a question within bounds; what is outside is brought inside.
#[must_use]
pub fn number(question: &Value, key: &str, least: f64, most: f64, otherwise: f64) -> f64 {
    question[key].as_f64().filter(|v| v.is_finite()).map_or(otherwise, |v| v.clamp(least, most))
}
