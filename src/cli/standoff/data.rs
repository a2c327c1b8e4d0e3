//! What was found as JSON and CSV.

use super::{Case, Report};
use crate::choose::standoff::{Change, Reason, Remedy, SURE, Step};
use crate::cli::{judged, output};
use crate::judge::numbers::{Judged, Numbers, Range};
use crate::judge::softness::{Softness, look};
use crate::scene::Scene;
use serde_json::{Value, json};
use std::fmt::Write;

/// All that was found. What is infinite (no gap in some samples) becomes null.
pub(super) fn as_json(report: &Report) -> Value {
    let scene = report.cases.first().map(Case::scene);
    json!({
        "scene": scene.map(|scene| scene.name.as_str()),
        "files": output::files(report.targets.iter().chain(&report.csv)),
        "want": report.want.word(),
        "want_means": report.want.in_words(),
        "gap_means": "air between the pixels and the first cloth, in mm",
        "uneven": scene.and_then(Scene::uneven_in_words),
        "distance_m": scene.map(|scene| scene.view.distance_m),
        "room_lx": scene.map(|scene| scene.view.room_lx),
        "pitches": report.cases.iter().map(|case| of_case(report.want, case)).collect::<Vec<_>>(),
    })
}

fn of_case(want: Softness, case: &Case) -> Value {
    let found = &case.found;
    let answer = found.answer.as_ref();
    let next = |wanted: bool| answer.filter(|_| wanted).and_then(|answer| answer.next.as_ref()).map(of_step);
    let softness: serde_json::Map<String, Value> = Softness::ALL
        .iter()
        .zip(&found.softness)
        .map(|(softness, gap)| {
            let key = if *softness == Softness::Dots { "dots_up_to_mm" } else { "from_mm" };
            (softness.word().to_owned(), json!({key: gap.as_ref().map(|gap| gap.data("mm"))}))
        })
        .collect();
    json!({
        "pitch_mm": found.pitch_mm,
        "found": answer.is_some(),
        "gap_mm": answer.map(|answer| answer.gap.data("mm")),
        "other_end_mm": answer.and_then(|answer| answer.other_end_mm),
        "to_buy": answer.map(|answer| of_step(&answer.step)),
        "sure": answer.and_then(|answer| answer.sure.as_ref()).map(of_step),
        "sure_means": format!("does it in at least {:.0} % of the samples", 100.0 * SURE),
        "softness": softness,
        "one_pitch": {"gap_mm": found.pitch_mm, "dot_visibility": found.at_one_pitch, "look": look(found.at_one_pitch)},
        "scene_as_it_is": {"gap_mm": found.own.0, "dot_visibility": found.own.1, "look": look(found.own.1)},
        "best": {"gap_mm": found.best.0, "dot_visibility": found.best.1},
        "reason": case.reason.map(of_reason),
        "what_would": case.remedies.iter().map(of_remedy).collect::<Vec<_>>(),
        "sweep": rows(case).iter().map(Row::as_json).collect::<Vec<_>>(),
        "one_mm_less": next(want != Softness::Dots),
        "one_mm_more": next(want == Softness::Dots),
    })
}

fn of_step(step: &Step) -> Value {
    json!({
        "gap_mm": step.gap_mm,
        "dot_visibility": step.visibility(),
        "share_of_samples": step.share,
        "numbers": judged::as_json(&step.judged),
    })
}

fn of_reason(reason: Reason) -> Value {
    match reason {
        Reason::Holes { straight, closed_mm } => {
            json!({"why": "holes", "straight_through_share": straight, "gap_mm_with_holes_closed": closed_mm})
        }
        Reason::Unscattered { straight } => json!({"why": "unscattered", "straight_through_share": straight}),
    }
}

