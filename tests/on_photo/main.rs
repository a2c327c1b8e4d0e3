//! The glow on a photograph: against the flat picture, against what is known of the lights, and the made-up photographs.
#![allow(clippy::disallowed_methods, clippy::print_stdout)]

mod compose;
mod make;
