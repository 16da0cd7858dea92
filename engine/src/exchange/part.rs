//! The designed part: a closed triangle mesh in machine coordinates, with its analytic faces where they are known.

use crate::primitive::{Direction, Point3, Primitive};

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
