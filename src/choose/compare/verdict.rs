//! Which to buy and which to leave: grades with their reasons, and how sure they are.
//!
//! A grade is a set of plain rules over the numbers that matter ([`Standard`]), no score: every bound is named and told with the
//! verdict. How sure a grade is, is the share of the samples of what the cloths' descriptions leave open in which the same grade
//! comes out; the pixels' own spread is not part of it.

use super::filter::Filter;
use super::words::{self, Varied, percent};
use super::{Order, Row, told_apart};
use crate::cloth::Basis;
use crate::judge::bare_light::SEEN_BARE;
use crate::judge::numbers::Numbers;
use crate::judge::softness::{SMOOTH_BELOW, SOFT_UP_TO};

/// Below this share of the light kept a cloth eats the light: the garment needs ten times the current of a bare one. This
/// project's own bound.
pub const LEAST_LIGHT: f64 = 0.1;
/// From this colour shift (CIEDE2000) on the light reads as another colour; about 1 is just seen side by side (common practice,
/// no source). This project's own bound.
pub const MOST_COLOUR_SHIFT: f64 = 15.0;
/// Thicker than this, a garment stands off the body like a cushion: common practice, no source.
pub const MOST_THICK_MM: f64 = 30.0;
/// Below this contrast the cloth in the room's light is brighter than the glow.
pub const LEAST_CONTRAST: f64 = 1.0;
/// A grade that fewer of the samples bear out than this is called unsure. This project's own bound.
const SURE_SHARE: f64 = 0.75;

/// What is asked of a good cloth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standard {
    /// Viewing distance in m at which no dots may show.
    pub distance_m: f64,
    /// Whether that distance is a want of its own: then dots must not show from farther off either.
    pub from_there_on: bool,
    /// Least share of the light kept.
    pub least_light: f64,
    /// Greatest thickness in mm.
    pub most_mm: f64,
}

impl Standard {
    /// The usual bounds, with the wants in place of those that they speak of.
    #[must_use]
    pub fn of(distance_m: f64, wants: &[Filter]) -> Standard {
        let usual =
            Standard { distance_m, from_there_on: false, least_light: LEAST_LIGHT, most_mm: MOST_THICK_MM };
        wants.iter().fold(usual, |standard, want| match *want {
            Filter::AtLeastLight(least_light) => Standard { least_light, ..standard },
            Filter::NoDotsAt(distance_m) => Standard { distance_m, from_there_on: true, ..standard },
            Filter::AtMostMm(most_mm) => Standard { most_mm, ..standard },
        })
    }

    /// What is good, in words.
    #[must_use]
    pub fn in_words(&self) -> String {
        format!(
            "no dots from {} m, at least {} of the light kept, colour shift at most {MOST_COLOUR_SHIFT} (CIEDE2000), at most {} mm \
             thick, brighter than the cloth in the room's light",
            self.distance_m,
            percent(self.least_light),
            self.most_mm
        )
    }

    /// Grade of numbers, and what speaks against.
    #[must_use]
    pub fn grade(&self, numbers: &Numbers) -> (Grade, Vec<Reason>) {
        let smooth = match (self.from_there_on, numbers.dot_visibility, numbers.dots_vanish_m) {
            (true, _, Some(vanish)) => vanish <= self.distance_m,
            (_, Some(visibility), _) => visibility < SMOOTH_BELOW,
            // Single lights have no dots to melt.
            _ => true,
        };
        let soft = smooth || (!self.from_there_on && numbers.dot_visibility.is_some_and(|v| v <= SOFT_UP_TO));
        let against = [
            (!soft, Reason::DotsShow),
            (numbers.light_kept < self.least_light, Reason::EatsLight),
            (numbers.contrast_with_room < LEAST_CONTRAST, Reason::WashedOut),
            (numbers.colour_shift.is_some_and(|shift| shift > MOST_COLOUR_SHIFT), Reason::ChangesColour),
            (numbers.thickness_mm > self.most_mm, Reason::TooThick),
        ];
        let reasons: Vec<Reason> =
            against.into_iter().filter(|(holds, _)| *holds).map(|(_, reason)| reason).collect();
        match (reasons.is_empty(), smooth) {
            (true, true) => (Grade::Good, reasons),
            (true, false) => (Grade::Soft, reasons),
            (false, _) => (Grade::Avoid, reasons),
        }
    }
}

/// What a cloth is for a scene.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grade {
    /// All that is asked.
    Good,
    /// All but for dots that have melted into each other and can still be found.
    Soft,
    /// Something speaks against it.
    Avoid,
}

impl Grade {
    /// Its word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Grade::Good => "good",
            Grade::Soft => "nearly",
            Grade::Avoid => "avoid",
        }
    }
}

/// What speaks against a cloth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reason {
    /// Dots show from the viewing distance.
    DotsShow,
    /// Too little light gets through.
    EatsLight,
    /// The room's light on the cloth outshines the glow.
    WashedOut,
    /// The light comes out in another colour.
    ChangesColour,
    /// The whole is thick.
    TooThick,
}

