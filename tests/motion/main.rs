//! Motion from outside: patterns against worked values, frames against stills, films against independent decoders, the command as its
//! user meets it.
#![allow(clippy::disallowed_methods, reason = "tests read and write files")]
#![allow(clippy::print_stderr, reason = "a test that is left out says so")]

mod command;
mod films;
mod flashing;
mod frames;
mod patterns;

use weftlight::cloth::catalogue::CatalogueOnly;
use weftlight::diagnose::Diagnostic;
use weftlight::scene::Scene;
use weftlight::scene::file::resolve;

/// A scene of these groups behind felt, with this pattern.
fn try_scene(pixels: &str, light: &str) -> Result<Scene, Vec<Diagnostic>> {
    let text =
        format!("pixels: [{pixels}]\nstack: [{{gap_mm: 6, cloth: felt-wool-ivory}}]\nlight: {light}\n");
    resolve(&text, "test", &CatalogueOnly).map(|resolved| resolved.scene)
}

fn scene(pixels: &str, light: &str) -> Scene {
    try_scene(pixels, light).unwrap_or_else(|faults| panic!("{light}: {faults:?}"))
}

/// Levels of a scene's pattern at a time.
fn at(scene: &Scene, time_s: f64) -> Vec<Vec<f64>> {
    scene.pattern.as_ref().expect("a pattern").levels_at(time_s)
}
