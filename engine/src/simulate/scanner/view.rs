//! What a set of viewpoints sees: within range and field, not too grazing, free for both eyes.

use rayon::prelude::*;

use super::Scanner;
use super::bvh::Bvh;
use super::extract::Mesh;
use crate::primitive::{Direction, Point3, Vec3, any_perpendicular, unit};

/// Where the scanner was held and what it was pointed at, machine coordinates, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Viewpoint {
    /// Middle between the two eyes.
    pub eye: Point3,
    /// Point in the middle of the field of view.
    pub target: Point3,
    /// Turn of the line between the eyes about the sight line, rad.
    pub roll: f64,
}

impl Viewpoint {
    /// Viewpoint `distance` mm from `target` in the direction of the given azimuth (from x towards
    /// y) and elevation (towards z), rad.
    #[must_use]
    pub fn around(target: Point3, azimuth: f64, elevation: f64, distance: f64) -> Self {
        let (sin, cos) = elevation.sin_cos();
        let out = Vec3::new(azimuth.cos() * cos, azimuth.sin() * cos, sin);
        Viewpoint { eye: target + out * distance, target, roll: 0.0 }
    }
}

/// The viewpoints made ready; those that look nowhere are left out.
pub(super) fn sights(views: &[Viewpoint], scanner: &Scanner) -> Vec<Sight> {
    views.iter().filter_map(|v| Sight::new(v, scanner)).collect()
}

/// Whether each corner of the mesh might be seen: what stands in the way is left aside, and the
/// corner may still move a little along the surface.
pub(super) fn facing(mesh: &Mesh, sights: &[Sight], scanner: &Scanner) -> Vec<bool> {
    let cos = (scanner.grazing + SLACK).cos();
    let one = |(p, n)| sights.iter().any(|s| s.holds(p, scanner) && s.faces(p, n, cos));
    mesh.points.par_iter().zip(&mesh.normals).with_min_len(1024).map(one).collect()
}

/// Whether each corner of the mesh that might be seen is seen from at least one viewpoint.
pub(super) fn seen(
    mesh: &Mesh,
    facing: &[bool],
    bvh: &Bvh,
    sights: &[Sight],
    scanner: &Scanner,
) -> Vec<bool> {
    let cos = scanner.grazing.cos();
    let one = |i: usize| {
        let (p, n) = (&mesh.points[i], &mesh.normals[i]);
        // Off the mesh's own triangles, which cut through a curved surface by far less than this.
        let start = p + n * (mesh.near(i).1 * LIFT);
        let sees = |s: &Sight| s.holds(p, scanner) && s.faces(p, n, cos) && s.free(&start, bvh);
        facing[i] && sights.iter().any(sees)
    };
    (0..mesh.points.len()).into_par_iter().with_min_len(1024).map(one).collect()
}

/// A viewpoint made ready.
pub(super) struct Sight {
    eyes: [Point3; 2],
    middle: Point3,
    direction: Direction,
}

impl Sight {
    /// `None` for a viewpoint that looks nowhere.
    fn new(view: &Viewpoint, scanner: &Scanner) -> Option<Self> {
        let direction = unit(view.target - view.eye)?;
        let right =
            unit(direction.cross(&Vec3::z())).unwrap_or_else(|| any_perpendicular(&direction));
        let up = right.cross(&direction);
        let (sin, cos) = view.roll.sin_cos();
        let half = (right.into_inner() * cos + up * sin) * (scanner.baseline / 2.0);
        Some(Sight { eyes: [view.eye - half, view.eye + half], middle: view.eye, direction })
    }

    /// Whether a point lies within range and field.
    fn holds(&self, p: &Point3, scanner: &Scanner) -> bool {
        let sight = p - self.middle;
        let distance = sight.norm();
        let (near, far) = scanner.range;
        (near..=far).contains(&distance)
            && sight.dot(&self.direction) >= distance * scanner.field.cos()
    }

    /// Whether a surface faces both eyes.
    fn faces(&self, p: &Point3, normal: &Vec3, cos: f64) -> bool {
        let faces = |eye: &Point3| (eye - p).dot(normal) >= (eye - p).norm() * cos;
        self.eyes.iter().all(faces)
    }

    /// Whether nothing stands before either eye.
    fn free(&self, p: &Point3, bvh: &Bvh) -> bool {
        !self.eyes.iter().any(|eye| bvh.blocked(p, eye))
    }
}

/// Start of a sight line off the surface, in units of the mesh's spacing.
const LIFT: f64 = 0.2;
/// Turn of the normal that moving along the surface may bring, rad.
const SLACK: f64 = 0.25;
