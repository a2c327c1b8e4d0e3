//! What to do when the supply does not suffice: where to feed, how far to dim, where to split.
//!
//! **Model**: as long as every pixel has the voltage that it needs, every load draws its full current, so that the run is
//! linear; and when the linear run leaves every pixel enough, it is the true one. All suggestions here ask for just that, so one
//! elimination answers for one choice of feeds.
//!
//! **Fewest feeds**: with wires that lose nothing, feeds part the run into stretches that do not see each other; a stretch only gets
//! worse when it grows, so going from one end and making every stretch as long as it can be gives the fewest. Real wires lose something,
//! so that this is a bound from below. From it, numbers of feeds are tried in turn: from the first pixel to the
//! last, spread by load, spread by what wires and strip lose, and then moved while what is lacking gets less.
//! When the number found is the bound, it is proven to be the fewest. One more feed never lowers a voltage, so if feeding every
//! pixel does not suffice, nothing does.

use super::Case;
use super::battery::Battery;
use super::current::{Draw, of_pixel, of_scene};
use super::ladder::{LEAST_OHM, Ladder, fold};
use super::limits::factor_within;
use super::run::{feed_pixels, lead_mm, run_fed_at};
use super::supply::{AWG, Supply};
use super::wire::Gauge;
use crate::scene::Scene;
use std::ops::Range;

/// Where a run should be fed.
#[derive(Clone, Debug, PartialEq)]
pub struct Feeds {
    /// The pixels, counted from 0, rising.
    pub at: Vec<usize>,
    /// What the worst pixel has over its need, in V.
    pub spare_v: f64,
    /// Fewer than this cannot suffice.
    pub at_least: usize,
}

/// Why no feeding helps.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoFeeds {
    /// The supply itself is too low.
    #[error("the supply gives {gives_v:.2} V and the pixels need {needs_v:.2} V")]
    SupplyTooLow {
        /// Voltage at its terminals under the load, in V.
        gives_v: f64,
        /// What the most demanding pixel needs, in V.
        needs_v: f64,
    },
    /// The wires to the pixels lose too much, even with a pair to every pixel.
    #[error("even with wires to every pixel, pixel {pixel} lacks {lacks_v:.2} V")]
    WiresTooThin {
        /// The worst pixel, counted from 1.
        pixel: usize,
        /// What it lacks, in V.
        lacks_v: f64,
    },
}

/// Moves of feeds are tried as long as they cost fewer than this many pixels in all: about a second.
const MOST_WORK: usize = 30_000_000;
/// Where feeds become many, their number grows by this share from try to try.
const GROWTH: f64 = 0.25;
/// What the worst pixel should have to spare, if feeds in other places can give it, in V: the first of these that is reached.
const SPARE_V: [f64; 4] = [0.2, 0.1, 0.05, 0.02];
/// A pixel that lacks less than this has enough, in V: rounding of the longest runs.
const ENOUGH_V: f64 = 1e-6;

/// A run whose loads are constant.
#[derive(Clone)]
struct Linear {
    /// Voltage of the supply's terminals under the load.
    terminal: f64,
    between_ohm: Vec<f64>,
    between: Vec<f64>,
    lead_ohm: Vec<f64>,
    amperes: Vec<f64>,
    least: Vec<f64>,
}

impl Linear {
    fn of(scene: &Scene, supply: &Supply, case: Case, factor: f64) -> Linear {
        let every: Vec<usize> = (0..scene.pixels.len()).collect();
        let run = run_fed_at(scene, supply, &every, case, factor);
        let Ladder { volts, internal_ohm, between_ohm, feeds, loads } = run.ladder;
        let amperes: Vec<f64> = loads.iter().map(super::ladder::Load::full_a).collect();
        Linear {
            terminal: volts - internal_ohm * amperes.iter().sum::<f64>(),
            between: between_ohm.iter().map(|ohm| 1.0 / ohm.max(LEAST_OHM)).collect(),
            between_ohm,
            lead_ohm: feeds.iter().map(|feed| feed.ohm.max(LEAST_OHM)).collect(),
            amperes,
            least: run.least_volts,
        }
    }

    fn pixels(&self) -> usize {
        self.least.len()
    }

    /// What each pixel has over its need with these feeds, in V.
    fn spare(&self, at: &[usize]) -> Vec<f64> {
        let mut feeding = vec![0.0; self.pixels()];
        for &k in at {
            feeding[k] = 1.0 / self.lead_ohm[k]; // A second pair to the same pixel counts for nothing.
        }
        // Counted from the terminals, so that only what is lost is computed.
        let taken: Vec<f64> = self.amperes.iter().map(|a| -a).collect();
        let lost = fold(&self.between, &feeding, &taken);
        lost.iter().zip(&self.least).map(|(lost, least)| self.terminal + lost - least).collect()
    }

