//! Diagnostics: one shape for everything that is wrong with a file, for the terminal and for machines.
//!
//! A diagnostic says where (file, line, column), what is wrong, what was found, what is allowed and what to do next.
//! [`render`] draws it with the line of the file under it; [`to_json`] gives the same facts as JSON.

use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet};
use std::ops::Range;

/// At most this many problems of one file are kept; the rest is counted. More would bury the first ones, and a
/// hostile file could fill the memory with them.
pub const MOST_PROBLEMS: usize = 50;

/// A piece of the file that is quoted in a message is cut after this many characters, so that it stays on one line.
pub const MOST_QUOTED: usize = 60;

/// Two spellings that are less alike than this (1 is equal; normalised Damerau-Levenshtein) are not offered as
/// correction: at 0.5 half of the letters would have to change.
const LEAST_LIKENESS: f64 = 0.5;

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Severity {
    /// The file cannot be used.
    Error,
    /// The file can be used, but something in it is probably not meant.
    Warning,
}

impl Severity {
    /// The word that stands in front of the message.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Severity::Error => "error",
            Severity::Warning => "warning",
        }
    }
}

/// A place in a text: line and column count from 1, columns in characters.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// The bytes of the text that are meant; may be empty.
    pub bytes: Range<usize>,
}

impl Place {
    /// Its first character alone, so that a message about a whole map does not underline all its values.
    #[must_use]
    pub fn start(&self) -> Place {
        Place { bytes: self.bytes.start..self.bytes.start, ..self.clone() }
    }
}

/// Something that is wrong at a place of a text whose file is not yet named.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    /// Where.
    pub place: Place,
    /// How bad.
    pub severity: Severity,
    /// What is wrong, without a full stop.
    pub what: String,
    /// What was found there, as written in the file.
    pub found: Option<String>,
    /// What is allowed.
    pub allowed: Option<String>,
    /// What to do.
    pub next: Option<String>,
}

impl Problem {
    /// An error at a place.
    #[must_use]
    pub fn error(place: &Place, what: impl Into<String>) -> Problem {
        Problem {
            place: place.clone(),
            severity: Severity::Error,
            what: what.into(),
            found: None,
            allowed: None,
            next: None,
        }
    }

    /// A warning at a place.
    #[must_use]
    pub fn warning(place: &Place, what: impl Into<String>) -> Problem {
        Problem { severity: Severity::Warning, ..Problem::error(place, what) }
    }

    /// Adds what was found.
    #[must_use]
    pub fn found(mut self, found: impl AsRef<str>) -> Problem {
        self.found = Some(shortened(found.as_ref()));
        self
    }

    /// Adds what is allowed.
    #[must_use]
    pub fn allowed(mut self, allowed: impl Into<String>) -> Problem {
        self.allowed = Some(allowed.into());
        self
    }

    /// Adds what to do.
    #[must_use]
    pub fn next(mut self, next: impl Into<String>) -> Problem {
        self.next = Some(next.into());
        self
    }
}

/// Collects problems, at most [`MOST_PROBLEMS`] of them.
#[derive(Clone, Debug, Default)]
pub struct Problems {
    kept: Vec<Problem>,
    left_out: usize,
    errors: usize,
}

impl Problems {
    /// Adds one.
    pub fn push(&mut self, problem: Problem) {
        self.errors += usize::from(problem.severity == Severity::Error);
        if self.kept.len() < MOST_PROBLEMS {
            self.kept.push(problem);
        } else {
            self.left_out += 1;
        }
    }

    /// Number of errors so far, those left out included.
    #[must_use]
    pub fn errors(&self) -> usize {
        self.errors
    }

    /// Names the file and quotes its lines; in the order of the file.
    #[must_use]
    pub fn into_diagnostics(mut self, file: &str, text: &str) -> Vec<Diagnostic> {
        self.kept.sort_by_key(|p| (p.place.line, p.place.column));
        let mut all: Vec<Diagnostic> =
            self.kept.into_iter().map(|problem| Diagnostic::new(file, text, problem)).collect();
        if self.left_out > 0 {
            let what = format!("{} more problems are not shown", self.left_out);
            all.push(Diagnostic::of_file(file, what).next("Mend the ones above first, then check again."));
        }
        all
    }
}

