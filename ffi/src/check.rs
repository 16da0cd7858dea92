//! Does the part fit.

use std::sync::Arc;

use engine::associate::Covariance;
use engine::feature::Feature;
use engine::fitcheck::{
    self, Finding, Limits, Motion, Mount, OtherPart, Scene, SceneFeature, SceneScan, Temperature,
    Verdict, part_clearance,
};
use engine::primitive::{Point3, Pose};
use engine::scan::LengthError;

use crate::access::{self, fitw_insertion_limits, fitw_tool_limits};
use crate::call::call;
use crate::context::{ContextBox, fitw_context, no_flags};
use crate::datum::{DatumBox, fitw_datum};
use crate::error::{Fault, fitw_status};
use crate::feature::{FeatureBox, fitw_feature};
use crate::finding::{FindingBox, fitw_finding, fitw_finding_number, fitw_finding_share};
use crate::handle::{self, Handle};
use crate::join::{JoinBox, fitw_join};
use crate::kind;
use crate::length_error::{checked, fitw_length_error};
use crate::motion::{fitw_scene_motion, fitw_temperature, motion, temperature};
use crate::part::{PartBox, fitw_part};
use crate::pointer::{self, Array, Out, SizedOut, grows, items};
use crate::region::{RegionBox, fitw_region, limit};
use crate::scan::{ScanBox, fitw_scan};
use crate::shape::{fitw_pose, of_pose, to_pose};
use crate::text::{self, fitw_str};

/// Findings of the checks of a part. Immutable. [any-thread]
pub struct fitw_check;

/// A scan that a part is held against.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_scene_scan {
    /// The scan.
    pub scan: *const fitw_scan,
    /// Name for findings.
    pub name: fitw_str,
    /// Takes its coordinates to machine coordinates.
    pub machine_from_scan: fitw_pose,
    /// How it was joined to the first scan, for its uncertainty; NULL for the first.
    pub join: *const fitw_join,
}

/// A feature with its own clearance, seat or bolt.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_scene_feature {
    /// The feature, machine coordinates.
    pub feature: *const fitw_feature,
    /// All points of its surface, edges included, for what belongs to it in its scan; NULL for none.
    pub surface: *const fitw_region,
    /// Place in `scans` of the scan that `surface` is of; -1 for none.
    pub scan: i32,
    /// 1 if the part is meant to touch it, else 0.
    pub is_seat: i32,
    /// Clearance asked for it, mm; 0: the general one; negative: none.
    pub keep_clear_mm: f64,
    /// Bolt that goes into it, such as "M8"; empty: none.
    pub bolt: fitw_str,
}

/// Where the part is bolted on.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_mount {
    /// Place in `features` of the hole.
    pub hole: i32,
    /// Place in `features` of the face the part sits on there; -1 for none.
    pub seat: i32,
    /// Where the part's hole is, machine coordinates, mm.
    pub near_mm: [f64; 3],
}

/// Another designed part that is in the machine: a guard, a sensor. Since 1.5.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_other_part {
    /// The part, machine coordinates, a closed solid.
    pub part: *const fitw_part,
    /// Name for findings.
    pub name: fitw_str,
    /// Clearance asked for it, mm; 0: the general one; negative: none.
    pub keep_clear_mm: f64,
    /// 1 if the part is meant to touch it (only overlap is a fail then, no clearance is asked), else 0.
    pub touches: i32,
    /// 0.
    pub reserved: i32,
}

items! { fitw_scene_scan, 128; fitw_scene_feature, 48; fitw_mount, 32; fitw_other_part, 40 }

