//! The ladder network against closed forms, Ohm's law, dense elimination on two rails, and its own energy.

use nalgebra::{DMatrix, DVector};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use weftlight::build::Case;
use weftlight::build::electric::DieCurve;
use weftlight::build::ladder::{Feed, LEAST_OHM, Ladder, Load, Sink, Solved, Unsolvable};
use weftlight::pixels::package::Die;

/// Volts of runs up to a few hundred nodes, from sums and quotients of doubles; conductances up to 1/LEAST_OHM.
const EXACT_V: f64 = 1e-9;

/// Draws its current at any voltage above a hundredth of a volt.
fn constant(ampere: f64) -> Load {
    Load { idle_a: ampere, idle_from_v: 0.01, sinks: Vec::new() }
}

/// Red and blue dies and a driver.
fn pixel(ampere: f64, case: Case) -> Load {
    let sink = |die| Sink { full_a: ampere, curve: DieCurve::of(die, case) };
    Load { idle_a: 6e-4, idle_from_v: 3.5, sinks: [Die::Red, Die::Green, Die::Blue].map(sink).to_vec() }
}

fn even(volts: f64, nodes: usize, between_ohm: f64, feeds: &[usize], load: &Load) -> Ladder {
    Ladder {
        volts,
        internal_ohm: 0.0,
        between_ohm: vec![between_ohm; nodes - 1],
        feeds: feeds.iter().map(|&at| Feed { at, ohm: 0.0 }).collect(),
        loads: vec![load.clone(); nodes],
    }
}

fn solved(ladder: &Ladder) -> Solved {
    ladder.solve().expect("solvable")
}

/// 12.0 V over 1.00, 6.00 and 13.0 ohm in series: 0.600 A, and drops of 0.600, 3.60 and 7.80 V (OpenStax College Physics,
/// example 21.1, from memory). One volt more at the source leaves that volt for the load.
#[test]
fn resistors_in_series_as_in_the_textbook() {
    let ladder = Ladder {
        volts: 13.0,
        internal_ohm: 0.0,
        between_ohm: vec![6.0, 13.0],
        feeds: vec![Feed { at: 0, ohm: 1.0 }],
        loads: vec![constant(0.0), constant(0.0), constant(0.6)],
    };
    let found = solved(&ladder);
    for (volts, expected) in found.volts.iter().zip([12.4, 8.8, 1.0]) {
        assert!((volts - expected).abs() < EXACT_V, "{volts} {expected}");
    }
    assert!((found.total_a() - 0.6).abs() < EXACT_V);
}

/// A battery of 12.0 V with 0.100 ohm inside: at 20.0 A 10.0 V are left at its terminals, 200 W outside and 40 W inside; at 1.188 A
/// 11.9 V (OpenStax College Physics, example 21.5, from memory).
#[test]
fn a_battery_with_internal_resistance_as_in_the_textbook() {
    for (ampere, terminal_v, outside_w) in [(20.0, 10.0, 200.0), (1.188, 11.8812, 14.1149)] {
        let mut ladder = even(12.0, 1, 0.0, &[0], &constant(ampere));
        ladder.internal_ohm = 0.1;
        let found = solved(&ladder);
        // The joint of a micro-ohm takes up to 20 microvolt.
        let joint = LEAST_OHM * ampere;
        assert!((found.terminal_v - terminal_v).abs() < EXACT_V);
        assert!((found.volts[0] - (terminal_v - joint)).abs() < EXACT_V);
        // Six digits of the expected power.
        assert!((found.supply_w - outside_w).abs() < 1e-4, "{}", found.supply_w);
    }
}

/// Evenly spread load: `I R L / 2` at the end of a run fed at one end, a quarter of that in the middle of one fed at both. With n separate
/// loads of i and n - 1 pieces of r the first is exactly `i r n (n - 1) / 2`, the second `i r (n - 1)^2 / 8` for odd n.
#[test]
fn evenly_spread_load() {
    let (i, r) = (0.02, 0.004);
    for nodes in [2_usize, 3, 11, 201] {
        let n = nodes as f64;
        let one = solved(&even(1000.0, nodes, r, &[0], &constant(i)));
        let joint = LEAST_OHM * i * n;
        let drop = 1000.0 - joint - one.volts[nodes - 1];
        assert!((drop - i * r * n * (n - 1.0) / 2.0).abs() < EXACT_V * 1e2, "{n}: {drop}");
        let continuous = (i * n) * (r * n) / 2.0;
        assert!((drop / continuous - 1.0).abs() <= 1.0 / n + 1e-9, "I R L / 2");
        if nodes % 2 == 1 {
            let both = solved(&even(1000.0, nodes, r, &[0, nodes - 1], &constant(i)));
            let drop = 1000.0 - joint / 2.0 - both.volts[nodes / 2];
            assert!((drop - i * r * (n - 1.0).powi(2) / 8.0).abs() < EXACT_V * 1e2, "{n}: {drop}");
            assert!((both.feed_amperes[0] - both.feed_amperes[1]).abs() < 1e-6, "both ends alike");
        }
    }
}

