//! A strict reader of the JSON schemas that `weftlight check --schema` prints. A keyword that it does not know fails, so that nothing in a
//! schema is passed over.

use serde_json::{Map, Value};
use std::collections::BTreeSet;

/// The one pattern in the schemas.
const COLOUR: &str = "^#[0-9a-f]{6}$";

/// What is wrong with a value, place by place; nothing where it is as the schema says.
pub(super) fn problems(value: &Value, schema: &Value) -> Vec<String> {
    let definitions = schema["$defs"].as_object().expect("definitions");
    let mut reader = Reader { definitions, problems: Vec::new() };
    reader.read(value, schema, "");
    reader.problems
}

struct Reader<'a> {
    definitions: &'a Map<String, Value>,
    problems: Vec<String>,
}

impl Reader<'_> {
    fn must(&mut self, holds: bool, place: &str, what: impl FnOnce() -> String) {
        if !holds {
            self.problems.push(format!("{}: {}", if place.is_empty() { "all of it" } else { place }, what()));
        }
    }

    /// Reads a value by a schema; gives back the keys of the value that the schema speaks of.
    fn read(&mut self, value: &Value, schema: &Value, place: &str) -> BTreeSet<String> {
        let schema = schema.as_object().expect("a schema is an object");
        let mut known = BTreeSet::new();
        for (keyword, says) in schema {
            match keyword.as_str() {
                "$schema" | "$defs" | "title" | "description" => {}
                "$ref" => {
                    let name = says.as_str().and_then(|to| to.strip_prefix("#/$defs/")).expect("a reference");
                    let definition = &self.definitions[name];
                    known.extend(self.read(value, definition, place));
                }
                "allOf" => {
                    for part in list(says) {
                        known.extend(self.read(value, part, place));
                    }
                }
                "anyOf" => known.extend(self.any_of(value, list(says), place)),
                "type" => self.must(has_type(value, says), place, || format!("{value} is no {says}")),
                "enum" => {
                    self.must(list(says).contains(value), place, || format!("{value} is none of {says}"))
                }
                "minimum" => self.bound(value, says, place, |value, bound| value >= bound),
                "maximum" => self.bound(value, says, place, |value, bound| value <= bound),
                "pattern" => {
                    assert_eq!(says, COLOUR, "a pattern that is not known here");
                    let digits = value.as_str().and_then(|text| text.strip_prefix('#')).unwrap_or_default();
                    let fits =
                        digits.len() == 6 && digits.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'));
                    self.must(fits, place, || format!("{value} is no colour"));
                }
                "items" => {
                    for (i, item) in value.as_array().into_iter().flatten().enumerate() {
                        self.read(item, says, &format!("{place}[{i}]"));
                    }
                }
                "minItems" => self.count(value, says, place, |count, bound| count >= bound),
                "maxItems" => self.count(value, says, place, |count, bound| count <= bound),
                "required" => {
                    for key in list(says) {
                        let key = key.as_str().expect("a key");
                        self.must(value.get(key).is_some(), place, || format!("`{key}` is missing"));
                    }
                }
                "properties" => {
                    for (key, says) in says.as_object().expect("properties") {
                        known.insert(key.clone());
                        if let Some(inner) = value.get(key) {
                            self.read(inner, says, &format!("{place}/{key}"));
                        }
                    }
                }
                // Read below, when all keys that are spoken of are known.
                "additionalProperties" | "unevaluatedProperties" => {}
                unknown => panic!("{place}: the keyword `{unknown}` is not known here"),
            }
        }
        for rest in ["additionalProperties", "unevaluatedProperties"] {
            let Some(says) = schema.get(rest) else { continue };
            for (key, inner) in value.as_object().into_iter().flatten() {
                if known.insert(key.clone()) {
                    self.must(says != &Value::Bool(false), place, || format!("`{key}` is in no schema"));
                    if says.is_object() {
                        self.read(inner, says, &format!("{place}/{key}"));
                    }
                }
            }
        }
        known
    }

    /// One of several; where none fits, the one that fits best tells why.
    fn any_of(&mut self, value: &Value, choices: &[Value], place: &str) -> BTreeSet<String> {
        let mut best: Option<(BTreeSet<String>, Vec<String>)> = None;
        for choice in choices {
            let mut reader = Reader { definitions: self.definitions, problems: Vec::new() };
            let known = reader.read(value, choice, place);
            if best.as_ref().is_none_or(|(_, problems)| reader.problems.len() < problems.len()) {
                best = Some((known, reader.problems));
            }
        }
        let (known, problems) = best.expect("at least one choice");
        self.problems.extend(problems);
        known
    }

    fn bound(&mut self, value: &Value, says: &Value, place: &str, holds: fn(f64, f64) -> bool) {
        let bound = says.as_f64().expect("a bound");
        // What is no number is for `type` to tell.
        let within = value.as_f64().is_none_or(|value| holds(value, bound));
        self.must(within, place, || format!("{value} is beyond {bound}"));
    }

    fn count(&mut self, value: &Value, says: &Value, place: &str, holds: fn(u64, u64) -> bool) {
        let bound = says.as_u64().expect("a number of items");
        let within = value.as_array().is_none_or(|items| holds(items.len() as u64, bound));
        self.must(within, place, || format!("not {bound} items: {value}"));
    }
}

fn list(says: &Value) -> &[Value] {
    says.as_array().expect("a list")
}

fn has_type(value: &Value, says: &Value) -> bool {
    match says {
        Value::Array(several) => several.iter().any(|one| has_type(value, one)),
        one => match one.as_str().expect("a type") {
            "object" => value.is_object(),
            "array" => value.is_array(),
            "string" => value.is_string(),
            "number" => value.is_number(),
            "integer" => value.is_u64() || value.is_i64(),
            "boolean" => value.is_boolean(),
            "null" => value.is_null(),
            unknown => panic!("the type `{unknown}` is not known here"),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn what_is_not_as_the_schema_says_is_found() {
        let keys = json!({ "type": "object", "properties": { "a_mm": { "type": "number", "minimum": 0 } }, "required": ["a_mm"] });
        let schema = json!({
            "$defs": { "keys": keys },
            "allOf": [
                { "$ref": "#/$defs/keys" },
                { "properties": { "b": { "anyOf": [{ "enum": ["x"] }, { "type": "null" }] } }, "required": ["b"] },
            ],
            "unevaluatedProperties": false,
        });
        assert_eq!(problems(&json!({ "a_mm": 1.5, "b": null }), &schema), [""; 0]);
        for (wrong, said) in [
            (json!({ "a_mm": null, "b": "x" }), "/a_mm: null is no \"number\""),
            (json!({ "a_mm": -1, "b": "x" }), "/a_mm: -1 is beyond 0"),
            (json!({ "a_mm": 1, "b": "y" }), "/b: \"y\" is none of"),
            (json!({ "a_mm": 1 }), "all of it: `b` is missing"),
            (json!({ "a_mm": 1, "b": "x", "c": 1 }), "all of it: `c` is in no schema"),
        ] {
            let found = problems(&wrong, &schema);
            assert!(found.len() == 1 && found[0].starts_with(said), "{wrong}: {found:?}");
        }
    }
}
