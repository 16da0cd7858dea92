//! Agreement with published data sets and their published answers, in digits; see the READMEs in
//! `tests/data`.
//!
//! Digits are -log10 of the largest difference in mm or rad at the answer's point.

use std::fs;
use std::path::{Path, PathBuf};

use fitwright::associate::{Criterion, Request};
use fitwright::primitive::{Direction, Kind, Point3, Primitive, Vec3};
use serde_json::Value;

use crate::options::Options;
use crate::scene;
use crate::shape::{KINDS, Truth};
use crate::table::Table;

/// Prints the shape's table.
pub(crate) fn print(kind: Kind, _options: &Options) {
    let mut table = Table::new([
        "set",
        "count",
        "worst mm or rad",
        "digits worst",
        "digits median",
        "worst is",
    ]);
    for (name, sets) in [
        ("NIST pairs", nist(kind)),
        ("classic circles", classic(kind)),
        ("null-space, near", null_space(kind, &data("nullspace"), false)),
        ("null-space, 3e5 mm away", null_space(kind, &data("nullspace"), true)),
        ("collection, near", beside(kind, false)),
        ("collection, 3e5 mm away", beside(kind, true)),
        ("extreme zones", indexed(kind, &data("minzone"))),
    ] {
        add(&mut table, name, &sets);
    }
    table.print("published data: agreement with the published answers");
    if !data("minzone").exists() {
        println!("    no tests/data/minzone: extreme zones skipped");
    }
    if shared().is_none() {
        println!("    no shared/reference/nullspace beside the clone: all null-space sets skipped");
    }
}

/// A published set with its answer.
struct Set {
    name: String,
    criterion: Criterion,
    points: Vec<Point3>,
    answer: Primitive,
}

fn add(table: &mut Table, name: &str, sets: &[Set]) {
    if sets.is_empty() {
        return;
    }
    let mut found: Vec<(f64, &str)> = Vec::new();
    for set in sets {
        let mut request = Request::default();
        request.reject_outliers = false;
        request.criterion = set.criterion;
        match scene::fit_with(set.answer.kind(), &set.points, &request) {
            Ok(fit) => found.push((difference(&fit.shape, &set.answer), &set.name)),
            Err(error) => {
                println!("    {}: {error}", set.name);
                found.push((f64::INFINITY, &set.name));
            }
        }
    }
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (Some(worst), median) = (found.last(), found[found.len() / 2].0) else { return };
    let digits = |d: f64| format!("{:.1}", -d.max(f64::MIN_POSITIVE).log10().max(-99.0));
    let cap = |d: f64| if d == 0.0 { "all".into() } else { digits(d) };
    table.row([
        name.into(),
        format!("{}", sets.len()),
        format!("{:.1e}", worst.0),
        cap(worst.0),
        cap(median),
        worst.1.into(),
    ]);
}

/// Largest difference in an unknown, mm or rad, at the answer's point.
pub(crate) fn difference(shape: &Primitive, answer: &Primitive) -> f64 {
    if let (Primitive::Sphere(s), Primitive::Sphere(a)) = (shape, answer) {
        return (s.centre - a.centre).norm().max((s.radius - a.radius).abs());
    }
    let p = answer.point();
    let turn = match (shape.direction(), answer.direction()) {
        (Some(a), Some(b)) => a.cross(&b).norm(),
        _ => 0.0,
    };
    let rest = match (shape, answer) {
        (Primitive::Plane(s), Primitive::Plane(_)) => s.distance(&p).abs(),
        (Primitive::Line(s), Primitive::Line(_)) => s.distance(&p),
        (Primitive::Circle(s), Primitive::Circle(a)) => {
            (s.centre - p).norm().max((s.radius - a.radius).abs())
        }
        (Primitive::Cylinder(s), Primitive::Cylinder(a)) => {
            s.axis_line().distance(&p).max((s.radius - a.radius).abs())
        }
        (Primitive::Cone(s), Primitive::Cone(a)) => {
            let radius = s.radius_at(s.axis_line().parameter(&p));
            let off = s.axis_line().distance(&p).max((radius - a.radius).abs());
            off.max((s.half_angle - a.half_angle).abs())
        }
        (Primitive::Torus(s), Primitive::Torus(a)) => {
            let major = (s.major_radius - a.major_radius).abs();
            (s.centre - p).norm().max(major).max((s.minor_radius - a.minor_radius).abs())
        }
        _ => f64::INFINITY,
    };
    rest.max(turn)
}

