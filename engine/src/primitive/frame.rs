//! Directions and frames built from one axis.

use nalgebra::{Matrix3, Rotation3};

use super::{Direction, Vec3};

/// Unit direction of a vector, `None` for a zero or non-finite one.
#[must_use]
pub fn unit(v: Vec3) -> Option<Direction> {
    let largest = v.amax();
    if !(largest.is_finite() && largest > 0.0) {
        return None;
    }
    Some(Direction::new_normalize(v / largest))
}

/// A unit direction perpendicular to `axis`: the same for the same axis, no branch near a pole
/// leaves it ill defined.
#[must_use]
pub fn any_perpendicular(axis: &Direction) -> Direction {
    let a = axis.abs();
    // The coordinate axis farthest from `axis` gives the best conditioned cross product.
    let helper = if a.x <= a.y && a.x <= a.z {
        Vec3::x()
    } else if a.y <= a.z {
        Vec3::y()
    } else {
        Vec3::z()
    };
    Direction::new_normalize(axis.cross(&helper))
}

/// Right-handed rotation whose third column is `axis`: takes local coordinates to the outer ones.
#[must_use]
pub fn frame_from_axis(axis: &Direction) -> Rotation3<f64> {
    let x = any_perpendicular(axis);
    let y = axis.cross(&x);
    Rotation3::from_matrix_unchecked(Matrix3::from_columns(&[x.into_inner(), y, axis.into_inner()]))
}
