//! How a shape is fitted.

use std::sync::Arc;

use engine::associate::{Constraint, NoiseModel, Request};
use engine::primitive::Point3;
use nalgebra::Matrix3;

use crate::context::{ContextBox, no_flags};
use crate::error::Fault;
use crate::handle;
use crate::kind;
use crate::noise::fitw_noise;
use crate::pointer::{self, Array, grows, items};
use crate::shape;
use crate::text::{self, fitw_str};
use crate::uncertainty::fitw_covariance;

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

/// Value of an option of a plug-in's fitter, see fitw_fitter_option.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_option_value {
    /// Its name.
    pub name: fitw_str,
    /// Its value, mm or rad; of a switch 1 or 0.
    pub value: f64,
}

items! { fitw_constraint, 40; fitw_option_value, 24 }

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
    /// What is known of the scan's noise, see fitw_noise_pool; NULL: what these points tell of it.
    pub noise: *const fitw_noise,
    /// Covariance of the feature that the constraints' direction was taken from: its tilt is carried into
    /// the covariance of the fit. NULL: the direction is exact.
    pub reference: *const fitw_covariance,
    /// Options of a plug-in's fitter that are not to have their standard value; may be NULL. Built-in fitters
    /// have none. Read during the call.
    pub options: *const fitw_option_value,
    /// Number of options.
    pub option_count: usize,
    /// Bytes from one option to the next; 0: side by side.
    pub option_stride: usize,
}

grows! { fitw_fit_options 40 }

/// Flag of fitw_fit_options: use every point; gross outliers are not looked for.
pub const FITW_FIT_KEEP_OUTLIERS: u32 = 1;

/// The caller's options as the engine takes them.
pub(crate) struct Asked {
    pub(crate) request: Request,
    noise: Option<Arc<NoiseModel>>,
}

impl Asked {
    pub(crate) fn new(
        c: &Arc<ContextBox>,
        options: *const fitw_fit_options,
    ) -> Result<Self, Fault> {
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
        request.constraints =
            constraints.iter().map(|k| constraint(&k)).collect::<Result<_, _>>()?;
        let values = Array::new(
            options.options,
            options.option_count,
            options.option_stride,
            "options.options",
        )?;
        request.options = values.iter().map(|v| option(&v)).collect::<Result<_, _>>()?;
        request.reference_tilt = tilt(options.reference)?;
        request.context = Some(c.engine.clone());
        Ok(Asked { request, noise: handle::optional(options.noise, "options.noise")? })
    }

    /// As [`Asked::new`], for what no plug-in has a hand in.
    pub(crate) fn of_builtin(
        c: &Arc<ContextBox>,
        options: *const fitw_fit_options,
    ) -> Result<Self, Fault> {
        let asked = Self::new(c, options)?;
        match asked.request.options.first() {
            None => Ok(asked),
            Some((name, _)) => Err(Fault::argument("options.options", name, "none here")),
        }
    }

    pub(crate) fn noise(&self) -> Option<&NoiseModel> {
        self.noise.as_deref()
    }
}

fn option(given: &fitw_option_value) -> Result<(String, f64), Fault> {
    let name = text::given(given.name, "options.options.name")?;
    match given.value.is_finite() {
        true => Ok((name, given.value)),
        false => Err(Fault::argument(&format!("option {name}"), given.value, "a finite value")),
    }
}

/// Covariance of the rotation vector in that of a feature; NULL is none.
fn tilt(reference: *const fitw_covariance) -> Result<Option<Matrix3<f64>>, Fault> {
    if reference.is_null() {
        return Ok(None);
    }
    let name = "options.reference";
    let matrix = pointer::read_sized(reference, name)?.matrix;
    let tilt = Matrix3::from_fn(|i, j| matrix[8 * (3 + i) + 3 + j]);
    if tilt.iter().all(|v| v.is_finite()) {
        return Ok(Some(tilt));
    }
    Err(Fault::argument(name, "a number that is not finite", "a covariance of a feature"))
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
