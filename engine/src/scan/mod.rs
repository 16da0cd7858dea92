//! A scan: positions with optional triangles and normals, immutable; what follows from them is computed once on demand.

use std::path::Path;
use std::sync::{Arc, OnceLock};

use crate::context::Context;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Pose, Vec3};
use crate::units::LengthUnit;

/// A scan in its scanner's coordinates, mm. Cheap to clone; safe to use from any thread.
#[derive(Clone)]
pub struct Scan(Arc<Inner>);

struct Inner {
    points: Vec<Point3>,
    triangles: Vec<[u32; 3]>,
    given_normals: Option<Vec<Vec3>>,
    normals: OnceLock<Vec<Vec3>>,
}

impl Scan {
    /// Mesh of welded corners: `triangles` index `points` (mm), counter-clockwise seen from outside.
    ///
    /// # Errors
    /// [`Error::Argument`] for a coordinate that is not finite or an index out of range.
    pub fn from_mesh(points: Vec<Point3>, triangles: Vec<[u32; 3]>) -> Result<Self> {
        let _ = (&points, &triangles);
        todo!()
    }

    /// Bare points (mm) with their outward normals if known.
    ///
    /// # Errors
    /// As [`Scan::from_mesh`]; [`Error::Argument`] if the normals' count differs.
    pub fn from_points(points: Vec<Point3>, normals: Option<Vec<Vec3>>) -> Result<Self> {
        let _ = (&points, &normals);
        todo!()
    }

    /// Reads STL, PLY, OBJ or text points by the file's extension and content; one file a format.
    ///
    /// # Errors
    /// [`Error::Io`], [`Error::Format`], [`Error::UnknownFormat`], [`Error::Limit`].
    pub fn read(path: impl AsRef<Path>, unit: LengthUnit) -> Result<Self> {
        let _ = (path.as_ref(), unit);
        todo!()
    }

    /// Positions, mm.
    #[must_use]
    pub fn points(&self) -> &[Point3] {
        &self.0.points
    }

    /// Triangles as corner ids; empty for a point cloud.
    #[must_use]
    pub fn triangles(&self) -> &[[u32; 3]] {
        &self.0.triangles
    }

    /// Unit normal of each point: given, or area-weighted from the triangles, or from the
    /// neighbours of a bare point (then its sign is only locally consistent). Zero where undefined.
    #[must_use]
    pub fn normals(&self) -> &[Vec3] {
        todo!()
    }

    /// Neighbours of a point: across edges of the mesh, or the nearest points of a cloud.
    #[must_use]
    pub fn neighbours(&self, id: u32) -> &[u32] {
        let _ = id;
        todo!()
    }

    /// Whether a point lies on the scan's border (an edge with one triangle; for a cloud, a
    /// neighbourhood with a gap of more than 120 degrees).
    #[must_use]
    pub fn is_border(&self, id: u32) -> bool {
        let _ = id;
        todo!()
    }

    /// Closed loops of border points of a mesh, each in order with the surface on its left.
    #[must_use]
    pub fn boundary_loops(&self) -> &[Vec<u32>] {
        todo!()
    }

    /// Nearest point of the scan and its distance, mm.
    #[must_use]
    pub fn nearest(&self, p: &Point3) -> (u32, f64) {
        let _ = p;
        todo!()
    }

    /// Ids of all points within a distance (mm), ascending.
    #[must_use]
    pub fn within(&self, p: &Point3, distance: f64) -> Vec<u32> {
        let _ = (p, distance);
        todo!()
    }

    /// Standard deviation of the points normal to the surface, mm, estimated from the scan alone.
    #[must_use]
    pub fn noise(&self) -> f64 {
        todo!()
    }

    /// Median spacing of neighbouring points, mm.
    #[must_use]
    pub fn resolution(&self) -> f64 {
        todo!()
    }

    /// The same scan moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        let _ = pose;
        todo!()
    }
}

impl std::fmt::Debug for Scan {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Scan")
            .field("points", &self.0.points.len())
            .field("triangles", &self.0.triangles.len())
            .finish_non_exhaustive()
    }
}
