//! The check of a tree against the description of a file: every problem, each in its place.

use super::shape::{Absent, Kind, Limits, MOST_TEXT, SHARE_PERCENT, Shape, WAVELENGTH_NM, colour};
use super::tree::{Node, Value};
use crate::diagnose::{Problem, Problems, nearest, shortened};

/// Shares of a blend may miss 100 percent by this much: labels round each share to a whole percent.
const SHARES_ROUNDING_PERCENT: f64 = 1.5;
/// More points than this in one spectrum, or fibres in one blend, are no honest file.
const MOST_ENTRIES: usize = 1000;

/// Checks a value against a kind and adds every problem. `name` is the key under which it stands.
pub fn check(node: &Node, kind: &Kind, name: &str, problems: &mut Problems) {
    match kind {
        Kind::Number(limits) => check_number(node, limits, name, problems),
        Kind::Whole(limits) => check_whole(node, limits, name, problems),
        Kind::NumberOr(limits, words) => match &node.value {
            Value::Number(_) => check_number(node, limits, name, problems),
            Value::Text(text) if words.contains(&text.as_str()) => {}
            _ => problems.push(
                Problem::error(&node.place, format!("`{name}` must be a number or a word"))
                    .found(node.quoted())
                    .allowed(format!("{}, or {}", limits.in_words(), words.join(", "))),
            ),
        },
        Kind::Text => check_text(node, name, problems),
        Kind::Flag => {
            if !matches!(node.value, Value::Flag(_)) {
                problems.push(
                    Problem::error(&node.place, format!("`{name}` must be true or false"))
                        .found(node.quoted())
                        .allowed("true, false"),
                );
            }
        }
        Kind::Colour => check_colour(node, name, problems),
        Kind::Choice(words) => check_word(node, name, words, name, problems),
        Kind::Named(what, names) => check_word(node, name, &names(), what, problems),
        Kind::Pair(item) => match &node.value {
            Value::List(items) if items.len() == 2 => {
                items.iter().for_each(|value| check(value, item, name, problems));
            }
            _ => problems.push(
                Problem::error(&node.place, format!("`{name}` must be two values in brackets"))
                    .found(node.quoted())
                    .allowed("[x, y]"),
            ),
        },
        Kind::List(item, least, most) => check_list(node, item, (*least, *most), name, problems),
        Kind::Map(shape) => {
            check_map(node, shape, name, problems);
        }
        Kind::TextOr(shape) => match &node.value {
            Value::Map(_) => {
                check_map(node, shape, name, problems);
            }
            _ => check_text(node, name, problems),
        },
        Kind::OneOf(shape) => check_one_of(node, shape, name, problems),
        Kind::ByWavelength(item) => check_by_wavelength(node, item, name, problems),
        Kind::Blend => check_blend(node, name, problems),
    }
}

fn check_number(node: &Node, limits: &Limits, name: &str, problems: &mut Problems) {
    let allowed = limits.in_words();
    let Value::Number(number) = node.value else {
        let mut problem = Problem::error(&node.place, format!("`{name}` must be a number"))
            .found(node.quoted())
            .allowed(allowed);
        if let Value::Text(text) = &node.value
            && let Some(next) = bare_number(text, limits.unit)
        {
            problem = problem.next(next);
        }
        problems.push(problem);
        return;
    };
    let what = if number.is_nan() {
        format!("`{name}` is not a number")
    } else if number.is_infinite() {
        format!("`{name}` must be finite")
    } else if number < 0.0 && limits.least >= 0.0 {
        format!("`{name}` must not be negative")
    } else if number < limits.least {
        format!("`{name}` is too small")
    } else if number > limits.most {
        format!("`{name}` is too large")
    } else {
        return;
    };
    problems.push(Problem::error(&node.place, what).found(&node.raw).allowed(allowed));
}

