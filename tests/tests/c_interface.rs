//! The C interface, as C and C++ see it: compilers' standards, layouts, every call, misuse, memory checkers, cost.

use std::path::{Path, PathBuf};
use std::process::Command;

use fitwright::job::Job;
use fitwright::simulate::{self, DEMO_JOB};
use fitwright_tests::c::abi::Abi;
use fitwright_tests::c::build::{Linked, compiler, library, program, succeeded, tool};
use fitwright_tests::c::header::LIBRARY;
use fitwright_tests::c::matrix::{compiler_lays_out, compiles_in_every_standard};
use fitwright_tests::c::plugins::{put_plugins, worker};
use fitwright_tests::c::root;
use fitwright_tests::skipped;

fn source(name: &str) -> PathBuf {
    root().join("tests/c").join(name)
}

fn abi() -> Abi {
    LIBRARY.abi()
}

#[test]
fn the_header_compiles_in_every_standard() {
    compiles_in_every_standard("fitwright.h", &root().join("include"));
}

#[test]
fn the_compiler_lays_structs_out_as_described() {
    let asserts = compiler_lays_out("fitwright.h", &root().join("include"), &abi());
    assert!(asserts > 200, "only {asserts} assertions");
}

#[test]
fn the_library_exports_what_the_header_declares_and_names_its_major() {
    let described: Vec<String> = abi().functions.into_keys().collect();
    if !(tool("nm") && tool("readelf")) {
        return;
    }
    let library = library().join("libfitwright.so");
    let out = succeeded(Command::new("nm").args(["-D", "--defined-only"]).arg(&library));
    let out = String::from_utf8_lossy(&out.stdout).into_owned();
    let mut exported: Vec<&str> = out.lines().filter_map(|l| l.split(' ').next_back()).collect();
    exported.sort_unstable();
    assert_eq!(exported, described);
    let out = succeeded(Command::new("readelf").arg("-d").arg(&library));
    let out = String::from_utf8_lossy(&out.stdout).into_owned();
    let soname = format!("[libfitwright.so.{}]", abi().version.0);
    assert!(out.contains(&soname), "{soname} is not in\n{out}");
}

#[test]
fn the_programs_call_every_function() {
    let folder = root().join("tests/c");
    let mut programs = String::new();
    for entry in std::fs::read_dir(folder).expect("tests/c") {
        let path = entry.expect("an entry").path();
        if path.extension().is_some_and(|e| e == "c") {
            programs += &std::fs::read_to_string(path).expect("a source");
        }
    }
    let missing: Vec<String> =
        abi().functions.into_keys().filter(|f| !programs.contains(&format!("{f}("))).collect();
    assert!(missing.is_empty(), "no program in tests/c calls {missing:?}");
}

/// Programs of `tests/c` about the interface itself, and about what fits and checks find.
const ITSELF: [&str; 4] = ["interface.c", "abuse.c", "threads.c", "plugins.c"];
const FINDINGS: [&str; 5] = ["shapes.c", "together.c", "parts.c", "survey.c", "joins.c"];

/// Runs programs with what each is called with.
fn run(names: &[&str], folder: &Path, options: &[&str], linked: Linked, front: &[&str]) {
    let Some(cc) = compiler("CC", "cc") else { return };
    for name in names {
        let arguments = match *name {
            "interface.c" => vec![folder.to_owned()],
            "parts.c" => vec![root().join("tests/data/parts")],
            "threads.c" => vec!["1".into()],
            "plugins.c" => {
                put_plugins(folder);
                vec![folder.to_owned(), worker()]
            }
            _ => vec![],
        };
        let program = program(&cc, &source(name), options, linked, folder);
        let mut command = match front {
            [] => Command::new(&program),
            [tool, rest @ ..] => {
                let mut command = Command::new(tool);
                command.args(rest).arg(&program);
                command
            }
        };
        let out = succeeded(command.args(arguments));
        assert!(String::from_utf8_lossy(&out.stdout).contains(": ok"), "{name}");
    }
}

