//! Standard shapes that are there already: judged where they are, or polished.

use super::{Fit, Input, Request, least_squares};
use crate::error::{Error, Result};
use crate::primitive::{Circle, Cone, Cylinder, Line, Plane, Primitive, Sphere, Torus};

/// One of the functions of `least_squares` for the kind of a shape.
macro_rules! of_kind {
    ($shape:expr, $work:ident $arguments:tt) => {
        of_kind!(@ $shape, $work $arguments,
            Plane 3, Line 4, Circle 6, Sphere 4, Cylinder 5, Cone 6, Torus 7)
    };
    (@ $shape:expr, $work:ident $arguments:tt, $($kind:ident $freedoms:literal),*) => {
        Ok(match $shape {
            $(Primitive::$kind(_) => {
                of_kind!(# least_squares::$work::<$kind, $freedoms>, $arguments)?.map(Primitive::from)
            })*
            Primitive::Composite(_) => {
                return Err(Error::argument("shape", "composite", "a built-in shape"));
            }
        })
    };
    (# $function:expr, ($($argument:expr),*)) => { $function($($argument),*) };
}

/// Quality, noise and covariance of a shape among the points that are not rejected (by point; empty if
/// none is).
pub(crate) fn judge(
    input: &Input<'_>,
    request: &Request,
    shape: &Primitive,
    rejected: Vec<bool>,
) -> Result<Fit<Primitive>> {
    of_kind!(shape, judge(input, request, shape, rejected))
}

/// The least-squares shape near a given one, gross outliers aside, with noise supposed to be independent from
/// point to point: a tenth of the work of a fit, for finding many shapes at once.
pub(crate) fn polish(input: &Input<'_>, near: &Primitive) -> Result<Fit<Primitive>> {
    of_kind!(near, polish(input, near))
}
