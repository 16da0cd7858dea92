//! Gross outliers are found, counted and named; good data lose nothing.

use std::f64::consts::TAU;

use fitwright::associate::{Input, Request};
use fitwright::primitive::{Point3, Vec3};
use fitwright::simulate::random::Random;

use crate::common::{KINDS, compare, fit, fitter, plain, scan, scanned, truth};

/// A scan whose first `share` are outliers: anywhere in a box, or 5 to 50 deviations off to one side.
fn dirty(
    kind: &str,
    count: usize,
    share: f64,
    one_sided: bool,
    seed: u64,
) -> (Vec<Point3>, Vec<Vec3>) {
    let mut numbers = Random::new(seed);
    let point = |i: usize| {
        let (p, normal) = scanned(kind, &mut numbers, 0.02, TAU);
        if i as f64 >= share * count as f64 {
            (p, (normal + numbers.normal_vector().normalize() * 0.1).normalize())
        } else if one_sided {
            (p + normal * (0.1 + 0.9 * numbers.uniform()), normal)
        } else {
            let mut side = || 24.0 * numbers.uniform() - 12.0;
            (Point3::new(side(), side(), side()), numbers.normal_vector().normalize())
        }
    };
    (0..count).map(point).unzip()
}

/// With outliers the answer is nearly that of the good points alone: within the deviation that
/// chance gives it, 4 standard deviations of the good points' own fit.
fn survives(kind: &str, count: usize, share: f64, one_sided: bool, normals: bool) {
    let (points, directions) = dirty(kind, count, share, one_sided, 31);
    let good = &points[(share * count as f64).ceil() as usize..];
    let reference = fit(kind, good, &plain()).expect(kind);
    let mut input = Input::new(&points);
    input.normals = normals.then_some(&directions);
    let label =
        format!("{kind}, {count} points, {share}, one-sided {one_sided}, normals {normals}");
    let found = fitter(kind).fit(&input, &Request::default()).expect(&label);
    let difference = compare(&found.shape, &reference.shape);
    let c = &reference.covariance;
    let place = c.deviation_at(&c.at).max(c.size(0)).max(c.size(1));
    let turn = reference.shape.direction().map_or(0.0, |d| c.tilt(&d)).max(c.size(1));
    assert!(difference.length < 4.0 * place, "{label}: {difference:?}, {place:e}");
    assert!(difference.angle < 4.0 * turn.max(1e-12), "{label}: {difference:?}, {turn:e}");
    let bad = count - good.len();
    let named = found.rejected.iter().filter(|&&i| (i as usize) < bad).count();
    assert!(named as f64 >= 0.9 * bad as f64, "{label}: {named} of {bad} named");
    assert!(found.rejected.len() - named <= 1 + good.len() / 50, "{label}");
    assert_eq!(found.quality.rejected, found.rejected.len());
    assert_eq!(found.quality.points + found.quality.rejected, count);
}

#[test]
fn a_tenth_of_outliers() {
    for kind in KINDS {
        for count in [100, 4000] {
            for normals in [false, true] {
                survives(kind, count, 0.1, false, normals);
                survives(kind, count, 0.1, true, normals);
            }
        }
    }
}

#[test]
fn nearly_half_of_outliers() {
    for kind in KINDS {
        for normals in [false, true] {
            survives(kind, 4000, 0.45, false, normals);
            survives(kind, 4000, 0.45, true, normals);
        }
    }
}

/// More points than the sample that the search sees.
#[test]
fn a_neighbouring_face_in_the_region_is_left_out() {
    let mut points = scan("plane", 40_000, 0.02, 8);
    let floor = points.len();
    points.extend(
        scan("plane", 15_000, 0.02, 9).iter().map(|p| Point3::new(10.0 + p.z, p.y, 10.5 + p.x)),
    );
    let found = fit("plane", &points, &Request::default()).expect("plane");
    let reference = fit("plane", &points[..floor], &plain()).expect("plane");
    let difference = compare(&found.shape, &reference.shape);
    assert!(difference.length < 1e-3 && difference.angle < 1e-4, "{difference:?}");
    assert!(found.rejected.len() > 14_900);
}

