//! A scan of the finished part against its model, and the checks again with the part as made.

use super::*;
use fitwright::Error;
use fitwright::fitcheck::{LaidOn, Made, MadePart, made};
use fitwright::simulate::Plate;

/// An angled plate, 8 mm thick, that looks like itself from one side only; holes at (10, 10) and (60, 10).
fn angled(thickness: f64, second: f64, radius: f64) -> Mesh {
    let corners = [[0.0, 0.0], [80.0, 0.0], [80.0, 20.0], [20.0, 20.0], [20.0, 50.0], [0.0, 50.0]];
    extruded(&corners, &[([10.0, 10.0], 4.5), ([second, 10.0], radius)], thickness)
}

fn extruded(outline: &[[f64; 2]], holes: &[([f64; 2], f64)], thickness: f64) -> Mesh {
    let plate = Plate {
        machine_from_local: Pose::identity(),
        outline: outline.to_vec(),
        holes: holes.to_vec(),
        z: (0.0, thickness),
    };
    let mesh = plate.mesh(0.002).expect("a plate");
    (mesh.points, mesh.triangles)
}

/// Points over a mesh, a millimetre apart, with noise along the normal, moved to where the scanner saw them.
fn scanned(mesh: &Mesh, scan_from_part: &Pose, seed: u64) -> Scan {
    let mut random = Random::new(seed);
    let (mut points, mut normals) = (Vec::new(), Vec::new());
    for t in &mesh.1 {
        let [a, b, c] = t.map(|i| mesh.0[i as usize]);
        let across = (b - a).cross(&(c - a));
        let Some(normal) = across.try_normalize(1e-12) else { continue };
        // As many points as square millimetres, at random places: no two scans have the same grid.
        let mut count = 0.5 * across.norm() + random.uniform();
        while count >= 1.0 {
            count -= 1.0;
            let (mut u, mut v) = (random.uniform(), random.uniform());
            if u + v > 1.0 {
                (u, v) = (1.0 - u, 1.0 - v);
            }
            let p = a + (b - a) * u + (c - a) * v + normal * (NOISE * random.normal());
            points.push(scan_from_part * p);
            normals.push(scan_from_part.rotation * normal);
        }
    }
    Scan::from_points(points, Some(normals)).expect("points")
}

fn far_away() -> Pose {
    let axis = nalgebra::Unit::new_normalize(Vec3::new(1.0, -2.0, 0.7));
    Pose::from_parts(
        Vec3::new(300.0, -120.0, 45.0).into(),
        nalgebra::UnitQuaternion::from_axis_angle(&axis, 2.3),
    )
}

/// The plate on a deck in z = 0, under a ceiling at z = 12.
fn laid(mesh: &Mesh, laid_on: LaidOn, start: Option<Pose>) -> fitwright::Result<MadePart> {
    let scan_of_made = scanned(mesh, &far_away(), 51);
    let (mut points, mut triangles) = noisy_floor(52, 60.0);
    let count = points.len() as u32;
    let mut random = Random::new(53);
    let ceiling = sheet([60.0, 60.0], |x, y| Point3::new(x, y, 12.0 + NOISE * random.normal()));
    points.extend(ceiling.0);
    triangles.extend(ceiling.1.iter().map(|t| [t[0] + count, t[2] + count, t[1] + count]));
    let room = scan(&(points, triangles));
    let deck = floor_feature();
    let ids: Vec<u32> = (0..count).collect();
    let hole = |x: f64| {
        let axis = Direction::new_normalize(-Vec3::z());
        let cylinder = Cylinder { point: Point3::new(x, 10.0, 0.0), axis, radius: 3.4 };
        feature(if x < 20.0 { "A" } else { "B" }, FeatureKind::Hole, cylinder)
    };
    let holes = [hole(10.0), hole(60.0)];
    let mut features = vec![seat(&deck, &ids, true)];
    features.extend(holes.iter().map(|h| SceneFeature {
        feature: h,
        scan: Some(0),
        surface: &[],
        keep_clear: None,
        is_seat: false,
        bolt: Some("M8"),
    }));
    let scene = Scene { scans: vec![placed("room", &room)], features, ..Scene::default() };
    let model = part(angled(8.0, 60.0, 4.5));
    let mounts = [10.0, 60.0].map(|x| {
        let near = Point3::new(x, 10.0, 4.0);
        let part_hole = model.hole_at(&near).expect("a hole");
        Mount { hole: if x < 20.0 { 1 } else { 2 }, seat: Some(0), near, part_hole }
    });
    let wanted = Made { scan: &scan_of_made, laid_on, start, tolerance: Some(0.3) };
    made(&model, &wanted, &scene, &mounts, &Limits::default(), &Context::new(2)?)
}

