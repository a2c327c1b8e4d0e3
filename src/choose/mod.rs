//! Choosing before buying: which cloth, how far off, which of both and how dense.

pub mod standoff;