/// NIST's pairs of the kind; con7 is left out, whose six points any of several cones may pass
/// through (NIST's own note).
fn nist(kind: Kind) -> Vec<Set> {
    let (folder, stem) = match kind {
        Kind::Plane => ("Plane", "pla"),
        Kind::Sphere => ("Sphere", "sph"),
        Kind::Cylinder => ("Cylinder", "cyl"),
        Kind::Cone => ("Cone", "con"),
        _ => return Vec::new(),
    };
    let names = (1..=30).map(|i| format!("{stem}{i}")).filter(|n| n != "con7");
    let read = |name: String| {
        let path = data("nist_l2").join(folder).join(&name);
        let points = points(numbers(&path.with_extension("ds"))?.get(1..)?);
        let a = numbers(&path.with_extension("fit"))?;
        let sizes = match kind {
            Kind::Plane => [0.0; 2],
            Kind::Sphere => [a[3] / 2.0, 0.0],
            Kind::Cone => {
                let half_angle = a[7].to_radians() / 2.0;
                [a[6] / half_angle.cos(), half_angle]
            }
            _ => [a[6] / 2.0, 0.0],
        };
        let axis = if kind == Kind::Sphere { None } else { a.get(3..6) };
        let axis = axis.map_or(Vec3::z(), |v| Vec3::new(v[0], v[1], v[2]));
        let answer = primitive(kind, Point3::new(a[0], a[1], a[2]), axis, sizes);
        Some(Set { name, criterion: Criterion::LeastSquares, points, answer })
    };
    names.filter_map(read).collect()
}

/// The circles of Gander, Golub, Strebel 1994 and Späth 1996.
fn classic(kind: Kind) -> Vec<Set> {
    let read = |set: &Value| {
        let pair = |v: &Value| Some((v.get(0)?.as_f64()?, v.get(1)?.as_f64()?));
        let points = set["points"].as_array()?.iter().filter_map(pair);
        let centre = pair(&set["geometric"]["center"])?;
        let radius = set["geometric"]["r"].as_f64()?;
        let point = Point3::new(centre.0, centre.1, 0.0);
        Some(Set {
            name: set["name"].as_str()?.into(),
            criterion: Criterion::LeastSquares,
            points: points.map(|(x, y)| Point3::new(x, y, 0.0)).collect(),
            answer: primitive(Kind::Circle, point, Vec3::z(), [radius, 0.0]),
        })
    };
    let sets = json(&data("circles").join("circle2d_classic.json"));
    let sets = sets.as_ref().and_then(Value::as_array).filter(|_| kind == Kind::Circle);
    sets.map_or_else(Vec::new, |s| s.iter().filter_map(read).collect())
}

/// Null-space sets near the origin or far from it, where a coordinate's last digit is 3e-11 mm.
fn null_space(kind: Kind, folder: &Path, far: bool) -> Vec<Set> {
    let mut sets = indexed(kind, folder);
    sets.retain(|set| set.name.contains("_far") == far);
    sets
}

/// The same of the whole collection beside the clone, if it is there.
fn beside(kind: Kind, far: bool) -> Vec<Set> {
    shared().map_or_else(Vec::new, |folder| null_space(kind, &folder, far))
}

/// Sets of the kind in a folder with an `index.json` of answers.
fn indexed(kind: Kind, folder: &Path) -> Vec<Set> {
    let read = |set: &Value| {
        let vector = |key: &str| {
            let v: Vec<f64> = set[key].as_array()?.iter().filter_map(Value::as_f64).collect();
            Some(Vec3::new(*v.first()?, *v.get(1)?, *v.get(2)?))
        };
        let number = |key: &str| set[key].as_f64().unwrap_or(0.0);
        let found = KINDS.into_iter().find(|k| Some(k.name()) == set["kind"].as_str())?;
        if found != kind {
            return None;
        }
        let name = set["file"].as_str()?;
        let sizes = match kind {
            Kind::Torus => [number("R"), number("r")],
            _ => [number("r"), number("psi")],
        };
        let criterion = match set["criterion"].as_str() {
            None => Criterion::LeastSquares,
            Some("MZ") => Criterion::MinimumZone,
            Some("MI") => Criterion::MaximumInscribed,
            Some(_) => Criterion::MinimumCircumscribed,
        };
        let axis = vector("axis").unwrap_or(Vec3::z());
        Some(Set {
            name: name.into(),
            criterion,
            points: points(&numbers(&folder.join(name))?),
            answer: primitive(kind, Point3::from(vector("point")?), axis, sizes),
        })
    };
    let index = json(&folder.join("index.json"));
    let sets = index.as_ref().and_then(Value::as_array);
    sets.map_or_else(Vec::new, |s| s.iter().filter_map(read).collect())
}

fn primitive(kind: Kind, point: Point3, axis: Vec3, sizes: [f64; 2]) -> Primitive {
    Truth::shape(kind, point, Direction::new_normalize(axis), sizes)
}

fn data(folder: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/data").join(folder)
}

/// The whole null-space collection, where it stands beside the clone.
fn shared() -> Option<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/reference/nullspace");
    path.exists().then_some(path)
}

fn json(path: &Path) -> Option<Value> {
    serde_json::from_str(&fs::read_to_string(path).ok()?).ok()
}

fn numbers(path: &Path) -> Option<Vec<f64>> {
    let text = fs::read_to_string(path).ok()?;
    Some(text.split([',', '\t', ' ', '\n', '\r']).filter_map(|t| t.parse().ok()).collect())
}

fn points(numbers: &[f64]) -> Vec<Point3> {
    numbers.chunks_exact(3).map(|c| Point3::new(c[0], c[1], c[2])).collect()
}
