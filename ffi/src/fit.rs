//! Fitters and fits.

use std::ffi::c_void;
use std::sync::Arc;

use engine::associate::{Constraint, Fit, Input, Request, builtin_fitters, fitter_by_id};
use engine::primitive::{Point3, Primitive};

use crate::call::call;
use crate::context::{ContextBox, fitw_context, no_flags};
use crate::error::{Fault, fitw_status};
use crate::handle::{self, Handle};
use crate::kind;
use crate::mesh::Coordinates;
use crate::pointer::{self, Array, Out, SizedOut, View, grows, items};
use crate::region::fitw_region;
use crate::shape::{self, fitw_shape};
use crate::text::{self, fitw_str};
use crate::uncertainty::{
    self, Parameters, fitw_covariance, fitw_parameter, fitw_quality, fitw_uncertainty,
};

/// A shape fitted to points, with its uncertainty and quality. Immutable. [any-thread]
pub struct fitw_fit;

/// Constraint: the radius of circle, sphere or cylinder is `value`, mm.
pub const FITW_CONSTRAINT_RADIUS: i32 = 10;
/// Constraint: the major radius of a torus is `value`, mm.
pub const FITW_CONSTRAINT_MAJOR_RADIUS: i32 = 20;
/// Constraint: the minor radius of a torus is `value`, mm.
pub const FITW_CONSTRAINT_MINOR_RADIUS: i32 = 30;
/// Constraint: the half-angle of a cone is `value`, rad.
pub const FITW_CONSTRAINT_HALF_ANGLE: i32 = 40;
/// Constraint: the direction (of a plane its normal) is parallel to `vector`, either way.
pub const FITW_CONSTRAINT_PARALLEL: i32 = 50;
/// Constraint: the direction (of a plane its normal) is perpendicular to `vector`.
pub const FITW_CONSTRAINT_PERPENDICULAR: i32 = 60;
/// Constraint: axis, line, plane or centre goes through the place `vector`, mm.
pub const FITW_CONSTRAINT_THROUGH: i32 = 70;

/// Something known of a shape, held exactly while the rest is fitted.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_constraint {
    /// FITW_CONSTRAINT_…
    pub kind: i32,
    /// 0.
    pub reserved: i32,
    /// The number that the kind asks for; else 0.
    pub value: f64,
    /// The direction or place that the kind asks for; else zeros.
    pub vector: [f64; 3],
}

items! { fitw_constraint, 40 }

/// How a shape is fitted. All zero is the default.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_fit_options {
    /// sizeof(fitw_fit_options).
    pub struct_size: u32,
    /// 0 or FITW_FIT_KEEP_OUTLIERS.
    pub flags: u32,
    /// FITW_CRITERION_…; 0: least squares.
    pub criterion: i32,
    /// 0.
    pub reserved: i32,
    /// What is known of the shape; may be NULL. Read during the call.
    pub constraints: *const fitw_constraint,
    /// Number of constraints.
    pub constraint_count: usize,
    /// Bytes from one constraint to the next; 0: side by side.
    pub constraint_stride: usize,
}

/// Flag of fitw_fit_options: use every point; gross outliers are not looked for.
pub const FITW_FIT_KEEP_OUTLIERS: u32 = 1;

/// Points of the host to fit to, without a scan. Read during the call.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_points {
    /// sizeof(fitw_points).
    pub struct_size: u32,
    /// FITW_SCALAR_… of points and normals; 0: double.
    pub scalar: i32,
    /// x, y, z of the first point, mm.
    pub points: *const c_void,
    /// Number of points.
    pub count: usize,
    /// Bytes from one point to the next; 0: side by side.
    pub point_stride: usize,
    /// Unit normal of each point, zero where unknown; NULL: none.
    pub normals: *const c_void,
    /// Bytes from one normal to the next; 0: side by side.
    pub normal_stride: usize,
    /// Where the user pointed: three numbers, mm; may be NULL.
    pub pick_mm: *const f64,
    /// Noise of the points, mm; 0: unknown.
    pub noise_mm: f64,
}

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

grows! { fitw_fit_options 40, fitw_points 64, fitw_fitter_info 48, fitw_constraint_cost 32 }

/// FIT. Number of fitters. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fitter_count(
    context: *const fitw_context,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_fitter_count", |_| {
        Out::new(count, "count").map(|out| out.set(builtin_fitters().len()))
    })
}

