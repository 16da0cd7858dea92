//! The written text, read by a small parser of its own: structure, references, and the turn of every loop.

use std::collections::{BTreeMap, BTreeSet};
use std::f64::consts::{FRAC_PI_2, PI, TAU};

use super::*;
use crate::associate::Covariance;
use crate::feature::FeatureKind;
use crate::primitive::{
    Bounded, Circle, Cone, Cylinder, Extent, Line, Plane, Primitive, Sphere, Torus, frame_from_axis,
};

type Tested<T> = std::result::Result<T, Box<dyn std::error::Error>>;

/// Entities of a file: name and arguments as written.
struct Parsed(BTreeMap<usize, (String, String)>);

impl Parsed {
    fn new(text: &str) -> Tested<Self> {
        let data = text.split_once("DATA;\n").and_then(|(_, d)| d.split_once("ENDSEC;"));
        let mut entities = BTreeMap::new();
        for line in data.ok_or("no data")?.0.lines() {
            let (id, body) = line.strip_prefix('#').and_then(|l| l.split_once('=')).ok_or(line)?;
            let body = body.strip_suffix(';').ok_or(line)?;
            let (name, arguments) = body.split_once('(').ok_or(line)?;
            let arguments = arguments.strip_suffix(')').ok_or(line)?;
            let entity = (name.to_owned(), arguments.to_owned());
            assert!(entities.insert(id.parse()?, entity).is_none(), "{line}");
        }
        Ok(Parsed(entities))
    }

    fn of(&self, name: &str) -> Vec<usize> {
        self.0.iter().filter(|(_, e)| e.0 == name).map(|(id, _)| *id).collect()
    }

    /// Numbers of the entities an entity refers to, in order.
    fn references(&self, id: usize) -> Vec<usize> {
        let (_, arguments) = &self.0[&id];
        let bare: String = arguments.split('\'').step_by(2).collect();
        let digits = |s: &str| s.chars().take_while(char::is_ascii_digit).collect::<String>();
        bare.split('#').skip(1).filter_map(|s| digits(s).parse().ok()).collect()
    }

    /// Numbers at the end of an entity.
    fn numbers(&self, id: usize) -> Vec<f64> {
        let all = self.0[&id].1.split([',', '(', ')']);
        all.filter(|s| !s.starts_with('#')).filter_map(|s| s.parse().ok()).collect()
    }

    fn vector(&self, id: usize) -> Vec3 {
        Vec3::from_column_slice(&self.numbers(id)[..3])
    }

    fn placement(&self, id: usize) -> [Vec3; 4] {
        let parts = self.references(id);
        let [o, z, x] = [0, 1, 2].map(|i| self.vector(parts[i]));
        [o, x, z.cross(&x), z]
    }

    fn is_true(&self, id: usize) -> bool {
        self.0[&id].1.ends_with(".T.")
    }
}

/// Area of each loop of a face in the parameters of its surface, positive for counter-clockwise
/// seen against the normal of the face.
fn turns(file: &Parsed, face: usize) -> Vec<f64> {
    let mut bounds = file.references(face);
    let surface = bounds.pop().expect("a surface");
    let sense = if file.is_true(face) { 1.0 } else { -1.0 };
    let turn = |bound: &usize| {
        let ring = file.references(*bound)[0];
        let along = if file.is_true(*bound) { 1.0 } else { -1.0 };
        sense * along * area(&boundary(file, surface, ring, sense))
    };
    bounds.iter().map(turn).collect()
}

/// Points along a loop as (u, v), unwrapped; over a north pole u jumps as the loop should turn.
fn boundary(file: &Parsed, surface: usize, ring: usize, sense: f64) -> Vec<[f64; 2]> {
    let mut path: Vec<[f64; 2]> = Vec::new();
    let mut last_end = None;
    let is_sphere = file.0[&surface].0 == "SPHERICAL_SURFACE";
    for oriented in file.references(ring) {
        let mut points = edge_points(file, file.references(oriented)[0]);
        if !file.is_true(oriented) {
            points.reverse();
        }
        // Edges must join.
        if let Some(end) = last_end {
            let gap: f64 = (points[0] - end as Vec3).norm();
            assert!(gap < 1e-9, "gap of {gap} in loop #{ring}");
        }
        last_end = points.last().copied();
        // The inner points only: u means nothing at a pole.
        for (i, p) in points[1..points.len() - 1].iter().enumerate() {
            let [u, v] = parameters(file, surface, p);
            let near = |x: f64, to: f64, period: Option<f64>| {
                period.map_or(x, |p| x + p * ((to - x) / p).round())
            };
            let (pu, pv) = periods(file, surface);
            let north = |v: f64| is_sphere && v > FRAC_PI_2 - 0.02;
            path.push(match path.last() {
                Some(q) if i == 0 && north(q[1]) && north(v) => {
                    let back = (sense * (q[0] - u) - 0.01).rem_euclid(TAU) + 0.01;
                    [q[0] - sense * back, v]
                }
                Some(q) => [near(u, q[0], pu), near(v, q[1], pv)],
                None => [u, v],
            });
        }
    }
    path
}

