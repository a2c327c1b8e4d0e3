//! The luminance pictures of a film, one after another.
//!
//! A few frames are made at once, each by itself, while the ones before them are handed on in order: what is held in memory does not
//! depend on the length of the film.

use super::pattern::Pattern;
use super::timing::Timing;
use crate::picture::exposure::{self, ExposureValue};
use crate::picture::luminance::LuminanceImage;
use crate::picture::memory::{self, TooLarge, of_film, of_frame};
use crate::picture::plane::Frame;
use crate::picture::projector::Projector;
use crate::scene::{Exposure, Scene};
use rayon::prelude::*;

/// Memory that frames on the way may take, in bytes: luminances, transforms and what is made of them.
const MOST_MEMORY: usize = 512 << 20;
/// Frames whose light is looked at for the exposure.
const EXPOSED_FOR: usize = 8;

/// By pixel and die: the levels of a frame.
pub type Levels = Vec<Vec<f64>>;

/// A projector for all frames of a scene's pattern. Without a pattern all frames are alike.
#[must_use]
pub fn projector(scene: &Scene, frame: Frame, timing: Timing) -> Projector {
    let times = (0..timing.count).map(|i| timing.time_s(i));
    match &scene.pattern {
        Some(pattern) => {
            let lit = pattern.ever_lit(times);
            Projector::new(scene, frame, &|pixel, die| lit[pixel][die])
        }
        None => Projector::new(scene, frame, &|pixel, die| scene.pixels[pixel].levels[die] > 0.0),
    }
}

/// The levels of a scene at a time in s.
#[must_use]
pub fn levels_at(scene: &Scene, time_s: f64) -> Levels {
    match &scene.pattern {
        Some(pattern) => Pattern::levels_at(pattern, time_s),
        None => scene.pixels.iter().map(|pixel| pixel.levels.clone()).collect(),
    }
}

/// How many frames are made at once, while as many others are ready.
#[must_use]
pub fn at_once(projector: &Projector) -> usize {
    let of_both: usize = of_frame(projector).iter().sum();
    (MOST_MEMORY / of_both.max(1)).clamp(1, 2 * rayon::current_num_threads())
}

/// Whether the frames of a film take no more memory than is allowed.
///
/// # Errors
/// When they would take more.
pub fn allowed(projector: &Projector) -> Result<(), TooLarge> {
    memory::allowed(&projector.frame(), of_film(projector, at_once(projector)), memory::MOST_MEMORY)
}

/// Makes every frame and hands it on in order.
///
/// `levels` gives the levels at a time in s. `work` is done with each picture (index, time in s, picture) as soon as it is there, in any
/// order and at once with others: developing, compressing. `sink` then gets each in order: index, time in s, what the work gave.
///
/// # Errors
/// The first that the sink or the work gives; nothing is made after it but what was on the way.
pub fn each<T: Send, E: Send>(
    projector: &Projector,
    timing: Timing,
    levels: &(dyn Fn(f64) -> Levels + Sync),
    work: &(dyn Fn(usize, f64, LuminanceImage) -> Result<T, E> + Sync),
    sink: &mut (dyn FnMut(usize, f64, T) -> Result<(), E> + Send),
) -> Result<(), E> {
    let window = at_once(projector);
    let make = |first: usize| -> Vec<Result<T, E>> {
        let range = first.min(timing.count)..(first + window).min(timing.count);
        let one = |i: usize| {
            let time_s = timing.time_s(i);
            work(i, time_s, projector.picture(&levels(time_s)))
        };
        range.into_par_iter().with_max_len(1).map(one).collect()
    };
    let mut ready = make(0);
    let mut first = 0;
    while first < timing.count {
        let hand_on = |ready: Vec<Result<T, E>>,
                       sink: &mut (dyn FnMut(usize, f64, T) -> Result<(), E> + Send)| {
            ready
                .into_iter()
                .enumerate()
                .try_for_each(|(i, made)| sink(first + i, timing.time_s(first + i), made?))
        };
        let (handed_on, next) = rayon::join(|| hand_on(ready, &mut *sink), || make(first + window));
        handed_on?;
        ready = next;
        first += window;
    }
    Ok(())
}

/// The one exposure of all frames: what the scene fixes, or the automatic one for the brightest of a few frames, so that nothing pumps.
///
/// Looked at are the frame that sends the most light and others at equal distances; films of few frames are looked at whole. A frame
/// between them may be somewhat brighter in places: the tone curve rolls that off.
#[must_use]
pub fn exposure(
    wanted: Exposure,
    projector: &Projector,
    timing: Timing,
    levels: &(dyn Fn(f64) -> Levels + Sync),
) -> ExposureValue {
    if let Exposure::Fixed(ev) = wanted {
        return ExposureValue(ev);
    }
    let sum = |i: usize| levels(timing.time_s(i)).iter().flatten().sum::<f64>();
    let brightest = (0..timing.count).map(|i| (i, sum(i))).max_by(|a, b| a.1.total_cmp(&b.1));
    let step = timing.count.div_ceil(EXPOSED_FOR).max(1);
    let mut looked_at: Vec<usize> = (0..timing.count).step_by(step).collect();
    looked_at.extend(brightest.map(|(i, _)| i).filter(|i| !looked_at.contains(i)));
    let of_frame = |i: usize| {
        let picture = projector.picture(&levels(timing.time_s(i)));
        exposure::automatic([picture.image.planes[1].as_slice()])
    };
    // One after another: each is made on all cores, and only one is held.
    let values = looked_at.into_iter().map(of_frame).map(|ev| ev.0);
    ExposureValue(values.fold(exposure::EV_MIN, f64::max))
}
