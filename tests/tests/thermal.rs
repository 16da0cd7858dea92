//! Bolts and clearances at temperature, on scenes whose growth is known in closed form.
#![allow(missing_docs)]

use fitwright::associate::Covariance;
use fitwright::exchange::{Part, PartHole};
use fitwright::feature::{Feature, FeatureKind};
use fitwright::fitcheck::{
    Finding, Limits, Material, Mount, Scene, SceneFeature, SceneScan, Temperature, Verdict,
    Warming, all,
};
use fitwright::job::Job;
use fitwright::primitive::{Cylinder, Direction, Point3, Pose, Vec3};
use fitwright::scan::Scan;
use fitwright::{Context, Result};

/// A bar from x = −20 to 520 on a floor that ends in a wall at x = 525.
fn bar() -> Part {
    let (low, high) = ([-20.0, -10.0, 5.0], [520.0, 10.0, 15.0]);
    let pick = |i: usize, k: usize| if i >> k & 1 == 1 { high[k] } else { low[k] };
    let points = (0..8).map(|i| Point3::new(pick(i, 0), pick(i, 1), pick(i, 2))).collect();
    let quads =
        [[0, 4, 6, 2], [1, 3, 7, 5], [0, 1, 5, 4], [2, 6, 7, 3], [0, 2, 3, 1], [4, 5, 7, 6]];
    let triangles = quads.iter().flat_map(|q| [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]).collect();
    Part::from_mesh(points, triangles, "bar.stl", "STL").expect("a mesh")
}

/// The wall, facing the bar's end.
fn wall() -> Scan {
    let mut points = Vec::new();
    let n = 41;
    for i in 0..n {
        points.extend((0..n).map(|j| Point3::new(525.0, f64::from(i) - 20.0, f64::from(j) - 10.0)));
    }
    let mut triangles = Vec::new();
    for i in 0..n as u32 - 1 {
        for j in 0..n as u32 - 1 {
            let (a, b) = (i * n as u32 + j, (i + 1) * n as u32 + j);
            triangles.push([a, a + 1, b]);
            triangles.push([a + 1, b + 1, b]);
        }
    }
    Scan::from_mesh(points, triangles).expect("a mesh")
}

fn hole(name: &str, x: f64) -> Feature {
    let axis = Direction::new_normalize(Vec3::z());
    let shape = Cylinder { point: Point3::new(x, 0.0, 5.0), axis, radius: 4.25 };
    Feature {
        noise: None,
        name: name.into(),
        kind: FeatureKind::Hole,
        fitter: "test".into(),
        covariance: Covariance::zero(shape.point),
        shape: shape.into(),
        pieces: vec![],
        quality: None,
        notes: vec![],
    }
}

fn body(name: &str, to: f64) -> Warming {
    Warming::of(&Material::parse(name).expect("a known material"), 20.0, to, 0.0)
}

/// The bar of one material, the floor of another, both at their temperatures.
fn check(temperature: Option<Temperature>, mounted: bool) -> Result<Vec<Finding>> {
    let (wall, holes) = (wall(), [hole("hole A", 0.0), hole("hole B", 500.0)]);
    let with = |feature| SceneFeature {
        feature,
        scan: None,
        surface: &[],
        keep_clear: None,
        is_seat: false,
        bolt: Some("M8"),
    };
    let mount = |k: usize| {
        let axis = Direction::new_normalize(Vec3::z());
        let point = Point3::new([0.0, 500.0][k], 0.0, 10.0);
        Mount {
            hole: k,
            seat: None,
            near: point,
            part_hole: PartHole { point, axis, radius: 4.5, depth: 10.0 },
        }
    };
    let mounts: Vec<Mount> = if mounted { (0..2).map(mount).collect() } else { Vec::new() };
    let scene = Scene {
        scans: vec![SceneScan {
            name: "front",
            scan: &wall,
            machine_from_scan: Pose::identity(),
            join_covariance: None,
            length_error: None,
        }],
        features: if mounted { holes.iter().map(with).collect() } else { Vec::new() },
        temperature,
        ..Scene::default()
    };
    let context = Context::new(2).expect("threads");
    Ok(all(&bar(), &scene, &mounts, &Limits::default(), &context)?.findings)
}

fn thermal<'a>(findings: &'a [Finding], name: &str) -> &'a Finding {
    let found = findings.iter().find(|f| f.kind == "thermal" && f.name == name);
    found.unwrap_or_else(|| panic!("no {name} at temperature in {findings:#?}"))
}

fn number(finding: &Finding, name: &str) -> f64 {
    finding.numbers.iter().find(|n| n.name == name).unwrap_or_else(|| panic!("no {name}")).value
}

