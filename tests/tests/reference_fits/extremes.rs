//! Minimum zone, inscribed and circumscribed shapes against every choice of points tried one by one,
//! and the laws that such fits obey.

use fitwright::associate::{Constraint, Criterion, Fit, Input, Request};
use fitwright::primitive::{Circle, Plane, Point3, Pose, Primitive, Sphere, Vec3};
use fitwright::simulate::random::Random;
use fitwright::{Context, Error};
use nalgebra::{Matrix2, Vector2};

use crate::common::{KINDS, compare, fit, plain, scan, scanned};
use crate::minimax::{by, proven};

const ZONE: Criterion = Criterion::MinimumZone;
const INSIDE: Criterion = Criterion::MaximumInscribed;
const OUTSIDE: Criterion = Criterion::MinimumCircumscribed;

/// Every kind with every criterion it has.
fn all() -> Vec<(&'static str, Criterion)> {
    let zones = KINDS.map(|k| (k, ZONE));
    let round = ["circle", "sphere", "cylinder"].into_iter();
    zones.into_iter().chain(round.flat_map(|k| [(k, INSIDE), (k, OUTSIDE)])).collect()
}

fn found(kind: &str, points: &[Point3], criterion: Criterion) -> Fit<Primitive> {
    fit(kind, points, &by(criterion)).unwrap_or_else(|e| panic!("{kind} {criterion:?}: {e}"))
}

/// Points of a flat ring of radius 5 with form error.
fn ring(count: usize, form: f64, seed: u64) -> Vec<Point3> {
    let mut numbers = Random::new(seed);
    let mut point = || {
        let mut p = scanned("circle", &mut numbers, form, std::f64::consts::TAU).0;
        p.z = 0.0;
        p
    };
    (0..count).map(|_| point()).collect()
}

/// Subsets of `size` of `0..count`.
fn subsets(count: usize, size: usize) -> Vec<Vec<usize>> {
    if size == 0 {
        return vec![vec![]];
    }
    let mut out = Vec::new();
    for rest in subsets(count, size - 1) {
        let from = rest.last().map_or(0, |l| l + 1);
        out.extend((from..count).map(|i| rest.iter().copied().chain([i]).collect()));
    }
    out
}

/// Centre of the smallest sphere with all the given points (at most four) on it.
fn through(points: &[Point3]) -> Option<Point3> {
    let a = points[0];
    let edges: Vec<Vec3> = points[1..].iter().map(|p| p - a).collect();
    let k = edges.len();
    let gram = nalgebra::DMatrix::from_fn(k, k, |i, j| 2.0 * edges[i].dot(&edges[j]));
    let rhs = nalgebra::DVector::from_fn(k, |i, _| edges[i].norm_squared());
    let part = gram.lu().solve(&rhs)?;
    Some(a + edges.iter().zip(part.iter()).map(|(e, w)| e * *w).sum::<Vec3>())
}

/// The smallest sphere that holds all points is the smallest, through two to four of them, that does.
#[test]
fn circumscribed_circle_and_sphere_as_by_trying_all() {
    for (kind, most) in [("circle", 3), ("sphere", 4)] {
        for seed in 0..20 {
            let points =
                if kind == "circle" { ring(14, 0.3, seed) } else { scan(kind, 14, 0.3, seed) };
            let mut best = (f64::INFINITY, Point3::origin());
            for size in 2..=most {
                for subset in subsets(points.len(), size) {
                    let chosen: Vec<_> = subset.iter().map(|&i| points[i]).collect();
                    let Some(centre) = through(&chosen) else { continue };
                    let radius = (centre - chosen[0]).norm();
                    let holds = points.iter().all(|p| (p - centre).norm() <= radius + 1e-12);
                    if holds && radius < best.0 {
                        best = (radius, centre);
                    }
                }
            }
            let (centre, radius) = match fit(kind, &points, &by(OUTSIDE)) {
                Ok(found) => round(&found.shape),
                // Refused only where a plane through the centre has all points on one side.
                Err(Error::Undetermined { .. }) => continue,
                Err(e) => panic!("{kind} {seed}: {e}"),
            };
            assert!((radius - best.0).abs() < 1e-12, "{kind} {seed}: {radius} {}", best.0);
            assert!((centre - best.1).norm() < 1e-7, "{kind} {seed}");
        }
    }
}

