//! What the supply does to the run, and what to do about it, in numbers and in words.

use super::{counted, mm, span};
use crate::build::Case;
use crate::build::battery::{Hours, hours};
use crate::build::current::{MA_PER_A, of_scene};
use crate::build::ladder::Unsolvable;
use crate::build::limits::{Limit, LimitedBy, brightness, limit};
use crate::build::powered::{BothCases, Powered, both_cases};
use crate::build::suggest::{
    Feeds, LevelForHours, NoFeeds, fewest_feeds, level_for_hours, level_that_holds, split, thinnest_wire,
    wire_for_feeds_mm,
};
use crate::build::supply::{Source, Supply};
use crate::build::wire::Gauge;
use crate::motion::average::{at_levels, at_peak, average_levels};
use crate::scene::Scene;
use std::ops::Range;

/// Pixels and pieces that one sentence names; more would not be read.
const MOST_NAMED: usize = 12;
/// Pixels whose colours are compared: spectra take time.
pub const MOST_DRIFTS: usize = 200;

/// What the supply does to the run.
#[derive(Clone, Debug, PartialEq)]
pub struct Power {
    /// The supply.
    pub supply: Supply,
    /// The run with typical parts and with unfavourable ones, at levels within the supply's limit.
    pub both: BothCases,
    /// Limit of the supply's current.
    pub limit: Option<Limit>,
    /// How long the battery lasts at these levels.
    pub hours: Option<Hours>,
    /// How long it is to last.
    pub wanted_h: Option<f64>,
    /// The levels with which it lasts so long.
    pub for_hours: Option<LevelForHours>,
    /// The fewest feeds with typical parts, and with unfavourable ones.
    pub feeds: [Result<Feeds, NoFeeds>; 2],
    /// Wire that the feeds take, one way, in mm.
    pub feed_wire_mm: [Option<f64>; 2],
    /// The thinnest wire that suffices in the unfavourable case, fed as the scene says.
    pub thinnest: Option<Gauge>,
    /// The factor on the levels at which every pixel has its voltage in the unfavourable case, fed as the scene says.
    pub holds: Option<f64>,
    /// Stretches that stay within the limit at full scene levels each, where the whole does not; the pixel that alone exceeds it.
    pub split: Option<Result<Vec<Range<usize>>, usize>>,
    /// The greatest drift of colour along the run, as CIEDE2000, and its pixel.
    pub drift: Option<(usize, f64)>,
}

/// What the supply does to a scene.
///
/// # Errors
/// When the voltages do not settle.
pub fn power(scene: &Scene, supply: &Supply, wanted_h: Option<f64>) -> Result<Power, Unsolvable> {
    // A pattern empties the battery by its average and loads wires and supply by its highest moment.
    let average = at_levels(scene, average_levels(scene));
    let scene = &at_peak(scene);
    let both = both_cases(scene, supply)?;
    let draw = of_scene(scene);
    let limit = limit(supply);
    let [typical, worst] = [both.typical.cap.factor, both.worst.cap.factor];
    let feeds = [
        fewest_feeds(scene, supply, Case::Typical, typical),
        fewest_feeds(scene, supply, Case::Worst, worst),
    ];
    let feed_wire_mm =
        [0, 1].map(|i| feeds[i].as_ref().ok().map(|f| wire_for_feeds_mm(scene, supply, &f.at)));
    let over = limit.filter(|limit| draw.total().of(Case::Worst) > limit.ma);
    Ok(Power {
        hours: hours(supply, of_scene(&average).at(typical)),
        for_hours: wanted_h.and_then(|hours| level_for_hours(&average, supply, hours)),
        wanted_h: supply.battery.and(wanted_h),
        feed_wire_mm,
        feeds,
        thinnest: thinnest_wire(scene, supply, Case::Worst, worst),
        holds: level_that_holds(scene, supply, Case::Worst),
        split: over.map(|limit| split(scene, limit.ma, Case::Worst, 1.0)),
        drift: greatest_drift(scene, &both.typical),
        limit,
        both,
        supply: supply.clone(),
    })
}

/// The greatest drift of colour along a run, as CIEDE2000, and its pixel (from 0): looked for among the [`MOST_DRIFTS`] pixels with the
/// least voltage to spare, where it lies. `None` when all of them are dark.
#[must_use]
pub fn greatest_drift(sent: &Scene, run: &Powered) -> Option<(usize, f64)> {
    let mut spare: Vec<(usize, f64)> =
        run.solved.volts.iter().zip(&run.least_volts).map(|(v, least)| v - least).enumerate().collect();
    spare.sort_by(|a, b| a.1.total_cmp(&b.1));
    let drifts =
        spare.iter().take(MOST_DRIFTS).filter_map(|(i, _)| run.drift(sent, *i).map(|drift| (*i, drift)));
    drifts.max_by(|a, b| a.1.total_cmp(&b.1))
}