/// A hint for a number that carries a unit, a decimal comma or a percent sign.
fn bare_number(text: &str, unit: &str) -> Option<String> {
    let text = text.trim();
    let end = text.find(|c: char| !matches!(c, '0'..='9' | '.' | ',' | '+' | '-')).unwrap_or(text.len());
    let number: f64 = text[..end].replace(',', ".").parse().ok()?;
    let in_mm = |factor: f64| format!("Write the bare number in mm: {}", rounded(number * factor));
    Some(match (text[end..].trim(), unit) {
        ("mm", "mm") => in_mm(1.0),
        ("cm", "mm") => in_mm(10.0),
        ("m", "mm") => in_mm(1000.0),
        ("in" | "inch" | "inches" | "\"", "mm") => in_mm(25.4),
        ("cm", "m") => format!("Write the bare number in m: {}", rounded(number / 100.0)),
        ("mm", "m") => format!("Write the bare number in m: {}", rounded(number / 1000.0)),
        ("%", "") => format!("Write a share of one: {}", rounded(number / 100.0)),
        ("", _) => format!("Write it without quotes and with a decimal point: {}", rounded(number)),
        _ if unit.is_empty() => format!("Write the bare number: {}", rounded(number)),
        _ => format!("Write the bare number, in {unit}"),
    })
}

/// A number to six decimals without trailing zeros.
fn rounded(number: f64) -> f64 {
    (number * 1e6).round() / 1e6
}

fn check_whole(node: &Node, limits: &Limits, name: &str, problems: &mut Problems) {
    match node.value {
        Value::Number(number) if limits.contain(number) && number.fract() != 0.0 => problems.push(
            Problem::error(&node.place, format!("`{name}` must be a whole number"))
                .found(&node.raw)
                .allowed(limits.in_words()),
        ),
        _ => check_number(node, limits, name, problems),
    }
}

fn check_text(node: &Node, name: &str, problems: &mut Problems) {
    let what = match &node.value {
        Value::Text(text) if text.trim().is_empty() => format!("`{name}` is empty"),
        Value::Text(text) if text.chars().count() > MOST_TEXT => format!("`{name}` is too long"),
        // They would steer the terminal on which a message or a summary is shown.
        Value::Text(text) if text.chars().any(|c| c.is_control() && c != '\n') => {
            format!("`{name}` holds a control character")
        }
        Value::Number(number) if !number.is_finite() => format!("`{name}` must be text"),
        Value::Text(_) | Value::Number(_) => return,
        _ => format!("`{name}` must be text"),
    };
    problems.push(
        Problem::error(&node.place, what)
            .found(node.quoted())
            .allowed(format!("text of 1 to {MOST_TEXT} characters")),
    );
}

fn check_colour(node: &Node, name: &str, problems: &mut Problems) {
    if matches!(&node.value, Value::Text(text) if colour(text).is_some()) {
        return;
    }
    let mut problem = Problem::error(&node.place, format!("`{name}` is not a colour"))
        .found(node.quoted())
        .allowed("\"#rrggbb\": two hexadecimal digits each for red, green and blue, in quotes");
    if node.value == Value::Nothing {
        problem = problem.next("A bare # begins a comment: put the colour in quotes.");
    }
    problems.push(problem);
}

fn check_word(node: &Node, name: &str, words: &[&str], what: &str, problems: &mut Problems) {
    let spelling = node.spelling();
    let single = matches!(node.value, Value::Text(_) | Value::Number(_));
    if single && words.contains(&spelling) {
        return;
    }
    let message = if single {
        format!("there is no {what} `{}`", shortened(spelling))
    } else {
        format!("`{name}` must be one word")
    };
    let mut problem = Problem::error(&node.place, message).found(node.quoted()).allowed(words.join(", "));
    if let Some(near) = nearest(spelling, words.iter().copied()) {
        problem = problem.next(format!("Did you mean `{near}`?"));
    }
    problems.push(problem);
}

