//! Lists of places (CSV): read, used in a scene, written and read back.

use super::harness::{Fuzzed, Random, Reached, run, text_seeds};
use super::mutate::{self, Tongue};
use super::scene::{Beside, DRAWING, used};
use super::told;
use std::time::Duration;
use weftlight::diagnose::Problems;
use weftlight::pixels::list::{csv, read};
use weftlight::scene::file::resolve;
use weftlight::scene::shape::MOST_PIXELS;

/// Places and turns come back to this, in mm and radians: what writing as degrees and reading again rounds.
const ROUNDING: f64 = 1e-9;

const CSV: Tongue = Tongue {
    words: &["index", "x_mm", "y_mm", "turn_deg", "group", "x", "y", "X_MM", "z_mm", "strip", "ja", "true"],
    pieces: &[
        ",",
        ",,",
        ",,,,,,",
        "\"",
        "\"\"",
        "\"1\"",
        "\"1,5\"",
        ";",
        "\t",
        "1,5",
        "1.5.2",
        "0x1",
        " 1 ",
        "\n",
        "\r\n",
        "\r",
        "\n\n\n",
        "index,x_mm,y_mm,turn_deg,group\n",
        "index,x_mm,y_mm\n",
        "x_mm,y_mm\n",
        "x_mm,x_mm,y_mm,index\n",
        "0,0,0\n",
        "1,10,10,90,1\n",
        "0,1e4,-1e4,360,1e9\n",
        "# note\n",
        "=1+1",
        "-",
        "+",
        "e",
        "1e",
        "∞",
        "١",
    ],
    nests: &[("\"", "\""), (",", ""), ("\n", ""), ("1,", "")],
};

struct Lists {
    seeds: Vec<String>,
}

impl Fuzzed for Lists {
    const NAME: &'static str = "list";
    const INPUTS: u64 = 300;
    const LONGEST: Duration = Duration::from_secs(30);
    // 100,000 pixels of a scene with their levels take some tens of MiB.
    const MOST_BYTES: usize = 256 << 20;

    fn input(&self, random: &mut Random) -> Vec<u8> {
        mutate::text(random, &self.seeds, &CSV).into_bytes()
    }

    fn hold(&self, input: &[u8], random: &mut Random) -> Reached {
        let text = String::from_utf8_lossy(input);
        let mut problems = Problems::default();
        let read_once = read(&text, &mut problems);
        let refused = problems.errors() > 0;
        let columns = !text.trim().is_empty();
        let told = problems.into_diagnostics("a.csv", &text);
        if refused {
            told::refusal(&told)
        } else {
            told::shown(&told)
        }
        let scene = "pixels: [{list: {csv: a.csv}}]\nstack: [{gap_mm: 4, cloth: voile}]\n";
        match resolve(scene, "scene.yaml", &Beside { drawing: DRAWING, list: &text, picture: &[] }) {
            Ok(resolved) => used(&resolved, random),
            Err(all) => told::refusal(&all),
        }
        let Some(places) = read_once.filter(|_| !refused) else {
            assert!(refused, "no places and no reason");
            return if columns && told.iter().any(|d| d.line.is_some_and(|line| line > 1)) {
                Reached::Meaning
            } else {
                Reached::Form
            };
        };
        assert!(places.len() <= MOST_PIXELS);
        let mut problems = Problems::default();
        let again = read(&csv(places.iter().map(|place| (*place, 0))), &mut problems)
            .expect("what was written is read");
        assert_eq!(again.len(), places.len());
        for (a, b) in again.iter().zip(&places) {
            told::finite("place", b.at.map(|v| v.0));
            assert!(a.at.iter().zip(&b.at).all(|(a, b)| (a.0 - b.0).abs() <= ROUNDING), "{a:?} {b:?}");
            let turned = (a.turn_rad - b.turn_rad).rem_euclid(std::f64::consts::TAU);
            assert!(turned.min(std::f64::consts::TAU - turned) <= ROUNDING, "{a:?} {b:?}");
        }
        Reached::Use
    }
}

#[test]
fn lists_are_refused_with_a_reason_or_give_finite_places() {
    run(&Lists { seeds: text_seeds("list") });
}
