//! The demo: a made-up grain mill, two scans of it, a bracket that nearly fits and the job that says so.
//!
//! Everything is invented, and everything is known exactly: one bolt hole of the bracket is 1.5 mm
//! off (fails), the tie bar stands 2 mm inside it (fails), the air to the lube filter is within the
//! uncertainty of what is required (undecided), the rest passes, the filter rocked on its rubber too.

mod bracket;
mod casting;
mod job;
mod truth;

use std::path::Path;

use nalgebra::{Translation3, UnitQuaternion};

pub use bracket::{BOLT_RADIUS, FILTER_LIMIT, PART_HOLE_RADIUS};
pub use truth::{ClearanceTruth, HoleTruth, InterferenceTruth, MotionTruth, Truth};

use super::machine::Machine;
use super::plate::TriangleMesh;
use super::random::Random;
use super::scanner::{Focus, Scanner, SimulatedScan, Viewpoint, scan};
use crate::error::{Error, Result};
use crate::files::write_bytes;
use crate::primitive::{Point3, Pose, Vec3};
use crate::scan::{Precision, write_ply, write_stl_binary};

/// All of the demo.
#[derive(Debug, Clone)]
pub struct Demo {
    /// Scan from the front and above.
    pub front: SimulatedScan,
    /// Scan from the rear and above, in another frame.
    pub rear: SimulatedScan,
    /// Target centres as each scan measured them, in its own frame, without names.
    pub front_targets: Vec<Point3>,
    /// As `front_targets`; five are the same dots, in another order.
    pub rear_targets: Vec<Point3>,
    /// The bracket in machine coordinates.
    pub bracket: TriangleMesh,
    /// The sensor that it holds, which its upright is meant to touch.
    pub sensor: TriangleMesh,
    /// The job file.
    pub job_toml: String,
    /// What is exactly true.
    pub truth: Truth,
}

/// The grain mill in machine coordinates.
#[must_use]
pub fn mill() -> Machine {
    casting::machine()
}

/// Makes the demo's data.
///
/// # Errors
/// [`Error::Internal`] if the scenario contradicts itself; never in a released version.
pub fn demo() -> Result<Demo> {
    let machine = mill();
    let front = scan(&machine, &front_views(), &scanner(11, &FRONT_DOTS), &front_pose())?;
    let rear = scan(&machine, &rear_views(), &scanner(12, &REAR_DOTS), &rear_pose())?;
    let bracket = bracket::bracket()?;
    let job_toml = job::text(&machine, &front, &bracket.holes)?;
    let features = job::feature_names().filter_map(|n| machine.surface(n).cloned()).collect();
    let poses = [("front", &front), ("rear", &rear)];
    let truth = Truth {
        machine_from_scan: poses.map(|(n, s)| (n.to_string(), s.machine_from_scan)).into(),
        features,
        holes: bracket.holes,
        interference: bracket.interference,
        clearances: vec![bracket.filter],
        motions: vec![bracket.swing],
    };
    let front_targets = measured(&FRONT_DOTS, &front_pose(), 21);
    let rear_targets = measured(&REAR_DOTS, &rear_pose(), 22);
    let (sensor, bracket) = (bracket::sensor()?, bracket.mesh);
    Ok(Demo { front, rear, front_targets, rear_targets, bracket, sensor, job_toml, truth })
}

/// Makes the demo's data and writes them into a folder, see [`Demo::write`].
///
/// # Errors
/// As [`demo`] and [`Demo::write`].
pub fn write_demo(folder: impl AsRef<Path>) -> Result<()> {
    demo()?.write(folder)
}

impl Demo {
    /// Writes `front.ply`, `rear.ply`, `front-targets.csv`, `rear-targets.csv`, `bracket.stl`,
    /// `sensor.stl`, `truth.json` and `mill.toml` into a folder, which is created if need be.
    ///
    /// # Errors
    /// [`Error::Io`].
    pub fn write(&self, folder: impl AsRef<Path>) -> Result<()> {
        let folder = folder.as_ref();
        std::fs::create_dir_all(folder).map_err(|e| Error::io(folder, &e))?;
        let path = |name: &str| folder.join(name);
        for (name, s) in [("front.ply", &self.front), ("rear.ply", &self.rear)] {
            write_ply(path(name), &s.points, &s.triangles, &[], Precision::Single)?;
        }
        write_bytes(&path("front-targets.csv"), targets(&self.front_targets).as_bytes())?;
        write_bytes(&path("rear-targets.csv"), targets(&self.rear_targets).as_bytes())?;
        for (name, mesh) in [("bracket.stl", &self.bracket), ("sensor.stl", &self.sensor)] {
            write_stl_binary(path(name), &mesh.points, &mesh.triangles)?;
        }
        write_bytes(&path("truth.json"), self.truth.to_json().as_bytes())?;
        write_bytes(&path(DEMO_JOB), self.job_toml.as_bytes())
    }
}

