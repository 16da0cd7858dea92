//! Joining scans.

use engine::associate::Covariance;
use engine::primitive::Pose;
use engine::register::{
    self, Candidate, FeatureJoin, FeatureOptions, Join, SameFeature, SurfaceOptions, TargetOptions,
    UnknownStartOptions,
};

use crate::call::call;
use crate::context::{fitw_context, no_flags};
use crate::error::{Fault, fitw_status};
use crate::feature::fitw_feature;
use crate::handle::{self, Handle};
use crate::mesh::Coordinates;
use crate::pointer::{self, Array, Out, SizedOut, grows, items};
use crate::region::limit;
use crate::scan::fitw_scan;
use crate::shape::{self, fitw_pose, of_pose};
use crate::text::{self, Text, fitw_str};
use crate::uncertainty::{self, fitw_covariance};

/// How one scan was joined to another. Immutable. [any-thread]
pub struct fitw_join;

/// How scans are joined. 0 is the default.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_join_options {
    /// sizeof(fitw_join_options).
    pub struct_size: u32,
    /// 0; no flags are defined.
    pub flags: u32,
    /// By targets: largest distance of a target from its partner, mm; 0: 0.3. By features, since 1.6: largest
    /// distance of a feature from its like, beyond three standard deviations of it, mm; 0: 1.
    pub tolerance_mm: f64,
    /// By targets: standard deviation of one coordinate below which residuals say nothing, mm; 0: 0.03.
    pub least_deviation_mm: f64,
    /// By surface: how far the start may put any point from its place, mm; 0: 5 % of the scan's diagonal.
    pub reach_mm: f64,
    /// By surface: largest angle between the normals of a pair, rad; 0: 45 degrees.
    pub normal_angle_rad: f64,
    /// By surface: smallest share of points that overlap, up to 1; 0: 0.1.
    pub least_overlap: f64,
    /// By surface: most iterations of each step; 0: 60.
    pub iterations: u64,
    /// From an unknown start: poses that can be asked for, at most; 0: 5. Since 1.6.
    pub candidates: u64,
    /// By features: largest standard deviation of a motion, at the mean distance of the features from their middle,
    /// that counts as held, mm; 0: 0.5. Since 1.6.
    pub loosest_mm: f64,
}

/// A feature that is the same in two scans, as each shows it: planes, axes (lines, cylinders, cones), circles,
/// tori, spheres (radius 0: points). Since 1.6.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_same_feature {
    /// In coordinates of the scan joined to; its name is told.
    pub to: *const fitw_feature,
    /// In coordinates of the scan that is joined.
    pub from: *const fitw_feature,
    /// 1 if both directions point the same way, such as normals of planes that point out of the material; 0 if
    /// their sign is not sure.
    pub directed: i32,
    /// 0.
    pub reserved: i32,
}

items! { fitw_same_feature, 24 }

/// How well a scan was joined.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_join_info {
    /// sizeof(fitw_join_info), set by the caller.
    pub struct_size: u32,
    /// 1 if the iteration reached its answer, else 0; always 1 by targets.
    pub converged: i32,
    /// Root mean square of the residuals, mm.
    pub rms_mm: f64,
    /// By surface: share of the scan's points that overlap. By targets: share that found a partner.
    pub overlap: f64,
    /// Pairs of targets, see fitw_join_pair; 0 by surface.
    pub pair_count: u64,
    /// Notes, see fitw_join_note.
    pub note_count: u64,
    /// Poses that were weighed, see fitw_join_candidate; 0 but from an unknown start. Since 1.6.
    pub candidate_count: u64,
    /// Features joined by, see fitw_join_feature; 0 but by features. Since 1.6.
    pub feature_count: u64,
    /// By features: equations more than a pose needs. Since 1.6.
    pub freedom_count: u64,
    /// By features: sum of the squared residuals of those used, each over its uncertainty. Since 1.6.
    pub chi_square: f64,
    /// By features: probability of a larger sum by chance; 1 without freedoms. Since 1.6.
    pub probability: f64,
}

