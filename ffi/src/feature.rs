//! Features.

use std::sync::Arc;

use engine::associate::Quality;
use engine::feature::{Feature, HoleSearch, intersection, midplane, relation};
use engine::primitive::Point3;

use crate::call::call;
use crate::context::{fitw_context, no_flags};
use crate::error::{Fault, fitw_status};
use crate::fit::fitw_fit;
use crate::fit_options::{Asked, fitw_fit_options};
use crate::handle::{self, Handle};
use crate::join::fitw_join;
use crate::kind;
use crate::pointer::{self, Out, SizedOut, View, grows};
use crate::region::{RegionBox, fitw_region};
use crate::shape::{self, fitw_pose, fitw_shape};
use crate::text::{self, Text, fitw_str};
use crate::uncertainty::{
    self, Parameters, fitw_covariance, fitw_evidence, fitw_parameter, fitw_quality,
    fitw_uncertainty,
};

/// A named thing, fitted or constructed, with its bounded pieces and uncertainty, in one frame. Immutable.
/// [any-thread]
pub struct fitw_feature;

/// What a feature is.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_feature_info {
    /// sizeof(fitw_feature_info), set by the caller.
    pub struct_size: u32,
    /// FITW_KIND_…
    pub kind: i32,
    /// Name; valid until the feature is released.
    pub name: fitw_str,
    /// Id of the fitter that made it, or "construction.intersection", "construction.midplane"; valid until
    /// the feature is released.
    pub fitter: fitw_str,
    /// Bounded pieces, see fitw_feature_piece.
    pub piece_count: u64,
    /// Parameters, see fitw_feature_parameter.
    pub parameter_count: u64,
    /// Notes, see fitw_feature_note.
    pub note_count: u64,
}

/// What is known of a hole before looking for it.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_hole_search {
    /// sizeof(fitw_hole_search).
    pub struct_size: u32,
    /// 0; no flags are defined.
    pub flags: u32,
    /// Name of the feature to be made; not empty.
    pub name: fitw_str,
    /// The plane it opens in, scan coordinates, its normal out of the material.
    pub face: *const fitw_feature,
    /// That plane's points, edges included: grown with a negative trim_mm.
    pub face_region: *const fitw_region,
    /// A place near the hole, mm: in its mouth, on its rim or on its wall.
    pub pick_mm: [f64; 3],
    /// Largest radius to look for, mm; 0: a third of the face's extent.
    pub largest_radius_mm: f64,
}

/// How two features lie to each other. Uncertainties are expanded, coverage factor 2.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_relation {
    /// sizeof(fitw_relation), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Angle between their directions, rad, 0 to pi/2; NaN if one has none.
    pub angle_rad: f64,
    /// Uncertainty of the angle, rad; NaN as above.
    pub angle_uncertainty_rad: f64,
    /// Distance, mm; from a plane signed.
    pub distance_mm: f64,
    /// Uncertainty of the distance, mm.
    pub distance_uncertainty_mm: f64,
    /// What the distance is, such as "between axes, at the middle of b"; valid until the context is
    /// released.
    pub measure: fitw_str,
}

grows! { fitw_feature_info 64, fitw_hole_search 72, fitw_relation 56 }

/// FEATURE. A feature of a fit: the shape bounded by `surface`, all points of its region, edges included.
/// Release it with fitw_feature_release.
///
/// `name` is not empty. Errors: FITW_E_UNDETERMINED for a free radius on less than 60 degrees of arc (but for
/// a fit of a group), FITW_E_ARGUMENT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_from_fit(
    context: *const fitw_context,
    name: fitw_str,
    fit: *const fitw_fit,
    surface: *const fitw_region,
    out: *mut *mut fitw_feature,
) -> fitw_status {
    call(context, "fitw_feature_from_fit", |c| {
        let fit = handle::get(fit, "fit")?;
        let surface = handle::get(surface, "surface")?;
        let out = Out::new(out, "out")?;
        let name = feature_name(name)?;
        c.engine.check()?;
        let feature = c.engine.run(|| {
            let (id, shape, surface) = (&fit.fitter, fit.fit.clone(), &surface.region);
            match fit.grouped {
                true => Ok(Feature::grouped(&name, id, shape, surface)),
                false => Feature::associated(&name, id, shape, surface),
            }
        })?;
        out.set(handle::insert(FeatureBox::new(feature))?);
        Ok(())
    })
}

