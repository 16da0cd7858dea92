//! Shared fixtures of the cross-crate tests: outside references that may be absent.

use std::path::PathBuf;
use std::process::Command;

/// The Python named by `FITWRIGHT_PYTHON`, if it can import all of `modules`; else `None`, and a
/// line that says what was skipped.
#[must_use]
pub fn python_with(modules: &[&str]) -> Option<String> {
    let Ok(python) = std::env::var("FITWRIGHT_PYTHON") else {
        println!("skipped: FITWRIGHT_PYTHON is not set (needs {})", modules.join(", "));
        return None;
    };
    let import = format!("import {}", modules.join(", "));
    let has = Command::new(&python).args(["-c", &import]).output();
    if has.is_ok_and(|o| o.status.success()) {
        return Some(python);
    }
    println!(
        "skipped: {python} cannot import {}; see tests/python/requirements.txt",
        modules.join(", ")
    );
    None
}

/// A folder of open data that may not be shipped, beside the clone; else `None`, and a line that
/// says what was skipped.
#[must_use]
pub fn open_data(folder: &str) -> Option<PathBuf> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../shared/data").join(folder);
    if path.is_dir() {
        return Some(path);
    }
    println!("skipped: no open data in {}", path.display());
    None
}
