//! From an outcome to what a picture shows.

use crate::exchange::PartHole;
use crate::feature::FeatureKind;
use crate::fitcheck::{Finding, Verdict};
use crate::job::{FeatureOutcome, Outcome};
use crate::primitive::{Extent, Point3, Pose, Primitive, Vec3};

use super::picture::{
    Bands, Camera, Mesh, Paint, Scene, Stroke, axis_lines, creases, lines, ring, section,
};

/// What a scene borrows besides the outcome.
pub(super) struct Looks {
    /// Colours of clearance.
    pub bands: Bands,
    /// Normals of each scan, smoothed: noise in the shading hides the shape and swells the file.
    normals: Vec<Vec<Vec3>>,
}

impl Looks {
    pub(super) fn of(outcome: &Outcome) -> Self {
        let scans = outcome.scans.iter().map(|s| &s.scan);
        Looks {
            bands: Bands::new(outcome.required_clearance, &outcome.part_clearance),
            normals: scans.map(|s| smoothed(s.normals(), s.triangles())).collect(),
        }
    }
}

/// Scans, part and features of an outcome, machine coordinates.
pub(super) fn scene<'a>(outcome: &'a Outcome, looks: &'a Looks) -> Scene<'a> {
    let mut scene = Scene { meshes: scans(outcome, looks), strokes: Vec::new() };
    if let Some(part) = &outcome.part {
        let solid = outcome.part_clearance.len() != part.points.len();
        scene.meshes.push(Mesh {
            points: &part.points,
            triangles: &part.triangles,
            normals: None,
            machine_from_mesh: Pose::identity(),
            paint: if solid {
                Paint::Solid
            } else {
                Paint::Clearance(&outcome.part_clearance, &looks.bands)
            },
            point_radius: 0.0,
        });
        let edges = creases(&part.points, &part.triangles);
        scene.strokes.push(Stroke { lines: edges, hidden: 0.0, ..stroke(INK, 0.9) });
        let rims = part.holes.iter().flat_map(rims).collect();
        scene.strokes.push(Stroke { lines: rims, hidden: 0.35, seam: true, ..stroke(HOLE, 2.0) });
    }
    for other in &outcome.other_parts {
        let (points, triangles) = (&other.part.points, &other.part.triangles);
        scene.meshes.push(Mesh {
            points,
            triangles,
            normals: None,
            machine_from_mesh: Pose::identity(),
            paint: Paint::Other,
            point_radius: 0.0,
        });
        let edges = creases(points, triangles);
        scene.strokes.push(Stroke { lines: edges, hidden: 0.0, ..stroke(INK, 0.9) });
    }
    let lift = outcome.scans.iter().map(|s| 4.0 * s.scan.noise()).fold(0.0, f64::max);
    for feature in &outcome.features {
        scene.strokes.extend(feature_strokes(feature, lift));
    }
    scene
}

/// The same scene with the witness lines of the findings that did not pass, the worst on top.
pub(super) fn with_witnesses<'a>(scene: &Scene<'a>, outcome: &Outcome) -> Scene<'a> {
    let mut shown = scene.clone();
    let open = outcome.findings.iter().rev().filter(|f| f.verdict != Verdict::Pass);
    shown.strokes.extend(open.map(witness));
    shown
}

/// The same scene for a close look at one finding: cut by the camera's plane with the lines of the
/// cut, or for a hole with the lines that surfaces hide drawn strongly; its witness line on top.
pub(super) fn close_up<'a>(scene: &Scene<'a>, camera: &Camera, finding: &Finding) -> Scene<'a> {
    let mut shown = scene.clone();
    if finding.kind == "hole" {
        for stroke in shown.strokes.iter_mut().filter(|s| s.hidden > 0.0) {
            stroke.hidden = stroke.hidden.max(0.8);
        }
    }
    if let Some(cut) = &camera.cut {
        shown.strokes.extend(scene.meshes.iter().map(|mesh| {
            let width = if matches!(mesh.paint, Paint::Scan) { 2.6 } else { 1.6 };
            let lines = section(mesh, cut, camera);
            let colour = if matches!(mesh.paint, Paint::Other) { OTHER } else { INK };
            Stroke { lines, cut: false, hidden: 1.0, seam: true, ..stroke(colour, width) }
        }));
    }
    shown.strokes.push(witness(finding));
    shown
}

/// Colour of a feature, by what it is: faces, round things, constructed lines and points.
pub(super) fn feature_colour(kind: FeatureKind) -> ([u8; 3], &'static str) {
    match kind {
        FeatureKind::Plane => (FACE, "face"),
        FeatureKind::Line | FeatureKind::Point => (THIN, "thin"),
        FeatureKind::Circle
        | FeatureKind::Sphere
        | FeatureKind::Cylinder
        | FeatureKind::Cone
        | FeatureKind::Torus
        | FeatureKind::Hole
        | FeatureKind::Composite => (ROUND, "round"),
    }
}

