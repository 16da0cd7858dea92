//! Fitters by id: the built-in ones, and those of the plug-ins that were loaded; and these plug-ins' importers.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use super::answer::Description;
use super::check::{self, Described};
use super::fitter::{Place, PluginFitter, Source};
use super::folder::{check_hands, plugin_folders};
use super::import::{Importer, ImporterDescription, same_importers};
use super::library::Library;
use super::manifest::Manifest;
use super::worker::{Limits, Offer, Workers};
use crate::associate::{Fitter, builtin_fitters};
use crate::error::{Error, Result};

/// Fitters by id. Cheap to clone; nothing is global.
#[derive(Clone)]
pub struct Registry {
    fitters: Vec<Arc<dyn Fitter>>,
    importers: Vec<Importer>,
    loaded: Vec<Loaded>,
    refused: Vec<Refusal>,
}

/// How plug-ins are loaded.
#[non_exhaustive]
#[derive(Debug, Clone)]
pub struct LoadOptions {
    /// Ids of plug-ins that may run in this process; default none.
    pub trusted: Vec<String>,
    /// The program `fitwright-worker`; default beside this program.
    pub worker: Option<PathBuf>,
    /// Longest call of a plug-in in a worker; default 60 s.
    pub time_limit: Duration,
    /// Most memory of a worker, bytes; default 4 GiB.
    pub memory_limit: u64,
}

/// A plug-in that is loaded.
#[derive(Debug, Clone, PartialEq)]
pub struct Loaded {
    /// What its manifest says.
    pub manifest: Manifest,
    /// Where it is.
    pub folder: PathBuf,
    /// Whether it runs in this process.
    pub trusted: bool,
}

/// A plug-in that was refused.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    /// Where it is.
    pub folder: PathBuf,
    /// Its fitters, as far as its manifest could be read.
    pub fitters: Vec<String>,
    /// Its importers, likewise.
    pub importers: Vec<String>,
    /// Why.
    pub reason: Error,
}

impl Default for LoadOptions {
    fn default() -> Self {
        LoadOptions {
            trusted: Vec::new(),
            worker: None,
            time_limit: Duration::from_secs(60),
            memory_limit: 4 << 30,
        }
    }
}

impl Default for Registry {
    fn default() -> Self {
        Registry::new()
    }
}

impl Registry {
    /// The built-in fitters.
    #[must_use]
    pub fn new() -> Self {
        let fitters = builtin_fitters().into_iter().map(Arc::from).collect();
        Registry { fitters, importers: Vec::new(), loaded: Vec::new(), refused: Vec::new() }
    }

    /// Loads the plug-in of a folder, or all plug-ins in it. One that is refused is kept with its reason
    /// ([`Registry::refused`]) and does not keep the others from being loaded. How many were loaded.
    ///
    /// # Errors
    /// [`Error::Io`] if the folder cannot be read; [`Error::PluginRefused`] if others may write to it.
    pub fn load(&mut self, folder: &Path, options: &LoadOptions) -> Result<usize> {
        let folders = plugin_folders(folder)?;
        check_hands(&folder.canonicalize().map_err(|e| Error::io(folder, &e))?)?;
        let before = self.loaded.len();
        for folder in folders {
            if self.loaded.iter().any(|l| l.folder == folder) {
                continue;
            }
            // Judged anew: what was said of it before no longer counts.
            self.refused.retain(|r| r.folder != folder);
            if let Err(reason) = self.load_one(&folder, options) {
                let (fitters, importers) = Manifest::read(&folder)
                    .map(|m| (m.fitters, m.importers.into_iter().map(|i| i.id).collect()))
                    .unwrap_or_default();
                self.refused.push(Refusal { folder, fitters, importers, reason });
            }
        }
        Ok(self.loaded.len() - before)
    }