fn round(shape: &Primitive) -> (Point3, f64) {
    match shape {
        Primitive::Circle(Circle { centre, radius, .. })
        | Primitive::Sphere(Sphere { centre, radius }) => (*centre, *radius),
        other => panic!("{other:?} has no centre"),
    }
}

/// The largest empty circle that its points hold all round: all triples tried, as the vertices of
/// the Voronoi diagram are.
#[test]
fn inscribed_circle_as_by_trying_all_triples() {
    for seed in 0..20 {
        let points = ring(24, 0.2, 100 + seed);
        let mut best = (0.0, Point3::origin());
        for subset in subsets(points.len(), 3) {
            let chosen: Vec<_> = subset.iter().map(|&i| points[i]).collect();
            let Some(centre) = through(&chosen) else { continue };
            let radius = (centre - chosen[0]).norm();
            let empty = points.iter().all(|p| (p - centre).norm() >= radius - 1e-12);
            let side = |a: usize, b: usize| (chosen[a] - centre).cross(&(chosen[b] - centre)).z;
            let sides = [side(0, 1), side(1, 2), side(2, 0)];
            let held = sides.iter().all(|s| *s > 0.0) || sides.iter().all(|s| *s < 0.0);
            if empty && held && radius > best.0 {
                best = (radius, centre);
            }
        }
        let (centre, radius) = round(&found("circle", &points, INSIDE).shape);
        assert!((radius - best.0).abs() < 1e-12, "{seed}: {radius} {}", best.0);
        assert!((centre - best.1).norm() < 1e-11, "{seed}");
    }
}

/// Two outer and two inner points, or one and three, decide the ring zone: all tried.
#[test]
fn circle_zone_as_by_trying_all_fours() {
    for seed in 0..10 {
        let points = ring(13, 0.1, 200 + seed);
        let mut best = f64::INFINITY;
        let mut try_centre = |centre: Point3| {
            let d = points.iter().map(|p| (p - centre).norm());
            let (low, high) = d.fold((f64::INFINITY, 0.0f64), |(l, h), d| (l.min(d), h.max(d)));
            best = best.min(high - low);
        };
        for s in subsets(points.len(), 4) {
            for [a, b, c, d] in
                [[0, 1, 2, 3], [0, 2, 1, 3], [0, 3, 1, 2]].map(|o| o.map(|k| points[s[k]]))
            {
                let (u, v) = ((b - a).xy(), (d - c).xy());
                let middle = |p: Point3, q: Point3| 0.5 * (p.coords + q.coords).xy();
                let rhs = Vector2::new(u.dot(&middle(a, b)), v.dot(&middle(c, d)));
                let rows = Matrix2::from_rows(&[u.transpose(), v.transpose()]);
                if let Some(x) = rows.lu().solve(&rhs) {
                    try_centre(Point3::new(x.x, x.y, 0.0));
                }
            }
        }
        for s in subsets(points.len(), 3) {
            if let Some(centre) = through(&[points[s[0]], points[s[1]], points[s[2]]]) {
                try_centre(centre);
            }
        }
        let zone = found("circle", &points, ZONE).quality.zone;
        assert!((zone - best).abs() < 1e-12, "{seed}: {zone} {best}");
    }
}

/// Three points on one side and one on the other, or two edges, decide the plane's zone: all tried.
#[test]
fn plane_zone_as_by_trying_all() {
    for seed in 0..10 {
        let points = scan("plane", 14, 0.5, 300 + seed);
        let mut best = f64::INFINITY;
        let mut try_normal = |n: Vec3| {
            if n.norm() > 1e-9 {
                let d = points.iter().map(|p| p.coords.dot(&n.normalize()));
                let (low, high) =
                    d.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), d| (l.min(d), h.max(d)));
                best = best.min(high - low);
            }
        };
        for s in subsets(points.len(), 3) {
            let [a, b, c] = [points[s[0]], points[s[1]], points[s[2]]];
            try_normal((b - a).cross(&(c - a)));
        }
        for s in subsets(points.len(), 4) {
            let [a, b, c, d] = [0, 1, 2, 3].map(|k| points[s[k]]);
            for (u, v) in [(b - a, d - c), (c - a, d - b), (d - a, c - b)] {
                try_normal(u.cross(&v));
            }
        }
        let zone = found("plane", &points, ZONE).quality.zone;
        assert!((zone - best).abs() < 1e-12, "{seed}: {zone} {best}");
    }
}

