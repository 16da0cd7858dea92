//! What moves, on scenes whose least clearance over the motion is known in closed form.
#![allow(missing_docs)]

use std::f64::consts::PI;

use fitwright::exchange::Part;
use fitwright::feature::{Feature, FeatureKind};
use fitwright::fitcheck::{
    Finding, Guide, Limits, Motion, Move, Moving, Scene, SceneFeature, Verdict, Within, all,
};
use fitwright::job::Job;
use fitwright::primitive::{Cylinder, Line, Plane, Point3};
use fitwright::scan::Scan;
use fitwright::simulate::random::Random;
use fitwright::{Context, Result};
use fitwright_tests::scenes::{Mesh, along, feature, number, placed};

/// A cylinder of radius 10 along y, seen all round, spacing about 0.5.
fn pipe(noise: f64, seed: u64) -> Scan {
    let mut random = Random::new(seed);
    let (rings, around) = (81, 126);
    let mut points = Vec::new();
    for i in 0..rings {
        for j in 0..around {
            let a = 2.0 * PI * f64::from(j) / f64::from(around);
            let r = 10.0 + noise * random.normal();
            points.push(Point3::new(r * a.cos(), f64::from(i) * 0.5 - 20.0, -r * a.sin()));
        }
    }
    let id = |i: i32, j: i32| (i * around + j % around) as u32;
    let mut triangles = Vec::new();
    for i in 0..rings - 1 {
        for j in 0..around {
            triangles.push([id(i, j), id(i, j + 1), id(i + 1, j)]);
            triangles.push([id(i, j + 1), id(i + 1, j + 1), id(i + 1, j)]);
        }
    }
    Scan::from_mesh(points, triangles).expect("a mesh")
}

fn filter() -> Feature {
    let axis = along([0.0, 1.0, 0.0]);
    let shape = Cylinder { point: Point3::origin(), axis, radius: 10.0 };
    feature("filter", FeatureKind::Cylinder, shape)
}

/// An axis along y at (0, 0, −40).
fn shaft() -> Feature {
    let axis = along([0.0, 1.0, 0.0]);
    let shape = Cylinder { point: Point3::new(0.0, 0.0, -40.0), axis, radius: 5.0 };
    feature("shaft", FeatureKind::Cylinder, shape)
}

struct World {
    scan: Scan,
    filter: Feature,
    shaft: Feature,
    surface: Vec<u32>,
}

impl World {
    fn new(noise: f64) -> Self {
        let scan = pipe(noise, 1);
        let surface = (0..scan.points().len() as u32).collect();
        World { scan, filter: filter(), shaft: shaft(), surface }
    }

    fn scene(&self, motions: Vec<Motion>) -> Scene<'_> {
        let with = |feature, surface| SceneFeature {
            feature,
            scan: Some(0),
            surface,
            keep_clear: None,
            is_seat: false,
            bolt: None,
        };
        Scene {
            scans: vec![placed("front", &self.scan)],
            features: vec![with(&self.filter, &self.surface), with(&self.shaft, &[])],
            motions,
            ..Scene::default()
        }
    }

    fn check(&self, part: &Part, motion: Motion) -> Result<Vec<Finding>> {
        let context = Context::new(2).expect("threads");
        let checked = all(part, &self.scene(vec![motion]), &[], &Limits::default(), &context)?;
        Ok(checked.findings)
    }
}

fn motion(moving: Moving, moves: Vec<Move>) -> Motion {
    Motion { name: "filter moves".into(), moving, moves, clearance: None }
}

fn one<'a>(findings: &'a [Finding], kind: &str) -> &'a Finding {
    findings.iter().find(|f| f.kind == kind).unwrap_or_else(|| panic!("no {kind}: {findings:#?}"))
}

/// A block beside the pipe, its face at x = 20: 10 mm of air at rest.
fn wall() -> Part {
    Mesh::cuboid([20.0, -8.0, -30.0], [30.0, 8.0, 30.0]).part()
}

