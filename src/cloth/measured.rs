//! Measured cloth.
