//! Weftlight computes what light-up clothing will look like.

pub mod cli;
pub mod cloth;
pub mod diagnose;
pub mod files;
pub mod judge;
pub mod light;
pub mod picture;
pub mod pixels;
pub mod quantity;
pub mod reading;
pub mod scene;
