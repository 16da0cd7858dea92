//! `fitwright.hpp`: every standard from C++11, with and without exceptions, run on a machine that is known.

use std::path::PathBuf;
use std::process::Command;

use fitwright_tests::c::abi::Abi;
use fitwright_tests::c::build::{Linked, STRICT, compiler, program, succeeded};
use fitwright_tests::c::plugins::{put_plugins, worker};
use fitwright_tests::c::root;

fn source(name: &str) -> PathBuf {
    root().join("tests/cpp").join(name)
}

#[test]
fn the_header_compiles_in_every_standard() {
    let Some(cxx) = compiler("CXX", "c++") else { return };
    for standard in ["c++11", "c++14", "c++17", "c++20"] {
        for (name, more) in [
            ("interface.cpp", "-fexceptions"),
            ("further.cpp", "-fexceptions"),
            ("plugins.cpp", "-fexceptions"),
            ("results.cpp", "-fno-exceptions"),
        ] {
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
        ("further.cpp", &["-std=c++11"]),
        ("plugins.cpp", &["-std=c++11"]),
        ("plugins.cpp", &["-std=c++20"]),
        ("results.cpp", &["-std=c++11", "-fno-exceptions"]),
        ("interface.cpp", &["-std=c++20"]),
        ("results.cpp", &["-std=c++20", "-fno-exceptions"]),
    ] {
        let made = program(&cxx, &source(name), options, Linked::Shared, folder.path());
        let more = match name {
            "further.cpp" => Some(root().join("tests/data/parts")),
            "plugins.cpp" => {
                put_plugins(folder.path());
                Some(worker())
            }
            _ => None,
        };
        let out = succeeded(Command::new(made).arg(folder.path()).args(more));
        assert!(String::from_utf8_lossy(&out.stdout).contains(": ok"), "{name}");
    }
}

/// Functions of the C interface by what stands for them in C++: a call in the header.
#[test]
fn the_header_calls_every_function_and_the_programs_every_method() {
    let read = |p: PathBuf| std::fs::read_to_string(p).expect("a source");
    let header = read(root().join("include/fitwright.hpp"));
    let abi = Abi::read(&read(root().join("include/fitwright.h"))).expect("the known form");
    let named = |f: &&String| !header.contains(f.as_str());
    assert_eq!(abi.functions.keys().filter(named).collect::<Vec<_>>(), Vec::<&String>::new());

    let programs: String = ["interface.cpp", "further.cpp", "plugins.cpp", "results.cpp"]
        .map(|n| read(source(n)))
        .concat();
    let methods = header.lines().filter_map(|line| {
        // A public method stands four deep; what is said of it in a class's inside is deeper.
        let line = line.strip_prefix("    ")?.trim_start_matches("static ");
        let line = line.strip_prefix("inline ").unwrap_or(line);
        let line = line.strip_prefix("Out<")?;
        let name = line.split_once('(')?.0.rsplit(' ').next()?;
        Some(name.to_owned())
    });
    let inside = ["ask", "ask_at", "ask_about", "plain", "text_at", "view", "table_of"];
    let called =
        |m: &String| [".", "->", "::"].iter().any(|by| programs.contains(&format!("{by}{m}(")));
    let mut count = 0;
    for method in methods.filter(|m| !inside.contains(&m.as_str())) {
        count += 1;
        assert!(called(&method), "no program in tests/cpp calls {method}");
    }
    assert!(count > 90, "only {count} methods were found in the header");
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
