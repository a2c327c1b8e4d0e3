//! Levels that change with time.
//!
//! # Model
//! Every pixel is sent a colour code c (0 to 1: red, green, blue and a white of its own) and is dimmed to a level l, as in a scene without
//! a pattern. A pattern changes c or l with the time t; what a die then gets is
//!
//! ```text
//! d = round(255 l c^gamma) / 255
//! ```
//!
//! `gamma` is the curve that many programs put over their codes, 1 for none. A pixel takes whole numbers from 0 to 255 (protocols of
//! addressable pixels, common practice), so that slow fades at low levels go in steps. A program that dithers sends the number below and
//! the number above by turns, `per_s` times a second; the eye sees the mean of what is sent during a frame. The turns follow the fractional
//! parts of multiples of the golden ratio, which are spread evenly (Weyl; from memory), each pixel with another start.
//!
//! | pattern | what it does |
//! |---|---|
//! | keyframes | code and level at given times, straight lines or steps between them; after the last back to the first |
//! | gradient | `c = colours(x / length - t / period)`, x along the wiring or across the garment; colours go round |
//! | pulse | `l (1 - depth (1 - cos 2 pi (t / period - i / wave)) / 2)` |
//! | ember | `l (1 - depth (1 - s_i(t)) / 2)`, s_i a sum of a few sines with rates m / duration between `slowest` and `fastest` |
//! | picture | c is the mean code of the picture over the pixel's cell |
//!
//! The swelling factor of pulse and ember acts on the code, so that gamma bends it as it does in a program.
//!
//! # Validity
//! Times wrap at the duration. Seeds: `rand_pcg`'s `Pcg64Mcg`, whose numbers are the same on every machine.
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | c, l, d | code, level, duty of a die | 1 |
//! | t | time | s |
//! | i | number of the pixel in wiring order | |
//! | s | a course between -1 and 1 | 1 |

use crate::pixels::package::{Die, Package};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use std::f64::consts::TAU;
use std::sync::Arc;

/// The greatest number that is sent to a pixel.
const EIGHT_BITS: f64 = 255.0;
/// The golden ratio less one.
const GOLDEN: f64 = 0.618_033_988_749_894_9;
/// Sines of an ember: more of them average out to an even glow, fewer repeat visibly.
const EMBER_WAVES: usize = 3;

/// What a pixel is sent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sent {
    /// Codes of red, green and blue, 0 to 1.
    pub colour: [f64; 3],
    /// Code of a white die beside coloured ones, 0 to 1.
    pub white: f64,
    /// Level, 0 to 1.
    pub level: f64,
}

impl Sent {
    fn swelling(mut self, factor: f64) -> Sent {
        self.colour = self.colour.map(|c| c * factor);
        self.white *= factor;
        self
    }
}

/// One keyframe; what it leaves open is as the pixel has it without a pattern.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Keyframe {
    /// When, in s from the start of the loop.
    pub at_s: f64,
    /// Codes of red, green and blue.
    pub colour: Option<[f64; 3]>,
    /// Code of the white die.
    pub white: Option<f64>,
    /// Level.
    pub level: Option<f64>,
    /// Whether it holds until the next one, instead of a straight line to it.
    pub hold: bool,
}

/// Keyframes of one group of pixels, or of all that have none of their own; times rise.
#[derive(Clone, Debug, PartialEq)]
pub struct Track {
    /// The group; `None` for all others.
    pub group: Option<usize>,
    /// At least one.
    pub keyframes: Vec<Keyframe>,
}

/// A sine of an ember: rate in turns a loop, phase in turns, share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wave {
    /// Turns a loop.
    pub turns: f64,
    /// Phase in turns.
    pub phase: f64,
    /// Its share of the course.
    pub share: f64,
}

