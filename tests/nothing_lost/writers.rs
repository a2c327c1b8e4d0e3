//! Every command that writes, with small work to do.

use super::{Files, Folder};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex, OnceLock};
use std::time::{Duration, Instant};

/// Six pixels behind fleece: the least that every command has something to say about.
const STILL: &str = "\
name: Sash
board: {reflectance: 0.5}
pixels:
  - strip: {package: \"5050\", pitch_mm: 16.67, count: 6, colour: \"#ff8030\"}
stack:
  - {gap_mm: 8, cloth: fleece}
view: {distance_m: 2, room_lx: 10, size_px: [64, 32]}
supply: {volts: 5, max_ma: 1000, wire_mm: 500}
";
/// The same, swelling and fading.
const EMBER: &str = "\
light:
  level: 0.5
  pattern:
    ember: {depth: 0.8, slowest_per_s: 0.1, fastest_per_s: 0.8, seed: 7}
    duration_s: 2
    frames_per_s: 10
";
const PHOTOS: [&str; 1] = ["4mm"];

/// Commands that compute for a second or more.
const SLOW: [&str; 5] = ["standoff", "cloth calibrate", "sheet", "pick", "compare"];

/// A command that writes.
pub(crate) struct Writer {
    pub(crate) arguments: Vec<&'static str>,
    /// What it writes, in the order in which the files get their names.
    pub(crate) writes: Vec<&'static str>,
    /// Whether it replaces what is there; else it refuses, or there is nothing in the way.
    pub(crate) replaces: bool,
    /// Whether its files are those of one folder, which appears whole or not at all.
    pub(crate) whole_folder: bool,
    /// Whether it takes seconds: then each trial is made less often.
    pub(crate) slow: bool,
}

/// What a command comes to when nothing is in its way.
#[derive(Clone)]
pub(crate) struct Done {
    pub(crate) files: Files,
    pub(crate) took: Duration,
}

impl Writer {
    fn of(call: &'static str, writes: &[&'static str]) -> Writer {
        Writer {
            arguments: call.split(' ').collect(),
            writes: writes.to_vec(),
            replaces: true,
            whole_folder: false,
            slow: SLOW.iter().any(|slow| call.starts_with(slow)),
        }
    }

    /// What it writes, found once for all tests.
    pub(crate) fn done(&self) -> Done {
        static KNOWN: Mutex<BTreeMap<String, Arc<OnceLock<Done>>>> = Mutex::new(BTreeMap::new());
        let place = Arc::clone(KNOWN.lock().expect("sound").entry(self.arguments.join(" ")).or_default());
        let done = place.get_or_init(|| {
            let folder = Folder::new();
            let begun = Instant::now();
            folder.fine(&self.arguments);
            Done { files: folder.outputs(), took: begun.elapsed() }
        });
        done.clone()
    }

    pub(crate) fn name(&self) -> String {
        self.arguments[..2].join(" ")
    }

    /// What is there before: other bytes under the names of its files.
    pub(crate) fn former(&self) -> Files {
        let bytes = |name: &&str| ((*name).to_owned(), format!("the former {name}").into_bytes());
        if self.replaces { self.writes.iter().map(bytes).collect() } else { Files::new() }
    }
}

pub(crate) fn all() -> Vec<Writer> {
    let mut all = vec![
        Writer::of("preview still.yaml -o out.png --linear out-linear.png", &["out.png", "out-linear.png"]),
        Writer::of(
            "motion ember.yaml --seconds 0.5 -o out.gif --flash-report out.svg",
            &["out.gif", "out.svg"],
        ),
        Writer::of("motion ember.yaml --seconds 0.5 -o out-film.png", &["out-film.png"]),
        Writer::of("compare still.yaml --cloth muslin -o out.png --csv out.csv", &["out.csv", "out.png"]),
        Writer::of(
            "standoff still.yaml --want soft --gap-mm 38..40 -o out.svg --csv out.csv",
            &["out.svg", "out.csv"],
        ),
        Writer::of(
            "pick still.yaml --cloth fleece --want dots --gap-mm 8,30 --with-layers 1 -o out.svg --csv out.csv",
            &["out.svg", "out.csv"],
        ),
        Writer::of(
            "make still.yaml -o out --csv out-cuts.csv --map out-map.json",
            &[
                "out/sheet.html",
                "out/sheet.pdf",
                "out/cut-list.csv",
                "out/plan.json",
                "out/map.csv",
                "out/map.json",
                "out/map.h",
                "out/volts.csv",
                "out-cuts.csv",
                "out-map.json",
            ],
        ),
        Writer::of("sheet still.yaml -o out", &["out/still-sheet.html", "out/still-sheet.pdf"]),
        Writer::of("spread still.yaml --csv out.csv", &["out.csv"]),
        Writer::of(
            "spread --self-check=holes --photons 128 -o out.svg --csv out.csv",
            &["out.svg", "out.csv"],
        ),
        Writer::of("check still.yaml --pixels out.csv", &["out.csv"]),
        Writer::of("cloth show fleece -o out.png", &["out.png"]),
        Writer::of(
            "cloth estimate --fibre wool --areal-mass-g-m2 300 --thickness-mm 2 --colour #eeeedd -o out.yaml --replace",
            &["out.yaml"],
        ),
        Writer::of(
            "cloth calibrate 4mm.jpg --stand-off-mm 4 --thickness-mm 1.05 --scale-from 113,469,713,468 --scale-mm 60 --lit red \
             -o out.yaml --replace --report out.svg",
            &["out.svg", "out.yaml"],
        ),
        Writer::of(
            "cloth compare-photo fleece 4mm.jpg --stand-off-mm 4 --scale-from 113,469,713,468 --scale-mm 60 --report out.svg",
            &["out.svg"],
        ),
    ];
    let mut folder =
        Writer::of("motion ember.yaml --seconds 1 --frames-per-s 4 -o out/", &["out/frame-00000.png"]);
    folder.writes.extend(["out/frame-00001.png", "out/frame-00002.png", "out/frame-00003.png"]);
    folder.whole_folder = true;
    let mut first = Writer::of("new out.yaml --no-questions", &["out.yaml"]);
    first.replaces = false;
    all.extend([folder, first]);
    all
}

/// What the commands read.
pub(crate) fn inputs() -> Vec<(String, Vec<u8>)> {
    let photos = Path::new(env!("CARGO_MANIFEST_DIR")).join("fabrics/photos");
    let photo = |name: &&str| {
        let bytes = std::fs::read(photos.join(format!("made-up-felt-{name}.jpg"))).expect("a photograph");
        (format!("{name}.jpg"), bytes)
    };
    let scenes = [("still.yaml", STILL.to_owned()), ("ember.yaml", format!("{STILL}{EMBER}"))];
    let scenes = scenes.map(|(name, text)| (name.to_owned(), text.into_bytes()));
    PHOTOS.iter().map(photo).chain(scenes).collect()
}

pub(crate) fn is_input(name: &str) -> bool {
    ["still.yaml", "ember.yaml"].contains(&name)
        || PHOTOS.iter().any(|photo| name.strip_suffix(".jpg") == Some(photo))
}
