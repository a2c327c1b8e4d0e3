//! How far off the cloth must stand.
//!
//! # Model
//! The gap between the pixels and the first cloth is varied, everything else stays. At each gap the dot visibility V
//! ([`crate::judge::dots`]) says how the glow looks ([`crate::judge::softness`]); the answer is the smallest gap at which it is soft or
//! smooth, or the largest at which hard dots still show. The cloths' uncertainty goes through by the seeded samples of
//! [`crate::judge::numbers`]: each sample has a curve of its own and so a gap of its own.
//!
//! # Assumptions and validity
//! The gap is air: a spacer stands beside the pixels, not over them. V need not fall all the way: light that comes straight
//! through holes stays as sharp as it was while the glow around it spreads out and gets weaker, so behind an open cloth V falls,
//! has a least value and rises again. The first stretch of gaps counts; where it ends is told.
//!
//! Spacers come in whole millimetres: foam and felt are sold or stacked so (common practice, no source).

mod curve;
mod remedies;

pub use curve::{Curve, Stretch};
pub use remedies::{Change, Reason, Remedy, TRIED, USUAL_PITCHES_MM, reason, remedies};

use crate::judge::numbers::{Judged, Layout, Numbers, Range};
use crate::judge::pace::{Pace, Straight};
use crate::judge::softness::Softness;
use crate::quantity::Millimetres;
use crate::scene::Scene;

/// Gaps of a sweep.
pub const GAPS: usize = 41;
/// Every so many of them the cloths' uncertainty is sampled as well: bands are smooth.
const SAMPLED_EVERY: usize = 4;
/// A sweep reaches this many pitches if dots do not vanish before: three times the trade's rule of thumb.
const MOST_PITCHES: f64 = 3.0;
/// It reaches at least so far, in mm: thinner spacers are no trouble to a maker.
const LEAST_END_MM: f64 = 20.0;
/// And at most so far, in mm: a hand's breadth; clothing that stands off farther is a costume built on a frame.
const MOST_END_MM: f64 = 100.0;
/// It ends this much beyond the gap at which dots vanish, so that what more gap does is seen and the ranges fit in.
const BEYOND: f64 = 1.5;
/// Its end is rounded up to such steps, in mm.
const END_STEP_MM: f64 = 5.0;
/// Gaps of the rough first look.
const ROUGH: usize = 12;
/// The deciding gap is found to this, in mm: far below what a maker can build.
const FOUND_TO_MM: f64 = 0.02;
/// A step is sure when it does in this share of the samples.
pub const SURE: f64 = 0.9;
/// Whole millimetres tried beyond the one that the curves give as sure.
const MOST_TRIES: usize = 3;

/// Why no gap can be chosen for a scene.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unjudgeable {
    /// It has no cloth.
    NoCloth,
    /// It has no pixels.
    NoPixels,
    /// All its pixels are dark.
    Dark,
    /// No two of its lit pixels are neighbours.
    Single,
}

/// A scene whose gap is to be chosen.
#[derive(Clone, Debug)]
pub struct Subject {
    scene: Scene,
    layout: Layout,
    pitch_mm: f64,
}

impl Subject {
    /// Prepares a scene.
    ///
    /// # Errors
    /// When the scene has nothing whose dots a gap could hide.
    pub fn new(scene: Scene) -> Result<Subject, Unjudgeable> {
        if scene.pixels.is_empty() {
            return Err(Unjudgeable::NoPixels);
        }
        if scene.stack.is_empty() {
            return Err(Unjudgeable::NoCloth);
        }
        if scene.pixels.iter().all(|pixel| pixel.levels.iter().all(|level| *level <= 0.0)) {
            return Err(Unjudgeable::Dark);
        }
        let layout = Layout::of(&scene);
        let Some(pitch_mm) = layout.pitch_mm() else { return Err(Unjudgeable::Single) };
        let subject = Subject { scene, layout, pitch_mm };
        if subject.visibility(pitch_mm).is_nan() {
            return Err(Unjudgeable::Single);
        }
        Ok(subject)
    }

    /// The scene.
    #[must_use]
    pub fn scene(&self) -> &Scene {
        &self.scene
    }

    /// Distance between neighbouring pixels in mm.
    #[must_use]
    pub fn pitch_mm(&self) -> f64 {
        self.pitch_mm
    }

    /// Gap of the scene as it is, in mm.
    #[must_use]
    pub fn own_gap_mm(&self) -> f64 {
        self.scene.stack.first().map_or(0.0, |placed| placed.gap_below.0)
    }

    fn numbers(&self, gaps_mm: &[f64]) -> Vec<Numbers> {
        self.layout.numbers_over_gaps(&self.scene, gaps_mm)
    }

