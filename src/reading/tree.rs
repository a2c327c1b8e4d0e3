//! YAML as a tree in which every value knows its place.

use crate::diagnose::{Place, Problem, shortened};
use serde::de::{Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};
use serde_yaml::options::{DuplicateKeyPolicy, MergeKeyPolicy, NonFiniteFloatPolicy};
use serde_yaml::{Location, Spanned};

/// Lists and maps may stand this deep inside one another. The deepest valid file needs nine levels; the limit keeps
/// the recursion of the reader, and so its stack, small.
pub const MOST_DEPTH: usize = 24;

/// A value with its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// The value.
    pub value: Value,
    /// Where it stands.
    pub place: Place,
    /// A single value as written in the file (shortened); empty for lists and maps.
    pub raw: String,
}

/// What stands in the file.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// Nothing, `null` or `~`.
    Nothing,
    /// `true` or `false`.
    Flag(bool),
    /// A number; may be infinite or not a number.
    Number(f64),
    /// Text.
    Text(String),
    /// A list.
    List(Vec<Node>),
    /// Keys and values in the order of the file; keys may repeat.
    Map(Vec<(Node, Node)>),
}

impl Node {
    /// What kind of value it is, in words, for messages.
    #[must_use]
    pub fn kind_word(&self) -> &'static str {
        match self.value {
            Value::Nothing => "nothing",
            Value::Flag(_) => "true or false",
            Value::Number(_) => "a number",
            Value::Text(_) => "text",
            Value::List(_) => "a list",
            Value::Map(_) => "a map of keys",
        }
    }

    /// The value as quoted in a message: as written where it is a single value, else its kind.
    #[must_use]
    pub fn quoted(&self) -> String {
        if self.raw.is_empty() { self.kind_word().to_owned() } else { self.raw.clone() }
    }

    /// The spelling of a key or of a single value without quotes.
    #[must_use]
    pub fn spelling(&self) -> &str {
        match &self.value {
            Value::Text(text) => text,
            _ => &self.raw,
        }
    }
}

/// Reads YAML text. A byte-order mark at the start must already be gone.
///
/// # Errors
/// The first place where the text is not YAML, or where it uses what these files never need: anchors and aliases,
/// tags of its own, several documents, or more than [`MOST_DEPTH`] levels.
pub fn parse(text: &str) -> Result<Node, Box<Problem>> {
    let options = serde_yaml::options! {
        // Repeated keys, merge keys and infinite numbers come through, so that they are reported with all the rest.
        duplicate_keys: DuplicateKeyPolicy::PassThrough,
        merge_keys: MergeKeyPolicy::AsOrdinary,
        non_finite_float_policy: NonFiniteFloatPolicy::PassThrough,
        strict_booleans: true,
        underscored_numbers_as_strings: true,
        reject_unsupported_tags: true,
        emit_comments: false,
        with_snippet: false,
        budget: serde_yaml::budget! { max_aliases: 0, max_anchors: 0, max_depth: MOST_DEPTH, max_documents: 1 },
    };
    match serde_yaml::from_str_with_options::<Spanned<Raw>>(text, options) {
        Ok(root) => Ok(node(root, text)),
        Err(error) => Err(Box::new(syntax_problem(&error, text))),
    }
}

/// A value as it comes from the parser.
enum Raw {
    Nothing,
    Flag(bool),
    Number(f64),
    Text(String),
    List(Vec<Spanned<Raw>>),
    Map(Vec<(Spanned<Raw>, Spanned<Raw>)>),
}

impl<'de> Deserialize<'de> for Raw {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Raw, D::Error> {
        deserializer.deserialize_any(RawVisitor)
    }
}

struct RawVisitor;

