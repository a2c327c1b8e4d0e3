//! The text of a cloth file with a label in it.

use super::LabelInput;
use std::fmt::Write;

/// What stands in a cloth file beside the label.
#[derive(Clone, Copy, Debug)]
pub struct Heading<'a> {
    /// Short name.
    pub name: &'a str,
    /// Name in plain words.
    pub title: &'a str,
    /// Where the numbers come from.
    pub source: &'a str,
    /// Comment at the head of the file, without `#`.
    pub comment: &'a str,
}

/// The cloth file of a label; [`crate::cloth::file::resolve`] reads it back.
#[must_use]
pub fn cloth_file(heading: &Heading<'_>, label: &LabelInput) -> String {
    let mut text = String::new();
    for line in heading.comment.lines() {
        let _ = writeln!(text, "{}", format!("# {line}").trim_end());
    }
    let _ = writeln!(text, "name: {}", quoted(heading.name));
    let _ = writeln!(text, "title: {}", quoted(heading.title));
    let _ = writeln!(text, "thickness_mm: {}", label.thickness.0);
    let _ = writeln!(text, "areal_mass_g_m2: {}", label.areal_mass_g_m2);
    let _ = writeln!(text, "source: {}", quoted(heading.source));
    let [red, green, blue] = label.colour;
    let _ = writeln!(text, "optics:\n  label:\n    fibre: {}", blend(&label.fibres));
    if let Some(diameter) = label.fibre_um {
        let _ = writeln!(text, "    fibre_um: {diameter}");
    }
    let _ = writeln!(text, "    colour: \"#{red:02x}{green:02x}{blue:02x}\"");
    let _ = writeln!(text, "    structure: {}", label.structure.name());
    if let Some(cover) = label.cover {
        let _ = writeln!(text, "    cover: {cover}");
    }
    text
}

/// Fibres as a file names them: one by its name, several as a list with percentages.
#[must_use]
pub fn blend(fibres: &[(String, f64)]) -> String {
    match fibres {
        [(name, _)] => name.clone(),
        many => {
            let parts: Vec<String> =
                many.iter().map(|(name, share)| format!("{{{name}: {share}}}")).collect();
            format!("[{}]", parts.join(", "))
        }
    }
}

/// Text in double quotes; what JSON writes, YAML reads.
pub(crate) fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

#[cfg(test)]
mod tests {
    use super::super::{Structure, estimate};
    use super::*;
    use crate::cloth::file::resolve;
    use crate::quantity::Millimetres;

    /// The reader takes shares of one, the label percent: a few units in the last place.
    const ROUNDING: f64 = 1e-14;

    #[test]
    fn what_is_written_is_read_back() {
        let label = LabelInput {
            fibres: vec![("wool".into(), 70.0), ("polyester".into(), 30.0)],
            fibre_um: Some(20.5),
            areal_mass_g_m2: 333.25,
            thickness: Millimetres(1.7),
            colour: [0x02, 0xea, 0xd8],
            structure: Structure::Knit,
            cover: Some(0.95),
        };
        for (title, comment) in [("Plain", ""), ("Says \"#1: {x}\" and \\, é, 布", "one\n\ntwo: [")] {
            let heading = Heading { name: "on: [it]", title, source: "- a: b # c", comment };
            let text = cloth_file(&heading, &label);
            let cloth = resolve(&text, "f").unwrap_or_else(|all| panic!("{text}: {all:?}"));
            let found = estimate(&label).expect("a sound label");
            assert_eq!((cloth.name.as_str(), cloth.title.as_str()), ("on: [it]", title));
            assert_eq!(cloth.source, "- a: b # c");
            assert_eq!((cloth.thickness, cloth.areal_mass_g_m2), (Millimetres(1.7), Some(333.25)));
            assert!((cloth.extinction.0 / found.extinction.0 - 1.0).abs() < ROUNDING);
            assert!(cloth.albedo.0.iter().zip(found.albedo.0).all(|(a, b)| (a - b).abs() < ROUNDING));
            assert!((cloth.asymmetry - found.asymmetry).abs() < ROUNDING);
            assert_eq!(cloth.openness, found.openness);
            assert_eq!((cloth.uncertainty, cloth.notes), (found.uncertainty, found.notes));
        }
    }
}
