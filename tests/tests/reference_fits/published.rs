//! Published data sets with published answers; see the READMEs in `tests/data`.

use std::fs;
use std::path::{Path, PathBuf};

use fitwright::associate::{Input, Request};
use fitwright::primitive::{Circle, Direction, Plane, Point3, Primitive, Vec3};
use serde_json::Value;

use crate::common::{Difference, compare, fit, plain, primitive};

fn data(folder: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data").join(folder)
}

fn numbers(path: &Path) -> Vec<f64> {
    let text = fs::read_to_string(path).expect("a data file");
    text.split([',', '\t', ' ', '\n', '\r']).filter_map(|t| t.parse().ok()).collect()
}

fn points(numbers: &[f64]) -> Vec<Point3> {
    numbers.chunks_exact(3).map(|c| Point3::new(c[0], c[1], c[2])).collect()
}

fn nist(folder: &str, name: &str) -> (Vec<Point3>, Vec<f64>) {
    let path = data("nist_l2").join(folder).join(name);
    let all = numbers(&path.with_extension("ds"));
    assert_eq!(all.len(), 1 + 3 * all[0] as usize, "{name}");
    (points(&all[1..]), numbers(&path.with_extension("fit")))
}

fn nist_answer(kind: &str, a: &[f64]) -> Primitive {
    let axis = (kind != "sphere").then(|| Direction::new_normalize(Vec3::new(a[3], a[4], a[5])));
    let sizes = match kind {
        "plane" => vec![],
        "sphere" => vec![a[3] / 2.0],
        "cone" => {
            let half_angle = a[7].to_radians() / 2.0;
            vec![a[6] / half_angle.cos(), half_angle]
        }
        _ => vec![a[6] / 2.0],
    };
    primitive(kind, Point3::new(a[0], a[1], a[2]), axis, &sizes)
}

/// All 120 pairs, to 1e-11 mm and 1e-11 rad; con7 (no residual at all, NIST: perhaps not the only
/// answer) only to its residual.
#[test]
fn nist_pairs() {
    for (kind, folder, stem) in [
        ("plane", "Plane", "pla"),
        ("sphere", "Sphere", "sph"),
        ("cylinder", "Cylinder", "cyl"),
        ("cone", "Cone", "con"),
    ] {
        let mut worst = Difference::default();
        for i in 1..=30 {
            let name = format!("{stem}{i}");
            let (points, answer) = nist(folder, &name);
            let found = fit(kind, &points, &plain()).unwrap_or_else(|e| panic!("{name}: {e}"));
            assert!(found.quality.converged && found.rejected.is_empty(), "{name}");
            if name == "con7" {
                assert!(found.quality.rms < 1e-12, "{name}: rms {}", found.quality.rms);
                continue;
            }
            let difference = compare(&found.shape, &nist_answer(kind, &answer));
            assert!(
                difference.length < 1e-11 && difference.angle < 1e-11,
                "{name}: {difference:?}"
            );
            worst = worst.or(difference);
        }
        println!("{kind}: {:.1e} mm, {:.1e} rad", worst.length, worst.angle);
    }
}

/// NIST's circles are a plane followed by a circle in that plane.
#[test]
fn nist_circles() {
    for name in ["cir2", "cir7", "cir25"] {
        let (points, answer) = nist("Circle3d_partial", name);
        let plane = Plane::fit_points(&Input::new(&points), &plain()).expect("plane").shape;
        let flat: Vec<_> = points.iter().map(|p| plane.project(p)).collect();
        let found = fit("circle", &flat, &plain()).expect("circle");
        let difference = compare(&found.shape, &nist_answer("circle", &answer));
        assert!(difference.length < 1e-11 && difference.angle < 1e-11, "{name}: {difference:?}");
        // The full fit in space leaves less over, and is another circle.
        let full = fit("circle", &points, &plain()).expect("circle");
        assert!(compare(&full.shape, &found.shape).length < 1e-5);
        let square = |s: &Primitive| points.iter().map(|p| s.distance(p).powi(2)).sum::<f64>();
        assert!(square(&full.shape) < square(&found.shape), "{name}");
    }
}

#[test]
fn classic_circles() {
    let text = fs::read_to_string(data("circles").join("circle2d_classic.json")).expect("file");
    let sets: Value = serde_json::from_str(&text).expect("json");
    for set in sets.as_array().expect("sets") {
        let pair = |v: &Value| (v[0].as_f64().expect("x"), v[1].as_f64().expect("y"));
        let points = set["points"].as_array().expect("points").iter().map(pair);
        let points: Vec<_> = points.map(|(x, y)| Point3::new(x, y, 0.0)).collect();
        let found = Circle::fit_points(&Input::new(&points), &plain()).expect("circle").shape;
        let (x, y) = pair(&set["geometric"]["center"]);
        let radius = set["geometric"]["r"].as_f64().expect("r");
        assert!((found.centre - Point3::new(x, y, 0.0)).norm() < 1e-12, "{}", set["name"]);
        assert!((found.radius - radius).abs() < 1e-12, "{}", set["name"]);
    }
}

/// Null-space sets: every answer within rounding of the stored points, max(1e-12, 4 kappa ulp), and
/// where the data lie near the origin within 1e-9 mm and rad in any case. Returns the worst.
fn null_space(folder: &Path, exact_only: bool) -> usize {
    let text = fs::read_to_string(folder.join("index.json")).expect("index");
    let index: Value = serde_json::from_str(&text).expect("json");
    let sets = index.as_array().expect("sets");
    for set in sets {
        let file = set["file"].as_str().expect("file");
        let number = |key: &str| set[key].as_f64().unwrap_or(f64::NAN);
        let vector = |key: &str| {
            let v: Vec<f64> = set[key].as_array()?.iter().filter_map(Value::as_f64).collect();
            Some(Vec3::new(v[0], v[1], v[2]))
        };
        let kind = set["kind"].as_str().expect("kind");
        let sizes = match kind {
            "torus" => [number("R"), number("r")],
            _ => [number("r"), number("psi")],
        };
        let point = Point3::from(vector("point").expect("point"));
        let axis = vector("axis").map(Direction::new_normalize);
        let answer = primitive(kind, point, axis, &sizes);
        let points = points(&numbers(&folder.join(file)));
        let largest = points.iter().map(|p| p.coords.amax()).fold(0.0, f64::max);
        let allowed = (4.0 * number("kappa") * (largest.next_up() - largest)).max(1e-12);
        assert!(!exact_only || largest > 1e4 || allowed < 1e-9, "{file}");
        let found = fit(kind, &points, &plain()).unwrap_or_else(|e| panic!("{file}: {e}"));
        let difference = compare(&found.shape, &answer);
        assert!(
            difference.length <= allowed && difference.angle <= allowed,
            "{file}: {difference:?}, allowed {allowed:e}"
        );
        // Noise is normal and nothing is an outlier: the default leaves as good as everything in.
        let default = fit(kind, &points, &Request::default()).expect(file);
        assert!(default.rejected.len() <= 1, "{file}: {:?}", default.rejected);
    }
    sets.len()
}

#[test]
fn null_space_sets() {
    assert_eq!(null_space(&data("nullspace"), true), 37);
}

/// The whole collection, where it stands beside the project.
#[test]
fn all_null_space_sets_beside_the_project() {
    if let Some(root) = fitwright_tests::shared("reference/nullspace") {
        assert_eq!(null_space(&root, false), 162);
    }
}
