//! Which cloths are meant: names of the catalogue, cloth files, patterns of either.

use crate::cloth::Cloth;
use crate::cloth::catalogue::{self, Reference};
use crate::diagnose::{Diagnostic, nearest};
use crate::files;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The cloths that were chosen.
#[derive(Debug, Default)]
pub(super) struct Chosen {
    /// Those in order: as named, patterns in the order of the catalogue or of the file names, each once.
    pub(super) cloths: Vec<Arc<Cloth>>,
    /// Problems of cloth files that cannot be used.
    pub(super) faults: Vec<Diagnostic>,
    /// The files that were read.
    pub(super) files: Vec<PathBuf>,
}

/// The cloth of that name in the catalogue, or in that file.
pub(super) fn find(name: &str) -> Result<Arc<Cloth>, Vec<Diagnostic>> {
    if let Reference::Path(path) = Reference::of(name) {
        return files::read_cloth(Path::new(path)).map(Arc::new);
    }
    catalogue::by_name(name).unwrap_or_else(|| {
        let fault = Diagnostic::of_file(name, "the catalogue has no cloth of this name")
            .allowed(catalogue::names().collect::<Vec<_>>().join(", "));
        Err(vec![match nearest(name, catalogue::names()) {
            Some(near) => {
                fault.next(format!("Did you mean `{near}`? The name of a cloth file ends in .yaml."))
            }
            None => fault.next("The name of a cloth file ends in .yaml."),
        }])
    })
}

/// The whole catalogue.
pub(super) fn whole_catalogue() -> Result<Vec<Arc<Cloth>>, Vec<Diagnostic>> {
    catalogue::names().filter_map(catalogue::by_name).collect()
}

/// The cloths that words on the command line mean; without any, the whole catalogue. `*`, `?` and `[…]` make a word a pattern.
///
/// A file that cannot be used among others is kept as a fault; so that a misspelt word is not passed over, it is an error.
///
/// # Errors
/// Words that mean nothing, and no usable cloth at all.
pub(super) fn choose(words: &[String]) -> Result<Chosen, Vec<Diagnostic>> {
    if words.is_empty() {
        return Ok(Chosen { cloths: whole_catalogue()?, ..Chosen::default() });
    }
    let mut chosen = Chosen::default();
    let mut unknown = Vec::new();
    for word in words {
        match names(word) {
            Ok(names) => names.iter().for_each(|name| chosen.take(name, &mut unknown)),
            Err(fault) => unknown.push(*fault),
        }
    }
    if !unknown.is_empty() {
        return Err(unknown);
    }
    if chosen.cloths.is_empty() {
        return Err(chosen.faults);
    }
    Ok(chosen)
}

impl Chosen {
    /// Adds the cloth of one name or file, unless it is there already.
    fn take(&mut self, name: &str, unknown: &mut Vec<Diagnostic>) {
        let file = match Reference::of(name) {
            Reference::Path(path) => Some(PathBuf::from(path)),
            Reference::Name(_) => None,
        };
        if file.as_ref().is_some_and(|file| self.files.iter().any(|known| files::same_file(known, file))) {
            return;
        }
        let is_file = file.is_some();
        self.files.extend(file);
        match find(name) {
            Ok(cloth) if self.cloths.iter().any(|known| **known == *cloth) => {}
            Ok(cloth) => self.cloths.push(cloth),
            Err(faults) if is_file => self.faults.extend(faults),
            Err(faults) => unknown.extend(faults),
        }
    }
}

/// The names and files that a word stands for.
fn names(word: &str) -> Result<Vec<String>, Box<Diagnostic>> {
    if !word.contains(['*', '?', '[']) {
        return Ok(vec![word.to_owned()]);
    }
    let found = match Reference::of(word) {
        Reference::Path(pattern) => files::matching(pattern)?,
        Reference::Name(pattern) => {
            let pattern = files::pattern(pattern)?;
            catalogue::names().filter(|name| pattern.matches(name)).map(str::to_owned).collect()
        }
    };
    if found.is_empty() {
        let fault = Diagnostic::of_file(word, "no cloth fits this pattern");
        return Err(Box::new(match Reference::of(word) {
            Reference::Path(_) => fault.next("Check the folder; the names of cloth files end in .yaml."),
            Reference::Name(_) => fault.allowed(catalogue::names().collect::<Vec<_>>().join(", ")),
        }));
    }
    Ok(found)
}
