//! Plug-ins as a user has them, for the hosts' tests: a folder each, with manifest and library.

use std::path::{Path, PathBuf};

use super::build::library_of;
use super::root;

/// The program `fitwright-worker`, built if it is not yet.
///
/// # Panics
/// If the build fails.
#[must_use]
pub fn worker() -> PathBuf {
    library_of("fitwright").join("fitwright-worker")
}

/// Puts plug-ins into a folder: `plugins/stud` and `plugins/fitters`, which nobody else may write to, and
/// `open/stud`, which everybody may; `importers/honest`, whose cubes are files `.cube`.
///
/// # Panics
/// If they cannot be built or written.
pub fn put_plugins(into: &Path) {
    let stud = library_of("fitwright-stud").join("libfitwright_stud.so");
    let fitters = "libfitwright_test_fitters.so";
    let fitters = library_of("fitwright-test-fitters").join(fitters);
    put("plugins/stud", &stud, &into.join("plugins/stud"), 0o755);
    put("tests/plugins/fitters", &fitters, &into.join("plugins/fitters"), 0o755);
    put("plugins/stud", &stud, &into.join("open/stud"), 0o777);
    let importers = into.join("importers");
    std::fs::create_dir_all(&importers).expect("a folder");
    if !importers.join("honest").exists() {
        // Without a compiler there are no hosts in C either.
        let _ = crate::plugins::cube_plugin("honest", |manifest| manifest, &importers);
    }
    mode(&importers, 0o755);
    mode(&into.join("plugins"), 0o755);
    mode(&into.join("open"), 0o755);
}

fn put(home: &str, library: &Path, folder: &Path, open: u32) {
    std::fs::create_dir_all(folder).expect("a folder");
    let manifest = root().join(home).join("fitwright-plugin.toml");
    for from in [&manifest, library] {
        let to = folder.join(from.file_name().expect("a name"));
        // Beside and renamed: a plug-in that is loaded is not written over.
        let made = to.with_extension("new");
        std::fs::copy(from, &made).expect("a copy");
        mode(&made, 0o644);
        std::fs::rename(made, to).expect("its name");
    }
    mode(folder, open);
}

#[cfg(unix)]
fn mode(path: &Path, mode: u32) {
    use std::os::unix::fs::PermissionsExt;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).expect("a mode");
}

#[cfg(not(unix))]
fn mode(_path: &Path, _mode: u32) {}
