//! Wants that take candidates out, judged on the middle value; where a range crosses the bound, that is told.

use super::Row;
use crate::judge::numbers::{Numbers, Range};

/// One want.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Filter {
    /// At least this share of the light is kept.
    AtLeastLight(f64),
    /// No dots show from this distance in m, nor from farther off.
    NoDotsAt(f64),
    /// Board to outer face at most so many mm.
    AtMostMm(f64),
}

impl Filter {
    /// Whether the numbers meet it. Where no two pixels are neighbours there are no dots to be judged: that wants the caller's own
    /// answer, here it counts as not met.
    #[must_use]
    pub fn passes(self, numbers: &Numbers) -> bool {
        self.number(numbers).is_some_and(|number| self.holds(number))
    }

    fn number(self, numbers: &Numbers) -> Option<f64> {
        match self {
            Filter::AtLeastLight(_) => Some(numbers.light_kept),
            Filter::NoDotsAt(_) => numbers.dots_vanish_m,
            Filter::AtMostMm(_) => Some(numbers.thickness_mm),
        }
    }

    fn holds(self, number: f64) -> bool {
        match self {
            Filter::AtLeastLight(bound) => number >= bound,
            Filter::NoDotsAt(bound) | Filter::AtMostMm(bound) => number <= bound,
        }
    }

    /// Whether the range of the row's number crosses the bound: the cloth may or may not meet the want.
    #[must_use]
    pub fn is_open(self, row: &Row) -> bool {
        row.judged
            .range_of(|numbers| self.number(numbers))
            .is_some_and(|Range { low, high, .. }| self.holds(low) != self.holds(high))
    }

    /// By which factor the want is missed, as a logarithm; 0 when it is met.
    fn missed_by(self, numbers: &Numbers) -> f64 {
        let Some(number) = self.number(numbers) else { return f64::INFINITY };
        match self {
            _ if self.holds(number) => 0.0,
            Filter::AtLeastLight(bound) => (bound / number).ln(),
            Filter::NoDotsAt(bound) | Filter::AtMostMm(bound) => (number / bound).ln(),
        }
    }

    /// The want in words, e.g. `at least 20 % of the light kept`.
    #[must_use]
    pub fn in_words(self) -> String {
        match self {
            Filter::AtLeastLight(share) => {
                format!("at least {} of the light kept", super::words::percent(share))
            }
            Filter::NoDotsAt(distance) => format!("no dots from {distance} m"),
            Filter::AtMostMm(bound) => format!("at most {bound} mm thick"),
        }
    }
}

/// A row that was taken out.
#[derive(Clone, Debug)]
pub struct Removed {
    /// The row.
    pub row: Row,
    /// The wants that it does not meet.
    pub misses: Vec<Filter>,
}

/// What filters leave.
#[derive(Clone, Debug)]
pub struct Filtered {
    /// Rows that meet every want, in their order.
    pub kept: Vec<Row>,
    /// The others, in their order.
    pub removed: Vec<Removed>,
    /// The wants.
    pub filters: Vec<Filter>,
}

/// Takes out what does not meet the wants.
#[must_use]
pub fn filtered(rows: Vec<Row>, filters: &[Filter]) -> Filtered {
    let (mut kept, mut removed) = (Vec::new(), Vec::new());
    for row in rows {
        let misses: Vec<Filter> = filters.iter().copied().filter(|f| !f.passes(&row.judged.value)).collect();
        if misses.is_empty() { kept.push(row) } else { removed.push(Removed { row, misses }) }
    }
    Filtered { kept, removed, filters: filters.to_vec() }
}

impl Filtered {
    /// How many rows do not meet this want, whatever else they meet.
    #[must_use]
    pub fn missing(&self, filter: Filter) -> usize {
        self.removed.iter().filter(|removed| removed.misses.contains(&filter)).count()
    }

    /// Rows for which a want is met or missed by less than the row's range: kept ones, then removed ones.
    #[must_use]
    pub fn open(&self, filter: Filter) -> [Vec<&Row>; 2] {
        let kept = self.kept.iter().filter(|row| filter.is_open(row)).collect();
        // One that is taken out for another reason as well would not come back.
        let only = |removed: &&Removed| removed.misses == [filter] && filter.is_open(&removed.row);
        [kept, self.removed.iter().filter(only).map(|removed| &removed.row).collect()]
    }

    /// Of the removed rows the one that misses the wants by the smallest factor, all together.
    #[must_use]
    pub fn nearest(&self) -> Option<&Removed> {
        let missed = |removed: &Removed| -> f64 {
            self.filters.iter().map(|filter| filter.missed_by(&removed.row.judged.value)).sum()
        };
        self.removed.iter().min_by(|a, b| missed(a).total_cmp(&missed(b)))
    }
}
