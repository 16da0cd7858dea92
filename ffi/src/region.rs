//! Regions.

use std::sync::Arc;

use engine::primitive::Point3;
use engine::region::{Grow, Region};

use crate::call::call;
use crate::context::{fitw_context, no_flags};
use crate::error::{Fault, fitw_status};
use crate::handle::{self, Handle};
use crate::kind;
use crate::pointer::{self, Array, Out, View, grows};
use crate::scan::{ScanBox, fitw_scan};
use crate::shape::{self, fitw_pose, fitw_shape};

/// A set of points of one scan. Immutable; keeps its scan. [any-thread]
pub struct fitw_region;

/// How a region grows. 0 is the default, derived from the scan's noise and resolution.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_grow_options {
    /// sizeof(fitw_grow_options).
    pub struct_size: u32,
    /// 0; no flags are defined.
    pub flags: u32,
    /// Largest distance of a point from the shape, mm; 0: 4 times the noise plus 5 % of the resolution.
    pub distance_mm: f64,
    /// Largest angle between a point's normal and the shape's, rad; 0: 20 degrees or what noise explains.
    pub angle_rad: f64,
    /// Largest distance of the pick from the nearest point, mm; 0: 5 times the resolution.
    pub pick_distance_mm: f64,
    /// Points nearer than this to the region's edge are left out, mm; 0: twice the resolution, less on
    /// narrow faces; negative: none are left out (what a feature's bounds are taken from).
    pub trim_mm: f64,
}

grows! { fitw_grow_options 40 }

/// REGION. Grows a region from a pick (three numbers, mm, near the surface) along a surface of a kind:
/// FITW_KIND_PLANE, _SPHERE, _CYLINDER, _CONE, _TORUS. `options` may be NULL. Release the region with
/// fitw_region_release.
///
/// Errors: FITW_E_PICK_OFF_SURFACE, FITW_E_EMPTY_REGION if no such surface is there, FITW_E_ARGUMENT,
/// FITW_E_CANCELLED. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_region_grow(
    context: *const fitw_context,
    scan: *const fitw_scan,
    pick_mm: *const f64,
    kind: i32,
    options: *const fitw_grow_options,
    out: *mut *mut fitw_region,
) -> fitw_status {
    call(context, "fitw_region_grow", |c| {
        let scan = handle::get(scan, "scan")?;
        let pick = Point3::from(pointer::three(pick_mm, "pick_mm")?);
        let kind = kind::kind(kind, "kind")?;
        let options = pointer::read_optional(options, "options")?;
        let out = Out::new(out, "out")?;
        no_flags(options.flags, 0, "options.flags")?;
        c.engine.check()?;
        let region = c.engine.run(|| {
            let mut grow = Grow::along(&scan.scan, kind)?;
            limit(&mut grow.distance, options.distance_mm, "options.distance_mm")?;
            limit(&mut grow.angle, options.angle_rad, "options.angle_rad")?;
            limit(&mut grow.pick_distance, options.pick_distance_mm, "options.pick_distance_mm")?;
            if options.trim_mm < 0.0 {
                return Ok(scan.scan.grow_untrimmed(pick, &grow)?);
            }
            limit(&mut grow.trim, options.trim_mm, "options.trim_mm")?;
            scan.scan.grow(pick, &grow).map_err(Fault::from)
        })?;
        out.set(handle::insert(RegionBox { region, scan })?);
        Ok(())
    })
}

/// All points of a scan. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_region_all(
    context: *const fitw_context,
    scan: *const fitw_scan,
    out: *mut *mut fitw_region,
) -> fitw_status {
    cut(context, "fitw_region_all", scan, out, |scan| Ok(Region::all(&scan.scan)))
}

/// The points of given numbers, in any order; doubles count once.
///
/// `ids` are `count` numbers side by side, read during the call. Error: FITW_E_ARGUMENT for a number past
/// the scan's last point. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_region_from_ids(
    context: *const fitw_context,
    scan: *const fitw_scan,
    ids: *const u32,
    count: usize,
    out: *mut *mut fitw_region,
) -> fitw_status {
    cut(context, "fitw_region_from_ids", scan, out, |scan| {
        let ids = Array::new(ids, count, 0, "ids")?.collect(|id: u32| id)?;
        let end = scan.scan.points().len();
        if let Some(id) = ids.iter().find(|id| **id as usize >= end) {
            return Err(Fault::argument("ids", id, &format!("numbers below {end}")));
        }
        Ok(Region::new(&scan.scan, ids, None))
    })
}

/// The points in a box from `low_mm` to `high_mm` (three numbers each, mm), along the axes of a frame:
/// `frame_from_scan` takes scan coordinates to those of the box; NULL: the scan's own axes.
///
/// Errors: FITW_E_EMPTY_REGION, FITW_E_ARGUMENT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_region_in_box(
    context: *const fitw_context,
    scan: *const fitw_scan,
    frame_from_scan: *const fitw_pose,
    low_mm: *const f64,
    high_mm: *const f64,
    out: *mut *mut fitw_region,
) -> fitw_status {
    cut(context, "fitw_region_in_box", scan, out, |scan| {
        let frame = shape::optional_pose(frame_from_scan, "frame_from_scan")?;
        let low = Point3::from(pointer::three(low_mm, "low_mm")?);
        let high = Point3::from(pointer::three(high_mm, "high_mm")?);
        Ok(Region::in_box_of(&scan.scan, &frame, low, high)?)
    })
}

