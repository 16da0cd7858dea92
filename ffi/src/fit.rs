//! Fitters and fits.

use std::sync::Arc;

use engine::associate::{ConstraintCost, Fit, Fitter};
use engine::primitive::Primitive;

use crate::call::call;
use crate::context::{ContextBox, fitw_context};
use crate::error::{Fault, fitw_status};
use crate::fit_data::{Data, fitw_points};
use crate::fit_options::{Asked, fitw_fit_options};
use crate::handle::{self, Handle};
use crate::kind;
use crate::pointer::{Out, SizedOut, View, grows};
use crate::region::fitw_region;
use crate::shape::{self, fitw_shape};
use crate::text::{self, Text, fitw_str};
use crate::uncertainty::{
    self, Parameters, fitw_covariance, fitw_evidence, fitw_parameter, fitw_quality,
    fitw_uncertainty,
};

/// A shape fitted to points, with its uncertainty and quality. Immutable. [any-thread]
pub struct fitw_fit;

/// A fitter that may be asked for.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_fitter_info {
    /// sizeof(fitw_fitter_info), set by the caller.
    pub struct_size: u32,
    /// FITW_KIND_… of what it fits.
    pub kind: i32,
    /// Fewest points it works with.
    pub minimum_points: u64,
    /// Id, such as "builtin.cylinder"; valid until the context is released.
    pub id: fitw_str,
    /// One line for people; valid until the context is released.
    pub title: fitw_str,
}

/// An option of a fitter.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_option_info {
    /// sizeof(fitw_option_info), set by the caller.
    pub struct_size: u32,
    /// FITW_OPTION_…
    pub sort: i32,
    /// FITW_QUANTITY_…
    pub quantity: i32,
    /// 0.
    pub reserved: i32,
    /// Name; valid until the context is released.
    pub name: fitw_str,
    /// One line for people; valid until the context is released.
    pub description: fitw_str,
    /// Value where none is given, mm or rad.
    pub standard: f64,
    /// Smallest value.
    pub least: f64,
    /// Largest value.
    pub most: f64,
}

/// What the constraints of a fit cost.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_constraint_cost {
    /// sizeof(fitw_constraint_cost), set by the caller.
    pub struct_size: u32,
    /// Freedoms that the constraints took away; 0: there were none, and the rest is 0.
    pub freedoms: i32,
    /// Standard deviation of one point without the constraints, mm; -1: the points alone do not
    /// determine the shape.
    pub free_sigma_mm: f64,
    /// Standard deviation of one point with them, mm.
    pub sigma_mm: f64,
    /// Probability that points which obey them cost this much by chance; -1: as above.
    pub probability: f64,
}

grows! { fitw_fitter_info 48, fitw_option_info 72, fitw_constraint_cost 32 }

/// FIT. Number of fitters: the built-in ones, then those of the context's plug-ins. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fitter_count(
    context: *const fitw_context,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_fitter_count", |c| {
        Out::new(count, "count").map(|out| out.set(c.plugins.registry().fitters().len()))
    })
}

/// Fitter `index`, from 0; a fitter keeps its place. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fitter_describe(
    context: *const fitw_context,
    index: usize,
    out: *mut fitw_fitter_info,
) -> fitw_status {
    call(context, "fitw_fitter_describe", |c| {
        let out = SizedOut::new(out, "out")?;
        let fitter = nth(c, index)?;
        out.set(fitw_fitter_info {
            struct_size: 0,
            kind: kind::of_kind(fitter.kind()),
            minimum_points: fitter.minimum_points() as u64,
            id: c.word(fitter.id()),
            title: c.word(fitter.title()),
        });
        Ok(())
    })
}

/// Number of options of fitter `index`; 0 for a built-in one. Error: FITW_E_ARGUMENT past the last fitter.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fitter_option_count(
    context: *const fitw_context,
    index: usize,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_fitter_option_count", |c| {
        let out = Out::new(count, "count")?;
        out.set(nth(c, index)?.options().len());
        Ok(())
    })
}

/// Option `option`, from 0, of fitter `index`. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fitter_option(
    context: *const fitw_context,
    index: usize,
    option: usize,
    out: *mut fitw_option_info,
) -> fitw_status {
    call(context, "fitw_fitter_option", |c| {
        let out = SizedOut::new(out, "out")?;
        let fitter = nth(c, index)?;
        let all = fitter.options();
        let o = all.get(option).ok_or_else(|| text::past_in("option", option, all.len()))?;
        let (sort, quantity) = kind::of_option(o.sort);
        out.set(fitw_option_info {
            struct_size: 0,
            sort,
            quantity,
            reserved: 0,
            name: c.word(&o.name),
            description: c.word(&o.description),
            standard: o.standard,
            least: o.least,
            most: o.most,
        });
        Ok(())
    })
}

