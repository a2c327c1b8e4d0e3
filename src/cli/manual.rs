//! `weftlight manual` and `weftlight completions`: what a system wants to know about the commands, made from their one definition.

use super::{Outcome, output};
use crate::diagnose::Diagnostic;
use crate::files;
use clap::{Args, Command, CommandFactory};
use clap_complete::Shell;
use std::path::PathBuf;

/// Write manual pages for `man`, one a command
#[derive(Debug, Args)]
#[command(after_help = "Example: weftlight manual ~/.local/share/man/man1")]
pub(super) struct ManualArguments {
    /// The folder to write them into; it is made if it is not there
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
}

/// Print what completes commands and options in a shell
#[derive(Debug, Args)]
#[command(
    after_help = "Example: weftlight completions bash > ~/.local/share/bash-completion/completions/weftlight"
)]
pub(super) struct CompletionsArguments {
    /// The shell
    #[arg(value_name = "SHELL", value_enum)]
    shell: Shell,
}

pub(super) fn manual(arguments: &ManualArguments) -> Result<Outcome, Vec<Diagnostic>> {
    let pages = pages()?;
    files::make_folder(&arguments.folder)?;
    let together: Vec<_> = pages.iter().map(|(name, page)| (arguments.folder.join(name), page)).collect();
    files::write_together(&together)?;
    Ok(output::data(&format!(
        "Wrote {} manual pages into {}: try `man {}`.",
        pages.len(),
        arguments.folder.display(),
        arguments.folder.join("weftlight.1").display()
    )))
}

/// Name and text of each page.
fn pages() -> Result<Vec<(String, Vec<u8>)>, Vec<Diagnostic>> {
    let mut all = Vec::new();
    let mut root = super::Cli::command().disable_help_subcommand(true);
    root.build();
    gather(&root, "weftlight", &mut all);
    all.into_iter()
        .map(|(name, command)| {
            let mut text = Vec::new();
            let page = clap_mangen::Man::new(command).title(&name);
            page.render(&mut text).map_err(|error| {
                vec![Diagnostic::of_file(&name, format!("this page cannot be made: {error}"))]
            })?;
            Ok((format!("{name}.1"), text))
        })
        .collect()
}

/// A command and all below it, each with the name of its page.
fn gather(command: &Command, name: &str, all: &mut Vec<(String, Command)>) {
    all.push((name.to_owned(), command.clone()));
    for below in command.get_subcommands().filter(|below| !below.is_hide_set()) {
        gather(below, &format!("{name}-{}", below.get_name()), all);
    }
}

pub(super) fn completions(arguments: &CompletionsArguments) -> Outcome {
    let mut text = Vec::new();
    clap_complete::generate(arguments.shell, &mut super::Cli::command(), "weftlight", &mut text);
    output::data(String::from_utf8_lossy(&text).trim_end())
}
