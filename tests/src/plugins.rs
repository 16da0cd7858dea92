//! Plug-ins for the tests: built with the system's compilers into folders with a manifest, as users have them.

use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::c::build::{STRICT, compiler, library_of, succeeded};
use crate::c::root;

/// Version of the interface that something is compiled with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Interface {
    /// That of `include/`.
    Today,
    /// 1.0, as it was frozen.
    First,
}

impl Interface {
    /// Folder with `fitwright_plugin.h` of that version, made in `into` if need be.
    ///
    /// # Panics
    /// If it cannot be written.
    #[must_use]
    pub fn include(self, into: &Path) -> PathBuf {
        if self == Interface::Today {
            return root().join("include");
        }
        let folder = into.join("include-1.0");
        std::fs::create_dir_all(&folder).expect("a folder");
        std::fs::copy(header_1_0(), folder.join("fitwright_plugin.h")).expect("the header");
        folder
    }
}

/// The frozen header of version 1.0.
#[must_use]
pub fn header_1_0() -> PathBuf {
    root().join("tests/plugins/fitwright_plugin_1_0.h")
}

/// What is to be built into a plug-in's folder.
#[derive(Debug, Clone)]
pub struct Plugin {
    /// Source in C (`.c`) or C++ (`.cpp`).
    pub source: PathBuf,
    /// Further options of the compiler, such as `-DNAME=value`.
    pub options: Vec<String>,
    /// Text of the manifest, which names `lib….so`.
    pub manifest: String,
    /// Name of the library's file.
    pub file: String,
}

/// Builds a plug-in into a new folder of `into`, which only its owner may write to; `None` without a compiler
/// (said by [`crate::skipped`]).
///
/// # Panics
/// If it does not compile without a warning.
#[must_use]
pub fn build(plugin: &Plugin, name: &str, interface: Interface, into: &Path) -> Option<PathBuf> {
    let plus = plugin.source.extension().is_some_and(|e| e == "cpp");
    let compiler = if plus { compiler("CXX", "c++") } else { compiler("CC", "cc") }?;
    let folder = into.join(name);
    std::fs::create_dir(&folder).expect("a new folder");
    let library = folder.join(&plugin.file);
    let mut command = Command::new(compiler);
    command.arg(if plus { "-std=c++17" } else { "-std=c11" }).args(["-O2", "-g"]).args(STRICT);
    command.args(["-shared", "-fPIC", "-fvisibility=hidden", "-I"]).arg(interface.include(into));
    succeeded(
        command
            .args(&plugin.options)
            .arg(&plugin.source)
            .arg("-o")
            .arg(&library)
            .args(["-lm", "-lpthread"]),
    );
    finished(&folder, &library, &plugin.manifest);
    Some(folder)
}

/// The obround slot fitter of `plugins/obround-c`, built with a version of the interface and further options.
///
/// # Panics
/// If it does not compile without a warning.
#[must_use]
pub fn obround(interface: Interface, options: &[&str], into: &Path) -> Option<PathBuf> {
    let home = root().join("plugins/obround-c");
    let manifest = read(&home.join("fitwright-plugin.toml"));
    let highest = "highest = \"1.2\"";
    assert!(manifest.contains(highest), "{manifest}");
    let (name, manifest) = match interface {
        Interface::Today => ("obround", manifest),
        Interface::First => ("obround-1.0", manifest.replace(highest, "highest = \"1.0\"")),
    };
    let source = home.join("obround.c");
    let library = "libobround.so".to_owned();
    let options = options.iter().map(|o| (*o).to_owned()).collect();
    build(&Plugin { source, options, manifest, file: library }, name, interface, into)
}

/// The plug-in in Rust of `tests/plugins/ball`: fitters `test.ball` and `test.hosted-ball`.
///
/// # Panics
/// If the build fails.
#[must_use]
pub fn ball(into: &Path) -> PathBuf {
    built_here("fitwright-test-ball", "tests/plugins/ball", into)
}

/// A plug-in in Rust of this workspace: its library, with all files beside its manifest (references).
///
/// # Panics
/// If the build fails.
#[must_use]
pub fn built_here(package: &str, source: &str, into: &Path) -> PathBuf {
    let (name, source) = (format!("lib{}.so", package.replace('-', "_")), root().join(source));
    let folder = into.join(source.file_name().expect("a name"));
    std::fs::create_dir(&folder).expect("a new folder");
    let library = folder.join(&name);
    std::fs::copy(library_of(package).join(name), &library).expect("a copy of the library");
    for entry in std::fs::read_dir(&source).expect("its folder") {
        let path = entry.expect("a file").path();
        let file = path.file_name().expect("a name");
        if path.is_file() && file != "Cargo.toml" {
            std::fs::copy(&path, folder.join(file)).expect("a copy");
        }
    }
    finished(&folder, &library, &read(&source.join("fitwright-plugin.toml")));
    folder
}

/// A plug-in that does wrong, and what a host must make of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Misbehaviour {
    /// Its name: that of its function in `tests/plugins/hostile`, with `-` for `_`.
    pub name: String,
    /// What must happen, a sentence of the source.
    pub must: String,
    /// The file in which it stands.
    pub source: PathBuf,
}

