//! A made-up outcome for the tests: a cast deck with two bosses, a pipe and a tie bar, a plate over it.

use std::f64::consts::TAU;

use nalgebra::{SMatrix, Translation3};

use crate::associate::{Covariance, Quality};
use crate::datum::{DatumSystem, Squareness};
use crate::exchange::{Part, PartHole};
use crate::feature::{Feature, FeatureKind, Relation};
use crate::fitcheck::{DeviationMap, Finding, PathPose, Verdict};
use crate::job::{FeatureOutcome, MadeOutcome, OtherPartOutcome, Outcome, ScanOutcome};
use crate::primitive::{
    Bounded, Circle, Cylinder, Direction, Extent, Line, Plane, Point3, Pose, Primitive, Vec3,
};
use crate::scan::Scan;
use crate::units::{AngleUnit, LengthUnit};

/// Nothing but a name.
pub(super) fn empty() -> Outcome {
    Outcome {
        job: "Nothing yet".into(),
        length: LengthUnit::Millimetre,
        angle: AngleUnit::Degree,
        scans: Vec::new(),
        adjusted: None,
        machine_from_scan: Pose::identity(),
        datum: None,
        features: Vec::new(),
        groups: Vec::new(),
        relations: Vec::new(),
        part: None,
        other_parts: Vec::new(),
        taken_off: Vec::new(),
        checked_from_designed: None,
        part_clearance: Vec::new(),
        required_clearance: None,
        made: None,
        findings: Vec::new(),
        verdict: Verdict::Pass,
        joined: None,
        saved: None,
        again: None,
        output: Default::default(),
    }
}

/// Features, part and all three verdicts, without scans.
pub(super) fn outcome() -> Outcome {
    let part = plate();
    let part_clearance = part.points.iter().map(air).collect();
    let findings = findings();
    Outcome {
        job: "Speed sensor bracket, mill gearbox".into(),
        datum: Some(datum()),
        features: features(),
        relations: relations(),
        part: Some(part),
        part_clearance,
        required_clearance: Some(3.0),
        verdict: Verdict::worst(findings.iter().map(|f| f.verdict)),
        findings,
        ..empty()
    }
}

/// The same with another part that it touches, a way in that is not certain, and a scan of the part as it was made,
/// half of it seen.
pub(super) fn whole() -> crate::error::Result<Outcome> {
    let mut whole = outcome();
    let Some(part) = &whole.part else { return Ok(whole) };
    let shift = |by: f64| Pose::translation(0.0, 0.0, by);
    whole.other_parts = vec![OtherPartOutcome {
        name: "sensor".into(),
        part: part.transformed(&shift(40.0)),
        keep_clear: None,
        touches: true,
    }];
    whole.taken_off = vec!["tie bar".into()];
    let mut way = Finding::new("insertion", "part");
    way.verdict = Verdict::Undecided;
    way.detail = "12 of 1000 straight directions lead out with 1.00 mm of air".into();
    let stop = |z: f64| PathPose { machine_from_part: shift(z), clearance: 1.0 + z };
    way.path = [60.0, 40.0, 20.0, 0.0].map(stop).to_vec();
    whole.findings.push(way);
    let deviation =
        |k: usize| if k.is_multiple_of(2) { f64::NAN } else { 0.1 * (k % 13) as f64 - 0.6 };
    whole.made = Some(MadeOutcome {
        file: "made.ply".into(),
        scan: Scan::from_mesh(part.points.clone(), part.triangles.clone())?,
        part_from_scan: Pose::identity(),
        deviation: vec![0.0; part.points.len()],
        map: DeviationMap {
            points: part.points.clone(),
            triangles: part.triangles.clone(),
            deviation: (0..part.triangles.len()).map(deviation).collect(),
        },
        tolerance: Some(0.2),
    });
    Ok(whole)
}

/// The same with a scan of the surface, placed by the identity; `fine` points to a millimetre.
pub(super) fn scanned(fine: u32) -> crate::error::Result<Outcome> {
    let (points, triangles) = surface(fine);
    let front = ScanOutcome {
        length_error: None,
        name: "front".into(),
        file: "front.ply".into(),
        scan: Scan::from_mesh(points, triangles)?,
        first_from_this: Pose::identity(),
        join: None,
        join_features: Vec::new(),
        join_candidates: Vec::new(),
        spread: None,
    };
    Ok(Outcome { scans: vec![front], ..outcome() })
}

