//! `fitwright.hpp`: every standard from C++11, with and without exceptions, run on a machine that is known.

use std::path::PathBuf;
use std::process::Command;

use fitwright_tests::c::build::{Linked, STRICT, compiler, program, succeeded};
use fitwright_tests::c::root;

fn source(name: &str) -> PathBuf {
    root().join("tests/cpp").join(name)
}

#[test]
fn the_header_compiles_in_every_standard() {
    let Some(cxx) = compiler("CXX", "c++") else { return };
    for standard in ["c++11", "c++14", "c++17", "c++20"] {
        for (name, more) in [("interface.cpp", "-fexceptions"), ("results.cpp", "-fno-exceptions")]
        {
            let mut command = Command::new(&cxx);
            command
                .args([&format!("-std={standard}"), "-Wundef", "-fsyntax-only", more])
                .args(STRICT);
            succeeded(command.arg("-I").arg(root().join("include")).arg(source(name)));
        }
    }
}

#[test]
fn programs_with_exceptions_and_with_results_run() {
    let Some(cxx) = compiler("CXX", "c++") else { return };
    let folder = tempfile::tempdir().expect("a folder");
    for (name, options) in [
        ("interface.cpp", &["-std=c++11"][..]),
        ("results.cpp", &["-std=c++11", "-fno-exceptions"]),
        ("interface.cpp", &["-std=c++20"]),
        ("results.cpp", &["-std=c++20", "-fno-exceptions"]),
    ] {
        let made = program(&cxx, &source(name), options, Linked::Shared, folder.path());
        let out = succeeded(Command::new(made).arg(folder.path()));
        assert!(String::from_utf8_lossy(&out.stdout).contains(": ok"), "{name}");
    }
}

#[test]
fn the_program_of_the_readme_compiles_as_printed() {
    let Some(cxx) = compiler("CXX", "c++") else { return };
    let readme = std::fs::read_to_string(root().join("README.md")).expect("the README");
    let (_, rest) = readme.split_once("<!-- cpp-example -->\n```cpp\n").expect("the C++ example");
    let (text, _) = rest.split_once("```").expect("its end");
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("bore.cpp");
    std::fs::write(&file, text).expect("a file");
    let made = program(&cxx, &file, &["-std=c++11"], Linked::Shared, folder.path());
    // There is no such scan: the error is caught and printed.
    let out = Command::new(made).current_dir(folder.path()).output().expect("it runs");
    assert!(String::from_utf8_lossy(&out.stderr).starts_with("300: "), "{out:?}");
}
