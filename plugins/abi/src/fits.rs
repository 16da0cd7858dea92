//! The host's own fits as an ability, for fitters whose shapes consist of standard ones.

use crate::answer::fitw_plugin_call;

/// Id of the ability `fitw_plugin_fits`.
pub const FITW_PLUGIN_FITS: &str = "fitwright.fits/1";

/// The host fits standard shapes: orthogonal least squares, outliers found and left out.
#[repr(C)]
pub struct fitw_plugin_fits {
    /// sizeof(fitw_plugin_fits) as the host was compiled.
    pub struct_size: u32,
    /// 0.
    pub reserved: u32,
    /// Fits a shape, FITW_PLUGIN_SHAPE_PLANE to …_TORUS, to `count` points (x, y, z side by side, mm) with
    /// their unit normals (zero where unknown; NULL: none). `outliers` 1: gross outliers are found and left
    /// out; 0: all points count. `used`, if not NULL, takes `count` bytes: 1 for a point that the fit uses,
    /// 0 for one left out. Same errors as a fitter's; a reason is kept as by `call->reason`.
    pub fit: unsafe extern "C" fn(
        call: *const fitw_plugin_call,
        shape: i32,
        points_mm: *const f64,
        normals: *const f64,
        count: usize,
        outliers: i32,
        out: *mut fitw_plugin_fitted,
        used: *mut u8,
    ) -> i32,
}

/// A standard shape fitted by the host.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_plugin_fitted {
    /// sizeof(fitw_plugin_fitted), set by the plug-in; the host writes no more.
    pub struct_size: u32,
    /// FITW_PLUGIN_SHAPE_….
    pub shape: i32,
    /// As in fitw_plugin_piece, mm.
    pub point_mm: [f64; 3],
    /// As in fitw_plugin_piece.
    pub direction: [f64; 3],
    /// As in fitw_plugin_piece, mm.
    pub size_1: f64,
    /// As in fitw_plugin_piece, mm or rad.
    pub size_2: f64,
    /// Place that `covariance` is about, mm.
    pub at_mm: [f64; 3],
    /// Covariance, 8 by 8, row by row: shift x, y, z (mm), rotation vector x, y, z (rad), size_1, size_2.
    pub covariance: [f64; 64],
    /// Root mean square of the distances of the points used, mm.
    pub rms_mm: f64,
    /// Standard deviation of one point, mm.
    pub sigma_mm: f64,
    /// Points used.
    pub used_count: usize,
}
