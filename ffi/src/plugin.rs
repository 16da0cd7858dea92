//! Plug-ins: fitters of others.

use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError, RwLock};
use std::time::Duration;

use engine::plugin::{LoadOptions, Registry, manifests};

use crate::call::call;
use crate::context::fitw_context;
use crate::error::{Fault, fitw_status};
use crate::pointer::{self, Out, SizedOut, grows};
use crate::text::{self, fitw_str};

/// How plug-ins are loaded. All zero is the default: each in a worker process.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_plugin_options {
    /// sizeof(fitw_plugin_options).
    pub struct_size: u32,
    /// 1: the plug-ins of this folder run inside this process; 0: each in a worker process.
    pub trust: i32,
    /// Path of the program fitwright-worker; empty: beside this program.
    pub worker: fitw_str,
    /// Longest call of a plug-in in a worker, seconds, up to 86400; 0: 60.
    pub time_limit_s: f64,
    /// Most memory of a worker, bytes, 64 MiB to 1 TiB; 0: 4 GiB.
    pub memory_limit_bytes: u64,
}

/// A plug-in that is loaded. Its texts are valid until the context is released.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_plugin_info {
    /// sizeof(fitw_plugin_info), set by the caller.
    pub struct_size: u32,
    /// 1 if it runs inside this process, 0 if in a worker.
    pub trusted: i32,
    /// Unique id, such as "acme.studs".
    pub id: fitw_str,
    /// One line for people.
    pub title: fitw_str,
    /// The plug-in's own version.
    pub version: fitw_str,
    /// Licence (SPDX).
    pub licence: fitw_str,
    /// Where it is.
    pub folder: fitw_str,
    /// Its fitters, which fitw_fitter_describe tells of too.
    pub fitter_count: u64,
}

/// A plug-in that was refused. Its texts are valid until the context is released.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_refusal {
    /// sizeof(fitw_refusal), set by the caller.
    pub struct_size: u32,
    /// FITW_E_…
    pub status: i32,
    /// Where it is.
    pub folder: fitw_str,
    /// Why, and what would help.
    pub reason: fitw_str,
}

/// An importer of a plug-in: it reads parts of formats that the library does not, or with another kernel. Its
/// texts are valid until the context is released.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_importer_info {
    /// sizeof(fitw_importer_info), set by the caller.
    pub struct_size: u32,
    /// 0.
    pub reserved: i32,
    /// Unique id, such as "occt.step", for fitw_part_options.
    pub id: fitw_str,
    /// One line for people.
    pub title: fitw_str,
    /// Extensions of the files it reads, lower case, with a blank between them.
    pub extensions: fitw_str,
}

grows! { fitw_plugin_options 40, fitw_plugin_info 96, fitw_refusal 40, fitw_importer_info 56 }

/// PLUGIN. Loads the plug-in of a folder (the one with a fitwright-plugin.toml), or all plug-ins in a folder:
/// from now on the context has their fitters for fits by id, and for the jobs it runs. A plug-in that is there
/// already stays as it is.
///
/// Load only folders that you or your user named: a plug-in is a program. Nothing is looked for by itself.
/// Refused are a library or folder that others may write to, one of another version of the interface, and an
/// id that is taken; the manifest is read before any code runs, and the others of the folder are loaded all
/// the same: see fitw_plugin_refused.
///
/// A plug-in runs in a process of its own, the program fitwright-worker, which a host ships beside its own
/// program or names in `options` (where the program is an interpreter or a CAD system, it must): then a
/// crash, a hang or too much memory ends that process and is an error of the call, FITW_E_PLUGIN. This
/// contains accidents, not malice: a worker has the rights of its user. With `trust` the library is loaded into
/// this process, never to be unloaded: a call is cheaper, and a crash is the host's. Answers are the same to
/// the bit, and checked by the engine either way.
///
/// `folder` may be empty: nothing is loaded. The options but for `trust` are those of the plug-ins that later
/// jobs of this context name themselves. `options` and `loaded`, which gets the number of plug-ins that were
/// loaded, may be NULL. Errors: FITW_E_IO if the folder cannot be read, FITW_E_PLUGIN_REFUSED if others may
/// write to it, FITW_E_ARGUMENT, FITW_E_CANCELLED. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_plugins_load(
    context: *const fitw_context,
    folder: fitw_str,
    options: *const fitw_plugin_options,
    loaded: *mut usize,
) -> fitw_status {
    call(context, "fitw_plugins_load", |c| {
        let folder = text::optional(folder, "folder")?;
        let given = pointer::read_optional(options, "options")?;
        let out = Out::optional(loaded, "loaded")?;
        let options = load_options(&given)?;
        let trust = match given.trust {
            0 | 1 => given.trust == 1,
            other => return Err(Fault::argument("options.trust", other, "0 or 1")),
        };
        c.engine.check()?;
        let count = c.plugins.load(folder.as_deref().map(Path::new), options, trust)?;
        if let Some(out) = out {
            out.set(count);
        }
        Ok(())
    })
}

/// Number of plug-ins that are loaded. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_plugin_count(
    context: *const fitw_context,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_plugin_count", |c| {
        Out::new(count, "count").map(|out| out.set(c.plugins.registry().loaded().len()))
    })
}

