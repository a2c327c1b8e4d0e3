//! Sheet.