    /// Dot visibility at a gap in mm.
    fn visibility(&self, gap_mm: f64) -> f64 {
        self.numbers(&[gap_mm]).first().map_or(f64::NAN, seen)
    }

    /// Visibility against gap between two gaps in mm, without ranges, at `count` gaps.
    fn rough(&self, from_mm: f64, to_mm: f64, count: usize) -> Curve {
        let Ok(curve) = self.curve_at(&Straight, &gaps(from_mm, to_mm, count));
        curve
    }

    /// Visibility against these gaps in mm, without ranges, at a pace.
    ///
    /// # Errors
    /// When the pace gives the work up.
    pub fn curve_at<P: Pace>(&self, pace: &P, gaps_mm: &[f64]) -> Result<Curve, P::Stop> {
        let numbers = self.layout.numbers_over_gaps_at(pace, &self.scene, gaps_mm)?;
        Ok(Curve::new(gaps_mm.iter().copied().zip(numbers.iter().map(seen))))
    }

    /// The deciding gap of a curve, made exact by computing between its points.
    fn refined(&self, curve: &Curve, want: Softness) -> Option<Stretch> {
        let stretch = *curve.met(want).first()?;
        let decides = curve::deciding(want, &stretch);
        let Some((a, b)) = curve.around(decides) else { return Some(stretch) };
        let bound = want.bound().ln();
        let difference = |gap: f64| self.visibility(gap).ln() - bound;
        let (at_a, at_b) = (curve.at(a).ln() - bound, curve.at(b).ln() - bound);
        if (at_a > 0.0) == (at_b > 0.0) {
            return Some(stretch);
        }
        let exact = curve::crossing((a, at_a), (b, at_b), FOUND_TO_MM, &difference);
        Some(match want {
            Softness::Dots => Stretch { to_mm: exact, ..stretch },
            _ => Stretch { from_mm: exact, ..stretch },
        })
    }
}

/// The dot visibility of numbers.
pub(crate) fn seen(numbers: &Numbers) -> f64 {
    numbers.dot_visibility.unwrap_or(f64::NAN)
}

/// Gaps from one to another in mm, evenly.
#[must_use]
pub fn gaps(from_mm: f64, to_mm: f64, count: usize) -> Vec<f64> {
    let last = count.max(2) - 1;
    (0..=last).map(|i| from_mm + (to_mm - from_mm) * i as f64 / last as f64).collect()
}

/// Where a sweep that begins at no gap ends, in mm: beyond the gap at which the dots vanish of the scene in which they do so
/// last. Three pitches at most, within bounds, where they do not.
#[must_use]
pub fn end_mm(subjects: &[Subject]) -> f64 {
    let Ok(end) = end_mm_at(&Straight, subjects);
    end
}

/// As [`end_mm`], at a pace.
///
/// # Errors
/// When the pace gives the work up.
pub fn end_mm_at<P: Pace>(pace: &P, subjects: &[Subject]) -> Result<f64, P::Stop> {
    let mut farthest = LEAST_END_MM;
    for subject in subjects {
        let most = (MOST_PITCHES * subject.pitch_mm).clamp(LEAST_END_MM, MOST_END_MM);
        let vanish = subject.curve_at(pace, &gaps(0.0, most, ROUGH))?.deciding(Softness::Smooth);
        let end = vanish.map_or(most, |gap| (BEYOND * gap).max(subject.pitch_mm));
        farthest = farthest.max(end.clamp(LEAST_END_MM, most));
    }
    Ok((farthest / END_STEP_MM).ceil() * END_STEP_MM)
}

/// The numbers over the gap.
#[derive(Clone, Debug)]
pub struct Sweep {
    /// Gaps in mm.
    pub gaps_mm: Vec<f64>,
    /// The numbers at each.
    pub values: Vec<Numbers>,
    /// The numbers with their samples, at some of the gaps and at those that were looked at more closely.
    pub judged: Vec<(f64, Judged)>,
}

impl Sweep {
    /// Sweeps over gaps in mm, rising. `done` is called after each piece of the work, [`PIECES`] times.
    #[must_use]
    pub fn over(subject: &Subject, gaps_mm: &[f64], done: &dyn Fn()) -> Sweep {
        let Ok(sweep) = Sweep::at(&Straight, subject, gaps_mm, done);
        sweep
    }