/// A time: `3.4 h`; nothing is told of battery times beyond a thousand hours.
fn hours_in_words(hours: f64) -> String {
    const MOST_H: f64 = 1000.0;
    if hours > MOST_H { "more than 1000 h".to_owned() } else { format!("{hours:.1} h") }
}

fn listed(at: &[usize]) -> String {
    let named: Vec<String> = at.iter().take(MOST_NAMED).map(usize::to_string).collect();
    let more = if at.len() > MOST_NAMED { " …" } else { "" };
    format!("{}{more}", named.join(", "))
}

impl Power {
    /// The supply in words.
    #[must_use]
    pub fn supply_in_words(&self) -> String {
        let supply = &self.supply;
        let what = match (supply.source, &supply.battery) {
            (Source::BoardPin, _) => "a pin of a controller board".to_owned(),
            (_, Some(battery)) => {
                let cells = if battery.cells == 1 {
                    String::new()
                } else {
                    format!(", {} cells one after another", battery.cells)
                };
                format!("battery: {}{cells}, {} mAh", battery.chemistry.facts().name, battery.capacity_mah)
            }
            _ => "supply".to_owned(),
        };
        let most = match self.limit {
            Some(limit) => {
                let by = match limit.by {
                    LimitedBy::Stated => "as the scene says",
                    LimitedBy::BoardPin => "as usual for such a pin",
                    LimitedBy::Battery => "as the battery may give for long",
                };
                format!(", at most {:.0} mA ({by})", limit.ma)
            }
            None => ", limit of its current not known".to_owned(),
        };
        let converter = match supply.battery {
            Some(battery) if battery.converts_to(supply.volts) => ", over a converter",
            _ => "",
        };
        format!("{what}, {} V{converter}{most}; wires of {}", supply.volts, supply.wire)
    }

    /// The brightness to set, in words.
    #[must_use]
    pub fn cap_in_words(&self) -> String {
        let cap = &self.both.worst.cap;
        if self.limit.is_none() {
            return "The limit of the supply is not known: look on its label, and name it as `max_ma`."
                .to_owned();
        }
        if cap.idle_exceeds {
            return "Even dark pixels draw more than the supply may give: take fewer pixels or a stronger supply."
                .to_owned();
        }
        let own = if cap.factor < 1.0 {
            format!(
                "With this scene's colours set the brightness to at most {} of 255 ({:.0} % of the levels in the file)",
                cap.brightness,
                (100.0 * cap.factor).floor()
            )
        } else {
            "This scene's colours and levels stay within the supply's limit".to_owned()
        };
        let any = if cap.brightness_all_on < 255 {
            format!(
                "; a program that may light everything white must stay at or below {} of 255 (a limiter at this number keeps both)",
                cap.brightness_all_on
            )
        } else {
            "; so does everything lit white".to_owned()
        };
        format!("{own}{any}. Reckoned for parts at the upper end of their ranges.")
    }

    /// Voltage along the run, in words.
    #[must_use]
    pub fn volts_in_words(&self) -> Vec<String> {
        let typical = &self.both.typical;
        let mut lines = Vec::new();
        if let Some((index, spare)) = typical.tightest() {
            let worst = &self.both.worst;
            let least = worst.tightest().map_or(String::new(), |(i, _)| {
                format!(
                    "; with unfavourable parts pixel {i} gets {:.2} V of {:.2} V",
                    worst.solved.volts[i], worst.least_volts[i]
                )
            });
            lines.push(format!(
                "The tightest pixel is {index}: {:.2} V, it needs {:.2} V, so {:.2} V {}{least}.",
                typical.solved.volts[index],
                typical.least_volts[index],
                spare.abs(),
                if spare < 0.0 { "are lacking" } else { "are to spare" }
            ));
        }
        for (what, run) in [("typical parts", typical), ("unfavourable parts", &self.both.worst)] {
            let below = run.below();
            if below.is_empty() {
                lines.push(format!("With {what} every pixel has the voltage that it needs."));
            } else {
                let named: Vec<String> = below.iter().take(MOST_NAMED).map(span).collect();
                let more = if below.len() > MOST_NAMED { " …" } else { "" };
                lines.push(format!(
                    "With {what} {} below what they need: {}{more}.",
                    if run.pixels_below() == 1 {
                        "1 pixel is".to_owned()
                    } else {
                        format!("{} pixels are", run.pixels_below())
                    },
                    named.join(", ")
                ));
            }
        }
        if let Some((index, drift)) = self.drift.filter(|(_, drift)| *drift >= 1.0) {
            lines.push(format!(
                "Along the run the colour drifts, most at pixel {index}: CIEDE2000 {drift:.1} (about 1 is just seen side by side)."
            ));
        }
        lines
    }

