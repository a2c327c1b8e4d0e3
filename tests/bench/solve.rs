//! How long the solution of a stack takes for all dies: the real function, with cloths of the catalogue.
//!
//! `white`: a cloth whose optics are nearly the same at all wavelengths; `dyed`: one whose optics change from one to the
//! next, so that every wavelength has to be solved; `three layers`: two white cloths over a dyed one.

#![allow(missing_docs, reason = "criterion's macros make public items")]

use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use std::sync::Arc;
use weftlight::cloth::{Cloth, catalogue};
use weftlight::light::Stack;
use weftlight::picture::die_spots::die_spots;
use weftlight::pixels::package::Package;
use weftlight::quantity::{Millimetres, Nanometres};

/// Red, green, blue and white dies: every wavelength that any die of the table needs.
const PACKAGE: &str = "5050-rgbw";
const BOARD_REFLECTANCE: f64 = 0.5;

/// A name, and the cloths from the pixels outwards, each over its gap in mm.
const STACKS: [(&str, &[(f64, &str)]); 4] = [
    ("white, one layer", &[(6.0, "felt-wool-ivory")]),
    ("dyed, one layer", &[(6.0, "felt-wool-red")]),
    ("white, three layers", &[(6.0, "wadding"), (2.0, "muslin"), (1.0, "voile")]),
    ("dyed, three layers", &[(6.0, "felt-wool-red"), (2.0, "muslin"), (1.0, "voile")]),
];

fn cloth(name: &str) -> Arc<Cloth> {
    catalogue::by_name(name).expect("in the catalogue").expect("a sound cloth")
}

fn solve(criterion: &mut Criterion) {
    let package = Package::named(PACKAGE).expect("in the table");
    let mut group = criterion.benchmark_group("solve for all dies");
    group.sample_size(20);
    for (name, layers) in STACKS {
        let cloths: Vec<(Millimetres, Arc<Cloth>)> =
            layers.iter().map(|&(gap, name)| (Millimetres(gap), cloth(name))).collect();
        let stack_at = |wavelength: Nanometres| Stack {
            board_reflectance: BOARD_REFLECTANCE,
            layers: cloths.iter().map(|(gap, cloth)| cloth.layer_at(*gap, wavelength)).collect(),
        };
        group.bench_function(name, |b| b.iter(|| die_spots(black_box(&[&package]), &stack_at)));
    }
    group.finish();
}

criterion_group!(benches, solve);
criterion_main!(benches);
