//! Groups fitted at once: known answers, what single fits cannot do, what the relation costs.

use nalgebra::{DMatrix, DVector};

use fitwright::Error;
use fitwright::associate::{Constraint, Input, Member, Relation, fit_group};
use fitwright::primitive::{Cylinder, Direction, Kind, Point3, Primitive, Sphere, Vec3};
use fitwright::simulate::random::Random;

use crate::common::{compare, fit, plain};
use crate::known::request;

const NOISE: f64 = 0.01;

/// Points of one shape.
type Set = (Kind, Vec<Point3>);

fn z() -> Direction {
    Direction::new_unchecked(Vec3::z())
}

fn members<'a>(sets: &'a [Set]) -> Vec<Member<'a>> {
    sets.iter().map(|(kind, points)| Member { kind: *kind, input: Input::new(points) }).collect()
}

/// Cylinder about z: arc in degrees about x, from z = low to high.
fn ring(n: &mut Random, count: usize, r: f64, arc: f64, low: f64, high: f64) -> Vec<Point3> {
    let mut point = |_| {
        let (sin, cos) = (arc.to_radians() * (n.uniform() - 0.5)).sin_cos();
        let rho = r + NOISE * n.normal();
        Point3::new(rho * cos, rho * sin, low + (high - low) * n.uniform())
    };
    (0..count).map(&mut point).collect()
}

fn without(basis: &DMatrix<f64>, mut v: DVector<f64>) -> DVector<f64> {
    for _ in 0..3 {
        for b in basis.column_iter() {
            let part = b.dot(&v);
            v.axpy(-part, &b, 1.0);
        }
    }
    v
}

/// Null-space data for a shaft of two journals, the second the mirror image of the first, so that
/// their own scatters and with them their weights are equal; the errors are orthogonal to the joint
/// columns (axis of both, radius of each), not to those of each alone.
#[test]
fn a_shaft_line_has_its_exact_answer() {
    let (count, radii) = (60, [4.0, 4.0]);
    let mut numbers = Random::new(2);
    let mut feet = Vec::new();
    for i in 0..count {
        let (sin, cos) = (200.0f64.to_radians() * (numbers.uniform() - 0.5)).sin_cos();
        feet.push((Vec3::new(cos, sin, 0.0), 10.0 + 20.0 * (i as f64 + 0.5) / count as f64));
    }
    let all: Vec<(Vec3, f64, usize)> = [1.0, -1.0]
        .iter()
        .enumerate()
        .flat_map(|(k, side)| feet.iter().map(move |(e, h)| (*e, side * h, k)))
        .collect();
    let column = |j: usize| {
        DVector::from_fn(all.len(), |i, _| {
            let (e, h, k) = all[i];
            let x = e * radii[k] + Vec3::z() * h;
            match j {
                0 | 1 => e[j],
                2 | 3 => x.cross(&e)[j - 2] / 20.0,
                _ => f64::from(k == j - 4),
            }
        })
    };
    let mut basis = DMatrix::zeros(all.len(), 0);
    for j in 0..6 {
        let rest = without(&basis, column(j)).normalize();
        basis = basis.insert_column(j, 0.0);
        basis.set_column(j, &rest);
    }
    // Each journal tilted its own way: the mirror image keeps the joint axis.
    let half = DVector::from_fn(count, |i, _| {
        0.3 * numbers.normal() + feet[i].0.x * (feet[i].1 - 20.0) / 10.0
    });
    let errors = DVector::from_fn(2 * count, |i, _| half[i % count]);
    let errors = without(&basis, errors) * NOISE;
    let turn = nalgebra::Rotation3::rotation_between(&Vec3::z(), &Vec3::new(1.0, 2.0, -3.0))
        .expect("a rotation");
    let point = |i: usize| {
        let (e, h, k) = all[i];
        Point3::from(
            turn * (e * (radii[k] + errors[i]) + Vec3::z() * h) + Vec3::new(5.0, 1.0, -2.0),
        )
    };
    let sets = [
        (Kind::Cylinder, (0..count).map(point).collect::<Vec<_>>()),
        (Kind::Cylinder, (count..2 * count).map(point).collect()),
    ];
    let found = fit_group(&members(&sets), Relation::Coaxial, &plain()).expect("a shaft");
    let axis = Direction::new_normalize(turn * Vec3::z());
    for (k, fit) in found.members.iter().enumerate() {
        let answer = Cylinder { point: Point3::new(5.0, 1.0, -2.0), axis, radius: radii[k] };
        let difference = compare(&fit.shape, &answer.into());
        assert!(difference.length < 1e-11 && difference.angle < 1e-11, "{k}: {difference:?}");
        let alone = crate::common::fit("cylinder", &sets[k].1, &plain()).expect("alone");
        let free = compare(&alone.shape, &answer.into());
        assert!(free.angle > 1e-5, "the free fit must differ: {free:?}");
    }
    assert_eq!(found.cost.freedoms, 4);
}