/// One target centre a line: x, y, z, mm.
fn targets(centres: &[Point3]) -> String {
    centres.iter().map(|p| format!("{:.4}, {:.4}, {:.4}\n", p.x, p.y, p.z)).collect()
}

fn scanner(seed: u64, dots: &[[f64; 3]]) -> Scanner {
    Scanner {
        resolution: 1.25,
        focus: Some(Focus { centre: Point3::new(37.0, 30.0, 5.0), radius: 70.0, coarse: 2.2 }),
        smooth_noise: Some((0.008, 12.0)),
        outliers: 0.0005,
        outlier_reach: 0.6,
        flying: 0.03,
        spots: 40,
        dots: dots.iter().map(|d| Point3::from(*d)).collect(),
        seed,
        ..Scanner::default()
    }
}

/// Viewpoints about the middle of the work: (azimuth, elevation) in degrees.
fn views(directions: &[(f64, f64)]) -> Vec<Viewpoint> {
    let target = Point3::new(10.0, 20.0, -30.0);
    let view = |&(azimuth, elevation): &(f64, f64)| {
        Viewpoint::around(target, azimuth.to_radians(), elevation.to_radians(), 560.0)
    };
    directions.iter().map(view).collect()
}

fn front_views() -> Vec<Viewpoint> {
    views(&[
        (-150.0, 35.0),
        (-120.0, 20.0),
        (-110.0, 50.0),
        (-90.0, 30.0),
        (-75.0, 60.0),
        (-60.0, 15.0),
        (-45.0, 40.0),
        (-25.0, 25.0),
        (-10.0, 55.0),
        (15.0, 20.0),
        (40.0, 45.0),
    ])
}

fn rear_views() -> Vec<Viewpoint> {
    views(&[
        (35.0, 30.0),
        (60.0, 55.0),
        (75.0, 20.0),
        (100.0, 40.0),
        (120.0, 60.0),
        (135.0, 20.0),
        (160.0, 45.0),
        (180.0, 25.0),
        (205.0, 50.0),
        (225.0, 30.0),
    ])
}

fn front_pose() -> Pose {
    pose([0.4, -0.7, 0.3], 2.1, [212.0, -431.0, 388.0])
}

fn rear_pose() -> Pose {
    pose([-0.2, 0.5, 0.9], -1.3, [-340.0, 275.0, 460.0])
}

fn pose(axis: [f64; 3], angle: f64, shift: [f64; 3]) -> Pose {
    let rotation = UnitQuaternion::from_scaled_axis(Vec3::from(axis).normalize() * angle);
    Pose::from_parts(Translation3::from(Vec3::from(shift)), rotation)
}

/// Target centres in the scan's frame with the error of measuring them.
fn measured(dots: &[[f64; 3]], machine_from_scan: &Pose, seed: u64) -> Vec<Point3> {
    let mut random = Random::new(seed);
    let in_scan = dots.iter().map(|d| machine_from_scan.inverse_transform_point(&(*d).into()));
    in_scan.map(|p| p + random.normal_vector() * TARGET_NOISE).collect()
}

/// Error of a target centre in each coordinate, mm.
const TARGET_NOISE: f64 = 0.02;
/// Target dots that the front scan sees; the first five are seen by both.
const FRONT_DOTS: [[f64; 3]; 8] = [
    [-30.0, -45.0, -8.0],
    [60.0, 100.0, -8.0],
    [-25.0, 100.0, -8.0],
    [170.0, 130.0, -189.0],
    [-235.0, -30.0, -189.0],
    [185.0, -30.0, -189.0],
    [21.0, -140.0, -22.0],
    [116.0 - 0.174_53, 90.0, -60.0],
];
/// Target dots that the rear scan sees.
const REAR_DOTS: [[f64; 3]; 8] = [
    [-25.0, 100.0, -8.0],
    [-235.0, 130.0, -189.0],
    [-30.0, -45.0, -8.0],
    [170.0, 130.0, -189.0],
    [20.0, 145.0, -8.0],
    [-235.0, -30.0, -189.0],
    [60.0, 100.0, -8.0],
    [-150.0, 148.0, -8.0],
];

/// Name of the demo's job file.
pub const DEMO_JOB: &str = "mill.toml";
