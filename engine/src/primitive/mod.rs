//! Ideal shapes as plain data, each with its exact distance, projection and rigid transform.
//!
//! A closed enum [`Primitive`] with one open variant, [`Composite`], for what plug-ins return.
//! Surfaces have a signed distance, positive on the side their normal points to (outside of a
//! sphere, cylinder, cone or torus); curves have the unsigned distance.

mod bounded;
mod circle;
mod composite;
mod cone;
mod cylinder;
mod frame;
mod line;
mod nearest;
mod plane;
mod sphere;
mod torus;

pub(crate) use bounded::point_of_patch;
pub use bounded::{Bounded, Extent};
pub use circle::Circle;
pub use composite::{Column, Composite, Parameter, Table, Value};
pub use cone::Cone;
pub use cylinder::Cylinder;
pub use frame::{any_perpendicular, frame_from_axis, unit};
pub use line::Line;
pub use plane::Plane;
pub use sphere::Sphere;
pub use torus::Torus;

use nalgebra::{Isometry3, UnitVector3, Vector3};

/// Point in space, mm.
pub type Point3 = nalgebra::Point3<f64>;
/// Free vector, mm.
pub type Vec3 = Vector3<f64>;
/// Unit direction.
pub type Direction = UnitVector3<f64>;
/// Rigid motion; named in product order, `machine_from_scan`.
pub type Pose = Isometry3<f64>;

/// Kind of a primitive, without its numbers.
#[non_exhaustive]
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// [`Plane`].
    Plane,
    /// [`Line`].
    Line,
    /// [`Circle`].
    Circle,
    /// [`Sphere`].
    Sphere,
    /// [`Cylinder`].
    Cylinder,
    /// [`Cone`].
    Cone,
    /// [`Torus`].
    Torus,
    /// [`Composite`].
    Composite,
}

impl Kind {
    /// Name used in job files and results.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Kind::Plane => "plane",
            Kind::Line => "line",
            Kind::Circle => "circle",
            Kind::Sphere => "sphere",
            Kind::Cylinder => "cylinder",
            Kind::Cone => "cone",
            Kind::Torus => "torus",
            Kind::Composite => "composite",
        }
    }
}

/// Any ideal shape.
#[derive(Debug, Clone, PartialEq)]
pub enum Primitive {
    /// Unbounded plane.
    Plane(Plane),
    /// Unbounded straight line.
    Line(Line),
    /// Circle in space.
    Circle(Circle),
    /// Sphere.
    Sphere(Sphere),
    /// Unbounded cylinder.
    Cylinder(Cylinder),
    /// One half of an unbounded cone.
    Cone(Cone),
    /// Ring torus.
    Torus(Torus),
    /// What a plug-in returned.
    Composite(Composite),
}

macro_rules! each {
    ($self:expr, $s:ident => $body:expr) => {
        match $self {
            Primitive::Plane($s) => $body,
            Primitive::Line($s) => $body,
            Primitive::Circle($s) => $body,
            Primitive::Sphere($s) => $body,
            Primitive::Cylinder($s) => $body,
            Primitive::Cone($s) => $body,
            Primitive::Torus($s) => $body,
            Primitive::Composite($s) => $body,
        }
    };
}

impl Primitive {
    /// Kind without the numbers.
    #[must_use]
    pub fn kind(&self) -> Kind {
        match self {
            Primitive::Plane(_) => Kind::Plane,
            Primitive::Line(_) => Kind::Line,
            Primitive::Circle(_) => Kind::Circle,
            Primitive::Sphere(_) => Kind::Sphere,
            Primitive::Cylinder(_) => Kind::Cylinder,
            Primitive::Cone(_) => Kind::Cone,
            Primitive::Torus(_) => Kind::Torus,
            Primitive::Composite(_) => Kind::Composite,
        }
    }

    /// Distance of a point, mm: signed for surfaces, unsigned for curves and composites.
    #[must_use]
    pub fn distance(&self, p: &Point3) -> f64 {
        each!(self, s => s.distance(p))
    }

    /// Nearest point of the shape, mm.
    #[must_use]
    pub fn project(&self, p: &Point3) -> Point3 {
        each!(self, s => s.project(p))
    }

    /// Unit normal of a surface at the foot of `p`, on the side of positive distance; curves and
    /// composites have none.
    #[must_use]
    pub fn normal_at(&self, p: &Point3) -> Option<Direction> {
        match self {
            Primitive::Plane(s) => Some(s.normal_at(p)),
            Primitive::Sphere(s) => Some(s.normal_at(p)),
            Primitive::Cylinder(s) => Some(s.normal_at(p)),
            Primitive::Cone(s) => Some(s.normal_at(p)),
            Primitive::Torus(s) => Some(s.normal_at(p)),
            Primitive::Line(_) | Primitive::Circle(_) | Primitive::Composite(_) => None,
        }
    }

    /// The shape moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        match self {
            Primitive::Plane(s) => s.transformed(pose).into(),
            Primitive::Line(s) => s.transformed(pose).into(),
            Primitive::Circle(s) => s.transformed(pose).into(),
            Primitive::Sphere(s) => s.transformed(pose).into(),
            Primitive::Cylinder(s) => s.transformed(pose).into(),
            Primitive::Cone(s) => s.transformed(pose).into(),
            Primitive::Torus(s) => s.transformed(pose).into(),
            Primitive::Composite(s) => s.transformed(pose).into(),
        }
    }

    /// Named parameters in the order of the published result format; lengths mm, angles rad.
    #[must_use]
    pub fn parameters(&self) -> Vec<Parameter> {
        each!(self, s => s.parameters())
    }

    /// A point the shape is located by: on the axis, the centre, or on the plane.
    #[must_use]
    pub fn point(&self) -> Point3 {
        match self {
            Primitive::Plane(s) => s.point,
            Primitive::Line(s) => s.point,
            Primitive::Circle(s) => s.centre,
            Primitive::Sphere(s) => s.centre,
            Primitive::Cylinder(s) => s.point,
            Primitive::Cone(s) => s.point,
            Primitive::Torus(s) => s.centre,
            Primitive::Composite(s) => s.point(),
        }
    }

    /// Axis, normal or direction; a sphere and a composite have none.
    #[must_use]
    pub fn direction(&self) -> Option<Direction> {
        match self {
            Primitive::Plane(s) => Some(s.normal),
            Primitive::Line(s) => Some(s.direction),
            Primitive::Circle(s) => Some(s.normal),
            Primitive::Cylinder(s) => Some(s.axis),
            Primitive::Cone(s) => Some(s.axis),
            Primitive::Torus(s) => Some(s.axis),
            Primitive::Sphere(_) | Primitive::Composite(_) => None,
        }
    }
}

macro_rules! from {
    ($($shape:ident),*) => {$(
        impl From<$shape> for Primitive {
            fn from(shape: $shape) -> Self {
                Primitive::$shape(shape)
            }
        }
    )*};
}
from!(Plane, Line, Circle, Sphere, Cylinder, Cone, Torus, Composite);
