//! The comparison in words: a table and the verdict.

use super::Found;
use crate::choose::compare::contact::below_in_words;
use crate::choose::compare::filter::{Filter, Filtered};
use crate::choose::compare::verdict::nearest_in_words;
use crate::choose::compare::words::{self, Varied, digits, ranged};
use crate::choose::compare::{Order, Row};
use crate::judge::numbers::Range;
use crate::words::aligned;

/// What to do where dots show behind every cloth.
const AGAINST_DOTS: &str = "Against dots a wider gap (--gap-mm takes several) does more than another cloth, and so do pixels closer \
                            together or a viewer farther off (--distance-m).";

pub(super) fn in_words(found: &Found<'_>) -> String {
    let mut lines: Vec<String> = Vec::new();
    if found.rows().is_empty() {
        lines.push(format!(
            "Nothing is left of {} candidates; no picture was drawn.",
            found.filtered.removed.len()
        ));
        lines.extend(filters(&found.filtered, found.verdict.varied));
        lines.extend(nearest(&found.filtered, found.verdict.varied));
        let all = found.filtered.removed.len();
        let dots =
            |filter: &Filter| matches!(filter, Filter::NoDotsAt(_)) && found.filtered.missing(*filter) == all;
        lines.extend(found.filtered.filters.iter().any(dots).then(|| AGAINST_DOTS.to_owned()));
        return lines.join("\n");
    }
    lines.extend(written(found));
    lines.extend(below_in_words(&found.job.scene, &found.job.wanted));
    lines.extend(found.job.scene.uneven_in_words());
    lines.push(String::new());
    lines.extend(table(found));
    lines.push(String::new());
    lines.extend(filters(&found.filtered, found.verdict.varied));
    lines.extend(prices(found));
    lines.extend(found.verdict.in_words(found.rows(), found.order));
    if found.verdict.dots_show_everywhere() {
        lines.push(AGAINST_DOTS.to_owned());
    }
    lines.join("\n")
}

/// What was written.
fn written(found: &Found<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(sheet) = &found.sheet {
        let all = found.rows().len();
        let left_out = all - sheet.cells;
        let shows = if left_out == 0 {
            String::new()
        } else {
            format!(
                " It shows the first {} of {all}; {left_out} are left out of it, not out of the table.",
                sheet.cells
            )
        };
        lines.push(format!(
            "Wrote {}, all at {} (ISO 100).{shows}",
            found.job.target.display(),
            sheet.exposure
        ));
    }
    lines.extend(found.job.csv.iter().map(|path| format!("Wrote {}.", path.display())));
    lines
}

/// One column: its heading, whether it stands to the right, and what it says of a row.
type Column<'a> = (&'static str, bool, Box<dyn Fn(usize, &Row) -> String + 'a>);

fn columns<'a>(found: &'a Found<'_>) -> Vec<Column<'a>> {
    let varied = found.verdict.varied;
    let mut columns: Vec<Column<'a>> = vec![
        ("no.", true, Box::new(|i, _| format!("{}", i + 1))),
        ("cloth", false, Box::new(|_, row| words::one_line(&row.candidate.cloth.name))),
    ];
    if varied.layers {
        columns.push(("layers", true, Box::new(|_, row| format!("{}", row.candidate.layers))));
    }
    if varied.gaps {
        columns.push(("gap", true, Box::new(|_, row| words::millimetres(row.candidate.gap.0))));
    }
    columns.push(("look", false, Box::new(|_, row| words::look_of(&row.judged.value).to_owned())));
    columns.push((
        "× threshold",
        true,
        Box::new(|_, row| some(row.judged.range_of(|n| n.dot_visibility), digits)),
    ));
    columns.push((
        "none beyond m",
        true,
        Box::new(|_, row| {
            row.judged.range_of(|n| n.dots_vanish_m).map_or_else(String::new, words::metres_ranged)
        }),
    ));
    columns.push((
        "light kept %",
        true,
        Box::new(|_, row| ranged(row.judged.range(|n| n.light_kept), words::per_cent)),
    ));
    columns.push(("thick", true, Box::new(|_, row| words::millimetres(row.judged.value.thickness_mm))));
    columns.push(("mean cd/m2", true, Box::new(|_, row| ranged(row.judged.range(|n| n.mean_cd_m2), digits))));
    columns.push((
        "colour shift",
        true,
        Box::new(|_, row| some(row.judged.range_of(|n| n.colour_shift), whole)),
    ));
    if found.rows().iter().any(|row| row.candidate.price_per_m().is_some()) {
        columns.push((
            "price",
            true,
            Box::new(|_, row| {
                row.candidate.price_per_m().map_or_else(|| "?".to_owned(), |p| format!("{p:.2}"))
            }),
        ));
    }
    columns.push(("grade", false, Box::new(|i, _| found.verdict.graded[i].grade.word().to_owned())));
    columns
}

fn some(range: Option<Range>, tell: fn(f64) -> String) -> String {
    range.map_or_else(String::new, |range| ranged(range, tell))
}

fn whole(value: f64) -> String {
    format!("{value:.0}")
}

fn table(found: &Found<'_>) -> Vec<String> {
    let columns = columns(found);
    let mut grid: Vec<Vec<String>> =
        vec![columns.iter().map(|(heading, ..)| (*heading).to_owned()).collect()];
    for (i, row) in found.rows().iter().enumerate() {
        grid.push(columns.iter().map(|(_, _, tell)| tell(i, row)).collect());
    }
    let right: Vec<bool> = columns.iter().map(|(_, right, _)| *right).collect();
    aligned(&grid, &right)
}

/// What each filter took out, and where it is open whether it should.
fn filters(filtered: &Filtered, varied: Varied) -> Vec<String> {
    let all = filtered.kept.len() + filtered.removed.len();
    let mut lines = Vec::new();
    for &filter in &filtered.filters {
        lines.push(format!("Wanted: {}. {} of {all} miss it.", filter.in_words(), filtered.missing(filter)));
        let [kept, removed] = filtered.open(filter);
        for (rows, what) in [(kept, "meet it only"), (removed, "miss it only")] {
            if !rows.is_empty() {
                let names: Vec<String> = rows.iter().map(|row| varied.name(row)).collect();
                lines.push(format!(
                    "  These {what} by their middle value, their range crosses it: {}.",
                    names.join("; ")
                ));
            }
        }
    }
    if filtered.filters.len() > 1 && !filtered.removed.is_empty() {
        lines.push(format!(
            "Taken out altogether: {} of {all}; one may miss several.",
            filtered.removed.len()
        ));
    }
    if !lines.is_empty() && !filtered.kept.is_empty() {
        lines.push(String::new());
    }
    lines
}

fn nearest(filtered: &Filtered, varied: Varied) -> Option<String> {
    filtered.nearest().map(|removed| format!("What comes nearest is {}", nearest_in_words(removed, varied)))
}

fn prices(found: &Found<'_>) -> Option<String> {
    const HOW: &str = "To add one, copy the cloth's file, write `buying: {price_per_m: 12.50}` into it, and name the file with --cloth.";
    let unknown = found.rows().iter().filter(|row| row.candidate.price_per_m().is_none()).count();
    if found.without_prices {
        return Some(format!("No cloth here has a price, so the order is by dots. {HOW}\n"));
    }
    (found.order == Order::Price && unknown > 0)
        .then(|| format!("{unknown} of {} have no price and stand last. {HOW}\n", found.rows().len()))
}
