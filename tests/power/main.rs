//! Current, wires, supply and battery, against closed forms, published tables and slow obvious twins.

mod files;
mod ladder;
mod scenes;
mod suggestions;
mod wires;

use weftlight::build::supply::Supply;
use weftlight::cloth::catalogue::CatalogueOnly;
use weftlight::diagnose::{Ink, render};
use weftlight::scene::Scene;
use weftlight::scene::file::resolve;

/// A scene with these pixels (entries of the list), light and supply.
pub(crate) fn scene(pixels: &str, light: &str, supply: &str) -> (Scene, Supply) {
    let text = format!("pixels: [{pixels}]\nstack: []\nlight: {light}\nsupply: {supply}\n");
    match resolve(&text, "scene.yaml", &CatalogueOnly) {
        Ok(resolved) => {
            let supply = resolved.scene.supply.clone().expect("named in the file");
            (resolved.scene, supply)
        }
        Err(all) => panic!("{}", all.iter().map(|d| render(d, Ink::Plain)).collect::<String>()),
    }
}
