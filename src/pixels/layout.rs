//! Layouts.
