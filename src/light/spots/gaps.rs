//! Stacks that differ in albedo alone, solved over any gaps below them.

use super::chained::{ANCHORS, Flats, Forward, chains, scatterings_of};
use super::{Reach, slices, soften, split, with_gap};
use crate::light::forward::Ways;
use crate::light::harmonics::{self, Near};
use crate::light::quadrature::lagrange;
use crate::light::response::{Nodes, Response, Seen};
use crate::light::spread::{SpotSpectrum, frequency_end, frequency_knots};
use crate::light::transport::{SourceKernel, Transport};
use crate::light::{Stack, dense};
use rayon::prelude::*;

/// By how much a spot from the side is mended at most.
const MENDED: [f64; 2] = [0.5, 2.0];

/// Every second knot is solved. Those between follow from the logarithms of six around them: closed forms come out within 2e-5 of
/// their height (tested), 60 random piles within 1.8e-4 (median) to 1.1e-3 (largest) of knots four times as close, much of it the
/// noise of the chains themselves (0.8e-4 and 1.2e-3 with every knot solved).
const SOLVED: usize = 2;
/// So many knots from zero on are all solved: a spot's long tail makes the transform go as `k^2 ln k` there, which no polynomial follows.
const FIRST: usize = 2 * SOLVED;

/// Whether a knot is solved.
fn is_solved(knot: usize) -> bool {
    knot < FIRST || knot.is_multiple_of(SOLVED)
}

/// The values at all knots from those at the solved ones, the last among them.
///
/// A spot's transform is even in k, and the knots are evenly spaced in the hyperbolic angle v, `k = scale sinh(v)`.
fn filled(solved: &[f64]) -> Vec<f64> {
    let (first, rest) = solved.split_at(FIRST.min(solved.len()));
    let even: Vec<f64> = first.iter().step_by(SOLVED).chain(rest).copied().collect();
    let mirrored: Vec<f64> = [even[2], even[1]].iter().chain(&even).copied().collect();
    let logarithms: Vec<f64> = mirrored.iter().map(|value| value.ln()).collect();
    let mut values = Vec::with_capacity(SOLVED * even.len());
    for (i, &value) in even.iter().enumerate() {
        values.push(value);
        if i + 1 == even.len() {
            break;
        }
        let (start, weights) = lagrange(i as f64 + 2.5, mirrored.len());
        let mixed = |of: &[f64]| -> f64 { of[start..].iter().zip(&weights).map(|(v, w)| v * w).sum() };
        let logarithm = mixed(&logarithms);
        // What is lost in rounding may be zero or below.
        values.push(if logarithm.is_finite() { logarithm.exp() } else { mixed(&mirrored) });
    }
    values[..first.len()].copy_from_slice(first);
    values
}

/// Stacks that have layers, ready to be solved over any first gaps.
pub(super) struct OverGaps<'a> {
    stacks: &'a [&'a Stack],
    beam_power: f64,
    source: SourceKernel,
    transports: Vec<Transport>,
    /// Which share of each stack's spot spherical harmonics are to find.
    near_shares: Vec<f64>,
    /// The gap with which `stacks` and `transports` were made, in mm.
    gap: f64,
}

/// The knots that all gaps share.
struct Shared {
    knots: Vec<f64>,
    /// How many of them each gap needs, and the length in mm with which its transform falls off.
    needed: Vec<(usize, f64)>,
}

