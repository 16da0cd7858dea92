//! Finding the shape and the outliers with something known of it, where a free search has no chance.

use fitwright::associate::{Constraint, Fit, Request};
use fitwright::primitive::{Direction, Point3, Primitive, Vec3};
use fitwright::simulate::random::Random;

use crate::common::{fit, scanned};

const NOISE: f64 = 0.01;

/// A scan of an arc with some share of its points anywhere in the box round it.
fn dirty(kind: &str, degrees: f64, share: f64, seed: u64) -> (Vec<Point3>, Vec<bool>) {
    let mut numbers = Random::new(seed);
    let clean: Vec<Point3> =
        (0..600).map(|_| scanned(kind, &mut numbers, NOISE, degrees.to_radians()).0).collect();
    let (mut low, mut high) = (clean[0], clean[0]);
    for p in &clean {
        (low, high) = (low.inf(p), high.sup(p));
    }
    // Room to both sides of the arc, or the outliers would lie on it.
    let room = Vec3::repeat(1.0);
    let (low, size) = (low - room, high - low + room * 2.0);
    let mut anywhere = || low + size.component_mul(&Vec3::from_fn(|_, _| numbers.uniform()));
    let mut points = clean;
    let mut bad = vec![false; points.len()];
    for i in 0..(points.len() as f64 * share) as usize {
        points[i] = anywhere();
        bad[i] = true;
    }
    (points, bad)
}

fn with(constraints: Vec<Constraint>) -> Request {
    let mut request = Request::default();
    request.constraints = constraints;
    request
}

/// The fit of the good points alone, as an oracle would have them.
fn oracle(kind: &str, points: &[Point3], bad: &[bool], request: &Request) -> Fit<Primitive> {
    let good: Vec<Point3> =
        points.iter().zip(bad).filter(|(_, bad)| !**bad).map(|(p, _)| *p).collect();
    let mut request = request.clone();
    request.reject_outliers = false;
    fit(kind, &good, &request).unwrap_or_else(|e| panic!("{kind}: {e}"))
}

fn z() -> Direction {
    Direction::new_unchecked(Vec3::z())
}

/// Ten and twenty degrees of arc with 30 % outliers: within four standard deviations of the fit of
/// the good points, and near the truth.
#[test]
fn short_arcs_among_outliers() {
    let radius = Constraint::Radius(5.0);
    for (kind, constraints) in [
        ("cylinder", vec![radius]),
        ("cylinder", vec![radius, Constraint::Parallel(z())]),
        ("cylinder", vec![radius, Constraint::Perpendicular(Direction::new_unchecked(Vec3::x()))]),
        ("cylinder", vec![radius, Constraint::Through(Point3::new(0.0, 0.0, 40.0))]),
        ("cylinder", vec![Constraint::Parallel(z()), Constraint::Through(Point3::origin())]),
        ("circle", vec![radius, Constraint::Parallel(z())]),
        ("circle", vec![Constraint::Through(Point3::origin())]),
        ("sphere", vec![radius]),
        ("sphere", vec![Constraint::Through(Point3::origin())]),
    ] {
        for degrees in [10.0, 20.0] {
            // A sphere scanned over an arc is a lune from pole to pole.
            for seed in 0..4 {
                let (points, bad) = dirty(kind, degrees, 0.3, seed);
                let request = with(constraints.clone());
                let label = format!("{kind} {constraints:?}, {degrees} degrees, seed {seed}");
                let found = fit(kind, &points, &request).unwrap_or_else(|e| panic!("{label}: {e}"));
                let best = oracle(kind, &points, &bad, &request);
                let (a, b) = (found.shape.point(), best.shape.point());
                let deviation = best.covariance.deviation_at(&a);
                let apart = match (&found.shape, &best.shape) {
                    (Primitive::Cylinder(s), _) => s.axis_line().distance(&b),
                    _ => (a - b).norm(),
                };
                assert!(apart < 4.0 * deviation + 1e-12, "{label}: {apart} of {deviation}");
                let kept = found.quality.points as f64 / points.len() as f64;
                assert!((0.69..0.75).contains(&kept), "{label}: kept {kept}");
            }
        }
    }
}

/// Planes and lines that something is known of, among 40 % outliers.
#[test]
fn planes_and_lines_among_outliers() {
    for (kind, constraints) in [
        ("plane", vec![Constraint::Parallel(z())]),
        ("plane", vec![Constraint::Perpendicular(Direction::new_unchecked(Vec3::y()))]),
        ("plane", vec![Constraint::Through(Point3::new(30.0, -8.0, 0.0))]),
        ("line", vec![Constraint::Parallel(z())]),
        ("line", vec![Constraint::Through(Point3::new(0.0, 0.0, 25.0))]),
        ("cone", vec![Constraint::HalfAngle(0.3)]),
        ("cone", vec![Constraint::Parallel(z()), Constraint::Through(Point3::origin())]),
        ("torus", vec![Constraint::MinorRadius(3.0)]),
        ("torus", vec![Constraint::Parallel(z()), Constraint::MajorRadius(8.0)]),
    ] {
        let (points, bad) = dirty(kind, 200.0, 0.4, 5);
        let request = with(constraints.clone());
        let label = format!("{kind} {constraints:?}");
        let found = fit(kind, &points, &request).unwrap_or_else(|e| panic!("{label}: {e}"));
        let best = oracle(kind, &points, &bad, &request);
        let sigma = best.quality.sigma;
        assert!((found.quality.sigma / sigma - 1.0).abs() < 0.2, "{label}: {:?}", found.quality);
        for (p, bad) in points.iter().zip(&bad).step_by(7) {
            let apart = found.shape.distance(p) - best.shape.distance(p);
            assert!(*bad || apart.abs() < sigma, "{label}: {apart} at {p}");
        }
    }
}

/// The same answer to the bit for one thread and three.
#[test]
fn threads_change_nothing() {
    let (points, _) = dirty("cylinder", 20.0, 0.3, 9);
    let shape = |threads: usize| {
        let mut request = with(vec![Constraint::Radius(5.0)]);
        request.context = Some(fitwright::Context::new(threads).expect("threads"));
        let found = fit("cylinder", &points, &request).expect("cylinder");
        (found.shape, found.covariance, found.cost)
    };
    assert_eq!(shape(1), shape(3));
}
