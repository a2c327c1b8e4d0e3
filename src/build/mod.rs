//! Building it: current, wires, supply and battery, and what to do where they do not suffice.
//!
//! | from | to | function |
//! |---|---|---|
//! | [`Scene`](crate::scene::Scene) | current, dark, lit and all white | [`current::of_scene`], [`current::by_group`] |
//! | scene, [`Supply`](supply::Supply) | greatest level that the supply allows | [`limits::cap`] |
//! | scene, supply | volts at every pixel, level left of every die | [`powered::powered`], over [`run`] and [`ladder`] |
//! | supply, current | hours of a battery | [`battery::hours`] |
//! | scene, supply | where to feed, where to split, how far to dim | [`suggest`] |
//! | all of it | what can go wrong or hurt | [`cautions::cautions`] |
//!
//! Pure: values in, values out. Currents in mA where makers read them, in A inside the network; volts, ohms, metres.

pub mod battery;
pub mod cautions;
pub mod current;
pub mod electric;
pub mod ladder;
pub mod limits;
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
