//! How long the numbers of one scene take: over gaps and cloths, with the ranges that the cloths' uncertainty makes, and
//! beside small pictures.

#![allow(missing_docs, reason = "criterion's macros make public items")]

use criterion::{Criterion, criterion_group, criterion_main};
use rayon::prelude::*;
use std::hint::black_box;
use weftlight::cloth::catalogue::{self, CatalogueOnly};
use weftlight::judge::numbers::Layout;
use weftlight::picture::luminance::luminance;
use weftlight::scene::Scene;
use weftlight::scene::file::resolve;

const CLOTHS: usize = 14;
const SMALL_PX: [u32; 2] = [480, 270];

fn collar() -> Scene {
    resolve(include_str!("../../scenes/collar.yaml"), "collar", &CatalogueOnly).expect("a sound scene").scene
}

/// The scene behind each of the catalogue's last cloths, the thick ones among them.
fn scenes() -> Vec<Scene> {
    let names: Vec<&str> = catalogue::names().collect();
    names[names.len() - CLOTHS..]
        .iter()
        .map(|name| {
            let mut scene = collar();
            scene.stack[0].cloth =
                catalogue::by_name(name).expect("in the catalogue").expect("a sound cloth");
            scene.view.size_px = SMALL_PX;
            scene
        })
        .collect()
}

fn numbers(criterion: &mut Criterion) {
    let scenes = scenes();
    let gaps: Vec<f64> = (1..=40).map(f64::from).collect();
    let layout = Layout::of(&scenes[0]);
    let mut group = criterion.benchmark_group("numbers of the collar");
    group.sample_size(10);
    group.bench_function("40 gaps x 14 cloths", |b| {
        b.iter(|| -> usize {
            scenes.iter().map(|scene| black_box(layout.numbers_over_gaps(scene, &gaps)).len()).sum()
        });
    });
    group.bench_function("one cloth with its ranges", |b| b.iter(|| layout.judged(black_box(&scenes[0]))));
    group.bench_function("40 gaps of one cloth with its ranges", |b| {
        b.iter(|| layout.judged_over_gaps(black_box(&scenes[0]), &gaps));
    });
    group.bench_function("14 cloths with their ranges", |b| {
        b.iter(|| -> Vec<_> { black_box(&scenes).par_iter().map(|scene| layout.judged(scene)).collect() });
    });
    group.bench_function("14 small pictures", |b| {
        b.iter(|| scenes.iter().map(|scene| black_box(luminance(scene)).peak().0).sum::<f64>());
    });
    group.finish();
}

criterion_group!(benches, numbers);
criterion_main!(benches);
