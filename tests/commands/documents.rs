//! README and guides: what they name is there, and their commands are understood.

use super::Folder;
use std::collections::BTreeMap;
use std::path::Path;

const DOCUMENTS: [&str; 4] =
    ["README.md", "DEVELOPERS.md", "fabrics/photo-guide.md", "tests/bench/README.md"];

fn text_of(document: &str) -> String {
    std::fs::read_to_string(document).unwrap_or_else(|error| panic!("{document}: {error}"))
}

/// What stands between two marks, for each place where the first one is.
fn between<'a>(text: &'a str, before: &str, after: &str) -> Vec<&'a str> {
    text.split(before).skip(1).filter_map(|rest| rest.split(after).next()).collect()
}

/// The commands of this program in a document's shell examples: lines that go on are joined, comments are off.
fn commands(text: &str) -> Vec<Vec<String>> {
    let blocks = between(text, "```sh\n", "```").join("\n").replace("\\\n", " ");
    let lines = blocks.lines().filter_map(|line| {
        let line = line.split(" #").next().unwrap_or_default().trim();
        line.strip_prefix("weftlight ").or_else(|| line.strip_prefix("cargo run -- ")).map(str::to_owned)
    });
    let words =
        |line: String| line.split_whitespace().map(|word| word.trim_matches('"').to_owned()).collect();
    lines.map(words).collect()
}

#[test]
fn pictures_and_files_that_documents_link_to_are_there() {
    let mut links = 0;
    for document in DOCUMENTS {
        let text = text_of(document);
        let folder = Path::new(document).parent().expect("a folder");
        let targets = between(&text, "](", ")").into_iter().chain(between(&text, "<img src=\"", "\""));
        for target in targets.filter(|target| !target.starts_with("http") && !target.starts_with('#')) {
            links += 1;
            assert!(folder.join(target).exists(), "{document}: {target} is not there");
        }
    }
    assert!(links > 20, "{links} links found");
}

#[test]
fn commands_of_the_documents_have_options_and_files_that_exist() {
    let folder = Folder::new();
    let mut helps = BTreeMap::new();
    let mut seen = 0;
    for document in DOCUMENTS {
        for words in commands(&text_of(document)) {
            seen += 1;
            let told = format!("{document}: weftlight {}", words.join(" "));
            // `cloth` has commands of its own.
            let command = &words[..if words[0] == "cloth" { 2 } else { 1 }];
            let help: &String = helps.entry(command.to_vec()).or_insert_with(|| {
                folder.fine(&command.iter().map(String::as_str).chain(["--help"]).collect::<Vec<_>>())
            });
            for word in &words[command.len()..] {
                if word.starts_with("--") {
                    let known = help.split([' ', ',', '\n', '[', '=']).any(|part| part == word);
                    assert!(known, "{told}: {word} is not an option");
                } else if ["scenes/", "fabrics/"].iter().any(|folder| word.starts_with(folder)) {
                    let there = word.contains('*') || Path::new(word).exists();
                    assert!(there, "{told}: {word} is not there");
                }
            }
        }
    }
    assert!(seen > 25, "{seen} commands found");
}

#[test]
fn paths_that_the_contributors_guide_names_are_there() {
    let text = text_of("DEVELOPERS.md");
    let named: Vec<&str> = between(&text, "`", "`")
        .into_iter()
        .filter(|word| {
            ["src/", "tests/", "fabrics/", "scenes/", ".ci/"].iter().any(|start| word.starts_with(start))
        })
        .collect();
    assert!(named.len() > 20, "{named:?}");
    for name in named {
        assert!(Path::new(name).exists(), "DEVELOPERS.md: {name} is not there");
    }
}

#[test]
fn known_defects_are_all_listed_for_contributors() {
    fn files_below(folder: &Path, files: &mut Vec<std::path::PathBuf>) {
        for entry in std::fs::read_dir(folder).expect("listed") {
            let path = entry.expect("readable").path();
            if path.is_dir() {
                files_below(&path, files);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                files.push(path);
            }
        }
    }
    let mut files = Vec::new();
    files_below(Path::new("src"), &mut files);
    files_below(Path::new("tests"), &mut files);
    let mark = concat!("#[ignore = \"", "known defect");
    let mut defects: Vec<String> = files
        .iter()
        .flat_map(|path| {
            let text = text_of(&path.to_string_lossy());
            text.split(mark)
                .skip(1)
                .filter_map(|rest| rest.split("fn ").nth(1)?.split('(').next().map(str::to_owned))
                .collect::<Vec<_>>()
        })
        .collect();
    let guide = text_of("DEVELOPERS.md");
    let list = between(&guide, "Known defects are ignored tests", "Two traps").join("");
    let mut listed: Vec<String> = list
        .lines()
        .filter_map(|line| line.strip_prefix("- `")?.split('`').next().map(str::to_owned))
        .collect();
    defects.sort();
    listed.sort();
    assert_eq!(defects, listed);
}
