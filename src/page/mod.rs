//! The page on which a maker tries things by hand: what the browser asks, answered.
//!
//! The text of the scene is the truth: every question carries it, edits come back as new text, and nothing is kept of it here. So what the page
//! saves is what the command line reads.
//!
//! | question | answered by |
//! |---|---|
//! | what is in this text, and what is wrong with it? | [`model`] |
//! | the text with a value changed | [`crate::reading::edit`] |
//! | pictures, numbers, the chart of gaps | [`look`] |
//! | the cloths as lit swatches, cloths of one's own | [`shelf`] |
//! | a cloth from photographs | [`photographs`] |
//! | files to take away | [`takeaway`] |
//! | the demo scenes with their files | [`demos`] |
//! | files beside a scene, which the page brought in | [`brought`] |
//! | which answers nobody waits for any more | [`turns`] |
//! | what is worked on first | [`order`] |
//! | bodies of questions, bounded one by one and together | [`intake`] |
//! | all of it over HTTP, to this machine alone | [`router`] |
//!
//! Cloths, drawings and photographs that a scene names come from what was opened when the page was started, and from what the page itself
//! brought in; no path in a text reaches the file system.

pub mod asked;
pub mod brought;
pub mod demos;
mod fields;
pub mod intake;
pub mod look;
pub mod model;
pub mod order;
pub mod photographs;
pub mod router;
pub mod shelf;
pub mod starter;
pub mod takeaway;
pub mod turns;