/// Surface of the machine as a height over x and y with one hole in each boss, mm.
pub(super) fn height(x: f64, y: f64) -> Option<f64> {
    let disc = |cx: f64, cy: f64, r: f64| (x - cx).hypot(y - cy) < r;
    if disc(60.0, 60.0, 4.25) || disc(170.0, 90.0, 4.25) {
        return None;
    }
    let bar = |d: f64, r: f64, z: f64| {
        z + (r * r - d * d).max(0.0).sqrt() - if d.abs() > r { 1e3 } else { 0.0 }
    };
    let tops = [
        0.0,
        if disc(60.0, 60.0, 18.0) { 20.0 } else { 0.0 },
        if disc(170.0, 90.0, 18.0) { 23.0 + 0.01 * (x - 170.0) } else { 0.0 },
        bar(x - 118.0, 14.0, 5.0),
        bar(y - 128.0 - 0.1 * x, 5.0, 24.0),
    ];
    tops.into_iter().reduce(f64::max)
}

/// Points and triangles of a scan of it, about one point a millimetre, outside upwards.
pub(super) fn surface(fine: u32) -> (Vec<Point3>, Vec<[u32; 3]>) {
    let (nx, ny) = (240 * fine, 170 * fine);
    let mut seed = 1u32;
    let mut noise = || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (f64::from(seed >> 8) / f64::from(1 << 24) - 0.5) * 0.08
    };
    let mut points = Vec::new();
    let mut seen = Vec::new();
    for j in 0..=ny {
        for i in 0..=nx {
            let (x, y) = (f64::from(i) / f64::from(fine), f64::from(j) / f64::from(fine));
            seen.push(height(x, y).is_some());
            points.push(Point3::new(x, y, height(x, y).unwrap_or(0.0) + noise()));
        }
    }
    let mut triangles = Vec::new();
    for j in 0..ny {
        for i in 0..nx {
            let a = j * (nx + 1) + i;
            let (b, c, d) = (a + 1, a + nx + 2, a + nx + 1);
            for t in [[a, b, c], [a, c, d]] {
                if t.iter().all(|k| seen[*k as usize]) {
                    triangles.push(t);
                }
            }
        }
    }
    (points, triangles)
}

/// Height over the surface, negative under it.
fn air(p: &Point3) -> f64 {
    let seat = (p.x - 60.0).hypot(p.y - 60.0) < 19.0 || (p.x - 170.0).hypot(p.y - 90.0) < 19.0;
    let under = if seat { 0.0 } else { height(p.x, p.y).unwrap_or(0.0) };
    p.z - under
}

/// A plate of fine square patches from (35, 40, 23.2) to (200, 135, 29).
fn plate() -> Part {
    let (low, high) = (Vec3::new(35.0, 40.0, 23.2), Vec3::new(200.0, 135.0, 29.0));
    let mut points = Vec::new();
    let mut triangles = Vec::new();
    for axis in 0..3 {
        for (end, flip) in [(low[axis], true), (high[axis], false)] {
            let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
            let cells = |k: usize| ((high[k] - low[k]) / 2.0).ceil() as u32;
            let (nu, nv) = (cells(u), cells(v));
            let first = points.len() as u32;
            for j in 0..=nv {
                for i in 0..=nu {
                    let mut p = Vec3::zeros();
                    p[axis] = end;
                    p[u] = low[u] + (high[u] - low[u]) * f64::from(i) / f64::from(nu);
                    p[v] = low[v] + (high[v] - low[v]) * f64::from(j) / f64::from(nv);
                    points.push(Point3::from(p));
                }
            }
            for j in 0..nv {
                for i in 0..nu {
                    let a = first + j * (nu + 1) + i;
                    let (b, c, d) = (a + 1, a + nu + 2, a + nu + 1);
                    let pair = [[a, b, c], [a, c, d]];
                    triangles
                        .extend(pair.map(|[a, b, c]| if flip { [a, c, b] } else { [a, b, c] }));
                }
            }
        }
    }
    let hole = |x: f64, y: f64| PartHole {
        point: Point3::new(x, y, 26.1),
        axis: Vec3::z_axis(),
        radius: 4.5,
        depth: 5.8,
    };
    Part {
        file: "bracket.step".into(),
        points,
        triangles,
        face_of_triangle: Vec::new(),
        faces: Vec::new(),
        holes: vec![hole(60.05, 60.1), hole(171.4, 90.6)],
        schema: "AP242".into(),
        solids: 1,
        chord_error: 0.01,
        notes: vec!["one face healed".into()],
    }
}