fn turn(degrees: f64) -> Move {
    let by = f64::to_radians(degrees);
    Move::Turn { about: Guide::Feature(1), from: -by, to: by }
}

/// Turned by 8 degrees about an axis 40 mm below it, the pipe's axis comes 40 sin 8 nearer.
#[test]
fn a_feature_rocks_towards_the_part() {
    let truth = 20.0 - 40.0 * 8f64.to_radians().sin() - 10.0;
    for noise in [0.0, 0.03] {
        let world = World::new(noise);
        let findings =
            world.check(&wall(), motion(Moving::Feature(0), vec![turn(8.0)])).expect("a motion");
        let found = one(&findings, "motion");
        let (value, u) = (found.value.expect("a value"), found.uncertainty.expect("one"));
        // The mesh of the pipe lies within the chords of its circle.
        assert!((value - truth).abs() <= u + 0.004, "{value} for {truth}, {u}");
        assert!((number(found, "movement_1").to_degrees() - 8.0).abs() < 0.05, "{found:?}");
        assert_eq!(found.verdict, Verdict::Pass);
        let to = found.to.expect("a place on the scan");
        assert!((to.x - (20.0 - truth)).abs() < 0.1, "{to}");
        // The check of what stands still remains.
        assert!((one(&findings, "clearance").value.expect("one") - 10.0).abs() < 0.1);
    }
}

#[test]
fn no_range_is_the_clearance_where_it_stands() {
    for noise in [0.0, 0.03] {
        let world = World::new(noise);
        let findings =
            world.check(&wall(), motion(Moving::Feature(0), vec![turn(0.0)])).expect("a motion");
        let (moving, still) = (one(&findings, "motion"), one(&findings, "clearance"));
        let difference = moving.value.expect("a value") - still.value.expect("a value");
        assert!(difference.abs() < 1e-9, "{difference}");
        let u = moving.uncertainty.expect("one") - still.uncertainty.expect("one");
        assert!(u.abs() < 1e-9, "{u}");
        assert_eq!(moving.verdict, still.verdict);
    }
}

/// Rocked by 8 degrees and pushed by 6 mm, it needs 40 sin 8 + 6 of 10: it fails, and how deep it goes is
/// known; pushed by 2 mm it keeps 2.43 of 3 mm.
#[test]
fn several_movements_add_up() {
    let world = World::new(0.03);
    let along = Guide::Line(Line { point: Point3::origin(), direction: along([1.0, 0.0, 0.0]) });
    for (push, verdict) in [(6.0, Verdict::Fail), (2.0, Verdict::Fail), (0.5, Verdict::Pass)] {
        let shift = Move::Shift { along, from: 0.0, to: push };
        let moves = vec![turn(8.0), shift];
        let findings = world.check(&wall(), motion(Moving::Feature(0), moves)).expect("a motion");
        let found = one(&findings, "motion");
        let truth = 10.0 - 40.0 * 8f64.to_radians().sin() - push;
        let (value, u) = (found.value.expect("a value"), found.uncertainty.expect("one"));
        assert!((value - truth).abs() <= u + 0.01, "{value} for {truth}, {u}");
        assert_eq!(found.verdict, verdict, "{found:?}");
        assert!((number(found, "movement_2") - push).abs() < 0.05, "{found:?}");
    }
}

