//! A scan of the finished part against its model.

use engine::fitcheck::{self, LaidOn, Made};
use engine::primitive::Pose;

use crate::call::call;
use crate::check::{CheckBox, Given, fitw_check, fitw_scene};
use crate::context::fitw_context;
use crate::error::{Fault, fitw_status};
use crate::handle;
use crate::pointer::{self, Out, grows};
use crate::scan::fitw_scan;
use crate::shape::{self, fitw_pose, of_pose};

/// The scan of a finished part is laid on the whole model.
pub const FITW_LAID_ON_MODEL: i32 = 10;
/// The scan of a finished part is laid on the faces that sit on the machine and the walls of its bolt holes.
pub const FITW_LAID_ON_SEATS: i32 = 20;

/// A scan of the finished part.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_made {
    /// sizeof(fitw_made).
    pub struct_size: u32,
    /// FITW_LAID_ON_…; 0: the whole model.
    pub laid_on: i32,
    /// The scan, in coordinates of its own.
    pub scan: *const fitw_scan,
    /// Where it lies about, from its coordinates to the model's; NULL: looked for from any pose.
    pub start: *const fitw_pose,
    /// Largest deviation from the model that is admitted, mm; 0: none asked.
    pub tolerance_mm: f64,
}

grows! { fitw_made 32 }

/// Lays the scan of the finished part on the scene's part, says how far it is off, and makes every check again with
/// the part as made (names of those findings end in "as made"). Release the findings with fitw_check_release.
///
/// `part_from_scan` (may be NULL) gets where the scan lies; `deviations` (may be NULL, with `capacity` 0) the
/// distance of each of its points from the model, mm, negative where material is missing. Progress is reported.
///
/// Errors: FITW_E_JOIN if the scan does not lie on the model or does so in two ways; FITW_E_UNDETERMINED if the faces it
/// is laid on leave it free; FITW_E_BUFFER if `capacity` is not 0 and too small; else as fitw_check_run. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_check_made(
    context: *const fitw_context,
    scene: *const fitw_scene,
    made: *const fitw_made,
    part_from_scan: *mut fitw_pose,
    deviations: *mut f64,
    capacity: usize,
    out: *mut *mut fitw_check,
) -> fitw_status {
    call(context, "fitw_check_made", |c| {
        let out = Out::new(out, "out")?;
        let pose = Out::optional(part_from_scan, "part_from_scan")?;
        let scene = Given::new(c, scene)?;
        let given = pointer::read_sized(made, "made")?;
        let scan = handle::get(given.scan, "made.scan")?;
        let laid_on = match given.laid_on {
            0 | FITW_LAID_ON_MODEL => LaidOn::Model,
            FITW_LAID_ON_SEATS => LaidOn::Seats,
            other => return Err(Fault::argument("made.laid_on", other, "FITW_LAID_ON_…")),
        };
        let start = if given.start.is_null() {
            None
        } else {
            Some(shape::pose(given.start, "made.start")?)
        };
        let count = scan.scan.points().len();
        if capacity > 0 && capacity < count {
            pointer::fill(deviations, capacity, std::ptr::null_mut(), &vec![0.0; count])?;
        }
        let tolerance = Some(given.tolerance_mm).filter(|t| *t != 0.0);
        let found = scene.with(|part, whole, mounts, limits| {
            let made = Made { scan: &scan.scan, laid_on, start, tolerance };
            fitcheck::made(part, &made, whole, mounts, limits, &c.engine)
        })?;
        if capacity > 0 {
            pointer::fill(deviations, capacity, std::ptr::null_mut(), &found.deviation)?;
        }
        let check = handle::insert(CheckBox::new(found.findings, Pose::identity()))?;
        if let Some(pose) = pose {
            pose.set(of_pose(&found.part_from_scan));
        }
        out.set(check);
        Ok(())
    })
}