/// How a pattern runs.
#[derive(Clone, Debug, PartialEq)]
pub enum Course {
    /// Colours and levels at given times.
    Keyframes(Vec<Track>),
    /// Colours that drift.
    Gradient {
        /// Codes; after the last comes the first again.
        colours: Vec<[f64; 3]>,
        /// Of each pixel: its place in lengths of the gradient.
        places: Vec<f64>,
        /// Time in which the colours move on by one length, in s; infinite for none.
        period_s: f64,
    },
    /// A level that swells and falls.
    Pulse {
        /// From crest to crest, in s.
        period_s: f64,
        /// Share of the level that is lost in the trough.
        depth: f64,
        /// Pixels from crest to crest along the wiring; infinite where all swell together.
        wave_pixels: f64,
    },
    /// Random flicker.
    Ember {
        /// Share of the level that may be lost.
        depth: f64,
        /// By pixel.
        waves: Vec<[Wave; EMBER_WAVES]>,
    },
    /// A picture or a moving picture laid over the pixels.
    Picture {
        /// When each picture ends, in s, rising.
        ends_s: Vec<f64>,
        /// By picture, by pixel: codes over 65535.
        codes: Vec<Vec<[u16; 3]>>,
    },
}

/// How numbers are sent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Steps {
    /// Without steps, which no pixel does.
    None,
    /// Whole numbers from 0 to 255.
    EightBits,
    /// Whole numbers by turns.
    Dithered {
        /// How often new numbers are sent, in 1/s.
        per_s: f64,
    },
}

/// A pattern over all pixels of a scene.
#[derive(Clone, Debug, PartialEq)]
pub struct Pattern {
    /// By pixel: what it is sent without the pattern, its group and its package.
    pub pixels: Vec<(Sent, usize, Arc<Package>)>,
    /// How it runs.
    pub course: Course,
    /// Length of one loop, in s.
    pub duration_s: f64,
    /// Frames a second of films.
    pub frames_per_s: f64,
    /// Exponent over the codes.
    pub gamma: f64,
    /// How numbers are sent.
    pub steps: Steps,
}

impl Pattern {
    /// The level of each die, by pixel in wiring order and die of its package, at a time in s; times beyond the loop begin it anew.
    #[must_use]
    pub fn levels_at(&self, time_s: f64) -> Vec<Vec<f64>> {
        let t = time_s.rem_euclid(self.duration_s);
        (0..self.pixels.len()).map(|i| self.levels_of(i, t)).collect()
    }

    fn levels_of(&self, pixel: usize, t: f64) -> Vec<f64> {
        let package = &self.pixels[pixel].2;
        let sent = self.sent(pixel, t);
        let curve = |code: f64| code.clamp(0.0, 1.0).powf(self.gamma);
        let duties = package.raw_levels(sent.colour.map(curve), sent.level);
        let white = (curve(sent.white) * sent.level).clamp(0.0, 1.0);
        let beside = package.dies.len() > 1;
        package
            .dies
            .iter()
            .zip(duties)
            .map(|(facts, duty)| if beside && facts.die == Die::White { white } else { duty })
            .map(|duty| self.stepped(duty, pixel, t))
            .collect()
    }

    /// What is sent to a pixel at a time within the loop.
    #[must_use]
    pub fn sent(&self, pixel: usize, t: f64) -> Sent {
        let (own, group, _) = &self.pixels[pixel];
        match &self.course {
            Course::Keyframes(tracks) => {
                let track = tracks.iter().find(|track| track.group == Some(*group));
                let track = track.or_else(|| tracks.iter().find(|track| track.group.is_none()));
                track.map_or(*own, |track| track.at(*own, t, self.duration_s))
            }
            Course::Gradient { colours, places, period_s } => {
                Sent { colour: around(colours, places[pixel] - t / period_s), ..*own }
            }
            Course::Pulse { period_s, depth, wave_pixels } => {
                let turns = t / period_s - pixel as f64 / wave_pixels;
                own.swelling(1.0 - 0.5 * depth * (1.0 - (TAU * turns).cos()))
            }
            Course::Ember { depth, waves } => {
                let course: f64 = waves[pixel]
                    .iter()
                    .map(|wave| wave.share * (TAU * (wave.turns * t / self.duration_s + wave.phase)).sin())
                    .sum();
                own.swelling(1.0 - 0.5 * depth * (1.0 - course))
            }
            Course::Picture { ends_s, codes } => {
                let shown = ends_s.partition_point(|end| *end <= t).min(codes.len().saturating_sub(1));
                let code = codes.get(shown).and_then(|codes| codes.get(pixel)).copied().unwrap_or_default();
                Sent { colour: code.map(|c| f64::from(c) / f64::from(u16::MAX)), ..*own }
            }
        }
    }

