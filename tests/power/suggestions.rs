//! Suggestions against brute force and against what they promise.

use crate::scene;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use weftlight::build::Case;
use weftlight::build::battery::hours;
use weftlight::build::current::of_scene;
use weftlight::build::run::{run, run_fed_at};
use weftlight::build::suggest::{
    NoFeeds, fewest_feeds, level_for_hours, level_that_holds, split, thinnest_wire,
};
use weftlight::build::supply::Supply;
use weftlight::scene::Scene;

/// What a pixel may lack by rounding and by Newton's last step, in V.
const SETTLED_V: f64 = 2e-6;

/// Whether the true run (not the linear one of the suggestions) leaves every pixel what it needs.
fn suffices(scene: &Scene, supply: &Supply, at: &[usize], case: Case, factor: f64) -> bool {
    let run = run_fed_at(scene, supply, at, case, factor);
    let volts = run.ladder.solve().expect("solved").volts;
    volts.iter().zip(&run.least_volts).all(|(v, least)| *v >= least - SETTLED_V)
}

/// The least number of feeds over all subsets of the pixels.
fn by_brute_force(scene: &Scene, supply: &Supply, case: Case) -> Option<usize> {
    let n = scene.pixels.len();
    let sets = (1_u32..1 << n).filter(|set| {
        let at: Vec<usize> = (0..n).filter(|i| set >> i & 1 == 1).collect();
        suffices(scene, supply, &at, case, 1.0)
    });
    sets.map(|set| set.count_ones() as usize).min()
}

/// Small runs with copper so poor that they need several feeds: the number found is the least of all choices.
#[test]
fn fewest_feeds_are_the_fewest() {
    let mut rng = Pcg64::seed_from_u64(3);
    let mut numbers = [0; 10];
    let mut impossible = 0;
    for round in 0..60 {
        let (a, b) = (rng.random_range(1..5), rng.random_range(1..5));
        let pixels = format!(
            "strip: {{pitch_mm: 100, count: {a}, level: {:.2}}}, strip: {{pitch_mm: 60, count: {b}, start_mm: [400, 50]}}",
            rng.random_range(0.1..1.0)
        );
        let supply = format!(
            "{{conductor_ohm_per_m: {}, wire_awg: {}, wire_mm: {}}}",
            rng.random_range(5..200),
            rng.random_range(20..38),
            rng.random_range(0..4000)
        );
        let (scene, supply) = scene(&pixels, "{level: 0.8}", &supply);
        let case = if round % 2 == 0 { Case::Typical } else { Case::Worst };
        match (fewest_feeds(&scene, &supply, case, 1.0), by_brute_force(&scene, &supply, case)) {
            (Ok(feeds), Some(least)) => {
                assert!(suffices(&scene, &supply, &feeds.at, case, 1.0), "round {round}: {feeds:?}");
                assert_eq!(feeds.at.len(), least, "round {round}: {feeds:?}");
                assert!(feeds.at_least <= least && feeds.spare_v >= -SETTLED_V);
                numbers[least] += 1;
            }
            (Err(NoFeeds::WiresTooThin { .. }), None) => impossible += 1,
            (found, brute) => panic!("round {round}: {found:?}, by brute force {brute:?}"),
        }
    }
    // The rounds must really differ, or nothing was tested.
    assert!(impossible > 0 && numbers.iter().filter(|n| **n > 0).count() >= 4, "{numbers:?} {impossible}");
}

