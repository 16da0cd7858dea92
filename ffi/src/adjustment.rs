//! Scans adjusted all together.

use engine::register::{self, AdjustOptions, Adjusted, ObservedJoin};

use crate::call::call;
use crate::context::{fitw_context, no_flags};
use crate::error::{Fault, fitw_status};
use crate::handle::{self, Handle};
use crate::join::{JoinBox, fitw_join, surface_limits};
use crate::pointer::{self, Array, Out, SizedOut, grows, items};
use crate::scan::fitw_scan;
use crate::shape::{fitw_pose, of_pose, to_pose};
use crate::text::{self, Text, fitw_str};
use crate::uncertainty::{self, fitw_covariance};

/// Scans adjusted all together over their overlaps. Immutable. [any-thread]
pub struct fitw_adjustment;

/// A scan to be adjusted with others. Since 1.6.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_started_scan {
    /// The scan, in its own coordinates.
    pub scan: *const fitw_scan,
    /// Takes its coordinates to those of all, nearly.
    pub common_from_scan: fitw_pose,
}

/// A join by targets or features that holds two scans together beside their surfaces. Since 1.6.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_observed_join {
    /// The join.
    pub join: *const fitw_join,
    /// Place in the list of the scan joined to.
    pub to: u32,
    /// Place of the scan that was joined.
    pub from: u32,
}

/// Two scans by their places in a list. Since 1.6.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_scan_pair {
    /// The scan joined to.
    pub to: u32,
    /// The scan that is joined.
    pub from: u32,
}

items! { fitw_started_scan, 104; fitw_observed_join, 16; fitw_scan_pair, 8 }

/// How scans are adjusted. 0 is the default. Since 1.6.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_adjust_options {
    /// sizeof(fitw_adjust_options).
    pub struct_size: u32,
    /// 0; no flags are defined.
    pub flags: u32,
    /// How far the starts may put any point from its place, mm; 0: 5 % of a scan's diagonal.
    pub reach_mm: f64,
    /// Largest angle between the normals of a pair, rad; 0: 45 degrees.
    pub normal_angle_rad: f64,
    /// Smallest share of points in an overlap, up to 1; 0: 0.1.
    pub least_overlap: f64,
    /// Most iterations of each step; 0: 60.
    pub iterations: u64,
    /// Pairs to use, side by side; NULL: all that overlap.
    pub pairs: *const fitw_scan_pair,
    /// How many.
    pub pair_count: usize,
    /// Joins that hold scans together beside their surfaces, side by side; may be NULL.
    pub observed: *const fitw_observed_join,
    /// How many.
    pub observed_count: usize,
    /// Place in the list of the scan that is held.
    pub held: u64,
}

/// What an adjustment came to. Since 1.6.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_adjustment_info {
    /// sizeof(fitw_adjustment_info), set by the caller.
    pub struct_size: u32,
    /// 1 if the steps became small, else 0.
    pub converged: i32,
    /// Scans.
    pub scan_count: u64,
    /// Pairs that were used, see fitw_adjustment_pair.
    pub pair_count: u64,
    /// Notes, see fitw_adjustment_note.
    pub note_count: u64,
}

/// How the surfaces of a pair lie on each other after an adjustment. Since 1.6.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_adjusted_pair {
    /// sizeof(fitw_adjusted_pair), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Place in the list of the scan joined to.
    pub to: u32,
    /// Place of the scan that is joined.
    pub from: u32,
    /// Points of `from` on the surface of `to`.
    pub point_count: u64,
    /// Their share of the points of `from`.
    pub overlap: f64,
    /// Root mean square distance from the surface at the start, mm.
    pub rms_before_mm: f64,
    /// The same after the adjustment, mm.
    pub rms_mm: f64,
    /// Mean of the signed distances after it, mm: positive where `from` lies outside `to`.
    pub offset_mm: f64,
    /// How far from here the pair alone would put `from`, at the middle of the overlap, mm.
    pub misfit_mm: f64,
    /// How far it would turn it, rad.
    pub misfit_rad: f64,
}

grows! { fitw_adjust_options 80, fitw_adjustment_info 32, fitw_adjusted_pair 72 }

/// ADJUSTMENT. Adjusts scans all together over all their overlaps, from poses near the answer, so that a round of
/// them closes. Since 1.6.
///
/// `stride` in bytes from one to the next; 0: side by side. `options` may be NULL: the first is held. Progress is
/// reported. Release it with fitw_adjustment_release. Errors: FITW_E_JOIN in words, for a scan that hangs on
/// nothing or a named pair that does not overlap; FITW_E_ARGUMENT; FITW_E_LIMIT over 500 scans; FITW_E_CANCELLED;
/// FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_adjustment_create(
    context: *const fitw_context,
    scans: *const fitw_started_scan,
    count: usize,
    stride: usize,
    options: *const fitw_adjust_options,
    out: *mut *mut fitw_adjustment,
) -> fitw_status {
    call(context, "fitw_adjustment_create", |c| {
        let given = Array::new(scans, count, stride, "scans")?;
        let limits = pointer::read_optional(options, "options")?;
        let out = Out::new(out, "out")?;
        let options = adjust_options(&limits)?;
        let mut scans = Vec::new();
        let mut start = Vec::new();
        // More are refused below; one more is enough to be told so.
        for one in given.iter().take(501) {
            scans.push(handle::get(one.scan, "scans.scan")?);
            start.push(to_pose(&one.common_from_scan, "scans.common_from_scan")?);
        }
        let scans: Vec<_> = scans.iter().map(|s| &s.scan).collect();
        let held = usize::try_from(limits.held).unwrap_or(usize::MAX);
        let adjusted = register::adjust(&scans, &start, held, &options, &c.engine)?;
        let notes = Text::all(&adjusted.notes);
        out.set(handle::insert(AdjustmentBox { adjusted, notes })?);
        Ok(())
    })
}

