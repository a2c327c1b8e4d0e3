//! Nothing is lost: whatever happens to a command that writes, each of its files is the former one or the new one, whole.
#![cfg(unix)]
#![allow(clippy::disallowed_methods)]

mod at_once;
mod full;
mod killed;
mod left_behind;
mod told_to_end;
mod writers;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// Files by their path in a folder.
type Files = BTreeMap<String, Vec<u8>>;

/// A folder that goes away with the test; commands run inside it.
struct Folder(tempfile::TempDir);

impl Folder {
    /// With the scenes and photographs that the commands read.
    fn new() -> Folder {
        let folder = Folder(tempfile::tempdir().expect("a folder"));
        for (name, bytes) in writers::inputs() {
            folder.write(&name, &bytes);
        }
        folder
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn write(&self, name: &str, bytes: &[u8]) {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("made");
        std::fs::write(path, bytes).expect("written");
    }

    /// Every file below it that is no input and under no temporary name.
    fn outputs(&self) -> Files {
        let mut files = self.files();
        files.retain(|name, _| !is_temporary(name) && !writers::is_input(name));
        files
    }

    /// Every file below it.
    fn files(&self) -> Files {
        fn below(top: &Path, folder: &Path, files: &mut Files) {
            for entry in std::fs::read_dir(folder).expect("listed") {
                let path = entry.expect("readable").path();
                if path.is_dir() {
                    below(top, &path, files);
                } else {
                    let name = path.strip_prefix(top).expect("below").display().to_string();
                    files.insert(name, std::fs::read(&path).expect("read"));
                }
            }
        }
        let mut files = Files::new();
        below(self.0.path(), self.0.path(), &mut files);
        files
    }

    /// Whatever lies under a temporary name, anywhere.
    fn temporaries(&self) -> Vec<PathBuf> {
        fn below(folder: &Path, found: &mut Vec<PathBuf>) {
            for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
                let path = entry.path();
                if is_temporary(&entry.file_name().to_string_lossy()) {
                    found.push(path);
                } else if path.is_dir() {
                    below(&path, found);
                }
            }
        }
        let mut found = Vec::new();
        below(self.0.path(), &mut found);
        found
    }

    /// Takes away all that is no input, and puts these files there.
    fn reset(&self, files: &Files) {
        for entry in std::fs::read_dir(self.0.path()).expect("listed") {
            let entry = entry.expect("readable");
            let (path, name) = (entry.path(), entry.file_name());
            if !writers::is_input(&name.to_string_lossy()) {
                if path.is_dir() {
                    std::fs::remove_dir_all(&path).expect("removed");
                } else {
                    std::fs::remove_file(&path).expect("removed");
                }
            }
        }
        files.iter().for_each(|(name, bytes)| self.write(name, bytes));
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_weftlight"));
        command.current_dir(self.0.path()).args(arguments).stdin(Stdio::null());
        command
    }

    /// A command that goes its way while the test goes on.
    fn start(&self, arguments: &[&str]) -> std::process::Child {
        self.command(arguments).stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("starts")
    }

    fn run(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().expect("runs")
    }

    fn fine(&self, arguments: &[&str]) {
        let output = self.run(arguments);
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    }
}

/// Whether a path leads through one of the program's temporary names.
fn is_temporary(path: &str) -> bool {
    path.split('/').any(|part| {
        let chosen = part.strip_prefix(".weftlight-").and_then(|rest| rest.strip_suffix(".part"));
        chosen.is_some_and(|chosen| chosen.len() == 6 && chosen.bytes().all(|b| b.is_ascii_alphanumeric()))
    })
}

/// Says that a check could not be made here.
#[allow(clippy::print_stderr)]
fn skipped(why: &str) {
    eprintln!("SKIPPED: {why}");
}