/// What a part is held against. Strides in bytes from one to the next; 0: side by side.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_scene {
    /// sizeof(fitw_scene).
    pub struct_size: u32,
    /// 0; no flags are defined.
    pub flags: u32,
    /// The part, machine coordinates, a closed solid.
    pub part: *const fitw_part,
    /// Scans; overlapping ones are fine.
    pub scans: *const fitw_scene_scan,
    /// Number of scans.
    pub scan_count: usize,
    /// Stride of scans.
    pub scan_stride: usize,
    /// Features; may be NULL.
    pub features: *const fitw_scene_feature,
    /// Number of features.
    pub feature_count: usize,
    /// Stride of features.
    pub feature_stride: usize,
    /// Mounts; may be NULL.
    pub mounts: *const fitw_mount,
    /// Number of mounts.
    pub mount_count: usize,
    /// Stride of mounts.
    pub mount_stride: usize,
    /// The datum system, for the uncertainty of the machine's frame; may be NULL.
    pub datum: *const fitw_datum,
    /// Least air everywhere that is not a seat, mm; 0: 3; negative: none asked.
    pub clearance_mm: f64,
    /// Largest gap or overlap at a seat that counts as seated, mm; 0: 0.2.
    pub seat_tolerance_mm: f64,
    /// How far a surface may go on unseen beyond a scan's border, mm; 0: 5.
    pub unseen_reach_mm: f64,
    /// What each scan's maker states of its errors of length, in the order of the scans, as many; counts
    /// from the machine's origin. NULL: nothing is stated.
    pub length_errors: *const fitw_length_error,
    /// Stride of length_errors.
    pub length_error_stride: usize,
    /// What is asked of the space for tools at the bolts; NULL: nothing. Since 1.4.
    pub tools: *const fitw_tool_limits,
    /// What is asked of the way of the part to its seat; NULL: nothing. Since 1.4.
    pub insertion: *const fitw_insertion_limits,
    /// What moves while the part stays; may be NULL. Since 1.4.
    pub motions: *const fitw_scene_motion,
    /// Number of motions.
    pub motion_count: usize,
    /// Stride of motions.
    pub motion_stride: usize,
    /// What machine and part are warmed to; NULL: no check at temperature. Since 1.4.
    pub temperature: *const fitw_temperature,
    /// Further designed parts that are in the machine; may be NULL. Since 1.5.
    pub other_parts: *const fitw_other_part,
    /// Number of other parts.
    pub other_part_count: usize,
    /// Stride of other_parts.
    pub other_part_stride: usize,
}

grows! { fitw_scene 120 }

/// CHECK. Every check of the part against the scene, the worst findings first: interference; clearance to features,
/// to the rest of each scan and to other parts; seats, bolt holes and both at once; coverage; motion; and if they are
/// asked for, tool access, insertion and what is warmed (kind "thermal"). fitw_check_made makes them again with the
/// finished part (and kind "made part"). Progress is reported. Release the result with fitw_check_release.
///
/// Errors: FITW_E_OPEN_PART if the part or another one is no closed solid, FITW_E_UNDETERMINED if the part has no hole at
/// a mount, FITW_E_ARGUMENT for places out of range, bad limits or an unknown bolt, FITW_E_HANDLE,
/// FITW_E_CANCELLED. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_check_run(
    context: *const fitw_context,
    scene: *const fitw_scene,
    out: *mut *mut fitw_check,
) -> fitw_status {
    call(context, "fitw_check_run", |c| {
        let out = Out::new(out, "out")?;
        let scene = Given::new(c, scene)?;
        let checked = scene.with(|part, whole, mounts, limits| {
            fitcheck::all(part, whole, mounts, limits, &c.engine)
        })?;
        let pose = checked.checked_from_designed;
        out.set(handle::insert(CheckBox::new(checked.findings, pose))?);
        Ok(())
    })
}

/// Signed clearance of each corner of the part's mesh to the nearest scanned surface that is not its seat, or other
/// part that it is not meant to touch, mm: negative in the machine's material, infinite where there is none; into the caller's `buffer` of
/// `capacity` doubles, in the order of fitw_part_points_view.
///
/// `need` (may be NULL) gets the number of corners. Without a buffer (NULL, 0) only that, at once. Progress
/// is reported. Errors: FITW_E_BUFFER if it is too small, else as fitw_check_run. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_check_clearance(
    context: *const fitw_context,
    scene: *const fitw_scene,
    buffer: *mut f64,
    capacity: usize,
    need: *mut usize,
) -> fitw_status {
    call(context, "fitw_check_clearance", |c| {
        let scene = Given::new(c, scene)?;
        let corners = scene.part.part.points.len();
        if capacity < corners {
            // Tells the length, or that the buffer is too small, before the work.
            return pointer::fill(buffer, capacity, need, &vec![0.0; corners]);
        }
        let clearance = scene.with(|part, whole, mounts, limits| {
            part_clearance(part, whole, mounts, limits, &c.engine)
        })?;
        pointer::fill(buffer, capacity, need, &clearance)
    })
}