/// Finds a round hole in a plane: by its wall if enough of it was seen, else by its rim.
///
/// `options` are those of the built-in fits; may be NULL. `wall` (may be NULL) gets the region of the wall's points,
/// which may be empty, to be released with fitw_region_release. Errors: FITW_E_UNDETERMINED if neither
/// wall nor rim is seen, FITW_E_CONSTRUCTION if the face is no plane, FITW_E_ARGUMENT, FITW_E_CANCELLED.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_find_hole(
    context: *const fitw_context,
    search: *const fitw_hole_search,
    options: *const fitw_fit_options,
    out: *mut *mut fitw_feature,
    wall: *mut *mut fitw_region,
) -> fitw_status {
    call(context, "fitw_feature_find_hole", |c| {
        let search = pointer::read_sized(search, "search")?;
        no_flags(search.flags, 0, "search.flags")?;
        let asked = Asked::of_builtin(c, options)?;
        let (out, wall) = (Out::new(out, "out")?, Out::optional(wall, "wall")?);
        let name = feature_name(search.name)?;
        let face = handle::get(search.face, "search.face")?;
        let face_region = handle::get(search.face_region, "search.face_region")?;
        let pick = pointer::three(search.pick_mm.as_ptr(), "search.pick_mm")?;
        let mut largest = 0.0;
        crate::region::limit(&mut largest, search.largest_radius_mm, "search.largest_radius_mm")?;
        c.engine.check()?;
        let (feature, region) = c.engine.run(|| {
            HoleSearch {
                noise_model: asked.noise(),
                name: &name,
                face: &face.feature,
                face_region: &face_region.region,
                pick: Point3::from(pick),
                largest_radius: (largest > 0.0).then_some(largest),
            }
            .find(&asked.request)
        })?;
        let hole = handle::insert(FeatureBox::new(feature))?;
        if let Some(wall) = wall {
            let scan = Arc::clone(&face_region.scan);
            match handle::insert(RegionBox { region, scan }) {
                Ok(region) => wall.set(region),
                Err(fault) => {
                    handle::release(hole);
                    return Err(fault);
                }
            }
        }
        out.set(hole);
        Ok(())
    })
}

/// The line where two planes meet, or the point where an axis meets a plane. Both features in one frame.
///
/// Errors: FITW_E_CONSTRUCTION for parallel ones or kinds that have no such intersection. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_intersect(
    context: *const fitw_context,
    name: fitw_str,
    a: *const fitw_feature,
    b: *const fitw_feature,
    out: *mut *mut fitw_feature,
) -> fitw_status {
    construct(context, "fitw_feature_intersect", name, [a, b], out, intersection)
}

/// The plane midway between two planes. Both features in one frame.
///
/// Error: FITW_E_CONSTRUCTION if one is no plane or they are more than 45 degrees from parallel.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_midplane(
    context: *const fitw_context,
    name: fitw_str,
    a: *const fitw_feature,
    b: *const fitw_feature,
    out: *mut *mut fitw_feature,
) -> fitw_status {
    construct(context, "fitw_feature_midplane", name, [a, b], out, midplane)
}

/// The feature moved by a rigid motion, such as a datum's machine_from_scan. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_move(
    context: *const fitw_context,
    feature: *const fitw_feature,
    pose: *const fitw_pose,
    out: *mut *mut fitw_feature,
) -> fitw_status {
    call(context, "fitw_feature_move", |_| {
        let feature = handle::get(feature, "feature")?;
        let pose = shape::pose(pose, "pose")?;
        let out = Out::new(out, "out")?;
        out.set(handle::insert(FeatureBox::new(feature.feature.transformed(&pose)))?);
        Ok(())
    })
}

/// A feature of a joined scan in the coordinates of the scan it was joined to, its uncertainty widened by
/// that of the join. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_join(
    context: *const fitw_context,
    feature: *const fitw_feature,
    join: *const fitw_join,
    out: *mut *mut fitw_feature,
) -> fitw_status {
    call(context, "fitw_feature_join", |_| {
        let feature = handle::get(feature, "feature")?;
        let join = handle::get(join, "join")?;
        let out = Out::new(out, "out")?;
        let mut moved = feature.feature.transformed(&join.join.to_from_this);
        moved.covariance = moved.carried_by(&join.join.covariance);
        out.set(handle::insert(FeatureBox::new(moved))?);
        Ok(())
    })
}