/// Aluminium bracket on steel, 500 mm, 60 K: 0.345 mm. Of the 0.5 mm of play, the wider hole and the
/// wider bolt leave (9·1.00138 − 8·1.00069)/2 − 0.345 mm.
#[test]
fn the_second_bolt_moves_by_the_difference_of_the_materials() {
    let both =
        Temperature { machine: body("steel", 80.0), part: body("aluminium", 80.0), fixed: None };
    let findings = check(Some(both), true).expect("a scene");
    let second = thermal(&findings, "hole B");
    assert!((number(second, "growth") - 0.345).abs() < 1e-9, "{second:?}");
    let margin = 0.5 * (9.0 * 1.00138 - 8.0 * 1.00069) - 0.345;
    assert!((second.value.expect("a margin") - margin).abs() < 1e-9, "{second:?}");
    assert!((number(second, "at_scan_temperature") - 0.5).abs() < 1e-9);
    // The range of both coefficients over 500 mm and 60 K, rectangular, k = 2.
    let u = 2.0 * 500.0 * 60.0 * (0.7e-6f64.hypot(1.2e-6)) / 3f64.sqrt();
    assert!((second.uncertainty.expect("one") - u).abs() < 1e-6, "{second:?}");
    assert_eq!(second.verdict, Verdict::Pass);
    assert!(number(thermal(&findings, "hole A"), "growth").abs() < 1e-12);
}

/// The bar's end 520 mm, the wall 525 mm from the bolt that holds it.
#[test]
fn the_gap_at_the_far_end_closes() {
    for (machine, part) in [(20.0, 150.0), (90.0, 20.0), (-40.0, -40.0)] {
        let warmed = Temperature {
            machine: body("steel", machine),
            part: body("aluminium", part),
            fixed: None,
        };
        let findings = check(Some(warmed), true).expect("a scene");
        let found = thermal(&findings, "rest of front");
        let grown = |length: f64, alpha: f64, to: f64| length * (1.0 + alpha * (to - 20.0));
        let truth = grown(525.0, 11.5e-6, machine) - grown(520.0, 23e-6, part);
        assert!((found.value.expect("a gap") - truth).abs() < 1e-6, "{found:?} for {truth}");
        assert!((number(found, "at_scan_temperature") - 5.0).abs() < 1e-6);
        let to = found.to.expect("a place on the scan");
        assert!((to.x - 525.0).abs() < 1e-6, "told where it was scanned: {to}");
    }
}

/// The point that stays decides: fixed at its far end, the bar leaves the gap as it is.
#[test]
fn the_fixed_point_is_taken() {
    let fixed = Some(Point3::new(520.0, 0.0, 0.0));
    let warmed =
        Temperature { machine: body("steel", 20.0), part: body("aluminium", 150.0), fixed };
    let findings = check(Some(warmed), false).expect("a scene");
    assert!((thermal(&findings, "rest of front").value.expect("a gap") - 5.0).abs() < 1e-6);
    let nowhere = Temperature { fixed: None, ..warmed };
    let message = check(Some(nowhere), false).expect_err("nothing holds the part").to_string();
    assert!(message.contains("fixed point"), "{message}");
    assert!(check(None, true).expect("a scene").iter().all(|f| f.kind != "thermal"));
}

#[test]
fn nonsense_is_refused() {
    let steel = body("steel", 20.0);
    for wrong in [
        Warming { expansion: 11.5, ..steel },
        Warming { to: f64::NAN, ..steel },
        Warming { to: -300.0, ..steel },
        Warming { deviation: -1.0, ..steel },
    ] {
        let warmed = Temperature { machine: steel, part: wrong, fixed: None };
        let message = check(Some(warmed), true).expect_err("nonsense").to_string();
        assert!(message.contains("of the part"), "{message}");
    }
}

const HEAD: &str = "[job]\nname = \"n\"\n[[scan]]\nname = \"a\"\nfile = \"a.ply\"\n\
                    [part]\nfile = \"p.stl\"\n[check]\nclearance = 3\n[check.temperature]\n";

#[test]
fn the_job_file_takes_materials_or_coefficients_and_names_contradictions() {
    let job = |text: &str| Job::parse(&format!("{HEAD}{text}\n"));
    let part = "part = { material = \"steel\", at = 20 }\nfixed = [0, 0, 0]\n";
    for good in [
        "reference = 18\nmachine = { material = \"aluminium\", at = 90, within = 10 }",
        "machine = { expansion = 23e-6, at = 90 }",
    ] {
        job(&format!("{part}{good}")).expect(good);
    }
    for (bad, says) in [
        ("machine = { material = \"wood\", at = 90 }", "aluminium"),
        ("machine = { at = 90 }", "needs `material` or `expansion`"),
        ("machine = { material = \"steel\", expansion = 1e-5, at = 90 }", "contradict"),
        ("machine = { expansion = 23, at = 90 }", "per kelvin"),
        ("machine = { material = \"steel\", at = 9000 }", "°C"),
        ("machine = { material = \"steel\", at = 90, within = -1 }", "kelvin"),
        ("machine = { material = \"steel\", at = 90 }\nreference = -400", "`reference`"),
    ] {
        let message = job(&format!("{part}{bad}")).expect_err(bad).to_string();
        assert!(message.contains("[check.temperature") && message.contains(says), "{message}");
    }
    let loose =
        "part = { material = \"steel\", at = 20 }\nmachine = { material = \"steel\", at = 90 }";
    let message = job(loose).expect_err("nothing is fixed").to_string();
    assert!(message.contains("give `fixed`"), "{message}");
}