fn covariance(at: Point3, place: f64, turn: f64, size: f64) -> Covariance {
    let mut matrix = SMatrix::zeros();
    for i in 0..3 {
        matrix[(i, i)] = place * place;
        matrix[(3 + i, 3 + i)] = turn * turn;
    }
    matrix[(6, 6)] = size * size;
    Covariance { at, matrix }
}

fn quality(points: usize, rejected: usize, rms: f64, arc: f64) -> Option<Quality> {
    Some(Quality {
        points,
        rejected,
        rms,
        largest: 3.4 * rms,
        arc,
        converged: true,
        ..Quality::default()
    })
}

fn feature(
    name: &str,
    kind: FeatureKind,
    shape: Primitive,
    pieces: Vec<Bounded>,
    quality: Option<Quality>,
    notes: &[&str],
) -> FeatureOutcome {
    let size = if kind == FeatureKind::Plane { 0.0 } else { 0.008 };
    let fitter = if quality.is_some() {
        format!("builtin.{}", kind.name())
    } else {
        "construction.line".into()
    };
    let covariance = covariance(shape.point(), 0.011, 0.000_21, size);
    let notes = notes.iter().map(|n| (*n).into()).collect();
    FeatureOutcome {
        scanner: 0.0,
        scan: None,
        surface: Vec::new(),
        keep_clear: (name == "pipe").then_some(6.0),
        held: None,
        cost: None,
        feature: Feature {
            noise: None,
            name: name.into(),
            kind,
            fitter,
            shape,
            pieces,
            covariance,
            quality,
            notes,
        },
    }
}

fn features() -> Vec<FeatureOutcome> {
    let z = Vec3::z_axis();
    let face = |name: &str, c: Point3, r: f64, normal: Direction| {
        let ring = (0..24)
            .map(|i| TAU * f64::from(i) / 24.0)
            .map(|a| c + Vec3::new(r * a.cos(), r * a.sin(), 0.0))
            .collect();
        let shape = Primitive::from(Plane { point: c, normal });
        let piece = Bounded { shape: shape.clone(), extent: Extent::Outline(vec![ring]) };
        feature(name, FeatureKind::Plane, shape, vec![piece], quality(1412, 9, 0.024, TAU), &[])
    };
    let hole = |name: &str, c: Point3, arc: f64, notes: &[&str]| {
        let wall = Primitive::from(Cylinder { point: c, axis: z, radius: 4.25 });
        let rim = Primitive::from(Circle { centre: c, normal: z, radius: 4.25 });
        let patch = Extent::Patch { zero: Vec3::x_axis(), pole: z, u: (0.0, TAU), v: (-14.0, 0.0) };
        let axis = Primitive::from(Line { point: c, direction: z });
        let pieces = vec![
            Bounded { shape: wall.clone(), extent: patch },
            Bounded { shape: rim, extent: Extent::Whole },
            Bounded { shape: axis, extent: Extent::Segment(-16.0, 14.0) },
        ];
        feature(name, FeatureKind::Hole, wall, pieces, quality(812, 31, 0.031, arc), notes)
    };
    let pipe = Primitive::from(Cylinder {
        point: Point3::new(118.0, 60.0, 5.0),
        axis: Vec3::y_axis(),
        radius: 14.0,
    });
    let patch = Extent::Patch {
        zero: Vec3::x_axis(),
        pole: Vec3::y_axis(),
        u: (-std::f64::consts::PI, 0.0),
        v: (-58.0, 100.0),
    };
    let edge =
        Primitive::from(Line { point: Point3::new(0.0, 0.0, 0.0), direction: Vec3::x_axis() });
    vec![
        face("deck", Point3::new(30.0, 120.0, 0.0), 22.0, z),
        face("boss A", Point3::new(60.0, 60.0, 20.0), 16.0, z),
        face(
            "boss B",
            Point3::new(170.0, 90.0, 23.0),
            16.0,
            Direction::new_normalize(Vec3::new(-0.01, 0.0, 1.0)),
        ),
        hole("hole A", Point3::new(60.0, 60.0, 20.0), 4.1, &[]),
        hole(
            "hole B",
            Point3::new(170.0, 90.0, 23.0),
            1.3,
            &["arc of 74 deg only: radius is weak", "62 points left out"],
        ),
        feature(
            "pipe",
            FeatureKind::Cylinder,
            pipe.clone(),
            vec![Bounded { shape: pipe, extent: patch }],
            quality(5210, 12, 0.029, 2.9),
            &[],
        ),
        feature(
            "front edge",
            FeatureKind::Line,
            edge.clone(),
            vec![Bounded { shape: edge, extent: Extent::Segment(0.0, 240.0) }],
            None,
            &[],
        ),
    ]
}