/// Longer runs that need two or three feeds: one feed fewer, wherever it is put, does not suffice.
#[test]
fn one_feed_fewer_does_not_suffice() {
    let mut numbers = [0; 5];
    let runs = [5, 10, 20, 40, 60, 80, 110]
        .into_iter()
        .flat_map(|ohm| [(20, ohm, 22), (28, ohm, 30), (24, ohm, 34)]);
    for (count, ohm, wire) in runs {
        let pixels = format!("strip: {{pitch_mm: 50, count: {count}}}");
        let supply = format!("{{conductor_ohm_per_m: {ohm}, wire_awg: {wire}}}");
        let (scene, supply) = scene(&pixels, "{level: 0.25}", &supply);
        let feeds = fewest_feeds(&scene, &supply, Case::Typical, 1.0).expect("possible").at;
        assert!(suffices(&scene, &supply, &feeds, Case::Typical, 1.0));

        let works = |at: &[usize]| suffices(&scene, &supply, at, Case::Typical, 1.0);
        let fewer = match feeds.len() {
            2 => (0..count).any(|a| works(&[a])),
            3 => (0..count).any(|a| (0..a).any(|b| works(&[b, a]))),
            4 => (0..count).any(|a| (0..a).any(|b| (0..b).any(|c| works(&[c, b, a])))),
            _ => continue,
        };
        numbers[feeds.len()] += 1;
        assert!(!fewer, "{count} {ohm} {wire}: {feeds:?}");
    }

    assert!(numbers[2] > 1 && numbers[3] > 1 && numbers[4] > 1, "{numbers:?}");
}

#[test]
fn long_runs_get_what_they_need() {
    for (count, level, wire) in [(300, 0.3, 18), (600, 1.0, 14), (590, 0.1, 22)] {
        let pixels = format!("strip: {{pitch_mm: 16.67, count: {count}}}");
        let (scene, supply) =
            scene(&pixels, &format!("{{level: {level}}}"), &format!("{{wire_awg: {wire}}}"));
        let feeds = fewest_feeds(&scene, &supply, Case::Typical, 1.0).expect("possible");
        assert!(suffices(&scene, &supply, &feeds.at, Case::Typical, 1.0));
        assert!(feeds.at_least <= feeds.at.len() && feeds.at.is_sorted());
    }
}

/// Even with wires that lose nothing there is a least number; feeds with thick short wires reach it.
#[test]
fn with_perfect_wires_the_bound_is_reached() {
    let (scene, supply) =
        scene("strip: {pitch_mm: 16.67, count: 500}", "{level: 0.8}", "{wire_awg: 4, wire_mm: 0}");
    let feeds = fewest_feeds(&scene, &supply, Case::Typical, 1.0).expect("possible");
    assert_eq!(feeds.at.len(), feeds.at_least, "{feeds:?}");
    assert!(feeds.at.len() > 1);
}

#[test]
fn why_no_feeds_help() {
    let (low, supply) = scene("strip: {pitch_mm: 16.67, count: 10}", "{}", "{volts: 3.6}");
    let found = fewest_feeds(&low, &supply, Case::Typical, 1.0);
    assert!(
        matches!(found, Err(NoFeeds::SupplyTooLow { needs_v, .. }) if (needs_v - 3.7).abs() < 1e-9),
        "{found:?}"
    );
    let (thin, supply) = scene("strip: {pitch_mm: 16.67, count: 10}", "{}", "{wire_awg: 40, wire_mm: 20000}");
    let found = fewest_feeds(&thin, &supply, Case::Typical, 1.0);
    assert!(matches!(found, Err(NoFeeds::WiresTooThin { .. })), "{found:?}");
}

#[test]
fn a_hundred_thousand_pixels_get_feeds() {
    let (scene, supply) =
        scene("grid: {columns: 400, rows: 250, pitch_mm: 10}", "{level: 0.02}", "{wire_awg: 8}");
    let feeds = fewest_feeds(&scene, &supply, Case::Typical, 1.0).expect("possible");
    assert!(suffices(&scene, &supply, &feeds.at, Case::Typical, 1.0), "{} feeds", feeds.at.len());
}

