//! Building it: current, wires, supply and battery, and what to do where they do not suffice.
//!
//! | from | to | function |
//! |---|---|---|
//! | [`Scene`](crate::scene::Scene) | current, dark, lit and all white | [`current::of_scene`] |
//! | scene, [`Supply`](supply::Supply) | greatest level that the supply allows | [`limits::cap`] |
//! | scene, supply | volts at every pixel, level left of every die | [`powered::powered`], over [`run`] and [`ladder`] |
//! | supply, current | hours of a battery | [`battery::hours`] |
//! | scene, supply | where to feed, which wire, where to split, how far to dim | [`suggest`] |
//! | all of it | what can go wrong or hurt | [`cautions::cautions`] |
//! | scene, its groups | what to cut, solder and sew; sheet, drawings, pixel map | [`make::plan`] |
//!
//! A strip on a small supply over thin wire:
//!
//! ```
//! use weftlight::build::{Case, cautions::cautions, current::of_scene, powered::both_cases, suggest::fewest_feeds};
//! use weftlight::cloth::catalogue::CatalogueOnly;
//! use weftlight::scene::file::resolve;
//!
//! let text = r##"
//! pixels:
//!   - strip: {package: "5050", pitch_mm: 16.67, count: 60}
//! stack: []
//! light: {colour: "#ffd9a0", level: 0.4}
//! supply: {volts: 5, max_ma: 1000, wire_awg: 26, wire_mm: 600}
//! "##;
//! let scene = resolve(text, "hood.yaml", &CatalogueOnly).map_err(|faults| format!("{faults:?}"))?.scene;
//! let supply = scene.supply.as_ref().ok_or("no supply")?;
//! println!("it would draw {:.0} mA", of_scene(&scene).total().typical_ma);
//!
//! let power = both_cases(&scene, supply).map_err(|fault| fault.to_string())?;
//! println!("brightness up to {} of 255", power.typical.cap.brightness);
//! println!("{:.2} V are left at the last pixel", power.typical.solved.volts[59]);
//! assert!(power.typical.solved.total_a() <= 1.0);
//!
//! let feeds = fewest_feeds(&scene, supply, Case::Typical, power.typical.cap.factor).map_err(|why| why.to_string())?;
//! println!("feed it at {:?}", feeds.at);
//! for caution in cautions(&scene, Some(supply), Some(&power)) {
//!     println!("{caution}");
//! }
//! # Ok::<(), String>(())
//! ```
//!
//! Pure: values in, values out. Currents in mA where makers read them, in A inside the network; volts, ohms, metres.

pub mod battery;
pub mod cautions;
pub mod current;
pub mod electric;
pub mod ladder;
pub mod limits;
pub mod make;
pub mod powered;
pub mod run;
pub mod suggest;
pub mod supply;
pub mod wire;

/// For which parts a figure holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Case {
    /// Typical parts at room temperature.
    Typical,
    /// The unfavourable end of every range at once: the most current, the most resistance, warm copper, a low supply.
    Worst,
}

impl Case {
    /// The typical value, or the unfavourable one.
    #[must_use]
    pub fn pick<T>(self, typical: T, worst: T) -> T {
        match self {
            Case::Typical => typical,
            Case::Worst => worst,
        }
    }
}