impl<'a> OverGaps<'a> {
    pub(super) fn new(stacks: &'a [&'a Stack], beam_power: f64) -> OverGaps<'a> {
        let source = SourceKernel::of_beam(beam_power);
        let transports =
            stacks.iter().map(|stack| Transport::new(&stack.reduced(), beam_power, source.clone())).collect();
        let near_shares = stacks.iter().map(|stack| harmonics::share(stack)).collect();
        let gap = stacks[0].layers[0].gap_below.0;
        OverGaps { stacks, beam_power, source, transports, near_shares, gap }
    }

    pub(super) fn spots(&self, gaps_mm: &[f64]) -> Vec<Vec<SpotSpectrum>> {
        let nodes: Vec<Nodes<'_>> = self.transports.iter().map(Nodes::new).collect();
        let chained = !self.near_alone();
        let (forwards, forward_of) = self.forwards(gaps_mm, &nodes, chained);
        let flats = flats(&forwards);
        let near = self.near();
        let ready = Ready {
            over: self,
            nodes: &nodes,
            forwards: &forwards,
            flats: &flats,
            near: near.as_ref(),
            chained,
        };
        let shared = self.shared(gaps_mm);
        let solved: Vec<(usize, f64)> =
            shared.knots.iter().copied().enumerate().filter(|&(i, _)| is_solved(i)).collect();
        // By solved knot, by gap (none beyond the gap's last knot), by stack.
        let radiances: Vec<Vec<Vec<f64>>> = solved
            .into_par_iter()
            .map(|(i, k)| {
                let answers = ready.answers(k);
                let at_gap = |gap: usize| {
                    if i < shared.needed[gap].0 {
                        ready.mixed(&answers, gaps_mm[gap], forward_of[gap])
                    } else {
                        Vec::new()
                    }
                };
                (0..gaps_mm.len()).into_par_iter().with_min_len(8).map(at_gap).collect()
            })
            .collect();
        let of_gap = |(gap, &(needed, fall)): (usize, &(usize, f64))| {
            let solved = &radiances[..(0..needed).filter(|&i| is_solved(i)).count()];
            let of_stack = |(s, stack): (usize, &&Stack)| {
                let values = filled(&solved.iter().map(|by_gap| by_gap[gap][s]).collect::<Vec<_>>());
                self.spectrum(&with_gap(stack, gaps_mm[gap]), &shared.knots[..needed], values, fall)
            };
            self.stacks.iter().enumerate().map(of_stack).collect()
        };
        shared.needed.iter().enumerate().map(of_gap).collect()
    }

    /// Whether spherical harmonics are to find everything.
    fn near_alone(&self) -> bool {
        self.near_shares.iter().all(|&share| share == 1.0)
    }

    /// The spherical harmonics, if they are asked for.
    fn near(&self) -> Option<Near> {
        let asked = self.near_shares.iter().any(|&share| share > 0.0);
        asked.then(|| Near::new(self.stacks, self.beam_power))
    }

    fn spectrum(&self, stack: &Stack, knots: &[f64], values: Vec<f64>, fall: f64) -> SpotSpectrum {
        let mut values = dense::spectrum(stack, self.beam_power, values[0], knots).unwrap_or(values);
        if Reach::of(stack).has_image {
            soften(knots, &mut values);
        }
        SpotSpectrum::with_decay(knots.to_vec(), &values, fall)
    }

    /// Knots as fine as the highest gap asks for, as far as the lowest does.
    fn shared(&self, gaps_mm: &[f64]) -> Shared {
        let reaches: Vec<Reach> =
            gaps_mm.iter().map(|&gap| Reach::of(&with_gap(self.stacks[0], gap))).collect();
        let low = reaches.iter().map(|reach| reach.gap).fold(f64::INFINITY, f64::min);
        let high = gaps_mm.iter().copied().fold(0.0, f64::max);
        let knots = frequency_knots(low, self.stacks[0].height().0 - self.gap + high);
        let needed = |reach: &Reach| {
            let end = frequency_end(reach.gap);
            let below = knots.partition_point(|&k| k < end * (1.0 - 1e-9));
            // The last one is solved.
            ((below.next_multiple_of(SOLVED) + 1).min(knots.len()), reach.fall)
        };
        Shared { needed: reaches.iter().map(needed).collect(), knots }
    }

    /// The forward-scattering corrections for each way to cut the layers into slices that these gaps ask for (`None` where
    /// nothing scatters forwards, or chains are not asked for), and for each gap which of them it needs.
    fn forwards(
        &self,
        gaps_mm: &[f64],
        nodes: &[Nodes<'_>],
        asked: bool,
    ) -> (Vec<Option<Forward>>, Vec<usize>) {
        if !asked || self.stacks[0].layers.iter().all(|l| l.optics.asymmetry == 0.0) {
            return (vec![None], vec![0; gaps_mm.len()]);
        }
        let (mut forms, mut forwards): (Vec<Vec<usize>>, Vec<Option<Forward>>) = (Vec::new(), Vec::new());
        let forward_of = gaps_mm
            .iter()
            .map(|&gap| {
                let form = slices(&with_gap(self.stacks[0], gap));
                forms.iter().position(|known| *known == form).unwrap_or_else(|| {
                    forwards.push(Some(self.forward(&form, nodes)));
                    forms.push(form);
                    forms.len() - 1
                })
            })
            .collect();
        (forwards, forward_of)
    }

    fn forward(&self, form: &[usize], nodes: &[Nodes<'_>]) -> Forward {
        let split: Vec<Stack> = self.stacks.iter().map(|stack| split(stack, form)).collect();
        let fine: Vec<&Stack> = split.iter().collect();
        let cut = fine[0].layers.len() != self.stacks[0].layers.len();
        let ways: &[&[&Stack]] = if cut { &[&fine, self.stacks] } else { &[&fine] };
        let by_layer = scatterings_of(ways);
        let (heights, chains) = chains(&fine, &by_layer[0], self.beam_power);
        // Slices scatter light to and fro, which a chain of them leaves out; the whole layers' chain knows the total, which
        // does not depend on the gap.
        let whole: Vec<f64> = if cut {
            let (whole_heights, whole_chains) = self::chains(self.stacks, &by_layer[1], self.beam_power);
            let (whole_ways, ways) = (Ways::new(&whole_heights, 0.0), Ways::new(&heights, 0.0));
            whole_chains
                .iter()
                .zip(&chains)
                .zip(nodes)
                .map(|((whole, fine), nodes)| {
                    let total = nodes.seen(&nodes.response(0.0), 0.0, 0.0).without;
                    if total > 0.0 { (whole.excess(&whole_ways) - fine.excess(&ways)) / total } else { 0.0 }
                })
                .collect()
        } else {
            vec![0.0; self.stacks.len()]
        };
        let last = self.stacks.len() - 1;
        let anchors = (0..last)
            .step_by(ANCHORS)
            .chain([last])
            .map(|i| {
                let reduced = Stack { board_reflectance: 0.0, ..fine[i].reduced() };
                (i, Transport::new(&reduced, self.beam_power, self.source.clone()).squeezed())
            })
            .collect();
        Forward { heights, chains, whole, anchors, gap: self.gap }
    }
}

fn flats(forwards: &[Option<Forward>]) -> Vec<Option<Flats<'_>>> {
    forwards.iter().map(|forward| forward.as_ref().map(Forward::flats)).collect()
}