/// On scans of many points every other point is within, and the deciding ones prove the optimum.
#[test]
fn large_scans_are_proven() {
    for (kind, criterion) in all() {
        if kind == "circle" {
            continue;
        }
        for (count, seed) in [(60, 1), (700, 2), (40_000, 3)] {
            let points = scan(kind, count, 0.02, seed);
            let found = found(kind, &points, criterion);
            proven(&found, &points, criterion, 1e-12);
            assert!(found.contacts.is_sorted() && found.quality.converged, "{kind}");
        }
    }
}

#[test]
fn no_other_start_finds_a_smaller_zone_nor_a_larger_pin() {
    for kind in ["circle", "sphere", "cylinder"] {
        for seed in 0..5 {
            let points = scan(kind, 200, 0.02, 400 + seed);
            let least = fit(kind, &points, &plain()).expect(kind);
            let size = |f: &Fit<Primitive>| match &f.shape {
                Primitive::Cylinder(c) => c.radius,
                other => round(other).1,
            };
            let (zone, inside, outside) = (
                found(kind, &points, ZONE),
                found(kind, &points, INSIDE),
                found(kind, &points, OUTSIDE),
            );
            let gaussian = least.quality.zone;
            if kind != "circle" {
                assert!(zone.quality.zone <= gaussian && zone.quality.rms >= least.quality.rms);
            }
            assert!(size(&inside) < size(&least) && size(&least) < size(&outside), "{kind}");
            for other in [&inside, &outside] {
                assert!(other.quality.zone >= zone.quality.zone, "{kind} {seed}");
            }
        }
    }
}

#[test]
fn motion_scale_and_order_carry_the_answer() {
    let pose = Pose::new(Vec3::new(120.0, -40.0, 77.0), Vec3::new(0.7, -1.1, 0.4));
    for (kind, criterion) in all() {
        let points = scan(kind, 300, 0.02, 1);
        let a = found(kind, &points, criterion);
        let moved: Vec<_> = points.iter().map(|p| pose * p).collect();
        let b = found(kind, &moved, criterion);
        let difference = compare(&b.shape, &a.shape.transformed(&pose));
        assert!(difference.length < 1e-11 && difference.angle < 1e-11, "{kind}: {difference:?}");
        assert_eq!(a.contacts, b.contacts, "{kind} {criterion:?}");
        let carried = a.covariance.transformed(&pose).matrix;
        assert!((carried - b.covariance.matrix).amax() < 1e-6 * carried.amax(), "{kind}");

        let large: Vec<_> = points.iter().map(|p| p * 1000.0).collect();
        let c = found(kind, &large, criterion);
        assert_eq!(a.contacts, c.contacts, "{kind} {criterion:?}");
        assert!((c.quality.zone / 1000.0 - a.quality.zone).abs() < 1e-12, "{kind}");

        let turned: Vec<_> = points.iter().rev().copied().collect();
        let d = found(kind, &turned, criterion);
        let difference = compare(&d.shape, &a.shape);
        assert!(difference.length < 1e-12 && difference.angle < 1e-12, "{kind}: {difference:?}");
        let back: Vec<u32> = d.contacts.iter().rev().map(|c| 299 - c).collect();
        assert_eq!(a.contacts, back, "{kind} {criterion:?}");
    }
}