/// How far a feature of the joined scan lies from its like after the fit. Since 1.6.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_feature_residual {
    /// sizeof(fitw_feature_residual), set by the caller.
    pub struct_size: u32,
    /// 1 if the pose was fitted to it; 0 if it disagreed with all others and was left out.
    pub used: i32,
    /// Its name; valid until the join is released.
    pub name: fitw_str,
    /// Distance as far as the shape shows it, mm.
    pub distance_mm: f64,
    /// Expanded uncertainty (coverage factor 2) of one component of it, mm.
    pub distance_uncertainty_mm: f64,
    /// Angle between the directions, rad; 0 without directions.
    pub tilt_rad: f64,
    /// Expanded uncertainty of one component of it, rad.
    pub tilt_uncertainty_rad: f64,
    /// Its share of the chi-square.
    pub square: f64,
    /// Numbers that it gives: 3 of a plane or point, 4 of an axis, 5 of a circle or torus.
    pub equation_count: u64,
}

/// A target seen in both scans.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_target_pair {
    /// sizeof(fitw_target_pair), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Its place in the list of the scan joined to, from 0.
    pub to: u64,
    /// Its place in the list of the scan that is joined.
    pub from: u64,
    /// Distance between the two after the join, mm.
    pub residual_mm: f64,
    /// Share of its own coordinates in where the join puts it, 0 to 1; near 1 nothing checks it.
    pub leverage: f64,
}

/// A pose that was weighed in a join from an unknown start, before the last fit. Since 1.6.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_candidate_pose {
    /// sizeof(fitw_candidate_pose), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Takes coordinates of the joined scan to those of the scan joined to.
    pub to_from_this: fitw_pose,
    /// Its share among all that were weighed, 0 to 1.
    pub probability: f64,
    /// Natural logarithm of how much likelier what lies on the other surface is of the true pose than of a chance
    /// one.
    pub evidence: f64,
    /// Cells of the joined scan that lie on the other surface.
    pub matched: u64,
    /// Cells over the inside of the other surface that do not lie on it.
    pub against: u64,
}

grows! { fitw_join_options 56, fitw_join_info 40, fitw_target_pair 40, fitw_candidate_pose 136,
fitw_feature_residual 72 }

/// JOIN. Joins by target centres seen in both scans, in any order: `to_mm` in the coordinates of the scan
/// joined to, `from_mm` in those of the scan that is joined; x, y, z side by side, double, mm.
///
/// Strides in bytes from target to target, 0: side by side. `options` may be NULL. Release the join with
/// fitw_join_release. Errors: FITW_E_JOIN in words, FITW_E_LIMIT over 1,000 targets, FITW_E_ARGUMENT.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_join_by_targets(
    context: *const fitw_context,
    to_mm: *const f64,
    to_count: usize,
    to_stride: usize,
    from_mm: *const f64,
    from_count: usize,
    from_stride: usize,
    options: *const fitw_join_options,
    out: *mut *mut fitw_join,
) -> fitw_status {
    call(context, "fitw_join_by_targets", |c| {
        let list = |p: *const f64, count, stride, name| {
            Coordinates::new(p.cast(), count, stride, 0, name)?.points(1.0)
        };
        let to = list(to_mm, to_count, to_stride, "to_mm")?;
        let from = list(from_mm, from_count, from_stride, "from_mm")?;
        let given = pointer::read_optional(options, "options")?;
        no_flags(given.flags, 0, "options.flags")?;
        let out = Out::new(out, "out")?;
        let mut options = TargetOptions::default();
        limit(&mut options.tolerance, given.tolerance_mm, "options.tolerance_mm")?;
        limit(
            &mut options.least_deviation,
            given.least_deviation_mm,
            "options.least_deviation_mm",
        )?;
        c.engine.check()?;
        let join = c.engine.run(|| register::by_targets(&to, &from, &options))?;
        out.set(handle::insert(JoinBox::new(join))?);
        Ok(())
    })
}

