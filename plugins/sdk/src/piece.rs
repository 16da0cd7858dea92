//! Bounded standard pieces.

use fitwright_plugin_abi as abi;

/// A bounded piece of a shape.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// The standard shape.
    pub shape: SolidShape,
    /// How much of it there is.
    pub extent: Extent,
}

/// A standard shape; lengths mm, angles rad, directions of length 1.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub enum SolidShape {
    Plane { point: [f64; 3], normal: [f64; 3] },
    Line { point: [f64; 3], direction: [f64; 3] },
    Circle { centre: [f64; 3], normal: [f64; 3], radius: f64 },
    Sphere { centre: [f64; 3], radius: f64 },
    Cylinder { point: [f64; 3], axis: [f64; 3], radius: f64 },
    Cone { point: [f64; 3], axis: [f64; 3], radius: f64, half_angle: f64 },
    Torus { centre: [f64; 3], axis: [f64; 3], major_radius: f64, minor_radius: f64 },
}

/// How much of a shape there is; see `fitw_plugin_piece`.
#[derive(Debug, Clone, PartialEq)]
pub enum Extent {
    /// Of a plane: the outline counter-clockwise about the normal, then holes clockwise.
    Outline(Vec<Vec<[f64; 3]>>),
    /// Of a line: from and to along its direction from its point.
    Segment(f64, f64),
    /// Of a circle: angles about its normal, counted from `zero`.
    #[allow(missing_docs)]
    Arc { zero: [f64; 3], from: f64, to: f64 },
    /// Of a cylinder, cone, torus: between angles `u` about the axis, counted from `zero`, and `v` (cylinder,
    /// cone: mm along the axis from the point; torus: rad round the tube, 0 outermost).
    #[allow(missing_docs)]
    Patch { zero: [f64; 3], u: (f64, f64), v: (f64, f64) },
    /// All of a circle, sphere or torus.
    Whole,
}

impl Piece {
    /// The piece as it crosses to the host, its loops flattened into the two buffers.
    pub(crate) fn raw<'a>(
        &self,
        outline: &'a mut Vec<[f64; 3]>,
        sizes: &'a mut Vec<usize>,
    ) -> abi::fitw_plugin_piece {
        let (shape, point_mm, direction, size_1, size_2) = self.shape.raw();
        let mut raw = abi::fitw_plugin_piece {
            struct_size: size_of::<abi::fitw_plugin_piece>() as u32,
            shape,
            extent: abi::FITW_PLUGIN_EXTENT_WHOLE,
            reserved: 0,
            point_mm,
            direction,
            size_1,
            size_2,
            zero: [0.0; 3],
            pole: direction,
            u_from: 0.0,
            u_to: 0.0,
            v_from: 0.0,
            v_to: 0.0,
            outline_mm: std::ptr::null(),
            loop_sizes: std::ptr::null(),
            loop_count: 0,
        };
        match &self.extent {
            Extent::Whole => {}
            Extent::Segment(from, to) => {
                raw.extent = abi::FITW_PLUGIN_EXTENT_SEGMENT;
                (raw.u_from, raw.u_to) = (*from, *to);
            }
            Extent::Arc { zero, from, to } => {
                raw.extent = abi::FITW_PLUGIN_EXTENT_ARC;
                (raw.zero, raw.u_from, raw.u_to) = (*zero, *from, *to);
            }
            Extent::Patch { zero, u, v } => {
                raw.extent = abi::FITW_PLUGIN_EXTENT_PATCH;
                (raw.zero, raw.u_from, raw.u_to) = (*zero, u.0, u.1);
                (raw.v_from, raw.v_to) = *v;
            }
            Extent::Outline(loops) => {
                raw.extent = abi::FITW_PLUGIN_EXTENT_OUTLINE;
                outline.clear();
                sizes.clear();
                for points in loops {
                    outline.extend_from_slice(points);
                    sizes.push(points.len());
                }
                raw.outline_mm = outline.as_ptr().cast();
                raw.loop_sizes = sizes.as_ptr();
                raw.loop_count = sizes.len();
            }
        }
        raw
    }
}

impl SolidShape {
    fn raw(self) -> (i32, [f64; 3], [f64; 3], f64, f64) {
        match self {
            SolidShape::Plane { point, normal } => {
                (abi::FITW_PLUGIN_SHAPE_PLANE, point, normal, 0.0, 0.0)
            }
            SolidShape::Line { point, direction } => {
                (abi::FITW_PLUGIN_SHAPE_LINE, point, direction, 0.0, 0.0)
            }
            SolidShape::Circle { centre, normal, radius } => {
                (abi::FITW_PLUGIN_SHAPE_CIRCLE, centre, normal, radius, 0.0)
            }
            SolidShape::Sphere { centre, radius } => {
                (abi::FITW_PLUGIN_SHAPE_SPHERE, centre, [0.0, 0.0, 1.0], radius, 0.0)
            }
            SolidShape::Cylinder { point, axis, radius } => {
                (abi::FITW_PLUGIN_SHAPE_CYLINDER, point, axis, radius, 0.0)
            }
            SolidShape::Cone { point, axis, radius, half_angle } => {
                (abi::FITW_PLUGIN_SHAPE_CONE, point, axis, radius, half_angle)
            }
            SolidShape::Torus { centre, axis, major_radius, minor_radius } => {
                (abi::FITW_PLUGIN_SHAPE_TORUS, centre, axis, major_radius, minor_radius)
            }
        }
    }
}
