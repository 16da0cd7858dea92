//! A datum system that an earlier day's run saved: found again in later scans, and what moved since.

use std::path::Path;

use engine::associate::Covariance;
use engine::feature::Feature;
use engine::register::{AgainOptions, Change, Changes, Moved, Placed, SavedDatum};

use crate::call::call;
use crate::context::{fitw_context, no_flags};
use crate::error::{Fault, fitw_status};
use crate::feature::fitw_feature;
use crate::handle::{self, Handle};
use crate::kind;
use crate::merged::{GivenScan, fitw_placed_scan};
use crate::pointer::{self, Array, Out, SizedOut, grows};
use crate::region::limit;
use crate::shape::{self, fitw_pose, of_pose};
use crate::text::{self, Text, fitw_str};
use crate::uncertainty::{self, fitw_covariance};

/// A datum system with its features as an earlier run saved them (datum.json). Immutable. [any-thread]
pub struct fitw_saved_datum;

/// What changed between the days. Immutable. [any-thread]
pub struct fitw_changes;

/// It is where it was: its change is less than the limit by its uncertainty.
pub const FITW_MOVED_NO: i32 = 0;
/// Its change is more than the limit by its uncertainty.
pub const FITW_MOVED_YES: i32 = 1;
/// Neither, or it cannot be told which of several moved.
pub const FITW_MOVED_UNDECIDED: i32 = 2;
/// It was not found: nothing is known.
pub const FITW_MOVED_NOT_SEEN: i32 = 3;

/// For fitw_again_options: `start` is used.
pub const FITW_AGAIN_START: u32 = 1;

/// What a saved datum system consists of. Since 1.7.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_saved_datum_info {
    /// sizeof(fitw_saved_datum_info), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Job that saved it; valid until it is released.
    pub job: fitw_str,
    /// Features, see fitw_saved_datum_feature.
    pub feature_count: u64,
    /// Takes coordinates of that day's first scan to machine coordinates: a start if the scanner's own coordinates
    /// stayed.
    pub machine_from_scan: fitw_pose,
}

/// A feature as it was saved. Since 1.7.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_saved_feature {
    /// sizeof(fitw_saved_feature), set by the caller.
    pub struct_size: u32,
    /// FITW_KIND_…
    pub kind: i32,
    /// Its name; valid until the saved datum system is released.
    pub name: fitw_str,
    /// Middle of what was seen of it, machine coordinates, mm.
    pub middle_mm: [f64; 3],
    /// Radius about the middle that holds it, mm.
    pub extent_mm: f64,
}

/// Limits of finding a saved datum system again. 0 is the default. Since 1.7.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_again_options {
    /// sizeof(fitw_again_options).
    pub struct_size: u32,
    /// FITW_AGAIN_START or 0: any pose.
    pub flags: u32,
    /// Where to look: takes scan coordinates to about machine coordinates.
    pub start: fitw_pose,
    /// How far the start may put any feature from its place, mm; 0: a tenth of the features' spread.
    pub reach_mm: f64,
    /// How far a feature may be from where the others say to be counted as found, beyond its uncertainty, mm; 0: 0.1.
    pub tolerance_mm: f64,
}

/// Where a saved datum system was found. Since 1.7.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_found_again {
    /// sizeof(fitw_found_again), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Takes scan coordinates to machine coordinates, by all features that were matched.
    pub machine_from_scan: fitw_pose,
    /// Features that were matched.
    pub matched_count: u64,
    /// Root mean square of what the pairs disagree by, in their own deviations.
    pub deviation: f64,
}

/// What changed between the days. Since 1.7.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_changes_info {
    /// sizeof(fitw_changes_info), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Features, see fitw_changes_feature.
    pub feature_count: u64,
    /// Names of those that stand out, see fitw_changes_stand_out.
    pub stand_out_count: u64,
    /// Notes, see fitw_changes_note.
    pub note_count: u64,
    /// Degrees of freedom of `square`.
    pub freedom_count: u64,
    /// Weighted sum of squares of all features against a frame common to all.
    pub square: f64,
    /// Probability that chance makes it as large, if nothing moved.
    pub probability: f64,
    /// Takes today's machine coordinates to those in which the features that did not move are where they were.
    pub still_from_machine: fitw_pose,
}