/// Joins `from` to `to` by the surface that both show. `start` takes coordinates of `from` to those of `to`,
/// nearly; NULL: they nearly agree already. `options` may be NULL. Progress is reported.
///
/// Errors: FITW_E_JOIN in words, FITW_E_ARGUMENT, FITW_E_CANCELLED. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_join_by_surface(
    context: *const fitw_context,
    to: *const fitw_scan,
    from: *const fitw_scan,
    start: *const fitw_pose,
    options: *const fitw_join_options,
    out: *mut *mut fitw_join,
) -> fitw_status {
    call(context, "fitw_join_by_surface", |c| {
        let (to, from) = (handle::get(to, "to")?, handle::get(from, "from")?);
        let start = shape::optional_pose(start, "start")?;
        let given = pointer::read_optional(options, "options")?;
        no_flags(given.flags, 0, "options.flags")?;
        let out = Out::new(out, "out")?;
        let options = surface_limits(
            given.reach_mm,
            given.normal_angle_rad,
            given.least_overlap,
            given.iterations,
        )?;
        let join = register::by_surface(&to.scan, &from.scan, &start, &options, &c.engine)?;
        out.set(handle::insert(JoinBox::new(join))?);
        Ok(())
    })
}

/// Joins `from` to `to` by the surface that both show, from any pose: normals must point to the same side in both.
/// Of `options`, which may be NULL, `least_overlap` and `candidates` count. Progress is reported. Since 1.6.
///
/// Errors: FITW_E_JOIN in words, with the poses that were weighed, if none is certain: too little in common, or a
/// surface that is symmetric or repeats itself; FITW_E_ARGUMENT; FITW_E_CANCELLED. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_join_from_unknown_start(
    context: *const fitw_context,
    to: *const fitw_scan,
    from: *const fitw_scan,
    options: *const fitw_join_options,
    out: *mut *mut fitw_join,
) -> fitw_status {
    call(context, "fitw_join_from_unknown_start", |c| {
        let (to, from) = (handle::get(to, "to")?, handle::get(from, "from")?);
        let given = pointer::read_optional(options, "options")?;
        no_flags(given.flags, 0, "options.flags")?;
        let out = Out::new(out, "out")?;
        let mut options = UnknownStartOptions::default();
        limit(&mut options.least_overlap, given.least_overlap, "options.least_overlap")?;
        if given.candidates > 0 {
            options.candidates = usize::try_from(given.candidates).unwrap_or(usize::MAX);
        }
        let (join, weighed) =
            register::from_unknown_start(&to.scan, &from.scan, &options, &c.engine)?;
        let mut found = JoinBox::new(join);
        found.candidates = weighed;
        out.set(handle::insert(found)?);
        Ok(())
    })
}

/// Joins by features that are the same in both scans, from any pose, weighted by their covariances. `stride` in
/// bytes from one to the next; 0: side by side. Of `options`, which may be NULL, `tolerance_mm` and `loosest_mm`
/// count. Since 1.6.
///
/// Errors: FITW_E_JOIN in words, if a motion is left free, several poses fit, or the features contradict one
/// another; FITW_E_ARGUMENT for two kinds that do not go together; FITW_E_LIMIT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_join_by_features(
    context: *const fitw_context,
    features: *const fitw_same_feature,
    count: usize,
    stride: usize,
    options: *const fitw_join_options,
    out: *mut *mut fitw_join,
) -> fitw_status {
    call(context, "fitw_join_by_features", |c| {
        let given = Array::new(features, count, stride, "features")?;
        let limits = pointer::read_optional(options, "options")?;
        no_flags(limits.flags, 0, "options.flags")?;
        let out = Out::new(out, "out")?;
        let mut same = Vec::new();
        for one in given.iter() {
            let to = handle::get(one.to, "features.to")?;
            let from = handle::get(one.from, "features.from")?;
            same.push(SameFeature {
                name: to.feature.name.clone(),
                to: to.feature.shape.clone(),
                to_covariance: to.feature.covariance.clone(),
                from: from.feature.shape.clone(),
                from_covariance: from.feature.covariance.clone(),
                directed: one.directed != 0,
            });
        }
        let mut options = FeatureOptions::default();
        limit(&mut options.tolerance, limits.tolerance_mm, "options.tolerance_mm")?;
        limit(&mut options.loosest, limits.loosest_mm, "options.loosest_mm")?;
        c.engine.check()?;
        let found = c.engine.run(|| register::by_features(&same, &options))?;
        out.set(handle::insert(JoinBox::of_features(found))?);
        Ok(())
    })
}