/// A run of 100,000 nodes keeps the closed form: rounding grows at most with the number of nodes.
#[test]
fn a_hundred_thousand_nodes_keep_the_closed_form() {
    let (nodes, i, r) = (100_000, 1e-6, 0.004);
    let n = nodes as f64;
    let found = solved(&even(100.0, nodes, r, &[0], &constant(i)));
    let drop = 100.0 - found.volts[nodes - 1];
    let expected = i * r * n * (n - 1.0) / 2.0;
    assert!((drop / expected - 1.0).abs() < n * f64::EPSILON + LEAST_OHM, "{drop} {expected}");
}

fn random_run(rng: &mut Pcg64, nodes: usize, feeds: usize) -> Ladder {
    Ladder {
        volts: 5.0,
        internal_ohm: 0.0,
        between_ohm: (1..nodes).map(|_| rng.random_range(0.001..0.01)).collect(),
        feeds: (0..feeds)
            .map(|_| Feed { at: rng.random_range(0..nodes), ohm: rng.random_range(0.01..0.1) })
            .collect(),
        loads: (0..nodes).map(|_| constant(rng.random_range(0.0..0.03))).collect(),
    }
}

/// Both rails as a dense network of their own: each node has a supply side and a ground side, the ground rail's resistances being
/// `ratio` times the supply rail's. Returns the voltage between the rails.
fn dense_two_rails(ladder: &Ladder, ratio: f64, drawn: &[f64]) -> Vec<f64> {
    let n = ladder.loads.len();
    let mut matrix: DMatrix<f64> = DMatrix::zeros(2 * n, 2 * n);
    let mut into: DVector<f64> = DVector::zeros(2 * n);
    let parts = [1.0 / (1.0 + ratio), ratio / (1.0 + ratio)];
    for (rail, part) in parts.into_iter().enumerate() {
        let at = |k: usize| rail * n + k;
        for (k, ohm) in ladder.between_ohm.iter().enumerate() {
            let g = 1.0 / (ohm * part);
            for (a, b) in [(at(k), at(k + 1)), (at(k + 1), at(k))] {
                matrix[(a, a)] += g;
                matrix[(a, b)] -= g;
            }
        }
        for feed in &ladder.feeds {
            let g = 1.0 / (feed.ohm * part);
            matrix[(at(feed.at), at(feed.at))] += g;
            into[at(feed.at)] += g * if rail == 0 { ladder.volts } else { 0.0 };
        }
        for (k, a) in drawn.iter().enumerate() {
            into[at(k)] += if rail == 0 { -a } else { *a };
        }
    }
    let found = matrix.lu().solve(&into).expect("regular");
    (0..n).map(|k| found[k] - found[n + k]).collect()
}

#[test]
fn two_rails_solved_densely_give_the_same() {
    let mut rng = Pcg64::seed_from_u64(5);
    for round in 0..40 {
        let nodes = rng.random_range(1..60);
        let ladder = random_run(&mut rng, nodes, 1 + round % 4);
        let drawn: Vec<f64> = ladder.loads.iter().map(Load::full_a).collect();
        let found = solved(&ladder);
        for ratio in [1.0, 0.3] {
            for (a, b) in found.volts.iter().zip(dense_two_rails(&ladder, ratio, &drawn)) {
                assert!((a - b).abs() < EXACT_V, "round {round}: {a} {b}");
            }
        }
    }
}

/// Constant loads superpose: the drops of single loads add up to the drops of all.
#[test]
fn drops_superpose() {
    let ladder = random_run(&mut Pcg64::seed_from_u64(8), 23, 3);
    let whole = solved(&ladder);
    let mut sum = [0.0; 23];
    for k in 0..23 {
        let mut one = ladder.clone();
        for (i, load) in one.loads.iter_mut().enumerate() {
            if i != k {
                load.idle_a = 0.0;
            }
        }
        sum.iter_mut().zip(solved(&one).volts).for_each(|(sum, v)| *sum += ladder.volts - v);
    }
    for (v, drop) in whole.volts.iter().zip(sum) {
        assert!((ladder.volts - v - drop).abs() < EXACT_V);
    }
}

/// Where voltage is short, a dense fixed-point iteration on two rails arrives at the same: draw what the last voltages allow, solve,
/// go half way.
#[test]
fn dimmed_pixels_agree_with_a_dense_iteration() {
    let mut rng = Pcg64::seed_from_u64(13);
    for case in [Case::Typical, Case::Worst] {
        let mut ladder = random_run(&mut rng, 40, 1);
        ladder.loads = vec![pixel(0.02, case); 40];
        ladder.feeds[0].at = 0;
        ladder.between_ohm.iter_mut().for_each(|ohm| *ohm *= 6.0);
        let found = solved(&ladder);
        assert!(found.shares.iter().any(|shares| shares[2] < 0.9), "some are dimmed");
        let mut volts = vec![ladder.volts; 40];
        for _ in 0..2000 {
            let drawn: Vec<f64> =
                ladder.loads.iter().zip(&volts).map(|(load, v)| load.current(*v).0).collect();
            let next = dense_two_rails(&ladder, 1.0, &drawn);
            volts.iter_mut().zip(next).for_each(|(v, next)| *v += 0.05 * (next - *v));
        }
        for (a, b) in found.volts.iter().zip(&volts) {
            assert!((a - b).abs() < EXACT_V, "{a} {b}");
        }
    }
}

