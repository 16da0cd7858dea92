//! Nothing that an importer says is believed: every number, every index, each face against its triangles.

use fitwright_plugin_abi as abi;

use super::raw::{RawFace, RawHole, RawPart};
use super::{ImportedFace, ImportedHole, ImportedPart};
use crate::plugin::check::{Checked, direction, point, radius, standard_shape, within, wrong};
use crate::primitive::{Kind, Point3, Primitive, Vec3};

/// The part, if it can be one.
pub(super) fn part(raw: RawPart, asked: f64) -> Checked<ImportedPart> {
    if raw.solids == 0 || raw.triangles.is_empty() {
        let reason = format!("{} solids of {} triangles", raw.solids, raw.triangles.len());
        return Err(wrong("part", reason));
    }
    let place = |(k, p): (usize, &[f64; 3])| point(*p, &format!("point {k}"));
    let points = raw.points.iter().enumerate().map(place).collect::<Checked<Vec<Point3>>>()?;
    indices(&raw)?;
    let faces = raw.faces.iter().enumerate().map(face).collect::<Checked<Vec<_>>>()?;
    let limits = points.iter().fold((points[0], points[0]), |(a, b), p| (a.inf(p), b.sup(p)));
    let hole = |(k, h): (usize, &RawHole)| hole(h, &format!("hole {k}"), limits);
    let holes = raw.holes.iter().enumerate().map(hole).collect::<Checked<Vec<_>>>()?;
    let mut part = ImportedPart {
        points,
        triangles: raw.triangles,
        face_of_triangle: raw.face_of_triangle,
        faces,
        holes,
        schema: raw.schema.unwrap_or_default().trim().into(),
        solids: raw.solids as usize,
        chord_error: asked,
        notes: Vec::new(),
    };
    if let Some(said) = raw.chord_error {
        let said = within(said, "chord_error")?;
        if said < 0.0 {
            return Err(wrong("chord_error", format!("{said} is below 0")));
        }
        part.chord_error = said;
    }
    let seen = judge_faces(&part, (limits.1 - limits.0).norm())?;
    if seen > part.chord_error {
        part.chord_error = seen;
    }
    if part.chord_error > asked * (1.0 + ROUNDING) {
        let kept = part.chord_error;
        part.notes.push(format!("the mesh keeps to {kept:.2e} mm, not {asked}"));
    }
    Ok(part)
}

fn indices(raw: &RawPart) -> Checked<()> {
    let (points, faces) = (raw.points.len(), raw.faces.len());
    if let Some(k) = raw.triangles.iter().position(|t| t.iter().any(|c| *c as usize >= points)) {
        let reason = format!("corners {:?} of {points} points", raw.triangles[k]);
        return Err(wrong(&format!("triangle {k}"), reason));
    }
    let given = raw.face_of_triangle.len();
    if given != 0 && given != raw.triangles.len() {
        let reason = format!("{given} of {} triangles have one", raw.triangles.len());
        return Err(wrong("faces", reason));
    }
    match raw.face_of_triangle.iter().position(|f| *f as usize >= faces) {
        None => Ok(()),
        Some(k) => {
            let reason = format!("face {} of {faces}", raw.face_of_triangle[k]);
            Err(wrong(&format!("triangle {k}"), reason))
        }
    }
}

fn face((k, raw): (usize, &RawFace)) -> Checked<ImportedFace> {
    let at = |(field, reason)| (format!("face {k} {field}"), reason);
    if !(0..=1).contains(&raw.reversed) {
        return Err(at(wrong("reversed", format!("{} is not 0 or 1", raw.reversed))));
    }
    let reversed = raw.reversed == 1;
    if raw.shape == abi::FITW_PLUGIN_SHAPE_OTHER {
        return Ok(ImportedFace { shape: None, reversed });
    }
    let shape = standard_shape(raw.shape, raw.point, raw.direction, raw.sizes).map_err(at)?;
    if matches!(shape.kind(), Kind::Line | Kind::Circle) {
        return Err(at(wrong("shape", format!("a {} is no surface", shape.kind().name()))));
    }
    Ok(ImportedFace { shape: Some(shape), reversed })
}

fn hole(raw: &RawHole, name: &str, (low, high): (Point3, Point3)) -> Checked<ImportedHole> {
    let field = |field: &str| format!("{name} {field}");
    let middle = point(raw.point, &field("point_mm"))?;
    let hole = ImportedHole {
        point: middle,
        axis: direction(raw.axis, &field("axis"))?,
        radius: radius(raw.radius, &field("radius_mm"))?,
        depth: radius(raw.depth, &field("depth_mm"))?,
    };
    if (0..3).all(|k| (low[k]..=high[k]).contains(&middle[k])) {
        return Ok(hole);
    }
    let reason = format!("({:.3}, {:.3}, {:.3}) is outside the part", middle.x, middle.y, middle.z);
    Err(wrong(&field("point_mm"), reason))
}

/// Each face against its own triangles: how far they are off its shape, and whether it is turned as it says.
fn judge_faces(part: &ImportedPart, diagonal: f64) -> Checked<f64> {
    let mut off = vec![0.0_f64; part.faces.len()];
    let mut along = vec![0.0_f64; part.faces.len()];
    let mut area = vec![0.0_f64; part.faces.len()];
    for (triangle, face) in part.triangles.iter().zip(&part.face_of_triangle) {
        let face = *face as usize;
        let Some(shape) = &part.faces[face].shape else { continue };
        let corners = triangle.map(|p| part.points[p as usize]);
        off[face] = off[face].max(distance(shape, corners));
        let (normal, middle) = normal(corners);
        let size = normal.norm();
        if size > 0.0 {
            let step = normal * (STEP / size.sqrt());
            let rise = shape.distance(&(middle + step)) - shape.distance(&(middle - step));
            along[face] += size * rise / (2.0 * STEP * size.sqrt());
            area[face] += size;
        }
    }
    for (k, face) in part.faces.iter().enumerate() {
        if off[k] > FAR * diagonal {
            let reason = format!("its triangles lie up to {:.3} mm off it", off[k]);
            return Err(wrong(&format!("face {k} shape"), reason));
        }
        let turned = if face.reversed { -along[k] } else { along[k] };
        if turned < -CLEAR * area[k] {
            let reason = "its triangles are turned the other way";
            return Err(wrong(&format!("face {k} reversed"), reason));
        }
    }
    Ok(off.into_iter().fold(0.0, f64::max))
}

/// Largest distance at corners, middles of sides and the middle.
fn distance(shape: &Primitive, [a, b, c]: [Point3; 3]) -> f64 {
    let middle = |p: &Point3, q: &Point3| nalgebra::center(p, q);
    let centre = Point3::from((a.coords + b.coords + c.coords) / 3.0);
    let places = [a, b, c, middle(&a, &b), middle(&b, &c), middle(&c, &a), centre];
    places.iter().map(|p| shape.distance(p).abs()).fold(0.0, f64::max)
}

/// Twice the area as a vector outwards, and the middle.
fn normal([a, b, c]: [Point3; 3]) -> (Vec3, Point3) {
    ((b - a).cross(&(c - a)), Point3::from((a.coords + b.coords + c.coords) / 3.0))
}

/// Rounding that is no longer chord error.
const ROUNDING: f64 = 1e-6;
/// Distance of a face's triangles from its shape, over the size of the part, from which on it is another shape.
const FAR: f64 = 0.01;
/// Share of its area that a face must be turned the wrong way by: triangles of a coarse mesh lean.
const CLEAR: f64 = 0.5;
/// Step to either side of a triangle over its size.
const STEP: f64 = 1e-3;