    /// The fitter of an id.
    ///
    /// # Errors
    /// [`Error::UnknownName`] with the nearest known id; [`Error::PluginRefused`] if a plug-in that was
    /// refused has it.
    pub fn fitter(&self, id: &str) -> Result<Arc<dyn Fitter>> {
        if let Some(fitter) = self.fitters.iter().find(|f| f.id() == id) {
            return Ok(Arc::clone(fitter));
        }
        let has = |r: &&Refusal| r.fitters.iter().any(|f| f == id);
        Err(match self.refused.iter().find(has) {
            Some(refusal) => refusal.reason.clone(),
            None => Error::UnknownName { kind: "fitter", name: id.into(), nearest: None },
        })
    }

    /// All fitters, the built-in ones first.
    #[must_use]
    pub fn fitters(&self) -> &[Arc<dyn Fitter>] {
        &self.fitters
    }

    /// The importer of an id.
    ///
    /// # Errors
    /// [`Error::Argument`] with the known ids; [`Error::PluginRefused`] if a plug-in that was refused has it.
    pub fn importer(&self, id: &str) -> Result<Importer> {
        if let Some(importer) = self.importers.iter().find(|i| i.id() == id) {
            return Ok(importer.clone());
        }
        let has = |r: &&Refusal| r.importers.iter().any(|i| i == id);
        if let Some(refusal) = self.refused.iter().find(has) {
            return Err(refusal.reason.clone());
        }
        let ids: Vec<&str> = self.importers.iter().map(Importer::id).collect();
        let known = if ids.is_empty() { "none: load its plug-in".into() } else { ids.join(", ") };
        Err(Error::argument("importer", id, known))
    }

    /// All importers, in the order of loading.
    #[must_use]
    pub fn importers(&self) -> &[Importer] {
        &self.importers
    }

    /// Plug-ins that are loaded, in the order of loading.
    #[must_use]
    pub fn loaded(&self) -> &[Loaded] {
        &self.loaded
    }

    /// Plug-ins that were refused.
    #[must_use]
    pub fn refused(&self) -> &[Refusal] {
        &self.refused
    }

    fn load_one(&mut self, folder: &Path, options: &LoadOptions) -> Result<()> {
        let manifest = safe_manifest(folder)?;
        let refused = |reason: String| Error::PluginRefused { path: folder.into(), reason };
        if let Some(twin) = self.loaded.iter().find(|l| l.manifest.id == manifest.id) {
            return Err(refused(format!(
                "id \"{}\" is taken by {}; give one of them",
                manifest.id,
                twin.folder.display()
            )));
        }
        let taken = |id: &String| self.fitters.iter().any(|f| f.id() == id);
        if let Some(id) = manifest.fitters.iter().find(|id| taken(id)) {
            let twin = self.loaded.iter().find(|l| l.manifest.fitters.contains(id));
            let place = twin.map_or_else(String::new, |t| format!(" by {}", t.folder.display()));
            return Err(refused(format!("fitter id \"{id}\" is taken{place}; give one of them")));
        }
        let here = |id: &str| self.importers.iter().any(|i| i.id() == id);
        if let Some(twin) = manifest.importers.iter().find(|i| here(&i.id)) {
            return Err(refused(format!("importer id \"{}\" is taken; give one of them", twin.id)));
        }
        let trusted = options.trusted.contains(&manifest.id);
        let (source, described, importers) = open(folder, &manifest, trusted, options)?;
        let source = Arc::new(source);
        for (index, described) in importers.into_iter().enumerate() {
            self.importers.push(Importer { source: Arc::clone(&source), index, described });
        }
        for (index, described) in described.into_iter().enumerate() {
            let source = Arc::clone(&source);
            self.fitters.push(Arc::new(PluginFitter { source, index, described }));
        }
        self.loaded.push(Loaded { manifest, folder: folder.into(), trusted });
        Ok(())
    }
}

impl std::fmt::Debug for Registry {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let ids: Vec<&str> = self.fitters.iter().map(|f| f.id()).collect();
        f.debug_struct("Registry").field("fitters", &ids).finish_non_exhaustive()
    }
}