/// At the level that holds the tightest pixel has just what it needs, and a little more light is too much.
#[test]
fn the_level_that_holds_is_the_greatest() {
    let (scene, supply) = scene("strip: {pitch_mm: 16.67, count: 240}", "{}", "{inject: ends}");
    for case in [Case::Typical, Case::Worst] {
        let level = level_that_holds(&scene, &supply, case).expect("dark pixels hold");
        assert!(level > 0.01 && level < 0.9, "{level}");
        let holds = |factor: f64| {
            let run = run(&scene, &supply, case, factor);
            let volts = run.ladder.solve().expect("solved").volts;
            volts.iter().zip(&run.least_volts).all(|(v, least)| *v >= least - SETTLED_V)
        };
        assert!(holds(level) && !holds(level * 1.001));
    }
    let (short, supply) = crate::scene("strip: {pitch_mm: 16.67, count: 10}", "{level: 0.2}", "{}");
    assert_eq!(level_that_holds(&short, &supply, Case::Typical), Some(1.0));
    let (low, supply) = crate::scene("strip: {pitch_mm: 16.67, count: 10}", "{}", "{volts: 3.6}");
    assert_eq!(level_that_holds(&low, &supply, Case::Typical), None);
}

/// The gauge suggested suffices in volts and in current, the next thinner one does not.
#[test]
fn the_thinnest_wire_is_just_thick_enough() {
    for (level, text) in [(0.1, "{}"), (0.3, "{inject: ends, wire_mm: 900}"), (0.05, "{wire_mm: 3000}")] {
        let (scene, mut supply) =
            scene("strip: {pitch_mm: 16.67, count: 120}", &format!("{{level: {level}}}"), text);
        let works = |supply: &Supply| {
            let run = run(&scene, supply, Case::Typical, 1.0);
            let solved = run.ladder.solve().expect("solved");
            solved.volts.iter().zip(&run.least_volts).all(|(v, least)| *v >= least - SETTLED_V)
                && solved.feed_amperes.iter().all(|a| *a <= supply.wire.careful_a()[0] + SETTLED_V)
        };
        supply.wire = thinnest_wire(&scene, &supply, Case::Typical, 1.0).expect("some");
        assert!(works(&supply), "{text}");
        supply.wire.0 += 1;
        assert!(!works(&supply), "{text} {}", supply.wire);
    }
    let (hungry, supply) = scene("strip: {pitch_mm: 16.67, count: 599}", "{}", "{}");
    assert_eq!(thinnest_wire(&hungry, &supply, Case::Typical, 1.0), None);
}

#[test]
fn runs_are_split_as_seldom_as_can_be() {
    let (scene, _) = scene("strip: {pitch_mm: 16.67, count: 60}", "{}", "{}");
    // 57.6 mA a pixel: 17 pixels in 1000 mA, so four stretches.
    let stretches = split(&scene, 1000.0, Case::Typical, 1.0).expect("possible");
    assert_eq!(stretches, [0..17, 17..34, 34..51, 51..60]);
    assert_eq!(
        split(&scene, 5000.0, Case::Typical, 1.0).expect("possible"),
        std::iter::once(0..60).collect::<Vec<_>>()
    );
    assert_eq!(split(&scene, 50.0, Case::Typical, 1.0), Err(0));
    assert_eq!(split(&scene, 50.0, Case::Typical, 0.5).expect("possible").len(), 60);
}

/// At the suggested level the battery lasts just as long as was asked.
#[test]
fn the_battery_lasts_the_evening() {
    let (scene, supply) =
        scene("strip: {pitch_mm: 16.67, count: 60}", "{level: 0.8}", "{battery: {capacity_mah: 5000}}");
    let level = level_for_hours(&scene, &supply, 4.0).expect("a battery");
    let (nominal, cautious) = (level.nominal.expect("possible"), level.cautious.expect("possible"));
    assert!(cautious < nominal && nominal < 1.0);
    let draw = of_scene(&scene);
    let lasts = |factor: f64| hours(&supply, draw.at(factor)).expect("a battery");
    // Quotients of doubles.
    assert!((lasts(nominal).nominal - 4.0).abs() < 1e-9 && (lasts(cautious).range[0] - 4.0).abs() < 1e-9);
    assert_eq!(
        level_for_hours(&scene, &supply, 0.1).expect("a battery").nominal,
        Some(1.0),
        "no dimming needed"
    );
    assert_eq!(
        level_for_hours(&scene, &supply, 900.0).expect("a battery").nominal,
        None,
        "dark pixels empty it"
    );
}
