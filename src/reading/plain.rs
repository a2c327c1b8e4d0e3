//! A tree of values without places: what an edit makes of a file, and how it is written.

use super::tree::{Node, Value};
use std::fmt::Write as _;

/// A value without its place.
#[derive(Clone, Debug, PartialEq)]
pub enum Plain {
    /// Nothing.
    Nothing,
    /// `true` or `false`.
    Flag(bool),
    /// A number.
    Number(f64),
    /// Text.
    Text(String),
    /// A list.
    List(Vec<Plain>),
    /// Keys and values in their order.
    Map(Vec<(String, Plain)>),
}

/// A step on the way to a value: a key of a map, or an index of a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step {
    /// A key.
    Key(String),
    /// An index, from 0.
    Index(usize),
}

impl From<&Node> for Plain {
    fn from(node: &Node) -> Plain {
        match &node.value {
            Value::Nothing => Plain::Nothing,
            Value::Flag(flag) => Plain::Flag(*flag),
            Value::Number(number) if number.is_finite() => Plain::Number(*number),
            // What is no number to compare with stands for itself as written.
            Value::Number(_) => Plain::Text(node.raw.clone()),
            Value::Text(text) => Plain::Text(text.clone()),
            Value::List(items) => Plain::List(items.iter().map(Plain::from).collect()),
            Value::Map(entries) => Plain::Map(
                entries.iter().map(|(key, value)| (key.spelling().to_owned(), Plain::from(value))).collect(),
            ),
        }
    }
}

impl From<&serde_json::Value> for Plain {
    fn from(json: &serde_json::Value) -> Plain {
        use serde_json::Value as Json;
        match json {
            Json::Null => Plain::Nothing,
            Json::Bool(flag) => Plain::Flag(*flag),
            Json::Number(number) => number.as_f64().map_or(Plain::Nothing, Plain::Number),
            Json::String(text) => Plain::Text(text.clone()),
            Json::Array(items) => Plain::List(items.iter().map(Plain::from).collect()),
            Json::Object(entries) => {
                Plain::Map(entries.iter().map(|(key, value)| (key.clone(), Plain::from(value))).collect())
            }
        }
    }
}

impl Plain {
    /// The value at the end of a way; `None` where there is none.
    #[must_use]
    pub fn at(&self, way: &[Step]) -> Option<&Plain> {
        let Some((step, rest)) = way.split_first() else { return Some(self) };
        match (self, step) {
            (Plain::Map(entries), Step::Key(key)) => entries.iter().find(|(k, _)| k == key)?.1.at(rest),
            (Plain::List(items), Step::Index(index)) => items.get(*index)?.at(rest),
            _ => None,
        }
    }

    /// The same for changing it.
    pub fn at_mut(&mut self, way: &[Step]) -> Option<&mut Plain> {
        let Some((step, rest)) = way.split_first() else { return Some(self) };
        match (self, step) {
            (Plain::Map(entries), Step::Key(key)) => {
                entries.iter_mut().find(|(k, _)| k == key)?.1.at_mut(rest)
            }
            (Plain::List(items), Step::Index(index)) => items.get_mut(*index)?.at_mut(rest),
            _ => None,
        }
    }

    /// Whether it is a list or a map.
    #[must_use]
    pub fn holds_others(&self) -> bool {
        matches!(self, Plain::List(_) | Plain::Map(_))
    }

    /// On one line, as it stands between brackets.
    #[must_use]
    pub fn in_flow(&self) -> String {
        let mut out = String::new();
        self.write(&mut out);
        out
    }

    fn write(&self, out: &mut String) {
        match self {
            Plain::Nothing => out.push_str("null"),
            Plain::Flag(flag) => {
                let _ = write!(out, "{flag}");
            }
            Plain::Number(number) => {
                let _ = write!(out, "{number}");
            }
            Plain::Text(text) => out.push_str(&scalar(text)),
            Plain::List(items) => {
                out.push('[');
                for (i, item) in items.iter().enumerate() {
                    out.push_str(if i > 0 { ", " } else { "" });
                    item.write(out);
                }
                out.push(']');
            }
            Plain::Map(entries) => {
                out.push('{');
                for (i, (key, value)) in entries.iter().enumerate() {
                    out.push_str(if i > 0 { ", " } else { "" });
                    out.push_str(&key_text(key));
                    out.push_str(": ");
                    value.write(out);
                }
                out.push('}');
            }
        }
    }
}

/// A key as written: numbers (wavelengths) stay bare.
pub(super) fn key_text(key: &str) -> String {
    if key.parse::<f64>().is_ok_and(f64::is_finite) { key.to_owned() } else { scalar(key) }
}

/// Text as written: bare where nobody can take it for something else, else in quotes.
pub(super) fn scalar(text: &str) -> String {
    let bare = text.starts_with(|c: char| c.is_ascii_alphabetic())
        && text.ends_with(|c: char| c.is_ascii_alphanumeric())
        && text.chars().all(|c| c.is_ascii_alphanumeric() || " _-./".contains(c))
        && !["true", "false", "null", "yes", "no", "on", "off", "y", "n", "inf", "nan", "infinity"]
            .contains(&text.to_lowercase().as_str());
    if bare {
        return text.to_owned();
    }
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            // Control characters and the line ends of Unicode are escaped: YAML 1.2, section 5.7.
            c if c.is_control() || matches!(c, '\u{2028}' | '\u{2029}' | '\u{feff}') => {
                let _ = write!(out, "\\u{:04x}", c as u32);
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}
