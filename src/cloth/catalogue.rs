//! The built-in catalogue: the cloths of `fabrics/`, taken into the program when it is built.

use super::Cloth;
use super::file;
use crate::diagnose::Diagnostic;
use std::sync::Arc;

/// Name and text of every cloth: sheers, then light and heavy cloth, then felts.
static CLOTHS: [(&str, &str); 20] = [
    ("organza", include_str!("../../fabrics/organza.yaml")),
    ("organza-amber", include_str!("../../fabrics/organza-amber.yaml")),
    ("chiffon", include_str!("../../fabrics/chiffon.yaml")),
    ("voile", include_str!("../../fabrics/voile.yaml")),
    ("mesh-black", include_str!("../../fabrics/mesh-black.yaml")),
    ("muslin", include_str!("../../fabrics/muslin.yaml")),
    ("jersey", include_str!("../../fabrics/jersey.yaml")),
    ("jersey-black", include_str!("../../fabrics/jersey-black.yaml")),
    ("satin", include_str!("../../fabrics/satin.yaml")),
    ("poplin", include_str!("../../fabrics/poplin.yaml")),
    ("poplin-blue", include_str!("../../fabrics/poplin-blue.yaml")),
    ("canvas", include_str!("../../fabrics/canvas.yaml")),
    ("fleece", include_str!("../../fabrics/fleece.yaml")),
    ("wadding", include_str!("../../fabrics/wadding.yaml")),
    ("felt-craft-thin", include_str!("../../fabrics/felt-craft-thin.yaml")),
    ("felt-craft-thick", include_str!("../../fabrics/felt-craft-thick.yaml")),
    ("felt-wool-ivory-1", include_str!("../../fabrics/felt-wool-ivory-1.yaml")),
    ("felt-wool-ivory", include_str!("../../fabrics/felt-wool-ivory.yaml")),
    ("felt-wool-ivory-5", include_str!("../../fabrics/felt-wool-ivory-5.yaml")),
    ("felt-wool-red", include_str!("../../fabrics/felt-wool-red.yaml")),
];

/// The names of the catalogue: sheers, then light and heavy cloth, then felts.
pub fn names() -> impl Iterator<Item = &'static str> {
    CLOTHS.iter().map(|(name, _)| *name)
}

/// The file of a cloth as it stands in the catalogue, to be copied and changed.
#[must_use]
pub fn text(name: &str) -> Option<&'static str> {
    CLOTHS.iter().find(|(own, _)| *own == name).map(|(_, text)| *text)
}

/// A cloth of the catalogue; `None` when there is none of that name.
///
/// # Errors
/// The problems of its file. The files are part of the program and tested, so there are none in practice.
#[must_use]
pub fn by_name(name: &str) -> Option<Result<Arc<Cloth>, Vec<Diagnostic>>> {
    let text = text(name)?;
    Some(file::resolve(text, &format!("fabrics/{name}.yaml")).map(Arc::new))
}

/// What a scene calls a cloth.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reference<'a> {
    /// A name of the catalogue.
    Name(&'a str),
    /// The path of a file, as the scene writes it.
    Path(&'a str),
}

impl<'a> Reference<'a> {
    /// What ends in `.yaml` or `.yml` is a path, all else a name.
    #[must_use]
    pub fn of(text: &'a str) -> Reference<'a> {
        let lower = text.to_ascii_lowercase();
        if lower.ends_with(".yaml") || lower.ends_with(".yml") {
            Reference::Path(text)
        } else {
            Reference::Name(text)
        }
    }
}

/// A text file that a scene names.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedText {
    /// The file's name in messages.
    pub shown_as: String,
    /// What stands in it.
    pub text: String,
}

/// A picture file that a scene names.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedBytes {
    /// The file's name in messages.
    pub shown_as: String,
    /// What it holds.
    pub bytes: Vec<u8>,
}

/// Where the cloths of a scene come from, and the drawings and lists beside it. Reading a scene asks it and so stays free of
/// files itself.
pub trait ClothSource {
    /// The path from the present folder of a file that is read later; the path is as the scene writes it.
    fn path_of(&self, path: &str) -> String {
        path.to_owned()
    }

    /// A drawing or a list of places; the path is as the scene writes it.
    ///
    /// # Errors
    /// Why the file cannot be read.
    fn drawing_text(&self, path: &str) -> Result<NamedText, Vec<Diagnostic>> {
        let fault = Diagnostic::of_file(path, "drawings and lists cannot be read here");
        Err(vec![fault.next("Give the places in the scene itself.")])
    }

    /// A picture for a pattern; the path is as the scene writes it.
    ///
    /// # Errors
    /// Why the file cannot be read.
    fn picture_bytes(&self, path: &str) -> Result<NamedBytes, Vec<Diagnostic>> {
        let fault = Diagnostic::of_file(path, "pictures cannot be read here");
        Err(vec![fault.next("Choose another pattern, such as `keyframes`.")])
    }

    /// The cloth of a file; the path is as the scene writes it.
    ///
    /// # Errors
    /// Every problem of that file.
    fn by_path(&self, path: &str) -> Result<Arc<Cloth>, Vec<Diagnostic>>;

    /// A cloth by its name; `None` when there is none.
    ///
    /// # Errors
    /// Every problem of its file.
    fn by_name(&self, name: &str) -> Option<Result<Arc<Cloth>, Vec<Diagnostic>>> {
        by_name(name)
    }

    /// Names that exist, for corrections.
    fn names(&self) -> Vec<String> {
        names().map(str::to_owned).collect()
    }
}

/// The built-in catalogue and no files.
#[derive(Clone, Copy, Debug, Default)]
pub struct CatalogueOnly;

impl ClothSource for CatalogueOnly {
    fn by_path(&self, path: &str) -> Result<Arc<Cloth>, Vec<Diagnostic>> {
        Err(vec![
            Diagnostic::of_file(path, "cloth files cannot be read here").next("Write the cloth in place."),
        ])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_is_listed_and_valid() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/fabrics");
        let mut files: Vec<String> = std::fs::read_dir(folder)
            .expect("the folder is there")
            .map(|entry| entry.expect("readable").file_name().to_string_lossy().into_owned())
            .filter_map(|name| name.strip_suffix(".yaml").map(str::to_owned))
            .collect();
        files.sort();
        let mut listed: Vec<String> = names().map(str::to_owned).collect();
        listed.sort();
        assert_eq!(listed, files);
        for name in names() {
            let cloth = by_name(name).expect("listed").unwrap_or_else(|all| panic!("{name}: {all:?}"));
            assert_eq!(cloth.name, name, "the file carries the name by which it is listed");
        }
    }

    #[test]
    fn names_and_paths() {
        assert_eq!(Reference::of("organza"), Reference::Name("organza"));
        assert_eq!(Reference::of("my/own.yaml"), Reference::Path("my/own.yaml"));
        assert_eq!(Reference::of("OWN.YML"), Reference::Path("OWN.YML"));
    }
}
