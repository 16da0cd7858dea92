//! What is known of a scan's noise beside its size.

use engine::associate::NoiseModel;

use crate::call::call;
use crate::context::fitw_context;
use crate::error::fitw_status;
use crate::feature::fitw_feature;
use crate::fit::fitw_fit;
use crate::handle::{self, Handle};
use crate::pointer::{Array, Out};

/// How far the noise of a scan hangs together, for the uncertainty of fits. A large face shows slow noise
/// that a small hole in it has too, but cannot show. Immutable. [any-thread]
pub struct fitw_noise;

/// NOISE. What fits to surfaces of one scan agree on, and features of such fits: the more surfaces, the
/// better. To be given to the fits of that scan, the same ones again and others, in fitw_fit_options.
///
/// Two arrays of handles side by side; either may be NULL if its count is 0. Those with too few points to
/// tell add nothing. Release with fitw_noise_release. Error: FITW_E_UNDETERMINED if none tells anything.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_noise_pool(
    context: *const fitw_context,
    fits: *const *const fitw_fit,
    fit_count: usize,
    features: *const *const fitw_feature,
    feature_count: usize,
    out: *mut *mut fitw_noise,
) -> fitw_status {
    call(context, "fitw_noise_pool", |_| {
        let fits = Array::new(fits, fit_count, 0, "fits")?;
        let features = Array::new(features, feature_count, 0, "features")?;
        let out = Out::new(out, "out")?;
        let mut records = Vec::new();
        for fit in fits.iter() {
            records.extend(handle::get(fit, "fits")?.fit.noise.clone());
        }
        for feature in features.iter() {
            records.extend(handle::get(feature, "features")?.feature.noise.clone());
        }
        let model = NoiseModel::pooled(&records).ok_or_else(|| {
            let count = fits.len() + features.len();
            engine::Error::Undetermined {
                what: format!("noise by {count} fits and features"),
                reason: "their points are too few, or fit exactly".into(),
                remedy: "fit to larger surfaces of the scan first".into(),
            }
        })?;
        out.set(handle::insert(model)?);
        Ok(())
    })
}

/// Noise known to be independent from point to point, as that of a touch probe. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_noise_independent(
    context: *const fitw_context,
    out: *mut *mut fitw_noise,
) -> fitw_status {
    call(context, "fitw_noise_independent", |_| {
        let out = Out::new(out, "out")?;
        out.set(handle::insert(NoiseModel::independent())?);
        Ok(())
    })
}

/// Releases what is known of a noise. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_noise_release(noise: *mut fitw_noise) -> fitw_status {
    handle::release(noise)
}

impl Handle for fitw_noise {
    type Inner = NoiseModel;
    const NAME: &'static str = "fitw_noise";
}
