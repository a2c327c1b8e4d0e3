//! Lists of places: a CSV file with a line for each pixel, read and written.
//!
//! ```text
//! index,x_mm,y_mm,turn_deg,group
//! 0,0,0,0,0
//! 1,16.67,0,0,0
//! ```
//!
//! The first line names the columns, in any order; `turn_deg` and `group` may be missing. Numbers have a decimal point, columns
//! commas between them; the index rises by one from line to line, from 0 or 1. What is written reads back as the same places.

use super::layout::Place;
use crate::diagnose::{Place as FilePlace, Problem, Problems, nearest, shortened};
use crate::quantity::Millimetres;
use crate::reading::Limits;
use crate::scene::shape::{ANGLE_DEG, MOST_PIXELS, POSITION_MM};
use std::fmt::Write;

/// The columns in the order in which they are written.
pub const COLUMNS: [&str; 5] = ["index", "x_mm", "y_mm", "turn_deg", "group"];
/// Columns that must be there.
const NEEDED: usize = 3;
/// Group numbers in a list only have to be whole: reading makes one group of all.
const GROUP: Limits = Limits::new(0.0, 1e9, "");

/// One line of the file with where it stands.
struct Line<'a> {
    number: usize,
    start: usize,
    text: &'a str,
}

impl<'a> Line<'a> {
    /// The columns of the line, without blanks and quotation marks around them, and their bytes in the file.
    fn cells(&self) -> impl Iterator<Item = (&'a str, std::ops::Range<usize>)> {
        let mut at = self.start;
        self.text.split(',').map(move |cell| {
            let inside = cell.trim().trim_matches('"').trim();
            let from = at + cell.find(inside).unwrap_or(0);
            at += cell.len() + 1;
            (inside, from..from + inside.len())
        })
    }

    fn place(&self, bytes: std::ops::Range<usize>) -> FilePlace {
        let before = self.text.get(..bytes.start.saturating_sub(self.start)).unwrap_or("");
        FilePlace { line: self.number, column: before.chars().count() + 1, bytes }
    }

    fn whole(&self) -> FilePlace {
        self.place(self.start..self.start + self.text.len())
    }
}

fn lines(text: &str) -> impl Iterator<Item = Line<'_>> {
    let mut start = 0;
    text.split('\n').enumerate().filter_map(move |(i, whole)| {
        let line = Line { number: i + 1, start, text: whole.strip_suffix('\r').unwrap_or(whole) };
        start += whole.len() + 1;
        (!line.text.trim().is_empty()).then_some(line)
    })
}

/// Reads the text of a list. `None` after an error was reported.
pub fn read(text: &str, problems: &mut Problems) -> Option<Vec<Place>> {
    let errors = problems.errors();
    let mut lines = lines(text);
    let Some(header) = lines.next() else {
        let place = FilePlace { line: 1, column: 1, bytes: 0..0 };
        problems.push(
            Problem::error(&place, "the list is empty")
                .allowed(format!("a first line that names the columns, such as {}", COLUMNS.join(","))),
        );
        return None;
    };
    let order = columns(&header, problems)?;
    let mut places = Vec::new();
    let mut first = None;
    for line in lines {
        if places.len() == MOST_PIXELS {
            problems.push(
                Problem::error(&line.whole(), "the list has too many lines")
                    .allowed(format!("at most {MOST_PIXELS} pixels")),
            );
            return None;
        }
        let Some(values) = values(&line, &order, problems) else {
            places.push(None);
            continue;
        };
        let index = values[0] as usize;
        let first = *first.get_or_insert(if index == 1 { 1 } else { 0 });
        let expected = first + places.len();
        if index != expected {
            problems.push(
                Problem::error(&line.whole(), format!("the index on this line should be {expected}"))
                    .found(format!("index {index}"))
                    .next("Number the lines one after another, from 0 or 1."),
            );
            return None;
        }
        let [x, y] = [values[1], values[2]];
        places.push(Some(Place { at: [Millimetres(x), Millimetres(y)], turn_rad: values[3].to_radians() }));
    }
    if places.is_empty() {
        problems.push(
            Problem::error(&header.whole(), "the list names no pixels")
                .next("Add a line for each pixel below the names of the columns."),
        );
    }
    if problems.errors() > errors {
        return None;
    }
    places.into_iter().collect()
}

