//! Where to look from: one view of everything, and one of each place that matters.

use rayon::prelude::*;

use crate::fitcheck::{Finding, Verdict};
use crate::job::Outcome;
use crate::primitive::{Direction, Point3, Primitive, Vec3, unit};

use super::picture::{Camera, Cut, Mesh, Scene, look};
use super::profile::cut_normal;

/// Direction to the viewer from which most of the scanned surface shows its outside.
///
/// A scan is open towards where the scanner stood, so the sum of its triangles' area vectors
/// points there; of eight views from above and four from below, the first is taken that comes
/// within a twentieth of the nearest.
pub(super) fn general_direction(scene: &Scene<'_>) -> Direction {
    let towards = area_vector(&scene.meshes);
    let views: Vec<Direction> = VIEWS
        .iter()
        .filter_map(|(azimuth, height)| {
            let (sin, cos) = f64::to_radians(*azimuth).sin_cos();
            unit(Vec3::new(cos, sin, *height))
        })
        .collect();
    let best = views.iter().map(|d| d.dot(&towards)).fold(f64::NEG_INFINITY, f64::max);
    let enough = best - 0.05 * towards.norm();
    views.into_iter().find(|d| d.dot(&towards) >= enough).unwrap_or(Vec3::z_axis())
}

/// Direction to the viewer that shows a way from the side and most of the scanned surface's outside.
pub(super) fn across(scene: &Scene<'_>, way: &Vec3) -> Direction {
    let towards = unit(area_vector(&scene.meshes)).unwrap_or(Vec3::z_axis());
    let way = unit(*way).unwrap_or(Vec3::z_axis());
    let score = |d: &Direction| d.dot(&towards) + 1.5 * d.cross(&way).norm();
    let all = VIEWS.iter().filter_map(|(azimuth, height)| {
        let (sin, cos) = f64::to_radians(*azimuth).sin_cos();
        unit(Vec3::new(cos, sin, *height))
    });
    // The first of equals.
    all.reduce(|a, b| if score(&b) > score(&a) { b } else { a }).unwrap_or(Vec3::z_axis())
}

/// Camera that holds some points with a margin round them.
pub(super) fn of_points(
    points: impl Iterator<Item = Point3>,
    to_viewer: &Direction,
    size: [usize; 2],
) -> Camera {
    let camera = look(to_viewer, size[0], size[1]);
    let mut sides = Sides::of(&camera, points);
    sides.widen(0.12);
    sides.frame(camera)
}

/// Camera that holds all of a scene but the farthest thousandth of its scans' points.
pub(super) fn general(scene: &Scene<'_>, to_viewer: &Direction, size: [usize; 2]) -> Camera {
    let camera = look(to_viewer, size[0], size[1]);
    let strokes = scene.strokes.iter().flat_map(|s| s.lines.iter().flatten().copied());
    let mut sides = Sides::of(&camera, strokes);
    for mesh in &scene.meshes {
        sides.hold(&Sides::of_mesh(&camera, mesh));
    }
    sides.frame(camera)
}

/// Camera that holds the part and what is just round it; `None` if it is most of the scene anyway.
pub(super) fn part_view(
    scene: &Scene<'_>,
    outcome: &Outcome,
    to_viewer: &Direction,
    size: [usize; 2],
) -> Option<Camera> {
    let part = outcome.part.as_ref()?;
    let camera = look(to_viewer, size[0], size[1]);
    let mut sides = Sides::of(&camera, part.points.iter().copied());
    sides.widen(0.35);
    let near = sides.frame(camera);
    let all = general(scene, to_viewer, size);
    (near.scale > 1.6 * all.scale).then_some(near)
}

