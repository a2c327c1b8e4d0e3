//! The options of `weftlight cloth estimate`, held to what a cloth file may say.

use super::super::super::numbers::within;
use crate::cloth::fibres;
use crate::cloth::label::Structure;
use crate::cloth::label::write::blend;
use crate::cloth::shape::{AREAL_MASS, CLOTH, COVER, FIBRE_UM, LABEL, THICKNESS_MM};
use crate::diagnose::{Diagnostic, Place, Problems, nearest, shortened};
use crate::reading::{Node, Shape, Value, check, parse};

/// Fibres with their shares in percent.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Blend(pub(super) Vec<(String, f64)>);

/// One fibre (`wool`), or several with their percentages (`wool 70, polyester 30`), in either order and with or without
/// a percent sign, as labels write them.
pub(super) fn fibres(text: &str) -> Result<Blend, String> {
    let parts: Vec<&str> = text.split([',', ';', '/']).map(str::trim).collect();
    let alone = parts.len() == 1;
    let fibres = parts.into_iter().map(|part| fibre(part, alone)).collect::<Result<Vec<_>, String>>()?;
    if let [(_, share)] = fibres.as_slice()
        && *share == 100.0
    {
        return Ok(Blend(fibres));
    }
    let many = match fibres.as_slice() {
        [(name, share)] => format!("[{{{name}: {share}}}]"),
        many => blend(many),
    };
    let node = parse(&many).map_err(|problem| problem.what)?;
    sound(&node, &LABEL, "fibre")?;
    Ok(Blend(fibres))
}

/// One part of a blend; alone, it needs no percentage.
fn fibre(part: &str, alone: bool) -> Result<(String, f64), String> {
    let spaced = part.replace('%', " ");
    let (numbers, words): (Vec<&str>, Vec<&str>) = spaced
        .split_whitespace()
        .partition(|word| word.starts_with(|c: char| "+-.".contains(c) || c.is_ascii_digit()));
    let share = match (numbers.as_slice(), alone) {
        ([], true) => Some(100.0),
        ([number], _) => number.parse().ok(),
        _ => None,
    };
    let (Some(share), false) = (share, words.is_empty()) else {
        return Err(format!(
            "`{}` is not one fibre with its percentage; write for example \"wool 70, polyester 30\"",
            shortened(part)
        ));
    };
    let name = words.join(" ");
    match fibres::find(&name) {
        Some(known) => Ok((known.name.to_owned(), share)),
        None => Err(unknown_fibre(&name)),
    }
}

fn unknown_fibre(name: &str) -> String {
    let known = fibres::FIBRES.map(|fibre| fibre.name).join(", ");
    let near = nearest(name, fibres::names()).map_or(String::new(), |near| format!(" Did you mean {near}?"));
    format!("the fibre `{}` is not known.{near} Known are: {known}", shortened(name))
}

pub(super) fn colour(text: &str) -> Result<[u8; 3], String> {
    sound(&word(text), &LABEL, "colour").map_err(|problem| {
        // The shell takes a bare # for the beginning of a comment.
        let with_sign = format!("#{text}");
        match crate::reading::shape::colour(&with_sign) {
            Some(_) => format!("{problem}. Did you mean \"{with_sign}\"?"),
            None => problem,
        }
    })?;
    crate::reading::shape::colour(text).ok_or_else(|| "not a colour".to_owned())
}

pub(super) fn structure(text: &str) -> Result<Structure, String> {
    sound(&word(text), &LABEL, "structure")?;
    Structure::named(text).ok_or_else(|| "not a structure".to_owned())
}

pub(in super::super) fn name(text: &str) -> Result<String, String> {
    sound(&word(text), &CLOTH, "name").map(|()| text.trim().to_owned())
}

pub(in super::super) fn title(text: &str) -> Result<String, String> {
    sound(&word(text), &CLOTH, "title").map(|()| text.trim().to_owned())
}

pub(in super::super) fn areal_mass(text: &str) -> Result<f64, String> {
    within(text, &AREAL_MASS)
}

pub(in super::super) fn thickness(text: &str) -> Result<f64, String> {
    within(text, &THICKNESS_MM)
}

pub(super) fn diameter(text: &str) -> Result<f64, String> {
    within(text, &FIBRE_UM)
}

pub(super) fn cover(text: &str) -> Result<f64, String> {
    within(text, &COVER)
}

/// A word of the command line as it would stand in a file.
fn word(text: &str) -> Node {
    let place = Place { line: 1, column: 1, bytes: 0..0 };
    Node { value: Value::Text(text.to_owned()), place, raw: format!("\"{}\"", shortened(text)) }
}

/// Holds a value to the key of a file; what is wrong is told in the words of the file's reader.
fn sound(node: &Node, shape: &'static Shape, key: &str) -> Result<(), String> {
    let Some(field) = shape.field(key) else { return Ok(()) };
    let mut problems = Problems::default();
    check(node, &field.kind, key, &mut problems);
    match problems.into_diagnostics("", "").into_iter().next() {
        None => Ok(()),
        Some(Diagnostic { what, found, allowed, next, .. }) => {
            let found = found.map_or(String::new(), |found| format!(" (found {found})"));
            let allowed = allowed.map_or(String::new(), |allowed| format!("; allowed: {allowed}"));
            let next = next.map_or(String::new(), |next| format!(". {next}"));
            Err(format!("{what}{found}{allowed}{next}"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blends_as_labels_write_them() {
        let blend = |parts: &[(&str, f64)]| {
            Ok(Blend(parts.iter().map(|(name, share)| ((*name).to_owned(), *share)).collect()))
        };
        assert_eq!(fibres("wool"), blend(&[("wool", 100.0)]));
        assert_eq!(fibres(" Merino 100 % "), blend(&[("wool", 100.0)]));
        let two = blend(&[("wool", 70.0), ("polyester", 30.0)]);
        for text in
            ["wool 70, polyester 30", "70% wool, 30% polyester", "wool 70 %; PET 30", "70 wool/30 polyester"]
        {
            assert_eq!(fibres(text), two, "{text}");
        }
        assert_eq!(fibres("cotton 66, polyester 33"), blend(&[("cotton", 66.0), ("polyester", 33.0)]));
    }

    #[test]
    fn what_is_no_blend() {
        let refused = |text: &str| fibres(text).expect_err("refused");
        assert!(refused("wol").contains("Did you mean wool? Known are: cotton, "), "{}", refused("wol"));
        assert!(refused("wool 70, polyester 20").contains("do not add up (found 90 percent in all)"));
        assert!(refused("wool 70").contains("70 percent in all"));
        for text in ["wool, polyester", "wool 70, 30", "70", "", "wool 70 30", "wool 70,", "wool 1.2.3"] {
            assert!(
                refused(text).contains("is not one fibre with its percentage"),
                "{text}: {}",
                refused(text)
            );
        }
        for text in ["wool -70, polyester 170", "wool 0, polyester 100"] {
            assert!(refused(text).contains("allowed: 0.1 to 100 percent"), "{text}: {}", refused(text));
        }
        assert!(refused("wool: {a 70, cotton 30").contains("is not known"));
    }
}