/// Points of an edge from its first vertex to its second.
fn edge_points(file: &Parsed, edge: usize) -> Vec<Vec3> {
    let parts = file.references(edge);
    let end = |i: usize| file.vector(file.references(parts[i])[0]);
    let (from, to, curve) = (end(0), end(1), parts[2]);
    assert!(file.is_true(edge));
    let steps = (0..=STEPS).map(|i| f64::from(i) / f64::from(STEPS));
    if file.0[&curve].0 == "LINE" {
        return steps.map(|t| from + (to - from) * t).collect();
    }
    let [o, x, y, _] = file.placement(file.references(curve)[0]);
    let radius = file.numbers(curve)[0];
    let angle = |p: Vec3| (p - o).dot(&y).atan2((p - o).dot(&x));
    let first = angle(from);
    let turn = if parts[0] == parts[1] { TAU } else { (angle(to) - first).rem_euclid(TAU) };
    let at = |t: f64| o + (x * (first + turn * t).cos() + y * (first + turn * t).sin()) * radius;
    steps.map(at).collect()
}

/// (u, v) of ISO 10303-42 of a point on a surface.
fn parameters(file: &Parsed, surface: usize, p: &Vec3) -> [f64; 2] {
    let [o, x, y, z] = file.placement(file.references(surface)[0]);
    let d = p - o;
    let (a, b, h) = (d.dot(&x), d.dot(&y), d.dot(&z));
    let size = file.numbers(surface);
    let (u, rho) = (b.atan2(a), a.hypot(b));
    let (uv, off) = match file.0[&surface].0.as_str() {
        "PLANE" => ([a, b], h),
        "CYLINDRICAL_SURFACE" => ([u, h], rho - size[0]),
        "CONICAL_SURFACE" => ([u, h], rho - size[0] - h * size[1].tan()),
        "SPHERICAL_SURFACE" => ([u, h.atan2(rho)], rho.hypot(h) - size[0]),
        _ => {
            let v = h.atan2(rho - size[0]);
            ([u, v], (rho - size[0]).hypot(h) - size[1])
        }
    };
    assert!(off.abs() < 1e-9, "{off} off surface #{surface}");
    uv
}

fn periods(file: &Parsed, surface: usize) -> (Option<f64>, Option<f64>) {
    match file.0[&surface].0.as_str() {
        "PLANE" => (None, None),
        "TOROIDAL_SURFACE" => (Some(TAU), Some(TAU)),
        _ => (Some(TAU), None),
    }
}

fn area(path: &[[f64; 2]]) -> f64 {
    let next = path.iter().cycle().skip(1);
    path.iter().zip(next).map(|(p, q)| p[0] * q[1] - q[0] * p[1]).sum::<f64>() / 2.0
}

fn axes() -> (Direction, Direction) {
    let z = Direction::new_normalize(Vec3::new(0.3, -0.5, 0.7));
    (z, Direction::new_normalize(frame_from_axis(&z) * Vec3::new(0.6, 0.8, 0.0)))
}

fn patch(shape: impl Into<Primitive>, u: (f64, f64), v: (f64, f64)) -> Bounded {
    let (pole, zero) = axes();
    Bounded { shape: shape.into(), extent: Extent::Patch { zero, pole, u, v } }
}

fn whole(shape: impl Into<Primitive>) -> Bounded {
    Bounded { shape: shape.into(), extent: Extent::Whole }
}

