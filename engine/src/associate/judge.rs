//! Standard shapes that are there already: judged where they are, or polished.

use super::{Fit, Input, Request, least_squares};
use crate::error::{Error, Result};
use crate::primitive::{Circle, Cone, Cylinder, Line, Plane, Primitive, Sphere, Torus};

/// What the macro `of` makes of the kind and the freedoms of a shape.
macro_rules! by_kind {
    ($shape:expr, $of:ident) => {
        Ok(match $shape {
            Primitive::Plane(_) => $of!(Plane, 3),
            Primitive::Line(_) => $of!(Line, 4),
            Primitive::Circle(_) => $of!(Circle, 6),
            Primitive::Sphere(_) => $of!(Sphere, 4),
            Primitive::Cylinder(_) => $of!(Cylinder, 5),
            Primitive::Cone(_) => $of!(Cone, 6),
            Primitive::Torus(_) => $of!(Torus, 7),
            Primitive::Composite(_) => {
                return Err(Error::argument("shape", "composite", "a built-in shape"));
            }
        })
    };
}

/// Quality, noise and covariance of a shape among the points that are not rejected (by point; empty if
/// none is).
pub(crate) fn judge(
    input: &Input<'_>,
    request: &Request,
    shape: &Primitive,
    rejected: Vec<bool>,
) -> Result<Fit<Primitive>> {
    macro_rules! of {
        ($shape:ident, $freedoms:literal) => {
            least_squares::judge::<$shape, $freedoms>(input, request, shape, rejected)?
                .map(Primitive::from)
        };
    }
    by_kind!(shape, of)
}

/// The least-squares shape near a given one, gross outliers aside, with noise supposed to be independent from
/// point to point: a tenth of the work of a fit, for finding many shapes at once.
pub(crate) fn polish(input: &Input<'_>, near: &Primitive) -> Result<Fit<Primitive>> {
    macro_rules! of {
        ($shape:ident, $freedoms:literal) => {
            least_squares::polish::<$shape, $freedoms>(input, near)?.map(Primitive::from)
        };
    }
    by_kind!(near, of)
}
