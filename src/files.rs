//! The only module that touches files: reads them whole, within limits, and writes them whole or not at all.
#![allow(clippy::disallowed_methods)]

mod temporary;
mod write;

pub use temporary::{Abandoned, abandon};
pub use write::{FolderStream, Stream, check_new, write_atomically, write_new, write_together};

use crate::cloth::Cloth;
use crate::cloth::catalogue::{ClothSource, NamedBytes, NamedText};
use crate::cloth::file as cloth_file;
use crate::diagnose::Diagnostic;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A scene or cloth file may be this large. The longest honest one (a colour for each of 100 000 pixels) stays below;
/// a larger one is a mistake, and refusing it bounds time and memory.
pub const MOST_BYTES: u64 = 1 << 20;

/// A drawing or a list of places may be this large. A list of 100 000 pixels takes 4 MiB; drawings of pattern pieces stay below 1 MiB
/// unless they hold pictures, which are of no use here.
pub const MOST_DRAWING_BYTES: u64 = 8 << 20;

/// Reads a text file: at most [`MOST_BYTES`] of UTF-8, a byte-order mark at its start taken off.
///
/// # Errors
/// One diagnostic that says what is wrong with the file as a whole.
pub fn read_text(path: &Path) -> Result<String, Vec<Diagnostic>> {
    read_text_within(path, MOST_BYTES, "Name a file that ends in .yaml.")
}

/// Reads a text file of at most so many bytes. `ordinary` says what to name instead of a device or a pipe.
fn read_text_within(path: &Path, most_bytes: u64, ordinary: &str) -> Result<String, Vec<Diagnostic>> {
    let shown = path.display().to_string();
    let fault = |what: String| Diagnostic::of_file(&shown, what);
    let kind = std::fs::metadata(path).map_err(|error| cannot_read(&shown, &error))?;
    if kind.is_dir() {
        return Err(vec![fault("this is a folder, not a file".to_owned()).next("Name the file in it.")]);
    }
    if !kind.is_file() {
        return Err(vec![fault("this is not an ordinary file".to_owned()).next(ordinary)]);
    }
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(most_bytes + 1).read_to_end(&mut bytes))
        .map_err(|error| cannot_read(&shown, &error))?;
    if bytes.len() as u64 > most_bytes {
        return Err(vec![
            fault("the file is too large".to_owned()).allowed(format!("at most {most_bytes} bytes")),
        ]);
    }
    text_of(bytes, &shown)
}

/// Reads a file whole: at most `most_bytes`.
///
/// # Errors
/// One diagnostic that says what is wrong with the file as a whole.
pub fn read_bytes(path: &Path, most_bytes: u64) -> Result<Vec<u8>, Vec<Diagnostic>> {
    let shown = path.display().to_string();
    let fault = |what: String| Diagnostic::of_file(&shown, what);
    let kind = std::fs::metadata(path).map_err(|error| cannot_read(&shown, &error))?;
    if kind.is_dir() {
        return Err(vec![fault("this is a folder, not a file".to_owned()).next("Name the file in it.")]);
    }
    if !kind.is_file() {
        return Err(vec![fault("this is not an ordinary file".to_owned()).next("Name an ordinary file.")]);
    }
    if kind.len() > most_bytes {
        return Err(vec![
            fault("the file is too large".to_owned()).allowed(format!("at most {most_bytes} bytes")),
        ]);
    }
    let mut bytes = Vec::with_capacity(kind.len() as usize);
    File::open(path)
        .and_then(|file| file.take(most_bytes).read_to_end(&mut bytes))
        .map_err(|error| cannot_read(&shown, &error))?;
    Ok(bytes)
}

/// Bytes as UTF-8 text without a byte-order mark.
fn text_of(bytes: Vec<u8>, shown: &str) -> Result<String, Vec<Diagnostic>> {
    let text = String::from_utf8(bytes).map_err(|error| {
        let good = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        let line = good.iter().filter(|byte| **byte == b'\n').count() + 1;
        let what = format!("the file is not UTF-8 text: byte {} (on line {line}) does not fit", good.len());
        let next = "Save it as UTF-8 in your editor.";
        let as_utf16 = matches!(error.as_bytes(), [0xff, 0xfe, ..] | [0xfe, 0xff, ..]);
        let next = if as_utf16 { "It looks like UTF-16. Save it as UTF-8 in your editor." } else { next };
        let compressed = error.as_bytes().starts_with(&[0x1f, 0x8b]);
        let next = if compressed { "It is compressed. Save it as plain text (plain SVG)." } else { next };
        vec![Diagnostic::of_file(shown, what).next(next)]
    })?;
    Ok(text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text))
}

fn cannot_read(shown: &str, error: &io::Error) -> Vec<Diagnostic> {
    vec![match error.kind() {
        io::ErrorKind::NotFound => {
            Diagnostic::of_file(shown, "there is no such file").next("Check the path and the spelling.")
        }
        io::ErrorKind::PermissionDenied => {
            Diagnostic::of_file(shown, "this file may not be read").next("Check its permissions.")
        }
        _ => Diagnostic::of_file(shown, format!("the file cannot be read: {error}")),
    }]
}

