//! One rule over all cells: how many changes in a second, over what area, when.

use super::cells::Grid;
use super::changes::{Count, Path, SECOND, Way, in_one_second, is_short};
use super::rules::{AREA_SR, TOO_MANY_CHANGES};
use rayon::prelude::*;
use std::collections::VecDeque;

/// Changes within so many ticks are one change of a large area that moves: a tenth of a second (own choice; the standards say
/// "concurrently"). Longer: slow sweeps count; shorter: what moves fast is missed.
const TOGETHER: u32 = SECOND / 10;
/// Stretches of time told at most; later ones prolong the last.
const MOST_SPANS: usize = 64;

/// What a step brought.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Step {
    /// More changes in a second than ever before, over more than the area.
    pub(super) worse: bool,
}

/// Follows all cells under one rule.
#[derive(Clone, Debug)]
pub(super) struct Meter<P: Path> {
    rule: P::Rule,
    paths: Vec<P>,
    pub(super) counts: Vec<Count>,
    rings: Vec<u32>,
    keep: usize,
    sweep: Sweep,
    /// Most changes in a second over more than the area.
    pub(super) most_changes: usize,
    /// When that second ended.
    pub(super) most_at: u32,
    /// Greatest area with too many changes in the same second, whether above the limit or not, in sr.
    pub(super) most_area: f64,
    /// When there were too many changes over too large an area, from and to.
    pub(super) spans: Vec<[u32; 2]>,
}

/// Changes of large areas as they follow one another, wherever they are.
#[derive(Clone, Debug, Default)]
struct Sweep {
    way: Way,
    /// Until when changes of cells have been used.
    used: [Option<u32>; 2],
    latest: VecDeque<u32>,
    shortest: Option<u32>,
}

impl<P: Path> Meter<P> {
    /// `keep` is the greatest number of changes in a second that can be told, at least [`TOO_MANY_CHANGES`].
    pub(super) fn new(rule: P::Rule, cells: usize, keep: usize) -> Meter<P> {
        Meter {
            rule,
            paths: vec![P::default(); cells],
            counts: vec![Count::default(); cells],
            rings: vec![0; cells * keep],
            keep,
            sweep: Sweep::default(),
            most_changes: 0,
            most_at: 0,
            most_area: 0.0,
            spans: Vec::new(),
        }
    }

    fn ring(&self, cell: usize) -> &[u32] {
        &self.rings[cell * self.keep..(cell + 1) * self.keep]
    }

    /// Whether a cell had at least `n` changes in the second that ends now.
    pub(super) fn reaches(&self, cell: usize, n: usize, now: u32) -> bool {
        self.counts[cell].reaches(n, now, self.ring(cell))
    }

    /// Times of a cell's changes in the second that ends now, in order.
    pub(super) fn times(&self, cell: usize, now: u32) -> Vec<u32> {
        let latest = |n| self.counts[cell].latest(n, self.ring(cell));
        let mut times: Vec<u32> =
            (1..=self.keep).map_while(latest).take_while(|t| in_one_second(*t, now)).collect();
        times.reverse();
        times
    }

    /// Takes the next value of every cell.
    pub(super) fn push(&mut self, grid: &Grid, now: u32, samples: &[P::Sample]) -> Step {
        let rule = self.rule;
        let changed = self
            .paths
            .par_iter_mut()
            .zip(&mut self.counts)
            .zip(self.rings.par_chunks_mut(self.keep.max(1)))
            .zip(samples)
            .with_min_len(1024)
            .map(|(((path, count), ring), &sample)| match path.step(count.way, sample, rule) {
                Some(way) => {
                    count.add(way, now, ring);
                    true
                }
                None => false,
            })
            .reduce(|| false, |a, b| a | b);
        if changed { self.judge(grid, now) } else { Step::default() }
    }

