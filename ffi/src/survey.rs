//! Surveys: every primitive of a scan.

use std::sync::Arc;

use engine::primitive::Point3;
use engine::survey::{Side, Survey, SurveyOptions, Surveyed};

use crate::call::call;
use crate::context::{fitw_context, no_flags};
use crate::error::{Fault, fitw_status};
use crate::feature::{FeatureBox, fitw_feature};
use crate::handle::{self, Handle};
use crate::kind;
use crate::pointer::{self, Out, SizedOut, View, grows};
use crate::region::{RegionBox, fitw_region};
use crate::scan::{ScanBox, fitw_scan};
use crate::shape::of_primitive;
use crate::text::{self, Text, fitw_str};
use crate::uncertainty::expanded;

/// What was found in a scan: planes, cylinders, cones, spheres and tori with their points, and what they make
/// together. Scan coordinates. Immutable; keeps its scan. [any-thread]
pub struct fitw_survey;

/// No primitive, or no hole, where the number of one could stand.
pub const FITW_SURVEY_NONE: i32 = -1;

/// Side of the material: a plane has none.
pub const FITW_SIDE_FLAT: i32 = 10;
/// Side of the material: inside the shape, as of a shaft, boss or ball.
pub const FITW_SIDE_OUTER: i32 = 20;
/// Side of the material: outside the shape, as of a bore or socket.
pub const FITW_SIDE_INNER: i32 = 30;

/// What a survey looks for. All zero is the default.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_survey_options {
    /// sizeof(fitw_survey_options).
    pub struct_size: u32,
    /// 0; no flags are defined.
    pub flags: u32,
    /// Primitives that measure less than this across are left out, mm; 0: those of fewer than some forty points.
    pub smallest_mm: f64,
}

/// Counts of a survey.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_survey_info {
    /// sizeof(fitw_survey_info), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Primitives, see fitw_survey_primitive.
    pub primitive_count: u64,
    /// Holes, see fitw_survey_hole.
    pub hole_count: u64,
    /// Tubes, see fitw_survey_tube_view.
    pub tube_count: u64,
    /// Groups, see fitw_survey_group_view.
    pub group_count: u64,
    /// Points of the scan that belong to no primitive.
    pub unclaimed_count: u64,
}

/// One primitive of a scan. Uncertainties are expanded, coverage factor 2, with noise taken as independent from
/// point to point.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_surveyed {
    /// sizeof(fitw_surveyed), set by the caller.
    pub struct_size: u32,
    /// FITW_KIND_PLANE, _CYLINDER, _CONE, _SPHERE or _TORUS.
    pub kind: i32,
    /// FITW_SIDE_…
    pub side: i32,
    /// 0.
    pub reserved: i32,
    /// Kind and number, such as "cylinder 3": numbers count within a kind, from the largest. Valid until the
    /// survey is released.
    pub id: fitw_str,
    /// Its points, edges included, see fitw_survey_ids_view.
    pub point_count: u64,
    /// Primitives that it touches, see fitw_survey_neighbours_view.
    pub neighbour_count: u64,
    /// Area that its points cover, mm².
    pub area_mm2: f64,
    /// A point on the surface well away from its edges, mm.
    pub at_mm: [f64; 3],
    /// The fitted shape: this and the next three as in fitw_shape, mm.
    pub point_mm: [f64; 3],
    /// See fitw_shape.
    pub direction: [f64; 3],
    /// See fitw_shape, mm.
    pub size_1: f64,
    /// See fitw_shape, mm or rad.
    pub size_2: f64,
    /// Uncertainty of the place at `point_mm`: this and the next three as in fitw_uncertainty, mm.
    pub position_uncertainty_mm: f64,
    /// Uncertainty of the direction, rad; 0 where there is none.
    pub tilt_uncertainty_rad: f64,
    /// Uncertainty of `size_1`; 0 where there is none.
    pub size_1_uncertainty: f64,
    /// Uncertainty of `size_2`; 0 where there is none.
    pub size_2_uncertainty: f64,
}

grows! { fitw_survey_options 16, fitw_survey_info 48, fitw_surveyed 176 }

