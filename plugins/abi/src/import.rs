//! Reading designed parts as an ability of the plug-in, for kernels and formats of others.

use core::ffi::c_void;

use crate::answer::fitw_plugin_call;
use crate::version::fitw_plugin_text;

/// Id of the ability `fitw_plugin_import`, which `ability` of the plug-in's table is asked for since 1.2.
pub const FITW_PLUGIN_IMPORT: &str = "fitwright.import/1";

/// Shape of a face only: none of the standard ones.
pub const FITW_PLUGIN_SHAPE_OTHER: i32 = 110;

/// The importers of a plug-in: what its `ability` answers to FITW_PLUGIN_IMPORT.
#[repr(C)]
pub struct fitw_plugin_import {
    /// sizeof(fitw_plugin_import).
    pub struct_size: u32,
    /// 0.
    pub reserved: u32,
    /// Its importers, `importer_count` pointers. All of it stays as it is for as long as the program runs.
    pub importers: *const *const fitw_plugin_importer,
    /// Their number, at least 1.
    pub importer_count: usize,
}

/// An importer: it reads a file that holds a designed part.
#[repr(C)]
pub struct fitw_plugin_importer {
    /// sizeof(fitw_plugin_importer).
    pub struct_size: u32,
    /// 0.
    pub reserved: u32,
    /// Unique id, `vendor.name`, as it stands in the manifest: the plug-in's own vendor.
    pub id: fitw_plugin_text,
    /// One line for people.
    pub title: fitw_plugin_text,
    /// Extensions of the files that it reads, lower case, without the point; those of the manifest.
    pub extensions: *const fitw_plugin_text,
    /// Their number, at least 1.
    pub extension_count: usize,
    /// The plug-in's own, handed back to `import`.
    pub data: *const c_void,
    /// Reads a file and hands its part over by the functions of `part`. Of `call` it may use progress,
    /// cancelled, allocate, reason, note and the host's abilities; the rules of `fit` hold: several calls may
    /// run at once, `call->progress` or `call->cancelled` is asked at least every 50 ms as far as a kernel
    /// allows, nothing is thrown. FITW_PLUGIN_E_INPUT: the file cannot be read; say what is in it and what
    /// to do instead by `call->reason`, as "reason; remedy".
    pub import: unsafe extern "C" fn(
        data: *const c_void,
        input: *const fitw_plugin_import_input,
        call: *const fitw_plugin_call,
        part: *const fitw_plugin_part,
    ) -> i32,
}

/// What to read; the host's, to be read during the call only.
#[repr(C)]
pub struct fitw_plugin_import_input {
    /// sizeof(fitw_plugin_import_input) as the host was compiled: read nothing beyond it.
    pub struct_size: u32,
    /// 0.
    pub reserved: u32,
    /// The file, absolute.
    pub path: fitw_plugin_text,
    /// Largest distance that the mesh may have from the exact surfaces, mm.
    pub chord_error_mm: f64,
}

/// What an importer builds the part with. `part` goes first into every function. The functions copy what they
/// are given, in the order in which it comes. They return FITW_PLUGIN_OK, FITW_PLUGIN_E_LIMIT when the host
/// takes no more, or FITW_PLUGIN_E_INTERNAL for what cannot be; the importer then returns that.
///
/// Solids are closed: each edge of a triangle belongs to two triangles, which run along it in opposite
/// directions and name the same two points.
#[repr(C)]
pub struct fitw_plugin_part {
    /// sizeof(fitw_plugin_part) as the host was compiled: use nothing beyond it.
    pub struct_size: u32,
    /// 0.
    pub reserved: u32,
    /// The host's own.
    pub host: *mut c_void,
    /// Schema or format of the file, such as "AP214"; once, if at all.
    pub schema: unsafe extern "C" fn(part: *const fitw_plugin_part, name: fitw_plugin_text) -> i32,
    /// Begins a solid: the triangles that follow are its own. At least one.
    pub solid: unsafe extern "C" fn(part: *const fitw_plugin_part) -> i32,
    /// A face. Faces have numbers from 0 over the whole part.
    pub face:
        unsafe extern "C" fn(part: *const fitw_plugin_part, face: *const fitw_plugin_face) -> i32,
    /// Points, x, y, z of each, mm. They have numbers from 0 over the whole part.
    pub points: unsafe extern "C" fn(
        part: *const fitw_plugin_part,
        xyz_mm: *const f64,
        count: usize,
    ) -> i32,
    /// Triangles: numbers of three points each, counter-clockwise seen from outside of the material, and the
    /// number of the face of each, points and faces having been added before. `faces` NULL: faces are not
    /// known; then those of no triangle are.
    pub triangles: unsafe extern "C" fn(
        part: *const fitw_plugin_part,
        corners: *const u32,
        faces: *const u32,
        count: usize,
    ) -> i32,
    /// A round hole. Not needed where faces are known: the host finds holes in inward cylinders itself, unless
    /// the importer names one.
    pub hole:
        unsafe extern "C" fn(part: *const fitw_plugin_part, hole: *const fitw_plugin_hole) -> i32,
    /// Largest distance of the mesh from the exact surfaces, mm, where it is not what was asked for.
    pub chord_error: unsafe extern "C" fn(part: *const fitw_plugin_part, mm: f64) -> i32,
}

/// A face of the part.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_plugin_face {
    /// sizeof(fitw_plugin_face).
    pub struct_size: u32,
    /// FITW_PLUGIN_SHAPE_PLANE, …_CYLINDER, …_CONE, …_SPHERE, …_TORUS or …_OTHER, whose numbers are unused.
    pub shape: i32,
    /// 1 if the outside of the material is against the shape's own normal, which points along the direction of
    /// a plane and away from axis, centre or tube of others: a bore. Else 0.
    pub reversed: i32,
    /// 0.
    pub reserved: i32,
    /// As in fitw_plugin_piece, mm.
    pub point_mm: [f64; 3],
    /// As in fitw_plugin_piece.
    pub direction: [f64; 3],
    /// As in fitw_plugin_piece, mm.
    pub size_1: f64,
    /// As in fitw_plugin_piece, mm or rad.
    pub size_2: f64,
}

/// A round hole of the part.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_plugin_hole {
    /// sizeof(fitw_plugin_hole).
    pub struct_size: u32,
    /// 0.
    pub reserved: u32,
    /// Middle of the wall's axis, mm.
    pub point_mm: [f64; 3],
    /// Direction of the axis.
    pub axis: [f64; 3],
    /// Radius, mm.
    pub radius_mm: f64,
    /// Length of the wall along the axis, mm.
    pub depth_mm: f64,
}