    /// Whether the pixels of a stretch have what they need when its ends are held at the terminals' voltage: the first pixel where
    /// `from_first`, the last where `from_last`.
    fn stretch_holds(&self, stretch: Range<usize>, from_first: bool, from_last: bool) -> bool {
        let (first, last) = (stretch.start, stretch.end - 1);
        let fed = |k: usize| (from_first && k == first) || (from_last && k == last);
        let load: f64 = stretch.clone().filter(|k| !fed(*k)).map(|k| self.amperes[k]).sum();
        // Current that leaves the first pixel towards the last.
        let mut flow = match (from_first, from_last) {
            (true, false) => load,
            (false, _) => -if fed(first) { 0.0 } else { self.amperes[first] },
            (true, true) => {
                // Each load takes from either end in proportion to the resistance to the other.
                let whole: f64 = self.between_ohm[first..last].iter().sum();
                let mut to_first = 0.0;
                let mut current = 0.0;
                for k in first + 1..last {
                    to_first += self.between_ohm[k - 1];
                    current += self.amperes[k] * (whole - to_first) / whole.max(LEAST_OHM);
                }
                current
            }
        };
        // The voltages follow from the flow, counted from the end that is held.
        let mut lost = vec![0.0; stretch.len()];
        for (i, k) in (first..last).enumerate() {
            lost[i + 1] = lost[i] + flow * self.between_ohm[k];
            flow -= self.amperes[k + 1];
        }
        let held = if from_first { 0.0 } else { lost[last - first] };
        stretch.zip(&lost).all(|(k, lost)| self.terminal - (lost - held) >= self.least[k] - ENOUGH_V)
    }

    /// Feeds that would be the fewest if their wires lost nothing.
    fn with_perfect_wires(&self) -> Vec<usize> {
        let end = self.pixels();
        // The first feed: as far in as the pixels before it allow.
        let mut feeds = vec![furthest(0, end - 1, |k| self.stretch_holds(0..k + 1, false, true))];
        // From here on, one feed bears all the rest.
        let rest =
            end - 1 - furthest(0, end - 1, |back| self.stretch_holds(end - 1 - back..end, true, false));
        while let Some(&last) = feeds.last().filter(|last| **last < rest) {
            feeds.push(furthest(last + 1, end - 1, |k| self.stretch_holds(last..k + 1, true, true)));
        }
        feeds
    }

    /// This many feeds, each in the middle of an equal share of the weights; at most one a pixel while pixels last.
    fn spread(&self, feeds: usize, weights: &[f64]) -> Vec<usize> {
        let total: f64 = weights.iter().sum();
        let mut at = Vec::with_capacity(feeds);
        let mut sum = 0.0;
        for (k, weight) in weights.iter().enumerate() {
            sum += weight;
            let next = total * (at.len() as f64 + 0.5) / feeds as f64;
            if at.len() < feeds && sum >= next * (1.0 - f64::EPSILON) {
                at.push(k);
            }
        }
        at.resize(feeds, self.pixels() - 1);
        at
    }

    /// Share of a feed that each pixel takes up where all feeds carry as much as they can: in an even stretch that one feed serves, the
    /// wires lose `I R` and the strip `I^2 r / (8 a)`, with r a piece of the strip and a the current of a pixel; together they may lose
    /// what the supply has to spare.
    fn shares_of_feeds(&self) -> Vec<f64> {
        let share = |k: usize| {
            let a = self.amperes[k];
            let spare = (self.terminal - self.least[k]).max(ENOUGH_V);
            let r = self.between_ohm.get(k).or(self.between_ohm.last()).copied().unwrap_or(0.0);
            let lead = self.lead_ohm[k];
            // The positive root of I^2 r / (8 a) + I R = spare, in the form that does not cancel.
            let most = 2.0 * spare / (lead + (lead * lead + r * spare / (2.0 * a)).sqrt());
            (a / most).min(1.0)
        };
        (0..self.pixels()).map(|k| if self.amperes[k] > 0.0 { share(k) } else { 0.0 }).collect()
    }

    /// What all pixels together lack with these feeds, squared, in V2; zero when they suffice.
    fn shortfall(&self, at: &[usize]) -> f64 {
        self.spare(at).iter().map(|spare| (-spare - ENOUGH_V).max(0.0).powi(2)).sum()
    }

