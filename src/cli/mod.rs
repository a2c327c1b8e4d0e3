//! The command line: a thin shell around the library.
//!
//! Data goes to standard output, messages to standard error. Exit code 0: fine; 1: a check failed; 2: an error.

mod charts;
mod check;
mod cloth;
mod cloths;
mod compare;
mod interrupted;
mod judged;
mod listen;
mod make;
mod manual;
mod motion;
mod new;
mod numbers;
mod on_photo;
pub mod output;
mod pick;
mod preview;
mod progress;
mod serve;
mod shapes;
mod sheet;
mod spread;
mod standoff;
mod targets;
mod view;

use crate::diagnose::Diagnostic;
use clap::{Parser, Subcommand};
use std::process::ExitCode;

/// What a command came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// All is well.
    Fine,
    /// The work was done, and a check in it failed.
    CheckFailed,
    /// The work could not be done; the reason has been told.
    Error,
}

impl From<Outcome> for ExitCode {
    fn from(outcome: Outcome) -> ExitCode {
        match outcome {
            Outcome::Fine => ExitCode::SUCCESS,
            Outcome::CheckFailed => ExitCode::from(1),
            Outcome::Error => ExitCode::from(2),
        }
    }
}

/// See what light-up clothing will look like before the cloth is bought.
#[derive(Debug, Parser)]
#[command(name = "weftlight", version, arg_required_else_help = true)]
#[command(after_help = "Example: weftlight preview scenes/collar.yaml -o collar.png")]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    New(new::Arguments),
    Preview(preview::Arguments),
    Motion(motion::Arguments),
    Compare(compare::Arguments),
    Standoff(standoff::Arguments),
    Pick(pick::Arguments),
    Make(make::Arguments),
    Sheet(sheet::Arguments),
    Serve(serve::Arguments),
    Spread(spread::Arguments),
    Cloth(cloth::Arguments),
    Check(check::Arguments),
    Completions(manual::CompletionsArguments),
    Manual(manual::ManualArguments),
}

/// The exit code of a finished command; problems that it hands back are told here.
fn finished(result: Result<Outcome, Vec<Diagnostic>>) -> ExitCode {
    result
        .unwrap_or_else(|problems| {
            output::diagnostics(&problems);
            Outcome::Error
        })
        .into()
}

/// Runs the program.
#[must_use]
pub fn run() -> ExitCode {
    match Cli::try_parse() {
        Ok(cli) => finished(done(cli.command)),
        // Help and version end well, a wrong call ends with 2; the library that reads the call knows which.
        Err(message) => {
            let _ = message.print();
            ExitCode::from(u8::try_from(message.exit_code()).unwrap_or(2))
        }
    }
}

fn done(command: Command) -> Result<Outcome, Vec<Diagnostic>> {
    // The page has its own way to end: it answers first what is asked.
    if !matches!(command, Command::Serve(_)) {
        interrupted::clear_away_when_told_to_end();
    }
    match command {
        Command::New(arguments) => new::run(&arguments),
        Command::Preview(arguments) => preview::run(&arguments),
        Command::Motion(arguments) => motion::run(&arguments),
        Command::Compare(arguments) => compare::run(&arguments),
        Command::Pick(arguments) => pick::run(&arguments),
        Command::Standoff(arguments) => standoff::run(&arguments),
        Command::Make(arguments) => make::run(&arguments),
        Command::Sheet(arguments) => sheet::run(&arguments),
        Command::Serve(arguments) => serve::run(&arguments),
        Command::Spread(arguments) => spread::run(&arguments),
        Command::Cloth(arguments) => cloth::run(&arguments),
        Command::Check(arguments) => check::run(&arguments),
        Command::Completions(arguments) => Ok(manual::completions(&arguments)),
        Command::Manual(arguments) => manual::manual(&arguments),
    }
}
