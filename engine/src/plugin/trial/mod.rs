//! The checker: a plug-in is put through the rules of the interface, in workers, before anyone trusts it.

mod data;
mod entry;
mod fits;
mod habits;
mod imports;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use super::answer::{Answer, Question};
use super::fitter::{Place, PluginFitter};
use super::registry::{LoadOptions, open, safe_manifest};
use super::worker::Workers;
use crate::context::Context;
use crate::error::{Error, Result};

/// How a plug-in is tried.
#[non_exhaustive]
#[derive(Debug, Clone)]
pub struct Trial {
    /// Threads of the calls; 0 for as many as there are cores.
    pub threads: usize,
    /// The program `fitwright-worker`; default beside this program.
    pub worker: Option<PathBuf>,
    /// Longest call.
    pub time_limit: Duration,
    /// Most memory of a worker, bytes.
    pub memory_limit: u64,
}

impl Default for Trial {
    fn default() -> Self {
        let LoadOptions { time_limit, memory_limit, .. } = LoadOptions::default();
        Trial { threads: 0, worker: None, time_limit, memory_limit }
    }
}

/// What a trial found.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialReport {
    /// Id of the plug-in.
    pub id: String,
    /// Its version.
    pub version: String,
    /// One finding a rule and fitter.
    pub findings: Vec<Found>,
}

/// A rule and how it was kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// The rule.
    pub rule: &'static str,
    /// Fitter that it was tried on; empty: the plug-in as a whole.
    pub fitter: String,
    /// How it was kept.
    pub outcome: Kept,
}

/// How a rule was kept.
#[derive(Debug, Clone, PartialEq)]
pub enum Kept {
    /// It was; what was measured, if anything.
    Yes(String),
    /// It was not, and why.
    No(String),
    /// It could not be tried, and what would make it possible.
    NotTried(String),
}

impl Found {
    /// Whether the rule was broken.
    #[must_use]
    pub fn failed(&self) -> bool {
        matches!(self.outcome, Kept::No(_))
    }

    /// Whether the rule could not be tried.
    #[must_use]
    pub fn skipped(&self) -> bool {
        matches!(self.outcome, Kept::NotTried(_))
    }
}

impl std::fmt::Display for Found {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (word, detail) = match &self.outcome {
            Kept::Yes(detail) => ("passed", detail),
            Kept::No(detail) => ("FAILED", detail),
            Kept::NotTried(detail) => ("  -   ", detail),
        };
        let place =
            if self.fitter.is_empty() { String::new() } else { format!("{}: ", self.fitter) };
        let colon = if detail.is_empty() { "" } else { ": " };
        write!(f, "{word}  {place}{}{colon}{detail}", self.rule)
    }
}

/// Runs the plug-in of a folder through the rules, in workers.
///
/// # Errors
/// [`Error::PluginRefused`] if it cannot even be loaded, with the reason; [`Error::Io`].
pub fn try_plugin(folder: &Path, trial: &Trial) -> Result<TrialReport> {
    let folder = folder.canonicalize().map_err(|e| Error::io(folder, &e))?;
    let manifest = safe_manifest(&folder)?;
    let options = LoadOptions {
        worker: trial.worker.clone(),
        time_limit: trial.time_limit,
        memory_limit: trial.memory_limit,
        ..LoadOptions::default()
    };
    let (source, described, importers) = open(&folder, &manifest, false, &options)?;
    let source = Arc::new(source);
    let context = Context::new(trial.threads)?;
    let mut findings =
        vec![found("manifest, safe folder and description", "", Kept::Yes(String::new()))];
    if let Place::Workers(workers) = &source.place {
        findings.extend(entry::rules(workers));
    }
    for (index, described) in described.into_iter().enumerate() {
        let fitter = PluginFitter { source: Arc::clone(&source), index, described };
        let subject = Subject { fitter: &fitter, context: &context };
        let data = data::of(&fitter, &manifest, &folder)?;
        findings.extend(fits::rules(&subject, &data));
        findings.extend(habits::rules(&subject, &data));
    }
    findings.extend(imports::rules(&source, importers, &context)?);
    Ok(TrialReport { id: manifest.id, version: manifest.version, findings })
}

/// A fitter under trial.
struct Subject<'a> {
    fitter: &'a PluginFitter,
    context: &'a Context,
}

impl Subject<'_> {
    fn id(&self) -> &str {
        &self.fitter.described.id
    }

    fn workers(&self) -> Option<&Workers> {
        match &self.fitter.source.place {
            Place::Workers(workers) => Some(workers),
            Place::Here(_) => None,
        }
    }

    /// One call without any of the host's checks, so many times at once.
    fn call(&self, points: &data::Cloud, context: &Context, copies: u32) -> Result<Answer> {
        let question = self.question(points);
        let workers = self.workers().ok_or_else(|| Error::Internal("no worker".into()))?;
        let (id, index) = (self.id(), self.fitter.index);
        workers.call_copies(id, index, &question, &points.raw(), Some(context), copies)
    }

    fn question(&self, points: &data::Cloud) -> Question {
        let standard = self.fitter.described.options.iter().map(|o| {
            let given = points.options.iter().find(|(name, _)| *name == o.name);
            given.map_or(o.standard, |(_, value)| *value)
        });
        Question {
            pick: points.pick,
            noise: points.noise,
            resolution: points.spacing,
            options: standard.collect(),
            seed: 0,
        }
    }

    fn found(&self, rule: &'static str, outcome: Kept) -> Found {
        found(rule, self.id(), outcome)
    }
}

fn found(rule: &'static str, fitter: &str, outcome: Kept) -> Found {
    Found { rule, fitter: fitter.into(), outcome }
}
