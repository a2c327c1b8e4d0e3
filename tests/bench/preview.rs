//! How long a whole preview takes in one process: from the text of a demo scene to the bytes of its PNG, at 1920 x 1080.
//!
//! The first preview of a process also makes the tables of the transport's kernels and the plans of the transforms: see the
//! README beside this file for the program as a whole.

#![allow(missing_docs, reason = "criterion's macros make public items")]

use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use weftlight::cloth::catalogue::CatalogueOnly;
use weftlight::picture::luminance::luminance;
use weftlight::picture::render;
use weftlight::scene::file::resolve;

const SIZE_PX: [u32; 2] = [1920, 1080];

const SCENES: [(&str, &str); 5] = [
    ("badge", include_str!("../../scenes/badge.yaml")),
    ("collar", include_str!("../../scenes/collar.yaml")),
    ("hem", include_str!("../../scenes/hem.yaml")),
    ("panel", include_str!("../../scenes/panel.yaml")),
    ("wing", include_str!("../../scenes/wing.yaml")),
];

fn bytes(name: &str, text: &str) -> Vec<u8> {
    let mut scene = resolve(text, name, &CatalogueOnly).expect("a sound scene").scene;
    scene.view.size_px = SIZE_PX;
    let picture = luminance(&scene);
    let exposure = render::exposure(&scene, &picture);
    render::png(&scene, &picture, exposure).expect("a picture")
}

fn preview(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("preview 1920x1080");
    group.sample_size(20);
    for (name, text) in SCENES {
        group.bench_function(name, |b| b.iter(|| bytes(black_box(name), black_box(text))));
    }
    group.finish();
}

criterion_group!(benches, preview);
criterion_main!(benches);