    /// As [`Sweep::over`], at a pace.
    ///
    /// # Errors
    /// When the pace gives the work up.
    pub fn at<P: Pace>(
        pace: &P,
        subject: &Subject,
        gaps_mm: &[f64],
        done: &dyn Fn(),
    ) -> Result<Sweep, P::Stop> {
        let values = subject.layout.numbers_over_gaps_at(pace, &subject.scene, gaps_mm)?;
        done();
        let last = gaps_mm.len().saturating_sub(1);
        let sampled: Vec<f64> = gaps_mm
            .iter()
            .enumerate()
            .filter(|(i, _)| i % SAMPLED_EVERY == 0 || *i == last)
            .map(|(_, gap)| *gap)
            .collect();
        let mut judged = Vec::new();
        for piece in sampled.chunks(sampled.len().div_ceil(PIECES - 1).max(1)) {
            let at_piece = subject.layout.judged_over_gaps_at(pace, &subject.scene, piece)?;
            judged.extend(piece.iter().copied().zip(at_piece));
            done();
        }
        Ok(Sweep { gaps_mm: gaps_mm.to_vec(), values, judged })
    }

    /// Visibility against gap for the cloths as described.
    #[must_use]
    pub fn curve(&self) -> Curve {
        let judged = self.judged.iter().map(|(gap, judged)| (*gap, seen(&judged.value)));
        Curve::new(self.gaps_mm.iter().copied().zip(self.values.iter().map(seen)).chain(judged))
    }

    /// Visibility against gap in each sample of the cloths' uncertainty; none where nothing is uncertain. The ratio to the cloths as
    /// described changes slowly with the gap, so that it is the ratio that is taken between the gaps that were sampled.
    #[must_use]
    pub fn sample_curves(&self) -> Vec<Curve> {
        let curve = self.curve();
        let count = self.judged.iter().map(|(_, judged)| judged.samples.len()).min().unwrap_or(0);
        let ratios = |i: usize| {
            let ratio = |judged: &Judged| seen(&judged.samples[i]) / seen(&judged.value);
            Curve::new(self.judged.iter().map(|(gap, judged)| (*gap, ratio(judged))))
        };
        (0..count).map(|i| curve.times(&ratios(i))).collect()
    }

    /// Ends of the sweep in mm.
    #[must_use]
    pub fn ends_mm(&self) -> (f64, f64) {
        (self.gaps_mm.first().copied().unwrap_or(f64::NAN), self.gaps_mm.last().copied().unwrap_or(f64::NAN))
    }
}

/// Pieces in which a sweep tells of its progress, at most.
pub const PIECES: usize = 5;

/// A gap in whole millimetres, with what it does.
#[derive(Clone, Debug)]
pub struct Step {
    /// The gap in mm.
    pub gap_mm: f64,
    /// The numbers there.
    pub judged: Judged,
    /// Share of the samples in which it does what is wanted; 1 where nothing is uncertain.
    pub share: f64,
}

impl Step {
    fn new(gap_mm: f64, judged: Judged, want: Softness) -> Step {
        let met = judged.samples.iter().filter(|n| want.is_met_by(seen(n))).count();
        let count = judged.samples.len();
        let share = if count == 0 {
            f64::from(u8::from(want.is_met_by(seen(&judged.value))))
        } else {
            met as f64 / count as f64
        };
        Step { gap_mm, judged, share }
    }

    /// Dot visibility for the cloths as described.
    #[must_use]
    pub fn visibility(&self) -> f64 {
        seen(&self.judged.value)
    }
}

/// The gap that does what is wanted.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The smallest gap that does, or the largest for dots, in mm, with its range over the samples. An infinite end: in some
    /// samples no gap of the sweep does.
    pub gap: Range,
    /// From here on it no longer does within the sweep, in mm (for dots: it does from this gap on); `None` where the stretch
    /// reaches the sweep's end (for dots: its beginning).
    pub other_end_mm: Option<f64>,
    /// The whole millimetre to buy or stack.
    pub step: Step,
    /// The next whole millimetre on the other side, which does not do; `None` beyond the sweep.
    pub next: Option<Step>,
    /// The whole millimetre that does in at least [`SURE`] of the samples; `None` where none of the sweep does.
    pub sure: Option<Step>,
}

/// What was found for one scene.
#[derive(Clone, Debug)]
pub struct Found {
    /// Distance between neighbouring pixels in mm.
    pub pitch_mm: f64,
    /// What was wanted.
    pub want: Softness,
    /// The sweep.
    pub sweep: Sweep,
    /// The deciding gap in mm for each softness, in the order of [`Softness::ALL`].
    pub softness: [Option<Range>; 3],
    /// The answer; `None` where no gap does, or no whole millimetre.
    pub answer: Option<Answer>,
    /// Gap in mm and dot visibility nearest to what is wanted.
    pub best: (f64, f64),
    /// Dot visibility at a gap of one pitch, the trade's rule of thumb (common practice, no source).
    pub at_one_pitch: f64,
    /// Gap in mm of the scene as it is and dot visibility there.
    pub own: (f64, f64),
}

/// Pieces in which [`find`] tells of its progress, at most.
pub const FIND_PIECES: usize = PIECES + 2;

