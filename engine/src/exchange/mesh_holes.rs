//! A round hole of a mesh part: the smooth band of facets round a place, with a cylinder fitted to its corners.

use std::collections::HashMap;

use nalgebra::Vector3;

use super::part::{Part, PartHole};
use crate::associate::{Input, Request, extent, fitter_by_id};
use crate::error::{Error, Result};
use crate::primitive::{Cylinder, Extent, Line, Point3, Primitive};

impl Part {
    /// The round hole whose axis passes nearest to a place, looked for among the known holes and
    /// then in the facets.
    ///
    /// # Errors
    /// [`Error::Undetermined`] if no smooth round wall lies about the place.
    pub fn hole_at(&self, near: &Point3) -> Result<PartHole> {
        if let Some((hole, _)) = self.hole_near(near).filter(|(h, _)| holds(h, near)) {
            return Ok(hole.clone());
        }
        Facets::new(self).hole_at(near).ok_or_else(|| Error::Undetermined {
            what: format!("part hole near ({:.3}, {:.3}, {:.3})", near.x, near.y, near.z),
            reason: format!("no round wall of {} lies about that place", self.file.display()),
            remedy: "give `near` inside the hole, in machine coordinates and the job's unit".into(),
        })
    }
}

/// Whether a place lies in a hole or in front of its mouth.
fn holds(hole: &PartHole, p: &Point3) -> bool {
    let line = Line { point: hole.point, direction: hole.axis };
    line.distance(p) < hole.radius && line.parameter(p).abs() < hole.depth / 2.0 + hole.radius
}

/// Facets of a part with their normals and neighbours.
struct Facets<'a> {
    part: &'a Part,
    normals: Vec<Vector3<f64>>,
    neighbours: Vec<Vec<u32>>,
}

impl<'a> Facets<'a> {
    fn new(part: &'a Part) -> Self {
        let corner = |i: u32| part.points[i as usize];
        let mut edges: HashMap<(u32, u32), Vec<u32>> = HashMap::new();
        let mut normals = Vec::with_capacity(part.triangles.len());
        for (id, t) in (0u32..).zip(&part.triangles) {
            let n = (corner(t[1]) - corner(t[0])).cross(&(corner(t[2]) - corner(t[0])));
            normals.push(n.try_normalize(0.0).unwrap_or_default());
            for k in 0..3 {
                let (a, b) = (t[k], t[(k + 1) % 3]);
                edges.entry((a.min(b), a.max(b))).or_default().push(id);
            }
        }
        let mut neighbours = vec![Vec::new(); part.triangles.len()];
        for sharing in edges.values() {
            for &a in sharing {
                neighbours[a as usize].extend(sharing.iter().filter(|&&b| b != a));
            }
        }
        neighbours.iter_mut().for_each(|n| n.sort_unstable());
        Facets { part, normals, neighbours }
    }

    fn hole_at(&self, near: &Point3) -> Option<PartHole> {
        let mut order: Vec<(f64, u32)> = (0u32..)
            .zip(&self.part.triangles)
            .map(|(id, t)| ((self.centre(t) - near).norm(), id))
            .collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let mut seen = vec![false; self.part.triangles.len()];
        let mut tries = 0;
        for (_, id) in order {
            if seen[id as usize] {
                continue;
            }
            let band = self.band(id, &mut seen);
            if let Some(hole) = self.wall(&band).filter(|h| holds(h, near)) {
                return Some(hole);
            }
            tries += 1;
            if tries > LARGEST_TRIES {
                return None;
            }
        }
        None
    }

    fn centre(&self, t: &[u32; 3]) -> Point3 {
        let sum: Vector3<f64> = t.iter().map(|&i| self.part.points[i as usize].coords).sum();
        Point3::from(sum / 3.0)
    }

    /// Facets joined smoothly to one.
    fn band(&self, start: u32, seen: &mut [bool]) -> Vec<u32> {
        let mut front = vec![start];
        let mut band = Vec::new();
        seen[start as usize] = true;
        while let Some(id) = front.pop() {
            band.push(id);
            for &n in &self.neighbours[id as usize] {
                let bend = self.normals[id as usize].dot(&self.normals[n as usize]);
                if bend > SMOOTH && !seen[n as usize] {
                    seen[n as usize] = true;
                    front.push(n);
                }
            }
        }
        band.sort_unstable();
        band
    }

    /// The hole whose wall is a band of facets.
    fn wall(&self, band: &[u32]) -> Option<PartHole> {
        let mut corners: Vec<u32> =
            band.iter().flat_map(|&id| self.part.triangles[id as usize]).collect();
        corners.sort_unstable();
        corners.dedup();
        let points: Vec<Point3> = corners.iter().map(|&i| self.part.points[i as usize]).collect();
        let request = Request { reject_outliers: false, ..Request::default() };
        let fit = fitter_by_id("builtin.cylinder")?.fit(&Input::new(&points), &request).ok()?;
        let Primitive::Cylinder(cylinder) = fit.shape else { return None };
        let exact = fit.quality.largest < ROUND * cylinder.radius;
        let turned = fit.quality.arc > WHOLE_TURN;
        if !(exact && turned && self.concave(band, &cylinder)) {
            return None;
        }
        let Extent::Patch { v, .. } = extent(&cylinder.into(), &points).extent else {
            return None;
        };
        Some(PartHole {
            point: cylinder.point + cylinder.axis.into_inner() * ((v.0 + v.1) / 2.0),
            axis: cylinder.axis,
            radius: cylinder.radius,
            depth: v.1 - v.0,
        })
    }

    /// Whether the material is outside the cylinder.
    fn concave(&self, band: &[u32], cylinder: &Cylinder) -> bool {
        band.iter().all(|&id| {
            let centre = self.centre(&self.part.triangles[id as usize]);
            cylinder.normal_at(&centre).dot(&self.normals[id as usize]) < 0.0
        })
    }
}

/// Cosine of 31 degrees: a hole drawn with twelve corners still counts as smooth.
const SMOOTH: f64 = 0.857;
/// Bands that are tried round a place.
const LARGEST_TRIES: usize = 200;
/// Corners of a facetted hole lie on it but for the file's rounding, here relative to the radius.
const ROUND: f64 = 1e-3;
/// A hole goes all round: 300 degrees, since few corners leave gaps.
const WHOLE_TURN: f64 = 5.2;
