//! Fitters of others beside the built-in ones, told apart by nothing but their id, and importers of parts.
//!
//! A plug-in is a folder with a manifest, read without running any of its code, and a shared library
//! (interface: crate `fitwright-plugin-abi`). Unless it is trusted it runs in a worker process, where
//! a crash, a hang or too much memory ends the worker and not the host. Either way the engine checks
//! what comes back and judges the answer itself, from its pieces and the points.

mod answer;
mod call;
mod check;
mod fits;
mod fitter;
mod folder;
mod host;
mod import;
mod library;
mod manifest;
mod measure;
mod registry;
mod trial;
mod worker;

pub use import::{ImportedFace, ImportedHole, ImportedPart, Importer};
pub use manifest::{ImporterEntry, Manifest, Version};
pub use registry::{LoadOptions, Loaded, Refusal, Registry, folders_from_environment, manifests};
pub use trial::{Found, Trial, TrialReport, try_plugin};
pub use worker::serve;