/// Change of a feature from the saved day to the later one, machine axes. Since 1.7.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_change {
    /// sizeof(fitw_change), set by the caller.
    pub struct_size: u32,
    /// FITW_MOVED_…
    pub moved: i32,
    /// Name of the feature; valid until the changes are released.
    pub name: fitw_str,
    /// Why, where it needs a word; may be empty. As above.
    pub note: fitw_str,
    /// Change of place, mm, as far as the shape shows it: a plane's along its normal, an axis's across it.
    pub shift_mm: [f64; 3],
    /// Its expanded uncertainty (coverage factor 2) in the worst direction, mm.
    pub shift_uncertainty_mm: f64,
    /// Change of direction, rad.
    pub turn_rad: f64,
    /// Its expanded uncertainty, rad.
    pub turn_uncertainty_rad: f64,
    /// Change of the radius or major radius, mm; 0 without one.
    pub size_1: f64,
    /// Change of the minor radius, mm, or the half-angle, rad; 0 without one.
    pub size_2: f64,
    /// Expanded uncertainty of `size_1`.
    pub size_1_uncertainty: f64,
    /// Expanded uncertainty of `size_2`.
    pub size_2_uncertainty: f64,
    /// Radius about the feature's middle that the turn is judged at, mm.
    pub extent_mm: f64,
}

grows! {
    fitw_saved_datum_info 128, fitw_saved_feature 56, fitw_again_options 120, fitw_found_again 120,
    fitw_changes_info 152, fitw_change 128
}

/// A LATER DAY. Reads a datum system that a run saved (datum.json); release it with fitw_saved_datum_release. Since
/// 1.7.
///
/// Errors: FITW_E_IO, FITW_E_FORMAT with the place of what is wrong, FITW_E_LIMIT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_saved_datum_read(
    context: *const fitw_context,
    path: fitw_str,
    out: *mut *mut fitw_saved_datum,
) -> fitw_status {
    call(context, "fitw_saved_datum_read", |_| {
        let path = text::given(path, "path")?;
        let out = Out::new(out, "out")?;
        out.set(handle::insert(SavedBox::new(SavedDatum::read(path)?))?);
        Ok(())
    })
}

/// The same from the file's text in memory.
///
/// Error: FITW_E_FORMAT with the place of what is wrong. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_saved_datum_parse(
    context: *const fitw_context,
    json: fitw_str,
    out: *mut *mut fitw_saved_datum,
) -> fitw_status {
    call(context, "fitw_saved_datum_parse", |_| {
        let json = text::given(json, "json")?;
        let out = Out::new(out, "out")?;
        let saved = SavedDatum::parse(json.as_bytes(), Path::new("datum system in memory"))?;
        out.set(handle::insert(SavedBox::new(saved))?);
        Ok(())
    })
}

/// What it consists of. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_saved_datum_describe(
    context: *const fitw_context,
    saved: *const fitw_saved_datum,
    out: *mut fitw_saved_datum_info,
) -> fitw_status {
    call(context, "fitw_saved_datum_describe", |_| {
        let saved = handle::get(saved, "saved")?;
        let out = SizedOut::new(out, "out")?;
        out.set(fitw_saved_datum_info {
            struct_size: 0,
            reserved: 0,
            job: saved.job.view(),
            feature_count: saved.datum.features.len() as u64,
            machine_from_scan: of_pose(&saved.datum.machine_from_scan),
        });
        Ok(())
    })
}

/// Feature `index`, from 0. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_saved_datum_feature(
    context: *const fitw_context,
    saved: *const fitw_saved_datum,
    index: usize,
    out: *mut fitw_saved_feature,
) -> fitw_status {
    call(context, "fitw_saved_datum_feature", |_| {
        let saved = handle::get(saved, "saved")?;
        let out = SizedOut::new(out, "out")?;
        let all = &saved.datum.features;
        let feature = all.get(index).ok_or_else(|| text::past(index, all.len()))?;
        out.set(fitw_saved_feature {
            struct_size: 0,
            kind: kind::of_feature(feature.kind),
            name: saved.names[index].view(),
            middle_mm: feature.middle.into(),
            extent_mm: feature.extent,
        });
        Ok(())
    })
}

