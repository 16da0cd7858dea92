//! An installation of the library as its users meet it: pkg-config, CMake, the static library.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use fitwright_tests::c::abi::Abi;
use fitwright_tests::c::build::{STRICT, compiler, library, succeeded, tool};
use fitwright_tests::c::plugins::worker;
use fitwright_tests::c::root;

/// Where `ffi/install.sh` put this build, once for all tests here.
fn prefix() -> &'static Path {
    static PREFIX: OnceLock<PathBuf> = OnceLock::new();
    PREFIX.get_or_init(|| {
        let prefix = library().join("installed");
        if prefix.exists() {
            std::fs::remove_dir_all(&prefix).expect("the last run's removed");
        }
        assert!(worker().exists(), "built, to be installed");
        let install = root().join("ffi/install.sh");
        succeeded(Command::new("sh").arg(install).arg(&prefix).arg(library()));
        prefix
    })
}

/// What pkg-config says of the installation, `None` without pkg-config.
fn pkg_config(ask: &[&str]) -> Option<String> {
    if !tool("pkg-config") {
        return None;
    }
    let mut command = Command::new("pkg-config");
    command.env("PKG_CONFIG_PATH", prefix().join("lib/pkgconfig"));
    let out = succeeded(command.args(ask).arg("fitwright"));
    Some(String::from_utf8_lossy(&out.stdout).trim().to_owned())
}

/// `tests/c/abuse.c` with these flags.
fn built(flags: &str, into: &Path) -> Option<PathBuf> {
    let out = into.join("abuse");
    let mut command = Command::new(compiler("CC", "cc")?);
    command.args(STRICT).arg(root().join("tests/c/abuse.c")).args(flags.split_whitespace());
    succeeded(command.arg("-lm").arg("-o").arg(&out));
    Some(out)
}

fn runs(command: &mut Command) {
    let out = succeeded(command);
    assert!(String::from_utf8_lossy(&out.stdout).contains(": ok"), "{out:?}");
}

#[test]
fn versions_and_headers_are_the_interface_s() {
    let read = |p: PathBuf| std::fs::read_to_string(p).expect("a file");
    let abi = Abi::read(&read(root().join("include/fitwright.h"))).expect("the known form");
    let version = format!("{}.{}.0", abi.version.0, abi.version.1);
    // What cargo-c installs: the same number and the same headers.
    let manifest = read(root().join("ffi/Cargo.toml"));
    assert!(manifest.contains(&format!("\nversion = \"{version}\"\n")), "{version}");
    assert!(
        prefix().join("bin/fitwright-worker").exists(),
        "the worker of plug-ins is not installed"
    );
    for header in ["fitwright.h", "fitwright.hpp"] {
        assert!(prefix().join("include").join(header).exists(), "{header} is not installed");
        assert!(manifest.contains(&format!("\"../include/{header}\"")), "{header}");
    }
    if let Some(said) = pkg_config(&["--modversion"]) {
        assert_eq!(said, version);
    }
}

#[test]
fn pkg_config_serves_the_shared_library() {
    let folder = tempfile::tempdir().expect("a folder");
    let Some(flags) = pkg_config(&["--cflags", "--libs"]) else { return };
    let Some(program) = built(&flags, folder.path()) else { return };
    runs(Command::new(program).env("LD_LIBRARY_PATH", prefix().join("lib")));
}

#[test]
fn pkg_config_serves_the_static_library() {
    let folder = tempfile::tempdir().expect("a folder");
    let Some(flags) = pkg_config(&["--cflags", "--libs", "--static"]) else { return };
    // Both lie side by side and the linker prefers the shared one: name the file.
    let flags = flags.replace("-lfitwright", "-l:libfitwright.a");
    let Some(program) = built(&flags, folder.path()) else { return };
    runs(Command::new(program).env_remove("LD_LIBRARY_PATH"));
}

#[test]
fn cmake_finds_the_package() {
    if !tool("cmake") {
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let configure = |source: &Path, into: &str| {
        let mut command = Command::new("cmake");
        command.arg("-S").arg(source).arg("-B").arg(folder.path().join(into));
        command.arg(format!("-DCMAKE_PREFIX_PATH={}", prefix().display()));
        command
    };
    succeeded(&mut configure(&root().join("tests/c/cmake"), "hosts"));
    let hosts = folder.path().join("hosts");
    succeeded(Command::new("cmake").arg("--build").arg(&hosts));
    let mut command = Command::new("ctest");
    command.env_remove("LD_LIBRARY_PATH").current_dir(&hosts);
    let out = succeeded(&mut command);
    assert!(String::from_utf8_lossy(&out.stdout).contains("0 tests failed out of 3"), "{out:?}");
    // The next major number is another library.
    let later = folder.path().join("later");
    std::fs::create_dir(&later).expect("a folder");
    let text = "cmake_minimum_required(VERSION 3.16)\nproject(later C)\n\
                find_package(fitwright 2 REQUIRED)\n";
    std::fs::write(later.join("CMakeLists.txt"), text).expect("a file");
    let out = configure(&later, "out").output().expect("cmake runs");
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(!out.status.success() && said.contains("requested version \"2\""), "{said}");
}
