//! Files and folders under a temporary name, `.weftlight-XXXXXX.part`, beside the place that they are to take.
//!
//! Whoever writes one holds an advisory lock on it. A run that was killed holds none any more, so the next run that writes into the
//! same folder can tell what belongs to nobody, and clears it away ([`clear`]). A run that is asked to end (Ctrl-C) clears away its
//! own ([`abandon`]).

use std::ffi::OsStr;
use std::fs::{File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tempfile::{NamedTempFile, TempDir};

const BEFORE: &str = ".weftlight-";
const AFTER: &str = ".part";
/// Letters between the two, chosen anew each time.
const CHOSEN: usize = 6;
/// What nobody holds and nobody has touched for so long was left behind. The lock alone says so on this machine; the time covers
/// folders shared with others, whose locks may not be seen from here.
pub(super) const LEFT_BEHIND_AFTER: Duration = Duration::from_secs(600);

/// Runs that replace the same folder at once get into each other's way at most once each; more of them are a fault of another kind.
const MOST_TRIES: usize = 100;

/// In a temporary folder: the file that is locked while the folder is written.
const LOCK: &str = "held";
/// In a temporary folder: what is to take the place.
const NEW: &str = "new";
/// In a temporary folder: what stood at the place, under its own name, between the two renamings.
const FORMER: &str = "former";

/// What this run has under temporary names.
static LIVING: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());
/// Held while finished files are put in place, so that [`abandon`] never comes between two of them.
static TURN: Mutex<()> = Mutex::new(());

fn taken<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}

/// While this is held, the run is not ended by [`abandon`].
pub(super) fn turn() -> MutexGuard<'static, ()> {
    taken(&TURN)
}

/// Nothing is made or put in place any more while this is held.
#[derive(Debug)]
pub struct Abandoned {
    _turn: MutexGuard<'static, ()>,
    _living: MutexGuard<'static, Vec<PathBuf>>,
}

/// Clears away what this run has not finished. Files that are being put in place are put there first. To be held until the program
/// ends.
#[must_use]
pub fn abandon() -> Abandoned {
    let turn = turn();
    let living = taken(&LIVING);
    for path in living.iter() {
        remove(path);
    }
    Abandoned { _turn: turn, _living: living }
}

/// A line in the list of what this run has under temporary names.
#[derive(Debug)]
struct Listed(PathBuf);

impl Drop for Listed {
    fn drop(&mut self) {
        taken(&LIVING).retain(|path| *path != self.0);
    }
}

fn builder() -> tempfile::Builder<'static, 'static> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(BEFORE).suffix(AFTER).rand_bytes(CHOSEN);
    builder
}

/// A file under a temporary name; dropped it is gone.
#[derive(Debug)]
pub(super) struct Part {
    pub(super) file: NamedTempFile,
    _listed: Listed,
}

impl Part {
    /// Begins one in this folder, with the permissions that a new file gets.
    pub(super) fn begin(folder: &Path) -> io::Result<Part> {
        let mut builder = builder();
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // What a newly made file gets (the user's mask is taken off), not the private mode of a temporary file.
            const ORDINARY_MODE: u32 = 0o666;
            builder.permissions(std::fs::Permissions::from_mode(ORDINARY_MODE));
        }
        let mut living = taken(&LIVING);
        let file = builder.tempfile_in(folder)?;
        living.push(file.path().to_path_buf());
        // Where locks are unknown nothing is ever cleared away either.
        let _ = file.as_file().try_lock();
        Ok(Part { _listed: Listed(file.path().to_path_buf()), file })
    }

    /// Gives it its name; a file that bears it is replaced.
    pub(super) fn put(self, target: &Path) -> io::Result<()> {
        self.file.persist(target).map(drop).map_err(|error| error.error)
    }

    /// Gives it its name unless a file bears it already.
    pub(super) fn put_new(self, target: &Path) -> io::Result<()> {
        self.file.persist_noclobber(target).map(drop).map_err(|error| error.error)
    }
}

/// A folder under a temporary name; dropped it is gone.
#[derive(Debug)]
pub(super) struct PartFolder {
    folder: TempDir,
    _lock: File,
    _listed: Listed,
}

impl PartFolder {
    /// Begins one in this folder.
    pub(super) fn begin(folder: &Path) -> io::Result<PartFolder> {
        let mut living = taken(&LIVING);
        let folder = builder().tempdir_in(folder)?;
        let lock = File::create(folder.path().join(LOCK))?;
        let _ = lock.try_lock();
        std::fs::create_dir(folder.path().join(NEW))?;
        living.push(folder.path().to_path_buf());
        Ok(PartFolder { _listed: Listed(folder.path().to_path_buf()), folder, _lock: lock })
    }