/// Finds it in later scans that are joined to each other, from any pose unless a start is given. The pose is good
/// enough to find each feature again; fitted there, they go to fitw_saved_datum_changes.
///
/// `stride` in bytes from one scan to the next; 0: side by side. `options` may be NULL. Progress is reported. Errors:
/// FITW_E_JOIN for too few features, two poses that do about as well or a layout that is too regular;
/// FITW_E_ARGUMENT, FITW_E_CANCELLED, FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_saved_datum_find(
    context: *const fitw_context,
    saved: *const fitw_saved_datum,
    scans: *const fitw_placed_scan,
    count: usize,
    stride: usize,
    options: *const fitw_again_options,
    out: *mut fitw_found_again,
) -> fitw_status {
    call(context, "fitw_saved_datum_find", |c| {
        let saved = handle::get(saved, "saved")?;
        let given = Array::new(scans, count, stride, "scans")?;
        let limits = pointer::read_optional(options, "options")?;
        let out = SizedOut::new(out, "out")?;
        let options = again_options(&limits)?;
        let scans = given.iter().map(|s| GivenScan::new(&s)).collect::<Result<Vec<_>, _>>()?;
        if scans.is_empty() {
            return Err(Fault::argument("count", 0, "one scan or more"));
        }
        let placed: Vec<Placed<'_>> = scans.iter().map(GivenScan::placed).collect();
        let found = saved.datum.find(&placed, &options, &c.engine)?;
        out.set(fitw_found_again {
            struct_size: 0,
            reserved: 0,
            machine_from_scan: of_pose(&found.machine_from_scan),
            matched_count: found.landmarks.iter().flatten().count() as u64,
            deviation: found.deviation,
        });
        Ok(())
    })
}

/// Compares features found on a later day, machine coordinates of that day, with the saved ones; release it with
/// fitw_changes_release.
///
/// `features` are in the saved order, NULL for one that was not found; `count` is feature_count. A change up to
/// `still_mm` (turns at the feature's edge) counts as none; 0: 0.1 mm. Errors: FITW_E_ARGUMENT also for a feature of
/// another kind than the saved one, FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_saved_datum_changes(
    context: *const fitw_context,
    saved: *const fitw_saved_datum,
    features: *const *const fitw_feature,
    count: usize,
    still_mm: f64,
    out: *mut *mut fitw_changes,
) -> fitw_status {
    call(context, "fitw_saved_datum_changes", |_| {
        let saved = &handle::get(saved, "saved")?.datum;
        let given = Array::new(features, count, 0, "features")?;
        let out = Out::new(out, "out")?;
        if count != saved.features.len() {
            let allowed = format!("{}, one for each saved feature", saved.features.len());
            return Err(Fault::argument("count", count, &allowed));
        }
        let mut still = STILL;
        limit(&mut still, still_mm, "still_mm")?;
        let found =
            given.iter().map(|f| handle::optional(f, "features")).collect::<Result<Vec<_>, _>>()?;
        for (found, saved) in found.iter().zip(&saved.features) {
            if let Some(found) = found.as_ref().filter(|f| f.feature.kind != saved.kind) {
                let allowed = format!("{}, as \"{}\" was saved", saved.kind.name(), saved.name);
                return Err(Fault::argument("features", found.feature.kind.name(), &allowed));
            }
        }
        let found: Vec<Option<&Feature>> =
            found.iter().map(|f| f.as_ref().map(|f| &f.feature)).collect();
        out.set(handle::insert(ChangesBox::new(saved.changes(&found, still)))?);
        Ok(())
    })
}

/// Releases a saved datum system. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_saved_datum_release(saved: *mut fitw_saved_datum) -> fitw_status {
    handle::release(saved)
}

/// What changed as a whole. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_changes_describe(
    context: *const fitw_context,
    changes: *const fitw_changes,
    out: *mut fitw_changes_info,
) -> fitw_status {
    call(context, "fitw_changes_describe", |_| {
        let changes = &handle::get(changes, "changes")?.changes;
        let out = SizedOut::new(out, "out")?;
        out.set(fitw_changes_info {
            struct_size: 0,
            reserved: 0,
            feature_count: changes.features.len() as u64,
            stand_out_count: changes.stand_out.len() as u64,
            note_count: changes.notes.len() as u64,
            freedom_count: changes.freedoms as u64,
            square: changes.square,
            probability: changes.probability,
            still_from_machine: of_pose(&changes.still_from_machine),
        });
        Ok(())
    })
}

