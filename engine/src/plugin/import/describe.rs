//! The importers of a plug-in's table, read with care.

#![allow(unsafe_code)]

use std::ffi::c_void;

use fitwright_plugin_abi as abi;

use super::raw::ImporterDescription;
use crate::plugin::answer::MOST_FITTERS;
use crate::plugin::library::word;
use crate::plugin::manifest::{IMPORTERS_SINCE, Manifest, Version};

/// What an importer is called by.
#[derive(Clone, Copy)]
pub(in crate::plugin) struct ImportEntry {
    pub(in crate::plugin) data: *const c_void,
    pub(in crate::plugin) import: ImportFunction,
}

type ImportFunction = unsafe extern "C" fn(
    *const c_void,
    *const abi::fitw_plugin_import_input,
    *const abi::fitw_plugin_call,
    *const abi::fitw_plugin_part,
) -> i32;

// SAFETY: the interface says that an importer's data may be used from any thread.
unsafe impl Send for ImportEntry {}
// SAFETY: as above.
unsafe impl Sync for ImportEntry {}

/// Importers in the order of the library; none where its version or its table know none.
///
/// # Safety
/// The table is as its plug-in filled it.
pub(in crate::plugin) unsafe fn read(
    table: &abi::fitw_plugin_table,
    manifest: &Manifest,
) -> std::result::Result<Vec<(ImporterDescription, ImportEntry)>, String> {
    let mut found: Vec<(ImporterDescription, ImportEntry)> = Vec::new();
    let there = table.struct_size as usize >= size_of::<abi::fitw_plugin_table>()
        && Version::of_code(table.version) >= IMPORTERS_SINCE;
    let id = abi::FITW_PLUGIN_IMPORT;
    let id = abi::fitw_plugin_text { data: id.as_ptr(), length: id.len() };
    // SAFETY: as the caller says; the interface says what the ability of this id points to.
    let ability = table
        .ability
        .filter(|_| there)
        .and_then(|ability| unsafe { ability(id).cast::<abi::fitw_plugin_import>().as_ref() });
    if let Some(ability) = ability {
        let size = ability.struct_size as usize;
        if size < size_of::<abi::fitw_plugin_import>() {
            return Err(format!("its table of importers says that it has {size} bytes"));
        }
        let count = ability.importer_count;
        if ability.importers.is_null() || !(1..=MOST_FITTERS).contains(&count) {
            return Err(format!("it has {count} importers; 1 to {MOST_FITTERS} are allowed"));
        }
        for k in 0..count {
            // SAFETY: as many as said; looked at before they are used.
            let importer = unsafe { ability.importers.add(k).read().as_ref() };
            let importer = importer.ok_or_else(|| format!("importer {k} is NULL"))?;
            // SAFETY: a plug-in's importer.
            let described = unsafe { describe_importer(importer) };
            let described = described.map_err(|e| format!("importer {k}: {e}"))?;
            if found.iter().any(|(d, _)| d.id == described.id) {
                return Err(format!("importer \"{}\" is there twice", described.id));
            }
            let entry = ImportEntry { data: importer.data, import: importer.import };
            found.push((described, entry));
        }
    }
    same_importers(found.iter().map(|(d, _)| d), manifest)?;
    Ok(found)
}

/// Importers of library and manifest are the same, with the same extensions.
pub(in crate::plugin) fn same_importers<'a>(
    found: impl Iterator<Item = &'a ImporterDescription>,
    manifest: &Manifest,
) -> std::result::Result<(), String> {
    let all = |pairs: Vec<(&String, &Vec<String>)>| {
        let sorted = |(id, extensions): (&String, &Vec<String>)| {
            let mut extensions = extensions.clone();
            extensions.sort();
            format!("{id} ({})", extensions.join(", "))
        };
        let mut all: Vec<String> = pairs.into_iter().map(sorted).collect();
        all.sort();
        all
    };
    let found = all(found.map(|d| (&d.id, &d.extensions)).collect());
    let named = all(manifest.importers.iter().map(|i| (&i.id, &i.extensions)).collect());
    if found == named {
        return Ok(());
    }
    Err(format!("its library has importers {found:?}, its manifest {named:?}"))
}

/// # Safety
/// A plug-in's importer.
unsafe fn describe_importer(
    importer: &abi::fitw_plugin_importer,
) -> std::result::Result<ImporterDescription, String> {
    if (importer.struct_size as usize) < size_of::<abi::fitw_plugin_importer>() {
        return Err(format!("says that it has {} bytes", importer.struct_size));
    }
    let import = &raw const importer.import;
    // SAFETY: read as a plain address; the plug-in's texts, looked at before they are used.
    unsafe {
        if import.cast::<*const c_void>().read().is_null() {
            return Err("has no function to import with".into());
        }
        let count = importer.extension_count;
        if importer.extensions.is_null() || !(1..=MOST_FITTERS).contains(&count) {
            return Err(format!("has {count} extensions"));
        }
        let extension = |k| word(importer.extensions.add(k).read(), "extension");
        Ok(ImporterDescription {
            id: word(importer.id, "id")?,
            title: word(importer.title, "title")?,
            extensions: (0..count).map(extension).collect::<std::result::Result<_, _>>()?,
        })
    }
}
