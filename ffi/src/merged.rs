//! Joined scans as one.

use std::sync::Arc;

use engine::associate::Covariance;
use engine::primitive::Pose;
use engine::register::{self, MergeOptions, Merged, Placed};
use engine::scan::Scan;

use crate::call::call;
use crate::context::{fitw_context, no_flags};
use crate::error::{Fault, fitw_status};
use crate::handle::{self, Handle};
use crate::join::{JoinBox, fitw_join};
use crate::memory::{Held, bytes_of};
use crate::pointer::{self, Array, Out, SizedOut, View, grows, items};
use crate::region::limit;
use crate::scan::{ScanBox, fitw_scan};
use crate::shape::{fitw_pose, to_pose};
use crate::text;

/// Several joined scans as one: where they overlap, the better one is kept. Immutable. [any-thread]
pub struct fitw_merged;

/// A scan to be put into one with others. Since 1.6.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_placed_scan {
    /// The scan, in its own coordinates.
    pub scan: *const fitw_scan,
    /// Takes its coordinates to those of all, such as a datum's machine_from_scan times the joins between.
    pub all_from_this: fitw_pose,
    /// How it was joined, for its uncertainty; NULL for the scan that the others are joined to.
    pub join: *const fitw_join,
}

items! { fitw_placed_scan, 112 }

/// Limits of putting scans into one. 0 is the default. Since 1.6.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_merge_options {
    /// sizeof(fitw_merge_options).
    pub struct_size: u32,
    /// 0; no flags are defined.
    pub flags: u32,
    /// Surfaces of two scans that face one way and are this near are one, mm; 0: from spacing, noise and joins.
    pub reach_mm: f64,
    /// How many times better a later scan must know a place to take it from an earlier one, 1 or more; 0: 1.2.
    pub margin: f64,
}

/// What several scans as one consist of. Since 1.6.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_merged_info {
    /// sizeof(fitw_merged_info), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Points that are kept.
    pub point_count: u64,
    /// Triangles that are kept; 0 if a scan is bare points.
    pub triangle_count: u64,
    /// Pairs of scans that meet, see fitw_merged_seam.
    pub seam_count: u64,
}

/// Where two scans meet. Since 1.6.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_seam {
    /// sizeof(fitw_seam), set by the caller.
    pub struct_size: u32,
    /// 1 if a step is more than its uncertainty: the join is worse than it says, or something moved.
    pub exceeds: i32,
    /// Place of the first scan in the list.
    pub a: u32,
    /// Place of the second.
    pub b: u32,
    /// Length of all their common seams, mm.
    pub length_mm: f64,
    /// Mean step across it, mm: positive where the second scan lies farther out of the material.
    pub mean_mm: f64,
    /// Expanded uncertainty (coverage factor 2) of the mean step, mm.
    pub uncertainty_mm: f64,
    /// Largest step, averaged over stretches of the seam, mm, signed as the mean.
    pub largest_mm: f64,
    /// The same with coverage factor 4, mm: it is the largest of many.
    pub largest_uncertainty_mm: f64,
    /// Where that is, coordinates of all, mm.
    pub at_mm: [f64; 3],
}

grows! { fitw_merge_options 24, fitw_merged_info 32, fitw_seam 80 }

/// JOINED SCANS AS ONE. Puts two or more joined scans into one, the better one where they overlap: that whose
/// surface has the smaller standard deviation there, by its noise, its spacing and its join. Since 1.6.
///
/// `stride` in bytes from one to the next; 0: side by side. `options` may be NULL. Progress is reported. Release it
/// with fitw_merged_release. Errors: FITW_E_ARGUMENT for fewer than two scans or an option out of range,
/// FITW_E_LIMIT, FITW_E_CANCELLED, FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_merged_create(
    context: *const fitw_context,
    scans: *const fitw_placed_scan,
    count: usize,
    stride: usize,
    options: *const fitw_merge_options,
    out: *mut *mut fitw_merged,
) -> fitw_status {
    call(context, "fitw_merged_create", |c| {
        let given = Array::new(scans, count, stride, "scans")?;
        let limits = pointer::read_optional(options, "options")?;
        no_flags(limits.flags, 0, "options.flags")?;
        let out = Out::new(out, "out")?;
        let mut options = MergeOptions::default();
        let mut reach = 0.0;
        limit(&mut reach, limits.reach_mm, "options.reach_mm")?;
        options.reach = (reach > 0.0).then_some(reach);
        limit(&mut options.margin, limits.margin, "options.margin")?;
        let scans = given.iter().map(|s| GivenScan::new(&s)).collect::<Result<Vec<_>, _>>()?;
        let placed: Vec<Placed<'_>> = scans.iter().map(GivenScan::placed).collect();
        // What is kept is no more than all.
        let sizes =
            scans.iter().map(|s| (s.scan.scan.points().len(), s.scan.scan.triangles().len()));
        let all = sizes.fold((0, 0), |sum, s| (sum.0 + s.0, sum.1 + s.1));
        let mut held = c.memory.hold(bytes_of(all.0, all.1, 0))?;
        let merged = register::merge(&placed, &options, &c.engine)?;
        let kept = bytes_of(merged.points.len(), merged.triangles.len(), 0);
        held.shrink(kept);
        out.set(handle::insert(MergedBox { merged, _held: held })?);
        Ok(())
    })
}