#[test]
fn every_thread_count_gives_the_same_bits() {
    for (kind, criterion) in all() {
        let points = scan(kind, 30_000, 0.02, 4);
        let mut answers = Vec::new();
        for threads in [1, 2, 8] {
            let mut request = by(criterion);
            request.context = Some(Context::new(threads).expect("context"));
            let found = fit(kind, &points, &request).expect(kind);
            answers.push((found.shape, found.covariance, found.quality, found.contacts));
        }
        assert_eq!(answers[0], answers[1], "{kind}");
        assert_eq!(answers[0], answers[2], "{kind}");
    }
}

/// Gross outliers are left out first; the criterion is that of the others alone.
#[test]
fn outliers_do_not_decide() {
    for (kind, criterion) in all() {
        let mut points = scan(kind, 400, 0.01, 6);
        for k in 0..20 {
            points.insert(19 * k, Point3::new(1.0 + 0.3 * k as f64, 2.0, 3.0 - 0.1 * k as f64));
        }
        let mut request = Request::default();
        request.criterion = criterion;
        let robust = fit(kind, &points, &request).expect(kind);
        assert!(robust.rejected.len() >= 15, "{kind}: {}", robust.rejected.len());
        assert!(robust.contacts.iter().all(|c| !robust.rejected.contains(c)), "{kind}");
        let kept =
            points.iter().enumerate().filter(|(i, _)| !robust.rejected.contains(&(*i as u32)));
        let kept: Vec<_> = kept.map(|(_, p)| *p).collect();
        let alone = found(kind, &kept, criterion);
        let difference = compare(&robust.shape, &alone.shape);
        assert!(difference.length < 1e-11 && difference.angle < 1e-11, "{kind}: {difference:?}");
        let place = |f: &Fit<Primitive>, all: &[Point3]| -> Vec<Point3> {
            f.contacts.iter().map(|&c| all[c as usize]).collect()
        };
        assert_eq!(place(&robust, &points), place(&alone, &kept), "{kind}");
        assert_eq!(place(&robust, &points), robust.quality.contacts, "{kind}");
    }
}

/// The stated covariance is what happens when the deciding points move: each moved by a little along each
/// axis and fitted again.
#[test]
fn covariance_is_that_of_the_deciding_points() {
    for (kind, criterion) in
        [("sphere", ZONE), ("sphere", INSIDE), ("sphere", OUTSIDE), ("circle", OUTSIDE)]
    {
        let points = if kind == "circle" { ring(60, 0.1, 8) } else { scan(kind, 60, 0.1, 8) };
        let base = found(kind, &points, criterion);
        let (centre, radius) = round(&base.shape);
        let h = 1e-6;
        let mut variance = [0.0; 3];
        for &contact in &base.contacts {
            for axis in [Vec3::x(), Vec3::y(), Vec3::z()] {
                let mut moved = points.clone();
                moved[contact as usize] += axis * h;
                if kind == "circle" && axis.z != 0.0 {
                    continue;
                }
                let (c, r) = round(&found(kind, &moved, criterion).shape);
                let change = [(c - centre).x / h, (c - centre).y / h, (r - radius) / h];
                variance.iter_mut().zip(change).for_each(|(v, c)| *v += c * c);
            }
        }
        let sigma = base.quality.sigma;
        let stated = [(0, 0), (1, 1), (6, 6)].map(|ij| base.covariance.matrix[ij]);
        for (stated, expected) in stated.iter().zip(variance.map(|v| v * sigma * sigma)) {
            assert!(
                (stated / expected - 1.0).abs() < 1e-3,
                "{kind} {criterion:?}: {stated} {expected}"
            );
        }
    }
}

fn code(kind: &str, points: &[Point3], criterion: Criterion) -> Option<i32> {
    fit(kind, points, &by(criterion)).err().map(|e| e.code())
}