/// Worst verdict of the findings, FITW_VERDICT_…, and their number; either may be NULL. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_check_verdict(
    context: *const fitw_context,
    check: *const fitw_check,
    verdict: *mut i32,
    finding_count: *mut usize,
) -> fitw_status {
    call(context, "fitw_check_verdict", |_| {
        let check = handle::get(check, "check")?;
        let (verdict, count) =
            (Out::optional(verdict, "verdict")?, Out::optional(finding_count, "finding_count")?);
        if let Some(verdict) = verdict {
            let worst = Verdict::worst(check.findings.iter().map(|f| f.finding.verdict));
            verdict.set(kind::of_verdict(worst));
        }
        if let Some(count) = count {
            count.set(check.findings.len());
        }
        Ok(())
    })
}

/// Finding `index`, from 0, the worst first. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_check_finding(
    context: *const fitw_context,
    check: *const fitw_check,
    index: usize,
    out: *mut fitw_finding,
) -> fitw_status {
    call(context, "fitw_check_finding", |_| {
        let check = handle::get(check, "check")?;
        let out = SizedOut::new(out, "out")?;
        out.set(check.finding(index)?.hand_out());
        Ok(())
    })
}

/// Where the part was checked: moves it from where it was designed. The identity, unless its bolts go in only with
/// the part moved within its play; then every check was made where they have most room. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_check_part_pose(
    context: *const fitw_context,
    check: *const fitw_check,
    out: *mut fitw_pose,
) -> fitw_status {
    call(context, "fitw_check_part_pose", |_| {
        let check = handle::get(check, "check")?;
        Out::new(out, "out")?.set(of_pose(&check.checked_from_designed));
        Ok(())
    })
}

/// Further number `index` of finding `finding`, from 0: area and volume of an overlap, swing of a spanner, ….
/// The finding's `number_count` says how many. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_check_number(
    context: *const fitw_context,
    check: *const fitw_check,
    finding: usize,
    index: usize,
    out: *mut fitw_finding_number,
) -> fitw_status {
    call(context, "fitw_check_number", |_| {
        let check = handle::get(check, "check")?;
        let out = SizedOut::new(out, "out")?;
        out.set(check.finding(finding)?.number(index)?);
        Ok(())
    })
}

/// Share `index` of the uncertainty of finding `finding`, from 0, the largest first. The finding's `share_count`
/// says how many. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_check_share(
    context: *const fitw_context,
    check: *const fitw_check,
    finding: usize,
    index: usize,
    out: *mut fitw_finding_share,
) -> fitw_status {
    call(context, "fitw_check_share", |_| {
        let check = handle::get(check, "check")?;
        let out = SizedOut::new(out, "out")?;
        out.set(check.finding(finding)?.share(index)?);
        Ok(())
    })
}

/// Places of the part on its way from outside to its seat, of a finding FITW_CHECK_INSERTION that found one: each
/// takes it from where it was designed, machine coordinates; into the caller's `buffer` of `capacity` poses.
///
/// `need` (may be NULL) gets their number, 0 for other findings. Errors: FITW_E_ARGUMENT past the last finding,
/// FITW_E_BUFFER if the buffer is too small. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_check_path(
    context: *const fitw_context,
    check: *const fitw_check,
    finding: usize,
    buffer: *mut fitw_pose,
    capacity: usize,
    need: *mut usize,
) -> fitw_status {
    call(context, "fitw_check_path", |_| {
        let check = handle::get(check, "check")?;
        let path = &check.finding(finding)?.finding.path;
        let poses: Vec<fitw_pose> = path.iter().map(|p| of_pose(&p.machine_from_part)).collect();
        pointer::fill(buffer, capacity, need, &poses)
    })
}

/// Releases a check. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_check_release(check: *mut fitw_check) -> fitw_status {
    handle::release(check)
}

impl Handle for fitw_check {
    type Inner = CheckBox;
    const NAME: &'static str = "fitw_check";
}

/// What stands behind a check.
pub(crate) struct CheckBox {
    findings: Vec<FindingBox>,
    checked_from_designed: Pose,
}

impl CheckBox {
    pub(crate) fn new(findings: Vec<Finding>, checked_from_designed: Pose) -> Self {
        let findings = findings.into_iter().map(FindingBox::new).collect();
        CheckBox { findings, checked_from_designed }
    }

