//! STEP out, read back by the Open CASCADE kernel: every feature, name, parameter, area and unit.
//!
//! Needs the environment variable `FITWRIGHT_PYTHON` to name a Python with
//! `tests/python/requirements.txt` installed; without it the test says so and does nothing.

mod cases;
mod round;

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

use cases::{Edge, Expected, Face, Random};
use fitwright::exchange::{COORDINATE_SYSTEM, StepOptions, StepSchema, write_step};
use fitwright::feature::{Feature, FeatureKind};
use fitwright::primitive::{Point3, Pose, Vec3};
use serde_json::Value;

type Anything = Box<dyn std::error::Error>;

#[test]
fn every_form_arrives_as_it_was_meant() -> Result<(), Anything> {
    let Some(python) = python() else { return Ok(()) };
    let folder = tempfile::tempdir()?;
    let (features, expected) = features(0x5EED);
    let mut paths = Vec::new();
    for (schema, name) in [(StepSchema::Ap214, "ap214.step"), (StepSchema::Ap242, "ap242.step")] {
        let mut options = StepOptions::default();
        options.schema = schema;
        options.date = Some("2026-03-01T12:00:00".into());
        options.scan_date = Some("2026-02-28".into());
        let path = folder.path().join(name);
        write_step(&path, &Pose::identity(), &features, &options)?;
        paths.push(path);
    }
    for (file, path) in read(&python, &paths)?.iter().zip(&paths) {
        let mut faults = compare(file, &features, &expected);
        faults.truncate(20);
        assert!(faults.is_empty(), "{}:\n{}", path.display(), faults.join("\n"));
    }
    Ok(())
}

/// Pieces seen in part, written complete: whole turns, whole spheres and tubes, whole circles.
#[test]
fn full_pieces_are_completed() -> Result<(), Anything> {
    use FeatureKind as K;
    let Some(python) = python() else { return Ok(()) };
    let folder = tempfile::tempdir()?;
    let r = &mut Random(0xF011);
    let (mut features, mut expected) = (Vec::new(), Vec::new());
    for i in 0..6 {
        for (kind, (piece, meant)) in [
            (K::Cylinder, cases::cylinder(r, false, false)),
            (K::Hole, cases::cylinder(r, false, true)),
            (K::Cone, cases::cone(r, false, false)),
            (K::Sphere, cases::sphere(r, false, (false, false))),
            (K::Torus, cases::torus(r, false, false)),
            (K::Circle, cases::circle(r, false)),
            (K::Plane, cases::plane(r, true)),
            (K::Line, cases::segment(r)),
        ] {
            let mut meant = cases::completed(&piece, meant);
            let name = format!("{} {i}", kind.name());
            let (feature, properties) = cases::feature(r, &name, kind, vec![piece]);
            (meant.properties, meant.layer) = (properties, kind.name().into());
            features.push(feature);
            expected.push(meant);
        }
    }
    let mut options = StepOptions::default();
    options.full = true;
    options.scan_date = Some("2026-02-28".into());
    let mut paths = Vec::new();
    for schema in [StepSchema::Ap214, StepSchema::Ap242] {
        options.schema = schema;
        let path = folder.path().join(format!("{schema:?}.step"));
        write_step(&path, &Pose::identity(), &features, &options)?;
        paths.push(path);
    }
    for file in read(&python, &paths)? {
        let mut faults = compare(&file, &features, &expected);
        faults.truncate(20);
        assert!(faults.is_empty(), "{}", faults.join("\n"));
    }
    Ok(())
}

