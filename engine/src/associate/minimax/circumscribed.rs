//! Minimum circumscribed: the smallest circle, sphere or cylinder that holds all points (the smallest
//! ring that goes over a shaft).
//!
//! Every point's distance from the centre or axis is at most the radius. Of a cylinder it is the
//! optimum next to the least-squares shape; circle and sphere have only one. Circle: in the
//! least-squares plane of the points.

use super::Aim;
use super::problem::Side;

pub(crate) const AIM: Aim = Aim { side: Side::Out, size: Some(1.0) };