/// Folders that the environment variable `FITWRIGHT_PLUGINS` names, separated as in `PATH`; for programs
/// that want their users to have it. None in a process with more rights than its user.
///
/// # Errors
/// [`Error::Argument`] for a path that is not absolute: the current folder is never looked in by itself.
pub fn folders_from_environment() -> Result<Vec<PathBuf>> {
    let Some(value) = std::env::var_os(VARIABLE).filter(|_| !elevated()) else {
        return Ok(Vec::new());
    };
    let paths: Vec<PathBuf> =
        std::env::split_paths(&value).filter(|p| !p.as_os_str().is_empty()).collect();
    match paths.iter().find(|p| !p.is_absolute()) {
        Some(path) => Err(Error::argument(VARIABLE, path.display(), "absolute paths")),
        None => Ok(paths),
    }
}

/// Plug-ins in a folder as their manifests describe them, or why they are refused; none of their code runs.
///
/// # Errors
/// [`Error::Io`] if the folder cannot be read.
pub fn manifests(folder: &Path) -> Result<Vec<(PathBuf, Result<Manifest>)>> {
    let found = plugin_folders(folder)?.into_iter();
    Ok(found.map(|f| (f.clone(), safe_manifest(&f))).collect())
}

/// The manifest of a folder that nobody else may write to, nor to what is in it.
pub(super) fn safe_manifest(folder: &Path) -> Result<Manifest> {
    check_hands(folder)?;
    check_hands(&folder.join(Manifest::FILE))?;
    let manifest = Manifest::read(folder)?;
    check_hands(&manifest.own_library(folder)?)?;
    Ok(manifest)
}

/// Starts a plug-in in its place and takes its fitters and importers.
pub(super) fn open(
    folder: &Path,
    manifest: &Manifest,
    trusted: bool,
    options: &LoadOptions,
) -> Result<(Source, Vec<Described>, Vec<ImporterDescription>)> {
    let (place, offer) = if trusted {
        let library = Library::open(folder, manifest)?;
        let fitters = library.descriptions.clone();
        let importers = library.importer_descriptions.clone();
        (Place::Here(library), Offer { fitters, importers })
    } else {
        let limits = Limits {
            program: options.worker.clone().map_or_else(beside, Ok)?,
            time: options.time_limit,
            memory: options.memory_limit,
            call_memory: CALL_MEMORY,
        };
        let (workers, offer) = Workers::start(&manifest.id, folder, limits)?;
        (Place::Workers(workers), offer)
    };
    let described = described(folder, manifest, &offer.fitters)?;
    same_importers(offer.importers.iter(), manifest)
        .map_err(|reason| Error::PluginRefused { path: folder.into(), reason })?;
    Ok((Source { place, memory: CALL_MEMORY }, described, offer.importers))
}

/// A worker may say anything: its fitters are those of the manifest or none.
fn described(folder: &Path, manifest: &Manifest, raw: &[Description]) -> Result<Vec<Described>> {
    let refused = |reason: String| Error::PluginRefused { path: folder.into(), reason };
    let mut ids: Vec<&String> = raw.iter().map(|d| &d.id).collect();
    let mut named: Vec<&String> = manifest.fitters.iter().collect();
    ids.sort();
    named.sort();
    if ids != named {
        return Err(refused(format!("its library has fitters {ids:?}, its manifest {named:?}")));
    }
    let describe = |d: &Description| {
        let place = |(field, reason)| refused(format!("fitter \"{}\": {field}: {reason}", d.id));
        check::description(d).map_err(place)
    };
    raw.iter().map(describe).collect()
}

/// The worker that was installed beside this program.
fn beside() -> Result<PathBuf> {
    let program = std::env::current_exe().map_err(|e| Error::io("this program", &e))?;
    let name = format!("fitwright-worker{}", std::env::consts::EXE_SUFFIX);
    Ok(program.with_file_name(name))
}

#[cfg(unix)]
fn elevated() -> bool {
    use rustix::process::{getegid, geteuid, getgid, getuid};
    getuid() != geteuid() || getgid() != getegid()
}

#[cfg(not(unix))]
fn elevated() -> bool {
    false
}

const VARIABLE: &str = "FITWRIGHT_PLUGINS";
/// Bytes that a call may take from the host's memory functions.
const CALL_MEMORY: usize = 1 << 30;
