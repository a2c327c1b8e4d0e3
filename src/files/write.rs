//! Writing whole or not at all: under a temporary name in the same folder, then renamed.
//!
//! The bytes are on the disk (`sync_all`) before a file gets its name. Else a power cut could leave the name with nothing behind it,
//! since systems put off writing bytes longer than writing names. The folder is not synchronised after that: what a power cut can undo
//! then is the renaming, and that gives back the former file whole.

use super::temporary::{self, Part, PartFolder};
use super::{cannot_read, cannot_write, check_writable, folder_of, target_of};
use crate::diagnose::Diagnostic;
use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Writes a file whole or not at all. A file that stood there is replaced and its permissions are kept.
///
/// # Errors
/// One diagnostic that says why not; the former file is then untouched.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> Result<(), Vec<Diagnostic>> {
    Ready::with(path, bytes)?.put()
}

/// Writes several files: all are on the disk under temporary names before the first gets its own, and they get them in the order
/// given. So a disk that is full leaves all former files. Only being killed just between two renamings leaves new files at the
/// beginning of the list beside former ones at its end, each of them whole.
///
/// # Errors
/// One diagnostic that says why not.
pub fn write_together<P: AsRef<Path>, B: AsRef<[u8]>>(files: &[(P, B)]) -> Result<(), Vec<Diagnostic>> {
    let ready: Vec<Ready> = files
        .iter()
        .map(|(path, bytes)| Ready::with(path.as_ref(), bytes.as_ref()))
        .collect::<Result<_, _>>()?;
    let _turn = temporary::turn();
    ready.into_iter().try_for_each(Ready::put_in_turn)
}

/// Whether a new file can be written at this path, tried before the work.
///
/// # Errors
/// One diagnostic that says why not.
pub fn check_new(path: &Path) -> Result<(), Vec<Diagnostic>> {
    if std::fs::symlink_metadata(path).is_ok() {
        return Err(already_there(&path.display().to_string()));
    }
    check_writable(path)
}

/// Writes a file whole, and only if there is none of its name, not even one that came to be a moment ago.
///
/// # Errors
/// One diagnostic that says why not.
pub fn write_new(path: &Path, bytes: &[u8]) -> Result<(), Vec<Diagnostic>> {
    let Ready { part, target, shown } = Ready::with(path, bytes)?;
    let _turn = temporary::turn();
    part.put_new(&target).map_err(|error| match error.kind() {
        io::ErrorKind::AlreadyExists => already_there(&shown),
        _ => cannot_write(&shown, &error),
    })
}

fn already_there(shown: &str) -> Vec<Diagnostic> {
    let fault = Diagnostic::of_file(shown, "a file of this name is there already; it is left alone");
    vec![fault.next("Choose another name.")]
}

/// A finished file that only needs its name.
struct Ready {
    part: Part,
    target: PathBuf,
    shown: String,
}

impl Ready {
    fn with(path: &Path, bytes: &[u8]) -> Result<Ready, Vec<Diagnostic>> {
        let mut begun = Stream::create(path)?;
        begun.write_all(bytes).map_err(|error| Stream::fault(path, &error))?;
        begun.ready()
    }

    fn put(self) -> Result<(), Vec<Diagnostic>> {
        let _turn = temporary::turn();
        self.put_in_turn()
    }

    fn put_in_turn(self) -> Result<(), Vec<Diagnostic>> {
        self.part.put(&self.target).map_err(|error| cannot_write(&self.shown, &error))
    }
}

/// A file that is written bit by bit and yet whole or not at all: under a temporary name in the same folder until [`Stream::commit`].
/// Dropped before that it leaves nothing behind, and the former file as it was.
#[derive(Debug)]
pub struct Stream {
    // The buffer goes first: its end is written before the file is cleared away.
    bytes: io::BufWriter<File>,
    part: Part,
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
        let folder = folder_of(&target);
        temporary::clear(&folder);
        let begun = Part::begin(&folder).and_then(|part| Ok((part.file.as_file().try_clone()?, part)));
        let (file, part) = begun.map_err(|error| cannot_write(&shown, &error))?;
        Ok(Stream { bytes: io::BufWriter::new(file), part, target, shown })
    }

    /// Puts the finished file in its place.
    ///
    /// # Errors
    /// One diagnostic that says why not; the former file is then untouched.
    pub fn commit(self) -> Result<(), Vec<Diagnostic>> {
        self.ready()?.put()
    }

    /// All bytes on the disk, with the permissions of the file that is to be replaced.
    fn ready(self) -> Result<Ready, Vec<Diagnostic>> {
        let Stream { bytes, part, target, shown } = self;
        let finished = || -> io::Result<()> {
            let file = bytes.into_inner().map_err(io::IntoInnerError::into_error)?;
            if let Ok(former) = std::fs::metadata(&target) {
                file.set_permissions(former.permissions())?;
            }
            file.sync_all()
        };
        finished().map_err(|error| cannot_write(&shown, &error))?;
        Ok(Ready { part, target, shown })
    }

    /// What to tell when writing to it failed.
    #[must_use]
    pub fn fault(path: &Path, error: &io::Error) -> Vec<Diagnostic> {
        cannot_write(&path.display().to_string(), error)
    }
}

impl Write for Stream {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.bytes.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.bytes.flush()
    }
}

/// A folder of files that appears whole or not at all: under a temporary name beside its place until [`FolderStream::commit`].
///
/// Systems rename a folder only to a name that is free, so a former one is moved aside first. A run that is killed just between the
/// two renamings leaves no folder of that name; the next run that writes beside it puts the former one back.
#[derive(Debug)]
pub struct FolderStream {
    part: PartFolder,
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
        let beside = folder_of(&target);
        temporary::clear(&beside);
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
        if !beside.is_dir() {
            let what = format!("the folder `{}` does not exist", beside.display());
            return fault(&what, "Make it first, or choose another place.");
        }
        let part = PartFolder::begin(&beside).map_err(|error| cannot_write(&shown, &error))?;
        Ok(FolderStream { part, target, shown })
    }

    /// Writes a file of the folder.
    ///
    /// # Errors
    /// One diagnostic that says why not.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), Vec<Diagnostic>> {
        let written = || -> io::Result<()> {
            let mut file = self.part.create(name)?;
            file.write_all(bytes)?;
            file.sync_all()
        };
        written().map_err(|error| cannot_write(&self.shown, &error))
    }

    /// Puts the finished folder in its place.
    ///
    /// # Errors
    /// One diagnostic that says why not; the former folder is then untouched.
    pub fn commit(self) -> Result<(), Vec<Diagnostic>> {
        let FolderStream { part, target, shown } = self;
        let _turn = temporary::turn();
        part.put(&target).map_err(|error| cannot_write(&shown, &error))
    }
}
