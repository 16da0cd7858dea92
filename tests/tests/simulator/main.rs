//! The simulator against its own truth by independent means: ideal shapes, brute force, statistics.
//!
//! Expected values are the primitives' analytic distances and the numbers the scenario is specified
//! with, never what the simulator itself returned.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod bracket;
mod demo;
mod scanner;
mod solids;

use std::sync::OnceLock;
use std::time::Instant;

use fitwright::primitive::{Cylinder, Direction, Plane, Point3, Pose, Vec3};
use fitwright::simulate::{Demo, Machine, Scanner, SimulatedScan, Solid, Surface, Viewpoint, scan};

/// The demo's data, made once.
fn the_demo() -> &'static Demo {
    static DEMO: OnceLock<Demo> = OnceLock::new();
    DEMO.get_or_init(|| {
        let start = Instant::now();
        let demo = fitwright::simulate::demo().unwrap();
        println!(
            "demo's data in {:.2?}: {} and {} triangles",
            start.elapsed(),
            demo.front.triangles.len(),
            demo.rear.triangles.len()
        );
        demo
    })
}

fn pose() -> Pose {
    Pose::new(Vec3::new(40.0, -25.0, 310.0), Vec3::new(0.7, -0.4, 1.1))
}

/// A block with a bored boss, cheap to scan.
fn small_machine() -> Machine {
    let block = Solid::cuboid(&Pose::identity(), Vec3::new(60.0, 50.0, 20.0), 2.0);
    let boss = Solid::cylinder(&Pose::translation(0.0, 0.0, 10.0), 12.0, -5.0, 12.0, 1.0);
    let bore = Solid::cylinder(&Pose::translation(0.0, 0.0, 22.0), 4.5, -25.0, 5.0, 0.0);
    let z = Vec3::z_axis();
    let on_axis = |height: f64| Point3::new(0.0, 0.0, height);
    let plane = |height: f64, normal: Direction| Plane { point: on_axis(height), normal };
    let round = |radius: f64| Cylinder { point: on_axis(22.0), axis: z, radius };
    Machine {
        solid: Solid::union(vec![block, boss], 2.0).cut(&bore, 0.4),
        surfaces: vec![
            Surface::new("top", plane(10.0, z), on_axis(10.0), 40.0),
            Surface::new("face", plane(22.0, z), on_axis(22.0), 12.0),
            Surface::new("boss", round(12.0), on_axis(16.0), 14.0),
            Surface::new("bore", round(4.5), on_axis(12.0), 15.0),
            Surface::new("bottom", plane(-10.0, -z), on_axis(-10.0), 40.0),
        ],
        holes: Vec::new(),
    }
}

/// Viewpoints 400 mm from the small machine, all round at one elevation, rad.
fn ring() -> Vec<Viewpoint> {
    let azimuth = |k: u32| f64::from(k) * std::f64::consts::TAU / 6.0;
    (0..6).map(|k| Viewpoint::around(Point3::origin(), azimuth(k), ELEVATION, 400.0)).collect()
}

fn small_scan(scanner: &Scanner) -> SimulatedScan {
    scan(&small_machine(), &ring(), scanner, &pose()).unwrap()
}

/// Number of points of a scan on a named surface.
fn seen(scan: &SimulatedScan, machine: &Machine, name: &str) -> usize {
    scan.points_on(machine.surface(name).unwrap()).len()
}

/// Elevation of [`ring`], rad.
const ELEVATION: f64 = 0.8;
