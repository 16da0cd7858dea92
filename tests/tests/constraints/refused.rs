//! What contradicts itself or the shape is refused, by name.

use fitwright::Error;
use fitwright::associate::{Constraint, Criterion};
use fitwright::primitive::{Direction, Point3, Vec3};

use crate::common::{fit, scan};
use crate::known::request;

fn direction(x: f64, y: f64, z: f64) -> Direction {
    Direction::new_normalize(Vec3::new(x, y, z))
}

#[test]
fn contradictions_are_named() {
    use Constraint::{
        HalfAngle, MajorRadius, MinorRadius, Parallel, Perpendicular, Radius, Through,
    };
    let (x, y, z) = (direction(1.0, 0.0, 0.0), direction(0.0, 1.0, 0.0), direction(0.0, 0.0, 1.0));
    let p = Point3::new(1.0, 2.0, 3.0);
    let nearly = direction(1.0, 1e-6, 0.0);
    for (kind, constraints, name) in [
        ("plane", vec![Radius(4.0)], "constraint Radius"),
        ("torus", vec![Radius(4.0)], "constraint Radius"),
        ("cone", vec![Radius(4.0)], "constraint Radius"),
        ("cylinder", vec![HalfAngle(0.2)], "constraint HalfAngle"),
        ("cylinder", vec![MajorRadius(4.0)], "constraint MajorRadius"),
        ("cylinder", vec![Radius(4.0), Radius(4.0)], "constraint Radius"),
        ("cylinder", vec![Radius(-4.0)], "constraint Radius"),
        ("sphere", vec![Radius(0.0)], "constraint Radius"),
        ("circle", vec![Radius(f64::NAN)], "constraint Radius"),
        ("circle", vec![Radius(f64::INFINITY)], "constraint Radius"),
        ("cone", vec![HalfAngle(1.6)], "constraint HalfAngle"),
        ("cone", vec![HalfAngle(-0.1)], "constraint HalfAngle"),
        ("torus", vec![MajorRadius(2.0), MinorRadius(3.0)], "constraint MinorRadius"),
        ("sphere", vec![Parallel(z)], "constraint Parallel"),
        ("sphere", vec![Perpendicular(z)], "constraint Perpendicular"),
        ("cylinder", vec![Parallel(z), Parallel(x)], "constraint Parallel"),
        ("cylinder", vec![Parallel(z), Perpendicular(x)], "constraint Perpendicular"),
        (
            "cone",
            vec![Perpendicular(x), Perpendicular(y), Perpendicular(z)],
            "constraint Perpendicular",
        ),
        ("cone", vec![Perpendicular(x), Perpendicular(nearly)], "constraint Perpendicular"),
        ("line", vec![Parallel(Direction::new_unchecked(Vec3::zeros()))], "constraint Parallel"),
        ("line", vec![Through(Point3::new(f64::NAN, 0.0, 0.0))], "constraint Through"),
        ("line", vec![Through(p), Through(p)], "constraint Through"),
        ("sphere", vec![Through(p), Through(Point3::origin())], "constraint Through"),
        ("plane", vec![Parallel(z), Through(p)], "constraints"),
        ("sphere", vec![Through(p), Radius(1.0)], "constraints"),
        ("cylinder", vec![Through(p), Parallel(z), Radius(1.0)], "constraints"),
    ] {
        let found = fit(kind, &scan(kind, 60, 0.01, 1), &request(constraints.clone()));
        match found {
            Err(Error::Argument { name: place, found, allowed }) => {
                assert_eq!(place, name, "{kind} {constraints:?}");
                assert!(!found.is_empty() && !allowed.is_empty());
            }
            other => panic!("{kind} {constraints:?}: {other:?}"),
        }
    }
}

#[test]
fn other_criteria_take_no_constraints() {
    let mut request = request(vec![Constraint::Radius(5.0)]);
    request.criterion = Criterion::MinimumZone;
    let found = fit("cylinder", &scan("cylinder", 60, 0.01, 1), &request);
    assert!(matches!(found, Err(Error::Argument { name, .. }) if name == "constraints"));
}

/// What is held does not make up for what else the data leave open.
#[test]
fn what_stays_open_is_still_refused() {
    let flat: Vec<Point3> = scan("plane", 200, 0.01, 2);
    let found =
        fit("cylinder", &flat, &request(vec![Constraint::Parallel(direction(1.0, 0.0, 0.0))]));
    assert!(matches!(found, Err(Error::Undetermined { .. })), "{found:?}");
    let line: Vec<Point3> = scan("line", 200, 0.01, 2);
    let found =
        fit("plane", &line, &request(vec![Constraint::Perpendicular(direction(0.0, 0.0, 1.0))]));
    assert!(matches!(found, Err(Error::Undetermined { .. })), "{found:?}");
    let found =
        fit("plane", &line, &request(vec![Constraint::Perpendicular(direction(1.0, 0.0, 0.0))]));
    assert!(found.is_ok(), "{found:?}");
}