    /// A duty as it is sent.
    fn stepped(&self, duty: f64, pixel: usize, t: f64) -> f64 {
        match self.steps {
            Steps::None => duty,
            Steps::EightBits => (EIGHT_BITS * duty).round() / EIGHT_BITS,
            Steps::Dithered { per_s } => {
                let sendings = (per_s / self.frames_per_s).round().max(1.0) as u64;
                let first = (t * per_s + 1e-9).floor();
                let start = pixel as f64 * GOLDEN * GOLDEN;
                let sum: f64 = (0..sendings)
                    .map(|n| (EIGHT_BITS * duty + ((first + n as f64) * GOLDEN + start).fract()).floor())
                    .sum();
                (sum / sendings as f64 / EIGHT_BITS).min(1.0)
            }
        }
    }

    /// Whether each die of each pixel may ever be lit: at some frame of the loop or of a film at any usual rate.
    #[must_use]
    pub fn ever_lit(&self, frames: impl IntoIterator<Item = f64>) -> Vec<Vec<bool>> {
        let dies = |(_, _, package): &(Sent, usize, Arc<Package>)| vec![false; package.dies.len()];
        let mut lit: Vec<Vec<bool>> = self.pixels.iter().map(dies).collect();
        for time_s in frames {
            for (lit, levels) in lit.iter_mut().zip(self.levels_at(time_s)) {
                lit.iter_mut().zip(levels).for_each(|(lit, level)| *lit |= level > 0.0);
            }
        }
        lit
    }
}

impl Track {
    fn at(&self, own: Sent, t: f64, duration_s: f64) -> Sent {
        let keyframes = &self.keyframes;
        let sent = |k: &Keyframe| Sent {
            colour: k.colour.unwrap_or(own.colour),
            white: k.white.unwrap_or(own.white),
            level: k.level.unwrap_or(own.level),
        };
        let after = keyframes.partition_point(|k| k.at_s <= t);
        let count = keyframes.len();
        let (from, to) = (&keyframes[(after + count - 1) % count], &keyframes[after % count]);
        // Before the first and after the last keyframe the way leads over the end of the loop.
        let begin = if after == 0 { from.at_s - duration_s } else { from.at_s };
        let end = if after == count { to.at_s + duration_s } else { to.at_s };
        let share = if from.hold || end <= begin { 0.0 } else { (t - begin) / (end - begin) };
        let mix = |a: f64, b: f64| a + share * (b - a);
        let (a, b) = (sent(from), sent(to));
        Sent {
            colour: std::array::from_fn(|c| mix(a.colour[c], b.colour[c])),
            white: mix(a.white, b.white),
            level: mix(a.level, b.level),
        }
    }
}

/// The colour at a place on the circle of colours, in turns, by straight lines between neighbours.
fn around(colours: &[[f64; 3]], turns: f64) -> [f64; 3] {
    let at = turns.rem_euclid(1.0) * colours.len() as f64;
    let (first, share) = (at as usize % colours.len(), at.fract());
    let next = (first + 1) % colours.len();
    std::array::from_fn(|c| colours[first][c] + share * (colours[next][c] - colours[first][c]))
}

/// Random waves for each pixel whose rates lie between two, in 1/s, and which all close after the duration in s. `None` when no
/// whole number of turns lies between.
#[must_use]
pub fn ember_waves(
    pixels: usize,
    duration_s: f64,
    slowest_per_s: f64,
    fastest_per_s: f64,
    seed: u64,
) -> Option<Vec<[Wave; EMBER_WAVES]>> {
    // A rate named by the file counts as within, whatever the rounding.
    let (least, most) =
        ((slowest_per_s * duration_s - 1e-9).ceil().max(1.0), (fastest_per_s * duration_s + 1e-9).floor());
    if least > most {
        return None;
    }
    let wave = |random: &mut Pcg64Mcg| Wave {
        turns: (least + (random.random::<f64>() * (most - least + 1.0)).floor()).min(most),
        phase: random.random(),
        share: 1.0 / EMBER_WAVES as f64,
    };
    let mut random = Pcg64Mcg::seed_from_u64(seed);
    Some((0..pixels).map(|_| std::array::from_fn(|_| wave(&mut random))).collect())
}