/// Change of feature `index`, from 0, in the saved order. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_changes_feature(
    context: *const fitw_context,
    changes: *const fitw_changes,
    index: usize,
    out: *mut fitw_change,
) -> fitw_status {
    call(context, "fitw_changes_feature", |_| {
        let changes = handle::get(changes, "changes")?;
        let out = SizedOut::new(out, "out")?;
        let all = &changes.changes.features;
        let change = all.get(index).ok_or_else(|| text::past(index, all.len()))?;
        let (name, note) = &changes.words[index];
        out.set(fitw_change {
            struct_size: 0,
            moved: moved(change),
            name: name.view(),
            note: note.view(),
            shift_mm: change.shift.into(),
            shift_uncertainty_mm: change.shift_uncertainty,
            turn_rad: change.turn,
            turn_uncertainty_rad: change.turn_uncertainty,
            size_1: change.sizes[0],
            size_2: change.sizes[1],
            size_1_uncertainty: change.size_uncertainties[0],
            size_2_uncertainty: change.size_uncertainties[1],
            extent_mm: change.extent,
        });
        Ok(())
    })
}

/// Name of a feature that stands out, the first to stand out first; valid until the changes are released. Error:
/// FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_changes_stand_out(
    context: *const fitw_context,
    changes: *const fitw_changes,
    index: usize,
    out: *mut fitw_str,
) -> fitw_status {
    call(context, "fitw_changes_stand_out", |_| {
        text::nth(&handle::get(changes, "changes")?.stand_out, index, out)
    })
}

/// What a person should know, one sentence; valid until the changes are released. Error: FITW_E_ARGUMENT past the
/// last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_changes_note(
    context: *const fitw_context,
    changes: *const fitw_changes,
    index: usize,
    out: *mut fitw_str,
) -> fitw_status {
    call(context, "fitw_changes_note", |_| {
        text::nth(&handle::get(changes, "changes")?.notes, index, out)
    })
}

/// Covariance of still_from_machine as a motion about a place in machine coordinates (three numbers, mm; NULL: the
/// machine's origin). [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_changes_covariance(
    context: *const fitw_context,
    changes: *const fitw_changes,
    about_mm: *const f64,
    out: *mut fitw_covariance,
) -> fitw_status {
    call(context, "fitw_changes_covariance", |_| {
        let covariance: &Covariance = &handle::get(changes, "changes")?.changes.still_covariance;
        uncertainty::hand_out_covariance(covariance, about_mm, out)
    })
}

/// Releases changes. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_changes_release(changes: *mut fitw_changes) -> fitw_status {
    handle::release(changes)
}

impl Handle for fitw_saved_datum {
    type Inner = SavedBox;
    const NAME: &'static str = "fitw_saved_datum";
}

impl Handle for fitw_changes {
    type Inner = ChangesBox;
    const NAME: &'static str = "fitw_changes";
}

/// What stands behind a saved datum system.
pub(crate) struct SavedBox {
    datum: SavedDatum,
    job: Text,
    names: Vec<Text>,
}

impl SavedBox {
    fn new(datum: SavedDatum) -> Self {
        let names = datum.features.iter().map(|f| Text::new(&f.name)).collect();
        SavedBox { job: Text::new(&datum.job), names, datum }
    }
}

/// What stands behind changes.
pub(crate) struct ChangesBox {
    changes: Changes,
    words: Vec<(Text, Text)>,
    stand_out: Vec<Text>,
    notes: Vec<Text>,
}

impl ChangesBox {
    fn new(changes: Changes) -> Self {
        let words = changes.features.iter().map(|c| (Text::new(&c.name), Text::new(&c.note)));
        ChangesBox {
            words: words.collect(),
            stand_out: Text::all(&changes.stand_out),
            notes: Text::all(&changes.notes),
            changes,
        }
    }
}

fn again_options(given: &fitw_again_options) -> Result<AgainOptions, Fault> {
    no_flags(given.flags, FITW_AGAIN_START, "options.flags")?;
    let mut options = AgainOptions::default();
    if given.flags & FITW_AGAIN_START != 0 {
        options.start = Some(shape::to_pose(&given.start, "options.start")?);
    }
    let above_zero = |given: f64, name: &str| {
        let mut value = 0.0;
        limit(&mut value, given, name).map(|()| (value > 0.0).then_some(value))
    };
    options.reach = above_zero(given.reach_mm, "options.reach_mm")?;
    options.tolerance = above_zero(given.tolerance_mm, "options.tolerance_mm")?;
    Ok(options)
}

fn moved(change: &Change) -> i32 {
    match change.moved {
        Moved::No => FITW_MOVED_NO,
        Moved::Yes => FITW_MOVED_YES,
        Moved::Undecided => FITW_MOVED_UNDECIDED,
        Moved::NotSeen => FITW_MOVED_NOT_SEEN,
    }
}

/// Change that counts as none, mm; that of a job.
const STILL: f64 = 0.1;
