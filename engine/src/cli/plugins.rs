//! The commands that deal with plug-ins.

use std::path::PathBuf;

use super::{PluginCommand, Plugins, print};
use crate::error::{Error, Result};
use crate::plugin::{
    ImporterEntry, LoadOptions, Manifest, Registry, Trial, folders_from_environment, manifests,
    try_plugin,
};

/// Fitters of the folders that the command line and the environment name, and how further ones are loaded.
pub(super) fn registry(plugins: &Plugins) -> Result<(Registry, LoadOptions)> {
    let mut registry = Registry::new();
    let options = LoadOptions { trusted: plugins.trusted.clone(), ..LoadOptions::default() };
    for folder in plugins.folders.iter().chain(&folders_from_environment()?) {
        registry.load(folder, &options)?;
    }
    for refusal in registry.refused() {
        eprintln!("fitwright: warning: {}", refusal.reason);
    }
    Ok((registry, options))
}

pub(super) fn run(command: &PluginCommand, threads: usize) -> Result<u8> {
    match command {
        PluginCommand::List { folders } if folders.is_empty() => list(folders_from_environment()?),
        PluginCommand::List { folders } => list(folders.clone()),
        PluginCommand::Check { folder } => {
            let mut failed = false;
            let report = try_plugin(folder, &Trial { threads, ..Trial::default() })?;
            let mut text = format!("{} {}\n", report.id, report.version);
            for finding in &report.findings {
                failed |= finding.failed();
                text.push_str(&format!("{finding}\n"));
            }
            let count = |f: fn(&crate::plugin::Found) -> bool| {
                report.findings.iter().filter(|found| f(found)).count()
            };
            let (bad, skipped) = (count(|f| f.failed()), count(|f| f.skipped()));
            let good = report.findings.len() - bad - skipped;
            text.push_str(&format!("{good} passed, {bad} failed, {skipped} not applicable"));
            print(&text)?;
            Ok(u8::from(failed))
        }
    }
}

fn list(folders: Vec<PathBuf>) -> Result<u8> {
    if folders.is_empty() {
        return Err(Error::argument(
            "folders",
            "none",
            "name one, or set FITWRIGHT_PLUGINS; the current folder is not looked in by itself",
        ));
    }
    let mut text = String::new();
    let mut refused = 0;
    for folder in &folders {
        for (path, found) in manifests(folder)? {
            match found {
                Ok(manifest) => text.push_str(&line(&manifest, &path)),
                Err(e) => {
                    refused += 1;
                    text.push_str(&format!("{e}\n"));
                }
            }
        }
    }
    if text.is_empty() {
        text.push_str("no plug-ins\n");
    }
    print(text.trim_end())?;
    Ok(u8::from(refused > 0))
}

fn line(manifest: &Manifest, path: &std::path::Path) -> String {
    let importer = |i: &ImporterEntry| format!("{} ({})", i.id, i.extensions.join(", "));
    let importers: Vec<String> = manifest.importers.iter().map(importer).collect();
    let row = |name: &str, all: &[String]| match all {
        [] => String::new(),
        all => format!("  {name:<11}{}\n", all.join(", ")),
    };
    format!(
        "{} {}  {}\n{}{}  interface  {} to {}\n  licence    {}\n  folder     {}\n",
        manifest.id,
        manifest.version,
        manifest.title,
        row("fitters", &manifest.fitters),
        row("importers", &importers),
        manifest.interface.lowest,
        manifest.interface.highest,
        manifest.licence,
        path.display()
    )
}
