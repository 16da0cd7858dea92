//! The manifest of a plug-in: what it is, without running any of its code.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use fitwright_plugin_abi as abi;
use serde::Deserialize;

use crate::error::{Error, Result};

/// `fitwright-plugin.toml`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// Unique id, `vendor.name`.
    pub id: String,
    /// One line for people.
    pub title: String,
    /// The plug-in's own version.
    pub version: String,
    /// Licence (SPDX).
    pub licence: String,
    /// Versions of the interface that it speaks.
    pub interface: Interface,
    /// Ids of its fitters, `vendor.name` with the plug-in's vendor.
    #[serde(default)]
    pub fitters: Vec<String>,
    /// Its importers; since 1.2 of the interface.
    #[serde(default)]
    pub importers: Vec<ImporterEntry>,
    /// Its library on each system, beside the manifest.
    #[serde(rename = "library")]
    pub libraries: Libraries,
    /// Points with known answers, for whoever checks the plug-in.
    #[serde(default, rename = "reference")]
    pub references: Vec<Reference>,
}

/// An importer.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ImporterEntry {
    /// Id, `vendor.name` with the plug-in's vendor.
    pub id: String,
    /// Extensions of the files that it reads, lower case, without the point.
    pub extensions: Vec<String>,
}

/// Points that a fitter must fit to a known answer.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reference {
    /// Id of the fitter.
    pub fitter: String,
    /// Scan file beside the manifest, mm.
    pub file: String,
    /// Options by name, mm and rad.
    #[serde(default)]
    pub options: BTreeMap<String, f64>,
    /// Numbers expected by the name of the parameter, mm and rad.
    pub expect: BTreeMap<String, Expected>,
}

/// A number and how far off an answer may be.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Expected {
    /// The number.
    pub value: f64,
    /// Largest difference.
    pub within: f64,
}

/// Versions of the interface from lowest to highest.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Interface {
    /// Lowest, such as `1.0`.
    pub lowest: Version,
    /// Highest.
    pub highest: Version,
}

/// File names of the library.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Libraries {
    /// On Linux.
    pub linux: Option<String>,
    /// On macOS.
    pub macos: Option<String>,
    /// On Windows.
    pub windows: Option<String>,
}

/// Version of the interface.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(try_from = "String")]
pub struct Version {
    /// Major number.
    pub major: u16,
    /// Minor number.
    pub minor: u16,
}

impl Manifest {
    /// Name of the file.
    pub const FILE: &'static str = "fitwright-plugin.toml";

    /// Reads the manifest of a folder and checks what it says; the library is not touched.
    ///
    /// # Errors
    /// [`Error::PluginRefused`] with the reason.
    pub fn read(folder: &Path) -> Result<Self> {
        let path = folder.join(Self::FILE);
        let refused = |reason: String| Error::PluginRefused { path: path.clone(), reason };
        let size = std::fs::metadata(&path).map_err(|e| refused(e.to_string()))?.len();
        if size > LARGEST {
            return Err(refused(format!("{size} bytes; a manifest has at most {LARGEST}")));
        }
        let text = std::fs::read_to_string(&path).map_err(|e| refused(e.to_string()))?;
        let manifest: Manifest =
            toml::from_str(&text).map_err(|e| refused(e.message().to_string()))?;
        manifest.validate().map_err(refused)?;
        Ok(manifest)
    }

    fn validate(&self) -> std::result::Result<(), String> {
        let vendor = vendor(&self.id)?;
        if vendor == RESERVED {
            return Err(format!("id \"{}\": \"{RESERVED}\" is the engine's own", self.id));
        }
        if self.fitters.is_empty() && self.importers.is_empty() {
            return Err("it names no fitter and no importer".into());
        }
        own_ids("fitter", &self.fitters, vendor)?;
        let importers: Vec<String> = self.importers.iter().map(|i| i.id.clone()).collect();
        own_ids("importer", &importers, vendor)?;
        self.importers.iter().try_for_each(ImporterEntry::validate)?;
        if !self.importers.is_empty() && self.interface.highest < IMPORTERS_SINCE {
            return Err(format!("it names importers: they need interface {IMPORTERS_SINCE}"));
        }
        for reference in &self.references {
            if !self.fitters.contains(&reference.fitter) {
                return Err(format!("[[reference]]: no fitter \"{}\" here", reference.fitter));
            }
            beside(&reference.file).map_err(|e| format!("[[reference]] file: {e}"))?;
        }
        let (lowest, highest) = (self.interface.lowest, self.interface.highest);
        if lowest > highest {
            return Err(format!("interface: lowest {lowest} is above highest {highest}"));
        }
        if abi::agreed(LOWEST.code(), Version::own().code(), lowest.code(), highest.code()) == 0 {
            return Err(format!(
                "it speaks versions {lowest} to {highest} of the interface, this host {LOWEST} to {}; \
                 get another build of the plug-in or a newer host",
                Version::own()
            ));
        }
        Ok(())
    }