fn feature(name: &str, kind: FeatureKind, pieces: Vec<Bounded>) -> Feature {
    let shape = pieces[0].shape.clone();
    let covariance = Covariance::zero(shape.point());
    Feature {
        name: name.into(),
        kind,
        fitter: "test".into(),
        shape,
        pieces,
        covariance,
        quality: None,
        noise: None,
        notes: vec![],
    }
}

const O: Point3 = Point3::new(120.0, -35.0, 8.0);

fn cylinder() -> Cylinder {
    Cylinder { point: O, axis: axes().0, radius: 5.0 }
}

fn cone() -> Cone {
    Cone { point: O, axis: axes().0, radius: 4.0, half_angle: 0.5 }
}

fn sphere() -> Sphere {
    Sphere { centre: O, radius: 7.0 }
}

fn torus() -> Torus {
    Torus { centre: O, axis: axes().0, major_radius: 20.0, minor_radius: 3.0 }
}

fn tip() -> f64 {
    -4.0 / 0.5_f64.tan()
}

fn square(flipped: bool) -> Bounded {
    let (normal, _) = axes();
    let frame = frame_from_axis(&normal);
    let ring = |a: f64, b: f64| {
        let corners = [[a, a], [b, a], [b, b], [a, b]];
        let mut ring = corners.map(|[x, y]| O + frame * Vec3::new(x, y, 0.0)).to_vec();
        if flipped {
            ring.reverse();
        }
        ring
    };
    let loops = vec![ring(-10.0, 10.0), ring(1.0, 4.0)];
    Bounded { shape: Plane { point: O, normal }.into(), extent: Extent::Outline(loops) }
}

/// Every loop turns as ISO 10303-42 asks (readers mend it silently, so none of them shows it).
#[test]
fn loops_turn_the_right_way_round() -> Tested<()> {
    let parts = [(-0.4, 1.1), (2.5, 7.0), (-PI, PI)];
    let latitudes = [(-0.3, 0.9), (-FRAC_PI_2, 0.4), (-0.4, FRAC_PI_2)];
    let mut pieces = vec![];
    for u in parts {
        pieces.extend([patch(cylinder(), u, (-3.0, 8.0)), patch(cone(), u, (-1.0, 8.0))]);
        pieces.push(patch(cone(), u, (tip(), 8.0)));
        pieces.extend(latitudes.map(|v| patch(sphere(), u, v)));
        pieces.extend([(-0.5, 1.0), (2.0, 5.0), (0.3, 0.3 + TAU)].map(|v| patch(torus(), u, v)));
    }
    pieces.push(patch(sphere(), (-0.4, 1.1), (-FRAC_PI_2, FRAC_PI_2)));
    for kind in [FeatureKind::Composite, FeatureKind::Hole] {
        let file = Parsed::new(&step_text(&[feature("f", kind, pieces.clone())], &options())?)?;
        let faces = file.of("ADVANCED_FACE");
        // The whole torus is two faces.
        assert_eq!(faces.len(), pieces.len() + 1);
        let meant = pieces.iter().flat_map(parameter_areas);
        for (face, meant) in faces.into_iter().zip(meant) {
            assert_eq!(file.is_true(face), kind != FeatureKind::Hole);
            let turns = turns(&file, face);
            let ok = turns.len() == 1 && (turns[0] / meant - 1.0).abs() < 0.02;
            assert!(ok, "face #{face}: {turns:?}, {meant} meant");
        }
    }
    for flipped in [false, true] {
        let file = Parsed::new(&step_text(
            &[feature("f", FeatureKind::Plane, vec![square(flipped)])],
            &options(),
        )?)?;
        let turns = turns(&file, file.of("ADVANCED_FACE")[0]);
        assert!(turns.len() == 2 && turns[0] > 350.0 && turns[1] < -5.0, "{turns:?}");
    }
    Ok(())
}

/// Area of a patch in (u, v), halved where it is written as two faces.
fn parameter_areas(piece: &Bounded) -> Vec<f64> {
    let Extent::Patch { u, v, .. } = &piece.extent else { return vec![] };
    let area = (u.1 - u.0) * (v.1 - v.0);
    let whole = u.1 - u.0 == TAU && v.1 - v.0 == TAU;
    if whole { vec![area / 2.0; 2] } else { vec![area] }
}

fn options() -> StepOptions {
    StepOptions::default()
}