    fn finding(&self, index: usize) -> Result<&FindingBox, Fault> {
        self.findings.get(index).ok_or_else(|| text::past(index, self.findings.len()))
    }
}

/// A scene of the host, its handles looked up and its numbers checked.
pub(crate) struct Given {
    part: Arc<PartBox>,
    scans: Vec<GivenScan>,
    /// By scan, or empty.
    motions: Vec<Motion>,
    temperature: Option<Temperature>,
    length_errors: Vec<LengthError>,
    features: Vec<GivenFeature>,
    mounts: Vec<Mount>,
    others: Vec<GivenOther>,
    datum: Option<Arc<DatumBox>>,
    limits: Limits,
}

struct GivenOther {
    part: Arc<PartBox>,
    name: String,
    keep_clear: Option<f64>,
    touches: bool,
}

struct GivenScan {
    scan: Arc<ScanBox>,
    name: String,
    machine_from_scan: Pose,
    join_covariance: Option<Covariance>,
}

struct GivenFeature {
    feature: Arc<FeatureBox>,
    surface: Option<Arc<RegionBox>>,
    scan: Option<usize>,
    is_seat: bool,
    keep_clear: Option<f64>,
    bolt: Option<String>,
}

impl Given {
    pub(crate) fn new(c: &ContextBox, scene: *const fitw_scene) -> Result<Self, Fault> {
        let s = pointer::read_sized(scene, "scene")?;
        no_flags(s.flags, 0, "scene.flags")?;
        c.engine.check()?;
        let part = handle::get(s.part, "scene.part")?;
        let scans = Array::new(s.scans, s.scan_count, s.scan_stride, "scene.scans")?;
        let features = Array::new(s.features, s.feature_count, s.feature_stride, "scene.features")?;
        let mounts = Array::new(s.mounts, s.mount_count, s.mount_stride, "scene.mounts")?;
        let stated = if s.length_errors.is_null() { 0 } else { s.scan_count };
        let errors =
            Array::new(s.length_errors, stated, s.length_error_stride, "scene.length_errors")?;
        let motions = Array::new(s.motions, s.motion_count, s.motion_stride, "scene.motions")?;
        let name = "scene.other_parts";
        let others = Array::new(s.other_parts, s.other_part_count, s.other_part_stride, name)?;
        let counts = (scans.len(), features.len());
        let mut limits = Limits::default();
        match s.clearance_mm {
            none if none < 0.0 => limits.clearance = 0.0,
            some => limit(&mut limits.clearance, some, "scene.clearance_mm")?,
        }
        limit(&mut limits.seat_tolerance, s.seat_tolerance_mm, "scene.seat_tolerance_mm")?;
        limit(&mut limits.unseen_reach, s.unseen_reach_mm, "scene.unseen_reach_mm")?;
        let mounts: Vec<Mount> =
            mounts.iter().map(|k| given_mount(&k, counts.1, &part)).collect::<Result<_, _>>()?;
        limits.tools = access::tools(s.tools, &mounts)?;
        limits.insertion = access::insertion(s.insertion)?;
        Ok(Given {
            others: others.iter().map(|k| given_other(&k)).collect::<Result<_, _>>()?,
            scans: scans.iter().map(|k| given_scan(&k)).collect::<Result<_, _>>()?,
            motions: motions.iter().map(|k| motion(&k)).collect::<Result<_, _>>()?,
            temperature: temperature(s.temperature)?,
            length_errors: errors.iter().map(|k| checked(&k)).collect::<Result<_, _>>()?,
            features: features
                .iter()
                .map(|k| given_feature(&k, counts.0))
                .collect::<Result<_, _>>()?,
            mounts,
            datum: handle::optional(s.datum, "scene.datum")?,
            part,
            limits,
        })
    }