/// The points in a sphere; centre three numbers, mm, scan coordinates; radius over 0, mm.
///
/// Errors: FITW_E_EMPTY_REGION, FITW_E_ARGUMENT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_region_in_sphere(
    context: *const fitw_context,
    scan: *const fitw_scan,
    centre_mm: *const f64,
    radius_mm: f64,
    out: *mut *mut fitw_region,
) -> fitw_status {
    cut(context, "fitw_region_in_sphere", scan, out, |scan| {
        let centre = Point3::from(pointer::three(centre_mm, "centre_mm")?);
        Ok(Region::in_sphere(&scan.scan, centre, radius_mm)?)
    })
}

/// The points within a distance (mm, over 0) of a shape in scan coordinates.
///
/// Errors: FITW_E_EMPTY_REGION, FITW_E_ARGUMENT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_region_near_shape(
    context: *const fitw_context,
    scan: *const fitw_scan,
    shape: *const fitw_shape,
    within_mm: f64,
    out: *mut *mut fitw_region,
) -> fitw_status {
    cut(context, "fitw_region_near_shape", scan, out, |scan| {
        let shape = shape::to_primitive(&pointer::read_sized(shape, "shape")?, "shape")?;
        Ok(Region::near(&scan.scan, &shape, within_mm)?)
    })
}

/// The region without its points nearer than `distance_mm` to an edge of it, measured along the surface.
/// 0: twice the scan's resolution, or less where that would leave under half of the points.
///
/// `used_mm` (may be NULL) gets the distance that was used. Errors: FITW_E_EMPTY_REGION if nothing is left,
/// FITW_E_ARGUMENT for a negative distance. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_region_trim(
    context: *const fitw_context,
    region: *const fitw_region,
    distance_mm: f64,
    out: *mut *mut fitw_region,
    used_mm: *mut f64,
) -> fitw_status {
    call(context, "fitw_region_trim", |c| {
        let whole = handle::get(region, "region")?;
        let (out, used) = (Out::new(out, "out")?, Out::optional(used_mm, "used_mm")?);
        if !(distance_mm >= 0.0 && distance_mm.is_finite()) {
            return Err(Fault::argument("distance_mm", distance_mm, "0 or more"));
        }
        c.engine.check()?;
        let (region, distance) = c.engine.run(|| match distance_mm {
            0.0 => whole.region.trimmed_at_most(2.0 * whole.scan.scan.resolution()),
            _ => (whole.region.trimmed(distance_mm), distance_mm),
        });
        if region.ids().is_empty() {
            let reason = format!("trimming {distance} mm leaves nothing");
            return Err(engine::Error::EmptyRegion { reason }.into());
        }
        out.set(handle::insert(RegionBox { region, scan: Arc::clone(&whole.scan) })?);
        if let Some(used) = used {
            used.set(distance);
        }
        Ok(())
    })
}

/// The numbers of the region's points, ascending. Not a copy; valid until the region is released.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_region_ids_view(
    context: *const fitw_context,
    region: *const fitw_region,
    ids: *mut *const u32,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_region_ids_view", |_| {
        let region = handle::get(region, "region")?;
        View::new(ids, count).map(|view| view.set(region.region.ids()))
    })
}

/// Releases a region; its scan stays. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_region_release(region: *mut fitw_region) -> fitw_status {
    handle::release(region)
}

impl Handle for fitw_region {
    type Inner = RegionBox;
    const NAME: &'static str = "fitw_region";
}

/// What stands behind a region.
pub(crate) struct RegionBox {
    pub(crate) region: Region,
    pub(crate) scan: Arc<ScanBox>,
}

fn cut(
    context: *const fitw_context,
    name: &'static str,
    scan: *const fitw_scan,
    out: *mut *mut fitw_region,
    body: impl FnOnce(&ScanBox) -> Result<Region, Fault>,
) -> fitw_status {
    call(context, name, |c| {
        let scan = handle::get(scan, "scan")?;
        let out = Out::new(out, "out")?;
        c.engine.check()?;
        let region = body(&scan)?;
        out.set(handle::insert(RegionBox { region, scan })?);
        Ok(())
    })
}

/// Puts an option in the place of a default unless it is 0.
pub(crate) fn limit(default: &mut f64, given: f64, name: &str) -> Result<(), Fault> {
    if given == 0.0 {
        return Ok(());
    }
    if !(given > 0.0 && given.is_finite()) {
        return Err(Fault::argument(name, given, "a finite number over 0, or 0 for the default"));
    }
    *default = given;
    Ok(())
}
