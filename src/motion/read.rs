//! From `light.pattern` of a scene file to a [`Pattern`].

use super::pattern::{Course, Keyframe, Pattern, Sent, Steps, Track, ember_waves};
use super::picture::{MOST_PICTURES, MOST_SIDE, Placing, mapped};
use super::shape::{COURSES, KEYFRAME};
use crate::cloth::catalogue::ClothSource;
use crate::diagnose::{Diagnostic, Problem, Problems};
use crate::pixels::package::Package;
use crate::reading::Entry;
use crate::scene::Pixel;
use std::sync::Arc;

/// Length of a loop where nothing else says so, in s.
const USUAL_S: f64 = 10.0;
/// A duration counts as a whole multiple of a period within this share of a period.
const WHOLE: f64 = 1e-6;

/// Reads a pattern over pixels, each with what it is sent without one. `None` after a problem was reported.
pub(crate) fn read(
    entry: &Entry<'_>,
    pixels: &[Pixel],
    sent: &[Sent],
    files: &dyn ClothSource,
    problems: &mut Problems,
    elsewhere: &mut Vec<Diagnostic>,
    read: &mut Vec<String>,
) -> Option<Pattern> {
    let course = COURSES.iter().find(|key| entry.has(key))?;
    let own_s = if entry.has("duration_s") { Some(entry.number("duration_s")?) } else { None };
    let (course, natural_s, period_s) = match *course {
        "keyframes" => {
            let tracks = tracks(entry, pixels, problems)?;
            let last = tracks.iter().flat_map(|t| &t.keyframes).map(|k| k.at_s).fold(0.0, f64::max);
            check_length(entry, last, own_s, problems)?;
            (Course::Keyframes(tracks), last, None)
        }
        "gradient" => {
            let gradient = entry.map("gradient")?;
            let period_s = gradient.number("period_s")?;
            let codes = gradient.colours("colours")?.into_iter().map(code).collect();
            (
                Course::Gradient { colours: codes, places: places(&gradient, pixels)?, period_s },
                period_s,
                Some(period_s),
            )
        }
        "pulse" => {
            let pulse = entry.map("pulse")?;
            let period_s = pulse.number("period_s")?;
            let wave_pixels =
                if pulse.has("wave_pixels") { pulse.number("wave_pixels")? } else { f64::INFINITY };
            (Course::Pulse { period_s, depth: pulse.number("depth")?, wave_pixels }, period_s, Some(period_s))
        }
        "ember" => {
            let duration_s = own_s.unwrap_or(USUAL_S);
            (ember(&entry.map("ember")?, pixels.len(), duration_s, problems)?, USUAL_S, None)
        }
        _ => {
            let picture = entry.map("picture")?;
            let placing = Placing {
                centre_mm: if picture.has("centre_mm") { Some(picture.pair("centre_mm")?) } else { None },
                width_mm: if picture.has("width_mm") { Some(picture.number("width_mm")?) } else { None },
            };
            let path = picture.text("file")?;
            let named = match files.picture_bytes(path) {
                Ok(named) => named,
                Err(faults) => {
                    problems.push(
                        Problem::error(picture.place_of("file"), "the picture cannot be read")
                            .found(path)
                            .next("What is wrong with it follows below."),
                    );
                    elsewhere.extend(faults);
                    return None;
                }
            };
            read.push(named.shown_as.clone());
            let found = mapped(&named.bytes, pixels, placing).map_err(|error| {
                problems.push(
                    Problem::error(picture.place_of("file"), format!("the picture cannot be used: {error}"))
                        .found(path)
                        .allowed(format!(
                            "PNG, JPEG, WebP or GIF, at most {MOST_SIDE} by {MOST_SIDE} and {MOST_PICTURES} pictures"
                        )),
                );
            });
            let found = found.ok()?;
            let length = found.ends_s.last().copied()?;
            let repeats = found.moving.then_some(length);
            (Course::Picture { ends_s: found.ends_s, codes: found.codes }, length, repeats)
        }
    };
    let duration_s = own_s.unwrap_or(natural_s);
    if let Some(period_s) = period_s {
        check_closes(entry, duration_s, period_s, problems);
    }
    let steps = match (entry.text("steps")?, entry.has("dithering_per_s")) {
        ("none", true) => {
            problems.push(
                Problem::error(entry.place_of("dithering_per_s"), "without steps there is nothing to dither")
                    .next("Leave `steps` or `dithering_per_s` out."),
            );
            return None;
        }
        ("none", false) => Steps::None,
        (_, true) => Steps::Dithered { per_s: entry.number("dithering_per_s")? },
        (_, false) => Steps::EightBits,
    };
    let of_pixel =
        |(sent, pixel): (&Sent, &Pixel)| (*sent, pixel.group, Arc::<Package>::clone(&pixel.package));
    let pattern = Pattern {
        pixels: sent.iter().zip(pixels).map(of_pixel).collect(),
        course,
        duration_s,
        frames_per_s: entry.number("frames_per_s")?,
        gamma: entry.number("gamma")?,
        steps,
    };
    Some(pattern)
}

fn code(colour: [u8; 3]) -> [f64; 3] {
    colour.map(|value| f64::from(value) / 255.0)
}

