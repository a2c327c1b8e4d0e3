//! Photons.