/// A short stub of five degrees of arc on the shaft: alone it is refused, with the group it is
/// found, and both within what the covariance says.
#[test]
fn a_shaft_holds_what_is_too_short() {
    let (mut sums, runs) = ([0.0; 2], 100);
    for seed in 0..runs {
        let mut n = Random::new(seed);
        let sets = [
            (Kind::Cylinder, ring(&mut n, 400, 10.0, 360.0, 0.0, 50.0)),
            (Kind::Cylinder, ring(&mut n, 150, 6.0, 5.0, 55.0, 65.0)),
        ];
        assert!(fit("cylinder", &sets[1].1, &plain()).is_err());
        let found = fit_group(&members(&sets), Relation::Coaxial, &plain()).expect("a shaft");
        let [first, second] = &found.members[..] else { panic!("two") };
        let (Primitive::Cylinder(a), Primitive::Cylinder(b)) = (&first.shape, &second.shape) else {
            panic!("cylinders")
        };
        assert!(a.axis.cross(&b.axis).norm() < 1e-15);
        assert!(a.axis_line().distance(&b.point) < 1e-13);
        assert_eq!((found.cost.freedoms, found.cost.probability), (4, None));
        sums[0] += ((b.radius - 6.0) / second.covariance.size(0)).powi(2);
        let x = Direction::new_unchecked(Vec3::x());
        sums[1] += b.axis_line().project(&Point3::new(0.0, 0.0, 60.0)).x.powi(2)
            / second.covariance.variance_along(&Point3::new(0.0, 0.0, 60.0), &x);
    }
    // Chi-square with as many degrees of freedom as runs: four standard deviations.
    let runs = runs as f64;
    let allowed = 4.0 * (2.0 * runs).sqrt();
    assert!(sums.iter().all(|s| (s - runs).abs() < allowed), "{sums:?} of {runs}");
}

/// Spheres and circle about one centre; planes in one plane, which is the plane through all points
/// where all scatter alike; parallel and square faces.
#[test]
fn every_relation_holds() {
    let mut n = Random::new(6);
    let flat = |n: &mut Random, turn: nalgebra::Rotation3<f64>, at: Vec3| -> Vec<Point3> {
        let mut point = |_| {
            let x = Vec3::new(20.0 * n.uniform(), 20.0 * n.uniform(), NOISE * n.normal());
            Point3::from(turn * x + at)
        };
        (0..200).map(&mut point).collect()
    };
    let none = nalgebra::Rotation3::identity();
    let up = nalgebra::Rotation3::from_axis_angle(&Vec3::y_axis(), -std::f64::consts::FRAC_PI_2);
    let ball = |n: &mut Random, r: f64| -> Vec<Point3> {
        let mut point = |_| {
            let v = Vec3::new(n.normal(), n.normal(), n.normal().abs()).normalize();
            Point3::from(v * (r + NOISE * n.normal()) + Vec3::new(3.0, 0.0, 1.0))
        };
        (0..200).map(&mut point).collect()
    };
    let planes =
        [flat(&mut n, none, Vec3::zeros()), flat(&mut n, none, Vec3::new(60.0, 10.0, 0.0))];
    let stepped = flat(&mut n, none, Vec3::new(0.0, 40.0, 7.0));
    let wall = flat(&mut n, up, Vec3::new(30.0, 0.0, 0.0));
    let shaft = ring(&mut n, 300, 5.0, 300.0, 0.0, 30.0);
    let groups: Vec<(Relation, Vec<Set>, usize)> = vec![
        (
            Relation::Concentric,
            vec![(Kind::Sphere, ball(&mut n, 5.0)), (Kind::Sphere, ball(&mut n, 9.0))],
            3,
        ),
        (
            Relation::Coplanar,
            vec![(Kind::Plane, planes[0].clone()), (Kind::Plane, planes[1].clone())],
            3,
        ),
        (
            Relation::Parallel,
            vec![
                (Kind::Plane, planes[0].clone()),
                (Kind::Plane, stepped),
                (Kind::Cylinder, shaft.clone()),
            ],
            4,
        ),
        (Relation::Perpendicular, vec![(Kind::Plane, planes[1].clone()), (Kind::Plane, wall)], 1),
    ];
    for (relation, sets, freedoms) in groups {
        let found = fit_group(&members(&sets), relation, &plain())
            .unwrap_or_else(|e| panic!("{relation:?}: {e}"));
        let shapes: Vec<&Primitive> = found.members.iter().map(|f| &f.shape).collect();
        let directions: Vec<_> = shapes.iter().filter_map(|s| s.direction()).collect();
        let wrong = match relation {
            Relation::Concentric => (shapes[0].point() - shapes[1].point()).norm(),
            Relation::Coplanar => {
                directions[0].cross(&directions[1]).norm()
                    + shapes[0].distance(&shapes[1].point()).abs()
            }
            Relation::Perpendicular => directions[0].dot(&directions[1]).abs(),
            _ => directions.windows(2).map(|d| d[0].cross(&d[1]).norm()).sum(),
        };
        assert!(wrong < 1e-14 * 100.0, "{relation:?}: {wrong:e}");
        assert_eq!(found.cost.freedoms, freedoms, "{relation:?}");
        let p = found.cost.probability.expect("a probability");
        assert!(p > 1e-3, "{relation:?}: {:?}", found.cost);
        let cost = &found.cost;
        assert!((cost.sigma / NOISE - 1.0).abs() < 0.15, "{relation:?}: {cost:?}");
    }
    let spheres = [Sphere { centre: Point3::new(3.0, 0.0, 1.0), radius: 5.0 }];
    let found = fit_group(
        &members(&[(Kind::Sphere, ball(&mut n, 5.0)), (Kind::Sphere, ball(&mut n, 9.0))]),
        Relation::Concentric,
        &plain(),
    )
    .expect("spheres");
    assert!(compare(&found.members[0].shape, &spheres[0].into()).length < 0.01);
}