/// The feature under another name. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_rename(
    context: *const fitw_context,
    feature: *const fitw_feature,
    name: fitw_str,
    out: *mut *mut fitw_feature,
) -> fitw_status {
    call(context, "fitw_feature_rename", |_| {
        let mut feature = handle::get(feature, "feature")?.feature.clone();
        let out = Out::new(out, "out")?;
        feature.name = feature_name(name)?;
        out.set(handle::insert(FeatureBox::new(feature))?);
        Ok(())
    })
}

/// Distance and angle of two features in one frame.
///
/// Error: FITW_E_CONSTRUCTION for shapes that have none (composites). [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_relation(
    context: *const fitw_context,
    a: *const fitw_feature,
    b: *const fitw_feature,
    out: *mut fitw_relation,
) -> fitw_status {
    call(context, "fitw_feature_relation", |c| {
        let (a, b) = (handle::get(a, "a")?, handle::get(b, "b")?);
        let out = SizedOut::new(out, "out")?;
        let found = relation(&a.feature, &b.feature).ok_or_else(|| {
            Fault::from(engine::Error::Construction {
                what: format!("relation of \"{}\" and \"{}\"", a.feature.name, b.feature.name),
                reason: "shapes like these have no distance".into(),
            })
        })?;
        out.set(fitw_relation {
            struct_size: 0,
            reserved: 0,
            angle_rad: found.angle.unwrap_or(f64::NAN),
            angle_uncertainty_rad: found.angle_uncertainty.unwrap_or(f64::NAN),
            distance_mm: found.distance,
            distance_uncertainty_mm: found.distance_uncertainty,
            measure: c.word(found.measure),
        });
        Ok(())
    })
}

/// What the feature is. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_describe(
    context: *const fitw_context,
    feature: *const fitw_feature,
    out: *mut fitw_feature_info,
) -> fitw_status {
    call(context, "fitw_feature_describe", |_| {
        let feature = handle::get(feature, "feature")?;
        let out = SizedOut::new(out, "out")?;
        out.set(fitw_feature_info {
            struct_size: 0,
            kind: kind::of_feature(feature.feature.kind),
            name: feature.name.view(),
            fitter: feature.fitter.view(),
            piece_count: feature.feature.pieces.len() as u64,
            parameter_count: feature.parameters.len() as u64,
            note_count: feature.notes.len() as u64,
        });
        Ok(())
    })
}

/// The unbounded shape that locates the feature (hole: the cylinder of its wall; point: a sphere of
/// radius 0). [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_shape(
    context: *const fitw_context,
    feature: *const fitw_feature,
    out: *mut fitw_shape,
) -> fitw_status {
    call(context, "fitw_feature_shape", |_| {
        shape::hand_out(&handle::get(feature, "feature")?.feature.shape, out)
    })
}

/// Parameter `index` of the shape, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_parameter(
    context: *const fitw_context,
    feature: *const fitw_feature,
    index: usize,
    out: *mut fitw_parameter,
) -> fitw_status {
    call(context, "fitw_feature_parameter", |_| {
        handle::get(feature, "feature")?.parameters.nth(index, out)
    })
}

/// Parameter by name. Error: FITW_E_UNKNOWN_NAME. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_parameter_named(
    context: *const fitw_context,
    feature: *const fitw_feature,
    name: fitw_str,
    out: *mut fitw_parameter,
) -> fitw_status {
    call(context, "fitw_feature_parameter_named", |_| {
        let feature = handle::get(feature, "feature")?;
        feature.parameters.named(&text::given(name, "name")?, out)
    })
}

/// Quality of the feature's fit. Error: FITW_E_CONSTRUCTION for a constructed feature, which has none.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_quality(
    context: *const fitw_context,
    feature: *const fitw_feature,
    out: *mut fitw_quality,
) -> fitw_status {
    call(context, "fitw_feature_quality", |_| {
        let feature = handle::get(feature, "feature")?;
        uncertainty::hand_out_quality(feature.quality()?, out)
    })
}

