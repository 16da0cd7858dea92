//! What is asked of tools and of the way in.

use engine::fitcheck::{InsertionLimits, Mount, ToolLimits};

use crate::context::no_flags;
use crate::error::Fault;
use crate::pointer::{self, Array, grows};
use crate::region::limit;

/// A straight socket does not count.
pub const FITW_TOOLS_NO_SOCKET: u32 = 1;
/// An open-ended spanner does not count.
pub const FITW_TOOLS_NO_SPANNER: u32 = 2;
/// Each of the tools must reach, else one is enough.
pub const FITW_TOOLS_EVERY: u32 = 4;
/// No washer lies under the head.
pub const FITW_TOOLS_NO_WASHER: u32 = 8;

/// What is asked of the space for tools at the bolts. Sizes of tools left at 0 are by the bolt, from memory of
/// hand tools. Since 1.4.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_tool_limits {
    /// sizeof(fitw_tool_limits).
    pub struct_size: u32,
    /// FITW_TOOLS_…
    pub flags: u32,
    /// Air round a tool, mm; 0: 1; negative: none.
    pub air_mm: f64,
    /// Length of the extension on the socket, mm; 0: 50; negative: none.
    pub extension_mm: f64,
    /// Outside diameter of the socket, mm; 0: by the bolt.
    pub socket_diameter_mm: f64,
    /// Length of the socket, mm; 0: by the bolt.
    pub socket_length_mm: f64,
    /// Least free swing of the spanner, rad; 0: 30 degrees.
    pub swing_rad: f64,
    /// Length of every bolt under its head, mm; 0: the part's hole, the washer and one diameter.
    pub bolt_length_mm: f64,
    /// Length of each mount's bolt under its head, mm, in the order of `mounts`, as many; 0: as bolt_length_mm.
    /// NULL: all as bolt_length_mm. Since 1.5.
    pub bolt_lengths_mm: *const f64,
}

/// What is asked of the way that the part is brought to its seat. Since 1.4.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_insertion_limits {
    /// sizeof(fitw_insertion_limits).
    pub struct_size: u32,
    /// 0; no flags are defined.
    pub flags: u32,
    /// Air all along the way, mm; 0: 1; negative: none.
    pub clearance_mm: f64,
    /// Straight directions tried; 0: 1000.
    pub directions: u32,
    /// Moves tried for a way with turns if none is straight; 0: 2000.
    pub tries: u32,
    /// Seed of the random moves; 0: 1.
    pub seed: u64,
    /// Places in `features` of what is taken off for it; may be NULL.
    pub without: *const u32,
    /// Number of them.
    pub without_count: usize,
    /// Places in `other_parts` of what is put in after it; may be NULL. Since 1.5.
    pub without_parts: *const u32,
    /// Number of them.
    pub without_part_count: usize,
}

grows! { fitw_tool_limits 56, fitw_insertion_limits 48 }

/// Limits of the tools at these mounts; `None` for NULL.
pub(crate) fn tools(
    given: *const fitw_tool_limits,
    mounts: &[Mount],
) -> Result<Option<ToolLimits>, Fault> {
    if given.is_null() {
        return Ok(None);
    }
    let t = pointer::read_sized(given, "scene.tools")?;
    let known =
        FITW_TOOLS_NO_SOCKET | FITW_TOOLS_NO_SPANNER | FITW_TOOLS_EVERY | FITW_TOOLS_NO_WASHER;
    no_flags(t.flags, known, "scene.tools.flags")?;
    let has = |flag: u32| t.flags & flag != 0;
    let mut limits = ToolLimits::default();
    limits.socket = !has(FITW_TOOLS_NO_SOCKET);
    limits.spanner = !has(FITW_TOOLS_NO_SPANNER);
    limits.every = has(FITW_TOOLS_EVERY);
    limits.washer = !has(FITW_TOOLS_NO_WASHER);
    or_none(&mut limits.air, t.air_mm, "scene.tools.air_mm")?;
    or_none(&mut limits.extension, t.extension_mm, "scene.tools.extension_mm")?;
    limit(&mut limits.swing, t.swing_rad, "scene.tools.swing_rad")?;
    for (into, value, name) in [
        (&mut limits.socket_diameter, t.socket_diameter_mm, "scene.tools.socket_diameter_mm"),
        (&mut limits.socket_length, t.socket_length_mm, "scene.tools.socket_length_mm"),
        (&mut limits.bolt_length, t.bolt_length_mm, "scene.tools.bolt_length_mm"),
    ] {
        let mut given = 0.0;
        limit(&mut given, value, name)?;
        *into = (given > 0.0).then_some(given);
    }
    let name = "scene.tools.bolt_lengths_mm";
    let count = if t.bolt_lengths_mm.is_null() { 0 } else { mounts.len() };
    for (mount, length) in mounts.iter().zip(Array::new(t.bolt_lengths_mm, count, 0, name)?.iter())
    {
        let mut given = 0.0;
        limit(&mut given, length, name)?;
        if given > 0.0 {
            limits.bolt_lengths.insert(mount.hole, given);
        }
    }
    Ok(Some(limits))
}

/// Limits of the way in; `None` for NULL.
pub(crate) fn insertion(
    given: *const fitw_insertion_limits,
) -> Result<Option<InsertionLimits>, Fault> {
    if given.is_null() {
        return Ok(None);
    }
    let i = pointer::read_sized(given, "scene.insertion")?;
    no_flags(i.flags, 0, "scene.insertion.flags")?;
    let mut limits = InsertionLimits::default();
    or_none(&mut limits.clearance, i.clearance_mm, "scene.insertion.clearance_mm")?;
    for (into, value) in [(&mut limits.directions, i.directions), (&mut limits.tries, i.tries)] {
        if value > 0 {
            *into = value as usize;
        }
    }
    if i.seed > 0 {
        limits.seed = i.seed;
    }
    let without = Array::new(i.without, i.without_count, 0, "scene.insertion.without")?;
    limits.without = without.iter().map(|f| f as usize).collect();
    let name = "scene.insertion.without_parts";
    let without = Array::new(i.without_parts, i.without_part_count, 0, name)?;
    limits.without_others = without.iter().map(|o| o as usize).collect();
    Ok(Some(limits))
}

/// As [`limit`]; a negative number stands for none.
fn or_none(default: &mut f64, given: f64, name: &str) -> Result<(), Fault> {
    if given < 0.0 {
        *default = 0.0;
        return Ok(());
    }
    limit(default, given, name)
}
