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

/// Three significant digits at most: without zeros at the end of decimals.
#[must_use]
pub fn at_most_three_digits(value: f64) -> String {
    let digits = three_digits(value);
    if digits.contains('.') { digits.trim_end_matches('0').trim_end_matches('.').to_owned() } else { digits }
}

/// Two significant digits at most.
#[must_use]
pub fn two_digits(value: f64) -> String {
    if value <= 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let scale = 10f64.powf(value.log10().floor() - 1.0);
    format!("{}", ((value / scale).round() * scale * 1e6).round() / 1e6)
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

/// A text in lines that fit, broken at spaces (not at non-breaking ones) where possible, within words where not.
#[must_use]
pub fn wrapped(text: &str, fits: impl Fn(&str) -> bool) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split([' ', '\n', '\t']).filter(|word| !word.is_empty()) {
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if fits(&longer) {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for letter in word.chars() {
            if !line.is_empty() && !fits(&format!("{line}{letter}")) {
                lines.push(std::mem::take(&mut line));
            }
            line.push(letter);
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// With a capital at its beginning.
#[must_use]
pub fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// Rows of cells as lines whose columns stand below each other; `to_the_right` says of each column whether its cells end together.
#[must_use]
pub fn aligned(rows: &[Vec<String>], to_the_right: &[bool]) -> Vec<String> {
    let width =
        |column: usize| rows.iter().filter_map(|row| row.get(column)).map(|c| c.chars().count()).max();
    let widths: Vec<usize> = (0..to_the_right.len()).map(|column| width(column).unwrap_or(0)).collect();
    let line = |row: &Vec<String>| {
        let cells = row.iter().zip(&widths).zip(to_the_right).map(|((cell, &width), &right)| {
            if right { format!("{cell:>width$}") } else { format!("{cell:<width$}") }
        });
        cells.collect::<Vec<_>>().join("  ").trim_end().to_owned()
    };
    rows.iter().map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_so_many_digits_and_no_idle_zeros() {
        let two = [(1234.0, "1200"), (9.96, "10"), (0.012_34, "0.012"), (7.0, "7"), (0.0, "0")];
        assert_eq!(two.map(|(value, _)| two_digits(value)), two.map(|(_, words)| words));
        let three = [(1234.0, "1230"), (2.0, "2"), (0.05, "0.05"), (16.67, "16.7"), (0.0, "0")];
        assert_eq!(three.map(|(value, _)| at_most_three_digits(value)), three.map(|(_, words)| words));
    }

    #[test]
    fn lines_break_at_spaces_and_within_long_words() {
        let lines = wrapped("a bc\u{a0}d efghijk", |line| line.chars().count() <= 4);
        assert_eq!(lines, ["a", "bc\u{a0}d", "efgh", "ijk"]);
    }

    #[test]
    fn columns_stand_below_each_other() {
        let rows =
            [["gap", "look"], ["3 mm", "weiß"], ["12 mm", ""]].map(|row| row.map(str::to_owned).to_vec());
        assert_eq!(aligned(&rows, &[true, false]), ["  gap  look", " 3 mm  weiß", "12 mm"]);
    }
}
