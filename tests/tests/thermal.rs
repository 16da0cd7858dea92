//! Bolts, seats and clearances at temperature, on scenes whose growth is known in closed form.
#![allow(missing_docs)]

use fitwright::exchange::{Part, PartHole};
use fitwright::feature::{Feature, FeatureKind};
use fitwright::fitcheck::{
    Finding, Limits, Material, Mount, Scene, SceneFeature, Temperature, Verdict, Warming, all,
};
use fitwright::job::Job;
use fitwright::primitive::{Cylinder, Direction, Plane, Point3, Vec3};
use fitwright::scan::Scan;
use fitwright::{Context, Result};
use fitwright_tests::scenes::{
    Mesh, checked, deck, feature, hole as hole_of, number, placed, scene,
};

/// A bar from x = −20 to 520 on a floor that ends in a wall at x = 525.
fn bar() -> Part {
    Mesh::cuboid([-20.0, -10.0, 5.0], [520.0, 10.0, 15.0]).part()
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
    let shape = Cylinder { point: Point3::new(x, 0.0, 5.0), axis: Vec3::z_axis(), radius: 4.25 };
    feature(name, FeatureKind::Hole, shape)
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
        scans: vec![placed("front", &wall)],
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

/// A steel bridge on two pads of an aluminium machine, one 100 mm over the other, both held at the lower one: warmed by
/// 60 K the upper pad rises by 23e-6 · 6000 = 0.138 mm and the bridge's foot by 0.069 mm.
#[test]
fn a_seat_rises_into_the_part() {
    let pad =
        |x: f64, z: f64| Mesh::sheet([x, -20.0, z], [[40.0, 0.0, 0.0], [0.0, 40.0, 0.0]], [40, 40]);
    let machine = pad(-20.0, 0.0).and(&pad(180.0, 100.0));
    let scan = machine.scan();
    let plane = |name: &str, x: f64, z: f64| {
        let point = Point3::new(x, 0.0, z);
        feature(name, FeatureKind::Plane, Plane { point, normal: Vec3::z_axis() })
    };
    let features = [plane("lower", 0.0, 0.0), plane("upper", 200.0, 100.0)];
    let count = 41 * 41;
    let surfaces: [Vec<u32>; 2] = [(0..count).collect(), (count..2 * count).collect()];
    let of = |k: usize| SceneFeature {
        feature: &features[k],
        scan: Some(0),
        surface: &surfaces[k],
        keep_clear: None,
        is_seat: true,
        bolt: None,
    };
    let bridge = Mesh::cuboid([-10.0, -10.0, 0.0], [10.0, 10.0, 120.0])
        .and(&Mesh::cuboid([-10.0, -10.0, 110.0], [210.0, 10.0, 120.0]))
        .and(&Mesh::cuboid([190.0, -10.0, 100.0], [210.0, 10.0, 120.0]))
        .part();
    let scene = Scene {
        scans: vec![placed("front", &scan)],
        features: vec![of(0), of(1)],
        temperature: Some(Temperature {
            machine: body("aluminium", 80.0),
            part: body("steel", 80.0),
            fixed: Some(Point3::origin()),
        }),
        ..Scene::default()
    };
    let findings = checked(&bridge, &scene, &[], &Limits::default(), 2).expect("a scene");
    let truth = 100.0 * (1.00138 / 1.00069 - 1.0);
    let upper = thermal(&findings, "upper");
    assert!((upper.value.expect("a gap") - truth).abs() < 1e-4, "{upper:?} for {truth}");
    assert!((number(upper, "largest_overlap") - truth).abs() < 1e-4, "{upper:?}");
    assert!(number(upper, "at_scan_temperature").abs() < 1e-9 && upper.at_most);
    // The ranges of both coefficients over 100 mm and 60 K, rectangular, k = 2; the scan has no noise.
    let u = 2.0 * 100.0 * 60.0 * (0.7e-6f64.hypot(1.2e-6)) / 3f64.sqrt();
    assert!((upper.uncertainty.expect("one") - u).abs() < 0.02 * u, "{upper:?} for {u}");
    assert_eq!(upper.verdict, Verdict::Pass);
    assert!(number(thermal(&findings, "lower"), "largest_overlap") < 1e-6);
    assert!((upper.to.expect("a place").z - 100.0).abs() < 1e-6, "told where it was scanned");
}

/// Holes 400 mm apart, 140 K: aluminium outgrows steel by 0.643 mm, more than one bolt's play of 0.5 mm. With the part
/// moved half of that, both have the rest of their play.
#[test]
fn bolts_that_no_longer_go_in_alone_may_go_in_together() {
    let floor = Mesh::sheet([-230.0, -30.0, 0.0], [[460.0, 0.0, 0.0], [0.0, 60.0, 0.0]], [230, 30]);
    let (scan, deck) = (floor.scan(), deck());
    let surface: Vec<u32> = (0..floor.0.len() as u32).collect();
    let (a, mount_a) = hole_of("A", [-200.0, 0.0], 10.0, 1);
    let (b, mount_b) = hole_of("B", [200.0, 0.0], 10.0, 2);
    let holes = [a, b];
    let plate = Mesh::cuboid([-220.0, -20.0, 0.0], [220.0, 20.0, 10.0]).part();
    let run = |to: f64| {
        let mut whole = scene(&[&scan], &deck, &surface, &holes);
        whole.temperature = Some(Temperature {
            machine: body("aluminium", to),
            part: body("steel", to),
            fixed: None,
        });
        let mounts = [mount_a.clone(), mount_b.clone()];
        checked(&plate, &whole, &mounts, &Limits::default(), 2).expect("a scene")
    };
    let findings = run(160.0);
    let by = (1.0 + 23e-6 * 140.0) / (1.0 + 11.5e-6 * 140.0);
    // In sizes of the part before it grew.
    let room = 0.5 * (9.0 - 8.0 * by) - 200.0 * (by - 1.0);
    let together = thermal(&findings, "all bolts together");
    assert!((together.value.expect("room") - room).abs() < 2e-3, "{together:?} for {room}");
    assert!((number(together, "at_scan_temperature") - 0.5).abs() < 1e-3);
    let u = 2.0 * 200.0 * 140.0 * (0.7e-6f64.hypot(1.2e-6)) / 3f64.sqrt();
    assert!((together.uncertainty.expect("one") - u).abs() < 0.05 * u, "{together:?} for {u}");
    assert_eq!(together.verdict, Verdict::Pass, "{together:?}");
    let alone = thermal(&findings, "B");
    assert!(alone.value.expect("a margin") < -0.1, "{alone:?}");
    assert!(alone.verdict == Verdict::Undecided && alone.detail.contains("all bolts go in"));
    assert!(thermal(&findings, "all seats, pressed down").at_most);
    // At 300 K more they do not go in at all.
    let findings = run(320.0);
    assert_eq!(thermal(&findings, "all bolts together").verdict, Verdict::Fail);
    assert_eq!(thermal(&findings, "B").verdict, Verdict::Fail);
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