/// For each finding the first one that did not pass and lies at the same place, itself at the latest.
pub(super) fn first_at_place(outcome: &Outcome) -> Vec<usize> {
    let same = 0.01 * extent(outcome);
    let near = |a: Option<Point3>, b: Option<Point3>| match (a, b) {
        (Some(a), Some(b)) => (b - a).norm() < same,
        (None, None) => true,
        _ => false,
    };
    let findings = &outcome.findings;
    let alike = |a: &Finding, b: &Finding| {
        a.verdict != Verdict::Pass
            && (a.at.is_some() || a.to.is_some())
            && near(a.at, b.at)
            && near(a.to, b.to)
            && (a.kind == "hole") == (b.kind == "hole")
    };
    let first = |(i, f): (usize, &Finding)| findings[..i].iter().position(|e| alike(e, f));
    findings.iter().enumerate().map(|(i, f)| first((i, f)).unwrap_or(i)).collect()
}

/// Camera close to the place of a finding; `None` if it has none.
///
/// A gap or an overlap is seen across its witness line with what is before it cut away; a hole
/// along its axis; anything else as the general view sees it.
pub(super) fn close(
    outcome: &Outcome,
    meshes: &[Mesh<'_>],
    finding: &Finding,
    general: &Direction,
    size: [usize; 2],
) -> Option<Camera> {
    let at = finding.at.or(finding.to)?;
    let to = finding.to.unwrap_or(at);
    let middle = nalgebra::center(&at, &to);
    let gap = (to - at).norm();
    if !gap.is_finite() {
        return None;
    }
    let half = (0.16 * extent(outcome)).max(2.5 * gap).max(1e-3);
    let frame = |c: Camera, half: f64| c.framed(middle, [half * 1.4, half]);
    if let Some((axis, radius)) = hole_axis(outcome, finding) {
        let axis = if axis.dot(general) < 0.0 { -axis } else { axis };
        return Some(frame(look(&axis, size[0], size[1]), half.min(4.0 * radius).max(2.5 * gap)));
    }
    let Some(witness) = unit(to - at).filter(|_| gap > 1e-6) else {
        return Some(frame(look(general, size[0], size[1]), half));
    };
    let normal = cut_normal(meshes, &middle, half, &witness, general);
    let tilt = general.into_inner() - normal.into_inner() * normal.dot(general);
    let seen_from = unit(tilt)
        .map_or(normal, |t| Direction::new_normalize(normal.into_inner() + t.into_inner() * TILT));
    let mut camera = frame(look(&seen_from, size[0], size[1]), half);
    camera.cut = Some(Cut { point: at, normal });
    Some(camera)
}

/// Direction in words: the machine axes that face the viewer.
pub(super) fn direction_name(to_viewer: &Vec3) -> String {
    let axes = [("x", to_viewer.x), ("y", to_viewer.y), ("z", to_viewer.z)];
    let facing = axes.iter().filter(|(_, c)| c.abs() > 0.2);
    facing
        .map(|(a, c)| format!("{}{a}", if *c < 0.0 { '-' } else { '+' }))
        .collect::<Vec<_>>()
        .join(" ")
}

fn hole_axis(outcome: &Outcome, finding: &Finding) -> Option<(Direction, f64)> {
    if finding.kind != "hole" {
        return None;
    }
    let hole = outcome.features.iter().find(|f| f.feature.name == finding.name)?;
    match &hole.feature.shape {
        Primitive::Cylinder(c) => Some((c.axis, c.radius)),
        Primitive::Circle(c) => Some((c.normal, c.radius)),
        _ => None,
    }
}

/// Diagonal of the part, else of the first scan, mm.
pub(super) fn extent(outcome: &Outcome) -> f64 {
    let points = match (&outcome.part, outcome.scans.first()) {
        (Some(part), _) => part.points.as_slice(),
        (None, Some(scan)) => scan.scan.points(),
        (None, None) => &[],
    };
    let Some(first) = points.first() else { return 100.0 };
    let (low, high) = points
        .iter()
        .fold((first.coords, first.coords), |(l, h), p| (l.inf(&p.coords), h.sup(&p.coords)));
    (high - low).norm()
}

fn area_vector(meshes: &[Mesh<'_>]) -> Vec3 {
    let mut sum = Vec3::zeros();
    for mesh in meshes {
        let vector = |t: &[u32; 3]| {
            let p = |i: usize| mesh.points.get(t[i] as usize);
            match (p(0), p(1), p(2)) {
                (Some(a), Some(b), Some(c)) => (b - a).cross(&(c - a)),
                _ => Vec3::zeros(),
            }
        };
        let chunks = mesh.triangles.par_chunks(CHUNK).map(|c| c.iter().map(vector).sum::<Vec3>());
        let all: Vec<Vec3> = chunks.collect();
        sum += mesh.machine_from_mesh * all.iter().sum::<Vec3>();
    }
    sum
}

/// Extent across a picture, mm, along its right, up and back.
struct Sides {
    low: [f64; 3],
    high: [f64; 3],
}

impl Sides {
    fn of(camera: &Camera, points: impl Iterator<Item = Point3>) -> Self {
        let mut sides = Sides { low: [f64::INFINITY; 3], high: [f64::NEG_INFINITY; 3] };
        for p in points.filter(|p| p.iter().all(|v| v.is_finite())) {
            for (k, value) in coordinates(camera, &p).into_iter().enumerate() {
                sides.low[k] = sides.low[k].min(value);
                sides.high[k] = sides.high[k].max(value);
            }
        }
        sides
    }

    fn of_mesh(camera: &Camera, mesh: &Mesh<'_>) -> Self {
        let step = mesh.points.len() / SAMPLE + 1;
        let points: Vec<[f64; 3]> = mesh
            .points
            .iter()
            .step_by(step)
            .map(|p| coordinates(camera, &(mesh.machine_from_mesh * p)))
            .filter(|c| c.iter().all(|v| v.is_finite()))
            .collect();
        let mut sides = Sides { low: [f64::INFINITY; 3], high: [f64::NEG_INFINITY; 3] };
        if points.is_empty() {
            return sides;
        }
        let stray = points.len() / 2000;
        for k in 0..3 {
            let mut values: Vec<f64> = points.iter().map(|c| c[k]).collect();
            let last = values.len() - 1;
            sides.low[k] = *values.select_nth_unstable_by(stray, f64::total_cmp).1;
            sides.high[k] = *values.select_nth_unstable_by(last - stray, f64::total_cmp).1;
        }
        sides
    }

    fn hold(&mut self, other: &Self) {
        for k in 0..3 {
            self.low[k] = self.low[k].min(other.low[k]);
            self.high[k] = self.high[k].max(other.high[k]);
        }
    }

    fn widen(&mut self, share: f64) {
        for k in 0..3 {
            let more = share * (self.high[k] - self.low[k]);
            self.low[k] -= more;
            self.high[k] += more;
        }
    }

    fn frame(&self, camera: Camera) -> Camera {
        if self.low.iter().zip(&self.high).any(|(l, h)| l > h) {
            return camera;
        }
        let mid = |k: usize| (self.low[k] + self.high[k]) / 2.0;
        let middle = camera.right * mid(0) + camera.up * mid(1) + camera.back * mid(2);
        let half = [0, 1].map(|k| (self.high[k] - self.low[k]) / 2.0);
        camera.framed(Point3::from(middle), half)
    }
}

fn coordinates(camera: &Camera, p: &Point3) -> [f64; 3] {
    [camera.right, camera.up, camera.back].map(|axis| axis.dot(&p.coords))
}

/// Azimuth from +x about +z in degrees, and height over unit distance, in order of preference.
const VIEWS: [(f64, f64); 12] = [
    (-60.0, 0.65),
    (-120.0, 0.65),
    (-30.0, 0.65),
    (30.0, 0.65),
    (60.0, 0.65),
    (120.0, 0.65),
    (150.0, 0.65),
    (-150.0, 0.65),
    (-60.0, -0.65),
    (30.0, -0.65),
    (120.0, -0.65),
    (-150.0, -0.65),
];
/// Tangent of the tilt of a cut view from square: enough to see depth, little enough to measure by eye.
const TILT: f64 = 0.3;
/// Points of a mesh looked at to frame it, at most about twice this.
const SAMPLE: usize = 100_000;
/// Triangles summed as one piece.
const CHUNK: usize = 1 << 15;
