//! The tube plug-in through the loader, as a job uses it: what it finds, and that its tables move with it.

use std::f64::consts::{FRAC_PI_2, PI};

use fitwright::associate::{Input, Request};
use fitwright::primitive::{Point3, Pose, Primitive, Value, Vec3};
use fitwright::simulate::random::Random;
use fitwright_tests::plugins::built_here;

use super::common::{registry, temporary};

/// Tube of 20 mm with noise, seen from above: along x from 0 to 100, a right bend of radius 40 towards y,
/// and 80 mm along y; its corner is at (140, 0, 0).
fn bent() -> (Vec<Point3>, Vec<Vec3>) {
    let mut random = Random::new(9);
    let arc = 40.0 * FRAC_PI_2;
    let one = |_| {
        let s = (180.0 + arc) * random.uniform();
        let (centre, across) = if s < 100.0 {
            (Vec3::x() * s, Vec3::y())
        } else if s < 100.0 + arc {
            let (sin, cos) = ((s - 100.0) / 40.0).sin_cos();
            (Vec3::new(100.0 + 40.0 * sin, 40.0 - 40.0 * cos, 0.0), Vec3::new(-sin, cos, 0.0))
        } else {
            (Vec3::new(140.0, s - 60.0 - arc, 0.0), -Vec3::x())
        };
        let (sin, cos) = (PI * random.uniform()).sin_cos();
        let out = across * cos + Vec3::z() * sin;
        (Point3::from(centre + out * (10.0 + 0.03 * random.normal())), out)
    };
    (0..12_000).map(one).unzip()
}

#[test]
fn a_bent_tube_and_its_tables_are_in_one_frame() {
    let folder = temporary();
    let registry = registry(&built_here("fitwright-tube", "plugins/tube", folder.path()), &[]);
    let fitter = registry.fitter("fitwright.bent-tube").expect("a fitter");
    let (points, normals) = bent();
    let mut input = Input::new(&points);
    (input.normals, input.noise, input.resolution) =
        (Some(normals.as_slice()), Some(0.03), Some(1.2));
    let fit = fitter.fit(&input, &Request::default()).expect("a tube");
    // Through 90 degrees, so that every coordinate changes.
    let turn = Vec3::z() * FRAC_PI_2;
    let machine_from_scan = Pose::new(Vec3::new(5.0, -7.0, 11.0), turn);
    let moved = fit.shape.transformed(&machine_from_scan);
    let truth = machine_from_scan * Point3::new(140.0, 0.0, 0.0);
    let value = |name: &str| {
        let found = moved.parameters().into_iter().find(|p| p.name == name);
        found.unwrap_or_else(|| panic!("no {name}")).value
    };
    let Value::Point(corner) = value("bend_1_corner") else { panic!("a place") };
    assert!((corner - truth).norm() < 0.05, "{corner}");
    let number = |name: &str| match value(name) {
        Value::Scalar(x, _) => x,
        other => panic!("{other:?}"),
    };
    assert!((number("diameter") - 20.0).abs() < 0.02);
    assert!((number("bend_1_angle") - FRAC_PI_2).abs() < 0.05_f64.to_radians());
    let Value::Table(line) = value("centre_line") else { panic!("a table") };
    let at = |name: &str| line.columns.iter().position(|c| c.name == name).expect("a column");
    let (x, y, z) = (at("x"), at("y"), at("z"));
    let places: Vec<Point3> = line.rows().map(|r| Point3::new(r[x], r[y], r[z])).collect();
    // Tangent points and corner of the simulation.
    for known in [[100.0, 0.0, 0.0], [140.0, 0.0, 0.0], [140.0, 40.0, 0.0]] {
        let known = machine_from_scan * Point3::from(known);
        let nearest = places.iter().map(|p| (p - known).norm()).fold(f64::INFINITY, f64::min);
        assert!(nearest < 0.1, "{known}: {places:?}");
    }
    assert!(matches!(moved, Primitive::Composite(c) if c.pieces.len() >= 3));
}