/// The keyframes by group, in the order of the file.
fn tracks(entry: &Entry<'_>, pixels: &[Pixel], problems: &mut Problems) -> Option<Vec<Track>> {
    let groups = pixels.iter().map(|pixel| pixel.group + 1).max().unwrap_or(0);
    let mut tracks: Vec<Track> = Vec::new();
    let mut sound = true;
    for node in entry.items("keyframes") {
        let item = Entry::new(&KEYFRAME, node);
        let group = if item.has("group") { Some(item.count("group")?) } else { None };
        let given = |key: &str| item.has(key);
        let keyframe = Keyframe {
            at_s: item.number("at_s")?,
            colour: if given("colour") { Some(code(item.colour("colour")?)) } else { None },
            white: if given("white") { Some(item.number("white")?) } else { None },
            level: if given("level") { Some(item.number("level")?) } else { None },
            hold: item.flag("hold")?,
        };
        if let Some(group) = group.filter(|group| *group >= groups) {
            problems.push(
                Problem::error(item.place_of("group"), format!("there is no group {group}"))
                    .found(group.to_string())
                    .allowed(format!(
                        "0 to {}: groups are counted from 0 in the order of the file",
                        groups.max(1) - 1
                    )),
            );
            sound = false;
        }
        let known = tracks.iter_mut().find(|track| track.group == group);
        match known {
            Some(track) => {
                let before = track.keyframes.last().map_or(0.0, |k| k.at_s);
                if keyframe.at_s <= before {
                    problems.push(
                        Problem::error(
                            item.place_of("at_s"),
                            "keyframes of one group must follow one another in time",
                        )
                        .found(format!("{} s after {before} s", keyframe.at_s))
                        .allowed(format!("more than {before} s"))
                        .next("For a jump, let the one before `hold: true`."),
                    );
                    sound = false;
                }
                track.keyframes.push(keyframe);
            }
            None => tracks.push(Track { group, keyframes: vec![keyframe] }),
        }
    }
    sound.then_some(tracks)
}

/// Keyframes must leave the loop a length and lie within it.
fn check_length(entry: &Entry<'_>, last_s: f64, own_s: Option<f64>, problems: &mut Problems) -> Option<()> {
    let least = super::shape::DURATION_S.least;
    let problem = match own_s {
        None if last_s < least => Problem::error(entry.place_of("keyframes"), "the pattern has no length")
            .found(format!("a last keyframe at {last_s} s"))
            .allowed(format!("at least {least} s"))
            .next("Give `duration_s`, or a later keyframe."),
        Some(own) if last_s > own => {
            Problem::error(entry.place_of("duration_s"), "a keyframe lies after the end of the loop")
                .found(format!("a last keyframe at {last_s} s, a loop of {own} s"))
                .allowed(format!("at least {last_s} s"))
        }
        _ => return Some(()),
    };
    problems.push(problem);
    None
}

/// Warns where the course jumps at the end of the loop.
fn check_closes(entry: &Entry<'_>, duration_s: f64, period_s: f64, problems: &mut Problems) {
    let turns = duration_s / period_s;
    if turns >= 1.0 - WHOLE && (turns - turns.round()).abs() <= WHOLE * turns.max(1.0) {
        return;
    }
    problems.push(
        Problem::warning(entry.place_of("duration_s"), "the pattern jumps where the loop begins anew")
            .found(format!("{duration_s} s, {turns:.3} periods"))
            .allowed(format!("whole multiples of {period_s} s for a loop that closes")),
    );
}

/// The pixels' places in lengths of a gradient.
fn places(gradient: &Entry<'_>, pixels: &[Pixel]) -> Option<Vec<f64>> {
    if !gradient.has("length_mm") {
        let length =
            if gradient.has("pixels") { gradient.number("pixels")? } else { pixels.len().max(1) as f64 };
        return Some((0..pixels.len()).map(|i| i as f64 / length).collect());
    }
    let length = gradient.number("length_mm")?;
    let (sin, cos) = gradient.number("direction_deg")?.to_radians().sin_cos();
    let along: Vec<f64> = pixels.iter().map(|p| p.at[0].0 * cos + p.at[1].0 * sin).collect();
    let first = along.iter().copied().fold(f64::INFINITY, f64::min);
    Some(along.iter().map(|at| (at - first) / length).collect())
}

fn ember(ember: &Entry<'_>, pixels: usize, duration_s: f64, problems: &mut Problems) -> Option<Course> {
    let [slowest, fastest] = [ember.number("slowest_per_s")?, ember.number("fastest_per_s")?];
    let waves = ember_waves(pixels, duration_s, slowest, fastest, ember.number("seed")? as u64);
    if waves.is_none() {
        problems.push(
            Problem::error(ember.place(), "no swell of this ember closes within the loop")
                .found(format!("{slowest} to {fastest} swells a second in a loop of {duration_s} s"))
                .allowed("a range that holds a whole number of swells a loop")
                .next("Make `duration_s` longer, or `fastest_per_s` greater."),
        );
    }
    Some(Course::Ember { depth: ember.number("depth")?, waves: waves? })
}