    /// How long the battery lasts, in words.
    #[must_use]
    pub fn hours_in_words(&self) -> Option<String> {
        let hours = self.hours?;
        Some(format!(
            "The battery lasts about {} at these levels, between {} and {} (age, cold, parts).",
            hours_in_words(hours.nominal),
            hours_in_words(hours.range[0]),
            hours_in_words(hours.range[1])
        ))
    }

    /// What to do, in words.
    #[must_use]
    pub fn suggestions(&self) -> Vec<String> {
        let mut all = vec![self.feeds_in_words()];
        match (self.thinnest, self.both.worst.pixels_below()) {
            (Some(thinnest), 0) if thinnest.0 > self.supply.wire.0 => all.push(format!(
                "Thinner supply wires would do, down to {thinnest}; thicker ones lose less and are tougher."
            )),
            (Some(thinnest), below) if below > 0 && thinnest != self.supply.wire => all.push(format!(
                "Or keep the feeds and take supply wires of {thinnest} or thicker: then every pixel has its voltage even with unfavourable parts."
            )),
            _ => {}
        }
        match self.holds {
            Some(factor) if factor < self.both.worst.cap.factor => all.push(format!(
                "Or keep feeds and wires and set the brightness to at most {} of 255: then every pixel has its voltage even with unfavourable parts.",
                brightness(factor)
            )),
            _ => {}
        }
        match (&self.split, self.limit) {
            (Some(Ok(stretches)), Some(limit)) if stretches.len() > 1 => {
                let named: Vec<String> = stretches.iter().take(MOST_NAMED).map(span).collect();
                let more = if stretches.len() > MOST_NAMED { " …" } else { "" };
                all.push(format!(
                    "At the file's full levels the run takes {} of {:.0} mA each, for pixels {}{more}. Cut the supply wire between them, join all grounds.",
                    counted(stretches.len(), "such source"),
                    limit.ma,
                    named.join("; ")
                ));
            }
            (Some(Err(pixel)), _) => {
                all.push(format!("Pixel {pixel} alone draws more than the supply may give."))
            }
            _ => {}
        }
        all.extend(self.level_in_words());
        all
    }

    fn feeds_in_words(&self) -> String {
        let fed: &[usize] = &self.both.typical.fed_at;
        match &self.feeds[1] {
            Ok(feeds) if feeds.at.len() >= fed.len() && self.both.worst.pixels_below() == 0 => {
                format!("The feeds at {} suffice, even with unfavourable parts.", pixels_in_words(fed))
            }
            Ok(feeds) => self.feed_at(feeds, 1, "suffices even with unfavourable parts"),
            Err(worst) => match &self.feeds[0] {
                Ok(feeds) if self.both.typical.pixels_below() == 0 && feeds.at.len() >= fed.len() => format!(
                    "The feeds at {} suffice with typical parts; with unfavourable parts no feeding does: {worst}.",
                    pixels_in_words(fed)
                ),
                Ok(feeds) => self.feed_at(
                    feeds,
                    0,
                    &format!("suffices with typical parts (with unfavourable ones nothing does: {worst})"),
                ),
                Err(typical) => format!("No feeding gives every pixel its voltage: {typical}."),
            },
        }
    }

    fn feed_at(&self, feeds: &Feeds, case: usize, what: &str) -> String {
        let from_one: Vec<usize> = feeds.at.iter().map(|at| at + 1).collect();
        let wire = self.feed_wire_mm[case].map_or(String::new(), |length| {
            format!("; it takes {} of wire pairs", mm((length / 10.0).round() * 10.0))
        });
        let bound = if feeds.at.len() == feeds.at_least { "the fewest" } else { "the fewest found" };
        format!(
            "Power at {} {what} ({bound}{wire}). In the scene file, which counts from 1: `inject_at: [{}]`.",
            pixels_in_words(&feeds.at),
            listed(&from_one)
        )
    }

    fn level_in_words(&self) -> Option<String> {
        let (hours, level) = (self.wanted_h?, self.for_hours?);
        let of = |factor: Option<f64>| match factor {
            Some(factor) if factor >= 1.0 => "the levels of the file".to_owned(),
            Some(factor) => format!("brightness {} of 255", brightness(factor)),
            None => "no level at all, for even dark pixels empty it sooner".to_owned(),
        };
        Some(format!(
            "To last {}: {}; to be on the safe side {}.",
            hours_in_words(hours),
            of(level.nominal),
            of(level.cautious)
        ))
    }

    /// Current of the supply after the cap, in mA.
    #[must_use]
    pub fn supply_ma(&self) -> f64 {
        self.both.typical.solved.total_a() * MA_PER_A
    }
}

fn pixels_in_words(at: &[usize]) -> String {
    format!("{} {}", if at.len() == 1 { "pixel" } else { "pixels" }, listed(at))
}
