//! Minimum zone, maximum inscribed, minimum circumscribed: certified sets, and proofs made afresh here.

use std::fs;
use std::path::Path;

use fitwright::associate::{Criterion, Fit, Request};
use fitwright::primitive::{Direction, Point3, Primitive, Vec3};
use nalgebra::{DMatrix, DVector};
use serde_json::Value;

use crate::common::{compare, fit, plain, primitive};

pub(crate) fn by(criterion: Criterion) -> Request {
    let mut request = plain();
    request.criterion = criterion;
    request
}

/// About half the extent of the sets, mm: brings slopes by turns to those by shifts.
const EXTENT: f64 = 25.0;

/// Derivatives of the signed distance of a point by shift, turn about `centre` and sizes of the
/// shape, by central difference of the public distance; columns of freedoms the kind has not are zero.
pub(crate) fn slopes(shape: &Primitive, p: &Point3, centre: &Point3, sizes: bool) -> [f64; 8] {
    let h = 1e-4;
    let mut out = [0.0; 8];
    let moved = |j: usize, h: f64| {
        let e = Vec3::ith(j % 3, h);
        match j {
            0..3 => shape.distance(&(p - e)),
            3..6 => {
                let turn = nalgebra::Rotation3::new(-e / EXTENT);
                shape.distance(&(centre + turn * (p - centre)))
            }
            _ => grown(shape, j - 6, h).distance(p),
        }
    };
    for (j, slope) in out.iter_mut().enumerate().take(if sizes { 8 } else { 6 }) {
        *slope = (moved(j, h) - moved(j, -h)) / (2.0 * h);
    }
    out
}

fn grown(shape: &Primitive, size: usize, by: f64) -> Primitive {
    let mut shape = shape.clone();
    match (&mut shape, size) {
        (Primitive::Circle(s), 0) => s.radius += by,
        (Primitive::Sphere(s), 0) => s.radius += by,
        (Primitive::Cylinder(s), 0) => s.radius += by,
        (Primitive::Cone(s), 0) => s.radius += by,
        (Primitive::Cone(s), 1) => s.half_angle += by / EXTENT,
        (Primitive::Torus(s), 0) => s.major_radius += by,
        (Primitive::Torus(s), 1) => s.minor_radius += by,
        _ => {}
    }
    shape
}

/// The conditions of optimality, from the shape and its distances alone: contacts equally far,
/// multipliers positive, slopes in balance, every other point within. Returns the largest distance.
pub(crate) fn proven(
    found: &Fit<Primitive>,
    points: &[Point3],
    criterion: Criterion,
    rounding: f64,
) -> f64 {
    let zone = criterion == Criterion::MinimumZone;
    let d: Vec<f64> = points.iter().map(|p| found.shape.distance(p)).collect();
    let largest = d.iter().map(|d| d.abs()).fold(0.0, f64::max);
    let sign = |i: usize| match criterion {
        Criterion::MinimumZone => d[i].signum(),
        Criterion::MaximumInscribed => -1.0,
        _ => 1.0,
    };
    let value = if zone { largest } else { 0.0 };
    for &i in &found.contacts {
        let i = i as usize;
        assert!((sign(i) * d[i] - value).abs() <= rounding, "contact {i}: {} of {value}", d[i]);
    }
    for (i, d) in d.iter().enumerate() {
        let beyond = if zone { d.abs() } else { sign(i) * d } - value;
        assert!(beyond <= rounding, "point {i} is beyond by {beyond:e}");
    }
    let k = found.contacts.len();
    let centre = Point3::from(points.iter().map(|p| p.coords).sum::<Vec3>() / points.len() as f64);
    let mut system = DMatrix::zeros(9, k);
    for (j, &i) in found.contacts.iter().enumerate() {
        let row = slopes(&found.shape, &points[i as usize], &centre, zone);
        for (r, s) in row.iter().enumerate() {
            system[(r, j)] = sign(i as usize) * s;
        }
        system[(8, j)] = 1.0;
    }
    let mut one = DVector::zeros(9);
    one[8] = 1.0;
    let multipliers = system.clone().svd(true, true).solve(&one, 1e-9).expect("svd");
    // Central differences leave about 1e-9.
    assert!((&system * &multipliers - &one).norm() < 1e-6, "slopes out of balance");
    assert!(multipliers.min() > 0.0, "multipliers {multipliers:?}");
    largest
}

