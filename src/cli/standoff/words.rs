//! What was found, in plain words: the answer first.

use super::{Case, Report};
use crate::choose::standoff::{Answer, Change, Reason, Remedy, SURE, Step};
use crate::cloth::Basis;
use crate::judge::numbers::Range;
use crate::judge::softness::{Softness, look};
use crate::scene::Scene;
use crate::words::{at_most_three_digits, three_digits};

/// A gap this close to an end of the sweep is that end, in mm.
const AT_END_MM: f64 = 1e-6;

/// Everything for standard output.
pub(super) fn told(report: &Report) -> String {
    let mut lines: Vec<String> = thinnest(report).into_iter().collect();
    for case in &report.cases {
        lines.extend(of_case(report, case));
        lines.push(String::new());
    }
    lines.extend(report.cases.first().map(|case| notes(case.scene())).unwrap_or_default());
    lines.push(written(report));
    lines.join("\n")
}

/// Which of several pitches needs least depth.
fn thinnest(report: &Report) -> Option<String> {
    let depth = |case: &Case| Some(case.found.answer.as_ref()?.step.judged.value.thickness_mm);
    let done: Vec<(&Case, f64)> =
        report.cases.iter().filter_map(|case| depth(case).map(|mm| (case, mm))).collect();
    let (case, mm) = done.iter().min_by(|a, b| a.1.total_cmp(&b.1)).filter(|_| report.cases.len() > 1)?;
    if done.iter().all(|(_, other)| other == mm) {
        return None;
    }
    let pitch = millimetres(case.found.pitch_mm);
    Some(format!("Pixels {pitch} apart do it thinnest: {} in all.\n", millimetres(*mm)))
}

fn written(report: &Report) -> String {
    let names: Vec<String> =
        report.targets.iter().chain(&report.csv).map(|target| target.display().to_string()).collect();
    match names.as_slice() {
        [one] => format!("Wrote {one}."),
        [most @ .., last] => format!("Wrote {} and {last}.", most.join(", ")),
        [] => String::new(),
    }
}

fn of_case(report: &Report, case: &Case) -> Vec<String> {
    let mut lines = vec![headline(report, case, &from_where(case.scene()))];
    match &case.found.answer {
        Some(answer) => lines.extend(at_the_answer(report, case, answer)),
        None => lines.extend(instead(case)),
    }
    lines.extend(others(case));
    lines.push(rule_of_thumb(case));
    lines.push(format!(
        "The scene as it is, with a gap of {}: {}.",
        millimetres(case.found.own.0),
        seen_as(case.found.own.1)
    ));
    lines
}

/// From where it is seen, to be put into a sentence.
pub(super) fn from_where(scene: &Scene) -> String {
    format!(", seen from {} m", at_most_three_digits(scene.view.distance_m))
}

/// The answer in one sentence; `from_where` is put into it.
pub(super) fn headline(report: &Report, case: &Case, from_where: &str) -> String {
    let which = if report.cases.len() > 1 {
        format!("Pixels {} apart: ", millimetres(case.found.pitch_mm))
    } else {
        String::new()
    };
    let sentence = match &case.found.answer {
        Some(answer) => found(case, answer, from_where),
        None => not_found(case, from_where),
    };
    if which.is_empty() { sentence } else { format!("{which}{}", uncapitalised(&sentence)) }
}

fn found(case: &Case, answer: &Answer, from_where: &str) -> String {
    let (from, to) = case.found.sweep.ends_mm();
    let gap = answer.gap.value;
    let (at_begin, at_end) = (gap <= from + AT_END_MM, gap >= to - AT_END_MM);
    let range = range_in_words(&answer.gap, to);
    match case.found.want {
        Softness::Dots if at_end => {
            format!("Hard dots show at every gap up to {}{from_where}.", millimetres(to))
        }
        Softness::Dots => format!("Hard dots show up to a gap of {}{from_where}{range}.", millimetres(gap)),
        Softness::Smooth if at_begin && from == 0.0 => {
            format!("No dots show even with the cloth right on the pixels{from_where}.")
        }
        Softness::Smooth if at_begin => format!("No dots show from {} on{from_where}.", millimetres(from)),
        Softness::Soft if at_begin && from == 0.0 => {
            format!("The glow is soft even with the cloth right on the pixels{from_where}.")
        }
        Softness::Smooth => format!("Dots vanish from {} on{from_where}{range}.", millimetres(gap)),
        Softness::Soft => format!("The glow is soft from {} on{from_where}{range}.", millimetres(gap)),
    }
}