    /// Runs a check on the engine's view of the scene.
    pub(crate) fn with<T>(
        &self,
        check: impl FnOnce(&engine::exchange::Part, &Scene<'_>, &[Mount], &Limits) -> engine::Result<T>,
    ) -> Result<T, Fault> {
        let scans = self.scans.iter().enumerate().map(|(k, s)| SceneScan {
            name: &s.name,
            scan: &s.scan.scan,
            machine_from_scan: s.machine_from_scan,
            join_covariance: s.join_covariance.as_ref(),
            length_error: self.length_errors.get(k).copied(),
        });
        let features = self.features.iter().map(|f| SceneFeature {
            feature: of(&f.feature),
            scan: f.scan,
            surface: f.surface.as_ref().map_or(&[], |s| s.region.ids()),
            keep_clear: f.keep_clear,
            is_seat: f.is_seat,
            bolt: f.bolt.as_deref(),
        });
        let others = self.others.iter().map(|o| OtherPart {
            name: &o.name,
            part: &o.part.part,
            keep_clear: o.keep_clear,
            touches: o.touches,
        });
        let scene = Scene {
            scans: scans.collect(),
            features: features.collect(),
            frame_covariance: self.datum.as_ref().map(|d| &d.system.covariance),
            motions: self.motions.clone(),
            temperature: self.temperature,
            others: others.collect(),
        };
        Ok(check(&self.part.part, &scene, &self.mounts, &self.limits)?)
    }
}

fn of(feature: &FeatureBox) -> &Feature {
    &feature.feature
}

fn given_scan(s: &fitw_scene_scan) -> Result<GivenScan, Fault> {
    let machine_from_scan = to_pose(&s.machine_from_scan, "scene.scans.machine_from_scan")?;
    let join: Option<Arc<JoinBox>> = handle::optional(s.join, "scene.scans.join")?;
    Ok(GivenScan {
        scan: handle::get(s.scan, "scene.scans.scan")?,
        name: text::optional(s.name, "scene.scans.name")?.unwrap_or_else(|| "scan".into()),
        join_covariance: join.as_deref().map(|j| j.covariance_in(&machine_from_scan)),
        machine_from_scan,
    })
}

fn given_feature(f: &fitw_scene_feature, scans: usize) -> Result<GivenFeature, Fault> {
    let keep_clear = given_clearance(f.keep_clear_mm, "scene.features.keep_clear_mm")?;
    let scan = place(f.scan, scans, "scene.features.scan")?;
    let surface = handle::optional(f.surface, "scene.features.surface")?;
    if scan.is_none() && surface.is_some() {
        let allowed = "the place of the surface's scan";
        return Err(Fault::argument("scene.features.scan", f.scan, allowed));
    }
    Ok(GivenFeature {
        feature: handle::get(f.feature, "scene.features.feature")?,
        surface,
        scan,
        is_seat: f.is_seat != 0,
        keep_clear,
        bolt: text::optional(f.bolt, "scene.features.bolt")?,
    })
}

fn given_other(o: &fitw_other_part) -> Result<GivenOther, Fault> {
    if o.reserved != 0 {
        return Err(Fault::argument("scene.other_parts.reserved", o.reserved, "0"));
    }
    Ok(GivenOther {
        part: handle::get(o.part, "scene.other_parts.part")?,
        name: text::optional(o.name, "scene.other_parts.name")?
            .unwrap_or_else(|| "other part".into()),
        keep_clear: given_clearance(o.keep_clear_mm, "scene.other_parts.keep_clear_mm")?,
        touches: o.touches != 0,
    })
}

/// A clearance: 0 stands for the general one, a negative number for none.
fn given_clearance(mm: f64, name: &str) -> Result<Option<f64>, Fault> {
    match mm {
        0.0 => Ok(None),
        none if none < 0.0 => Ok(Some(0.0)),
        some if some.is_finite() => Ok(Some(some)),
        other => Err(Fault::argument(name, other, "a finite number")),
    }
}

fn given_mount(m: &fitw_mount, features: usize, part: &PartBox) -> Result<Mount, Fault> {
    let name = "scene.mounts.hole";
    let hole = place(m.hole, features, name)?;
    let near = Point3::from(pointer::three(m.near_mm.as_ptr(), "scene.mounts.near_mm")?);
    Ok(Mount {
        hole: hole.ok_or_else(|| Fault::argument(name, m.hole, "the place of a hole"))?,
        seat: place(m.seat, features, "scene.mounts.seat")?,
        near,
        part_hole: part.part.hole_at(&near)?,
    })
}

/// A place in a list, -1 for none.
fn place(number: i32, count: usize, name: &str) -> Result<Option<usize>, Fault> {
    match usize::try_from(number) {
        Ok(at) if at < count => Ok(Some(at)),
        Err(_) if number == -1 => Ok(None),
        _ => Err(Fault::argument(name, number, &format!("-1 to {}", count as i64 - 1))),
    }
}