/// A dome of 30 degrees on its plate, which makes 45 % of the points: a sphere so large that it is the
/// plate also comes near the dome's rim, so that in a small choice of points it can look like the
/// larger part.
#[test]
fn a_flat_dome_on_a_plate_is_not_taken_for_the_plate() {
    let (radius, cap) = (25.0, 15.0f64.to_radians());
    let rim = radius * cap.sin();
    for seed in 0..40 {
        let mut numbers = Random::new(seed);
        let mut point = |i: usize| {
            let (sin, cos) = (TAU * numbers.uniform()).sin_cos();
            let (share, error) = (numbers.uniform(), 0.02 * numbers.normal());
            if i < 1100 {
                let up = 1.0 - (1.0 - cap.cos()) * share;
                let out = (1.0 - up * up).sqrt();
                Point3::from(Vec3::new(out * cos, out * sin, up) * (radius + error))
            } else {
                let rho = (rim * rim + ((rim + 15.0).powi(2) - rim * rim) * share).sqrt();
                Point3::new(rho * cos, rho * sin, radius * cap.cos() + error)
            }
        };
        let mut points: Vec<_> = (0..2000).map(&mut point).collect();
        let dome = fit("sphere", &points[..1100], &plain()).expect("sphere");
        // Mixed, or the choice would hold the same share of the plate every time.
        for i in (1..points.len()).rev() {
            points.swap(i, (numbers.uniform() * (i + 1) as f64) as usize);
        }
        let found = fit("sphere", &points, &Request::default()).expect("sphere");
        let place = dome.covariance.deviation_at(&dome.covariance.at);
        let difference = compare(&found.shape, &dome.shape);
        assert!(difference.length < 4.0 * place, "seed {seed}: {difference:?}, {place:e}");
    }
}

/// A pipe bend of 60 degrees with the flange at its end, which makes 40 % of the points.
#[test]
fn a_short_bend_keeps_clear_of_its_flange() {
    let (major, minor, arc) = (25.0, 6.25, TAU / 6.0);
    for seed in 0..8 {
        let mut numbers = Random::new(seed);
        let mut point = |i: usize| {
            let along = if i < 1200 { arc * numbers.uniform() } else { arc };
            let (up, out) = (TAU * numbers.uniform()).sin_cos();
            let (share, error) = (numbers.uniform(), 0.02 * numbers.normal());
            // The tube, or a ring twice as wide in the plane across its end.
            let (tube, off) = if i < 1200 {
                (minor + error, 0.0)
            } else {
                (minor * (1.0 + 3.0 * share).sqrt(), error)
            };
            let (sin, cos) = along.sin_cos();
            let rho = major + tube * out;
            Point3::new(rho * cos - off * sin, rho * sin + off * cos, tube * up)
        };
        let points: Vec<_> = (0..2000).map(&mut point).collect();
        let bend = fit("torus", &points[..1200], &plain()).expect("torus");
        let found = fit("torus", &points, &Request::default()).expect("torus");
        let c = &bend.covariance;
        let place = c.deviation_at(&c.at).max(c.size(0));
        let difference = compare(&found.shape, &bend.shape);
        assert!(difference.length < 4.0 * place, "seed {seed}: {difference:?}, {place:e}");
    }
}

/// On normal noise without outliers the default costs at most 5 % in standard deviation.
#[test]
fn good_data_cost_nothing() {
    for kind in KINDS {
        let (mut squares, mut lost) = ([0.0; 2], 0);
        for seed in 0..60 {
            let points = scan(kind, 60, 0.02, 100 + seed);
            for (sum, request) in squares.iter_mut().zip([plain(), Request::default()]) {
                let found = fit(kind, &points, &request).expect(kind);
                lost += found.rejected.len();
                let d = compare(&found.shape, &truth(kind));
                *sum += d.length * d.length;
            }
        }
        let cost = (squares[1] / squares[0]).sqrt();
        assert!(cost < 1.05, "{kind}: {cost}, {lost} points lost");
    }
}

/// Points on the exact shape with a few far off: only those go.
#[test]
fn exact_points_stay() {
    for kind in KINDS {
        let mut points = scan(kind, 200, 0.0, 12);
        for i in [3, 77, 150] {
            points[i] += Vec3::new(1.0, 2.0, 3.0);
        }
        let found = fit(kind, &points, &Request::default()).expect(kind);
        assert_eq!(found.rejected, [3, 77, 150], "{kind}");
        let difference = compare(&found.shape, &truth(kind));
        assert!(difference.length < 1e-12 && difference.angle < 1e-12, "{kind}: {difference:?}");
    }
}
