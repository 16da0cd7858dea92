//! What is asked of the way in.

/// What is asked of the way that the part is brought to its seat.
#[non_exhaustive]
#[derive(Debug, Clone, PartialEq)]
pub struct InsertionLimits {
    /// Air all along the way, mm; default 1. Where the seated part has less, four fifths of that.
    pub clearance: f64,
    /// Straight directions tried, spread evenly over the sphere; default 1000.
    pub directions: usize,
    /// Moves tried for a way with turns, if none is straight; default 2000, 0: none is looked for.
    pub tries: usize,
    /// Features that are taken off for it, by their places among the scene's features.
    pub without: Vec<usize>,
    /// Other parts that are put in after it, by their places among the scene's.
    pub without_others: Vec<usize>,
    /// Seed of the random moves.
    pub seed: u64,
}

impl Default for InsertionLimits {
    fn default() -> Self {
        InsertionLimits {
            clearance: 1.0,
            directions: 1000,
            tries: 2000,
            without: Vec::new(),
            without_others: Vec::new(),
            seed: 1,
        }
    }
}

/// A place of the part on its way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PathPose {
    /// Takes the part from its designed place to this one, machine coordinates, mm.
    pub machine_from_part: crate::primitive::Pose,
    /// Least distance of the part there from what was scanned, seats aside, mm.
    pub clearance: f64,
}
