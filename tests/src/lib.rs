//! Shared fixtures of the cross-crate tests.
