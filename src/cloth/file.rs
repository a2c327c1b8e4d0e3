//! Cloth files.
