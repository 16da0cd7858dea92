//! The designed part: a closed triangle mesh in machine coordinates, with its analytic faces where they are known.

use crate::primitive::{Direction, Point3, Pose, Primitive};

/// The designed part in machine coordinates, mm.
#[derive(Debug, Clone)]
pub struct Part {
    /// File it came from, for messages.
    pub file: std::path::PathBuf,
    /// Corners, mm.
    pub points: Vec<Point3>,
    /// Triangles, counter-clockwise seen from outside.
    pub triangles: Vec<[u32; 3]>,
    /// Face of each triangle, index into `faces`; empty when the file has no faces.
    pub face_of_triangle: Vec<u32>,
    /// Analytic surface of each face; empty for a mesh.
    pub faces: Vec<FaceSurface>,
    /// Round holes found: from analytic faces, or fitted to a mesh near asked points.
    pub holes: Vec<PartHole>,
    /// STEP schema (`AP203`, `AP214`, `AP242`), or the mesh format (`STL`, `PLY`, `OBJ`).
    pub schema: String,
    /// Number of separate closed solids.
    pub solids: usize,
    /// Largest distance of the mesh from the exact surface, mm; 0 for a mesh taken as it is.
    pub chord_error: f64,
    /// What was met or healed on the way.
    pub notes: Vec<String>,
}

impl Part {
    /// The part moved: mesh, exact faces and holes.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        let face = |f: &FaceSurface| FaceSurface {
            shape: f.shape.as_ref().map(|s| s.transformed(pose)),
            ..f.clone()
        };
        let hole =
            |h: &PartHole| PartHole { point: pose * h.point, axis: pose * h.axis, ..h.clone() };
        Part {
            points: self.points.iter().map(|p| pose * p).collect(),
            faces: self.faces.iter().map(face).collect(),
            holes: self.holes.iter().map(hole).collect(),
            ..self.clone()
        }
    }

    /// Corners of one triangle, mm; none past the last.
    #[must_use]
    pub fn corners(&self, triangle: usize) -> Option<[Point3; 3]> {
        self.triangles.get(triangle).map(|t| t.map(|p| self.points[p as usize]))
    }

    /// Enclosed volume, mm³: positive when the triangles face outwards (divergence theorem).
    #[must_use]
    pub fn volume(&self) -> f64 {
        // Counted from a corner of the part: far from the origin digits would be lost.
        let Some(origin) = self.points.first() else { return 0.0 };
        let six: f64 = self
            .triangles
            .iter()
            .map(|t| t.map(|p| self.points[p as usize] - origin))
            .map(|[a, b, c]| a.dot(&b.cross(&c)))
            .sum();
        six / 6.0
    }

    /// Area of all triangles, mm².
    #[must_use]
    pub fn area(&self) -> f64 {
        let two: f64 = self
            .triangles
            .iter()
            .map(|t| t.map(|p| self.points[p as usize]))
            .map(|[a, b, c]| (b - a).cross(&(c - a)).norm())
            .sum();
        two / 2.0
    }

    /// Smallest and largest coordinates of the triangles' corners, mm; none without triangles.
    #[must_use]
    pub fn bounding_box(&self) -> Option<(Point3, Point3)> {
        let corners = self.triangles.iter().flatten().map(|p| self.points[*p as usize]);
        corners.map(|p| (p, p)).reduce(|(low, high), (p, _)| (low.inf(&p), high.sup(&p)))
    }

    /// The hole whose axis, within its wall, is nearest to a point, with the distance, mm.
    #[must_use]
    pub fn hole_near(&self, point: &Point3) -> Option<(&PartHole, f64)> {
        let with_distance = self.holes.iter().map(|hole| (hole, hole.distance(point)));
        with_distance.min_by(|a, b| a.1.total_cmp(&b.1))
    }
}

impl PartHole {
    /// Distance of a point from the axis between the ends of the wall, mm.
    #[must_use]
    pub fn distance(&self, point: &Point3) -> f64 {
        let arm = point - self.point;
        let along = arm.dot(&self.axis).clamp(-0.5 * self.depth, 0.5 * self.depth);
        (arm - self.axis.into_inner() * along).norm()
    }
}

/// Surface of one face of the part.
#[derive(Debug, Clone, PartialEq)]
pub struct FaceSurface {
    /// The surface if it is one of the ideal shapes, machine coordinates.
    pub shape: Option<Primitive>,
    /// Whether the material's outside is against the surface's own normal (a bore: true).
    pub reversed: bool,
}

/// A round hole of the part.
#[derive(Debug, Clone, PartialEq)]
pub struct PartHole {
    /// Middle of the axis inside the material, mm.
    pub point: Point3,
    /// Axis.
    pub axis: Direction,
    /// Radius, mm.
    pub radius: f64,
    /// Length of the wall along the axis, mm.
    pub depth: f64,
}
