//! Where commands write: usual places, and what is tried before the work.

use crate::cloth::catalogue::Reference;
use crate::diagnose::Diagnostic;
use crate::files;
use crate::scene::file::Resolved;
use std::path::{Path, PathBuf};

/// The folder in which everything lands that is not sent elsewhere.
const USUAL: &str = "renders";

/// Where a picture goes without being told.
pub(super) fn usual_target(name: &str) -> PathBuf {
    Path::new(USUAL).join(format!("{name}.png"))
}

/// The folder for several files of a scene without being told.
pub(super) fn usual_folder(scene: &Path, kind: &str) -> PathBuf {
    let stem = scene.file_stem().unwrap_or_default().to_string_lossy();
    Path::new(USUAL).join(format!("{stem}-{kind}"))
}

/// Every file that was read for a scene: itself and what it names.
pub(super) fn read_for(scene: &Path, resolved: &Resolved) -> Vec<PathBuf> {
    resolved.files.iter().map(PathBuf::from).chain([scene.to_path_buf()]).collect()
}

/// Tries a place where something is to be written. The folder of the usual places is made, others must be there; none of
/// the files that were read may be written over, and no scene or cloth, which end in .yaml.
pub(super) fn try_target(target: &Path, read: &[PathBuf]) -> Result<(), Vec<Diagnostic>> {
    if read.iter().any(|file| files::same_file(file, target)) {
        let shown = target.display().to_string();
        let fault = Diagnostic::of_file(&shown, "this file was read and would be written over");
        return Err(vec![fault.next("Choose another name for what is to be written.")]);
    }
    if let Reference::Path(shown) = Reference::of(&target.to_string_lossy()) {
        let fault = Diagnostic::of_file(shown, "names that end in .yaml are for scenes and cloths");
        return Err(vec![fault.next("Choose another name for what is to be written.")]);
    }
    if target.parent() == Some(Path::new(USUAL)) {
        files::make_folder(Path::new(USUAL))?;
    }
    files::check_writable(target)
}

/// Tries several places, no two of which may be the same. The usual folder is made when a place in it is tried, so those come last: a
/// refusal leaves nothing behind.
pub(super) fn try_targets<'a>(
    targets: impl IntoIterator<Item = &'a PathBuf>,
    read: &[PathBuf],
) -> Result<(), Vec<Diagnostic>> {
    let mut all: Vec<&PathBuf> = targets.into_iter().collect();
    all.sort_by_key(|target| target.parent() == Some(Path::new(USUAL)));
    for (i, target) in all.iter().enumerate() {
        if all[..i].iter().any(|former| files::same_file(former, target)) {
            let fault =
                Diagnostic::of_file(&target.display().to_string(), "this file would be written twice");
            return Err(vec![fault.next("Give each its own file name.")]);
        }
    }
    all.into_iter().try_for_each(|target| try_target(target, read))
}

/// Refuses a folder that would have to be made in one that is not there.
pub(super) fn has_folder_above(folder: &Path) -> Result<(), Vec<Diagnostic>> {
    let above = folder.parent().filter(|above| !above.as_os_str().is_empty());
    let Some(above) = above.filter(|above| !above.is_dir()) else { return Ok(()) };
    let what = format!("the folder `{}` does not exist", above.display());
    let fault = Diagnostic::of_file(&folder.display().to_string(), what);
    Err(vec![fault.next("Make it first, or choose another place.")])
}
