//! The engine's own fits, for plug-ins whose shapes consist of standard ones.

#![allow(unsafe_code)]

use fitwright_plugin_abi as abi;

use super::call::Running;
use super::check::kind_of;
use crate::associate::{Covariance, Fit, Input, Quality, Request, builtin_fitters};
use crate::error::Error;
use crate::primitive::{Point3, Primitive, Vec3};

/// The ability `FITW_PLUGIN_FITS`.
pub(super) static TABLE: abi::fitw_plugin_fits = abi::fitw_plugin_fits {
    struct_size: size_of::<abi::fitw_plugin_fits>() as u32,
    reserved: 0,
    fit,
};

unsafe extern "C" fn fit(
    call: *const abi::fitw_plugin_call,
    shape: i32,
    points_mm: *const f64,
    normals: *const f64,
    count: usize,
    outliers: i32,
    out: *mut abi::fitw_plugin_fitted,
    used: *mut u8,
) -> i32 {
    // SAFETY: a running call's table.
    let Some(running) = (unsafe { Running::of(call) }) else {
        return abi::FITW_PLUGIN_E_INTERNAL;
    };
    if points_mm.is_null() || out.is_null() || count > isize::MAX as usize / 24 {
        running.set_reason("a host's fit was asked of no points, or for no result");
        return abi::FITW_PLUGIN_E_INTERNAL;
    }
    // SAFETY: the plug-in says that there are `count` places.
    let points = unsafe { std::slice::from_raw_parts(points_mm.cast::<Point3>(), count) };
    // SAFETY: as above.
    let normals = (!normals.is_null())
        .then(|| unsafe { std::slice::from_raw_parts(normals.cast::<Vec3>(), count) });
    let fitted = running.guarded(|| fitted(running, shape, points, normals, outliers != 0));
    match fitted {
        Ok(fit) => {
            // SAFETY: the plug-in's struct, of the size that it says; `used` has `count` bytes.
            unsafe {
                hand_out(&fit, shape, out);
                if !used.is_null() {
                    used.write_bytes(1, count);
                    for &i in &fit.rejected {
                        used.add(i as usize).write(0);
                    }
                }
            }
            abi::FITW_PLUGIN_OK
        }
        Err(error) => {
            running.set_reason(&error.to_string());
            state_of(&error)
        }
    }
}

fn fitted(
    running: &Running,
    shape: i32,
    points: &[Point3],
    normals: Option<&[Vec3]>,
    outliers: bool,
) -> crate::error::Result<Fit<Primitive>> {
    let kind = kind_of(shape)
        .ok_or_else(|| Error::argument("shape", shape, "FITW_PLUGIN_SHAPE_PLANE to …_TORUS"))?;
    let fitter = builtin_fitters().into_iter().find(|f| f.kind() == kind);
    let fitter = fitter.ok_or_else(|| Error::argument("shape", shape, "a standard shape"))?;
    let request =
        Request { reject_outliers: outliers, context: running.context(), ..Request::default() };
    let (noise, resolution) = (running.noise, running.resolution);
    fitter.fit(&Input { normals, noise, resolution, ..Input::new(points) }, &request)
}

/// # Safety
/// `out` is a plug-in's struct that begins with its size.
unsafe fn hand_out(fit: &Fit<Primitive>, shape: i32, out: *mut abi::fitw_plugin_fitted) {
    let Covariance { at, matrix } = &fit.covariance;
    let Quality { rms, sigma, points, .. } = fit.quality;
    let [size_1, size_2] = sizes(&fit.shape);
    let mut covariance = [0.0; 64];
    for (k, c) in covariance.iter_mut().enumerate() {
        *c = matrix[(k / 8, k % 8)];
    }
    // SAFETY: as the caller says.
    let size = unsafe { (*out).struct_size };
    let all = abi::fitw_plugin_fitted {
        struct_size: size,
        shape,
        point_mm: fit.shape.point().into(),
        direction: fit.shape.direction().map_or([0.0; 3], |d| d.into_inner().into()),
        size_1,
        size_2,
        at_mm: (*at).into(),
        covariance,
        rms_mm: rms,
        sigma_mm: sigma,
        used_count: points,
    };
    let bytes = (size as usize).min(size_of::<abi::fitw_plugin_fitted>());
    // SAFETY: no more than the plug-in has.
    unsafe {
        std::ptr::copy_nonoverlapping(std::ptr::from_ref(&all).cast::<u8>(), out.cast(), bytes);
    }
}

fn sizes(shape: &Primitive) -> [f64; 2] {
    match shape {
        Primitive::Circle(s) => [s.radius, 0.0],
        Primitive::Sphere(s) => [s.radius, 0.0],
        Primitive::Cylinder(s) => [s.radius, 0.0],
        Primitive::Cone(s) => [s.radius, s.half_angle],
        Primitive::Torus(s) => [s.major_radius, s.minor_radius],
        Primitive::Plane(_) | Primitive::Line(_) | Primitive::Composite(_) => [0.0; 2],
    }
}

fn state_of(error: &Error) -> i32 {
    match error {
        Error::TooFewPoints { .. } => abi::FITW_PLUGIN_E_TOO_FEW_POINTS,
        Error::Undetermined { .. } => abi::FITW_PLUGIN_E_UNDETERMINED,
        Error::NotConverged { .. } => abi::FITW_PLUGIN_E_NOT_CONVERGED,
        Error::Cancelled => abi::FITW_PLUGIN_E_CANCELLED,
        Error::Argument { .. } => abi::FITW_PLUGIN_E_INPUT,
        _ => abi::FITW_PLUGIN_E_INTERNAL,
    }
}