/// Plug-in `index`, from 0, in the order of loading. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_plugin_describe(
    context: *const fitw_context,
    index: usize,
    out: *mut fitw_plugin_info,
) -> fitw_status {
    call(context, "fitw_plugin_describe", |c| {
        let out = SizedOut::new(out, "out")?;
        let registry = c.plugins.registry();
        let all = registry.loaded();
        let plugin = all.get(index).ok_or_else(|| text::past(index, all.len()))?;
        out.set(fitw_plugin_info {
            struct_size: 0,
            trusted: i32::from(plugin.trusted),
            id: c.word(&plugin.manifest.id),
            title: c.word(&plugin.manifest.title),
            version: c.word(&plugin.manifest.version),
            licence: c.word(&plugin.manifest.licence),
            folder: c.word(&plugin.folder.to_string_lossy()),
            fitter_count: plugin.manifest.fitters.len() as u64,
        });
        Ok(())
    })
}

/// Number of plug-ins that were refused. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_plugin_refused_count(
    context: *const fitw_context,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_plugin_refused_count", |c| {
        Out::new(count, "count").map(|out| out.set(c.plugins.registry().refused().len()))
    })
}

/// Refused plug-in `index`, from 0. One that is loaded later is no longer among them. Error: FITW_E_ARGUMENT
/// past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_plugin_refused(
    context: *const fitw_context,
    index: usize,
    out: *mut fitw_refusal,
) -> fitw_status {
    call(context, "fitw_plugin_refused", |c| {
        let out = SizedOut::new(out, "out")?;
        let registry = c.plugins.registry();
        let all = registry.refused();
        let refusal = all.get(index).ok_or_else(|| text::past(index, all.len()))?;
        out.set(fitw_refusal {
            struct_size: 0,
            status: refusal.reason.code(),
            folder: c.word(&refusal.folder.to_string_lossy()),
            reason: c.word(&refusal.reason.to_string()),
        });
        Ok(())
    })
}

/// Number of importers of the plug-ins that are loaded. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_importer_count(
    context: *const fitw_context,
    count: *mut usize,
) -> fitw_status {
    call(context, "fitw_importer_count", |c| {
        Out::new(count, "count").map(|out| out.set(c.plugins.registry().importers().len()))
    })
}

/// Importer `index`, from 0, in the order of loading. Error: FITW_E_ARGUMENT past the last. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_importer_describe(
    context: *const fitw_context,
    index: usize,
    out: *mut fitw_importer_info,
) -> fitw_status {
    call(context, "fitw_importer_describe", |c| {
        let out = SizedOut::new(out, "out")?;
        let registry = c.plugins.registry();
        let all = registry.importers();
        let importer = all.get(index).ok_or_else(|| text::past(index, all.len()))?;
        out.set(fitw_importer_info {
            struct_size: 0,
            reserved: 0,
            id: c.word(importer.id()),
            title: c.word(importer.title()),
            extensions: c.word(&importer.extensions().join(" ")),
        });
        Ok(())
    })
}

/// The fitters and importers of a context.
#[derive(Default)]
pub(crate) struct Plugins {
    registry: RwLock<Arc<Registry>>,
    options: Mutex<LoadOptions>,
    loading: Mutex<()>,
}

impl Plugins {
    /// What is loaded now.
    pub(crate) fn registry(&self) -> Arc<Registry> {
        Arc::clone(&self.registry.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// How the plug-ins are loaded that a job names itself.
    pub(crate) fn options(&self) -> LoadOptions {
        self.options.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn load(
        &self,
        folder: Option<&Path>,
        mut options: LoadOptions,
        trust: bool,
    ) -> Result<usize, Fault> {
        // One at a time, and beside the registry: starting a worker must not hold up the fits.
        let _alone = self.loading.lock().unwrap_or_else(PoisonError::into_inner);
        *self.options.lock().unwrap_or_else(PoisonError::into_inner) = options.clone();
        let Some(folder) = folder else { return Ok(0) };
        if trust {
            let found = manifests(folder)?.into_iter().filter_map(|(_, manifest)| manifest.ok());
            options.trusted = found.map(|m| m.id).collect();
        }
        let mut registry = Registry::clone(&self.registry());
        let loaded = registry.load(folder, &options)?;
        *self.registry.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(registry);
        Ok(loaded)
    }
}

fn load_options(given: &fitw_plugin_options) -> Result<LoadOptions, Fault> {
    let mut options = LoadOptions::default();
    options.worker = text::optional(given.worker, "options.worker")?.map(Into::into);
    match given.time_limit_s {
        0.0 => {}
        s if s > 0.0 && s <= LONGEST_CALL => options.time_limit = Duration::from_secs_f64(s),
        s => {
            let allowed = format!("0, or over 0 and at most {LONGEST_CALL}");
            return Err(Fault::argument("options.time_limit_s", s, &allowed));
        }
    }
    match given.memory_limit_bytes {
        0 => {}
        bytes if (LEAST_MEMORY..=MOST_MEMORY).contains(&bytes) => options.memory_limit = bytes,
        bytes => {
            let allowed = format!("0, or {LEAST_MEMORY} to {MOST_MEMORY}");
            return Err(Fault::argument("options.memory_limit_bytes", bytes, &allowed));
        }
    }
    Ok(options)
}

/// Seconds and bytes as in the `[plugins]` of a job file.
const LONGEST_CALL: f64 = 86_400.0;
const LEAST_MEMORY: u64 = 64 << 20;
const MOST_MEMORY: u64 = 1 << 40;
