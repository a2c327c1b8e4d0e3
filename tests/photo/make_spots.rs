//! Makes the tables of [`crate::spots`] with the photons method, and checks two of them against fresh photons.
//!
//! `cargo test --test photo make_tables -- --ignored` makes those that are not there: a quarter of an hour of one core for all.

use crate::cloths::{CLOTHS, COLOURS, TestCloth, named};
use crate::spots::{self, ring_edges, source};
use std::fmt::Write;
use std::time::Instant;
use weftlight::light::photons::{BATCHES, PhotonSpread, spread};

/// Photons of the run that finds out how many are needed.
const PILOT: u64 = 100_000;

/// Wanted relative standard error of a ring, root mean square over the rings that count. It lets a fit be tested to about
/// a per cent: some thirty rings share in it.
const WANTED: f64 = 0.005;

/// Rings count for [`WANTED`] where they are brighter than this share of the brightest.
const COUNTS_ABOVE: f64 = 0.05;

/// No run takes longer than about so many seconds; what it reached is in the table (all reached what was wanted).
const MOST_SECONDS: f64 = 60.0;

/// Root mean square, over the rings that count, of the relative standard errors.
fn relative_error(found: &PhotonSpread) -> f64 {
    let peak = found.rings.iter().map(|ring| ring.radiance.value).fold(0.0, f64::max);
    let squares: Vec<f64> = found
        .rings
        .iter()
        .filter(|ring| ring.radiance.value > COUNTS_ABOVE * peak)
        .map(|ring| (ring.radiance.standard_error / ring.radiance.value).powi(2))
        .collect();
    (squares.iter().sum::<f64>() / squares.len() as f64).sqrt()
}

fn run(cloth: &TestCloth, gap_mm: f64, colour: usize, photons: u64, seed: u64) -> PhotonSpread {
    let edges = ring_edges(gap_mm + cloth.thickness_mm, cloth.finest_ring_mm);
    spread(&cloth.stack(gap_mm, colour), &source(), &edges, photons, seed)
}

/// As many photons as [`WANTED`] asks for and [`MOST_SECONDS`] allows.
fn run_to_error(cloth: &TestCloth, gap_mm: f64, colour: usize, seed: u64) -> PhotonSpread {
    let start = Instant::now();
    // The pilot has a seed of its own: a number of photons chosen after seeing them would bias them.
    let pilot = run(cloth, gap_mm, colour, PILOT, seed + 500_000);
    let seconds = start.elapsed().as_secs_f64();
    let factor = (relative_error(&pilot) / WANTED).powi(2).min(MOST_SECONDS / seconds).max(1.0);
    run(cloth, gap_mm, colour, (PILOT as f64 * factor) as u64, seed)
}

#[test]
#[ignore = "makes the tables that are not there, a quarter of an hour for all"]
#[allow(clippy::disallowed_methods, clippy::print_stderr)]
fn make_tables() {
    let former = std::fs::read_to_string(spots::path("runs")).unwrap_or_default();
    let mut runs = HEADING_OF_RUNS.to_owned();
    for (c, cloth) in CLOTHS.iter().enumerate() {
        if spots::path(cloth.name).exists() {
            let own = |row: &&str| row.split(',').next() == Some(cloth.name);
            former.lines().filter(own).for_each(|row| runs = format!("{runs}{row}\n"));
            continue;
        }
        let mut table = heading(cloth);
        for (g, gap_mm) in cloth.gaps_mm().into_iter().enumerate() {
            let found: [PhotonSpread; 3] = std::array::from_fn(|colour| {
                let seed = (100 * (c + 1) + 10 * (g + 1) + colour + 1) as u64;
                let found = run_to_error(cloth, gap_mm, colour, seed);
                runs += &row_of_run(cloth, gap_mm, colour, seed, &found);
                eprintln!("{} {gap_mm} {}: {:.4}", cloth.name, COLOURS[colour], relative_error(&found));
                found
            });
            table += &rows_of_rings(gap_mm, &found);
        }
        std::fs::write(spots::path(cloth.name), table).expect("the folder of the tables can be written");
        std::fs::write(spots::path("runs"), &runs).expect("the folder of the tables can be written");
    }
}

const HEADING_OF_RUNS: &str = "\
# source: made by this project's photons method (light::photons); invented cloths, see tests/photo/cloths.rs; shares of the \
emitted flux that leave unscattered and scattered, with standard errors; relative_error: root mean square of the rings' relative \
standard errors where they are brighter than 5 % of the brightest
cloth,gap_mm,colour,photons,seed,direct_share,direct_error,scattered_share,scattered_error,relative_error
";

fn heading(cloth: &TestCloth) -> String {
    let source = source();
    format!(
        "# source: made by this project's photons method (light::photons), photons and seeds in runs.csv; invented cloth: thickness \
         {} mm, extinction {} /mm, albedo {:?} at {:?} nm, asymmetry {}, openness {}; board reflectance {}; source {:?}; radiance \
         straight ahead per unit flux in 1/(sr mm2), mean of each ring with its standard error, direct image not included\n\
         gap_mm,outer_mm,red,red_error,green,green_error,blue,blue_error\n",
        cloth.thickness_mm,
        cloth.extinction_per_mm,
        cloth.albedo,
        crate::cloths::WAVELENGTHS_NM,
        cloth.asymmetry,
        cloth.openness,
        crate::cloths::BOARD_REFLECTANCE,
        source,
    )
}

