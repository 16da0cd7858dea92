//! Fits against answers known from outside the project, and the laws any good fit obeys.

#[path = "reference_fits/common.rs"]
mod common;
#[path = "reference_fits/constructed.rs"]
mod constructed;
#[path = "reference_fits/extremes.rs"]
mod extremes;
#[path = "reference_fits/invariance.rs"]
mod invariance;
#[path = "reference_fits/minimax.rs"]
mod minimax;
#[path = "reference_fits/outliers.rs"]
mod outliers;
#[path = "reference_fits/published.rs"]
mod published;
#[path = "reference_fits/uncertainty.rs"]
mod uncertainty;
#[path = "reference_fits/undetermined.rs"]
mod undetermined;