/// Whether a file can be written at this path, tried before the work: its folder exists and takes a new file, and what
/// stands at the path, if anything, is an ordinary file that may be replaced. Nothing stays behind.
///
/// # Errors
/// One diagnostic that says why not.
pub fn check_writable(path: &Path) -> Result<(), Vec<Diagnostic>> {
    let shown = path.display().to_string();
    let refused = |what: &str, next: &str| {
        Err(vec![Diagnostic::of_file(&shown, what.to_owned()).next(next.to_owned())])
    };
    if path.file_name().is_none() || path.is_dir() {
        return refused("this is a folder, not a file", "Name a file to be written in it.");
    }
    if let Ok(former) = std::fs::metadata(path) {
        // A device or a pipe would be replaced by a file of its name.
        if !former.is_file() {
            return refused("this is not an ordinary file", "Choose another place.");
        }
        if former.permissions().readonly() {
            return refused("this file is protected from writing", "Choose another name, or unprotect it.");
        }
    }
    let folder = folder_of(&target_of(path));
    if folder.exists() && !folder.is_dir() {
        let what = format!("`{}` is a file, not a folder", folder.display());
        return refused(&what, "Choose another place.");
    }
    if !folder.is_dir() {
        let what = format!("the folder `{}` does not exist", folder.display());
        return refused(&what, "Make it first, or choose another place.");
    }
    temporary::Part::begin(&folder).map(drop).map_err(|error| cannot_write(&shown, &error))
}

/// Where a file really lies: a link is followed, so that the file that it names is replaced and not the link.
fn target_of(path: &Path) -> PathBuf {
    std::fs::canonicalize(path).unwrap_or_else(|_| path.to_path_buf())
}

/// Whether two paths name the same file, be it there already or not.
#[must_use]
pub fn same_file(a: &Path, b: &Path) -> bool {
    let place = |path: &Path| {
        std::fs::canonicalize(path).ok().or_else(|| {
            let folder = std::fs::canonicalize(folder_of(path)).ok()?;
            Some(folder.join(path.file_name()?))
        })
    };
    a == b || place(a).is_some_and(|a| place(b) == Some(a))
}

/// The size of a file in bytes, where it can be told.
#[must_use]
pub fn size_of(path: &Path) -> Option<u64> {
    std::fs::metadata(path).ok().map(|facts| facts.len())
}

/// Makes a folder, with those above it, unless it is there.
///
/// # Errors
/// One diagnostic that says why not.
pub fn make_folder(path: &Path) -> Result<(), Vec<Diagnostic>> {
    let shown = path.display().to_string();
    if path.exists() && !path.is_dir() {
        let fault = Diagnostic::of_file(&shown, "a folder of this name is needed, but a file is in the way");
        return Err(vec![fault.next("Move that file, or name the place of the picture with --output.")]);
    }
    std::fs::create_dir_all(path).map_err(|error| match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => cannot_write(&shown, &error),
        _ => vec![Diagnostic::of_file(&shown, format!("the folder cannot be made: {error}"))],
    })
}

fn cannot_write(shown: &str, error: &io::Error) -> Vec<Diagnostic> {
    vec![match error.kind() {
        io::ErrorKind::PermissionDenied => Diagnostic::of_file(shown, "no file may be written here")
            .next("Choose another place, or change the folder's permissions."),
        // The folder is there, as was checked before, and yet takes no file: a folder of the system.
        io::ErrorKind::NotFound | io::ErrorKind::ReadOnlyFilesystem => {
            Diagnostic::of_file(shown, "this folder takes no files").next("Choose another place.")
        }
        io::ErrorKind::StorageFull => {
            Diagnostic::of_file(shown, "the disk is full").next("Make room, or choose another place.")
        }
        io::ErrorKind::QuotaExceeded => Diagnostic::of_file(shown, "your share of this disk is used up")
            .next("Make room, or choose another place."),
        io::ErrorKind::FileTooLarge => Diagnostic::of_file(
            shown,
            "the file gets larger than this disk or a limit set on this system allows",
        )
        .next("Choose another place, or have the limit raised (`ulimit -f`)."),
        _ => Diagnostic::of_file(shown, format!("the file cannot be written: {error}")),
    }]
}

/// The folder in which a file lies.
fn folder_of(path: &Path) -> PathBuf {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_path_buf(),
        _ => PathBuf::from("."),
    }
}

/// The built-in catalogue, and cloth files, drawings and lists whose paths count from the folder of the scene.
#[derive(Clone, Debug)]
pub struct ClothsBeside {
    folder: PathBuf,
}

impl ClothsBeside {
    /// For a scene at this path.
    #[must_use]
    pub fn scene(path: &Path) -> ClothsBeside {
        ClothsBeside { folder: folder_of(path) }
    }
}

impl ClothsBeside {
    fn whole(&self, path: &str) -> PathBuf {
        if self.folder == Path::new(".") { PathBuf::from(path) } else { self.folder.join(path) }
    }
}

impl ClothSource for ClothsBeside {
    fn by_path(&self, path: &str) -> Result<Arc<Cloth>, Vec<Diagnostic>> {
        read_cloth(&self.whole(path)).map(Arc::new)
    }

