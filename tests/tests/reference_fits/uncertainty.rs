//! Predicted standard deviations against the scatter of many simulated fits (white noise).

use fitwright::associate::{Fit, Input, NoiseModel};
use fitwright::primitive::{Direction, Point3, Primitive, Vec3};
use fitwright::simulate::random::Random;

use crate::common::{fit, fitter, plain, scan, scanned};

const RUNS: usize = 200;
const NOISE: f64 = 0.02;

/// Ratio of actual to predicted variance of some quantities, mean over the runs.
fn ratios<const Q: usize>(
    kind: &str,
    degrees: f64,
    count: usize,
    quantities: impl Fn(&Fit<Primitive>) -> [(f64, f64); Q],
) -> [f64; Q] {
    let mut numbers = Random::new(degrees.to_bits());
    let mut sums = [0.0; Q];
    for _ in 0..RUNS {
        let point = |_| scanned(kind, &mut numbers, NOISE, degrees.to_radians()).0;
        let points: Vec<_> = (0..count).map(point).collect();
        let found = fit(kind, &points, &plain()).expect(kind);
        for (sum, (error, deviation)) in sums.iter_mut().zip(quantities(&found)) {
            *sum += (error / deviation).powi(2) / RUNS as f64;
        }
    }
    sums
}

/// Sampling error of a variance from 200 runs is 10 %; 3.5 of it are allowed.
fn assert_calibrated(label: &str, ratios: &[f64]) {
    for ratio in ratios {
        assert!((ratio - 1.0).abs() < 3.5 * (2.0 / RUNS as f64).sqrt(), "{label}: {ratios:?}");
    }
}

fn x() -> Direction {
    Direction::new_unchecked(Vec3::x())
}

#[test]
fn cylinder() {
    for degrees in [360.0, 90.0] {
        let found = ratios("cylinder", degrees, 200, |f| {
            let Primitive::Cylinder(s) = &f.shape else { panic!("{f:?}") };
            let place = f.covariance.variance_along(&s.point, &x()).sqrt();
            let tilt = f.covariance.rotation()[(0, 0)].sqrt();
            [
                (s.radius - 5.0, f.covariance.size(0)),
                (s.point.x - s.point.z * s.axis.x / s.axis.z, place),
                (s.axis.y, tilt),
            ]
        });
        assert_calibrated(&format!("cylinder {degrees}"), &found);
    }
}

#[test]
fn sphere_circle_cone_and_torus_sizes() {
    for degrees in [360.0, 90.0] {
        for kind in ["sphere", "circle", "cone", "torus"] {
            let found = ratios(kind, degrees, 200, |f| {
                let at_truth = |k: usize| match (&f.shape, k) {
                    (Primitive::Sphere(s), _) => s.radius - 5.0,
                    (Primitive::Circle(s), _) => s.radius - 5.0,
                    (Primitive::Cone(s), _) => s.half_angle - 0.3,
                    (Primitive::Torus(s), 0) => s.major_radius - 8.0,
                    (Primitive::Torus(s), _) => s.minor_radius - 3.0,
                    (other, _) => panic!("{other:?}"),
                };
                let second = usize::from(matches!(kind, "cone" | "torus"));
                let first = usize::from(kind == "cone");
                [
                    (at_truth(first), f.covariance.size(first)),
                    (at_truth(second), f.covariance.size(second)),
                ]
            });
            assert_calibrated(&format!("{kind} {degrees}"), &found);
        }
    }
}

#[test]
fn plane_and_line() {
    let up = Direction::new_unchecked(Vec3::z());
    let far = Point3::new(40.0, -10.0, 0.0);
    let plane = ratios("plane", 360.0, 100, |f| {
        let Primitive::Plane(s) = &f.shape else { panic!("{f:?}") };
        // Height of the plane over a far point: sharp in the middle, poor out here.
        let height = -s.distance(&far) / s.normal.z;
        [
            (height, f.covariance.variance_along(&far, &up).sqrt()),
            (s.normal.x, f.covariance.rotation()[(1, 1)].sqrt()),
        ]
    });
    assert_calibrated("plane", &plane);
    let line = ratios("line", 360.0, 100, |f| {
        let Primitive::Line(s) = &f.shape else { panic!("{f:?}") };
        let foot = s.project(&Point3::new(0.0, 0.0, 50.0));
        let place = f.covariance.variance_along(&foot, &x()).sqrt();
        [(foot.x, place), (s.direction.y, f.covariance.rotation()[(0, 0)].sqrt())]
    });
    assert_calibrated("line", &line);
}

/// Dense circle: standard deviation of the radius is k σ / √N with k from the Cramér-Rao bound by arc
/// (full 1.00, 90 degrees 10.3; closed form of the information matrix).
#[test]
fn circle_deviation_is_the_bound() {
    for (degrees, k) in [(360.0f64, 1.0), (180.0, 2.30), (90.0, 10.3)] {
        let mut numbers = Random::new(77);
        let (count, centre) = (20_000, Point3::origin());
        let points: Vec<_> = (0..count)
            .map(|_| scanned("circle", &mut numbers, NOISE, degrees.to_radians()).0)
            .collect();
        // Nothing to be found out of the noise: what is left is the data's own bound.
        let white = NoiseModel::independent();
        let mut input = Input::new(&points);
        input.noise_model = Some(&white);
        let found = fitter("circle").fit(&input, &plain()).expect("circle");
        let bound = k * NOISE / (count as f64).sqrt();
        let ratio = found.covariance.size(0) / bound;
        assert!((ratio - 1.0).abs() < 0.03, "{degrees}: {ratio}");
        assert!((found.quality.sigma / NOISE - 1.0).abs() < 0.02);
        assert!((found.quality.arc.to_degrees() - degrees).abs() < 0.5);
        let radius = 4.0 * found.covariance.size(0);
        let Primitive::Circle(s) = &found.shape else { panic!("a circle") };
        assert!((s.radius - 5.0).abs() < radius);
        assert!(s.centre.coords.norm() < 4.0 * found.covariance.deviation_at(&centre));
    }
}

/// The shape stands at the foot of the data's middle, its direction has its sign by rule.
#[test]
fn place_and_sign_follow_the_rules() {
    let mut numbers = Random::new(5);
    let raised: Vec<_> = (0..500)
        .map(|_| scanned("cone", &mut numbers, 0.01, 6.0).0 + Vec3::new(0.0, 0.0, 100.0))
        .collect();
    let middle = raised.iter().map(|p| p.coords).sum::<Vec3>() / 500.0;
    let Primitive::Cone(cone) = fit("cone", &raised, &plain()).expect("cone").shape else {
        panic!("a cone")
    };
    assert!(cone.axis.dot(&(middle - cone.point.coords)).abs() < 1e-9);
    assert!(cone.axis.z > 0.99 && cone.half_angle > 0.0);
    let flipped: Vec<_> = raised.iter().map(|p| Point3::new(p.x, p.y, -p.z)).collect();
    let Primitive::Cone(cone) = fit("cone", &flipped, &plain()).expect("cone").shape else {
        panic!("a cone")
    };
    assert!(cone.axis.z < -0.99);
    let flat = scan("plane", 100, 0.01, 3);
    let down = vec![-Vec3::z(); 100];
    let mut input = Input::new(&flat);
    input.normals = Some(&down);
    let found = fitter("plane").fit(&input, &plain()).expect("plane");
    assert!(found.shape.direction().expect("normal").z < -0.99);
    let axis = fit("cylinder", &scan("cylinder", 100, 0.01, 3), &plain());
    assert!(axis.expect("cylinder").shape.direction().expect("axis").z > 0.99);
}