/// One point stands 0.8 mm off the pipe where the motion brings it nearest: it does not decide, both numbers
/// are told.
#[test]
fn a_spike_does_not_decide_a_motion() {
    let clean = World::new(0.03);
    let mut points = clean.scan.points().to_vec();
    let side = |p: &Point3| (p - Point3::new(10.0, 2.0, 1.0)).norm();
    let nearest = (0..points.len()).min_by(|&a, &b| side(&points[a]).total_cmp(&side(&points[b])));
    points[nearest.expect("points")].x += 0.8;
    let scan = Scan::from_mesh(points, clean.scan.triangles().to_vec()).expect("a mesh");
    let spiked = World { scan, ..World::new(0.03) };
    let run = |world: &World| {
        let moves = vec![turn(8.0)];
        let findings = world.check(&wall(), motion(Moving::Feature(0), moves)).expect("a motion");
        let found = one(&findings, "motion").clone();
        (
            found.value.expect("a value"),
            found.uncertainty.expect("one"),
            number(&found, "least_raw"),
        )
    };
    let ((value, _, raw), (with, u, with_raw)) = (run(&clean), run(&spiked));
    assert!((with - value).abs() <= u, "{with} and {value}");
    assert!(raw - with_raw > 0.5, "{raw} and {with_raw}");
}

/// An axis that is uncertain by 0.1 mm across and turned by 90 degrees displaces the far end by 0.1 √2.
#[test]
fn the_axis_counts_by_its_lever() {
    let mut world = World::new(0.0);
    let about = |world: &World| {
        let moves = vec![Move::Turn { about: Guide::Feature(1), from: 0.5 * PI, to: 0.5 * PI }];
        // Turned by 90 degrees about y through (0, −40), the pipe's axis is at (40, −40).
        let part = Mesh::cuboid([55.0, -8.0, -60.0], [60.0, 8.0, -20.0]).part();
        let findings = world.check(&part, motion(Moving::Feature(0), moves)).expect("a motion");
        one(&findings, "motion").clone()
    };
    let before = about(&world);
    assert!((before.value.expect("a value") - 5.0).abs() < 0.01, "{before:?}");
    for k in [0, 2] {
        world.shaft.covariance.matrix[(k, k)] = 0.01;
    }
    let after = about(&world);
    let share = after.budget.iter().find(|c| c.cause == "axis").expect("the axis counts");
    // (1 − R) of a displacement across has √2 of its length; along x both coordinates count once.
    assert!((share.deviation - 0.1 * 2f64.sqrt()).abs() < 1e-3, "{share:?}");
}

#[test]
fn a_region_moves_alone() {
    let world = World::new(0.03);
    let lift = |to: f64| {
        let along =
            Guide::Line(Line { point: Point3::origin(), direction: along([0.0, 0.0, 1.0]) });
        vec![Move::Shift { along, from: 0.0, to }]
    };
    // Only the half with y < −5 rises by 8 mm; the part bridges above the other half.
    let part = Mesh::cuboid([-15.0, -19.0, 22.0], [15.0, 19.0, 30.0]).part();
    let low = Point3::new(-20.0, -21.0, -20.0);
    let half = Within::Box { low, high: Point3::new(20.0, -5.0, 20.0) };
    let findings = world
        .check(&part, motion(Moving::Scan { scan: 0, within: half }, lift(8.0)))
        .expect("a motion");
    let found = one(&findings, "motion");
    assert!((found.value.expect("a value") - 4.0).abs() <= found.uncertainty.expect("one") + 0.01);
    assert!(found.to.expect("a place").y < -4.9);
    let nothing = Within::Sphere { centre: Point3::new(500.0, 0.0, 0.0), radius: 3.0 };
    let moving = Moving::Scan { scan: 0, within: nothing };
    let error = world.check(&part, motion(moving, lift(8.0))).expect_err("nothing there");
    let text = error.to_string();
    assert!(text.contains("region of motion \"filter moves\""), "{text}");
}

