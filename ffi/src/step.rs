//! Features as STEP.

use engine::exchange::{StepOptions, StepSchema, step_text, write_step};
use engine::feature::Feature;

use crate::call::call;
use crate::context::{fitw_context, no_flags};
use crate::error::{Fault, fitw_status};
use crate::feature::fitw_feature;
use crate::handle;
use crate::pointer::{self, Array, Out, grows};
use crate::region::limit;
use crate::shape::{self, fitw_pose};
use crate::text::{self, Text, fitw_str, fitw_text};

/// STEP schema: AP214.
pub const FITW_STEP_AP214: i32 = 214;
/// STEP schema: AP242; the default.
pub const FITW_STEP_AP242: i32 = 242;
/// Flag of fitw_step_options: curved pieces are completed instead of trimmed to what was seen.
pub const FITW_STEP_FULL: u32 = 1;

/// How features are written as STEP. All zero is the default.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_step_options {
    /// sizeof(fitw_step_options).
    pub struct_size: u32,
    /// 0 or FITW_STEP_FULL.
    pub flags: u32,
    /// FITW_STEP_…; 0: AP242.
    pub schema: i32,
    /// 0.
    pub reserved: i32,
    /// Name of the assembly, no feature's; empty: "Measured features".
    pub title: fitw_str,
    /// Time stamp of the file, ISO 8601; empty: none, so that equal features give equal files.
    pub date: fitw_str,
    /// When the scan was made, ISO 8601; empty: not said.
    pub scan_date: fitw_str,
    /// Closeness within which two things are one, mm; 0: 1e-6.
    pub precision_mm: f64,
    /// Length of the lines that show the machine's axes, mm; 0: 50.
    pub axis_length_mm: f64,
}

grows! { fitw_step_options 80 }

/// STEP. Writes features to a STEP file in machine coordinates, which appears complete or not at all.
///
/// `machine_from_scan` is applied to every feature; NULL: they are in machine coordinates already.
/// `features` are `count` handles side by side. `options` may be NULL. Errors: FITW_E_DUPLICATE_NAME,
/// FITW_E_IO, FITW_E_ARGUMENT, FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_step_write(
    context: *const fitw_context,
    path: fitw_str,
    machine_from_scan: *const fitw_pose,
    features: *const *const fitw_feature,
    count: usize,
    options: *const fitw_step_options,
) -> fitw_status {
    call(context, "fitw_step_write", |c| {
        let path = text::given(path, "path")?;
        let pose = shape::optional_pose(machine_from_scan, "machine_from_scan")?;
        let (features, options) = (list(features, count)?, step_options(options)?);
        c.engine.check()?;
        Ok(write_step(path, &pose, &features, &options)?)
    })
}

/// As fitw_step_write, into memory: release the text with fitw_text_release. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_step_text(
    context: *const fitw_context,
    machine_from_scan: *const fitw_pose,
    features: *const *const fitw_feature,
    count: usize,
    options: *const fitw_step_options,
    out: *mut *mut fitw_text,
) -> fitw_status {
    call(context, "fitw_step_text", |c| {
        let pose = shape::optional_pose(machine_from_scan, "machine_from_scan")?;
        let (features, options) = (list(features, count)?, step_options(options)?);
        let out = Out::new(out, "out")?;
        c.engine.check()?;
        let moved: Vec<Feature> = features.iter().map(|f| f.transformed(&pose)).collect();
        out.set(handle::insert(Text::new(&step_text(&moved, &options)?))?);
        Ok(())
    })
}

fn list(features: *const *const fitw_feature, count: usize) -> Result<Vec<Feature>, Fault> {
    let handles = Array::new(features, count, 0, "features")?;
    handles.iter().map(|h| Ok(handle::get(h, "features")?.feature.clone())).collect()
}

fn step_options(options: *const fitw_step_options) -> Result<StepOptions, Fault> {
    let given = pointer::read_optional(options, "options")?;
    no_flags(given.flags, FITW_STEP_FULL, "options.flags")?;
    let mut options = StepOptions::default();
    options.schema = match given.schema {
        0 | FITW_STEP_AP242 => StepSchema::Ap242,
        FITW_STEP_AP214 => StepSchema::Ap214,
        other => {
            let allowed = "0, FITW_STEP_AP214 or FITW_STEP_AP242";
            return Err(Fault::argument("options.schema", other, allowed));
        }
    };
    if let Some(title) = text::optional(given.title, "options.title")? {
        options.title = title;
    }
    options.date = text::optional(given.date, "options.date")?;
    options.scan_date = text::optional(given.scan_date, "options.scan_date")?;
    options.full = given.flags & FITW_STEP_FULL != 0;
    limit(&mut options.precision, given.precision_mm, "options.precision_mm")?;
    limit(&mut options.axis_length, given.axis_length_mm, "options.axis_length_mm")?;
    Ok(options)
}