/// Condition of the active set: largest over smallest singular value of its slopes (turns about
/// the points' middle, in units of their extent), as the tolerance rule asks.
fn condition(shape: &Primitive, points: &[Point3], contacts: &[u32], zone: bool) -> f64 {
    let centre = Point3::from(points.iter().map(|p| p.coords).sum::<Vec3>() / points.len() as f64);
    let columns = if zone { 9 } else { 7 };
    let system = DMatrix::from_fn(contacts.len(), columns, |i, j| {
        let row = slopes(shape, &points[contacts[i] as usize], &centre, zone);
        if j + 1 == columns { 1.0 } else { row[j] }
    });
    let values = system.singular_values();
    let rank =
        values.iter().filter(|v| **v > 1e-6 * values.max()).fold(f64::INFINITY, |a, b| a.min(*b));
    values.max() / rank
}

/// All 36 sets: objective, parameters and contacts, and the proof.
#[test]
fn certified_sets() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/minzone");
    let text = fs::read_to_string(folder.join("index.json")).expect("index");
    let index: Value = serde_json::from_str(&text).expect("json");
    let sets = index.as_array().expect("sets");
    assert_eq!(sets.len(), 36);
    let (mut worst, mut worst_value) = (0.0f64, 0.0f64);
    for set in sets {
        let file = set["file"].as_str().expect("file");
        let number = |key: &str| set[key].as_f64().unwrap_or(f64::NAN);
        let vector = |key: &str| {
            let v: Vec<f64> =
                set[key].as_array().expect(key).iter().filter_map(Value::as_f64).collect();
            Vec3::new(v[0], v[1], v[2])
        };
        let kind = set["kind"].as_str().expect("kind");
        let sizes = match kind {
            "torus" => [number("R"), number("r")],
            _ => [number("r"), number("psi")],
        };
        let axis = Some(Direction::new_normalize(vector("axis")));
        let answer = primitive(kind, Point3::from(vector("point")), axis, &sizes);
        let text = fs::read_to_string(folder.join(file)).expect("a data file");
        let all: Vec<f64> = text.split([',', '\n']).filter_map(|t| t.trim().parse().ok()).collect();
        let points: Vec<_> = all.chunks_exact(3).map(|c| Point3::new(c[0], c[1], c[2])).collect();
        assert_eq!(points.len(), 40);
        let criterion = match set["criterion"].as_str().expect("criterion") {
            "MZ" => Criterion::MinimumZone,
            "MC" => Criterion::MinimumCircumscribed,
            _ => Criterion::MaximumInscribed,
        };
        let zone = criterion == Criterion::MinimumZone;
        let found = fit(kind, &points, &by(criterion)).unwrap_or_else(|e| panic!("{file}: {e}"));
        let contacts: Vec<u64> = found.contacts.iter().map(|c| u64::from(*c)).collect();
        let expected: Vec<u64> = set["contacts"]
            .as_array()
            .expect("contacts")
            .iter()
            .filter_map(Value::as_u64)
            .collect();
        assert_eq!(contacts, expected, "{file}");
        let largest = points.iter().map(|p| p.coords.amax()).fold(0.0, f64::max);
        let ulp = largest.next_up() - largest;
        let kappa = condition(&answer, &points, &found.contacts, zone);
        let allowed = (4.0 * kappa * ulp).max(1e-12);
        let difference = compare(&found.shape, &answer);
        assert!(
            difference.length <= allowed && difference.angle <= allowed,
            "{file}: {difference:?}, allowed {allowed:e}"
        );
        assert!(allowed < 1e-10, "{file}: {allowed:e}");
        let value = proven(&found, &points, criterion, (4.0 * ulp).max(1e-12));
        if zone {
            let off = (value - number("halfwidth")).abs();
            assert!(off <= (4.0 * ulp).max(1e-12), "{file}: {off:e}");
            assert!(
                (found.quality.zone - number("zone")).abs() <= (8.0 * ulp).max(1e-12),
                "{file}"
            );
            worst_value = worst_value.max(off);
        }
        assert!(found.quality.converged && found.rejected.is_empty());
        assert!(found.covariance.matrix.iter().all(|x| x.is_finite()));
        worst = worst.max(difference.length).max(difference.angle);
    }
    println!("36 sets: parameters {worst:.1e}, objective {worst_value:.1e}");
}
