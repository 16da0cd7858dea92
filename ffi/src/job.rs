//! Whole jobs.

use std::path::{Path, PathBuf};

use engine::job::{Folder, Job, Outcome, WriteOptions};
use engine::primitive::Pose;

use crate::call::call;
use crate::check::{CheckBox, fitw_check};
use crate::context::{fitw_context, no_flags};
use crate::error::fitw_status;
use crate::feature::{FeatureBox, fitw_feature};
use crate::handle::{self, Handle};
use crate::kind;
use crate::pointer::{Out, SizedOut, grows};
use crate::shape::{fitw_pose, of_pose};
use crate::text::{self, Text, fitw_str, fitw_text};

/// A job: which scans, features, datum system, part and checks, read and validated. Immutable. [any-thread]
pub struct fitw_job;

/// What the run of a job found. Immutable. [any-thread]
pub struct fitw_outcome;

/// Flag of fitw_outcome_write: write the first scan in machine coordinates, too.
pub const FITW_OUTCOME_SCAN_MACHINE: u32 = 1;

/// What a run found, in short.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_outcome_info {
    /// sizeof(fitw_outcome_info), set by the caller.
    pub struct_size: u32,
    /// FITW_VERDICT_…, the worst of all checks.
    pub verdict: i32,
    /// Scans.
    pub scan_count: u64,
    /// Features, see fitw_outcome_feature.
    pub feature_count: u64,
    /// Findings, see fitw_outcome_check.
    pub finding_count: u64,
    /// Takes coordinates of the first scan to machine coordinates.
    pub machine_from_scan: fitw_pose,
}

grows! { fitw_outcome_info 128 }

/// JOB. Reads the text of a job file (TOML) and validates it. `folder` is what its paths are relative to;
/// empty: the process' own. Release the job with fitw_job_release.
///
/// Errors: FITW_E_JOB with place and remedy, FITW_E_DUPLICATE_NAME, FITW_E_UNKNOWN_NAME, FITW_E_ARGUMENT.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_job_create(
    context: *const fitw_context,
    text: fitw_str,
    folder: fitw_str,
    out: *mut *mut fitw_job,
) -> fitw_status {
    call(context, "fitw_job_create", |_| {
        let text = text::given(text, "text")?;
        let folder = text::optional(folder, "folder")?.map_or_else(PathBuf::new, PathBuf::from);
        let out = Out::new(out, "out")?;
        let job = Job::parse(&text)?;
        // The folder of a file in it: the engine takes the path of a job file.
        let folder = Folder::of(&folder.join("job.toml"));
        out.set(handle::insert(JobBox { job, folder })?);
        Ok(())
    })
}

/// Runs a job. Progress is reported. Release the outcome with fitw_outcome_release.
///
/// Its features may name the context's plug-ins, and its own `[plugins]` are loaded for this run, in a worker
/// with the options of the last fitw_plugins_load unless the job trusts them: run only jobs that you would
/// run programs of. The context's memory limit does not count what a job loads. Errors: any; the message
/// names the scan, feature or part. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_job_run(
    context: *const fitw_context,
    job: *const fitw_job,
    out: *mut *mut fitw_outcome,
) -> fitw_status {
    call(context, "fitw_job_run", |c| {
        let job = handle::get(job, "job")?;
        let out = Out::new(out, "out")?;
        c.engine.check()?;
        let outcome = job.job.run_with(
            &job.folder,
            &c.plugins.registry(),
            &c.plugins.options(),
            &c.engine,
        )?;
        let json = Text::new(&outcome.to_json()?);
        out.set(handle::insert(OutcomeBox { outcome, json })?);
        Ok(())
    })
}

/// The JSON schema (draft 2020-12) of job files; release the text with fitw_text_release. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_job_schema(
    context: *const fitw_context,
    out: *mut *mut fitw_text,
) -> fitw_status {
    call(context, "fitw_job_schema", |_| {
        let out = Out::new(out, "out")?;
        out.set(handle::insert(Text::new(&engine::job::schema()?))?);
        Ok(())
    })
}

/// Releases a job. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_job_release(job: *mut fitw_job) -> fitw_status {
    handle::release(job)
}

