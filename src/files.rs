//! The only module that touches files: reads them whole, within limits, and writes them whole or not at all.
#![allow(clippy::disallowed_methods)]

use crate::cloth::Cloth;
use crate::cloth::catalogue::{ClothSource, NamedBytes, NamedText};
use crate::cloth::file as cloth_file;
use crate::diagnose::Diagnostic;
use std::fs::File;
use std::io::{self, Read, Write};
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
    tempfile::NamedTempFile::new_in(&folder).map(drop).map_err(|error| cannot_write(&shown, &error))
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
    std::fs::create_dir_all(path)
        .map_err(|error| vec![Diagnostic::of_file(&shown, format!("the folder cannot be made: {error}"))])
}

/// Writes a file whole or not at all: under a temporary name in the same folder, then renamed. A file that stood there
/// is replaced and its permissions are kept.
///
/// # Errors
/// One diagnostic that says why not; the former file is then untouched.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> Result<(), Vec<Diagnostic>> {
    check_writable(path)?;
    let shown = path.display().to_string();
    write_beside(&target_of(path), bytes).map_err(|error| cannot_write(&shown, &error))
}

/// A file under a temporary name in the folder of a target, with the permissions that a new file gets.
fn temporary_beside(target: &Path) -> io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // What a newly made file gets (the user's mask is taken off), not the private mode of a temporary file.
        const ORDINARY_MODE: u32 = 0o666;
        builder.permissions(std::fs::Permissions::from_mode(ORDINARY_MODE));
    }
    builder.tempfile_in(folder_of(target))
}

fn write_beside(target: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = temporary_beside(target)?;
    file.write_all(bytes)?;
    put_in_place(file, target)
}

/// Renames a finished temporary file; a file that stood there is replaced and its permissions are kept.
fn put_in_place(file: tempfile::NamedTempFile, target: &Path) -> io::Result<()> {
    if let Ok(former) = std::fs::metadata(target) {
        file.as_file().set_permissions(former.permissions())?;
    }
    file.as_file().sync_all()?;
    file.persist(target).map(drop).map_err(|error| error.error)
}

/// A file that is written bit by bit and yet whole or not at all: under a temporary name in the same folder until [`Stream::commit`].
/// Dropped before that it leaves nothing behind, and the former file as it was.
#[derive(Debug)]
pub struct Stream {
    file: io::BufWriter<tempfile::NamedTempFile>,
    target: PathBuf,
    shown: String,
}

impl Stream {
    /// Begins a file.
    ///
    /// # Errors
    /// One diagnostic that says why it cannot be written.
    pub fn create(path: &Path) -> Result<Stream, Vec<Diagnostic>> {
        check_writable(path)?;
        let (shown, target) = (path.display().to_string(), target_of(path));
        let file = temporary_beside(&target).map_err(|error| cannot_write(&shown, &error))?;
        Ok(Stream { file: io::BufWriter::new(file), target, shown })
    }

    /// Puts the finished file in its place.
    ///
    /// # Errors
    /// One diagnostic that says why not; the former file is then untouched.
    pub fn commit(self) -> Result<(), Vec<Diagnostic>> {
        let Stream { file, target, shown } = self;
        let done = file.into_inner().map_err(io::IntoInnerError::into_error);
        done.and_then(|file| put_in_place(file, &target)).map_err(|error| cannot_write(&shown, &error))
    }

    /// What to tell when writing to it failed.
    #[must_use]
    pub fn fault(path: &Path, error: &io::Error) -> Vec<Diagnostic> {
        cannot_write(&path.display().to_string(), error)
    }
}

impl Write for Stream {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// A folder of files that appears whole or not at all: under a temporary name beside its place until [`FolderStream::commit`].
#[derive(Debug)]
pub struct FolderStream {
    folder: tempfile::TempDir,
    target: PathBuf,
    shown: String,
}

impl FolderStream {
    /// Begins a folder. A folder that stands there is replaced when `ours` knows every name in it; else it stays and is a fault.
    ///
    /// # Errors
    /// One diagnostic that says why it cannot be written.
    pub fn create(path: &Path, ours: &dyn Fn(&str) -> bool) -> Result<FolderStream, Vec<Diagnostic>> {
        let shown = path.display().to_string();
        let fault = |what: &str, next: &str| {
            Err(vec![Diagnostic::of_file(&shown, what.to_owned()).next(next.to_owned())])
        };
        // Without the stroke at its end, behind which no file would be found.
        let target = target_of(&path.components().collect::<PathBuf>());
        if target.is_file() {
            return fault("a folder is to be made here, but a file is in the way", "Choose another name.");
        }
        if target.is_dir() {
            let entries = std::fs::read_dir(&target).map_err(|error| cannot_read(&shown, &error))?;
            if !entries.flatten().all(|entry| ours(&entry.file_name().to_string_lossy())) {
                return fault(
                    "this folder holds other files, which would be lost",
                    "Name a new or an empty folder.",
                );
            }
        }
        let beside = folder_of(&target);
        if !beside.is_dir() {
            let what = format!("the folder `{}` does not exist", beside.display());
            return fault(&what, "Make it first, or choose another place.");
        }
        let mut builder = tempfile::Builder::new();
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            builder.permissions(std::fs::Permissions::from_mode(0o777));
        }
        let folder = builder.tempdir_in(&beside).map_err(|error| cannot_write(&shown, &error))?;
        Ok(FolderStream { folder, target, shown })
    }

    /// Writes a file of the folder.
    ///
    /// # Errors
    /// One diagnostic that says why not.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), Vec<Diagnostic>> {
        std::fs::write(self.folder.path().join(name), bytes)
            .map_err(|error| cannot_write(&self.shown, &error))
    }

    /// Puts the finished folder in its place.
    ///
    /// # Errors
    /// One diagnostic that says why not; the former folder is then untouched.
    pub fn commit(self) -> Result<(), Vec<Diagnostic>> {
        let FolderStream { folder, target, shown } = self;
        let put = || -> io::Result<()> {
            let former = match target.is_dir() {
                true => Some(tempfile::tempdir_in(folder_of(&target))?),
                false => None,
            };
            if let Some(former) = &former {
                std::fs::rename(&target, former.path().join("former"))?;
            }
            if let Err(error) = std::fs::rename(folder.path(), &target) {
                if let Some(former) = &former {
                    std::fs::rename(former.path().join("former"), &target)?;
                }
                return Err(error);
            }
            Ok(())
        };
        put().map_err(|error| cannot_write(&shown, &error))?;
        // It bears another name now, under which nothing is to be cleared away.
        drop(folder.keep());
        Ok(())
    }
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