/// to_from_this: takes coordinates of the joined scan to those of the scan joined to. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_join_pose(
    context: *const fitw_context,
    join: *const fitw_join,
    out: *mut fitw_pose,
) -> fitw_status {
    call(context, "fitw_join_pose", |_| {
        let join = handle::get(join, "join")?;
        Out::new(out, "out").map(|out| out.set(of_pose(&join.join.to_from_this)))
    })
}

/// Covariance of the pose as a motion about a place in the coordinates of the scan joined to (three numbers,
/// mm; NULL: the middle of what was matched). [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_join_covariance(
    context: *const fitw_context,
    join: *const fitw_join,
    about_mm: *const f64,
    out: *mut fitw_covariance,
) -> fitw_status {
    call(context, "fitw_join_covariance", |_| {
        let join = handle::get(join, "join")?;
        uncertainty::hand_out_covariance(&join.join.covariance, about_mm, out)
    })
}

/// How well it was joined. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_join_describe(
    context: *const fitw_context,
    join: *const fitw_join,
    out: *mut fitw_join_info,
) -> fitw_status {
    call(context, "fitw_join_describe", |_| {
        let join = handle::get(join, "join")?;
        let out = SizedOut::new(out, "out")?;
        out.set(fitw_join_info {
            struct_size: 0,
            converged: i32::from(join.join.converged),
            rms_mm: join.join.rms,
            overlap: join.join.overlap,
            pair_count: join.join.pairs.len() as u64,
            note_count: join.notes.len() as u64,
            candidate_count: join.candidates.len() as u64,
            feature_count: join.features.as_ref().map_or(0, |f| f.features.len() as u64),
            freedom_count: join.features.as_ref().map_or(0, |f| f.freedoms as u64),
            chi_square: join.features.as_ref().map_or(0.0, |f| f.chi_square),
            probability: join.features.as_ref().map_or(1.0, |f| f.probability),
        });
        Ok(())
    })
}

/// Pair `index` of targets, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_join_pair(
    context: *const fitw_context,
    join: *const fitw_join,
    index: usize,
    out: *mut fitw_target_pair,
) -> fitw_status {
    call(context, "fitw_join_pair", |_| {
        let join = handle::get(join, "join")?;
        let out = SizedOut::new(out, "out")?;
        let pairs = &join.join.pairs;
        let pair = pairs.get(index).ok_or_else(|| text::past(index, pairs.len()))?;
        out.set(fitw_target_pair {
            struct_size: 0,
            reserved: 0,
            to: pair.to as u64,
            from: pair.from as u64,
            residual_mm: pair.residual,
            leverage: pair.leverage,
        });
        Ok(())
    })
}

/// Pose `index` of those weighed in a join from an unknown start, from 0, the best first. Since 1.6. Error:
/// FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_join_candidate(
    context: *const fitw_context,
    join: *const fitw_join,
    index: usize,
    out: *mut fitw_candidate_pose,
) -> fitw_status {
    call(context, "fitw_join_candidate", |_| {
        let join = handle::get(join, "join")?;
        let out = SizedOut::new(out, "out")?;
        let weighed = &join.candidates;
        let pose = weighed.get(index).ok_or_else(|| text::past(index, weighed.len()))?;
        out.set(fitw_candidate_pose {
            struct_size: 0,
            reserved: 0,
            to_from_this: of_pose(&pose.to_from_this),
            probability: pose.probability,
            evidence: pose.support.evidence,
            matched: pose.support.matched as u64,
            against: pose.support.against as u64,
        });
        Ok(())
    })
}

