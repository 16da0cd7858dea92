//! Compiling C and C++ against the header and the library, which is built here if it is not yet.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use super::root;

/// Options under which everything of ours compiles without a warning.
pub const STRICT: [&str; 5] = ["-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Werror"];

/// The system's compiler for a language, `None` if there is none (said by [`crate::skipped`]).
#[must_use]
pub fn compiler(variable: &str, usual: &str) -> Option<String> {
    let name = std::env::var(variable).unwrap_or_else(|_| usual.to_owned());
    if Command::new(&name).arg("--version").output().is_ok_and(|o| o.status.success()) {
        return Some(name);
    }
    crate::skipped(&format!("no {name}; set {variable}"));
    None
}

/// Whether a tool can be run; else said by [`crate::skipped`].
#[must_use]
pub fn tool(name: &str) -> bool {
    let there = Command::new(name).arg("--version").output().is_ok_and(|o| o.status.success());
    if !there {
        crate::skipped(&format!("no {name}"));
    }
    there
}

/// Folder with `libfitwright.so` and `libfitwright.a`, built with the profile of the running test.
///
/// # Panics
/// If the build fails.
pub fn library() -> &'static Path {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| {
        let profile = library_of("fitwright-ffi");
        // Programs ask for the name with the major number, which an installation makes a link.
        // Renamed into place: another test may be using the one that is there.
        let made = profile.join(format!("libfitwright.so.1.{}", std::process::id()));
        std::fs::copy(profile.join("libfitwright.so"), &made).expect("a copy of the library");
        std::fs::rename(made, profile.join("libfitwright.so.1")).expect("its name");
        profile
    })
}

/// Folder with the libraries of a package, built with the profile of the running test.
///
/// # Panics
/// If the build fails.
#[must_use]
pub fn library_of(package: &str) -> PathBuf {
    let test = std::env::current_exe().expect("the test's own path");
    // target/<profile>/deps/<test>
    let profile = test.ancestors().nth(2).expect("a profile's folder").to_owned();
    let target = profile.parent().expect("a target folder");
    let name = profile.file_name().and_then(|n| n.to_str()).expect("a profile's name");
    let name = if name == "debug" { "dev" } else { name };
    // With these packages the features of all dependencies, and so the engine, are those that are built already.
    let packages =
        ["build", "--quiet", "-p", package, "-p", "fitwright-tests", "-p", "fitwright-benches"];
    let out = Command::new(env!("CARGO"))
        .current_dir(root())
        .args(packages)
        .args(["--profile", name, "--target-dir"])
        .arg(target)
        .output()
        .expect("cargo runs");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    profile
}

/// How a program is linked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Linked {
    /// With `libfitwright.so`.
    Shared,
    /// With `libfitwright.a`.
    Static,
}

/// Compiles a program with the header and the library; `options` go first.
///
/// # Panics
/// If it does not compile: the compiler's words.
#[must_use]
pub fn program(
    compiler: &str,
    source: &Path,
    options: &[&str],
    linked: Linked,
    into: &Path,
) -> PathBuf {
    let folder = library();
    let out = into.join(format!(
        "{}-{linked:?}{}",
        source.file_stem().and_then(|s| s.to_str()).unwrap_or("program"),
        if options.iter().any(|o| o.contains("sanitize")) { "-sanitized" } else { "" }
    ));
    let mut command = Command::new(compiler);
    command.args(options).args(STRICT).arg("-I").arg(root().join("include")).arg(source);
    command.arg("-o").arg(&out);
    match linked {
        Linked::Shared => {
            command.arg("-L").arg(folder).arg("-lfitwright");
            command.arg(format!("-Wl,-rpath,{}", folder.display()));
        }
        Linked::Static => {
            command.arg(folder.join("libfitwright.a"));
        }
    }
    succeeded(command.args(["-lpthread", "-ldl", "-lm"]));
    out
}

/// Runs a command that must succeed; its output.
///
/// # Panics
/// If it does not: what it printed.
pub fn succeeded(command: &mut Command) -> Output {
    let shown = format!("{command:?}");
    let out = command.output().unwrap_or_else(|e| panic!("{shown}: {e}"));
    assert!(
        out.status.success(),
        "{shown}: {}\n{}\n{}",
        out.status,
        String::from_utf8_lossy(&out.stdout),
        String::from_utf8_lossy(&out.stderr)
    );
    out
}