    /// The library's file in a folder, for this system.
    pub(super) fn own_library(&self, folder: &Path) -> Result<PathBuf> {
        let (system, name) = match std::env::consts::OS {
            "macos" => ("macos", &self.libraries.macos),
            "windows" => ("windows", &self.libraries.windows),
            _ => ("linux", &self.libraries.linux),
        };
        let refused = |reason| Error::PluginRefused { path: folder.join(Self::FILE), reason };
        let name = name.as_ref().ok_or_else(|| {
            refused(format!(
                "it has no library for {system}: [library] {system} = \"…\" is missing"
            ))
        })?;
        beside(name).map_err(|e| refused(format!("library {e}")))?;
        Ok(folder.join(name))
    }
}

impl ImporterEntry {
    fn validate(&self) -> std::result::Result<(), String> {
        let good = |e: &String| {
            let fine = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit();
            (1..=16).contains(&e.len()) && e.bytes().all(fine)
        };
        if !self.extensions.is_empty() && self.extensions.iter().all(good) {
            return Ok(());
        }
        let remedy = "name at least one, in lower case letters and digits, without the point";
        Err(format!("importer \"{}\": extensions {:?}: {remedy}", self.id, self.extensions))
    }
}

impl Version {
    /// The version that this engine speaks.
    #[must_use]
    pub fn own() -> Self {
        Version { major: abi::FITW_PLUGIN_MAJOR as u16, minor: abi::FITW_PLUGIN_MINOR as u16 }
    }

    pub(super) fn code(self) -> u32 {
        abi::version(u32::from(self.major), u32::from(self.minor))
    }

    pub(super) fn of_code(code: u32) -> Self {
        Version { major: (code >> 16) as u16, minor: code as u16 }
    }
}

impl std::fmt::Display for Version {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}.{}", self.major, self.minor)
    }
}

impl TryFrom<String> for Version {
    type Error = String;

    fn try_from(text: String) -> std::result::Result<Self, String> {
        let numbers = text.split_once('.').and_then(|(major, minor)| {
            Some(Version { major: major.parse().ok()?, minor: minor.parse().ok()? })
        });
        numbers.ok_or_else(|| format!("version \"{text}\": write it as \"1.0\""))
    }
}

/// Ids of one vendor, each once.
fn own_ids(what: &str, ids: &[String], vendor: &str) -> std::result::Result<(), String> {
    for (k, id) in ids.iter().enumerate() {
        if self::vendor(id)? != vendor {
            let remedy = format!("it must begin with \"{vendor}.\", as its plug-in does");
            return Err(format!("{what} id \"{id}\": {remedy}"));
        }
        if ids[..k].contains(id) {
            return Err(format!("{what} id \"{id}\" stands there twice"));
        }
    }
    Ok(())
}

/// Nothing but a file name.
fn beside(name: &str) -> std::result::Result<(), String> {
    if Path::new(name).file_name() == Some(name.as_ref()) {
        return Ok(());
    }
    Err(format!("\"{name}\" must be a file name, beside the manifest"))
}

/// Part of an id before the point.
fn vendor(id: &str) -> std::result::Result<&str, String> {
    let good = |part: &str| {
        !part.is_empty()
            && part.len() <= 64
            && part.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
    };
    match id.split_once('.') {
        Some((vendor, name)) if good(vendor) && good(name) => Ok(vendor),
        _ => Err(format!(
            "id \"{id}\": write it as \"vendor.name\" in lower case letters, digits and \"-\""
        )),
    }
}

/// Oldest version of the interface that is served.
pub(super) const LOWEST: Version = Version { major: 1, minor: 0 };
/// Version of the interface from which on there are importers.
pub(super) const IMPORTERS_SINCE: Version = Version { major: 1, minor: 2 };
/// Vendor of the built-in fitters.
const RESERVED: &str = "builtin";
/// Largest manifest, bytes.
const LARGEST: u64 = 1 << 16;
