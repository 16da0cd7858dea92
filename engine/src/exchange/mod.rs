//! STEP out and in, meshes out; the designed part as a closed solid plus what analytic faces are known.

mod closed;
mod import;
mod mesh_holes;
mod mesh_in;
mod mesh_out;
mod part;
mod read;
mod step_in;
mod step_out;

pub use mesh_out::{MeshBody, MeshFormat, surface_of, write_meshes};
pub use part::{FaceSurface, Part, PartHole};
pub use read::PartOptions;
pub(crate) use step_out::feature_colour;
pub use step_out::{
    COORDINATE_SYSTEM, StepOptions, StepSchema, step_text, step_text_with_notes, write_step,
};
