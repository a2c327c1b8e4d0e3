//! Hands out the values of a map that passed the check, with the defaults of its shape.

use super::check::check;
use super::shape::{Absent, Field, Kind, Shape, colour};
use super::tree::{Node, Value};
use crate::diagnose::{Place, Problems};

/// A map of a file together with its shape.
///
/// Every getter gives the value of the key, or its default when the key is left out, or `None` when the value did
/// not pass the check (it has been reported then) or when there is no default.
#[derive(Clone, Copy, Debug)]
pub struct Entry<'a> {
    shape: &'static Shape,
    node: Option<&'a Node>,
    place: &'a Place,
}

impl<'a> Entry<'a> {
    /// A map with the shape that it should have.
    #[must_use]
    pub fn new(shape: &'static Shape, node: &'a Node) -> Entry<'a> {
        Entry { shape, node: Some(node), place: &node.place }
    }

    /// Where it stands (for a map that is left out: the map around it).
    #[must_use]
    pub fn place(&self) -> &'a Place {
        self.place
    }

    /// Its shape.
    #[must_use]
    pub fn shape(&self) -> &'static Shape {
        self.shape
    }

    /// The value under a key as it stands in the file, checked or not.
    #[must_use]
    pub fn node(&self, key: &str) -> Option<&'a Node> {
        match &self.node?.value {
            Value::Map(entries) => entries.iter().find(|(k, _)| k.spelling() == key).map(|(_, value)| value),
            _ => None,
        }
    }

    /// Whether the key is given.
    #[must_use]
    pub fn has(&self, key: &str) -> bool {
        self.node(key).is_some()
    }

    /// Where the value of a key stands, or the map where the key is left out.
    #[must_use]
    pub fn place_of(&self, key: &str) -> &'a Place {
        self.node(key).map_or(self.place, |node| &node.place)
    }

    /// The value under a key if it passes the check; `Err` carries the field when the key is left out.
    fn sound(&self, key: &str) -> Option<Result<&'a Node, &'static Field>> {
        let field = self.shape.field(key);
        debug_assert!(field.is_some(), "the shape of {} has no key {key}", self.shape.what);
        let field = field?;
        let Some(node) = self.node(key) else {
            return Some(Err(field));
        };
        let mut problems = Problems::default();
        check(node, &field.kind, key, &mut problems);
        (problems.errors() == 0).then_some(Ok(node))
    }

    /// A number, or a whole number.
    #[must_use]
    pub fn number(&self, key: &str) -> Option<f64> {
        match self.sound(key)? {
            Ok(node) => as_number(node),
            Err(Field { absent: Absent::Number(number), .. }) => Some(*number),
            Err(_) => None,
        }
    }

    /// A whole number that the shape keeps within the range of a count.
    #[must_use]
    pub fn count(&self, key: &str) -> Option<usize> {
        self.number(key).map(|number| number as usize)
    }

    /// Text, a choice, a name, or the name in a place that also takes a map.
    #[must_use]
    pub fn text(&self, key: &str) -> Option<&'a str> {
        match self.sound(key)? {
            Ok(node) => as_text(node),
            Err(Field { absent: Absent::Text(text), .. }) => Some(text),
            Err(_) => None,
        }
    }

    /// A colour.
    #[must_use]
    pub fn colour(&self, key: &str) -> Option<[u8; 3]> {
        self.text(key).and_then(colour)
    }

    /// `true` or `false`; false when it is left out.
    #[must_use]
    pub fn flag(&self, key: &str) -> Option<bool> {
        match self.sound(key)? {
            Ok(node) => Some(node.value == Value::Flag(true)),
            Err(_) => Some(false),
        }
    }

    /// The pairs of a list of pairs of numbers; `None` when the list is left out or faulty.
    #[must_use]
    pub fn pairs(&self, key: &str) -> Option<Vec<[f64; 2]>> {
        match self.sound(key)? {
            Ok(_) => self.items(key).iter().map(as_pair).collect(),
            Err(_) => None,
        }
    }

    /// A pair of numbers.
    #[must_use]
    pub fn pair(&self, key: &str) -> Option<[f64; 2]> {
        match self.sound(key)? {
            Ok(node) => as_pair(node),
            Err(Field { absent: Absent::Pair(pair), .. }) => Some(*pair),
            Err(_) => None,
        }
    }

    /// The items of a list, each checked on its own by whoever reads it.
    #[must_use]
    pub fn items(&self, key: &str) -> &'a [Node] {
        match self.node(key).map(|node| &node.value) {
            Some(Value::List(items)) => items,
            _ => &[],
        }
    }

    /// The numbers of a list; `None` when the list is left out or faulty.
    #[must_use]
    pub fn numbers(&self, key: &str) -> Option<Vec<f64>> {
        match self.sound(key)? {
            Ok(_) => self.items(key).iter().map(as_number).collect(),
            Err(_) => None,
        }
    }

    /// The colours of a list; `None` when the list is left out or faulty.
    #[must_use]
    pub fn colours(&self, key: &str) -> Option<Vec<[u8; 3]>> {
        match self.sound(key)? {
            Ok(_) => self.items(key).iter().map(|item| as_text(item).and_then(colour)).collect(),
            Err(_) => None,
        }
    }

    /// The map under a key. When it is left out, a map without keys, whose values are all defaults. `None` when
    /// something else stands there.
    #[must_use]
    pub fn map(&self, key: &str) -> Option<Entry<'a>> {
        let (Kind::Map(shape) | Kind::TextOr(shape) | Kind::OneOf(shape)) = self.shape.field(key)?.kind
        else {
            return None;
        };
        match self.node(key) {
            Some(node) if matches!(node.value, Value::Map(_)) => Some(Entry::new(shape, node)),
            Some(_) => None,
            None => Some(Entry { shape, node: None, place: self.place }),
        }
    }

    /// Of a map with exactly one key: that key and the map under it. `None` when there is no such pair.
    #[must_use]
    pub fn only(&self) -> Option<(&'static str, Entry<'a>)> {
        let Value::Map(entries) = &self.node?.value else {
            return None;
        };
        let [(key, value)] = entries.as_slice() else {
            return None;
        };
        let field = self.shape.field(key.spelling())?;
        match (&field.kind, &value.value) {
            (Kind::Map(shape), Value::Map(_)) => Some((field.key, Entry::new(shape, value))),
            _ => None,
        }
    }

    /// A map from wavelengths: the pairs in rising order of wavelength. `None` when it is left out or faulty.
    #[must_use]
    pub fn by_wavelength(&self, key: &str) -> Option<Vec<(f64, &'a Node)>> {
        let Ok(node) = self.sound(key)? else {
            return None;
        };
        let Value::Map(entries) = &node.value else {
            return None;
        };
        let mut pairs: Vec<(f64, &Node)> =
            entries.iter().map(|(nm, value)| Some((as_number(nm)?, value))).collect::<Option<_>>()?;
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
        Some(pairs)
    }

    /// A blend: names with shares that add up to one. `None` when it is left out or faulty.
    #[must_use]
    pub fn blend(&self, key: &str) -> Option<Vec<(String, f64)>> {
        let Ok(node) = self.sound(key)? else {
            return None;
        };
        let Value::List(items) = &node.value else {
            return Some(vec![(as_text(node)?.to_owned(), 1.0)]);
        };
        let parts: Vec<(String, f64)> = items
            .iter()
            .map(|item| match &item.value {
                Value::Map(entries) => {
                    let (name, share) = entries.first()?;
                    Some((name.spelling().to_owned(), as_number(share)?))
                }
                _ => None,
            })
            .collect::<Option<_>>()?;
        let total: f64 = parts.iter().map(|(_, share)| share).sum();
        Some(parts.into_iter().map(|(name, share)| (name, share / total)).collect())
    }
}

fn as_number(node: &Node) -> Option<f64> {
    match node.value {
        Value::Number(number) if number.is_finite() => Some(number),
        _ => None,
    }
}

fn as_pair(node: &Node) -> Option<[f64; 2]> {
    match &node.value {
        Value::List(items) => match items.as_slice() {
            [x, y] => Some([as_number(x)?, as_number(y)?]),
            _ => None,
        },
        _ => None,
    }
}

fn as_text(node: &Node) -> Option<&str> {
    match node.value {
        Value::Text(_) | Value::Number(_) => Some(node.spelling()),
        _ => None,
    }
}
