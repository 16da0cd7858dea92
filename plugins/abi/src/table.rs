//! What a plug-in hands over, and what it is handed.

use core::ffi::c_void;

use crate::answer::fitw_plugin_call;
use crate::version::fitw_plugin_text;

/// Unit of an option, number or column: none.
pub const FITW_PLUGIN_UNIT_NONE: i32 = 10;
/// Unit: millimetre.
pub const FITW_PLUGIN_UNIT_MM: i32 = 20;
/// Unit: radian.
pub const FITW_PLUGIN_UNIT_RAD: i32 = 30;
/// Unit of a column only: a coordinate of a place, mm. Three such columns side by side are x, y, z, and move
/// with the shape into other coordinates; other columns do not.
pub const FITW_PLUGIN_UNIT_PLACE: i32 = 40;

/// Sort of an option: any number within the limits.
pub const FITW_PLUGIN_OPTION_NUMBER: i32 = 10;
/// Sort of an option: a whole number within the limits.
pub const FITW_PLUGIN_OPTION_WHOLE: i32 = 20;
/// Sort of an option: 1 for yes, 0 for no.
pub const FITW_PLUGIN_OPTION_SWITCH: i32 = 30;

/// Log level: of interest to the plug-in's author.
pub const FITW_PLUGIN_LOG_DEBUG: i32 = 10;
/// Log level: of interest to the user.
pub const FITW_PLUGIN_LOG_INFO: i32 = 20;
/// Log level: the user should know.
pub const FITW_PLUGIN_LOG_WARNING: i32 = 30;

/// What the host offers for as long as the plug-in is loaded. Functions may be called from any thread.
#[repr(C)]
pub struct fitw_plugin_host {
    /// sizeof(fitw_plugin_host) as the host was compiled: read nothing beyond it.
    pub struct_size: u32,
    /// Newest version that the host speaks, major << 16 | minor.
    pub version: u32,
    /// The host's own, to be handed back.
    pub host: *mut c_void,
    /// Name and version of the host, such as "fitwright 0.1.0".
    pub name: fitw_plugin_text,
    /// Writes a line; `level` is FITW_PLUGIN_LOG_….
    pub log: unsafe extern "C" fn(host: *mut c_void, level: i32, text: fitw_plugin_text),
    /// A further ability of the host by id, such as FITW_PLUGIN_FITS; NULL: the host has it not. What it
    /// points to lives as long as the host table and begins with its struct_size.
    pub ability: unsafe extern "C" fn(host: *mut c_void, id: fitw_plugin_text) -> *const c_void,
}

/// An option of a fitter.
#[repr(C)]
pub struct fitw_plugin_option {
    /// sizeof(fitw_plugin_option).
    pub struct_size: u32,
    /// FITW_PLUGIN_OPTION_….
    pub sort: i32,
    /// FITW_PLUGIN_UNIT_…: users write it in the units of their job.
    pub unit: i32,
    /// 0.
    pub reserved: i32,
    /// Name in job files: lower case letters, digits, `_`.
    pub name: fitw_plugin_text,
    /// One line for people.
    pub description: fitw_plugin_text,
    /// Value where the user gives none, within the limits.
    pub standard: f64,
    /// Smallest value allowed.
    pub least: f64,
    /// Largest value allowed.
    pub most: f64,
}

/// Points to fit to; the host's, to be read during the call only.
#[repr(C)]
pub struct fitw_plugin_input {
    /// sizeof(fitw_plugin_input) as the host was compiled: read nothing beyond it.
    pub struct_size: u32,
    /// 1 if `pick_mm` is given, else 0.
    pub has_pick: i32,
    /// Points.
    pub point_count: usize,
    /// x, y, z of each point side by side, mm, finite.
    pub points_mm: *const f64,
    /// Unit normal of each point side by side, pointing out of the material as far as the scanner knows;
    /// zero where unknown. NULL: none is known.
    pub normals: *const f64,
    /// Where the user pointed, mm.
    pub pick_mm: [f64; 3],
    /// Standard deviation of the scan's noise, mm; 0: unknown.
    pub noise_mm: f64,
    /// Values of the fitter's options in its own order: always as many as it declares, checked against its
    /// limits, in mm and rad.
    pub options: *const f64,
    /// Their number.
    pub option_count: usize,
    /// Seed of every random choice: the same seed, the same answer.
    pub seed: u64,
    /// Since 1.1: usual distance from point to point, mm; 0: unknown.
    pub resolution_mm: f64,
}