#[test]
fn what_cannot_be_answered_is_refused() {
    let undetermined = |e: Option<Error>| matches!(e, Some(Error::Undetermined { .. }));
    for kind in ["plane", "line", "cone", "torus"] {
        for criterion in [INSIDE, OUTSIDE] {
            let error =
                fit(kind, &scan(kind, 100, 0.02, 5), &by(criterion)).err().map(|e| e.to_string());
            let error = error.expect("refused");
            assert!(error.contains(kind) && error.contains("minimum-zone"), "{error}");
        }
    }
    for (kind, criterion) in all() {
        let mut points = scan(kind, 50, 0.02, 5);
        assert!(matches!(
            fit(kind, &points[..1], &by(criterion)).err(),
            Some(Error::TooFewPoints { .. })
        ));
        let mut request = by(criterion);
        request.constraints = vec![Constraint::Through(Point3::origin())];
        let held = fit(kind, &points, &request).err().map(|e| e.to_string());
        assert!(held.is_some_and(|e| e.contains("constraints")), "{kind}");
        points[7].y = f64::NAN;
        assert_eq!(code(kind, &points, criterion), Some(100), "{kind}");
    }
    let flat = scan("plane", 100, 0.0, 1);
    for criterion in [ZONE, INSIDE, OUTSIDE] {
        assert!(undetermined(fit("sphere", &flat, &by(criterion)).err()));
        assert!(fit("cylinder", &flat, &by(criterion)).is_err());
    }
    // Less than half a turn holds no pin and no ring.
    for kind in ["circle", "cylinder"] {
        let mut numbers = Random::new(3);
        let arc: Vec<_> = (0..200).map(|_| scanned(kind, &mut numbers, 0.01, 2.5).0).collect();
        assert!(undetermined(fit(kind, &arc, &by(INSIDE)).err()), "{kind}");
        assert!(undetermined(fit(kind, &arc, &by(OUTSIDE)).err()), "{kind}");
        assert!(fit(kind, &arc, &by(ZONE)).is_ok(), "{kind}");
    }
    let cap: Vec<_> = scan("sphere", 400, 0.01, 3).into_iter().filter(|p| p.z > 1.0).collect();
    assert!(undetermined(fit("sphere", &cap, &by(INSIDE)).err()));
}

/// Perfect points, each twice, and symmetrical ones of which more touch than are needed.
#[test]
fn degenerate_contacts_are_answered_without_nan() {
    for (kind, criterion) in all() {
        let mut points = scan(kind, 100, 0.0, 5);
        points.extend(points.clone());
        let perfect = found(kind, &points, criterion);
        assert!(perfect.quality.zone < 1e-12, "{kind} {criterion:?}: {}", perfect.quality.zone);
        assert!(perfect.covariance.matrix.iter().all(|x| x.is_finite()), "{kind}");
        assert!(!perfect.contacts.is_empty() && perfect.contacts.len() <= 8, "{kind}");
    }
    // Corners of a cube and the middles of its faces: all corners touch outside, all middles inside.
    let corner =
        |i: usize| Point3::from([0, 1, 2].map(|k| if i >> k & 1 == 1 { 1.0 } else { -1.0 }));
    let middle =
        |i: usize| Point3::from(Vec3::ith(i / 2, if i.is_multiple_of(2) { 1.6 } else { -1.6 }));
    let cube: Vec<_> = (0..8).map(corner).chain((0..6).map(middle)).collect();
    for (criterion, radius) in
        [(OUTSIDE, 3f64.sqrt()), (INSIDE, 1.6), (ZONE, 0.5 * (3f64.sqrt() + 1.6))]
    {
        let found = found("sphere", &cube, criterion);
        let (centre, r) = round(&found.shape);
        assert!(
            centre.coords.norm() < 1e-12 && (r - radius).abs() < 1e-12,
            "{criterion:?}: {centre} {r}"
        );
        assert!(found.covariance.matrix.iter().all(|x| x.is_finite()));
    }
    // A square plate bent up at two opposite corners.
    let plate =
        [[0.0, 0.0, 1.0], [9.0, 0.0, 0.0], [9.0, 9.0, 1.0], [0.0, 9.0, 0.0]].map(Point3::from);
    let bent = Plane::fit_points(&Input::new(&plate), &by(ZONE)).expect("plane");
    assert!((bent.quality.zone - 1.0).abs() < 1e-12, "{}", bent.quality.zone);
    assert!((bent.shape.normal.into_inner() - Vec3::z()).norm() < 1e-12);
}