/// The line of a file at which a diagnostic points.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Excerpt {
    /// The line, without its end.
    pub line: String,
    /// The bytes of `line` that are meant.
    pub bytes: Range<usize>,
}

/// One thing that is wrong with one file.
#[derive(Clone, Debug, PartialEq)]
pub struct Diagnostic {
    /// The file as the user named it.
    pub file: String,
    /// Line, from 1; none when the file as a whole is meant.
    pub line: Option<usize>,
    /// Column in characters, from 1.
    pub column: Option<usize>,
    /// How bad.
    pub severity: Severity,
    /// What is wrong, without a full stop.
    pub what: String,
    /// What was found there, as written in the file.
    pub found: Option<String>,
    /// What is allowed.
    pub allowed: Option<String>,
    /// What to do.
    pub next: Option<String>,
    /// The line of the file, where there is one.
    pub excerpt: Option<Excerpt>,
}

impl Diagnostic {
    /// A problem in a named file with the given text.
    #[must_use]
    pub fn new(file: &str, text: &str, problem: Problem) -> Diagnostic {
        Diagnostic {
            file: file.to_owned(),
            line: Some(problem.place.line),
            column: Some(problem.place.column),
            severity: problem.severity,
            what: problem.what,
            found: problem.found,
            allowed: problem.allowed,
            next: problem.next,
            excerpt: excerpt(text, &problem.place.bytes),
        }
    }

    /// An error of a file as a whole (it is missing, it is a directory, …).
    #[must_use]
    pub fn of_file(file: &str, what: impl Into<String>) -> Diagnostic {
        Diagnostic {
            file: file.to_owned(),
            line: None,
            column: None,
            severity: Severity::Error,
            what: what.into(),
            found: None,
            allowed: None,
            next: None,
            excerpt: None,
        }
    }

    /// Adds what to do.
    #[must_use]
    pub fn next(mut self, next: impl Into<String>) -> Diagnostic {
        self.next = Some(next.into());
        self
    }

    /// Adds what is allowed.
    #[must_use]
    pub fn allowed(mut self, allowed: impl Into<String>) -> Diagnostic {
        self.allowed = Some(allowed.into());
        self
    }
}

/// How diagnostics are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ink {
    /// Letters only.
    Plain,
    /// With colours, for a terminal that understands them.
    Coloured,
}

/// Draws a diagnostic as text, with the line of the file under it. Ends without a line break.
#[must_use]
pub fn render(diagnostic: &Diagnostic, ink: Ink) -> String {
    let level = match diagnostic.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
    };
    let group = Group::with_title(level.primary_title(diagnostic.what.as_str()));
    let mut group = match (&diagnostic.excerpt, diagnostic.line) {
        (Some(excerpt), Some(line)) => {
            let label = diagnostic.found.as_ref().map(|found| format!("found {found}"));
            let mark = AnnotationKind::Primary.span(excerpt.bytes.clone()).label(label);
            let source =
                Snippet::source(excerpt.line.as_str()).line_start(line).path(diagnostic.file.as_str());
            group.element(source.annotation(mark))
        }
        _ => group.element(Origin::path(diagnostic.file.as_str())),
    };
    if let Some(allowed) = &diagnostic.allowed {
        group = group.element(Level::NOTE.with_name("allowed").message(allowed.as_str()));
    }
    if let Some(next) = &diagnostic.next {
        group = group.element(Level::HELP.with_name("next").message(next.as_str()));
    }
    let renderer = match ink {
        Ink::Plain => Renderer::plain(),
        Ink::Coloured => Renderer::styled(),
    };
    renderer.render(&[group])
}

/// The same facts as one JSON object; what is not known is null.
#[must_use]
pub fn to_json(diagnostic: &Diagnostic) -> serde_json::Value {
    serde_json::json!({
        "file": diagnostic.file,
        "line": diagnostic.line,
        "column": diagnostic.column,
        "severity": diagnostic.severity.word(),
        "what": diagnostic.what,
        "found": diagnostic.found,
        "allowed": diagnostic.allowed,
        "next": diagnostic.next,
    })
}

