//! What a fitter reports during a call.

use core::ffi::c_void;

use crate::version::fitw_plugin_text;

/// Shape: plane through a point with a normal.
pub const FITW_PLUGIN_SHAPE_PLANE: i32 = 10;
/// Shape: line through a point along a direction.
pub const FITW_PLUGIN_SHAPE_LINE: i32 = 20;
/// Shape: circle of a centre, normal and radius.
pub const FITW_PLUGIN_SHAPE_CIRCLE: i32 = 30;
/// Shape: sphere of a centre and radius.
pub const FITW_PLUGIN_SHAPE_SPHERE: i32 = 40;
/// Shape: cylinder about an axis.
pub const FITW_PLUGIN_SHAPE_CYLINDER: i32 = 50;
/// Shape: cone about an axis.
pub const FITW_PLUGIN_SHAPE_CONE: i32 = 60;
/// Shape: ring torus about an axis.
pub const FITW_PLUGIN_SHAPE_TORUS: i32 = 70;
/// Shape: several pieces.
pub const FITW_PLUGIN_SHAPE_COMPOSITE: i32 = 100;

/// Extent: closed loops of points on a plane.
pub const FITW_PLUGIN_EXTENT_OUTLINE: i32 = 10;
/// Extent: a line from `u_from` to `u_to`, mm along the direction from the point.
pub const FITW_PLUGIN_EXTENT_SEGMENT: i32 = 20;
/// Extent: a circle from `u_from` to `u_to`, rad about the normal, counted from `zero`.
pub const FITW_PLUGIN_EXTENT_ARC: i32 = 30;
/// Extent: a patch of cylinder, cone, sphere or torus between parameters u and v.
pub const FITW_PLUGIN_EXTENT_PATCH: i32 = 40;
/// Extent: all of a circle, sphere or torus.
pub const FITW_PLUGIN_EXTENT_WHOLE: i32 = 50;

/// A bounded piece: a standard shape and how much of it there is.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_plugin_piece {
    /// sizeof(fitw_plugin_piece).
    pub struct_size: u32,
    /// FITW_PLUGIN_SHAPE_…, no composite.
    pub shape: i32,
    /// FITW_PLUGIN_EXTENT_….
    pub extent: i32,
    /// 0.
    pub reserved: i32,
    /// On the plane, line or axis; centre of circle, sphere, torus; mm.
    pub point_mm: [f64; 3],
    /// Unit normal of plane and circle, direction of a line, axis of cylinder, cone (towards growing
    /// radius), torus; unused for a sphere.
    pub direction: [f64; 3],
    /// Circle, sphere, cylinder: radius, mm. Cone: radius at `point_mm`, mm. Torus: major radius, mm. Else 0.
    pub size_1: f64,
    /// Torus: minor radius, mm. Cone: half-angle, rad. Else 0.
    pub size_2: f64,
    /// Arc, patch: unit direction of u = 0, perpendicular to the axis (sphere: to `pole`).
    pub zero: [f64; 3],
    /// Patch of a sphere: the axis that u turns about. Other shapes: their own axis, unused.
    pub pole: [f64; 3],
    /// Segment: mm. Arc, patch: angle about the axis, rad; u_from < u_to <= u_from + 2 pi.
    pub u_from: f64,
    /// As u_from.
    pub u_to: f64,
    /// Patch. Cylinder, cone: mm along the axis from the point. Sphere: latitude, rad. Torus: angle round
    /// the tube, rad, 0 outermost, pi/2 towards the axis direction.
    pub v_from: f64,
    /// As v_from.
    pub v_to: f64,
    /// Outline: x, y, z of the points of all loops, one loop after the other, mm, on the plane. Loop 0 runs
    /// counter-clockwise about the normal, the others are holes and run clockwise; no first point repeated.
    pub outline_mm: *const f64,
    /// Outline: points of each loop.
    pub loop_sizes: *const usize,
    /// Outline: loops.
    pub loop_count: usize,
}

/// A column of a table.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_plugin_column {
    /// Name: lower case letters, digits, `_`.
    pub name: fitw_plugin_text,
    /// FITW_PLUGIN_UNIT_….
    pub unit: i32,
    /// 0.
    pub reserved: i32,
}

/// What a fitter can do during one call. `call` goes first into every function. The functions copy what they
/// are given. They return FITW_PLUGIN_OK, or FITW_PLUGIN_E_LIMIT when the host takes no more.
///
/// Parameters appear in results under their names (lower case letters, digits, `_`; each once) in the order in
/// which they are reported. The host
/// computes distances, rms and the covariance of the shape's place itself, from the pieces and the points.
#[repr(C)]
pub struct fitw_plugin_call {
    /// sizeof(fitw_plugin_call) as the host was compiled: use nothing beyond it.
    pub struct_size: u32,
    /// 0.
    pub reserved: u32,
    /// The host's own.
    pub host: *mut c_void,
    /// Tells how much is done, 0 to 1. Not 0: the host wants the work to stop.
    pub progress: unsafe extern "C" fn(call: *const fitw_plugin_call, fraction: f64) -> i32,
    /// Not 0: the host wants the work to stop.
    pub cancelled: unsafe extern "C" fn(call: *const fitw_plugin_call) -> i32,
    /// Memory, aligned to 16 bytes, that the host frees when the call ends. NULL: over the host's limit.
    pub allocate: unsafe extern "C" fn(call: *const fitw_plugin_call, bytes: usize) -> *mut c_void,
    /// Says why the call fails, and what would help: "45 degrees of arc leave the width open; scan both ends".
    pub reason: unsafe extern "C" fn(call: *const fitw_plugin_call, text: fitw_plugin_text),
    /// A parameter: a number. `unit` is FITW_PLUGIN_UNIT_….
    pub number: unsafe extern "C" fn(
        call: *const fitw_plugin_call,
        name: fitw_plugin_text,
        unit: i32,
        value: f64,
    ) -> i32,
    /// A parameter: a place, x, y, z, mm.
    pub point: unsafe extern "C" fn(
        call: *const fitw_plugin_call,
        name: fitw_plugin_text,
        xyz_mm: *const f64,
    ) -> i32,
    /// A parameter: a unit direction, x, y, z.
    pub direction: unsafe extern "C" fn(
        call: *const fitw_plugin_call,
        name: fitw_plugin_text,
        xyz: *const f64,
    ) -> i32,
    /// A parameter: a table of numbers, `rows` times `column_count` values row by row.
    pub table: unsafe extern "C" fn(
        call: *const fitw_plugin_call,
        name: fitw_plugin_text,
        columns: *const fitw_plugin_column,
        column_count: usize,
        values: *const f64,
        rows: usize,
    ) -> i32,
    /// Covariance of the parameters (standard uncertainty, k = 1): a symmetric matrix of `size` rows, row by
    /// row, over all of them in the order reported: three rows for a place, three for a direction, one for
    /// a number, none for a table. Required of composites, once; for a single standard shape the host's own
    /// serves.
    pub covariance:
        unsafe extern "C" fn(call: *const fitw_plugin_call, values: *const f64, size: usize) -> i32,
    /// A piece of the shape; at least one.
    pub piece:
        unsafe extern "C" fn(call: *const fitw_plugin_call, piece: *const fitw_plugin_piece) -> i32,
    /// Points that were left out as not belonging, by position in the input.
    pub rejected: unsafe extern "C" fn(
        call: *const fitw_plugin_call,
        points: *const u32,
        count: usize,
    ) -> i32,
    /// A sentence that the user should read beside the result.
    pub note: unsafe extern "C" fn(call: *const fitw_plugin_call, text: fitw_plugin_text) -> i32,
}