/// SURVEY. Finds every primitive of a scan, a mesh or bare points. Limits come from the scan's noise and
/// resolution. Progress is reported. Release the survey with fitw_survey_release.
///
/// `options` may be NULL. A scan in which nothing is found is no error. Errors: FITW_E_ARGUMENT for a smallest
/// size under 0 or not finite, or unknown flags; FITW_E_CANCELLED. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_run(
    context: *const fitw_context,
    scan: *const fitw_scan,
    options: *const fitw_survey_options,
    out: *mut *mut fitw_survey,
) -> fitw_status {
    call(context, "fitw_survey_run", |c| {
        let scan = handle::get(scan, "scan")?;
        let given = pointer::read_optional(options, "options")?;
        let out = Out::new(out, "out")?;
        no_flags(given.flags, 0, "options.flags")?;
        let mut smallest = 0.0;
        crate::region::limit(&mut smallest, given.smallest_mm, "options.smallest_mm")?;
        c.engine.check()?;
        let mut options = SurveyOptions::default();
        options.smallest = (smallest > 0.0).then_some(smallest);
        options.context = Some(c.engine.clone());
        let survey = Survey::of(&scan.scan, &options)?;
        out.set(handle::insert(SurveyBox::new(survey, scan))?);
        Ok(())
    })
}

/// Counts. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_describe(
    context: *const fitw_context,
    survey: *const fitw_survey,
    out: *mut fitw_survey_info,
) -> fitw_status {
    call(context, "fitw_survey_describe", |_| {
        let survey = &handle::get(survey, "survey")?.survey;
        let out = SizedOut::new(out, "out")?;
        out.set(fitw_survey_info {
            struct_size: 0,
            reserved: 0,
            primitive_count: survey.primitives.len() as u64,
            hole_count: survey.holes.len() as u64,
            tube_count: survey.tubes.len() as u64,
            group_count: survey.groups.len() as u64,
            unclaimed_count: survey.unclaimed as u64,
        });
        Ok(())
    })
}

/// Primitive `index`, from 0: planes, cylinders, cones, spheres, tori; within a kind the largest first. Error:
/// FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_primitive(
    context: *const fitw_context,
    survey: *const fitw_survey,
    index: usize,
    out: *mut fitw_surveyed,
) -> fitw_status {
    call(context, "fitw_survey_primitive", |_| {
        let survey = handle::get(survey, "survey")?;
        let out = SizedOut::new(out, "out")?;
        let p = survey.primitive(index)?;
        out.set(of_surveyed(p, survey.ids[index].view()));
        Ok(())
    })
}

/// The numbers of a primitive's points, ascending, edges included. A point belongs to one primitive or to none.
/// Not a copy; valid until the survey is released. Error: FITW_E_ARGUMENT past the last primitive. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_ids_view(
    context: *const fitw_context,
    survey: *const fitw_survey,
    index: usize,
    ids: *mut *const u32,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_survey_ids_view", |_| {
        let survey = handle::get(survey, "survey")?;
        let view = View::new(ids, count)?;
        view.set(survey.primitive(index)?.region.ids());
        Ok(())
    })
}

/// The numbers of the primitives that a primitive touches, ascending; NULL if none. As above. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_neighbours_view(
    context: *const fitw_context,
    survey: *const fitw_survey,
    index: usize,
    primitives: *mut *const u32,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_survey_neighbours_view", |_| {
        let survey = handle::get(survey, "survey")?;
        let view = View::new(primitives, count)?;
        survey.primitive(index)?;
        view.set(&survey.neighbours[index]);
        Ok(())
    })
}

/// A primitive as a feature whose name is its id, with pieces, parameters, quality and covariance; release it with
/// fitw_feature_release. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_feature(
    context: *const fitw_context,
    survey: *const fitw_survey,
    index: usize,
    out: *mut *mut fitw_feature,
) -> fitw_status {
    call(context, "fitw_survey_feature", |_| {
        let survey = handle::get(survey, "survey")?;
        let out = Out::new(out, "out")?;
        let feature = survey.primitive(index)?.feature.clone();
        out.set(handle::insert(FeatureBox::new(feature))?);
        Ok(())
    })
}

/// A primitive's points as a region of the scan, edges included, to be fitted in another way or to be looked for
/// holes; release it with fitw_region_release. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_region(
    context: *const fitw_context,
    survey: *const fitw_survey,
    index: usize,
    out: *mut *mut fitw_region,
) -> fitw_status {
    call(context, "fitw_survey_region", |_| {
        let survey = handle::get(survey, "survey")?;
        let out = Out::new(out, "out")?;
        let region = survey.primitive(index)?.region.clone();
        let scan = Arc::clone(&survey.scan);
        out.set(handle::insert(RegionBox { region, scan })?);
        Ok(())
    })
}

