//! Minimum zone (Chebyshev): the shape with the smallest largest distance of any point.
//!
//! Surfaces: the signed distances to both sides count alike, so that twice the largest is the width of
//! the zone between two offset surfaces that holds all points (ISO 1101). Line: the smallest circular
//! cylinder that holds all points. Circle: two concentric circles in the least-squares plane of
//! the points with the smallest difference of radii hold all points seen along that plane's normal,
//! which is roundness of a section (ISO 1101, ISO 12181-1); how far the points lie out of the plane
//! is the plane's flatness and does not move the circle.

use super::Aim;
use super::problem::Side;
use crate::primitive::Kind;

pub(crate) fn aim(kind: Kind) -> Aim {
    let side = if kind == Kind::Line { Side::Tube } else { Side::Both };
    Aim { side, size: None }
}
