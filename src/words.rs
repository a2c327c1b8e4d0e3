//! Numbers and paragraphs as every text of the program has them.

/// Shares below this one are not told apart: no eye sees them beside the room's light, and no label knows them.
pub const LEAST_SHARE: f64 = 1e-4;

/// Three significant digits.
#[must_use]
pub fn three_digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let decimals = (2.0 - value.abs().log10().floor()).clamp(0.0, 12.0) as usize;
    let scale = 10f64.powf(value.abs().log10().floor() - 2.0);
    if decimals == 0 {
        format!("{:.0}", (value / scale).round() * scale)
    } else {
        format!("{value:.decimals$}")
    }
}

/// A share in per cent.
#[must_use]
pub fn percent(share: f64) -> String {
    if share >= 0.1 {
        format!("{:.0} %", 100.0 * share)
    } else if share >= LEAST_SHARE || share == 0.0 {
        format!("{} %", three_digits(100.0 * share))
    } else {
        format!("under {} %", 100.0 * LEAST_SHARE)
    }
}

/// A paragraph in lines that fit a window; what continues an item of a list stands under its words.
#[must_use]
pub fn folded(paragraph: &str) -> Vec<String> {
    /// Characters in a line; tables are narrower.
    const WIDTH: usize = 100;
    if paragraph.chars().count() <= WIDTH {
        return vec![paragraph.to_owned()];
    }
    let indent = if paragraph.starts_with("- ") { "  " } else { "" };
    let mut lines = vec![String::new()];
    for word in paragraph.split_whitespace() {
        let last = lines.len() - 1;
        if lines[last].chars().count() + 1 + word.chars().count() > WIDTH && !lines[last].trim().is_empty() {
            lines.push(format!("{indent}{word}"));
        } else if lines[last].is_empty() {
            lines[last].push_str(word);
        } else {
            lines[last].push(' ');
            lines[last].push_str(word);
        }
    }
    lines
}

/// With a capital at its beginning.
#[must_use]
pub fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
