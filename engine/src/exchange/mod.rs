//! STEP out and in, meshes out; the designed part as a closed solid plus what analytic faces are known.

mod closed;
mod mesh_holes;
mod mesh_in;
mod part;
mod read;
mod step_in;
mod step_out;

pub use part::{FaceSurface, Part, PartHole};
pub use read::PartOptions;
pub use step_out::{
    COORDINATE_SYSTEM, StepOptions, StepSchema, step_text, step_text_with_notes, write_step,
};