/// The primitive nearest to a place (three numbers, mm): its number, FITW_SURVEY_NONE if there is none, and how far
/// its nearest point is (`distance_mm` may be NULL; NaN for none).
///
/// `kind`: FITW_KIND_… that it is to have; 0: any. `diameter_mm`: only round shapes of about this diameter, within a
/// tenth (a cone's in the middle of what was seen, a torus's of its tube); 0: any. Error: FITW_E_ARGUMENT for a
/// place or diameter that is not finite, a diameter under 0, or an unknown kind. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_nearest(
    context: *const fitw_context,
    survey: *const fitw_survey,
    place_mm: *const f64,
    kind: i32,
    diameter_mm: f64,
    index: *mut i32,
    distance_mm: *mut f64,
) -> fitw_status {
    call(context, "fitw_survey_nearest", |c| {
        let survey = handle::get(survey, "survey")?;
        let place = Point3::from(pointer::three(place_mm, "place_mm")?);
        let (index, distance) =
            (Out::new(index, "index")?, Out::optional(distance_mm, "distance_mm")?);
        let kind = if kind == 0 { None } else { Some(kind::kind(kind, "kind")?) };
        let mut size = 0.0;
        crate::region::limit(&mut size, diameter_mm, "diameter_mm")?;
        c.engine.check()?;
        let size = (size > 0.0).then_some(size);
        let ranked = survey.survey.by_distance(&place, kind, size);
        let found = ranked.first();
        index.set(place_of(found.map(|f| f.0)));
        if let Some(distance) = distance {
            distance.set(found.map_or(f64::NAN, |f| f.1));
        }
        Ok(())
    })
}

/// Releases a survey. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_release(survey: *mut fitw_survey) -> fitw_status {
    handle::release(survey)
}

impl Handle for fitw_survey {
    type Inner = SurveyBox;
    const NAME: &'static str = "fitw_survey";
}

/// What stands behind a survey.
pub(crate) struct SurveyBox {
    pub(crate) survey: Survey,
    pub(crate) tubes: Vec<Vec<u32>>,
    pub(crate) groups: Vec<Vec<u32>>,
    scan: Arc<ScanBox>,
    ids: Vec<Text>,
    neighbours: Vec<Vec<u32>>,
}

impl SurveyBox {
    fn new(survey: Survey, scan: Arc<ScanBox>) -> Self {
        // A scan has fewer than 2^32 points, so fewer primitives.
        let numbers = |list: &[usize]| list.iter().map(|&k| k as u32).collect();
        SurveyBox {
            tubes: survey.tubes.iter().map(|t| numbers(&t.members)).collect(),
            groups: survey.groups.iter().map(|g| numbers(&g.members)).collect(),
            ids: survey.primitives.iter().map(|p| Text::new(&p.id)).collect(),
            neighbours: survey.primitives.iter().map(|p| numbers(&p.adjacent)).collect(),
            survey,
            scan,
        }
    }

    fn primitive(&self, index: usize) -> Result<&Surveyed, Fault> {
        let all = &self.survey.primitives;
        all.get(index).ok_or_else(|| text::past(index, all.len()))
    }
}

/// A place in a list of the survey.
pub(crate) fn place_of(index: Option<usize>) -> i32 {
    index.map_or(FITW_SURVEY_NONE, |k| i32::try_from(k).unwrap_or(FITW_SURVEY_NONE))
}

fn of_surveyed(p: &Surveyed, id: fitw_str) -> fitw_surveyed {
    let shape = of_primitive(&p.feature.shape);
    let uncertain = expanded(&p.feature.covariance, &p.feature.shape, &p.feature.shape.point());
    fitw_surveyed {
        struct_size: 0,
        kind: shape.kind,
        side: match p.side {
            Side::Flat => FITW_SIDE_FLAT,
            Side::Outer => FITW_SIDE_OUTER,
            Side::Inner => FITW_SIDE_INNER,
        },
        reserved: 0,
        id,
        point_count: p.region.ids().len() as u64,
        neighbour_count: p.adjacent.len() as u64,
        area_mm2: p.area,
        at_mm: p.at.into(),
        point_mm: shape.point_mm,
        direction: shape.direction,
        size_1: shape.size_1,
        size_2: shape.size_2,
        position_uncertainty_mm: uncertain.position_mm,
        tilt_uncertainty_rad: uncertain.tilt_rad,
        size_1_uncertainty: uncertain.size_1,
        size_2_uncertainty: uncertain.size_2,
    }
}