fn scans<'a>(outcome: &'a Outcome, looks: &'a Looks) -> Vec<Mesh<'a>> {
    outcome
        .scans
        .iter()
        .zip(&looks.normals)
        .map(|(s, normals)| Mesh {
            points: s.scan.points(),
            triangles: s.scan.triangles(),
            normals: Some(normals),
            machine_from_mesh: outcome.machine_from_scan * s.first_from_this,
            paint: Paint::Scan,
            point_radius: if s.scan.triangles().is_empty() {
                0.7 * s.scan.resolution()
            } else {
                0.0
            },
        })
        .collect()
}

/// Each normal replaced by the mean over its triangles' corners, a few times over.
fn smoothed(normals: &[Vec3], triangles: &[[u32; 3]]) -> Vec<Vec3> {
    let mut smooth = normals.to_vec();
    for _ in 0..SMOOTHINGS {
        let mut sums = vec![Vec3::zeros(); smooth.len()];
        for t in triangles {
            let sum: Vec3 = t.iter().filter_map(|i| smooth.get(*i as usize)).sum();
            for i in t {
                if let Some(s) = sums.get_mut(*i as usize) {
                    *s += sum;
                }
            }
        }
        for (normal, sum) in smooth.iter_mut().zip(sums) {
            // A point without a triangle keeps what it has.
            *normal = sum.try_normalize(0.0).unwrap_or(*normal);
        }
    }
    smooth
}

fn feature_strokes(outcome: &FeatureOutcome, lift: f64) -> Vec<Stroke> {
    let feature = &outcome.feature;
    let (colour, _) = feature_colour(feature.kind);
    let drawn: Vec<Vec<Point3>> = feature.pieces.iter().flat_map(lines).collect();
    let axes: Vec<Vec<Point3>> = feature.pieces.iter().flat_map(axis_lines).collect();
    let drawn = if drawn.is_empty() { vec![vec![feature.shape.point()]] } else { drawn };
    let dots = drawn.iter().all(|l| l.len() == 1);
    let is_axis = |b: &crate::primitive::Bounded| {
        matches!((&b.shape, &b.extent), (Primitive::Line(_), Extent::Segment(..)))
    };
    let has_axis = feature.pieces.iter().any(is_axis);
    let mut strokes = vec![Stroke {
        lines: drawn,
        lift,
        hidden: 0.35,
        seam: true,
        ..stroke(colour, if dots { 9.0 } else { 2.6 })
    }];
    if !has_axis && !axes.is_empty() {
        strokes.push(Stroke { lines: axes, lift, hidden: 0.35, ..stroke(colour, 1.3) });
    }
    strokes
}

/// The two ends of a hole of the part.
fn rims(hole: &PartHole) -> [Vec<Point3>; 2] {
    [-0.5, 0.5].map(|end| {
        let centre = hole.point + hole.axis.into_inner() * (end * hole.depth);
        ring(&centre, &hole.axis, hole.radius)
    })
}

fn witness(finding: &Finding) -> Stroke {
    let ends: Vec<Point3> = finding.at.into_iter().chain(finding.to).collect();
    let dots = ends.iter().map(|p| vec![*p]);
    let lines = dots.chain((ends.len() == 2).then(|| ends.clone())).collect();
    Stroke { lines, hidden: 1.0, seam: true, cut: false, ..stroke(INK, 4.2) }
}

/// Edges of a body, thin and dark.
pub(super) fn edges(points: &[Point3], triangles: &[[u32; 3]]) -> Stroke {
    Stroke { lines: creases(points, triangles), ..stroke(INK, 0.9) }
}

/// A line of a colour and width that nothing hides wholly.
pub(super) fn shown_through(lines: Vec<Vec<Point3>>, colour: [u8; 3], width: f64) -> Stroke {
    Stroke { lines, hidden: 0.35, seam: true, ..stroke(colour, width) }
}

fn stroke(colour: [u8; 3], width: f64) -> Stroke {
    Stroke { lines: Vec::new(), colour, width, hidden: 0.0, lift: 0.0, seam: false, cut: true }
}

/// Times that normals are smoothed: about three rings of neighbours.
const SMOOTHINGS: usize = 3;
pub(super) const INK: [u8; 3] = [24, 24, 28];
const OTHER: [u8; 3] = [112, 84, 12];
const HOLE: [u8; 3] = [0, 88, 140];
const FACE: [u8; 3] = [0, 110, 84];
const ROUND: [u8; 3] = [116, 56, 178];
const THIN: [u8; 3] = [70, 74, 82];