#[test]
fn energy_balances_and_currents_add_up() {
    let mut rng = Pcg64::seed_from_u64(21);
    for round in 0..30 {
        let mut ladder = random_run(&mut rng, 80, 1 + round % 3);
        ladder.internal_ohm = 0.05 * f64::from((round % 2) as u8);
        ladder.loads = vec![pixel(0.001 * (round + 1) as f64, Case::Typical); 80];
        let found = solved(&ladder);
        let balance = found.supply_w - found.pixels_w - found.copper_w;
        // A microvolt of Newton's last step times the current.
        assert!(balance.abs() < 1e-6 * (1.0 + found.total_a()), "round {round}: {balance} W");
        let drawn: f64 = found.amperes.iter().sum();
        assert!((found.total_a() - drawn).abs() < 1e-6 * (1.0 + drawn), "{} {drawn}", found.total_a());
        let inside = ladder.volts - ladder.internal_ohm * found.total_a();
        assert!((found.terminal_v - inside).abs() < 1e-6, "{} {inside}", found.terminal_v);
    }
}

/// Far beyond what the copper can carry the run collapses, and the solver still arrives: no more flows than a short circuit would, and
/// voltages fall from the feed on.
#[test]
fn runs_that_collapse_are_solved() {
    for (nodes, ampere) in [(50, 5.0), (3000, 0.06), (100_000, 0.06)] {
        for internal_ohm in [0.0, 0.1] {
            let mut ladder = even(5.0, nodes, 0.004, &[0], &pixel(ampere, Case::Typical));
            ladder.feeds[0].ohm = 0.05;
            ladder.internal_ohm = internal_ohm;
            let found = solved(&ladder);
            assert!(found.total_a() < 5.0 / (0.05 + internal_ohm));
            // Where nothing is left, the last step of Newton's method may leave a microvolt of either sign.
            assert!(
                found.volts.is_sorted_by(|a, b| *a >= b - 1e-6) && found.volts[nodes - 1] >= -1e-6,
                "{nodes}"
            );
            assert!(found.volts[nodes - 1] < 3.0, "{nodes} pixels of {ampere} A are too much");
            // What is left at a node, against the current in the copper there.
            assert!(
                found.residual_a < 1e-6 * found.total_a(),
                "{} A after {} steps",
                found.residual_a,
                found.steps
            );
            assert!(found.steps <= 60, "{} steps", found.steps);
        }
    }
}

/// Less copper never raises a voltage, one more feed never lowers one.
#[test]
fn more_copper_and_more_feeds_never_hurt() {
    let mut rng = Pcg64::seed_from_u64(34);
    for _ in 0..30 {
        let mut ladder = random_run(&mut rng, 50, 2);
        ladder.loads = vec![pixel(0.02, Case::Typical); 50];
        let before = solved(&ladder);
        let mut thinner = ladder.clone();
        let piece = rng.random_range(0..49);
        thinner.between_ohm[piece] *= 2.0;
        thinner.feeds[0].ohm *= 1.5;
        let mut fed = ladder.clone();
        fed.feeds.push(Feed { at: rng.random_range(0..50), ohm: 0.05 });
        // Newton's last step.
        let never_above =
            |low: &Solved, high: &Solved| low.volts.iter().zip(&high.volts).all(|(l, h)| *l <= h + 1e-6);
        assert!(never_above(&solved(&thinner), &before) && never_above(&before, &solved(&fed)));
    }
}

#[test]
fn what_is_no_run_is_refused() {
    let good = even(5.0, 3, 0.01, &[0], &constant(0.1));
    let broken = |change: &dyn Fn(&mut Ladder)| {
        let mut ladder = good.clone();
        change(&mut ladder);
        ladder.solve().expect_err("refused")
    };
    assert_eq!(broken(&|l| l.feeds.clear()), Unsolvable::NoFeed);
    assert_eq!(broken(&|l| l.loads.clear()), Unsolvable::Misshapen { nodes: 0, pieces: 0 });
    assert_eq!(broken(&|l| l.feeds[0].at = 3), Unsolvable::Misshapen { nodes: 3, pieces: 2 });
    assert_eq!(broken(&|l| l.volts = f64::NAN), Unsolvable::NotANumber);
    assert_eq!(broken(&|l| l.between_ohm[1] = -1.0), Unsolvable::NotANumber);
    assert_eq!(broken(&|l| l.loads[1].idle_a = f64::INFINITY), Unsolvable::NotANumber);
    // No volts at all is a run that stays dark.
    let mut dead = even(0.0, 3, 0.01, &[0], &pixel(0.02, Case::Typical));
    dead.internal_ohm = 0.1;
    assert!(solved(&dead).volts.iter().all(|v| v.abs() < EXACT_V));
}