    fn path_of(&self, path: &str) -> String {
        self.whole(path).display().to_string()
    }

    fn drawing_text(&self, path: &str) -> Result<NamedText, Vec<Diagnostic>> {
        let whole = self.whole(path);
        let text = read_text_within(&whole, MOST_DRAWING_BYTES, "Name an SVG or CSV file.")?;
        Ok(NamedText { shown_as: whole.display().to_string(), text })
    }

    fn picture_bytes(&self, path: &str) -> Result<NamedBytes, Vec<Diagnostic>> {
        let whole = self.whole(path);
        let bytes = read_bytes(&whole, crate::motion::picture::MOST_BYTES)?;
        Ok(NamedBytes { shown_as: whole.display().to_string(), bytes })
    }
}

/// A pattern with `*`, `?` and `[…]`.
///
/// # Errors
/// What is wrong with the pattern.
pub fn pattern(text: &str) -> Result<glob::Pattern, Box<Diagnostic>> {
    glob::Pattern::new(text).map_err(|error| Box::new(not_a_pattern(text, &error)))
}

fn not_a_pattern(text: &str, error: &glob::PatternError) -> Diagnostic {
    Diagnostic::of_file(text, format!("this pattern cannot be read: {}", error.msg))
        .next("Use * for any letters, ? for one letter, and close every [.")
}

/// The paths of the files that fit a pattern, in the order of their names.
///
/// # Errors
/// What is wrong with the pattern.
pub fn matching(text: &str) -> Result<Vec<String>, Box<Diagnostic>> {
    let found = glob::glob(text).map_err(|error| Box::new(not_a_pattern(text, &error)))?;
    // A folder that may not be looked into holds nothing for this user.
    Ok(found.flatten().map(|path| path.display().to_string()).collect())
}

/// Reads a cloth file.
///
/// # Errors
/// Every problem of the file.
pub fn read_cloth(path: &Path) -> Result<Cloth, Vec<Diagnostic>> {
    let text = read_text(path)?;
    cloth_file::resolve(&text, &path.display().to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn utf8_and_byte_order_mark() {
        assert_eq!(text_of(b"\xef\xbb\xbfname: a".to_vec(), "f").expect("valid"), "name: a");
        let fault = text_of(b"name: a\nx: \xff\n".to_vec(), "f").expect_err("refused").remove(0);
        assert!(fault.what.contains("byte 11 (on line 2)"), "{}", fault.what);
        let fault = text_of(b"\xff\xfen\0".to_vec(), "f").expect_err("refused").remove(0);
        assert!(fault.next.expect("advice").contains("UTF-16"));
    }

    #[test]
    fn written_whole_or_not_at_all() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("out.txt");
        write_atomically(&path, b"one").expect("written");
        write_atomically(&path, b"two").expect("replaced");
        assert_eq!(std::fs::read(&path).expect("read"), b"two");
        assert_eq!(std::fs::read_dir(folder.path()).expect("listed").count(), 1, "nothing else stays behind");
        assert!(check_writable(folder.path()).expect_err("a folder")[0].what.contains("folder"));
        let nowhere = folder.path().join("none/out.txt");
        assert!(write_atomically(&nowhere, b"x").expect_err("no folder")[0].what.contains("does not exist"));
        let below_a_file = path.join("out.txt");
        assert!(write_atomically(&below_a_file, b"x").expect_err("a file")[0].what.contains("not a folder"));
    }

    #[cfg(unix)]
    #[test]
    fn links_are_followed_and_special_files_left_alone() {
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        std::fs::write(at("real.txt"), b"one").expect("written");
        std::os::unix::fs::symlink("real.txt", at("link.txt")).expect("linked");
        write_atomically(&at("link.txt"), b"two").expect("written");
        assert_eq!(std::fs::read(at("real.txt")).expect("read"), b"two");
        assert!(same_file(&at("link.txt"), &at("real.txt")) && same_file(&at("./new"), &at("new")));
        assert!(!same_file(&at("link.txt"), &at("new")));
        let _socket = std::os::unix::net::UnixListener::bind(at("socket")).expect("a socket");
        let fault = write_atomically(&at("socket"), b"x").expect_err("refused");
        assert!(fault[0].what.contains("not an ordinary file"), "{fault:?}");
        let mut mode = std::fs::metadata(at("real.txt")).expect("there").permissions();
        mode.set_readonly(true);
        std::fs::set_permissions(at("real.txt"), mode).expect("set");
        assert!(
            write_atomically(&at("link.txt"), b"x").expect_err("refused")[0].what.contains("protected"),
            "a protected file stays"
        );
    }

    #[test]
    fn too_large_is_refused() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("large.yaml");
        std::fs::write(&path, vec![b' '; (MOST_BYTES + 1) as usize]).expect("written");
        assert!(read_text(&path).expect_err("refused")[0].what.contains("too large"));
        std::fs::write(&path, vec![b' '; MOST_BYTES as usize]).expect("written");
        assert_eq!(read_text(&path).expect("just fits").len() as u64, MOST_BYTES);
    }
}
