//! The declarative job: read, validate, run, write, using only the public calls of the layers below.

mod check;
mod find;
mod outcome;
mod read;
mod result;
mod run;
mod schema;
mod spec;
mod write;

pub use outcome::{FeatureOutcome, Outcome, ScanOutcome};
pub use result::{CAUTION, RULE};
pub use run::Folder;
pub use schema::schema;
pub use spec::{
    All, CheckSpec, DatumFeature, DatumSpec, FeatureSpec, FrameSpec, Head, Job, JoinBy, JoinSpec,
    MotionSpec, MountSpec, PartSpec, RegionSpec, ScanSpec,
};
pub use write::WriteOptions;
