//! Where the search begins.

use super::super::least_squares::Problem;
use super::problem::Whole;
use super::unknowns::COLOURS;
use super::*;

/// Reduced scattering optical thickness, openness, and absorption over scattering of the cloths that are tried first.
const SCATTERINGS: [f64; 5] = [0.3, 1.0, 3.0, 8.0, 20.0];
const OPEN: [f64; 2] = [0.01, 0.4];
const RATIOS: [f64; 5] = [0.001, 0.01, 0.06, 0.3, 1.5];
/// So many of them are followed.
const FOLLOWED: usize = 3;

/// The best of a coarse table, unlike each other in scattering or openness. Absorption is chosen for each colour by itself.
pub(super) fn starts(whole: &Whole) -> Vec<DVector<f64>> {
    let all: Vec<(f64, f64)> = SCATTERINGS.iter().flat_map(|s| OPEN.map(|o| (*s, o))).collect();
    let mut tried: Vec<(f64, DVector<f64>)> = all
        .into_par_iter()
        .map(|(scattering, openness)| {
            let at = best_absorption(whole, scattering, openness);
            (whole.residuals(&at).norm_squared(), at)
        })
        .collect();
    tried.sort_by(|a, b| a.0.total_cmp(&b.0));
    tried.into_iter().take(FOLLOWED).map(|(_, at)| at).collect()
}

/// The variables for a cloth of this scattering and openness, each colour with the absorption that fits its means best, and with
/// answers and backgrounds as the means want them.
fn best_absorption(whole: &Whole, scattering: f64, openness: f64) -> DVector<f64> {
    let mut best: Option<DVector<f64>> = None;
    let mut least = [f64::INFINITY; COLOURS];
    for ratio in RATIOS {
        let mut at = DVector::zeros(whole.variables());
        let asymmetry = whole.before.asymmetry.0;
        // Reduced scattering of a nearly white cloth; a dyed one is tried at more than this table says.
        let optical_thickness = scattering / (1.0 - asymmetry);
        ClothNumbers { optical_thickness, absorption_ratio: [ratio; COLOURS], openness, asymmetry }
            .put(&mut at);
        for (i, shot) in whole.shots.iter().enumerate() {
            at[of_shot(i, GAP)] = shot.shot_gap_mm;
        }
        let costs = whole.settle_answers(&mut at);
        let best = best.get_or_insert_with(|| at.clone());
        for c in 0..COLOURS {
            if costs[c] >= least[c] {
                continue;
            }
            least[c] = costs[c];
            let own = [ABSORPTION + c, ANSWER + c].into_iter();
            let backgrounds = (0..whole.shots.len()).map(|i| of_shot(i, BACKGROUND + c));
            own.chain(backgrounds).for_each(|variable| best[variable] = at[variable]);
        }
    }
    best.unwrap_or_else(|| DVector::zeros(whole.variables()))
}
