//! Tables among the parameters of fits and features, and the uncertainty of each parameter.

use crate::call::call;
use crate::context::fitw_context;
use crate::error::{Fault, fitw_status};
use crate::feature::fitw_feature;
use crate::fit::fitw_fit;
use crate::handle;
use crate::kind;
use crate::pointer::{Out, SizedOut, View, grows};
use crate::text::{self, fitw_str};
use crate::uncertainty::Parameters;

/// A column of a table.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_column {
    /// sizeof(fitw_column), set by the caller.
    pub struct_size: u32,
    /// FITW_QUANTITY_… of its numbers.
    pub quantity: i32,
    /// Name; valid until the handle it was asked from is released.
    pub name: fitw_str,
}

grows! { fitw_column 24 }

/// TABLE. Column `column`, from 0, of a table among the parameters of a fit (FITW_VALUE_TABLE): `index` is the
/// parameter's. Error: FITW_E_ARGUMENT past the last, or for a parameter that is no table. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_table_column(
    context: *const fitw_context,
    fit: *const fitw_fit,
    index: usize,
    column: usize,
    out: *mut fitw_column,
) -> fitw_status {
    call(context, "fitw_fit_table_column", |_| {
        hand_out_column(&handle::get(fit, "fit")?.parameters, index, column, out)
    })
}

/// Numbers of a table of a fit, row by row, mm and rad; `*count` of them, rows times columns. NULL if none.
/// Valid until the fit is released. Error: as above. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_table_view(
    context: *const fitw_context,
    fit: *const fitw_fit,
    index: usize,
    values: *mut *const f64,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_fit_table_view", |_| {
        let fit = handle::get(fit, "fit")?;
        let view = View::new(values, count)?;
        view.set(&fit.parameters.table(index)?.0.values);
        Ok(())
    })
}

/// Expanded uncertainty (coverage factor 2) of parameter `index` of a fit, from 0: of a place in the direction
/// where it is largest, mm; of a direction its tilt, rad; of a number in its own unit. Of a plug-in's shape it
/// is what the plug-in states.
///
/// Errors: FITW_E_UNDETERMINED if it is not known, as of a table; FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_parameter_uncertainty(
    context: *const fitw_context,
    fit: *const fitw_fit,
    index: usize,
    out: *mut f64,
) -> fitw_status {
    call(context, "fitw_fit_parameter_uncertainty", |_| {
        let fit = handle::get(fit, "fit")?;
        let out = Out::new(out, "out")?;
        out.set(fit.parameters.uncertainty(index, &fit.fit.shape, &fit.fit.covariance)?);
        Ok(())
    })
}

/// As fitw_fit_table_column, of a feature. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_table_column(
    context: *const fitw_context,
    feature: *const fitw_feature,
    index: usize,
    column: usize,
    out: *mut fitw_column,
) -> fitw_status {
    call(context, "fitw_feature_table_column", |_| {
        hand_out_column(&handle::get(feature, "feature")?.parameters, index, column, out)
    })
}

/// As fitw_fit_table_view, of a feature; valid until the feature is released. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_table_view(
    context: *const fitw_context,
    feature: *const fitw_feature,
    index: usize,
    values: *mut *const f64,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_feature_table_view", |_| {
        let feature = handle::get(feature, "feature")?;
        let view = View::new(values, count)?;
        view.set(&feature.parameters.table(index)?.0.values);
        Ok(())
    })
}

/// As fitw_fit_parameter_uncertainty, of a feature. What a plug-in states does not hold what a join or the
/// scanner's error of length adds; fitw_feature_uncertainty does. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_parameter_uncertainty(
    context: *const fitw_context,
    feature: *const fitw_feature,
    index: usize,
    out: *mut f64,
) -> fitw_status {
    call(context, "fitw_feature_parameter_uncertainty", |_| {
        let feature = handle::get(feature, "feature")?;
        let out = Out::new(out, "out")?;
        let of = &feature.feature;
        out.set(feature.parameters.uncertainty(index, &of.shape, &of.covariance)?);
        Ok(())
    })
}

fn hand_out_column(
    parameters: &Parameters,
    index: usize,
    column: usize,
    out: *mut fitw_column,
) -> Result<(), Fault> {
    let out = SizedOut::new(out, "out")?;
    let (table, names) = parameters.table(index)?;
    let past = || text::past_in("column", column, names.len());
    let (name, of) = names.get(column).zip(table.columns.get(column)).ok_or_else(past)?;
    out.set(fitw_column {
        struct_size: 0,
        quantity: kind::of_quantity(of.quantity),
        name: name.view(),
    });
    Ok(())
}
