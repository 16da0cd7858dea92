//! A plug-in's library in this process: opened, its table read with care, its fitters called.

#![allow(unsafe_code)]

use std::any::Any;
use std::collections::VecDeque;
use std::ffi::c_void;
use std::mem::offset_of;
use std::path::Path;
use std::sync::Mutex;

use fitwright_plugin_abi as abi;

use super::answer::{Answer, Description, MOST_FITTERS, Question, RawOption};
use super::call::Running;
use super::host::{Host, text_of};
use super::import::{self, Building, ImportEntry, ImporterDescription, RawPart, Sink};
use super::manifest::{IMPORTERS_SINCE, LOWEST, Manifest, Version};
use crate::context::Context;
use crate::error::{Error, Result};

/// A loaded library; never unloaded.
pub(super) struct Library {
    pub(super) descriptions: Vec<Description>,
    pub(super) importer_descriptions: Vec<ImporterDescription>,
    entry: abi::fitw_plugin_entry_fn,
    fitters: Vec<Entry>,
    importers: Vec<ImportEntry>,
    host: &'static Host,
    ended: Mutex<VecDeque<Ended>>,
}

/// A call that is over, kept for a while for plug-ins that go on using it.
struct Ended(#[allow(dead_code)] Box<dyn Any>);

// SAFETY: nobody but a plug-in that breaks the rules looks at it again, and finds it closed.
unsafe impl Send for Ended {}

#[derive(Clone, Copy)]
struct Entry {
    data: *const c_void,
    fit: FitFunction,
}

type FitFunction = unsafe extern "C" fn(
    *const c_void,
    *const abi::fitw_plugin_input,
    *const abi::fitw_plugin_call,
) -> i32;

// SAFETY: the interface says that a fitter's data may be used from any thread.
unsafe impl Send for Entry {}
// SAFETY: as above.
unsafe impl Sync for Entry {}

/// Points of a call, x, y, z side by side.
#[derive(Clone, Copy)]
pub(super) struct Points<'a> {
    pub(super) points: &'a [f64],
    /// As many, or none.
    pub(super) normals: Option<&'a [f64]>,
}

impl Library {
    /// Opens the library of a plug-in and asks it for its table. From here on its code runs.
    pub(super) fn open(folder: &Path, manifest: &Manifest) -> Result<Self> {
        let path = manifest.own_library(folder)?;
        let refused = |reason: String| Error::PluginRefused { path: path.clone(), reason };
        let entry = entry(&path).map_err(refused)?;
        let host = Host::leaked();
        let table = ask(entry, host).map_err(refused)?;
        // SAFETY: what the plug-in handed over, as far as it can be told.
        let (descriptions, fitters) = unsafe { read(&table, manifest) }.map_err(refused)?;
        // SAFETY: as above.
        let importers = unsafe { import::read(&table, manifest) }.map_err(refused)?;
        let (importer_descriptions, importers) = importers.into_iter().unzip();
        let ended = Mutex::default();
        Ok(Library { descriptions, importer_descriptions, entry, fitters, importers, host, ended })
    }

    /// State and version that the entry function answers to a host of other versions.
    pub(super) fn probe(&self, lowest: u32, highest: u32) -> (i32, u32) {
        let mut table = empty();
        // SAFETY: the host's table, which lives for ever, and a table of the size that it says.
        let state = unsafe { (self.entry)(lowest, highest, &self.host.raw, &mut table) };
        (state, table.version)
    }

    /// Calls a fitter.
    pub(super) fn call(
        &self,
        fitter: usize,
        question: &Question,
        points: &Points<'_>,
        context: Option<Context>,
        memory: usize,
    ) -> Answer {
        let count = points.points.len() / 3;
        let input = abi::fitw_plugin_input {
            struct_size: size_of::<abi::fitw_plugin_input>() as u32,
            has_pick: i32::from(question.pick.is_some()),
            point_count: count,
            points_mm: points.points.as_ptr(),
            normals: points.normals.map_or(std::ptr::null(), <[f64]>::as_ptr),
            pick_mm: question.pick.unwrap_or_default(),
            noise_mm: question.noise,
            options: question.options.as_ptr(),
            option_count: question.options.len(),
            seed: question.seed,
            resolution_mm: question.resolution,
        };
        let (noise, entry) = ((question.noise, question.resolution), self.fitters[fitter]);
        let id = &self.descriptions[fitter].id;
        let running = Box::new(Running::new(id, count, memory, noise, context));
        let table = Box::new(running.table());
        // SAFETY: all of it lives until the call returns.
        let state = unsafe { (entry.fit)(entry.data, &input, &*table) };
        let mut answer = running.close(state);
        answer.log = self.host.take_log();
        self.keep(Box::new((running, table)));
        answer
    }