impl Reason {
    /// In words, for a cloth through which this share of the light comes straight.
    #[must_use]
    pub fn in_words(self, straight: f64) -> &'static str {
        match self {
            Reason::DotsShow if straight > SEEN_BARE => "the pixels are seen through it",
            Reason::DotsShow => "dots still show",
            Reason::EatsLight => "eats the light",
            Reason::WashedOut => "fades in the room's light",
            Reason::ChangesColour => "changes the colour",
            Reason::TooThick => "too thick",
        }
    }
}

/// A grade with its reasons.
#[derive(Clone, Debug, PartialEq)]
pub struct Graded {
    /// The grade for the cloth as it is described.
    pub grade: Grade,
    /// What speaks against it.
    pub reasons: Vec<Reason>,
    /// In how many samples the same grade comes out, of how many; `None` where the cloth's file states no uncertainty.
    pub sure: Option<[usize; 2]>,
}

impl Graded {
    /// Grades a row. What is as good or better in a sample counts for a good or soft one.
    #[must_use]
    pub fn of(row: &Row, standard: &Standard) -> Graded {
        let (grade, reasons) = standard.grade(&row.judged.value);
        let samples = &row.judged.samples;
        let same = |numbers: &&Numbers| match (grade, standard.grade(numbers).0) {
            (Grade::Avoid, found) => found == Grade::Avoid,
            (grade, found) => found <= grade,
        };
        let sure = (!samples.is_empty()).then(|| [samples.iter().filter(same).count(), samples.len()]);
        Graded { grade, reasons, sure }
    }

    /// The reasons in words: `eats the light, too thick`.
    #[must_use]
    pub fn reasons_in_words(&self, row: &Row) -> String {
        self.reasons.iter().map(|reason| reason.in_words(row.straight)).collect::<Vec<_>>().join(", ")
    }

    /// Whether at least three of four samples agree, or nothing is left open.
    #[must_use]
    pub fn is_sure(&self) -> bool {
        self.sure.is_none_or(|[same, all]| same as f64 >= SURE_SHARE * all as f64)
    }

    /// How sure, in words: `22 of 24`.
    #[must_use]
    pub fn sure_in_words(&self) -> String {
        match self.sure {
            Some([same, all]) if self.is_sure() => format!("{same} of {all}"),
            Some([same, all]) => format!("unsure: {same} of {all}"),
            None => "no uncertainty stated".to_owned(),
        }
    }

    /// Grade and reasons in words: `avoid: eats the light`.
    #[must_use]
    pub fn in_words(&self, row: &Row) -> String {
        match self.grade {
            Grade::Good => "good".to_owned(),
            Grade::Soft => "nearly: dots can be found".to_owned(),
            Grade::Avoid => format!("avoid: {}", self.reasons_in_words(row)),
        }
    }
}

/// The verdict: what to buy, what to leave, and how sure.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// What was asked.
    pub standard: Standard,
    /// Grade of each row.
    pub graded: Vec<Graded>,
    /// The rows of the best grade that occurs which cannot be told from the first of that grade in what they are ordered by, that
    /// one included.
    pub level: Vec<usize>,
    /// What has to be named besides the cloth.
    pub varied: Varied,
}

/// The verdict over rows in order; `varied` is what differs among all candidates, those that were taken out included.
#[must_use]
pub fn verdict(rows: &[Row], standard: Standard, order: Order, varied: Varied) -> Verdict {
    let graded: Vec<Graded> = rows.iter().map(|row| Graded::of(row, &standard)).collect();
    let best = graded.iter().map(|graded| graded.grade).min();
    let of_best: Vec<usize> = (0..rows.len()).filter(|i| Some(graded[*i].grade) == best).collect();
    let first = of_best.first().map(|i| &rows[*i]);
    let level = of_best
        .iter()
        .copied()
        .take_while(|i| first.is_some_and(|first| !told_apart(first, &rows[*i], order)))
        .collect();
    Verdict { standard, graded, level, varied }
}

