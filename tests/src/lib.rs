//! Shared fixtures of the cross-crate tests: outside references that may be absent, and random draws.

pub mod c;
pub mod machines;
pub mod package;
pub mod plugins;
pub mod scenes;

use std::io::Write;
use std::path::PathBuf;
use std::process::Command;

use fitwright::primitive::{Pose, Vec3};
use fitwright::simulate::random::Random;

/// The Python named by `FITWRIGHT_PYTHON`, if it can import all of `modules`; else `None`, said by
/// [`skipped`].
#[must_use]
pub fn python_with(modules: &[&str]) -> Option<String> {
    let Ok(python) = std::env::var("FITWRIGHT_PYTHON") else {
        skipped(&format!("FITWRIGHT_PYTHON is not set (needs {})", modules.join(", ")));
        return None;
    };
    let import = format!("import {}", modules.join(", "));
    let has = Command::new(&python).args(["-c", &import]).output();
    if has.is_ok_and(|o| o.status.success()) {
        return Some(python);
    }
    skipped(&format!("{python} cannot import {}", modules.join(", ")));
    None
}

/// A file or folder of open data that may not be shipped, in `shared/` beside the clone; else
/// `None`, said by [`skipped`].
#[must_use]
pub fn shared(path: &str) -> Option<PathBuf> {
    let found = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../shared").join(path);
    if found.exists() {
        return Some(found);
    }
    skipped(&format!("no shared/{path} beside the clone"));
    None
}

/// Says why a check was skipped, past the capture of a passing test's output.
pub fn skipped(reason: &str) {
    let test = std::thread::current().name().unwrap_or("test").to_owned();
    let _ = writeln!(std::io::stderr(), "skipped in {test}: {reason}");
}

/// Draws that several tests need.
pub trait Draw {
    /// Uniform in `[a, b)`.
    fn between(&mut self, a: f64, b: f64) -> f64;
    /// Vector of three normal deviates of standard deviation `sigma`.
    fn vector(&mut self, sigma: f64) -> Vec3;
    /// Pose turned any way, its place in a cube of half side `spread`.
    fn pose(&mut self, spread: f64) -> Pose;
}

impl Draw for Random {
    fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * self.uniform()
    }

    fn vector(&mut self, sigma: f64) -> Vec3 {
        self.normal_vector() * sigma
    }

    fn pose(&mut self, spread: f64) -> Pose {
        let axis = self.normal_vector();
        Pose::new(Vec3::from_fn(|_, _| self.between(-spread, spread)), axis)
    }
}
