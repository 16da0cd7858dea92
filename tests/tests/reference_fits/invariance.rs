//! The same data moved, scaled, reordered or fitted with other threads give the same answer.

use fitwright::Context;
use fitwright::associate::{Criterion, Request};
use fitwright::primitive::{Pose, Primitive, Vec3};
use fitwright::simulate::random::Random;

use crate::common::{KINDS, compare, fit, plain, scan};

#[test]
fn rigid_motion_moves_the_answer() {
    for kind in KINDS {
        let points = scan(kind, 300, 0.02, 1);
        let pose = Pose::new(Vec3::new(120.0, -40.0, 77.0), Vec3::new(0.7, -1.1, 0.4));
        let moved: Vec<_> = points.iter().map(|p| pose * p).collect();
        let (a, b) = (fit(kind, &points, &plain()), fit(kind, &moved, &plain()));
        let (a, b) = (a.expect(kind), b.expect(kind));
        let difference = compare(&b.shape, &a.shape.transformed(&pose));
        assert!(difference.length < 1e-11 && difference.angle < 1e-11, "{kind}: {difference:?}");
        assert!((b.shape.point() - pose * a.shape.point()).norm() < 1e-10, "{kind}");
        let carried = a.covariance.transformed(&pose).matrix;
        let largest = carried.amax();
        assert!((carried - b.covariance.matrix).amax() < 1e-8 * largest, "{kind}");
        assert!((a.quality.extent - b.quality.extent).abs() < 1e-9, "{kind}");
        assert!((a.quality.zone - b.quality.zone).abs() < 1e-11, "{kind}");
    }
}

#[test]
fn scale_scales_the_answer() {
    for kind in KINDS {
        let points = scan(kind, 300, 0.02, 2);
        for factor in [1e-4, 25.4, 1e5] {
            let scaled: Vec<_> = points.iter().map(|p| p * factor).collect();
            let (a, b) = (fit(kind, &points, &plain()), fit(kind, &scaled, &plain()));
            let (a, b) = (a.expect(kind), b.expect(kind));
            assert!((b.quality.sigma / factor / a.quality.sigma - 1.0).abs() < 1e-9, "{kind}");
            let back: Vec<_> = scaled.iter().map(|p| p / factor).collect();
            let again = fit(kind, &back, &plain()).expect(kind);
            let difference = compare(&again.shape, &a.shape);
            assert!(difference.length < 1e-11 && difference.angle < 1e-11, "{kind}");
            for (old, new) in sizes(&a.shape).iter().zip(sizes(&b.shape)) {
                assert!((new / factor - old).abs() < 1e-10, "{kind}: {old} {new} {factor}");
            }
        }
    }
}

fn sizes(shape: &Primitive) -> Vec<f64> {
    match shape {
        Primitive::Circle(s) => vec![s.radius],
        Primitive::Sphere(s) => vec![s.radius],
        Primitive::Cylinder(s) => vec![s.radius],
        Primitive::Cone(s) => vec![s.radius],
        Primitive::Torus(s) => vec![s.major_radius, s.minor_radius],
        Primitive::Plane(_) | Primitive::Line(_) | Primitive::Composite(_) => vec![],
    }
}

#[test]
fn order_does_not_matter() {
    for kind in KINDS {
        let points = scan(kind, 5000, 0.02, 3);
        let mut other = points.clone();
        let mut numbers = Random::new(9);
        for i in (1..other.len()).rev() {
            other.swap(i, (numbers.uniform() * (i + 1) as f64) as usize);
        }
        let (a, b) = (fit(kind, &points, &plain()), fit(kind, &other, &plain()));
        let difference = compare(&b.expect(kind).shape, &a.expect(kind).shape);
        assert!(difference.length < 1e-12 && difference.angle < 1e-12, "{kind}: {difference:?}");
    }
}

#[test]
fn every_thread_count_gives_the_same_bits() {
    for kind in KINDS {
        let mut points = scan(kind, 30_000, 0.02, 4);
        for (i, p) in points.iter_mut().enumerate().filter(|(i, _)| i % 9 == 0) {
            *p += Vec3::new(0.01, 0.02, 0.03) * (i % 700) as f64;
        }
        let mut answers = Vec::new();
        for threads in [1, 2, 8] {
            let mut request = Request::default();
            request.context = Some(Context::new(threads).expect("context"));
            let found = fit(kind, &points, &request).expect(kind);
            answers.push((found.shape, found.covariance, found.quality, found.rejected));
        }
        assert!(!answers[0].3.is_empty(), "{kind}");
        assert_eq!(answers[0], answers[1], "{kind}");
        assert_eq!(answers[0], answers[2], "{kind}");
    }
}

#[test]
fn a_cancelled_context_stops_the_fit() {
    let context = Context::new(1).expect("context");
    context.cancel();
    let mut request = Request::default();
    request.context = Some(context);
    let found = fit("cylinder", &scan("cylinder", 100, 0.02, 5), &request);
    assert_eq!(found.err(), Some(fitwright::Error::Cancelled));
}

#[test]
fn a_criterion_that_is_not_there_is_an_error() {
    let mut request = Request::default();
    request.criterion = Criterion::MaximumInscribed;
    let found = fit("plane", &scan("plane", 100, 0.02, 5), &request);
    assert_eq!(found.err().map(|e| e.code()), Some(100));
}
