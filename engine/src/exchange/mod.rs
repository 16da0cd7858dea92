//! STEP out and in, meshes out; the designed part as a closed solid plus what analytic faces are known.

mod part;

pub use part::{FaceSurface, Part, PartHole};