/// All misbehaviours, in the order of the sources: each is a `CASE(name)` after its comment.
///
/// # Panics
/// If a source is not of that form.
#[must_use]
pub fn misbehaviours() -> Vec<Misbehaviour> {
    let folder = root().join("tests/plugins/hostile");
    let files = ["entry.c", "missing.c", "end.c", "lies.c", "greed.c", "manners.c", "throws.cpp"];
    files.iter().flat_map(|file| misbehaviours_of(&folder.join(file))).collect()
}

fn misbehaviours_of(source: &Path) -> Vec<Misbehaviour> {
    let (mut all, mut comment) = (Vec::new(), String::new());
    for line in read(source).lines() {
        if let Some(name) = line.strip_prefix("CASE(").and_then(|rest| rest.strip_suffix(')')) {
            let must = std::mem::take(&mut comment).replace("*/", "").trim().to_owned();
            assert!(!must.is_empty(), "{name} in {} has no comment", source.display());
            all.push(Misbehaviour {
                name: name.replace('_', "-"),
                must,
                source: source.to_owned(),
            });
        } else if let Some(begun) = line.strip_prefix("/* ") {
            begun.clone_into(&mut comment);
        } else if line.starts_with(" * ") {
            comment += &line[2..];
        } else {
            comment.clear();
        }
    }
    assert!(!all.is_empty(), "no case in {}", source.display());
    all
}

/// Builds a plug-in that does wrong as `name` says: plug-in `hostile.name`, fitter `hostile.name-ball`.
///
/// # Panics
/// For an unknown name, or if it does not compile without a warning.
#[must_use]
pub fn hostile(name: &str, into: &Path) -> Option<PathBuf> {
    let known = misbehaviours().into_iter().find(|m| m.name == name);
    let source = known.unwrap_or_else(|| panic!("no misbehaviour {name}")).source;
    let library = "libhostile.so".to_owned();
    let manifest = format!(
        "id = \"hostile.{name}\"\ntitle = \"Does wrong\"\nversion = \"0.1.0\"\n\
         licence = \"MIT OR Apache-2.0\"\ninterface = {{ lowest = \"1.0\", highest = \"1.2\" }}\n\
         fitters = [\"hostile.{name}-ball\"]\n\n[library]\nlinux = \"{library}\"\n"
    );
    let function = name.replace('-', "_");
    let options = vec![format!("-DMISBEHAVIOUR={function}"), format!("-DNAME=\"{name}\"")];
    build(&Plugin { source, options, manifest, file: library }, name, Interface::Today, into)
}

/// Builds the importer of `tests/plugins/importers.c` that behaves as its function `name` says, with its manifest
/// changed: plug-in `hostile.name`, importer `hostile.name-cube` of files `.cube`.
///
/// # Panics
/// If it does not compile without a warning.
#[must_use]
pub fn cube_plugin(
    name: &str,
    manifest: impl Fn(String) -> String,
    into: &Path,
) -> Option<PathBuf> {
    let file = "libcubes.so".to_owned();
    let text = manifest(format!(
        "id = \"hostile.{name}\"\ntitle = \"Cubes\"\nversion = \"0.1.0\"\nlicence = \"MIT OR Apache-2.0\"\n\
         interface = {{ lowest = \"1.2\", highest = \"1.2\" }}\n\
         importers = [{{ id = \"hostile.{name}-cube\", extensions = [\"cube\"] }}]\n\n\
         [library]\nlinux = \"{file}\"\nmacos = \"{file}\"\n"
    ));
    let source = root().join("tests/plugins/importers.c");
    let function = name.replace('-', "_");
    let options =
        ["-std=c99".into(), format!("-DBEHAVIOUR={function}"), format!("-DNAME=\"{name}\"")];
    build(
        &Plugin { source, options: options.into(), manifest: text, file },
        name,
        Interface::Today,
        into,
    )
}

/// Writes the manifest, and sets the rights that a host asks for.
fn finished(folder: &Path, library: &Path, manifest: &str) {
    let file = folder.join("fitwright-plugin.toml");
    std::fs::write(&file, manifest).expect("the manifest");
    for (path, mode) in [(folder, 0o755), (library, 0o755), (&file, 0o644)] {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).expect("rights");
    }
}

/// Builds a program of `tests/plugins` that hosts plug-ins; `None` without a compiler.
///
/// # Panics
/// If it does not compile without a warning.
#[must_use]
pub fn host(source: &str, interface: Interface, options: &[&str], into: &Path) -> Option<PathBuf> {
    let cc = compiler("CC", "cc")?;
    let program = into.join(format!("{source}-{interface:?}"));
    let mut command = Command::new(cc);
    command.args(["-std=c11", "-O1", "-g"]).args(STRICT).arg("-I").arg(interface.include(into));
    command.args(options).arg(root().join("tests/plugins").join(source)).arg("-o").arg(&program);
    succeeded(command.args(["-ldl", "-lm"]));
    Some(program)
}

fn read(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}
