//! The declarative job: read, validate, run, write, using only the public calls of the layers below.

mod access;
mod again;
mod check;
mod find;
mod joined;
mod known;
mod made;
mod motion;
mod other_parts;
mod outcome;
mod output;
mod read;
mod result;
mod run;
mod same;
mod schema;
mod spec;
mod survey;
mod surveyed;
mod temperature;
mod together;
mod write;

pub use access::{Insertion, InsertionSpec, ToolAccess, ToolAccessSpec, ToolSpec};
pub use motion::{GuideSpec, LineSpec, MotionRegionSpec, MotionSpec, MoveSpec};
pub use outcome::{
    AgainOutcome, FeatureOutcome, GroupOutcome, MadeOutcome, OtherPartOutcome, Outcome, ScanOutcome,
};
pub use result::{CAUTION, RULE};
pub use run::Folder;
pub use same::SameSpec;
pub use schema::schema;
pub use spec::{
    All, CheckSpec, DatumFeature, DatumSpec, FeatureSpec, FrameSpec, GroupSpec, Head, HoldSpec,
    Job, JoinBy, JoinSpec, MeshSpec, MountSpec, OptionSpec, OtherPartSpec, OutputSpec, PartSpec,
    PluginSpec, RegionSpec, RelationSpec, ScanSpec, SurveyedSpec,
};
pub use survey::SurveyFiles;
pub use temperature::{BodySpec, TemperatureSpec};
pub use together::JoiningSpec;
pub use write::WriteOptions;
