//! What a picture shows: meshes with their paint, and strokes.

use crate::primitive::{Point3, Pose, Vec3};

use super::Bands;

/// Things to draw, machine coordinates.
#[derive(Debug, Clone, Default)]
pub(in crate::report) struct Scene<'a> {
    pub meshes: Vec<Mesh<'a>>,
    /// Drawn in order, later over earlier.
    pub strokes: Vec<Stroke>,
}

/// Triangles, or bare points where there are none.
#[derive(Debug, Clone, Copy)]
pub(in crate::report) struct Mesh<'a> {
    /// Corners, mm, in the mesh's own coordinates.
    pub points: &'a [Point3],
    pub triangles: &'a [[u32; 3]],
    /// Unit normal of each point; without them triangles are shaded flat.
    pub normals: Option<&'a [Vec3]>,
    pub machine_from_mesh: Pose,
    pub paint: Paint<'a>,
    /// Radius that a bare point is drawn with, mm.
    pub point_radius: f64,
}

/// Colour of a mesh.
#[derive(Debug, Clone, Copy)]
pub(in crate::report) enum Paint<'a> {
    /// Open surface: its back has a tint of its own.
    Scan,
    /// Closed solid of one colour.
    Solid,
    /// Closed solid that is not the one looked at.
    Other,
    /// Open surface, a triangle in the colour of the whole number that its corners have in common; grey where they differ or
    /// there is no such colour.
    Labels(&'a [f64], &'a [[u8; 3]]),
    /// Closed solid coloured by a value of each corner, mm.
    Clearance(&'a [f64], &'a Bands),
}

/// Lines of one colour and width; a line of one point is a dot.
#[derive(Debug, Clone)]
pub(in crate::report) struct Stroke {
    pub lines: Vec<Vec<Point3>>,
    pub colour: [u8; 3],
    /// Pixels in a picture whose shorter side has 800; it grows with the picture.
    pub width: f64,
    /// Share of its strength that remains behind a surface.
    pub hidden: f64,
    /// How far behind a surface it still counts as lying on it, mm; one pixel is added.
    pub lift: f64,
    /// Whether a pale seam sets it off from what lies under it.
    pub seam: bool,
    /// Whether what lies before the cut is left out.
    pub cut: bool,
}

impl Paint<'_> {
    /// Whether the mesh is closed, so that a back seen through a cut is its inside.
    pub(in crate::report) fn is_solid(&self) -> bool {
        !matches!(self, Paint::Scan | Paint::Labels(..))
    }
}
