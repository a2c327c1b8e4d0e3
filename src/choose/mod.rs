//! Choosing before buying: which cloth, how far off, which of both and how dense.
//!
//! | question | answered by |
//! |---|---|
//! | which of these cloths? | [`compare`]: one scene behind each of them, in order, with a verdict |
//! | how far off must the cloth stand? | [`standoff`]: the gap at which the glow is as soft as wanted, and what would do where none is |
//! | which cloth, how many layers, how far off, how dense? | [`pick`]: the trade-offs that nothing beats ([`pareto`]), as a chart ([`pick_chart`]) |

pub mod compare;
pub mod pareto;
pub mod pick;
pub mod pick_chart;
pub mod standoff;