fn check_list(node: &Node, item: &Kind, (least, most): (usize, usize), name: &str, problems: &mut Problems) {
    let Value::List(items) = &node.value else {
        problems.push(
            Problem::error(&node.place, format!("`{name}` must be a list"))
                .found(node.quoted())
                .allowed(list_in_words(least, most))
                .next("Begin each entry with `- `, or write the list in brackets."),
        );
        return;
    };
    if items.len() < least || items.len() > most {
        let what = if items.is_empty() {
            format!("`{name}` is empty")
        } else {
            format!("`{name}` has too {} entries", if items.len() < least { "few" } else { "many" })
        };
        problems.push(
            Problem::error(&node.place, what)
                .found(format!("{} entries", items.len()))
                .allowed(list_in_words(least, most)),
        );
    }
    items.iter().take(most).for_each(|value| check(value, item, name, problems));
}

fn list_in_words(least: usize, most: usize) -> String {
    format!("a list of {least} to {most} entries")
}

/// The entries of a map, or a problem.
fn entries<'a>(
    node: &'a Node,
    name: &str,
    allowed: impl FnOnce() -> String,
    problems: &mut Problems,
) -> Option<&'a [(Node, Node)]> {
    if let Value::Map(entries) = &node.value {
        return Some(entries);
    }
    let what = match node.value {
        Value::Nothing => format!("`{name}` is empty"),
        _ => format!("`{name}` must be a map of keys"),
    };
    problems.push(Problem::error(&node.place, what).found(node.quoted()).allowed(allowed()));
    None
}

/// Reports keys that stand twice.
fn check_repeats(entries: &[(Node, Node)], problems: &mut Problems) {
    let mut first_lines = std::collections::BTreeMap::<&str, usize>::new();
    for (key, _) in entries {
        let spelling = key.spelling();
        if matches!(key.value, Value::List(_) | Value::Map(_)) {
            continue; // No key of any shape; that is reported elsewhere.
        }
        if let Some(line) = first_lines.get(spelling) {
            problems.push(
                Problem::error(&key.place, format!("the key `{spelling}` is given twice"))
                    .next(format!("It stands on line {line} already; keep one of them.")),
            );
        } else {
            first_lines.insert(spelling, key.place.line);
        }
    }
}

fn check_map(node: &Node, shape: &'static Shape, name: &str, problems: &mut Problems) {
    let Some(entries) = entries(node, name, || format!("the keys {}", shape.keys()), problems) else {
        return;
    };
    check_repeats(entries, problems);
    let mut misspelt = Vec::new();
    for (key, value) in entries {
        match shape.field(key.spelling()) {
            Some(field) => check(value, &field.kind, field.key, problems),
            None => {
                let near = unknown_key(key, shape, problems);
                misspelt.extend(near);
            }
        }
    }
    let given = |key: &str| entries.iter().any(|(k, _)| k.spelling() == key);
    // A key that is there in a wrong spelling is not reported as missing on top of that.
    let there = |key: &str| given(key) || misspelt.contains(&key);
    for field in shape.fields.iter().filter(|f| f.absent == Absent::Refused && !there(f.key)) {
        problems.push(
            Problem::error(&node.place.start(), format!("{} needs the key `{}`", shape.what, field.key))
                .next(format!("Add `{}`: {}.", field.key, field.meaning)),
        );
    }
    for set in shape.exactly_one {
        if !set.iter().any(|key| there(key)) {
            problems.push(
                Problem::error(
                    &node.place.start(),
                    format!("{} needs one of the keys {}", shape.what, ticked(set)),
                )
                .allowed("exactly one of them"),
            );
        }
    }
    for set in shape.exactly_one.iter().chain(shape.at_most_one) {
        let both: Vec<&(Node, Node)> =
            entries.iter().filter(|(key, _)| set.contains(&key.spelling())).collect();
        if let [first, .., last] = both.as_slice()
            && first.0.spelling() != last.0.spelling()
        {
            let what = format!("`{}` and `{}` exclude each other", first.0.spelling(), last.0.spelling());
            problems.push(Problem::error(&last.0.place, what).allowed(format!("one of {}", ticked(set))));
        }
    }
}