/// Counts. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_adjustment_describe(
    context: *const fitw_context,
    adjustment: *const fitw_adjustment,
    out: *mut fitw_adjustment_info,
) -> fitw_status {
    call(context, "fitw_adjustment_describe", |_| {
        let adjusted = &handle::get(adjustment, "adjustment")?.adjusted;
        let out = SizedOut::new(out, "out")?;
        out.set(fitw_adjustment_info {
            struct_size: 0,
            converged: i32::from(adjusted.converged),
            scan_count: adjusted.common_from_scan.len() as u64,
            pair_count: adjusted.pairs.len() as u64,
            note_count: adjusted.notes.len() as u64,
        });
        Ok(())
    })
}

/// common_from_scan of scan `index`, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_adjustment_pose(
    context: *const fitw_context,
    adjustment: *const fitw_adjustment,
    index: usize,
    out: *mut fitw_pose,
) -> fitw_status {
    call(context, "fitw_adjustment_pose", |_| {
        let adjustment = handle::get(adjustment, "adjustment")?;
        let out = Out::new(out, "out")?;
        out.set(of_pose(nth(&adjustment.adjusted.common_from_scan, index)?));
        Ok(())
    })
}

/// Covariance of the place of scan `index` against the held one, as a motion about a place in common coordinates
/// (three numbers, mm; NULL: the middle of what it was matched by); zero for the held one. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_adjustment_covariance(
    context: *const fitw_context,
    adjustment: *const fitw_adjustment,
    index: usize,
    about_mm: *const f64,
    out: *mut fitw_covariance,
) -> fitw_status {
    call(context, "fitw_adjustment_covariance", |_| {
        let adjustment = handle::get(adjustment, "adjustment")?;
        let covariance = nth(&adjustment.adjusted.covariances, index)?;
        uncertainty::hand_out_covariance(covariance, about_mm, out)
    })
}

/// Pair `index` that was used, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_adjustment_pair(
    context: *const fitw_context,
    adjustment: *const fitw_adjustment,
    index: usize,
    out: *mut fitw_adjusted_pair,
) -> fitw_status {
    call(context, "fitw_adjustment_pair", |_| {
        let adjustment = handle::get(adjustment, "adjustment")?;
        let out = SizedOut::new(out, "out")?;
        let pair = nth(&adjustment.adjusted.pairs, index)?;
        out.set(fitw_adjusted_pair {
            struct_size: 0,
            reserved: 0,
            // At most 500 scans.
            to: pair.to as u32,
            from: pair.from as u32,
            point_count: pair.points as u64,
            overlap: pair.overlap,
            rms_before_mm: pair.rms_before,
            rms_mm: pair.rms,
            offset_mm: pair.offset,
            misfit_mm: pair.misfit,
            misfit_rad: pair.misfit_turn,
        });
        Ok(())
    })
}

/// What a person should know of it, one sentence; valid until it is released. Error: FITW_E_ARGUMENT past the last.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_adjustment_note(
    context: *const fitw_context,
    adjustment: *const fitw_adjustment,
    index: usize,
    out: *mut fitw_str,
) -> fitw_status {
    call(context, "fitw_adjustment_note", |_| {
        text::nth(&handle::get(adjustment, "adjustment")?.notes, index, out)
    })
}

/// Releases it. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_adjustment_release(adjustment: *mut fitw_adjustment) -> fitw_status {
    handle::release(adjustment)
}

impl Handle for fitw_adjustment {
    type Inner = AdjustmentBox;
    const NAME: &'static str = "fitw_adjustment";
}

/// What stands behind an adjustment.
pub(crate) struct AdjustmentBox {
    adjusted: Adjusted,
    notes: Vec<Text>,
}

fn nth<T>(all: &[T], index: usize) -> Result<&T, Fault> {
    all.get(index).ok_or_else(|| text::past(index, all.len()))
}

fn adjust_options(given: &fitw_adjust_options) -> Result<AdjustOptions, Fault> {
    no_flags(given.flags, 0, "options.flags")?;
    let mut options = AdjustOptions::default();
    options.surface = surface_limits(
        given.reach_mm,
        given.normal_angle_rad,
        given.least_overlap,
        given.iterations,
    )?;
    let pairs = Array::new(given.pairs, given.pair_count, 0, "options.pairs")?;
    options.pairs = pairs.iter().map(|p| [p.to as usize, p.from as usize]).collect();
    let observed = Array::new(given.observed, given.observed_count, 0, "options.observed")?;
    for one in observed.iter() {
        let join: std::sync::Arc<JoinBox> = handle::get(one.join, "options.observed.join")?;
        options.observed.push(ObservedJoin {
            to: one.to as usize,
            from: one.from as usize,
            to_from_this: join.join.to_from_this,
            covariance: join.join.covariance.clone(),
        });
    }
    Ok(options)
}