    /// Moves feeds, one at a time, while the shortfall gets less, in ever smaller moves.
    fn improved(&self, mut at: Vec<usize>, work: &mut usize) -> (Vec<usize>, f64) {
        let mut lacking = self.shortfall(&at);
        let mut step = (self.pixels() / at.len().max(1)).div_ceil(2).max(1);
        while lacking > 0.0 {
            let mut moved = false;
            for i in 0..at.len() {
                for to in [at[i].checked_sub(step), Some(at[i] + step)].into_iter().flatten() {
                    if to >= self.pixels() || *work + self.pixels() > MOST_WORK {
                        continue;
                    }
                    *work += self.pixels();
                    let former = std::mem::replace(&mut at[i], to);
                    let now = self.shortfall(&at);
                    if now < lacking {
                        (lacking, moved) = (now, true);
                    } else {
                        at[i] = former;
                    }
                }
            }
            if !moved && step == 1 {
                break;
            } else if !moved {
                step /= 2;
            }
            if *work + self.pixels() > MOST_WORK {
                break;
            }
        }
        (at, lacking)
    }

    /// So many feeds that suffice, if any are found: evenly placed ones where they do, moved ones else.
    fn sufficient(&self, feeds: usize, work: &mut usize) -> Option<Vec<usize>> {
        let starts = [
            self.with_ends(feeds),
            self.spread(feeds, &self.amperes),
            self.spread(feeds, &self.shares_of_feeds()),
        ];
        if let Some(even) = starts.iter().find(|at| self.shortfall(at) <= 0.0) {
            return Some(even.clone());
        }
        let moved = starts.into_iter().map(|start| self.improved(start, work));
        moved.into_iter().find(|(_, lacking)| *lacking <= 0.0).map(|(at, _)| at)
    }

    /// The same number of feeds, moved so that the worst pixel has something to spare, where that is found.
    fn roomier(&self, at: Vec<usize>, work: &mut usize) -> Vec<usize> {
        for spare_v in SPARE_V {
            let least = self.least.iter().map(|least| if *least > 0.0 { least + spare_v } else { *least });
            let (moved, lacking) =
                Linear { least: least.collect(), ..self.clone() }.improved(at.clone(), work);
            if lacking <= 0.0 {
                return moved;
            }
        }
        at
    }

    /// This many feeds, the outer ones at the ends.
    fn with_ends(&self, feeds: usize) -> Vec<usize> {
        let last = self.pixels() - 1;
        (0..feeds).map(|i| if feeds < 2 { 0 } else { last * i / (feeds - 1) }).collect()
    }
}

/// The last number of a range from `least` on for which `holds`, which turns from true to false once and is not asked for `least`.
fn furthest(least: usize, most: usize, holds: impl Fn(usize) -> bool) -> usize {
    let (mut good, mut reach) = (least, 1);
    // Ever longer strides, then halving: what is far away is not looked at.
    while good + reach <= most && holds(good + reach) {
        good += reach;
        reach *= 2;
    }
    let mut bad = (good + reach).min(most + 1);
    while bad - good > 1 {
        let middle = good + (bad - good) / 2;
        if holds(middle) { good = middle } else { bad = middle }
    }
    good
}

/// The fewest feeds found that keep every pixel above the voltage that it needs, with all levels times `factor`; which of them is fed first
/// does not matter. Leads to them as in [`super::run`].
///
/// # Errors
/// When no feeding helps: the supply is too low or its wires too thin.
pub fn fewest_feeds(scene: &Scene, supply: &Supply, case: Case, factor: f64) -> Result<Feeds, NoFeeds> {
    let run = Linear::of(scene, supply, case, factor);
    if run.pixels() == 0 {
        return Ok(Feeds { at: Vec::new(), spare_v: 0.0, at_least: 0 });
    }
    let needs_v = run.least.iter().fold(0.0_f64, |most, least| most.max(*least));
    if run.terminal < needs_v {
        return Err(NoFeeds::SupplyTooLow { gives_v: run.terminal, needs_v });
    }
    let every: Vec<usize> = (0..run.pixels()).collect();
    let worst = |spare: Vec<f64>| spare.into_iter().enumerate().min_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((pixel, spare)) = worst(run.spare(&every)).filter(|(_, spare)| *spare < -ENOUGH_V) {
        return Err(NoFeeds::WiresTooThin { pixel: pixel + 1, lacks_v: -spare });
    }
    let at_least = run.with_perfect_wires().len();
    let mut work = 0;
    let (mut too_few, mut feeds) = (at_least - 1, at_least);
    let mut found = loop {
        if feeds >= run.pixels() {
            break every;
        }
        match run.sufficient(feeds, &mut work) {
            Some(at) => break at,
            None => too_few = feeds,
        }
        feeds += 1 + (feeds as f64 * GROWTH) as usize;
    };
    while found.len() - too_few > 1 {
        let middle = too_few + (found.len() - too_few) / 2;
        match run.sufficient(middle, &mut work) {
            Some(at) => found = at,
            None => too_few = middle,
        }
    }
    found = run.roomier(found, &mut work);
    found.sort_unstable();
    found.dedup();
    let spare_v = worst(run.spare(&found)).map_or(0.0, |(_, spare)| spare);
    Ok(Feeds { at: found, spare_v, at_least })
}

