//! What the primitives of a survey make together, and what is written of it.

use engine::job::SurveyFiles;
use engine::survey::GroupKind;

use crate::call::call;
use crate::context::fitw_context;
use crate::error::{Fault, fitw_status};
use crate::handle;
use crate::kind;
use crate::pointer::{Out, SizedOut, View, grows};
use crate::survey::{fitw_survey, place_of};
use crate::text::{self, Text, fitw_str, fitw_text};

/// A group shares one axis.
pub const FITW_SURVEYED_COAXIAL: i32 = 10;
/// A group shares one direction: of axes, or square to planes.
pub const FITW_SURVEYED_PARALLEL: i32 = 20;
/// A group's two directions are at a right angle.
pub const FITW_SURVEYED_PERPENDICULAR: i32 = 30;
/// A group shares one radius: cylinders, spheres, tubes.
pub const FITW_SURVEYED_SAME_RADIUS: i32 = 40;

/// A round hole: a bore that opens in a flat face, or the rim of one whose wall was not seen. Primitives by number;
/// FITW_SURVEY_NONE for none.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_surveyed_hole {
    /// sizeof(fitw_surveyed_hole), set by the caller.
    pub struct_size: u32,
    /// Its wall; none if that was not seen: then a hole, or a spot that the scanner did not see.
    pub wall: i32,
    /// The face it opens in, square to its axis.
    pub face: i32,
    /// Its flat bottom, or the face at the other end of a through hole.
    pub other_end: i32,
    /// 1 if `other_end` is a face that it opens in, too; else 0.
    pub through: i32,
    /// 0.
    pub reserved: i32,
    /// Where its axis meets the face (without one: at the wall's end), mm.
    pub point_mm: [f64; 3],
    /// Unit axis, out of the material.
    pub axis: [f64; 3],
    /// Radius, mm; of a rim alone too large by what the scan rounds or loses at edges.
    pub radius_mm: f64,
    /// Depth of the wall that was seen, mm; 0 for a rim alone.
    pub depth_mm: f64,
}

/// The likeliest datum system: what a person would take, in order of precedence, to be checked against what the part
/// sits on. Primitives by number; FITW_SURVEY_NONE for none.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_proposed_datum {
    /// sizeof(fitw_proposed_datum), set by the caller.
    pub struct_size: u32,
    /// The largest plane.
    pub primary: i32,
    /// The largest plane near square to it, else the largest cylinder whose axis is near parallel to its face.
    pub secondary: i32,
    /// The largest plane near square to both.
    pub tertiary: i32,
    /// Number of the hole in the primary that sets the origin where there is no tertiary plane.
    pub hole: i32,
    /// 0.
    pub reserved: i32,
}

grows! { fitw_surveyed_hole 88, fitw_proposed_datum 24 }

/// Hole `index`, from 0, the widest first. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_hole(
    context: *const fitw_context,
    survey: *const fitw_survey,
    index: usize,
    out: *mut fitw_surveyed_hole,
) -> fitw_status {
    call(context, "fitw_survey_hole", |_| {
        let holes = &handle::get(survey, "survey")?.survey.holes;
        let out = SizedOut::new(out, "out")?;
        let hole = holes.get(index).ok_or_else(|| text::past(index, holes.len()))?;
        out.set(fitw_surveyed_hole {
            struct_size: 0,
            wall: place_of(hole.wall),
            face: place_of(hole.face),
            other_end: place_of(hole.other_end),
            through: i32::from(hole.through),
            reserved: 0,
            point_mm: hole.point.into(),
            axis: hole.axis.into_inner().into(),
            radius_mm: hole.radius,
            depth_mm: hole.depth,
        });
        Ok(())
    })
}

/// Tube `index`, from 0: the numbers of its cylinders and bends, in order along it, and their mean radius
/// (`radius_mm` may be NULL). Not a copy; valid until the survey is released. Error: FITW_E_ARGUMENT past the
/// last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_tube_view(
    context: *const fitw_context,
    survey: *const fitw_survey,
    index: usize,
    members: *mut *const u32,
    count: *mut usize,
    radius_mm: *mut f64,
) -> fitw_status {
    call(context, "fitw_survey_tube_view", |_| {
        let survey = handle::get(survey, "survey")?;
        let (view, radius) = (View::new(members, count)?, Out::optional(radius_mm, "radius_mm")?);
        let all = &survey.survey.tubes;
        let tube = all.get(index).ok_or_else(|| text::past(index, all.len()))?;
        view.set(&survey.tubes[index]);
        if let Some(radius) = radius {
            radius.set(tube.radius);
        }
        Ok(())
    })
}

