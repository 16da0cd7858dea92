//! Shared fixtures of the benchmarks.