/// Which of [`COLUMNS`] stands at which place.
fn columns(header: &Line<'_>, problems: &mut Problems) -> Option<Vec<usize>> {
    let errors = problems.errors();
    let allowed = || format!("{}; {} must be there", COLUMNS.join(", "), COLUMNS[..NEEDED].join(", "));
    let mut order = Vec::new();
    for (name, bytes) in header.cells() {
        let known = COLUMNS.iter().position(|column| *column == name.to_lowercase());
        let twice = known.is_some_and(|column| order.contains(&column));
        if let (Some(column), false) = (known, twice) {
            order.push(column);
            continue;
        }
        let what = if twice { "stands twice" } else { "is not known" };
        let mut problem =
            Problem::error(&header.place(bytes), format!("the column `{}` {what}", shortened(name)))
                .allowed(allowed());
        if name.contains(';') || name.contains('\t') {
            problem =
                problem.next("Save the list with commas between the columns and points in the numbers.");
        } else if let (Some(near), false) = (nearest(name, COLUMNS), twice) {
            problem = problem.next(format!("Did you mean `{near}`?"));
        }
        problems.push(problem);
    }
    // A name that is wrong is not reported as missing on top of that.
    if problems.errors() == errors {
        for name in
            COLUMNS.iter().take(NEEDED).enumerate().filter(|(i, _)| !order.contains(i)).map(|(_, name)| name)
        {
            problems.push(
                Problem::error(&header.whole(), format!("the column `{name}` is missing"))
                    .allowed(allowed())
                    .next("Name the columns in the first line."),
            );
        }
    }
    (problems.errors() == errors).then_some(order)
}

/// The numbers of a line in the order of [`COLUMNS`]; 0 for a column that is left out.
fn values(line: &Line<'_>, order: &[usize], problems: &mut Problems) -> Option<[f64; COLUMNS.len()]> {
    let limits = [Limits::new(0.0, MOST_PIXELS as f64, ""), POSITION_MM, POSITION_MM, ANGLE_DEG, GROUP];
    let count = line.cells().count();
    if count != order.len() {
        problems.push(
            Problem::error(&line.whole(), "this line does not have as many columns as the first")
                .found(format!("{count} columns"))
                .allowed(format!("{} columns", order.len()))
                .next("Put commas between the columns only, and points in the numbers."),
        );
        return None;
    }
    let mut values = [0.0; COLUMNS.len()];
    let mut sound = true;
    for ((cell, bytes), &column) in line.cells().zip(order) {
        let (name, limits) = (COLUMNS[column], limits[column]);
        let whole = column == 0 || column == COLUMNS.len() - 1;
        match cell.parse::<f64>() {
            Ok(number) if limits.contain(number) && (!whole || number.fract() == 0.0) => {
                values[column] = number
            }
            parsed => {
                let what = match parsed {
                    Ok(number) if number.is_finite() && !limits.contain(number) => "is out of range",
                    Ok(number) if number.is_finite() => "must be a whole number",
                    _ => "must be a number",
                };
                let place = line.place(bytes);
                problems.push(
                    Problem::error(&place, format!("`{name}` {what}")).found(cell).allowed(limits.in_words()),
                );
                sound = false;
            }
        }
    }
    sound.then_some(values)
}

/// Writes places with the group that each belongs to, in wiring order.
#[must_use]
pub fn csv(places: impl IntoIterator<Item = (Place, usize)>) -> String {
    let mut text = COLUMNS.join(",") + "\n";
    for (index, (place, group)) in places.into_iter().enumerate() {
        let [x, y] = place.at.map(|v| v.0);
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{index},{x},{y},{},{group}", degrees(place.turn_rad));
    }
    text
}

/// An angle as degrees from -180 to 180.
fn degrees(angle_rad: f64) -> f64 {
    let degrees = angle_rad.to_degrees();
    if degrees.abs() <= 180.0 {
        return degrees;
    }
    let turn = degrees.rem_euclid(360.0);
    if turn > 180.0 { turn - 360.0 } else { turn }
}

#[cfg(test)]
mod tests;
