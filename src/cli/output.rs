//! Where the commands speak: data to standard output, messages to standard error.

use super::Outcome;
use crate::diagnose::{Diagnostic, Ink, render};
use std::io::{self, IsTerminal, Write};

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
