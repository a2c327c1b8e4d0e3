//! What must hold for messages and numbers, whatever the input.

use weftlight::diagnose::{Diagnostic, Ink, MOST_PROBLEMS, Severity, render, to_json};

/// Files that one scene may name and each have problems of their own.
const MOST_FILES: usize = 50;

/// A refusal says at least one error, and every message can be shown.
pub(crate) fn refusal(diagnostics: &[Diagnostic]) {
    assert!(
        diagnostics.iter().any(|d| d.severity == Severity::Error),
        "refused without an error: {diagnostics:?}"
    );
    shown(diagnostics);
}

/// Every message can be shown, says something, and they are not too many.
pub(crate) fn shown(diagnostics: &[Diagnostic]) {
    assert!(diagnostics.len() <= (MOST_PROBLEMS + 1) * MOST_FILES, "{} messages", diagnostics.len());
    for diagnostic in diagnostics {
        assert!(!diagnostic.what.trim().is_empty(), "a message without words: {diagnostic:?}");
        assert!(!render(diagnostic, Ink::Plain).trim().is_empty());
        assert!(!to_json(diagnostic).to_string().is_empty());
    }
}

/// All numbers are finite.
pub(crate) fn finite(what: &str, numbers: impl IntoIterator<Item = f64>) {
    for number in numbers {
        assert!(number.is_finite(), "{what}: {number}");
    }
}

/// All numbers lie from 0 to 1.
pub(crate) fn shares(what: &str, numbers: impl IntoIterator<Item = f64>) {
    for number in numbers {
        assert!((0.0..=1.0).contains(&number), "{what}: {number}");
    }
}
