//! The demo's scans, targets, job and files.

use fitwright::primitive::Point3;
use fitwright::simulate::mill::{BOLT_RADIUS, PART_HOLE_RADIUS, mill};
use fitwright::simulate::write_demo;

use super::{seen, the_demo};

#[test]
fn demo_shows_what_it_must_and_hides_what_it_cannot_see() {
    let demo = the_demo();
    let machine = mill();
    for feature in &demo.truth.features {
        let n = seen(&demo.front, &machine, &feature.name);
        println!("{}: {n} points in the front scan", feature.name);
        assert!(n > 60, "{}: {n}", feature.name);
    }
    for scan in [&demo.front, &demo.rear] {
        // Under the gearbox nothing is seen.
        let under = |p: &&Point3| (p.z + 190.0).abs() < 1e-6 && (0.0..100.0).contains(&p.y);
        assert_eq!(scan.exact.iter().filter(under).count(), 0);
        for hole in &machine.holes {
            // Nor is the bottom of a hole of 32 mm: the steepest eye looks 9 tan 67° = 21 mm deep.
            let axis = hole.wall.axis_line();
            let deep =
                |p: &&Point3| axis.distance(p) < 4.6 && (-33.0..-24.0).contains(&axis.parameter(p));
            assert_eq!(scan.exact.iter().filter(deep).count(), 0, "{}", hole.name);
        }
    }
    // The rear sees the other bearing, the front the guard.
    let rear_cap = |p: &&Point3| (p.y - 180.0).abs() < 1e-6 && (p.z + 90.0).abs() < 30.0;
    assert_eq!(demo.front.exact.iter().filter(rear_cap).count(), 0);
    assert!(demo.rear.exact.iter().filter(rear_cap).count() > 100);
}

#[test]
fn picks_lie_near_but_not_on_their_surface() {
    let demo = the_demo();
    let picks: Vec<Vec<f64>> = demo
        .job_toml
        .lines()
        .filter_map(|l| l.strip_prefix("at = ["))
        .map(|l| l.trim_end_matches(']').split(',').map(|x| x.trim().parse().unwrap()).collect())
        .collect();
    assert_eq!(picks.len(), demo.truth.features.len());
    for (pick, feature) in picks.iter().zip(&demo.truth.features) {
        let in_scan = Point3::new(pick[0], pick[1], pick[2]);
        let off = feature.shape.distance(&(demo.front.machine_from_scan * in_scan)).abs();
        assert!((0.15..0.5).contains(&off), "{}: {off}", feature.name);
        let distances = demo.front.points.iter().map(|q| (q - in_scan).norm());
        let nearest = distances.fold(f64::INFINITY, f64::min);
        assert!(nearest < 1.0, "{}: {nearest}", feature.name);
    }
}

#[test]
fn every_target_was_seen() {
    let demo = the_demo();
    let solid = mill().solid;
    for (scan, targets) in [(&demo.front, &demo.front_targets), (&demo.rear, &demo.rear_targets)] {
        assert_eq!(targets.len(), 8);
        for target in targets {
            let p = scan.machine_from_scan * target;
            assert!(solid.distance(&p).abs() < 5.0 * 0.02, "{p}");
            // The dot itself is a hole in the scan with surface in every direction round it.
            let (normal, _) = solid.gradient(&p).unwrap();
            let x = fitwright::primitive::any_perpendicular(&normal);
            let y = normal.cross(&x);
            let mut sides = [0; 4];
            for v in scan.exact.iter().map(|q| q - p).filter(|v| v.norm() < 7.0) {
                assert!(v.norm() > 2.9);
                sides[usize::from(v.dot(&x) > 0.0) + 2 * usize::from(v.dot(&y) > 0.0)] += 1;
            }
            assert!(sides.iter().all(|n| *n > 0), "{p}: {sides:?}");
        }
    }
}

#[test]
fn five_targets_are_shared() {
    let demo = the_demo();
    let machine_from_front = demo.front.machine_from_scan;
    let machine_from_rear = demo.rear.machine_from_scan;
    let mut distances = Vec::new();
    for a in &demo.front_targets {
        for b in &demo.rear_targets {
            distances.push((machine_from_front * a - machine_from_rear * b).norm());
        }
    }
    // Two errors of 0.02 in each coordinate.
    assert_eq!(distances.iter().filter(|d| **d < 5.0 * 0.02 * 6f64.sqrt()).count(), 5);
    assert_eq!(distances.iter().filter(|d| **d < 10.0).count(), 5);
}

#[test]
fn the_sensor_stands_free_in_the_machine() {
    let solid = mill().solid;
    let least =
        the_demo().sensor.points.iter().map(|p| solid.distance(p)).fold(f64::INFINITY, f64::min);
    assert!(least > 5.0, "{least}");
}

#[test]
fn demo_writes_complete_files() {
    let demo = the_demo();
    let folder = tempfile::tempdir().unwrap();
    demo.write(folder.path()).unwrap();
    let path = |name: &str| folder.path().join(name);
    let size = |name: &str| std::fs::metadata(path(name)).unwrap().len() as usize;
    assert_eq!(size("bracket.stl"), 84 + 50 * demo.bracket.triangles.len());
    assert_eq!(size("sensor.stl"), 84 + 50 * demo.sensor.triangles.len());
    let ply = std::fs::read(path("front.ply")).unwrap();
    let body = ply.windows(11).position(|w| w == b"end_header\n").unwrap() + 11;
    let expected = 12 * demo.front.points.len() + 13 * demo.front.triangles.len();
    assert_eq!(ply.len() - body, expected);
    let first = f32::from_le_bytes(ply[body..body + 4].try_into().unwrap());
    assert_eq!(first, demo.front.points[0].x as f32);
    for name in ["front-targets.csv", "rear-targets.csv"] {
        assert_eq!(std::fs::read_to_string(path(name)).unwrap().lines().count(), 8);
    }
    let truth = std::fs::read_to_string(path("truth.json")).unwrap();
    let truth: serde_json::Value = serde_json::from_str(&truth).unwrap();
    let shift = truth["machine_from_scan"]["front"][0][3].as_f64().unwrap();
    assert_eq!(shift, demo.front.machine_from_scan.translation.x);
    assert_eq!(truth["features"].as_array().unwrap().len(), demo.truth.features.len());
    assert_eq!(std::fs::read_to_string(path("mill.toml")).unwrap(), demo.job_toml);
    // ISO 273, medium series: 9 mm for M8.
    assert_eq!((PART_HOLE_RADIUS, BOLT_RADIUS), (4.5, 4.0));
}

#[test]
fn a_folder_that_cannot_be_made_is_an_error() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("file");
    std::fs::write(&file, "").unwrap();
    assert_eq!(the_demo().write(file.join("below")).unwrap_err().code(), 300);
    assert_eq!(write_demo(file.join("below")).unwrap_err().code(), 300);
}