fn hole() -> Vec<Bounded> {
    let c = cylinder();
    let rim = Circle { centre: c.point, normal: c.axis, radius: c.radius };
    let axis = Line { point: c.point, direction: c.axis };
    let axis = Bounded { shape: axis.into(), extent: Extent::Segment(0.0, 9.0) };
    vec![patch(c, (0.0, TAU), (0.0, 9.0)), whole(rim), axis]
}

#[test]
fn one_product_a_feature_and_all_references_hold() -> Tested<()> {
    let point = Sphere { centre: O, radius: 0.0 };
    let mut features = vec![
        feature("plane", FeatureKind::Plane, vec![square(false)]),
        feature("hole", FeatureKind::Hole, hole()),
        feature("point", FeatureKind::Point, vec![whole(point)]),
        feature("ball", FeatureKind::Sphere, vec![whole(sphere())]),
    ];
    features[3].covariance.matrix[(0, 0)] = 1e-4;
    let text = step_text(&features, &options())?;
    assert!(text.is_ascii());
    let file = Parsed::new(&text)?;
    for id in file.0.keys() {
        // Only what stands before: no reference is missing, none is circular.
        assert!(file.references(*id).iter().all(|r| r < id), "#{id}");
    }
    let counts = [
        // Four features, the coordinate system, the assembly.
        ("PRODUCT", 6),
        ("NEXT_ASSEMBLY_USAGE_OCCURRENCE", 5),
        ("SHELL_BASED_SURFACE_MODEL", 3),
        ("GEOMETRIC_CURVE_SET", 3),
        ("MANIFOLD_SURFACE_SHAPE_REPRESENTATION", 2),
        ("GEOMETRICALLY_BOUNDED_WIREFRAME_SHAPE_REPRESENTATION", 2),
        ("SHAPE_REPRESENTATION", 2),
        ("VERTEX_LOOP", 1),
        // Six models and sets, the three axes.
        ("STYLED_ITEM", 9),
        ("PRESENTATION_LAYER_ASSIGNMENT", 5),
        // Position and radius; a sphere has no direction.
        ("PROPERTY_DEFINITION", 2),
        ("TRIMMED_CURVE", 4),
    ];
    for (name, count) in counts {
        assert_eq!(file.of(name).len(), count, "{name}");
    }
    let ids: BTreeSet<&str> =
        file.of("PRODUCT").iter().filter_map(|p| file.0[p].1.split(',').next()).collect();
    assert_eq!(ids.len(), 6);
    // A hole is wall, rim, axis and centre in one product.
    let set = file.of("GEOMETRIC_CURVE_SET")[1];
    let kinds: Vec<&str> = file.references(set).iter().map(|r| file.0[r].0.as_str()).collect();
    assert_eq!(kinds, ["CIRCLE", "TRIMMED_CURVE", "CARTESIAN_POINT"]);
    Ok(())
}

#[test]
fn options_show_in_the_file() -> Tested<()> {
    let mut o = options();
    o.schema = StepSchema::Ap214;
    o.title = "Mühle".into();
    o.date = Some("2026-03-01T08:00:00+01:00".into());
    o.scan_date = Some("2026-02-28".into());
    let text = step_text(&[], &o)?;
    for part in [
        "AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 }",
        r"FILE_NAME('M\X2\00FC\X0\hle','2026-03-01T08:00:00+01:00'",
        "'2026-02-28'",
    ] {
        assert!(text.contains(part), "{part}");
    }
    o.full = true;
    let pieces = vec![
        patch(cylinder(), (0.0, 1.0), (0.0, 5.0)),
        patch(sphere(), (0.0, 1.0), (0.0, 0.5)),
        patch(torus(), (0.0, 1.0), (0.0, 0.5)),
    ];
    let file = Parsed::new(&step_text(&[feature("f", FeatureKind::Composite, pieces)], &o)?)?;
    assert_eq!(file.of("VERTEX_LOOP").len(), 1);
    let closed = |e: &&usize| file.references(**e)[0] == file.references(**e)[1];
    // Cylinder: both ends; torus: both ends of the bend.
    assert_eq!(file.of("EDGE_CURVE").iter().filter(closed).count(), 4);
    Ok(())
}

#[test]
fn names_must_be_unique() {
    let f = |name: &str| feature(name, FeatureKind::Sphere, vec![whole(sphere())]);
    for names in [["a", "a"], ["a", COORDINATE_SYSTEM], ["Measured features", "b"]] {
        let result = step_text(&names.map(f), &options());
        assert!(matches!(result, Err(Error::DuplicateName { kind: "feature", .. })), "{names:?}");
    }
}

