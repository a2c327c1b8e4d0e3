//! Photographs of one lit pixel behind a cloth, made by photons: what the fit of cloth optics is tested with.

mod bad;
mod camera_tests;
mod cloths;
mod examples;
mod fit;
mod make_spots;
mod refused;
mod spots;
mod synthetic;
