//! What the data do not determine is an error that names what would, not a number.

use fitwright::Error;
use fitwright::associate::{Input, Request, builtin_fitters};
use fitwright::primitive::{Point3, Vec3};
use fitwright::simulate::random::Random;

use crate::common::{KINDS, fit, fitter, plain, scan, scanned};

fn assert_undetermined(label: &str, kind: &str, points: &[Point3]) {
    for request in [plain(), Request::default()] {
        match fit(kind, points, &request) {
            Err(Error::Undetermined { what, remedy, .. }) => {
                assert_eq!(what, kind, "{label}");
                assert!(!remedy.is_empty());
            }
            other => panic!("{kind} from {label}: {other:?}"),
        }
    }
}

#[test]
fn curved_shapes_from_a_plane() {
    for noise in [0.0, 0.02] {
        for seed in 0..10 {
            let points = scan("plane", 400, noise, seed);
            for kind in ["circle", "sphere", "cylinder", "cone", "torus"] {
                // A circle through a plane patch is a poor fit, but it is determined.
                if kind != "circle" {
                    assert_undetermined(
                        &format!("a plane with noise {noise}, {seed}"),
                        kind,
                        &points,
                    );
                }
            }
        }
    }
}

#[test]
fn a_cone_from_a_cylinder() {
    for noise in [0.0, 0.02] {
        assert_undetermined("a cylinder", "cone", &scan("cylinder", 400, noise, 3));
    }
}

#[test]
fn a_torus_from_a_cylinder() {
    assert_undetermined("a cylinder", "torus", &scan("cylinder", 400, 0.02, 3));
}

#[test]
fn arcs_too_short_for_their_noise() {
    for kind in ["circle", "sphere", "cylinder"] {
        for seed in 0..10 {
            let mut numbers = Random::new(seed);
            let arc = 6.0f64.to_radians();
            let points: Vec<_> = if kind == "sphere" {
                let cap = |_: usize| {
                    let (x, y) = (numbers.uniform() - 0.5, numbers.uniform() - 0.5);
                    let n = Vec3::new(0.1 * x, 0.1 * y, 1.0).normalize();
                    Point3::from(n * (5.0 + 0.02 * numbers.normal()))
                };
                (0..100).map(cap).collect()
            } else {
                (0..100).map(|_| scanned(kind, &mut numbers, 0.02, arc).0).collect()
            };
            assert_undetermined(&format!("a short arc, {seed}"), kind, &points);
        }
    }
}

#[test]
fn points_on_a_line_or_spot() {
    for noise in [0.0, 0.02] {
        let line = scan("line", 200, noise, 4);
        for kind in ["plane", "circle", "sphere", "cylinder", "cone", "torus"] {
            assert_undetermined(&format!("a line with noise {noise}"), kind, &line);
        }
    }
    let mut numbers = Random::new(8);
    let blob: Vec<_> = (0..200)
        .map(|_| Point3::new(numbers.normal(), numbers.normal(), numbers.normal()))
        .collect();
    assert_undetermined("a blob", "line", &blob);
    assert_undetermined("a blob", "plane", &blob);
    for kind in KINDS {
        assert_undetermined("one point many times", kind, &[Point3::new(1.0, 2.0, 3.0); 50]);
    }
}

#[test]
fn a_ring_gives_no_cylinder_axis() {
    let ring = scan("circle", 300, 0.0, 6);
    assert_undetermined("a flat ring", "cylinder", &ring);
    assert_undetermined("a flat ring", "cone", &ring);
}

#[test]
fn too_few_points() {
    for fitter in builtin_fitters() {
        let needed = fitter.minimum_points();
        let points = scan(fitter.kind().name(), needed - 1, 0.0, 2);
        match fitter.fit(&Input::new(&points), &Request::default()) {
            Err(Error::TooFewPoints { found, needed: n, .. }) => {
                assert_eq!((found, n), (needed - 1, needed));
            }
            other => panic!("{}: {other:?}", fitter.id()),
        }
    }
}

#[test]
fn bad_input_names_the_point() {
    for bad in [f64::NAN, f64::INFINITY, -1e200] {
        for kind in KINDS {
            let mut points = scan(kind, 50, 0.01, 2);
            points[17].y = bad;
            match fit(kind, &points, &Request::default()) {
                Err(Error::Argument { name, .. }) => assert_eq!(name, "point 17"),
                other => panic!("{kind}, {bad}: {other:?}"),
            }
        }
    }
    let points = scan("plane", 50, 0.01, 2);
    let normals = [Vec3::z(); 49];
    let mut input = Input::new(&points);
    input.normals = Some(&normals);
    assert_eq!(fitter("plane").fit(&input, &plain()).err().map(|e| e.code()), Some(100));
}

/// Normals that say nothing or nonsense must not break a fit that the points determine.
#[test]
fn useless_normals_do_no_harm() {
    for kind in KINDS {
        let points = scan(kind, 200, 0.01, 2);
        let reference = fit(kind, &points, &plain()).expect(kind);
        for normal in [Vec3::zeros(), Vec3::new(f64::NAN, 0.0, 1.0), Vec3::new(3.0, 4.0, 0.0)] {
            let normals = vec![normal; 200];
            let mut input = Input::new(&points);
            input.normals = Some(&normals);
            let found = fitter(kind).fit(&input, &plain()).expect(kind);
            let difference = crate::common::compare(&found.shape, &reference.shape);
            assert!(
                difference.length < 1e-10 && difference.angle < 1e-10,
                "{kind}: {difference:?}"
            );
        }
    }
}