/// What feature `index` says of a join by features, from 0, in the order given. Since 1.6. Error: FITW_E_ARGUMENT past
/// the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_join_feature(
    context: *const fitw_context,
    join: *const fitw_join,
    index: usize,
    out: *mut fitw_feature_residual,
) -> fitw_status {
    call(context, "fitw_join_feature", |_| {
        let join = handle::get(join, "join")?;
        let out = SizedOut::new(out, "out")?;
        let all = join.features.as_ref().map_or(&[][..], |f| &f.features);
        let (f, name) = all
            .get(index)
            .zip(join.names.get(index))
            .ok_or_else(|| text::past(index, all.len()))?;
        out.set(fitw_feature_residual {
            struct_size: 0,
            used: i32::from(f.used),
            name: name.view(),
            distance_mm: f.distance,
            distance_uncertainty_mm: 2.0 * f.distance_deviation,
            tilt_rad: f.tilt,
            tilt_uncertainty_rad: 2.0 * f.tilt_deviation,
            square: f.square,
            equation_count: f.equations as u64,
        });
        Ok(())
    })
}

/// What a person should know of the join (motions that the data leave free, targets that moved), one
/// sentence; valid until the join is released. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_join_note(
    context: *const fitw_context,
    join: *const fitw_join,
    index: usize,
    out: *mut fitw_str,
) -> fitw_status {
    call(context, "fitw_join_note", |_| text::nth(&handle::get(join, "join")?.notes, index, out))
}

/// Releases a join. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_join_release(join: *mut fitw_join) -> fitw_status {
    handle::release(join)
}

impl Handle for fitw_join {
    type Inner = JoinBox;
    const NAME: &'static str = "fitw_join";
}

/// What stands behind a join.
pub(crate) struct JoinBox {
    pub(crate) join: Join,
    notes: Vec<Text>,
    /// Poses that were weighed from an unknown start.
    candidates: Vec<Candidate>,
    /// What features say, of a join by them, and their names.
    features: Option<FeatureJoin>,
    names: Vec<Text>,
}

impl JoinBox {
    fn new(join: Join) -> Self {
        let notes = Text::all(&join.notes);
        JoinBox { join, notes, candidates: Vec::new(), features: None, names: Vec::new() }
    }

    /// Covariance of where the joined scan lies once `all_from_this` takes it somewhere; it stands in coordinates of
    /// the scan that it was joined to.
    pub(crate) fn covariance_in(&self, all_from_this: &Pose) -> Covariance {
        let all_from_other = all_from_this * self.join.to_from_this.inverse();
        self.join.covariance.transformed(&all_from_other)
    }

    fn of_features(found: FeatureJoin) -> Self {
        let mut made = JoinBox::new(found.join.clone());
        made.names = found.features.iter().map(|f| Text::new(&f.name)).collect();
        made.features = Some(found);
        made
    }
}

/// Limits of a join by surface; 0 is the default.
pub(crate) fn surface_limits(
    reach_mm: f64,
    normal_angle_rad: f64,
    least_overlap: f64,
    iterations: u64,
) -> Result<SurfaceOptions, Fault> {
    let mut options = SurfaceOptions::default();
    let mut reach = 0.0;
    limit(&mut reach, reach_mm, "options.reach_mm")?;
    options.reach = (reach > 0.0).then_some(reach);
    limit(&mut options.normal_angle, normal_angle_rad, "options.normal_angle_rad")?;
    limit(&mut options.least_overlap, least_overlap, "options.least_overlap")?;
    if iterations > 0 {
        options.iterations = usize::try_from(iterations).unwrap_or(usize::MAX);
    }
    Ok(options)
}