fn row_of_run(cloth: &TestCloth, gap_mm: f64, colour: usize, seed: u64, found: &PhotonSpread) -> String {
    let (direct, scattered) = (found.direct_share, found.scattered_share);
    format!(
        "{},{gap_mm},{},{},{seed},{:.6e},{:.1e},{:.6e},{:.1e},{:.4}\n",
        cloth.name,
        COLOURS[colour],
        found.photons,
        direct.value,
        direct.standard_error,
        scattered.value,
        scattered.standard_error,
        relative_error(found)
    )
}

fn rows_of_rings(gap_mm: f64, found: &[PhotonSpread; 3]) -> String {
    let mut rows = String::new();
    for i in 0..found[0].rings.len() {
        write!(rows, "{gap_mm},{:.4}", found[0].rings[i].outer_mm).expect("a String takes all");
        for spread in found {
            let radiance = spread.rings[i].radiance;
            write!(rows, ",{:.4e},{:.1e}", radiance.value, radiance.standard_error)
                .expect("a String takes all");
        }
        rows.push('\n');
    }
    rows
}

/// Photons of the fresh runs.
const FRESH: u64 = 500_000;

/// The seed of the fresh runs; it was not chosen among several.
const FRESH_SEED: u64 = 1_000_001;

/// No ring may be farther away than this many standard errors of the difference. Among 120 rings a normal deviate beyond 5
/// turns up once in 15 000 runs.
const WORST_RING: f64 = 5.0;

/// Standard deviations allowed for chi-square, and by how much its variance exceeds that of independent rings: one photon's
/// scatterings fall into neighbouring rings (measured in tests/twin.rs).
const CHI_SQUARE_DEVIATIONS: f64 = 4.0;
const RING_CORRELATION: f64 = 2.5;

/// Differences between a table and fresh photons at a gap in mm, in standard errors.
fn deviates(cloth: &TestCloth, gap_mm: f64, colour: usize, fresh_gap_mm: f64) -> Vec<f64> {
    let table = spots::of(cloth, gap_mm);
    let edges = ring_edges(gap_mm + cloth.thickness_mm, cloth.finest_ring_mm);
    let fresh = spread(&cloth.stack(fresh_gap_mm, colour), &source(), &edges, FRESH, FRESH_SEED);
    let pairs = fresh.rings.iter().zip(&table.colours[colour].rings);
    pairs
        .map(|(a, b)| {
            let error = a.radiance.standard_error.hypot(b.radiance.standard_error);
            (a.radiance.value - b.radiance.value) / error
        })
        .collect()
}

/// Chi-square per ring, and what it may be.
fn chi_square(deviates: &[f64]) -> [f64; 2] {
    let count = deviates.len() as f64;
    let found = deviates.iter().map(|z| z * z).sum::<f64>() / count;
    // Errors that come from so many batches themselves: Student's law.
    let expected = (BATCHES - 1) as f64 / (BATCHES - 3) as f64;
    [found, expected + CHI_SQUARE_DEVIATIONS * (2.0 * RING_CORRELATION / count).sqrt()]
}

#[test]
fn two_tables_agree_with_fresh_photons() {
    for (name, gap_mm, colour) in [("poplin", 4.0, 2), ("muslin", 12.0, 0)] {
        let deviates = deviates(named(name), gap_mm, colour, gap_mm);
        let worst = deviates.iter().fold(0.0_f64, |worst, z| worst.max(z.abs()));
        assert!(worst < WORST_RING, "{name}: a ring is {worst:.2} errors away");
        let [found, limit] = chi_square(&deviates);
        assert!(found < limit, "{name}: chi-square per ring {found:.3}, limit {limit:.3}");
    }
}

#[test]
fn the_comparison_notices_a_gap_two_percent_larger() {
    let [found, limit] = chi_square(&deviates(named("poplin"), 4.0, 2, 4.08));
    assert!(found > limit, "chi-square per ring {found:.3} is not above {limit:.3}");
}

#[test]
fn the_tables_are_of_the_cloths_as_they_stand() {
    for cloth in CLOTHS {
        assert!(
            spots::text(cloth.name).starts_with(&heading(&cloth)),
            "{}: the cloth was changed",
            cloth.name
        );
        for gap_mm in cloth.gaps_mm() {
            let spots = spots::of(&cloth, gap_mm);
            for (colour, spot) in spots.colours.iter().enumerate() {
                let edges = ring_edges(gap_mm + cloth.thickness_mm, cloth.finest_ring_mm);
                assert_eq!(spot.rings.len() + 1, edges.len(), "{} {gap_mm}", cloth.name);
                let kept = spot.direct_share.value + spot.scattered_share.value;
                assert!(kept > 0.0 && kept < 1.0, "{} {gap_mm} {}: kept {kept}", cloth.name, COLOURS[colour]);
            }
        }
    }
}
