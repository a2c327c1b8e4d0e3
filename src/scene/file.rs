//! Scene files.
