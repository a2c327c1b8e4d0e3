//! Choosing before buying: which cloth, how far off, which of both and how dense.

pub mod compare;
pub mod pareto;
pub mod pick;
pub mod pick_chart;
pub mod standoff;
