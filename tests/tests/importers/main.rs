//! Parts read by the importers of plug-ins, built by the system's compilers and loaded from folders.
#![cfg(unix)]

mod hostile;
mod jobs;
mod kernel;

use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::time::Duration;

use fitwright::plugin::{Importer, LoadOptions, Registry};
use fitwright_tests::c::build::library_of;
use fitwright_tests::plugins::cube_plugin;

/// The program `fitwright-worker`, built with the profile of the running test.
fn worker() -> &'static Path {
    static WORKER: OnceLock<PathBuf> = OnceLock::new();
    WORKER.get_or_init(|| library_of("fitwright").join("fitwright-worker"))
}

fn options(trusted: &[&str], seconds: u64) -> LoadOptions {
    let mut options = LoadOptions::default();
    options.worker = Some(worker().to_path_buf());
    options.trusted = trusted.iter().map(|id| (*id).to_owned()).collect();
    options.time_limit = Duration::from_secs(seconds);
    options
}

/// The registry with the plug-in of a folder.
fn registry(folder: &Path, options: &LoadOptions) -> Registry {
    let mut registry = Registry::new();
    let loaded = registry.load(folder, options).expect("a folder");
    let refused: Vec<String> = registry.refused().iter().map(|r| r.reason.to_string()).collect();
    assert_eq!((loaded, refused), (1, vec![]));
    registry
}

/// The importer of `tests/plugins/importers.c` that behaves as its function `name` says.
fn cubes(name: &str, options: &LoadOptions, into: &Path) -> Option<Importer> {
    let folder = cube_plugin(name, |manifest| manifest, into)?;
    let id = format!("hostile.{name}-cube");
    Some(registry(&folder, options).importer(&id).expect("its importer"))
}

fn temporary() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary folder")
}
