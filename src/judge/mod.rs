//! The numbers that matter.