/// A fitter.
#[repr(C)]
pub struct fitw_plugin_fitter {
    /// sizeof(fitw_plugin_fitter).
    pub struct_size: u32,
    /// FITW_PLUGIN_SHAPE_… of what it returns; FITW_PLUGIN_SHAPE_COMPOSITE for a shape of several pieces. Of a
    /// standard shape the one piece counts: parameters and covariance are the host's own, and those
    /// reported are left aside.
    pub shape: i32,
    /// Unique id, `vendor.name`, as it stands in the manifest: the plug-in's own vendor.
    pub id: fitw_plugin_text,
    /// One line for people.
    pub title: fitw_plugin_text,
    /// What a composite is called in results, one or two words: "obround". Empty for other shapes.
    pub kind: fitw_plugin_text,
    /// Fewest points it can work with, at least 1: the host refuses fewer.
    pub minimum_points: usize,
    /// Its options, `option_count` pointers; may be NULL if there are none.
    pub options: *const *const fitw_plugin_option,
    /// Their number.
    pub option_count: usize,
    /// The plug-in's own, handed back to `fit`.
    pub data: *const c_void,
    /// Fits. Several calls may run at once, each with its own `call`. Ask `call->progress` or
    /// `call->cancelled` at least every 50 ms and return FITW_PLUGIN_E_CANCELLED when it says so. Nothing
    /// may be thrown out of it. Returns FITW_PLUGIN_OK or an error; say the reason by `call->reason`.
    pub fit: unsafe extern "C" fn(
        data: *const c_void,
        input: *const fitw_plugin_input,
        call: *const fitw_plugin_call,
    ) -> i32,
}

/// What a plug-in hands over.
#[repr(C)]
pub struct fitw_plugin_table {
    /// Set by the host to sizeof(fitw_plugin_table) as it was compiled; the plug-in writes no more than that
    /// and leaves what it wrote here.
    pub struct_size: u32,
    /// Version the plug-in chose, major << 16 | minor.
    pub version: u32,
    /// Id of the plug-in, `vendor.name`, as it stands in the manifest.
    pub id: fitw_plugin_text,
    /// Its fitters, `fitter_count` pointers. All of it stays as it is for as long as the program runs.
    pub fitters: *const *const fitw_plugin_fitter,
    /// Their number, at least 1; since 1.2 it may be 0 if the plug-in has the ability FITW_PLUGIN_IMPORT.
    pub fitter_count: usize,
    /// A further ability of the plug-in by id, such as FITW_PLUGIN_IMPORT; NULL: it has it not. May itself be
    /// NULL. What it points to stays as it is for as long as the program runs.
    pub ability: Option<unsafe extern "C" fn(id: fitw_plugin_text) -> *const c_void>,
}

/// The one function of a plug-in, exported under the name FITW_PLUGIN_ENTRY.
///
/// The host names the lowest and the highest version that it speaks; the plug-in chooses the newest that it
/// knows too, fills the table and returns FITW_PLUGIN_OK. Without a version in common it returns
/// FITW_PLUGIN_E_VERSION and writes into `table->version` the highest it knows, nothing else. `host` stays
/// valid. The function may be called again, also from another thread, and answers the same.
pub type fitw_plugin_entry_fn = unsafe extern "C" fn(
    lowest: u32,
    highest: u32,
    host: *const fitw_plugin_host,
    table: *mut fitw_plugin_table,
) -> i32;
