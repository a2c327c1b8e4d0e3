//! Photographs of lit pixels behind cloth: read, looked at, measured.
//!
//! The way through: [`decode::decode`] turns a file's bytes into a [`decode::Photo`] in linear light; [`find::spots`] finds
//! the lit spots in it; [`rings::rings`] averages the light over rings around them, with standard errors;
//! [`core_light::core_light`] adds up the light of a pixel that was taken without cloth; [`warnings`] tells what is wrong
//! with the picture and what to do about it; [`calibration`] goes all the way, to a cloth file with its report, for the command line and
//! the page. All of it is pure: bytes and numbers in, numbers out.
//!
//! Image rows go downwards here, as pixels are stored: a place in pixels is `[x, y]` with the middle of the upper left pixel
//! at `[0, 0]`. Places in mm have y upwards.

pub mod calibration;
mod cells;
pub mod cloth_file;
mod container;
pub mod core_light;
pub mod decode;
pub mod find;
pub mod fit;
pub mod least_squares;
pub mod measure;
pub mod picture;
pub mod rings;
mod spot;
#[cfg(test)]
pub(crate) mod synthetic;
pub mod taken;
pub mod warnings;