/// The result as JSON, as the command line writes it to result.json; valid until the outcome is released.
/// [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_outcome_json(
    context: *const fitw_context,
    outcome: *const fitw_outcome,
    out: *mut fitw_str,
) -> fitw_status {
    call(context, "fitw_outcome_json", |_| {
        let outcome = handle::get(outcome, "outcome")?;
        Out::new(out, "out").map(|out| out.set(outcome.json.view()))
    })
}

/// Verdict, counts and frame. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_outcome_describe(
    context: *const fitw_context,
    outcome: *const fitw_outcome,
    out: *mut fitw_outcome_info,
) -> fitw_status {
    call(context, "fitw_outcome_describe", |_| {
        let outcome = &handle::get(outcome, "outcome")?.outcome;
        let out = SizedOut::new(out, "out")?;
        out.set(fitw_outcome_info {
            struct_size: 0,
            verdict: kind::of_verdict(outcome.verdict),
            scan_count: outcome.scans.len() as u64,
            feature_count: outcome.features.len() as u64,
            finding_count: outcome.findings.len() as u64,
            machine_from_scan: of_pose(&outcome.machine_from_scan),
        });
        Ok(())
    })
}

/// Feature `index` of the outcome, from 0, machine coordinates; release it with fitw_feature_release. Error:
/// FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_outcome_feature(
    context: *const fitw_context,
    outcome: *const fitw_outcome,
    index: usize,
    out: *mut *mut fitw_feature,
) -> fitw_status {
    call(context, "fitw_outcome_feature", |_| {
        let outcome = handle::get(outcome, "outcome")?;
        let out = Out::new(out, "out")?;
        let all = &outcome.outcome.features;
        let found = all.get(index).ok_or_else(|| text::past(index, all.len()))?;
        out.set(handle::insert(FeatureBox::new(found.feature.clone()))?);
        Ok(())
    })
}

/// The findings of the outcome; release them with fitw_check_release. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_outcome_check(
    context: *const fitw_context,
    outcome: *const fitw_outcome,
    out: *mut *mut fitw_check,
) -> fitw_status {
    call(context, "fitw_outcome_check", |_| {
        let outcome = handle::get(outcome, "outcome")?;
        let out = Out::new(out, "out")?;
        let of = &outcome.outcome;
        let pose = of.checked_from_designed.unwrap_or_else(Pose::identity);
        out.set(handle::insert(CheckBox::new(of.findings.clone(), pose))?);
        Ok(())
    })
}

/// Writes what the command line writes into a folder, which is made if need be: result.json, features.step,
/// report.html, and with a part part-clearance.ply. `flags`: 0 or FITW_OUTCOME_SCAN_MACHINE.
///
/// Each file appears complete or not at all. Errors: FITW_E_IO, FITW_E_ARGUMENT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_outcome_write(
    context: *const fitw_context,
    outcome: *const fitw_outcome,
    folder: fitw_str,
    flags: u32,
) -> fitw_status {
    call(context, "fitw_outcome_write", |c| {
        let outcome = handle::get(outcome, "outcome")?;
        let folder = text::given(folder, "folder")?;
        no_flags(flags, FITW_OUTCOME_SCAN_MACHINE, "flags")?;
        c.engine.check()?;
        let options = WriteOptions { scan_machine: flags & FITW_OUTCOME_SCAN_MACHINE != 0 };
        c.engine.run(|| {
            let page = engine::report::html(&outcome.outcome, &Default::default())?;
            outcome.outcome.write(Path::new(&folder), &page, options)
        })?;
        Ok(())
    })
}

/// Releases an outcome. NULL is allowed; releasing twice is FITW_E_HANDLE. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_outcome_release(outcome: *mut fitw_outcome) -> fitw_status {
    handle::release(outcome)
}

impl Handle for fitw_job {
    type Inner = JobBox;
    const NAME: &'static str = "fitw_job";
}

impl Handle for fitw_outcome {
    type Inner = OutcomeBox;
    const NAME: &'static str = "fitw_outcome";
}

/// What stands behind a job.
pub(crate) struct JobBox {
    job: Job,
    folder: Folder,
}

/// What stands behind an outcome.
pub(crate) struct OutcomeBox {
    outcome: Outcome,
    json: Text,
}
