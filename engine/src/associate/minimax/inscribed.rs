//! Maximum inscribed: the largest circle, sphere or cylinder among the points with none inside (the
//! largest pin that enters a hole).
//!
//! Every point's distance from the centre or axis is at least the radius, and the points that touch
//! hold it all round: an optimum in the empty middle, the best of those reached from several
//! starts round the least-squares shape. Circle: in the least-squares plane of the points.

use super::Aim;
use super::problem::Side;

pub(crate) const AIM: Aim = Aim { side: Side::In, size: Some(-1.0) };
