//! What a file may say, as plain data.

/// A closed range of numbers with its unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// The least allowed number.
    pub least: f64,
    /// The greatest allowed number.
    pub most: f64,
    /// The unit as printed; empty for a pure number.
    pub unit: &'static str,
}

impl Limits {
    /// From `least` to `most`, both included.
    #[must_use]
    pub const fn new(least: f64, most: f64, unit: &'static str) -> Limits {
        Limits { least, most, unit }
    }

    /// The range in words.
    #[must_use]
    pub fn in_words(&self) -> String {
        format!("{} to {} {}", self.least, self.most, self.unit).trim_end().to_owned()
    }

    /// Whether a number lies in the range; never for a number that is not finite.
    #[must_use]
    pub fn contain(&self, number: f64) -> bool {
        number.is_finite() && number >= self.least && number <= self.most
    }
}

/// What kind of value a key takes.
#[derive(Clone, Copy, Debug)]
pub enum Kind {
    /// A number in a range.
    Number(Limits),
    /// A whole number in a range.
    Whole(Limits),
    /// A number in a range, or one of a few words.
    NumberOr(Limits, &'static [&'static str]),
    /// Text that is not empty. A bare number is taken as its spelling (a package is called 5050).
    Text,
    /// `true` or `false`; false when it is left out.
    Flag,
    /// A colour `"#rrggbb"`.
    Colour,
    /// One of a few words.
    Choice(&'static [&'static str]),
    /// One of the names that a function lists; the word says what they name.
    Named(&'static str, fn() -> Vec<&'static str>),
    /// Two values of one kind, `[x, y]`.
    Pair(&'static Kind),
    /// A list of values of one kind, with at least and at most so many.
    List(&'static Kind, usize, usize),
    /// A map of keys.
    Map(&'static Shape),
    /// A name (text), or a map of keys written in place.
    TextOr(&'static Shape),
    /// A map with exactly one of several keys.
    OneOf(&'static Shape),
    /// A map from wavelengths in nm to values of one kind.
    ByWavelength(&'static Kind),
    /// A name (text), or a list of maps `{name: percent}` whose shares add up to 100.
    Blend,
}

/// Wavelengths that a file may name.
pub const WAVELENGTH_NM: Limits = Limits::new(360.0, 830.0, "nm");
/// A share of a blend.
pub const SHARE_PERCENT: Limits = Limits::new(0.1, 100.0, "percent");
/// Text longer than this many characters is refused.
pub const MOST_TEXT: usize = 2000;

/// What holds when a key is left out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Absent {
    /// That is an error.
    Refused,
    /// The value stays open: the reader derives it, or does without.
    Open,
    /// This number.
    Number(f64),
    /// This text.
    Text(&'static str),
    /// This pair.
    Pair([f64; 2]),
}

/// One key.
#[derive(Clone, Copy, Debug)]
pub struct Field {
    /// The key.
    pub key: &'static str,
    /// What it takes.
    pub kind: Kind,
    /// What holds without it.
    pub absent: Absent,
    /// What it means, as a sentence without a full stop.
    pub meaning: &'static str,
}

impl Field {
    /// A key that must be there.
    #[must_use]
    pub const fn must(key: &'static str, kind: Kind, meaning: &'static str) -> Field {
        Field { key, kind, absent: Absent::Refused, meaning }
    }

    /// A key that may be left out.
    #[must_use]
    pub const fn may(key: &'static str, kind: Kind, absent: Absent, meaning: &'static str) -> Field {
        Field { key, kind, absent, meaning }
    }
}

/// The keys of a map.
#[derive(Debug)]
pub struct Shape {
    /// What the map describes, for messages ("a strip").
    pub what: &'static str,
    /// Its keys.
    pub fields: &'static [Field],
    /// Sets of keys of which exactly one must be given.
    pub exactly_one: &'static [&'static [&'static str]],
    /// Sets of keys of which at most one may be given.
    pub at_most_one: &'static [&'static [&'static str]],
}

impl Shape {
    /// Its field of that name.
    #[must_use]
    pub fn field(&self, key: &str) -> Option<&'static Field> {
        self.fields.iter().find(|field| field.key == key)
    }

    /// Its keys as a list in words.
    #[must_use]
    pub fn keys(&self) -> String {
        let keys: Vec<&str> = self.fields.iter().map(|field| field.key).collect();
        keys.join(", ")
    }
}

/// Reads a colour `#rrggbb`.
#[must_use]
pub fn colour(text: &str) -> Option<[u8; 3]> {
    let digits = text.strip_prefix('#')?;
    if digits.len() != 6 || !digits.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    let channel = |i: usize| u8::from_str_radix(digits.get(2 * i..2 * i + 2)?, 16).ok();
    Some([channel(0)?, channel(1)?, channel(2)?])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours() {
        assert_eq!(colour("#ffD9a0"), Some([255, 217, 160]));
        assert_eq!(colour("ffd9a0"), None);
        assert_eq!(colour("#ffd9a"), None);
        assert_eq!(colour("#ääää"), None);
        assert_eq!(colour("#+1+1+1"), None);
    }
}