#[test]
fn contradicting_motions_are_refused() {
    let world = World::new(0.0);
    let refused = |moving: Moving, moves: Vec<Move>, says: &str| {
        let error = world.check(&wall(), motion(moving, moves)).expect_err("refused").to_string();
        assert!(error.contains(says), "{error}");
    };
    refused(Moving::Feature(0), vec![], "movements of motion");
    refused(Moving::Feature(7), vec![turn(1.0)], "below 2");
    refused(Moving::Feature(1), vec![turn(1.0)], "shaft");
    let back = Move::Turn { about: Guide::Feature(1), from: 1.0, to: 0.0 };
    refused(Moving::Feature(0), vec![back], "the lower one first");
    let plane = Plane { point: Point3::origin(), normal: along([0.0, 0.0, 1.0]) };
    let flat = World { shaft: feature("deck", FeatureKind::Plane, plane), ..World::new(0.0) };
    let error = flat.check(&wall(), motion(Moving::Feature(0), vec![turn(1.0)]));
    let error = error.expect_err("a plane has no axis").to_string();
    assert!(error.contains("\"deck\", a plane") && error.contains("axis"), "{error}");
}

const HEAD: &str = "[job]\nname = \"n\"\n[[scan]]\nname = \"a\"\nfile = \"a.ply\"\n\
                    [[feature]]\nname = \"filter\"\nfit = \"cylinder\"\nat = [0, 0, 0]\n\
                    [[feature]]\nname = \"shaft\"\nfit = \"cylinder\"\nat = [0, 0, 0]\n\
                    [part]\nfile = \"p.stl\"\n[check]\nclearance = 3\n";

#[test]
fn the_job_file_says_what_moves_and_how() {
    for good in [
        "{ feature = \"filter\", about = \"shaft\", by = 2.0 }",
        "{ scan = \"a\", along = [0, 0, 1], from = -2, to = 10, clearance = 5, name = \"engine\" }",
        "{ region = { box = [[0, 0, 0], [1, 1, 1]] }, in = \"a\", about = { point = [0, 0, 0], direction = [0, 0, 2] }, by = 3 }",
        "{ region = { sphere = [0, 0, 0, 4] }, moves = [ { about = \"shaft\", by = 2 }, { along = \"shaft\", from = 0, to = 3 } ] }",
    ] {
        Job::parse(&format!("{HEAD}motion = [ {good} ]\n")).expect(good);
    }
}

#[test]
fn the_job_file_names_contradictions_in_a_motion() {
    for (bad, says) in [
        ("about = \"shaft\", by = 2.0", "`feature`, `scan`, `region` and `other_part`"),
        ("feature = \"filter\", scan = \"a\", about = \"shaft\", by = 2", "needs one of"),
        ("feature = \"filter\", in = \"a\", about = \"shaft\", by = 2", "`in` is the scan of"),
        ("feature = \"filtr\", about = \"shaft\", by = 2", "\"filter\""),
        ("feature = \"filter\", about = \"shft\", by = 2", "\"shaft\""),
        ("feature = \"filter\", about = \"shaft\"", "`by`, or `from` and `to`"),
        ("feature = \"filter\", about = \"shaft\", by = 2, to = 3", "contradict each other"),
        ("feature = \"filter\", about = \"shaft\", from = 2", "both `from` and `to`"),
        ("feature = \"filter\", about = \"shaft\", from = 2, to = 1", "exchange them"),
        ("feature = \"filter\", about = \"shaft\", along = [0, 0, 1], by = 1", "into `moves`"),
        ("feature = \"filter\", about = [0, 0, 1], by = 1", "needs an axis"),
        ("feature = \"filter\", along = [0, 0, 0], by = 1", "must not be zero"),
        ("feature = \"filter\", by = 1", "needs `about`"),
        ("feature = \"filter\", by = 1, moves = [ { about = \"shaft\", by = 2 } ]", "put all of"),
        ("feature = \"filter\", moves = []", "at least one"),
        ("feature = \"filter\", about = \"shaft\", by = 1, clearance = -1", "zero or more"),
        ("feature = \"filter\", about = { point = [0, 0, 0] }, by = 1", "an axis is the name of"),
    ] {
        let text = format!("{HEAD}motion = [ {{ {bad} }} ]\n");
        let message = Job::parse(&text).expect_err(bad).to_string();
        assert!(message.contains(says), "{bad}: {message}");
    }
}
