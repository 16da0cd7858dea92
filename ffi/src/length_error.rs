//! What a scanner's maker admits of its errors of length.

use engine::scan::LengthError;

use crate::call::call;
use crate::context::fitw_context;
use crate::error::{Fault, fitw_status};
use crate::feature::{FeatureBox, fitw_feature};
use crate::handle;
use crate::pointer::{Array, Out, items};

/// Largest permissible error of a length that the scanner's maker states (ISO 10360-8, VDI/VDE 2634-3):
/// fixed_mm + per_length × length. It is one of the whole scan, so no residual shows it. All zero: none is
/// stated.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_length_error {
    /// Part that does not depend on the length, mm, 0 or more.
    pub fixed_mm: f64,
    /// Part in proportion to the length, mm per mm, up to 0.1: 0.05 mm per metre is 0.00005.
    pub per_length: f64,
}

items! { fitw_length_error, 16 }

/// LENGTH ERROR. Standard deviation that the error makes of a length (mm), mm. Twice it is to be added, in
/// squares, to the uncertainty of a distance between features of one scan. Error: FITW_E_ARGUMENT for parts
/// out of range. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_length_error_deviation(
    context: *const fitw_context,
    error: *const fitw_length_error,
    length_mm: f64,
    deviation_mm: *mut f64,
) -> fitw_status {
    call(context, "fitw_length_error_deviation", |_| {
        let error = given(error, "error")?;
        let out = Out::new(deviation_mm, "deviation_mm")?;
        if !length_mm.is_finite() {
            return Err(Fault::argument("length_mm", length_mm, "a finite length"));
        }
        out.set(error.deviation(length_mm));
        Ok(())
    })
}

/// The feature with the error added to the uncertainty of its sizes (over the diameter) and direction (over
/// its extent), to become a datum or part of a scene. Once only: each call adds it again. Release the new
/// feature with fitw_feature_release. Error: FITW_E_ARGUMENT for parts out of range. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_add_length_error(
    context: *const fitw_context,
    feature: *const fitw_feature,
    error: *const fitw_length_error,
    out: *mut *mut fitw_feature,
) -> fitw_status {
    call(context, "fitw_feature_add_length_error", |_| {
        let feature = handle::get(feature, "feature")?;
        let error = given(error, "error")?;
        let out = Out::new(out, "out")?;
        let wider = feature.feature.with_length_error(&error);
        out.set(handle::insert(FeatureBox::new(wider))?);
        Ok(())
    })
}

/// A length error of the caller, checked.
pub(crate) fn checked(error: &fitw_length_error) -> Result<LengthError, Fault> {
    Ok(LengthError::new(error.fixed_mm, error.per_length)?)
}

fn given(error: *const fitw_length_error, name: &str) -> Result<LengthError, Fault> {
    let all = Array::new(error, 1, 0, name)?;
    all.get(0).map_or_else(|| Err(Fault::argument(name, "NULL", "a pointer")), |e| checked(&e))
}