fn not_found(case: &Case, from_where: &str) -> String {
    let (from, to) = case.found.sweep.ends_mm();
    let gaps = format!("No gap from {} to {}", number(from), millimetres(to));
    let (best_mm, best) = case.found.best;
    let at_best = format!("at best, at {}, {}", millimetres(best_mm), times(best));
    match case.found.want {
        Softness::Dots => format!("{gaps} shows hard dots{from_where}: {at_best}."),
        Softness::Soft => format!("{gaps} gives a soft glow{from_where}: {at_best}."),
        Softness::Smooth => format!("{gaps} makes the dots vanish{from_where}: {at_best}."),
    }
}

/// What to buy, how sure it is, and what the glow is there.
fn at_the_answer(report: &Report, case: &Case, answer: &Answer) -> Vec<String> {
    let mut lines = vec![to_buy(case, answer)];
    let step = &answer.step;
    let light = step.judged.range(|n| 100.0 * n.light_kept);
    let mean = step.judged.range(|n| n.mean_cd_m2);
    lines.push(format!(
        "There the cloth keeps {} % of the light{}, the glow between the pixels is {} cd/m2{}, and the whole is {} thick.",
        three_digits(light.value),
        in_brackets(&light),
        three_digits(mean.value),
        in_brackets(&mean),
        millimetres(step.judged.value.thickness_mm),
    ));
    if let Some(end) = answer.other_end_mm {
        lines.push(match report.want {
            Softness::Dots => format!("Below a gap of {} they melt.", millimetres(end)),
            _ => format!(
                "From {} on dots show again: the glow spreads out and gets weaker, the bare light that comes straight through \
                 does not.",
                millimetres(end)
            ),
        });
    }
    lines
}

fn to_buy(case: &Case, answer: &Answer) -> String {
    let step = &answer.step;
    let (_, to) = case.found.sweep.ends_mm();
    let mut sentence = match case.found.want {
        _ if step.gap_mm == 0.0 => "No spacer is needed".to_owned(),
        Softness::Dots if answer.gap.value >= to - AT_END_MM => {
            format!("Any gap up to {} mm will do", step.gap_mm)
        }
        Softness::Dots => format!("Buy or stack {} mm at most", step.gap_mm),
        _ => format!("Buy or stack {} mm", step.gap_mm),
    };
    sentence += &sureness(step);
    match &answer.sure {
        Some(sure) if sure.gap_mm == step.gap_mm => sentence += ".",
        Some(sure) => sentence += &format!("; {} mm does in at least 9 of 10.", sure.gap_mm),
        None => {
            sentence += &format!(
                "; no whole millimetre of those looked at does in {:.0} of 10, so try it on a piece first.",
                10.0 * SURE
            );
        }
    }
    sentence
}

fn sureness(step: &Step) -> String {
    let samples = step.judged.samples.len();
    if samples == 0 {
        return String::new();
    }
    let met = (step.share * samples as f64).round();
    format!(": that does in {met} of {samples} samples of what the cloth may be")
}

/// Why no gap does it and what would.
fn instead(case: &Case) -> Vec<String> {
    let mut lines: Vec<String> = case.reason.map(in_words).into_iter().collect();
    if case.remedies.is_empty() {
        lines.push(match case.found.want {
            Softness::Dots => "Neither wider pitches nor lighter cloth nor a nearer eye do it.".to_owned(),
            _ => "Neither denser pixels nor one more layer nor a heavier cloth nor a larger gap nor distance do it: another \
                  cloth must."
                .to_owned(),
        });
        return lines;
    }
    lines.push("What would do it, by the same estimate, without ranges:".to_owned());
    let outermost = case.scene().stack.last().map_or("", |placed| placed.cloth.title.as_str());
    lines.extend(case.remedies.iter().map(|remedy| format!("- {}", remedy_in_words(remedy, outermost))));
    lines
}

pub(super) fn in_words(reason: Reason) -> String {
    match reason {
        Reason::Holes { straight, closed_mm } => format!(
            "The reason is the holes: {} % of a pixel's light comes straight through them, as sharp as it was whatever the gap. \
             With the holes closed, {} would do.",
            three_digits(100.0 * straight),
            millimetres(closed_mm),
        ),
        Reason::Unscattered { straight } => format!(
            "The reason is bare light: {} % of a pixel's light comes straight through, as sharp as it was whatever the gap.",
            three_digits(100.0 * straight),
        ),
    }
}