/// Finds the gap that does what is wanted, among gaps in mm, rising.
#[must_use]
pub fn find(subject: &Subject, gaps_mm: &[f64], want: Softness, done: &dyn Fn()) -> Found {
    let mut sweep = Sweep::over(subject, gaps_mm, done);
    let curve = sweep.curve();
    let exact = subject.refined(&curve, want);
    let steps = exact.and_then(|stretch| steps(subject, &mut sweep, want, &stretch));
    done();
    let samples = sweep.sample_curves();
    let softness = Softness::ALL.map(|each| {
        let gap = if each == want {
            exact.map(|stretch| curve::deciding(want, &stretch))
        } else {
            curve.deciding(each)
        };
        gap.map(|gap| curve::gap_range(gap, &samples, each))
    });
    let [dots, soft, smooth] = softness;
    let gap = match want {
        Softness::Dots => dots,
        Softness::Soft => soft,
        Softness::Smooth => smooth,
    };
    let answer = steps.zip(exact).zip(gap).map(|(((step, next, sure), stretch), gap)| Answer {
        gap,
        other_end_mm: other_end(want, &stretch, sweep.ends_mm()),
        step,
        next,
        sure,
    });
    let own = subject.own_gap_mm();
    let more: Vec<f64> = subject.numbers(&[subject.pitch_mm, own]).iter().map(seen).collect();
    done();
    Found {
        pitch_mm: subject.pitch_mm,
        want,
        softness,
        answer,
        best: curve.best(want).unwrap_or((f64::NAN, f64::NAN)),
        at_one_pitch: more.first().copied().unwrap_or(f64::NAN),
        own: (own, more.get(1).copied().unwrap_or(f64::NAN)),
        sweep,
    }
}

/// The end of a stretch that does not decide, where it lies inside the sweep.
fn other_end(want: Softness, stretch: &Stretch, (from, to): (f64, f64)) -> Option<f64> {
    match want {
        Softness::Dots => Some(stretch.from_mm).filter(|mm| *mm > from),
        _ => Some(stretch.to_mm).filter(|mm| *mm < to),
    }
}

/// The step to buy, its neighbour on the other side, and the step that is sure. What is computed on the way joins the sweep.
fn steps(
    subject: &Subject,
    sweep: &mut Sweep,
    want: Softness,
    stretch: &Stretch,
) -> Option<(Step, Option<Step>, Option<Step>)> {
    let (from, to) = sweep.ends_mm();
    let safe = if want == Softness::Dots { -1.0 } else { 1.0 };
    let inside = |mm: f64| (from..=to).contains(&mm);
    let mut known: Vec<Step> = Vec::new();
    let mut step_at = |mm: f64| -> Step {
        if let Some(step) = known.iter().find(|step| step.gap_mm == mm) {
            return step.clone();
        }
        let judged = subject.layout.judged(&subject.scene.at_gap(Millimetres(mm)));
        known.push(Step::new(mm, judged, want));
        known[known.len() - 1].clone()
    };
    let mm = curve::whole_step(want, stretch)?;
    // The crossing is exact to a little less than nothing: a gap just on the wrong side moves on by one.
    let mm =
        [mm, mm + safe].into_iter().find(|mm| inside(*mm) && want.is_met_by(step_at(*mm).visibility()))?;
    let step = step_at(mm);
    let next = Some(mm - safe).filter(|mm| inside(*mm)).map(&mut step_at);
    let sure = if step.share >= SURE {
        Some(step.clone())
    } else {
        sure_step(want, mm + safe, safe, &sweep.sample_curves(), &inside, &mut step_at)
    };
    sweep.judged.extend(known.into_iter().map(|step| (step.gap_mm, step.judged)));
    sweep.judged.sort_by(|a, b| a.0.total_cmp(&b.0));
    sweep.judged.dedup_by(|a, b| a.0 == b.0);
    Some((step, next, sure))
}

/// The first whole millimetre from `mm` to the safe side that does in at least [`SURE`] of the samples. The curves say where to
/// begin; what counts is computed there.
fn sure_step(
    want: Softness,
    mm: f64,
    safe: f64,
    samples: &[Curve],
    inside: &dyn Fn(f64) -> bool,
    step_at: &mut dyn FnMut(f64) -> Step,
) -> Option<Step> {
    let share = |mm: f64| {
        let met = samples.iter().filter(|curve| want.is_met_by(curve.at(mm))).count();
        if samples.is_empty() { 1.0 } else { met as f64 / samples.len() as f64 }
    };
    let mut candidates = (0..).map(|i| mm + safe * f64::from(i)).take_while(|mm| inside(*mm));
    let first = candidates.find(|mm| share(*mm) >= SURE)?;
    (0..MOST_TRIES)
        .map(|i| first + safe * i as f64)
        .take_while(|mm| inside(*mm))
        .map(step_at)
        .find(|step| step.share >= SURE)
}

#[cfg(test)]
mod tests;
