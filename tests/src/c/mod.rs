//! What the tests of the C interface share: the header, its description, the compiler, the library.

pub mod abi;
pub mod build;
pub mod header;
pub mod matrix;
pub mod plugins;

use std::path::PathBuf;

/// The repository's root.
#[must_use]
pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Whether generated files are to be written instead of compared (`FITWRIGHT_WRITE=1`).
#[must_use]
pub fn writing() -> bool {
    std::env::var("FITWRIGHT_WRITE").is_ok_and(|v| v == "1")
}
