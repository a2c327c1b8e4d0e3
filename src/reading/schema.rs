//! The description of a file as a JSON schema (draft 2020-12), for editors that complete and check while one types.

use super::shape::{Absent, Field, Kind, Limits, MOST_TEXT, SHARE_PERCENT, Shape, WAVELENGTH_NM};
use serde_json::{Map, Value, json};

/// The schema of a file whose root has the given shape.
#[must_use]
pub fn json_schema(shape: &Shape, title: &str) -> Value {
    let mut schema = of_shape(shape);
    schema["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    schema["title"] = json!(title);
    schema
}

fn of_shape(shape: &Shape) -> Value {
    let properties: Map<String, Value> =
        shape.fields.iter().map(|field| (field.key.to_owned(), of_field(field))).collect();
    let required: Vec<&str> =
        shape.fields.iter().filter(|f| f.absent == Absent::Refused).map(|f| f.key).collect();
    let mut schema = json!({
        "type": "object",
        "description": shape.what,
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    });
    let one: Vec<Value> = shape.exactly_one.iter().map(|set| json!({ "oneOf": requirements(set) })).collect();
    let not_both = shape.at_most_one.iter().map(|set| {
        let mut choices = requirements(set);
        choices.push(json!({ "not": { "anyOf": requirements(set) } }));
        json!({ "oneOf": choices })
    });
    let all: Vec<Value> = one.into_iter().chain(not_both).collect();
    if !all.is_empty() {
        schema["allOf"] = json!(all);
    }
    schema
}

fn requirements(set: &[&str]) -> Vec<Value> {
    set.iter().map(|key| json!({ "required": [key] })).collect()
}

fn of_field(field: &Field) -> Value {
    let mut schema = of_kind(&field.kind);
    schema["description"] = json!(field.meaning);
    match field.absent {
        Absent::Number(number) => schema["default"] = number_value(number),
        Absent::Text(text) => schema["default"] = json!(text),
        Absent::Pair(pair) => schema["default"] = json!(pair.map(number_value)),
        Absent::Refused | Absent::Open => {}
    }
    schema
}

fn of_kind(kind: &Kind) -> Value {
    match kind {
        Kind::Number(limits) => range("number", limits),
        Kind::Whole(limits) => range("integer", limits),
        Kind::NumberOr(limits, words) => json!({ "anyOf": [range("number", limits), { "enum": words }] }),
        Kind::Text => text(),
        Kind::Flag => json!({ "type": "boolean" }),
        Kind::Colour => json!({ "type": "string", "pattern": "^#[0-9A-Fa-f]{6}$" }),
        Kind::Choice(words) => json!({ "enum": words }),
        Kind::Named(_, names) => json!({ "enum": spellings(&names()) }),
        Kind::Pair(item) => json!({ "type": "array", "items": of_kind(item), "minItems": 2, "maxItems": 2 }),
        Kind::List(item, least, most) => {
            json!({ "type": "array", "items": of_kind(item), "minItems": least, "maxItems": most })
        }
        Kind::Map(shape) => of_shape(shape),
        Kind::TextOr(shape) => json!({ "anyOf": [text(), of_shape(shape)] }),
        Kind::OneOf(shape) => {
            let mut schema = of_shape(shape);
            schema["minProperties"] = json!(1);
            schema["maxProperties"] = json!(1);
            schema
        }
        Kind::ByWavelength(item) => json!({
            "type": "object",
            "description": format!("keys are wavelengths, {}", WAVELENGTH_NM.in_words()),
            "patternProperties": { "^[0-9]+(\\.[0-9]+)?$": of_kind(item) },
            "additionalProperties": false,
            "minProperties": 1,
        }),
        Kind::Blend => json!({ "anyOf": [text(), {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "additionalProperties": range("number", &SHARE_PERCENT),
                "minProperties": 1,
                "maxProperties": 1,
            },
        }] }),
    }
}

/// Names, and beside a name made of digits also the bare number, which YAML readers do not take for text.
fn spellings(names: &[&str]) -> Vec<Value> {
    let numbers = names.iter().filter_map(|name| name.parse::<u32>().ok()).map(Value::from);
    names.iter().map(|name| json!(name)).chain(numbers).collect()
}

fn text() -> Value {
    json!({ "type": ["string", "number"], "minLength": 1, "maxLength": MOST_TEXT })
}

fn range(kind: &str, limits: &Limits) -> Value {
    json!({ "type": kind, "minimum": number_value(limits.least), "maximum": number_value(limits.most) })
}

/// Whole numbers without a decimal point.
fn number_value(number: f64) -> Value {
    const LARGEST_EXACT: f64 = 9_007_199_254_740_992.0; // 2^53: beyond it not every whole number is a double
    if number.fract() == 0.0 && number.abs() < LARGEST_EXACT { json!(number as i64) } else { json!(number) }
}
