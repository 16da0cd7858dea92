//! A primitive with the piece of it that exists.

use super::{Direction, Point3, Pose, Primitive};

/// A primitive and its extent.
#[derive(Debug, Clone, PartialEq)]
pub struct Bounded {
    /// The unbounded shape.
    pub shape: Primitive,
    /// The piece of it that exists.
    pub extent: Extent,
}

/// The piece of a primitive that exists; which variant fits which shape is said at each.
#[derive(Debug, Clone, PartialEq)]
pub enum Extent {
    /// Plane: closed loops of points on it, mm; the first runs counter-clockwise about the
    /// normal and is the outline, the others run clockwise and are holes. No loop repeats its
    /// first point at the end.
    Outline(Vec<Vec<Point3>>),
    /// Line: from and to, mm along the direction from the line's point.
    Segment(f64, f64),
    /// Circle: angles, rad, from and to (from < to ≤ from + 2π), counted about the normal from `zero`.
    Arc {
        /// Direction of angle zero, perpendicular to the normal.
        zero: Direction,
        /// First angle, rad.
        from: f64,
        /// Last angle, rad.
        to: f64,
    },
    /// Cylinder, cone, sphere, torus: a patch between parameter lines.
    Patch {
        /// Direction of u = 0, perpendicular to the axis (for a sphere: to `pole`).
        zero: Direction,
        /// Axis of a sphere's parameters; for the other shapes their own axis.
        pole: Direction,
        /// Angle about the axis, rad, from < to ≤ from + 2π.
        u: (f64, f64),
        /// Cylinder, cone: mm along the axis from the shape's point. Sphere: latitude, rad in
        /// [-π/2, π/2]. Torus: angle round the tube, rad, 0 outermost, π/2 towards the axis direction.
        v: (f64, f64),
    },
    /// All of it: full circle, full sphere, full torus.
    Whole,
}

impl Bounded {
    /// Both parts moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        let extent = match &self.extent {
            Extent::Outline(loops) => Extent::Outline(
                loops.iter().map(|l| l.iter().map(|p| pose * p).collect()).collect(),
            ),
            Extent::Segment(a, b) => Extent::Segment(*a, *b),
            Extent::Arc { zero, from, to } => {
                Extent::Arc { zero: pose * zero, from: *from, to: *to }
            }
            Extent::Patch { zero, pole, u, v } => {
                Extent::Patch { zero: pose * zero, pole: pose * pole, u: *u, v: *v }
            }
            Extent::Whole => Extent::Whole,
        };
        Bounded { shape: self.shape.transformed(pose), extent }
    }
}

/// Point of a surface at its parameters, as [`Extent::Patch`] counts them.
pub(crate) fn point_of_patch(
    shape: &Primitive,
    zero: &Direction,
    pole: &Direction,
) -> Option<Box<dyn Fn(f64, f64) -> Point3>> {
    let turn = |axis: &Direction| {
        let (x, y) = (zero.into_inner(), axis.cross(zero));
        move |u: f64| x * u.cos() + y * u.sin()
    };
    Some(match shape.clone() {
        Primitive::Cylinder(c) => {
            let out = turn(&c.axis);
            Box::new(move |u, v| c.point + c.axis.into_inner() * v + out(u) * c.radius)
        }
        Primitive::Cone(c) => {
            let out = turn(&c.axis);
            Box::new(move |u, v| c.point + c.axis.into_inner() * v + out(u) * c.radius_at(v))
        }
        Primitive::Sphere(s) => {
            let (out, pole) = (turn(pole), pole.into_inner());
            Box::new(move |u, v| s.centre + (out(u) * v.cos() + pole * v.sin()) * s.radius)
        }
        Primitive::Torus(t) => {
            let out = turn(&t.axis);
            Box::new(move |u, v| {
                let tube = out(u) * v.cos() + t.axis.into_inner() * v.sin();
                t.centre + out(u) * t.major_radius + tube * t.minor_radius
            })
        }
        Primitive::Plane(_)
        | Primitive::Line(_)
        | Primitive::Circle(_)
        | Primitive::Composite(_) => return None,
    })
}