#[test]
fn c_programs_run_with_the_shared_library() {
    let folder = tempfile::tempdir().expect("a folder");
    run(&ITSELF, folder.path(), &["-std=c11", "-g"], Linked::Shared, &[]);
    run(&FINDINGS, folder.path(), &["-std=c11", "-g"], Linked::Shared, &[]);
}

#[test]
fn c_programs_run_with_the_static_library() {
    let folder = tempfile::tempdir().expect("a folder");
    run(&ITSELF, folder.path(), &["-std=c11", "-g"], Linked::Static, &[]);
}

#[test]
fn c_programs_run_clean_under_address_and_undefined_behaviour_sanitizers() {
    let folder = tempfile::tempdir().expect("a folder");
    let Some(cc) = compiler("CC", "cc") else { return };
    let flags = ["-std=c11", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all"];
    let probe = folder.path().join("probe.c");
    std::fs::write(&probe, "int main(void) { return 0; }\n").expect("a file");
    let mut command = Command::new(&cc);
    command.args(flags).arg(&probe).arg("-o").arg(folder.path().join("probe"));
    if !command.output().is_ok_and(|o| o.status.success()) {
        skipped(&format!("{cc} has no sanitizers"));
        return;
    }
    run(&ITSELF, folder.path(), &flags, Linked::Shared, &[]);
    run(&FINDINGS, folder.path(), &flags, Linked::Shared, &[]);
}

/// Half of the programs each, to run side by side. Those that mostly compute take minutes more and are checked
/// on demand: with `FITWRIGHT_MEMCHECK=all`. Leaks and what is freed twice show under the sanitizers in all of them.
#[test]
fn c_programs_run_clean_under_valgrind() {
    under_valgrind(&["abuse.c", "threads.c", "survey.c"]);
}

#[test]
fn further_c_programs_run_clean_under_valgrind() {
    under_valgrind(&["plugins.c", "parts.c"]);
    if std::env::var("FITWRIGHT_MEMCHECK").is_ok_and(|all| all == "all") {
        under_valgrind(&["interface.c", "shapes.c", "together.c", "joins.c"]);
    }
}

fn under_valgrind(names: &[&str]) {
    if !tool("valgrind") {
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    // Thread pools end their threads on their own time: what they hold then is "possibly lost".
    let front = [
        "valgrind",
        "--quiet",
        "--error-exitcode=9",
        "--leak-check=full",
        "--show-leak-kinds=definite,indirect",
        "--errors-for-leak-kinds=definite,indirect",
        "--fair-sched=try",
    ];
    let options = [
        "-std=c11",
        "-g",
        "-DTHREADS=3",
        "-DROUND=90",
        "-DJOURNAL=1000",
        "-DTURNS=100",
        "-DROWS=30",
    ];
    run(names, folder.path(), &options, Linked::Shared, &front);
}

#[test]
fn a_borrowed_mesh_of_a_million_triangles_is_not_copied() {
    let Some(cc) = compiler("CC", "cc") else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let cost = program(&cc, &source("cost.c"), &["-std=c99", "-O2"], Linked::Shared, folder.path());
    let out = succeeded(&mut Command::new(cost));
    let text = String::from_utf8_lossy(&out.stdout).into_owned();
    let number = |name: &str| -> f64 {
        let mut words = text.split_whitespace().skip_while(|w| *w != name);
        words.nth(1).and_then(|w| w.parse().ok()).unwrap_or_else(|| panic!("no {name} in {text}"))
    };
    // 501,264 points of 24 bytes and 999,698 triangles of 12: 24.0 MB if copied.
    assert!(number("copied-bytes") > 22e6, "{text}");
    assert!(number("borrowed-bytes") < 4e6, "{text}");
    // The benchmark holds a release build to 200 ns; here a debug build on a busy machine.
    assert!(number("fitw_scan_describe") < 5000.0, "{text}");
}

#[test]
fn the_host_in_c_finds_the_demo_s_axes_and_hole() {
    let Some(cc) = compiler("CC", "cc") else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let demo = simulate::demo().expect("the demo's data");
    demo.write(folder.path()).expect("the demo's files");
    let job = Job::read(folder.path().join(DEMO_JOB)).expect("the demo's job");
    let pick = |name: &str| {
        let [x, y, z] =
            job.features.iter().find(|f| f.name == name).and_then(|f| f.at).expect("a pick");
        format!("{x},{y},{z}")
    };
    let host = root().join("tests/hosts/c/main.c");
    let host = program(&cc, &host, &["-std=c99"], Linked::Shared, folder.path());
    let step = folder.path().join("features.step");
    let mut command = Command::new(host);
    command.arg(folder.path().join("front.ply")).arg(&step);
    let out = succeeded(command.args(["deck", "side", "boss A", "hole A"].map(pick)));
    let out = String::from_utf8_lossy(&out.stdout).into_owned();
    let numbers = |name: &str| -> Vec<f64> {
        let line = out
            .lines()
            .find(|l| l.starts_with(name))
            .unwrap_or_else(|| panic!("no {name} in {out}"));
        line.split(|c: char| !"+-.0123456789".contains(c)).filter_map(|w| w.parse().ok()).collect()
    };
    // x, y, z, direction, size, uncertainty of place and size. The datum system of the job is the truth's.
    let (deck, side, hole) = (numbers("deck:"), numbers("side:"), numbers("hole:"));
    assert!((deck[5] - 1.0).abs() < 1e-5 && side[3] > 0.999, "{out}");
    // The hole's axis goes through the origin: it is followed from its mouth down to z = 0.
    for k in [0, 1] {
        let foot = hole[k] - hole[3 + k] * hole[2] / hole[5];
        assert!(foot.abs() < 5e-4, "{foot} in {out}");
    }
    let truth = demo.truth.features.iter().find(|f| f.name == "hole A").expect("the true hole");
    let fitwright::primitive::Primitive::Cylinder(truth) = &truth.shape else {
        panic!("a cylinder")
    };
    assert!((hole[6] - truth.radius).abs() < 2.0 * hole[8], "{} is not {}", hole[6], truth.radius);
    let text = std::fs::read_to_string(step).expect("the STEP file");
    assert!(["'deck'", "'side'", "'boss'", "'hole'"].iter().all(|n| text.contains(n)));
}

#[test]
fn the_program_of_the_readme_compiles_as_printed_and_runs() {
    let Some(cc) = compiler("CC", "cc") else { return };
    let readme = std::fs::read_to_string(root().join("README.md")).expect("the README");
    let (_, rest) = readme.split_once("<!-- c-example -->\n```c\n").expect("the C example");
    let (text, _) = rest.split_once("```").expect("its end");
    assert!(text.lines().count() <= 40, "the example is meant to be short");
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("bore.c");
    std::fs::write(&file, text).expect("a file");
    let bore = program(&cc, &file, &["-std=c99"], Linked::Shared, folder.path());
    // A half cylinder of radius 7 about a line along z through the README's pick.
    let points: String = (0..60 * 60)
        .map(|i| {
            let (turn, z) = (f64::from(i % 60) * 0.05, f64::from(i / 60) * 0.35);
            let (x, y) = (70.0 - 7.0 + 7.0 * turn.cos(), -138.0 + 7.0 * turn.sin());
            format!("v {x} {y} {}\n", 30.0 + z)
        })
        .collect();
    let faces: String = (0..59 * 60)
        .filter(|i| i % 60 < 59)
        .map(|i| format!("f {} {} {} {}\n", i + 1, i + 2, i + 62, i + 61))
        .collect();
    std::fs::write(folder.path().join("front.obj"), points + &faces).expect("a mesh");
    let text = text.replace("front.ply", "front.obj");
    std::fs::write(&file, text).expect("a file");
    let on_mesh = program(&cc, &file, &["-std=c99"], Linked::Shared, folder.path());
    assert_eq!(bore, on_mesh);
    let out = succeeded(Command::new(on_mesh).current_dir(folder.path()));
    let out = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(out.starts_with("radius 7.0000 mm"), "{out}");
}
