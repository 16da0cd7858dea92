//! The worker, registries, and points of known shapes.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::time::Duration;

use fitwright::plugin::{LoadOptions, Registry};
use fitwright::primitive::{Point3, Vec3};
use fitwright::simulate::random::Random;
use fitwright_tests::c::build::library_of;

/// The program `fitwright-worker`, built with the profile of the running test.
pub(crate) fn worker() -> &'static Path {
    static WORKER: OnceLock<PathBuf> = OnceLock::new();
    WORKER.get_or_init(|| library_of("fitwright").join("fitwright-worker"))
}

pub(crate) fn options(trusted: &[&str]) -> LoadOptions {
    let mut options = LoadOptions::default();
    options.worker = Some(worker().to_path_buf());
    options.trusted = trusted.iter().map(|id| (*id).to_owned()).collect();
    options.time_limit = Duration::from_secs(20);
    options
}

/// A registry with the plug-in of a folder, which must be loaded.
pub(crate) fn registry(folder: &Path, trusted: &[&str]) -> Registry {
    let mut registry = Registry::new();
    let loaded = registry.load(folder, &options(trusted)).expect("a folder");
    let refused: Vec<String> = registry.refused().iter().map(|r| r.reason.to_string()).collect();
    assert_eq!((loaded, refused), (1, vec![]));
    registry
}

pub(crate) fn temporary() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

/// Points of a sphere with noise.
pub(crate) fn ball(count: usize, centre: Point3, radius: f64, sigma: f64) -> Vec<Point3> {
    let mut random = Random::new(11);
    let mut point = |_| {
        let way = Vec3::new(random.normal(), random.normal(), random.normal()).normalize();
        centre + way * (radius + sigma * random.normal())
    };
    (0..count).map(&mut point).collect()
}

/// Points and normals on the wall of an obround slot along z: half circles of radius `width / 2` about
/// (± `half`, 0), and the flats between, 10 mm deep.
pub(crate) fn slot(count: usize, width: f64, half: f64, sigma: f64) -> (Vec<Point3>, Vec<Vec3>) {
    let (mut random, r) = (Random::new(23), 0.5 * width);
    let around = std::f64::consts::PI * r;
    let total = 2.0 * around + 4.0 * half;
    let mut one = |k: usize| {
        let s = total * (k as f64 + random.uniform()) / count as f64;
        let (place, out) = if s < around {
            let (sin, cos) = (s / r - std::f64::consts::FRAC_PI_2).sin_cos();
            (Vec3::new(half + r * cos, r * sin, 0.0), Vec3::new(cos, sin, 0.0))
        } else if s < around + 2.0 * half {
            (Vec3::new(half - (s - around), r, 0.0), Vec3::y())
        } else if s < 2.0 * around + 2.0 * half {
            let (sin, cos) =
                ((s - around - 2.0 * half) / r + std::f64::consts::FRAC_PI_2).sin_cos();
            (Vec3::new(-half + r * cos, r * sin, 0.0), Vec3::new(cos, sin, 0.0))
        } else {
            (Vec3::new(-half + (s - 2.0 * around - 2.0 * half), -r, 0.0), -Vec3::y())
        };
        let z = Vec3::z() * (10.0 * random.uniform());
        // A slot's wall: the material is outside, so its normal points inwards.
        (Point3::from(place + out * (sigma * random.normal()) + z), -out)
    };
    (0..count).map(&mut one).unzip()
}
