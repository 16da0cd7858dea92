//! The Python package as its users install it: `pip install ./ffi/python` into a fresh environment.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use crate::c::{build::succeeded, root};
use crate::skipped;

/// Python of an environment in the target folder in which the package of this source is installed; `None`
/// where there is no Python 3 with pip, or no registry of packages (said by [`crate::skipped`]).
///
/// # Panics
/// If the package does not build or install.
#[must_use]
pub fn python() -> Option<&'static Path> {
    static PYTHON: OnceLock<Option<PathBuf>> = OnceLock::new();
    PYTHON.get_or_init(install).as_deref()
}

fn install() -> Option<PathBuf> {
    let test = std::env::current_exe().expect("the test's own path");
    // target/<profile>/deps/<test>
    let profile = test.ancestors().nth(2).expect("a profile's folder");
    let target = profile.parent().expect("a target folder");
    let folder = target.join("python-package");
    let python = folder.join("bin/python");
    let mut venv = Command::new("python3");
    if !runs(venv.args(["-m", "venv", "--clear"]).arg(&folder), "no python3 with venv") {
        return None;
    }
    let package = root().join("ffi/python");
    let pip = || {
        let mut command = Command::new(&python);
        command.args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check"]);
        command
    };
    // What the tests need comes from a registry: whether that can be reached is found out here.
    if !runs(pip().arg("-r").arg(package.join("tests/requirements.txt")), "pip finds no registry") {
        return None;
    }
    let name = profile.file_name().and_then(|n| n.to_str()).expect("a profile's name");
    let name = if name == "debug" { "dev" } else { name };
    // With the engine's features as the tests have them, so that it is not compiled once more.
    let build = format!("--profile {name} --features engine/default");
    let mut command = pip();
    command.env("MATURIN_PEP517_ARGS", build).env("CARGO_TARGET_DIR", target).arg(package);
    succeeded(&mut command);
    Some(python)
}

fn runs(command: &mut Command, or: &str) -> bool {
    let reason = match command.output() {
        Ok(out) if out.status.success() => return true,
        Ok(out) => String::from_utf8_lossy(&out.stderr).trim().to_owned(),
        Err(error) => error.to_string(),
    };
    skipped(&format!("{or}: {}", reason.lines().last().unwrap_or_default()));
    false
}