/// The candidate spelt most like `word`, unless none is near. A candidate that differs in its unit only
/// (`pitch_cm` for `pitch_mm`, `gap` for `gap_mm`) comes first.
#[must_use]
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    if word.chars().count() > MOST_QUOTED {
        return None; // No name is that long, and the comparison takes time with the length.
    }
    let word = word.to_lowercase().replace(['-', ' '], "_");
    let likeness = |candidate: &str| {
        let spelling = candidate.to_lowercase().replace(['-', ' '], "_");
        if without_unit(&spelling) == without_unit(&word) {
            1.0
        } else {
            strsim::normalized_damerau_levenshtein(&word, &spelling)
        }
    };
    candidates
        .into_iter()
        .map(|candidate| (likeness(candidate), candidate))
        .filter(|(likeness, _)| *likeness >= LEAST_LIKENESS)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}

/// A key without the unit at its end.
pub(crate) fn without_unit(key: &str) -> &str {
    const UNITS: [&str; 24] = [
        "_mm", "_cm", "_m", "_um", "_in", "_inch", "_inches", "_deg", "_degrees", "_rad", "_nm", "_lx",
        "_lux", "_px", "_ev", "_years", "_ma", "_a", "_v", "_volts", "_mah", "_ah", "_awg", "_hours",
    ];
    UNITS.iter().find_map(|unit| key.strip_suffix(unit)).unwrap_or(key)
}

/// One line of at most [`MOST_QUOTED`] characters.
#[must_use]
pub fn shortened(text: &str) -> String {
    let flat: String =
        text.trim().chars().take(MOST_QUOTED + 1).map(|c| if c.is_control() { ' ' } else { c }).collect();
    if flat.chars().count() > MOST_QUOTED {
        let cut: String = flat.chars().take(MOST_QUOTED - 1).collect();
        format!("{cut}…")
    } else {
        flat
    }
}

/// The line around the first of the given bytes. None when the bytes do not lie on character boundaries of the text.
fn excerpt(text: &str, bytes: &Range<usize>) -> Option<Excerpt> {
    let before = text.get(..bytes.start)?;
    let start = before.rfind('\n').map_or(0, |i| i + 1);
    let line = text.get(start..)?.split(['\n', '\r']).next().unwrap_or("");
    let from = (bytes.start - start).min(line.len());
    let to = (bytes.end.max(bytes.start) - start).min(line.len()).max(from);
    let from_to = from..to;
    line.get(from_to.clone())?;
    Some(Excerpt { line: line.to_owned(), bytes: from_to })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nearest_spelling() {
        let keys = ["package", "pitch_mm", "count", "start_mm", "direction_deg", "colour"];
        assert_eq!(nearest("pitch_cm", keys), Some("pitch_mm"));
        assert_eq!(nearest("pitch", keys), Some("pitch_mm"));
        assert_eq!(nearest("color", keys), Some("colour"));
        assert_eq!(nearest("direction_degrees", keys), Some("direction_deg"));
        assert_eq!(nearest("cuont", keys), Some("count"));
        assert_eq!(nearest("zebra", keys), None);
    }

    #[test]
    fn quoted_text_stays_on_one_line() {
        assert_eq!(shortened("  a\nb "), "a b");
        assert_eq!(shortened(&"ä".repeat(200)).chars().count(), MOST_QUOTED);
    }

    #[test]
    fn excerpt_is_the_line_of_the_place() {
        let text = "a: 1\r\nbä: two\nc: 3";
        let found = excerpt(text, &(11..14)).expect("inside the text");
        assert_eq!(found.line, "bä: two");
        assert_eq!(&found.line[found.bytes], "two");
        // Half a character and a place outside the text give none, never a panic.
        assert_eq!(excerpt(text, &(8..9)), None);
        assert_eq!(excerpt(text, &(400..401)), None);
        let end = excerpt(text, &(text.len()..text.len())).expect("the end is a place");
        assert_eq!((end.line.as_str(), end.bytes), ("c: 3", 4..4));
    }

    #[test]
    fn too_many_problems_are_counted() {
        let mut problems = Problems::default();
        let place = Place { line: 1, column: 1, bytes: 0..1 };
        for _ in 0..MOST_PROBLEMS + 7 {
            problems.push(Problem::error(&place, "wrong"));
        }
        assert_eq!(problems.errors(), MOST_PROBLEMS + 7);
        let all = problems.into_diagnostics("f", "x");
        assert_eq!(all.len(), MOST_PROBLEMS + 1);
        assert!(all[MOST_PROBLEMS].what.starts_with("7 more"));
    }
}
