//! `weftlight manual`, `weftlight completions`, and the example that every command has in its help.

use super::{Folder, demo};
use std::collections::BTreeSet;

/// Every command as its words, those with commands below them too; the program itself is no words.
fn commands(folder: &Folder) -> Vec<Vec<String>> {
    let mut all = vec![Vec::new()];
    let mut next = 0;
    while next < all.len() {
        let help = help(folder, &all[next]);
        let below = help.split("\nCommands:\n").nth(1).map(|rest| rest.split("\n\n").next().unwrap_or(rest));
        // A name stands two places in; the words about it are further in or go on there.
        let name =
            |line: &str| line.strip_prefix("  ").filter(|rest| !rest.starts_with(' ')).map(str::to_owned);
        let names = below.unwrap_or_default().lines().filter_map(name);
        for name in names.filter_map(|line| line.split_whitespace().next().map(str::to_owned)) {
            if name != "help" {
                all.push([all[next].clone(), vec![name]].concat());
            }
        }
        next += 1;
    }
    assert!(all.len() > 15 && all.contains(&vec!["cloth".to_owned(), "list".to_owned()]), "{all:?}");
    all
}

fn help(folder: &Folder, command: &[String]) -> String {
    let words: Vec<&str> = command.iter().map(String::as_str).chain(["--help"]).collect();
    folder.fine(&words)
}

/// The long options that a help text lists.
fn options(help: &str) -> BTreeSet<String> {
    let lines = help.lines().map(str::trim_start).filter(|line| line.starts_with('-'));
    let words = lines.flat_map(|line| line.split([' ', ','])).filter(|word| word.starts_with("--"));
    // An option whose value may be left out has it in brackets: `--self-check[=<STACKS>]`.
    words.map(|word| word.split('[').next().unwrap_or(word).trim_end_matches("...").to_owned()).collect()
}

#[test]
fn a_page_for_every_command_names_its_options() {
    let folder = Folder::new();
    let told = folder.fine(&["manual", "pages/man1"]);
    let commands = commands(&folder);
    assert!(told.contains(&format!("Wrote {} manual pages", commands.len())), "{told}");
    assert_eq!(folder.names().iter().filter(|name| name.ends_with(".1")).count(), commands.len());
    for command in &commands {
        let name = [vec!["weftlight".to_owned()], command.clone()].concat().join("-");
        let page = String::from_utf8(folder.read(&format!("pages/man1/{name}.1"))).expect("text");
        let plain = page.replace("\\-", "-");
        assert!(page.contains(".TH") && plain.contains(&name), "{name}: {page}");
        let options = options(&help(&folder, command));
        assert!(options.contains("--help"), "{name}: {options:?}");
        for option in options {
            assert!(plain.contains(&option), "{name}: {option}: {plain}");
        }
    }
    // Again into the same folder: the same pages.
    folder.fine(&["manual", "pages/man1"]);
    assert!(folder.refused(&["manual", "pages/man1/weftlight.1"]).contains("a file is in the way"));
}

#[test]
fn completions_of_every_shell_know_every_command() {
    let folder = Folder::new();
    let commands = commands(&folder);
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let text = folder.fine(&["completions", shell]);
        for name in commands.iter().flatten() {
            assert!(text.contains(name), "{shell}: {name}");
        }
        for option in ["size-px", "flash-report", "areal-mass-g-m2"] {
            assert!(text.contains(option), "{shell}: {option}");
        }
        folder.write(shell, &text);
    }
    assert!(folder.refused(&["completions", "abacus"]).contains("bash"));
    let said = std::process::Command::new("bash").arg("-n").arg(folder.path("bash")).output();
    match said {
        Ok(output) => assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr)),
        Err(error) => super::skipped(&format!("bash cannot be run: {error}")),
    }
}

/// The words of an example; what stands in double quotes is one word, and what goes to a file by the shell is left out.
fn words(example: &str) -> Vec<String> {
    let call = example.split(" > ").next().unwrap_or(example);
    let parts = call.split('"').enumerate();
    let of_part = |(i, part): (usize, &str)| -> Vec<String> {
        if i % 2 == 1 { vec![part.to_owned()] } else { part.split_whitespace().map(str::to_owned).collect() }
    };
    parts.flat_map(of_part).collect()
}

#[test]
fn every_help_has_an_example_that_can_be_called() {
    let folder = Folder::new();
    for name in ["collar", "badge", "lantern"] {
        folder.write(&format!("scenes/{name}.yaml"), demo(name));
    }
    for command in commands(&folder) {
        let help = help(&folder, &command);
        let example = help.split("\nExample: ").nth(1).unwrap_or_else(|| panic!("{command:?}: {help}"));
        let example = words(&example.replace('\n', " "));
        assert_eq!(example[0], "weftlight", "{command:?}");
        // The program's own example is one of its commands'; that of `cloth` one of those below it.
        assert!(example[1..].starts_with(&command), "{command:?}: {example:?}");
        let named: BTreeSet<&str> =
            example.iter().map(String::as_str).filter(|w| w.starts_with("--")).collect();
        let known = options(&self::help(&folder, &called(&example)));
        assert!(named.iter().all(|option| known.contains(*option)), "{command:?}: {named:?}");
        if is_quick(&example) {
            let example: Vec<&str> = example[1..].iter().map(String::as_str).collect();
            folder.fine(&example);
        }
    }
}

/// The words of an example that name the command: those before the first option or argument.
fn called(example: &[String]) -> Vec<String> {
    let most = if example[1] == "cloth" { 2 } else { 1 };
    example[1..].iter().take(most).cloned().collect()
}

/// Whether an example is carried out: not the page, which does not end; not those of photographs that nobody has taken; not what takes
/// long; not what leads out of the folder.
fn is_quick(example: &[String]) -> bool {
    let left_out = ["serve", "calibrate", "compare-photo", "motion", "pick", "standoff", "sheet"];
    !example.iter().any(|word| left_out.contains(&word.as_str()) || word.starts_with('~'))
}