/// The check itself must see what is wrong: a changed radius, a lost feature, a warning.
#[test]
fn differences_are_seen() -> Result<(), Anything> {
    let Some(python) = python() else { return Ok(()) };
    let folder = tempfile::tempdir()?;
    let (features, expected) = features(0x5EED);
    let path = folder.path().join("a.step");
    let moved = Pose::translation(1e-4, 0.0, 0.0);
    write_step(&path, &moved, &features[1..], &StepOptions::default())?;
    let text = std::fs::read_to_string(&path)?;
    let (before, after) = text.split_once("FACE_OUTER_BOUND").ok_or("no face")?;
    // A bound without its loop.
    std::fs::write(
        &path,
        format!("{before}FACE_BOUND('',$,.T.);\n#999999=FACE_OUTER_BOUND{after}"),
    )?;
    let file = &read(&python, &[path])?[0];
    let faults = compare(file, &features, &expected);
    for part in ["warning", "names", "location"] {
        assert!(faults.iter().any(|f| f.contains(part)), "{part} not seen in {faults:?}");
    }
    Ok(())
}

fn features(seed: u64) -> (Vec<Feature>, Vec<Expected>) {
    use FeatureKind as K;
    let r = &mut Random(seed);
    let mut all = Vec::new();
    for _ in 0..ROUNDS {
        for holes in [false, true] {
            all.push((K::Plane, one(cases::plane(r, holes))));
        }
        for full in [false, true] {
            all.push((K::Cylinder, one(cases::cylinder(r, full, false))));
            all.push((K::Hole, one(cases::cylinder(r, full, true))));
            for to_tip in [false, true] {
                all.push((K::Cone, one(cases::cone(r, full, to_tip))));
            }
            for poles in [(false, false), (false, true), (true, false), (true, true)] {
                all.push((K::Sphere, one(cases::sphere(r, full, poles))));
            }
            for around in [false, true] {
                all.push((K::Torus, one(cases::torus(r, full, around))));
            }
            all.push((K::Circle, one(cases::circle(r, full))));
        }
        all.push((K::Sphere, one(cases::whole_sphere(r))));
        all.push((K::Line, one(cases::segment(r))));
        all.push((K::Point, one(cases::point(r))));
        all.push((K::Hole, cases::hole(r)));
        all.push((K::Composite, cases::composite(r)));
    }
    let mut features = Vec::new();
    let mut expected = Vec::new();
    for (i, (kind, (pieces, mut e))) in all.into_iter().enumerate() {
        let name = format!("{} {i} {}", kind.name(), ODD_NAMES[i % ODD_NAMES.len()]);
        let (feature, properties) = cases::feature(r, &name, kind, pieces);
        features.push(feature);
        e.properties = properties;
        e.layer = kind.name().into();
        expected.push(e);
    }
    (features, expected)
}

fn one<T>((piece, expected): (T, Expected)) -> (Vec<T>, Expected) {
    (vec![piece], expected)
}

/// Everything that is not as it must be.
fn compare(file: &Value, features: &[Feature], expected: &[Expected]) -> Vec<String> {
    let mut faults = Vec::new();
    let mut check = |ok: bool, what: String| {
        if !ok {
            faults.push(what);
        }
    };
    check(file["read"] == true && file["transferred"] == true, "not read".into());
    check(file["warnings"] == serde_json::json!([]), format!("warning: {}", file["warnings"]));
    let units = serde_json::json!([["millimetre"], ["radian"], ["steradian"]]);
    check(file["units"] == units, format!("units: {}", file["units"]));
    check(file["roots"] == serde_json::json!(["Measured features"]), format!("{}", file["roots"]));
    let dated = serde_json::json!([{ "scan date": "2026-02-28" }]);
    check(file["properties"] == dated, format!("properties {}", file["properties"]));
    let products = file["products"].as_array().cloned().unwrap_or_default();
    let found: Vec<&str> = products.iter().filter_map(|p| p["name"].as_str()).collect();
    let names: Vec<&str> = std::iter::once(COORDINATE_SYSTEM)
        .chain(features.iter().map(|f| f.name.as_str()))
        .collect();
    let other = found.iter().zip(&names).find(|(found, meant)| found != meant);
    let counts = format!("{} found, {} meant", found.len(), names.len());
    check(found == names, format!("names: {counts}, first difference {other:?}"));
    let by_name: BTreeMap<&str, &Value> = found.iter().copied().zip(&products).collect();
    let mut of_kind: BTreeMap<&str, String> = BTreeMap::new();
    for (f, e) in features.iter().zip(expected) {
        let Some(p) = by_name.get(f.name.as_str()) else { continue };
        let colours = colours(p);
        let same = of_kind.entry(&e.layer).or_insert_with(|| colours.join(" "));
        check(colours.len() == 1 && *same == colours[0], format!("{}: {colours:?}", f.name));
        faults_of(p, e, &mut |ok, what| check(ok, format!("{}: {what}", f.name)));
    }
    let different: BTreeSet<&String> = of_kind.values().collect();
    check(different.len() == of_kind.len(), format!("colours by kind: {of_kind:?}"));
    if let Some(p) = by_name.get(COORDINATE_SYSTEM) {
        faults_of(p, &axes(), &mut |ok, what| check(ok, format!("axes: {what}")));
        check(colours(p).len() == 4, format!("axes: {:?}", colours(p)));
    }
    faults
}