/// Everything that does not depend on the frequency.
struct Ready<'b> {
    over: &'b OverGaps<'b>,
    nodes: &'b [Nodes<'b>],
    forwards: &'b [Option<Forward>],
    flats: &'b [Option<Flats<'b>>],
    near: Option<&'b Near>,
    /// Whether any gap asks for the chains.
    chained: bool,
}

/// What is solved at one frequency for all gaps.
struct Answers<'a> {
    k: f64,
    responses: Vec<Response>,
    flats: Vec<Option<Vec<Response>>>,
    near: Option<harmonics::Answer<'a>>,
}

impl Ready<'_> {
    fn answers(&self, k: f64) -> Answers<'_> {
        Answers {
            k,
            responses: if self.chained {
                self.nodes.par_iter().map(|nodes| nodes.response(k)).collect()
            } else {
                Vec::new()
            },
            flats: self.flats.iter().map(|flats| flats.as_ref().and_then(|flats| flats.at(k))).collect(),
            near: self.near.map(|near| near.at(k)),
        }
    }

    fn seen(&self, answers: &Answers<'_>, gap: f64) -> Vec<Seen> {
        let raised = gap - self.over.gap;
        let both = self.nodes.iter().zip(&answers.responses);
        both.map(|(nodes, response)| nodes.seen(response, answers.k, raised)).collect()
    }

    /// Radiance of each stack by transport and chains, given which of the ways to cut the layers serves.
    fn chained(&self, answers: &Answers<'_>, gap: f64, form: usize) -> Vec<f64> {
        let seen = self.seen(answers, gap);
        let mut radiance: Vec<f64> = seen.iter().map(|seen| seen.radiance).collect();
        if let (Some(forward), Some(flats)) = (&self.forwards[form], &self.flats[form]) {
            let without: Vec<f64> = seen.iter().map(|seen| seen.without).collect();
            let corrections =
                forward.corrections(flats, answers.flats[form].as_ref(), answers.k, gap, &without);
            radiance.iter_mut().zip(corrections).for_each(|(sum, value)| *sum += value);
        }
        radiance
    }

    /// Radiance of each stack over a gap.
    fn mixed(&self, answers: &Answers<'_>, gap: f64, form: usize) -> Vec<f64> {
        let exact = self.near.zip(answers.near.as_ref());
        let Some((near, answer)) = exact else { return self.chained(answers, gap, form) };
        let exact = near.radiances(answer, gap);
        if !self.chained {
            return exact;
        }
        let chained = self.chained(answers, gap, form);
        // With all of it from the harmonics, nothing of the chains' noise is left.
        let mixed = |((share, c), e): ((&f64, f64), f64)| (1.0 - share) * c + share * e;
        self.over.near_shares.iter().zip(chained).zip(exact).map(mixed).collect()
    }
}