    /// Calls an importer. With a sink, pieces of the part go there and the last one is returned.
    pub(super) fn import(
        &self,
        importer: usize,
        path: &str,
        chord_error: f64,
        context: Option<Context>,
        memory: usize,
        sink: Option<Sink>,
    ) -> (Answer, RawPart) {
        let input = abi::fitw_plugin_import_input {
            struct_size: size_of::<abi::fitw_plugin_import_input>() as u32,
            reserved: 0,
            path: abi::fitw_plugin_text { data: path.as_ptr(), length: path.len() },
            chord_error_mm: chord_error,
        };
        let entry = self.importers[importer];
        let id = &self.importer_descriptions[importer].id;
        let running = Box::new(Running::new(id, 0, memory, (0.0, 0.0), context));
        let building = Box::new(Building::new(sink));
        let (call, part) = (Box::new(running.table()), Box::new(building.table()));
        // SAFETY: all of it lives until the call returns.
        let state = unsafe { (entry.import)(entry.data, &input, &*call, &*part) };
        let mut answer = running.close(state);
        let (raw, fault) = building.close();
        answer.fault = answer.fault.or(fault);
        answer.log = self.host.take_log();
        self.keep(Box::new((running, call, building, part)));
        (answer, raw)
    }

    fn keep(&self, call: Box<dyn Any>) {
        let mut ended = self.ended.lock().unwrap_or_else(|e| e.into_inner());
        ended.push_back(Ended(call));
        if ended.len() > KEPT {
            ended.pop_front();
        }
    }
}

fn entry(path: &Path) -> std::result::Result<abi::fitw_plugin_entry_fn, String> {
    let library = open(path).map_err(|e| format!("the system does not load it: {}", said(&e)))?;
    // SAFETY: the interface fixes the type of what has this name.
    let entry = unsafe { library.get::<abi::fitw_plugin_entry_fn>(abi::FITW_PLUGIN_ENTRY) };
    let entry = *entry.map_err(|_| format!("it exports no {}", abi::FITW_PLUGIN_ENTRY))?;
    // Threads of the plug-in may still run its code: it stays.
    std::mem::forget(library);
    Ok(entry)
}

fn said(error: &libloading::Error) -> String {
    match std::error::Error::source(error) {
        Some(source) => source.to_string(),
        None => error.to_string(),
    }
}

#[cfg(unix)]
fn open(path: &Path) -> std::result::Result<libloading::Library, libloading::Error> {
    use libloading::os::unix::{Library, RTLD_LOCAL, RTLD_NOW};
    // SAFETY: running its initialisers is what the host asked for by naming it.
    unsafe { Library::open(Some(path), RTLD_NOW | RTLD_LOCAL).map(Into::into) }
}

#[cfg(not(unix))]
fn open(path: &Path) -> std::result::Result<libloading::Library, libloading::Error> {
    // SAFETY: running its initialisers is what the host asked for by naming it.
    unsafe { libloading::Library::new(path) }
}

fn empty() -> abi::fitw_plugin_table {
    abi::fitw_plugin_table {
        struct_size: size_of::<abi::fitw_plugin_table>() as u32,
        version: 0,
        id: abi::fitw_plugin_text { data: std::ptr::null(), length: 0 },
        fitters: std::ptr::null(),
        fitter_count: 0,
        ability: None,
    }
}

/// The plug-in's table.
fn ask(
    entry: abi::fitw_plugin_entry_fn,
    host: &'static Host,
) -> std::result::Result<abi::fitw_plugin_table, String> {
    let mut table = empty();
    let whole = table.struct_size;
    let own = Version::own();
    // SAFETY: the host's tables, which live for ever, and a table of the size that it says.
    let state = unsafe { entry(LOWEST.code(), own.code(), &host.raw, &mut table) };
    let chosen = Version::of_code(table.version);
    match state {
        abi::FITW_PLUGIN_OK if chosen >= LOWEST && chosen <= own => {}
        abi::FITW_PLUGIN_OK => {
            return Err(format!("it chose version {chosen}; offered were {LOWEST} to {own}"));
        }
        abi::FITW_PLUGIN_E_VERSION => {
            return Err(format!(
                "it speaks versions up to {chosen} of the interface, this host {LOWEST} to {own}; \
                 get another build of the plug-in or a newer host"
            ));
        }
        other => return Err(format!("its entry function failed with state {other}")),
    }
    let least = offset_of!(abi::fitw_plugin_table, ability) as u32;
    if table.struct_size < least || table.struct_size > whole {
        return Err(format!(
            "its table says that it has {} bytes; {least} to {whole} are allowed",
            table.struct_size
        ));
    }
    Ok(table)
}