/// Points that decide the feature's shape, where the criterion is another than least squares: x, y, z side by
/// side, mm, `*count` places. NULL if none. Valid until the feature is released. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_contact_points_view(
    context: *const fitw_context,
    feature: *const fitw_feature,
    xyz_mm: *mut *const f64,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_feature_contact_points_view", |_| {
        let feature = handle::get(feature, "feature")?;
        let contacts = feature.feature.quality.as_ref().map_or(&[][..], |q| &q.contacts);
        View::new(xyz_mm, count).map(|view| view.set(contacts))
    })
}

/// How the feature's shape stands against neighbour `index`, from 0. Errors: FITW_E_ARGUMENT past the last,
/// FITW_E_CONSTRUCTION for a constructed feature. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_evidence(
    context: *const fitw_context,
    feature: *const fitw_feature,
    index: usize,
    out: *mut fitw_evidence,
) -> fitw_status {
    call(context, "fitw_feature_evidence", |c| {
        let feature = handle::get(feature, "feature")?;
        uncertainty::hand_out_evidence(c, feature.quality()?, index, out)
    })
}

/// Covariance of the feature about a place (three numbers, mm; NULL: its own). [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_covariance(
    context: *const fitw_context,
    feature: *const fitw_feature,
    about_mm: *const f64,
    out: *mut fitw_covariance,
) -> fitw_status {
    call(context, "fitw_feature_covariance", |_| {
        let feature = handle::get(feature, "feature")?;
        uncertainty::hand_out_covariance(&feature.feature.covariance, about_mm, out)
    })
}

/// Expanded uncertainties (coverage factor 2) at a place on the feature (three numbers, mm; NULL: its own
/// point). [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_uncertainty(
    context: *const fitw_context,
    feature: *const fitw_feature,
    place_mm: *const f64,
    out: *mut fitw_uncertainty,
) -> fitw_status {
    call(context, "fitw_feature_uncertainty", |_| {
        let Feature { covariance, shape, .. } = &handle::get(feature, "feature")?.feature;
        uncertainty::hand_out_uncertainty(covariance, shape, place_mm, out)
    })
}

/// What a person should know of the feature, one sentence; `index` from 0. Valid until the feature is
/// released. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_note(
    context: *const fitw_context,
    feature: *const fitw_feature,
    index: usize,
    out: *mut fitw_str,
) -> fitw_status {
    call(context, "fitw_feature_note", |_| {
        text::nth(&handle::get(feature, "feature")?.notes, index, out)
    })
}

/// Releases a feature. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_feature_release(feature: *mut fitw_feature) -> fitw_status {
    handle::release(feature)
}

impl Handle for fitw_feature {
    type Inner = FeatureBox;
    const NAME: &'static str = "fitw_feature";
}

/// What stands behind a feature.
pub(crate) struct FeatureBox {
    pub(crate) feature: Feature,
    name: Text,
    fitter: Text,
    pub(crate) parameters: Parameters,
    notes: Vec<Text>,
}

impl FeatureBox {
    pub(crate) fn new(feature: Feature) -> Self {
        FeatureBox {
            name: Text::new(&feature.name),
            fitter: Text::new(&feature.fitter),
            parameters: Parameters::new(&feature.shape),
            notes: Text::all(&feature.notes),
            feature,
        }
    }

    fn quality(&self) -> Result<&Quality, Fault> {
        self.feature.quality.as_ref().ok_or_else(|| {
            Fault::from(engine::Error::Construction {
                what: format!("quality of \"{}\"", self.feature.name),
                reason: "it was constructed, not fitted".into(),
            })
        })
    }
}

fn feature_name(name: fitw_str) -> Result<String, Fault> {
    text::optional(name, "name")?.ok_or_else(|| Fault::argument("name", "\"\"", "a name"))
}

fn construct(
    context: *const fitw_context,
    function: &'static str,
    name: fitw_str,
    of: [*const fitw_feature; 2],
    out: *mut *mut fitw_feature,
    build: fn(&str, &Feature, &Feature) -> engine::Result<Feature>,
) -> fitw_status {
    call(context, function, |_| {
        let (a, b) = (handle::get(of[0], "a")?, handle::get(of[1], "b")?);
        let out = Out::new(out, "out")?;
        let feature = build(&feature_name(name)?, &a.feature, &b.feature)?;
        out.set(handle::insert(FeatureBox::new(feature))?);
        Ok(())
    })
}
