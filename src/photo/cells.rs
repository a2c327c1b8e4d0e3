//! Averages over square blocks.