/// Group `index`, from 0: the numbers of its primitives, ascending, what they have in common (FITW_SURVEYED_…), and
/// the common radius (`radius_mm` may be NULL), NaN if that is not it. Of a perpendicular pair of directions one
/// primitive each. As above. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_group_view(
    context: *const fitw_context,
    survey: *const fitw_survey,
    index: usize,
    members: *mut *const u32,
    count: *mut usize,
    kind: *mut i32,
    radius_mm: *mut f64,
) -> fitw_status {
    call(context, "fitw_survey_group_view", |_| {
        let survey = handle::get(survey, "survey")?;
        let (view, kind) = (View::new(members, count)?, Out::new(kind, "kind")?);
        let radius = Out::optional(radius_mm, "radius_mm")?;
        let all = &survey.survey.groups;
        let group = all.get(index).ok_or_else(|| text::past(index, all.len()))?;
        let number = of_group(group.kind)?;
        view.set(&survey.groups[index]);
        kind.set(number);
        if let Some(radius) = radius {
            radius.set(group.radius.unwrap_or(f64::NAN));
        }
        Ok(())
    })
}

/// The likeliest datum system; all FITW_SURVEY_NONE without any plane. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_datum(
    context: *const fitw_context,
    survey: *const fitw_survey,
    out: *mut fitw_proposed_datum,
) -> fitw_status {
    call(context, "fitw_survey_datum", |_| {
        let survey = handle::get(survey, "survey")?;
        let out = SizedOut::new(out, "out")?;
        let found = survey.survey.proposed_datum();
        out.set(fitw_proposed_datum {
            struct_size: 0,
            primary: place_of(found.map(|d| d.primary)),
            secondary: place_of(found.and_then(|d| d.secondary)),
            tertiary: place_of(found.and_then(|d| d.tertiary)),
            hole: place_of(found.and_then(|d| d.hole)),
            reserved: 0,
        });
        Ok(())
    })
}

/// The survey as JSON, as the command line writes it to survey.json: lengths in mm, angles in degrees. Release the
/// text with fitw_text_release.
///
/// `scan_file` is the scan's file as the text is to name it; may be empty. Error: FITW_E_ARGUMENT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_json(
    context: *const fitw_context,
    survey: *const fitw_survey,
    scan_file: fitw_str,
    out: *mut *mut fitw_text,
) -> fitw_status {
    written(context, "fitw_survey_json", survey, scan_file, 0, out, |files| files.json())
}

/// A job file with the likeliest datum system, every hole with its face, and the other primitives as comments to be
/// taken in. Release the text with fitw_text_release.
///
/// `scan_file` is the scan's file as seen from the job's folder, `unit` (FITW_UNIT_…; 0: mm) that of its
/// coordinates. Error: FITW_E_ARGUMENT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_survey_starter_job(
    context: *const fitw_context,
    survey: *const fitw_survey,
    scan_file: fitw_str,
    unit: i32,
    out: *mut *mut fitw_text,
) -> fitw_status {
    written(context, "fitw_survey_starter_job", survey, scan_file, unit, out, |files| {
        Ok(files.starter_job())
    })
}

fn written(
    context: *const fitw_context,
    name: &'static str,
    survey: *const fitw_survey,
    scan_file: fitw_str,
    unit: i32,
    out: *mut *mut fitw_text,
    write: impl FnOnce(&SurveyFiles<'_>) -> engine::Result<String>,
) -> fitw_status {
    call(context, name, |c| {
        let survey = handle::get(survey, "survey")?;
        let scan_file = text::optional(scan_file, "scan_file")?.unwrap_or_default();
        let unit = kind::unit(unit, true, "unit")?;
        let out = Out::new(out, "out")?;
        c.engine.check()?;
        let files = SurveyFiles { survey: &survey.survey, scan_file: &scan_file, unit };
        out.set(handle::insert(Text::new(&write(&files)?))?);
        Ok(())
    })
}

fn of_group(kind: GroupKind) -> Result<i32, Fault> {
    match kind {
        GroupKind::Coaxial => Ok(FITW_SURVEYED_COAXIAL),
        GroupKind::Parallel => Ok(FITW_SURVEYED_PARALLEL),
        GroupKind::Perpendicular => Ok(FITW_SURVEYED_PERPENDICULAR),
        GroupKind::SameRadius => Ok(FITW_SURVEYED_SAME_RADIUS),
        other => Err(Fault::internal(format!("a group of {} has no number", other.name()))),
    }
}