/// Reports a key that does not exist; gives back the key that was probably meant.
fn unknown_key(key: &Node, shape: &Shape, problems: &mut Problems) -> Option<&'static str> {
    let spelling = key.spelling();
    let shown = if spelling.is_empty() { key.kind_word() } else { spelling };
    let near = nearest(spelling, shape.fields.iter().map(|field| field.key));
    let mut problem = Problem::error(&key.place, format!("{} has no key `{}`", shape.what, shortened(shown)))
        .allowed(shape.keys());
    if let Some(near) = near {
        problem = problem.next(format!("Did you mean `{near}`?"));
    } else if spelling == "<<" {
        problem = problem.next("Merge keys are not used in these files; write the keys out.");
    }
    problems.push(problem);
    near
}

fn ticked(keys: &[&str]) -> String {
    keys.iter().map(|key| format!("`{key}`")).collect::<Vec<_>>().join(", ")
}

fn check_one_of(node: &Node, shape: &'static Shape, name: &str, problems: &mut Problems) {
    let allowed = || format!("exactly one of {}", shape.keys());
    let Some(entries) = entries(node, name, allowed, problems) else {
        return;
    };
    check_repeats(entries, problems);
    for (key, value) in entries {
        match shape.field(key.spelling()) {
            Some(field) => check(value, &field.kind, field.key, problems),
            None => {
                unknown_key(key, shape, problems);
            }
        }
    }
    if let Some((second, _)) = entries.get(1) {
        problems.push(
            Problem::error(&second.place, format!("{} takes exactly one key", shape.what))
                .found(format!("`{}` after `{}`", second.spelling(), entries[0].0.spelling()))
                .allowed(allowed())
                .next("If it is an entry of a list, begin it with its own `- `; if it belongs to the key before, indent it more."),
        );
    }
    if entries.is_empty() {
        problems.push(Problem::error(&node.place, format!("`{name}` is empty")).allowed(allowed()));
    }
}

fn check_by_wavelength(node: &Node, item: &Kind, name: &str, problems: &mut Problems) {
    let Some(entries) = entries(node, name, || "{nm: value, …}".to_owned(), problems) else {
        return;
    };
    check_repeats(entries, problems);
    if entries.is_empty() || entries.len() > MOST_ENTRIES {
        problems.push(
            Problem::error(&node.place, format!("`{name}` has {} wavelengths", entries.len()))
                .allowed(format!("1 to {MOST_ENTRIES}")),
        );
    }
    for (key, value) in entries.iter().take(MOST_ENTRIES) {
        check_number(key, &WAVELENGTH_NM, "wavelength", problems);
        check(value, item, name, problems);
    }
}