/// The thinnest wire, from the supply and between groups, with which the run as it is fed leaves every pixel the voltage that it needs and
/// no feed carries more than one should be careful with under cloth; all levels times `factor`. `None` when the thickest that a scene may name
/// does not suffice.
#[must_use]
pub fn thinnest_wire(scene: &Scene, supply: &Supply, case: Case, factor: f64) -> Option<Gauge> {
    let fed_at = feed_pixels(scene, &supply.injection);
    let [thickest, thinnest] = [AWG.least, AWG.most].map(|awg| awg as u8);
    let suffices = |wire: &Gauge| {
        let run = Linear::of(scene, &Supply { wire: *wire, ..supply.clone() }, case, factor);
        let spare = run.spare(&fed_at);
        let carries = |at: &usize| (run.terminal - run.least[*at] - spare[*at]) / run.lead_ohm[*at];
        spare.iter().all(|spare| *spare >= -ENOUGH_V)
            && fed_at.iter().all(|at| carries(at) <= wire.careful_a()[0])
    };
    (thickest..=thinnest).rev().map(Gauge).find(suffices)
}

/// The greatest factor on the levels, 0 to 1, at which the run as it is fed leaves every pixel the voltage that it needs; `None` when even
/// dark pixels lack it.
#[must_use]
pub fn level_that_holds(scene: &Scene, supply: &Supply, case: Case) -> Option<f64> {
    // Voltages fall in a straight line with the factor: two runs, dark and lit, give it.
    let fed_at = feed_pixels(scene, &supply.injection);
    let spare = |factor: f64| Linear::of(scene, supply, case, factor).spare(&fed_at);
    let (dark, lit) = (spare(0.0), spare(1.0));
    let limits = dark.iter().zip(&lit).map(|(dark, lit)| {
        if *dark < -ENOUGH_V { None } else { factor_within(0.0, dark - lit, dark.max(0.0)) }
    });
    limits.into_iter().try_fold(1.0, |least: f64, factor| factor.map(|factor| least.min(factor)))
}

/// Stretches of pixels in data order, as few as can be, each of which draws at most `most_ma` with all levels times `factor`; for
/// connectors, fuses or supplies that bear no more.
///
/// # Errors
/// The first pixel (counted from 0) that draws more on its own.
pub fn split(scene: &Scene, most_ma: f64, case: Case, factor: f64) -> Result<Vec<Range<usize>>, usize> {
    let mut stretches: Vec<Range<usize>> = Vec::new();
    let mut sum = f64::INFINITY;
    for (i, pixel) in scene.pixels.iter().enumerate() {
        let ma = of_pixel(pixel).at(factor).of(case);
        if ma > most_ma {
            return Err(i);
        }
        match stretches.last_mut() {
            Some(last) if sum + ma <= most_ma => {
                last.end = i + 1;
                sum += ma;
            }
            _ => {
                stretches.push(i..i + 1);
                sum = ma;
            }
        }
    }
    Ok(stretches)
}

/// The factor on the levels with which a battery lasts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LevelForHours {
    /// With nominal charge and typical currents; `None` when even dark pixels empty it sooner.
    pub nominal: Option<f64>,
    /// With the least charge and the greatest currents.
    pub cautious: Option<f64>,
}

/// The greatest factor on the levels of a scene, 0 to 1, with which the supply's battery lasts so many hours; `None` for a supply without
/// battery.
#[must_use]
pub fn level_for_hours(scene: &Scene, supply: &Supply, hours: f64) -> Option<LevelForHours> {
    let battery: Battery = supply.battery?;
    let [least, nominal, _] = battery.charge_mah_at(supply.volts);
    let draw: Draw = of_scene(scene);
    let factor = |mah: f64, case| factor_within(draw.idle.of(case), draw.lit.of(case), mah / hours);
    Some(LevelForHours { nominal: factor(nominal, Case::Typical), cautious: factor(least, Case::Worst) })
}

/// How much wire a set of feeds takes, one way, in mm.
#[must_use]
pub fn wire_for_feeds_mm(scene: &Scene, supply: &Supply, at: &[usize]) -> f64 {
    at.iter().map(|&at| lead_mm(scene, supply, at)).sum()
}