impl Verdict {
    /// The rows of one grade with it, in order.
    fn of_grade<'a>(&'a self, rows: &'a [Row], grade: Grade) -> Vec<(&'a Row, &'a Graded)> {
        rows.iter().zip(&self.graded).filter(|(_, graded)| graded.grade == grade).collect()
    }

    /// Whether dots show behind all of them.
    #[must_use]
    pub fn dots_show_everywhere(&self) -> bool {
        self.graded.iter().all(|graded| graded.reasons.contains(&Reason::DotsShow))
    }

    /// Whether no candidate is good.
    #[must_use]
    pub fn none_is_good(&self) -> bool {
        self.graded.iter().all(|graded| graded.grade != Grade::Good)
    }

    /// The verdict in plain sentences, one a line.
    #[must_use]
    pub fn in_words(&self, rows: &[Row], order: Order) -> Vec<String> {
        let varied = self.varied;
        let mut lines = vec![format!("Good here means: {}.", self.standard.in_words())];
        for (grade, heading) in
            [(Grade::Good, "Good"), (Grade::Soft, "Nearly: dots can be found, all else is good")]
        {
            let found = self.of_grade(rows, grade);
            if !found.is_empty() {
                lines.push(format!("{heading}:"));
                lines.extend(found.into_iter().map(|(row, graded)| {
                    let why = [words::dots(row), words::light(row), words::build(row)].join("; ");
                    format!("- {} ({}): {why}.", varied.title(row), graded.sure_in_words())
                }));
            }
        }
        lines.extend(self.none_in_words(rows));
        lines.extend(self.avoid_in_words(rows, varied));
        lines.extend(self.level_in_words(rows, order, varied));
        lines.extend(how_sure(rows));
        lines
    }

    /// What comes nearest where none is good.
    fn none_in_words(&self, rows: &[Row]) -> Option<String> {
        if !self.none_is_good() || rows.is_empty() {
            return None;
        }
        let all = rows.len();
        let none = if self.dots_show_everywhere() {
            format!("None of the {all} hides the dots from {} m.", self.standard.distance_m)
        } else {
            format!("None of the {all} is good in every respect.")
        };
        if self.graded.iter().any(|graded| graded.grade == Grade::Soft) {
            return Some(none);
        }
        let varied = self.varied;
        let only_dots = |(_, graded): &(&Row, &Graded)| graded.reasons == [Reason::DotsShow];
        let visibility = |row: &Row| row.judged.value.dot_visibility.unwrap_or(f64::INFINITY);
        let nearest = rows
            .iter()
            .zip(&self.graded)
            .filter(only_dots)
            .min_by(|a, b| visibility(a.0).total_cmp(&visibility(b.0)));
        Some(match nearest {
            Some((row, _)) => format!(
                "{none} Of those that are good in all else, {} comes nearest: {}, {}.",
                varied.title(row),
                words::dots(row),
                words::vanishing(row).unwrap_or_default()
            ),
            None => none,
        })
    }

    /// Those to avoid, gathered by reason and by how sure it is.
    fn avoid_in_words(&self, rows: &[Row], varied: Varied) -> Vec<String> {
        let mut gathered: Vec<(String, Vec<(String, String)>)> = Vec::new();
        for (row, graded) in self.of_grade(rows, Grade::Avoid) {
            let why = graded.reasons_in_words(row);
            let named = (varied.name(row), graded.sure_in_words());
            match gathered.iter_mut().find(|(known, _)| *known == why) {
                Some((_, names)) => names.push(named),
                None => gathered.push((why, vec![named])),
            }
        }
        let told = |(why, names): (String, Vec<(String, String)>)| {
            let sure = names[0].1.clone();
            if names.len() > 1 && names.iter().all(|(_, other)| *other == sure) {
                let names: Vec<String> = names.into_iter().map(|(name, _)| name).collect();
                return format!("Avoid, {why}: {} ({sure} each).", names.join("; "));
            }
            let names: Vec<String> = names.iter().map(|(name, sure)| format!("{name} ({sure})")).collect();
            format!("Avoid, {why}: {}.", names.join("; "))
        };
        gathered.into_iter().map(told).collect()
    }

    /// Which of the best cannot be told apart.
    fn level_in_words(&self, rows: &[Row], order: Order, varied: Varied) -> Option<String> {
        if self.level.len() < 2 {
            return None;
        }
        let by = match order {
            Order::Dots => "dots",
            Order::Light => "light kept",
            Order::Thickness => "thickness",
            Order::Price => "price",
        };
        let level: Vec<&Row> = self.level.iter().map(|i| &rows[*i]).collect();
        let exact = matches!(order, Order::Thickness | Order::Price);
        let what = match (exact, level.iter().all(|row| row.candidate.cloth.basis == Basis::Label)) {
            (true, _) => "are equal",
            (_, true) => "cannot be told apart by their labels",
            _ => "cannot be told apart by what is known of them",
        };
        let names: Vec<String> = level.iter().map(|row| varied.name(row)).collect();
        Some(format!("In {by} these {what}, so choose among them by something else: {}.", names.join("; ")))
    }
}

/// How far the verdict can be trusted.
fn how_sure(rows: &[Row]) -> Option<String> {
    let samples = rows.iter().map(|row| row.judged.samples.len()).max().filter(|samples| *samples > 0)?;
    let label = rows.iter().any(|row| row.candidate.cloth.basis == Basis::Label);
    Some(format!(
        "In brackets behind a name: in how many of {samples} samples of what is left open about the cloth the same grade comes out. \
         Behind a number: the range that holds four times in five.{}",
        if label { " A cloth known from its label is an estimate: a test piece decides." } else { "" }
    ))
}

/// Numbers of the nearest row that was taken out, for a comparison that leaves nothing.
#[must_use]
pub fn nearest_in_words(removed: &super::filter::Removed, varied: Varied) -> String {
    let row = &removed.row;
    let misses: Vec<String> = removed.misses.iter().map(|filter| filter.in_words()).collect();
    let mut told =
        vec![words::light(row), format!("{} thick", words::millimetres(row.judged.value.thickness_mm))];
    told.extend(words::vanishing(row));
    format!("{}: {}. It misses: {}.", varied.title(row), told.join(", "), misses.join("; "))
}