/// Counts. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_merged_describe(
    context: *const fitw_context,
    merged: *const fitw_merged,
    out: *mut fitw_merged_info,
) -> fitw_status {
    call(context, "fitw_merged_describe", |_| {
        let merged = &handle::get(merged, "merged")?.merged;
        let out = SizedOut::new(out, "out")?;
        out.set(fitw_merged_info {
            struct_size: 0,
            reserved: 0,
            point_count: merged.points.len() as u64,
            triangle_count: merged.triangles.len() as u64,
            seam_count: merged.seams.len() as u64,
        });
        Ok(())
    })
}

/// It as a scan, coordinates of all; release it with fitw_scan_release. Error: FITW_E_LIMIT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_merged_scan(
    context: *const fitw_context,
    merged: *const fitw_merged,
    out: *mut *mut fitw_scan,
) -> fitw_status {
    call(context, "fitw_merged_scan", |c| {
        let merged = &handle::get(merged, "merged")?.merged;
        let out = Out::new(out, "out")?;
        let held = c.memory.hold(bytes_of(merged.points.len(), merged.triangles.len(), 0))?;
        let points = merged.points.clone();
        let scan = match merged.triangles.is_empty() {
            true => Scan::from_points(points, None)?,
            false => Scan::from_mesh(points, merged.triangles.clone())?,
        };
        out.set(handle::insert(ScanBox::new(scan, 0, held))?);
        Ok(())
    })
}

/// Place in the list of each point's scan; valid until it is released. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_merged_point_scans_view(
    context: *const fitw_context,
    merged: *const fitw_merged,
    scans: *mut *const u32,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_merged_point_scans_view", |_| {
        let merged = handle::get(merged, "merged")?;
        View::new(scans, count).map(|view| view.set(&merged.merged.point_scans))
    })
}

/// Place in the list of each triangle's scan; NULL if there are none. As above. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_merged_triangle_scans_view(
    context: *const fitw_context,
    merged: *const fitw_merged,
    scans: *mut *const u32,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_merged_triangle_scans_view", |_| {
        let merged = handle::get(merged, "merged")?;
        View::new(scans, count).map(|view| view.set(&merged.merged.triangle_scans))
    })
}

/// Share of each scan's triangles (of bare points: points) that is kept, 0 to 1, in the order given. As above.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_merged_kept_view(
    context: *const fitw_context,
    merged: *const fitw_merged,
    shares: *mut *const f64,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_merged_kept_view", |_| {
        let merged = handle::get(merged, "merged")?;
        View::new(shares, count).map(|view| view.set(&merged.merged.kept))
    })
}

/// Seam `index`, from 0, by pair of scans. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_merged_seam(
    context: *const fitw_context,
    merged: *const fitw_merged,
    index: usize,
    out: *mut fitw_seam,
) -> fitw_status {
    call(context, "fitw_merged_seam", |_| {
        let seams = &handle::get(merged, "merged")?.merged.seams;
        let out = SizedOut::new(out, "out")?;
        let seam = seams.get(index).ok_or_else(|| text::past(index, seams.len()))?;
        out.set(fitw_seam {
            struct_size: 0,
            exceeds: i32::from(seam.exceeds),
            // A list of scans is far shorter.
            a: seam.a as u32,
            b: seam.b as u32,
            length_mm: seam.length,
            mean_mm: seam.mean,
            uncertainty_mm: seam.uncertainty,
            largest_mm: seam.largest,
            largest_uncertainty_mm: seam.largest_uncertainty,
            at_mm: seam.at.into(),
        });
        Ok(())
    })
}

/// Releases it. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_merged_release(merged: *mut fitw_merged) -> fitw_status {
    handle::release(merged)
}

impl Handle for fitw_merged {
    type Inner = MergedBox;
    const NAME: &'static str = "fitw_merged";
}

/// What stands behind scans as one.
pub(crate) struct MergedBox {
    merged: Merged,
    _held: Held,
}

pub(crate) struct GivenScan {
    scan: Arc<ScanBox>,
    all_from_this: Pose,
    covariance: Option<Covariance>,
}

impl GivenScan {
    pub(crate) fn new(given: &fitw_placed_scan) -> Result<Self, Fault> {
        let all_from_this = to_pose(&given.all_from_this, "scans.all_from_this")?;
        let join: Option<Arc<JoinBox>> = handle::optional(given.join, "scans.join")?;
        Ok(GivenScan {
            scan: handle::get(given.scan, "scans.scan")?,
            covariance: join.as_deref().map(|j| j.covariance_in(&all_from_this)),
            all_from_this,
        })
    }

    pub(crate) fn placed(&self) -> Placed<'_> {
        Placed {
            scan: &self.scan.scan,
            all_from_this: self.all_from_this,
            covariance: self.covariance.as_ref(),
        }
    }
}