pub(super) fn remedy_in_words(remedy: &Remedy, outermost: &str) -> String {
    let what = match &remedy.change {
        Change::Pitch(mm) => format!("pixels {} apart", millimetres(*mm)),
        Change::MoreLayers => format!("one more layer of the outermost cloth ({outermost})"),
        Change::MoreMass => format!("the outermost cloth twice as heavy ({outermost}, as thick as it is)"),
        Change::LayersAndPitch(mm) => {
            format!(
                "one more layer of the outermost cloth ({outermost}) and pixels {} apart",
                millimetres(*mm)
            )
        }
        Change::Cover(cloth) => format!("one layer of {} (`{}`) over it", cloth.title, cloth.name),
        Change::OtherGap => "a gap beyond those looked at".to_owned(),
        Change::Distance(m) => format!("seen from {} m", at_most_three_digits(*m)),
        Change::FewerLayers => format!("without the outermost cloth ({outermost})"),
        Change::LessMass => format!("the outermost cloth half as heavy ({outermost}, as thick as it is)"),
    };
    format!(
        "{what}: a gap of {} mm; dot visibility {}, {} % of the light kept, {} thick in all",
        remedy.gap_mm,
        three_digits(remedy.numbers.dot_visibility.unwrap_or(f64::NAN)),
        three_digits(100.0 * remedy.numbers.light_kept),
        millimetres(remedy.numbers.thickness_mm),
    )
}

/// The gaps for what was not asked for.
fn others(case: &Case) -> Option<String> {
    let told = Softness::ALL.into_iter().zip(&case.found.softness).rev().filter_map(|(softness, gap)| {
        let gap = millimetres(gap.as_ref().filter(|_| softness != case.found.want)?.value);
        Some(match softness {
            Softness::Dots => format!("hard dots up to {gap}"),
            _ => format!("{} from {gap} on", softness.word()),
        })
    });
    let told: Vec<String> = told.collect();
    let when = match (case.found.want, &case.found.answer) {
        (Softness::Smooth, Some(_)) => "With less gap",
        (Softness::Dots, Some(_)) => "With more gap",
        _ => "Otherwise",
    };
    (!told.is_empty()).then(|| format!("{when}: {}.", told.join(", ")))
}

fn rule_of_thumb(case: &Case) -> String {
    let pitch = case.found.pitch_mm;
    let beside = match &case.found.answer {
        Some(answer) if case.found.want != Softness::Dots => {
            format!(" What was found is {:.2} pitches.", answer.gap.value / pitch)
        }
        _ => String::new(),
    };
    format!(
        "The trade's rule of thumb, a gap of about one pitch ({}; common practice, no source), gives here: {}.{beside}",
        millimetres(pitch),
        seen_as(case.found.at_one_pitch),
    )
}

/// What is true of all of it.
fn notes(scene: &Scene) -> Vec<String> {
    let first = scene.stack.first().map_or("the cloth", |placed| placed.cloth.title.as_str());
    let mut lines = vec![format!(
        "The gap is the air between the pixels and the first cloth ({first}); put spacers beside the pixels, not over them. Foam \
         and felt come or stack in whole millimetres (common practice, no source)."
    )];
    if scene.stack.iter().any(|placed| placed.cloth.basis == Basis::Label) {
        lines.push(
            "The cloth is estimated from its label, not measured: let a test piece decide before you cut."
                .to_owned(),
        );
    }
    lines.extend(scene.uneven_in_words());
    lines.push(
        "The ranges come from the cloth alone: pixels that differ and a gap that is not even add to them."
            .to_owned(),
    );
    lines
}

/// A dot visibility in words: the look and the number.
pub(super) fn seen_as(visibility: f64) -> String {
    format!("{} (dot visibility {})", look(visibility), three_digits(visibility))
}

fn times(visibility: f64) -> String {
    format!("they are {} times over the eye's threshold", three_digits(visibility))
}

/// The range of a gap in brackets; nothing where nothing is uncertain.
pub(super) fn range_in_words(gap: &Range, to: f64) -> String {
    if gap.low == gap.high {
        return String::new();
    }
    if number(gap.low) == number(gap.high) {
        return " (to within 0.1 mm in 8 of 10 estimates)".to_owned();
    }
    if gap.high.is_infinite() {
        return format!(" ({} to more than {} in 8 of 10 estimates)", number(gap.low), millimetres(to));
    }
    format!(" ({} to {} in 8 of 10 estimates)", number(gap.low), millimetres(gap.high))
}

fn in_brackets(range: &Range) -> String {
    if range.low == range.high {
        return String::new();
    }
    format!(" ({} to {})", three_digits(range.low), three_digits(range.high))
}

/// A length to a tenth, whole ones without a decimal.
pub(super) fn number(mm: f64) -> String {
    let tenths = (10.0 * mm).round() / 10.0;
    format!("{tenths}")
}

pub(super) fn millimetres(mm: f64) -> String {
    format!("{} mm", number(mm))
}

fn uncapitalised(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or(String::new(), |first| first.to_lowercase().chain(letters).collect())
}
