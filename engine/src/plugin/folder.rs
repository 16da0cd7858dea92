//! Folders of plug-ins: found, and safe from the hands of others.

use std::path::{Path, PathBuf};

use super::manifest::Manifest;
use crate::error::{Error, Result};

/// The plug-in folders that a folder means: itself if it has a manifest, else those in it, by name.
pub(super) fn plugin_folders(folder: &Path) -> Result<Vec<PathBuf>> {
    let folder = folder.canonicalize().map_err(|e| Error::io(folder, &e))?;
    if folder.join(Manifest::FILE).exists() {
        return Ok(vec![folder]);
    }
    let mut found = Vec::new();
    for entry in std::fs::read_dir(&folder).map_err(|e| Error::io(&folder, &e))? {
        let path = entry.map_err(|e| Error::io(&folder, &e))?.path();
        if path.join(Manifest::FILE).exists() {
            found.push(path.canonicalize().map_err(|e| Error::io(&path, &e))?);
        }
    }
    found.sort();
    Ok(found)
}

/// Refuses what others may write to.
pub(super) fn check_hands(path: &Path) -> Result<()> {
    let metadata = std::fs::metadata(path)
        .map_err(|e| Error::PluginRefused { path: path.into(), reason: e.to_string() })?;
    match hands(&metadata) {
        None => Ok(()),
        Some(reason) => Err(Error::PluginRefused { path: path.into(), reason }),
    }
}

#[cfg(unix)]
fn hands(metadata: &std::fs::Metadata) -> Option<String> {
    use std::os::unix::fs::MetadataExt;
    let (mode, owner) = (metadata.mode(), metadata.uid());
    if mode & 0o022 != 0 {
        return Some(format!(
            "others may write to it (mode {:03o}); take that right away: chmod go-w",
            mode & 0o777
        ));
    }
    let own = rustix::process::geteuid().as_raw();
    (owner != own && owner != 0).then(|| {
        format!("it belongs to user {owner}, neither to you ({own}) nor to the administrator; make a copy of your own")
    })
}

#[cfg(not(unix))]
fn hands(_metadata: &std::fs::Metadata) -> Option<String> {
    None
}