    /// Begins a file of it. Not while [`abandon`] clears the folder away, which would not become empty.
    pub(super) fn create(&self, name: &str) -> io::Result<File> {
        let _living = taken(&LIVING);
        File::create(self.inside().join(name))
    }

    /// Where its files are.
    fn inside(&self) -> PathBuf {
        self.folder.path().join(NEW)
    }

    /// Gives it its name; a folder that bears it is replaced. Between the two renamings the former one lies in the temporary folder,
    /// from where [`clear`] would put it back.
    pub(super) fn put(self, target: &Path) -> io::Result<()> {
        let aside = self.folder.path().join(FORMER);
        std::fs::create_dir(&aside)?;
        let former = target.file_name().map_or_else(|| aside.clone(), |name| aside.join(name));
        for _ in 0..MOST_TRIES {
            if target.is_dir() {
                move_aside(target, &former)?;
            }
            match std::fs::rename(self.inside(), target) {
                // Another run has put its own there since.
                Err(error) if is_taken(&error) => {}
                Err(error) => {
                    if former.is_dir() && !target.exists() {
                        std::fs::rename(former, target)?;
                    }
                    return Err(error);
                }
                done => return done,
            }
        }
        Err(io::Error::from(io::ErrorKind::ResourceBusy))
    }
}

/// Moves a folder aside, in place of one that was moved there before. That it is gone meanwhile is no fault.
fn move_aside(folder: &Path, to: &Path) -> io::Result<()> {
    if to.is_dir() {
        std::fs::remove_dir_all(to)?;
    }
    match std::fs::rename(folder, to) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        done => done,
    }
}

fn is_taken(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::DirectoryNotEmpty | io::ErrorKind::AlreadyExists)
}

/// Clears away what killed runs left in a folder. What cannot be cleared away stays: it is no reason not to write.
pub(super) fn clear(folder: &Path) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries.flatten().filter(|entry| is_temporary(&entry.file_name())) {
        // Of a link the facts of the link are told, so that none is followed.
        let Ok(facts) = entry.metadata() else { continue };
        let path = entry.path();
        if facts.is_file() {
            if let Some(_lock) = held_by_nobody(&path).filter(|_| untouched(&path)) {
                remove(&path);
            }
        } else if facts.is_dir() {
            clear_folder(folder, &path);
        }
    }
}

/// Puts back what a temporary folder holds of a former one, and clears it away when nobody has touched it for long.
fn clear_folder(beside: &Path, part: &Path) {
    let lock = held_by_nobody(&part.join(LOCK));
    if lock.is_some() {
        let kept = std::fs::read_dir(part.join(FORMER)).ok().and_then(|mut all| all.next()?.ok());
        let place = kept.as_ref().map(|kept| beside.join(kept.file_name()));
        if let (Some(kept), Some(place)) = (kept, place)
            && !place.exists()
            && std::fs::rename(kept.path(), &place).is_err()
        {
            return;
        }
    }
    // A run may be killed before it makes the file to be locked.
    let nobody = lock.is_some() || !part.join(LOCK).exists();
    let new = part.join(NEW);
    if nobody && untouched(if new.exists() { &new } else { part }) {
        remove(part);
    }
}

/// The lock on a file, if nobody holds it.
fn held_by_nobody(path: &Path) -> Option<File> {
    let file = File::options().read(true).write(true).open(path).ok()?;
    match file.try_lock() {
        Ok(()) => Some(file),
        Err(TryLockError::WouldBlock | TryLockError::Error(_)) => None,
    }
}

fn untouched(path: &Path) -> bool {
    let touched = std::fs::symlink_metadata(path).and_then(|facts| facts.modified());
    touched.ok().and_then(|at| at.elapsed().ok()).is_some_and(|ago| ago >= LEFT_BEHIND_AFTER)
}

fn remove(path: &Path) {
    let _ = std::fs::remove_file(path).or_else(|_| std::fs::remove_dir_all(path));
}

fn is_temporary(name: &OsStr) -> bool {
    let chosen = name.to_str().and_then(|name| name.strip_prefix(BEFORE)?.strip_suffix(AFTER));
    chosen.is_some_and(|chosen| chosen.len() == CHOSEN && chosen.bytes().all(|b| b.is_ascii_alphanumeric()))
}