/// For each knot and each stack the factor by which spherical harmonics change what transport and chains find straight ahead; `None`
/// where they are not asked for.
pub(in crate::light) fn mending(stacks: &[&Stack], beam_power: f64, knots: &[f64]) -> Option<Vec<Vec<f64>>> {
    if stacks.iter().all(|stack| harmonics::share(stack) == 0.0) {
        return None;
    }
    let over = OverGaps::new(stacks, beam_power);
    let near = over.near()?;
    let nodes: Vec<Nodes<'_>> = over.transports.iter().map(Nodes::new).collect();
    let (forwards, forward_of) = over.forwards(&[over.gap], &nodes, true);
    let flats = flats(&forwards);
    let ready = Ready {
        over: &over,
        nodes: &nodes,
        forwards: &forwards,
        flats: &flats,
        near: Some(&near),
        chained: true,
    };
    let factors = |&k: &f64| {
        let answers = ready.answers(k);
        let chained = ready.chained(&answers, over.gap, forward_of[0]);
        let exact = answers.near.as_ref().map_or_else(Vec::new, |answer| near.radiances(answer, over.gap));
        let factor = |((exact, chained), share): ((f64, f64), &f64)| {
            let ratio = if chained > 0.0 { (exact / chained).clamp(MENDED[0], MENDED[1]) } else { 1.0 };
            1.0 + share * (ratio - 1.0)
        };
        exact.into_iter().zip(chained).zip(&over.near_shares).map(factor).collect()
    };
    Some(knots.par_iter().map(factors).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use pxfm::f_k1;

    #[test]
    fn knots_between_follow_closed_forms() {
        /// Of the height: what `SOLVED` states.
        const ERROR: f64 = 2e-5;
        // A bare Lambertian source h away; a flat top on a wide foot; a sharp spot on a wide one.
        let bare = |k: f64, h: f64| if k == 0.0 { 1.0 } else { k * h * f_k1(k * h) };
        let forms: [&dyn Fn(f64) -> f64; 3] =
            [&|k| bare(k, 6.0), &|k| (1.0 + 6.0 * k) * (-6.0 * k).exp() / (1.0 + (5.0 * k).powi(2)), &|k| {
                0.3 * bare(k, 6.0) + 0.7 * bare(k, 20.0)
            }];
        let knots = frequency_knots(6.0, 20.0);
        for (n, form) in forms.iter().enumerate() {
            let solved: Vec<f64> =
                knots.iter().enumerate().filter(|&(i, _)| is_solved(i)).map(|(_, &k)| form(k)).collect();
            let values = filled(&solved);
            assert_eq!(values.len(), knots.len());
            for (value, &k) in values.iter().zip(&knots) {
                assert!((value - form(k)).abs() < ERROR, "form {n}, k {k}: {value} {}", form(k));
            }
        }
    }

    #[test]
    fn knots_between_values_lost_in_rounding_stay_finite() {
        let values = filled(&[1.0, 0.9, 0.7, 0.6, 0.5, 1e-9, -1e-12, 0.0, 1e-13]);
        assert_eq!(values.len(), 13);
        assert!(values.iter().all(|value| value.is_finite() && value.abs() <= 1.0), "{values:?}");
    }
}