/// # Safety
/// The table is as its plug-in filled it.
unsafe fn read(
    table: &abi::fitw_plugin_table,
    manifest: &Manifest,
) -> std::result::Result<(Vec<Description>, Vec<Entry>), String> {
    // SAFETY: as the caller says; counts and pointers are looked at before they are used.
    unsafe {
        let id = word(table.id, "plug-in id")?;
        if id != manifest.id {
            return Err(format!("its library says id \"{id}\", its manifest \"{}\"", manifest.id));
        }
        let importers =
            !manifest.importers.is_empty() && Version::of_code(table.version) >= IMPORTERS_SINCE;
        if table.fitter_count == 0 && importers && manifest.fitters.is_empty() {
            return Ok((Vec::new(), Vec::new()));
        }
        if table.fitters.is_null() || !(1..=MOST_FITTERS).contains(&table.fitter_count) {
            return Err(format!(
                "its table has {} fitters{}; 1 to {MOST_FITTERS} are allowed",
                table.fitter_count,
                if table.fitters.is_null() { " at NULL" } else { "" }
            ));
        }
        let (mut descriptions, mut entries) = (Vec::new(), Vec::new());
        for k in 0..table.fitter_count {
            let fitter = table.fitters.add(k).read().as_ref();
            let fitter = fitter.ok_or_else(|| format!("fitter {k} is NULL"))?;
            let description = describe(fitter).map_err(|e| format!("fitter {k}: {e}"))?;
            if !manifest.fitters.contains(&description.id) {
                return Err(format!("fitter \"{}\" is not in its manifest", description.id));
            }
            if descriptions.iter().any(|d: &Description| d.id == description.id) {
                return Err(format!("fitter \"{}\" is there twice", description.id));
            }
            descriptions.push(description);
            entries.push(Entry { data: fitter.data, fit: fitter.fit });
        }
        if let Some(missing) =
            manifest.fitters.iter().find(|f| !descriptions.iter().any(|d| d.id == **f))
        {
            return Err(format!("its manifest names \"{missing}\", its library does not"));
        }
        Ok((descriptions, entries))
    }
}

/// # Safety
/// A plug-in's fitter.
unsafe fn describe(fitter: &abi::fitw_plugin_fitter) -> std::result::Result<Description, String> {
    if (fitter.struct_size as usize) < size_of::<abi::fitw_plugin_fitter>() {
        return Err(format!("says that it has {} bytes", fitter.struct_size));
    }
    // A function pointer of Rust is never NULL; what the plug-in wrote may be.
    let fit = &raw const fitter.fit;
    // SAFETY: read as a plain address; the plug-in's texts and arrays, looked at before they are used.
    unsafe {
        if fit.cast::<*const c_void>().read().is_null() {
            return Err("has no function to fit with".into());
        }
        let mut options: Vec<RawOption> = Vec::new();
        if fitter.option_count > MOST_FITTERS || fitter.options.is_null() && fitter.option_count > 0
        {
            return Err(format!("has {} options", fitter.option_count));
        }
        for k in 0..fitter.option_count {
            let option = fitter.options.add(k).read().as_ref();
            let option = option.ok_or_else(|| format!("option {k} is NULL"))?;
            options.push(RawOption {
                name: word(option.name, "option name")?,
                description: word(option.description, "option description")?,
                sort: option.sort,
                unit: option.unit,
                standard: option.standard,
                least: option.least,
                most: option.most,
            });
        }
        let kind = text_of(fitter.kind).ok_or("its kind is NULL")?;
        Ok(Description {
            id: word(fitter.id, "id")?,
            title: word(fitter.title, "title")?,
            shape: fitter.shape,
            kind,
            minimum: fitter.minimum_points as u64,
            options,
        })
    }
}

/// # Safety
/// A plug-in's text.
pub(super) unsafe fn word(
    text: abi::fitw_plugin_text,
    what: &str,
) -> std::result::Result<String, String> {
    if text.length > super::answer::LONGEST_TEXT {
        return Err(format!("its {what} has {} bytes", text.length));
    }
    // SAFETY: as the caller says.
    let text = unsafe { text_of(text) }.ok_or_else(|| format!("its {what} is NULL"))?;
    if text.trim().is_empty() { Err(format!("its {what} is empty")) } else { Ok(text) }
}

/// Calls that are kept after their end.
const KEPT: usize = 64;
