//! Cloth files: read, and written from labels and read back.

use super::harness::{Fuzzed, Random, Reached, run, text_seeds};
use super::mutate::{self, percent};
use super::pieces::YAML;
use super::scene::edits_keep_it_readable;
use super::told;
use rand::RngExt;
use std::time::Duration;
use weftlight::cloth::catalogue;
use weftlight::cloth::diffuse::{Totals, through_with_range, totals};
use weftlight::cloth::file::resolve;
use weftlight::cloth::label::write::{Heading, cloth_file};
use weftlight::cloth::label::{LabelInput, Structure};
use weftlight::quantity::{Millimetres, Nanometres};
use weftlight::reading::parse;

/// Shares of adding-doubling lie within 0 and 1 to this: its quadrature is good to about 1e-5, and to 1e-3 for light that is thrown almost
/// straight forwards.
const SUM: f64 = 1e-3;

/// A share that may lie beyond its ends by [`SUM`].
fn within(share: f64) -> f64 {
    if (-SUM..=1.0 + SUM).contains(&share) { share.clamp(0.0, 1.0) } else { share }
}

struct Cloths {
    seeds: Vec<String>,
}

impl Fuzzed for Cloths {
    const NAME: &'static str = "cloth";
    const INPUTS: u64 = 500;
    const LONGEST: Duration = Duration::from_secs(30);
    // A text of the greatest size takes some 100 MiB while it is read.
    const MOST_BYTES: usize = 256 << 20;

    fn input(&self, random: &mut Random) -> Vec<u8> {
        mutate::text(random, &self.seeds, &YAML).into_bytes()
    }

    fn hold(&self, input: &[u8], random: &mut Random) -> Reached {
        let text = String::from_utf8_lossy(input);
        if percent(random, 10) {
            edits_keep_it_readable(&text, random);
        }
        if percent(random, 10) {
            labels_come_back(random);
        }
        match resolve(&text, "cloth.yaml") {
            Ok(cloth) => {
                let uncertainty = &cloth.uncertainty;
                told::finite(
                    "cloth",
                    [cloth.thickness.0, uncertainty.optical_thickness, uncertainty.openness],
                );
                for wavelength in [380.0, 555.0, 780.0].map(Nanometres) {
                    let optics = cloth.layer_at(Millimetres(1.0), wavelength).optics;
                    told::finite("optics", [optics.extinction.0, optics.asymmetry]);
                    told::shares("albedo and holes", [optics.albedo, optics.openness]);
                }
                if percent(random, 20) {
                    let Totals { through, back } =
                        totals(&cloth.layer_at(Millimetres(0.0), Nanometres(550.0)));
                    let range = through_with_range(&cloth, Nanometres(550.0));
                    told::shares(
                        "light from all sides",
                        [through, back, through + back].into_iter().chain(range).map(within),
                    );
                }
                Reached::Use
            }
            Err(all) => {
                told::refusal(&all);
                if parse(&text).is_ok() { Reached::Meaning } else { Reached::Form }
            }
        }
    }
}

/// A file written from a label says what the label says, or is refused with a reason.
fn labels_come_back(random: &mut Random) {
    let odd = ["a", "with \"quotes\" and: colons", "\u{e9}\n# no comment", "", "{x}", "- y", "\u{1f9f5}"];
    let fibres = ["cotton", "wool", "silk", "polyester"];
    let count = random.random_range(1..=3);
    let structures = [Structure::Felt, Structure::Woven, Structure::Knit, Structure::Sheer, Structure::Mesh];
    let label = LabelInput {
        fibres: fibres[..count]
            .iter()
            .map(|name| ((*name).to_owned(), random.random_range(1.0..99.0)))
            .collect(),
        fibre_um: percent(random, 50).then(|| random.random_range(2.0..80.0)),
        areal_mass_g_m2: random.random_range(2.0..3000.0),
        thickness: Millimetres(random.random_range(0.01..20.0)),
        colour: random.random(),
        structure: structures[random.random_range(0..structures.len())],
        cover: percent(random, 50).then(|| random.random_range(0.02..1.0)),
    };
    let [title, source, comment] = [0; 3].map(|_| odd[random.random_range(0..odd.len())]);
    let text = cloth_file(&Heading { name: "own", title, source, comment }, &label);
    match resolve(&text, "own.yaml") {
        Ok(cloth) => {
            assert_eq!((cloth.title.as_str(), cloth.thickness), (title, label.thickness), "{text}");
        }
        Err(all) => {
            assert!(parse(&text).is_ok(), "what was written is no YAML: {text}");
            told::refusal(&all);
        }
    }
}

#[test]
fn cloths_are_refused_with_a_reason_or_give_finite_numbers() {
    let mut seeds = text_seeds("cloth");
    seeds.extend(catalogue::names().filter_map(catalogue::text).map(str::to_owned));
    run(&Cloths { seeds });
}
