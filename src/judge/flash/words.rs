//! The report in plain sentences.

use super::report::{Calmer, Finding, FlashReport, Judgement, Seen};
use super::rules::MOST_FLASHES;

/// What always belongs to it.
pub(super) const CAUTION: &str = "This is a warning, not a medical clearance: people with photosensitive epilepsy can react to less. It defers to WCAG \
     (2.3.1) and ITU-R BT.1702; events and venues have rules of their own, and those decide. Tell people beforehand where something flashes.";

/// Stretches of time told one by one.
const TOLD_SPANS: usize = 4;

impl Seen {
    /// In words.
    #[must_use]
    pub fn in_words(self) -> String {
        match self {
            Seen::Screen => "on a screen that it fills".to_owned(),
            Seen::Garment { distance_m } => format!("the garment itself, seen from {} m", short(distance_m)),
        }
    }
}

/// At most two decimals.
fn short(value: f64) -> String {
    format!("{}", (100.0 * value).round() / 100.0)
}

/// `1.2 to 3.4 s`, several of them with commas.
fn spans(spans: &[[f64; 2]]) -> String {
    let mut told: Vec<String> =
        spans.iter().take(TOLD_SPANS).map(|[from, to]| format!("{from:.2} to {to:.2} s")).collect();
    if spans.len() > TOLD_SPANS {
        told.push(format!("and {} times more", spans.len() - TOLD_SPANS));
    }
    told.join(", ")
}

impl Finding {
    fn in_words(&self, kind: &str) -> String {
        if self.passed {
            let area = match self.area_over_limit() {
                0.0 => String::new(),
                share => format!(
                    "; {:.0} % of the area that may flash at a time flash oftener",
                    (100.0 * share).clamp(1.0, 100.0)
                ),
            };
            return match self.most_changes {
                0 => format!("no {kind} flashes over a large area{area}"),
                1 => format!("one {kind} change over a large area, no flash{area}"),
                2 => format!(
                    "at most one {kind} flash in any second over a large area ({MOST_FLASHES} are allowed){area}"
                ),
                _ => format!(
                    "at most {} {kind} flashes in any second over a large area ({MOST_FLASHES} are allowed){area}",
                    short(self.flashes())
                ),
            };
        }
        format!(
            "TOO MUCH: {} {kind} flashes in a second ({MOST_FLASHES} are allowed), over {} times the area that may flash together, \
             at {}",
            short(self.flashes()),
            short(self.area_over_limit().max(1.0)),
            spans(&self.spans_s)
        )
    }
}

impl Judgement {
    /// One sentence.
    #[must_use]
    pub fn in_words(&self) -> String {
        format!(
            "Flashing, {}: {}; {}.",
            self.seen.in_words(),
            self.general.in_words("general"),
            self.red.in_words("red")
        )
    }
}

impl Calmer {
    /// One sentence.
    #[must_use]
    pub fn in_words(self) -> String {
        let percent = |share: f64| format!("{:.0} %", 100.0 * share);
        match (self.speed, self.depth) {
            (Some(speed), Some(depth)) => format!(
                "It passes when it is played at {} of its speed, or when every place keeps {} of its contrast (bright and dark closer to its mean).",
                percent(speed),
                percent(depth)
            ),
            (Some(speed), None) => format!("It passes when it is played at {} of its speed.", percent(speed)),
            (None, Some(depth)) => format!(
                "It passes when every place keeps {} of its contrast (bright and dark closer to its mean).",
                percent(depth)
            ),
            (None, None) => "No slower or shallower way of it was found that passes: make it still, or change fewer pixels at a time.".to_owned(),
        }
    }
}

impl FlashReport {
    /// Plain sentences, one a line: each judgement, how it would pass, and the caution.
    #[must_use]
    pub fn words(&self) -> Vec<String> {
        let mut lines: Vec<String> = self.judgements().map(Judgement::in_words).collect();
        lines.extend(self.calmer().map(Calmer::in_words));
        if self.looped {
            lines.push(format!(
                "Judged as a loop of {} s, across its seam; times after that are in the next round.",
                short(self.duration_s)
            ));
        }
        lines.push(CAUTION.to_owned());
        lines
    }
}
