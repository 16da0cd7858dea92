//! What is known of a shape before it is fitted, and what holding it to that cost.

use crate::primitive::{Direction, Point3};

/// Something known of a shape, held exactly while the rest is fitted.
#[non_exhaustive]
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Constraint {
    /// Radius of a circle, sphere or cylinder, mm.
    Radius(f64),
    /// Major radius of a torus, mm.
    MajorRadius(f64),
    /// Minor radius of a torus, mm.
    MinorRadius(f64),
    /// Half-angle of a cone, rad.
    HalfAngle(f64),
    /// The direction (plane: its normal) is parallel to this, either way.
    Parallel(Direction),
    /// The direction (plane: its normal) is perpendicular to this.
    Perpendicular(Direction),
    /// The axis (plane: the plane, line: the line) goes through this point; circle, sphere and
    /// torus: their centre is there. mm.
    Through(Point3),
}

/// What the constraints cost a fit.
#[non_exhaustive]
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ConstraintCost {
    /// Freedoms that the constraints took away.
    pub freedoms: usize,
    /// Standard deviation of one point in the free fit of the same points, mm; `None` where they
    /// do not determine the shape without the constraints (a short arc of known radius).
    pub free_sigma: Option<f64>,
    /// Standard deviation of one point in the constrained fit, mm.
    pub sigma: f64,
    /// Probability that points which obey the constraints cost this much by chance (F test, for
    /// errors independent from point to point); `None` without a free fit or without spare points.
    pub probability: Option<f64>,
}
