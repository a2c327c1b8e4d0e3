//! Label estimate.
