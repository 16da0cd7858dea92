//! The bounded pieces of features, for a host that makes its own shapes of them.

use engine::primitive::{Bounded, Extent};

use crate::call::call;
use crate::context::fitw_context;
use crate::error::{Fault, fitw_status};
use crate::feature::{FeatureBox, fitw_feature};
use crate::handle;
use crate::pointer::{SizedOut, View, grows};
use crate::shape::of_primitive;
use crate::text::past;

/// Extent: closed loops of points on a plane, see fitw_feature_piece_loop_view.
pub const FITW_EXTENT_OUTLINE: i32 = 10;
/// Extent: a line from u_from to u_to, mm along the direction from the point.
pub const FITW_EXTENT_SEGMENT: i32 = 20;
/// Extent: a circle from u_from to u_to, rad about the normal, counted from `zero`.
pub const FITW_EXTENT_ARC: i32 = 30;
/// Extent: a patch of cylinder, cone, sphere or torus between parameters u and v.
pub const FITW_EXTENT_PATCH: i32 = 40;
/// Extent: all of the shape.
pub const FITW_EXTENT_WHOLE: i32 = 50;

/// A bounded piece of a feature: a shape and how much of it exists.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_piece {
    /// sizeof(fitw_piece), set by the caller.
    pub struct_size: u32,
    /// FITW_EXTENT_…
    pub extent: i32,
    /// FITW_KIND_… of the shape; this and the next four as in fitw_shape.
    pub kind: i32,
    /// Loops of an outline; 0 else.
    pub loop_count: u32,
    /// See fitw_shape, mm.
    pub point_mm: [f64; 3],
    /// See fitw_shape.
    pub direction: [f64; 3],
    /// See fitw_shape, mm.
    pub size_1: f64,
    /// See fitw_shape, mm or rad.
    pub size_2: f64,
    /// Arc, patch: direction of u = 0, perpendicular to the axis (sphere: to `pole`).
    pub zero: [f64; 3],
    /// Patch: the axis that u turns about; of a sphere its own choice.
    pub pole: [f64; 3],
    /// Segment: mm. Arc, patch: angle about the axis, rad; u_from < u_to ≤ u_from + 2 pi.
    pub u_from: f64,
    /// As u_from.
    pub u_to: f64,
    /// Patch. Cylinder, cone: mm along the axis from the point. Sphere: latitude, rad. Torus: angle round
    /// the tube, rad, 0 outermost, pi/2 towards the axis direction.
    pub v_from: f64,
    /// As v_from.
    pub v_to: f64,
}

grows! { fitw_piece 160 }

/// Piece `index` of a feature, from 0 (a hole: wall, rim circle, axis; a plane: its outline; a cylinder: its
/// patch and axis). Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_piece(
    context: *const fitw_context,
    feature: *const fitw_feature,
    index: usize,
    out: *mut fitw_piece,
) -> fitw_status {
    call(context, "fitw_feature_piece", |_| {
        let feature = handle::get(feature, "feature")?;
        let out = SizedOut::new(out, "out")?;
        out.set(of_piece(nth(&feature, index)?));
        Ok(())
    })
}

/// Loop of an outline: x, y, z of `*count` points side by side, mm, the first not repeated at the end. Loop 0
/// runs counter-clockwise about the normal, the others are holes and run clockwise. Not a copy; valid until
/// the feature is released. Error: FITW_E_ARGUMENT past the last piece or loop. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_piece_loop_view(
    context: *const fitw_context,
    feature: *const fitw_feature,
    piece: usize,
    index: usize,
    xyz_mm: *mut *const f64,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_feature_piece_loop_view", |_| {
        let feature = handle::get(feature, "feature")?;
        let view = View::new(xyz_mm, count)?;
        let loops = match &nth(&feature, piece)?.extent {
            Extent::Outline(loops) => loops.as_slice(),
            _ => &[],
        };
        view.set(loops.get(index).ok_or_else(|| past(index, loops.len()))?);
        Ok(())
    })
}

fn nth(feature: &FeatureBox, index: usize) -> Result<&Bounded, Fault> {
    let pieces = &feature.feature.pieces;
    pieces.get(index).ok_or_else(|| past(index, pieces.len()))
}

fn of_piece(piece: &Bounded) -> fitw_piece {
    let shape = of_primitive(&piece.shape);
    let mut out = fitw_piece {
        struct_size: 0,
        extent: FITW_EXTENT_WHOLE,
        kind: shape.kind,
        loop_count: 0,
        point_mm: shape.point_mm,
        direction: shape.direction,
        size_1: shape.size_1,
        size_2: shape.size_2,
        zero: [0.0; 3],
        pole: [0.0; 3],
        u_from: 0.0,
        u_to: 0.0,
        v_from: 0.0,
        v_to: 0.0,
    };
    match &piece.extent {
        Extent::Outline(loops) => {
            out.extent = FITW_EXTENT_OUTLINE;
            out.loop_count = u32::try_from(loops.len()).unwrap_or(u32::MAX);
        }
        Extent::Segment(from, to) => {
            out.extent = FITW_EXTENT_SEGMENT;
            (out.u_from, out.u_to) = (*from, *to);
        }
        Extent::Arc { zero, from, to } => {
            out.extent = FITW_EXTENT_ARC;
            out.zero = zero.into_inner().into();
            (out.u_from, out.u_to) = (*from, *to);
        }
        Extent::Patch { zero, pole, u, v } => {
            out.extent = FITW_EXTENT_PATCH;
            (out.zero, out.pole) = (zero.into_inner().into(), pole.into_inner().into());
            (out.u_from, out.u_to) = *u;
            (out.v_from, out.v_to) = *v;
        }
        Extent::Whole => {}
    }
    out
}
