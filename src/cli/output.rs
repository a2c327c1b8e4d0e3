//! Where the commands speak: data to standard output, messages to standard error.

use super::Outcome;
use crate::diagnose::{Diagnostic, Ink, render};
use std::ffi::OsStr;
use std::io::{self, IsTerminal, Write};
use std::path::Path;

/// Writes data to standard output and a line break after it. A reader that has gone away (`… | head`) is no error.
#[must_use]
pub fn data(text: &str) -> Outcome {
    let mut out = io::stdout().lock();
    match writeln!(out, "{text}").and_then(|()| out.flush()) {
        Ok(()) => Outcome::Fine,
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Outcome::Fine,
        Err(error) => {
            message(&format!("error: standard output cannot be written: {error}"));
            Outcome::Error
        }
    }
}

/// Writes JSON to standard output.
#[must_use]
pub fn json(value: &serde_json::Value) -> Outcome {
    data(&format!("{value:#}"))
}

/// The files that were written, as every command's JSON names them.
pub fn files<P: AsRef<Path>>(written: impl IntoIterator<Item = P>) -> serde_json::Value {
    written.into_iter().map(|path| path.as_ref().display().to_string()).collect()
}

/// Tells on standard error what could be done next: what for, and the words after `weftlight` of a command that can be run as it
/// stands there. For people alone; nothing is said beside JSON.
pub fn next<W: AsRef<OsStr>>(what_for: &str, words: impl IntoIterator<Item = W>) {
    let words: Vec<String> = words.into_iter().map(|word| quoted(&word.as_ref().to_string_lossy())).collect();
    next_step(what_for, &format!("weftlight {}", words.join(" ")));
}

/// Tells on standard error what could be done next by hand.
pub fn next_step(what_for: &str, step: &str) {
    message(&format!("Next, to {what_for}: {step}"));
}

/// A word as a shell takes it: in single quotes where it holds more than letters, digits and harmless signs.
fn quoted(word: &str) -> String {
    let harmless = |c: char| c.is_alphanumeric() || "-_./:,=+@%".contains(c);
    if !word.is_empty() && word.chars().all(harmless) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', r"'\''"))
    }
}

/// Writes a message to standard error. There is nowhere to tell that even this failed.
pub fn message(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{text}");
}

/// Writes diagnostics to standard error, in colour only at a terminal and only without `NO_COLOR`.
pub fn diagnostics(all: &[Diagnostic]) {
    let ink = ink();
    for diagnostic in all {
        message(&render(diagnostic, ink));
        message("");
    }
}

/// Colours only at a terminal, and only where the user has not asked for none (`NO_COLOR` set to anything).
fn ink() -> Ink {
    let unwanted = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    if !unwanted && io::stderr().is_terminal() { Ink::Coloured } else { Ink::Plain }
}

#[cfg(test)]
mod tests {
    use super::quoted;

    #[test]
    fn words_are_quoted_where_a_shell_would_break_or_change_them() {
        for (word, taken) in [
            ("scenes/collar.yaml", "scenes/collar.yaml"),
            ("Ärmel_2.yaml", "Ärmel_2.yaml"),
            ("my scene.yaml", "'my scene.yaml'"),
            ("felt*", "'felt*'"),
            ("it's", r"'it'\''s'"),
            ("", "''"),
        ] {
            assert_eq!(quoted(word), taken);
        }
    }
}
