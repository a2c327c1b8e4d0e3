//! What was found.

use super::rules::AREA_SR;
use serde_json::{Value, json};

/// How the pictures are seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Seen {
    /// On a screen that they fill.
    Screen,
    /// The garment itself.
    Garment {
        /// From so many metres.
        distance_m: f64,
    },
}

/// All of it.
#[derive(Clone, Debug, PartialEq)]
pub struct FlashReport {
    /// Number of pictures.
    pub frames: usize,
    /// How long they take, in s.
    pub duration_s: f64,
    /// Whether they begin again when they end.
    pub looped: bool,
    /// The pictures on a screen (WCAG).
    pub screen: Judgement,
    /// The garment from the viewing distance (BT.1702, WCAG's red).
    pub garment: Judgement,
    /// The same from arm's length, where the viewing distance is larger.
    pub near: Option<Judgement>,
}

/// One way of seeing, judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// How it is seen.
    pub seen: Seen,
    /// Width of the cells over which the pictures were averaged, in degrees.
    pub cell_deg: f64,
    /// Flashes of luminance.
    pub general: Finding,
    /// Flashes to or from saturated red.
    pub red: Finding,
    /// How it would pass, where it does not.
    pub calmer: Option<Calmer>,
}

/// What one rule found.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Whether there never were more than three flashes in a second over more than the area.
    pub passed: bool,
    /// Most changes in any second over more than the area; two make a flash. Counted up to 32.
    pub most_changes: usize,
    /// Greatest area in any 10 degree field that flashed more than three times in the same second, in sr; above the limit where it did not pass.
    pub area_sr: f64,
    /// When it did not pass: from and to, in s.
    pub spans_s: Vec<[f64; 2]>,
    /// The second with the most changes, where there were any over more than the area.
    pub worst: Option<Worst>,
}

/// The worst second.
#[derive(Clone, Debug, PartialEq)]
pub struct Worst {
    /// Its beginning, in s; times beyond the end of what loops belong to the next round.
    pub start_s: f64,
    /// Its end, in s.
    pub end_s: f64,
    /// The place with the strongest changes: column and row of the image pixel.
    pub place_px: [u32; 2],
    /// Luminance there during that second: relative on a screen, in cd/m2 on the garment.
    pub trace: Vec<Moment>,
    /// When it changed there, in s.
    pub changes_s: Vec<f64>,
    /// The pictures at which it changed, by their number from 0: those worth showing.
    pub frames: Vec<usize>,
}

/// One picture at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Its time, in s.
    pub time_s: f64,
    /// Its number, from 0.
    pub frame: usize,
    /// The luminance.
    pub luminance: f64,
}

/// How it would pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calmer {
    /// Played at this share of its speed; `None` where even a hundredth is too fast.
    pub speed: Option<f64>,
    /// Or with this share of its contrast, every place closer to its own mean; `None` where a tenth is not enough or where red
    /// flashes.
    pub depth: Option<f64>,
}

impl Finding {
    /// Most flashes in any second over more than the area.
    #[must_use]
    pub fn flashes(&self) -> f64 {
        0.5 * self.most_changes as f64
    }

    /// The area over the limit's.
    #[must_use]
    pub fn area_over_limit(&self) -> f64 {
        self.area_sr / AREA_SR
    }

    fn data(&self) -> Value {
        json!({
            "passed": self.passed,
            "most_flashes_in_a_second": self.flashes(),
            "area_sr": self.area_sr,
            "area_over_limit": self.area_over_limit(),
            "failing_s": self.spans_s,
            "worst_second": self.worst.as_ref().map(|worst| json!({
                "from_s": worst.start_s, "to_s": worst.end_s, "place_px": worst.place_px,
                "changes_s": worst.changes_s, "frames": worst.frames,
            })),
        })
    }
}

impl Judgement {
    /// Of nothing.
    pub(super) fn empty() -> Judgement {
        let finding =
            Finding { passed: true, most_changes: 0, area_sr: 0.0, spans_s: Vec::new(), worst: None };
        Judgement { seen: Seen::Screen, cell_deg: 0.0, general: finding.clone(), red: finding, calmer: None }
    }

    /// Whether both rules pass.
    #[must_use]
    pub fn passed(&self) -> bool {
        self.general.passed && self.red.passed
    }

    fn data(&self) -> Value {
        json!({
            "passed": self.passed(),
            "distance_m": match self.seen { Seen::Screen => None, Seen::Garment { distance_m } => Some(distance_m) },
            "cell_deg": self.cell_deg,
            "general": self.general.data(),
            "red": self.red.data(),
            "calmer": self.calmer.map(|calmer| json!({ "speed": calmer.speed, "depth": calmer.depth })),
        })
    }
}

impl FlashReport {
    /// The judgements: screen, garment, arm's length.
    pub fn judgements(&self) -> impl Iterator<Item = &Judgement> {
        [&self.screen, &self.garment].into_iter().chain(&self.near)
    }

    /// Whether every judgement passes.
    #[must_use]
    pub fn passed(&self) -> bool {
        self.judgements().all(Judgement::passed)
    }

    /// How all of it would pass, where it does not. A depth is told where it is known for every judgement that fails.
    #[must_use]
    pub fn calmer(&self) -> Option<Calmer> {
        let least = |a: Option<f64>, b: Option<f64>| Some(a?.min(b?));
        self.judgements()
            .filter_map(|judgement| judgement.calmer)
            .reduce(|a, b| Calmer { speed: least(a.speed, b.speed), depth: least(a.depth, b.depth) })
    }

    /// The worst second of all: of a rule that fails if one does, with the most changes.
    #[must_use]
    pub fn worst(&self) -> Option<(&Judgement, &Finding, &Worst)> {
        self.judgements()
            .flat_map(|judgement| [(judgement, &judgement.general), (judgement, &judgement.red)])
            .filter_map(|(judgement, finding)| Some((judgement, finding, finding.worst.as_ref()?)))
            .reduce(|best, next| {
                let rank = |finding: &Finding| (!finding.passed, finding.most_changes);
                if rank(next.1) > rank(best.1) { next } else { best }
            })
    }

    /// The pictures worth showing: those of the worst second at which the worst place changes, by their number from 0.
    #[must_use]
    pub fn worst_frames(&self) -> Vec<usize> {
        self.worst().map(|(_, _, worst)| worst.frames.clone()).unwrap_or_default()
    }

    /// As JSON.
    #[must_use]
    pub fn data(&self) -> Value {
        json!({
            "passed": self.passed(),
            "frames": self.frames,
            "duration_s": self.duration_s,
            "looped": self.looped,
            "on_a_screen": self.screen.data(),
            "garment": self.garment.data(),
            "garment_at_arms_length": self.near.as_ref().map(Judgement::data),
            "calmer": self.calmer().map(|calmer| json!({ "speed": calmer.speed, "depth": calmer.depth })),
            "caution": super::words::CAUTION,
        })
    }
}
