//! The physics: how light gets through a stack of cloths.
//!
//! A [`Stack`] is what light meets at one wavelength: a board, air gaps and [`Layer`]s of cloth without lateral structure. Such
//! a stack turns every pixel into the same round spot, so all is done per angular spatial frequency k, where a
//! three-dimensional problem becomes a one-dimensional one. The way through:
//!
//! 1. [`spots::spots`] takes stacks at many wavelengths and gives the spot of each. It calls
//! 2. [`transport`]: isotropic scattering with reduced coefficients, exactly, through any number of layers, on the
//!    [`kernels`] of plane-parallel transport; and
//! 3. [`forward`]: what forward scattering adds, from the angular functions of single layers that [`sheet`] finds by
//!    adding-doubling.
//!    [`oblique`] does both for a viewer to the side. A single cloth that scatters forwards is solved by `harmonics` instead:
//!    spherical harmonics at each frequency.
//! 4. The answer is a [`spread::SpotSpectrum`]: the spot as its transform, which gives radiance at any radius behind any
//!    [`Window`].
//!
//! What comes through unscattered stands in [`straight`].
//!
//! Colour enters with the [`spectrum`] of dies and observer; pictures are made from spots by [`crate::picture`].
//!
//! Beside this way stand others to the same numbers, which tests hold against it: [`totals`] (adding-doubling at k = 0),
//! [`photons`] (Monte Carlo, the same stack taken literally) and [`bare`] (closed forms without cloth). [`accuracy`] tells how far
//! this way and the photons are apart over a grid of stacks.

// What light meets, and the source that sends it.
mod stack;
mod window;
// The spot of a stack.
mod bessel;
mod dense;
pub mod forward;
mod harmonics;
pub mod kernels;
pub mod oblique;
mod phase;
pub mod quadrature;
mod response;
pub mod sheet;
pub mod spots;
pub mod spread;
pub mod straight;
pub mod transport;
// Colour.
pub mod spectrum;
// Other ways to the same numbers, and how far they are apart.
pub mod accuracy;
pub mod bare;
pub mod photons;
pub mod totals;

pub use stack::{Layer, Optics, Source, Stack};
pub use window::Window;
pub(crate) use window::sinc;