fn of_remedy(remedy: &Remedy) -> Value {
    let (what, pitch, distance) = match &remedy.change {
        Change::Pitch(mm) => ("pitch", Some(*mm), None),
        Change::MoreLayers => ("one more layer of the outermost cloth", None, None),
        Change::MoreMass => ("outermost cloth twice as heavy", None, None),
        Change::LayersAndPitch(mm) => ("one more layer of the outermost cloth and pitch", Some(*mm), None),
        Change::Cover(_) => ("one more cloth over the outermost one", None, None),
        Change::OtherGap => ("gap", None, None),
        Change::Distance(m) => ("distance", None, Some(*m)),
        Change::FewerLayers => ("without the outermost cloth", None, None),
        Change::LessMass => ("outermost cloth half as heavy", None, None),
    };
    json!({
        "what": what,
        "cloth": match &remedy.change {
            Change::Cover(cloth) => Some(cloth.name.as_str()),
            _ => None,
        },
        "pitch_mm": pitch,
        "distance_m": distance,
        "gap_mm": remedy.gap_mm,
        "dot_visibility": remedy.numbers.dot_visibility,
        "light_kept": remedy.numbers.light_kept,
        "thickness_mm": remedy.numbers.thickness_mm,
    })
}

/// One gap of a sweep. Ranges stand where the samples were computed.
struct Row<'a> {
    gap_mm: f64,
    value: &'a Numbers,
    judged: Option<&'a Judged>,
}

/// The gaps of a sweep and those looked at more closely, rising.
fn rows(case: &Case) -> Vec<Row<'_>> {
    let sweep = &case.found.sweep;
    let mut rows: Vec<Row<'_>> = sweep
        .judged
        .iter()
        .map(|(gap_mm, judged)| Row { gap_mm: *gap_mm, value: &judged.value, judged: Some(judged) })
        .chain(sweep.gaps_mm.iter().zip(&sweep.values).map(|(gap_mm, value)| Row {
            gap_mm: *gap_mm,
            value,
            judged: None,
        }))
        .collect();
    // Stable: of two rows at one gap the one with ranges comes first and stays.
    rows.sort_by(|a, b| a.gap_mm.total_cmp(&b.gap_mm));
    rows.dedup_by(|later, former| later.gap_mm == former.gap_mm);
    rows
}

impl Row<'_> {
    fn visibility(&self) -> f64 {
        self.value.dot_visibility.unwrap_or(f64::NAN)
    }

    fn ends(&self, pick: impl Fn(&Numbers) -> Option<f64>) -> Option<(f64, f64)> {
        let range = self.judged?.range_of(pick)?;
        Some((range.low, range.high))
    }

    fn as_json(&self) -> Value {
        // Ends that were not computed are no numbers, which JSON has as null.
        let ranged = |value: f64, ends: Option<(f64, f64)>, unit: &str| {
            let (low, high) = ends.unwrap_or((f64::NAN, f64::NAN));
            Range { value, low, high }.data(unit)
        };
        json!({
            "gap_mm": self.gap_mm,
            "dot_visibility": ranged(self.visibility(), self.ends(|n| n.dot_visibility), "1"),
            "look": look(self.visibility()),
            "light_kept": ranged(self.value.light_kept, self.ends(|n| Some(n.light_kept)), "1"),
            "mean_cd_m2": ranged(self.value.mean_cd_m2, self.ends(|n| Some(n.mean_cd_m2)), "cd/m2"),
            "thickness_mm": self.value.thickness_mm,
        })
    }
}

/// The numbers over the gap; the ends of ranges are empty where the samples were not computed.
pub(super) fn as_csv(report: &Report) -> String {
    let mut text = String::from(
        "pitch_mm,gap_mm,dot_visibility,dot_visibility_low,dot_visibility_high,look,light_kept,light_kept_low,\
         light_kept_high,mean_cd_m2,thickness_mm\n",
    );
    let ends = |ends: Option<(f64, f64)>| match ends {
        Some((low, high)) => format!("{low},{high}"),
        None => ",".to_owned(),
    };
    for case in &report.cases {
        for row in rows(case) {
            let _ = writeln!(
                text,
                "{},{},{},{},{},{},{},{},{}",
                case.found.pitch_mm,
                row.gap_mm,
                row.visibility(),
                ends(row.ends(|n| n.dot_visibility)),
                look(row.visibility()),
                row.value.light_kept,
                ends(row.ends(|n| Some(n.light_kept))),
                row.value.mean_cd_m2,
                row.value.thickness_mm,
            );
        }
    }
    text
}