/// The different colours of a product.
fn colours(p: &Value) -> Vec<String> {
    let all = p["colours"].as_array().into_iter().flatten().filter_map(Value::as_array);
    let rgb: BTreeSet<String> = all.map(|c| format!("{:?}", &c[1..])).collect();
    rgb.into_iter().collect()
}

/// The machine's axes, 50 mm long, and its origin.
fn axes() -> Expected {
    let o = Point3::origin();
    let edges = [Vec3::x(), Vec3::y(), Vec3::z()].map(|d| Edge::Segment(o, o + d * 50.0)).to_vec();
    let layer = "coordinate system".into();
    Expected { layer, edges, points: vec![o], ..Expected::default() }
}

fn faults_of(p: &Value, e: &Expected, check: &mut dyn FnMut(bool, String)) {
    check(p["valid"] == true, "invalid".into());
    let found = p["properties"].as_object();
    check(found.map_or(0, |o| o.len()) == e.properties.len(), format!("{}", p["properties"]));
    for (property, value) in &e.properties {
        let found = &p["properties"][property];
        check(close(found, *value), format!("{property}: {found}, {value} meant"));
    }
    check(p["occurrence"] == p["name"], format!("occurrence {}", p["occurrence"]));
    let still =
        serde_json::json!([[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]]);
    check(p["placement"] == still, format!("placed at {}", p["placement"]));
    let layers: Vec<&str> =
        p["layers"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    check(!layers.is_empty() && layers.iter().all(|l| *l == e.layer), format!("layers {layers:?}"));
    let lists = [("faces", e.faces.len()), ("edges", e.edges.len()), ("vertices", e.points.len())];
    for (list, count) in lists {
        let found = p[list].as_array().map_or(0, Vec::len);
        check(found == count, format!("{found} {list}, {count} meant"));
    }
    let of = |list: &str| p[list].as_array().cloned().unwrap_or_default();
    of("faces").iter().zip(&e.faces).for_each(|(found, meant)| face(found, meant, check));
    of("edges").iter().zip(&e.edges).for_each(|(found, meant)| edge(found, meant, check));
    for (found, meant) in of("vertices").iter().zip(&e.points) {
        check(near(xyz(found), meant.coords), format!("point {found}, {meant} meant"));
    }
}

fn face(found: &Value, meant: &Face, check: &mut dyn FnMut(bool, String)) {
    check(
        found["surface"] == meant.surface,
        format!("{}, {} meant", found["surface"], meant.surface),
    );
    check(found["valid"] == true, "invalid face".into());
    check(found["right_handed"] == true, "left-handed surface".into());
    check(found["reversed"] == meant.reversed, format!("reversed {}", found["reversed"]));
    check(found["tolerance"].as_f64() == Some(1e-7), format!("tolerance {}", found["tolerance"]));
    check(
        close(&found["area"], meant.area),
        format!("area {}, {} meant", found["area"], meant.area),
    );
    // Both sides by quadrature; a wrong arc or half is off by far more.
    let off = (xyz(&found["centroid"]) - meant.centroid.coords).norm();
    check(off <= 1e-7 * (1.0 + meant.area.sqrt()), format!("centroid off by {off}"));
    let axis = meant.axis.unwrap_or(xyz(&found["axis"]));
    check((xyz(&found["axis"]) - axis).norm() <= RELATIVE, format!("axis {}", found["axis"]));
    let (at, itself) = meant.location;
    let apart = xyz(&found["location"]) - at.coords;
    let apart = if itself { apart } else { apart - axis * axis.dot(&apart) };
    check(apart.norm() <= RELATIVE * at.coords.norm(), format!("location {}", found["location"]));
    for (size, value) in &meant.sizes {
        let size_found = &found["sizes"][size];
        check(close(size_found, *value), format!("{size} {size_found}, {value} meant"));
    }
    if meant.surface == "cone" {
        let height = (xyz(&found["location"]) - at.coords).dot(&axis);
        let tan = meant.sizes[0].1.tan();
        let radius = &found["sizes"]["radius"];
        check(close(radius, height * tan), format!("radius {radius}, {} meant", height * tan));
    }
}

fn edge(found: &Value, meant: &Edge, check: &mut dyn FnMut(bool, String)) {
    let mut ends = |from: &Point3, to: &Point3| {
        let ok = near(xyz(&found["from"]), from.coords) && near(xyz(&found["to"]), to.coords);
        check(ok, format!("edge {} to {}", found["from"], found["to"]));
    };
    match meant {
        Edge::Segment(from, to) => {
            ends(from, to);
            let along = (to - from).normalize();
            let ok = found["curve"] == "line" && (xyz(&found["axis"]) - along).norm() <= RELATIVE;
            check(ok, format!("line {found}"));
        }
        Edge::Circle { centre, normal, radius, ends: arc } => {
            let turn =
                found["last"].as_f64().unwrap_or(0.0) - found["first"].as_f64().unwrap_or(0.0);
            match arc {
                Some((from, to)) => ends(from, to),
                None => {
                    check((turn - std::f64::consts::TAU).abs() <= RELATIVE, format!("turn {turn}"))
                }
            }
            let ok = found["curve"] == "circle"
                && near(xyz(&found["location"]), centre.coords)
                && (xyz(&found["axis"]) - normal).norm() <= RELATIVE
                && close(&found["radius"], *radius);
            check(ok, format!("circle {found}"));
        }
    }
}

fn close(found: &Value, meant: f64) -> bool {
    found.as_f64().is_some_and(|x| (x - meant).abs() <= RELATIVE * meant.abs())
}

fn near(found: Vec3, meant: Vec3) -> bool {
    (found - meant).norm() <= RELATIVE * meant.norm()
}

fn xyz(v: &Value) -> Vec3 {
    let c = |i: usize| v[i].as_f64().unwrap_or(f64::NAN);
    Vec3::new(c(0), c(1), c(2))
}

/// The Python to use, if it is named and has the kernel.
fn python() -> Option<String> {
    fitwright_tests::python_with(&["OCP.STEPCAFControl"])
}

fn read(python: &str, paths: &[PathBuf]) -> Result<Vec<Value>, Anything> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("python/step_read.py");
    let out = Command::new(python).arg(script).args(paths).output()?;
    if !out.status.success() {
        return Err(String::from_utf8_lossy(&out.stderr).into());
    }
    // The kernel may print before the result, which is the last line.
    let text = String::from_utf8(out.stdout)?;
    Ok(serde_json::from_str(text.lines().last().unwrap_or_default())?)
}

/// Times every form is drawn.
const ROUNDS: usize = 5;
/// Agreement asked for, relative to the value or its distance from the origin.
const RELATIVE: f64 = 1e-9;
const ODD_NAMES: [&str; 8] =
    ["", "Bohrung Ø8,5", "it's", "a\\b", "基準面", "\u{1F600} top", "tab\there", "#1=('x');"];
