//! The numbers that matter: what is seen in a picture, measured.
//!
//! [`numbers`] defines each of them once and computes all of them for a scene; [`ranges`] adds how sure they are. Behind them stand the
//! [`eye`] with its threshold, the [`dots`] between [`neighbours`], the [`colour_difference`]; [`softness`] puts dots into three words.
//! [`flash`] judges what moves and [`bare_light`] pixels that are seen bare. Long work goes in pieces at a [`pace`].

pub mod bare_light;
pub mod colour_difference;
pub mod dots;
mod emitters;
pub mod eye;
pub mod flash;
pub mod neighbours;
pub mod numbers;
pub mod pace;
pub mod ranges;
pub mod softness;
mod spots;
mod straight;
