//! Standard sizes near a measured one: suggestions only, the measured size is never replaced.

mod hollow;
mod round;

pub use hollow::{hollow_sizes, near_hollow, wall_of_corner};
pub use round::{RoundSize, near_round, round_sizes};
