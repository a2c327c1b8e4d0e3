//! Readers of the reference data, shared by the integration tests.

// Each test program uses its own part of this module.
#![allow(dead_code)]

pub(crate) mod photons;
pub(crate) mod stacks;