fn relations() -> Vec<Relation> {
    let relation = |a: &str, b: &str, distance: f64, measure, angle: Option<f64>| Relation {
        a: a.into(),
        b: b.into(),
        angle,
        angle_uncertainty: angle.map(|_| 0.0006),
        distance,
        distance_uncertainty: 0.034,
        measure,
    };
    vec![
        relation("deck", "boss A", 20.0123, "middle of b from plane a", Some(0.0011)),
        relation("deck", "boss B", 23.0312, "middle of b from plane a", Some(0.0099)),
        relation("boss A", "boss B", 3.0101, "middle of b from plane a", Some(0.0101)),
        relation("hole A", "hole B", 114.018, "between axes", Some(0.0101)),
        relation("front edge", "hole A", 60.004, "from point to line", None),
    ]
}

fn datum() -> DatumSystem {
    let turn = Pose::rotation(Vec3::new(0.1, -0.2, 0.7));
    DatumSystem {
        machine_from_scan: Translation3::new(410.0, -120.5, 33.25) * turn,
        covariance: covariance(Point3::origin(), 0.012, 0.000_15, 0.0),
        squareness: vec![Squareness {
            a: "deck".into(),
            b: "hole A".into(),
            angle: 0.0031,
            deviation: 0.0031,
            uncertainty: 0.0006,
        }],
        taken: vec![
            "deck gives +z: two rotations and the shift along z".into(),
            "front edge gives +x: the last rotation".into(),
            "hole A sets the origin: the shifts along x and y".into(),
        ],
    }
}

fn findings() -> Vec<Finding> {
    let p = |x: f64, y: f64, z: f64| Some(Point3::new(x, y, z));
    let found = |kind,
                 name: &str,
                 verdict,
                 numbers: [Option<f64>; 3],
                 at,
                 to,
                 detail: &str,
                 remedy: &str| {
        let [value, uncertainty, limit] = numbers;
        let (name, detail, remedy): (String, _, _) = (name.into(), detail.into(), remedy.into());
        let extent = (kind == "interference").then_some(163.0);
        let points = extent.map(|_| 1240);
        Finding {
            verdict,
            value,
            uncertainty,
            limit,
            at,
            to,
            extent,
            points,
            detail,
            remedy,
            ..Finding::new(kind, name)
        }
    };
    let n = |v: f64, u: f64, l: f64| [Some(v), Some(u), Some(l)];
    vec![
        found(
            "interference",
            "tie bar",
            Verdict::Fail,
            n(5.31, 0.062, 0.0),
            p(80.0, 135.0, 23.7),
            p(80.0, 135.6, 29.0),
            "The tie bar stands 5.31 mm into the part over a patch of 163 x 8 mm.",
            "Cut the part back by at least 5.4 mm along its edge, or move the tie bar.",
        ),
        found(
            "hole",
            "hole B",
            Verdict::Fail,
            n(-1.27, 0.11, 0.0),
            p(171.4, 90.6, 23.2),
            p(170.0, 90.0, 23.0),
            "An M8 bolt does not pass: the part's hole is 1.52 mm beside the scanned axis, 0.25 mm are free.",
            "Move the hole by (-1.4, -0.6), or make it a slot.",
        ),
        found(
            "clearance",
            "pipe",
            Verdict::Undecided,
            n(2.97, 0.09, 3.0),
            p(118.0, 80.0, 23.2),
            p(118.0, 80.0, 19.0),
            "The least clearance to the pipe is within its uncertainty of the limit.",
            "Scan the crown of the pipe again from above, or take 0.2 mm off the part there.",
        ),
        found(
            "coverage",
            "under the plate",
            Verdict::Undecided,
            [None; 3],
            p(140.0, 60.0, 23.2),
            None,
            "The scanner saw nothing within 8 mm of this place of the part.",
            "Scan from below between the bosses.",
        ),
        found(
            "seat",
            "boss A",
            Verdict::Pass,
            n(0.04, 0.03, 0.2),
            p(60.0, 60.0, 20.0),
            None,
            "Three points carry; the gap stays small.",
            "",
        ),
        found(
            "hole",
            "hole A",
            Verdict::Pass,
            n(0.14, 0.05, 0.0),
            p(60.0, 60.0, 23.2),
            None,
            "An M8 bolt passes.",
            "",
        ),
        found(
            "clearance",
            "rest of the scan",
            Verdict::Pass,
            n(23.2, 0.08, 3.0),
            p(35.0, 40.0, 23.2),
            p(35.0, 40.0, 0.0),
            "Nearest at the front corner.",
            "",
        ),
    ]
}