impl<'de> Visitor<'de> for RawVisitor {
    type Value = Raw;

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("any value")
    }

    fn visit_unit<E>(self) -> Result<Raw, E> {
        Ok(Raw::Nothing)
    }

    fn visit_none<E>(self) -> Result<Raw, E> {
        Ok(Raw::Nothing)
    }

    fn visit_bool<E>(self, flag: bool) -> Result<Raw, E> {
        Ok(Raw::Flag(flag))
    }

    fn visit_i64<E>(self, number: i64) -> Result<Raw, E> {
        Ok(Raw::Number(number as f64))
    }

    fn visit_u64<E>(self, number: u64) -> Result<Raw, E> {
        Ok(Raw::Number(number as f64))
    }

    fn visit_i128<E>(self, number: i128) -> Result<Raw, E> {
        Ok(Raw::Number(number as f64))
    }

    fn visit_u128<E>(self, number: u128) -> Result<Raw, E> {
        Ok(Raw::Number(number as f64))
    }

    fn visit_f64<E>(self, number: f64) -> Result<Raw, E> {
        Ok(Raw::Number(number))
    }

    fn visit_str<E>(self, text: &str) -> Result<Raw, E> {
        Ok(Raw::Text(text.to_owned()))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Raw, A::Error> {
        let mut list = Vec::new();
        while let Some(item) = items.next_element()? {
            list.push(item);
        }
        Ok(Raw::List(list))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<Raw, A::Error> {
        let mut map = Vec::new();
        while let Some(entry) = entries.next_entry()? {
            map.push(entry);
        }
        Ok(Raw::Map(map))
    }
}

/// The parser's tree as ours.
fn node(spanned: Spanned<Raw>, text: &str) -> Node {
    let mut place = place(&spanned.referenced, text);
    let value = match spanned.value {
        Raw::Nothing => Value::Nothing,
        Raw::Flag(flag) => Value::Flag(flag),
        Raw::Number(number) => Value::Number(number),
        Raw::Text(words) => Value::Text(words),
        Raw::List(items) => Value::List(items.into_iter().map(|item| node(item, text)).collect()),
        Raw::Map(entries) => {
            let pairs = entries.into_iter().map(|(key, value)| (node(key, text), node(value, text)));
            Value::Map(pairs.collect())
        }
    };
    let written = text.get(place.bytes.clone()).unwrap_or("");
    let raw = match value {
        Value::List(_) | Value::Map(_) | Value::Nothing => String::new(),
        _ => shortened(written),
    };
    let trimmed = written.trim_end().len();
    place.bytes.end = place.bytes.start + trimmed;
    Node { value, place, raw }
}

/// A location of the parser as a place. The parser leaves the bytes out where it stopped at an error; they follow
/// from line and column.
fn place(location: &Location, text: &str) -> Place {
    let line = usize::try_from(location.line()).unwrap_or(1).max(1);
    let column = usize::try_from(location.column()).unwrap_or(1).max(1);
    let span = location.span();
    let known = span.byte_offset().zip(span.byte_len()).and_then(|(offset, len)| {
        let start = usize::try_from(offset).ok()?;
        let end = start.checked_add(usize::try_from(len).ok()?)?;
        text.get(start..end).map(|_| start..end)
    });
    let bytes = known.unwrap_or_else(|| {
        let start = byte_at(text, line, column);
        let width = text[start..].chars().next().filter(|c| *c != '\n').map_or(0, char::len_utf8);
        start..start + width
    });
    Place { line, column, bytes }
}

/// Byte offset of a line and column (both from 1), or the end of the text.
fn byte_at(text: &str, line: usize, column: usize) -> usize {
    let start: usize = text.split_inclusive('\n').take(line - 1).map(str::len).sum();
    let rest = text.get(start..).unwrap_or("");
    let within = rest.char_indices().nth(column - 1).map_or(rest.len(), |(i, _)| i);
    (start + within).min(text.len())
}

/// A syntax error of the parser in our words where we know better ones.
fn syntax_problem(error: &serde_yaml::Error, text: &str) -> Problem {
    use serde_yaml::Error;
    use serde_yaml::budget::BudgetBreach;
    let error = error.without_snippet();
    let place = error
        .location()
        .map_or_else(|| Place { line: 1, column: 1, bytes: 0..0 }, |location| self::place(&location, text));
    let problem = |what: &str, next: &str| Problem::error(&place, what).next(next);
    match error {
        Error::Budget { breach: BudgetBreach::Anchors { .. } | BudgetBreach::Aliases { .. }, .. }
        | Error::UnknownAnchor { .. } => problem(
            "anchors (`&name`) and aliases (`*name`) are not used in these files",
            "Write the value out in full; put text that begins with & or * in quotes.",
        ),
        Error::Budget { breach: BudgetBreach::Documents { .. }, .. } => {
            problem("the file holds more than one document", "Keep one; remove the line `---` between them.")
        }
        Error::Budget { breach: BudgetBreach::Depth { .. }, .. } => too_deep(&place),
        Error::Budget { .. } => problem("the file is too large", "Split it, or write it more shortly."),
        other => {
            let message = other.to_string();
            if message.contains("recursion limit") {
                return too_deep(&place);
            }
            // The parser ends its message with the position, which has its own place here.
            let what = message.rsplit_once(" at line ").map_or(message.as_str(), |(what, _)| what);
            problem(
                &format!("this is not valid YAML: {}", shortened_message(what)),
                "Check colons, brackets, quotes and indentation here and on the line before.",
            )
        }
    }
}

fn too_deep(place: &Place) -> Problem {
    Problem::error(place, "lists and maps stand too deep inside one another")
        .allowed(format!("at most {MOST_DEPTH} levels"))
        .next("Look for brackets that are never closed.")
}

/// One line, at most twice as long as a quotation.
fn shortened_message(message: &str) -> String {
    const MOST: usize = 2 * crate::diagnose::MOST_QUOTED;
    message.chars().take(MOST).map(|c| if c.is_control() { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn map(node: &Node) -> &[(Node, Node)] {
        match &node.value {
            Value::Map(entries) => entries,
            other => panic!("a map was expected, found {other:?}"),
        }
    }

    #[test]
    fn places_and_values() {
        let text = "ä: 1\nlist: [1.5, .nan, \"x\"]\nä: two words  # a comment\nempty:\n";
        let root = parse(text).expect("valid");
        let entries = map(&root);
        assert_eq!(entries.len(), 4, "a repeated key comes through");
        assert_eq!(entries[0].0.place, Place { line: 1, column: 1, bytes: 0..2 });
        assert_eq!((entries[0].1.place.line, entries[0].1.place.column), (1, 4));
        let Value::List(items) = &entries[1].1.value else { panic!("a list") };
        assert_eq!(items[0].value, Value::Number(1.5));
        assert!(matches!(items[1].value, Value::Number(n) if n.is_nan()));
        assert_eq!((items[2].value.clone(), items[2].raw.as_str()), (Value::Text("x".into()), "\"x\""));
        assert_eq!(entries[2].1.raw, "two words");
        assert_eq!(&text[entries[2].1.place.bytes.clone()], "two words");
        assert_eq!(entries[3].1.value, Value::Nothing);
    }

    #[test]
    fn what_these_files_never_need() {
        let message = |text: &str| parse(text).expect_err("refused").what;
        assert!(message("a: &x [1]\nb: *x\n").contains("anchors"));
        assert!(message("a: *y\n").contains("anchors"));
        assert!(message("a: 1\n---\nb: 2\n").contains("more than one document"));
        assert!(message(&"[".repeat(100_000)).contains("too deep"));
        assert!(message(&"- ".repeat(50_000)).contains("too deep"));
        assert!(message(&"{a: ".repeat(50_000)).contains("too deep"));
        assert!(message("a: \"open\n").contains("not valid YAML"));
    }

    #[test]
    fn a_syntax_error_points_at_its_place() {
        let problem = parse("ä: 1\nbö: [1, 2\nc: 3\n").expect_err("refused");
        assert_eq!(problem.place.line, 3);
        let bytes = problem.place.bytes.clone();
        assert_eq!(&"ä: 1\nbö: [1, 2\nc: 3\n"[bytes], ":");
    }
}
