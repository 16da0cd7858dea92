//! What a plug-in returns: a kind, named parameters with units, and the bounded standard pieces it consists of.

use super::{Bounded, Direction, Point3, Pose};
use crate::units::Quantity;

/// A named parameter of a shape.
#[derive(Debug, Clone, PartialEq)]
pub struct Parameter {
    /// Name, as in the published result format.
    pub name: String,
    /// Its value.
    pub value: Value,
}

/// Value of a parameter.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A position, mm; moves with the shape.
    Point(Point3),
    /// A unit direction; turns with the shape.
    Direction(Direction),
    /// A number of the given quantity (mm, rad or bare).
    Scalar(f64, Quantity),
}

impl Parameter {
    /// A position, mm.
    #[must_use]
    pub fn point(name: &str, value: Point3) -> Self {
        Parameter { name: name.into(), value: Value::Point(value) }
    }

    /// A unit direction.
    #[must_use]
    pub fn direction(name: &str, value: Direction) -> Self {
        Parameter { name: name.into(), value: Value::Direction(value) }
    }

    /// A length, mm.
    #[must_use]
    pub fn length(name: &str, value: f64) -> Self {
        Parameter { name: name.into(), value: Value::Scalar(value, Quantity::Length) }
    }

    /// An angle, rad.
    #[must_use]
    pub fn angle(name: &str, value: f64) -> Self {
        Parameter { name: name.into(), value: Value::Scalar(value, Quantity::Angle) }
    }
}

/// A shape known by its pieces; distances and pictures need nothing else.
#[derive(Debug, Clone, PartialEq)]
pub struct Composite {
    /// Kind as the plug-in names it.
    pub kind: String,
    /// Named parameters in the plug-in's order.
    pub parameters: Vec<Parameter>,
    /// Bounded standard pieces, never composites themselves; at least one.
    pub pieces: Vec<Bounded>,
}

impl Composite {
    /// Distance to the nearest piece, mm, never negative; infinite without pieces.
    #[must_use]
    pub fn distance(&self, p: &Point3) -> f64 {
        self.pieces.iter().map(|b| b.shape.distance(p).abs()).fold(f64::INFINITY, f64::min)
    }

    /// Nearest point on any piece, mm; `p` itself without pieces.
    #[must_use]
    pub fn project(&self, p: &Point3) -> Point3 {
        self.pieces
            .iter()
            .map(|b| b.shape.project(p))
            .min_by(|a, b| (a - p).norm_squared().total_cmp(&(b - p).norm_squared()))
            .unwrap_or(*p)
    }

    /// Location of the first piece, the origin without pieces.
    #[must_use]
    pub fn point(&self) -> Point3 {
        self.pieces.first().map_or_else(Point3::origin, |b| b.shape.point())
    }

    /// The shape moved by a rigid motion, parameters and pieces together.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        let moved = |p: &Parameter| Parameter {
            name: p.name.clone(),
            value: match &p.value {
                Value::Point(x) => Value::Point(pose * x),
                Value::Direction(d) => Value::Direction(pose * d),
                Value::Scalar(x, q) => Value::Scalar(*x, *q),
            },
        };
        Composite {
            kind: self.kind.clone(),
            parameters: self.parameters.iter().map(moved).collect(),
            pieces: self.pieces.iter().map(|b| b.transformed(pose)).collect(),
        }
    }

    /// The plug-in's parameters.
    #[must_use]
    pub fn parameters(&self) -> Vec<Parameter> {
        self.parameters.clone()
    }
}
