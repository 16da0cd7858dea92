//! Versions, states and text.

/// Major number of the interface: another one is another interface.
pub const FITW_PLUGIN_MAJOR: u32 = 1;
/// Minor number: grows when something is added at the end of a struct.
pub const FITW_PLUGIN_MINOR: u32 = 2;

/// Name of the one function that a plug-in exports, see fitw_plugin_entry_fn.
pub const FITW_PLUGIN_ENTRY: &str = "fitw_plugin_entry";

/// Done.
pub const FITW_PLUGIN_OK: i32 = 0;
/// An option, or two together, cannot be served.
pub const FITW_PLUGIN_E_OPTION: i32 = 100;
/// The host asked to stop.
pub const FITW_PLUGIN_E_CANCELLED: i32 = 200;
/// Host and plug-in have no version in common. From fitw_plugin_entry only.
pub const FITW_PLUGIN_E_VERSION: i32 = 320;
/// The host lacks an ability that the plug-in cannot do without.
pub const FITW_PLUGIN_E_ABILITY: i32 = 330;
/// Memory or another limit is used up.
pub const FITW_PLUGIN_E_LIMIT: i32 = 340;
/// Fewer points than needed.
pub const FITW_PLUGIN_E_TOO_FEW_POINTS: i32 = 400;
/// The points do not determine the shape: say what would.
pub const FITW_PLUGIN_E_UNDETERMINED: i32 = 410;
/// The iteration ended without an answer.
pub const FITW_PLUGIN_E_NOT_CONVERGED: i32 = 420;
/// The points are not finite; of an importer: the file cannot be read.
pub const FITW_PLUGIN_E_INPUT: i32 = 430;
/// A defect of the plug-in.
pub const FITW_PLUGIN_E_INTERNAL: i32 = 900;

/// UTF-8 text of `length` bytes, no NUL needed. NULL and 0: none.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_plugin_text {
    /// First byte.
    pub data: *const u8,
    /// Bytes.
    pub length: usize,
}

/// Newest version that both know, or 0 if there is none. A version is major << 16 | minor.
#[must_use]
pub const fn agreed(lowest: u32, highest: u32, own_lowest: u32, own_highest: u32) -> u32 {
    let high = if highest < own_highest { highest } else { own_highest };
    let low = if lowest > own_lowest { lowest } else { own_lowest };
    if low <= high { high } else { 0 }
}

/// A version of its numbers.
#[must_use]
pub const fn version(major: u32, minor: u32) -> u32 {
    major << 16 | minor
}