/// Fits to a region's points, with their normals, the region's pick and the scan's noise. `fitter` is an id:
/// "builtin.plane", ".line", ".circle", ".sphere", ".cylinder", ".cone", ".torus", or one of a plug-in that was
/// loaded. `options` may be NULL; a plug-in takes no criterion and no constraints, but options of its own.
/// Release the fit with fitw_fit_release.
///
/// A poor fit is a fit with a poor quality; errors are FITW_E_UNKNOWN_NAME (fitter), FITW_E_TOO_FEW_POINTS,
/// FITW_E_UNDETERMINED, FITW_E_NOT_CONVERGED, FITW_E_CANCELLED, FITW_E_ARGUMENT (also an option that the fitter
/// does not have or a value out of its limits), and of plug-ins FITW_E_PLUGIN, FITW_E_PLUGIN_REFUSED.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_region(
    context: *const fitw_context,
    fitter: fitw_str,
    region: *const fitw_region,
    options: *const fitw_fit_options,
    out: *mut *mut fitw_fit,
) -> fitw_status {
    call(context, "fitw_fit_region", |c| {
        let region = handle::get(region, "region")?;
        let asked = Asked::new(c, options)?;
        let out = Out::new(out, "out")?;
        let id = text::given(fitter, "fitter")?;
        c.engine.check()?;
        let fit = c.engine.run(|| {
            let data = Data::of_region(region);
            run(c, &id, &data, &asked)
        })?;
        out.set(handle::insert(fit)?);
        Ok(())
    })
}

/// Fits to points of the host. As above, but rejected and deciding points are positions in the input.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_points(
    context: *const fitw_context,
    fitter: fitw_str,
    points: *const fitw_points,
    options: *const fitw_fit_options,
    out: *mut *mut fitw_fit,
) -> fitw_status {
    call(context, "fitw_fit_points", |c| {
        let data = Data::of_host(points, "points")?;
        let asked = Asked::new(c, options)?;
        let out = Out::new(out, "out")?;
        let id = text::given(fitter, "fitter")?;
        c.engine.check()?;
        out.set(handle::insert(c.engine.run(|| run(c, &id, &data, &asked))?)?);
        Ok(())
    })
}

/// The fitted shape, in the coordinates of the points. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_shape(
    context: *const fitw_context,
    fit: *const fitw_fit,
    out: *mut fitw_shape,
) -> fitw_status {
    call(context, "fitw_fit_shape", |_| shape::hand_out(&handle::get(fit, "fit")?.fit.shape, out))
}

/// Number of parameters of the shape. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_parameter_count(
    context: *const fitw_context,
    fit: *const fitw_fit,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_fit_parameter_count", |_| {
        let fit = handle::get(fit, "fit")?;
        Out::new(count, "count").map(|out| out.set(fit.parameters.len()))
    })
}

/// Parameter `index`, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_parameter(
    context: *const fitw_context,
    fit: *const fitw_fit,
    index: usize,
    out: *mut fitw_parameter,
) -> fitw_status {
    call(context, "fitw_fit_parameter", |_| handle::get(fit, "fit")?.parameters.nth(index, out))
}

/// Parameter by name. Error: FITW_E_UNKNOWN_NAME. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_parameter_named(
    context: *const fitw_context,
    fit: *const fitw_fit,
    name: fitw_str,
    out: *mut fitw_parameter,
) -> fitw_status {
    call(context, "fitw_fit_parameter_named", |_| {
        let fit = handle::get(fit, "fit")?;
        fit.parameters.named(&text::given(name, "name")?, out)
    })
}

/// How good the fit is. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_quality(
    context: *const fitw_context,
    fit: *const fitw_fit,
    out: *mut fitw_quality,
) -> fitw_status {
    call(context, "fitw_fit_quality", |_| {
        uncertainty::hand_out_quality(&handle::get(fit, "fit")?.fit.quality, out)
    })
}

/// Covariance of the shape about a place (three numbers, mm; NULL: about a place of the data, the best one
/// to keep it at). [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_covariance(
    context: *const fitw_context,
    fit: *const fitw_fit,
    about_mm: *const f64,
    out: *mut fitw_covariance,
) -> fitw_status {
    call(context, "fitw_fit_covariance", |_| {
        uncertainty::hand_out_covariance(&handle::get(fit, "fit")?.fit.covariance, about_mm, out)
    })
}

/// Expanded uncertainties (coverage factor 2) at a place on the shape (three numbers, mm; NULL: at the
/// shape's own point). [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_uncertainty(
    context: *const fitw_context,
    fit: *const fitw_fit,
    place_mm: *const f64,
    out: *mut fitw_uncertainty,
) -> fitw_status {
    call(context, "fitw_fit_uncertainty", |_| {
        let fit = handle::get(fit, "fit")?;
        uncertainty::hand_out_uncertainty(&fit.fit.covariance, &fit.fit.shape, place_mm, out)
    })
}

