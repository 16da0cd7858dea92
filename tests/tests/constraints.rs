//! Fits with something known of the shape: exactness, known answers, what the constraints cost.

#[path = "reference_fits/common.rs"]
#[expect(dead_code, reason = "shared with the free fits, which use more of it")]
mod common;
#[path = "constraints/group.rs"]
mod group;
#[path = "constraints/known.rs"]
mod known;
#[path = "constraints/refused.rs"]
mod refused;
#[path = "constraints/search.rs"]
mod search;
#[path = "constraints/statistics.rs"]
mod statistics;