fn check_blend(node: &Node, name: &str, problems: &mut Problems) {
    let Value::List(items) = &node.value else {
        check_text(node, name, problems);
        return;
    };
    let before = problems.errors();
    if items.is_empty() || items.len() > MOST_ENTRIES {
        problems.push(Problem::error(&node.place, format!("`{name}` names no fibre")));
    }
    let mut total = 0.0;
    for part in items.iter().take(MOST_ENTRIES) {
        match &part.value {
            Value::Map(entries) if entries.len() == 1 => {
                let (fibre, share) = &entries[0];
                check_text(fibre, name, problems);
                check_number(share, &SHARE_PERCENT, fibre.spelling(), problems);
                if let Value::Number(number) = share.value {
                    total += number;
                }
            }
            _ => problems.push(
                Problem::error(&part.place, format!("each part of `{name}` is one fibre with its share"))
                    .found(part.quoted())
                    .allowed("{wool: 70}"),
            ),
        }
    }
    if problems.errors() == before && (total - 100.0).abs() > SHARES_ROUNDING_PERCENT {
        problems.push(
            Problem::error(&node.place, format!("the shares of `{name}` do not add up"))
                .found(format!("{} percent in all", rounded(total)))
                .allowed("100 percent in all"),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Field;
    use crate::reading::parse;

    static INNER: Shape = Shape {
        what: "a strip",
        fields: &[
            Field::must("pitch_mm", Kind::Number(Limits::new(0.1, 1000.0, "mm")), "distance of the pixels"),
            Field::may("count", Kind::Whole(Limits::new(1.0, 100.0, "")), Absent::Number(1.0), "how many"),
            Field::may("colour", Kind::Colour, Absent::Open, "colour"),
            Field::may("colours", Kind::List(&Kind::Colour, 1, 3), Absent::Open, "colours"),
            Field::may("fibre", Kind::Blend, Absent::Open, "fibre"),
            Field::may("order", Kind::Choice(&["zigzag", "same_way"]), Absent::Text("zigzag"), "order"),
        ],
        exactly_one: &[],
        at_most_one: &[&["colour", "colours"]],
    };

    fn problems(text: &str) -> Vec<String> {
        let mut problems = Problems::default();
        check(&parse(text).expect("YAML"), &Kind::Map(&INNER), "strip", &mut problems);
        problems
            .into_diagnostics("f", text)
            .into_iter()
            .map(|d| {
                let place = format!("{}:{} ", d.line.unwrap_or(0), d.column.unwrap_or(0));
                let more = [d.found, d.next].map(|x| x.map_or(String::new(), |x| format!(" | {x}")));
                place + &d.what + &more.concat()
            })
            .collect()
    }

    #[test]
    fn all_at_once_with_places() {
        let found = problems("pitch_cm: 1.6\ncount: 2.5\ncolour: \"#12345\"\norder: zigzg\ncount: 3\n");
        assert_eq!(
            found,
            [
                "1:1 a strip has no key `pitch_cm` | Did you mean `pitch_mm`?",
                "2:8 `count` must be a whole number | 2.5",
                "3:9 `colour` is not a colour | \"#12345\"",
                "4:8 there is no order `zigzg` | zigzg | Did you mean `zigzag`?",
                "5:1 the key `count` is given twice | It stands on line 2 already; keep one of them.",
            ]
        );
    }

    #[test]
    fn numbers() {
        let what = |value: &str| problems(&format!("pitch_mm: {value}\n")).join("; ");
        assert_eq!(what("16.67"), "");
        assert_eq!(what("1e1"), "");
        assert_eq!(what(".nan"), "1:11 `pitch_mm` is not a number | .nan");
        assert_eq!(what("-.inf"), "1:11 `pitch_mm` must be finite | -.inf");
        assert_eq!(what("1e999"), "1:11 `pitch_mm` must be finite | 1e999");
        assert_eq!(what("-3"), "1:11 `pitch_mm` must not be negative | -3");
        assert_eq!(what("0"), "1:11 `pitch_mm` is too small | 0");
        assert_eq!(what("1e6"), "1:11 `pitch_mm` is too large | 1e6");
        assert_eq!(
            what("1.6 cm"),
            "1:11 `pitch_mm` must be a number | 1.6 cm | Write the bare number in mm: 16"
        );
        assert_eq!(
            what("16,67"),
            "1:11 `pitch_mm` must be a number | 16,67 | Write it without quotes and with a decimal point: 16.67"
        );
        assert_eq!(what("true"), "1:11 `pitch_mm` must be a number | true");
        assert_eq!(what("[1]"), "1:11 `pitch_mm` must be a number | a list");
        assert_eq!(what(""), "1:9 `pitch_mm` must be a number | nothing");
    }

    #[test]
    fn sets_of_keys_and_blends() {
        assert_eq!(
            problems("count: 3"),
            ["1:1 a strip needs the key `pitch_mm` | Add `pitch_mm`: distance of the pixels."]
        );
        assert_eq!(
            problems("{pitch_mm: 1, colour: \"#000000\", colours: [\"#000000\"]}"),
            ["1:34 `colour` and `colours` exclude each other"]
        );
        assert!(problems("{pitch_mm: 1, fibre: [{wool: 67}, {polyester: 33}]}").is_empty());
        assert!(problems("{pitch_mm: 1, fibre: wool}").is_empty());
        assert_eq!(
            problems("{pitch_mm: 1, fibre: [{wool: 60}, {polyester: 33}]}"),
            ["1:22 the shares of `fibre` do not add up | 93 percent in all"]
        );
    }
}