#[test]
fn a_part_made_as_designed_is_found_from_any_pose_and_fits_as_designed() {
    let found = laid(&angled(8.0, 60.0, 4.5), LaidOn::Model, None).expect("laid");
    let error = found.part_from_scan * far_away();
    for p in [Point3::origin(), Point3::new(80.0, 0.0, 8.0), Point3::new(0.0, 50.0, 0.0)] {
        assert!((error * p - p).norm() < 0.01, "{}", (error * p - p).norm());
    }
    let off = one(&found.findings, "made part", "deviation from the model");
    assert_eq!(off.verdict, Verdict::Pass, "{off:?}");
    assert!((number(off, "rms") / NOISE - 1.0).abs() < 0.1, "nothing but noise: {off:?}");
    let air = one(&found.findings, "clearance", "rest of room, as made");
    let error = air.value.unwrap_or(f64::NAN) - 4.0;
    assert!(error.abs() <= air.uncertainty.unwrap_or(0.0), "{air:?}");
    let bolt = one(&found.findings, "hole", "B, as made");
    assert!((bolt.value.unwrap_or(f64::NAN) - 0.5).abs() < 0.03, "{bolt:?}");
    assert!((found.part.volume() / part(angled(8.0, 60.0, 4.5)).volume() - 1.0).abs() < 2e-3);
}

#[test]
fn a_part_made_too_thick_takes_the_air_that_it_takes() {
    for (thickness, verdict) in [(8.5, Verdict::Pass), (9.5, Verdict::Fail)] {
        let found = laid(&angled(thickness, 60.0, 4.5), LaidOn::Seats, None).expect("laid");
        let off = one(&found.findings, "made part", "deviation from the model");
        assert_eq!(off.verdict, Verdict::Fail, "{off:?}");
        let excess = thickness - 8.0;
        assert!((number(off, "largest_excess") - excess).abs() < 0.15, "{off:?}");
        assert!(number(off, "largest_missing") < 0.15, "{off:?}");
        let air = one(&found.findings, "clearance", "rest of room, as made");
        let error = air.value.unwrap_or(f64::NAN) - (4.0 - excess);
        assert!(error.abs() <= air.uncertainty.unwrap_or(0.0), "{air:?}");
        assert_eq!(air.verdict, verdict, "{air:?}");
    }
}

#[test]
fn a_hole_drilled_off_its_place_and_too_wide_is_measured() {
    let found = laid(&angled(8.0, 60.8, 4.75), LaidOn::Model, None).expect("laid");
    let name = "hole 2 at (60.0, 10.0, 4.0)";
    let hole = one(&found.findings, "made part", name);
    let error = hole.value.unwrap_or(f64::NAN) - 0.8;
    assert!(error.abs() <= hole.uncertainty.unwrap_or(0.0).max(0.02), "{hole:?}");
    assert!((number(hole, "diameter") - 9.5).abs() < 0.03, "{hole:?}");
    // A pitch 0.8 mm too long, with play of 0.5 and 0.75: each alone sticks, moved they go in.
    let together = one(&found.findings, "hole", "all bolts together, as made");
    assert_eq!(together.verdict, Verdict::Pass, "{together:?}");
    assert!((together.value.unwrap_or(f64::NAN) - (0.5 + 0.75 - 0.8) / 2.0).abs() < 0.05);
}

#[test]
fn another_part_and_a_part_with_two_ways_are_refused() {
    let strange = sheet([200.0, 100.0], |x, y| Point3::new(x, y, 30.0 * (x / 20.0).sin()));
    let refused = laid(&strange, LaidOn::Model, None).map(|m| m.part_from_scan);
    assert!(
        matches!(&refused, Err(Error::Join { reason }) if reason.contains("is it this part")),
        "{refused:?}"
    );

    let square = [[-20.0, -20.0], [20.0, -20.0], [20.0, 20.0], [-20.0, 20.0]];
    let mesh = extruded(&square, &[], 6.0);
    let scan = scanned(&mesh, &far_away(), 54);
    let floor = super::scan(&noisy_floor(55, 40.0));
    let scene = Scene { scans: vec![placed("front", &floor)], ..Scene::default() };
    let run = |start| {
        let wanted = Made { scan: &scan, laid_on: LaidOn::Model, start, tolerance: None };
        let context = Context::new(1).expect("a thread");
        made(&part(mesh.clone()), &wanted, &scene, &[], &Limits::default(), &context)
    };
    let refused = run(None).map(|m| m.part_from_scan);
    assert!(
        matches!(&refused, Err(Error::Join { reason }) if reason.contains("in two ways")),
        "{refused:?}"
    );
    let nudge = Pose::rotation(Vec3::new(0.02, -0.01, 0.03));
    let found = run(Some(nudge * far_away().inverse())).expect("started by hand");
    let error = found.part_from_scan * far_away() * Point3::new(20.0, 20.0, 0.0);
    assert!((error - Point3::new(20.0, 20.0, 0.0)).norm() < 0.01, "{error}");
}