/// Fitter `index`, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_fitter_describe(
    context: *const fitw_context,
    index: usize,
    out: *mut fitw_fitter_info,
) -> fitw_status {
    call(context, "fitw_fitter_describe", |c| {
        let out = SizedOut::new(out, "out")?;
        let all = builtin_fitters();
        let fitter = all.get(index).ok_or_else(|| text::past(index, all.len()))?;
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

/// Fits to a region's points, with their normals, the region's pick and the scan's noise. `fitter` is an id:
/// "builtin.plane", ".line", ".circle", ".sphere", ".cylinder", ".cone", ".torus". `options` may be NULL.
/// Release the fit with fitw_fit_release.
///
/// A poor fit is a fit with a poor quality; errors are FITW_E_UNKNOWN_NAME (fitter), FITW_E_TOO_FEW_POINTS,
/// FITW_E_UNDETERMINED, FITW_E_NOT_CONVERGED, FITW_E_CANCELLED, FITW_E_ARGUMENT. [any-thread]
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
        let request = request(c, options)?;
        let out = Out::new(out, "out")?;
        let id = text::given(fitter, "fitter")?;
        c.engine.check()?;
        let fit = c.engine.run(|| {
            let region = &region.region;
            let (points, normals) = (region.points(), region.normals());
            let mut input = Input::new(&points);
            input.normals = Some(&normals);
            input.pick = region.pick();
            input.noise = Some(region.scan().noise());
            run(&id, &input, &request)
        })?;
        let ids = region.region.ids();
        let of_scan = |at: &u32| ids.get(*at as usize).copied();
        let (rejected, contacts) = (
            fit.rejected.iter().filter_map(of_scan).collect(),
            fit.contacts.iter().filter_map(of_scan).collect(),
        );
        out.set(handle::insert(FitBox::new(id, fit, rejected, contacts))?);
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
        let given = pointer::read_sized(points, "points")?;
        let request = request(c, options)?;
        let out = Out::new(out, "out")?;
        let id = text::given(fitter, "fitter")?;
        let array = |pointer, stride, name: &str| {
            Coordinates::new(pointer, given.count, stride, given.scalar, name)
        };
        let points = array(given.points, given.point_stride, "points.points")?.points(1.0)?;
        let normals = match given.normals.is_null() {
            true => None,
            false => {
                Some(array(given.normals, given.normal_stride, "points.normals")?.directions()?)
            }
        };
        let pick = pointer::optional_three(given.pick_mm, "points.pick_mm")?;
        c.engine.check()?;
        let fit = c.engine.run(|| {
            let mut input = Input::new(&points);
            input.normals = normals.as_deref();
            input.pick = pick.map(Point3::from);
            input.noise = (given.noise_mm > 0.0).then_some(given.noise_mm);
            run(&id, &input, &request)
        })?;
        let (rejected, contacts) = (fit.rejected.clone(), fit.contacts.clone());
        out.set(handle::insert(FitBox::new(id, fit, rejected, contacts))?);
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
        let cost = fit.fit.cost.as_ref();
        out.set(fitw_constraint_cost {
            struct_size: 0,
            freedoms: cost.map_or(0, |c| i32::try_from(c.freedoms).unwrap_or(i32::MAX)),
            free_sigma_mm: cost.map_or(0.0, |c| c.free_sigma.unwrap_or(-1.0)),
            sigma_mm: cost.map_or(0.0, |c| c.sigma),
            probability: cost.map_or(0.0, |c| c.probability.unwrap_or(-1.0)),
        });
        Ok(())
    })
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
    parameters: Parameters,
    rejected: Vec<u32>,
    contacts: Vec<u32>,
}

impl FitBox {
    fn new(fitter: String, fit: Fit<Primitive>, rejected: Vec<u32>, contacts: Vec<u32>) -> Self {
        FitBox { fitter, parameters: Parameters::new(&fit.shape), fit, rejected, contacts }
    }
}

fn run(id: &str, input: &Input<'_>, request: &Request) -> Result<Fit<Primitive>, Fault> {
    let fitter = fitter_by_id(id).ok_or_else(|| engine::Error::UnknownName {
        kind: "fitter",
        name: id.to_owned(),
        nearest: None,
    })?;
    Ok(fitter.fit(input, request)?)
}

/// The engine's request of the caller's options.
pub(crate) fn request(
    c: &Arc<ContextBox>,
    options: *const fitw_fit_options,
) -> Result<Request, Fault> {
    let options = pointer::read_optional(options, "options")?;
    no_flags(options.flags, FITW_FIT_KEEP_OUTLIERS, "options.flags")?;
    let constraints = Array::new(
        options.constraints,
        options.constraint_count,
        options.constraint_stride,
        "options.constraints",
    )?;
    let mut request = Request::default();
    request.criterion = kind::criterion(options.criterion, "options.criterion")?;
    request.reject_outliers = options.flags & FITW_FIT_KEEP_OUTLIERS == 0;
    request.constraints = constraints.iter().map(|k| constraint(&k)).collect::<Result<_, _>>()?;
    request.context = Some(c.engine.clone());
    Ok(request)
}

fn constraint(given: &fitw_constraint) -> Result<Constraint, Fault> {
    let name = "options.constraints";
    let value = || match given.value.is_finite() {
        true => Ok(given.value),
        false => Err(Fault::argument(name, given.value, "a finite value")),
    };
    let direction = || shape::direction(given.vector, name);
    Ok(match given.kind {
        FITW_CONSTRAINT_RADIUS => Constraint::Radius(value()?),
        FITW_CONSTRAINT_MAJOR_RADIUS => Constraint::MajorRadius(value()?),
        FITW_CONSTRAINT_MINOR_RADIUS => Constraint::MinorRadius(value()?),
        FITW_CONSTRAINT_HALF_ANGLE => Constraint::HalfAngle(value()?),
        FITW_CONSTRAINT_PARALLEL => Constraint::Parallel(direction()?),
        FITW_CONSTRAINT_PERPENDICULAR => Constraint::Perpendicular(direction()?),
        FITW_CONSTRAINT_THROUGH if given.vector.iter().all(|v| v.is_finite()) => {
            Constraint::Through(Point3::from(given.vector))
        }
        FITW_CONSTRAINT_THROUGH => {
            return Err(Fault::argument(name, format!("{:?}", given.vector), "a finite place"));
        }
        other => return Err(Fault::argument(name, other, "kinds FITW_CONSTRAINT_…")),
    })
}