/// Two planes of one step, 0.05 mm apart, are not one plane, and the cost says so; weights come from
/// each plane's own scatter.
#[test]
fn a_false_relation_shows() {
    let mut n = Random::new(12);
    let mut flat = |height: f64, noise: f64| -> Vec<Point3> {
        let mut point =
            |_| Point3::new(30.0 * n.uniform(), 30.0 * n.uniform(), height + noise * n.normal());
        (0..300).map(&mut point).collect()
    };
    let sets = [(Kind::Plane, flat(0.0, 0.01)), (Kind::Plane, flat(0.05, 0.05))];
    let found = fit_group(&members(&sets), Relation::Coplanar, &plain()).expect("planes");
    assert!(found.cost.probability.expect("p") < 1e-9, "{:?}", found.cost);
    // The sharper plane pulls 25 times harder: the common plane is 0.05 / 26 above it.
    let middle = Point3::new(15.0, 15.0, 0.0);
    let height = -found.members[0].shape.distance(&middle)
        * found.members[0].shape.direction().expect("n").z.signum();
    assert!((height.abs() - 0.05 / 26.0).abs() < 0.002, "{height}");
}

#[test]
fn groups_that_make_no_sense_are_refused() {
    let mut n = Random::new(1);
    let shaft = ring(&mut n, 100, 5.0, 300.0, 0.0, 30.0);
    let two = |a, b| [(a, shaft.clone()), (b, shaft.clone())];
    let name =
        |sets: &[Set], relation, request: &_| match fit_group(&members(sets), relation, request) {
            Err(Error::Argument { name, .. }) => name,
            other => panic!("{other:?}"),
        };
    let pair = two(Kind::Cylinder, Kind::Cylinder);
    assert_eq!(name(&pair[..1], Relation::Coaxial, &plain()), "members of the group");
    assert_eq!(name(&pair, Relation::Coplanar, &plain()), "member 1 of the group");
    let mixed = two(Kind::Cylinder, Kind::Sphere);
    assert_eq!(name(&mixed, Relation::Parallel, &plain()), "member 2 of the group");
    let three = [pair[0].clone(), pair[1].clone(), pair[0].clone()];
    assert_eq!(name(&three, Relation::Perpendicular, &plain()), "members of the group");
    let held = request(vec![Constraint::Parallel(z())]);
    assert_eq!(name(&pair, Relation::Coaxial, &held), "request of a group");
}