    fn judge(&mut self, grid: &Grid, now: u32) -> Step {
        let area = |n: usize| grid.greatest_area(|cell| self.reaches(cell, n, now));
        let mut most = self.most_changes;
        while most < self.keep && area(most + 1) > AREA_SR {
            most += 1;
        }
        let often = area(TOO_MANY_CHANGES);
        let started = if often > AREA_SR {
            (0..grid.len())
                .filter(|&cell| self.reaches(cell, TOO_MANY_CHANGES, now))
                .filter_map(|cell| self.counts[cell].latest(TOO_MANY_CHANGES, self.ring(cell)))
                .min()
        } else {
            None
        };
        let [rising, falling] = [Way::Up, Way::Down].map(|way| self.area_changing(grid, way, now));
        let swept = self.sweep.push(now, [rising > AREA_SR, falling > AREA_SR]);
        most = most.max(swept.changes);
        self.most_area = self.most_area.max(often);
        if let Some(start) = swept.too_many_since {
            self.most_area = self.most_area.max(rising.max(falling));
            self.add_span(start, now);
        }
        if let Some(start) = started {
            self.add_span(start, now);
        }
        let worse = most > self.most_changes;
        if worse {
            self.most_changes = most;
            self.most_at = now;
        }
        Step { worse }
    }

    /// Area of the cells whose latest change was this way, not long ago and not yet used.
    fn area_changing(&self, grid: &Grid, way: Way, now: u32) -> f64 {
        let used = self.sweep.used[usize::from(way == Way::Down)];
        grid.greatest_area(|cell| {
            let count = &self.counts[cell];
            count.way == way
                && count
                    .latest(1, self.ring(cell))
                    .is_some_and(|at| now - at <= TOGETHER && used.is_none_or(|used| at > used))
        })
    }

    fn add_span(&mut self, from: u32, to: u32) {
        let full = self.spans.len() >= MOST_SPANS;
        match self.spans.last_mut() {
            Some(last) if full || from <= last[1] => last[1] = to,
            _ => self.spans.push([from, to]),
        }
    }

    /// Whether there never were too many changes over too large an area.
    pub(super) fn passed(&self) -> bool {
        self.spans.is_empty()
    }

    /// The greatest share of its speed at which this passes, at most 1: what counts is the shortest stretch that ever held too
    /// many changes, cell by cell, as if all cells had it at the same time.
    pub(super) fn slowest_safe(&self, grid: &Grid) -> f64 {
        if self.passed() {
            return 1.0;
        }
        let mut stretches: Vec<u32> =
            self.counts.iter().map(|count| count.shortest).filter(|&ticks| is_short(ticks)).collect();
        stretches.sort_unstable();
        stretches.dedup();
        // At the share s of the speed stretches are 1/s as long, so those shorter than s seconds are too short.
        let passes = |limit: u32| grid.greatest_area(|cell| self.counts[cell].shortest < limit) <= AREA_SR;
        let passing = stretches.partition_point(|&stretch| passes(stretch));
        let slowest = match passing.checked_sub(1) {
            _ if passes(SECOND) => SECOND,
            Some(last) => stretches[last],
            None => 0,
        };
        f64::from(slowest.min(self.sweep.shortest.unwrap_or(SECOND)).min(SECOND)) / f64::from(SECOND)
    }
}

/// What a sweep holds now.
#[derive(Clone, Copy, Debug, Default)]
struct Swept {
    changes: usize,
    too_many_since: Option<u32>,
}

impl Sweep {
    /// Takes what happens now: whether a large area rises, whether one falls. Both at the same moment are one change, for what one
    /// place gains another loses.
    fn push(&mut self, now: u32, large: [bool; 2]) -> Swept {
        /// More is never told.
        const KEEP: usize = 32;
        let way = match large {
            [false, false] => return Swept::default(),
            [true, true] => self.way.other(),
            [true, false] => Way::Up,
            [false, true] => Way::Down,
        };
        for (used, _) in self.used.iter_mut().zip(large).filter(|(_, large)| *large) {
            *used = Some(now);
        }
        if way == self.way {
            return Swept::default();
        }
        self.way = way;
        if self.latest.len() == KEEP {
            self.latest.pop_front();
        }
        self.latest.push_back(now);
        let since = self.latest.len().checked_sub(TOO_MANY_CHANGES).map(|i| self.latest[i]);
        if let Some(first) = since {
            self.shortest = Some(self.shortest.unwrap_or(u32::MAX).min(now - first));
        }
        let changes = self.latest.iter().filter(|&&at| in_one_second(at, now)).count();
        Swept { changes, too_many_since: since.filter(|&first| in_one_second(first, now)) }
    }
}
