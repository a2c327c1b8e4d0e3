//! The command line: a thin shell around the library.

use std::process::ExitCode;

/// Runs the program.
#[must_use]
pub fn run() -> ExitCode {
    ExitCode::SUCCESS
}