/// Points that were left out as gross outliers, ascending: numbers of the scan's points for a region, else
/// positions in the input. NULL if none. Valid until the fit is released. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_rejected_view(
    context: *const fitw_context,
    fit: *const fitw_fit,
    ids: *mut *const u32,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_fit_rejected_view", |_| {
        let fit = handle::get(fit, "fit")?;
        View::new(ids, count).map(|view| view.set(&fit.rejected))
    })
}

/// Points that decide the shape of another criterion than least squares; as above. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_contacts_view(
    context: *const fitw_context,
    fit: *const fitw_fit,
    ids: *mut *const u32,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_fit_contacts_view", |_| {
        let fit = handle::get(fit, "fit")?;
        View::new(ids, count).map(|view| view.set(&fit.contacts))
    })
}

/// Where those points are: x, y, z side by side, mm, `*count` places. NULL if none. Valid until the fit is
/// released. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_contact_points_view(
    context: *const fitw_context,
    fit: *const fitw_fit,
    xyz_mm: *mut *const f64,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_fit_contact_points_view", |_| {
        let fit = handle::get(fit, "fit")?;
        View::new(xyz_mm, count).map(|view| view.set(&fit.fit.quality.contacts))
    })
}

/// How the shape stands against neighbour `index`, from 0. Error: FITW_E_ARGUMENT past the last.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_evidence(
    context: *const fitw_context,
    fit: *const fitw_fit,
    index: usize,
    out: *mut fitw_evidence,
) -> fitw_status {
    call(context, "fitw_fit_evidence", |c| {
        let fit = handle::get(fit, "fit")?;
        uncertainty::hand_out_evidence(c, &fit.fit.quality, index, out)
    })
}

/// What the constraints cost. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_constraint_cost(
    context: *const fitw_context,
    fit: *const fitw_fit,
    out: *mut fitw_constraint_cost,
) -> fitw_status {
    call(context, "fitw_fit_constraint_cost", |_| {
        let fit = handle::get(fit, "fit")?;
        let out = SizedOut::new(out, "out")?;
        out.set(fit.fit.cost.as_ref().map_or(NO_COST, of_cost));
        Ok(())
    })
}

/// Number of notes. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_note_count(
    context: *const fitw_context,
    fit: *const fitw_fit,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_fit_note_count", |_| {
        let fit = handle::get(fit, "fit")?;
        Out::new(count, "count").map(|out| out.set(fit.notes.len()))
    })
}

/// What a person should know of the fit, one sentence; `index` from 0. Valid until the fit is released.
/// Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_note(
    context: *const fitw_context,
    fit: *const fitw_fit,
    index: usize,
    out: *mut fitw_str,
) -> fitw_status {
    call(context, "fitw_fit_note", |_| text::nth(&handle::get(fit, "fit")?.notes, index, out))
}

/// Releases a fit. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fit_release(fit: *mut fitw_fit) -> fitw_status {
    handle::release(fit)
}

impl Handle for fitw_fit {
    type Inner = FitBox;
    const NAME: &'static str = "fitw_fit";
}

/// What stands behind a fit.
pub(crate) struct FitBox {
    pub(crate) fitter: String,
    pub(crate) fit: Fit<Primitive>,
    /// Whether others of its group make up for what its own points leave open.
    pub(crate) grouped: bool,
    pub(crate) parameters: Parameters,
    notes: Vec<Text>,
    rejected: Vec<u32>,
    contacts: Vec<u32>,
}

impl FitBox {
    pub(crate) fn new(fitter: String, fit: Fit<Primitive>, data: &Data, grouped: bool) -> Self {
        FitBox {
            fitter,
            grouped,
            parameters: Parameters::new(&fit.shape),
            notes: Text::all(&fit.notes),
            rejected: data.ids(&fit.rejected),
            contacts: data.ids(&fit.contacts),
            fit,
        }
    }
}

pub(crate) fn of_cost(cost: &ConstraintCost) -> fitw_constraint_cost {
    fitw_constraint_cost {
        struct_size: 0,
        freedoms: i32::try_from(cost.freedoms).unwrap_or(i32::MAX),
        free_sigma_mm: cost.free_sigma.unwrap_or(-1.0),
        sigma_mm: cost.sigma,
        probability: cost.probability.unwrap_or(-1.0),
    }
}

fn run(c: &ContextBox, id: &str, data: &Data, asked: &Asked) -> Result<FitBox, Fault> {
    let fitter = c.plugins.registry().fitter(id)?;
    let fit = fitter.fit(&data.input(asked.noise()), &asked.request)?;
    Ok(FitBox::new(id.to_owned(), fit, data, false))
}

fn nth(c: &ContextBox, index: usize) -> Result<Arc<dyn Fitter>, Fault> {
    let registry = c.plugins.registry();
    let all = registry.fitters();
    all.get(index).cloned().ok_or_else(|| text::past(index, all.len()))
}

const NO_COST: fitw_constraint_cost = fitw_constraint_cost {
    struct_size: 0,
    freedoms: 0,
    free_sigma_mm: 0.0,
    sigma_mm: 0.0,
    probability: 0.0,
};
