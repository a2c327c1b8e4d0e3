//! Long work in pieces: whether it goes on from one to the next.
//!
//! Numbers with ranges take many evaluations, and a curve over the gap many times as many. Someone who waits at a screen changes their mind
//! meanwhile, or wants a picture first: a [`Pace`] is asked before each piece, may wait there, and may give the work up.

use std::convert::Infallible;

/// What is asked before each piece of long work.
pub trait Pace: Sync {
    /// What is told when the work is given up.
    type Stop: Send;

    /// Returns when the next piece may begin.
    ///
    /// # Errors
    /// When the work is given up.
    fn go_on(&self) -> Result<(), Self::Stop>;
}

/// Never waits, never gives up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Straight;

impl Pace for Straight {
    type Stop = Infallible;

    fn go_on(&self) -> Result<(), Infallible> {
        Ok(())
    }
}