/// Each refusal names the feature and the field.
#[test]
fn bad_input_is_named() {
    let arc = |from, to| Bounded {
        shape: Circle { centre: O, normal: axes().0, radius: 2.0 }.into(),
        extent: Extent::Arc { zero: axes().1, from, to },
    };
    let line = |a, b| Bounded {
        shape: Line { point: O, direction: axes().0 }.into(),
        extent: Extent::Segment(a, b),
    };
    let nan = Point3::new(f64::NAN, 0.0, 0.0);
    let along = {
        let (pole, _) = axes();
        let extent = Extent::Patch { zero: pole, pole, u: (0.0, 1.0), v: (0.0, 1.0) };
        Bounded { shape: cylinder().into(), extent }
    };
    let cases = [
        (whole(Sphere { centre: nan, radius: 1.0 }), "centre"),
        (whole(Sphere { centre: O, radius: f64::INFINITY }), "radius"),
        (whole(Sphere { centre: O, radius: -1.0 }), "radius"),
        (whole(Torus { major_radius: 2.0, ..torus() }), "major_radius"),
        (patch(Cone { half_angle: -0.2, ..cone() }, (0.0, 1.0), (0.0, 1.0)), "half_angle"),
        (patch(cone(), (0.0, 1.0), (tip() - 5.0, tip() - 1.0)), "u"),
        (patch(cylinder(), (0.0, f64::NAN), (0.0, 1.0)), "u"),
        (patch(cylinder(), (0.0, 7.0), (0.0, 1.0)), "u"),
        (patch(cylinder(), (1.0, 0.0), (0.0, 1.0)), "u"),
        (patch(cylinder(), (0.0, 1.0), (1.0, 1.0)), "v"),
        (patch(sphere(), (0.0, 1.0), (0.0, 2.0)), "v"),
        (patch(torus(), (0.0, 1.0), (0.0, 7.0)), "v"),
        (along, "zero"),
        (whole(cylinder()), "extent"),
        (whole(Plane { point: O, normal: axes().0 }), "extent"),
        (arc(1.0, 1.0), "arc"),
        (arc(0.0, 6.5), "arc"),
        (line(1.0, 1.0), "segment"),
        (line(1.0, f64::NEG_INFINITY), "segment"),
        (line(-f64::MAX, f64::MAX), "(line)"),
    ];
    for (piece, field) in cases {
        let shown = format!("{piece:?}");
        let result = step_text(&[feature("deck", FeatureKind::Composite, vec![piece])], &options());
        let Err(Error::Argument { name, .. }) = result else { panic!("accepted: {shown}") };
        assert!(name.contains("\"deck\"") && name.ends_with(field), "{name} for {shown}");
    }
}

#[test]
fn bad_options_are_refused() {
    let f = |change: fn(&mut StepOptions)| {
        let mut o = options();
        change(&mut o);
        o
    };
    for o in [
        f(|o| o.precision = 0.0),
        f(|o| o.axis_length = f64::NAN),
        f(|o| o.title = "  ".into()),
        f(|o| o.title = COORDINATE_SYSTEM.into()),
        f(|o| o.date = Some("1 March".into())),
        f(|o| o.date = Some("2026-03-01T".into())),
        f(|o| o.scan_date = Some("2026-3-1".into())),
    ] {
        assert!(matches!(step_text(&[], &o), Err(Error::Argument { .. })), "{o:?}");
    }
    let nul = feature("a\0b", FeatureKind::Sphere, vec![whole(sphere())]);
    assert!(matches!(step_text(&[nul], &options()), Err(Error::Argument { .. })));
}

#[test]
fn a_file_is_in_machine_coordinates_and_the_same_each_time() -> Tested<()> {
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("f.step");
    let pose = Pose::new(Vec3::new(1.0, 2.0, 3.0), Vec3::new(0.1, 0.2, 0.3));
    let features = [feature("hole", FeatureKind::Hole, hole())];
    write_step(&path, &pose, &features, &options())?;
    let moved = features.map(|f| f.transformed(&pose));
    assert_eq!(std::fs::read_to_string(&path)?, step_text(&moved, &options())?);
    Ok(())
}

/// Points along an edge.
const STEPS: u32 = 400;
